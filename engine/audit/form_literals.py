"""A condition as it was written: every test with its place, and `not` carried down to the tests."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Literal

from engine.audit.words import in_words
from engine.facts.document import Path
from engine.rulebase.conditions import All, AnyOf, Condition, Not, Test


@dataclass(frozen=True, slots=True)
class Asked:
    """One test, or its negation, and its path below `when`."""

    test: Test
    negated: bool
    path: Path

    @property
    def name(self) -> str:
        """The variable it reads."""
        return self.test.variable.name

    @property
    def words(self) -> str:
        """It as a phrase."""
        return in_words(Not(self.test) if self.negated else self.test)


@dataclass(frozen=True, slots=True)
class Group:
    """Parts that must all hold, or of which one must; lists within lists of one kind are laid into one."""

    kind: Literal["all", "any"]
    parts: tuple[Asked | Group, ...]

    @property
    def literals(self) -> tuple[Asked, ...]:
        """Its own tests."""
        return tuple(part for part in self.parts if isinstance(part, Asked))

    @property
    def groups(self) -> tuple[Group, ...]:
        """The groups in it, all of the other kind."""
        return tuple(part for part in self.parts if isinstance(part, Group))


Node = Asked | Group
Canonical = tuple[Any, ...] | frozenset[Any]


def as_written(raw: Mapping[str, Any], when: Condition) -> Node:
    """The condition `when`, compiled from `raw`, with the places of its tests."""
    return _mapping(raw, when, (), negated=False)


def literals_in(node: Node) -> Iterator[Asked]:
    """Every test."""
    if isinstance(node, Asked):
        yield node
    else:
        for part in node.parts:
            yield from literals_in(part)


def canonical(node: Node) -> Canonical:
    """The same for two conditions that differ only in how they are laid out."""
    if isinstance(node, Asked):
        return (node.name, node.test.op, frozenset(node.test.operand), node.negated)
    return (node.kind, frozenset(canonical(part) for part in node.parts))


def _group(kind: Literal["all", "any"], parts: list[Node]) -> Node:
    flat: list[Node] = []
    for part in parts:
        flat.extend(part.parts if isinstance(part, Group) and part.kind == kind else (part,))
    return flat[0] if len(flat) == 1 else Group(kind, tuple(flat))


def _kind(when: Condition, negated: bool) -> Literal["all", "any"]:
    return "all" if isinstance(when, All) is not negated else "any"


def _parts(when: Condition, count: int) -> tuple[Condition, ...]:
    """The compiled parts of `count` written ones: one alone stands for itself."""
    if count == 1:
        return (when,)
    assert isinstance(when, All | AnyOf)
    return when.parts


def _mapping(raw: Mapping[str, Any], when: Condition, path: Path, negated: bool) -> Node:
    parts = _parts(when, len(raw))
    found = [_entry(key, raw[key], part, (*path, key), negated) for key, part in zip(raw, parts, strict=True)]
    return _group("any" if negated else "all", found)


def _entry(key: str, value: Any, when: Condition, path: Path, negated: bool) -> Node:
    if key in ("all", "any"):
        assert isinstance(when, All | AnyOf)
        pairs = enumerate(zip(value, when.parts, strict=True))
        return _group(_kind(when, negated), [_mapping(raw, part, (*path, i), negated) for i, (raw, part) in pairs])
    if key == "not":
        assert isinstance(when, Not)
        return _mapping(value, when.part, path, not negated)
    if not isinstance(value, dict):
        return _tests(when, path, negated)
    parts = _parts(when, len(value))
    return _group(
        "any" if negated else "all",
        [_tests(part, (*path, op), negated) for op, part in zip(value, parts, strict=True)],
    )


def _tests(when: Condition, path: Path, negated: bool) -> Node:
    """The tests that one operator stands for, all at its place."""
    match when:
        case Test():
            return Asked(when, negated, path)
        case Not(part):
            return _tests(part, path, not negated)
        case All(parts) | AnyOf(parts):
            return _group(_kind(when, negated), [_tests(part, path, negated) for part in parts])
