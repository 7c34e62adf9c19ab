"""Conditions and lists in words, for findings."""

from __future__ import annotations

from collections.abc import Sequence

from engine.rulebase.conditions import All, AnyOf, Condition, Not, Test


def in_words(condition: Condition) -> str:
    """A condition as a phrase."""
    match condition:
        case Test():
            return condition.in_words()
        case Not(part):
            return f"not ({in_words(part)})"
        case All(parts):
            return " and ".join(_within(part) for part in parts)
        case AnyOf(parts):
            return " or ".join(_within(part) for part in parts)


def _within(condition: Condition) -> str:
    words = in_words(condition)
    return f"({words})" if isinstance(condition, All | AnyOf) else words


def listed(words: Sequence[str], last: str = "and") -> str:
    """Words with commas between them, and `last` before the last one."""
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} {last} {words[-1]}" if words else ""
