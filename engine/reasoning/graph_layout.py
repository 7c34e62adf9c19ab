"""Where the boxes of a picture stand and how its edges run: in columns, with few crossings, and no overlap.

An edge that passes a column without ending there gets a place of its own in it, as a box would, so that no edge runs
through a box. Edges of one bundle share that place.
"""

from __future__ import annotations

import itertools
import math
from bisect import bisect_right, insort
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass

BOX_GAP = 16
LANE_GAP = 7
COLUMN_GAP = 52
_SWEEPS = 24
_RELAXATIONS = 12
_STRAIGHTNESS = 8.0
_PORT = 13.0
_LINES_TO_A_PIXEL = 3
_MOST_ROOM = 180
_CORNER = 10.0

Key = str | tuple[str, int]
"""A box, by its id, or the lane of a bundle in a column."""


@dataclass(frozen=True, slots=True)
class Size:
    """What a box needs, in pixels."""

    id: str
    column: int
    width: int
    height: int


@dataclass(frozen=True, slots=True)
class Line:
    """An edge to be laid; those of one source that are drawn alike share a bundle."""

    source: str
    target: str
    bundle: str


@dataclass(frozen=True, slots=True)
class Box:
    """Where a box stands; x and y of its upper left corner."""

    id: str
    x: int
    y: int
    width: int
    height: int


@dataclass(frozen=True, slots=True)
class Layout:
    """Boxes in the order given, for every line its points from left to right, and the extent of it all.

    Between an even point and the next the line bends over a gap between columns; between an odd one and the next it
    runs level across a column. `columns` are the columns in use, with the left edge and the width of each.
    """

    boxes: tuple[Box, ...]
    routes: tuple[tuple[tuple[int, int], ...], ...]
    columns: Mapping[int, tuple[int, int]]
    width: int
    height: int


def laid_out(
    sizes: Sequence[Size], lines: Sequence[Line], gap: int = COLUMN_GAP, ordered: Collection[int] = ()
) -> Layout:
    """Lay out boxes and lines, the columns `gap` apart; those of `ordered` keep the order given.

    The same input gives the same layout, on every machine.

    Raises:
        ValueError: a line that joins no boxes, or does not run from left to right.
    """
    return _Layered(sizes, lines, gap, ordered).layout()


class _Layered:
    def __init__(self, sizes: Sequence[Size], lines: Sequence[Line], gap: int, ordered: Collection[int]) -> None:
        self._gap = gap
        self._sizes = {size.id: size for size in sizes}
        self._lines = lines
        used = sorted({size.column for size in sizes})
        self._column = {size.id: used.index(size.column) for size in sizes}
        self._used = used
        self._layers: list[list[Key]] = [[] for _ in used]
        for size in sizes:
            self._layers[self._column[size.id]].append(size.id)
        self._ordered = [self._layers[used.index(column)] for column in ordered if column in used]
        self._before: dict[Key, list[Key]] = {}
        self._after: dict[Key, list[Key]] = {}
        self._paths = [self._path(line) for line in lines]

    def _path(self, line: Line) -> list[Key]:
        """The line's stations: its source, a lane in every column it passes, its target."""
        if line.source not in self._column or line.target not in self._column:
            raise ValueError(f"{line.source} -> {line.target}: joins what is not there")
        first, last = self._column[line.source], self._column[line.target]
        if first >= last:
            raise ValueError(f"{line.source} -> {line.target}: does not run from left to right")
        path: list[Key] = [line.source, *((line.bundle, column) for column in range(first + 1, last)), line.target]
        for column, station in enumerate(path[1:-1], first + 1):
            if station not in self._before:
                self._layers[column].append(station)
        for one, other in itertools.pairwise(path):
            self._before.setdefault(other, [])
            self._after.setdefault(one, [])
            if one not in self._before[other]:
                self._before[other].append(one)
                self._after[one].append(other)
        return path

    def layout(self) -> Layout:
        self._order()
        centres = self._centres()
        columns, x, right = [], 0, 0
        for layer in self._layers:
            width = max(self._sizes[key].width for key in layer if isinstance(key, str))
            columns.append((x, width))
            right = x + width
            x = right + self._gap + self._more_room(layer)
        top = min(centres[key] - self._height(key) / 2 for layer in self._layers for key in layer)
        boxes = {}
        for size in self._sizes.values():
            left, width = columns[self._column[size.id]]
            y = _rounded(centres[size.id] - size.height / 2 - top)
            boxes[size.id] = Box(size.id, left, y, width, size.height)
        at = {key: _rounded(centres[key] - top) for layer in self._layers for key in layer}
        bottom = [at[key] + _rounded(self._height(key) / 2) for layer in self._layers for key in layer]
        return Layout(
            tuple(boxes.values()),
            self._routes(boxes, at, columns),
            {number: columns[index] for index, number in enumerate(self._used)},
            right,
            max((*bottom, *(box.y + box.height for box in boxes.values()))),
        )

    def _more_room(self, layer: Sequence[Key]) -> int:
        """How much wider the gap after a column is, where many lines bend in it."""
        return min(_MOST_ROOM, sum(len(self._after.get(key, ())) for key in layer) // _LINES_TO_A_PIXEL)

    # order within the columns

    def _order(self) -> None:
        best, fewest = [list(layer) for layer in self._layers], self._crossings()
        for sweep in range(_SWEEPS):
            self._sweep(rightwards=sweep % 2 == 0)
            self._swap_neighbours()
            crossings = self._crossings()
            if crossings < fewest:
                best, fewest = [list(layer) for layer in self._layers], crossings
        self._layers = best

    def _sweep(self, *, rightwards: bool) -> None:
        """Sort each column by where its neighbours in the one before it stand, on average."""
        layers = self._layers if rightwards else self._layers[::-1]
        near = self._before if rightwards else self._after
        for fixed, moving in itertools.pairwise(layers):
            if any(moving is layer for layer in self._ordered):
                continue
            place = {key: index for index, key in enumerate(fixed)}
            mean = {
                key: sum(place[each] for each in near[key]) / len(near[key]) if near.get(key) else float(index)
                for index, key in enumerate(moving)
            }
            moving.sort(key=lambda key, mean=mean: mean[key])  # type: ignore[misc]

    def _swap_neighbours(self) -> None:
        """Swap two that stand next to each other where that uncrosses edges."""
        for number, layer in enumerate(self._layers):
            if any(layer is each for each in self._ordered):
                continue
            left = {key: i for i, key in enumerate(self._layers[number - 1])} if number else {}
            right = {key: i for i, key in enumerate(self._layers[number + 1])} if number + 1 < len(self._layers) else {}
            for index in range(len(layer) - 1):
                upper, lower = layer[index], layer[index + 1]
                now = self._crossed(upper, lower, left, right)
                if now and self._crossed(lower, upper, left, right) < now:
                    layer[index], layer[index + 1] = lower, upper

    def _crossed(self, upper: Key, lower: Key, left: Mapping[Key, int], right: Mapping[Key, int]) -> int:
        """How often the edges of two cross while the first stands above the second."""
        return sum(
            place[one] > place[other]
            for near, place in ((self._before, left), (self._after, right))
            for one in near.get(upper, ())
            for other in near.get(lower, ())
        )

    def _crossings(self) -> int:
        total = 0
        for left, right in zip(self._layers, self._layers[1:], strict=False):
            place = {key: index for index, key in enumerate(right)}
            seen: list[int] = []
            for key in left:
                ends = sorted(place[each] for each in self._after.get(key, ()))
                total += sum(len(seen) - bisect_right(seen, end) for end in ends)
                for end in ends:
                    insort(seen, end)
        return total

    # heights

    def _height(self, key: Key) -> float:
        return float(self._sizes[key].height) if isinstance(key, str) else 0.0

    def _centres(self) -> dict[Key, float]:
        centres: dict[Key, float] = {}
        for layer in self._layers:
            centres.update(zip(layer, self._stacked(layer, [0.0] * len(layer), [1.0] * len(layer)), strict=True))
        both = {key: [*self._before.get(key, ()), *self._after.get(key, ())] for layer in self._layers for key in layer}
        for turn in range(_RELAXATIONS):
            rightwards = turn % 2 == 0
            near = both if turn >= _RELAXATIONS - 2 else self._before if rightwards else self._after
            for layer in self._layers if rightwards else self._layers[::-1]:
                wanted = [self._wanted(key, near.get(key) or both[key], centres) for key in layer]
                weights = [
                    _STRAIGHTNESS if isinstance(key, tuple) else float(max(1, len(near.get(key, ())))) for key in layer
                ]
                centres.update(zip(layer, self._stacked(layer, wanted, weights), strict=True))
        return centres

    @staticmethod
    def _wanted(key: Key, near: Sequence[Key], centres: Mapping[Key, float]) -> float:
        # `fsum`, because `sum` of floats is not the same on every version of Python.
        return math.fsum(centres[each] for each in near) / len(near) if near else centres[key]

    def _stacked(self, layer: Sequence[Key], wanted: Sequence[float], weights: Sequence[float]) -> list[float]:
        """Centres as near to those wanted as the order and the gaps between the boxes allow, by least squares."""
        offsets = [0.0]
        for upper, lower in itertools.pairwise(layer):
            gap = LANE_GAP if isinstance(upper, tuple) and isinstance(lower, tuple) else BOX_GAP
            offsets.append(offsets[-1] + (self._height(upper) + self._height(lower)) / 2 + gap)
        # Pools of neighbours that would stand in each other's way, each at the weighted mean of what they want.
        pools: list[tuple[float, float, int]] = []
        for each, offset, weight in zip(wanted, offsets, weights, strict=True):
            mean, total, count = each - offset, weight, 1
            while pools and pools[-1][0] > mean:
                other, beside, more = pools.pop()
                mean = (mean * total + other * beside) / (total + beside)
                total, count = total + beside, count + more
            pools.append((mean, total, count))
        places = [mean for mean, _, count in pools for _ in range(count)]
        return [place + offset for place, offset in zip(places, offsets, strict=True)]

    # edges

    def _routes(
        self, boxes: Mapping[str, Box], at: Mapping[Key, int], columns: Sequence[tuple[int, int]]
    ) -> tuple[tuple[tuple[int, int], ...], ...]:
        leaving = self._ports(boxes, at, leaving=True)
        arriving = self._ports(boxes, at, leaving=False)
        routes = []
        for number, (line, path) in enumerate(zip(self._lines, self._paths, strict=True)):
            source, target = boxes[line.source], boxes[line.target]
            points = [(source.x + source.width, leaving[number])]
            for station in path[1:-1]:
                left, width = columns[station[1]] if isinstance(station, tuple) else (0, 0)
                points += [(left, at[station]), (left + width, at[station])]
            routes.append((*points, (target.x, arriving[number])))
        return tuple(routes)

    def _ports(self, boxes: Mapping[str, Box], at: Mapping[Key, int], *, leaving: bool) -> dict[int, int]:
        """At what height each line leaves or enters its box: spread over its side in the order of where they come from.

        Lines of one bundle leave together.
        """
        by_box: dict[str, dict[object, list[int]]] = {}
        for number, line in enumerate(self._lines):
            port: object = line.bundle if leaving else number
            by_box.setdefault(line.source if leaving else line.target, {}).setdefault(port, []).append(number)
        heights: dict[int, int] = {}
        for name, ports in by_box.items():
            box = boxes[name]

            def far(numbers: list[int]) -> float:
                ends = [at[self._paths[number][1 if leaving else -2]] for number in numbers]
                return sum(ends) / len(ends)

            ordered = sorted(ports.values(), key=far)
            room = max(box.height - 2 * _CORNER, 0.0)
            step = min(_PORT, room / max(len(ordered) - 1, 1))
            first = box.y + box.height / 2 - step * (len(ordered) - 1) / 2
            for index, numbers in enumerate(ordered):
                heights.update(dict.fromkeys(numbers, _rounded(first + step * index)))
        return heights


def _rounded(value: float) -> int:
    return int(value + 0.5) if value >= 0 else -int(-value + 0.5)


def overlapping(boxes: Iterable[Box]) -> list[tuple[str, str]]:
    """Pairs of boxes that touch each other."""
    every = list(boxes)
    return [
        (one.id, other.id)
        for index, one in enumerate(every)
        for other in every[index + 1 :]
        if one.x < other.x + other.width
        and other.x < one.x + one.width
        and one.y < other.y + other.height
        and other.y < one.y + one.height
    ]
