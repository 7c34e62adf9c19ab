"""Runs a rule base over the values of one wall, stage after stage, with three truth values."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from engine.facts.values import State, Value
from engine.inference.network import ChoiceNet, Network, SetNet, StageNet, Truths, network_of
from engine.inference.truth import Truth
from engine.inference.view import comparable, of_decision, of_set
from engine.rulebase.conditions import UNDECIDED
from engine.rulebase.rules import RuleBase


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
    filled in: true in all, false in all, or unknown. `fired` are the ids of the rules that hold now.
    """

    values: Mapping[str, Value]
    now: Mapping[str, Truth]
    ever: Mapping[str, Truth]
    outcomes: Mapping[str, Outcome]
    sets: Mapping[str, Membership]
    fired: frozenset[str]


def evaluate(base: RuleBase, values: Mapping[str, Value]) -> Evaluation:
    """Evaluate every stage in order. `values` holds facts and readings; one left out is unknown."""
    network = network_of(base)
    run = _Run(network, values)
    run.facts()
    for stage in network.stages:
        run.stage(stage)
    return run.result()


_TRUTHS = (Truth.FALSE, Truth.UNKNOWN, Truth.TRUE)


class _Run:
    """One evaluation: the truths of all tests, now and over every way the unknown could be filled in."""

    def __init__(self, network: Network, values: Mapping[str, Value]) -> None:
        self._network = network
        self._values = values
        self._tests_now: Truths = [1] * network.tests
        self._tests_ever: Truths = [1] * network.tests
        self._now: Truths = [0] * len(network.rule_ids)
        self._ever: Truths = [0] * len(network.rule_ids)
        self._outcomes: dict[str, Outcome] = {}
        self._sets: dict[str, Membership] = {}

    def facts(self) -> None:
        now, ever = self._tests_now, self._tests_ever
        for tests in self._network.facts:
            value = self._values.get(tests.variable.name)
            if value is None or value.state is State.UNKNOWN:
                if tests.known is not None:
                    now[tests.known] = 0
                if tests.unknown is not None:
                    now[tests.unknown] = 2
                continue
            if value.state is State.KNOWN:
                compared = comparable(tests.variable, value)
                for number, holds in tests.comparisons:
                    now[number] = ever[number] = 2 if holds(compared) else 0
            else:
                for number, _ in tests.comparisons:
                    now[number] = ever[number] = 0
            if tests.known is not None:
                now[tests.known] = ever[tests.known] = 2 if value.known else 0
            if tests.unknown is not None:
                now[tests.unknown] = ever[tests.unknown] = 0

    def stage(self, stage: StageNet) -> None:
        for number, rule in stage.rules:
            self._now[number] = rule(self._tests_now)
            self._ever[number] = rule(self._tests_ever)
        for choice in stage.choices:
            outcome = Outcome(choice.id, self._taken(choice), self._possible(choice))
            self._outcomes[choice.id] = outcome
            now, possible = frozenset((outcome.option,)), frozenset(outcome.possible)
            for number, wanted in choice.tests:
                self._tests_now[number] = of_decision(wanted, now)
                self._tests_ever[number] = of_decision(wanted, possible)
        for each in stage.sets:
            held = self._close(each)
            for number, test in each.tests:
                self._tests_now[number] = of_set(test, held.now, frozenset())
                self._tests_ever[number] = of_set(test, held.sure, held.may)

    def _taken(self, choice: ChoiceNet) -> str:
        """The first option that stands now; a rule that is not known to hold does not act."""
        for option in choice.options:
            if (option.open or any(self._now[rule] == 2 for rule in option.support)) and not any(
                self._now[rule] == 2 for rule in option.against
            ):
                return option.id
        return UNDECIDED

    def _possible(self, choice: ChoiceNet) -> tuple[str, ...]:
        possible = []
        for option in choice.options:
            support = 2 if option.open else max((self._ever[rule] for rule in option.support), default=0)
            stands = min(support, 2 - max((self._ever[rule] for rule in option.against), default=0))
            if stands:
                possible.append(option.id)
            if stands == 2:
                return tuple(possible)
        return (*possible, UNDECIDED)

    def _close(self, each: SetNet) -> Membership:
        now = frozenset(member for rule, member in each.added_by if self._now[rule] == 2)
        sure = frozenset(member for rule, member in each.added_by if self._ever[rule] == 2)
        may = frozenset(member for rule, member in each.added_by if self._ever[rule] == 1)
        self._sets[each.id] = held = Membership(now, sure, may - sure)
        return held

    def result(self) -> Evaluation:
        ids = self._network.rule_ids
        return Evaluation(
            self._values,
            {rule: _TRUTHS[truth] for rule, truth in zip(ids, self._now, strict=True)},
            {rule: _TRUTHS[truth] for rule, truth in zip(ids, self._ever, strict=True)},
            self._outcomes,
            self._sets,
            frozenset(rule for rule, truth in zip(ids, self._now, strict=True) if truth == 2),
        )
