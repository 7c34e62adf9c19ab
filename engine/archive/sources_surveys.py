"""Past jobs as survey files in YAML, each with what is recorded of it beside it."""

from __future__ import annotations

import pathlib
import re
from collections.abc import Sequence

from engine.archive.sources_model import RawBatch, RawFile, Reject, Unit
from engine.errors import BadInput
from engine.facts.document import Document, read_document

_BESIDE = (".recommended.yaml", ".recommended.yml")
_HEAD = 4096
_KIND = re.compile(rb"^kind:[ ]", re.MULTILINE)
"""A key of the file itself: those of a survey's sections are indented."""


def is_beside(path: pathlib.Path) -> bool:
    """Whether a file is what is recorded beside a survey."""
    return path.name.endswith(_BESIDE)


def is_another_kind(path: pathlib.Path) -> bool:
    """Whether a file of YAML says of itself, by a `kind`, that it is no survey: a mapping, a price book and the like.

    Raises:
        OSError: it cannot be read.
    """
    with path.open("rb") as file:
        return _KIND.search(file.read(_HEAD)) is not None


def job_path(path: str) -> pathlib.Path | None:
    """Where what is recorded beside a survey stands, None where nothing is."""
    stem = path.removesuffix(".yaml").removesuffix(".yml")
    places = (pathlib.Path(stem + ending) for ending in _BESIDE)
    return next((place for place in places if place.exists()), None)


def survey_units(files: Sequence[tuple[str, str]], size: int) -> list[Unit]:
    """Units of `size` files each; `files` are pairs of what a file is called and where it is."""
    units = []
    for start in range(0, len(files), size):
        part = files[start : start + size]
        names, paths = tuple(name for name, _ in part), tuple(path for _, path in part)
        units.append(Unit("yaml", names[0], paths[0], files=names, paths=paths))
    return units


def read_survey_unit(unit: Unit) -> RawBatch:
    """The surveys of a unit, and what stands beside them, as documents."""
    return RawBatch(unit, files=tuple(_read(*each) for each in zip(unit.files, unit.paths, strict=True)))


def _read(file: str, path: str) -> RawFile:
    beside = job_path(path)
    job_file = file.removesuffix(".yaml").removesuffix(".yml") + ("" if beside is None else _ending(beside))
    job = None if beside is None else _document(beside, job_file)
    return RawFile(file, _document(pathlib.Path(path), file), job_file, job)


def _ending(path: pathlib.Path) -> str:
    return next(ending for ending in _BESIDE if path.name.endswith(ending))


def _document(path: pathlib.Path, file: str) -> Document | tuple[Reject, ...]:
    try:
        return read_document(path, file)
    except BadInput as error:
        return tuple(
            Reject(file, "", each.line, each.field, each.found, each.message, each.allowed, each.hint, each.line)
            for each in error.problems
        )
