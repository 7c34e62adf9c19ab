"""Numbers in whole steps of their reading, rounded as `engine.readings.compute` rounds them."""

from __future__ import annotations

import polars as pl

from engine.readings.vocabulary import READINGS
from engine.rulebase.conditions import to_steps

_HALF = 0.5
_CLOSE_TO_HALF = 1e-6
"""Far more than exponentials and logarithms can be off, far less than anybody measures."""


def dtype_of(name: str) -> pl.DataType:
    """The type of a reading's column."""
    variable = READINGS[name]
    match variable.kind:
        case "choice":
            return pl.Enum(variable.options)
        case "yes_no":
            return pl.Boolean()
        case "number":
            low, high = _limits(name)
            return pl.Int32() if low >= -(2**31) and high < 2**31 else pl.Int64()
    raise TypeError(f"{name}: a {variable.kind} is no reading")


def in_steps(name: str, answer: pl.Expr) -> pl.Expr:
    """A number in whole steps, half to the even step, and within the reading's limits.

    A reading is kept as a number rounded to its step and then to its limits; of that number this is the steps.
    """
    low, high = _limits(name)
    return _steps(name, answer).round(mode="half_to_even").clip(low, high).cast(dtype_of(name)).alias(name)


def too_close_to_round(name: str, answer: pl.Expr) -> pl.Expr:
    """Whether so little lies between an answer and the middle of two steps that its last bits would decide."""
    steps = _steps(name, answer)
    return ((steps - steps.floor() - _HALF).abs() < _CLOSE_TO_HALF).fill_null(False)


def divided(dividend: pl.Expr, divisor: float) -> pl.Expr:
    """A quotient to the last bit: by a bare number polars multiplies with its reciprocal, which rounds twice."""
    return dividend / (dividend * 0 + divisor)


def _steps(name: str, answer: pl.Expr) -> pl.Expr:
    step = READINGS[name].step or 1
    number = answer.cast(pl.Float64)
    return number if step == 1 else divided(number, step)


def _limits(name: str) -> tuple[int, int]:
    variable = READINGS[name]
    assert variable.ge is not None
    assert variable.le is not None
    return to_steps(variable, variable.ge), to_steps(variable, variable.le)


def nothing(name: str) -> pl.Expr:
    """A reading's column with no value in any row."""
    return pl.repeat(None, pl.len(), dtype=dtype_of(name)).alias(name)
