"""A small plot of moisture over height for the terminal, in plain ASCII."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import ceil, floor

from engine.decision.model import ProfilePoint

FEWEST_HEIGHTS = 3
"""Fewer show no profile."""
_COLUMNS = 76
_FEWEST_ROWS, _MOST_ROWS = 13, 24
_FRAME_ROWS = 3
_MOST_TICKS = 8
_SERIES = (("mc_percent", "M"), ("hmc_percent", "h"), ("excess_percent", "x"))
_KEY = "M moisture, h hygroscopic moisture, x excess (%) over height (mm); * both"
_EDGES = str.maketrans({"│": "|", "┤": "|", "├": "|", "─": "-", **dict.fromkeys("┌┐└┘┼┬┴", "+")})


def profile_plot(samples: Sequence[ProfilePoint]) -> str | None:
    """The contents over height below a key; `None` for fewer than three heights.

    At most 76 columns and ASCII throughout, so that it comes through pipes, mails and any terminal.
    """
    heights = sorted({point.height_mm for point in samples})
    if len(heights) < FEWEST_HEIGHTS:
        return None
    found = [
        (content, point.height_mm, mark)
        for name, mark in _SERIES
        for point in samples
        if (content := getattr(point, name)) is not None
    ]
    low = floor(min(content for content, *_ in found))
    high = max(ceil(max(content for content, *_ in found)), low + 1)
    marks: dict[tuple[int, float], str] = {}
    for content, height_mm, mark in found:
        place = (round(_COLUMNS * (content - low) / (high - low)), height_mm)
        marks[place] = "*" if place in marks else mark
    return "\n".join([_KEY, *(line.rstrip() for line in _drawn(marks, heights, low, high).splitlines())])


def _drawn(marks: Mapping[tuple[int, float], str], heights: Sequence[float], low: int, high: int) -> str:
    import plotext

    rows = min(max(_FEWEST_ROWS, len(heights) + _FRAME_ROWS), _MOST_ROWS)
    plotext.clear_figure()  # the library keeps one figure for the whole process
    plotext.limit_size(False, False)
    plotext.plot_size(_COLUMNS, rows)
    plotext.theme("clear")
    plotext.xlim(0, _COLUMNS)
    plotext.ylim(heights[0], heights[-1])
    for mark in sorted(set(marks.values())):
        places = [place for place, each in marks.items() if each == mark]
        plotext.scatter([column for column, _ in places], [height_mm for _, height_mm in places], marker=mark)
    ticks = range(low, high + 1, max(1, ceil((high - low) / _MOST_TICKS)))
    plotext.xticks([_COLUMNS * (tick - low) / (high - low) for tick in ticks], [str(tick) for tick in ticks])
    every = -(-len(heights) // (rows - _FRAME_ROWS))
    plotext.yticks(heights[::every], [f"{height_mm:g}" for height_mm in heights[::every]])
    text: str = plotext.uncolorize(plotext.build()).translate(_EDGES)
    plotext.clear_figure()
    return text
