"""What the practice commands share: the rules, the choices asked about, and the surveys that cases are drawn from."""

from __future__ import annotations

import datetime as dt
import os
import pathlib
from typing import TYPE_CHECKING, Annotated

import typer

from engine.errors import BadInput, Problem

if TYPE_CHECKING:
    from engine.practice.generator import Cases
    from engine.practice.turning import Subject
    from engine.rulebase.rules import RuleBase

WORKS = "works"
"""The set of works, by its id."""
_TURNING_STAGES = ("suitability", "line", "medium")
"""A case turns on a choice of one of these stages: the verdict, the line, the medium."""
_DEMO = "scenarios_demo"

Seed = Annotated[
    int | None, typer.Option("--seed", metavar="N", help="The same cases for all who give this number and level.")
]
Level = Annotated[
    int | None,
    typer.Option("--level", metavar="1..5", help="How hard; else your own level, or 1 where there is a seed."),
]
From = Annotated[
    str | None,
    typer.Option("--from", metavar="FOLDER", help="Draw walls from these surveys too, not only made-up ones."),
]
Rules = Annotated[str | None, typer.Option("--rules", help="Practise on this version of the rules; else today's.")]


def practice_cases(rules: str | None, folder: str | None) -> Cases:
    """What makes the cases.

    Raises:
        BadInput: no such rules, or a survey that cannot be used.
    """
    from cli.inputs import read_surveys
    from engine.facts.amend import LATEST
    from engine.practice.generator import Cases
    from engine.rulebase.versions import rule_base_for

    base = rule_base_for(rules, dt.date.today())
    cases = Cases(base, subject_of(base), read_surveys([folder], LATEST) if folder else ())
    if folder and not cases.walls_given:
        allowed = "surveys that settle every choice asked about"
        raise BadInput([Problem("", 0, 0, "--from", "holds no wall that can become a case", folder, allowed)])
    return cases


def subject_of(base: RuleBase) -> Subject:
    """The main choices of a rule base, in the order of their stages."""
    from cli.wording import MAIN_CHOICES
    from engine.practice.turning import Subject

    choices = tuple(each for each in base.choices if each in MAIN_CHOICES)
    turning = tuple(each for each in choices if base.choices[each].stage in _TURNING_STAGES)
    return Subject(choices, turning, WORKS)


def demo_folder() -> str | None:
    """The project's demonstration surveys, where they lie beside the program."""
    import engine

    folder = pathlib.Path(engine.__file__).parent.parent / _DEMO
    if not folder.is_dir():
        return None
    try:
        near = os.path.relpath(folder)
    except ValueError:  # on another drive
        return str(folder)
    return near if not near.startswith("..") else str(folder)


def count_of(text: str | None) -> int | None:
    """How many cases are asked for.

    Raises:
        BadInput: not a whole number.
    """
    if text is None:
        return None
    if not (text.isascii() and text.isdigit() and len(text) < 10):
        hint = "a folder of surveys to draw from is named by --from"
        raise BadInput([Problem("", 0, 0, "--cases", "is not a number of cases", text, "such as 5", hint)])
    return int(text)


def checked_options(seed: int | None, level: int | None, cases: int | None) -> None:
    """Refuse numbers out of limits, all at once.

    Raises:
        BadInput: with every one of them.
    """
    from engine.practice.settings import LEVELS, MOST_CASES, MOST_SEED

    limits = (("--seed", seed, 0, MOST_SEED), ("--level", level, 1, len(LEVELS)), ("--cases", cases, 1, MOST_CASES))
    problems = [
        Problem("", 0, 0, option, "is out of limits", str(given), f"whole number from {low} to {high}")
        for option, given, low, high in limits
        if given is not None and not low <= given <= high
    ]
    if problems:
        raise BadInput(problems)
