"""Decision vectors read from a folder: walls with what one version of the rules must decide about each.

The folder holds `bases.yaml` (named facts that vectors start from) and lists of vectors. Those in the folder itself are
judged by the version that is asked about, those in a sub-folder named after a version by that version only. A version
that has such a sub-folder has later ones after it: what the folder itself says may have been changed by them, and then
counts no more for it. Beside them `recorded/<version>` may hold decisions that were recorded (`engine.audit.recorded`).
"""

from __future__ import annotations

import copy
import dataclasses
import difflib
import pathlib
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from typing import Annotated, Any

from pydantic import BeforeValidator, TypeAdapter, ValidationError

from engine.audit.findings import Spot
from engine.audit.recorded import Recorded, read_recorded
from engine.errors import BadInput, Problem
from engine.facts.complaints import problems_from
from engine.facts.declare import Section
from engine.facts.document import Document, Path, read_document
from engine.rulebase.rules import RuleBase

BASES, RECORDED = "bases.yaml", "recorded"
SURVEY_DATE = "2026-06-15"
"""When a vector's wall was surveyed, where it does not say."""


def _tuple(raw: Any) -> Any:
    return tuple(raw) if isinstance(raw, list) else raw


def _options(raw: Any) -> Any:
    if not isinstance(raw, dict):
        return raw
    return {name: tuple(each) if isinstance(each, list | tuple) else (each,) for name, each in raw.items()}


Strings = Annotated[tuple[str, ...], BeforeValidator(_tuple)]
Facts = dict[str, dict[str, Any]]


class Among(Section):
    """Members that a set must hold, and such as it must not."""

    includes: Strings = ()
    excludes: Strings = ()


class Vector(Section):
    """One wall and what must be decided about it.

    `expect` gives the options of a choice any of which will do. In a file each set of the rule base is a key of its
    own; here they are together in `sets`.
    """

    id: str
    teaches: str
    source: str
    source_says: str
    base: str | None = None
    facts: Facts = {}
    expect: Annotated[dict[str, tuple[str, ...]], BeforeValidator(_options)]
    status: dict[str, str] = {}
    readings: dict[str, float | int] = {}
    fires: Strings = ()
    silent: Strings = ()
    cites: Strings = ()
    sets: dict[str, Among] = {}


class _BaseFacts(Section):
    base: str | None = None
    facts: Facts = {}


@dataclass(frozen=True, slots=True)
class Placed:
    """A vector with the place it stands at, and all facts of its wall.

    `later`: it stands in the folder itself, while the version asked about has a sub-folder of its own.
    """

    vector: Vector
    at: Spot
    facts: Facts
    later: bool = False


@dataclass(frozen=True, slots=True)
class Vectors:
    """What a folder says of one version. `folder` is as it was given; `None`: there is none, only the rules' examples.

    `left_out` are vectors that name what the version does not have, each with why.
    """

    folder: str | None
    placed: tuple[Placed, ...] = ()
    left_out: tuple[tuple[Placed, str], ...] = ()
    recorded: tuple[Recorded, ...] = ()


NO_VECTORS = Vectors(None)
"""Where there is no folder."""


def read_vectors(folder: pathlib.Path, base: RuleBase) -> Vectors:
    """The vectors and recorded decisions of a folder that are for this version.

    Raises:
        BadInput: with every problem of every file.
    """
    version = base.manifest.version
    problems: list[Problem] = []
    if not folder.is_dir():
        raise BadInput([Problem(str(folder), 0, 0, "", "is no folder", "", "a folder of decision vectors")])
    bases = dict(_bases(folder / BASES, problems)) if (folder / BASES).exists() else {}
    placed: list[Placed] = []
    own = (folder / version).is_dir()
    for path in _files(folder, version):
        later = own and path.parent == folder
        placed += (dataclasses.replace(each, later=later) for each in _placed(path, bases, base, problems))
    recorded = read_recorded(folder / RECORDED / version, problems)
    _no_id_twice(placed, problems)
    if problems:
        raise BadInput(problems)
    faults = [(each, "; ".join(misfits(each.vector, base))) for each in placed]
    return Vectors(
        str(folder),
        tuple(each for each, fault in faults if not fault),
        tuple((each, fault) for each, fault in faults if fault),
        recorded,
    )


def _files(folder: pathlib.Path, version: str) -> Iterator[pathlib.Path]:
    yield from sorted(path for path in folder.glob("*.yaml") if path.name != BASES)
    yield from sorted(path for path in (folder / version).glob("*.yaml") if path.name != BASES)


def _document(path: pathlib.Path, problems: list[Problem]) -> Document | None:
    try:
        return read_document(path, list_allowed=True)
    except BadInput as error:
        problems.extend(error.problems)
        return None


def _bases(path: pathlib.Path, problems: list[Problem]) -> Iterator[tuple[str, _BaseFacts]]:
    document = _document(path, problems)
    if document is None or not isinstance(document.data, dict):
        return
    for name, raw in document.data.items():
        try:
            yield name, _BaseFacts.model_validate(raw)
        except ValidationError as error:
            problems.extend(problems_from(error, document, _BaseFacts, (name,)))


def _placed(
    path: pathlib.Path, bases: Mapping[str, _BaseFacts], rules: RuleBase, problems: list[Problem]
) -> Iterator[Placed]:
    document = _document(path, problems)
    if document is None:
        return
    if not isinstance(document.data, list):
        problems.append(Problem(document.file, 1, 1, "", "is not a list of vectors"))
        return
    adapter = TypeAdapter(Vector)
    for index, raw in enumerate(document.data):
        place = document.place((index,))
        try:
            vector = adapter.validate_python(_sets_together(raw, rules))
        except ValidationError as error:
            problems.extend(problems_from(error, document, Vector, (index,)))
            continue
        try:
            facts = facts_of(vector.base, vector.facts, bases)
        except KeyError as error:
            path_to_base: Path = (index, "base")
            problems.append(_unknown_base(document, path_to_base, error.args[0], bases))
            continue
        yield Placed(vector, Spot(file=place.file, line=place.line, column=place.column), facts)


def _sets_together(raw: Any, rules: RuleBase) -> Any:
    if not isinstance(raw, dict):
        return raw
    others = {key: value for key, value in raw.items() if key not in rules.sets}
    return {**others, "sets": {name: raw[name] for name in rules.sets if name in raw}}


def _unknown_base(document: Document, path: Path, name: str, bases: Collection[str]) -> Problem:
    place = document.place(path)
    near = difflib.get_close_matches(name, bases, 1, 0.6)
    hint = f"did you mean {near[0]}?" if near else ""
    return Problem(place.file, place.line, place.column, "base", "no base of this name", name, f"see {BASES}", hint)


def _no_id_twice(placed: list[Placed], problems: list[Problem]) -> None:
    seen: dict[str, Placed] = {}
    for each in placed:
        if (first := seen.setdefault(each.vector.id, each)) is not each:
            where = f"{first.at.file}:{first.at.line}"
            at = each.at
            problems.append(Problem(at.file, at.line, at.column, "id", "stands already", each.vector.id, where))


def facts_of(base: str | None, facts: Facts, bases: Mapping[str, _BaseFacts]) -> Facts:
    """All facts: those of the base and of what it rests on, with these laid upon them.

    Raises:
        KeyError: no base of this name, or one that rests on itself.
    """
    if base is None:
        return merged({}, facts)
    under = bases[base]
    others = {name: each for name, each in bases.items() if name != base}
    return merged(facts_of(under.base, under.facts, others), facts)


def merged(under: Facts, over: Facts) -> Facts:
    """The facts of `over` laid upon those of `under`, section by section; null removes a fact."""
    facts = copy.deepcopy(under)
    for section, fields in over.items():
        held = {**facts.get(section, {}), **copy.deepcopy(fields)}
        facts[section] = {field: value for field, value in held.items() if value is not None}
    return facts


def survey_data_of(facts: Facts, reference: str) -> dict[str, Any]:
    """The data of a survey of one wall with these facts."""
    wall = {section: fields for section, fields in facts.items() if section != "property"}
    about = {"reference": reference, "survey_date": SURVEY_DATE, **facts.get("property", {})}
    return {"form": 1, "property": about, "walls": [{"id": "W1", **wall}]}


def misfits(vector: Vector, base: RuleBase) -> Iterator[str]:
    """What a vector names that a version does not have."""
    for name, wanted in (*vector.expect.items(), *((name, ()) for name in vector.status)):
        if name not in base.choices:
            yield f"no choice {name}"
            continue
        known = {option.id for option in base.choices[name].options}
        yield from (f"no option {each} of {name}" for each in wanted if each not in known)
    yield from (f"no rule {rule}" for rule in (*vector.fires, *vector.silent) if rule not in base.by_id)
    for name, among in vector.sets.items():
        held = base.members.get(name, {})
        yield from (f"no member {each} of {name}" for each in (*among.includes, *among.excludes) if each not in held)
    yield from (f"no source {each}" for each in (vector.source, *vector.cites) if each not in base.sources)
