"""The digests that versions in force have for good, as recorded in `digests.yaml` beside them."""

from __future__ import annotations

import pathlib
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated

from pydantic import Field, TypeAdapter, ValidationError

from engine.errors import BadInput, BadRules, Problem
from engine.facts.complaints import problems_from
from engine.facts.declare import Day, Section
from engine.facts.document import Place, read_document
from engine.rulebase import load
from engine.rulebase.rules import RuleBase

FILE = "digests.yaml"
SHOWN = f"rules/{FILE}"


class Sealed(Section):
    """The digest that a version has for good, and the day it was recorded."""

    version: str
    digest: Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]
    recorded_on: Day


@dataclass(frozen=True, slots=True)
class Recorded:
    """One row of the file and where it stands."""

    sealed: Sealed
    at: Place


def recorded(folder: pathlib.Path | None = None) -> Mapping[str, Recorded]:
    """The digests that are recorded, by version; none where there is no such file.

    Raises:
        BadRules: with every problem of the file.
    """
    path = (folder or load.rules_folder()) / FILE
    if not path.exists():
        return {}
    try:
        document = read_document(path, SHOWN, list_allowed=True)
    except BadInput as error:
        raise BadRules(error.problems) from None
    rows = document.data if isinstance(document.data, list) else None
    if rows is None:
        raise BadRules([Problem(SHOWN, 1, 1, "", "is not a list")])
    problems: list[Problem] = []
    found: dict[str, Recorded] = {}
    adapter = TypeAdapter(Sealed)
    for index, row in enumerate(rows):
        place = document.place((index,))
        try:
            sealed = adapter.validate_python(row)
        except ValidationError as error:
            problems += problems_from(error, document, Sealed, (index,))
            continue
        if sealed.version in found:
            problems.append(Problem(SHOWN, place.line, place.column, "version", "stands twice", sealed.version))
        found[sealed.version] = Recorded(sealed, place)
    if problems:
        raise BadRules(problems)
    return found


def as_sealed(base: RuleBase, folder: pathlib.Path | None = None) -> RuleBase:
    """The rule base, unless it is not what was recorded of its version.

    Raises:
        BadRules: it is not, or the record cannot be read.
    """
    version = base.manifest.version
    row = recorded(folder).get(version)
    if row is None or row.sealed.digest == base.digest:
        return base
    message = f"is not what it was when it was recorded on {row.sealed.recorded_on}; no answer is given by it"
    hint = "put its files back as they were; what is to change belongs in a new version"
    found, allowed = f"digest {base.digest[:16]}", f"digest {row.sealed.digest[:16]}"
    raise BadRules([Problem(f"rules/{version}", 0, 0, "", message, found, allowed, hint)])
