"""Conditions as Boolean columns without nulls: what a condition is now, and what it can still come to.

Of a condition two columns say what it is on what is known, `true` and `false` (neither: unknown), and four what it may
come to however the unknown is filled in: `may_true`, `may_false`, and `not_true`, `not_false` (it may come to something
else than that). The truths its parts can take are independent, as in `engine.inference.ways`, so these four say all.
"""

from __future__ import annotations

import functools
import operator
from collections.abc import Iterable
from dataclasses import dataclass

import polars as pl

YES = pl.lit(True)
NO = pl.lit(False)


@dataclass(frozen=True, slots=True)
class Bits:
    """The columns of one condition, as expressions."""

    true: pl.Expr
    false: pl.Expr
    may_true: pl.Expr
    may_false: pl.Expr
    not_true: pl.Expr
    not_false: pl.Expr


def every(parts: Iterable[pl.Expr]) -> pl.Expr:
    """And of Boolean columns without nulls; true of none."""
    return functools.reduce(operator.and_, parts) if (parts := tuple(parts)) else YES


def some(parts: Iterable[pl.Expr]) -> pl.Expr:
    """Or of Boolean columns without nulls; false of none."""
    return functools.reduce(operator.or_, parts) if (parts := tuple(parts)) else NO


def negation(part: Bits) -> Bits:
    """Not."""
    return Bits(part.false, part.true, part.may_false, part.may_true, part.not_false, part.not_true)


def conjunction(parts: tuple[Bits, ...]) -> Bits:
    """And: true where all parts are, false where one is."""
    return Bits(
        every(part.true for part in parts),
        some(part.false for part in parts),
        every(part.may_true for part in parts),
        some(part.may_false for part in parts),
        some(part.not_true for part in parts),
        every(part.not_false for part in parts),
    )


def disjunction(parts: tuple[Bits, ...]) -> Bits:
    """Or: true where one part is, false where all are."""
    return Bits(
        some(part.true for part in parts),
        every(part.false for part in parts),
        some(part.may_true for part in parts),
        every(part.may_false for part in parts),
        every(part.not_true for part in parts),
        some(part.not_false for part in parts),
    )
