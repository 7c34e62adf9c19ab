"""`bedjoint rules compare`: two versions of the rules side by side."""

from __future__ import annotations

import datetime as dt
import enum
import os
import pathlib
import shutil
import sys
import tempfile
from collections.abc import Sequence
from typing import TYPE_CHECKING, Annotated, TypeVar

import typer

from cli.completion import rule_versions
from cli.inputs import judging_day, read_surveys
from cli.new_folder import check_folder, check_versions, gathered
from cli.output import deliver
from engine.errors import BadInput, Problem

if TYPE_CHECKING:
    from engine.audit.compare_model import RulesCompared
    from engine.rulebase.model import Manifest

VECTORS = pathlib.Path("tests/vectors")
EXIT_SAME = 0
EXIT_DIFFERENT = 1
T = TypeVar("T")


class Format(enum.StrEnum):
    """How a comparison is shown."""

    TEXT = "text"
    JSON = "json"
    MARKDOWN = "markdown"


def compare_versions(
    a: Annotated[str, typer.Argument(metavar="A", help="A version of the rules.", autocompletion=rule_versions)],
    b: Annotated[
        str, typer.Argument(metavar="B", help="The version it is compared with.", autocompletion=rule_versions)
    ],
    surveys: Annotated[
        list[str] | None,
        typer.Option(
            "--surveys", metavar="PATH", help="Judge these by both: a survey file or a folder; may be repeated."
        ),
    ] = None,
    vectors: Annotated[
        pathlib.Path | None,
        typer.Option("--vectors", help="Folder of vectors with recorded decisions; else tests/vectors, if there."),
    ] = None,
    witnesses: Annotated[
        pathlib.Path | None,
        typer.Option("--witnesses", metavar="FOLDER", help="Write the survey that shows each difference there."),
    ] = None,
    as_of: Annotated[
        str | None, typer.Option("--as-of", help="Look at surveys of this day's year (YYYY-MM-DD); else today's.")
    ] = None,
    full: Annotated[bool, typer.Option("--all", help="Show the rules in full, and why each member differs.")] = False,
    format: Annotated[Format, typer.Option("--format", help="How to show the comparison.")] = Format.TEXT,
    output: Annotated[pathlib.Path | None, typer.Option("--output", help="Write to this file instead.")] = None,
) -> int:
    """Compare two versions of the rules: what changed, which decisions can differ: 0 none, 1 some, 2 bad input."""
    # Imported here so that `--help` and `version` need not wait for the engine.
    from cli.progress import Bar
    from cli.render_rules_compare import as_json, as_markdown, as_text
    from engine.audit.boldness import boldness
    from engine.audit.compare import compare_rules
    from engine.audit.vectors import read_vectors
    from engine.rulebase.load import load_rule_base

    problems: list[Problem] = []
    manifests = gathered(lambda: _named(a, b), problems)
    asked = gathered(lambda: judging_day(as_of), problems)
    # Rules that lie ahead are compared over surveys of the year in which they come into force.
    ahead = [manifest.in_force_from for manifest in manifests or ()]
    day = asked or max((dt.date.today(), *ahead))
    files = gathered(lambda: read_surveys(surveys, dt.date.today()), problems) if surveys else []
    gathered(lambda: check_folder(witnesses, "--witnesses"), problems)
    if problems or manifests is None or files is None:
        raise BadInput(problems)
    one, other, bold = load_rule_base(a), load_rule_base(b), boldness()
    folder = vectors or (VECTORS if VECTORS.is_dir() else None)
    recorded = read_vectors(folder, one).recorded if folder else ()
    with Bar() as bar:
        compared = compare_rules(
            one, other, bold, day, surveys=files, recorded=recorded, accounts=manifests, progress=bar.told
        )
    match format:
        case Format.TEXT:
            shown = as_text(compared, plain=output is not None, full=full)
        case Format.JSON:
            shown = as_json(compared)
        case Format.MARKDOWN:
            shown = as_markdown(compared, full=full)
    _deliver(shown, compared, output, witnesses, surveys or [])
    return EXIT_SAME if compared.same else EXIT_DIFFERENT


def _named(a: str, b: str) -> list[Manifest]:
    """The manifests that led from A to B: of every version after A up to B; B's own where B is not the later one.

    Raises:
        BadInput: no such version, of either.
    """
    from engine.rulebase.load import versions

    known = versions()
    names = [manifest.version for manifest in known]
    check_versions((("A", a), ("B", b)), names)
    between = known[names.index(a) + 1 : names.index(b) + 1]
    return [*between] if between or a == b else [known[names.index(b)]]


def _deliver(
    text: str,
    compared: RulesCompared,
    output: pathlib.Path | None,
    witnesses: pathlib.Path | None,
    inputs: Sequence[str],
) -> None:
    """Write the surveys, put together beside their folder, and the comparison: both or neither.

    Raises:
        BadInput: something cannot be written; then nothing is.
    """
    if witnesses is None:
        deliver(text, output, inputs)
        return
    folder = witnesses.absolute()
    found = {each.name: each.survey for each in compared.everywhere.possible if each.survey is not None}
    aside, there = "", folder.exists()
    try:
        aside = tempfile.mkdtemp(dir=folder.parent, prefix=f".{folder.name}.")
        for name, survey in found.items():
            (pathlib.Path(aside) / f"{name}.yaml").write_text(survey, encoding="utf-8", newline="\n")
        os.chmod(aside, 0o755)
        os.replace(aside, folder)
    except OSError as error:
        shutil.rmtree(aside, ignore_errors=True)
        reason = error.strerror or type(error).__name__
        raise BadInput([Problem(str(witnesses), 0, 0, "--witnesses", f"cannot be written: {reason}")]) from None
    try:
        deliver(text, output, inputs)
    except BadInput:
        shutil.rmtree(folder, ignore_errors=True)
        if there:
            folder.mkdir(exist_ok=True)
        raise
    print(f"{len(found)} survey{'s' if len(found) != 1 else ''} written to {witnesses}", file=sys.stderr)
