"""Evaluations of single walls as the rows that findings are worked out from: the shape the columnar reader gives."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import polars as pl

from engine.inference.evaluate import Evaluation
from engine.inference.truth import Truth
from engine.rulebase.conditions import UNDECIDED
from engine.rulebase.rules import RuleBase


def judged_rows(base: RuleBase, evaluations: Sequence[Evaluation]) -> pl.DataFrame:
    """A row an evaluation, in order, with the columns that `engine.columns.judge` gives.

    What is possible is taken over as the evaluations have it: exact where they are.
    """
    columns: dict[str, pl.Series] = {}

    def truths(name: str, values: list[bool]) -> None:
        columns[name] = pl.Series(name, values, dtype=pl.Boolean)

    for choice in base.choices.values():
        names = [*(option.id for option in choice.options), UNDECIDED]
        decided = [each.outcomes[choice.id].option for each in evaluations]
        columns[f"decided.{choice.id}"] = pl.Series(decided, dtype=pl.Enum(names))
        for option in names:
            name = f"possible:{choice.id}:{option}"
            truths(name, [option in each.outcomes[choice.id].possible for each in evaluations])
    for rule in base.rules:
        truths(f"fired:{rule.id}", [rule.id in each.fired for each in evaluations])
        truths(f"acts:{rule.id}", [each.ever[rule.id] is Truth.TRUE for each in evaluations])
        truths(f"may:{rule.id}", [each.ever[rule.id] is not Truth.FALSE for each in evaluations])
    added = {pair for rule in base.rules for pair in rule.adds}
    for name, members in base.members.items():
        for member in members:
            if (name, member) in added:
                held = [each.sets[name] for each in evaluations]
                truths(f"now:{name}:{member}", [member in each.now for each in held])
                truths(f"sure:{name}:{member}", [member in each.sure for each in held])
                truths(f"may:{name}:{member}", [member in each.sure | each.may for each in held])
    return pl.DataFrame([each.alias(name) for name, each in columns.items()])


def recommended_rows(rows: Sequence[dict[str, Any]]) -> pl.DataFrame:
    """What was recommended and installed, a row a wall, by the names of the flat frame; what is not there is null."""
    names = dict.fromkeys(name for row in rows for name in row)
    lists = {name for name in names if any(isinstance(row.get(name), list) for row in rows)}
    return pl.DataFrame(
        [
            pl.Series(name, [row.get(name) for row in rows], dtype=pl.List(pl.String) if name in lists else pl.String)
            for name in names
        ]
    )
