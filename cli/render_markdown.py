"""An assessment as Markdown, to be pasted into a report: the same order as on the terminal, with full reasons."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence

from cli.changed_surveys import not_as_surveyed
from cli.render_schedule import brief
from cli.render_text import NONE
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
from engine.decision.model import Assessment, RuleApplied, WallDecided
from engine.schedule.model import WallSchedule

_SPECIAL = re.compile(r"([\\`*_{}\[\]<>#|~&])")


def escaped(text: str) -> str:
    """Text that stands as it is in Markdown: no formatting, no HTML, no new line."""
    return _SPECIAL.sub(r"\\\1", " ".join(text.split()))


def as_markdown(
    assessments: Sequence[Assessment], schedules: Mapping[tuple[str, str], WallSchedule] = NONE, options: str = ""
) -> str:
    """Every wall of every assessment, with the schedules of those to be treated, by file and wall.

    `options` are those they were judged with, to be repeated in the commands that are shown.
    """
    parts = [
        "\n".join(_wall(assessment, wall, schedules.get((assessment.file, wall.wall)), options))
        for assessment in assessments
        for wall in assessment.walls
    ]
    return "\n\n---\n\n".join(parts) + "\n"


def _wall(assessment: Assessment, wall: WallDecided, schedule: WallSchedule | None, options: str) -> Iterator[str]:
    yield f"# Wall {escaped(wall.wall)}, survey {escaped(assessment.reference)} of {assessment.survey_date}"
    yield ""
    yield f"Judged by rules {assessment.rule_set.version} as of {assessment.as_of}."
    if assessment.changed:
        yield from ("", f"**{escaped(not_as_surveyed(assessment.changed))}**")
    if wall.note:
        yield from ("", escaped(wall.note))
    yield ""
    yield from _decisions(wall)
    for name in ("works", "tests", "notices", "cautions"):
        found = wall.found(name)
        if found.items:
            yield from ("", f"## {escaped(found.title)}", "")
            for item in found.items:
                detail = f" {escaped(item.detail)}" if item.detail else ""
                yield f"- *{item.word}*: {escaped(joined([item.says]))}{detail} ({', '.join(item.rules)})"
    if wall.open_questions:
        yield from ("", "## Open questions, the most decisive first", "")
        for number, question in enumerate(wall.open_questions, 1):
            yield f"{number}. {escaped(question.question)} Established by {escaped(question.how)}."
    if schedule is not None:
        yield from ("", "## Schedule", "")
        yield from (f"- {label}: {escaped(text)}" for label, text, _ in brief(schedule, options))
    if wall.readings:
        yield from ("", "## Readings", "")
        for reading in wall.readings:
            unit = f" {reading.unit}" if reading.unit else ""
            yield f"- {escaped(reading.question)} {escaped(reading.value + unit)} ({escaped(reading.how)})"
    yield from ("", "## Reasons", "")
    for rule in wall.rules:
        yield from _rule(rule)
    yield from ("## Sources", "")
    for cite in sources_of(wall.rules):
        yield f"- {escaped(source_line(cite))}"
    yield ""
    yield f"*{escaped(assessment.limits)}*"
    yield ""
    digests = f"Rules {assessment.rule_set.version}, digest `{assessment.rule_set.digest}`; "
    yield digests + f"facts, digest `{assessment.facts_digest}`."


def _decisions(wall: WallDecided) -> Iterator[str]:
    line, line_status = line_in_words(wall)
    yield "| | Decision | Status |"
    yield "|---|---|---|"
    for label, name in (("Verdict", "verdict"), ("Damp", "rising_damp"), ("Medium", "medium")):
        choice = wall.choice(name)
        yield f"| {label} | {escaped(sentence(choice.says))} | {escaped(status_of(choice).strip('[]'))} |"
    yield f"| Line | {escaped(sentence(line))} | {line_status.strip('[]')} |"
    plaster = wall.choice("plaster")
    yield f"| Plaster | {escaped(sentence(plaster.says))} | {escaped(status_of(plaster).strip('[]'))} |"
    causes = wall.found("causes").items
    if causes:
        yield ""
        yield f"What else wets the wall: {escaped(joined(item.says for item in causes))}"
    rejected = [
        (option, name) for name in MAIN_CHOICES for option in wall.choice(name).not_taken if option.why == "ruled_out"
    ]
    if rejected:
        yield from ("", "## Not taken", "")
        for option, name in rejected:
            title = escaped(wall.choice(name).title)
            yield f"- {title}: {escaped(option.says)}: ruled out by {', '.join(option.rules)}"


def _rule(rule: RuleApplied) -> Iterator[str]:
    yield f"### {rule.id} {escaped(rule.title)}"
    yield ""
    yield f"{escaped(rule.because)} ({rule.word}; {grade(rule)})"
    yield ""
    for ground in rule.grounds:
        where = f", {escaped(ground.where)}" if ground.where else ""
        yield f"- {escaped(ground.test)}: {ground.holds} (found {escaped(ground.value)}{where})"
    for cite in rule.cites:
        stance = " (followed)" if cite.source == rule.follows else " (set aside)" if cite.source in rule.against else ""
        yield f"- source{stance}: {escaped(reference(cite))}: {escaped(cite.says)}"
    yield ""
