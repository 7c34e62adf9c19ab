"""What came of a practice case, for the terminal: marks, reasons, and what the case turned on."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from cli.render_practice import WIDTH, percent
from cli.terminal import Page
from cli.wording import sentence
from engine.decision.model import Ground
from engine.practice.generator import MADE_UP
from engine.practice.model import CaseResult, ChoiceMark, Lacking, RuleShown, RunResult, WorkMark

_GROUNDS_SHOWN = 6
_NAMED = 6
_MARKS = {
    "right": ("right", "bold green"),
    "wrong": ("WRONG", "bold red"),
    "skipped": ("skipped", "yellow"),
    "follows": ("follows", ""),
}
_RESTS = {"missed": "Not seen by you", "misread": "All it rests on was in front of you"}


def run_page(run: RunResult, again: Callable[[int], str], *, plain: bool) -> str:
    """What came of a whole answer sheet; `again` gives for each case the command that writes it as a survey."""
    page = Page(plain=plain, piped_width=WIDTH)
    page.line(
        f"{run.trainee}: {percent(run.score)} over {len(run.cases)} case{'' if len(run.cases) == 1 else 's'}", "bold"
    )
    for result in run.cases:
        page.blank()
        page.line("-" * 72)
        page.line(f"Case {result.case}, level {result.level}, seed {result.seed}", "bold")
        _result(page, result, again(result.case))
    return page.text()


def result_page(result: CaseResult, again: str) -> str:
    """What came of a case. `again` is the command that writes it as a survey."""
    page = Page(piped_width=WIDTH)
    _result(page, result, again)
    return page.text()


def _result(page: Page, result: CaseResult, again: str) -> None:
    page.heading(f"Result: {percent(result.score)}")
    page.rows([_mark_row(each) for each in result.choices if each.mark != "follows"], 8)
    page.rows(_rows_that_follow(result.choices), 8)
    works, asking = result.works, result.asking
    counted = f"{len(works.found)} found, {len(works.missed)} missed, {len(works.superfluous)} superfluous"
    rows = [(percent(works.score), f"{works.title}: {counted if works.answered else 'skipped'}", "")]
    if asking.score is not None:
        left = f"; {len(asking.not_asked)} that could turn an answer not asked for" if asking.not_asked else ""
        spent = f"{asking.minutes} min, {asking.wasted} of them on what could not matter"
        rows.append((percent(asking.score), f"Asking: {spent}{left}", ""))
    page.rows(rows, 8)
    said: set[str] = set()
    for choice in result.choices:
        if choice.mark == "wrong":
            _wrong(page, choice, said)
    _works(page, result)
    _asking(page, result)
    _reasoning(page, result)
    _twin(page, result)
    page.blank()
    drawn = "was made up" if result.source == MADE_UP else f"is drawn from {result.source}"
    page.line(f"This wall {drawn}. The whole tree of reasons:")
    page.line(f"  {again} |")
    page.line("    bedjoint why -")
    page.line(result.limits)


def _mark_row(mark: ChoiceMark) -> tuple[str, str, str]:
    word, style = _MARKS[mark.mark]
    if mark.mark == "right":
        said = f"{mark.right}"
    elif mark.mark == "wrong":
        said = f"you said {mark.answer}; it is {mark.right}: {mark.right_says}"
    else:
        said = f"it is {mark.right}: {mark.right_says}"
    return word, f"{mark.title}: {said}", style


def _rows_that_follow(choices: Sequence[ChoiceMark]) -> list[tuple[str, str, str]]:
    """Choices that are not marked, those with one answer together."""
    agreeing: dict[str, list[str]] = {}
    other = []
    for each in choices:
        if each.mark == "follows" and each.answer == each.right:
            agreeing.setdefault(each.right, []).append(each.title)
        elif each.mark == "follows":
            other.append(f"{each.title}: {each.right}")
    word, style = _MARKS["follows"]
    rows = [(word, f"{', '.join(titles)}: {right}", style) for right, titles in agreeing.items()]
    if other:
        rows.append((word, f"Not marked, since your answers hang on an earlier one. {'; '.join(other)}", style))
    return rows


def _wrong(page: Page, mark: ChoiceMark, said: set[str]) -> None:
    """Why an answer is wrong; `said` are the rules whose reason stands on the page already."""
    page.heading(f"{mark.title}: {mark.right}, not {mark.answer}")
    both = [rule.id for rule in mark.brings if rule.id in {each.id for each in mark.against}]
    also = f" They rule {mark.answer} out too" if len(both) > 1 else f" It rules {mark.answer} out too"
    if mark.brings:
        page.line(f"What brings {mark.right}:")
        _rules(page, mark.brings, said)
    if both:
        page.line(f"{', '.join(both)}:{also}.")
    against = [rule for rule in mark.against if rule.id not in both]
    if against:
        page.line(f"What rules {mark.answer} out:")
        _rules(page, against, said)
    if mark.lacking is not None:
        page.line(f"Nothing here supports {mark.answer}. The nearest rule, {_lacks(mark.lacking)}")
    if mark.behind is not None:
        page.line(f"{sentence(mark.answer or '')} stands too, but behind {mark.right}. {mark.behind}")
    if mark.not_asked:
        page.line(f"Not asked for, and alone able to turn it: {named(mark.not_asked)}.")


def _rules(page: Page, rules: Sequence[RuleShown], said: set[str]) -> None:
    for rule in rules:
        because = "Its reason stands above." if rule.id in said else rule.because
        said.add(rule.id)
        page.rows([(rule.id, f"{rule.title}. {because}", "")], 6)
        here = [f"Here: {'; '.join(_here(each) for each in rule.grounds[:_GROUNDS_SHOWN])}."]
        if rule.reading is not None:
            unseen = f": {named(rule.unseen)}" if rule.unseen else ""
            here.append(f"{_RESTS[rule.reading]}{unseen}.")
        page.rows([("", " ".join(here), "")], 6)


def named(names: Sequence[str]) -> str:
    """Names, the first of them where there are many."""
    more = f" and {len(names) - _NAMED} more" if len(names) > _NAMED else ""
    return ", ".join(names[:_NAMED]) + more


def _here(ground: Ground) -> str:
    """A test that bears a rule, with what was found."""
    name = ground.test.split(" ")[0].removeprefix("decided.").removeprefix("found.")
    return f"{name} {ground.value}"


def _lacks(lacking: Lacking) -> str:
    wanted = [
        f"{'not ' if each.holds == 'true' else ''}({_plain(each.test)}), and it is {each.value}"
        for each in lacking.fails
    ]
    return f"{lacking.rule} ({lacking.title}), wants {'; '.join(wanted)}."


def _plain(test: str) -> str:
    return test.removeprefix("decided.").removeprefix("found.")


def _works(page: Page, result: CaseResult) -> None:
    works = result.works
    if not (works.missed or works.superfluous):
        return
    page.heading(works.title)
    rows = [("missed", f"{each.says} {_called_for(each)}", "bold red") for each in works.missed]
    for each in works.superfluous:
        if each.lacking is not None:
            why = f"The nearest rule, {_lacks(each.lacking)}"
        else:
            why = f"It is only one to consider: {_called_for(each)}" if each.rules else ""
        rows.append(("not due", f"{each.says} {why}", "yellow"))
    page.rows(rows, 8)


def _called_for(work: WorkMark) -> str:
    return "(" + "; ".join(f"{rule.id}: {rule.title}" for rule in work.rules) + ")"


def _asking(page: Page, result: CaseResult) -> None:
    asking = result.asking
    if not (asking.asked or asking.not_asked):
        return
    page.heading("What you asked for")
    page.rows(((f"{each.minutes} min", f"{each.fact}, {each.value}: {each.use}", "") for each in asking.asked), 8)
    if asking.not_asked:
        page.rows([("-", f"Not asked for, though alone able to turn an answer: {named(asking.not_asked)}.", "")], 8)


def _reasoning(page: Page, result: CaseResult) -> None:
    page.heading("The reasoning")
    together: dict[tuple[str, str], list[str]] = {}
    for mark in result.choices:
        rules = "; ".join(f"{rule.id} {rule.title}" for rule in mark.brings) or "No rule stands against it"
        together.setdefault((mark.right, rules), []).append(mark.title)
    page.rows((("-", f"{', '.join(titles)}: {right}. {why}.", "") for (right, why), titles in together.items()), 1)


def _twin(page: Page, result: CaseResult) -> None:
    twin = result.twin
    page.heading("What it turns on")
    seen = "you asked for it" if twin.asked else "it was kept back" if twin.kept_back else "you had it"
    page.line(f"{twin.fact} is {twin.here} ({seen}). Had it been {twin.there}:")
    first, *rest = twin.answers
    rows = [("-", f"{first.title}: {first.there} instead of {first.here}, {first.there_says}", "")]
    if rest:
        rows.append(("-", "; ".join(f"{each.title}: {each.there} instead of {each.here}" for each in rest), ""))
    page.rows(rows, 1)
