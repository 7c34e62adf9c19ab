"""Writes what a check came to, all files of it or none, and takes its parts away."""

from __future__ import annotations

import hashlib
import itertools
import os
import pathlib
import shutil
from collections import Counter
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from importlib.metadata import version

import polars as pl

from engine.archive.journal import RESULTS
from engine.archive.judging import judging_versions, sealed_base
from engine.archive.rejects import FOLDER, write_rejects
from engine.archive.repeats import without
from engine.archive.results import write_csv, write_summary, write_walls, write_workbook
from engine.archive.run import Check, Read, Told, cannot_be_written
from engine.archive.sources_model import Reject
from engine.archive.totals import totals
from engine.archive.totals_model import FileTaken, Rejected, RunFacts, Totals
from engine.decision.model import RuleSetUsed
from engine.rulebase.rules import RuleBase

WALLS = "walls.parquet"
SUMMARY = "summary.json"
MOST_IN_CSV = 1_000_000
"""As many walls as `walls.csv` holds, the gravest ones; all are in `walls.parquet`."""
PagePainter = Callable[[pl.LazyFrame, Totals, Mapping[str, RuleBase], pathlib.Path], None]
"""Writes the page: from the walls, the totals, and the rules that judged, to a file."""


@dataclass(frozen=True, slots=True)
class RejectedFor:
    """One thing that is wrong with rows: with how many, and with which for instance."""

    rows: int
    example: Reject


@dataclass(frozen=True, slots=True)
class Finished:
    """What a check came to. `mended` is where rejected rows of an earlier one were set aside, touched since."""

    totals: Totals
    rejected: tuple[RejectedFor, ...]
    mended: pathlib.Path | None


def finish(read: Read, page: PagePainter, told: Told) -> Finished:
    """Write the results of a check: the walls as Parquet, CSV and workbook, the totals, the page, and the rejects.

    Raises:
        BadInput: one of them cannot be written; none is then.
        BedjointError: the counts do not add up.
    """
    try:
        with cannot_be_written(read.check.output):
            return _finish(read.check, read, page, told)
    except BaseException:
        read.journal.give_up()
        raise


def _finish(check: Check, read: Read, page: PagePainter, told: Told) -> Finished:
    ready = read.journal.folder / "ready"
    shutil.rmtree(ready, ignore_errors=True)
    ready.mkdir()
    steps = 6
    told("writing", 0, steps)
    write_walls(list(_parts(read)), ready / WALLS)
    walls = pl.scan_parquet(ready / WALLS)
    told("writing", 1, steps)
    bases = {name: sealed_base(name) for name in judging_versions(check.by)}
    rejects = tuple(read.rejects())
    found = totals(walls, _run_facts(check, read, bases, rejects), bases)
    write_summary(found, ready / SUMMARY)
    told("writing", 2, steps)
    write_csv(walls, ready / "walls.csv", None if found.decided <= MOST_IN_CSV else MOST_IN_CSV)
    told("writing", 3, steps)
    write_workbook(walls, found, ready / "walls.xlsx")
    told("writing", 4, steps)
    page(walls, found, bases, ready / "page.html")
    told("writing", 5, steps)
    write_rejects(rejects, read.units, check.mapping, ready)
    told("writing", steps, steps)
    os.utime(ready / SUMMARY)
    mended = _keep_mended(check.output)
    for name in RESULTS:
        _put(ready / name, check.output / name)
    read.journal.end()
    return Finished(found, _by_message(rejects), mended)


def _parts(read: Read) -> Iterator[pathlib.Path]:
    """The findings of every part, without the rows that repeat others."""
    for part in read.parts:
        path = read.journal.findings(part.number)
        again = pl.DataFrame(schema=read.repeats.schema)
        if read.repeats.height:
            places = pl.read_parquet(path, columns=["at.file", "at.sheet", "at.row"])
            again = read.repeats.join(places, on=places.columns, how="semi", nulls_equal=True)
        if not again.height:
            yield path
            continue
        cleaned = path.with_suffix(".once")
        without(pl.read_parquet(path), again).write_parquet(cleaned, compression="lz4", statistics=False)
        yield cleaned


def _by_message(rejects: tuple[Reject, ...]) -> tuple[RejectedFor, ...]:
    """What is wrong, by what it is, most rows first; each with the first row it is wrong with."""
    rows: dict[str, set[tuple[str, str, int]]] = {}
    first: dict[str, Reject] = {}
    for reject in rejects:
        rows.setdefault(reject.message, set()).add(reject.place)
        first.setdefault(reject.message, reject)
    by_rows = sorted(rows, key=lambda message: -len(rows[message]))
    return tuple(RejectedFor(len(rows[message]), first[message]) for message in by_rows)


def _keep_mended(output: pathlib.Path) -> pathlib.Path | None:
    """Set rejected rows of an earlier check aside, under a name of their own, if they were touched since."""
    rejects, summary = output / FOLDER, output / SUMMARY
    if not (rejects.is_dir() and summary.exists()):
        return None
    written = summary.stat().st_mtime_ns
    if not any(path.stat().st_mtime_ns > written for path in rejects.rglob("*") if path.is_file()):
        return None
    number = next(number for number in itertools.count(1) if not (output / f"{FOLDER}-{number}").exists())
    return rejects.rename(output / f"{FOLDER}-{number}")


def _put(path: pathlib.Path, target: pathlib.Path) -> None:
    """Put a result in its place, or take away what an earlier check had there and this one does not have."""
    if target.is_dir():
        shutil.rmtree(target)
    if path.exists():
        path.replace(target)
    else:
        target.unlink(missing_ok=True)


def _run_facts(check: Check, read: Read, bases: Mapping[str, RuleBase], rejects: tuple[Reject, ...]) -> RunFacts:
    rows: Counter[str] = Counter()
    for part in read.parts:
        rows.update(dict(part.rows))
    again = Counter(read.repeats.get_column("at.file").to_list())
    repeats = {row[:3] for row in read.repeats.select("at.file", "at.sheet", "at.row").iter_rows()}
    first: dict[tuple[str, str, int], Reject] = {}
    for reject in rejects:
        if reject.place not in repeats:
            first.setdefault(reject.place, reject)
    kinds = Counter((reject.file, reject.message) for reject in first.values())
    return RunFacts(
        engine=f"bedjoint {version('bedjoint')}",
        on=check.today,
        rules=tuple(
            RuleSetUsed(version=name, in_force_from=base.manifest.in_force_from, digest=base.digest)
            for name, base in bases.items()
        ),
        files=tuple(
            FileTaken(file=file, digest=_digest(read.paths[file]), rows=count, repeated=again[file])
            for file, count in sorted(rows.items())
        ),
        rejected=tuple(Rejected(file=file, kind=kind, rows=count) for (file, kind), count in sorted(kinds.items())),
    )


def _digest(path: str) -> str:
    with open(path, "rb") as file:
        return "sha256:" + hashlib.file_digest(file, "sha256").hexdigest()
