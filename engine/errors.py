"""Every failure the engine raises, and the exit code each one ends in.

BedjointError
|-- BadInput        exit 2   a file or an option that cannot be used; holds every problem found
|   `-- BadRules    exit 2   the same, in the rule base
`-- ReadersDisagree exit 3   two readers of the rule base came to different answers
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

EXIT_SETTLED = 0
EXIT_OPEN = 1
EXIT_BAD_INPUT = 2
EXIT_INTERNAL = 3
EXIT_INTERRUPTED = 130


@dataclass(frozen=True, slots=True, order=True)
class Problem:
    """One thing wrong with one place: where, what was found, what is allowed.

    `line` and `column` count from 1; 0 means the file as a whole.
    """

    file: str
    line: int
    column: int
    field: str
    message: str
    found: str = ""
    allowed: str = ""
    hint: str = ""

    def __str__(self) -> str:
        place = f"{self.file}:{self.line}:{self.column}" if self.line else self.file
        parts = [": ".join(part for part in (place, self.field, self.message) if part)]
        if self.found:
            parts.append(f"found {self.found}")
        if self.allowed:
            parts.append(f"allowed: {self.allowed}")
        if self.hint:
            parts.append(self.hint)
        return "; ".join(parts)


class BedjointError(Exception):
    """What every failure of the engine is."""

    exit_code = EXIT_INTERNAL


class BadInput(BedjointError):
    """Input that cannot be used. `problems` holds all of them, in the order of file and line."""

    exit_code = EXIT_BAD_INPUT

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems = tuple(sorted(problems))
        super().__init__("\n".join(str(problem) for problem in self.problems))


class BadRules(BadInput):
    """A rule base that cannot be used."""


class ReadersDisagree(BedjointError):
    """Two readers of one rule base differ on one case. Never shown as an answer."""
