"""`bedjoint archive map`: how a firm's own sheet of past jobs may be read."""

from __future__ import annotations

import enum
import pathlib
import sys
from typing import Annotated

import typer

from cli.output import deliver
from engine.errors import BadInput, Problem


class Format(enum.StrEnum):
    """What is printed."""

    TEXT = "text"
    YAML = "yaml"


def archive_map(
    path: Annotated[pathlib.Path, typer.Argument(help="A CSV, XLSX, Parquet or JSON Lines file of past jobs.")],
    output: Annotated[
        pathlib.Path | None, typer.Option("--output", help="Write the mapping to this file, and print the report.")
    ] = None,
    format: Annotated[
        Format, typer.Option("--format", help="text: what was placed and why; yaml: the mapping itself.")
    ] = Format.TEXT,
) -> None:
    """Propose a mapping: which column each header stands for, and which word of ours each word in the cells."""
    from cli.render_mapping import as_text, comments
    from engine.archive.headers import propose
    from engine.archive.headers_read import head_of
    from engine.archive.mapping import mapping_text

    head = head_of(path)
    if head.form:
        message = "is the survey form and needs no mapping"
        raise BadInput([Problem(str(path), 0, 0, "", message, allowed="a sheet of your own")])
    proposal = propose(head.headers, head.rows)
    written = mapping_text(proposal.mapping, comments(head, proposal))
    if format is Format.YAML and output is None:
        deliver(written, None)
        return
    if output is not None:
        deliver(written, output, [str(path)])
    if format is Format.TEXT:
        sys.stdout.write(as_text(head, proposal, str(output) if output else ""))
