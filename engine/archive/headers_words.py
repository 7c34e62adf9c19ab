"""Reads `rules/synonyms.yaml`: other words for columns and for what stands in their cells. It belongs to no version."""

from __future__ import annotations

import functools
import pathlib
import re
from collections.abc import Iterator, Mapping
from typing import Annotated, Any

from pydantic import BeforeValidator, Field, ValidationError

from engine.archive.mapping_columns import column_of, fault_of, nearest, sheet_columns
from engine.errors import BadRules, Problem
from engine.facts.complaints import clipped, problems_from
from engine.facts.declare import Section
from engine.facts.document import Document, Path, field_name, read_document
from engine.rulebase.load import rules_folder
from engine.rulebase.model import Sentence

FILE = "synonyms.yaml"


def _tuple(raw: Any) -> Any:
    return tuple(raw) if isinstance(raw, list) else raw


Phrase = Annotated[str, Field(min_length=1, max_length=60)]
Phrases = Annotated[tuple[Phrase, ...], BeforeValidator(_tuple), Field(min_length=1)]
Factor = Annotated[float, Field(gt=0)]


class Together(Section):
    """Headers that may stand for one or several of some columns; `otherwise`: our word where only another knows it."""

    columns: Phrases
    headers: Phrases
    otherwise: dict[str, str] = {}


class Synonyms(Section):
    """The file `synonyms.yaml`; see the head of it."""

    headers: dict[str, Phrases]
    rows: dict[str, dict[str, Phrases]]
    together: Annotated[tuple[Together, ...], BeforeValidator(_tuple)] = ()
    values: dict[str, dict[str, Phrases]]
    look_at: dict[str, Sentence]
    units: dict[str, dict[Phrase, Factor]]
    yes: Phrases
    no: Phrases
    none: Phrases
    unknown: Phrases

    @functools.cached_property
    def header_words(self) -> Mapping[str, tuple[str, ...]]:
        """By column, numbered ones included: what it may be headed, in plain words (see `plain`)."""
        found = {name: tuple(plain(phrase) for phrase in phrases) for name, phrases in self.headers.items()}
        for each in self.together:
            for name in each.columns:
                found[name] = (*found.get(name, ()), *map(plain, each.headers))
        for column in sheet_columns():
            head, _, field = column.rpartition(".")
            of, _, number = head.rpartition(".")
            phrases = self.rows.get(of, {}).get(field, ()) if number.isdigit() else ()
            if phrases:
                found[column] = tuple(plain(phrase.replace("{n}", number)) for phrase in phrases)
        return found

    def beside(self, header: str, column: str) -> Together | None:
        """What a header may stand for together with a column; None where it stands for that one alone."""
        return next((t for t in self.together if column in t.columns and plain(header) in map(plain, t.headers)), None)

    @functools.cached_property
    def value_words(self) -> Mapping[str, Mapping[str, str]]:
        """By column: what a cell may say, in plain words -> our word."""
        return {
            name: {plain(phrase): option for option, phrases in options.items() for phrase in phrases}
            for name, options in self.values.items()
        }

    @functools.cached_property
    def unknown_words(self) -> frozenset[str]:
        """What a cell may say for unknown, in plain words."""
        return frozenset(map(plain, self.unknown))

    @functools.cached_property
    def none_words(self) -> frozenset[str]:
        """What a cell may say for none, in plain words."""
        return frozenset(map(plain, self.none))

    @functools.cached_property
    def yes_no_words(self) -> Mapping[str, str]:
        """What a cell may say for yes or no, in plain words -> our word."""
        return {**dict.fromkeys(map(plain, self.yes), "yes"), **dict.fromkeys(map(plain, self.no), "no")}


def plain(text: str) -> str:
    """Words without case, joined words apart (`WallType`), stops and hyphens as spaces."""
    apart = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", text)
    words = re.sub(r"[\s_.,:;/\\()\[\]{}\"'#–—-]+", " ", apart).strip().casefold()
    return words or text.strip().casefold()


@functools.cache
def synonyms(folder: pathlib.Path | None = None) -> Synonyms:
    """Read the file that lies beside the versions, and hold it to the columns and words there are.

    Raises:
        BadRules: with every problem of the file.
    """
    document = read_document((folder or rules_folder()) / FILE, f"rules/{FILE}")
    try:
        found = Synonyms.model_validate(document.data)
    except ValidationError as error:
        raise BadRules(problems_from(error, document, Synonyms)) from None
    if problems := list(_problems(found, document)):
        raise BadRules(problems)
    return found


def _problems(found: Synonyms, document: Document) -> Iterator[Problem]:
    yield from _headers(found, document)
    for name, fields in found.rows.items():
        for field, phrases in fields.items():
            if column_of(f"{name}.1.{field}") is None:
                yield _problem(document, ("rows", name, field), "there is no such column", f"{name}.1.{field}")
            for index, phrase in enumerate(phrases):
                if "{n}" not in phrase:
                    yield _problem(document, ("rows", name, field, index), "has no {n}", phrase)
    for name, options in found.values.items():
        column = column_of(name)
        if column is None or not column.options:
            yield _problem(document, ("values", name), "is no column with words of its own", name)
            continue
        yield from _options(document, name, column.options, options)
    for name in found.look_at:
        if column_of(name) is None:
            yield _problem(document, ("look_at", name), "there is no such column", name, nearest(name, sheet_columns()))
    units = {column.unit for column in sheet_columns().values()}
    for unit in found.units:
        if unit not in units:
            yield _problem(document, ("units", unit), "is no unit of a column", unit)


def _headers(found: Synonyms, document: Document) -> Iterator[Problem]:
    said: dict[str, str] = {}
    for name, phrases in found.headers.items():
        if column_of(name) is None:
            near = nearest(name, sheet_columns())
            yield _problem(document, ("headers", name), "there is no such column", name, near)
        for index, phrase in enumerate(phrases):
            if plain(phrase) in said:
                message = f"stands for {said[plain(phrase)]} too"
                yield _problem(document, ("headers", name, index), message, phrase)
            said.setdefault(plain(phrase), name)
    for place, each in enumerate(found.together):
        for index, name in enumerate(each.columns):
            if column_of(name) is None:
                near = nearest(name, sheet_columns())
                yield _problem(document, ("together", place, "columns", index), "there is no such column", name, near)
        for index, phrase in enumerate(each.headers):
            if plain(phrase) in said:
                message = f"stands for {said[plain(phrase)]} too"
                yield _problem(document, ("together", place, "headers", index), message, phrase)
            said.setdefault(plain(phrase), each.columns[0])
        for name, word in each.otherwise.items():
            column = column_of(name) if name in each.columns else None
            if column is None or fault_of(column, word):
                yield _problem(document, ("together", place, "otherwise", name), "is no word of such a column", word)


def _options(
    document: Document, name: str, known: tuple[str, ...], options: Mapping[str, tuple[str, ...]]
) -> Iterator[Problem]:
    said: dict[str, str] = {}
    for option, phrases in options.items():
        if option not in known:
            yield _problem(
                document, ("values", name, option), "is no word of this column", option, nearest(option, known)
            )
        for index, phrase in enumerate(phrases):
            word = plain(phrase)
            if word in said:
                yield _problem(document, ("values", name, option, index), f"stands for {said[word]} too", phrase)
            elif word in {plain(each) for each in known} - {plain(option)}:
                yield _problem(document, ("values", name, option, index), "is another word of this column", phrase)
            said.setdefault(word, option)


def _problem(document: Document, path: Path, message: str, found: str, near: list[str] | None = None) -> Problem:
    place = document.place(path) if isinstance(path[-1], int) else document.key_place(path)
    hint = f"did you mean {near[0]}?" if near else ""
    return Problem(place.file, place.line, place.column, field_name(path), message, clipped(found), "", hint)
