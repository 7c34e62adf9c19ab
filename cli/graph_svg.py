"""A graph as an SVG picture that stands by itself: no script, nothing from outside, its own background."""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Iterator, Sequence
from xml.sax.saxutils import escape, quoteattr

from engine.reasoning.graph import EdgeKind, Graph, Node, NodeKind, NodeState
from engine.reasoning.graph_layout import COLUMN_GAP, Box, Layout, Line, Size, laid_out
from engine.reasoning.graph_text import legible, width_of, wrapped

_FONT = "Helvetica, Arial, 'Liberation Sans', 'DejaVu Sans', sans-serif"
_SMALL, _BODY, _TITLE = 10.5, 12.0, 16.0
_SMALL_LINE, _BODY_LINE, _TITLE_LINE = 14, 16, 22
_MARGIN = 24
_PAD = 9
_SLANT = 14
_CORNER, _PORT, _COUNTED_PORT = 10, 8, 13
_COUNTED_GAP = 96
_LEVEL = 24
_LEAST_WIDTH = 560
_INK, _PAPER, _EDGE = "#1c1c1c", "#ffffff", "#55606b"

_WIDTHS: dict[NodeKind, int] = {"fact": 186, "reading": 196, "rule": 196, "choice": 196, "member": 196, "stage": 130}
_COLOURS: dict[NodeKind, tuple[str, str]] = {
    "fact": ("#eef3fa", "#3b5b86"),
    "reading": ("#e8f5ee", "#2f6b4f"),
    "rule": ("#fbf4e2", "#7a5b13"),
    "choice": ("#f2ebf8", "#5b3b7a"),
    "member": ("#fcecec", "#8a3434"),
    "stage": ("#eeeeee", "#444444"),
}
_DASHES: dict[NodeState, str] = {"known": "", "unknown": "7 4", "open": "2 3", "idle": "10 3 2 3"}
_EDGE_DASHES = "5 4"
_NODE_WORDS: dict[NodeKind, str] = {
    "fact": "fact",
    "reading": "reading, computed from facts",
    "rule": "rule",
    "choice": "decision",
    "member": "what rules add",
    "stage": "later stage",
}
_STATE_WORDS: dict[NodeState, str] = {
    "known": "",
    "unknown": "unknown",
    "open": "open: more facts could change it",
    "idle": "does not hold: looked for and not found",
}
_EDGE_WORDS: dict[EdgeKind, str] = {
    "bears": "bears on",
    "supports": "supports",
    "rules_out": "rules out",
    "adds": "adds",
}
_ARROW_WORDS = "bears on, supports or adds"


def as_svg(graph: Graph) -> str:
    """The picture. The same graph gives the same bytes."""
    return _Picture(graph).svg()


class _Text:
    """The lines on one node, each with its size, whether it is bold, and its height."""

    def __init__(self, node: Node, width: int, least: int) -> None:
        inset = _SLANT if node.kind in ("reading", "choice", "stage") else 0
        room = width - 2 * (_PAD + inset)
        first, *rest = node.lines or ("",)
        self.rows: list[tuple[str, float, bool, int]] = [
            *((line, _SMALL, False, _SMALL_LINE) for line in wrapped(legible(node.head), room, _SMALL)),
            *((line, _BODY, True, _BODY_LINE) for line in wrapped(legible(first), room, _BODY, bold=True)),
            *((line, _BODY, False, _BODY_LINE) for each in rest for line in wrapped(legible(each), room, _BODY)),
            *((line, _SMALL, False, _SMALL_LINE) for line in wrapped(legible(node.foot), room, _SMALL)),
        ]
        self.inset = inset
        self.height = max(sum(row[3] for row in self.rows) + 2 * _PAD, least)


class _Picture:
    def __init__(self, graph: Graph) -> None:
        self._graph = graph
        self._nodes = {node.id: node for node in graph.nodes}
        arriving = Counter(edge.target for edge in graph.edges)
        counted = any(edge.counted for edge in graph.edges)
        port = _COUNTED_PORT if counted else _PORT
        self._texts = {
            node.id: _Text(node, _WIDTHS[node.kind], 2 * _CORNER + port * (arriving[node.id] - 1))
            for node in graph.nodes
        }
        sizes = [Size(n.id, n.column, _WIDTHS[n.kind], self._texts[n.id].height) for n in graph.nodes]
        lines = [Line(e.source, e.target, f"{e.source}\n{e.kind}\n{e.open}") for e in graph.edges]
        gap = _COUNTED_GAP if counted else COLUMN_GAP
        self._layout: Layout = laid_out(sizes, lines, gap, graph.ordered) if sizes else Layout((), (), {}, 0, 0)
        self._width = max(self._layout.width, _LEAST_WIDTH)

    def svg(self) -> str:
        head, top = self._head()
        body = [*head, *self._edges(top), *self._boxes(top)]
        legend, bottom = self._legend(top + self._layout.height + 30)
        notes, bottom = self._notes(bottom)
        width, height = self._width + 2 * _MARGIN, bottom + _MARGIN
        drawn = "\n".join([*body, *legend, *notes])
        mark = hashlib.sha256(f"{legible(self._graph.title)}{drawn}".encode()).hexdigest()[:10]
        title, says = legible(self._graph.title), legible(self._graph.says)
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}" '
            f'viewBox="0 0 {width} {height}" role="img" aria-labelledby="title-{mark} says-{mark}" '
            f'font-family="{_FONT}" fill="{_INK}">\n'
            f'<title id="title-{mark}">{escape(title)}</title>\n<desc id="says-{mark}">{escape(says)}</desc>\n'
            f'<rect width="{width}" height="{height}" fill="{_PAPER}"/>\n{drawn}\n</svg>\n'
        )

    # above

    def _head(self) -> tuple[list[str], int]:
        """The title and the headings of the columns, and where the boxes begin."""
        drawn, y = [], _MARGIN
        for line in wrapped(legible(self._graph.title), self._width, _TITLE, bold=True):
            y += _TITLE_LINE
            drawn.append(_text(line, _MARGIN, y - 6, _TITLE, bold=True))
        for line in wrapped(legible(self._graph.says), self._width, _BODY):
            y += _BODY_LINE
            drawn.append(_text(line, _MARGIN, y - 3, _BODY))
        y += 14
        headings = {
            number: wrapped(legible(self._graph.columns[number]), width, _BODY, bold=True)
            for number, (_, width) in self._layout.columns.items()
        }
        for number, (x, width) in self._layout.columns.items():
            for index, line in enumerate(headings[number], 1):
                middle = _MARGIN + x + width / 2
                drawn.append(_text(line, middle, y + index * _BODY_LINE, _BODY, bold=True, anchor="middle"))
        return drawn, y + _BODY_LINE * max((len(lines) for lines in headings.values()), default=0) + 18

    # boxes

    def _boxes(self, top: int) -> Iterator[str]:
        for box in self._layout.boxes:
            node = self._nodes[box.id]
            yield f"<g data-node={quoteattr(legible(node.id))}>"
            yield f"<title>{escape(legible(node.label))}</title>"
            yield from _shape(node.kind, node.state, _MARGIN + box.x, top + box.y, box.width, box.height)
            yield from self._rows(box, top)
            yield "</g>"

    def _rows(self, box: Box, top: int) -> Iterator[str]:
        text = self._texts[box.id]
        x, y = _MARGIN + box.x + _PAD + text.inset, top + box.y + _PAD
        for line, size, bold, height in text.rows:
            y += height
            yield _text(line, x, y - 4, size, bold=bold)

    # edges

    def _edges(self, top: int) -> Iterator[str]:
        boxes = {box.id: box for box in self._layout.boxes}
        numbers = []
        for edge, route in zip(self._graph.edges, self._layout.routes, strict=True):
            (x, y), *between, (end_x, end_y) = route
            x -= _inwards(self._nodes[edge.source].kind, boxes[edge.source], y, from_left=False)
            end_x += _inwards(self._nodes[edge.target].kind, boxes[edge.target], end_y, from_left=True)
            points = [(_MARGIN + px, top + py) for px, py in ((x, y), *between, (end_x, end_y))]
            about = f"{edge.source} {edge.label or _EDGE_WORDS[edge.kind]} {edge.target}"
            ends = f"data-source={quoteattr(legible(edge.source))} data-target={quoteattr(legible(edge.target))}"
            yield f"<g {ends}><title>{escape(legible(about))}</title>"
            yield from _arrow(edge.kind, points, dashed=edge.open, level=_LEVEL if edge.counted else 0)
            yield "</g>"
            if edge.counted:
                numbers += _number(legible(edge.label), *points[-1])
        yield from numbers

    # below

    def _legend(self, y: int) -> tuple[list[str], int]:
        kinds = list(dict.fromkeys(node.kind for node in self._graph.nodes))
        held = {node.state for node in self._graph.nodes}
        states = [state for state in _STATE_WORDS if state in held and state != "known"]
        edges = list(dict.fromkeys(edge.kind for edge in self._graph.edges))
        drawn = [_text("How to read it", _MARGIN, y + 12, _BODY, bold=True)]
        x, y = 0, y + 26
        for kind in (each for each in _NODE_WORDS if each in kinds):
            x, y, at = self._legend_place(x, y, 58, _NODE_WORDS[kind])
            drawn += [*_shape(kind, "known", at, y, 50, 22), _text(_NODE_WORDS[kind], at + 58, y + 15, _BODY)]
        for state in states:
            words = _STATE_WORDS[state]
            x, y, at = self._legend_place(x, y, 58, words)
            drawn += [*_shape("fact" if state == "unknown" else "rule", state, at, y, 50, 22)]
            drawn.append(_text(words, at + 58, y + 15, _BODY))
        drawn_alike: list[tuple[EdgeKind, bool, str]] = [
            ("bears", False, _ARROW_WORDS if any(each != "rules_out" for each in edges) else ""),
            ("rules_out", False, _EDGE_WORDS["rules_out"] if "rules_out" in edges else ""),
            ("bears", True, self._dashed_words()),
        ]
        for kind_of_edge, dashed, words in drawn_alike:
            if words:
                x, y, at = self._legend_place(x, y, 58, words)
                drawn += _arrow(kind_of_edge, [(at, y + 11), (at + 50, y + 11)], dashed=dashed)
                drawn.append(_text(words, at + 58, y + 15, _BODY))
        return (drawn, y + 34) if self._graph.nodes else ([], y - 20)

    def _dashed_words(self) -> str:
        """What a dashed line says in this picture."""
        idle = {node.id for node in self._graph.nodes if node.state == "idle"}
        dashed = [edge for edge in self._graph.edges if edge.open]
        would = any({edge.source, edge.target} & idle for edge in dashed)
        unsure = any(not {edge.source, edge.target} & idle for edge in dashed)
        return ", or ".join([*(["not sure yet"] if unsure else []), *(["would, if the rule held"] if would else [])])

    def _legend_place(self, x: int, y: int, before: int, words: str) -> tuple[int, int, int]:
        """Where the next entry goes: the right end of it, its height, and its left end."""
        need = before + int(width_of(words, _BODY)) + 1
        if x and x + need > self._width:
            x, y = 0, y + 32
        return x + need + 26, y, _MARGIN + x

    def _notes(self, y: int) -> tuple[list[str], int]:
        drawn = []
        for note in self._graph.notes:
            for line in wrapped(legible(note), self._width, _BODY):
                y += _BODY_LINE
                drawn.append(_text(line, _MARGIN, y - 3, _BODY))
        return drawn, y


def _text(line: str, x: float, y: float, size: float, *, bold: bool = False, anchor: str = "") -> str:
    weight = ' font-weight="bold"' if bold else ""
    place = f' text-anchor="{anchor}"' if anchor else ""
    return f'<text x="{x:g}" y="{y:g}" font-size="{size:g}"{weight}{place}>{escape(line)}</text>'


def _shape(kind: NodeKind, state: NodeState, x: int, y: int, width: int, height: int) -> Iterator[str]:
    """The outline that tells the kinds apart: square, slanted, rounded, pointed, double."""
    fill, stroke = _COLOURS[kind]
    dashes = f' stroke-dasharray="{_DASHES[state]}"' if _DASHES[state] else ""
    pen = f'fill="{fill}" stroke="{stroke}" stroke-width="1.6"{dashes}'
    right, bottom, slant = x + width, y + height, min(_SLANT, width // 4)
    match kind:
        case "reading":
            yield f'<polygon points="{x + slant},{y} {right},{y} {right - slant},{bottom} {x},{bottom}" {pen}/>'
        case "stage":
            middle = y + height // 2
            points = f"{x},{y} {right - slant},{y} {right},{middle} {right - slant},{bottom} {x},{bottom}"
            yield f'<polygon points="{points}" {pen}/>'
        case "choice":
            middle = y + height // 2
            points = (
                f"{x + slant},{y} {right - slant},{y} {right},{middle} {right - slant},{bottom} {x + slant},{bottom}"
            )
            yield f'<polygon points="{points} {x},{middle}" {pen}/>'
        case _:
            radius = {"fact": 0, "rule": min(14, height // 2), "member": 0}[kind]
            yield f'<rect x="{x}" y="{y}" width="{width}" height="{height}" rx="{radius}" {pen}/>'
            if kind == "member":
                inner = f'fill="none" stroke="{stroke}" stroke-width="1"{dashes}'
                yield f'<rect x="{x + 4}" y="{y + 4}" width="{width - 8}" height="{height - 8}" {inner}/>'


def _inwards(kind: NodeKind, box: Box, y: int, *, from_left: bool) -> int:
    """How far inside its box the outline of a node lies, at a height, on its left or its right side."""
    slant, half = min(_SLANT, box.width // 4), box.height / 2
    match kind:
        case "reading":
            down = (y - box.y) / box.height
            return int(slant * ((1 - down) if from_left else down))
        case "choice":
            return int(slant * abs(y - box.y - half) / half)
        case _:
            return 0


def _number(text: str, x: int, y: int) -> list[str]:
    """A number on the level end of a line, on a ground of its own so that no other line runs through it."""
    wide = int(width_of(text, _SMALL)) + 2
    middle = x - 10 - _LEVEL // 2
    ground = f'<rect x="{middle - wide // 2}" y="{y - 6}" width="{wide}" height="12" fill="{_PAPER}"/>'
    return [ground, _text(text, middle, y + 4, _SMALL, anchor="middle")]


def _arrow(kind: EdgeKind, points: Sequence[tuple[int, int]], *, dashed: bool = False, level: int = 0) -> Iterator[str]:
    """A line over the points that ends in a point, or in a bar where something is ruled out.

    The last part of it, `level` long, runs level.
    """
    (x, y), *rest = points
    end_x, end_y = rest[-1]
    tip = end_x - (2 if kind == "rules_out" else 8)
    path = [f"M{x} {y}"]
    for index, (to_x, to_y) in enumerate([*rest[:-1], (tip - level, end_y)]):
        if index % 2 == 0:
            bend = (to_x - x) // 2
            path.append(f"C{x + bend} {y} {to_x - bend} {to_y} {to_x} {to_y}")
        else:
            path.append(f"L{to_x} {to_y}")
        x, y = to_x, to_y
    if level:
        path.append(f"L{tip} {end_y}")
    dashes = f' stroke-dasharray="{_EDGE_DASHES}"' if dashed else ""
    yield f'<path d="{" ".join(path)}" fill="none" stroke="{_EDGE}" stroke-width="1.4"{dashes}/>'
    if kind == "rules_out":
        yield f'<rect x="{end_x - 4}" y="{end_y - 6}" width="3" height="12" fill="{_EDGE}"/>'
    else:
        yield f'<polygon points="{end_x - 9},{end_y - 4} {end_x - 1},{end_y} {end_x - 9},{end_y + 4}" fill="{_EDGE}"/>'
