"""Single facts that turn an answer: change one, and the verdict, the medium or the line comes out otherwise."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import cast

from engine.facts.values import Value, known
from engine.facts.vocabulary import Variable, facts
from engine.inference.evaluate import Evaluation
from engine.inference.probe import overrides_to_try, thresholds, values_to_try
from engine.practice.draw import Draw
from engine.practice.judge import Judge, with_fact
from engine.practice.measures import FITTING, fitting
from engine.readings.vocabulary import READINGS
from engine.rulebase.conditions import from_steps, to_steps

_VALUES_TRIED = 4


@dataclass(frozen=True, slots=True)
class Subject:
    """What is asked: choices in the order of their stages, those a case may turn on, and a set of works."""

    choices: tuple[str, ...]
    turning: tuple[str, ...]
    works: str


@dataclass(frozen=True, slots=True)
class Side:
    """A wall on one side of a boundary: its facts, and what the rules say of them."""

    values: Mapping[str, Value]
    evaluation: Evaluation


@dataclass(frozen=True, slots=True)
class Turn:
    """Two walls that differ in one fact and in the answer to the choices `flips`."""

    fact: str
    here: Side
    there: Side
    flips: tuple[str, ...]

    @property
    def turned_round(self) -> Turn:
        """The same, seen from the other side."""
        return Turn(self.fact, self.there, self.here, self.flips)


def _stays_behind(name: str, here: Side, there: Side) -> bool:
    """Whether rows that were written down because of a fact would stand beside another value of it."""
    return any(
        variable.kind == "rows" and any(need.fact == name for need in variable.applies)
        for each, variable in facts().items()
        if here.values[each].known and there.values[each].known
    )


def _fits(name: str, side: Side) -> bool:
    """Whether a fact makes sense beside the one before it that says so, and the other way round."""
    for each, (before, _) in FITTING.items():
        value = side.values[each]
        if name in (each, before) and value.known:
            options = facts()[each].options
            if value.value not in fitting(each, options, side.values[before].value):
                return False
    return True


def settled(evaluation: Evaluation, choices: Sequence[str]) -> bool:
    """Whether each of these choices is decided for good."""
    return all(evaluation.outcomes[each].status == "settled" for each in choices)


def flipped(one: Evaluation, other: Evaluation, choices: Sequence[str]) -> tuple[str, ...]:
    """The choices that come to different options."""
    return tuple(each for each in choices if one.outcomes[each].option != other.outcomes[each].option)


class Turns:
    """Looks for facts that turn the answer of one wall."""

    def __init__(self, judge: Judge, subject: Subject, year: int) -> None:
        self._judge = judge
        self._subject = subject
        self._year = year

    def side(self, values: Mapping[str, Value]) -> Side:
        """A wall with what the rules say of it."""
        return Side(values, self._judge.evaluation(values, self._year))

    def found(self, here: Side, names: Sequence[str], draw: Draw) -> Iterator[Turn]:
        """Every way to turn the answer by one of these facts, one of each fact, in the order of the names."""
        for name in names:
            variable, value = facts()[name], here.values[name]
            for candidate in self._in_order(variable, value, draw):
                turn = self._turn(here, name, candidate)
                if turn is not None:
                    yield turn
                    break

    def _in_order(self, variable: Variable, value: Value, draw: Draw) -> list[Value]:
        """Other values of a fact; of a number those around the nearest boundary first."""
        others = [each for each in values_to_try(self._judge.base, variable) if each.value != value.value]
        if variable.kind != "number":
            return draw.shuffled(others)[:_VALUES_TRIED]
        return sorted(others, key=lambda each: (abs(_steps(variable, each) - _steps(variable, value)), str(each.value)))

    def _turn(self, here: Side, name: str, value: Value) -> Turn | None:
        there = self.side(with_fact(here.values, name, value))
        flips = self._turned(here, there)
        if not flips or _stays_behind(name, here, there) or not _fits(name, there):
            return None
        return Turn(name, here, there, flips)

    def nearer(self, turn: Turn, nearness: float) -> Turn:
        """The same turn by a number, with both sides moved towards the boundary as far as the level asks.

        Beyond the boundary stands the first step; here, the share `nearness` of the distance is left, a step at least.
        """
        variable = facts()[turn.fact]
        if variable.kind != "number":
            return turn
        far = _steps(variable, turn.here.values[turn.fact])
        last = _steps(variable, turn.there.values[turn.fact])
        away = 1 if far > last else -1
        between = [each for each in thresholds(self._judge.base, turn.fact) if min(far, last) <= each <= max(far, last)]
        there, beyond = turn.there, last
        for steps in sorted(between, reverse=away > 0):
            side = self.side(with_fact(turn.here.values, turn.fact, _number(variable, steps)))
            if self._turned(turn.here, side):
                there, beyond = side, steps
                break
        left = max(1, round(nearness * abs(far - beyond)))
        here = self.side(with_fact(turn.here.values, turn.fact, _number(variable, beyond + away * left)))
        if not settled(here.evaluation, self._subject.choices):
            here = turn.here
        flips = self._turned(here, there)
        return Turn(turn.fact, here, there, flips) if flips else turn

    def _turned(self, here: Side, there: Side) -> tuple[str, ...]:
        """The choices that come out otherwise there, where everything is settled; none where it is not."""
        if not settled(there.evaluation, self._subject.choices):
            return ()
        return flipped(here.evaluation, there.evaluation, self._subject.turning)

    def deciding(self, values: Mapping[str, Value], names: Sequence[str]) -> dict[str, frozenset[str]]:
        """For each fact that alone could turn an answer, had it been otherwise: the choices it turns."""
        here = self._judge.evaluation(values, self._year)
        found: dict[str, frozenset[str]] = {}
        for name in names:
            turned: set[str] = set()
            for values_changed, readings in self._otherwise(values, name):
                there = self._judge.evaluation(values_changed, self._year, readings)
                turned.update(flipped(here, there, self._subject.choices))
            if turned:
                found[name] = frozenset(turned)
        return found

    def _otherwise(
        self, values: Mapping[str, Value], name: str
    ) -> Iterator[tuple[Mapping[str, Value], Mapping[str, Value]]]:
        """The facts with this one otherwise; of a fact that rules read only through readings, those otherwise."""
        variable = facts()[name]
        own = list(values_to_try(self._judge.base, variable))
        yield from ((with_fact(values, name, value), {}) for value in own)
        if not own:
            yield from ((values, readings) for readings in overrides_to_try(self._judge.base, variable, READINGS))


def _steps(variable: Variable, value: Value) -> int:
    return to_steps(variable, cast(float, value.value))


def _number(variable: Variable, steps: int) -> Value:
    number = from_steps(variable, steps)
    return known(int(number) if variable.whole else number)
