"""Which rows of the flat frame hold facts that cannot be true together, or that do not apply to their wall.

The columnar twin of `engine.facts.contradictions`, built from the same declarations; a row is marked here exactly where
that finds something. What is wrong is said there.
"""

from __future__ import annotations

import functools
from collections.abc import Iterator
from operator import or_

import polars as pl

from engine.columns.consistent_rows import ground_mask, samples_mask
from engine.columns.layout import mask_of
from engine.facts.consistency import NOT_AFTER_SURVEY, ORDERS, TOGETHER, Has
from engine.facts.declare import Only, Unless
from engine.facts.vocabulary import facts


def contradiction_mask(flat: pl.DataFrame) -> pl.Series:
    """Whether a row holds a contradiction, one for each row. `flat` has the key and every fact."""
    marks = flat.select(_any(list(_declared())).alias("marks")).to_series()
    return marks | ground_mask(flat) | samples_mask(flat)


def _any(parts: list[pl.Expr]) -> pl.Expr:
    return functools.reduce(or_, parts).fill_null(value=False)


def _declared() -> Iterator[pl.Expr]:
    yield from _not_applicable()
    for order in ORDERS:
        small, great = pl.col(order.small), pl.col(order.great)
        yield (small >= great if order.strict else small > great).fill_null(value=False)
    for each in TOGETHER:
        yield _has(each.when) & pl.col(each.then.fact).is_not_null() & ~_has(each.then)
    yield (pl.col(NOT_AFTER_SURVEY) > pl.col("survey_date").dt.year()).fill_null(value=False)


def _has(has: Has) -> pl.Expr:
    variable, column = facts()[has.fact], pl.col(has.fact)
    if variable.kind == "set":
        held = (column & mask_of(variable, [str(each) for each in has.values])) != 0
    else:
        held = functools.reduce(or_, (column == each for each in has.values))
    return held.fill_null(value=False)


def _not_applicable() -> Iterator[pl.Expr]:
    """A fact is given that does not apply, fact by fact; none depends on a later one."""
    absent: dict[str, pl.Expr] = {}
    for name, variable in facts().items():
        if not variable.applies:
            continue
        parts = []
        for need in variable.applies:
            parts.append(_unmet(need))
            if need.fact in absent:
                parts.append(absent[need.fact])
        absent[name] = functools.reduce(or_, parts)
        yield pl.col(name).is_not_null() & absent[name]


def _unmet(need: Only | Unless) -> pl.Expr:
    """The other fact is known, and not such that this one applies."""
    variable, column = facts()[need.fact], pl.col(need.fact)
    words: list[pl.Expr]
    if variable.kind == "set":  # a set is compared as a whole, and only with none
        words = [column == 0] if "none" in need.values else []
    else:
        words = [column == each for each in need.values]
    named = functools.reduce(or_, words) if words else pl.lit(value=False)
    return (~named if isinstance(need, Only) else named).fill_null(value=False) & column.is_not_null()
