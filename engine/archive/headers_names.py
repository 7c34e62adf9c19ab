"""How well the words of a header agree with the name of a column, and which unit the header names."""

from __future__ import annotations

import functools
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass

from engine.archive.headers_tokens import token_likeness
from engine.archive.headers_words import Synonyms, plain, synonyms
from engine.archive.mapping_columns import SheetColumn, sheet_columns
from engine.reasoning.page_glossary import load_glossary

IS_NAME, IS_SYNONYM, IS_FIELD, IS_ONE_OF_SEVERAL = 1.0, 0.96, 0.93, 0.62
_ALIKE, _GLOSSARY, _QUESTION = 0.85, 0.66, 0.6
_LITTLE = frozenset(
    ("a", "an", "and", "any", "are", "at", "be", "by", "for", "from", "has", "have", "how", "in", "is", "it")
)
_LITTLE |= frozenset(("of", "on", "or", "that", "the", "there", "this", "to", "was", "what"))
_BRACKETS = re.compile(r"[(\[]([^()\[\]]*)[)\]]")


@dataclass(frozen=True, slots=True)
class Match:
    """How well a header and a column agree by their words: 0 to 1, and why."""

    score: float
    reason: str


@dataclass(frozen=True, slots=True)
class Reading:
    """One way to read a header: its words, and the unit it names ("" where it names none), both in plain words."""

    words: str
    unit: str

    @property
    def tokens(self) -> frozenset[str]:
        """The words that count, apart."""
        return frozenset(self.words.split()) - _LITTLE or frozenset(self.words.split())


NO_MATCH = Match(0.0, "")


class Names:
    """The names of all columns, with what they may be called besides. `readings` and `match` are what it is for."""

    def __init__(self, words: Synonyms) -> None:
        self.words = words
        self._columns = sheet_columns()
        self._synonyms = words.header_words
        self._fields: dict[str, list[str]] = {}
        self._own = {name: _own_names(column) for name, column in self._columns.items()}
        for name, (_, fields) in self._own.items():
            for field in fields:
                self._fields.setdefault(field, []).append(name)
        self._units = {plain(column.unit) for column in self._columns.values() if column.unit}
        self._units |= {plain(word) for several in words.units.values() for word in several}
        self._terms = _glossary_words()
        self._weights = self._token_weights()

    def readings(self, header: str) -> tuple[Reading, ...]:
        """The ways to read a header: as it stands, and with a unit at its end or in brackets taken off."""
        text = header.replace("%", " % ")
        bracket = _BRACKETS.search(text)
        if bracket and plain(bracket[1]) in self._units:
            return (Reading(plain(text[: bracket.start()] + " " + text[bracket.end() :]), plain(bracket[1])),)
        words = plain(_BRACKETS.sub(" ", text)) if bracket else plain(text)
        for asked in (" y n", " yes no"):
            words = words.removesuffix(asked)
        found = [Reading(words, "")]
        for count in (2, 1):
            *rest, last = words.rsplit(" ", count) if count == 1 else _last_two(words)
            if rest and last in self._units:
                found.append(Reading(" ".join(rest), last))
        if bracket:
            found.append(Reading(plain(text), ""))
        return tuple(found)

    def knows(self, header: str) -> bool:
        """Whether a header is the name of a column or another word for one, as it stands."""
        return any(self.columns_called(reading) for reading in self.readings(header))

    def columns_called(self, reading: Reading) -> frozenset[str]:
        """The columns that are called just so, by their names or another word."""
        return self._called.get(reading.words, frozenset())

    @functools.cached_property
    def _called(self) -> Mapping[str, frozenset[str]]:
        found: dict[str, set[str]] = {}
        for name, (full, fields) in self._own.items():
            for phrase in (*full, *fields, *self._synonyms.get(name, ())):
                found.setdefault(phrase, set()).add(name)
        return {phrase: frozenset(several) for phrase, several in found.items()}

    def factor(self, column: SheetColumn, unit: str) -> float | None:
        """What a number in `unit` is multiplied by to be in the column's unit; None where it is no such unit."""
        if not unit or not column.unit:
            return None
        if unit == plain(column.unit):
            return 1.0
        others = {plain(word): factor for word, factor in self.words.units.get(column.unit, {}).items()}
        return others.get(unit)

    def match(self, reading: Reading, column: SheetColumn) -> Match:
        """How well the words agree; the best of all ways."""
        header = reading.words
        full, fields = self._own[column.name]
        if header in full:
            return Match(IS_NAME, "is the column's name")
        if header in self._synonyms.get(column.name, ()):
            return Match(IS_SYNONYM, "is another word for it")
        if column.name[-1:].isdigit() or re.search(r"\.\d+\.", column.name):
            return NO_MATCH  # a numbered column: nothing short of its name and number will do
        if header in fields:
            several = self._fields[header]
            if len(several) == 1:
                return Match(IS_FIELD, "is the column's name without its section")
            return Match(IS_ONE_OF_SEVERAL, f"is the name of a field in {len(several)} sections")
        return max(self._alike(reading, column), self._in_glossary(header, column), self._asked(reading, column),
                   key=lambda each: each.score)  # fmt: skip

    def _alike(self, reading: Reading, column: SheetColumn) -> Match:
        full, fields = self._own[column.name]
        best = NO_MATCH
        for name in (*full, *fields, *self._synonyms.get(column.name, ())):
            score = _ALIKE * self._agreement(reading.tokens, frozenset(name.split()) - _LITTLE)
            if score > best.score:
                best = Match(score, f"reads like '{name}'")
        return best

    def _in_glossary(self, header: str, column: SheetColumn) -> Match:
        term = self._terms.get(header, {}).get(column.name, "")
        return Match(_GLOSSARY, f"'{term}' in the glossary goes with it") if term else NO_MATCH

    def _asked(self, reading: Reading, column: SheetColumn) -> Match:
        """A header whose words all stand in the question."""
        asked = frozenset(plain(column.question).split())
        tokens = reading.tokens
        if len(tokens) < 2:
            return NO_MATCH
        share = self._covered(tokens, asked)
        return Match(_QUESTION * share, "its words stand in the question") if share >= 0.75 else NO_MATCH

    def _agreement(self, header: frozenset[str], name: frozenset[str]) -> float:
        """How far two sets of words are the same, rare words counting for more: the harmonic mean both ways."""
        there, back = self._covered(header, name), self._covered(name, header)
        return 2 * there * back / (there + back) if there + back else 0.0

    def _covered(self, these: frozenset[str], by: frozenset[str]) -> float:
        whole = sum(self._weight(token) for token in these)
        met = sum(
            self._weight(token) * max((token_likeness(token, other) for other in by), default=0.0) for token in these
        )
        return met / whole if whole else 0.0

    def _weight(self, token: str) -> float:
        return self._weights.get(token, self._rarest)

    def _token_weights(self) -> dict[str, float]:
        columns: dict[str, set[str]] = {}
        for name, (full, fields) in self._own.items():
            for phrase in (*full, *fields, *self._synonyms.get(name, ())):
                for token in phrase.split():
                    columns.setdefault(token, set()).add(name)
        total = len(self._own)
        self._rarest = math.log(1 + total)
        return {token: math.log(1 + total / len(names)) for token, names in columns.items()}


@functools.cache
def names() -> Names:
    """The names as the file of synonyms has them."""
    return Names(synonyms())


def _last_two(words: str) -> tuple[str, ...]:
    parts = words.split(" ")
    return (" ".join(parts[:-2]), " ".join(parts[-2:])) if len(parts) > 2 else (words,)


def _own_names(column: SheetColumn) -> tuple[frozenset[str], frozenset[str]]:
    """A column's own name in plain words, with and without its unit; and the same without its section."""
    _, _, field = column.name.partition(".")
    full, fields = {plain(column.name)}, {plain(field)} if field else set()
    ends = {plain(column.name).rpartition(" ")[2]} if column.unit else set()
    for end in ends:
        if end in (plain(column.unit or ""), "percent", "c", "mm2", "m2", "w", "m2k"):
            full |= {each.removesuffix(f" {end}") for each in set(full)}
            fields |= {each.removesuffix(f" {end}") for each in set(fields)}
    return frozenset(full), frozenset(fields)


def _glossary_words() -> Mapping[str, Mapping[str, str]]:
    """The words of the trade -> the columns they go with -> the term."""
    found: dict[str, dict[str, str]] = {}
    columns = sheet_columns()
    for term in load_glossary().terms.values():
        facts = [name for name in term.related if name in columns]
        for word in (term.term, *term.also):
            for name in facts:
                found.setdefault(plain(word), {}).setdefault(name, term.term)
    return found
