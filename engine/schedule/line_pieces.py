"""The pieces of the line: the fewest that keep every rule, and of those the ones nearest to the level wanted.

A piece is a stretch with one rung that may be used in all of it. Where a piece keeps the rules, so does every
part of it; therefore going from the start and ending each piece as late as can be gives the fewest: by induction
the i-th piece so made ends no earlier than the i-th of any other way, since the part of that other piece beyond
the last end is still within the rules. Because the rungs allowed at a place are neighbours, a stretch has a rung
in common exactly when the highest of its lowest rungs is not above the lowest of its highest ones.

The fewest is a number, and many lines have it. To choose among them the wall is cut into cells, in each of which
the same rungs may be used. Moving a step within a cell changes the distance from the level wanted in proportion
to the way, so that some best line steps at cell edges only, and a walk over the cells finds it exactly. It is
the line with, in this order: the fewest pieces; the least distance from the level wanted, summed over the
length; the least height, summed over the length; the least sum of steps.

A floor that the line follows begins a new piece at no charge, and where no rung serves the line is broken.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby

from engine.schedule.joints import Ladder
from engine.schedule.line_limits import Cell

_Cost = tuple[int, int, int, int]
"""Changes of rung, distance from the level wanted, height, sum of steps."""


@dataclass(frozen=True, slots=True)
class Run:
    """A stretch on one rung; `None` where none serves."""

    from_nm: int
    to_nm: int
    rung: int | None


def runs(cells: Sequence[Cell], rungs: Ladder) -> list[Run]:
    """Lay the line through the cells; neighbours are on different rungs, and together they tile the wall."""
    chosen: list[tuple[Cell, int | None]] = []
    for part in _parts(cells):
        on = _fewest(part, rungs) if part[0].lowest <= part[0].highest else [None] * len(part)
        chosen.extend(zip(part, on, strict=True))
    return list(_joined(chosen))


def _parts(cells: Sequence[Cell]) -> Iterator[list[Cell]]:
    """Yield the stretches that can be laid each by itself: with a rung in every cell, or in none."""
    part: list[Cell] = []
    for cell in cells:
        serves = cell.lowest <= cell.highest
        if part and (serves != (part[-1].lowest <= part[-1].highest) or (serves and cell.new_floor)):
            yield part
            part = []
        part.append(cell)
    if part:
        yield part


def _joined(chosen: Iterable[tuple[Cell, int | None]]) -> Iterator[Run]:
    for rung, group in groupby(chosen, key=lambda each: each[1]):
        together = [cell for cell, _ in group]
        yield Run(together[0].from_nm, together[-1].to_nm, rung)


def _fewest(part: Sequence[Cell], rungs: Ladder) -> list[int | None]:
    """Choose a rung for each cell."""
    best: dict[int, _Cost] = {}
    came_from: list[dict[int, int]] = []
    bottom_um = rungs.level_um(min(cell.lowest for cell in part))
    for cell in part:
        reached: dict[int, _Cost] = {}
        back: dict[int, int] = {}
        least = min((cost[:3] for cost in best.values()), default=(0, 0, 0))
        cheapest = [rung for rung, cost in best.items() if cost[:3] == least]
        width = cell.to_nm - cell.from_nm
        for rung in rungs.between(cell.lowest, cell.highest):
            cost = best.get(rung)
            back[rung] = rung
            if best and (cost is None or cost[0] > least[0]):
                steps, before = min((best[other][3] + abs(other - rung), other) for other in cheapest)
                change = (least[0] + 1, least[1], least[2], steps)
                if cost is None or change < cost:
                    cost, back[rung] = change, before
            changes, away, height, steps = cost or (0, 0, 0, 0)
            level_um = rungs.level_um(rung)
            away += width * abs(level_um - cell.wanted_um)
            reached[rung] = (changes, away, height + width * (level_um - bottom_um), steps)
        best = reached
        came_from.append(back)
    rung = min(best, key=lambda each: (best[each], each))
    way: list[int | None] = [rung]
    for back in reversed(came_from[1:]):
        rung = back[rung]
        way.append(rung)
    return way[::-1]
