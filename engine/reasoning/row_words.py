"""A list of rows in words: what it shows, since the rows themselves say little to a reader."""

from __future__ import annotations

from engine.facts.values import Value
from engine.facts.wall_fabric import GroundPoint
from engine.inference.evaluate import Evaluation
from engine.rulebase.model import STAGES
from engine.rulebase.rules import RuleBase


def rows_in_words(rows: Value, base: RuleBase, before: Evaluation, after: Evaluation) -> str:
    """Ground by its levels; anything else by what the choices of the first stage come to with it and not without."""
    levels = (
        [row.level_mm for row in rows.value if isinstance(row, GroundPoint)] if isinstance(rows.value, tuple) else []
    )
    if levels:
        return f"highest at {max(levels)} mm, falling by {max(levels) - min(levels)} mm along the wall"
    told = [
        option.says
        for choice in base.choices_of[STAGES[0]]
        for option in choice.options
        if option.id == after.outcomes[choice.id].option and option.id != before.outcomes[choice.id].option
    ]
    return "; ".join(told) or "what leaves the evidence as it is"
