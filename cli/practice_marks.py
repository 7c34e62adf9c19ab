"""Marks over many answer sheets: for people, as JSON, and as CSV."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Sequence

from cli.render_practice import WIDTH, percent
from cli.terminal import Page
from engine.practice.class_marks import ClassMarks, TraineeMarks

_NUMBER = re.compile(r"[+-]?\d+(\.\d+)?")
_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n")
_NAME_WIDTH = 18
_COLUMN = 4


def as_json(marks: ClassMarks) -> str:
    """Everything, for programs."""
    return marks.model_dump_json(indent=2) + "\n"


def as_csv(marks: ClassMarks) -> str:
    """A row for each trainee: cases, score and minutes, then the share right of each choice; empty where not marked."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    subjects = [each.choice for each in marks.by_choice]
    writer.writerow(["trainee", "cases", "score", "minutes", "wasted_minutes", *subjects, "files"])
    for each in marks.trainees:
        scores = {mark.choice: f"{mark.score:g}" for mark in each.by_choice}
        row = [each.trainee, each.cases, f"{each.score:g}", each.minutes, each.wasted]
        row += [*(scores.get(subject, "") for subject in subjects), " ".join(each.files)]
        writer.writerow([_guarded(str(cell)) for cell in row])
    return out.getvalue()


def _guarded(cell: str) -> str:
    """A cell that a spreadsheet would read as a formula is marked as text; a plain number is left alone."""
    return f"'{cell}" if cell.startswith(_FORMULA) and not _NUMBER.fullmatch(cell) else cell


def as_text(marks: ClassMarks, *, plain: bool) -> str:
    """A table of trainees with a column for each choice, and below it each choice with what went wrong."""
    page = Page(plain=plain, piped_width=WIDTH)
    trainees = f"{len(marks.trainees)} trainee{'' if len(marks.trainees) == 1 else 's'}"
    page.line(f"{trainees}, mean {percent(marks.score)}", "bold")
    page.blank()
    numbers = {each.choice: number for number, each in enumerate(marks.by_choice, 1)}
    head = "".join(f"{number:>{_COLUMN}}" for number in numbers.values())
    page.line(f"{'trainee':<{_NAME_WIDTH}} cases score  min{head}", "bold")
    for each in marks.trainees:
        page.line(_trainee(each, list(numbers)))
    page.line("Columns by number: the share right, in %; - where it was never marked.")
    page.heading("By choice")
    for each_choice in marks.by_choice:
        wrong = [f"{c.answer} for {c.right} ({c.times})" for c in each_choice.confused[:3]]
        text = f"{percent(each_choice.score)}  {each_choice.title}{'; wrong: ' + ', '.join(wrong) if wrong else ''}"
        page.rows([(f"{numbers[each_choice.choice]:>2}", text, "")], 3)
    if marks.by_rule:
        page.heading("Rules behind wrong answers, the most frequent first")
        page.rows(((r.rule, f"{r.title}: missed {r.missed}, misread {r.misread}", "") for r in marks.by_rule), 6)
    page.blank()
    page.line(marks.limits)
    return page.text()


def _trainee(each: TraineeMarks, subjects: Sequence[str]) -> str:
    scores = {mark.choice: f"{round(100 * mark.score)}" for mark in each.by_choice}
    name = " ".join(each.trainee.split())
    name = name if len(name) <= _NAME_WIDTH else name[: _NAME_WIDTH - 2] + ".."
    cells = "".join(f"{scores.get(subject, '-'):>{_COLUMN}}" for subject in subjects)
    return f"{name:<{_NAME_WIDTH}} {each.cases:>5} {round(100 * each.score):>4}% {each.minutes:>4}{cells}"
