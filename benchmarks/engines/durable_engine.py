"""The rule base in durable-rules, by the translation the project has of it."""

from __future__ import annotations

from collections.abc import Sequence

from engines.common import Conclusions, Values

from engine.inference.forward import available, chain
from engine.rulebase.rules import RuleBase

NAME, PACKAGE = "durable-rules", "durable_rules"


def missing() -> str | None:
    """Why this engine cannot run here; None where it can."""
    return None if available() else f"{PACKAGE} is not installed, or does not import on this Python"


class DurableEngine:
    """durable-rules. Which option stands, and what a set holds, is worked out between its stages."""

    def __init__(self, base: RuleBase) -> None:
        self._base = base

    def conclude(self, walls: Sequence[Values]) -> list[Conclusions]:
        """Fire every stage, wall after wall."""
        return [self._wall(values) for values in walls]

    def _wall(self, values: Values) -> Conclusions:
        chained = chain(self._base, values)
        return Conclusions(chained.fired, chained.options, chained.found)
