"""Decisions recorded as they are: facts of a wall, and all that one version of the rules decides on them.

They are characterisation, not authority: none was checked against a source, and none says that a decision is right.
They tell that it changed.
"""

from __future__ import annotations

import pathlib
from collections.abc import Iterable, Iterator, Mapping
from typing import Annotated, Any

import yaml
from pydantic import BeforeValidator, TypeAdapter, ValidationError

from engine.errors import BadInput, Problem
from engine.facts.complaints import problems_from
from engine.facts.declare import Section
from engine.facts.document import read_document

HEAD = """\
# Decisions of rule set {version} recorded as they are: the facts of a wall, and all that is decided on them. They are
# characterisation, not authority. None was checked against a source, and none says that the decision is right: what a
# version must decide stands in the vectors. These tell that a decision changed, and each was chosen because it tells
# a rule from one with a small fault in it (`tells`). Made by `tests/record_decisions.py`; never edited by hand.
"""


def _tuple(raw: Any) -> Any:
    return tuple(raw) if isinstance(raw, list) else raw


def _tuples(raw: Any) -> Any:
    return {name: _tuple(each) for name, each in raw.items()} if isinstance(raw, dict) else raw


class Recorded(Section):
    """One wall: the survey's facts, section by section, and the outcome of every choice and set.

    `tells` are the rules of which it tells at least one from a changed one.
    """

    id: str
    tells: Annotated[tuple[str, ...], BeforeValidator(_tuple)]
    facts: dict[str, dict[str, Any]]
    decides: dict[str, str]
    sets: Annotated[dict[str, tuple[str, ...]], BeforeValidator(_tuples)]


def read_recorded(folder: pathlib.Path, problems: list[Problem]) -> tuple[Recorded, ...]:
    """The recorded decisions of a folder; what is wrong with them goes to `problems`."""
    return tuple(each for path in sorted(folder.glob("*.yaml")) for each in _read(path, problems))


def _read(path: pathlib.Path, problems: list[Problem]) -> Iterator[Recorded]:
    try:
        document = read_document(path, list_allowed=True)
    except BadInput as error:
        problems.extend(error.problems)
        return
    if not isinstance(document.data, list):
        problems.append(Problem(document.file, 1, 1, "", "is not a list of recorded decisions"))
        return
    adapter = TypeAdapter(Recorded)
    for index, raw in enumerate(document.data):
        try:
            yield adapter.validate_python(raw)
        except ValidationError as error:
            problems.extend(problems_from(error, document, Recorded, (index,)))


def recorded_text(version: str, recorded: Iterable[Recorded]) -> str:
    """The text of a file of recorded decisions."""
    rows = [_row(each) for each in recorded]
    body = "\n".join(
        yaml.safe_dump([row], sort_keys=False, width=100, allow_unicode=True, default_flow_style=None) for row in rows
    )
    return f"{HEAD.format(version=version)}\n{body}"


def _row(each: Recorded) -> Mapping[str, Any]:
    return {
        "id": each.id,
        "tells": list(each.tells),
        "facts": each.facts,
        "decides": each.decides,
        "sets": {name: list(members) for name, members in each.sets.items()},
    }
