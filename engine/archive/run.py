"""A whole check: every part of an archive judged, in any order and any number of processes, to the same results."""

from __future__ import annotations

import concurrent.futures
import contextlib
import dataclasses
import datetime as dt
import hashlib
import multiprocessing
import os
import pathlib
import signal
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from importlib.metadata import version
from typing import Any

import polars as pl

from engine.archive.journal import Journal, PartDone, identity, keep_part
from engine.archive.judging import ByRules, judged_unit, judging_versions, sealed_base
from engine.archive.repeats import as_rejects, repeated
from engine.archive.sources import Source, sources, units_of
from engine.archive.sources_model import Reject, Unit
from engine.errors import BadInput, Problem

BATCH = 250_000
"""Rows that are judged at once."""
_FEW = 4
"""With fewer units than this, other processes are not worth starting."""

Told = Callable[[str, int, int], None]
"""Called with what is being done, how much of it is done, and how much there is."""


@dataclass(frozen=True, slots=True)
class Check:
    """What a check is asked."""

    paths: tuple[str, ...]
    output: pathlib.Path
    today: dt.date
    mapping: Any = None
    by: ByRules = field(default_factory=ByRules)
    batch: int = BATCH
    workers: int | None = None
    page_walls: int = 200_000


@dataclass(frozen=True, slots=True)
class Read:
    """What came of reading and judging: the parts in order, every reject, and which rows repeat others."""

    check: Check
    """What was asked; one that went on has the day on which it began."""
    journal: Journal
    units: tuple[Unit, ...]
    paths: Mapping[str, str]
    """Where each file is, by the name it is shown under."""
    parts: tuple[PartDone, ...]
    repeats: pl.DataFrame

    @property
    def decided(self) -> int:
        """Walls that have findings, those left out that repeat others."""
        return sum(part.decided for part in self.parts) - self.repeats.height

    @property
    def rejected(self) -> int:
        """Rows that have none because something is wrong with them."""
        return sum(part.rejected for part in self.parts)

    @property
    def rechecked(self) -> int:
        """Walls that the evaluator judged again."""
        return sum(part.rechecked for part in self.parts)

    def rejects(self) -> Iterator[Reject]:
        """Everything wrong with rows that have no findings, part after part; then the repeats."""
        for part in self.parts:
            yield from self.journal.rejects(part.number)
        yield from as_rejects(self.repeats)


def read_and_judge(check: Check, told: Told, *, resume: bool = False, replace: bool = False) -> Read:
    """Read and judge all that is not judged yet.

    Raises:
        BadInput: paths, mapping or output that cannot be used, with every problem; nothing is written then.
        ReadersDisagree: a row of the sample that is judged again comes out otherwise.
    """
    found = sources(check.paths, check.mapping)
    _apart(check, found)
    for name in judging_versions(check.by):
        sealed_base(name)
    units = units_of(found, check.batch)
    if not units:
        raise BadInput(
            [Problem(", ".join(check.paths), 0, 0, "", "holds no jobs", allowed="a row a wall below a header")]
        )
    journal = Journal(check.output, _plan(check, found))
    plan = journal.begin(resume=resume, replace=replace)
    check = dataclasses.replace(check, today=dt.date.fromisoformat(plan["day"]))
    if plan["batch"] != check.batch:
        units = units_of(found, int(plan["batch"]))
    try:
        parts = _all_parts(check, journal, units, told)
        if _plan(check, found)["files"] != plan["files"]:
            message = "changed while they were being read, so that the results would be of neither"
            raise BadInput([Problem(", ".join(check.paths), 0, 0, "", message, hint="run again with --replace")])
        decided = [part for part in parts if part.decided]
        places = [(journal.findings(part.number), journal.keys(part.number)) for part in decided]
        repeats = repeated(places, sum(part.decided for part in decided))
    except BaseException:
        journal.give_up()
        raise
    return Read(check, journal, tuple(units), _paths(found), parts, repeats)


def _all_parts(check: Check, journal: Journal, units: Sequence[Unit], told: Told) -> tuple[PartDone, ...]:
    """Every unit judged: those that were done before, and those that are now."""
    done = journal.done()
    left = [number for number in range(len(units)) if number not in done]
    counted = all(unit.count is not None for unit in units)
    what, weights = ("walls", [unit.count or 0 for unit in units]) if counted else ("parts", [1] * len(units))
    total, so_far = sum(weights), sum(weights[number] for number in done if number < len(units))
    told(what, so_far, total)
    with cannot_be_written(check.output):
        for part in _judged(check, journal.folder, units, left):
            done[part.number] = part
            so_far += weights[part.number]
            told(what, so_far, total)
    return tuple(done[number] for number in range(len(units)))


@contextlib.contextmanager
def cannot_be_written(output: pathlib.Path) -> Iterator[None]:
    """A full disk and the like as bad input; what is done so far is kept.

    Raises:
        BadInput: something could not be written.
    """
    try:
        yield
    except OSError as error:
        reason = error.strerror or str(error) or type(error).__name__
        hint = "what is done so far is kept: make room and go on with --resume"
        raise BadInput([Problem(str(output), 0, 0, "--output", f"cannot be written: {reason}", hint=hint)]) from None


def _apart(check: Check, found: Sequence[Source]) -> None:
    """See that what is read and what is written lie apart: results are no jobs, and replacing them loses nothing.

    Raises:
        BadInput: with every file or folder that does not.
    """
    output = check.output.resolve()
    problems = [
        Problem(given, 0, 0, "--output", f"{check.output} lies in this folder, and its results would be read as jobs")
        for given in check.paths
        if pathlib.Path(given).is_dir() and output.is_relative_to(pathlib.Path(given).resolve())
    ]
    for file, path in _paths(found).items():
        if not problems and pathlib.Path(path).resolve().is_relative_to(output):
            hint = "copy what was mended somewhere else first"
            problems.append(Problem(file, 0, 0, "", "lies in the folder of the results", allowed="another", hint=hint))
    if problems:
        raise BadInput(problems)


def _paths(found: Sequence[Source]) -> Mapping[str, str]:
    paths: dict[str, str] = {}
    for source in found:
        paths.update(source.files or ((source.file, source.whole[0].path),))
    return paths


def _plan(check: Check, found: Sequence[Source]) -> Mapping[str, Any]:
    """What a check that goes on must find unchanged, under names a person can read; `batch` is taken over."""
    mapping = "" if check.mapping is None else check.mapping.model_dump_json()
    return {
        "files": identity(pathlib.Path(path) for source in found for path in source.paths),
        "mapping": hashlib.sha256(mapping.encode()).hexdigest(),
        "rules": {name: sealed_base(name).digest for name in judging_versions(check.by)},
        "earlier": check.by.earlier,
        "day": check.today.isoformat(),
        "program": f"bedjoint {version('bedjoint')}, polars {version('polars')}",
        "batch": check.batch,
    }


def _judged(check: Check, folder: pathlib.Path, units: Sequence[Unit], left: Sequence[int]) -> Iterator[PartDone]:
    workers = _workers(check, [units[number] for number in left])
    if workers == 1:
        for number in left:
            yield keep_part(folder, number, judged_unit(units[number], check.mapping, check.today, check.by))
        return
    with (
        _threads_each(workers),
        concurrent.futures.ProcessPoolExecutor(
            workers, multiprocessing.get_context("spawn"), _leave_interrupts
        ) as pool,
    ):
        waiting = [
            pool.submit(_one, folder, number, units[number], check.mapping, check.today, check.by) for number in left
        ]
        try:
            for ready in concurrent.futures.as_completed(waiting):
                yield ready.result()
        finally:
            pool.shutdown(wait=True, cancel_futures=True)


def _one(folder: pathlib.Path, number: int, unit: Unit, mapping: Any, today: dt.date, by: ByRules) -> PartDone:
    return keep_part(folder, number, judged_unit(unit, mapping, today, by))


def _workers(check: Check, left: Sequence[Unit]) -> int:
    """As asked; else one where polars uses all cores by itself, and one a core where Python reads row by row."""
    if check.workers is not None:
        return max(1, min(check.workers, len(left) or 1))
    by_row = any(unit.format in ("yaml", "jsonl") for unit in left)
    return min(os.cpu_count() or 1, len(left)) if by_row and len(left) >= _FEW else 1


@contextlib.contextmanager
def _threads_each(workers: int) -> Iterator[None]:
    """Processes started meanwhile share the cores: polars reads this where it is first imported."""
    before = os.environ.get("POLARS_MAX_THREADS")
    os.environ["POLARS_MAX_THREADS"] = str(max(1, (os.cpu_count() or 1) // workers))
    try:
        yield
    finally:
        if before is None:
            del os.environ["POLARS_MAX_THREADS"]
        else:
            os.environ["POLARS_MAX_THREADS"] = before


def _leave_interrupts() -> None:
    """An interrupt is for the process that was asked; it lets the others finish the unit they are at."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
