"""A version of the rules as bit masks over its rules: which speak for an option or against it, add what, read what."""

from __future__ import annotations

import functools
import weakref
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from engine.decision.model import Word
from engine.rulebase.conditions import UNDECIDED
from engine.rulebase.model import STAGES
from engine.rulebase.rules import RuleBase

GRADES: tuple[Word, ...] = ("must", "should", "consider")


@dataclass(frozen=True, slots=True)
class ChoiceMasks:
    """A choice. Masks are over the rules, in the order of `base.rules`, and go by the place of the option.

    After the options stand two places more: `undecided`, and whatever this version does not have. `out_before` are the
    rules that rule out an option before this one. `reads` says which rules of the choice read an earlier decision.
    """

    id: str
    options: tuple[str, ...]
    open: tuple[bool, ...]
    supports: tuple[int, ...]
    rules_out: tuple[int, ...]
    out_before: tuple[int, ...]
    rules: int
    reads: Mapping[str, int]

    @property
    def undecided(self) -> int:
        """The place of `undecided`."""
        return len(self.options)

    @property
    def other(self) -> int:
        """The place of whatever this version does not have."""
        return len(self.options) + 1


@dataclass(frozen=True, slots=True)
class SetMasks:
    """A set: its members in the order of the catalogue, and by place of the member the rules that add it."""

    id: str
    members: tuple[str, ...]
    added_by: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class RuleMasks:
    """A version: its choices in the order of the stages, its sets, and the rules of each grade.

    `reads` says which of all rules read an earlier decision, also through a set.
    """

    rules: tuple[str, ...]
    graded: Mapping[Word, int]
    choices: Mapping[str, ChoiceMasks]
    sets: Mapping[str, SetMasks]
    reads: Mapping[str, int]


_CACHE: weakref.WeakKeyDictionary[RuleBase, RuleMasks] = weakref.WeakKeyDictionary()


def rule_masks(base: RuleBase) -> RuleMasks:
    """The masks of a version, worked out once."""
    found = _CACHE.get(base)
    if found is None:
        found = _CACHE[base] = _Builder(base).whole()
    return found


class _Builder:
    def __init__(self, base: RuleBase) -> None:
        self._base = base

    def whole(self) -> RuleMasks:
        base = self._base
        in_order = sorted(base.choices.values(), key=lambda choice: STAGES.index(choice.stage))
        return RuleMasks(
            tuple(rule.id for rule in base.rules),
            {grade: _bits(rule.word == grade for rule in base.rules) for grade in GRADES},
            {choice.id: self._choice(choice.id) for choice in in_order},
            {name: self._set(name) for name in base.sets},
            {name: _bits(name in read for read in self._read) for name in base.choices},
        )

    def _choice(self, name: str) -> ChoiceMasks:
        options, rules = self._base.choices[name].options, self._base.rules
        supports = [_bits((name, option.id) in rule.supports for rule in rules) for option in options]
        rules_out = [_bits((name, option.id) in rule.rules_out for rule in rules) for option in options]
        before = [_union(rules_out[:place]) for place in range(len(options) + 1)]
        whole = _union((*supports, *rules_out))
        reads = {earlier: whole & _bits(earlier in read for read in self._read) for earlier in self._base.choices}
        return ChoiceMasks(
            name,
            tuple(option.id for option in options),
            (*(option.open for option in options), False, False),
            (*supports, 0, 0),
            (*rules_out, 0, 0),
            (*before, 0),
            whole,
            {earlier: mask for earlier, mask in reads.items() if mask},
        )

    @functools.cached_property
    def _read(self) -> tuple[frozenset[str], ...]:
        """The choices whose decision each rule reads, also through a set whose rules read it."""
        found = []
        for rule in self._base.rules:
            read: set[str] = set()
            for test in rule.tests:
                scope, _, key = test.variable.name.partition(".")
                read |= {key} if scope == "decided" else self._behind[key] if scope == "found" else set()
            found.append(frozenset(read))
        return tuple(found)

    @functools.cached_property
    def _behind(self) -> Mapping[str, set[str]]:
        """For each set the choices that its rules read."""
        found: dict[str, set[str]] = {name: set() for name in self._base.sets}
        for _ in found:  # sets that read sets: as often as there are sets is enough
            for rule in self._base.rules:
                for name in {group for group, _ in rule.adds}:
                    for test in rule.tests:
                        scope, _, key = test.variable.name.partition(".")
                        found[name] |= {key} if scope == "decided" else found[key] if scope == "found" else set()
        return found

    def _set(self, name: str) -> SetMasks:
        members = catalogued(self._base, name)
        added_by = (_bits((name, member) in rule.adds for rule in self._base.rules) for member in members)
        return SetMasks(name, members, tuple(added_by))


def catalogued(base: RuleBase, name: str) -> tuple[str, ...]:
    """The members of a set in the order of the catalogue, as an assessment lists them."""
    members = base.members[name]
    return tuple(sorted(members, key=lambda member: (getattr(members[member], "order", 0), member)))


def _bits(wanted: Iterable[bool]) -> int:
    """The bits of the rules that are wanted, given in the order of the rules."""
    return sum(1 << place for place, is_wanted in enumerate(wanted) if is_wanted)


def _union(masks: Iterable[int]) -> int:
    found = 0
    for each in masks:
        found |= each
    return found


def option_names(masks: ChoiceMasks) -> tuple[str, ...]:
    """Everything a choice can come to: its options, then `undecided`."""
    return (*masks.options, UNDECIDED)
