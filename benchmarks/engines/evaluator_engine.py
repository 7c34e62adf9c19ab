"""The project's own evaluator, one wall after the other."""

from __future__ import annotations

from collections.abc import Sequence

from engines.common import Conclusions, Values

from engine.inference.evaluate import evaluate
from engine.rulebase.rules import RuleBase

NAME, PACKAGE = "evaluator", None


def missing() -> str | None:
    """It is always there."""
    return None


class EvaluatorEngine:
    """The evaluator. Beside what fires now it works out what open facts still allow."""

    def __init__(self, base: RuleBase) -> None:
        self._base = base

    def conclude(self, walls: Sequence[Values]) -> list[Conclusions]:
        """Evaluate wall after wall."""
        return [self._wall(values) for values in walls]

    def _wall(self, values: Values) -> Conclusions:
        evaluation = evaluate(self._base, values)
        return Conclusions(
            evaluation.fired,
            {choice: outcome.option for choice, outcome in evaluation.outcomes.items()},
            {name: held.now for name, held in evaluation.sets.items()},
        )
