"""A graph in the DOT language of Graphviz."""

from __future__ import annotations

from collections.abc import Iterator

from engine.reasoning.graph import Edge, Graph, Node, NodeKind, NodeState
from engine.reasoning.graph_text import legible, wrapped

_SHAPES: dict[NodeKind, str] = {
    "fact": "shape=box",
    "reading": "shape=parallelogram",
    "rule": "shape=box",
    "choice": "shape=hexagon",
    "member": "shape=box, peripheries=2",
    "stage": "shape=cds",
}
_FILLS: dict[NodeKind, str] = {
    "fact": "#eef3fa",
    "reading": "#e8f5ee",
    "rule": "#fbf4e2",
    "choice": "#f2ebf8",
    "member": "#fcecec",
    "stage": "#eeeeee",
}
_STYLES: dict[NodeState, str] = {"known": "", "unknown": ",dashed", "open": ",dotted", "idle": ",dotted"}
_LABEL_WIDTH, _TITLE_WIDTH, _SIZE = 200, 900, 12


def as_dot(graph: Graph) -> str:
    """The graph as DOT, with the nodes of a column on one rank."""
    return "\n".join(_lines(graph)) + "\n"


def quoted(text: str) -> str:
    """Text as a quoted string that shows as it is: neither an end of the string, nor an escape, nor an entity."""
    plain = legible(text).replace("\\", "\\\\").replace('"', '\\"').replace("&", "&amp;")
    return '"' + plain.replace("\t", " ").replace("\n", "\\n") + '"'


def _lines(graph: Graph) -> Iterator[str]:
    names = {node.id: f"n{number}" for number, node in enumerate(graph.nodes, 1)}
    head = [graph.title, graph.says, *graph.notes]
    label = _wrapped("\n".join(text for text in head if text), _TITLE_WIDTH)
    yield "digraph bedjoint {"
    yield f"  graph [rankdir=LR, bgcolor=white, labelloc=t, fontname=Helvetica, fontsize=12, label={quoted(label)}];"
    yield "  node [fontname=Helvetica, fontsize=11, color=black, fontcolor=black];"
    yield "  edge [color=gray30, fontname=Helvetica, fontsize=10];"
    for node in graph.nodes:
        yield f"  {names[node.id]} [{_node(node)}];"
    for column in sorted({node.column for node in graph.nodes}):
        yield f"  {{ rank=same; {' '.join(f'{names[n.id]};' for n in graph.nodes if n.column == column)} }}"
    for edge in graph.edges:
        yield f"  {names[edge.source]} -> {names[edge.target]} [{_edge(edge)}];"
    yield "}"


def _wrapped(text: str, width: int) -> str:
    return "\n".join(wrapped(legible(text), width, _SIZE))


def _node(node: Node) -> str:
    rounded = ",rounded" if node.kind == "rule" else ""
    style = f'style="filled{rounded}{_STYLES[node.state]}"'
    label = quoted(_wrapped(node.label, _LABEL_WIDTH))
    return (
        f'label={label}, tooltip={quoted(node.label)}, {_SHAPES[node.kind]}, {style}, fillcolor="{_FILLS[node.kind]}"'
    )


def _edge(edge: Edge) -> str:
    arrow = "tee" if edge.kind == "rules_out" else "normal"
    dashed = ", style=dashed" if edge.open else ""
    counted = f", label={quoted(edge.label)}" if edge.counted else ""
    return f"arrowhead={arrow}, tooltip={quoted(edge.label or edge.kind)}{dashed}{counted}"
