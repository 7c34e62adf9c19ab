"""Past jobs as JSON Lines, a wall a line: cut into units by bytes, and each line read by itself."""

from __future__ import annotations

import json
import pathlib
import re
from collections.abc import Iterator
from typing import Any, NoReturn

from engine.archive.sources_model import PLACES, REJECTED, RawBatch, RawRow, Reject, Unit
from engine.errors import Problem
from engine.facts.document import shown

_BLOCK = 1 << 22
BOM = b"\xef\xbb\xbf"


class _NotAllowedError(ValueError):
    """What JSON lets through and a job may not hold."""


def line_units(unit: Unit, size: int) -> tuple[list[Unit], list[Problem]]:
    """The parts of a file of `size` lines each."""
    found: list[Unit] = []
    start = offset = ended = 0
    row, lines = 1, 0

    def close(end: int) -> None:
        nonlocal start, row, lines
        found.append(Unit(unit.format, unit.file, unit.path, first=row, count=lines, start=start, end=end))
        start, row, lines = end, row + lines, 0

    with pathlib.Path(unit.path).open("rb") as stream:
        while block := stream.read(_BLOCK):
            place = block.find(b"\n")
            while place >= 0:
                lines, ended = lines + 1, offset + place + 1
                if lines == size:
                    close(ended)
                place = block.find(b"\n", place + 1)
            offset += len(block)
    lines += ended < offset
    if lines:
        close(offset)
    return found, []


def lines_of_unit(unit: Unit) -> Iterator[tuple[int, bytes]]:
    """The lines of a unit with their numbers, blank ones left out."""
    with pathlib.Path(unit.path).open("rb") as stream:
        stream.seek(unit.start)
        raw = stream.read(unit.end - unit.start)
    if unit.start == 0:
        raw = raw.removeprefix(BOM)
    for number, line in enumerate(raw.split(b"\n"), unit.first):
        if line.strip():
            yield number, line


def read_line_unit(unit: Unit) -> RawBatch:
    """The walls of a unit, by flat column; lines that are no JSON are set aside, blank ones left out."""
    rows: list[RawRow] = []
    rejects: list[Reject] = []
    for number, line in lines_of_unit(unit):
        try:
            rows.append(RawRow("", number, flattened(parsed(line))))
        except UnicodeDecodeError:
            rejects.append(_reject(unit, number, "", "the line is not UTF-8 text", "plain text in UTF-8"))
        except _NotAllowedError as error:
            rejects.append(_reject(unit, number, "", str(error), "each name once, finite numbers"))
        except (ValueError, RecursionError):
            text = shown(line.decode("utf-8", "replace").strip())
            rejects.append(_reject(unit, number, text, "the line is not JSON", "one wall a line, as a JSON object"))
    return RawBatch(unit, rows=tuple(rows), rejects=tuple(rejects))


_SURROGATE = re.compile(rb"\\u[dD][89a-fA-F]")


def parsed(line: bytes) -> dict[str, Any]:
    """A line as an object.

    Raises:
        ValueError: it is not one, names something twice, or holds a number that is none.
    """
    data = json.loads(line.decode(), object_pairs_hook=_once, parse_constant=_no_constant)
    if not isinstance(data, dict):
        raise ValueError("not an object")
    if _SURROGATE.search(line):
        try:
            json.dumps(data, ensure_ascii=False).encode()
        except UnicodeEncodeError:
            raise _NotAllowedError("the line holds half a character, a lone surrogate") from None
    return data


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) < len(pairs):
        names = [name for name, _ in pairs]
        twice = next(name for name in names if names.count(name) > 1)
        raise _NotAllowedError(f"the line names {shown(twice)} twice")
    return found


def _no_constant(text: str) -> NoReturn:
    raise _NotAllowedError(f"the line holds {text}, which is no number")


def flattened(data: dict[str, Any]) -> dict[str, Any]:
    """Sections as dotted names; what the survey and date are called in a survey file is understood as well.

    Raises:
        ValueError: a name is given both in its section and with a dot.
    """
    found: dict[str, Any] = {}
    for key, value in data.items():
        inner = {f"{key}.{name}": each for name, each in value.items()} if isinstance(value, dict) else {key: value}
        for name, each in inner.items():
            name = _SURVEY_NAMES.get(name, name)
            if name in (REJECTED, *PLACES):
                continue
            if name in found:
                raise _NotAllowedError(f"the line names {shown(name)} twice")
            found[name] = each
    return found


_SURVEY_NAMES = {"property.reference": "reference", "property.survey_date": "survey_date"}


def _reject(unit: Unit, row: int, value: str, message: str, allowed: str) -> Reject:
    return Reject(unit.file, "", row, "", value, message, allowed, "", row)
