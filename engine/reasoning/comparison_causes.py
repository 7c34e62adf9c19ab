"""Which of the differences between two walls bring a changed decision about: found by trying them at the first."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from engine.decision.grounds import now_view
from engine.errors import BadInput
from engine.facts.amend import amended, as_written
from engine.facts.intake import SurveyFile
from engine.facts.survey import Wall
from engine.facts.values import Value
from engine.inference.evaluate import Evaluation, evaluate
from engine.inference.truth import Truth
from engine.inference.view import View
from engine.readings.compute import compute_readings
from engine.reasoning.comparison_facts import same
from engine.reasoning.comparison_model import Because
from engine.reasoning.obstacle_choices import ChoiceLogic
from engine.rulebase.conditions import All, AnyOf, Condition, Not, Test
from engine.rulebase.reading_figures import reading_figures
from engine.rulebase.rules import RuleBase

THE_RULES = "the rules"
SURVEY_DATE = "property.survey_date"
EXACT_TRIALS = 20
"""For how many trials of one comparison what is still possible is made exact, which takes up to seconds each."""


class Budget:
    """How many trials may still be made exact."""

    def __init__(self, trials: int = EXACT_TRIALS) -> None:
        self._left = trials

    def spend(self) -> None:
        """Take one.

        Raises:
            SpentError: there is none left.
        """
        if self._left == 0:
            raise SpentError
        self._left -= 1


class SpentError(Exception):
    """To try the rest would take too long."""


class Trial:
    """The wall of A judged with some of the differences applied. What holds now is known at once.

    `b` is the wall of B, which what a trial brings is held against: the same by another way is not what B has.
    """

    def __init__(self, base: RuleBase, evaluation: Evaluation, year: int, budget: Budget, b: Evaluation) -> None:
        self.base = base
        self.evaluation = evaluation
        self.in_both = dataclasses.replace(evaluation, fired=evaluation.fired & b.fired)
        self._views = (now_view(evaluation), now_view(b))
        self._year = year
        self._budget = budget
        self._exact: Evaluation | None = evaluation if evaluation.settled else None

    def takes_as_b(self, choice: str, option: str) -> bool:
        """Whether a choice comes to an option here, and by the rules alone that hold in B as well."""
        if self.evaluation.outcomes[choice].option != option:
            return False
        return ChoiceLogic(self.base, choice, ()).taken(self.in_both.fired) == option

    def adds_as_b(self, name: str, member: str) -> bool:
        """Whether a rule adds a member to a set here that holds in B as well."""
        return any((name, member) in rule.adds for rule in self.base.rules if rule.id in self.in_both.fired)

    def lacks_as_b(self, name: str, member: str, rules: Iterable[str]) -> bool:
        """Whether none of these rules adds a member to a set here, each for a reason for which it does not in B."""
        adding = [rule for rule in self.base.rules if rule.id in rules and (name, member) in rule.adds]
        return all(_fails_in_all(rule.when, self._views, Truth.TRUE) for rule in adding)

    def exact(self) -> Evaluation:
        """The evaluation with what is still possible made exact, reckoned once.

        Raises:
            SpentError: too many were made exact before.
        """
        if self._exact is None:
            from engine.proof.exact import exact

            self._budget.spend()
            self._exact = exact(self.base, self.evaluation, self._year)
        return self._exact


Brings = Callable[[Trial], bool]


@dataclass(frozen=True, slots=True)
class WallJudged:
    """A wall of a survey with the rules it is judged by."""

    file: SurveyFile
    wall: Wall
    base: RuleBase


class Causes:
    """The wall of A with some of what makes B different applied to it, each trial reckoned once.

    What differs are the facts, the day of the survey, from which years are counted, and the rules.
    """

    def __init__(self, a: WallJudged, b: WallJudged, budget: Budget) -> None:
        self._budget = budget
        self._a = _alone(a)
        self._bases = (a.base, b.base)
        self._b = _evaluated(b.file, b.wall, b.base)
        self._changes = _changes(a, b)
        self._tried: dict[frozenset[str], Trial | None] = {}
        rules = (THE_RULES,) if a.base.digest != b.base.digest else ()
        self.differences = (*self._changes, *rules)

    def of(self, brings: Brings) -> Because:
        """What brings about the change that `brings` looks for in a trial."""

        def works(names: Iterable[str]) -> bool:
            trial = self._trial(frozenset(names))
            return trial is not None and brings(trial)

        alone: list[str] = []
        together: tuple[str, ...] = ()
        try:
            alone += (name for name in self.differences if works([name]))
            if not alone and works(self.differences):
                together = _least(self.differences, works)
        except SpentError:
            return Because(alone=tuple(alone), together=(), complete=False)
        return Because(alone=tuple(alone), together=together)

    def _trial(self, names: frozenset[str]) -> Trial | None:
        """The judgement with the differences of these names; `None` where such a wall cannot be."""
        if names not in self._tried:
            self._tried[names] = self._judge(names)
        return self._tried[names]

    def _judge(self, names: frozenset[str]) -> Trial | None:
        base = self._bases[THE_RULES in names]
        try:
            file = amended(self._a, {n: raw for n, raw in self._changes.items() if n in names}).file
        except BadInput:
            return None
        (wall,) = file.survey.walls
        year = file.survey.property.survey_date.year
        return Trial(base, _evaluated(file, wall, base), year, self._budget, self._b)


def _evaluated(file: SurveyFile, wall: Wall, base: RuleBase) -> Evaluation:
    values = file.values_of(wall)
    year = file.survey.property.survey_date.year
    values.update(compute_readings(values, year, reading_figures(base.tables)))
    return evaluate(base, values)


def _fails_in_all(condition: Condition, views: Sequence[View], wanted: Truth) -> bool:
    """Whether a condition falls short of `wanted` in all views by the same tests.

    A test of an earlier decision falls short for the same reason only where that decision came to the same.
    """
    match condition:
        case Test():
            scope, _, key = condition.variable.name.partition(".")
            if scope == "decided" and len({view.decided.get(key) for view in views}) > 1:
                return False
            return all(view.truth(condition) is not wanted for view in views)
        case Not(part):
            return _fails_in_all(part, views, wanted.negated)
        case All(parts) | AnyOf(parts):
            short = (_fails_in_all(part, views, wanted) for part in parts)
            return any(short) if isinstance(condition, All) is (wanted is Truth.TRUE) else all(short)


def _alone(judged: WallJudged) -> SurveyFile:
    """The survey with no other wall in it."""
    survey, document = judged.file.survey, judged.file.document
    data = document.data
    assert isinstance(data, dict)
    raw = data["walls"][survey.walls.index(judged.wall)]
    lone = dataclasses.replace(document, data={**data, "walls": [raw]})
    return SurveyFile(survey.model_copy(update={"walls": (judged.wall,)}), lone)


def _changes(a: WallJudged, b: WallJudged) -> dict[str, Any]:
    """What would have to be written at A to have the facts of B; what does not apply at B goes by itself."""
    before, after = a.file.values_of(a.wall), b.file.values_of(b.wall)
    changes = {
        name: as_written(after[name].value) if after[name].known else "unknown"
        for name in before
        if _can_be_written(before[name], after[name])
    }
    days = [judged.file.survey.property.survey_date for judged in (a, b)]
    return changes if days[0] == days[1] else {**changes, SURVEY_DATE: days[1].isoformat()}


def _can_be_written(before: Value, after: Value) -> bool:
    if same(before, after):
        return False
    return after.known or (before.known and after.state.name == "UNKNOWN")


def _least(names: Sequence[str], works: Callable[[Iterable[str]], bool]) -> tuple[str, ...]:
    """Names that work together and of which none can be left out; larger parts are tried first."""
    kept = list(names)
    size = len(kept) // 2
    while size:
        at, shorter = 0, False
        while at < len(kept):
            rest = kept[:at] + kept[at + size :]
            if rest and works(rest):
                kept, shorter = rest, True
            else:
                at += size
        if size > 1 or not shorter:
            size //= 2
    return tuple(kept)
