"""An assessment as a page of text for the terminal: the verdict first, reasons and sources short."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from types import MappingProxyType

from cli.changed_surveys import not_as_surveyed
from cli.profile_plot import profile_plot
from cli.render_schedule import brief
from cli.terminal import Page
from cli.wording import (
    MAIN_CHOICES,
    grade,
    joined,
    line_in_words,
    reference,
    sentence,
    source_line,
    sources_of,
    status_of,
)
from engine.decision.model import Assessment, ChoiceDecided, ItemsFound, RuleApplied, WallDecided
from engine.schedule.model import WallSchedule

NONE: Mapping[tuple[str, str], WallSchedule] = MappingProxyType({})

_STATUS_STYLE = {"settled": "bold green", "provisional": "bold yellow", "undecided": "bold red"}
_WORD_STYLE = {"must": "bold red", "should": "bold", "consider": ""}
_QUESTIONS_SHOWN = 8
_GROUNDS_SHOWN = 4
_PERHAPS_SHOWN = 6


def as_text(
    assessments: Sequence[Assessment],
    *,
    plain: bool = False,
    schedules: Mapping[tuple[str, str], WallSchedule] = NONE,
    options: str = "",
) -> str:
    """Every wall of every assessment as text; `plain` without colours whatever the terminal.

    `schedules` are those of the walls to be treated, by file and wall; a wall without one is shown without. `options`
    are those they were judged with, to be repeated in the commands that are shown.
    """
    page = Page(plain=plain)
    walls = [(assessment, wall) for assessment in assessments for wall in assessment.walls]
    first = len(walls) == 1
    if not first:
        _overview(page, walls)
    for assessment, wall in walls:
        if not first:
            page.blank()
            page.line("-" * 72)
        first = False
        _wall(page, assessment, wall, schedules.get((assessment.file, wall.wall)), options)
    return page.text()


def _overview(page: Page, walls: Sequence[tuple[Assessment, WallDecided]]) -> None:
    """One line a wall, where there is more than one."""
    settled = sum(wall.status == "settled" for _, wall in walls)
    page.line(f"{len(walls)} walls, {settled} settled", "bold")
    rows = []
    for assessment, wall in walls:
        verdict, medium = wall.choice("verdict"), wall.choice("medium")
        what = verdict.option if medium.option == "no_medium" else f"{verdict.option}, {medium.option}"
        text = f"{_words(what)} [{wall.status}]  {assessment.file}"
        rows.append((wall.wall, text, _STATUS_STYLE[wall.status]))
    page.rows(rows, max(len(wall.wall) for _, wall in walls))
    if any(assessment.changed for assessment, _ in walls):
        page.line("NOT AS SURVEYED. Facts were changed; each wall says which.", "bold yellow")


def _words(code: str) -> str:
    return code.replace("_", " ")


def _wall(page: Page, assessment: Assessment, wall: WallDecided, schedule: WallSchedule | None, options: str) -> None:
    page.line(f"Wall {wall.wall}, survey {assessment.reference} of {assessment.survey_date}", "bold")
    version = assessment.rule_set.version
    page.line(f"{assessment.file}; judged by rules {version} as of {assessment.as_of}")
    if assessment.changed:
        page.line(not_as_surveyed(assessment.changed), "bold yellow")
    if wall.note:
        page.line(wall.note)
    page.blank()
    _decisions(page, wall)
    _why(page, wall)
    _profile(page, wall)
    if schedule is not None:
        page.heading("Schedule")
        page.rows(brief(schedule, options), 9)
    for name in ("works", "tests", "notices", "cautions"):
        _set(page, wall.found(name))
    _open(page, wall)
    _not_taken(page, wall)
    _on_trust(page, wall)
    _readings(page, wall)
    page.heading("Sources")
    page.rows((("-", source_line(cite), "") for cite in sources_of(_shown_rules(wall))), 1)
    page.blank()
    page.line(
        "Ask further: bedjoint why, why-not, change, ask, graph; one rule or word: bedjoint explain ID. Every reason "
        "and source in full: --format markdown."
    )
    page.line(assessment.limits)
    page.line(
        f"rules {version}, digest {assessment.rule_set.digest[:16]}; facts, digest {assessment.facts_digest[:16]}"
    )


def _set(page: Page, found: ItemsFound) -> None:
    if not (found.items or found.might_be_added):
        return
    page.heading(found.title)
    rows: list[tuple[str, str, str]] = [
        (i.word, f"{i.says} ({', '.join(i.rules)})", _WORD_STYLE[i.word]) for i in found.items
    ]
    if found.might_be_added:
        named = ", ".join(_words(each) for each in found.might_be_added[:_PERHAPS_SHOWN])
        left = len(found.might_be_added) - _PERHAPS_SHOWN
        more = f" and {left} more" if left > 0 else ""
        rows.append(("perhaps", f"once the open facts are known: {named}{more}", ""))
    page.rows(rows, 9)


def _decisions(page: Page, wall: WallDecided) -> None:
    verdict, damp = wall.choice("verdict"), wall.choice("rising_damp")
    medium, plaster = wall.choice("medium"), wall.choice("plaster")
    line, line_status = line_in_words(wall)
    rows = [_decision("VERDICT", verdict), _decision("Damp", damp)]
    causes = wall.found("causes").items
    if causes:
        rows.append(("Also", " ".join(f"{joined([i.says])} ({', '.join(i.rules)})" for i in causes), ""))
    rows += [
        _decision("Medium", medium),
        ("Line", f"{sentence(line)}  {line_status}", _STATUS_STYLE[line_status.strip("[]")]),
        _decision("Plaster", plaster),
    ]
    page.rows(rows, 8, indent=0)


def _decision(label: str, choice: ChoiceDecided) -> tuple[str, str, str]:
    return label, f"{sentence(choice.says)}  {status_of(choice)}", _STATUS_STYLE[choice.status]


def _shown_rules(wall: WallDecided) -> list[RuleApplied]:
    """The rules behind the main choices: those whose sources the page lists."""
    names = [name for name in MAIN_CHOICES if wall.choice(name).option not in ("no_line", "none_needed")]
    shown = {rule for name in names for rule in wall.choice(name).rules}
    shown |= {rule for name in _behind(wall) for rule in wall.choice(name).rules}
    shown.update(rule for item in wall.found("causes").items for rule in item.rules)
    return [rule for rule in wall.rules if rule.id in shown]


def _behind(wall: WallDecided) -> list[str]:
    """The earlier choices behind the verdict and the cause, where nothing is to be treated: there they say why."""
    verdict = wall.choice("verdict")
    if verdict.option == "treat":
        return []
    of = {*verdict.rules, *wall.choice("rising_damp").rules}
    tested = {
        ground.test.split(" ")[0].removeprefix("decided.")
        for rule in wall.rules
        if rule.id in of
        for ground in rule.grounds
        if ground.test.startswith("decided.")
    }
    return [each.choice for each in wall.choices if each.choice in tested]


def _why(page: Page, wall: WallDecided) -> None:
    page.heading("Why")
    for rule in _shown_rules(wall):
        sources = "; ".join(dict.fromkeys(reference(cite) for cite in rule.cites))
        page.rows([(rule.id, f"{rule.title}{_here(rule)}. [{grade(rule)}: {sources}]", "")], 5)


def _here(rule: RuleApplied) -> str:
    """What at this wall made a rule hold: facts and readings, or else earlier decisions."""
    facts = [g for g in rule.grounds if not g.test.startswith(("decided.", "found."))] or rule.grounds
    said = list(dict.fromkeys(f"{ground.test.split(' ')[0]} {ground.value}" for ground in facts))
    more = f" and {len(said) - _GROUNDS_SHOWN} more" if len(said) > _GROUNDS_SHOWN else ""
    return f". Here: {', '.join(said[:_GROUNDS_SHOWN])}{more}" if said else ""


def _profile(page: Page, wall: WallDecided) -> None:
    drawn = profile_plot(wall.profile)
    if drawn is not None:
        page.heading("Moisture profile")
        for line in drawn.splitlines():
            page.line(line)


def _readings(page: Page, wall: WallDecided) -> None:
    if not wall.readings:
        return
    page.heading("Readings")
    said = [
        f"{each.name.removeprefix('reading.')} {each.value}{' ' + each.unit if each.unit else ''}"
        for each in wall.readings
    ]
    page.line("  " + "; ".join(said))


def _not_taken(page: Page, wall: WallDecided) -> None:
    by_id = {rule.id: rule for rule in wall.rules}
    rows = []
    for name in ("verdict", "medium"):
        for option in wall.choice(name).not_taken:
            if option.why == "ruled_out":
                rule = by_id[option.rules[0]]
                more = f" (also {', '.join(option.rules[1:])})" if len(option.rules) > 1 else ""
                rows.append((_words(option.option), f"ruled out by {rule.id}: {rule.title}{more}", ""))
            elif option.why == "stands_behind" and name == "medium":
                rows.append((_words(option.option), "would do as well, but comes after the one chosen", ""))
    if wall.choice("medium").option == "no_medium":  # one rule rules out every medium: say it once
        rows = [row for row in rows if row[0] not in {_words(o.option) for o in wall.choice("medium").not_taken}]
    if rows:
        page.heading("Not taken")
        page.rows(rows, 14)


def _on_trust(page: Page, wall: WallDecided) -> None:
    if not wall.assumed:
        return
    page.heading("Taken on trust")
    for how in dict.fromkeys(each.established for each in wall.assumed):
        facts = [f"{a.fact} ({a.value})" for a in wall.assumed if a.established == how]
        page.rows([(how, ", ".join(facts), "")], 9)


def _open(page: Page, wall: WallDecided) -> None:
    if not wall.open_questions:
        return
    page.heading("Open questions, the most decisive first")
    shown = wall.open_questions[:_QUESTIONS_SHOWN]
    page.rows(((f"{n}.", f"{q.question} ({q.fact}: {q.how})", "") for n, q in enumerate(shown, 1)), 3)
    if len(wall.open_questions) > len(shown):
        rest = ", ".join(q.fact for q in wall.open_questions[len(shown) :])
        page.line(f"  and {len(wall.open_questions) - len(shown)} more: {rest}")
