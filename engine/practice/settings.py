"""The settings of the exercise, all in one place. None of them is trade knowledge, and no answer rests on one."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

MINUTES: Mapping[str, int] = MappingProxyType(
    {"look": 5, "ask": 10, "measure": 20, "open_up": 60, "laboratory": 120},
)
"""What a further fact costs, by the effort it takes to establish. Set for the exercise; no site was timed."""


@dataclass(frozen=True, slots=True)
class Level:
    """How hard the cases of one level are.

    `hidden`: how many facts are kept back at the start. `deciding_hidden`: whether the fact that decides is among
    them. `nearness`: how much is left of the distance between a number that decides and its boundary: 1 all of it, 0 a
    single step. `trap`: whether something at the wall should speak for the wrong answer; None: as it comes.
    `reasoning`: of the ways to turn a wall's answer, the one with the fewest rules behind the answers (-1), any (0), or
    the one with the most (1). `others`: how many works are offered that are not called for.
    """

    number: int
    hidden: int
    deciding_hidden: bool
    nearness: float
    trap: bool | None
    reasoning: int
    others: int


LEVELS: tuple[Level, ...] = (
    Level(1, 4, False, 1.0, False, -1, 3),
    Level(2, 8, False, 1.0, None, 0, 4),
    Level(3, 12, True, 0.5, None, 0, 6),
    Level(4, 18, True, 0.2, True, 1, 8),
    Level(5, 26, True, 0.0, True, 1, 10),
)
"""The levels, from 1 on."""

RESULTS_LOOKED_AT = 3
"""How many results at one level decide about moving, the latest ones."""
RESULTS_NEEDED = 2
"""How many there must be before the level moves."""
UP_FROM = 0.8
"""A mean score from here on moves up a level."""
DOWN_BELOW = 0.5
"""A mean score below this moves down a level."""

MOST_CASES = 100
"""How many cases one run or one answer sheet may have."""
MOST_SEED = 10**12
"""The greatest seed."""
