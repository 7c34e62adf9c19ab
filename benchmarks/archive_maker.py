"""Makes an archive of past jobs of an invented firm, with planted errors of each kind and a ledger of them.

Run it with the interpreter of the environment: `python benchmarks/archive_maker.py --jobs 100000 --output DIR`. It
writes `DIR/archive` (CSV, workbooks, JSON Lines, Parquet, a folder of surveys), `DIR/mapping.yaml` for the workbook in
the firm's own words, `DIR/ledger.jsonl` with every planted error and what has to be found of it, and
`DIR/remarks.jsonl` with the walls at which a cheaper medium stands although nothing was planted. A job is one wall.
The same seed gives the same files, whatever the number of workers.
`--big FILE --jobs N` writes a flat Parquet of N walls for measuring speed.
"""

from __future__ import annotations

import argparse
import concurrent.futures
import datetime as dt
import functools
import json
import multiprocessing
import pathlib
import time
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from archive_firm import firm_words, mapping_data, mapping_text
from archive_jobs import (
    SURVEYORS,
    TODAY,
    Firm,
    Job,
    drawn_job,
    job_draw,
    judge_of,
    known_versions,
    survey_date,
    walls_of_job,
)
from archive_jobs import wall_names as names_of
from archive_plants import FINDINGS, REJECTED, REPEATED, Cells, cells_of, expectation, kinds_for
from archive_writers import (
    CsvWriter,
    JsonlWriter,
    Place,
    TextParquetWriter,
    TypedParquetWriter,
    Writer,
    XlsxWriter,
    YamlWriter,
    typed_frame,
    typed_row,
)

from engine.facts.values import Scalar

if TYPE_CHECKING:
    import polars as pl

PLANTED = 0.1
"""How many walls of a hundred have a planted error, all kinds together, by default."""
_ATTEMPTS = 60
_CHUNK = 100
_SHARES = (
    ("csv", "jobs-a.csv", 0.14),
    ("csv", "jobs-b.csv", 0.14),
    ("csv", "jobs-c.csv", 0.10),
    ("xlsx", "office.xlsx", 0.08),
    ("firm", "day-book.xlsx", 0.08),
    ("jsonl", "nested.jsonl", 0.10),
    ("dotted", "dotted.jsonl", 0.10),
    ("text", "text.parquet", 0.10),
    ("parquet", "typed.parquet", 0.14),
    ("yaml", "surveys", 0.02),
)
"""Layout, file and share of the walls."""
_GROUP = 250_000
_BASE = 20_000


@dataclass(frozen=True, slots=True)
class Task:
    """Some jobs of one file: number and how many walls of each."""

    firm: Firm
    planted: float
    layout: str
    file: str
    jobs: tuple[tuple[int, int], ...]


@dataclass(slots=True)
class Made:
    """A wall as it is to be written, and what was planted in it."""

    number: int
    cells: Cells
    kind: str | None
    expect: dict[str, Any]
    key: dict[str, Any]


@dataclass(frozen=True, slots=True)
class Archive:
    """What was made. `rows` are all rows and walls written, repeated ones among them."""

    folder: pathlib.Path
    mapping: pathlib.Path
    ledger: pathlib.Path
    remarks: pathlib.Path
    rows: int
    planted: Mapping[str, int] = field(default_factory=dict)


def make_archive(
    output: pathlib.Path,
    walls: int,
    seed: int = 1,
    *,
    workers: int = 2,
    rules: str | None = None,
    earlier: str | None = None,
    planted: float = PLANTED,
) -> Archive:
    """Make an archive of so many walls, beside those that are there twice.

    `rules` is the version by which all is decided; without it that is the one in force on the day of the survey, and
    `earlier` for surveys from before there was one. Without either no survey is as old as that.
    """
    folder = output / "archive"
    folder.mkdir(parents=True, exist_ok=True)
    firm = Firm(seed, rules, earlier)
    tasks = list(_tasks(firm, walls, planted))
    counts: Counter[str] = Counter()
    rows, writer, of_file = 0, None, ""
    mapping = output / "mapping.yaml"
    mapping.write_text(mapping_text(mapping_data(firm_words())), encoding="utf-8")
    ledger, remarks = output / "ledger.jsonl", output / "remarks.jsonl"
    with ledger.open("w", encoding="utf-8") as planted_file, remarks.open("w", encoding="utf-8") as remark_file:
        for task, several in zip(tasks, _done(tasks, workers), strict=True):
            if task.file != of_file:
                if writer is not None:
                    writer.close()
                writer, of_file = _writer(task, folder), task.file
            assert writer is not None
            for each, name, place in _written(writer, task, several):
                rows += 1
                entry = {"file": name, "sheet": place[0], "row": place[1], **each.key}
                if each.kind is not None:
                    counts[each.kind] += 1
                    planted_file.write(_line({**entry, "kind": each.kind, "expect": each.expect}))
                elif each.expect["cheaper"]:
                    remark_file.write(_line({**entry, "cheaper": each.expect["cheaper"]}))
        if writer is not None:
            writer.close()
    return Archive(folder, mapping, ledger, remarks, rows, dict(sorted(counts.items())))


def _line(data: Mapping[str, Any]) -> str:
    return json.dumps(data, ensure_ascii=False, default=str) + "\n"


def _tasks(firm: Firm, walls: int, planted: float) -> Iterator[Task]:
    number, left = 0, walls
    for at, (layout, file, share) in enumerate(_SHARES):
        wanted = left if at == len(_SHARES) - 1 else min(left, round(walls * share))
        left -= wanted
        jobs: list[tuple[int, int]] = []
        while wanted:
            number += 1
            count = min(wanted, walls_of_job(firm, number))
            wanted -= count
            jobs.append((number, count))
            if len(jobs) == _CHUNK or not wanted:
                yield Task(firm, planted, layout, file, tuple(jobs))
                jobs = []


def _done(tasks: Sequence[Task], workers: int) -> Iterator[list[Made]]:
    if workers < 2:
        yield from map(made, tasks)
        return
    context = multiprocessing.get_context("spawn")
    with concurrent.futures.ProcessPoolExecutor(workers, mp_context=context) as pool:
        ahead = 8 * workers
        running = [pool.submit(made, task) for task in tasks[:ahead]]
        for at in range(len(tasks)):
            yield running[at].result()
            running[at] = None  # type: ignore[call-overload]
            if at + ahead < len(tasks):
                running.append(pool.submit(made, tasks[at + ahead]))


def made(task: Task) -> list[Made]:
    """The walls of a task."""
    found = []
    for number, count in task.jobs:
        day = survey_date(task.firm, number)
        surveyor = job_draw(task.firm, number, "head").one(SURVEYORS)
        shared: dict[str, Scalar] | None = None
        for index, name in enumerate(names_of(task.firm, number, count)):
            kind = _kind(task, number, index, count)
            job, one = made_wall(task.firm, kind, (number, index), day, name, surveyor, shared)
            shared = shared or {fact: value for fact, value in job.facts.items() if fact.startswith("property.")}
            found.append(one)
    return found


def _kind(task: Task, number: int, index: int, walls: int) -> str | None:
    draw = job_draw(task.firm, number, "plant", index)
    if not draw.chance(task.planted):
        return None
    layout = {"firm": "xlsx", "dotted": "jsonl"}.get(task.layout, task.layout)
    odds = {kind: often for kind, often in kinds_for(layout, walls > 1).items() if kind not in _never(task.firm.rules)}
    return draw.weighted(list(odds), list(odds.values()))


@functools.cache
def _never(rules: str | None) -> frozenset[str]:
    """The kinds that no rule can bring: that an option is ruled out by rules as strong as none rules one out."""
    bases = [judge_of(rules or each.version).base for each in known_versions()]
    words = {rule.word for base in bases for rule in base.rules if rule.rules_out}
    return frozenset(f"ruled_out_{word}" for word in ("must", "should", "consider") if word not in words)


def made_wall(
    firm: Firm,
    kind: str | None,
    place: tuple[int, int],
    day: dt.date,
    name: str,
    surveyor: str,
    shared: Mapping[str, Scalar] | None,
) -> tuple[Job, Made]:
    """A wall with that error, or with none where no wall that was drawn can have it; `place` is which of which job."""
    number, index = place
    for attempt in range(_ATTEMPTS if kind else 1):
        draw = job_draw(firm, number, "wall", index, attempt)
        job = drawn_job(firm, number, day, name, surveyor, draw, shared)
        if kind in FINDINGS:
            planted = FINDINGS[kind](job, draw)
            if planted is not None:
                return job, _as_made(planted, kind, cells_of(planted), expectation(planted))
        elif kind is not None:
            cells = cells_of(job)
            rejected = REJECTED[kind](cells, job, draw)
            if rejected is not None:
                return job, _as_made(job, kind, cells, {"rejected": {"column": rejected[0], "value": rejected[1]}})
        else:
            break
    return job, _as_made(job, None, cells_of(job), expectation(job))


def _as_made(job: Job, kind: str | None, cells: Cells, expect: dict[str, Any]) -> Made:
    key = {"reference": job.reference, "survey_date": job.survey_date.isoformat(), "wall": job.wall}
    return Made(job.number, cells, kind, expect, key)


def _written(writer: Any, task: Task, several: Sequence[Made]) -> Iterator[tuple[Made, str, Place]]:
    """Write walls; those to be repeated once more at the end, where they are the error."""
    if task.layout == "yaml":
        for number in dict.fromkeys(each.number for each in several):
            walls = [each for each in several if each.number == number]
            stem = walls[0].key["reference"]
            for each, place in zip(walls, writer.job(stem, [each.cells for each in walls]), strict=True):
                yield each, f"{stem}.yaml", place
        return
    again = []
    for each in several:
        if each.kind == REPEATED:
            again.append(each)
            # The first of the two is as good as any, and repeated rows carry no other error.
            yield Made(each.number, each.cells, None, {"cheaper": []}, each.key), task.file, writer.wall(each.cells)
        else:
            yield each, task.file, writer.wall(each.cells)
    for each in again:
        yield each, task.file, writer.wall(each.cells)


def _writer(task: Task, folder: pathlib.Path) -> Writer | YamlWriter:
    path = folder / task.file
    match task.layout:
        case "csv":
            return CsvWriter(path)
        case "xlsx":
            return XlsxWriter(path, "Jobs")
        case "firm":
            return XlsxWriter(path, "Day book", firm_words())
        case "jsonl":
            return JsonlWriter(path, nested=True)
        case "dotted":
            return JsonlWriter(path, nested=False)
        case "text":
            return TextParquetWriter(path)
        case "parquet":
            return TypedParquetWriter(path)
    return YamlWriter(path)


# ---------------------------------------------------------------- walls in bulk


def make_flat(walls: int, seed: int = 1, *, workers: int = 1, rules: str | None = None) -> pl.DataFrame:
    """A flat frame of distinct consistent walls with nothing planted, typed as `engine/columns/layout.py` has it.

    Beside place, key and facts it has what was recommended, installed and came of it.
    """
    firm = Firm(seed, rules)
    jobs, left, number = [], walls, 0
    while left:
        number += 1
        count = min(left, walls_of_job(firm, number))
        left -= count
        jobs.append((number, count))
    tasks = [Task(firm, 0.0, "parquet", "flat", tuple(jobs[at : at + _CHUNK])) for at in range(0, len(jobs), _CHUNK)]
    rows = [typed_row(each.cells) for several in _done(tasks, workers) for each in several]
    for row_number, row in enumerate(rows, 1):
        row |= {"at.file": "flat", "at.sheet": "", "at.row": row_number}
    return typed_frame(rows)


def big_parquet(
    path: pathlib.Path, walls: int, seed: int = 1, *, base: pl.DataFrame | None = None, workers: int = 2
) -> None:
    """A flat Parquet of so many walls, drawn with repetition from distinct ones and given references of their own.

    It is written by groups of rows, so that memory stays flat whatever the number of walls.
    """
    import numpy as np
    import polars as pl
    from polars.io.plugins import register_io_source

    if base is None:
        base = make_flat(min(walls, _BASE), seed, workers=workers)
    base = base.drop("at.file", "at.sheet", "at.row")
    words = ("reference", "wall", "surveyor", "note", "installed.medium", "outcome.result")
    repeated = [name for name in base.columns if base.schema[name] == pl.String and name != "reference"]
    assert set(words) <= {"reference", *repeated}
    base = base.with_columns(pl.col(name).cast(pl.Enum(base[name].drop_nulls().unique().sort())) for name in repeated)

    def batches(
        with_columns: list[str] | None, predicate: pl.Expr | None, n_rows: int | None, batch_size: int | None
    ) -> Iterator[pl.DataFrame]:
        for start in range(0, walls, _GROUP):
            count = min(_GROUP, walls - start)
            picked = np.random.default_rng((seed, start)).integers(0, base.height, count)
            numbers = pl.int_range(start + 1, start + count + 1, eager=True).cast(pl.String).str.zfill(8)
            yield base[picked].with_columns(reference=pl.select(pl.concat_str(pl.lit("SFS-"), numbers)).to_series())

    lazy = register_io_source(batches, schema=base.schema, is_pure=True)
    lazy.sink_parquet(path, row_group_size=_GROUP, compression="zstd", maintain_order=True)


def main() -> None:
    """Make what is asked for, and say what it came to."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--jobs", type=int, default=100_000, help="how many walls")
    parser.add_argument("--output", type=pathlib.Path, help="the folder to write")
    parser.add_argument("--big", type=pathlib.Path, help="a flat Parquet to write instead")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--rules", help="the version that decides all; without it the one in force on the day")
    parser.add_argument("--earlier", help="the version for surveys from before there were rules")
    parser.add_argument("--planted", type=float, default=PLANTED, help="share of walls with a planted error")
    options = parser.parse_args()
    start = time.perf_counter()
    if options.big is not None:
        big_parquet(options.big, options.jobs, options.seed, workers=options.workers)
        size = options.big.stat().st_size / 2**20
        print(f"{options.jobs} walls, {size:.0f} MB, {time.perf_counter() - start:.0f} s")
        return
    if options.output is None:
        parser.error("say where to: --output, or --big")
    done = make_archive(
        options.output,
        options.jobs,
        options.seed,
        workers=options.workers,
        rules=options.rules,
        earlier=options.earlier,
        planted=options.planted,
    )
    print(f"{done.rows} rows in {time.perf_counter() - start:.0f} s; to the day {TODAY.isoformat()}")
    for kind, count in done.planted.items():
        print(f"  {kind:26} {count}")


if __name__ == "__main__":
    main()
