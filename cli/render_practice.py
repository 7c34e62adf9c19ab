"""A practice case for the terminal: its facts, what may be asked for, and the questions."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from cli.terminal import Page
from engine.facts.values import Value, in_words
from engine.facts.vocabulary import facts
from engine.practice.attempt import Asked, Attempt
from engine.practice.marking import shown
from engine.practice.settings import MINUTES
from engine.readings.compute import samples_in
from engine.readings.vocabulary import READINGS

WIDTH = 80
"""How wide a page is where it does not go to a terminal."""
_SECTION_WIDTH = 17
_GLUE = "\ue000"
"""Keeps a value on the line of its name; taken out again by `unglued`."""


def opening(seed: int, drawn_from: str) -> str:
    """The first lines of a run."""
    page = Page(piped_width=WIDTH)
    page.line("Practice: say what is wrong with a wall, and what to do about it.", "bold")
    page.line(
        "You are given some of the facts and may ask for more; each costs time, as on site. Then you answer, and see "
        f"what the rules come to, and why. {drawn_from} Seed {seed}. Type ? for what can be typed."
    )
    return page.text()


def facts_rows(seen: Mapping[str, Value]) -> Iterable[tuple[str, str, str]]:
    """A row for each section that has a known fact; then the samples, and what is computed from what is seen."""
    sections: dict[str, list[str]] = {}
    for name, variable in facts().items():
        value = seen[name]
        if value.known and variable.kind != "rows":
            section, _, field = name.partition(".")
            trust = f" ({value.established})" if value.established in ("assumed", "reported") else ""
            sections.setdefault(section, []).append(f"{field}:{_GLUE}{in_words(value.value)}{trust}")
    for section, said in sections.items():
        yield section, "; ".join(said), "bold"
    yield from _rows_of_samples(seen)


def _rows_of_samples(seen: Mapping[str, Value]) -> Iterable[tuple[str, str, str]]:
    label = "samples"
    for sample in sorted(samples_in(seen), key=lambda each: (each.height_mm, each.depth_mm)):
        free = "" if sample.excess_percent is None else f", excess {sample.excess_percent:.2f}"
        salts = "" if sample.hmc_percent is None else f", hygroscopic {sample.hmc_percent:.2f} %"
        at = f"{sample.height_mm:g} mm up, {sample.depth_mm:g} mm deep"
        yield label, f"{at}: moisture {sample.mc_percent:.2f} %{salts}{free}", "bold"
        label = ""


def readings_row(attempt: Attempt) -> tuple[str, str, str] | None:
    """What is computed from the facts seen; None where nothing can be."""
    values = attempt.cases.evaluation(attempt.case, attempt.seen).values
    read = {test.variable.name for rule in attempt.cases.base.rules for test in rule.tests}
    said = [
        f"{name.removeprefix('reading.')}:{_GLUE}{in_words(values[name].value)}"
        for name in READINGS
        if name in read and values[name].known
    ]
    return ("computed", "; ".join(said), "bold") if said else None


def case_page(attempt: Attempt, of: str) -> str:
    """A case as it is handed out; `of` says which it is."""
    page = Page(piped_width=WIDTH)
    level = attempt.case.level.number
    page.heading(f"{of}, level {level}")
    page.line(
        f"Survey of {attempt.case.file.survey.property.survey_date}. Written as in a survey file; what is not here is "
        "not known to you yet, or does not apply."
    )
    _facts(page, attempt)
    page.line(f"Further facts: {len(attempt.to_ask())} may be asked for; `ask` lists them with what they cost.")
    return unglued(page.text())


def unglued(text: str) -> str:
    """The text as it is to be read, once its lines are broken."""
    return text.replace(_GLUE, " ")


def facts_page(attempt: Attempt) -> str:
    """All that is known of the case so far."""
    page = Page(piped_width=WIDTH)
    _facts(page, attempt)
    page.line(f"Spent so far: {spent(attempt)}.")
    return unglued(page.text())


def _facts(page: Page, attempt: Attempt) -> None:
    computed = readings_row(attempt)
    page.rows([*facts_rows(attempt.seen), *([computed] if computed else [])], _SECTION_WIDTH, indent=0)


def spent(attempt: Attempt) -> str:
    """The minutes spent, in words."""
    count = len(attempt.asked)
    return f"{attempt.minutes} min on {count} further fact{'' if count == 1 else 's'}"


def asking_page(attempt: Attempt, numbers: Mapping[str, int]) -> str:
    """The facts that may be asked for, by their numbers, with what each costs."""
    page = Page(piped_width=WIDTH)
    page.line(f"Each costs by what it takes: {costs_in_words()} (set for the exercise).")
    section = ""
    rows = []
    for name in attempt.to_ask():
        variable = facts()[name]
        if name.partition(".")[0] != section:
            section = name.partition(".")[0]
            rows.append(("", section, ""))
        rows.append((f"{numbers[name]:>3}", f"  {name.partition('.')[2]}  {cost(variable.effort)}", ""))
    page.rows(rows, 3, indent=0)
    page.line(f"Spent so far: {spent(attempt)}. ask NUMBER or ask NAME; ? NAME says what is asked and how.")
    return page.text()


def costs_in_words() -> str:
    """The price of every class of effort."""
    return ", ".join(f"{effort.replace('_', ' ')} {minutes} min" for effort, minutes in MINUTES.items())


def cost(effort: str) -> str:
    """The price of one class of effort."""
    return f"({effort.replace('_', ' ')}, {MINUTES[effort]} min)"


def asked_page(asked: Asked, attempt: Attempt) -> str:
    """What came of asking for a fact."""
    page = Page(piped_width=WIDTH)
    page.line(f"{asked.fact}: {shown(asked.fact, asked.value)}  ({asked.minutes} min; {spent(attempt)})", "bold")
    if asked.value.known and facts()[asked.fact].kind == "rows":
        page.rows(_rows_of_samples(attempt.seen), _SECTION_WIDTH, indent=0)
    return page.text()


def sheet_facts_page(attempts: Sequence[Attempt], *, plain: bool) -> str:
    """What the facts asked for in an answer sheet came to."""
    page = Page(plain=plain, piped_width=WIDTH)
    for attempt in attempts:
        page.line(f"Case {attempt.case.number}: {spent(attempt)}", "bold")
        page.rows(
            ((f"{each.minutes} min", f"{each.fact}: {shown(each.fact, each.value)}", "") for each in attempt.asked), 8
        )
        if any(facts()[each.fact].kind == "rows" and each.value.known for each in attempt.asked):
            page.rows(_rows_of_samples(attempt.seen), _SECTION_WIDTH)
        computed = readings_row(attempt)
        if attempt.asked and computed:
            page.rows([computed], _SECTION_WIDTH)
    return unglued(page.text())


def fact_page(name: str) -> str:
    """What a fact is: the question, how it is established, what it may be."""
    variable = facts()[name]
    page = Page(piped_width=WIDTH)
    page.line(f"{name} {cost(variable.effort)}", "bold")
    page.line(f"{variable.question} Established by: {variable.how}. It may be: {variable.allowed}.")
    return page.text()


def question_page(title: str, options: Sequence[tuple[str, str]], answer: str | None) -> str:
    """A choice with its options by number; `answer` is what was answered before."""
    page = Page(piped_width=WIDTH)
    page.blank()
    page.line(title, "bold")
    rows = []
    for number, (option, says) in enumerate(options, 1):
        mark = "  <- your answer" if option == answer else ""
        rows.append((f"{number:>2}", f"{option}: {says}{mark}", ""))
    page.rows(rows, 3, indent=0)
    return page.text()


def message_page(text: str) -> str:
    """A short message."""
    page = Page(piped_width=WIDTH)
    page.line(text)
    return page.text()


def follows_page(title: str, option: str, says: str) -> str:
    """A choice that is not asked, since the answers before it leave one option."""
    page = Page(piped_width=WIDTH)
    page.line(f"{title}: {option}, {says} (follows from your answers)")
    return page.text()


def percent(score: float) -> str:
    """A share as a whole percentage."""
    return f"{round(100 * score)} %"
