"""`bedjoint archive impact`: what another version of the rules changes over past jobs."""

from __future__ import annotations

import datetime as dt
import enum
import os
import pathlib
import shutil
import sys
import tempfile
from collections.abc import Callable
from typing import TYPE_CHECKING, Annotated, TypeVar

import typer

from cli.completion import rule_versions
from cli.new_folder import check_folder, check_versions, gathered
from cli.output import deliver
from engine.errors import BadInput, Problem

if TYPE_CHECKING:
    from engine.archive.impact_model import Impact

EXIT_SAME = 0
EXIT_CHANGES = 1
T = TypeVar("T")


class Format(enum.StrEnum):
    """How it is shown."""

    TEXT = "text"
    JSON = "json"
    MARKDOWN = "markdown"


def archive_impact(
    paths: Annotated[
        list[pathlib.Path],
        typer.Argument(metavar="PATH...", help="Files or folders: YAML, JSON Lines, CSV, XLSX, Parquet."),
    ],
    from_version: Annotated[
        str, typer.Option("--from", metavar="A", help="The version before.", autocompletion=rule_versions)
    ],
    to_version: Annotated[
        str, typer.Option("--to", metavar="B", help="The version after.", autocompletion=rule_versions)
    ],
    mapping: Annotated[
        pathlib.Path | None, typer.Option("--mapping", help="Mapping file for columns that are called otherwise.")
    ] = None,
    output: Annotated[
        pathlib.Path | None,
        typer.Option(
            "--output",
            metavar="DIR",
            help="Write there every change at every wall (changes.parquet, changes.csv) and impact.json.",
        ),
    ] = None,
    format: Annotated[Format, typer.Option("--format", help="How to show it.")] = Format.TEXT,
) -> int:
    """Judge every wall of past jobs by two versions of the rules: 0 nothing changes, 1 something does, 2 bad input.

    Every wall is judged by both, whatever was in force on its day of survey. Bolder changes stand first.
    """
    # Imported here so that `--help` and `version` need not wait for the engine.
    from cli.progress import Bar
    from cli.render_impact import as_json, as_markdown, as_text
    from engine.archive.impact_rules import Pair
    from engine.archive.impact_run import impact_over
    from engine.archive.judging import sealed_base
    from engine.archive.mapping import read_mapping
    from engine.archive.sources import sources
    from engine.audit.boldness import boldness

    problems: list[Problem] = []
    gathered(lambda: check_versions((("--from", from_version), ("--to", to_version)), _version_names()), problems)
    columns = gathered(lambda: read_mapping(mapping), problems) if mapping is not None else None
    gathered(lambda: check_folder(output, "--output"), problems)
    if mapping is None or columns is not None:
        gathered(lambda: sources(paths, columns), problems)
    if problems:
        raise BadInput(problems)
    pair = Pair(sealed_base(from_version), sealed_base(to_version), boldness())

    def judged(folder: pathlib.Path | None) -> Impact:
        with Bar() as bar:
            return impact_over(paths, pair, dt.date.today(), columns, bar.told, folder)

    found = judged(None) if output is None else _into(output, judged)
    match format:
        case Format.TEXT:
            deliver(as_text(found, [str(path) for path in paths]), None)
        case Format.JSON:
            deliver(as_json(found), None)
        case Format.MARKDOWN:
            deliver(as_markdown(found, [str(path) for path in paths]), None)
    return EXIT_SAME if found.same else EXIT_CHANGES


def _version_names() -> list[str]:
    from engine.rulebase.load import versions

    return [manifest.version for manifest in versions()]


def _into(target: pathlib.Path, judged: Callable[[pathlib.Path | None], Impact]) -> Impact:
    """Judge, with the changes written to a folder beside that takes the place of the target once all is there.

    Raises:
        BadInput: it cannot be written.
    """
    folder = target.absolute()
    aside = ""
    try:
        aside = tempfile.mkdtemp(dir=folder.parent, prefix=f".{folder.name}.")
        found = judged(pathlib.Path(aside))
        (pathlib.Path(aside) / "impact.json").write_text(
            found.model_dump_json(indent=2) + "\n", encoding="utf-8", newline="\n"
        )
        mask = os.umask(0)
        os.umask(mask)
        os.chmod(aside, 0o777 & ~mask)
        os.replace(aside, folder)
    except OSError as error:
        reason = error.strerror or type(error).__name__
        raise BadInput([Problem(str(target), 0, 0, "--output", f"cannot be written: {reason}")]) from None
    finally:
        if aside:
            shutil.rmtree(aside, ignore_errors=True)
    print(f"written to {target}: changes.parquet, changes.csv, impact.json", file=sys.stderr)
    return found
