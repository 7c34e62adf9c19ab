"""Writes the results of a check of past jobs: each file whole or not at all, the same bytes for the same walls."""

from __future__ import annotations

import contextlib
import itertools
import os
import pathlib
import tempfile
from collections.abc import Iterable, Iterator, Sequence
from typing import Any

import polars as pl

from engine.archive.results_batches import ORDER, ROW_GROUP, among_gravest, in_batches
from engine.archive.results_text import as_text
from engine.archive.results_workbook import MOST_WALLS, write_sheets
from engine.archive.totals_model import Totals
from engine.errors import BadInput, Problem

_CSV_ROWS = 16_384


def write_walls(parts: Sequence[pathlib.Path], target: pathlib.Path) -> None:
    """Put the parts of the results together as one Parquet file, in the order of file, sheet and row.

    However the walls were cut into parts, the bytes are the same. Where the rows of one part come between those of
    another, all are sorted at once, in memory.

    Raises:
        BadInput: the file cannot be written.
        ValueError: there are no parts.
    """
    if not parts:
        raise ValueError("no parts to put together")

    with whole(target) as temporary, tempfile.TemporaryDirectory(dir=target.parent, prefix=".rows.") as folder:
        # By way of files, each a group of rows: a scan of files waits for what is written, a source of frames does not.
        even = []
        for number, frame in enumerate(_even(_ordered(parts), ROW_GROUP)):
            even.append(pathlib.Path(folder) / f"{number:07}.parquet")
            frame.write_parquet(even[-1], compression="lz4", statistics=False)
        scanned = pl.scan_parquet(even or parts[0])
        scanned.sink_parquet(temporary, row_group_size=ROW_GROUP, maintain_order=True)


def write_csv(walls: pl.LazyFrame, target: pathlib.Path, most_walls: int | None = None) -> None:
    """Write the walls as CSV in UTF-8: lists as `a; b`, no cell a formula, without the bits of the rules that hold.

    Of more than `most_walls` the gravest are written, in the order of the results.

    Raises:
        BadInput: the file cannot be written.
    """
    frames = in_batches(walls, _CSV_ROWS) if most_walls is None else among_gravest(walls, most_walls)
    with whole(target) as temporary, temporary.open("wb") as file:
        as_text(walls.head(0)).collect().write_csv(file, quote_style="non_numeric")
        for frame in frames:
            as_text(frame.lazy()).collect().write_csv(file, include_header=False, quote_style="non_numeric")


def write_workbook(walls: pl.LazyFrame, totals: Totals, target: pathlib.Path, most_walls: int = MOST_WALLS) -> None:
    """Write totals, gravest differences, rules, surveyors, and up to `most_walls` walls as a workbook.

    Of more walls it holds the gravest, and says so.

    Raises:
        BadInput: the file cannot be written.
    """
    with whole(target) as temporary:
        write_sheets(walls, totals, temporary, most_walls)


def write_summary(totals: Totals, target: pathlib.Path) -> None:
    """Write the totals as JSON.

    Raises:
        BadInput: the file cannot be written.
    """
    with whole(target) as temporary:
        text = totals.model_dump_json(indent=2) + "\n"
        temporary.write_text(text, encoding="utf-8", newline="\n")


@contextlib.contextmanager
def whole(target: pathlib.Path) -> Iterator[pathlib.Path]:
    """A file to write to that takes the place of `target` at the end; on any failure `target` stays as it is.

    Raises:
        BadInput: it cannot be written.
    """
    temporary: pathlib.Path | None = None
    try:
        handle, name = tempfile.mkstemp(dir=target.parent, prefix=f".{target.name}.")
        os.close(handle)
        temporary = pathlib.Path(name)
        yield temporary
        with temporary.open("rb+") as file:
            os.fsync(file.fileno())
        mask = os.umask(0)
        os.umask(mask)
        temporary.chmod(target.stat().st_mode & 0o777 if target.exists() else 0o666 & ~mask)
        temporary.replace(target)
    except OSError as error:
        reason = error.strerror or str(error) or type(error).__name__
        raise BadInput([Problem(str(target), 0, 0, "", f"cannot be written: {reason}")]) from None
    finally:
        if temporary is not None:
            temporary.unlink(missing_ok=True)


def _ordered(parts: Sequence[pathlib.Path]) -> Iterator[pl.DataFrame]:
    """The walls of all parts in the order of the results, a part at a time."""
    spans: list[tuple[tuple[Any, ...], tuple[Any, ...], pathlib.Path]] = []
    sorted_already = set()
    for part in parts:
        read = pl.read_parquet(part, columns=list(ORDER)).select(ORDER)
        keys = read.sort(ORDER)
        if keys.height:
            spans.append((keys.row(0), keys.row(-1), part))
        if keys.equals(read):
            sorted_already.add(part)
    spans.sort(key=lambda span: span[:2])
    if any(one[1] > other[0] for one, other in itertools.pairwise(spans)):
        yield pl.concat([pl.read_parquet(part) for *_, part in spans]).sort(ORDER)
        return
    for *_, part in spans:
        frame = pl.read_parquet(part)
        yield frame if part in sorted_already else frame.sort(ORDER)


def _even(frames: Iterable[pl.DataFrame], rows: int) -> Iterator[pl.DataFrame]:
    """The same rows in frames of so many each, the last one less."""
    held: list[pl.DataFrame] = []
    room = rows
    for each in frames:
        frame = each
        while frame.height:
            held.append(frame[:room])
            room, frame = room - held[-1].height, frame[room:]
            if not room:
                yield pl.concat(held)
                held, room = [], rows
    if held:
        yield pl.concat(held)
