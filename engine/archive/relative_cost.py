"""Which medium costs more than which: read from `rules/relative_cost.yaml`, which belongs to no one version."""

from __future__ import annotations

import difflib
import functools
import pathlib
from collections.abc import Collection, Iterator, Mapping
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, ValidationError

from engine.errors import BadRules, Problem
from engine.facts.complaints import problems_from
from engine.facts.declare import Section
from engine.facts.document import Document, Path, field_name, read_document
from engine.rulebase.load import load_rule_base, rules_folder, versions
from engine.rulebase.model import Sentence, Word

FILE = "relative_cost.yaml"


def _tuple(raw: Any) -> Any:
    return tuple(raw) if isinstance(raw, list) else raw


class CostClass(Section):
    """Options that cost much the same, and why they stand where they do."""

    options: Annotated[tuple[Word, ...], BeforeValidator(_tuple), Field(min_length=1)]
    because: Sentence


class RelativeCost(Section):
    """The file `relative_cost.yaml`: the options of one choice in classes, the cheapest first."""

    choice: Word
    basis: Literal["common practice, no source"]
    classes: Annotated[tuple[CostClass, ...], BeforeValidator(_tuple), Field(min_length=2)]

    @functools.cached_property
    def ranks(self) -> Mapping[str, int]:
        """The class of every option, from 0, the cheapest."""
        return {option: at for at, each in enumerate(self.classes) for option in each.options}

    def cheaper_than(self, option: str) -> tuple[str, ...]:
        """The options that cost less, the cheapest first; none for an option that is not placed."""
        rank = self.ranks.get(option, 0)
        return tuple(each for each in self.ranks if self.ranks[each] < rank)


@functools.cache
def relative_cost(folder: pathlib.Path | None = None) -> RelativeCost:
    """Read the file that lies beside the versions, and hold it to every version there is.

    Raises:
        BadRules: with every problem of the file.
        BadInput: a version cannot be read.
    """
    folder = folder or rules_folder()
    document = read_document(folder / FILE, f"rules/{FILE}")
    try:
        found = RelativeCost.model_validate(document.data)
    except ValidationError as error:
        raise BadRules(problems_from(error, document, RelativeCost)) from None
    # The same arguments as elsewhere, so that a version is not read twice.
    where = () if folder == rules_folder() else (folder,)
    bases = [load_rule_base(manifest.version, *where) for manifest in versions(folder)]
    options: dict[str, str] = {}
    choices: dict[str, None] = {}
    for base in bases:
        choices.update(dict.fromkeys(base.choices))
        if found.choice in base.choices:
            for option in base.choices[found.choice].options:
                options.setdefault(option.id, base.manifest.version)
    problems = list(_problems(found, document, choices, options))
    if problems:
        raise BadRules(problems)
    return found


def _problems(
    found: RelativeCost, document: Document, choices: Collection[str], options: Mapping[str, str]
) -> Iterator[Problem]:
    def problem(path: Path, message: str, word: str, allowed: Collection[str]) -> Problem:
        place = document.place(path)
        near = difflib.get_close_matches(word, allowed, 1, 0.5)
        hint = f"did you mean {near[0]}?" if near else ""
        return Problem(place.file, place.line, place.column, field_name(path), message, word, ", ".join(allowed), hint)

    if found.choice not in choices:
        yield problem(("choice",), "no version has a choice of this name", found.choice, choices)
        return
    placed: set[str] = set()
    for at, each in enumerate(found.classes):
        for number, option in enumerate(each.options):
            path: Path = ("classes", at, "options", number)
            if option not in options:
                yield problem(path, f"no version has this option of {found.choice}", option, options)
            elif option in placed:
                yield problem(path, "is placed twice", option, ())
            placed.add(option)
    for option, version in options.items():
        if option not in placed:
            yield problem(("classes",), f"an option of {found.choice} in version {version} is not placed", option, ())
