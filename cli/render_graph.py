"""The ways a graph is written."""

from __future__ import annotations

import enum
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from engine.reasoning.graph import Graph


class Format(enum.StrEnum):
    """How a graph is written."""

    MERMAID = "mermaid"
    DOT = "dot"
    SVG = "svg"


def written(graph: Graph, format: Format) -> str:
    """The graph as a Mermaid flowchart, as DOT, or as an SVG picture that stands by itself."""
    match format:
        case Format.MERMAID:
            from cli.graph_mermaid import as_mermaid

            return as_mermaid(graph)
        case Format.DOT:
            from cli.graph_dot import as_dot

            return as_dot(graph)
        case Format.SVG:
            from cli.graph_svg import as_svg

            return as_svg(graph)
