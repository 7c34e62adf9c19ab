"""The columnar reader: from a Parquet of walls to a Parquet of conclusions, batch by batch."""

from __future__ import annotations

import pathlib
import time
from collections import defaultdict
from collections.abc import Iterator, Mapping

import polars as pl
from engines.common import Conclusions

from engine.columns.facts import with_applicability, with_every_fact
from engine.columns.judge import judge
from engine.columns.plan import plan_of
from engine.columns.readings import column_readings
from engine.rulebase.reading_figures import reading_figures
from engine.rulebase.rules import RuleBase

NAME = "columnar reader"
BATCH = 250_000
_READ = 250_000
"""Rows that are read at once: less than a group of rows of the file has to be unpacked again for each part."""
WRITTEN = ("decided.", "possible:", "fired:", "now:", "sure:", "may:")
STEPS = (
    "reading Parquet",
    "facts: which apply",
    "readings",
    "facts and readings in comparable form, tests of them",
    "rules",
    "choices, sets, and the tests of later stages on them",
    "putting the results together",
    "writing Parquet",
)
_TESTS, _RULES, _CHOICES = STEPS[3:6]


def judge_file(source: pathlib.Path, folder: pathlib.Path, base: RuleBase, batch: int = BATCH) -> int:
    """Judge a flat Parquet and write the conclusions to a folder, a file a batch; how many walls there were."""
    walls = 0
    for number, flat in enumerate(_batches(source, batch)):
        judged = judge(flat, base)
        _write(flat, judged, folder / f"part-{number:05}.parquet", base)
        walls += flat.height
    return walls


def filter_file(source: pathlib.Path, target: pathlib.Path) -> int:
    """Read a flat Parquet, leave out the earliest twentieth of the surveys, write the rest; how many walls were read.

    This is what any work on such a file costs at the least: streamed by polars, and no rule is applied.
    """
    walls = pl.scan_parquet(source)
    days = walls.select(pl.col("survey_date").quantile(0.05), pl.len()).collect()
    walls.filter(pl.col("survey_date") >= pl.lit(days["survey_date"][0]).cast(pl.Date)).sink_parquet(target)
    return int(days["len"][0])


def conclusions(judged: pl.DataFrame, base: RuleBase) -> Iterator[Conclusions]:
    """The rows of a judged frame as other engines tell them."""
    members = [name.split(":") for name in judged.columns if name.startswith("now:")]
    for row in judged.iter_rows(named=True):
        yield Conclusions(
            frozenset(rule.id for rule in base.rules if row[f"fired:{rule.id}"]),
            {choice: row[f"decided.{choice}"] for choice in base.choices},
            {
                name: frozenset(member for _, key, member in members if key == name and row[f"now:{name}:{member}"])
                for name in base.sets
            },
        )


def profile(source: pathlib.Path, folder: pathlib.Path, base: RuleBase, batch: int = BATCH) -> Mapping[str, float]:
    """Seconds of each of `STEPS` over a whole file: the steps of `judge`, one after another."""
    took: dict[str, float] = defaultdict(float)
    plan, figures = plan_of(base), reading_figures(base.tables)
    mark = time.perf_counter()

    def step(name: str) -> None:
        nonlocal mark
        now = time.perf_counter()
        took[name] += now - mark
        mark = now

    for number, flat in enumerate(_batches(source, batch)):
        step(STEPS[0])
        work = with_applicability(with_every_fact(flat))
        step(STEPS[1])
        readings = column_readings(work, figures, plan.readings)
        step(STEPS[2])
        work = work.select(*plan.facts, pl.col("^na:.*$")).hstack(readings)
        for place, layer in enumerate(plan.layers):
            work = work.with_columns(layer)
            step(_step_of(place, layer))
        judged = work.select(name for name in plan.results if not name.startswith("_"))
        step(STEPS[6])
        _write(flat, judged, folder / f"part-{number:05}.parquet", base)
        step(STEPS[7])
    return {name: took[name] for name in STEPS}


def _batches(source: pathlib.Path, batch: int) -> Iterator[pl.DataFrame]:
    walls = pl.scan_parquet(source)
    run = max(batch, _READ)
    for start in range(0, walls.select(pl.len()).collect().item(), run):
        yield from walls.slice(start, run).collect().iter_slices(batch)


def _write(flat: pl.DataFrame, judged: pl.DataFrame, target: pathlib.Path, base: RuleBase) -> None:
    rule_columns = {f"may:{rule.id}" for rule in base.rules}
    kept = [name for name in judged.columns if name.startswith(WRITTEN) and name not in rule_columns]
    flat.select("reference", "wall").hstack(judged.select(kept)).write_parquet(target)


def _step_of(place: int, layer: tuple[pl.Expr, ...]) -> str:
    if layer[0].meta.output_name().startswith("fired:"):
        return _RULES
    return _TESTS if place < 2 else _CHOICES
