"""Facts and readings made ready for tests: which apply, which are known, and their values in comparable form."""

from __future__ import annotations

import operator

import polars as pl

from engine.columns.bits import some
from engine.columns.layout import fact_columns, mask_of
from engine.columns.readings_steps import divided
from engine.facts.declare import Only, Unless
from engine.facts.vocabulary import Variable, facts


def with_every_fact(flat: pl.DataFrame) -> pl.DataFrame:
    """The frame with a column for every fact; one it lacks is unknown throughout."""
    lacking = [name for name in fact_columns() if name not in flat.columns]
    return flat.with_columns(pl.lit(None, fact_columns()[name]).alias(name) for name in lacking) if lacking else flat


def with_applicability(flat: pl.DataFrame) -> pl.DataFrame:
    """A column `na:fact` for every fact that may not apply; where it does not, its value is null."""
    for layer in _layers():
        flat = flat.with_columns(_not_applicable(variable).alias(f"na:{variable.name}") for variable in layer)
        flat = flat.with_columns(
            pl.when(~pl.col(f"na:{variable.name}")).then(pl.col(variable.name)).alias(variable.name)
            for variable in layer
        )
    return flat


def _layers() -> list[list[Variable]]:
    """The facts that may not apply, each after those it hangs on."""
    layers: list[list[Variable]] = []
    depth: dict[str, int] = {}
    for name, variable in facts().items():
        if variable.applies:
            depth[name] = 1 + max(depth.get(need.fact, -1) for need in variable.applies)
            while len(layers) <= depth[name]:
                layers.append([])
            layers[depth[name]].append(variable)
    return layers


def _not_applicable(variable: Variable) -> pl.Expr:
    return some(_unmet(need) for need in variable.applies)


def _unmet(need: Only | Unless) -> pl.Expr:
    """Whether what a fact needs is known not to be so."""
    needed = facts()[need.fact]
    column = pl.col(need.fact)
    fits = some(_is(needed, column, word) for word in need.values)
    unmet = (~fits if isinstance(need, Only) else fits).fill_null(False)
    return unmet | pl.col(f"na:{need.fact}") if needed.applies else unmet


def _is(variable: Variable, column: pl.Expr, word: object) -> pl.Expr:
    if variable.kind == "set":
        assert word == "none", "what a set may be asked for is whether it is empty: see `engine.facts.resolve`"
        return column == 0
    return column == pl.lit(word, fact_columns()[variable.name])


def comparable(variable: Variable) -> pl.Expr:
    """A fact's column in the form the operands of tests have: numbers in whole steps, options by their place."""
    column = pl.col(variable.name)
    if variable.kind == "choice":
        return column.to_physical()
    if variable.kind == "number" and (not variable.whole or (variable.step or 1) != 1):
        return divided(column, variable.step or 1).round(mode="half_to_even").cast(pl.Int64)
    return column


def comparison(variable: Variable, op: str, operand: tuple[str | bool | int, ...], column: pl.Expr) -> pl.Expr:
    """A test of a column in comparable form; null where the column is.

    Raises:
        AssertionError: no such test of this kind of variable.
    """
    match op:
        case "one_of":
            return _one_of(variable, operand, column)
        case "includes":
            return (column & mask_of(variable, (str(each) for each in operand))) != 0
        case "empty":
            return column == 0
    (bound,) = operand
    ordered: pl.Expr = _ORDERS[op](column, pl.lit(bound))
    return ordered


def _one_of(variable: Variable, operand: tuple[str | bool | int, ...], column: pl.Expr) -> pl.Expr:
    if variable.kind == "yes_no":
        return some(column if each else ~column for each in operand)
    if variable.kind == "choice":
        return some(column == pl.lit(variable.options.index(str(each)), pl.UInt8) for each in operand)
    return some(column == pl.lit(each) for each in operand)


_ORDERS = {"at_least": operator.ge, "above": operator.gt, "at_most": operator.le, "below": operator.lt}
