"""A picture of reasoning as nodes and edges, before anything is known of how it is drawn."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

NodeKind = Literal["fact", "reading", "rule", "choice", "member", "stage"]
NodeState = Literal["known", "unknown", "open", "idle"]
EdgeKind = Literal["bears", "supports", "rules_out", "adds"]


@dataclass(frozen=True, slots=True)
class Node:
    """One thing in the picture.

    `head` says in a few words what it is, `lines` what it says, `foot` how it stands; `column` counts from the left.
    `state` is `unknown` of a fact or reading without a value, `open` of a rule or finding that unknown facts keep open,
    `idle` of a rule that does not hold.
    """

    id: str
    kind: NodeKind
    column: int
    head: str
    lines: tuple[str, ...]
    foot: str = ""
    state: NodeState = "known"

    @property
    def label(self) -> str:
        """All that is written on the node, a line each."""
        return "\n".join(text for text in (self.head, *self.lines, self.foot) if text)


@dataclass(frozen=True, slots=True)
class Edge:
    """One thing bears on another, in a column further right. `open` where that is not sure yet, or would be so only.

    `label` says how, in words; where it is `counted` it is a number to be written beside the line.
    """

    source: str
    target: str
    kind: EdgeKind
    label: str = ""
    open: bool = False
    counted: bool = False


@dataclass(frozen=True, slots=True)
class Graph:
    """A picture: its title, what it shows in words, the headings of its columns, and what stands under it.

    In the columns of `ordered` the nodes keep the order given; in the others they stand as crosses fewest edges.
    """

    title: str
    says: str
    columns: tuple[str, ...]
    nodes: tuple[Node, ...]
    edges: tuple[Edge, ...]
    notes: tuple[str, ...] = ()
    ordered: frozenset[int] = frozenset()
