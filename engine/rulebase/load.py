"""Reads a version of the rule base from its files, checks all of it, and compiles it."""

from __future__ import annotations

import functools
import hashlib
import json
import pathlib
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from importlib import resources
from typing import Any, TypeVar

from pydantic import BaseModel, TypeAdapter, ValidationError

from engine.errors import BadInput, BadRules, Problem
from engine.facts.complaints import problems_from
from engine.facts.document import Document, Path, read_document, shown
from engine.facts.vocabulary import Variable, facts
from engine.readings.vocabulary import MAY_CHANGE, READINGS
from engine.rulebase.check import PLACEHOLDER, UNFILLED, placeholders_in, problems_in_rule
from engine.rulebase.conditions import UNDECIDED, Condition, ConditionParser
from engine.rulebase.model import STAGES, Choice, Choices, Manifest, Member, RawRule, SetOfFindings, Source
from engine.rulebase.rules import Rule, RuleBase, compiled
from engine.rulebase.tables import Tables, load_tables

M = TypeVar("M", bound=BaseModel)


@dataclass(frozen=True, slots=True)
class VersionRead:
    """What reading a version gave, faults and all; `base` only where there were none.

    `documents` go by name within the version's folder. `rows` says in which of them each rule stands, and its index
    there. `rules` are those whose condition could be read, `variables` all that any of them may read.
    """

    version: str
    folder: pathlib.Path
    manifest: Manifest | None
    base: RuleBase | None
    problems: tuple[Problem, ...]
    documents: Mapping[str, Document]
    rows: Mapping[str, tuple[str, int]]
    rules: tuple[Rule, ...]
    choices: Mapping[str, Choice]
    sets: Mapping[str, SetOfFindings]
    members: Mapping[str, Mapping[str, Member]]
    sources: Mapping[str, Source]
    variables: Mapping[str, Variable]
    tables: Tables | None

    def readable(self, stage: str) -> Mapping[str, Variable]:
        """What a rule of a stage may read: facts, readings, and what earlier stages concluded."""
        return _readable(self.variables, self.choices, self.sets, stage)


def rules_folder() -> pathlib.Path:
    """The folder that holds the versions."""
    return pathlib.Path(str(resources.files("rules")))


def versions(folder: pathlib.Path | None = None) -> tuple[Manifest, ...]:
    """The manifests of every version, the oldest first.

    Raises:
        BadRules: with every problem of every manifest.

    """
    found, problems = read_manifests(folder)
    if problems:
        raise BadRules(problems)
    return tuple(sorted(found.values(), key=lambda manifest: manifest.in_force_from))


def read_manifests(folder: pathlib.Path | None = None) -> tuple[Mapping[str, Manifest], tuple[Problem, ...]]:
    """The manifests that can be read, by the name of the folder each stands in, and what is wrong with the others."""
    found: dict[str, Manifest] = {}
    problems: list[Problem] = []
    for path in sorted((folder or rules_folder()).glob("*/manifest.yaml")):
        try:
            found[path.parent.name] = _manifest(path)
        except BadInput as error:
            problems.extend(error.problems)
    return found, tuple(problems)


@functools.cache
def load_rule_base(version: str, folder: pathlib.Path | None = None) -> RuleBase:
    """Load one version.

    Raises:
        BadRules: with every problem of every file.

    """
    read = read_version(version, folder)
    if read.base is None:
        raise BadRules(read.problems)
    return read.base


def read_version(version: str, folder: pathlib.Path | None = None) -> VersionRead:
    """Read one version for those who look into how it is written; nothing is raised and nothing kept."""
    return _Loader((folder or rules_folder()) / version).load()


def _manifest(path: pathlib.Path) -> Manifest:
    document = read_document(path, _shown(path))
    try:
        return Manifest.model_validate(document.data)
    except ValidationError as error:
        raise BadRules(problems_from(error, document, Manifest)) from None


def _shown(path: pathlib.Path) -> str:
    """A rule file's name from its version folder's parent: the same on every machine."""
    root = path.parent
    while root.name and not (root / "manifest.yaml").exists():
        root = root.parent
    return f"rules/{path.relative_to(root.parent).as_posix()}"


def choice_variable(choice: Choice) -> Variable:
    """The decision on a choice as a variable later stages may read."""
    options = (*(option.id for option in choice.options), UNDECIDED)
    return Variable(f"decided.{choice.id}", "choice", options, question=choice.title)


class _Loader:
    def __init__(self, folder: pathlib.Path) -> None:
        self._folder = folder
        self._problems: list[Problem] = []
        self._contents: dict[str, Any] = {}
        self._documents: dict[str, Document] = {}

    def load(self) -> VersionRead:
        """Read every file, then check across them."""
        manifest = self._one("manifest.yaml", Manifest)
        written = self._one("choices.yaml", Choices)
        sources = self._several("sources.yaml", Source)
        choices = {choice.id: choice for choice in written.choices} if written else {}
        sets = {each.id: each for each in written.sets} if written else {}
        members = {name: self._several(f"{name}.yaml", Member) for name in sets}
        steady = {name: variable for name, variable in READINGS.items() if name not in MAY_CHANGE}
        variables: dict[str, Variable] = {**facts(), **steady}
        for choice in choices.values():
            variables[f"decided.{choice.id}"] = choice_variable(choice)
        for name, each in sets.items():
            variables[f"found.{name}"] = Variable(f"found.{name}", "set", tuple(members[name]), question=each.title)
        rules: dict[str, Rule] = {}
        rows: dict[str, tuple[str, int]] = {}
        for stage in STAGES:
            readable = _readable(variables, choices, sets, stage)
            for raw, document, index in self._raw_rules(stage, readable):
                path: Path = (index,)
                rows.setdefault(raw.id, (f"rules/{stage}.yaml", index))
                rule = self._compile(raw, document, path, readable)
                for where, message, found, allowed, hint in problems_in_rule(
                    raw, stage, choices, sets, members, sources
                ):
                    self._note(document, (*path, *where), message, found, allowed, hint)
                if rule is None:
                    continue
                if rule.id in rules:
                    self._note(document, (*path, "id"), "stands already", rule.id, rules[rule.id].where)
                rules[rule.id] = rule
        read = load_tables(self._folder, sources, choices, self._problems.append)
        self._contents.update(read.contents)
        compiled_rules = tuple(rules[key] for key in sorted(rules))
        problems = self._without_echoes()
        base = None
        if manifest is not None and not problems:
            base = RuleBase(
                manifest,
                choices,
                sets,
                members,
                sources,
                compiled_rules,
                variables,
                self._digest(),
                read.tables,
            )
        return VersionRead(
            version=self._folder.name,
            folder=self._folder,
            manifest=manifest,
            base=base,
            problems=problems,
            documents=self._documents,
            rows=rows,
            rules=compiled_rules,
            choices=choices,
            sets=sets,
            members=members,
            sources=sources,
            variables=variables,
            tables=read.tables,
        )

    def _without_echoes(self) -> tuple[Problem, ...]:
        """The problems in order; of a place that is still to be filled in only that it is, and with what."""
        unfilled = {(p.file, p.line, p.column): p for p in self._problems if p.message == UNFILLED}
        kept = []
        for problem in self._problems:
            place = (problem.file, problem.line, problem.column)
            if place not in unfilled:
                kept.append(problem)
            elif problem.allowed and not unfilled[place].allowed:
                unfilled[place] = replace(unfilled[place], allowed=problem.allowed)
        return tuple(sorted((*kept, *unfilled.values())))

    def _digest(self) -> str:
        text = json.dumps(self._contents, sort_keys=True, ensure_ascii=False, separators=(",", ":"))
        return hashlib.sha256(text.encode()).hexdigest()

    def _note(
        self, document: Document, path: Path, message: str, found: str = "", allowed: str = "", hint: str = ""
    ) -> None:
        place = document.place(path)
        field = ".".join(str(step) for step in path[1:])
        self._problems.append(Problem(place.file, place.line, place.column, field, message, found, allowed, hint))

    def _document(self, name: str) -> Document | None:
        path = self._folder / name
        try:
            document = read_document(path, f"rules/{self._folder.name}/{name}", list_allowed=True)
        except BadInput as error:
            self._problems.extend(error.problems)
            return None
        self._contents[name] = document.data
        self._documents[name] = document
        for where, found in placeholders_in(document.data):
            self._note(
                document, where, UNFILLED, shown(found), hint=f"write what belongs here instead of {PLACEHOLDER}"
            )
        return document

    def _one(self, name: str, model: type[M]) -> M | None:
        document = self._document(name)
        if document is None:
            return None
        try:
            return model.model_validate(document.data)
        except ValidationError as error:
            self._problems.extend(problems_from(error, document, model))
            return None

    def _rows(
        self, name: str, model: type[M], otherwise: Callable[[Any, Document, Path], object] = lambda *row: None
    ) -> Iterator[tuple[M, Document, int]]:
        """The rows that are of their model; the others go to `otherwise`."""
        document = self._document(name)
        if document is None:
            return
        if not isinstance(document.data, list):
            self._note(document, (), "is not a list")
            return
        adapter = TypeAdapter(model)
        for index, row in enumerate(document.data):
            try:
                yield adapter.validate_python(row), document, index
            except ValidationError as error:
                self._problems.extend(problems_from(error, document, model, (index,)))
                otherwise(row, document, (index,))

    def _several(self, name: str, model: type[M]) -> Mapping[str, M]:
        found: dict[str, M] = {}
        for row, document, index in self._rows(name, model):
            key = getattr(row, "id")  # noqa: B009 - every row model has one
            if key in found:
                self._note(document, (index, "id"), "stands twice", key)
            found[key] = row
        return found

    def _raw_rules(self, stage: str, readable: Mapping[str, Variable]) -> Iterator[tuple[RawRule, Document, int]]:
        def condition_only(row: Any, document: Document, path: Path) -> None:
            if isinstance(row, dict) and "when" in row:
                self._condition(row["when"], document, path, readable)

        for raw, document, index in self._rows(f"rules/{stage}.yaml", RawRule, condition_only):
            if raw.stage != stage:
                self._note(document, (index, "stage"), "is not the stage of this file", raw.stage, stage)
            yield raw, document, index

    def _condition(
        self, when: Any, document: Document, path: Path, readable: Mapping[str, Variable]
    ) -> Condition | None:
        def report(where: Path, message: str, found: str, allowed: str, hint: str) -> None:
            self._note(document, (*path, "when", *where), message, found, allowed, hint)

        return ConditionParser(readable, report).parse(when, ())

    def _compile(self, raw: RawRule, document: Document, path: Path, readable: Mapping[str, Variable]) -> Rule | None:
        when = self._condition(raw.when, document, path, readable)
        place = document.place(path)
        return None if when is None else compiled(raw, when, f"{place.file}:{place.line}")


def _readable(
    variables: Mapping[str, Variable],
    choices: Mapping[str, Choice],
    sets: Mapping[str, SetOfFindings],
    stage: str,
) -> Mapping[str, Variable]:
    """What a rule of a stage may read: facts, readings, and what earlier stages concluded."""
    at = STAGES.index(stage)

    def earlier(name: str) -> bool:
        kind, _, key = name.partition(".")
        if kind == "decided":
            return STAGES.index(choices[key].stage) < at
        return kind != "found" or STAGES.index(sets[key].closes) < at

    return {name: variable for name, variable in variables.items() if earlier(name)}
