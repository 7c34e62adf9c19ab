"""The folder in which a check keeps its parts until it is done, so that one that was cut short can go on."""

from __future__ import annotations

import dataclasses
import hashlib
import json
import os
import pathlib
import shutil
from collections.abc import Iterable, Mapping
from typing import Any, BinaryIO, NoReturn

import polars as pl

from engine.archive.judging import CONTENT, REPEAT_KEY, Judged
from engine.archive.sources_model import Reject
from engine.errors import BadInput, Problem

WORK = ".unfinished"
LOCK = ".in-use"
TAKEN_OVER = ("batch", "day")
"""What a check that goes on takes over from the one that was cut short."""
RESULTS = ("walls.parquet", "walls.csv", "walls.xlsx", "summary.json", "page.html", "rejects.csv", "rejects")
_PLAN = "plan.json"
_ENDS = 65536


@dataclasses.dataclass(frozen=True, slots=True)
class PartDone:
    """One unit that is done: how many of its rows were decided, rejected, and judged again."""

    number: int
    decided: int
    rejected: int
    rechecked: int
    rows: tuple[tuple[str, int], ...]
    """How many rows or walls each file had in it, by the file's name."""


class Journal:
    """The parts of a check. `plan` is what the check was asked and what it reads, as plain data."""

    def __init__(self, output: pathlib.Path, plan: Mapping[str, Any]) -> None:
        self.output = output
        self.folder = output / WORK
        self._plan = dict(plan)
        self._lock: BinaryIO | None = None
        self._made = False

    def begin(self, *, resume: bool, replace: bool) -> Mapping[str, Any]:
        """Make the folder ready, for this check alone; the plan to follow, the earlier one where a check goes on.

        Raises:
            BadInput: results or parts of another check stand there; there is nothing to go on with; what is read or
                asked has changed since.
        """
        self._hold()
        standing = [name for name in RESULTS if (self.output / name).exists()]
        earlier = self._earlier()
        if resume:
            if earlier is None:
                self._refuse("nothing there to go on with", "a folder in which a check was cut short", "--resume")
            self._compare(earlier)
            return earlier
        if (standing or earlier is not None) and not replace:
            what = f"holds {', '.join(standing)}" if standing else "holds a check that was cut short"
            hint = "--replace to begin anew" + ("" if earlier is None else ", --resume to go on")
            self._refuse(what, "another folder", "--output", hint)
        shutil.rmtree(self.folder, ignore_errors=True)
        try:
            self.folder.mkdir(parents=True)
            _write(self.folder / _PLAN, json.dumps(self._plan, indent=1).encode())
        except OSError as error:
            self._refuse(f"cannot be written: {error.strerror or type(error).__name__}", "", "--output")
        return self._plan

    def _hold(self) -> None:
        """Keep other checks out of the folder, as long as this process lives."""
        there = self.output.is_dir()
        try:
            self.output.mkdir(parents=True, exist_ok=True)
            self._lock = (self.output / LOCK).open("wb")
        except OSError as error:
            self._refuse(f"cannot be written: {error.strerror or type(error).__name__}", "", "--output")
        if not _alone(self._lock):
            self._lock.close()
            self._lock = None
            self._refuse("another check is at work there", "another folder, or wait", "--output")
        self._made = not there

    def give_up(self) -> None:
        """Let others in; a folder that was made for nothing goes."""
        if self._lock is not None:
            (self.output / LOCK).unlink(missing_ok=True)
            self._lock.close()
            self._lock = None
        if self._made and not any(self.output.iterdir()):
            self.output.rmdir()

    def _earlier(self) -> dict[str, Any] | None:
        try:
            found = json.loads((self.folder / _PLAN).read_bytes())
        except (OSError, ValueError):
            return None
        return found if isinstance(found, dict) else None

    def _compare(self, earlier: Mapping[str, Any]) -> None:
        now = json.loads(json.dumps(self._plan))
        changed = [name for name in now if name not in TAKEN_OVER and now[name] != earlier.get(name)]
        if changed:
            said = ", ".join(changed)
            self._refuse(
                f"is not the same check any more: {said} changed", "the same", "--resume", "--replace to begin anew"
            )

    def _refuse(self, message: str, allowed: str, option: str, hint: str = "") -> NoReturn:
        self.give_up()
        raise BadInput([Problem(str(self.output), 0, 0, option, message, "", allowed, hint)])

    def done(self) -> dict[int, PartDone]:
        """The parts that are done, by number."""
        found = {}
        for path in self.folder.glob("part-*.json"):
            try:
                said = json.loads(path.read_bytes())
                rows = tuple((file, count) for file, count in said["rows"])
                part = PartDone(said["number"], said["decided"], said["rejected"], said["rechecked"], rows)
            except (OSError, ValueError, TypeError, KeyError):
                continue
            if all(_rows_of(path) == part.decided for path in (self.findings(part.number), self.keys(part.number))):
                found[part.number] = part
        return found

    def findings(self, number: int) -> pathlib.Path:
        """Where the findings of a part stand."""
        return self.folder / f"part-{number:07}.parquet"

    def keys(self, number: int) -> pathlib.Path:
        """Where the keys of its rows stand, in the same order: alike for rows of the same survey and wall."""
        return self.folder / f"part-{number:07}.keys"

    def keep(self, number: int, part: Judged) -> PartDone:
        """Keep one part, whole or not at all: the file that says so comes last."""
        return keep_part(self.folder, number, part)

    def rejects(self, number: int) -> tuple[Reject, ...]:
        """What is wrong with the rows of a part that have no findings."""
        found = json.loads(self._said(number).read_bytes())["rejects"]
        return tuple(Reject(**each) for each in found)

    def _said(self, number: int) -> pathlib.Path:
        return self.folder / f"part-{number:07}.json"

    def end(self) -> None:
        """Take the parts away: all that they were for is written."""
        shutil.rmtree(self.folder, ignore_errors=True)
        self.give_up()


def keep_part(folder: pathlib.Path, number: int, part: Judged) -> PartDone:
    """Write one part to a folder of parts, from whichever process judged it."""
    rows = tuple(sorted(part.rows.items()))
    done = PartDone(number, part.findings.height, part.rejected, part.rechecked, rows)
    path = folder / f"part-{number:07}.parquet"
    _write_frame(part.findings.drop(REPEAT_KEY, CONTENT), path)
    _write_frame(part.findings.select(REPEAT_KEY, CONTENT), path.with_suffix(".keys"))
    rejects = [dataclasses.asdict(each) for each in part.rejects]
    _write(path.with_suffix(".json"), json.dumps({**dataclasses.asdict(done), "rejects": rejects}).encode())
    return done


def _write_frame(frame: pl.DataFrame, path: pathlib.Path) -> None:
    temporary = path.with_suffix(f".tmp{os.getpid()}")
    frame.write_parquet(temporary, compression="lz4", statistics=False)
    os.replace(temporary, path)


def _rows_of(path: pathlib.Path) -> int | None:
    """How many rows a file of Parquet has; None where it is not whole."""
    try:
        return int(pl.scan_parquet(path).select(pl.len()).collect().item())
    except (OSError, pl.exceptions.PolarsError):
        return None


def _alone(lock: BinaryIO) -> bool:
    """Whether no other process holds the file; where the system has no such locks, nobody is taken to."""
    try:
        import fcntl
    except ImportError:
        return True
    try:
        fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True


def _write(path: pathlib.Path, content: bytes) -> None:
    temporary = path.with_suffix(f".tmp{os.getpid()}")
    temporary.write_bytes(content)
    os.replace(temporary, path)


def identity(paths: Iterable[pathlib.Path]) -> str:
    """A digest of files by name, size, time of change, and their first and last bytes."""
    digest = hashlib.sha256()
    for path in paths:
        stat = path.stat()
        digest.update(f"{path}\0{stat.st_size}\0{stat.st_mtime_ns}\0".encode())
        with path.open("rb") as file:
            digest.update(file.read(_ENDS))
            if stat.st_size > _ENDS:
                file.seek(max(_ENDS, stat.st_size - _ENDS))
                digest.update(file.read(_ENDS))
    return digest.hexdigest()
