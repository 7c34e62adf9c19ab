"""Judges many walls at once: the conclusions, fired rules and open status that the evaluator comes to, row by row."""

from __future__ import annotations

import polars as pl

from engine.columns.facts import with_applicability, with_every_fact
from engine.columns.plan import plan_of
from engine.columns.readings import column_readings
from engine.rulebase.reading_figures import reading_figures
from engine.rulebase.rules import RuleBase


def judge(flat: pl.DataFrame, base: RuleBase) -> pl.DataFrame:
    """Every conclusion of a rule base on every row of a flat frame; of the same height and order.

    Columns: `decided.choice` (an Enum of the options and undecided); `possible:choice:option`, what open facts still
    allow, by the evaluator's own bound; `fired:rule`, `acts:rule` (however the unknown is filled in) and `may:rule`;
    `now:set:member`, `sure:set:member`, `may:set:member`, of the members that some rule adds. All others are Boolean.
    """
    plan = plan_of(base)
    work = with_applicability(with_every_fact(flat))
    readings = column_readings(work, reading_figures(base.tables), plan.readings)
    work = work.select(*plan.facts, pl.col("^na:.*$")).hstack(readings)
    for layer in plan.layers:
        work = work.with_columns(layer)
    return work.select(name for name in plan.results if not name.startswith("_"))
