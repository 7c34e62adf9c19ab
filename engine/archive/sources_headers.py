"""Which flat column each header of a file stands for, and what is wrong with its headers."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from engine.archive.mapping import SheetMapping, word_key
from engine.archive.mapping_columns import column_of, nearest, sheet_columns
from engine.archive.sources_model import PLACES, REJECTED
from engine.errors import Problem
from engine.facts.document import shown
from engine.facts.vocabulary import facts

_OURS = "(ours "
NEEDED = ("reference", "survey_date", "wall")


@dataclass(frozen=True, slots=True)
class Headers:
    """`flat` leads from a flat column to the header that stands for it; `unnamed` are columns without a header."""

    flat: dict[str, str]
    unnamed: tuple[str, ...]


def frame_names(headers: Sequence[str]) -> tuple[str, ...]:
    """The headers as names of columns: one without a name, or one that is passed over, is called by its number."""

    def name(number: int, header: str) -> str:
        if is_passed_over(header):
            return f"{_OURS}{number})"
        return header if header.strip() else unnamed(number)

    return tuple(name(number, header) for number, header in enumerate(headers, 1))


def unnamed(number: int) -> str:
    """What a column without a header is called."""
    return f"(column {number})"


def is_passed_over(header: str) -> bool:
    """Whether a header is of a column that we write and never read."""
    return header.strip() in (REJECTED, *PLACES) or header.startswith(_OURS)


def headers_of(
    file: str, headers: Sequence[str], mapping: SheetMapping | None, *, row: int = 1, lists: bool = False
) -> tuple[Headers, list[Problem]]:
    """What the headers stand for, and all that is wrong with them. `lists`: a list of rows may be one column."""
    flat: dict[str, str] = {}
    nameless: list[str] = []
    problems: list[Problem] = []
    keys: dict[str, int] = {}
    for number, header in enumerate(headers, 1):
        if not header.strip():
            nameless.append(unnamed(number))
            continue
        if is_passed_over(header):
            continue
        key = word_key(header)
        if mapping is not None and key in mapping.passed_over:
            continue
        if key in keys:
            message = f"is the same header as that of column {keys[key]}"
            problems.append(Problem(file, row, number, "", message, shown(header), "each header once"))
            continue
        keys[key] = number
        name = mapping.headers.get(key) if mapping is not None else None
        if name is None and (column_of(header.strip()) or (lists and is_list(header.strip()))):
            name = header.strip()
        if name is None:
            near = nearest(header.strip(), sheet_columns())
            hint = f"did you mean {near[0]}?" if near else "a mapping may name it or list it under ignored"
            problems.append(Problem(file, row, number, "", "no column is called so", shown(header), "", hint))
        elif name in flat:
            message = f"stands for {name}, as {shown(flat[name])} does"
            problems.append(Problem(file, row, number, "", message, shown(header), "one header for each column"))
        else:
            flat[name] = header
    constants: Iterable[str] = mapping.constants if mapping is not None else ()
    for needed in NEEDED:
        if needed not in flat and needed not in constants:
            problems.append(Problem(file, row, 0, needed, "there is no such column in the file"))
    return Headers(flat, tuple(nameless)), problems


def is_list(name: str) -> bool:
    """Whether a fact is a list of rows."""
    variable = facts().get(name)
    return variable is not None and variable.kind == "rows"
