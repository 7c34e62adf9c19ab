"""A blank answer sheet: the facts of the cases as comments, and below each what is to be filled in."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator

from cli.render_practice import costs_in_words, facts_rows, readings_row, unglued
from engine.decision.assess import LIMITS
from engine.facts.vocabulary import facts
from engine.practice.attempt import Attempt
from engine.practice.generator import Cases
from engine.practice.settings import MINUTES
from engine.practice.sheet import KIND, NONE, SKIP, UNNAMED

_WIDTH = 80


def blank_sheet(cases: Cases, seed: int, level: int, count: int) -> str:
    """The sheet for that many cases, as YAML that can be read back as it is."""
    lines = [
        *_comment(f"Practice: {count} cases of level {level}, seed {seed}."),
        *_comment(
            f"What an answer may be stands above it. {SKIP} leaves a question unanswered; what follows from an earlier "
            "answer, such as no line where nothing is treated, may be left so."
        ),
        *_comment(
            f"asked: a list in [ ] of further facts, each at its cost ({costs_in_words()}; set for the exercise). "
            "bedjoint practice facts SHEET shows what they came to; bedjoint practice --answers SHEET marks the sheet."
        ),
        f"kind: {KIND}",
        "form: 1",
        f"trainee: {UNNAMED}",
        f"rules: '{cases.base.manifest.version}'",
        f"rules_digest: '{cases.base.digest}'",
        f"surveys: '{cases.surveys_digest}'",
        f"seed: {seed}",
        f"level: {level}",
        "cases:",
    ]
    for number in range(1, count + 1):
        lines += _case(Attempt(cases, cases.case(seed, level, number)))
    lines += ["", *_comment(LIMITS)]
    return "\n".join(lines) + "\n"


def _case(attempt: Attempt) -> Iterator[str]:
    case, base = attempt.case, attempt.cases.base
    yield ""
    yield f"  # ---- Case {case.number}: survey of {case.file.survey.property.survey_date} ----"
    computed = readings_row(attempt)
    for label, text, _ in [*facts_rows(attempt.seen), *([computed] if computed else [])]:
        yield from _labelled(label, text)
    yield f"  - case: {case.number}"
    yield f"    check: '{case.check}'"
    yield "    # Further facts that may be asked for"
    for effort, minutes in MINUTES.items():
        names = [name for name in attempt.to_ask() if facts()[name].effort == effort]
        if names:
            yield from _labelled(f"{effort}, {minutes} min", ", ".join(names), 4, 19)
    yield f"    asked: {NONE}"
    yield "    answers:"
    for choice_id in attempt.cases.subject.choices:
        choice = base.choices[choice_id]
        yield f"      # {choice.title}"
        for option in choice.options:
            yield from _labelled(option.id, option.says, 6, 24)
        yield f"      {choice_id}: {SKIP}"
    yield "    # Works that are due, of these; a list in [ ], or none"
    for work in case.offered:
        yield from _labelled(work, base.members[attempt.cases.subject.works][work].says, 4, 24)
    yield f"    works: {SKIP}"


def _comment(text: str, indent: int = 0) -> list[str]:
    start = " " * indent + "# "
    return textwrap.wrap(
        text, _WIDTH, initial_indent=start, subsequent_indent=start, break_long_words=False, break_on_hyphens=False
    )


def _labelled(label: str, text: str, indent: int = 2, width: int = 17) -> list[str]:
    """A comment with a label, its text beside it."""
    start = " " * indent + "#   "
    wrapped = textwrap.wrap(
        text,
        _WIDTH,
        initial_indent=f"{start}{label:<{width}} ",
        subsequent_indent=start + " " * (width + 1),
        break_long_words=False,
        break_on_hyphens=False,
    )
    return [unglued(line) for line in wrapped]
