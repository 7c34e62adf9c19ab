"""The ways an assessment is shown: one function each, from assessments to text."""

from __future__ import annotations

import functools
from collections.abc import Callable, Mapping, Sequence

from cli.render_markdown import as_markdown
from cli.render_text import NONE, as_text
from engine.decision.model import Assessment
from engine.report import Report
from engine.schedule.model import WallSchedule

Renderer = Callable[[Sequence[Assessment]], str]


def as_json(assessments: Sequence[Assessment], schedules: Mapping[tuple[str, str], WallSchedule] = NONE) -> str:
    """Everything, as JSON by the published schema."""
    report = Report(assessments=tuple(assessments), schedules=tuple(schedules.values()))
    return report.model_dump_json(indent=2) + "\n"


def renderer(
    name: str, *, to_file: bool, schedules: Mapping[tuple[str, str], WallSchedule] = NONE, options: str = ""
) -> Renderer:
    """The renderer of that name; a file gets no colours, whatever the terminal. `options` as in `as_text`.

    Raises:
        KeyError: no such format.
    """
    renderers: dict[str, Renderer] = {
        "text": functools.partial(as_text, plain=to_file, schedules=schedules, options=options),
        "json": functools.partial(as_json, schedules=schedules),
        "markdown": functools.partial(as_markdown, schedules=schedules, options=options),
    }
    return renderers[name]
