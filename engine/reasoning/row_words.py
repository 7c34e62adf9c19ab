"""A list of rows in words: what it shows, since the rows themselves say little to a reader."""

from __future__ import annotations

from engine.inference.evaluate import Evaluation
from engine.rulebase.model import STAGES
from engine.rulebase.rules import RuleBase


def rows_in_words(base: RuleBase, before: Evaluation, after: Evaluation) -> str:
    """What the choices of the first stage come to with the rows that they do not without, in their own words."""
    told = [
        option.says
        for choice in base.choices_of[STAGES[0]]
        for option in choice.options
        if option.id == after.outcomes[choice.id].option and option.id != before.outcomes[choice.id].option
    ]
    return "; ".join(told) or "what leaves the evidence as it is"
