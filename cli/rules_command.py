"""`bedjoint rules`: look into the rule base."""

from __future__ import annotations

import datetime as dt
import difflib
import enum
import json
import pathlib
from typing import Annotated

import typer

from cli.completion import rule_ids
from cli.output import deliver
from cli.render_graph import Format as Picture
from cli.render_graph import written
from cli.rules_check_command import check_rules
from cli.rules_compare_command import compare_versions
from cli.rules_new_command import new_rule, seal
from cli.rules_test_command import run_examples
from engine.errors import BadInput, Problem

app = typer.Typer(help="Look into the rule base.", no_args_is_help=True, rich_markup_mode=None)


class Format(enum.StrEnum):
    """How rules are shown."""

    TEXT = "text"
    JSON = "json"


Version = Annotated[str | None, typer.Option("--rules", help="Version of the rules; else the one in force today.")]
Shown = Annotated[Format, typer.Option("--format", help="How to show them.")]


@app.command("list")
def list_rules(
    rules: Version = None,
    stage: Annotated[str | None, typer.Option("--stage", help="Only the rules of this stage.")] = None,
    format: Shown = Format.TEXT,
) -> None:
    """List the rules: id, how strongly each speaks, and what it decides."""
    from cli.render_rules import list_as_json, list_as_text
    from engine.rulebase.model import STAGES
    from engine.rulebase.versions import rule_base_for

    base = rule_base_for(rules, dt.date.today())
    if stage is not None and stage not in STAGES:
        near = difflib.get_close_matches(stage, STAGES, 1, 0.5)
        hint = f"did you mean {near[0]}?" if near else ""
        raise BadInput([Problem("", 0, 0, "--stage", "no such stage", stage, ", ".join(STAGES), hint)])
    stages = STAGES if stage is None else (stage,)
    deliver(list_as_text(base, stages) if format is Format.TEXT else list_as_json(base, stages), None)


@app.command("show")
def show_rule(
    rule_id: Annotated[
        str, typer.Argument(metavar="ID", help="Id of a rule, as `rules list` shows it.", autocompletion=rule_ids)
    ],
    rules: Version = None,
    format: Shown = Format.TEXT,
) -> None:
    """Show one rule: what it decides, why, its limits, examples and sources."""
    from cli.render_rules import rule_as_data, rule_as_text
    from engine.rulebase.versions import rule_base_for

    base = rule_base_for(rules, dt.date.today())
    rule = base.by_id.get(rule_id.upper())
    if rule is None:
        near = difflib.get_close_matches(rule_id.upper(), base.by_id, 3, 0.5)
        hint = f"did you mean {' or '.join(near)}?" if near else ""
        raise BadInput([Problem("", 0, 0, "ID", "no such rule", rule_id, "an id that `rules list` shows", hint)])
    if format is Format.TEXT:
        deliver(rule_as_text(rule, base), None)
    else:
        deliver(json.dumps(rule_as_data(rule, base), indent=2, ensure_ascii=False) + "\n", None)


@app.command("graph")
def graph_rules(
    rules: Version = None,
    stage: Annotated[str | None, typer.Option("--stage", help="Only the rules of this stage.")] = None,
    choice: Annotated[
        str | None, typer.Option("--choice", help="Only this choice with its options, or this set with its members.")
    ] = None,
    rule: Annotated[str | None, typer.Option("--rule", help="Only this rule.")] = None,
    format: Annotated[Picture, typer.Option("--format", help="How to write it.")] = Picture.MERMAID,
    output: Annotated[pathlib.Path | None, typer.Option("--output", help="Write to this file instead.")] = None,
) -> None:
    """Draw the rule base: what the rules read, what they decide, and what later stages read of that."""
    from engine.reasoning.graph_rules import graph_of
    from engine.rulebase.versions import rule_base_for

    picture = graph_of(rule_base_for(rules, dt.date.today()), stage=stage, choice=choice, rule=rule)
    deliver(written(picture, format), output)


app.command("check")(check_rules)
app.command("compare")(compare_versions)
app.command("new")(new_rule)
app.command("seal")(seal)
app.command("test")(run_examples)
