"""The rule base as written: one model per kind of file, strict, before it is compiled."""

from __future__ import annotations

import datetime as dt
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field

from engine.facts.declare import Day, Section, YesNo

STAGES = ("evidence", "cause", "suitability", "line", "medium", "works", "cautions")
Stage = Literal["evidence", "cause", "suitability", "line", "medium", "works", "cautions"]
Basis = Literal["standard", "guidance", "research", "common_practice", "judgement"]
Strength = Literal["strong", "conditional"]
Certainty = Literal["high", "moderate", "low"]
SourceKind = Literal["law", "standard", "guidance", "research", "trade", "common_practice"]
Seen = Literal["seen", "secondhand", "from_memory", "none"]

Word = Annotated[str, Field(pattern=r"^[a-z][a-z0-9_]{0,59}$")]
RuleId = Annotated[str, Field(pattern=r"^[A-Z]{1,2}-[0-9]{3}$")]
Sentence = Annotated[str, Field(min_length=3, max_length=2000)]


def _tuple(raw: Any) -> Any:
    return tuple(raw) if isinstance(raw, list) else raw


Words = Annotated[tuple[Word, ...], BeforeValidator(_tuple), Field(min_length=1)]


class Option(Section):
    """One option of a choice. `open` stands until ruled out; otherwise it needs support."""

    id: Word
    open: YesNo
    says: Sentence


class Choice(Section):
    """A choice: its options in order, the preferred first, and why they stand in that order."""

    id: Word
    stage: Stage
    title: Sentence
    order_because: Sentence
    options: Annotated[tuple[Option, ...], BeforeValidator(_tuple), Field(min_length=2)]


class SetOfFindings(Section):
    """A set the rules add to. It may be read by the stages after `closes`."""

    id: Word
    closes: Stage
    title: Sentence


class Choices(Section):
    """The file `choices.yaml`."""

    choices: Annotated[tuple[Choice, ...], BeforeValidator(_tuple)]
    sets: Annotated[tuple[SetOfFindings, ...], BeforeValidator(_tuple)]


class Member(Section):
    """What may stand in a set: a work, a test, a notice, a caution, a cause."""

    id: Word
    says: Sentence
    detail: Sentence | None = None
    order: int = 100


class Source(Section):
    """A source. `seen` says whether its text was seen, seen as another page reports it, or recalled."""

    id: Word
    short: Annotated[str, Field(min_length=2, max_length=40)]
    title: Sentence
    kind: SourceKind
    edition: str | None = None
    publisher: str | None = None
    seen: Seen
    checked_on: Day | None = None
    superseded_by: str | None = None
    withdrawn: YesNo = False
    note: Sentence | None = None


class Cite(Section):
    """One citation: the source, the clause where known, what it says there in our own words."""

    source: Word
    clause: str | None = None
    says: Sentence


class Examples(Section):
    """The smallest facts that make a rule hold, and changes to one of them that stop it holding."""

    holds: dict[str, Any]
    fails: Annotated[tuple[dict[str, Any], ...], BeforeValidator(_tuple), Field(min_length=1)]


class RawRule(Section):
    """One rule as written. `when` is parsed by `engine.rulebase.conditions`.

    `weak_basis_because` is why a *must* may stand although the text of its law or standard was not seen or is not
    the one in force.
    """

    id: RuleId
    title: Sentence
    stage: Stage
    when: Any
    supports: dict[Word, Words] = {}
    rules_out: dict[Word, Words] = {}
    adds: dict[Word, Words] = {}
    because: Sentence
    limits: Sentence | None = None
    cites: Annotated[tuple[Cite, ...], BeforeValidator(_tuple), Field(min_length=1)]
    basis: Basis
    strength: Strength
    certainty: Certainty
    weak_basis_because: Sentence | None = None
    follows: Word | None = None
    against: Annotated[tuple[Word, ...], BeforeValidator(_tuple)] = ()
    cautions: Annotated[tuple[Word, ...], BeforeValidator(_tuple)] = ()
    examples: Examples


class Change(Section):
    """One entry of the manifest: what changed and why."""

    what: Sentence
    why: Sentence


class Manifest(Section):
    """The file `manifest.yaml`: which version this is and from when it is in force."""

    version: Annotated[str, Field(pattern=r"^[0-9]{4}\.[0-9]{1,3}$")]
    in_force_from: Day
    summary: Sentence
    changes: Annotated[tuple[Change, ...], BeforeValidator(_tuple)]

    def in_force(self, on: dt.date) -> bool:
        """Whether the version had come into force by that day."""
        return self.in_force_from <= on
