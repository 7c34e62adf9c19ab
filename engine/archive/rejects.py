"""Writes refused rows back as their own files have them, with why they were refused, to be mended and run again."""

from __future__ import annotations

import csv
import pathlib
import shutil
from collections.abc import Iterable, Sequence

from engine.archive.mapping import SheetMapping
from engine.archive.rejects_layouts import WRITERS
from engine.archive.rejects_words import reason, safe
from engine.archive.sources_model import Reject, Unit

LIST = "rejects.csv"
FOLDER = "rejects"
HEADER = ("file", "sheet", "row", "column", "value", "message", "allowed", "hint", "line")


def write_rejects(
    rejects: Iterable[Reject], units: Sequence[Unit], mapping: SheetMapping | None, folder: pathlib.Path
) -> tuple[pathlib.Path, ...]:
    """Write `rejects.csv`, a line for each thing wrong, and `rejects/`: the refused rows in the layout of their files.

    Each of these has one more column, `rejected_because`, which reading ignores, so that they can be mended and run
    again with the same mapping. A survey in YAML, and a form, is copied as a whole with what stands beside it: its
    other walls come again when it is run again. Rows that could not be read as rows are written as they were. Cells
    keep their value; only what we add is made safe. Returns the files in the order written.

    Raises:
        OSError: a file that was read is gone, or the folder cannot be written.
    """
    reasons: dict[str, dict[tuple[str, int], list[str]]] = {}
    path = folder / LIST
    with path.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.writer(stream, lineterminator="\n")
        writer.writerow(HEADER)
        for each in rejects:
            writer.writerow([safe(str(getattr(each, name))) for name in HEADER])
            reasons.setdefault(each.file, {}).setdefault((each.sheet, each.row), []).append(reason(each))
    written = [path]
    names = targets([file for unit in units for file in (unit.files or (unit.file,))])
    for file, parts in _by_file(units).items():
        found = reasons.get(file)
        if found:
            target = folder / FOLDER / names[file]
            target.parent.mkdir(parents=True, exist_ok=True)
            if parts[0].form:
                shutil.copyfile(parts[0].path, target)
                written.append(target)
            else:
                written += WRITERS[parts[0].format](target, file, parts, found)
    return tuple(written)


def _by_file(units: Sequence[Unit]) -> dict[str, list[Unit]]:
    found: dict[str, list[Unit]] = {}
    for unit in units:
        for file in unit.files or (unit.file,):
            found.setdefault(file, []).append(unit)
    return found


def targets(files: Iterable[str]) -> dict[str, pathlib.PurePath]:
    """Where each file goes under the folder: its path below the folder all of them are in, and no two in one place."""
    found: dict[str, pathlib.PurePath] = {}
    taken: set[str] = set()
    every = list(dict.fromkeys(files))
    above = len(_shared([pathlib.PurePosixPath(file).parent.parts for file in every]))
    for file in every:
        steps = [step for step in pathlib.PurePosixPath(file).parts[above:] if step not in ("/", "..", ".")]
        path = pathlib.PurePath(*[step.replace(":", "_").replace("\\", "_") for step in steps] or ["file"])
        wanted, number = path, 2
        while str(wanted).lower() in taken:
            wanted, number = path.with_name(f"{number}-{path.name}"), number + 1
        taken.add(str(wanted).lower())
        found[file] = wanted
    return found


def _shared(several: Sequence[tuple[str, ...]]) -> tuple[str, ...]:
    """The steps with which all of them begin."""
    least, most = min(several, default=()), max(several, default=())
    alike = (place for place, (one, other) in enumerate(zip(least, most, strict=False)) if one != other)
    return least[: next(alike, min(len(least), len(most)))]
