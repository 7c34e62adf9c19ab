"""A rule base as polars expressions: compiled once, run over any number of walls, stage after stage.

Every distinct test becomes the columns that its uses ask for; the rules of a stage are then Boolean expressions over
those, its choices and sets over the rules, and the tests of later stages over these.
"""

from __future__ import annotations

import weakref
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

import polars as pl

from engine.columns.bits import NO, YES, Bits, conjunction, disjunction, negation, some
from engine.columns.facts import comparable, comparison
from engine.facts.vocabulary import Variable
from engine.inference.network import ChoiceNet, FactTests, SetNet, network_of
from engine.readings.vocabulary import READINGS
from engine.rulebase.conditions import UNDECIDED, All, AnyOf, Condition, Not, Test
from engine.rulebase.rules import Rule, RuleBase


@dataclass(frozen=True, slots=True)
class Plan:
    """The layers of expressions of a rule base; each reads columns of the layers before it.

    `readings` are the readings its rules ask for. `facts` are the facts its rules read. `layers` makes the columns that
    `judge` gives back, and working columns whose names begin with `_`.
    """

    readings: tuple[str, ...]
    facts: tuple[str, ...]
    layers: tuple[tuple[pl.Expr, ...], ...]
    results: tuple[str, ...]


_CACHE: weakref.WeakKeyDictionary[RuleBase, Plan] = weakref.WeakKeyDictionary()


def plan_of(base: RuleBase) -> Plan:
    """The plan of a rule base, built once."""
    found = _CACHE.get(base)
    if found is None:
        found = _CACHE[base] = _Build(base).plan()
    return found


def option_ids(base: RuleBase, choice: str) -> tuple[str, ...]:
    """What a choice can come to, in order; undecided last."""
    return (*(option.id for option in base.choices[choice].options), UNDECIDED)


@dataclass(slots=True)
class _Build:
    base: RuleBase
    bits: dict[Test, Bits] = field(default_factory=dict)
    layers: list[tuple[pl.Expr, ...]] = field(default_factory=list)
    results: list[str] = field(default_factory=list)

    def plan(self) -> Plan:
        network = network_of(self.base)
        tests = list(dict.fromkeys(test for rule in self.base.rules for test in rule.tests))
        self._prepare(network.facts)
        self.layers.append(tuple(self._fact_tests([test for test in tests if test.scope == "fact"])))
        for number, (stage, rules) in enumerate(self.base.by_stage.items()):
            net = network.stages[number]
            self.layers.append(tuple(self._rules(rules)))
            self.layers.append(tuple(expr for choice in net.choices for expr in self._options(choice)))
            self.layers.append(tuple(expr for choice in net.choices for expr in self._choice(choice)))
            self.layers.append(tuple(expr for each in net.sets for expr in self._set(each)))
            decided = {f"decided.{choice.id}" for choice in net.choices} | {f"found.{each.id}" for each in net.sets}
            later = [test for test in tests if test.variable.name in decided]
            self.layers.append(tuple(self._later_tests(later)))
            assert self.base.by_stage[stage] == rules
        read = [tests.variable.name for tests in network.facts]
        return Plan(
            tuple(name for name in read if name in READINGS),
            tuple(name for name in read if name not in READINGS),
            tuple(layer for layer in self.layers if layer),
            tuple(self.results),
        )

    def _prepare(self, several: Iterable[FactTests]) -> None:
        """Of every fact that is tested: its comparable form, whether it is known, and whether it is open."""
        columns: list[pl.Expr] = []
        for tests in several:
            variable = tests.variable
            name = variable.name
            columns.append(_in_steps(variable).alias(f"_x:{name}"))
            columns.append(pl.col(name).is_not_null().alias(f"_known:{name}"))
            unknown = pl.col(name).is_null()
            if variable.applies or name in READINGS:
                unknown = unknown & ~pl.col(f"na:{name}")
            columns.append(unknown.alias(f"_unknown:{name}"))
            if name in READINGS:
                columns.append((unknown & ~pl.col(f"fg:{name}")).alias(f"_open:{name}"))
        self.layers.append(tuple(columns))

    def _fact_tests(self, tests: Iterable[Test]) -> Iterator[pl.Expr]:
        for number, test in enumerate(tests):
            name = test.variable.name
            known, unknown = pl.col(f"_known:{name}"), pl.col(f"_unknown:{name}")
            still = pl.col(f"_open:{name}") if name in READINGS else unknown
            if test.op in ("known", "unknown"):
                true, false = (known, ~known) if test.op == "known" else (unknown, ~unknown)
                self.bits[test] = Bits(true, false, true | still, false | still, false | still, true | still)
                continue
            yield (
                comparison(test.variable, test.op, test.operand, pl.col(f"_x:{name}"))
                .fill_null(False)
                .alias(f"_t{number}")
            )
            true = pl.col(f"_t{number}")
            maybe = true | unknown
            may_true, may_false = maybe, ~true
            if name in READINGS:
                may_true, may_false = true | still, ~maybe | still
            self.bits[test] = Bits(true, ~maybe, may_true, may_false, ~true, maybe)

    def _of(self, condition: Condition) -> Bits:
        match condition:
            case Test():
                return self.bits[condition]
            case Not(part):
                return negation(self._of(part))
            case All(parts):
                return conjunction(tuple(self._of(part) for part in parts))
            case AnyOf(parts):
                return disjunction(tuple(self._of(part) for part in parts))

    def _rules(self, rules: Iterable[Rule]) -> Iterator[pl.Expr]:
        for rule in rules:
            bits = self._of(rule.when)
            yield self._result(bits.true, f"fired:{rule.id}")
            yield self._result(bits.may_true & ~bits.not_true, f"acts:{rule.id}")
            yield self._result(bits.may_true, f"may:{rule.id}")

    def _result(self, expression: pl.Expr, name: str) -> pl.Expr:
        self.results.append(name)
        return expression.alias(name)

    def _any(self, kind: str, rules: Iterable[int]) -> pl.Expr:
        ids = network_of(self.base).rule_ids
        return some(pl.col(f"{kind}:{ids[rule]}") for rule in rules)

    def _options(self, choice: ChoiceNet) -> Iterator[pl.Expr]:
        """Of every option: whether it stands now, surely has support, may have it, is surely or perhaps ruled out."""
        for option in choice.options:
            key = f"{choice.id}:{option.id}"
            supported = YES if option.open else self._any("fired", option.support)
            yield (supported & ~self._any("fired", option.against)).alias(f"_stands:{key}")
            may_be = YES if option.open else self._any("may", option.support)
            yield (may_be & ~self._any("acts", option.against)).alias(f"_might:{key}")
            sure = YES if option.open else self._any("acts", option.support)
            yield (sure & ~self._any("may", option.against)).alias(f"_sure:{key}")

    def _choice(self, choice: ChoiceNet) -> Iterator[pl.Expr]:
        """The first option that stands, and those that open facts allow: see `engine.inference.evaluate`."""
        before, going_on = NO, YES
        taken = pl.lit(len(choice.options), pl.UInt8)
        for option in choice.options:
            key = f"{choice.id}:{option.id}"
            yield self._result(pl.col(f"_stands:{key}") & ~before, f"_is:{key}")
            before = before | pl.col(f"_stands:{key}")
            yield self._result(going_on & pl.col(f"_might:{key}"), f"possible:{key}")
            going_on = going_on & ~pl.col(f"_sure:{key}")
        yield self._result(~before, f"_is:{choice.id}:{UNDECIDED}")
        yield self._result(going_on, f"possible:{choice.id}:{UNDECIDED}")
        for place, option in reversed(list(enumerate(choice.options))):
            stands = pl.col(f"_stands:{choice.id}:{option.id}")
            taken = pl.when(stands).then(pl.lit(place, pl.UInt8)).otherwise(taken)
        yield self._result(taken.cat.to(pl.Enum(option_ids(self.base, choice.id))), f"decided.{choice.id}")

    def _set(self, each: SetNet) -> Iterator[pl.Expr]:
        members: dict[str, list[int]] = {}
        for rule, member in each.added_by:
            members.setdefault(member, []).append(rule)
        for member, rules in members.items():
            for column, kind in (("now", "fired"), ("sure", "acts"), ("may", "may")):
                yield self._result(self._any(kind, rules), f"{column}:{each.id}:{member}")

    def _later_tests(self, tests: Iterable[Test]) -> Iterator[pl.Expr]:
        for test in tests:
            name = test.variable.name
            scope, _, key = name.partition(".")
            now, can, can_not = self._on_choice(test, key) if scope == "decided" else self._on_set(test, key)
            label = f"{name}:{test.op}:{','.join(map(str, test.operand))}"
            for kind, expression in (("now", now), ("can", can), ("not", can_not)):
                yield expression.alias(f"_{kind}:{label}")
            true, may_true, may_false = (pl.col(f"_{kind}:{label}") for kind in ("now", "can", "not"))
            self.bits[test] = Bits(true, ~true, may_true, may_false, may_false, may_true)

    def _on_choice(self, test: Test, choice: str) -> tuple[pl.Expr, pl.Expr, pl.Expr]:
        ids = option_ids(self.base, choice)
        wanted = [option for option in ids if option in test.operand]
        others = [option for option in ids if option not in test.operand]
        return (
            some(pl.col(f"_is:{choice}:{option}") for option in wanted),
            some(pl.col(f"possible:{choice}:{option}") for option in wanted),
            some(pl.col(f"possible:{choice}:{option}") for option in others),
        )

    def _on_set(self, test: Test, name: str) -> tuple[pl.Expr, pl.Expr, pl.Expr]:
        """A test on a set: of its members now, and whether it can come out true and false between sure and may."""
        added = {member for rule in self.base.rules for key, member in rule.adds if key == name}
        asked = added if test.op == "empty" else added.intersection(map(str, test.operand))
        now, least, most = (
            some(pl.col(f"{kind}:{name}:{member}") for member in sorted(asked)) for kind in ("now", "sure", "may")
        )
        return (~now, ~least, most) if test.op == "empty" else (now, most, ~least)


def _in_steps(variable: Variable) -> pl.Expr:
    """Readings of numbers come in steps already."""
    if variable.name in READINGS and variable.kind == "number":
        return pl.col(variable.name)
    return comparable(variable)
