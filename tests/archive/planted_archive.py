"""Made-up archives for tests: made by the scripts in benchmarks, checked in this process."""

import dataclasses
import datetime as dt
import pathlib
import sys

import polars as pl

BENCHMARKS = pathlib.Path(__file__).resolve().parents[2] / "benchmarks"
DEMO = BENCHMARKS.parent / "scenarios_demo" / "archive"
TODAY = dt.date(2026, 11, 26)
if str(BENCHMARKS) not in sys.path:
    sys.path.insert(0, str(BENCHMARKS))

import archive_compare  # noqa: E402
import archive_demo  # noqa: E402
import archive_maker  # noqa: E402
import archive_plants  # noqa: E402

__all__ = ["DEMO", "TODAY", "Checked", "archive_compare", "archive_demo", "archive_maker", "archive_plants", "checked"]


@dataclasses.dataclass(frozen=True)
class Checked:
    """What a check came to: its totals, its walls, everything it rejected."""

    totals: object
    walls: pl.DataFrame
    rejects: list[dict[str, object]]


def no_page(walls, totals, bases, path):
    """In place of the page, which is tested elsewhere."""
    path.write_text("")


def checked(paths, output, mapping=None, version=None, earlier=None, batch=250_000) -> Checked:
    """Check past jobs as `bedjoint archive check` does."""
    from engine.archive.finish import finish
    from engine.archive.judging import ByRules
    from engine.archive.mapping import read_mapping
    from engine.archive.run import Check, read_and_judge

    asked = Check(
        tuple(map(str, paths)),
        output,
        TODAY,
        mapping=None if mapping is None else read_mapping(mapping),
        by=ByRules(version, earlier),
        batch=batch,
        workers=1,
    )
    read = read_and_judge(asked, _nothing)
    rejects = [dataclasses.asdict(each) for each in read.rejects()]
    totals = finish(read, no_page, _nothing).totals
    return Checked(totals, pl.read_parquet(output / "walls.parquet"), rejects)


def _nothing(*_: object) -> None:
    """Nobody is told how far it has come."""
