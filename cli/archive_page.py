"""Writes the page of a check to a file, for the engine that cannot draw."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pathlib

    import polars as pl

    from engine.archive.totals_model import Totals
    from engine.rulebase.rules import RuleBase


def paint_page(
    most_walls: int,
) -> Callable[[pl.LazyFrame, Totals, Mapping[str, RuleBase], pathlib.Path], None]:
    """What writes a page that holds so many walls at the most, the gravest first."""

    def painted(walls: pl.LazyFrame, totals: Totals, bases: Mapping[str, RuleBase], target: pathlib.Path) -> None:
        from cli.page import write_page

        with target.open("w", encoding="utf-8", newline="\n") as out:
            write_page(out, walls, totals, bases, most_walls)

    return painted
