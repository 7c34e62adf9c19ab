"""A whole archive judged by two versions of the rules, batch after batch.

Of a wall that was judged no more is kept in memory than a number, to know it again where it stands twice. Changes that
are to be written are put aside by batch, and sorted at the end.
"""

from __future__ import annotations

import datetime as dt
import pathlib
import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import polars as pl

from engine.archive.impact import PLACE, ImpactPart, impact_part
from engine.archive.impact_changes import CHANGES, ROW
from engine.archive.impact_model import Impact, RejectedRow
from engine.archive.impact_report import Intake, impact_report
from engine.archive.impact_rules import Pair, Side
from engine.archive.mapping import SheetMapping
from engine.archive.results import whole, write_csv
from engine.archive.results_batches import ORDER, ROW_GROUP
from engine.archive.sources import read_unit, sources, units_of
from engine.archive.sources_model import Reject
from engine.archive.taken import take_in
from engine.columns.judge import judge
from engine.columns.layout import flat_schema
from engine.columns.recheck import recheck

BATCH = 50_000
"""How many rows are judged at once."""
REJECTS = 5
"""How many of the rows that were rejected are named."""

Told = Callable[[str, int, int], None]
"""Called with what is being done, how much of it is done, and how much there is."""


@dataclass(slots=True)
class _Running:
    """What came of the batches so far."""

    part: ImpactPart = field(default_factory=lambda: ImpactPart(kept=0))
    rejected: int = 0
    repeated: int = 0
    rejects: list[Reject] = field(default_factory=list)
    seen: pl.Series = field(default_factory=lambda: pl.Series("key", [], dtype=pl.UInt64))

    def keep_rejects(self, rejects: Sequence[Reject]) -> None:
        """The first of what is wrong, one thing a row."""
        for each in rejects:
            if len(self.rejects) == REJECTS:
                return
            if each.place not in {other.place for other in self.rejects}:
                self.rejects.append(each)

    def new(self, flat: pl.DataFrame) -> pl.DataFrame:
        """The rows of walls that were not there before, by reference, day of survey and name."""
        key = (pl.col("reference"), pl.col("survey_date").cast(pl.String), pl.col("wall").str.to_lowercase())
        keys = flat.select(pl.concat_str(key, separator="\x1f").hash(seed=1).alias("key")).to_series()
        first = keys.is_first_distinct() & ~keys.is_in(self.seen.implode())
        self.repeated += flat.height - int(first.sum())
        self.seen = pl.concat([self.seen, keys.filter(first)])
        return flat.filter(first)


def impact_over(
    paths: Sequence[pathlib.Path | str],
    pair: Pair,
    today: dt.date,
    mapping: SheetMapping | None = None,
    told: Told | None = None,
    changes: pathlib.Path | None = None,
    batch: int = BATCH,
) -> Impact:
    """Read an archive, judge every wall by both versions, and say what differs.

    `changes` is a folder that is there: `changes.parquet` and `changes.csv` are written to it, a row a change.

    Raises:
        BadInput: with everything that is wrong with the paths, the files or their headers.
        ReadersDisagree: a row of the sample that is judged again comes out otherwise.
    """
    found = sources(paths, mapping)
    units = units_of(found, batch)
    running = _Running()
    with tempfile.TemporaryDirectory(dir=changes, prefix=".parts.") as aside:
        for number, unit in enumerate(units):
            if told is not None:
                told("parts", number, len(units))
            taken = take_in(read_unit(unit, mapping), mapping, today)
            running.rejected += taken.rejected
            running.keep_rejects(taken.rejects)
            flat = running.new(taken.flat)
            if not flat.height:
                continue
            judged: dict[Side, pl.DataFrame] = {"a": judge(flat, pair.a), "b": judge(flat, pair.b)}
            recheck(flat, judged["a"], pair.a)
            recheck(flat, judged["b"], pair.b)
            batch_impact = impact_part(flat, judged, pair)
            running.part = running.part.merged(batch_impact.part)
            if changes is not None:
                batch_impact.changes.write_parquet(pathlib.Path(aside) / f"{number:07}.parquet")
        if told is not None:
            told("parts", len(units), len(units))
        if changes is not None:
            _write(sorted(pathlib.Path(aside).glob("*.parquet")), changes)
    files = tuple(name for source in found for name in ([name for name, _ in source.files] or [source.file]))
    rejects = tuple(
        RejectedRow(file=r.file, sheet=r.sheet, row=r.row, column=r.column, value=r.value, message=r.message)
        for r in running.rejects
    )
    return impact_report(running.part, pair, Intake(files, running.rejected, running.repeated, rejects))


def _write(parts: Sequence[pathlib.Path], folder: pathlib.Path) -> None:
    """Put the changes together, in the order of file, sheet and row."""
    together = pl.scan_parquet(list(parts)) if parts else pl.LazyFrame(schema=_written_schema())
    with whole(folder / "changes.parquet") as target:
        together.sort(ORDER, maintain_order=True).sink_parquet(target, row_group_size=ROW_GROUP, maintain_order=True)
    write_csv(pl.scan_parquet(folder / "changes.parquet"), folder / "changes.csv")


def _written_schema() -> dict[str, pl.DataType]:
    places = flat_schema()
    return {**{name: places[name] for name in PLACE}, **{name: each for name, each in CHANGES.items() if name != ROW}}
