"""Two versions of the rules taken apart: what of one could be put back into the other, and the mixtures that gives."""

from __future__ import annotations

import dataclasses
import datetime as dt
import functools
from collections.abc import Iterable, Mapping
from typing import Any

from engine.audit.compare_now import StandsNow
from engine.facts.values import Value
from engine.facts.vocabulary import facts
from engine.inference.evaluate import Evaluation, evaluate
from engine.readings.compute import compute_readings
from engine.readings.figures import ReadingFigures
from engine.readings.vocabulary import READINGS
from engine.rulebase.conditions import All, AnyOf, Condition, Not, Test
from engine.rulebase.model import Choice
from engine.rulebase.reading_figures import reading_figures
from engine.rulebase.rules import Rule, RuleBase

FIGURES = "figures"
"""Stands among the parts for the figures that readings are reckoned with."""
BEFORE = "before "


def logic_of_condition(condition: Condition) -> object:
    """A condition by what it asks; the words that a variable is asked about in do not belong to it."""
    match condition:
        case Test(variable, op, operand):
            return variable.name, op, tuple((type(each).__name__, each) for each in operand)
        case Not(part):
            return "not", logic_of_condition(part)
        case All(parts) | AnyOf(parts):
            return type(condition).__name__, tuple(logic_of_condition(part) for part in parts)


def logic_of_rule(rule: Rule) -> object:
    """What of a rule bears on decisions: two rules that have the same of it decide the same."""
    return (
        rule.stage,
        logic_of_condition(rule.when),
        frozenset(rule.supports),
        frozenset(rule.rules_out),
        frozenset(rule.adds),
    )


def logic_of_choice(choice: Choice) -> object:
    """What of a choice bears on decisions: its stage, and its options in order, open or not."""
    return choice.stage, tuple((option.id, option.open) for option in choice.options)


@dataclasses.dataclass(frozen=True, eq=False)
class Versions:
    """A base A, the base B it is compared with, and mixtures of the two.

    A part is what can be put back into B as A has it: a rule by its id, `choice NAME`, `set NAME`, or `figures`.
    """

    a: RuleBase
    b: RuleBase

    @functools.cached_property
    def figures(self) -> tuple[ReadingFigures | None, ReadingFigures | None]:
        """The figures that readings are reckoned with, of A and of B."""
        return reading_figures(self.a.tables), reading_figures(self.b.tables)

    @property
    def same_figures(self) -> bool:
        """Whether every reading is reckoned alike."""
        return self.figures[0] == self.figures[1]

    @functools.cached_property
    def rules(self) -> tuple[str, ...]:
        """The rules that do not bear on decisions alike, by id: added, withdrawn, or changed in more than words."""
        ids = sorted({*self.a.by_id, *self.b.by_id})
        return tuple(each for each in ids if _logic(self.a, each) != _logic(self.b, each))

    @functools.cached_property
    def parts(self) -> tuple[str, ...]:
        """Every part in which the two do not decide alike."""
        choices = [
            f"choice {name}"
            for name in dict.fromkeys((*self.a.choices, *self.b.choices))
            if [logic_of_choice(base.choices[name]) for base in (self.a,) if name in base.choices]
            != [logic_of_choice(base.choices[name]) for base in (self.b,) if name in base.choices]
        ]
        sets = [
            f"set {name}"
            for name in dict.fromkeys((*self.a.sets, *self.b.sets))
            if [each.sets[name].closes for each in (self.a,) if name in each.sets]
            != [each.sets[name].closes for each in (self.b,) if name in each.sets]
        ]
        return (*self.rules, *choices, *sets, *(() if self.same_figures else (FIGURES,)))

    def with_back(self, parts: Iterable[str]) -> RuleBase:
        """B with these parts as A has them; the figures of readings are not in it."""
        wanted = frozenset(parts)
        base = self._frame(wanted)
        rules = {rule.id: rule for rule in self.b.rules}
        for part in wanted.intersection(self.rules):
            _put_back(rules, self.a.by_id, part)
        return dataclasses.replace(base, rules=tuple(rules[each] for each in sorted(rules)))

    @functools.cached_property
    def _every(self) -> dict[frozenset[str], RuleBase]:
        return {}

    def of_every_rule(self, parts: Iterable[str]) -> RuleBase:
        """The same with the rules of both in it: those of A that are not B's too go by `before ID`."""
        frame = frozenset(part for part in parts if " " in part)
        if frame not in self._every:
            of_a = (self.a.by_id[each] for each in self.rules if each in self.a.by_id)
            before = (dataclasses.replace(rule, id=f"{BEFORE}{rule.id}") for rule in of_a)
            self._every[frame] = dataclasses.replace(self._frame(frame), rules=(*self.b.rules, *before))
        return self._every[frame]

    def left_out(self, parts: Iterable[str]) -> frozenset[str]:
        """Which of the rules of both are not in B once these parts are put back."""
        back = frozenset(parts)
        return frozenset(each if each in back else f"{BEFORE}{each}" for each in self.rules)

    def _frame(self, parts: frozenset[str]) -> RuleBase:
        """B with the choices and sets among these parts as A has them."""
        choices, sets, members = dict(self.b.choices), dict(self.b.sets), dict(self.b.members)
        for part in sorted(parts):
            kind, _, name = part.partition(" ")
            if kind == "choice":
                _put_back(choices, self.a.choices, name)
            elif kind == "set":
                _put_back(sets, self.a.sets, name)
                _put_back(members, self.a.members, name)
        return dataclasses.replace(self.b, choices=choices, sets=sets, members=members)

    @functools.cached_property
    def both(self) -> RuleBase:
        """The rules of both in one, for whoever needs every test and bound of either. It judges nothing."""
        same = {(rule.id, rule.when) for rule in self.a.rules}
        more = (rule for rule in self.b.rules if (rule.id, rule.when) not in same)
        return dataclasses.replace(
            self.b, rules=(*self.a.rules, *more), variables={**self.a.variables, **self.b.variables}
        )


def _logic(base: RuleBase, rule: str) -> object:
    return logic_of_rule(base.by_id[rule]) if rule in base.by_id else None


def _put_back(into: dict[str, Any], of: Mapping[str, Any], name: str) -> None:
    if name in of:
        into[name] = of[name]
    else:
        into.pop(name, None)


class Judge:
    """Facts and readings judged by A, by B, and by mixtures of the two; each kept while the values stay."""

    def __init__(
        self, versions: Versions, values: Mapping[str, Value], year: int, as_b: Mapping[str, Value] | None = None
    ) -> None:
        """`values` are facts and readings as A reckons them, or facts with any readings; `as_b` as B does."""
        self._versions, self._year, self._given = versions, year, values
        self._values: dict[int, Mapping[str, Value]] = {}
        self._kept: dict[frozenset[str], StandsNow] = {}
        self._frames: dict[tuple[frozenset[str], int], StandsNow] = {}
        if versions.same_figures:
            self._values = {0: values, 1: values}
        elif as_b is not None:
            self._values = {0: values, 1: as_b}

    def values(self, side: int) -> Mapping[str, Value]:
        """Facts and readings as A (0) or B (1) reckons them."""
        if side not in self._values:
            given = {name: self._given[name] for name in facts()}
            readings = compute_readings(given, self._year, self._versions.figures[side], READINGS)
            self._values[side] = {**given, **readings}
        return self._values[side]

    @functools.cached_property
    def a(self) -> StandsNow:
        """What A says."""
        return StandsNow(self._versions.a, self.values(0))

    @functools.cached_property
    def b(self) -> StandsNow:
        """What B says."""
        return StandsNow(self._versions.b, self.values(1))

    @functools.cached_property
    def evaluated(self) -> tuple[Evaluation, Evaluation]:
        """What the evaluator itself says, of A and of B."""
        return evaluate(self._versions.a, self.values(0)), evaluate(self._versions.b, self.values(1))

    def with_back(self, parts: Iterable[str]) -> StandsNow:
        """What B says with these parts as A has them."""
        wanted = frozenset(parts)
        if wanted not in self._kept:
            # One base of the rules of both serves every mixture: to lay out one for each would take most of the time.
            side = 0 if FIGURES in wanted else 1
            frame = (frozenset(part for part in wanted if " " in part), side)
            if frame not in self._frames:
                self._frames[frame] = StandsNow(self._versions.of_every_rule(wanted), self.values(side))
            self._kept[wanted] = self._frames[frame].without(self._versions.left_out(wanted))
        return self._kept[wanted]

    def mixed(self, parts: frozenset[str]) -> tuple[RuleBase, Mapping[str, Value]]:
        """B with these parts as A has them, and the values it judges."""
        return self._versions.with_back(parts), self.values(0 if FIGURES in parts else 1)


def day_of_surveys(a: RuleBase, b: RuleBase, day: dt.date) -> dt.date:
    """The day that surveys made up for both carry: as the younger came into force, if that was by then in the year."""
    days = [base.manifest.in_force_from for base in (a, b)]
    return max((each for each in days if each <= day and each.year == day.year), default=dt.date(day.year, 1, 1))
