"""The value of a variable at one wall: known, unknown, or not applicable; and where it was written."""

from __future__ import annotations

import datetime as dt
import enum
from dataclasses import dataclass
from typing import Any

Scalar = bool | int | float | str | frozenset[str] | dt.date | tuple[Any, ...]


class State(enum.Enum):
    """The three states of a fact. `unknown` is never `none`: none means looked for and absent."""

    KNOWN = "known"
    UNKNOWN = "unknown"
    NOT_APPLICABLE = "does not apply"


@dataclass(frozen=True, slots=True)
class Value:
    """One variable's value. `where` is `file:line` for a fact, "" where there is no place.

    `for_good` is of a reading that is unknown although all it is computed from is known: no further fact of the
    survey will make it known.
    """

    state: State
    value: Scalar | None = None
    established: str | None = None
    by: str | None = None
    where: str = ""
    for_good: bool = False

    @property
    def known(self) -> bool:
        """Whether there is a value to compare."""
        return self.state is State.KNOWN


UNKNOWN_VALUE = Value(State.UNKNOWN)
UNKNOWN_FOR_GOOD = Value(State.UNKNOWN, for_good=True)
NOT_APPLICABLE_VALUE = Value(State.NOT_APPLICABLE)


def known(value: Scalar, where: str = "") -> Value:
    """A known value, as a reading or an example gives it."""
    return Value(State.KNOWN, value, where=where)


def in_words(value: Scalar | None) -> str:
    """A value as it would be written in a survey file."""
    if value is None:
        return "unknown"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, frozenset):
        return ", ".join(sorted(value)) or "none"
    if isinstance(value, tuple):
        return f"{len(value)} rows"
    if isinstance(value, float):
        return f"{value:g}"
    return str(value)
