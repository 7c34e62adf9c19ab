"""Why a row is refused, in the words of its column, and safe for every program that may open it."""

from __future__ import annotations

import re

from engine.archive.sources_model import Reject

_FORMULA = re.compile(r"^[=+\-@\t\r]")
_SIGNED = re.compile(r"^[+-]?([0-9]+([.,][0-9]*)?|[.,][0-9]+)([eE][+-]?[0-9]+)?$")
_LONG = 160


def reason(each: Reject) -> str:
    """Why a row is refused, as its column says it."""
    parts = [f"{each.column}: {each.message}" if each.column else each.message]
    if each.value:
        parts.append(f"found {each.value}")
    if each.allowed and len(each.allowed) <= _LONG:
        parts.append(f"allowed: {each.allowed}")
    if each.hint:
        parts.append(each.hint)
    return "; ".join(parts)


def safe(text: str) -> str:
    """A text that no program takes for a formula; a number with a sign is none."""
    return f"'{text}" if _FORMULA.match(text) and not _SIGNED.match(text) else text
