"""Which flat column each header of a file stands for, and what is wrong with its headers."""

from __future__ import annotations

import dataclasses
import functools
import re
import shlex
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

from engine.archive.mapping import SheetMapping, word_key
from engine.archive.mapping_columns import column_of, nearest, sheet_columns
from engine.archive.sources_model import PLACES, REJECTED
from engine.errors import Problem
from engine.facts.document import shown
from engine.facts.vocabulary import facts

_OURS = "(ours "
_UNKNOWN = "no column is called so"
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


@functools.cache
def _squeezed() -> Mapping[str, str]:
    return {_squeeze(name): name for name in sheet_columns()}


def _squeeze(text: str) -> str:
    return re.sub(r"[\s_]+", "", text).casefold()


@functools.lru_cache(maxsize=10_000)
def our_name(header: str) -> str | None:
    """The column of ours that a header names, whatever its case, spaces and underscores; None where it names none."""
    name = header.strip()
    if column_of(name) is not None:
        return name
    found = _squeezed().get(_squeeze(name)) or re.sub(r"\s+", "_", name.casefold())
    return found if column_of(found) is not None else None


def known_by(mapping: SheetMapping | None) -> Callable[[str], bool]:
    """Whether a header is one of ours, or one that the mapping names."""

    def known(header: str) -> bool:
        if mapping is not None and (mapping.names(header) or word_key(header) in mapping.passed_over):
            return True
        return our_name(header) is not None or is_list(header.strip())

    return known


LOOKED_AT = 20
"""In how many rows of a sheet the headers are looked for."""


def header_row(rows: Iterable[tuple[int, Sequence[str]]], *knowing: Callable[[str], bool]) -> int | None:
    """The number of the first row in which at least half of the cells are known headers, and two of them at least.

    Who knows less is asked last: the first of `knowing` that finds a row has it. None where none does.
    """
    every = [(number, [cell for cell in cells if cell.strip()]) for number, cells in rows if number <= LOOKED_AT]
    for knows in knowing:
        most = 2  # a row of a few words below may be of jobs: it has to hold no fewer headers than any row above it
        for number, cells in every:
            known = sum(map(knows, cells))
            if known >= most and 2 * known >= len(cells):
                return number
            most = max(most, known)
    return None


def loosely_known(header: str) -> bool:
    """Whether a header is of a kind that offices write."""
    from engine.archive.headers_names import names

    return names().knows(header)


def is_table(headers: Iterable[str], mapping: SheetMapping | None) -> bool:
    """Whether a sheet may be one of walls: it says which job or wall, or the mapping names one of its headers."""
    for header in filter(str.strip, headers):
        if our_name(header) in ("reference", "wall") or (mapping is not None and mapping.names(header)):
            return True
    return False


def headers_of(
    file: str,
    headers: Sequence[str],
    mapping: SheetMapping | None,
    *,
    row: int = 1,
    lists: bool = False,
    path: str = "",
) -> tuple[Headers, list[Problem]]:
    """What the headers stand for, and all that is wrong with them. `lists`: a list of rows may be one column.

    `path` is where the file is, to say how a mapping for it may be had.
    """
    flat: dict[str, str] = {}
    nameless: list[str] = []
    problems: list[Problem] = []
    keys: dict[str, int] = {}
    unknown = theirs = 0
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
        targets = mapping.headers.get(key, ()) if mapping is not None else ()
        theirs += bool(targets)
        if not targets and lists and is_list(header.strip()):
            targets = (header.strip(),)
        elif not targets and (ours := our_name(header)) is not None:
            targets = (ours,)
        if not targets:
            unknown += 1
            near = nearest(header.strip(), sheet_columns())
            hint = f"did you mean {near[0]}?" if near else "a mapping may name it or list it under ignored"
            problems.append(Problem(file, row, number, "", _UNKNOWN, shown(header), "", hint))
        for name in targets:
            if name in flat:
                message = f"stands for {name}, as {shown(flat[name])} does"
                problems.append(Problem(file, row, number, "", message, shown(header), "one header for each column"))
            else:
                flat[name] = header
    most = 2 * unknown > len(keys)
    if most and mapping is not None and mapping.columns and not theirs:
        message = "the mapping names none of this file's headers"
        found = _some([header for header in headers if header.strip()])
        allowed = f"headers of the mapping: {_some(list(mapping.columns))}"
        return Headers(flat, tuple(nameless)), [Problem(file, row, 0, "", message, found, allowed, _map_hint(path))]
    if most:
        # The last of them, since problems are shown in the order of the file.
        last = max(place for place, problem in enumerate(problems) if problem.message == _UNKNOWN)
        hint = f"{unknown} of {len(keys)} headers are not known, so {_map_hint(path)}"
        problems[last] = dataclasses.replace(problems[last], hint=hint)
    constants: Iterable[str] = mapping.constants if mapping is not None else ()
    for needed in NEEDED:
        if needed not in flat and needed not in constants:
            problems.append(Problem(file, row, 0, needed, "there is no such column in the file"))
    return Headers(flat, tuple(nameless)), problems


def _map_hint(path: str) -> str:
    return f"run: bedjoint archive map {shlex.quote(path) if path else 'FILE'} --output mapping.yaml"


def _some(headers: Sequence[str]) -> str:
    return ", ".join(map(shown, headers[:3])) + (f" and {len(headers) - 3} more" if len(headers) > 3 else "")


def is_list(name: str) -> bool:
    """Whether a fact is a list of rows."""
    variable = facts().get(name)
    return variable is not None and variable.kind == "rows"
