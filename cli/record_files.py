"""From paths on the command line to records, with every problem of every file at once."""

from __future__ import annotations

import os
import pathlib
import sys
from collections.abc import Sequence
from typing import TYPE_CHECKING

from engine.errors import BadInput, Problem

if TYPE_CHECKING:
    from engine.record.read import StoredRecord

_ENDING = ".json"


def read_records(paths: Sequence[str]) -> tuple[list[StoredRecord], list[str]]:
    """Every record, and the files of folders that were passed over since they are other output of this program.

    A folder stands for every file below it that ends in .json. A file that is named is read, whatever it is.

    Raises:
        BadInput: every problem of every file; a folder without a record.
    """
    from engine.record.read import is_other_output, parse_record

    problems: list[Problem] = []
    records: list[StoredRecord] = []
    passed: list[str] = []
    for path, named in _files(paths, problems):
        try:
            raw = read_bytes(path)
            if not named and is_other_output(raw):
                passed.append(path)
                continue
            records.append(parse_record(raw, _shown(path)))
        except BadInput as error:
            problems += error.problems
    if not problems and not records:
        problems.append(Problem(", ".join(map(_shown, paths)), 0, 0, "", "holds no record", allowed="at least one"))
    if problems:
        raise BadInput(problems)
    return records, passed


def read_bytes(path: str) -> bytes:
    """The bytes of a file.

    Raises:
        BadInput: it cannot be read.
    """
    from engine.record.facts import LARGEST

    name, file = _shown(path), pathlib.Path(path)
    try:
        if file.is_dir():
            raise BadInput([Problem(name, 0, 0, "", "is a folder", allowed="a record")])
        if file.exists() and not file.is_file():
            raise BadInput([Problem(name, 0, 0, "", "is no ordinary file", allowed="a record")])
        with file.open("rb") as stream:
            return stream.read(LARGEST + 1)
    except FileNotFoundError:
        problem = "there is no such file"
    except PermissionError:
        problem = "there is no permission to read this file"
    except (OSError, ValueError) as error:
        problem = f"cannot be read: {getattr(error, 'strerror', None) or 'not a name for a file'}"
    raise BadInput([Problem(name, 0, 0, "", problem)]) from None


def _files(paths: Sequence[str], problems: list[Problem]) -> list[tuple[str, bool]]:
    """The files, each once, and whether each was named itself rather than its folder."""
    found: dict[str, tuple[str, bool]] = {}
    for path in paths:
        try:
            folder = pathlib.Path(path).is_dir()
        except (OSError, ValueError):
            folder = False
        inside = [path]
        if folder:
            inside = sorted(str(each) for each in pathlib.Path(path).rglob(f"*{_ENDING}") if each.is_file())
            if not inside:
                problems.append(
                    Problem(_shown(path), 0, 0, "", "a folder without records", allowed=f"files that end in {_ENDING}")
                )
        for each in inside:
            key = each if "\0" in each else os.path.realpath(each)
            if key not in found or not folder:
                found[key] = (each, not folder)
    return list(found.values())


def _shown(path: str) -> str:
    """A file's name as it may stand in a message."""
    return "".join(each if each.isprintable() else repr(each)[1:-1] for each in path)


class Counting:
    """Says on a terminal how far it is; elsewhere nothing."""

    def __init__(self, total: int) -> None:
        self._total = total
        self._done = 0
        self._on = total > 1 and sys.stderr.isatty()

    def next(self) -> None:
        """One more is begun."""
        self._done += 1
        if self._on:
            print(f"\r{self._done} of {self._total} records", end="", file=sys.stderr, flush=True)

    def end(self) -> None:
        """Wipe what was said."""
        if self._on:
            print("\r" + " " * 40 + "\r", end="", file=sys.stderr, flush=True)
