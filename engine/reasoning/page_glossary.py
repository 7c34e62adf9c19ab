"""Reads the words of the trade from `rules/glossary.yaml`, which belongs to no one version of the rules."""

from __future__ import annotations

import functools
import pathlib
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Any, Literal, Self

from pydantic import BeforeValidator, Field, TypeAdapter, ValidationError, model_validator
from pydantic_core import PydanticCustomError

from engine.errors import BadRules, Problem
from engine.facts.complaints import problems_from
from engine.facts.declare import Section, YesNo
from engine.facts.document import read_document
from engine.rulebase.load import rules_folder
from engine.rulebase.model import Sentence, Word

Scale = Literal[
    "word", "basis", "strength", "certainty", "status", "state", "established", "effort", "seen", "source_kind"
]


def _tuple(raw: Any) -> Any:
    return tuple(raw) if isinstance(raw, list) else raw


Name = Annotated[str, Field(min_length=1, max_length=60)]
Names = Annotated[tuple[Name, ...], BeforeValidator(_tuple)]


class Term(Section):
    """One word: what it means in plain words, what to read with it, and what it rests on.

    `scale` and `values` are of a word that is a scale of grades or states. A word is `ours` where only these rules use
    it so; any other names a source.
    """

    id: Word
    term: Name
    also: Names = ()
    scale: Scale | None = None
    meaning: Sentence
    values: dict[str, Sentence] = {}
    related: Names = ()
    source: Word | None = None
    ours: YesNo = False

    @model_validator(mode="after")
    def _one_ground(self) -> Self:
        if bool(self.source) == self.ours:
            raise PydanticCustomError("rows", "a word either names its source or is one of ours")
        if bool(self.scale) != bool(self.values):
            raise PydanticCustomError("rows", "scale and values go together")
        return self


@dataclass(frozen=True, eq=False)
class Glossary:
    """The words by id, in the order written, and each scale by its name."""

    terms: Mapping[str, Term]

    @functools.cached_property
    def scales(self) -> Mapping[str, Term]:
        """The words that are scales, by the scale."""
        return {term.scale: term for term in self.terms.values() if term.scale}

    def meaning(self, scale: Scale, value: str) -> str:
        """What one value of a scale means; "" where the glossary does not say."""
        term = self.scales.get(scale)
        return term.values.get(value, "") if term else ""


@functools.cache
def load_glossary(folder: pathlib.Path | None = None) -> Glossary:
    """Read the glossary that lies beside the versions of the rules.

    Raises:
        BadInput: with every problem of the file.
    """
    document = read_document((folder or rules_folder()) / "glossary.yaml", "rules/glossary.yaml", list_allowed=True)
    adapter = TypeAdapter(Term)
    terms: dict[str, Term] = {}
    problems: list[Problem] = []
    for index, row in enumerate(document.data if isinstance(document.data, list) else []):
        try:
            term = adapter.validate_python(row)
        except ValidationError as error:
            problems.extend(problems_from(error, document, Term, (index,)))
            continue
        if term.id in terms:
            place = document.place((index, "id"))
            problems.append(Problem(place.file, place.line, place.column, "id", "stands twice", term.id))
        terms[term.id] = term
    if problems or not terms:
        raise BadRules(problems or [Problem(document.file, 0, 0, "", "is not a list of words")])
    return Glossary(terms)
