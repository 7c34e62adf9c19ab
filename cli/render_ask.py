"""What to find out next, as text."""

from __future__ import annotations

from collections.abc import Sequence

from cli.changed_surveys import not_as_surveyed
from cli.terminal import Page
from cli.wording import MAIN_CHOICES
from engine.reasoning.ask import Answer, Asked, LeadsTo, Question, WallQuestions

WIDTH = 80
_FURTHER_SHOWN = 40


def as_text(asked: Asked, *, plain: bool = False) -> str:
    """Every wall's questions with their answers."""
    page = Page(plain=plain, piped_width=WIDTH)
    for index, wall in enumerate(asked.walls):
        if index:
            page.line("-" * 72)
        page.line(f"Wall {wall.wall}, survey {asked.reference}: what to find out next", "bold")
        page.line(f"{asked.file}; judged by rules {asked.rule_set.version} as of {asked.as_of}")
        if asked.changed:
            page.line(not_as_surveyed(asked.changed), "bold")
        _wall(page, wall)
    page.blank()
    page.line(
        "A choice not named with an answer stays as it is, and as open as it is. Settled: whatever else is found out."
    )
    page.line(asked.limits)
    return page.text()


def _wall(page: Page, wall: WallQuestions) -> None:
    if not wall.questions and not wall.further:
        said = "No fact that is still unknown can change a decision: nothing is left to ask."
        if wall.tests:
            said += " The tests below may overturn what is known."
        page.line(said if not wall.open_now else "What is open no single fact can change.")
        _tests(page, wall)
        return
    named = ", ".join(f"{_plain(each.choice)} ({_plain(each.option)})" for each in wall.open_now)
    page.line(f"Open, with what each comes to now: {named}.")
    _tests(page, wall)
    for number, question in enumerate(wall.questions, 1):
        _question(page, number, question, len(wall.open_now))
    if wall.further:
        page.heading("Then" if wall.questions else "Open")
        shown = wall.further[:_FURTHER_SHOWN]
        page.rows(
            ((each.fact, f"{each.question} ({each.effort.replace('_', ' ')})", "") for each in shown),
            max(len(each.fact) for each in shown),
        )
        if len(wall.further) > len(shown):
            page.line(f"  and {len(wall.further) - len(shown)} more")


def _tests(page: Page, wall: WallQuestions) -> None:
    if wall.tests:
        page.heading("Tests asked for")
        page.rows((("-", each, "") for each in wall.tests), 1)


def _question(page: Page, number: int, question: Question, open_now: int) -> None:
    page.blank()
    page.line(f"{number}. {question.question}", "bold")
    page.rows(
        (
            ("fact", question.fact, ""),
            ("how", f"{question.how} ({question.effort.replace('_', ' ')})", ""),
            ("bears on", ", ".join(_plain(each) for each in question.bears_on), ""),
        ),
        9,
        3,
    )
    if question.together_with:
        page.rows((("with it", ", ".join(question.together_with), ""),), 9, 3)
    for texts, leads in _grouped(question.answers, open_now):
        page.rows(((texts, leads, ""),), 26, 3)
    if question.left_out:
        excluded = ", ".join(_plain(each) for each in question.left_out)
        page.rows(((excluded, "cannot be, with what else is known", ""),), 26, 3)


def _grouped(answers: Sequence[Answer], open_now: int) -> list[tuple[str, str]]:
    """Answers that lead to the same, in one row."""
    found: dict[str, list[str]] = {}
    for each in answers:
        found.setdefault(_leads(each, open_now), []).append(_plain(each.says))
    return [(", ".join(says), leads) for leads, says in found.items()]


def _leads(answer: Answer, open_now: int) -> str:
    leads = sorted(answer.leads_to, key=_first_the_main)
    changed = [each for each in leads if each.option != each.before]
    parts = []
    if changed:
        parts.append(", ".join(f"{_plain(each.choice)} {_plain(each.option)}" for each in changed) + _sure(changed))
    stay = [_plain(each.choice) for each in leads if each.option == each.before]
    if stay:
        parts.append(f"settled as now: {', '.join(stay)}")
    left = f"{answer.open_after} of {open_now} still open" if answer.open_after else "nothing left open"
    return "; ".join([*parts, left]) if parts else f"no change by itself; {left}"


def _sure(changed: Sequence[LeadsTo]) -> str:
    not_yet = [_plain(each.choice) for each in changed if not each.settled]
    if not not_yet:
        return " (settled)"
    return " (not settled)" if len(not_yet) == len(changed) else f" (settled but for {', '.join(not_yet)})"


def _first_the_main(each: LeadsTo) -> tuple[bool, int]:
    main = MAIN_CHOICES.index(each.choice) if each.choice in MAIN_CHOICES else len(MAIN_CHOICES)
    return each.option == each.before, main


def _plain(code: str) -> str:
    return code.replace("_", " ")
