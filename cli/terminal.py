"""Plain terminal text: labelled, wrapped paragraphs that are never cut, coloured only on a terminal."""

from __future__ import annotations

import io
import os
import sys
from collections.abc import Iterable

from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

_PIPED_WIDTH = 100
_NARROWEST = 50


class Page:
    """Collects a page of text. All text is taken literally: no markup, no emoji codes."""

    def __init__(self, *, plain: bool = False, piped_width: int | None = None) -> None:
        on_terminal = sys.stdout.isatty() and not plain
        self._buffer = io.StringIO()
        self._console = Console(
            file=self._buffer,
            force_terminal=on_terminal or None,
            width=None if on_terminal else piped_width or _piped_width(),
            markup=False,
            emoji=False,
            highlight=False,
        )
        if on_terminal:
            self._console.width = max(Console().width, _NARROWEST)

    def heading(self, text: str) -> None:
        """A heading after a blank line."""
        self._console.print()
        self._console.print(Text(text.upper(), "bold"))

    def line(self, text: str, style: str = "") -> None:
        """One paragraph."""
        self._console.print(Text(text, style))

    def blank(self) -> None:
        """An empty line."""
        self._console.print()

    def command(self, parts: Iterable[str]) -> None:
        """A command to be copied: a part a line, never broken within one, joined as a shell joins them."""
        for number, part in enumerate(every := list(parts)):
            joined = "" if number == len(every) - 1 else " \\"
            self._console.print(Text(f"  {'  ' if number else ''}{part}{joined}"), soft_wrap=True)

    def rows(self, rows: Iterable[tuple[str, str, str]], label_width: int, indent: int = 2) -> None:
        """Rows of label, text and style; the text wraps beside its label."""
        grid = Table.grid(padding=(0, 1))
        grid.add_column(width=label_width, overflow="fold")
        grid.add_column(overflow="fold", ratio=1)
        for label, text, style in rows:
            grid.add_row(Text(label, style), Text(text))
        self._console.print(Padding(grid, (0, 0, 0, indent)))

    def listing(self, rows: Iterable[tuple[str, str, str]]) -> None:
        """Rows of label, text and style; one without a label is a heading of its own, bold where it has no style."""
        every = list(rows)
        width = max((len(label) for label, _, _ in every if label), default=1)
        for label, text, style in every:
            if label:
                self.rows([(label, text, style)], width)
            else:
                self.line(f"  {text}", style or "bold")

    def text(self) -> str:
        """The page, without spaces at the ends of lines."""
        return "\n".join(line.rstrip() for line in self._buffer.getvalue().split("\n"))


def _piped_width() -> int:
    """The width asked for by COLUMNS, else wide."""
    asked = os.environ.get("COLUMNS", "")
    return max(int(asked), _NARROWEST) if asked.isdigit() and len(asked) < 5 else _PIPED_WIDTH
