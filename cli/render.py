"""The ways an assessment is shown: one function each, from assessments to text."""

from __future__ import annotations

import functools
from collections.abc import Callable, Sequence

from cli.render_markdown import as_markdown
from cli.render_text import as_text
from engine.decision.model import Assessment
from engine.decision.schema import Assessments

Renderer = Callable[[Sequence[Assessment]], str]


def as_json(assessments: Sequence[Assessment]) -> str:
    """Everything, as JSON by the published schema."""
    return Assessments(assessments=tuple(assessments)).model_dump_json(indent=2) + "\n"


def renderer(name: str, *, to_file: bool) -> Renderer:
    """The renderer of that name; a file gets no colours, whatever the terminal.

    Raises:
        KeyError: no such format.
    """
    renderers: dict[str, Renderer] = {
        "text": functools.partial(as_text, plain=to_file),
        "json": as_json,
        "markdown": as_markdown,
    }
    return renderers[name]
