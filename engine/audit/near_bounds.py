"""Facts that bring a computed reading to a bound, or to the step beside it.

The solver knows of many readings only what always holds of them, so the readings it wants need not be such as any facts
give. Where a survey has to lie within a step of a bound, the facts for it are looked for here first, and the solver
is asked for the rest of the survey around them.
"""

from __future__ import annotations

import itertools
import random
from collections.abc import Iterator, Mapping
from typing import Any

from engine.audit.independence import truth_from
from engine.facts.contradictions import of_values
from engine.facts.values import UNKNOWN_VALUE, Value, known
from engine.facts.vocabulary import Variable, facts
from engine.facts.wall_evidence import MoistureSample
from engine.inference.truth import Truth
from engine.inference.view import View
from engine.readings.compute import compute_readings
from engine.readings.figures import ReadingFigures
from engine.readings.vocabulary import READINGS
from engine.rulebase.conditions import Test, from_steps, to_steps
from engine.rulebase.rules import Rule

_SAMPLES, _METHOD, _BASIS = "moisture.samples", "moisture.method", "moisture.basis"
_TRIES, _HALVINGS, _EACH = 4000, 40, 60
_OFFERED = 16
Facts = dict[str, Value]


class NearBounds:
    """Looks for facts by which readings come to wanted numbers; what was found is kept."""

    def __init__(self, survey_year: int, figures: ReadingFigures | None) -> None:
        self._year, self._figures = survey_year, figures
        self._kept: dict[tuple[str, int], list[Facts]] = {}

    def facts_for(self, old: Rule, new: Rule) -> Iterator[tuple[str, Facts]]:
        """Facts by which a reading comes to where the two rules may tell otherwise, with its name; few of each."""
        for variable, steps in wanted_steps(old, new):
            key = variable.name, steps
            if key not in self._kept:
                self._kept[key] = list(self._found(variable, steps))
            telling = (each for each in self._kept[key] if self._may_tell(each, old, new))
            yield from ((variable.name, each) for each in itertools.islice(telling, _OFFERED))

    def _may_tell(self, given: Mapping[str, Value], old: Rule, new: Rule) -> bool:
        """Whether the two rules may still differ, whatever else there is to know."""
        view = View(self.values_with(given))

        def truth(rule: Rule) -> Truth:
            tests = (view.of_test(each) if _told(each.variable, given) else Truth.UNKNOWN for each in rule.tests)
            return truth_from(rule.when, tests)

        one, other = truth(old), truth(new)
        return one is not other or one is Truth.UNKNOWN

    def values_with(self, given: Mapping[str, Value]) -> dict[str, Value]:
        """Facts and readings of a wall of which nothing else is known."""
        values = {**dict.fromkeys(facts(), UNKNOWN_VALUE), **given}
        return {**values, **compute_readings(values, self._year, self._figures)}

    def _found(self, variable: Variable, steps: int) -> Iterator[Facts]:
        rng = random.Random(f"{variable.name} {steps}")
        seen: set[tuple[Any, ...]] = set()
        make = self._with_samples if _SAMPLES in variable.from_facts else self._with_numbers
        for _ in range(_TRIES):
            given = make(variable, steps, rng)
            if given is not None and self._at(variable, given) == steps:
                if any(of_values({**dict.fromkeys(facts(), UNKNOWN_VALUE), **given}, self._year)):
                    continue
                alike = self._alike(variable, given)
                if alike not in seen:
                    yield given
                    seen.add(alike)
                if len(seen) == _EACH:
                    return

    def _alike(self, variable: Variable, given: Mapping[str, Value]) -> tuple[Any, ...]:
        """What such facts have in common that need not be tried twice: roughly, their numbers and what is computed."""
        beside = [name for name, each in READINGS.items() if set(each.from_facts) <= set(variable.from_facts)]
        values = {**dict.fromkeys(facts(), UNKNOWN_VALUE), **given}
        found = compute_readings(values, self._year, self._figures, beside).values()
        numbers = (round(each.value, -1) for each in given.values() if isinstance(each.value, float | int))
        return (*numbers, *(round(each.value) if isinstance(each.value, float) else each.value for each in found))

    def _at(self, variable: Variable, given: Mapping[str, Value]) -> int | None:
        """The reading in steps; `None` where it is not known."""
        values = {**dict.fromkeys(variable.from_facts, UNKNOWN_VALUE), **given}
        value = compute_readings(values, self._year, self._figures, (variable.name,))[variable.name]
        return to_steps(variable, value.value) if value.known and isinstance(value.value, int | float) else None

    def _with_numbers(self, variable: Variable, steps: int, rng: random.Random) -> Facts | None:
        """Any facts, then one of their numbers moved to where the reading passes the wanted one, by halving."""
        given = {name: _any(facts()[name], rng) for name in variable.from_facts}
        numbers = [name for name in given if facts()[name].kind == "number"]
        moved = facts()[rng.choice(numbers)] if numbers else None
        if moved is None or moved.ge is None or moved.le is None:
            return None

        def reading(number: float) -> int | None:
            return self._at(variable, {**given, moved.name: known(_as_kept(moved, number))})

        low, high = moved.ge, moved.le
        at_low, at_high = reading(low), reading(high)
        if at_low is None or at_high is None or not min(at_low, at_high) <= steps <= max(at_low, at_high):
            return None
        rises = at_low <= at_high
        for _ in range(_HALVINGS):
            middle = (low + high) / 2
            at = reading(middle)
            if at is None:
                return None
            if at == steps:
                return {**given, moved.name: known(_as_kept(moved, middle))}
            low, high = (middle, high) if (at < steps) is rises else (low, middle)
        return None

    @staticmethod
    def _with_samples(variable: Variable, steps: int, rng: random.Random) -> Facts:
        """Samples one above the other whose contents differ by the wanted number, or are it, more often than not."""
        wanted = abs(from_steps(variable, steps))
        count = rng.choice((1, 2, 3, 3, 4, 5, 6, 8, 10, 13))
        contents = []
        for _ in range(count):
            contents.append(rng.choice((wanted, 2 + wanted, rng.uniform(0, 12), rng.choice((2.0, 4.0, 6.0)))))
        if rng.random() < 0.6:
            contents.sort(reverse=rng.random() < 0.7)
        for _ in range(rng.choice((0, 0, 1, 2))):
            one, other = rng.randrange(count), rng.randrange(count)
            contents[one], contents[other] = contents[other], contents[one]
        rows = []
        same_hmc, less, alike = round(rng.uniform(0, 9), 2), round(rng.uniform(1, 3), 2), rng.random() < 0.4
        for index, content in enumerate(contents):
            mc = round(content, 2)
            near, free = max(0.0, round(mc - wanted, 2)), max(0.0, round(mc - less, 2))
            mixed = rng.choice((None, near, near, min(wanted, 28.0), same_hmc, same_hmc, round(rng.uniform(0, 9), 2)))
            hmc = free if alike else mixed
            rows.append(MoistureSample(height_mm=150 * index, depth_mm=80, mc_percent=mc, hmc_percent=hmc))
        if rng.random() < 0.4:
            nearer = max(0.0, round(contents[0] + rng.uniform(-4, 4), 2))
            rows.append(MoistureSample(height_mm=0, depth_mm=20, mc_percent=nearer))
        return {_SAMPLES: known(tuple(rows)), _METHOD: known("oven_and_hygroscopic"), _BASIS: known("wet")}


def wanted_steps(old: Rule, new: Rule) -> Iterator[tuple[Variable, int]]:
    """Where the readings of the two rules lie close to a bound: first where a test was changed, then elsewhere."""
    before, after = set(_bounded(old)), set(_bounded(new))
    for test in (*sorted(before ^ after, key=repr), *sorted(before & after, key=repr)):
        variable = test.variable
        sides = [each for each in (before if test in after else after) - (before & after) if each.variable == variable]
        for bound in test.operand:
            assert isinstance(bound, int)
            for steps in (bound, bound - 1, bound + 1):
                number = known(from_steps(variable, steps))
                view = View({variable.name: number})
                if not sides or any(view.of_test(test) is not view.of_test(other) for other in sides):
                    yield variable, steps


def _bounded(rule: Rule) -> Iterator[Test]:
    return (
        test
        for test in rule.tests
        if test.variable.kind == "number" and test.variable.name.startswith("reading.") and test.operand
    )


def _told(variable: Variable, given: Mapping[str, Value]) -> bool:
    """Whether a variable is one of the facts given, or computed from them alone."""
    return variable.name in given or (bool(variable.from_facts) and all(fact in given for fact in variable.from_facts))


def _any(variable: Variable, rng: random.Random) -> Value:
    match variable.kind:
        case "number":
            assert variable.ge is not None
            assert variable.le is not None
            low, high = to_steps(variable, variable.ge), to_steps(variable, variable.le)
            return known(_as_kept(variable, from_steps(variable, rng.randint(low, high))))
        case "choice":
            return known(rng.choice(variable.options))
        case "yes_no":
            return known(rng.random() < 0.5)
    return UNKNOWN_VALUE


def _as_kept(variable: Variable, number: float) -> float | int:
    return int(number) if variable.whole else round(number, 7)
