"""Which truths a condition can still take, over every way in which the unknown facts could be filled in.

The set of truths is a number of three bits: 1 false, 2 unknown, 4 true. An unknown fact may be filled in or stay
unknown, so a comparison with it can be any of the three; one that is unknown for good stays unknown, and a rule
that waits for it never acts.
"""

from __future__ import annotations

from collections.abc import Callable
from itertools import product

FALSE, UNKNOWN, TRUE = 1, 2, 4
EITHER = FALSE | TRUE
ANY = FALSE | UNKNOWN | TRUE

Ways = int
Table = tuple[tuple[Ways, ...], ...]


def _members(ways: Ways) -> list[int]:
    """The truths of a set, as 0 false, 1 unknown, 2 true."""
    return [truth for truth in (0, 1, 2) if ways >> truth & 1]


def _table(combine: Callable[[int, int], int]) -> Table:
    return tuple(
        tuple(sum({1 << combine(one, other) for one, other in product(_members(a), _members(b))}) for b in range(8))
        for a in range(8)
    )


AND: Table = _table(min)
"""The sets of two conditions to the set of their conjunction."""
OR: Table = _table(max)
"""The sets of two conditions to the set of their disjunction."""
NOT: tuple[Ways, ...] = tuple(sum(1 << (2 - truth) for truth in _members(ways)) for ways in range(8))
"""The set of a condition to the set of its negation."""
