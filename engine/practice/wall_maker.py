"""Makes up walls: complete, free of contradictions, and led to an answer that is drawn beforehand.

Facts are drawn from the vocabulary alone, those the rules make much of more rarely; then, as long as the answer is not
the one wanted, the rules that stand against it are undone and those that speak for it are met, one change after the
other. What a value means is never known here: the rules are asked.
"""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Iterator, Sequence
from typing import cast

from engine.decision.grounds import now_view
from engine.facts.amend import LATEST
from engine.facts.contradictions import contradictions
from engine.facts.declare import Only
from engine.facts.resolve import applies
from engine.facts.survey import Survey
from engine.facts.values import NOT_APPLICABLE_VALUE, UNKNOWN_VALUE, Scalar, State, Value, known
from engine.facts.vocabulary import Variable, facts
from engine.facts.written import survey_data
from engine.inference.evaluate import Evaluation
from engine.inference.probe import values_to_try
from engine.inference.truth import Truth
from engine.inference.view import View, comparable, holds
from engine.practice.draw import Draw
from engine.practice.judge import Change, Judge, changes_wanted, facts_read
from engine.practice.measures import FITTING, LIKELY, SPANS, fitting
from engine.practice.samples_maker import made_samples
from engine.rulebase.conditions import Test, from_steps, to_steps
from engine.rulebase.rules import Rule, RuleBase

_MOST_CHANGES = 30
_REDRAWN = 6
_MENDED = 8
_NONE_OFTEN = 0.7
_AROUND_STEPS = 20
_OF_THE_NEAREST = 3
_MUCH = 10
_SAMPLES, _METHOD = "moisture.samples", "moisture.method"
_LEFT_OUT = ("ground.profile",)
"""Rows that say in more points what single facts say already."""


class WallMaker:
    """Makes walls under one rule base, on which every one of `choices` is decided for good."""

    def __init__(self, judge: Judge, choices: Sequence[str]) -> None:
        read = facts_read(judge.base)
        self.judge = judge
        self.choices = choices
        self.read = frozenset(name for name in read if name not in _LEFT_OUT)
        self.spoken_of = _spoken_of(judge.base)
        self.survey_date: dt.date = judge.base.manifest.in_force_from

    def make(self, draw: Draw, choice: str, option: str) -> dict[str, Value] | None:
        """A wall on which the choice comes to the option, or to what else was reached; None where it is not settled."""
        wall = _Wall(self, draw)
        for _ in range(_MOST_CHANGES):
            consistent = wall.mend()
            if wall.evaluation.outcomes[choice].option != option:
                wall.lead_to(choice, option)
            elif consistent and self._settled(wall):
                return wall.values
            else:
                wall.settle()
        return wall.values if wall.mend() and self._settled(wall) else None

    def _settled(self, wall: _Wall) -> bool:
        return all(wall.evaluation.outcomes[each].status == "settled" for each in self.choices)


def _spoken_of(base: RuleBase) -> Counter[tuple[str, object]]:
    """How many rules test for each value of each fact: what they make much of is out of the ordinary."""
    return Counter(
        (name, value)
        for rule in base.rules
        for name, value in {
            (test.variable.name, value)
            for test in rule.tests
            if test.op in ("one_of", "includes") and test.variable.kind != "number"
            for value in test.operand
        }
    )


class _Wall:
    """A wall in the making. `facts` are those that apply; `values` and `evaluation` follow from them."""

    def __init__(self, maker: WallMaker, draw: Draw) -> None:
        self._maker = maker
        self._base = maker.judge.base
        self._draw = draw
        self._facts: dict[str, Scalar] = {}
        self._kept: set[str] = set()
        self.values: dict[str, Value] = {}
        self._fill()
        self.mend()
        self._judge()

    def lead_to(self, choice: str, option: str) -> None:
        """Change facts so that the choice comes nearer to the option."""
        view = now_view(self.evaluation)
        self._kept = set()
        for test, truth in self._changes_for(choice, option, view):
            self._bring(test, truth, view)
        self._judge()

    def settle(self) -> None:
        """Draw a fact anew that may keep a choice open."""
        name = self._draw.one(sorted(self._facts))
        self._put(name, self._first(facts()[name]))
        self._judge()

    def mend(self) -> bool:
        """Change facts that contradict others, as long as there are such. Whether none is left."""
        found = self._contradicted()
        if not found:
            return True
        for _ in range(_MENDED):
            name = found[0]
            for value in self._draw.shuffled(list(self._candidates(facts()[name])))[:_MENDED]:
                self._put(name, value)
                found = self._contradicted()
                if name not in found:
                    break
            if not found:
                break
        self._judge()
        return not found

    def _judge(self) -> None:
        self.evaluation: Evaluation = self._maker.judge.evaluation(self.values, self._maker.survey_date.year)

    def _fill(self) -> None:
        """Leave out what does not apply, and draw what applies and is missing."""
        self.values = {}
        for name, variable in facts().items():
            if applies(variable, self.values) is False:
                self._facts.pop(name, None)
                self.values[name] = NOT_APPLICABLE_VALUE
            elif name not in self._maker.read:
                self.values[name] = UNKNOWN_VALUE
            else:
                if name not in self._facts or (name in FITTING and self._facts[name] not in self._fitting(variable)):
                    self._facts[name] = self._first(variable)
                self.values[name] = known(self._facts[name])

    def _put(self, name: str, value: Scalar) -> None:
        self._facts[name] = value
        if name == _METHOD:
            self._facts.pop(_SAMPLES, None)
        self._fill()

    def _first(self, variable: Variable) -> Scalar:
        """A value as it might be anywhere."""
        match variable.kind:
            case "choice":
                fitting = self._fitting(variable)
                return self._draw.weighted(fitting, self._weights(variable, fitting))
            case "yes_no":
                return self._draw.weighted((False, True), self._weights(variable, (False, True)))
            case "set":
                if self._draw.chance(_NONE_OFTEN):
                    return frozenset()
                return frozenset((self._draw.one(variable.options),))
            case "number":
                return self._number(variable)
        assert variable.name == _SAMPLES, variable.name
        return made_samples(self._draw, self._facts.get(_METHOD))

    def _fitting(self, variable: Variable) -> tuple[str, ...]:
        """The options that make sense beside what is drawn already."""
        before = FITTING[variable.name][0] if variable.name in FITTING else ""
        return fitting(variable.name, variable.options, self._facts.get(before))

    def _weights(self, variable: Variable, values: Sequence[object]) -> list[float]:
        def weight(value: object) -> float:
            usual = LIKELY.get((variable.name, value), 1.0) if isinstance(value, str) else 1.0
            return usual / (1 + self._maker.spoken_of[variable.name, value])

        return [weight(value) for value in values]

    def _number(self, variable: Variable) -> Scalar:
        span = SPANS.get(variable.name)
        if span is not None:
            number = self._draw.between(*span)
        else:
            around = [cast(float, value.value) for value in values_to_try(self._base, variable)]
            away = self._draw.below(2 * _AROUND_STEPS + 1) - _AROUND_STEPS
            middle = self._draw.one(around) if around else cast(float, variable.ge)
            number = from_steps(variable, to_steps(variable, middle) + away)
        number = min(max(number, cast(float, variable.ge)), cast(float, variable.le))
        return int(number) if variable.whole else number

    def _candidates(self, variable: Variable) -> Iterator[Scalar]:
        """Every value the rules tell apart, and some as they might be anywhere."""
        for value in values_to_try(self._base, variable):
            if variable.name not in FITTING or value.value in self._fitting(variable):
                yield cast(Scalar, value.value)
        yield from (self._first(variable) for _ in range(_REDRAWN))

    def _changes_for(self, choice_id: str, option_id: str, view: View) -> list[Change]:
        choice = self._base.choices[choice_id]
        stage = self._base.by_stage[choice.stage]
        fired = [rule for rule in stage if rule.id in self.evaluation.fired]
        supporting = [rule for rule in stage if (choice_id, option_id) in rule.supports]
        held = [rule for rule in supporting if rule.id in self.evaluation.fired]
        for rule in held:
            self._kept.update(test.variable.name for test in rule.tests)
        missing = []
        if not held and not any(each.id == option_id and each.open for each in choice.options):
            missing = self._meet(supporting, view)
        against = [rule for rule in fired if (choice_id, option_id) in rule.rules_out]
        if missing or against:
            return missing + [change for rule in against for change in self._undo(rule, view)]
        first = self.evaluation.outcomes[choice_id].option
        before = [rule for rule in fired if (choice_id, first) in rule.supports]
        if before:
            return [change for rule in before for change in self._undo(rule, view)]
        return self._meet([rule for rule in stage if (choice_id, first) in rule.rules_out], view)

    def _undo(self, rule: Rule, view: View) -> list[Change]:
        return changes_wanted(rule.when, Truth.FALSE, view, self._pick)

    def _meet(self, rules: Sequence[Rule], view: View) -> list[Change]:
        """What would make a rule hold, one of those that lack least; what it rests on is kept from then on."""
        ways = [(changes_wanted(rule.when, Truth.TRUE, view, self._pick), rule) for rule in rules]
        if not ways:
            return []
        nearest = sorted(ways, key=lambda way: self._trouble(way[0]))[:_OF_THE_NEAREST]
        changes, rule = self._draw.one(nearest)
        self._kept.update(test.variable.name for test in rule.tests)
        return changes

    def _pick(self, ways: Sequence[list[Change]]) -> list[Change]:
        """One of the ways with least trouble."""
        least = min(self._trouble(way) for way in ways)
        return self._draw.one([way for way in ways if self._trouble(way) == least])

    def _trouble(self, way: Sequence[Change]) -> int:
        """What a way asks for: a change is little, one of what is kept much, and a fact cannot be made unknown."""
        trouble = 0
        for test, _ in way:
            cannot = test.op in ("known", "unknown") and test.variable.name in facts()
            trouble += 1 + _MUCH * (test.variable.name in self._kept) + _MUCH * _MUCH * cannot
        return trouble

    def _bring(self, test: Test, truth: Truth, view: View) -> None:
        """Change facts so that a test comes out as wanted, or nearer to it."""
        key = test.variable.name.partition(".")[2]
        if test.scope == "decided":
            wanted = [
                option.id for option in self._base.choices[key].options if (option.id in test.operand) is bool(truth)
            ]
            changes = self._changes_for(key, self._draw.one(wanted), view) if wanted else []
        elif test.scope == "found":
            changes = self._changes_of_set(key, test, truth, view)
        else:
            if test.variable.name in facts():
                self._set(test, truth)
            else:
                self._draw_again(test, truth)
            return
        for each, should_be in changes:
            self._bring(each, should_be, view)

    def _changes_of_set(self, key: str, test: Test, truth: Truth, view: View) -> list[Change]:
        """To add a member, or to take away all that a test speaks of."""
        adding = (test.op == "empty") is not bool(truth)
        members = test.operand if test.op == "includes" else tuple(self._base.members[key])
        rules = [rule for rule in self._base.rules if any((key, member) in rule.adds for member in members)]
        if adding:
            return self._meet(rules, view)
        return [change for rule in rules if rule.id in self.evaluation.fired for change in self._undo(rule, view)]

    def _set(self, test: Test, truth: Truth) -> None:
        variable = test.variable
        if test.op in ("known", "unknown"):
            return
        if self.values[variable.name].state is State.NOT_APPLICABLE:
            if truth:
                self._make_apply(variable)
            return
        wanted = [
            value
            for value in self._candidates(variable)
            if holds(test, comparable(variable, known(value))) is bool(truth)
        ]
        if wanted:
            self._put(variable.name, self._draw.weighted(wanted, self._weights(variable, wanted)))

    def _make_apply(self, variable: Variable) -> None:
        for need in variable.applies:
            parent, value = facts()[need.fact], self.values[need.fact]
            if value.state is State.NOT_APPLICABLE:
                self._make_apply(parent)
                continue
            word = "none" if value.value == frozenset() else value.value
            if (word in need.values) is isinstance(need, Only):
                continue
            good = [
                each
                for each in self._candidates(parent)
                if (("none" if each == frozenset() else each) in need.values) is isinstance(need, Only)
            ]
            if good:
                self._put(parent.name, self._draw.one(good))

    def _draw_again(self, test: Test, truth: Truth) -> None:
        """Draw what a reading is computed from, a few times, until it comes out as wanted."""
        names = [name for name in test.variable.from_facts if name in self._facts]
        for _ in range(_REDRAWN if names else 0):
            name = self._draw.one(names)
            if name in self._facts:
                self._put(name, self._first(facts()[name]))
            full = self._maker.judge.with_readings(self.values, self._maker.survey_date.year)
            if View(full).of_test(test) is truth:
                return

    def _contradicted(self) -> list[str]:
        """The facts named by contradictions."""
        data = survey_data(self.values, "wall", "made up", self._maker.survey_date)
        found: dict[str, None] = {}
        for path, *_ in contradictions(Survey.model_validate(data), LATEST):
            names = path[2:4] if path[0] == "walls" else path[:2]
            found[".".join(str(name) for name in names)] = None
        return list(found)
