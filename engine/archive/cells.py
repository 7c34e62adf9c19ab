"""One cell of a sheet of past jobs: what stands in it, in the form a survey file would have it."""

from __future__ import annotations

import datetime as dt
import math
import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from engine.archive.mapping import SEPARATOR, SheetMapping, word_key
from engine.archive.mapping_columns import UNKNOWN_WORD, SheetColumn
from engine.archive.mapping_dates import said_form, strptime_form
from engine.facts.declare import day_of

_NUMBER = re.compile(r"[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][+-]?[0-9]{1,3})?", re.ASCII)
_GROUPED = re.compile(r"[+-]?[0-9]{1,3}([ ',.  ][0-9]{3})+([.,][0-9]+)?")
UNWANTED = "[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u2028\u2029\ufeff\ufffe\uffff]"
"""Characters that are no text, as a survey file may not hold them either."""
_UNWANTED = re.compile(UNWANTED)
_YES_NO = {"yes": True, "no": False, "true": True, "false": False}
_ROUND = 9
"""Decimals kept of a number brought to our unit: 0.1 m is 100 mm and not a hair more."""


@dataclass(frozen=True, slots=True)
class CellFault:
    """Why a cell cannot be read at all; what may stand there is said where its column is known."""

    message: str
    hint: str = ""
    allowed: str = ""


Reader = Callable[[Any], Any]
"""From a cell to its value as a survey file would write it, None where nothing is known; or to a `CellFault`."""


def reader_of(column: SheetColumn, mapping: SheetMapping | None) -> Reader:
    """How the cells of a column are read: the firm's words first, then by the kind of the column.

    `mapping` is of columns that were reached through it; a column reached by our own name is read without one.
    Whether the value is within limits, or one of the options, is not looked at here.
    """
    words = mapping.words.get(column.name, {}) if mapping else {}
    by_kind = _kinds(column, mapping)

    def read(cell: Any) -> Any:
        if cell is None:
            return None
        if isinstance(cell, str) and column.kind != "text":
            cell = cell.strip()
        if words and isinstance(cell, str | int | float):
            ours = words.get(word_key(text_of(cell)))
            if ours is not None:
                cell = list(ours) if isinstance(ours, tuple) else ours
                return None if cell == UNKNOWN_WORD else _ours(column, cell)
        if isinstance(cell, str) and (not cell or (cell == UNKNOWN_WORD and column.kind != "text")):
            return None
        return by_kind(cell)

    return read


def text_of(cell: Any) -> str:
    """A cell as text: as a person would write it in a CSV file."""
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, float):
        return str(int(cell)) if cell.is_integer() and abs(cell) < 1e15 else repr(cell)
    if isinstance(cell, dt.datetime):
        return cell.date().isoformat() if cell.time() == dt.time() else cell.isoformat(" ")
    if isinstance(cell, dt.date):
        return cell.isoformat()
    return "" if cell is None else str(cell)


def _ours(column: SheetColumn, value: Any) -> Any:
    """A word of ours, as a mapping has it, in the form a survey file would have it."""
    if column.kind == "yes_no" and isinstance(value, str):
        return _YES_NO.get(value, value)
    if column.kind == "set" and isinstance(value, str) and value != "none":
        return [value]
    if column.kind == "number" and isinstance(value, float) and column.whole and value.is_integer():
        return int(value)
    return str(value) if column.kind in ("text", "choice") else value


def _kinds(column: SheetColumn, mapping: SheetMapping | None) -> Reader:
    match column.kind:
        case "number":
            factor = mapping.units.get(column.name) if mapping else None
            comma = mapping is not None and mapping.decimal_comma
            return lambda cell: _number(cell, column.whole, factor, comma)
        case "yes_no":
            return _yes_no
        case "set":
            separator = mapping.set_separator if mapping else SEPARATOR
            words = mapping.words.get(column.name, {}) if mapping else {}

            def member(word: str) -> tuple[str, ...]:
                ours = words.get(word_key(word), _option(column, word))
                return ours if isinstance(ours, tuple) else (str(ours),)

            return lambda cell: _set(cell, separator, member)
        case "date":
            form = mapping.date_format if mapping else None
            return lambda cell: _date(cell, form, strptime_form(form or ""))
        case "choice":
            return lambda cell: (
                _option(column, text_of(cell)) if isinstance(cell, str | int | float) else _no_list(cell)
            )
    return lambda cell: _text(text_of(cell)) if isinstance(cell, str | int | float) else _no_list(cell)


def _option(column: SheetColumn, word: str) -> str:
    """A word as our option, where it is one but for case, and spaces or hyphens for underscores."""
    ours = "_".join(re.split(r"[\s_-]+", word.strip())).lower()
    return ours if word not in column.options and ours in column.options else word


def _no_list(cell: Any) -> Any:
    return CellFault("is of the wrong kind") if isinstance(cell, list | tuple | dict) else text_of(cell)


def _text(cell: str) -> str | CellFault | None:
    found = _UNWANTED.search(cell)
    if found:
        return CellFault("holds a character that is no text", f"U+{ord(found.group()):04X}", "printable characters")
    return cell.strip() or None


def _yes_no(cell: Any) -> Any:
    if isinstance(cell, bool):
        return cell
    found = _YES_NO.get(cell.lower()) if isinstance(cell, str) else None
    return CellFault("is not yes or no") if found is None else found


def _number(cell: Any, whole: bool, factor: float | None, comma: bool) -> Any:
    number: int | float
    if isinstance(cell, str):
        if comma and "." in cell:
            return CellFault("is not a number with a decimal comma", "the mapping says decimal_comma")
        text = cell.replace(",", ".", 1) if comma else cell
        if not _NUMBER.fullmatch(text):
            return CellFault("is not a number", _number_hint(cell, comma))
        number = float(text)
    elif isinstance(cell, bool) or not isinstance(cell, int | float):
        return CellFault("is not a number")
    else:
        number = cell
    if not math.isfinite(number):
        return CellFault("is not a number")
    if factor is not None:
        number = round(number * factor, _ROUND)
    if not whole:
        return float(number)
    return int(number) if number == int(number) else CellFault("is not a whole number")


def _number_hint(cell: str, comma: bool) -> str:
    if not comma and re.fullmatch(r"[+-]?[0-9]+,[0-9]{1,2}", cell):
        return "numbers are written with a point; a mapping that names the column may say decimal_comma: yes"
    if _GROUPED.fullmatch(cell):
        return "write it without a mark between thousands"
    if re.match(r"[+-]?[0-9.,]+\s*[^0-9.,\s]", cell):
        return "write the number alone, without its unit"
    return ""


def _set(cell: Any, separator: str, member: Callable[[str], tuple[str, ...]]) -> Any:
    if isinstance(cell, list | tuple):
        members = [each.strip() if isinstance(each, str) else each for each in cell]
        return [ours for each in members for ours in (member(each) if isinstance(each, str) else (each,))]
    words = [word.strip() for word in text_of(cell).split(separator)]
    members = [ours for word in words if word for ours in member(word)]
    if members == ["none"]:
        return "none"
    return members or CellFault("names nothing")


def _date(cell: Any, form: str | None, letters: str) -> Any:
    if isinstance(cell, dt.datetime):
        return cell.date() if cell.time() == dt.time() else CellFault("is not a date alone", "leave out the time")
    if isinstance(cell, dt.date):
        return cell
    if isinstance(cell, str):
        try:
            return day_of(cell)
        except ValueError:
            pass
        if form is not None:
            try:
                return dt.datetime.strptime(cell, letters).date()
            except ValueError:
                said = said_form(form)
                return CellFault(f"is not a date as {said}", allowed=f"a date as {said}, or as YYYY-MM-DD")
        if re.match(r"[0-9]{1,2}[./-][0-9]{1,2}[./-][0-9]{2,4}", cell):
            return CellFault("is not a date", "a mapping that names the column may give another date_format")
    return CellFault("is not a date")
