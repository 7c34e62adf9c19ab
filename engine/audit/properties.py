"""What must hold in every possible survey, as data beside the rules: `rules/<version>/properties.yaml`."""

from __future__ import annotations

import difflib
import pathlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Annotated, Any

from pydantic import BeforeValidator, Field

from engine.audit.data_rows import read_rows, spot_at
from engine.audit.findings import Spot
from engine.errors import BadRules, Problem
from engine.facts.declare import Section
from engine.facts.document import Document, Path
from engine.facts.vocabulary import Variable
from engine.rulebase.conditions import Condition, ConditionParser, tests_in
from engine.rulebase.load import rules_folder
from engine.rulebase.model import Sentence, Word
from engine.rulebase.rules import RuleBase


def _tuple(raw: Any) -> Any:
    return tuple(raw) if isinstance(raw, list) else raw


class RawProperty(Section):
    """One property as written: `never` holds, `whenever` holds `then` does, or a fact forgotten is `never_bolder`.

    Conditions are as in rules and may read every decision and set. `never_bolder` names by choice the options that
    a survey which knows less must not come to unless the one that knows more does.
    """

    id: Word
    says: Sentence
    because: Sentence
    never: Any = None
    whenever: Any = None
    then: Any = None
    never_bolder: dict[Word, Annotated[tuple[Word, ...], BeforeValidator(_tuple), Field(min_length=1)]] | None = None


@dataclass(frozen=True, slots=True)
class Property:
    """One property, compiled. It is broken where `when` is true and `then`, if there is one, is not true.

    Of one about what is forgotten, `bold` holds pairs of choice and option.
    """

    id: str
    says: str
    because: str
    at: Spot
    when: Condition | None
    then: Condition | None
    bold: tuple[tuple[str, str], ...]


def properties_of(base: RuleBase, folder: pathlib.Path | None = None) -> tuple[Property, ...]:
    """The properties of a version, in the order written; none where it has no such file.

    Raises:
        BadRules: with every problem of the file.
    """
    version = base.manifest.version
    path = (folder or rules_folder()) / version / "properties.yaml"
    rows, document = read_rows(path, f"rules/{version}/properties.yaml", RawProperty)
    if document is None:
        return ()
    reader = _Reader(base, document)
    found = [reader.read(raw, place) for raw, place in rows]
    if reader.problems:
        raise BadRules(reader.problems)
    return tuple(found)


def readings_of(properties: Iterable[Property]) -> Mapping[str, Variable]:
    """The readings that properties ask for."""
    tests = (test for each in properties for when in (each.when, each.then) if when for test in tests_in(when))
    return {test.variable.name: test.variable for test in tests if test.variable.name.startswith("reading.")}


class _Reader:
    def __init__(self, base: RuleBase, document: Document) -> None:
        self._base, self._document = base, document
        self._ids: set[str] = set()
        self.problems: list[Problem] = []

    def read(self, raw: RawProperty, path: Path) -> Property:
        if raw.id in self._ids:
            self._note((*path, "id"), "stands twice", raw.id, "", "")
        self._ids.add(raw.id)
        kinds = [name for name in ("never", "whenever", "never_bolder") if getattr(raw, name) is not None]
        if len(kinds) != 1 or (raw.whenever is None) != (raw.then is None):
            allowed = "never; or whenever and then; or never_bolder"
            self._note(path, "says none of these, or several", ", ".join(kinds), allowed, "")
        first = "never" if raw.never is not None else "whenever"
        return Property(
            raw.id,
            raw.says,
            raw.because,
            spot_at(self._document, path),
            self._condition(getattr(raw, first), (*path, first)),
            self._condition(raw.then, (*path, "then")),
            tuple(self._bold(raw, path)),
        )

    def _condition(self, raw: Any, path: Path) -> Condition | None:
        def report(where: Path, message: str, found: str, allowed: str, hint: str) -> None:
            self._note((*path, *where), message, found, allowed, hint)

        return None if raw is None else ConditionParser(self._base.variables, report).parse(raw, ())

    def _bold(self, raw: RawProperty, path: Path) -> list[tuple[str, str]]:
        found = []
        for name, options in (raw.never_bolder or {}).items():
            choice = self._base.choices.get(name)
            known = [each.id for each in choice.options] if choice else []
            if choice is None:
                self._unknown((*path, "never_bolder", name), "no choice of this name", name, list(self._base.choices))
            for option in options if choice else ():
                if option not in known:
                    self._unknown((*path, "never_bolder", name), f"no option of {name}", option, known)
                found.append((name, option))
        return found

    def _unknown(self, path: Path, message: str, found: str, known: list[str]) -> None:
        near = difflib.get_close_matches(found, known, 1, 0.6)
        self._note(path, message, found, ", ".join(known), f"did you mean {near[0]}?" if near else "")

    def _note(self, path: Path, message: str, found: str, allowed: str, hint: str) -> None:
        place = self._document.place(path)
        field = ".".join(str(step) for step in path[1:])
        self.problems.append(Problem(place.file, place.line, place.column, field, message, found, allowed, hint))
