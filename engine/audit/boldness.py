"""How bold each answer is: read from `rules/boldness.yaml`, which belongs to no one version of the rules."""

from __future__ import annotations

import difflib
import functools
import pathlib
from collections.abc import Collection, Iterator, Mapping, Sequence
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, ValidationError

from engine.errors import BadRules, Problem
from engine.facts.complaints import problems_from
from engine.facts.declare import Section
from engine.facts.document import Document, Path, field_name, read_document
from engine.rulebase.conditions import UNDECIDED
from engine.rulebase.load import load_rule_base, rules_folder, versions
from engine.rulebase.model import Sentence, Word
from engine.rulebase.rules import RuleBase

Step = Literal["bolder", "more_cautious", "newly_open", "newly_settled", "otherwise"]
"""What a difference between two answers is called."""
FILE = "boldness.yaml"


def _tuple(raw: Any) -> Any:
    return tuple(raw) if isinstance(raw, list) else raw


def _tuples(raw: Any) -> Any:
    return tuple(map(_tuple, raw)) if isinstance(raw, list) else raw


Names = Annotated[tuple[Word, ...], BeforeValidator(_tuple), Field(min_length=1)]


class ChoiceBoldness(Section):
    """The options of a choice in classes, the most cautious class first."""

    id: Word
    classes: Annotated[tuple[Names, ...], BeforeValidator(_tuples), Field(min_length=1)]
    because: Sentence


class SetBoldness(Section):
    """Of which members of a set it is more cautious to have one more: of all, of none, or of those named."""

    id: Word
    more_cautious: Literal["all", "none"] | Names
    because: Sentence


class Boldness(Section):
    """The file `boldness.yaml`."""

    choices: Annotated[tuple[ChoiceBoldness, ...], BeforeValidator(_tuple)]
    sets: Annotated[tuple[SetBoldness, ...], BeforeValidator(_tuple)]

    @functools.cached_property
    def ranks(self) -> Mapping[str, Mapping[str, int]]:
        """The class of every option by choice, from 0, the most cautious; `undecided` is below all."""
        return {
            each.id: {UNDECIDED: -1, **{option: at for at, several in enumerate(each.classes) for option in several}}
            for each in self.choices
        }

    def is_bolder(self, choice: str, option: str, than: str) -> bool:
        """Whether an option commits to more than another; false where either is not placed."""
        ranks = self.ranks.get(choice, {})
        return option in ranks and than in ranks and ranks[option] > ranks[than]

    def between(self, choice: str, before: str | None, after: str | None) -> Step:
        """What it is called that a choice came to one option and now comes to another; `None`: no such choice."""
        if before is None or after is None or before == after:
            return "otherwise"
        if UNDECIDED in (before, after):
            return "newly_open" if after == UNDECIDED else "newly_settled"
        if self.is_bolder(choice, after, before):
            return "bolder"
        return "more_cautious" if self.is_bolder(choice, before, after) else "otherwise"

    def of_member(self, name: str, member: str, *, gained: bool) -> Step:
        """What it is called that a set gained a member, or lost it."""
        protects = self._protecting.get(name, ())
        if protects != "all" and member not in protects:
            return "otherwise"
        return "more_cautious" if gained else "bolder"

    @functools.cached_property
    def _protecting(self) -> Mapping[str, Sequence[str]]:
        return {each.id: () if each.more_cautious == "none" else each.more_cautious for each in self.sets}


@functools.cache
def boldness(folder: pathlib.Path | None = None) -> Boldness:
    """Read the file that lies beside the versions, and hold it to every version there is.

    Raises:
        BadInput: with every problem of the file, or of a version that cannot be read.
    """
    folder = folder or rules_folder()
    document = read_document(folder / FILE, f"rules/{FILE}")
    try:
        found = Boldness.model_validate(document.data)
    except ValidationError as error:
        raise BadRules(problems_from(error, document, Boldness)) from None
    # The same arguments as elsewhere, so that a version is not read twice.
    where = () if folder == rules_folder() else (folder,)
    bases = [load_rule_base(manifest.version, *where) for manifest in versions(folder)]
    problems = list(_problems(found, document, bases))
    if problems:
        raise BadRules(problems)
    return found


def _problems(found: Boldness, document: Document, bases: Sequence[RuleBase]) -> Iterator[Problem]:
    options: dict[str, dict[str, str]] = {}
    members: dict[str, set[str]] = {}
    for base in bases:
        for choice in base.choices.values():
            for option in choice.options:
                options.setdefault(choice.id, {}).setdefault(option.id, base.manifest.version)
        for name, several in base.members.items():
            members.setdefault(name, set()).update(several)

    def problem(path: Path, message: str, word: str, allowed: Collection[str]) -> Problem:
        place = document.place(path)
        near = difflib.get_close_matches(word, allowed, 1, 0.5)
        hint = f"did you mean {near[0]}?" if near else ""
        shown = ", ".join(allowed) if len(allowed) <= 30 else ""
        return Problem(place.file, place.line, place.column, field_name(path), message, word, shown, hint)

    groups = (
        ("choices", [row.id for row in found.choices], options),
        ("sets", [row.id for row in found.sets], members),
    )
    for group, names, known in groups:
        for index, name in enumerate(names):
            if name not in known:
                yield problem((group, index, "id"), f"no version has {_A[group]} of this name", name, sorted(known))
            elif name in names[:index]:
                yield problem((group, index, "id"), "stands twice", name, ())
        yield from (
            problem((group,), f"{_A[group]} of some version is missing", name, ())
            for name in known
            if name not in names
        )
    for index, each in enumerate(found.choices):
        if each.id in options:
            for path, message, word, allowed in _misplaced(each, options[each.id]):
                yield problem(("choices", index, "classes", *path), message, word, allowed)
    for index, row in enumerate(found.sets):
        if row.id in members and not isinstance(row.more_cautious, str):
            for number, member in enumerate(row.more_cautious):
                if member not in members[row.id]:
                    at: Path = ("sets", index, "more_cautious", number)
                    yield problem(at, f"no version has this member of {row.id}", member, sorted(members[row.id]))


def _misplaced(row: ChoiceBoldness, options: Mapping[str, str]) -> Iterator[tuple[Path, str, str, Collection[str]]]:
    """Options that no version has or that are placed twice, and those not placed; `options` with a version each."""
    placed: set[str] = set()
    for at, several in enumerate(row.classes):
        for number, option in enumerate(several):
            if option == UNDECIDED:
                yield (at, number), "is below all options and not named", option, ()
            elif option not in options:
                yield (at, number), f"no version has this option of {row.id}", option, tuple(options)
            elif option in placed:
                yield (at, number), "is placed twice", option, ()
            placed.add(option)
    for option, version in options.items():
        if option not in placed:
            yield (), f"an option of {row.id} in version {version} is not placed", option, ()


_A = {"choices": "a choice", "sets": "a set"}
