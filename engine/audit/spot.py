"""A place in a file, as findings name it."""

from __future__ import annotations

from engine.decision.model import Part


class Spot(Part):
    """A place in a file; `line` and `column` count from 1, 0 means the file as a whole."""

    file: str
    line: int
    column: int
