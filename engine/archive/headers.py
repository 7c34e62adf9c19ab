"""Proposes how a firm's sheet may be read: which column each header stands for, and which word of ours each word.

What is proposed is to be looked at by a person. Words of the trade come from `rules/synonyms.yaml` and the glossary.
"""

from __future__ import annotations

import datetime as dt
import re
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from engine.archive.headers_cells import DATE_FORMATS, Cells, cells_of, fit, number_in, separator_in
from engine.archive.headers_names import IS_NAME, NO_MATCH, Match, Names, Reading
from engine.archive.headers_values import Confidence, known_words, members_in, nearest_words, our_word
from engine.archive.headers_words import Synonyms, Together, plain, synonyms
from engine.archive.mapping import SEPARATOR, WALL_WORDS, SheetMapping, is_wall_id, wall_id_from, word_key
from engine.archive.mapping_columns import UNKNOWN_WORD, SheetColumn, column_of, fault_of, sheet_columns
from engine.archive.mapping_dates import said_form
from engine.columns.layout import row_model

SURE, LIKELY, GUESS = 0.88, 0.7, 0.5
"""From which score on a header is placed with which confidence; below the last it is not placed."""
_TOO_CLOSE = 0.04
_NOT_OF_KIND, _TAKES_A_LOOK = 0.5, 0.25
_LEAST = 0.05
_STRICT = {"number": 0.4, "date": 0.4, "yes_no": 0.4, "choice": 0.15, "set": 0.15, "text": 0.0}
"""How much of the score hangs on the cells, by kind of column: words may be anybody's, numbers have limits."""


@dataclass(frozen=True, slots=True)
class Placed:
    """A header with its column. `factor` brings its numbers to our unit, None where they are in it.

    `notes` are what is to be looked at before the sheet is read so, `beside` further columns that the header feeds.
    """

    header: str
    column: str
    confidence: Confidence
    reason: str
    factor: float | None = None
    notes: tuple[str, ...] = ()
    beside: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class NotPlaced:
    """A header without a column, why, and the columns that come nearest."""

    header: str
    reason: str
    nearest: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class WordPlaced:
    """A word of the sheet with ours; `count` is how often it stands in the cells looked at."""

    header: str
    column: str
    word: str
    ours: str
    confidence: Confidence
    reason: str
    count: int


@dataclass(frozen=True, slots=True)
class WordNotPlaced:
    """A word of the sheet without one of ours, and the nearest."""

    header: str
    column: str
    word: str
    count: int
    nearest: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Proposal:
    """How a sheet may be read. `mapping` is the file of it.

    Headers not placed are not in it, nor are those of our own name whose cells read as they are.
    """

    placed: tuple[Placed, ...]
    not_placed: tuple[NotPlaced, ...]
    words: tuple[WordPlaced, ...]
    words_not_placed: tuple[WordNotPlaced, ...]
    missing: tuple[str, ...]
    notes: tuple[str, ...]
    mapping: SheetMapping


@dataclass(frozen=True, slots=True)
class _Pair:
    """A header and a column that could go together."""

    score: float
    header: int
    place: int
    column: SheetColumn
    reading: Reading
    match: Match
    factor: float | None
    share: float


NEEDED = ("reference", "survey_date", "wall")
"""The columns without which no row can be read; one that is the same in every row may be a constant."""


def propose(headers: Sequence[str], rows: Sequence[Sequence[object]], at: Sequence[str] = ()) -> Proposal:
    """Propose a mapping from the headers of a sheet and a sample of its rows, cells in the order of the headers.

    `at` says where each row stands; without it they follow on a header in row 1.
    """
    words = synonyms()
    names = Names(words)
    at = at or [f"row {number}" for number in range(2, len(rows) + 2)]
    below = [
        cells_of((row[index] if index < len(row) else None for row in rows), words) for index in range(len(headers))
    ]
    pairs = list(_pairs(headers, below, names))
    chosen = _one_to_one(pairs)
    placed: list[Placed] = []
    not_placed: list[NotPlaced] = []
    seen: dict[str, int] = {}
    for index, header in enumerate(headers):
        if not header.strip():
            continue
        first = seen.setdefault(word_key(header), index)
        if index in chosen:
            placed.append(_placed(chosen[index], header, below[index], pairs, chosen, words))
        else:
            reason = f"is the same header as that of column {first + 1}" if first != index else ""
            not_placed.append(_not_placed(header, index, below[index], pairs, chosen, reason))
    by_header = {headers[index]: below[index] for index in reversed(range(len(headers)))}
    placed = _with_beside(placed, by_header, words)
    return _put_together(placed, not_placed, by_header, words, at)


def _with_beside(placed: Sequence[Placed], below: Mapping[str, Cells], words: Synonyms) -> list[Placed]:
    """With the further columns of which a header's cells have words that its first column does not know."""
    taken = {each.column for each in placed}
    found = []
    for each in placed:
        group = words.beside(each.header, each.column)
        mine = _known_cells(below[each.header], each.column, words)
        more = []
        for name in group.columns if group and sheet_columns()[each.column].options else ():
            theirs = _known_cells(below[each.header], name, words)
            if name not in taken and theirs - mine:
                more.append(name)
        if more and group:
            reason = f"{each.reason}; feeds {', '.join(more)} too, which knows words that {each.column} does not"
            taken.update(more)
            first, *others = [name for name in group.columns if name in (each.column, *more)]
            each = replace(each, column=first, reason=reason, beside=tuple(others))
        found.append(each)
    return found


def _known_cells(cells: Cells, column: str, words: Synonyms) -> set[str]:
    """The words of the cells that a column knows for certain, or nearly so."""
    if not sheet_columns()[column].options:
        return set()
    found = {word: our_word(word, sheet_columns()[column], words) for word in cells.words}
    return {word for word, ours in found.items() if ours is not None and ours[1] != "guess"}


def _pairs(headers: Sequence[str], below: Sequence[Cells], names: Names) -> Iterator[_Pair]:
    known = {name: known_words(column, names.words) for name, column in sheet_columns().items()}
    seen: set[str] = set()
    for index, header in enumerate(headers):
        if not header.strip() or word_key(header) in seen:
            continue
        seen.add(word_key(header))
        readings = names.readings(header)
        said = {plain(part) for word in below[index].words for part in (word, *re.split(r"[;,/|+&]", word))}
        for place, column in enumerate(sheet_columns().values()):
            pair = max(
                (_pair(index, place, reading, column, below[index], names, said & known[column.name].keys())
                 for reading in readings),
                key=lambda each: each.score,
            )  # fmt: skip
            if pair.score > _LEAST:
                yield pair


def _pair(
    header: int, place: int, reading: Reading, column: SheetColumn, cells: Cells, names: Names, told: set[str]
) -> _Pair:
    match = names.match(reading, column)
    factor = names.factor(column, reading.unit)
    if match is NO_MATCH or match.score < _LEAST:
        return _Pair(0.0, header, place, column, reading, match, None, 0.0)
    fitting = fit(cells, column, factor, frozenset(told), names.words)
    score = match.score
    if reading.unit and factor is None:
        score *= _NOT_OF_KIND  # a unit this column cannot be in
    if not fitting.of_kind:
        score *= _NOT_OF_KIND
    else:
        strict = _STRICT[column.kind]
        score *= 1 - strict + strict * fitting.share
        if column.options and fitting.share >= 0.8 and len(told) >= 2 and match.score >= _TAKES_A_LOOK:
            score = max(score, GUESS + 0.3 * match.score)
    return _Pair(score, header, place, column, reading, match, None if factor == 1.0 else factor, fitting.share)


def _one_to_one(pairs: Sequence[_Pair]) -> dict[int, _Pair]:
    """Each header with one column and each column with one header, the best pairs first; ties in the sheet's order."""
    chosen: dict[int, _Pair] = {}
    taken: set[str] = set()
    for pair in sorted(pairs, key=lambda each: (-each.score, each.header, each.place)):
        if pair.score >= GUESS and pair.header not in chosen and pair.column.name not in taken:
            chosen[pair.header] = pair
            taken.add(pair.column.name)
    return chosen


def _placed(
    pair: _Pair,
    header: str,
    cells: Cells,
    pairs: Sequence[_Pair],
    chosen: Mapping[int, _Pair],
    words: Synonyms,
) -> Placed:
    taken = {each.column.name for each in chosen.values()}
    if (together := words.beside(header, pair.column.name)) is not None:
        taken.update(together.columns)  # the cells have told which
    confidence: Confidence = "sure" if pair.score >= SURE else "likely" if pair.score >= LIKELY else "guess"
    rivals = [
        each.column.name
        for each in pairs
        if each.header == pair.header and each.column.name not in taken and each.score > pair.score - _TOO_CLOSE
    ]
    reasons = [pair.match.reason]
    if rivals:
        confidence = "guess"
        reasons.append(f"as near: {', '.join(rivals[:3])}")
    if pair.factor:
        reasons.append(f"{pair.reading.unit} times {pair.factor:g} is {pair.column.unit}")
    if not cells.said:
        reasons.append("no cells to look at")
        confidence = "guess" if confidence == "guess" else "likely"
    elif pair.column.kind in ("number", "date", "yes_no"):
        reasons.append("its cells fit" if pair.share == 1 else f"{pair.share:.0%} of its cells fit")
    elif pair.column.options and pair.share:
        reasons.append(f"{pair.share:.0%} of its cells are words of it")
    return Placed(
        header, pair.column.name, confidence, "; ".join(reasons), pair.factor, tuple(_notes(pair, cells, words))
    )


def _notes(pair: _Pair, cells: Cells, words: Synonyms) -> Iterator[str]:
    column = pair.column
    if column.name in words.look_at and pair.match.score < IS_NAME:
        yield words.look_at[column.name]
    if column.kind == "number" and cells.said:
        with_text = sum(
            isinstance(cell, str) and number_in(cell) is not None and not _bare(cell) for cell in cells.said
        )
        if with_text:
            cells_are = "1 cell is a number" if with_text == 1 else f"{with_text} cells are numbers"
            yield f"{cells_are} with text beside it; a number has to stand alone"
        outside = [number for number in cells.numbers if fault_of(column, _scaled(number, pair.factor))]
        if outside and not pair.factor:
            yield (
                f"not allowed ({column.allowed}): {len(outside)} of its numbers, such as {outside[0]:g}; "
                "if they are in another unit, say so under units"
            )
        elif outside:
            yield f"not allowed ({column.allowed}): {len(outside)} of its numbers, such as {outside[0]:g}"
    if column.name == "wall":
        odd = [word for word in cells.words if not is_wall_id(word)]
        if odd:
            yield f"a wall is called by {WALL_WORDS}: '{odd[0]}' is not, so values say how it is called"


def _scaled(number: float, factor: float | None) -> float:
    return round(number * (factor or 1.0), 9)


def _bare(cell: str) -> bool:
    return re.fullmatch(r"\s*[-+]?\d+([.,]\d+)?\s*", cell) is not None


def _not_placed(
    header: str, index: int, cells: Cells, pairs: Sequence[_Pair], chosen: Mapping[int, _Pair], reason: str
) -> NotPlaced:
    by = {pair.column.name: pair for pair in chosen.values()}
    mine = sorted((p for p in pairs if p.header == index), key=lambda each: (-each.score, each.place))
    near = tuple(pair.column.name for pair in mine[:3] if pair.score >= 0.2)
    if not reason and mine and mine[0].score >= GUESS and mine[0].column.name in by:
        reason = f"{mine[0].column.name} goes better with another header"
    if not reason and mine and mine[0].match.score >= GUESS:
        reason = f"its cells do not fit {mine[0].column.name} ({mine[0].column.allowed})"
        if len(reason) > 150:
            reason = f"its cells do not fit {mine[0].column.name}"
    return NotPlaced(header, reason or "no column is near enough", near)


def _put_together(
    placed: list[Placed],
    not_placed: list[NotPlaced],
    below: Mapping[str, Cells],
    words: Synonyms,
    at: Sequence[str],
) -> Proposal:
    found: list[WordPlaced] = []
    lost: list[WordNotPlaced] = []
    notes: list[str] = []
    told = [each for each in placed if not _is_ours(each, below[each.header])]
    separator = _separator(told, below, words)
    for each in told:
        together = words.beside(each.header, each.column) if each.beside else None
        for name in (each.column, *each.beside):
            column = column_of(name)
            assert column is not None
            for one in _once(_words(each.header, column, below[each.header], separator, words)):
                if together is not None:
                    others = [other for other in (each.column, *each.beside) if other != name]
                    one = _otherwise(one, column, others, together, words)
                (found if isinstance(one, WordPlaced) else lost).append(one)  # type: ignore[arg-type]
    notes += _half_rows([each.column for each in placed])
    date_format, said = _date_format(told, below)
    notes += said
    of_numbers = [below[each.header] for each in told if sheet_columns()[each.column].kind == "number"]
    odd: dict[str, list[str]] = {}
    with_comma = sum(cells.with_comma for cells in of_numbers)
    with_point = sum(cells.with_point for cells in of_numbers)
    comma = with_comma > with_point
    if with_comma and with_point:
        notes.append(f"numbers are written both ways, {with_comma} with a decimal comma and {with_point} with a point")
        fewer = "a point" if comma else "a decimal comma"
        for each in told:
            if sheet_columns()[each.column].kind == "number":
                cells_are = below[each.header].numbers_written(with_comma=not comma)
                if cells_are:
                    odd.setdefault(each.header, []).append(f"written with {fewer}: {_listed(cells_are, at)}")
    elif comma:
        notes.append("numbers are written with a decimal comma")
    if separator != SEPARATOR:
        notes.append(f"the members of a set are parted by '{separator}'" if separator != "\n" else
                     "the members of a set stand on lines of their own")  # fmt: skip
    for each in told:
        if date_format and sheet_columns()[each.column].kind == "date":
            cells_are = below[each.header].not_read(date_format)
            if cells_are:
                text = f"no date as {said_form(date_format)}: {_listed(cells_are, at)}"
                odd.setdefault(each.header, []).append(text)
    placed = [replace(each, notes=(*each.notes, *odd.get(each.header, ()))) for each in placed]
    values: dict[str, dict[str, str]] = {}
    for word in found:
        values.setdefault(word.column, {})[word.word] = word.ours
    mapping = SheetMapping.model_validate(
        {
            "columns": {each.header: [each.column, *each.beside] if each.beside else each.column for each in told},
            "values": values,
            "units": {each.column: each.factor for each in told if each.factor},
            "date_format": None if date_format in (None, "%Y-%m-%d") else said_form(date_format),
            "decimal_comma": comma,
            "set_separator": separator,
        }
    )
    missing = tuple(name for name in NEEDED if name not in {each.column for each in placed})
    return Proposal(tuple(placed), tuple(not_placed), tuple(found), tuple(lost), missing, tuple(notes), mapping)


def _otherwise(
    one: WordPlaced | WordNotPlaced, column: SheetColumn, others: Sequence[str], together: Together, words: Synonyms
) -> WordPlaced | WordNotPlaced:
    """A word that this column does not know, or only by guess, but another column of the same header does."""
    ours = together.otherwise.get(column.name)
    if ours is None or (isinstance(one, WordPlaced) and one.confidence != "guess"):
        return one
    known = [each for each in others if one.word in _known_cells(Cells((one.word,), Counter()), each, words)]
    if not known:
        return one
    return WordPlaced(one.header, column.name, one.word, ours, "likely", f"is a word of {known[0]}", one.count)


def _listed(cells: Sequence[tuple[int, str]], at: Sequence[str]) -> str:
    """Cells with where they stand."""
    shown = ", ".join(f"'{text}' ({at[place]})" for place, text in cells[:_MOST_NAMED])
    return shown + (f" and {len(cells) - _MOST_NAMED} more" if len(cells) > _MOST_NAMED else "")


_MOST_NAMED = 10


def _is_ours(placed: Placed, cells: Cells) -> bool:
    """Whether a column bears our name and its cells read as ours, so that the mapping need not name it.

    What a mapping names, it is believed about: sheets that have only our names would be read by it as well.
    """
    column = sheet_columns()[placed.column]
    if placed.header != placed.column or placed.factor or placed.beside:
        return False
    if placed.column == "wall" and not all(map(is_wall_id, cells.words)):
        return False
    if any(fault_of(column, word) for word in cells.unknown_words):
        return False
    match column.kind:
        case "number":
            texts = [cell for cell in cells.said if isinstance(cell, str)]
            alone = all("," not in cell and _bare(cell) for cell in texts)
            return alone and not any(fault_of(column, number) for number in cells.numbers)
        case "date":
            return all(isinstance(cell, dt.date) for cell in cells.said) or "%Y-%m-%d" in cells.date_formats
        case "yes_no":
            return all(word.lower() in ("yes", "no") for word in cells.words)
        case "choice" | "set":
            mark = SEPARATOR if column.kind == "set" else None
            return not any(fault_of(column, word) for word in members_in(cells.words.items(), mark))
    return True


def _separator(placed: Sequence[Placed], below: Mapping[str, Cells], words: Synonyms) -> str:
    texts: list[str] = []
    known: set[str] = set()
    for each in placed:
        column = sheet_columns()[each.column]
        if column.kind == "set":
            texts += [str(cell) for cell in below[each.header].said]
            known |= set(known_words(column, words))
    return separator_in(texts, known) or SEPARATOR


def _words(
    header: str, column: SheetColumn, cells: Cells, separator: str, words: Synonyms
) -> Iterator[WordPlaced | WordNotPlaced]:
    """The words below a header that are not ours as they stand; of numbers and dates only what stands for unknown."""
    if column.name == "wall":
        yield from _wall_ids(header, cells)
    if column.kind == "text":
        return
    for text, count in cells.unknown_words.items():
        if fault_of(column, text):
            yield WordPlaced(header, column.name, text, UNKNOWN_WORD, "sure", "stands for unknown", count)
    if column.kind in ("number", "date"):
        odd = [text for text in cells.words if column.kind == "number" and number_in(text) is None]
        for text in odd:
            yield WordNotPlaced(header, column.name, text, cells.words[text], ())
        return
    said = sorted(cells.words.items(), key=lambda each: (-each[1], each[0]))
    several = members_in(said, separator if column.kind == "set" else None)
    for word, count in sorted(several.items(), key=lambda each: (-each[1], each[0])):
        if not fault_of(column, word):
            continue
        ours = our_word(word, column, words)
        if ours is None:
            yield WordNotPlaced(header, column.name, word, count, nearest_words(word, column, words))
        elif not (column.kind == "yes_no" and word.lower() in ("yes", "no")):
            yield WordPlaced(header, column.name, word, ours[0], ours[1], ours[2], count)


def _wall_ids(header: str, cells: Cells) -> Iterator[WordPlaced | WordNotPlaced]:
    """An id for each wall that the sheet calls by more than an id may hold, no two the same."""
    used = {word.lower() for word in cells.words if is_wall_id(word)}
    made: dict[str, str] = {}
    for word, count in cells.words.items():
        if is_wall_id(word):
            continue
        if word_key(word) not in made:
            stem = wall_id_from(word)
            if not stem:
                yield WordNotPlaced(header, "wall", word, count, ())
                continue
            ways = (stem, *(f"{stem[:36]}-{number}" for number in range(2, 1000)))
            made[word_key(word)] = next(each for each in ways if each not in used)
            used.add(made[word_key(word)])
        yield WordPlaced(header, "wall", word, made[word_key(word)], "sure", "is the same as an id", count)


def _once(words: Iterable[WordPlaced | WordNotPlaced]) -> list[WordPlaced | WordNotPlaced]:
    """Each word once, as it is most often written: case and spaces do not tell two apart."""
    found: dict[str, WordPlaced | WordNotPlaced] = {}
    for one in words:
        key = word_key(one.word)
        found[key] = replace(found[key], count=found[key].count + one.count) if key in found else one
    return list(found.values())


def _half_rows(columns: Sequence[str]) -> Iterator[str]:
    """Rows of a list that lack a field which every row of it has to have."""
    rows: dict[tuple[str, str], set[str]] = {}
    for name in columns:
        head, _, field = name.rpartition(".")
        of, _, number = head.rpartition(".")
        if number.isdigit():
            rows.setdefault((of, number), set()).add(field)
    for (of, number), fields in rows.items():
        lacking = [
            field for field, info in row_model(of).model_fields.items() if info.is_required() and field not in fields
        ]
        if lacking:
            yield f"{of}.{number} has no {' and no '.join(lacking)}, and no such row can be read without"


_MAJORITY = 0.8
"""The share of the dates that have to be written in one way for that to be proposed."""


def _most_read(dates: Sequence[Cells]) -> list[str]:
    """The ways to write a day in which most dates of all columns can be read, none where these are too few."""
    read = sum((cells.dates_read for cells in dates), Counter[str]())
    texts = sum(isinstance(cell, str) for cells in dates for cell in cells.said)
    most = max(read.values(), default=0)
    return [way for way in DATE_FORMATS if read[way] == most] if most >= _MAJORITY * texts and most else []


def _date_format(placed: Sequence[Placed], below: Mapping[str, Cells]) -> tuple[str | None, list[str]]:
    """The one way in which all dates that are text can be read, and what there is to say of it."""
    ways: list[tuple[str, tuple[str, ...]]] = []
    for each in placed:
        cells = below[each.header]
        if sheet_columns()[each.column].kind == "date" and any(isinstance(cell, str) for cell in cells.said):
            ways.append((each.header, cells.date_formats))
    if not ways:
        return None, []
    common = [way for way in ways[0][1] if all(way in others for _, others in ways)]
    if not common:
        common = _most_read([below[header] for header, _ in ways])
    if not common:
        return None, [f"the dates under {', '.join(repr(header) for header, _ in ways)} are not all written in one way"]
    if common[0] == "%Y-%m-%d":
        return "%Y-%m-%d", []
    notes = []
    if "%m/%d/%Y" in common and common[0] != "%m/%d/%Y":
        notes.append("dates are taken day first; none of those looked at shows whether that is so")
    elif common[0] == "%m/%d/%Y":
        notes.append("dates are written month first")
    return common[0], notes
