"""`bedjoint override`: a reviewer's word against the engine's, held in a record beside it."""

from __future__ import annotations

import datetime as dt
import pathlib
from typing import TYPE_CHECKING, Annotated

import typer

from cli.completion import choice_options
from cli.inputs import day
from cli.output import deliver
from engine.errors import BadInput, Problem

if TYPE_CHECKING:
    from engine.record.model import Record
    from engine.record.verification import OverrideState

EPILOG = "Exit codes: 0 the override was added; 2 bad input, and nothing was written; 3 internal error."


def override(
    record: Annotated[str, typer.Argument(metavar="RECORD", help="A record that `assess --record` wrote.")],
    wall: Annotated[str, typer.Option("--wall", metavar="ID", help="The wall it is for.")],
    to: Annotated[
        str,
        typer.Option(
            "--to",
            metavar="CHOICE=OPTION",
            autocompletion=choice_options,
            help="The option to take instead; or SET=+MEMBER, SET=-MEMBER to add or take away, such as a work.",
        ),
    ],
    who: Annotated[str, typer.Option("--who", help="Who answers for it.")],
    why: Annotated[str, typer.Option("--why", help="The reason.")],
    until: Annotated[
        str | None, typer.Option("--until", metavar="DAY", help="The last day on which it counts (YYYY-MM-DD).")
    ] = None,
) -> int:
    """Add a reviewer's override to a record; the engine's decision stays in it as it was."""
    # Imported here so that `--help` and `version` need not wait for the engine.
    from cli.record_files import read_bytes
    from cli.record_option import write_record
    from cli.render_record import override_text
    from cli.verify_command import recorded_rules
    from engine.record.build import text_of
    from engine.record.overrides import Said, survey_of, with_override
    from engine.record.read import parse_record
    from engine.record.verify import altered_in, override_seen

    last = day(until, "--until")
    path = pathlib.Path(record)
    stored = parse_record(read_bytes(record), record)
    altered = altered_in(stored)
    if altered:
        message = f"was altered after it was written ({', '.join(altered)}), so that nothing can be added to it"
        raise BadInput(
            [Problem(record, 0, 0, "RECORD", message, allowed="a record that `bedjoint verify` finds whole")]
        )
    base = recorded_rules(stored)
    if base is None:
        message = f"was judged by version {stored.record.rules.version} of the rules, which is not here"
        raise BadInput([Problem(record, 0, 0, "RECORD", message, allowed="the program it was written with")])
    text = text_of(with_override(stored, wall, to, Said(who, why, dt.date.today(), last), base))
    after = parse_record(text.encode(), record)
    seen = override_seen(after, len(after.record.overrides), _state(after.record), base, survey_of(after))
    page = override_text(seen, after.record.limits)
    # A link stays a link: the file it leads to is replaced.
    write_record(text, path.resolve() if path.is_symlink() else path, "RECORD")
    deliver(page, None)
    return 0


def _state(record: Record) -> OverrideState:
    """The state of the override that was added last, on the day it was."""
    from engine.record.overrides import is_so

    last = record.overrides[-1]
    wall = record.decision.wall(last.wall)
    return "went_back" if wall is not None and is_so(wall, last) else "counts"
