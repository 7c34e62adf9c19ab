"""Runs a rule base over the values of one wall, stage after stage, with three truth values."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from engine.facts.values import Value
from engine.inference.truth import Truth, conjunction, disjunction
from engine.inference.view import View
from engine.rulebase.conditions import UNDECIDED
from engine.rulebase.model import STAGES, Choice
from engine.rulebase.rules import Rule, RuleBase


@dataclass(frozen=True, slots=True)
class Outcome:
    """What one choice came to: the option now, and every option the open facts still allow, in order."""

    choice: str
    option: str
    possible: tuple[str, ...]

    @property
    def settled(self) -> bool:
        """Whether nothing still unknown can change it."""
        return len(self.possible) == 1

    @property
    def status(self) -> str:
        """`undecided`, `settled` or `provisional`."""
        return UNDECIDED if self.option == UNDECIDED else "settled" if self.settled else "provisional"


@dataclass(frozen=True, slots=True)
class Membership:
    """What one set holds now, holds whatever is found out, and might still hold."""

    now: frozenset[str]
    sure: frozenset[str]
    may: frozenset[str]


@dataclass(frozen=True, slots=True)
class Evaluation:
    """All a rule base says of one wall.

    `now` is the truth of each rule on what is known; `ever` its truth over every way the unknown facts could be
    filled in: true in all, false in all, or unknown.
    """

    values: Mapping[str, Value]
    now: Mapping[str, Truth]
    ever: Mapping[str, Truth]
    outcomes: Mapping[str, Outcome]
    sets: Mapping[str, Membership]

    @property
    def fired(self) -> frozenset[str]:
        """The ids of the rules that hold now."""
        return frozenset(rule for rule, truth in self.now.items() if truth is Truth.TRUE)


def evaluate(base: RuleBase, values: Mapping[str, Value]) -> Evaluation:
    """Evaluate every stage in order. `values` holds facts and readings; one left out is unknown."""
    run = _Run(base, values)
    for stage in STAGES:
        run.stage(stage)
    return run.result()


class _Run:
    def __init__(self, base: RuleBase, values: Mapping[str, Value]) -> None:
        self._base = base
        self._now = View(values, now=True)
        self._ever = View(values, now=False)
        self._truth_now: dict[str, Truth] = {}
        self._truth_ever: dict[str, Truth] = {}
        self._outcomes: dict[str, Outcome] = {}
        self._sets: dict[str, Membership] = {}

    def stage(self, stage: str) -> None:
        rules = self._base.by_stage[stage]
        for rule in rules:
            self._truth_now[rule.id] = self._now.truth(rule.when)
            self._truth_ever[rule.id] = self._ever.truth(rule.when)
        for choice in self._base.choices_of[stage]:
            outcome = decide(choice, rules, self._truth_now, self._truth_ever)
            self._outcomes[choice.id] = outcome
            self._now.may_decide[choice.id] = frozenset((outcome.option,))
            self._ever.may_decide[choice.id] = frozenset(outcome.possible)
        for each in self._base.sets.values():
            if each.closes == stage:
                self._close(each.id)

    def _close(self, name: str) -> None:
        now, sure, may = set(), set(), set()
        for rule in self._base.rules:
            for key, member in rule.adds:
                if key == name and rule.id in self._truth_now:
                    if self._truth_now[rule.id] is Truth.TRUE:
                        now.add(member)
                    if self._truth_ever[rule.id] is Truth.TRUE:
                        sure.add(member)
                    elif self._truth_ever[rule.id] is Truth.UNKNOWN:
                        may.add(member)
        membership = Membership(frozenset(now), frozenset(sure), frozenset(may - sure))
        self._sets[name] = membership
        self._now.sure[name], self._now.may_hold[name] = membership.now, frozenset()
        self._ever.sure[name], self._ever.may_hold[name] = membership.sure, membership.may

    def result(self) -> Evaluation:
        return Evaluation(self._now.values, self._truth_now, self._truth_ever, self._outcomes, self._sets)


def decide(choice: Choice, rules: Iterable[Rule], now: Mapping[str, Truth], ever: Mapping[str, Truth]) -> Outcome:
    """Decide one choice from the truth of the rules of its stage."""
    supporters: dict[str, list[str]] = {option.id: [] for option in choice.options}
    opponents: dict[str, list[str]] = {option.id: [] for option in choice.options}
    for rule in rules:
        for key, name in rule.supports:
            if key == choice.id:
                supporters[name].append(rule.id)
        for key, name in rule.rules_out:
            if key == choice.id:
                opponents[name].append(rule.id)

    def standing(option_id: str, is_open: bool, truth: Mapping[str, Truth], certain: bool) -> Truth:
        support = disjunction(truth[rule] for rule in supporters[option_id])
        against = disjunction(truth[rule] for rule in opponents[option_id])
        if certain:  # a rule that is not known to hold does not act now
            support = Truth.TRUE if support is Truth.TRUE else Truth.FALSE
            against = Truth.TRUE if against is Truth.TRUE else Truth.FALSE
        return conjunction((Truth.TRUE if is_open else support, against.negated))

    taken = UNDECIDED
    for option in choice.options:
        if standing(option.id, option.open, now, certain=True) is Truth.TRUE:
            taken = option.id
            break
    possible = []
    for option in choice.options:
        stands = standing(option.id, option.open, ever, certain=False)
        if stands is not Truth.FALSE:
            possible.append(option.id)
        if stands is Truth.TRUE:
            break
    else:
        possible.append(UNDECIDED)
    return Outcome(choice.id, taken, tuple(possible))
