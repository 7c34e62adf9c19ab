"""`bedjoint rules test`: rules run on their own examples, and on decision vectors."""

from __future__ import annotations

import datetime as dt
import difflib
import enum
import json
import pathlib
import string
from collections.abc import Iterator
from typing import TYPE_CHECKING, Annotated

import typer

from cli.completion import rule_ids, rule_versions
from cli.output import deliver
from engine.errors import EXIT_OPEN, EXIT_SETTLED, BadInput, Problem

if TYPE_CHECKING:
    from cli.terminal import Page
    from engine.audit.examples_run import ExampleRun, RulesTested, RuleTested, VectorRun
    from engine.rulebase.rules import Rule, RuleBase

_LETTERS = string.ascii_lowercase + string.ascii_uppercase + string.digits
_MARKS = {"true": "T", "false": "F", "unknown": "?"}
_MOST_APART = 20


class Format(enum.StrEnum):
    """How the outcome is shown."""

    TEXT = "text"
    JSON = "json"


def run_examples(
    ids: Annotated[
        list[str] | None,
        typer.Argument(metavar="[ID...]", help="Ids of rules; without any, all of them.", autocompletion=rule_ids),
    ] = None,
    rules: Annotated[
        str | None,
        typer.Option("--rules", help="Version of the rules; else the newest.", autocompletion=rule_versions),
    ] = None,
    vectors: Annotated[
        pathlib.Path | None, typer.Option("--vectors", help="Folder of decision vectors to run them on as well.")
    ] = None,
    format: Annotated[Format, typer.Option("--format", help="How to show it.")] = Format.TEXT,
) -> int:
    """Run rules on their own examples: each holds on its example, not without a fact of it, on nothing near it."""
    from engine.audit.examples_run_vectors import run_rules
    from engine.rulebase.load import versions
    from engine.rulebase.versions import rule_base_for

    today = dt.date.today()
    base = rule_base_for(rules or versions()[-1].version, today)
    outcome = run_rules(base, _rules(base, ids), vectors, today)
    if format is Format.JSON:
        data = outcome.model_dump(mode="json")
        deliver(json.dumps(data, ensure_ascii=False, indent=2) + "\n", None)
    else:
        deliver(_text(outcome, every=bool(ids)), None)
    return EXIT_SETTLED if outcome.passed else EXIT_OPEN


def _rules(base: RuleBase, ids: list[str] | None) -> list[Rule]:
    """The rules asked for, once each; all of them where none is.

    Raises:
        BadInput: with every id that is not there.
    """
    problems = []
    for each in ids or ():
        if each.upper() not in base.by_id:
            near = difflib.get_close_matches(each.upper(), base.by_id, 3, 0.5)
            hint = f"did you mean {' or '.join(near)}?" if near else ""
            problems.append(Problem("", 0, 0, "ID", "no such rule", each, "an id that `rules list` shows", hint))
    if problems:
        raise BadInput(problems)
    return [base.by_id[name] for name in dict.fromkeys(each.upper() for each in ids or base.by_id)]


def _text(outcome: RulesTested, *, every: bool) -> str:
    """The rules asked for in full; of all rules only those that failed."""
    from cli.terminal import Page

    page = Page()
    shown = [each for each in outcome.tested if every or not each.passed]
    for number, each in enumerate(shown):
        if number:
            page.blank()
        _rule(page, each, outcome)
    if shown:
        page.blank()
    runs = sum(len(each.runs) for each in outcome.tested)
    failed = [each.id for each in outcome.tested if not each.passed]
    count = f"{len(outcome.tested)} rule{'' if len(outcome.tested) == 1 else 's'} of {outcome.rules}, {runs} cases"
    page.line(f"{count}: " + (f"{len(failed)} failed: {', '.join(failed)}" if failed else "all as they should be"))
    return page.text()


def _rule(page: Page, tested: RuleTested, outcome: RulesTested) -> None:
    page.line(f"{tested.id}  {tested.title}", "bold")
    page.line(f"rules {outcome.rules}; {tested.where}")
    page.heading("Its tests")
    page.rows(((letter, words, "") for letter, words in zip(_LETTERS, tested.tests, strict=False)), 2)
    page.heading("Its example")
    names = max((len(name) for name in tested.example), default=0)
    page.rows(((name, _value(value), "") for name, value in tested.example.items()), min(names, 34))
    page.heading("Each test, and the rule")
    apart = " " if len(tested.tests) <= _MOST_APART else ""
    width = len(tested.tests) * (1 + len(apart))
    heads = apart.join(_LETTERS[: len(tested.tests)])
    page.rows([(f"{heads:<{width}} rule", "case", "bold"), *_cases(tested, apart, width)], width + 9)
    page.line("  T true, F false, ? unknown")
    if outcome.vectors is not None:
        page.heading("Decision vectors")
        page.line(f"in {outcome.vectors}")
        page.rows((_vector(run) for run in tested.vectors), max((len(run.id) for run in tested.vectors), default=1))
        if not tested.vectors:
            page.line("  It holds on none of them.")


def _cases(tested: RuleTested, apart: str, width: int) -> Iterator[tuple[str, str, str]]:
    for run in tested.runs:
        marks = apart.join(_MARKS[each] for each in run.tests)
        style = "" if run.as_wanted else "red"
        yield f"{marks:<{width}} {run.truth}", _case(run), style


def _case(run: ExampleRun) -> str:
    what = {"holds": "the example", "without": f"without {run.change}", "fails": f"with {run.change}"}[run.kind]
    return what if run.as_wanted else f"{what}  WRONG: it should {'' if run.kind == 'holds' else 'not '}hold"


def _vector(run: VectorRun) -> tuple[str, str, str]:
    state = "holds" if run.holds else "does not hold"
    wanted = "" if not run.wants else ", as it should" if run.as_wanted else " - WRONG, the vector wants the contrary"
    says = f" ({'; '.join(run.says)})" if run.says else ""
    other = f" The decision is not the one it wants: {'; '.join(run.misses)}." if run.misses else ""
    return run.id, f"{state}{wanted}{says}. {run.teaches}{other}", "" if run.as_wanted else "red"


def _value(value: object) -> str:
    if isinstance(value, list):
        return ", ".join(map(str, value))
    return ("yes" if value else "no") if isinstance(value, bool) else str(value)
