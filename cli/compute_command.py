"""`bedjoint compute`: one calculation with values given on the command line."""

from __future__ import annotations

import difflib
import enum
import json
import math
import re
from collections.abc import Collection, Mapping, Sequence
from typing import TYPE_CHECKING, Annotated, Any

import typer

from cli.output import deliver
from engine.errors import BadInput, Problem

if TYPE_CHECKING:
    from engine.readings.calculator import Arguments, Calculation, Parameter, Result
    from engine.readings.figures import ReadingFigures

_NUMBER = re.compile(r"[+-]?([0-9]+(\.[0-9]*)?|\.[0-9]+)([eE][+-]?[0-9]+)?")
_GREATEST = 1e9
_DIGITS = 4


class Format(enum.StrEnum):
    """How a result is shown."""

    TEXT = "text"
    JSON = "json"


def compute(
    name: Annotated[str | None, typer.Argument(metavar="NAME", help="Which calculation; see --list.")] = None,
    values: Annotated[
        list[str] | None, typer.Argument(metavar="KEY=VALUE...", help="What it needs, units as in --list.")
    ] = None,
    list_all: Annotated[bool, typer.Option("--list", help="List the calculations and what each needs.")] = False,
    format: Annotated[Format, typer.Option("--format", help="How to show it.")] = Format.TEXT,
) -> None:
    """Do one calculation: dew point, moisture from masses, rise, drying, salts, vents, dose and the like."""
    known = _calculations()
    if list_all:
        if name is not None:
            raise BadInput([Problem("", 0, 0, "--list", "stands alone", name)])
        deliver(
            _as_json([_described(each) for each in known.values()]) if format is Format.JSON else _listed(known), None
        )
        return
    chosen = known.get(name or "")
    if chosen is None:
        message = "no such calculation" if name else "is missing: name a calculation, or ask for --list"
        raise BadInput([Problem("", 0, 0, "NAME", message, name or "", ", ".join(known), _near(name or "", known))])
    given = _arguments(chosen, values or [])
    figures, version = _figures()
    try:
        results = chosen.run(given, figures)
    except ValueError as error:
        raise BadInput([Problem("", 0, 0, chosen.name, part) for part in str(error).split("; ")]) from None
    except ArithmeticError:
        results = ()
    if not results or not all(math.isfinite(r.value) for r in results if isinstance(r.value, float)):
        raise BadInput([Problem("", 0, 0, chosen.name, "no result: the values are too far out", "", chosen.limits)])
    show = _result_as_data if format is Format.JSON else _result_as_text
    deliver(show(chosen, given, results, version), None)


def _calculations() -> dict[str, Calculation]:
    from engine.facts.vocabulary import facts
    from engine.readings.calculator import calculations
    from engine.schedule.dose_calculation import DOSE

    every = (*calculations(facts()["build.unit_kind"].options), DOSE)
    return {each.name: each for each in every}


def _figures() -> tuple[ReadingFigures, str]:
    """The figures of the newest version of the rules, and its name."""
    from engine.rulebase.load import load_rule_base, versions
    from engine.rulebase.reading_figures import reading_figures

    version = versions()[-1].version
    figures = reading_figures(load_rule_base(version).tables)
    assert figures is not None  # a version that loads has its tables
    return figures, version


def _arguments(chosen: Calculation, values: Sequence[str]) -> Arguments:
    """The values, checked for name, kind and completeness; every problem at once."""
    from engine.readings.calculator import Arguments

    parameters = {each.name: each for each in chosen.parameters}
    numbers: dict[str, float] = {}
    words: dict[str, str] = {}
    named: set[str] = set()
    problems = []
    for each in values:
        key, equals, value = each.partition("=")
        parameter = parameters.get(key)
        if not equals:
            problems.append(Problem("", 0, 0, each, "is not KEY=VALUE", allowed=", ".join(parameters)))
        elif parameter is None:
            near = _near(key, parameters)
            problems.append(
                Problem("", 0, 0, key, f"{chosen.name} takes no such value", "", ", ".join(parameters), near)
            )
        elif key in named:
            problems.append(Problem("", 0, 0, key, "is given twice"))
        elif parameter.words:
            words[key] = value
            if value not in parameter.words:
                near = _near(value, parameter.words)
                problems.append(
                    Problem("", 0, 0, key, "not one of its values", value, ", ".join(parameter.words), near)
                )
        elif not _NUMBER.fullmatch(value) or not abs(float(value)) <= _GREATEST:
            allowed = f"a number{f' in {parameter.unit}' if parameter.unit else ''}, as 12.5"
            problems.append(Problem("", 0, 0, key, "is not a usable number", value, allowed))
        else:
            numbers[key] = float(value)
        named.add(key)
    problems += [
        Problem("", 0, 0, each.name, f"is missing: {each.says}", allowed=_what(each))
        for each in chosen.parameters
        if each.needed and each.name not in named
    ]
    if problems:
        raise BadInput(problems)
    return Arguments(numbers, words)


def _near(word: str, names: Collection[str]) -> str:
    near = difflib.get_close_matches(word, names, 3, 0.5)
    return f"did you mean {' or '.join(near)}?" if near else ""


def _what(parameter: Parameter) -> str:
    return ", ".join(parameter.words) or (f"a number in {parameter.unit}" if parameter.unit else "a number")


def _listed(known: Mapping[str, Calculation]) -> str:
    from cli.terminal import Page

    page = Page()
    for each in known.values():
        page.line(f"{each.name}: {each.title}", "bold")
        page.rows(
            (
                (p.name if p.needed else f"[{p.name}]", "; ".join((p.says or p.name, _what(p))), "")
                for p in each.parameters
            ),
            28,
        )
        page.rows((("source", each.source, ""), ("limits", each.limits, "")), 28)
        page.blank()
    page.line("In [ ]: may be left out. For example: bedjoint compute dew_point air_c=20 rh_percent=60")
    return page.text()


def _described(each: Calculation) -> dict[str, Any]:
    return {
        "name": each.name,
        "title": each.title,
        "parameters": [
            {"name": p.name, "unit": p.unit, "says": p.says, "needed": p.needed, "words": list(p.words)}
            for p in each.parameters
        ],
        "source": each.source,
        "limits": each.limits,
    }


def _result_as_text(chosen: Calculation, given: Arguments, results: Sequence[Result], version: str) -> str:
    from cli.terminal import Page

    page = Page()
    page.line(chosen.title, "bold")
    rows = []
    for result in results:
        shown = f"{_shown(result.value)} {result.unit}".rstrip()
        rows.append((result.name, f"{shown}  ({result.source})" if result.source else shown, ""))
    page.rows(rows, max(len(result.name) for result in results))
    page.rows((("source", chosen.source, ""), ("limits", chosen.limits, "")), 6)
    page.line(f"  published figures, where it takes any, from rules {version}")
    return page.text()


def _result_as_data(chosen: Calculation, given: Arguments, results: Sequence[Result], version: str) -> str:
    return _as_json(
        {
            "name": chosen.name,
            "given": {**given.numbers, **given.words},
            "results": [
                {"name": r.name, "value": r.value, "unit": r.unit, **({"source": r.source} if r.source else {})}
                for r in results
            ],
            "source": chosen.source,
            "limits": chosen.limits,
            "rules": version,
        }
    )


def _as_json(data: Any) -> str:
    return json.dumps(data, indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def _shown(value: float | str | bool) -> str:
    """A value in words, or to four significant digits with none of a whole number's digits lost."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, str):
        return value
    before = math.floor(math.log10(abs(value))) + 1 if value else 1
    return f"{value:.{max(0, _DIGITS - before)}f}"
