"""The fast way in: a whole column at once, from what the file has to what the flat frame has.

A cell that is not clearly right is marked, and its row goes the strict way; nothing is refused here.
"""

from __future__ import annotations

import datetime as dt
import functools
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from operator import or_
from typing import Any

import polars as pl

from engine.archive.cells import UNWANTED, CellFault, reader_of
from engine.archive.job import job_schema
from engine.archive.mapping import SheetMapping
from engine.archive.mapping_columns import UNKNOWN_WORD, SheetColumn, column_of
from engine.archive.sources_headers import NEEDED
from engine.columns.consistent_rows import MASSES, SAMPLES, exploded, marked, weighed
from engine.columns.layout import KEY, fact_columns, mask_of, members_of, row_fields, row_model
from engine.facts.vocabulary import facts

_AT = "_at"
LONGEST = {"reference": 200, "surveyor": 200, "note": 2000}
WALL = r"^[A-Za-z0-9][A-Za-z0-9_-]{0,39}$"


@dataclass(frozen=True, slots=True)
class Typed:
    """A column as the flat frame has it, and which of its cells are not clearly right; None: all are."""

    series: pl.Series
    doubtful: pl.Series | None = None


def typed_column(name: str, series: pl.Series, mapping: SheetMapping | None) -> Typed:
    """A column of a file as the flat column `name`. `mapping` only where the column was reached through it."""
    column = column_of(name)
    assert column is not None
    series = series.alias(name)
    told = mapping is not None and (bool(mapping.words.get(name)) or name in mapping.units)
    if isinstance(series.dtype, pl.Categorical | pl.Enum) and series.dtype != _dtype(name):
        series = series.cast(pl.String)
    if series.null_count() == series.len():
        nothing = pl.Series(name, [None], _dtype(name)).new_from_index(0, series.len())
        return Typed(nothing, nothing.is_null() if name in NEEDED else None)
    if not told:
        match column.kind:
            case "choice":
                if series.dtype == _dtype(name) and isinstance(series.dtype, pl.Enum):
                    return Typed(series)
                if series.dtype == pl.String and (named := _named(column, series)) is not None:
                    return named
            case "yes_no":
                if series.dtype == pl.Boolean:
                    return Typed(series)
            case "date":
                if series.dtype == pl.Date:
                    return Typed(series)
            case "number":
                if series.dtype.is_numeric() or (series.dtype == pl.String and not (mapping and mapping.decimal_comma)):
                    return _number(column, series)
            case "set":
                if name in facts() and series.dtype == pl.UInt16:
                    over = series >= 1 << len(column.options)
                    return Typed(series, over.fill_null(value=False))
            case "text":
                if series.dtype == pl.String:
                    return _text(name, series)
    return _by_value(column, series, mapping)


def _dtype(name: str) -> pl.DataType:
    found = fact_columns().get(name) or KEY.get(name) or job_schema().get(name)
    if found is not None:
        return found
    column = column_of(name)  # of a numbered column
    assert column is not None
    return pl.Int32() if column.whole else pl.Float64()


def _named(column: SheetColumn, series: pl.Series) -> Typed | None:
    """Options as text; None where a cell is neither one of them nor blank."""
    words = series.cast(pl.Enum(column.options), strict=False)
    blank = series.is_in(["", UNKNOWN_WORD])
    if (words.is_null() & series.is_not_null() & ~blank).any():
        return None
    return Typed(words.cast(_dtype(column.name)))


def _number(column: SheetColumn, series: pl.Series) -> Typed:
    given = series.is_not_null()
    if series.dtype == pl.String:
        text = series.str.strip_chars()
        given = given & ~text.is_in(["", UNKNOWN_WORD])
        numbers = text.cast(pl.Float64, strict=False)
    else:
        numbers = series
    fits = numbers.is_between(column.ge, column.le)  # never true of what is no number
    if column.whole and not numbers.dtype.is_integer():
        fits &= numbers == numbers.floor()
    dtype = pl.Int32() if column.whole else pl.Float64()
    doubtful = given & ~fits.fill_null(value=False)
    if numbers.dtype != dtype:
        numbers = numbers.set(doubtful, None).cast(dtype, strict=False)
    return Typed(numbers, doubtful)


def _text(name: str, series: pl.Series) -> Typed:
    text = series.str.strip_chars()
    text = text.set(text == "", None)
    if name == "wall":
        return Typed(text, ~text.str.contains(WALL).fill_null(value=False))
    doubtful = (text.str.len_chars() > LONGEST[name]) | series.str.contains(UNWANTED)
    if name == "reference":
        return Typed(text, doubtful.fill_null(value=True))
    return Typed(text, doubtful.fill_null(value=False))


def _by_value(column: SheetColumn, series: pl.Series, mapping: SheetMapping | None) -> Typed:
    """Each different cell read once, just as the strict way reads it."""
    dtype = _dtype(column.name)
    if isinstance(series.dtype, pl.List):
        return _by_list(column, series, mapping)
    read, right = reader_of(column, mapping), checker_of(column)
    cells: list[Any] = []
    values: list[Any] = []
    nothing: list[Any] = []
    for cell in series.unique().drop_nulls().to_list():
        value = read(cell)
        if value is None:
            nothing.append(cell)
        elif not isinstance(value, CellFault) and right(value):
            cells.append(cell)
            values.append(value)
    places = pl.Series(values=range(len(cells)), dtype=pl.UInt32())
    keys = pl.Series(values=cells, dtype=series.dtype)
    place = series.replace_strict(keys, places, default=None, return_dtype=pl.UInt32()) if cells else None
    stored = pl.Series(column.name, [cell_of(column, value) for value in values], dtype)
    if place is None:
        found = pl.Series(column.name, [None] * series.len(), dtype)
        known = pl.repeat(value=False, n=series.len(), eager=True, dtype=pl.Boolean())
    else:
        found, known = stored.gather(place), place.is_not_null()
    blank = series.is_null()
    if nothing:
        blank |= series.is_in(pl.Series(values=nothing, dtype=series.dtype).implode()).fill_null(value=False)
    return Typed(found, ~known & ~blank | _lacking(column, known))


def _lacking(column: SheetColumn, known: pl.Series) -> pl.Series:
    return ~known if column.name in NEEDED else known & False


def _by_list(column: SheetColumn, series: pl.Series, mapping: SheetMapping | None) -> Typed:
    """A set given as lists of words."""
    dtype = _dtype(column.name)
    if series.dtype != pl.List(pl.String()) or column.kind != "set":
        blank = pl.Series(column.name, [None] * series.len(), dtype)
        return Typed(blank, series.is_not_null())
    joined = series.list.join("\x1f", ignore_nulls=False).fill_null("\x1f")
    read, right = reader_of(column, mapping), checker_of(column)
    cells, values = [], []
    for text in joined.unique().to_list():
        value = read(text.split("\x1f")) if text else ([] if column.name not in facts() else None)
        if isinstance(value, list) and right(value):
            cells.append(text)
            values.append(cell_of(column, value))
    if not cells:
        return Typed(pl.Series(column.name, [None] * series.len(), dtype), series.is_not_null())
    place = joined.replace_strict(
        cells, pl.Series(values=range(len(cells)), dtype=pl.UInt32()), default=None, return_dtype=pl.UInt32()
    ).set(series.is_null(), None)
    return Typed(pl.Series(column.name, values, dtype).gather(place), series.is_not_null() & place.is_null())


def checker_of(column: SheetColumn) -> Callable[[Any], bool]:
    """Whether a value that was read is certainly one that the column may hold."""
    options = frozenset(column.options)
    match column.kind:
        case "choice":
            return lambda value: isinstance(value, str) and value in options
        case "yes_no":
            return lambda value: isinstance(value, bool)
        case "number":
            low, high = column.ge, column.le
            assert low is not None
            assert high is not None
            return lambda value: isinstance(value, int | float) and low <= value <= high
        case "date":
            return lambda value: isinstance(value, dt.date)
        case "set":
            return lambda value: (
                value == "none"
                or (isinstance(value, list) and len(set(value)) == len(value) and options.issuperset(value))
            )
    if column.name == "wall":
        import re

        pattern = re.compile(WALL.replace("$", r"\Z"))
        return lambda value: isinstance(value, str) and pattern.match(value) is not None
    longest = LONGEST[column.name]
    return lambda value: isinstance(value, str) and 0 < len(value) <= longest


def cell_of(column: SheetColumn, value: Any) -> Any:
    """A value as its cell in the flat frame."""
    if column.kind != "set":
        return value
    members: Sequence[str] = () if value == "none" else value
    return mask_of(facts()[column.name], members) if column.name in facts() else sorted(members)


def mask_in_words(name: str, mask: int) -> Any:
    """The members that the bits of a set stand for, as a survey file would write them; what are no members stays."""
    variable = facts()[name]
    if mask >= 1 << len(variable.options):
        return str(mask)
    return sorted(members_of(variable, mask)) or "none"


def typed_list(name: str, series: pl.Series) -> Typed:
    """A list of rows given as a list."""
    dtype = fact_columns()[name]
    series = series.alias(name)
    doubtful = None
    if series.dtype == pl.Null:
        return Typed(series.cast(dtype))
    if series.dtype != dtype:
        typed = _recast(name, series)
        if typed is None:
            return Typed(pl.Series(name, [None] * series.len(), dtype), series.is_not_null())
        series, doubtful = typed
    wrong = ill_formed(name, series)
    return Typed(series, wrong if doubtful is None else wrong | doubtful)


def _recast(name: str, series: pl.Series) -> tuple[pl.Series, pl.Series] | None:
    """The list with the types the flat frame has, if that is certain to lose nothing."""
    inner = series.dtype.inner if isinstance(series.dtype, pl.List) else None
    fields = row_fields(name)
    if not isinstance(inner, pl.Struct) or not {field.name for field in inner.fields} <= set(fields):
        return None
    given = {field.name: field.dtype for field in inner.fields}
    if not all(dtype.is_numeric() or dtype == pl.Null for dtype in given.values()):
        return None
    frame = series.to_frame()
    rows = exploded(frame, name)
    broken = [
        pl.col(field) != pl.col(field).floor()
        for field, dtype in given.items()
        if fields[field].is_integer() and dtype.is_float()
    ]
    wrong = marked(frame, rows, functools.reduce(or_, broken)) if broken else series.is_null() & False
    element = pl.element()
    parts = [
        (element.struct.field(field) if field in given else pl.lit(None)).cast(dtype, strict=False).alias(field)
        for field, dtype in fields.items()
    ]
    built = frame.select(pl.col(name).list.eval(pl.when(element.is_not_null()).then(pl.struct(parts)))).to_series()
    return built.cast(fact_columns()[name]), wrong


def numbered_list(name: str, columns: dict[int, dict[str, Typed]]) -> Typed:
    """A list of rows given as numbered columns; a row of it that is blank throughout is left out."""
    fields = row_fields(name)
    parts = []
    height = 0
    for number in sorted(columns):
        row = columns[number]
        frame = pl.DataFrame(
            [row[field].series.alias(field) for field in row],
        )
        height = frame.height
        given = frame.with_row_index(_AT).filter(pl.any_horizontal(pl.col(*row).is_not_null()))
        lacking = [pl.lit(None, dtype).alias(field) for field, dtype in fields.items() if field not in row]
        parts.append(given.with_columns(lacking).select(_AT, *(pl.col(f).cast(t) for f, t in fields.items())))
    # The sort is stable: rows of one wall stay in the order of their numbers.
    rows = pl.concat(parts).sort(_AT, maintain_order=True)
    lists = rows.group_by(_AT, maintain_order=True).agg(pl.struct(*fields).alias(name))
    every = pl.DataFrame({_AT: pl.int_range(height, dtype=pl.UInt32(), eager=True)})
    found = every.join(lists, on=_AT, how="left", maintain_order="left")
    series = found.get_column(name).cast(fact_columns()[name])
    wrong = ill_formed(name, series)
    for row in columns.values():
        for each in row.values():
            if each.doubtful is not None:
                wrong = wrong | each.doubtful
    return Typed(series, wrong)


def ill_formed(name: str, series: pl.Series) -> pl.Series:
    """Walls of which a row of the list lacks what it needs, is out of limits, or says a thing in two ways."""
    flat = series.to_frame()
    column = pl.col(name)
    hollow = (column.list.len() == 0) | column.list.eval(pl.element().is_null()).list.any()
    holes = flat.select(hollow.fill_null(value=False)).to_series()
    rows = exploded(flat, name)
    if rows.is_empty():
        return holes
    wrong = [pl.col(field).is_null() for field, info in row_model(name).model_fields.items() if info.is_required()]
    for field in row_fields(name):
        limits = column_of(f"{name}.1.{field}")
        assert limits is not None
        assert limits.ge is not None
        assert limits.le is not None
        wrong.append(~pl.col(field).is_between(limits.ge, limits.le))
    if name == SAMPLES:
        percent = pl.col("mc_percent").is_not_null()
        lacking = functools.reduce(or_, (pl.col(mass).is_null() for mass in MASSES if mass != "conditioned_g"))
        wrong.append(weighed() & (percent | pl.col("hmc_percent").is_not_null() | lacking))
        wrong.append(~weighed() & ~percent)
    return holes | marked(flat, rows, functools.reduce(or_, (each.fill_null(value=False) for each in wrong)))
