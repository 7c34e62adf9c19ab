"""A progress bar on the error output: with rate and what is left on a terminal, silent elsewhere."""

from __future__ import annotations

import sys
from types import TracebackType

from rich.console import Console
from rich.progress import (
    BarColumn,
    MofNCompleteColumn,
    Progress,
    ProgressColumn,
    Task,
    TaskID,
    TextColumn,
    TimeRemainingColumn,
)
from rich.text import Text


class _Rate(ProgressColumn):
    """How many a second, over the last while."""

    def render(self, task: Task) -> Text:
        rate = task.finished_speed or task.speed
        return Text("" if rate is None else f"{rate:,.0f}/s" if rate >= 10 else f"{rate:.1f}/s")


class Bar:
    """One bar at a time, named after what is being looked at."""

    def __init__(self) -> None:
        self._shown = Progress(
            TextColumn("{task.description}"),
            BarColumn(bar_width=24),
            MofNCompleteColumn(),
            _Rate(),
            TimeRemainingColumn(),
            console=Console(stderr=True),
            transient=True,
            disable=not sys.stderr.isatty(),
        )
        self._task: tuple[str, TaskID] | None = None

    def __enter__(self) -> Bar:
        """Show it."""
        self._shown.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Take it away."""
        self._shown.stop()

    def told(self, what: str, done: int, total: int) -> None:
        """So much of so much of something is done."""
        if self._task is None or self._task[0] != what:
            if self._task is not None:
                self._shown.remove_task(self._task[1])
            self._task = (what, self._shown.add_task(what, total=total))
        self._shown.update(self._task[1], completed=done, total=total)
