"""What the checks take from data: `checks.yaml` beside the versions. After how long a source is stale, and the like."""

from __future__ import annotations

import pathlib
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated

from pydantic import BeforeValidator, Field, ValidationError

from engine.errors import BadInput, BadRules
from engine.facts.complaints import problems_from
from engine.facts.declare import RowsOf, Section
from engine.facts.document import read_document
from engine.rulebase.load import rules_folder
from engine.rulebase.model import Sentence, SourceKind

FILE = "checks.yaml"


class StaleAfter(Section):
    """After how many days a source of this kind is to be looked at again."""

    kind: SourceKind
    days: Annotated[int, Field(ge=1, le=36_500)]
    because: Sentence


class PureNumber(Section):
    """A variable whose numbers have no unit, and what they count instead."""

    variable: str
    because: Sentence


def _rows(raw: object) -> object:
    return tuple(raw) if isinstance(raw, list) else raw


class Checks(Section):
    """The file `checks.yaml`."""

    stale_after: RowsOf[StaleAfter]
    pure_numbers: Annotated[tuple[PureNumber, ...], BeforeValidator(_rows)] = ()


@dataclass(frozen=True, slots=True)
class Settings:
    """The same, to be looked up."""

    stale_after: Mapping[str, StaleAfter]
    pure_numbers: Mapping[str, str]


NO_SETTINGS = Settings({}, {})


def read_settings(folder: pathlib.Path | None = None) -> Settings:
    """The settings of the checks.

    Raises:
        BadRules: with every problem of the file.
    """
    shown = f"rules/{FILE}"
    try:
        document = read_document((folder or rules_folder()) / FILE, shown)
        checks = Checks.model_validate(document.data)
    except BadInput as error:
        raise BadRules(error.problems) from None
    except ValidationError as error:
        raise BadRules(problems_from(error, document, Checks)) from None
    return Settings(
        {each.kind: each for each in checks.stale_after},
        {each.variable: each.because for each in checks.pure_numbers},
    )
