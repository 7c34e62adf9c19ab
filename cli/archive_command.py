"""`bedjoint archive`: past jobs checked against the rules, columns mapped, the impact of new rules."""

from __future__ import annotations

import datetime as dt
import pathlib
from typing import TYPE_CHECKING, Annotated, Any

import typer

from cli.archive_impact_command import archive_impact
from cli.archive_map_command import archive_map
from cli.completion import rule_versions
from cli.inputs import day
from cli.new_folder import check_versions

if TYPE_CHECKING:
    from engine.archive.run import Check

EPILOG = (
    "Exit codes: 0 every wall agrees and every row was taken in; 1 something differs, is open or was rejected; "
    "2 bad input or usage; 3 internal error; 130 interrupted (go on with --resume)."
)

app = typer.Typer(help="Past jobs: check them against the rules in bulk.", no_args_is_help=True, rich_markup_mode=None)

Paths = Annotated[
    list[pathlib.Path],
    typer.Argument(metavar="PATH...", help="Files or folders: YAML, JSON Lines, CSV, XLSX, Parquet."),
]
Mapping = Annotated[
    pathlib.Path | None, typer.Option("--mapping", help="Mapping file for columns that are called otherwise.")
]


@app.command("check", epilog=EPILOG)
def check(
    paths: Paths,
    output: Annotated[pathlib.Path, typer.Option("--output", help="Folder for the results.")],
    mapping: Mapping = None,
    rules: Annotated[
        str | None,
        typer.Option(
            "--rules",
            help="Judge every wall by this version; else by the one in force on its day of survey.",
            autocompletion=rule_versions,
        ),
    ] = None,
    earlier: Annotated[
        str | None,
        typer.Option(
            "--earlier",
            help="Judge surveys from before any version was in force by this one; else they are rejected.",
            autocompletion=rule_versions,
        ),
    ] = None,
    resume: Annotated[bool, typer.Option("--resume", help="Go on with a check that was cut short.")] = False,
    replace: Annotated[bool, typer.Option("--replace", help="Replace the results that stand in the folder.")] = False,
    workers: Annotated[
        int | None, typer.Option("--workers", min=1, help="Processes that read and judge; else as many as help.")
    ] = None,
    batch: Annotated[int | None, typer.Option("--batch", min=1, help="Rows judged at once.")] = None,
    page_walls: Annotated[
        int | None, typer.Option("--page-walls", min=0, help="Most walls that the page holds, the gravest first.")
    ] = None,
    as_of: Annotated[
        str | None, typer.Option("--as-of", metavar="DAY", help="No survey may be later than this day; else today.")
    ] = None,
) -> int:
    """Judge every wall of past jobs, beside what was recommended, installed, and how it turned out.

    Results: walls.parquet, walls.csv and walls.xlsx (a row a wall), summary.json, page.html (to read), rejects.csv and
    rejects/ (rows with something wrong, in their own layout, to be mended and run again).
    """
    from cli.archive_page import paint_page
    from cli.progress import Bar
    from cli.render_archive import render_check
    from engine.archive.finish import finish
    from engine.archive.run import read_and_judge

    asked = _check(paths, output, mapping, rules, earlier, as_of, workers, batch, page_walls)
    try:
        with Bar() as bar:
            read = read_and_judge(asked, bar.told, resume=resume, replace=replace)
            finished = finish(read, paint_page(asked.page_walls), bar.told)
    except KeyboardInterrupt:
        typer.echo(f"What is done so far is kept in {output}: go on with the same command and --resume", err=True)
        raise
    typer.echo(render_check(finished, output, read.rechecked), nl=False)
    found = finished.totals
    settled = found.walls.agree + found.walls.not_recorded == found.rows
    return 0 if settled else 1


def _check(
    paths: list[pathlib.Path],
    output: pathlib.Path,
    mapping: pathlib.Path | None,
    rules: str | None,
    earlier: str | None,
    as_of: str | None,
    workers: int | None,
    batch: int | None,
    page_walls: int | None,
) -> Check:
    from engine.archive.judging import ByRules
    from engine.archive.mapping import read_mapping
    from engine.archive.run import BATCH, Check
    from engine.rulebase.load import versions
    from engine.rulebase.versions import rule_base_for

    on = day(as_of, "--as-of") or dt.date.today()
    names = [manifest.version for manifest in versions()]
    check_versions([(option, name) for option, name in (("--rules", rules), ("--earlier", earlier)) if name], names)
    for name in filter(None, (rules, earlier)):
        rule_base_for(name, on)
    more: dict[str, Any] = {} if page_walls is None else {"page_walls": page_walls}
    return Check(
        tuple(map(str, paths)),
        output,
        on,
        None if mapping is None else read_mapping(mapping),
        ByRules(rules, earlier),
        batch or BATCH,
        workers,
        **more,
    )


app.command("map")(archive_map)
app.command("impact")(archive_impact)
