"""A graph as a Mermaid flowchart."""

from __future__ import annotations

import json
from collections.abc import Iterator

from engine.reasoning.graph import Edge, Graph, Node, NodeKind
from engine.reasoning.graph_text import legible

_EDGES_SHOWN = 500
"""How many edges viewers draw, as they come."""

_AS_IT_IS = frozenset(" .,_-/()+='")
_SHAPES: dict[NodeKind, tuple[str, str]] = {
    "fact": ("[", "]"),
    "reading": ("[/", "/]"),
    "rule": ("(", ")"),
    "choice": ("{{", "}}"),
    "member": ("[[", "]]"),
    "stage": (">", "]"),
}
_CLASSES = (
    "classDef fact fill:#eef3fa,stroke:#3b5b86,color:#1c1c1c",
    "classDef reading fill:#e8f5ee,stroke:#2f6b4f,color:#1c1c1c",
    "classDef rule fill:#fbf4e2,stroke:#7a5b13,color:#1c1c1c",
    "classDef choice fill:#f2ebf8,stroke:#5b3b7a,color:#1c1c1c",
    "classDef member fill:#fcecec,stroke:#8a3434,color:#1c1c1c",
    "classDef stage fill:#eeeeee,stroke:#444444,color:#1c1c1c",
    "classDef note fill:#ffffff,stroke:#ffffff,color:#1c1c1c",
    "classDef unknown stroke-dasharray:7 4",
    "classDef open stroke-dasharray:2 3",
    "classDef idle stroke-dasharray:10 3 2 3",
)


def as_mermaid(graph: Graph) -> str:
    """The graph as a flowchart from left to right."""
    return "\n".join(_lines(graph)) + "\n"


def coded(text: str) -> str:
    """Text inside quotes of a flowchart that shows as it is: whatever could mean something else goes by its number."""
    return "".join(
        character if character in _AS_IT_IS or character.isalnum() else f"#{ord(character)};"
        for character in legible(text).replace("\t", " ")
    )


def _lines(graph: Graph) -> Iterator[str]:
    names = {node.id: f"n{number}" for number, node in enumerate(graph.nodes, 1)}
    yield "---"
    yield f"title: {json.dumps(' '.join(legible(graph.title).split()), ensure_ascii=False)}"
    yield "---"
    yield "flowchart LR"
    if len(graph.edges) > _EDGES_SHOWN:
        yield f"  %% {len(graph.edges)} edges: viewers that were not set to take more stop at {_EDGES_SHOWN}"
    for node in graph.nodes:
        yield f"  {names[node.id]}{_node(node)}"
    for edge in graph.edges:
        yield f"  {names[edge.source]} {_edge(edge)} {names[edge.target]}"
    for number, note in enumerate((graph.says, *graph.notes), 1):
        yield f'  note{number}["{_broken(note)}"]:::note'
    yield from (f"  {each}" for each in _CLASSES)
    for state in ("unknown", "open", "idle"):
        held = [names[node.id] for node in graph.nodes if node.state == state]
        if held:
            yield f"  class {','.join(held)} {state}"


def _broken(text: str) -> str:
    return "<br/>".join(coded(line) for line in text.split("\n"))


def _node(node: Node) -> str:
    opened, closed = _SHAPES[node.kind]
    return f'{opened}"{_broken(node.label)}"{closed}:::{node.kind}'


def _edge(edge: Edge) -> str:
    end = "x" if edge.kind == "rules_out" else ">"
    line = f"-.-{end}" if edge.open else f"--{end}"
    return f'{line}|"{coded(edge.label)}"|' if edge.counted else line
