"""Strong Kleene logic: three truth values, ordered false < unknown < true."""

from __future__ import annotations

import enum
from collections.abc import Iterable


class Truth(enum.IntEnum):
    """A truth value. `and` is the least, `or` the greatest, `not` the mirror."""

    FALSE = 0
    UNKNOWN = 1
    TRUE = 2

    @property
    def negated(self) -> Truth:
        """Not: unknown stays unknown."""
        return Truth(2 - self)


def conjunction(values: Iterable[Truth]) -> Truth:
    """And over any number; true of none."""
    return min(values, default=Truth.TRUE)


def disjunction(values: Iterable[Truth]) -> Truth:
    """Or over any number; false of none."""
    return max(values, default=Truth.FALSE)
