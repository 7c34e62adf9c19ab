"""Which rules bring a change between two versions: those that act under one and not, or not so, under the other.

An option is taken because it stands and none before it does. So an option that is newly taken has begun to stand, or
one before it has ceased to; the rules that bring the change are those that made the one or the other come about.
"""

from __future__ import annotations

import functools
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Literal

import polars as pl

from engine.audit.boldness import Boldness
from engine.audit.compare_bases import Versions
from engine.audit.compare_model import Change, HeldBy
from engine.rulebase.conditions import UNDECIDED
from engine.rulebase.model import Choice, Option
from engine.rulebase.rules import RuleBase

Side = Literal["a", "b"]
Concludes = Literal["supports", "rules_out", "adds"]
HELD: tuple[HeldBy, ...] = ("b", "a", "both")
"""A rule newly holds, holds no longer, or holds under both and concludes otherwise."""
RULES: Mapping[HeldBy, str] = {"b": "newly_holds", "a": "no_longer_holds", "both": "concludes_otherwise"}
"""The column of each."""

_NEVER = pl.lit(False)


@dataclass(frozen=True, eq=False)
class Pair:
    """Two versions, A before and B after, and what changes between them are called."""

    a: RuleBase
    b: RuleBase
    bold: Boldness

    def base(self, side: Side) -> RuleBase:
        """The rules of one side."""
        return self.a if side == "a" else self.b

    @functools.cached_property
    def choices(self) -> tuple[str, ...]:
        """The choices that both have, in the order of B."""
        return tuple(name for name in self.b.choices if name in self.a.choices)

    @functools.cached_property
    def sets(self) -> tuple[str, ...]:
        """The sets of either, those of B first."""
        return tuple(dict.fromkeys((*self.b.sets, *self.a.sets)))

    def members(self, name: str) -> tuple[str, ...]:
        """The members of a set that either has, those of B first."""
        return tuple(dict.fromkeys((*self.b.members.get(name, ()), *self.a.members.get(name, ()))))

    def change_of(self, rule: str) -> Change | None:
        """Whether a rule was added, withdrawn or changed in what it decides; `None` where it is as before."""
        if rule not in self._differing:
            return None
        if rule in self.a.by_id:
            return "changed" if rule in self.b.by_id else "withdrawn"
        return "added"

    @functools.cached_property
    def _differing(self) -> frozenset[str]:
        return frozenset(Versions(self.a, self.b).rules)

    def option(self, side: Side, choice: str, option: str) -> Option | None:
        """An option as one side has it; `None` of what it has not, and of undecided."""
        return next((each for each in self.base(side).choices[choice].options if each.id == option), None)

    def rules_for(self, side: Side, kind: Concludes, to: tuple[str, str]) -> tuple[str, ...]:
        """The rules of one side that conclude so on an option of a choice or a member of a set."""
        return self._concluding[side, kind].get(to, ())

    @functools.cached_property
    def _concluding(self) -> Mapping[tuple[str, str], Mapping[tuple[str, str], tuple[str, ...]]]:
        found: dict[tuple[str, str], dict[tuple[str, str], tuple[str, ...]]] = {}
        for side in ("a", "b"):
            for kind in ("supports", "rules_out", "adds"):
                of = found.setdefault((side, kind), {})
                for rule in (self.a if side == "a" else self.b).rules:
                    for to in getattr(rule, kind):
                        of[to] = (*of.get(to, ()), rule.id)
        return found


@dataclass(frozen=True, slots=True)
class Brought:
    """A rule, how it holds, and an expression for the rows on which it brings the change."""

    rule: str
    held: HeldBy
    where: pl.Expr


def brings_option(pair: Pair, choice: str, before: str, after: str) -> list[Brought]:
    """What brings it that a choice came to one option under A and comes to another under B."""
    found = _Bringing(pair)
    options: Choice = pair.b.choices[choice]
    for each in options.options:
        if each.id == after:
            break
        if pair.option("a", choice, each.id) is not None:
            found.fell(choice, each)
    if after != UNDECIDED:
        found.rose(choice, after)
    return found.brought()


def brings_member(pair: Pair, name: str, member: str, *, gained: bool) -> list[Brought]:
    """What brings it that a set gained a member, or lost it."""
    found = _Bringing(pair)
    side: Side = "b" if gained else "a"
    for rule in pair.rules_for(side, "adds", (name, member)):
        found.add(side, rule, pl.lit(True))
    return found.brought()


def columns_read(pair: Pair, choice: str) -> list[str]:
    """The columns that `brings_option` reads for a choice, with the side they belong to before their names."""
    sides: tuple[Side, Side] = ("a", "b")
    kinds: tuple[Concludes, Concludes] = ("supports", "rules_out")
    rules = dict.fromkeys(
        rule
        for side in sides
        for kind in kinds
        for option in pair.base(side).choices[choice].options
        for rule in pair.rules_for(side, kind, (choice, option.id))
    )
    return [held_column(side, rule) for rule in rules for side in _sides_with(pair, rule)]


def _sides_with(pair: Pair, rule: str) -> Iterator[Side]:
    if rule in pair.a.by_id:
        yield "a"
    if rule in pair.b.by_id:
        yield "b"


def held_column(side: Side, rule: str) -> str:
    """The column that says whether a rule holds under one side."""
    return f"{side}:fired:{rule}"


class _Bringing:
    """Gathers rules with the rows on which they bring something."""

    def __init__(self, pair: Pair) -> None:
        self._pair = pair
        self._where: dict[tuple[str, HeldBy], pl.Expr] = {}

    def brought(self) -> list[Brought]:
        order = sorted(self._where, key=lambda key: (key[0], HELD.index(key[1])))
        return [Brought(rule, held, self._where[rule, held]) for rule, held in order]

    def add(self, side: Side, rule: str, where: pl.Expr) -> None:
        """A rule of one side brings it where it holds there: anew, no more, or with another conclusion."""
        other: Side = "b" if side == "a" else "a"
        here, there = self._holds(side, rule), self._holds(other, rule)
        self._put(rule, side, where & here & ~there)
        if rule in self._pair.base(other).by_id:
            self._put(rule, "both", where & here & there)

    def _put(self, rule: str, held: HeldBy, where: pl.Expr) -> None:
        before = self._where.get((rule, held))
        self._where[rule, held] = where if before is None else before | where

    def fell(self, choice: str, option: Option) -> None:
        """An option before the one taken under B, where it stood under A: ruled out, or no longer supported."""
        to, pair = (choice, option.id), self._pair
        stood = self._stands("a", choice, option.id)
        for rule in pair.rules_for("b", "rules_out", to):
            self.add("b", rule, stood)
        if not option.open:
            unsupported = stood & ~self._any("b", pair.rules_for("b", "supports", to))
            for rule in pair.rules_for("a", "supports", to):
                self.add("a", rule, unsupported)

    def rose(self, choice: str, option: str) -> None:
        """The option taken under B, where it did not stand under A: ruled out no longer, or newly supported."""
        to, pair = (choice, option), self._pair
        for rule in pair.rules_for("a", "rules_out", to):
            self.add("a", rule, pl.lit(True))
        was = pair.option("a", choice, option)
        if was is None or not was.open:
            unsupported = ~self._any("a", pair.rules_for("a", "supports", to))
            for rule in pair.rules_for("b", "supports", to):
                self.add("b", rule, unsupported)

    def _stands(self, side: Side, choice: str, option: str) -> pl.Expr:
        """Whether an option stands: open or supported, and not ruled out."""
        pair, to = self._pair, (choice, option)
        of = pair.option(side, choice, option)
        if of is None:
            return _NEVER
        opposed = self._any(side, pair.rules_for(side, "rules_out", to))
        return ~opposed if of.open else self._any(side, pair.rules_for(side, "supports", to)) & ~opposed

    def _any(self, side: Side, rules: Iterable[str]) -> pl.Expr:
        several = [self._holds(side, rule) for rule in rules]
        return pl.any_horizontal(several) if several else _NEVER

    def _holds(self, side: Side, rule: str) -> pl.Expr:
        return pl.col(held_column(side, rule)) if rule in self._pair.base(side).by_id else _NEVER
