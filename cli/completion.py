"""What the shell offers while a command is typed: ids, choices, options, facts, versions.

Nothing here ever fails or prints. Where the rules cannot be read there is nothing to offer.
"""

from __future__ import annotations

import contextlib
import datetime as dt
import functools
import io
import os
import shlex
import textwrap
from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING

import typer

if TYPE_CHECKING:
    from engine.rulebase.rules import RuleBase

Offer = tuple[str, str]
"""What would be typed, and what it is."""

_HELP_WIDTH = 60


def quiet(function: Callable[[typer.Context, str], Iterable[Offer]]) -> Callable[[typer.Context, str], list[Offer]]:
    """Make a source of offers that says nothing else, and has nothing to offer where it fails."""

    @functools.wraps(function)
    def offered(ctx: typer.Context, incomplete: str) -> list[Offer]:
        silent = io.StringIO()
        with contextlib.redirect_stdout(silent), contextlib.redirect_stderr(silent):
            try:
                return _fitting(function(ctx, incomplete), incomplete)
            except Exception:
                return []

    return offered


@quiet
def explain_ids(ctx: typer.Context, incomplete: str) -> Iterable[Offer]:
    """Everything that `explain` has a page for, the short names of works, cautions and words of the trade included."""
    from engine.reasoning.pages import page_index

    index = page_index(_rule_base(ctx))
    for id_, ref in index.refs.items():
        yield id_, ref.title
    for name, ref in index.short_names():
        yield name, ref.title


@quiet
def rule_ids(ctx: typer.Context, incomplete: str) -> Iterable[Offer]:
    """The ids of the rules."""
    return ((rule.id, rule.title) for rule in _rule_base(ctx).rules)


@quiet
def choice_ids(ctx: typer.Context, incomplete: str) -> Iterable[Offer]:
    """The ids of the choices."""
    return ((choice.id, choice.title) for choice in _rule_base(ctx).choices.values())


@quiet
def choice_options(ctx: typer.Context, incomplete: str) -> Iterable[Offer]:
    """Every option of every choice, as CHOICE=OPTION."""
    for choice in _rule_base(ctx).choices.values():
        for option in choice.options:
            yield f"{choice.id}={option.id}", option.says


@quiet
def set_members(ctx: typer.Context, incomplete: str) -> Iterable[Offer]:
    """Every work, test, notice, caution and cause, as SET=MEMBER."""
    for name, members in _rule_base(ctx).members.items():
        for member in members.values():
            yield f"{name}={member.id}", member.says


@quiet
def subjects(ctx: typer.Context, incomplete: str) -> Iterable[Offer]:
    """What can be asked about: choices and their options, rules, members of sets."""
    several = (choice_ids, choice_options, rule_ids, set_members)
    return [offer for each in several for offer in each(ctx, incomplete)]


@quiet
def fact_names(ctx: typer.Context, incomplete: str) -> Iterable[Offer]:
    """The names of the facts."""
    from engine.facts.vocabulary import facts

    return ((name, fact.question) for name, fact in facts().items())


@quiet
def fact_settings(ctx: typer.Context, incomplete: str) -> Iterable[Offer]:
    """For `--set`: every fact as `PATH=`, and once that is typed the values that can be listed."""
    from engine.facts.vocabulary import facts

    whole = _before_equals() + incomplete
    for name, fact in facts().items():
        if "=" not in whole:
            yield f"{name}=", fact.question
        elif whole.startswith(f"{name}="):
            values = fact.options if fact.kind == "choice" else ("yes", "no") if fact.kind == "yes_no" else ()
            for value in (*values, *(f"[{option}]" for option in fact.options if fact.kind == "set"), "unknown"):
                yield f"{name}={value}", fact.question


@quiet
def rule_versions(ctx: typer.Context, incomplete: str) -> Iterable[Offer]:
    """The versions of the rules."""
    from engine.rulebase.load import versions

    return ((each.version, f"in force from {each.in_force_from}") for each in versions())


@quiet
def stages(ctx: typer.Context, incomplete: str) -> Iterable[Offer]:
    """The stages, in order."""
    from engine.rulebase.model import STAGES

    base = _rule_base(ctx)
    return ((stage, f"{len(base.by_stage[stage])} rules") for stage in STAGES)


def _rule_base(ctx: typer.Context) -> RuleBase:
    """The version named by `--rules` earlier on the line, else the one in force today."""
    from engine.rulebase.versions import rule_base_for

    version = ctx.params.get("rules")
    return rule_base_for(version if isinstance(version, str) else None, dt.date.today())


def _fitting(offers: Iterable[Offer], incomplete: str) -> list[Offer]:
    """The offers that go on from what is typed, capitals or not, once each."""
    before = _before_equals()
    wanted = (before + incomplete).casefold()
    found: dict[str, str] = {}
    for value, says in offers:
        if value.casefold().startswith(wanted):
            # The shell keeps only what begins as it was typed, capitals included, and replaces what it calls the word.
            typed = incomplete + value[len(before + incomplete) :]
            found.setdefault(typed, _short(says))
    return list(found.items())


def _short(says: str) -> str:
    """What an offer is, on one line of a menu; without the brackets that the shell's helper takes for markup."""
    plain = says.replace("[", "(").replace("]", ")")
    return textwrap.shorten(plain, _HELP_WIDTH, placeholder=" ...")


def _before_equals() -> str:
    """What bash cut off from the word: it takes `=` for the end of one, so that `medium=cr` reaches us as `cr`."""
    if "COMP_WORDS" not in os.environ:
        return ""
    words = shlex.split(os.environ["COMP_WORDS"].replace("\n", " "))
    at = int(os.environ.get("COMP_CWORD", "0"))
    here = words[at] if at < len(words) else ""
    if here == "=" and at >= 1:
        return f"{words[at - 1]}="
    if at >= 2 and words[at - 1] == "=":
        return f"{words[at - 2]}="
    return ""
