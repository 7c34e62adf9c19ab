"""What the rules can tell of some facts: the truths of every test of them, and of the readings computed from them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from engine.facts.values import Value
from engine.inference.truth import Truth
from engine.inference.view import View
from engine.readings.compute import compute_readings
from engine.readings.figures import ReadingFigures
from engine.readings.vocabulary import READINGS
from engine.rulebase.rules import RuleBase


class Telling:
    """Values of `names` with the same truths, all else being equal, are the same to every rule."""

    def __init__(self, base: RuleBase, names: Iterable[str], survey_year: int, figures: ReadingFigures | None) -> None:
        self._year, self._figures = survey_year, figures
        wanted = frozenset(names)
        self._tests = tuple(
            {
                test: None
                for rule in base.rules
                for test in rule.tests
                if not wanted.isdisjoint(test.variable.from_facts)
            }
        )
        self._readings = tuple(
            dict.fromkeys(test.variable.name for test in self._tests if test.variable.name in READINGS)
        )

    def truths(self, filled: Mapping[str, Value]) -> tuple[Truth, ...]:
        """The truths for one wall, of every fact of which a value is given."""
        view = View({**filled, **compute_readings(filled, self._year, self._figures, self._readings)})
        return tuple(view.of_test(test) for test in self._tests)
