"""Runs a rule base over the values of one wall, stage after stage, with three truth values."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from engine.facts.values import State, Value
from engine.inference.network import ChoiceNet, FactTests, Network, SetNet, StageNet, Truths, network_of
from engine.inference.truth import Truth
from engine.inference.view import comparable, holds
from engine.inference.ways import ANY, EITHER, FALSE, TRUE, UNKNOWN
from engine.rulebase.conditions import UNDECIDED, Test
from engine.rulebase.rules import RuleBase


@dataclass(frozen=True, slots=True)
class Outcome:
    """What one choice came to: the option now, and every option the open facts still allow, in order.

    `unproved` are those of them that were neither reached by a real survey nor ruled out, where that was looked into.
    """

    choice: str
    option: str
    possible: tuple[str, ...]
    unproved: tuple[str, ...] = ()

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

    `now` is the truth of each rule on what is known; `ever` says whether it acts however the unknown facts are
    filled in, wholly or in part: true always, false never, unknown perhaps. `fired` are the ids of the rules that
    hold now.
    """

    values: Mapping[str, Value]
    now: Mapping[str, Truth]
    ever: Mapping[str, Truth]
    outcomes: Mapping[str, Outcome]
    sets: Mapping[str, Membership]
    fired: frozenset[str]

    @property
    def settled(self) -> bool:
        """Whether no choice and no set can still change."""
        return all(outcome.settled for outcome in self.outcomes.values()) and not any(
            held.may for held in self.sets.values()
        )


def evaluate(base: RuleBase, values: Mapping[str, Value]) -> Evaluation:
    """Evaluate every stage in order. `values` holds facts and readings; one left out is unknown."""
    network = network_of(base)
    run = _Run(network, values)
    run.facts()
    for stage in network.stages:
        run.stage(stage)
    return run.result()


_TRUTHS = (Truth.FALSE, Truth.UNKNOWN, Truth.TRUE)


def _acts(ways: int) -> Truth:
    """Whether a rule acts however the unknown is filled in: surely, perhaps, or never."""
    return Truth.TRUE if ways == TRUE else Truth.UNKNOWN if ways & TRUE else Truth.FALSE


def ways_of_set(test: Test, sure: frozenset[str], may: frozenset[str]) -> int:
    """The truths a test can take on a set that holds `sure` and may hold `may`."""
    least, most = holds(test, sure), holds(test, sure | may)
    return sum({TRUE if truth else FALSE for truth in (least, most)})


class _Run:
    """One evaluation: the truths of all tests now, and the truths they can take however the unknown is filled in."""

    def __init__(self, network: Network, values: Mapping[str, Value]) -> None:
        self._network = network
        self._values = values
        self._tests_now: Truths = [1] * network.tests
        self._tests_ever: Truths = [ANY] * network.tests
        self._now: Truths = [0] * len(network.rule_ids)
        self._ever: Truths = [FALSE] * len(network.rule_ids)
        self._outcomes: dict[str, Outcome] = {}
        self._sets: dict[str, Membership] = {}

    def facts(self) -> None:
        for tests in self._network.facts:
            value = self._values.get(tests.variable.name)
            if value is None or value.state is State.UNKNOWN:
                self._unknown_fact(tests, value is not None and value.for_good)
                continue
            compared = comparable(tests.variable, value) if value.known else None
            for number, comparison in tests.comparisons:
                self._test(number, value.known and comparison(compared))
            if tests.known is not None:
                self._test(tests.known, value.known)
            if tests.unknown is not None:
                self._test(tests.unknown, False)

    def _test(self, number: int, truth: bool) -> None:
        self._tests_now[number] = 2 if truth else 0
        self._tests_ever[number] = TRUE if truth else FALSE

    def _unknown_fact(self, tests: FactTests, for_good: bool) -> None:
        if for_good:
            for number, _ in tests.comparisons:
                self._tests_ever[number] = UNKNOWN
        for asked, truth in ((tests.known, False), (tests.unknown, True)):
            if asked is not None:
                self._test(asked, truth)
                if not for_good:
                    self._tests_ever[asked] = EITHER

    def stage(self, stage: StageNet) -> None:
        for number, truth_now, ways in stage.rules:
            self._now[number] = truth_now(self._tests_now)
            self._ever[number] = ways(self._tests_ever)
        for choice in stage.choices:
            outcome = Outcome(choice.id, self._taken(choice), self._possible(choice))
            self._outcomes[choice.id] = outcome
            for number, wanted in choice.tests:
                self._tests_now[number] = 2 if outcome.option in wanted else 0
                self._tests_ever[number] = sum({TRUE if each in wanted else FALSE for each in outcome.possible})
        for each in stage.sets:
            held = self._close(each)
            for number, test in each.tests:
                self._tests_now[number] = 2 if holds(test, held.now) else 0
                self._tests_ever[number] = ways_of_set(test, held.sure, held.may)

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
            supported = option.open or any(self._ever[rule] == TRUE for rule in option.support)
            may_be = supported or any(self._ever[rule] & TRUE for rule in option.support)
            opposed = any(self._ever[rule] == TRUE for rule in option.against)
            may_be_opposed = any(self._ever[rule] & TRUE for rule in option.against)
            if may_be and not opposed:
                possible.append(option.id)
            if supported and not may_be_opposed:
                return tuple(possible)
        return (*possible, UNDECIDED)

    def _close(self, each: SetNet) -> Membership:
        now = frozenset(member for rule, member in each.added_by if self._now[rule] == 2)
        sure = frozenset(member for rule, member in each.added_by if self._ever[rule] == TRUE)
        may = frozenset(member for rule, member in each.added_by if self._ever[rule] & TRUE)
        self._sets[each.id] = held = Membership(now, sure, may - sure)
        return held

    def result(self) -> Evaluation:
        ids = self._network.rule_ids
        return Evaluation(
            self._values,
            {rule: _TRUTHS[truth] for rule, truth in zip(ids, self._now, strict=True)},
            {rule: _acts(ways) for rule, ways in zip(ids, self._ever, strict=True)},
            self._outcomes,
            self._sets,
            frozenset(rule for rule, truth in zip(ids, self._now, strict=True) if truth == 2),
        )
