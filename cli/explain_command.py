"""`bedjoint explain`: one page on a rule, a fact, a caution, a source, a word of the trade."""

from __future__ import annotations

import datetime as dt
import enum
import pathlib
from typing import Annotated

import typer

from cli.completion import explain_ids, rule_versions
from cli.output import deliver
from engine.errors import BadInput, Problem


class Format(enum.StrEnum):
    """How a page is shown."""

    TEXT = "text"
    MARKDOWN = "markdown"
    JSON = "json"


def explain(
    term: Annotated[
        list[str] | None,
        typer.Argument(
            metavar="TERM",
            help="An id, the beginning of one, a word of the trade, or words of a title.",
            autocompletion=explain_ids,
        ),
    ] = None,
    rules: Annotated[
        str | None,
        typer.Option(
            "--rules", help="Version of the rules; else the one in force today.", autocompletion=rule_versions
        ),
    ] = None,
    format: Annotated[Format, typer.Option("--format", help="How to show it.")] = Format.TEXT,
    every: Annotated[bool, typer.Option("--all", help="Every page, with a table of contents in Markdown.")] = False,
    ids: Annotated[bool, typer.Option("--list", help="List what there is to explain, by kind.")] = False,
    output: Annotated[pathlib.Path | None, typer.Option("--output", help="Write to this file instead.")] = None,
) -> None:
    """Explain a rule, fact, reading, choice, work, caution, source or word of the trade."""
    from cli.render_pages import as_json, as_markdown, as_text
    from engine.reasoning.pages import everything, explained, listing, page_index
    from engine.rulebase.versions import rule_base_for

    asked = " ".join(term or ()).strip()
    _check(asked, every, ids)
    index = page_index(rule_base_for(rules, dt.date.today()))
    found = everything(index) if every else listing(index) if ids else explained(index, asked)
    if format is Format.TEXT:
        deliver(as_text(found, plain=output is not None), output)
    else:
        deliver(as_markdown(found) if format is Format.MARKDOWN else as_json(found), output)


def _check(asked: str, every: bool, ids: bool) -> None:
    """Refuse a call that asks for nothing, or for several things at once.

    Raises:
        BadInput: what is missing or too much.
    """
    wanted = [name for name, given in (("TERM", bool(asked)), ("--all", every), ("--list", ids)) if given]
    if not wanted:
        allowed = "an id such as a rule's, a word of the trade, --list, or --all"
        raise BadInput([Problem("", 0, 0, "TERM", "is missing: say what to explain", allowed=allowed)])
    if len(wanted) > 1:
        raise BadInput([Problem("", 0, 0, " and ".join(wanted), "do not go together: each stands alone")])
