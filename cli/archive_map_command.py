"""`bedjoint archive map`: how a firm's own sheet of past jobs may be read."""

from __future__ import annotations

import enum
import pathlib
import sys
from typing import Annotated

import typer

from cli.mapping_example import EXAMPLE
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
    replace: Annotated[bool, typer.Option("--replace", help="Write over the mapping file that is there.")] = False,
) -> None:
    """Propose a mapping: which column each header stands for, and which word of ours each word in the cells."""
    if output is not None and output.is_file() and not replace:
        message = "is there already, and may have been mended by hand"
        hint = "another file, or --replace to write over it"
        raise BadInput([Problem(str(output), 0, 0, "--output", message, hint=hint)])
    from cli.render_mapping import as_text, comments
    from engine.archive.headers import propose
    from engine.archive.headers_read import head_of
    from engine.archive.mapping import mapping_text

    head = head_of(path)
    if head.form:
        message = "is the survey form and needs no mapping"
        raise BadInput([Problem(str(path), 0, 0, "", message, allowed="a sheet of your own")])
    proposal = propose(head.headers, head.rows, head.at)
    written = mapping_text(proposal.mapping, comments(head, proposal))
    if format is Format.YAML and output is None:
        deliver(written, None)
        return
    if output is not None:
        deliver(written, output, [str(path)])
    if format is Format.TEXT:
        sys.stdout.write(as_text(head, proposal, str(output) if output else ""))


# The command is registered elsewhere: what its help says of the file comes with its own text.
archive_map.__doc__ = "\n\n".join((archive_map.__doc__ or "", "What may stand in a mapping file:", f"\b\n{EXAMPLE}"))
