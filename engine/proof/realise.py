"""From what the solver says could be to a survey that is: facts with values, readings computed from them.

The solver's space holds every real survey and some besides, in which readings are as no facts would make them. Here its
answer is made real, or it turns out that it could not be: then nothing is claimed.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Iterable, Iterator, Mapping
from typing import TypeAlias

from engine.facts.consistency import WITHOUT_HMC, WITHOUT_MASSES
from engine.facts.contradictions import of_values
from engine.facts.resolve import applies
from engine.facts.values import NOT_APPLICABLE_VALUE, Value, known
from engine.facts.vocabulary import Variable, facts
from engine.inference.probe import thresholds
from engine.inference.truth import Truth
from engine.inference.view import View
from engine.proof.rows import Rows, SampleKind, another, as_kind, ground_profile, sample_sets
from engine.proof.wall_space import WallSpace
from engine.readings.compute import compute_readings, samples_in
from engine.rulebase.conditions import Test, from_steps, to_steps
from engine.rulebase.rules import RuleBase

Values: TypeAlias = dict[str, Value]
Truths: TypeAlias = Mapping[Test, Truth]
_TRIES = 150
_SAMPLES, _PROFILE = "moisture.samples", "ground.profile"


class Realiser:
    """Makes models real for one wall."""

    def __init__(self, wall: WallSpace) -> None:
        self._wall = wall
        self._tests = _reading_tests(wall.base)
        self._intervals = {name: tuple(_cuts(wall.base, facts()[name])) for name in facts()}
        self._free = frozenset(wall.free_facts)
        self._read = tuple(dict.fromkeys(test.variable.name for test in self._tests))

    def real(
        self, wanted: Mapping[str, Value], done: Callable[[Values], bool]
    ) -> tuple[Values | None, tuple[Test, ...]]:
        """Facts and readings of a real survey near what is wanted for which `done` holds; `None` where none was found.

        `wanted` is a value for every cell, as the solver has them. With it come the tests of readings that could not
        be made to come out as wanted.
        """
        rng = random.Random(0)
        model = View(wanted)
        truths = {test: model.of_test(test) for test in self._tests}
        values: Values | None = None
        off: list[Test] = list(self._tests)
        for steps in (0, _TRIES):
            found = self._computed(self._with_rows(wanted, truths, rng, steps))
            if found is None:
                continue
            if done(found):
                return found, ()
            values, off = found, self._off(found, truths)
            if not any(_SAMPLES in test.variable.from_facts for test in off):
                break
        for _ in range(_TRIES if off and values is not None else 0):
            assert values is not None
            movable = self._movable(off, values)
            if not movable:
                break
            trial = {name: values[name] for name in facts()}
            for fact in rng.sample(movable, rng.randint(1, min(3, len(movable)))):
                trial[fact] = self._elsewhere(facts()[fact], values[fact], rng)
            moved = self._computed(trial)
            if moved is None:
                continue
            still = self._off(moved, truths)
            if len(still) <= len(off):
                better = len(still) < len(off)
                values, off = moved, still
                if better and done(values):
                    return values, ()
        return None, tuple(off)

    def _computed(self, given: Values) -> Values | None:
        """The facts with their readings; `None` where they cannot be true together."""
        for name, variable in facts().items():
            if variable.applies and given[name].known and applies(variable, given) is False:
                given[name] = NOT_APPLICABLE_VALUE
        if any(of_values(given, self._wall.now.survey_year)):
            return None
        return {**given, **self._readings(given, self._read)}

    def _readings(self, given: Mapping[str, Value], names: tuple[str, ...]) -> Values:
        now = self._wall.now
        return compute_readings(given, now.survey_year, now.figures, names)

    @staticmethod
    def _off(values: Mapping[str, Value], truths: Truths) -> list[Test]:
        """The tests of readings that come out otherwise than wanted."""
        real = View(values)
        return [test for test, wanted in truths.items() if real.of_test(test) is not wanted]

    def _movable(self, off: list[Test], values: Values) -> list[str]:
        """The open numbers that readings which come out otherwise are computed from."""
        return sorted(
            {
                fact
                for test in off
                for fact in test.variable.from_facts
                if fact in self._free and values[fact].known and facts()[fact].kind == "number"
            }
        )

    def _with_rows(self, wanted: Mapping[str, Value], truths: Truths, rng: random.Random, steps: int) -> Values:
        """The facts wanted, with rows put in where the solver only says that there are some."""
        given = {name: wanted[name] for name in facts()}
        for name, variable in facts().items():
            if variable.kind != "rows" or not given[name].known or isinstance(given[name].value, tuple):
                continue
            now = self._wall.now.values.get(name)
            if given[name].value is True and now is not None and now.known:
                given[name] = now
            else:
                given[name] = (
                    self._ground(wanted) if name == _PROFILE else self._samples(wanted, given, truths, rng, steps)
                )
        return given

    def _samples(
        self, wanted: Mapping[str, Value], given: Values, truths: Truths, rng: random.Random, steps: int
    ) -> Value:
        """Samples that give the wanted readings, or come nearest: of the usual shapes, changed in so many steps."""
        method, thickness = given["moisture.method"].value, given["build.thickness_mm"].value
        of_samples = {test: truth for test, truth in truths.items() if _SAMPLES in test.variable.from_facts}
        readings = tuple(dict.fromkeys(test.variable.name for test in of_samples))

        def off(rows: Rows) -> int:
            filled = {**given, _SAMPLES: known(rows)}
            if any(of_values(filled, self._wall.now.survey_year)):
                return len(of_samples) + 1
            return len(self._off({**filled, **self._readings(filled, readings)}, of_samples))

        numbers = _numbers(wanted)
        deepest = thickness if isinstance(thickness, int) else None
        weighed = wanted.get("reading.base_weighed")
        by_mass = weighed is not None and weighed.value is True and method not in WITHOUT_MASSES
        kind = SampleKind(method not in WITHOUT_HMC, by_mass, deepest, given["moisture.basis"].value == "dry")
        as_they_are = as_kind(samples_in(self._wall.now.values), kind)
        apart = len({(row.height_mm, row.depth_mm) for row in as_they_are}) == len(as_they_are)
        best: tuple[int, Rows] | None = None
        for starts in ([as_they_are] if as_they_are and apart else [], sample_sets(numbers, kind)):
            found = self._climbed(starts, off, lambda rows: another(rows, numbers, kind, rng), steps)
            if found is not None and (best is None or found[0] < best[0]):
                best = found
            if best is not None and best[0] == 0:
                break
        assert best is not None
        return known(best[1])

    @staticmethod
    def _climbed(
        starts: Iterable[Rows], off: Callable[[Rows], int], step: Callable[[Rows], Rows], steps: int
    ) -> tuple[int, Rows] | None:
        """From the best of the starts step by step to no worse, until nothing is off; with how much still is."""
        best: tuple[int, Rows] | None = None
        for rows in starts:
            this = off(rows)
            if best is None or this < best[0]:
                best = (this, rows)
            if this == 0:
                return best
        for _ in range(steps if best else 0):
            assert best is not None
            rows = step(best[1])
            this = off(rows)
            if this <= best[0]:
                best = (this, rows)
            if this == 0:
                break
        return best

    def _ground(self, wanted: Mapping[str, Value]) -> Value:
        numbers = _numbers(wanted)
        level, fall = wanted["ground.level_mm"].value, wanted["ground.fall_along_mm"].value
        highest = level if isinstance(level, int) else numbers.get("reading.highest_ground_mm", 0.0)
        along = fall if isinstance(fall, int) else numbers.get("reading.ground_fall_mm", 0.0)
        length = wanted["build.length_m"].value
        return known(ground_profile(int(highest), int(along), length if isinstance(length, float) else None))

    def _elsewhere(self, variable: Variable, value: Value, rng: random.Random) -> Value:
        """Another number between the same two bounds of the rules' tests."""
        assert isinstance(value.value, int | float)
        at = to_steps(variable, value.value)
        low = max(cut for cut in self._intervals[variable.name] if cut <= at)
        high = min((cut for cut in self._intervals[variable.name] if cut > at), default=low + 1) - 1
        if high == low and not variable.whole and variable.step:
            # Within the step of a bound a finer figure can still lie on either side of it.
            finer = from_steps(variable, low) + rng.choice((-0.4, 0.4)) * variable.step
            return known(round(min(max(finer, variable.ge or 0.0), variable.le or finer), 7))
        width = high - low if rng.random() < 0.5 else (high - low) // 8
        number = from_steps(variable, low + rng.randint(0, max(width, 0)))
        return known(int(number) if variable.whole else number)


def _numbers(wanted: Mapping[str, Value]) -> dict[str, float]:
    """The numeric readings that are to be known."""
    return {
        name: float(value.value)
        for name, value in wanted.items()
        if name.startswith("reading.") and value.known and isinstance(value.value, int | float)
    }


def _reading_tests(base: RuleBase) -> tuple[Test, ...]:
    return tuple(
        dict.fromkeys(test for rule in base.rules for test in rule.tests if test.variable.name.startswith("reading."))
    )


def _cuts(base: RuleBase, variable: Variable) -> Iterator[int]:
    """Where the intervals begin in which the rules cannot tell numbers of a variable apart, in steps; then the end."""
    if variable.kind != "number":
        return
    assert variable.ge is not None
    assert variable.le is not None
    low, high = to_steps(variable, variable.ge), to_steps(variable, variable.le)
    yield low
    yield from (each for each in thresholds(base, variable.name) if low < each <= high)
    yield high + 1
