"""Charts of the page: SVG drawn at the width of a narrow screen, every figure written beside its mark.

A grade is told by word and by hatching; colour only repeats it. All colours stand in the page's style sheet.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from typing import TYPE_CHECKING

from engine.reasoning.graph_text import legible, width_of, wrapped

if TYPE_CHECKING:
    from engine.archive.intervals import Share
    from engine.archive.totals_model import Findings

WIDTH = 400
_LABEL, _SMALL = 14.0, 12.5
_LABEL_LINE, _SMALL_LINE = 19, 17
_BAR = 16
_GAP = 14
_MARGIN = 2
_SCALES = (0.1, 0.25, 0.5, 1.0)
_TICKS = 5
_TICK = 8
KINDS = (
    ("must", "must"),
    ("should", "should"),
    ("consider", "consider"),
    ("agree", "agree"),
    ("not_decidable", "not decidable"),
    ("not_recorded", "not recorded"),
)
"""The findings, the gravest first, and what the page calls them."""

DEFINITIONS = (
    '<svg class="defs" width="0" height="0" aria-hidden="true" focusable="false"><defs>'
    '<pattern id="p-must" width="8" height="8" patternUnits="userSpaceOnUse">'
    '<rect class="f-must" width="8" height="8"/></pattern>'
    '<pattern id="p-should" width="6" height="6" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
    '<rect class="f-paper" width="6" height="6"/><rect class="f-should" width="3.4" height="6"/></pattern>'
    '<pattern id="p-consider" width="6" height="6" patternUnits="userSpaceOnUse"><rect class="f-paper" width="6" '
    'height="6"/><circle class="f-consider" cx="3" cy="3" r="1.7"/></pattern>'
    '<pattern id="p-agree" width="8" height="8" patternUnits="userSpaceOnUse">'
    '<rect class="f-agree" width="8" height="8"/></pattern>'
    '<pattern id="p-not_decidable" width="6" height="6" patternUnits="userSpaceOnUse"><rect class="f-paper" width="6" '
    'height="6"/><rect class="f-open" width="6" height="1.2"/></pattern>'
    '<pattern id="p-not_recorded" width="8" height="8" patternUnits="userSpaceOnUse"><rect class="f-paper" width="8" '
    'height="8"/></pattern></defs></svg>'
)
"""The hatchings. They stand once on the page, before the first chart."""


@dataclass(frozen=True, slots=True)
class Bar:
    """A row of a chart: what it is called, where it leads on the page, and its number or share."""

    label: str
    leads_to: str
    number: int = 0
    share: Share | None = None
    found: Findings | None = None
    note: str = ""


def legend() -> str:
    """What the hatchings mean, as a list."""
    items = "".join(
        f'<li><svg width="34" height="14" viewBox="0 0 34 14" aria-hidden="true">{_rect(1, 1, 32, 12, kind)}</svg> '
        f"{escape(word)}</li>"
        for kind, word in KINDS
    )
    return f'<ul class="legend">{items}</ul>'


def findings_chart(name: str, title: str, says: str, bars: Sequence[Bar]) -> str:
    """For every row its walls by finding, as parts of a whole, with the numbers below."""
    drawn, y = [], float(_MARGIN)
    for bar in bars:
        assert bar.found is not None
        lines, y = _label(bar, y)
        drawn += lines
        counts = [(kind, word, getattr(bar.found, kind)) for kind, word in KINDS]
        x, whole = 0.0, bar.found.walls
        for kind, word, count in counts:
            if count:
                wide = WIDTH * count / whole
                drawn.append(_segment(x, y, wide, kind, f"{word}: {_walls(count)}", f"{count:,}"))
                x += wide
        y += _BAR + 3
        told = ", ".join(f"{word} {count:,}" for _, word, count in counts if count)
        for line in wrapped(told, WIDTH, _SMALL):
            y += _SMALL_LINE
            drawn.append(_text(line, 0, y - 4, "small"))
        y += _GAP
    return _svg(name, title, says, drawn, y)


def shares_chart(name: str, title: str, says: str, bars: Sequence[Bar]) -> str:
    """For every row a share as a mark and its 95 % interval as a line; hollow and broken where numbers are small."""
    reach = max((bar.share.high for bar in bars if bar.share and bar.share.whole), default=1.0)
    scale = next(each for each in _SCALES if reach <= each or each == 1.0)
    drawn, y = [], float(_MARGIN)
    marks: list[str] = []
    middles: list[float] = []
    for bar in bars:
        share = bar.share
        assert share is not None
        lines, y = _label(bar, y)
        marks += lines
        middle = y + 8
        middles.append(middle)
        marks.append(f'<line class="track" x1="8" x2="{WIDTH - 8}" y1="{middle:g}" y2="{middle:g}"/>')
        if share.share is None:
            told = f"no wall to judge by{'; ' + bar.note if bar.note else ''}"
        else:
            small = " small-numbers" if share.small else ""
            low, at, high = (_along(each, scale) for each in (share.low, share.share, share.high))
            marks.append(
                f'<g class="whisker{small}"><title>{escape(in_words(share))}</title>'
                f'<line x1="{low:.1f}" x2="{high:.1f}" y1="{middle:g}" y2="{middle:g}"/>'
                f'<line x1="{low:.1f}" x2="{low:.1f}" y1="{middle - 5:g}" y2="{middle + 5:g}"/>'
                f'<line x1="{high:.1f}" x2="{high:.1f}" y1="{middle - 5:g}" y2="{middle + 5:g}"/>'
                f'<circle cx="{at:.1f}" cy="{middle:g}" r="5.5"/></g>'
            )
            told = in_words(share) + (f"; {bar.note}" if bar.note else "")
        y += 17
        for line in wrapped(told, WIDTH, _SMALL):
            y += _SMALL_LINE
            marks.append(_text(line, 0, y - 4, "small"))
        y += _GAP
    for tick in range(_TICKS):
        share_at = scale * tick / (_TICKS - 1)
        x = _along(share_at, scale)
        anchor = "start" if tick == 0 else "end" if tick == _TICKS - 1 else "middle"
        x_text = 0 if tick == 0 else WIDTH if tick == _TICKS - 1 else x
        # Only beside the marks: through the whole height they would cross the words.
        drawn += [
            f'<line class="grid" x1="{x:.1f}" x2="{x:.1f}" y1="{middle - _TICK:g}" y2="{middle + _TICK:g}"/>'
            for middle in middles
        ]
        marks.append(_text(f"{share_at * 100:g} %", x_text, y + 14, "small", anchor))
    return _svg(name, title, says, [*drawn, *marks], y + 20)


def bars_chart(name: str, title: str, says: str, bars: Sequence[Bar], kinds: Sequence[str]) -> str:
    """For every row a bar as long as its number of walls, which stands after it; `kinds` are the hatchings."""
    most = max((bar.number for bar in bars), default=1) or 1
    told = [_walls(bar.number) + (f": {bar.note}" if bar.note else "") for bar in bars]
    room = WIDTH - max((width_of(each, _SMALL) for each in told), default=0.0) - 10
    drawn, y = [], float(_MARGIN)
    for bar, kind, each in zip(bars, kinds, told, strict=True):
        lines, y = _label(bar, y)
        drawn += lines
        wide = max(1.0, room * bar.number / most)
        drawn.append(_segment(0, y, wide, kind, each, ""))
        drawn.append(_text(each, wide + 6, y + 12.5, "small"))
        y += _BAR + _GAP
    return _svg(name, title, says, drawn, y)


def in_words(share: Share) -> str:
    """A share with its interval and what it is of."""
    if share.share is None:
        return "none to judge by"
    small = ", a small number" if share.small else ""
    said = f"{percent(share.share)} % ({percent(share.low)} to {percent(share.high)} %)"
    return f"{said}, {share.part:,} of {_walls(share.whole)}{small}"


def percent(share: float) -> str:
    """A share in percent, to a whole number where that says enough."""
    return f"{share * 100:.1f}" if 0 < share < 0.1 or 0.99 < share < 1 else f"{share * 100:.0f}"


def _walls(number: int) -> str:
    return f"{number:,} wall" if number == 1 else f"{number:,} walls"


def _along(share: float, scale: float) -> float:
    return 8 + (WIDTH - 16) * min(share / scale, 1.0)


def _label(bar: Bar, y: float) -> tuple[list[str], float]:
    drawn = []
    for line in wrapped(legible(bar.label), WIDTH, _LABEL, bold=True):
        y += _LABEL_LINE
        drawn.append(_text(line, 0, y - 6, "label"))
    if bar.leads_to:
        drawn = [f'<a href="{escape(bar.leads_to)}">', *drawn, "</a>"]
    return drawn, y


def _segment(x: float, y: float, wide: float, kind: str, says: str, inside: str) -> str:
    label = ""
    if inside and kind in ("must", "agree") and wide > width_of(inside, _SMALL) + 8:
        label = _text(inside, x + wide / 2, y + 12.5, f"small on-{kind}", "middle")
    return f"<g><title>{escape(says)}</title>{_rect(x, y, wide, _BAR, kind)}{label}</g>"


def _rect(x: float, y: float, wide: float, high: float, kind: str) -> str:
    return (
        f'<rect class="bar k-{kind}" x="{x:.1f}" y="{y:g}" width="{wide:.1f}" height="{high:g}" fill="url(#p-{kind})"/>'
    )


def _text(line: str, x: float, y: float, style: str, anchor: str = "start") -> str:
    return f'<text class="{style}" x="{x:.1f}" y="{y:g}" text-anchor="{anchor}">{escape(line)}</text>'


def _svg(name: str, title: str, says: str, drawn: Sequence[str], height: float) -> str:
    return (
        f'<svg class="chart" viewBox="0 0 {WIDTH} {height:.0f}" role="img" '
        f'aria-labelledby="{name}-title {name}-says"><title id="{name}-title">{escape(title)}</title>'
        f'<desc id="{name}-says">{escape(says)}</desc>\n' + "\n".join(drawn) + "\n</svg>"
    )
