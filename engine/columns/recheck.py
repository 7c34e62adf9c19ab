"""In use, a sample of the rows is judged again by the evaluator; a difference is an error, never an answer."""

from __future__ import annotations

from collections.abc import Iterator

import polars as pl

from engine.columns.flat import values_of
from engine.columns.layout import KEY
from engine.columns.plan import option_ids
from engine.errors import ReadersDisagree
from engine.inference.evaluate import Evaluation, evaluate
from engine.inference.truth import Truth
from engine.readings.compute import compute_readings
from engine.rulebase.reading_figures import reading_figures
from engine.rulebase.rules import RuleBase

ONE_IN = 4096
"""One row in so many is judged again, drawn by what survey and wall it is; and the first of every batch."""


def recheck(flat: pl.DataFrame, judged: pl.DataFrame, base: RuleBase, one_in: int = ONE_IN) -> int:
    """Judge a sample again, or every row where `one_in` is 1; how many were.

    Raises:
        ReadersDisagree: the columnar reader and the evaluator differ on one of them.
    """
    drawn = flat.select(pl.struct(list(KEY)).hash(seed=1) % one_in == 0).to_series()
    first = pl.Series([0] if flat.height else [], dtype=pl.UInt32)
    rows = pl.concat([first, drawn.arg_true().cast(pl.UInt32)]).unique().sort()
    for at, row, found in zip(rows, flat[rows].iter_rows(named=True), judged[rows].iter_rows(named=True), strict=True):
        wrong = [name for name, value in expected(row, base) if found.get(name) != value]
        if wrong:
            raise ReadersDisagree(
                f"the columnar reader and the evaluator differ on {row['at.file']} row {row['at.row']} "
                f"(place {at} of its batch), rules {base.manifest.version}, in: {', '.join(wrong[:10])}"
            )
    return len(rows)


def expected(row: dict[str, object], base: RuleBase) -> Iterator[tuple[str, object]]:
    """What the evaluator says of a row of the flat frame, under the names of the columns of `judge`."""
    values = values_of(row)
    date = row["survey_date"]
    values.update(compute_readings(values, date.year, reading_figures(base.tables)))  # type: ignore[attr-defined]
    return in_columns(evaluate(base, values), base)


def in_columns(found: Evaluation, base: RuleBase) -> Iterator[tuple[str, object]]:
    """An evaluation under the names of the columns of `judge`."""
    for choice, outcome in found.outcomes.items():
        yield f"decided.{choice}", outcome.option
        for option in option_ids(base, choice):
            yield f"possible:{choice}:{option}", option in outcome.possible
    for rule in base.rules:
        yield f"fired:{rule.id}", rule.id in found.fired
        yield f"acts:{rule.id}", found.ever[rule.id] is Truth.TRUE
        yield f"may:{rule.id}", found.ever[rule.id] is not Truth.FALSE
    added = {(key, member) for rule in base.rules for key, member in rule.adds}
    for key, member in sorted(added):
        held = found.sets[key]
        yield f"now:{key}:{member}", member in held.now
        yield f"sure:{key}:{member}", member in held.sure
        yield f"may:{key}:{member}", member in held.sure or member in held.may
