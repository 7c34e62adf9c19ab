"""The same survey with some facts changed: what `--set`, counterfactuals and answers to questions are made of."""

from __future__ import annotations

import dataclasses
import datetime as dt
import re
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from engine.errors import BadInput, Problem
from engine.facts.document import Document, Path, Place
from engine.facts.intake import SurveyFile, checked_survey
from engine.facts.resolve import notes_of, resolve
from engine.facts.survey import Survey, Wall
from engine.facts.values import State, Value
from engine.facts.vocabulary import facts

LATEST = dt.date.max
"""For a survey that was checked against its day of judging when it was read."""

_WALL = re.compile(r"^walls\[[0-9]+\]\.")


@dataclass(frozen=True, slots=True)
class Amended:
    """A survey with facts changed. `dropped` are facts it gave that no longer apply, by wall and name."""

    file: SurveyFile
    dropped: tuple[tuple[str, str], ...]


def amended(
    file: SurveyFile, changes: Mapping[str, Any], walls: Collection[str] | None = None, origin: str = "--set"
) -> Amended:
    """The survey with facts set as a survey file would write them (`unknown` makes a fact unknown).

    `changes` go by name of the fact; facts of the property are set once, the others at every wall named in `walls`, or
    at every wall. A fact that was given and no longer applies because of the changes is left out; one that is changed
    itself must apply. `origin` stands in messages and places for the file.

    Raises:
        BadInput: a value that is not allowed, or facts that cannot be true together.
    """
    data = _copied(file.document.data)
    assert isinstance(data, dict)
    chosen = [n for n, wall in enumerate(file.survey.walls) if walls is None or wall.id in walls]
    places = dict(file.document.places) if isinstance(file.document, _AmendedDocument) else {}
    for name, raw in changes.items():
        for path in _paths(name, chosen):
            places[path] = Place(f"{origin} {name}", 0, 0)
            _put(data, path, raw)
    dropped = _drop(data, file, changes, chosen)
    document = _AmendedDocument(file.document.file, data, file.document._root, places)
    try:
        return Amended(checked_survey(document, LATEST), dropped)
    except BadInput as error:
        raise BadInput(_once(error.problems)) from None


def _once(problems: Iterable[Problem]) -> list[Problem]:
    """The same thing said of several walls, said of the first of them and of how many more."""
    alike: dict[Problem, list[Problem]] = {}
    for each in problems:
        field = _WALL.sub("", each.field, count=1)
        alike.setdefault(dataclasses.replace(each, field=field), []).append(each)
    return [
        first
        if not more
        else dataclasses.replace(
            first, message=f"{first.message} (likewise at {len(more)} more wall{'s' if more[1:] else ''})"
        )
        for first, *more in alike.values()
    ]


@dataclass(frozen=True, slots=True, eq=False)
class _AmendedDocument(Document):
    """A document in which some paths stand elsewhere than in the file."""

    places: Mapping[Path, Place] = dataclasses.field(default_factory=dict)

    def place(self, path: Path) -> Place:
        return self._set_place(path) or Document.place(self, path)

    def key_place(self, path: Path) -> Place:
        return self._set_place(path) or Document.key_place(self, path)

    def _set_place(self, path: Path) -> Place | None:
        return next((place for start, place in self.places.items() if path[: len(start)] == start), None)


def _paths(name: str, walls: list[int]) -> list[Path]:
    section, _, field = name.partition(".")
    if section == "property":
        return [(section, field)]
    return [("walls", index, section, field) for index in walls]


def _put(data: Any, path: Path, raw: Any) -> None:
    *way, last = path
    for step in way:
        if isinstance(step, str) and isinstance(data, dict) and not isinstance(data.get(step), dict | list):
            data[step] = {}
        data = data[step]
    data[last] = _copied(raw)


def _copied(data: Any) -> Any:
    """A copy in which nothing is shared, as what two aliases of one YAML anchor read is."""
    if isinstance(data, dict):
        return {key: _copied(value) for key, value in data.items()}
    return [_copied(each) for each in data] if isinstance(data, list) else data


def _drop(data: dict[str, Any], file: SurveyFile, changes: Mapping[str, Any], chosen: list[int]) -> Any:
    """Take out of `data` what was given, applied before, and does not apply with the changes."""
    try:
        survey = Survey.model_validate(data)
    except ValueError:
        return ()  # said properly when the whole is checked
    dropped = []
    of_property = any(name.startswith("property.") for name in changes)
    for index, wall in enumerate(survey.walls):
        if index not in chosen and not of_property:
            continue
        notes = notes_of(survey.property, wall)
        for name, value in resolve(notes).items():
            if value.state is not State.NOT_APPLICABLE or notes[name].value is None or name in changes:
                continue
            section, _, field = name.partition(".")
            del data["walls"][index][section][field]
            dropped.append((wall.id, name))
    return tuple(dropped)


def as_written(value: Any) -> Any:
    """A fact's value as plain data that a survey file may hold; the inverse of reading it."""
    if isinstance(value, frozenset):
        return sorted(value) or "none"
    if isinstance(value, tuple):
        return [row.model_dump(exclude_none=True) for row in value]
    return value.isoformat() if isinstance(value, dt.date) else value


def given_facts(file: SurveyFile, wall: Wall) -> dict[str, Value]:
    """The facts of one wall that are known, by name."""
    values = file.values_of(wall)
    return {name: values[name] for name in facts() if values[name].known}
