"""`bedjoint rules new`: a rule to be filled in; `bedjoint rules seal`: the digest of a version recorded for good."""

from __future__ import annotations

import datetime as dt
import difflib
from typing import TYPE_CHECKING, Annotated

import typer

from cli.completion import fact_names, rule_versions, set_members, stages
from cli.output import deliver
from engine.errors import BadInput, Problem

if TYPE_CHECKING:
    from engine.rulebase.load import VersionRead

Pairs = list[str] | None


def new_rule(
    rule_id: Annotated[
        str, typer.Argument(metavar="ID", help="The new id; letters alone take the next free number after theirs.")
    ],
    rules: Annotated[
        str | None,
        typer.Option("--rules", help="Version it is for; else the newest.", autocompletion=rule_versions),
    ] = None,
    stage: Annotated[
        str | None, typer.Option("--stage", help="Its stage; else that of its letters.", autocompletion=stages)
    ] = None,
    reads: Annotated[
        Pairs,
        typer.Option(
            "--reads", metavar="VARIABLE", help="A fact it asks for; may be repeated.", autocompletion=fact_names
        ),
    ] = None,
    choice: Annotated[
        Pairs, typer.Option("--choice", metavar="CHOICE=OPTION", help="An option it supports; may be repeated.")
    ] = None,
    rules_out: Annotated[
        Pairs, typer.Option("--rules-out", metavar="CHOICE=OPTION", help="An option it rules out; may be repeated.")
    ] = None,
    adds: Annotated[
        Pairs,
        typer.Option(
            "--adds", metavar="SET=MEMBER", help="A member it adds; may be repeated.", autocompletion=set_members
        ),
    ] = None,
    write: Annotated[
        bool, typer.Option("--write", help="Write it into the version, which may be neither in force nor sealed.")
    ] = False,
) -> None:
    """Write the YAML of a new rule, every field explained, with its examples: to be filled in."""
    from engine.audit.ids import ids_used
    from engine.audit.scaffold import Wanted, new_id, refuse_what_may_not_change, scaffold, stage_of, with_rule

    used = ids_used()
    wanted_id = new_id(rule_id, used)
    its_stage = stage_of(wanted_id, stage, used)
    read = _version(rules)
    wanted = Wanted(tuple(reads or ()), tuple(choice or ()), tuple(rules_out or ()), tuple(adds or ()))
    text = scaffold(read, wanted_id, its_stage, wanted)
    if not write:
        deliver(text, None)
        return
    refuse_what_may_not_change(read, dt.date.today())
    path, whole, line = with_rule(read, its_stage, text)
    deliver(whole, path)
    deliver(
        f"{wanted_id} stands in rules/{read.version}/rules/{its_stage}.yaml from line {line}.\n"
        f"Rules {read.version} cannot be used until every TODO in it is filled in:\n"
        f"  bedjoint rules check {read.version}\n",
        None,
    )


def seal(
    version: Annotated[
        str, typer.Argument(metavar="VERSION", help="Version of the rules.", autocompletion=rule_versions)
    ],
) -> None:
    """Record the digest of a version for good: from then on `rules check` tells if anything in it changes."""
    from engine.audit.check import Wanted, check
    from engine.audit.digests import sealed_text
    from engine.rulebase.load import rules_folder
    from engine.rulebase.sealed import FILE

    today = dt.date.today()
    text = sealed_text(version, today, rules_folder())
    against = [
        each
        for each in check(version, Wanted(today, (), folder=rules_folder())).findings
        if each.level == "error" and each.accepted is None and each.check != "digest-not-recorded"
    ]
    if against:
        raise BadInput(
            Problem(*((each.at.file, each.at.line, each.at.column) if each.at else ("", 0, 0)), each.check, each.says)
            for each in against
        )
    deliver(text, rules_folder() / FILE)
    deliver(f"Rules {version} are sealed.\n", None)


def _version(asked: str | None) -> VersionRead:
    """The version asked for, or the newest; it may be one that does not load.

    Raises:
        BadInput: no such version.
    """
    from engine.rulebase.load import read_manifests, read_version

    manifests, problems = read_manifests()
    if asked is None:
        if not manifests:
            raise BadInput(problems)
        return read_version(max(manifests, key=lambda name: (manifests[name].in_force_from, name)))
    if asked not in manifests:
        near = difflib.get_close_matches(asked, manifests, 1, 0.5)
        hint = f"did you mean {near[0]}?" if near else ""
        raise BadInput(
            [Problem("", 0, 0, "--rules", "no such version of the rules", asked, ", ".join(manifests), hint)]
        )
    return read_version(asked)
