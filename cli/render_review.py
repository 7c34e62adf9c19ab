"""The review of one job as text, Markdown and JSON: point by point, then the reasons on both sides."""

from __future__ import annotations

import shlex
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field

from cli.inputs import STANDARD_INPUT
from cli.render_reasons import (
    WIDTH,
    Line,
    bare,
    grade_lines,
    head,
    in_a_row,
    markdown,
    markdown_head,
    show,
)
from cli.terminal import Page
from cli.wording import sentence
from engine.archive.review_model import (
    ChoicePoint,
    Finding,
    InstalledPoint,
    MemberPoint,
    OptionSaid,
    OutcomePoint,
    OverSpecified,
    Review,
    RuleHolds,
    SetPoint,
    Sides,
    WallReviewed,
)
from engine.decision.model import Ground, Word
from engine.reasoning.change_model import FactChanged, WallChanges

_LABELS: dict[Finding, str] = {
    "agree": "agrees",
    "differs": "DIFFERS",
    "not_decidable": "OPEN",
    "not_recorded": "-",
}
_STYLES: dict[Finding, str] = {
    "agree": "green",
    "differs": "bold red",
    "not_decidable": "bold yellow",
    "not_recorded": "",
}
_OTHERS_SHOWN = 6
_COUNTS = ("no fact", "one fact", "up to two facts", "up to three facts")
OUTCOME_LIMIT = "One outcome proves neither side right: a wall can dry, or stay damp, for another reason."


@dataclass(frozen=True, slots=True)
class _Section:
    """A heading and what stands below it."""

    title: str
    lines: tuple[Line, ...]


def as_json(review: Review) -> str:
    """Everything, as JSON."""
    return review.model_dump_json(indent=2) + "\n"


def as_text(review: Review, *, plain: bool = False) -> str:
    """Every wall; `plain` without colours whatever the terminal."""
    page = Page(plain=plain, piped_width=WIDTH)
    for index, wall in enumerate(review.walls):
        if index:
            page.line("-" * 72)
        head(page, review, wall.wall, wall.note)
        for line in _below_head(review, wall):
            page.line(line)
        for section in _Sections(review, wall).all():
            page.heading(section.title)
            show(page, section.lines)
        page.blank()
    for line in _ends(review):
        page.line(line)
    return page.text()


def as_markdown(review: Review) -> str:
    """The same as headings and nested lists."""
    parts: list[str] = []
    for wall in review.walls:
        parts += markdown_head(review, wall.wall, wall.note)
        for line in _below_head(review, wall):
            parts += [bare(line), ""]
        for section in _Sections(review, wall).all():
            parts += [f"## {bare(section.title)}", "", *markdown(section.lines), ""]
    for line in _ends(review):
        parts += [bare(line), ""]
    return "\n".join(parts)


def _ends(review: Review) -> Iterator[str]:
    if review.file != STANDARD_INPUT:
        file = f"./{review.file}" if review.file.startswith("-") else review.file
        yield f"To go deeper into one point: bedjoint why, why-not or change, with {shlex.quote(file)}."
    if review.not_named:
        yield f"Not reviewed, since nothing is recorded of them: {in_a_row(review.not_named)}."
    yield review.limits


def _below_head(review: Review, wall: WallReviewed) -> Iterator[str]:
    by = f", surveyor {review.surveyor}" if review.surveyor else ""
    yield f"Recommended in {review.recommended_in}{by}"
    if wall.recorded_note:
        yield f"Noted there: {wall.recorded_note}"
    yield _summary(wall)


def _summary(wall: WallReviewed) -> str:
    points: list[ChoicePoint | SetPoint] = [*wall.choices, *wall.sets]
    counts = [
        (sum(each.finding == "differs" for each in points), "differ" + ("" if _many(points) else "s")),
        (sum(each.finding == "not_decidable" for each in points), "not decidable"),
        (sum(each.finding == "agree" for each in points), "agree" + ("" if _many(points, "agree") else "s")),
    ]
    if not points:
        return "In short: nothing was recommended that could be held against the rules."
    said = "; ".join(f"{count} {what}" for count, what in counts if count)
    gravest = f" The gravest finding is graded {wall.worst}." if wall.worst in ("must", "should", "consider") else ""
    of = f"of {len(points)} points" if len(points) > 1 else "of one point"
    return f"In short: {of}, {said}.{gravest}"


def _many(points: Sequence[ChoicePoint | SetPoint], finding: Finding = "differs") -> bool:
    return sum(each.finding == finding for each in points) != 1


class _Sections:
    """The sections of one wall. A rule is told in full once, and referred to afterwards."""

    def __init__(self, review: Review, wall: WallReviewed) -> None:
        self._review, self._wall = review, wall
        self._rules = {rule.id: rule for rule in wall.rules}
        self._teller = _Teller(self._rules)

    def all(self) -> Iterator[_Section]:
        wall = self._wall
        yield _Section("Point by point", tuple(self._overview()))
        for choice in wall.choices:
            if choice.finding != "agree":
                yield _Section(f"{choice.title}: {_verdict(choice.finding, choice.grade)}", tuple(self._choice(choice)))
        for each in wall.sets:
            if each.finding != "agree":
                yield _Section(f"{each.title}: {_verdict(each.finding, each.grade)}", tuple(self._set(each)))
        agreed = [each for each in wall.choices if each.finding == "agree"]
        if agreed:
            yield _Section("Agreed, and why", tuple(self._agreed(agreed)))
        if wall.over_specified is not None:
            yield _Section("More than the wall asks for", tuple(_over(wall.over_specified)))
        if wall.installed is not None:
            yield _Section("What was put in", tuple(self._installed(wall.installed)))
        if wall.outcome is not None:
            yield _Section("How it turned out", tuple(_outcome(wall.outcome)))
        if wall.open_questions:
            yield _Section("What would decide the open points, the most decisive first", tuple(self._questions()))
        if self._review.overrides:
            yield _Section("The reviewer's last word", tuple(_words(self._review)))

    def _overview(self) -> Iterator[Line]:
        for choice in self._wall.choices:
            yield Line(1, f"{_LABELS[choice.finding]:<7}", _row(choice), _STYLES[choice.finding])
        for each in self._wall.sets:
            yield Line(1, f"{_LABELS[each.finding]:<7}", _set_row(each), _STYLES[each.finding])
        over, installed, outcome = self._wall.over_specified, self._wall.installed, self._wall.outcome
        if over is not None:
            text = f"More than the wall asks for: {over.recommended.option}, where {over.cheaper.option} stands as well"
            yield Line(1, f"{'DIFFERS':<7}", f"{text}.", _STYLES["differs"])
        if installed is not None:
            yield Line(1, f"{_LABELS[installed.finding]:<7}", _installed_row(installed), _STYLES[installed.finding])
        if outcome is not None:
            yield Line(1, f"{'FAILED' if outcome.failure else 'came of':<7}", _outcome_row(outcome))

    def _choice(self, of: ChoicePoint) -> Iterator[Line]:
        yield Line(1, "recommended:", _option(of.recommended), "bold")
        yield Line(1, "decided:", f"{_option(of.decided)} [{of.status}]", "bold")
        if of.finding == "not_decidable":
            yield from self._undecidable(of)
        if of.follows_from:
            names = in_a_row([_plain(name) for name in of.follows_from])
            yield Line(1, "", f"This follows from what differs at {names}.")
        yield from self._both_sides(of.sides, of.recommended, of.decided, of.order_because, of.finding)
        if of.would_bring is not None:
            yield from _would_bring(of.would_bring, of.recommended.option)

    def _undecidable(self, of: ChoicePoint) -> Iterator[Line]:
        others = [each for each in of.possible if each != of.decided.option]
        if of.dead_end:
            yield Line(1, "", "The rules come to nothing here: every option is ruled out or lacks support.")
            return
        if others:
            yield Line(1, "", f"It could still become {in_a_row([_plain(each) for each in others], 'or')}.")
        if of.open_facts:
            shown, left = of.open_facts[:_OTHERS_SHOWN], len(of.open_facts) - _OTHERS_SHOWN
            more = f" and {left} more, listed below" if left > 0 else ""
            yield Line(1, "", f"Facts that would decide it: {', '.join(shown)}{more}.")

    def _both_sides(
        self, sides: Sides, given: OptionSaid, decided: OptionSaid, order: str, finding: Finding
    ) -> Iterator[Line]:
        tell = self._teller
        if sides.against:
            so_far = ", on what is known so far" if finding == "not_decidable" else ""
            yield Line(1, ">", f"Against {given.option}{so_far}:", "bold")
            for rule in sides.against:
                yield from tell.rule(rule, 2, given.option, decided.option)
        others = [rule for rule in sides.for_decision if rule not in sides.against]
        if others:
            yield Line(1, ">", f"For {decided.option}:", "bold")
            for rule in others:
                yield from tell.rule(rule, 2, decided.option, given.option)
        if sides.stands:
            why = f" The order: {order}" if order else ""
            yield Line(1, "", f"{given.option} stands as well, and comes later in the order.{why}")
        if not given.known:
            yield Line(1, ">", f"For {given.option}: nothing; {given.says}.", "bold")
        elif sides.for_recommendation:
            yield Line(1, ">", f"For {given.option}:", "bold")
            for rule in sides.for_recommendation:
                yield from tell.rule(rule, 2, given.option, decided.option)
        elif not sides.stands:
            yield Line(1, ">", f"For {given.option}: no rule that holds supports it.", "bold")

    def _agreed(self, points: Sequence[ChoicePoint]) -> Iterator[Line]:
        for of in points:
            named = in_a_row([self._named(rule) for rule in of.sides.for_decision])
            why = f" Brought by {named}." if named else ""
            now = "" if of.status == "settled" else f" [{of.status}]"
            yield Line(1, "", f"{of.title}: {_plain(of.decided.option)}{now}.{why}")
            if of.status != "settled" and of.open_facts:
                shown, left = of.open_facts[:_OTHERS_SHOWN], len(of.open_facts) - _OTHERS_SHOWN
                more = f" and {left} more" if left > 0 else ""
                yield Line(2, "", f"Could still be turned by {', '.join(shown)}{more}.")

    def _named(self, rule: str) -> str:
        return f"{rule} ({self._rules[rule].title})"

    def _set(self, of: SetPoint) -> Iterator[Line]:
        if of.agreed:
            yield Line(1, "", f"Agreed on: {', '.join(map(_plain, of.agreed))}.")
        if of.left_out:
            yield Line(1, ">", "Left out, and called for whatever is still found out:", "bold")
            for member in of.left_out:
                yield from self._member(member, 2)
        if of.beyond:
            yield Line(1, ">", "Recommended, and called for by no rule at this wall:", "bold")
            for member in of.beyond:
                yield Line(2, "-", f"{_plain(member.id)}: {member.says}")
                yield from _would_add(member, 3, "None of these holds here.")
        if of.called_for_now:
            yield Line(1, ">", "Not recommended, and called for on what is known so far:", "bold")
            for member in of.called_for_now:
                yield from self._member(member, 2)
        if of.may_be_called_for:
            yield Line(1, ">", "Recommended, and open until more is known:", "bold")
            for member in of.may_be_called_for:
                yield Line(2, "-", f"{_plain(member.id)}: {member.says}")
                yield from _would_add(member, 3, "None of these is known to hold yet.")

    def _member(self, of: MemberPoint, level: int) -> Iterator[Line]:
        yield Line(level, f"{of.word}:", f"{_plain(of.id)}: {of.says}", "bold" if of.word == "must" else "")
        for rule in of.rules:
            yield from self._teller.brief(rule, level + 1)

    def _installed(self, of: InstalledPoint) -> Iterator[Line]:
        yield Line(1, "", f"{sentence(_installed_row(of))}")
        if of.finding == "differs" and of.as_recommended:
            yield Line(1, "", "What speaks for it and against it is as above, where it was recommended.")
        elif of.finding == "differs":
            yield from self._both_sides(of.sides, of.installed, of.decided, "", of.finding)
        if of.finding == "not_decidable":
            yield Line(1, "", "Whether it was right for this wall cannot be said on what is known.")

    def _questions(self) -> Iterator[Line]:
        undecided = [each.choice for each in self._wall.choices if each.finding == "not_decidable"]
        for number, each in enumerate(self._wall.open_questions, 1):
            bears = ", ".join(_plain(name) for name in each.bears_on if name in undecided)
            effort = each.effort.replace("_", " ")
            yield Line(1, f"{number}.", f"{each.question} ({each.fact}; {effort}: {each.how}). Bears on {bears}.")


@dataclass(slots=True)
class _Teller:
    """Tells rules: in full the first time, then by name."""

    rules: dict[str, RuleHolds]
    _told: set[str] = field(default_factory=set)
    _places: set[str] = field(default_factory=set)

    def rule(self, rule: str, level: int, option: str, other: str) -> Iterator[Line]:
        """A rule in full: what it concludes of the two options, why, on which facts, how good, from where."""
        of = self.rules[rule]
        does = _does(of, option, other)
        if rule in self._told:
            yield Line(level, rule, f"{does}{of.title}; see above.", "bold")
            return
        self._told.add(rule)
        yield Line(level, rule, f"{does}{of.title}.", "bold")
        yield Line(level + 1, "", f"Because: {of.because}")
        yield from _met(of.grounds, level + 1)
        yield from grade_lines(of, level + 1)

    def brief(self, rule: str, level: int) -> Iterator[Line]:
        """A rule with its reason and its facts, without its sources in full."""
        of = self.rules[rule]
        if rule in self._told:
            yield Line(level, rule, f"{of.title}; see above.")
            return
        self._told.add(rule)
        sources = in_a_row(list(dict.fromkeys(f"{c.short}, {c.clause}" if c.clause else c.short for c in of.cites)))
        yield Line(level, rule, f"{of.title}.")
        yield Line(level + 1, "", f"Because: {of.because}")
        yield from _met(of.grounds, level + 1)
        grade = f"Grade: {of.word}; {of.basis.replace('_', ' ')}, {of.certainty} certainty."
        yield Line(level + 1, "", f"{grade} Source: {sources}.")


def _met(grounds: Iterable[Ground], level: int) -> Iterator[Line]:
    said = list(dict.fromkeys(_ground(each) for each in grounds))
    if said:
        yield Line(level, "", f"Found: {'; '.join(said)}.")


def _ground(of: Ground) -> str:
    """What a test met, with its place, and how a fact was established or whether a decision is settled."""
    name = of.test.split(" ")[0]
    where = of.where.rsplit("/", 1)[-1]
    noted = ", ".join(part for part in (where, of.established or "") if part)
    if of.value == "unknown":
        return f"{name} is not known"
    if of.value == "does not apply":
        return f"{name} does not apply"
    return f"{name} is {of.value}{f' ({noted})' if noted else ''}"


def _does(of: RuleHolds, option: str, other: str) -> str:
    out = {pair.partition("=")[2] for pair in of.rules_out}
    up = {pair.partition("=")[2] for pair in of.supports}
    said = [
        *(f"rules out {each}" for each in (option, other) if each in out),
        *(f"supports {each}" for each in (option, other) if each in up),
    ]
    return f"{in_a_row(said)}: " if said else ""


def _would_add(of: MemberPoint, level: int, so_far: str) -> Iterator[Line]:
    if of.would_add:
        named = "; ".join(f"{each.id} ({each.title})" for each in of.would_add)
        so_far = (
            so_far if of.would_add[1:] else so_far.replace("None of these", "It").replace("is known", "is not known")
        )
        yield Line(level, "", f"Would be called for by {named}. {so_far}")
    elif not of.rules:
        yield Line(level, "", "There is no rule that calls for it.")


def _would_bring(of: WallChanges, option: str) -> Iterator[Line]:
    """Which facts, found otherwise, would bring what was recommended."""
    size = of.proved_to if of.cut_at is None else of.cut_at - 1
    if of.nowhere:
        yield Line(1, "", f"No survey of any wall comes to {option} under these rules.")
    elif not of.possible:
        yield Line(1, "", f"Nothing that could be found instead of what is known brings {option}.")
    elif not of.sets:
        open_still = "; ".join(" with ".join(each) for each in of.not_excluded)
        but = f", but for what was neither found nor ruled out: {open_still}" if open_still else ""
        yield Line(1, "", f"Proved: no change of {_COUNTS[min(size, 3)]} would bring {option}{but}.")
    else:
        yield Line(1, ">", f"{option} would be the answer if, as one of these:", "bold")
        for number, each in enumerate(of.sets, 1):
            said = "; and ".join(_fact(change) for change in each.changes)
            yield Line(2, f"{number}.", f"{said}.")
        if of.cut_at is not None:
            yield Line(2, "", "There may be more; bedjoint change looks further.")


def _fact(of: FactChanged) -> str:
    unit = f" {of.unit}" if of.unit else ""
    where = of.where.rsplit("/", 1)[-1]
    place = ", ".join(part for part in (where, of.established or "") if part)
    known = of.now not in ("unknown", "does not apply")
    others, left = of.or_else[:_OTHERS_SHOWN], len(of.or_else) - _OTHERS_SHOWN
    more = f" or {left} more" if left > 0 else ""
    if isinstance(of.set, list) and of.set and isinstance(of.set[0], dict):
        to = f"showed, for instance, {of.to}"
    elif isinstance(of.set, int | float) and not isinstance(of.set, bool):
        to = f"were {of.to}{unit}, {'at the nearest' if known else 'for instance'}"
    else:
        to = f"were {of.to}" + (f" (or {', '.join(others)}{more})" if others else "")
    now = "it is not known" if of.now == "unknown" else f"it is {of.now}{unit if known else ''}"
    if of.now == "does not apply":
        now = "it does not apply"
    return f"{of.fact} {to}; {now}{f' ({place})' if place else ''}"


def _verdict(finding: Finding, grade: Word | None) -> str:
    said = {"differs": "differs", "not_decidable": "not decidable"}[finding]
    return f"{said}, {grade}" if grade else said


def _plain(option: str) -> str:
    return option.replace("_", " ")


def _option(of: OptionSaid) -> str:
    same = of.says.lower() in (of.option, _plain(of.option))
    return _plain(of.option) if same else f"{_plain(of.option)}: {of.says}"


def _row(of: ChoicePoint) -> str:
    grade = f" ({of.grade})" if of.grade else ""
    if of.finding == "agree":
        now = "" if of.status == "settled" else f" [{of.status}]"
        return f"{of.title}: {_plain(of.decided.option)}{now}."
    follows = "; follows from what differs before it" if of.follows_from else ""
    return (
        f"{of.title}: recommended {_plain(of.recommended.option)}, decided {_plain(of.decided.option)} "
        f"[{of.status}]{grade}{follows}."
    )


def _set_row(of: SetPoint) -> str:
    parts = [
        (len(of.left_out), "left out"),
        (len(of.beyond), "called for by no rule"),
        (len(of.called_for_now), "called for so far and not recommended"),
        (len(of.may_be_called_for), "open until more is known"),
        (len(of.agreed), "agreed on"),
    ]
    said = ", ".join(f"{count} {what}" for count, what in parts if count) or "none, on both sides"
    return f"{of.title}: {said}{f' ({of.grade})' if of.grade else ''}."


def _installed_row(of: InstalledPoint) -> str:
    on = f" on {of.on}" if of.on else ""
    same = {True: ", as recommended", False: ", which was not what was recommended", None: ""}[of.as_recommended]
    grade = f" ({of.grade})" if of.grade else ""
    decided = "as decided" if of.finding == "agree" else f"decided is {_plain(of.decided.option)}"
    return f"Put in: {_plain(of.installed.option)}{on}{same}; {decided}{grade}."


def _outcome_row(of: OutcomePoint) -> str:
    on = f" on {of.on}" if of.on else ""
    return f"Outcome: {of.result}{on}{', a recorded failure' if of.failure else ''}."


def _over(of: OverSpecified) -> Iterator[Line]:
    dearer, cheaper = (f"{_plain(each.option)} ({each.says})" for each in (of.recommended, of.cheaper))
    yield Line(1, "", f"Recommended is {dearer}. {sentence(cheaper)} costs less, and no rule rules it out here.")
    yield Line(1, "-", f"{_plain(of.recommended.option)}: {of.why_dearer}")
    yield Line(1, "-", f"{_plain(of.cheaper.option)}: {of.why_cheaper}")
    yield Line(1, "", f"On which costs more: {of.basis}.")


def _outcome(of: OutcomePoint) -> Iterator[Line]:
    yield Line(1, "", _outcome_row(of))
    yield Line(1, "", OUTCOME_LIMIT)


def _words(review: Review) -> Iterator[Line]:
    for seen in review.overrides:
        of = seen.override
        if seen.state == "went_back":
            yield Line(1, ">", f"{of.subject}: the decision stands, {_plain(of.to)}.", "bold")
        else:
            yield Line(1, ">", f"{of.subject}: {_plain(of.to)} is kept, the reviewer's, not the engine's.", "bold")
            yield Line(2, "", f"The engine advises {seen.engine}")
            if seen.ruled_out_by:
                rules = in_a_row([f"{rule.id} ({rule.title})" for rule in seen.ruled_out_by])
                yield Line(2, "", f"The engine ruled this option out by {rules}.")
            for item in (*seen.cautions, *seen.cautions_added):
                yield Line(2, "caution:", item.says)
        until = f", until {of.until}" if of.until else ""
        yield Line(2, "", f"{of.who}, on {of.on}{until}: {of.why}")
    assert review.record is not None
    file = f"./{review.record}" if review.record.startswith("-") else review.record
    yield Line(1, "", f"Held in the record {review.record}. To check it: bedjoint verify {shlex.quote(file)}")
