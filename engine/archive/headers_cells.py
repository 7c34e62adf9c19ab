"""What the cells below a header look like: numbers, dates, yes and no, words; and how far they fit a column."""

from __future__ import annotations

import datetime as dt
import functools
import re
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from engine.archive.headers_words import Synonyms, plain
from engine.archive.mapping_columns import SheetColumn

DATE_FORMATS = (
    "%Y-%m-%d",
    "%d/%m/%Y",
    "%d.%m.%Y",
    "%d-%m-%Y",
    "%d/%m/%y",
    "%d.%m.%y",
    "%d %b %Y",
    "%d %B %Y",
    "%d-%b-%Y",
    "%d-%b-%y",
    "%m/%d/%Y",
    "%Y/%m/%d",
)
"""Ways to write a day, day before month first where both could be meant."""
_NUMBER = re.compile(r"^[<>~c. ]*?(?P<sign>[-+]?)(?P<digits>\d+(?:[.,]\d+)?)\s*(?P<unit>[a-z%°²/. ]*)$", re.IGNORECASE)
_DECIMAL_COMMA = re.compile(r"^[-+]?\d+,(?:\d{1,2}|\d{4,})(?:\s|$)")
_DECIMAL_POINT = re.compile(r"^[-+]?\d+\.\d+(?:\s|$)")
_PARTS = re.compile(r"[;,/|+&\n]")
_SEPARATORS = (";", ",", "/", "|", "+", "&", "\n")


@dataclass(frozen=True)
class Cells:
    """The cells below one header that say something, as text, number or date; and the words that stand for unknown."""

    said: tuple[object, ...]
    unknown_words: Counter[str]
    places: tuple[int, ...] = ()
    """Of each that is said: in which of the rows looked at it stands, from 0."""

    @functools.cached_property
    def words(self) -> Counter[str]:
        """The cells as text, with how often each stands there."""
        return Counter(_text(cell) for cell in self.said)

    @functools.cached_property
    def numbers(self) -> tuple[float, ...]:
        """The cells that are numbers, a unit behind one passed over."""
        return tuple(number for number in map(number_in, self.said) if number is not None)

    @functools.cached_property
    def date_formats(self) -> tuple[str, ...]:
        """The ways to write a day in which every cell that is text can be read; () where some cannot."""
        texts = [cell.strip() for cell in self.said if isinstance(cell, str)]
        return tuple(each for each in DATE_FORMATS if texts and all(_reads(text, each) for text in texts))

    @functools.cached_property
    def dates_read(self) -> Counter[str]:
        """By way to write a day: how many of the cells that are text can be read so."""
        texts = [cell.strip() for cell in self.said if isinstance(cell, str)]
        return Counter({each: sum(_reads(text, each) for text in texts) for each in DATE_FORMATS})

    def not_read(self, form: str) -> list[tuple[int, str]]:
        """The cells that are text and no day written so, nor as YYYY-MM-DD, each with its place."""
        return [
            (place, cell.strip())
            for place, cell in zip(self.places, self.said, strict=False)
            if isinstance(cell, str) and not _reads(cell.strip(), form) and not _reads(cell.strip(), "%Y-%m-%d")
        ]

    def numbers_written(self, *, with_comma: bool) -> list[tuple[int, str]]:
        """The numbers that are text and have a decimal comma, or a point, each with its place."""
        pattern = _DECIMAL_COMMA if with_comma else _DECIMAL_POINT
        return [
            (place, cell.strip())
            for place, cell in zip(self.places, self.said, strict=False)
            if isinstance(cell, str) and pattern.match(cell.strip())
        ]

    @functools.cached_property
    def dates(self) -> int:
        """How many cells are dates."""
        typed = sum(isinstance(cell, dt.date) for cell in self.said)
        texts = [cell.strip() for cell in self.said if isinstance(cell, str)]
        return typed + max((sum(_reads(text, each) for text in texts) for each in DATE_FORMATS), default=0)

    @property
    def with_comma(self) -> int:
        """How many numbers are written with a comma for a point."""
        return sum(isinstance(cell, str) and _DECIMAL_COMMA.match(cell.strip()) is not None for cell in self.said)

    @property
    def with_point(self) -> int:
        """How many numbers are written as text with a point."""
        return sum(isinstance(cell, str) and _DECIMAL_POINT.match(cell.strip()) is not None for cell in self.said)


@dataclass(frozen=True, slots=True)
class Fit:
    """How far cells fit a column: whether they are of its kind at all, and the share that may stand there."""

    of_kind: bool
    share: float


def cells_of(raw: Iterable[object], words: Synonyms) -> Cells:
    """The cells below a header. Empty ones are left out."""
    said: list[object] = []
    places: list[int] = []
    unknowns: Counter[str] = Counter()
    for place, cell in enumerate(raw):
        if cell is None or (isinstance(cell, str) and not cell.strip()):
            continue
        if isinstance(cell, str) and plain(cell) in words.unknown_words:
            unknowns[_text(cell)] += 1
        else:
            said.append(cell)
            places.append(place)
    return Cells(tuple(said), unknowns, tuple(places))


def fit(cells: Cells, column: SheetColumn, factor: float | None, known_words: frozenset[str], words: Synonyms) -> Fit:
    """How far cells fit a column. `known_words` are those of the cells, in plain words, that stand for a word of it."""
    count = len(cells.said)
    if not count:
        return Fit(True, 0.5)
    match column.kind:
        case "number":
            scaled = [number * (factor or 1.0) for number in cells.numbers]
            within = sum(_between(number, column) for number in scaled)
            return Fit(len(scaled) >= 0.6 * count, within / count)
        case "date":
            return Fit(cells.dates >= 0.6 * count, cells.dates / count)
        case "yes_no":
            told = sum(many for word, many in cells.words.items() if plain(word) in words.yes_no_words)
            return Fit(told >= 0.5 * count, told / count)
        case "choice" | "set":
            parts = _PARTS if column.kind == "set" else None
            told = sum(
                many
                for word, many in cells.words.items()
                if any(plain(part) in known_words for part in (word, *(parts.split(word) if parts else ())))
            )
            return Fit(told > 0 or (len(cells.numbers) < 0.5 * count and cells.dates < 0.5 * count), told / count)
    return Fit(cells.dates < 0.5 * count, 1.0)


def number_in(cell: object) -> float | None:
    """A cell as a number; a unit behind it is passed over. None where it is none."""
    if isinstance(cell, bool) or cell is None:
        return None
    if isinstance(cell, int | float):
        return float(cell)
    found = _NUMBER.match(cell.strip()) if isinstance(cell, str) else None
    return float(found["sign"] + found["digits"].replace(",", ".")) if found else None


def separator_in(texts: Sequence[str], known: Iterable[str]) -> str | None:
    """What stands between the words of a set: the mark that leaves most of them known; None where none is used."""
    words = set(known)

    def told(mark: str) -> int:
        return sum(plain(part) in words for text in texts for part in text.split(mark))

    used = [mark for mark in _SEPARATORS if any(mark in text for text in texts)]
    best = max(used, key=lambda mark: (told(mark), -_SEPARATORS.index(mark)), default=None)
    return best if best is not None and told(best) else None


def _between(number: float, column: SheetColumn) -> bool:
    return (column.ge is None or number >= column.ge) and (column.le is None or number <= column.le)


def _text(cell: object) -> str:
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, float) and cell == int(cell):
        return str(int(cell))
    return " ".join(str(cell).split())


def _reads(text: str, how: str) -> bool:
    try:
        dt.datetime.strptime(text, how)
    except ValueError:
        return False
    return True
