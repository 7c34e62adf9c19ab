"""Digests of facts: the same typed facts give the same digest, however the file is laid out."""

from __future__ import annotations

import hashlib
import json
from typing import Any

from pydantic import BaseModel

from engine.facts.declare import Noted
from engine.facts.survey import Survey


def facts_digest(survey: Survey) -> str:
    """SHA-256 over the canonical JSON of the survey's typed facts."""
    text = json.dumps(_plain(survey), sort_keys=True, ensure_ascii=False, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()


def _plain(value: Any) -> Any:
    if isinstance(value, Noted):
        return {"value": _plain(value.value), "established": value.established, "by": value.by}
    if isinstance(value, BaseModel):
        return {name: _plain(getattr(value, name)) for name in type(value).model_fields}
    if isinstance(value, frozenset):
        return sorted(value)
    if isinstance(value, tuple):
        return [_plain(each) for each in value]
    return value if isinstance(value, str | int | float | bool | None) else str(value)
