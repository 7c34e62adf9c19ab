"""Cells of a workbook that have no value to read: faults of formulas, and formulas that were never worked out.

Readers of workbooks give these as empty cells, which would make them unknown in silence.
"""

from __future__ import annotations

import html
import pathlib
import posixpath
import re
import zipfile
from collections.abc import Iterator
from xml.etree import ElementTree

_CELL = re.compile(rb"<(?:\w+:)?c\s([^>]*?)(?:/>|>(.*?)</(?:\w+:)?c>)", re.DOTALL)
_AT = re.compile(rb'\br="([A-Z]{1,3})([0-9]{1,7})"')
_FAULT = re.compile(rb'\bt="e"')
_VALUE = re.compile(rb"<(?:\w+:)?v>([^<]+)</(?:\w+:)?v>|<(?:\w+:)?is>")
_FORMULA = re.compile(rb"<(?:\w+:)?f(?:\s[^>]*)?(?:/>|>([^<]*)</(?:\w+:)?f>)")
_PLACE = re.compile(rb'<(?:\w+:)?c\s(?:[^>]*?\s)?r="([A-Z]{1,3})([0-9]{1,7})"')
_LONGEST = 100
_MOST_BYTES = 1 << 30
_MOST_CELLS = 100_000_000


def unread_cells(path: pathlib.Path) -> dict[str, dict[tuple[int, int], str]]:
    """By sheet, row and column (from 1): the fault that stands in a cell, or the formula that has no value yet."""
    found: dict[str, dict[tuple[int, int], str]] = {}
    try:
        with zipfile.ZipFile(path) as book:
            for name, part in _sheets(book):
                cells = dict(_unread(book.read(part)))
                if cells:
                    found[name] = cells
    except (zipfile.BadZipFile, KeyError, ElementTree.ParseError):
        return {}  # whoever reads the workbook says what is wrong with it
    return found


def too_great(path: pathlib.Path) -> str:
    """What makes a workbook too great to be read, before anything takes it in; nothing where it is not.

    Readers hold a sheet from its first cell to its last, filled or not: one stray cell at the far end takes all memory.
    """
    try:
        with zipfile.ZipFile(path) as book:
            if sum(each.file_size for each in book.infolist()) > _MOST_BYTES:
                return f"more than {_MOST_BYTES >> 20} MiB once unpacked"
            for name, part in _sheets(book):
                rows, columns = 0, 0
                for at in _PLACE.finditer(book.read(part)):
                    rows, columns = max(rows, int(at[2])), max(columns, _column(at[1]))
                if rows * columns > _MOST_CELLS:
                    return f"sheet {name} reaches to row {rows}, column {columns}: {rows * columns:,} cells"
    except (zipfile.BadZipFile, KeyError, ElementTree.ParseError):
        return ""
    return ""


def _sheets(book: zipfile.ZipFile) -> Iterator[tuple[str, str]]:
    """The sheets of a workbook by name, and the part each is in."""
    targets = {
        each.get("Id"): each.get("Target", "")
        for each in ElementTree.fromstring(book.read("xl/_rels/workbook.xml.rels"))
    }
    for each in ElementTree.fromstring(book.read("xl/workbook.xml")).iter():
        if each.tag.rpartition("}")[2] == "sheet":
            key = next((value for name, value in each.attrib.items() if name.rpartition("}")[2] == "id"), "")
            target = targets.get(key, "")
            if "worksheets" in target:
                part = target.removeprefix("/") if target.startswith("/") else posixpath.join("xl", target)
                yield each.get("name", ""), part


def _unread(sheet: bytes) -> Iterator[tuple[tuple[int, int], str]]:
    if b't="e"' not in sheet and not _FORMULA.search(sheet):
        return
    for cell in _CELL.finditer(sheet):
        attributes, inside = cell.group(1), cell.group(2) or b""
        value = _VALUE.search(inside)
        formula = _FORMULA.search(inside)
        at = _AT.search(attributes)
        if at is None:
            continue
        place = (int(at[2]), _column(at[1]))
        if _FAULT.search(attributes):
            yield place, _text(value.group(1) if value else b"#ERROR")
        elif formula is not None and value is None and b't="str"' not in attributes:
            yield place, "=" + _text(formula.group(1) or b"")


def _column(letters: bytes) -> int:
    number = 0
    for letter in letters:
        number = number * 26 + letter - 64
    return number


def _text(raw: bytes | None) -> str:
    return html.unescape((raw or b"").decode("utf-8", "replace"))[:_LONGEST]
