"""The compiled rule base: what every reader works from."""

from __future__ import annotations

import functools
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from engine.facts.vocabulary import Variable
from engine.rulebase.conditions import Condition, Test, tests_in
from engine.rulebase.model import (
    STAGES,
    Choice,
    Cite,
    Examples,
    Manifest,
    Member,
    RawRule,
    SetOfFindings,
    Source,
)
from engine.rulebase.tables import Tables


@dataclass(frozen=True, slots=True)
class Rule:
    """One rule: its condition compiled, its conclusions as pairs, and what it was written with."""

    id: str
    stage: str
    when: Condition
    supports: tuple[tuple[str, str], ...]
    rules_out: tuple[tuple[str, str], ...]
    adds: tuple[tuple[str, str], ...]
    raw: RawRule
    where: str
    tests: tuple[Test, ...] = field(repr=False)

    @property
    def title(self) -> str:
        """What the rule decides, in a line."""
        return self.raw.title

    @property
    def cites(self) -> tuple[Cite, ...]:
        """The sources, with what each says."""
        return self.raw.cites

    @property
    def examples(self) -> Examples:
        """Facts that make it hold and facts that do not."""
        return self.raw.examples

    @property
    def word(self) -> Literal["must", "should", "consider"]:
        """How strongly it speaks: must, should, or consider."""
        weak = self.raw.basis == "judgement" or self.raw.certainty == "low"
        if self.raw.strength == "conditional" or weak:
            return "consider"
        return "must" if self.raw.basis == "standard" else "should"


@dataclass(frozen=True, eq=False)
class RuleBase:
    """A whole version, compiled. `digest` is of its contents, whatever their layout.

    `tables` are the trade's figures; only a rule base put together by hand is without.
    """

    manifest: Manifest
    choices: Mapping[str, Choice]
    sets: Mapping[str, SetOfFindings]
    members: Mapping[str, Mapping[str, Member]]
    sources: Mapping[str, Source]
    rules: tuple[Rule, ...]
    variables: Mapping[str, Variable]
    digest: str
    tables: Tables | None = None

    @functools.cached_property
    def by_stage(self) -> Mapping[str, tuple[Rule, ...]]:
        """The rules of each stage, in order of id."""
        return {stage: tuple(r for r in self.rules if r.stage == stage) for stage in STAGES}

    @functools.cached_property
    def by_id(self) -> Mapping[str, Rule]:
        """The rules by id."""
        return {rule.id: rule for rule in self.rules}

    @functools.cached_property
    def choices_of(self) -> Mapping[str, tuple[Choice, ...]]:
        """The choices each stage decides, in the order written."""
        return {s: tuple(c for c in self.choices.values() if c.stage == s) for s in STAGES}


def compiled(raw: RawRule, when: Condition, where: str) -> Rule:
    """Put a checked rule into its compiled form."""

    def pairs(groups: Mapping[str, tuple[str, ...]]) -> tuple[tuple[str, str], ...]:
        return tuple((group, each) for group, several in groups.items() for each in several)

    adds = dict.fromkeys((*pairs(raw.adds), *(("cautions", caution) for caution in raw.cautions)))
    return Rule(
        raw.id,
        raw.stage,
        when,
        pairs(raw.supports),
        pairs(raw.rules_out),
        tuple(adds),
        raw,
        where,
        tuple(tests_in(when)),
    )
