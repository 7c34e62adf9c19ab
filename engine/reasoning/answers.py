"""The answers a fact can have, as far as they lead to different decisions."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass

from engine.decision.open_questions import answered
from engine.facts.consistency import WITHOUT_HMC
from engine.facts.contradictions import of_values
from engine.facts.resolve import applies
from engine.facts.values import Value, in_words, known
from engine.facts.vocabulary import Variable, facts
from engine.inference.evaluate import Evaluation, evaluate
from engine.inference.probe import thresholds
from engine.inference.truth import Truth
from engine.proof.rows import SampleKind, ground_profile, sample_sets
from engine.readings.compute import compute_readings
from engine.readings.vocabulary import READINGS
from engine.reasoning.row_words import rows_in_words
from engine.reasoning.telling import Telling
from engine.rulebase.conditions import from_steps, to_steps
from engine.rulebase.reading_figures import reading_figures
from engine.rulebase.rules import RuleBase

_POINTS = 17
"""How many numbers are tried over the range of a fact, besides the bounds of the rules, to see where answers change."""
_SAMPLES, _METHOD, _BASIS = "moisture.samples", "moisture.method", "moisture.basis"

Changes = Mapping[str, Value]


@dataclass(frozen=True, slots=True)
class Candidate:
    """An answer in words, and the facts that a survey with it has; more than one where they come together."""

    says: str
    changes: Changes


class Answers:
    """Answers for one wall as it stands."""

    def __init__(self, base: RuleBase, now: Evaluation, survey_year: int) -> None:
        self._base, self._now, self._year = base, now, survey_year
        self._figures = reading_figures(base.tables)

    def of(self, variable: Variable) -> Iterator[Candidate]:
        """Every option; every member of a set alone; every range of numbers, and every kind of rows, that differs."""
        name = variable.name
        match variable.kind:
            case "choice":
                for option in variable.options:
                    yield Candidate(option, {name: known(option)})
            case "yes_no":
                for answer in (True, False):
                    yield Candidate(in_words(answer), {name: known(answer)})
            case "set":
                yield Candidate("none", {name: known(frozenset())})
                for member in variable.options:
                    yield Candidate(member, {name: known(frozenset((member,)))})
            case "number":
                yield from self._ranges(variable)
            case "rows":
                yield from self._kinds_of_rows(variable)

    def after(self, changes: Changes) -> Evaluation:
        """The wall evaluated with these facts, without a look at what is still possible beyond the evaluator's own."""
        filled = self._filled(changes)
        filled.update(compute_readings(filled, self._year, self._figures))
        return evaluate(self._base, filled)

    def _filled(self, changes: Changes) -> dict[str, Value]:
        return answered({name: self._now.values[name] for name in facts()}, changes)

    def _signature(self, changes: Changes) -> tuple[object, ...]:
        """What tells answers apart: all that is decided, and all that stays possible; nothing of what cannot be."""
        if any(of_values({**self._now.values, **changes}, self._year)):
            return ()
        after = self.after(changes)
        return tuple((outcome.option, outcome.possible) for outcome in after.outcomes.values())

    def _ranges(self, variable: Variable) -> Iterator[Candidate]:
        """The ranges of a number within which all stays the same, each by a number inside it."""
        assert variable.ge is not None
        assert variable.le is not None
        low, high = to_steps(variable, variable.ge), to_steps(variable, variable.le)
        found: dict[int, tuple[object, ...]] = {}

        def at(steps: int) -> tuple[object, ...]:
            if steps not in found:
                found[steps] = self._signature({variable.name: _number(variable, steps)})
            return found[steps]

        spread = {low + (high - low) * each // (_POINTS - 1) for each in range(_POINTS)}
        points = sorted({*spread, *(t for t in thresholds(self._base, variable.name) if low <= t <= high)})
        starts = [low]
        for one, other in itertools.pairwise(points):
            while at(one) != at(other):
                one = self._first_apart(at, one, other)
                starts.append(one)
        for start, after in zip(starts, [*starts[1:], high + 1], strict=True):
            inside = start if start > low else after - 1
            words = _range_in_words(variable, (start, after - 1), (low, high))
            yield Candidate(words, {variable.name: _number(variable, inside)})

    @staticmethod
    def _first_apart(at: Callable[[int], object], left: int, right: int) -> int:
        """The first number after `left` at which all is no longer as at `left`, where one is known at `right`."""
        start = at(left)
        while right - left > 1:
            middle = (left + right) // 2
            if at(middle) == start:
                left = middle
            else:
                right = middle
        return right

    def _kinds_of_rows(self, variable: Variable) -> Iterator[Candidate]:
        seen: set[tuple[object, ...]] = set()
        told: set[tuple[Truth, ...]] = set()
        telling = Telling(self._base, (variable.name,), self._year, self._figures)
        for changes in self._profiles(variable) if variable.name != _SAMPLES else self._sample_sets():
            signature = () if (truths := telling.truths(self._filled(changes))) in told else self._signature(changes)
            if signature:
                told.add(truths)
            if signature and signature not in seen:
                seen.add(signature)
                rows = changes[variable.name]
                yield Candidate(rows_in_words(rows, self._base, self._now, self.after(changes)), changes)

    def _profiles(self, variable: Variable) -> Iterator[Changes]:
        """Ground of one level, and falling ground, at the levels and falls that the rules tell apart."""
        length = self._now.values["build.length_m"].value
        level, fall = READINGS["reading.highest_ground_mm"], READINGS["reading.ground_fall_mm"]
        known_level, known_fall = (self._now.values[name].value for name in ("ground.level_mm", "ground.fall_along_mm"))
        heights = (known_level,) if isinstance(known_level, int) else (0, *thresholds(self._base, level.name))
        if isinstance(known_fall, int):  # the ground must have room for its fall
            assert level.ge is not None
            heights = tuple(dict.fromkeys(max(height, round(level.ge) + known_fall) for height in heights))
        falls = (known_fall,) if isinstance(known_fall, int) else (0, *thresholds(self._base, fall.name)[-1:])
        for height in heights:
            for down in falls:
                points = ground_profile(height, down, length if isinstance(length, float) else None)
                yield {variable.name: known(points)}

    def _sample_sets(self) -> Iterator[Changes]:
        """Profiles of every usual shape, at contents inside each range that the rules tell apart."""
        beside = self._beside_samples()
        method = beside.get(_METHOD, self._now.values[_METHOD]).value
        thickness = self._now.values["build.thickness_mm"].value
        deepest = thickness if isinstance(thickness, int) else None
        dry_basis = beside.get(_BASIS, self._now.values[_BASIS]).value == "dry"
        kind = SampleKind(method not in WITHOUT_HMC, False, deepest, dry_basis)
        for content in self._inside("reading.base_mc_percent"):
            for excess in self._inside("reading.base_excess_percent"):
                wanted = {"reading.base_mc_percent": content, "reading.base_excess_percent": min(excess, content)}
                for rows in sample_sets(wanted, kind):
                    yield {**beside, _SAMPLES: known(rows)}

    def _beside_samples(self) -> dict[str, Value]:
        """The facts that come on the same sheet of the laboratory, where they are not known yet."""
        found: dict[str, Value] = {}
        if not self._now.values[_METHOD].known:
            samples = facts()[_SAMPLES]
            fitting = (
                option
                for option in facts()[_METHOD].options
                if option not in WITHOUT_HMC
                and applies(samples, {**self._now.values, _METHOD: known(option)}) is not False
            )
            found[_METHOD] = known(next(fitting))
        if not self._now.values[_BASIS].known:
            found[_BASIS] = known(facts()[_BASIS].options[0])
        return found

    def _inside(self, reading: str) -> list[float]:
        """A number inside every range of a reading that the rules tell apart."""
        bounds = [from_steps(READINGS[reading], each) for each in thresholds(self._base, reading)]
        ends = [0.0, *bounds, max(bounds, default=0.0) + 3.0]
        return sorted({(one + other) / 2 for one, other in itertools.pairwise(ends)})


def _number(variable: Variable, steps: int) -> Value:
    number = from_steps(variable, steps)
    return known(int(number) if variable.whole else number)


def _range_in_words(variable: Variable, span: tuple[int, int], limits: tuple[int, int]) -> str:
    unit = f" {variable.unit}" if variable.unit else ""
    first, last = (f"{from_steps(variable, each):g}" for each in span)
    if span == limits:
        return "any number"
    if span[0] == span[1]:
        return f"{first}{unit}"
    if span[0] == limits[0]:
        return f"up to {last}{unit}"
    return f"{first}{unit} or more" if span[1] == limits[1] else f"{first} to {last}{unit}"
