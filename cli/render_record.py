"""Verified records and overrides as text and as JSON."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from cli.terminal import Page
from cli.wording import joined, sentence
from engine.record.drift import said_fields
from engine.record.model import ChoiceRecorded, MemberRecorded, Override, RuleHeld
from engine.record.verification import (
    ATTENTION,
    MemberDrift,
    OtherRules,
    OverrideSeen,
    OverrideState,
    RecordVerified,
    RuleDrift,
    SurveyCompared,
    Verification,
    WallDrift,
)

Rows = list[tuple[str, str, str]]
"""Rows of label, text and style."""

_STATES: dict[OverrideState, str] = {
    "counts": "It counts.",
    "went_back": "It goes back to what the engine decided.",
    "replaced": "Replaced by a later override of the same, which counts instead.",
    "expired": "ATTENTION: it has expired; the engine's decision counts again.",
    "changes_nothing": "ATTENTION: it changes nothing any more; the engine now decides so itself.",
    "not_in_rules": "ATTENTION: the rules have no such wall, choice, option or member any more.",
    "not_checked": "Not checked against the rules, since that version of them is not here.",
}
_STYLES = {"added": "bold green", "gone": "bold red"}
_DIGITS = 16
_IDLE: tuple[OverrideState, ...] = ("replaced", "went_back")
"""An override that changes nothing by itself: what it would mean need not be said."""


def as_json(verification: Verification) -> str:
    """Everything, as JSON."""
    return verification.model_dump_json(indent=2) + "\n"


def verification_text(verification: Verification, passed: Sequence[str] = (), *, plain: bool = False) -> str:
    """Every record, those that are not the same at length; `passed` are files of folders that were passed over."""
    page = Page(plain=plain)
    records = verification.records
    if len(records) > 1:
        _overview(page, records)
    for record in records:
        if len(records) == 1 or _worth_telling(record):
            if len(records) > 1:
                page.blank()
                page.line("-" * 72)
            _record(page, record)
    page.blank()
    if passed:
        page.line(f"Passed over, being no records: {', '.join(passed)}.")
    page.line(verification.limits)
    return page.text()


def override_text(seen: OverrideSeen, limits: str) -> str:
    """An override that was added."""
    page = Page()
    page.line(f"Added to wall {seen.override.wall}, beside the engine's decision.", "bold")
    page.blank()
    _override(page, seen)
    page.blank()
    page.line(limits)
    return page.text()


def _worth_telling(record: RecordVerified) -> bool:
    differs = record.today is not None and record.today.state != "same"
    return not record.same or record.attention or differs or record.other is not None


def _headline(record: RecordVerified) -> tuple[str, str]:
    if record.altered:
        return "ALTERED", "bold red"
    if record.drift is None:
        return "NOT JUDGED", "bold red"
    if record.drift:
        return "DRIFTED", "bold red"
    if record.rules.state != "same":
        return "OTHER RULES", "bold red"
    if record.attention:
        return "OVERRIDE", "bold yellow"
    return "SAME", "bold green"


def _overview(page: Page, records: Sequence[RecordVerified]) -> None:
    same = sum(record.same for record in records)
    asking = sum(each.state in ATTENTION for record in records for each in record.overrides)
    overrides = f"; overrides that need attention: {asking}" if asking else ""
    page.line(f"Records: {len(records)}; the same: {same}; not the same: {len(records) - same}{overrides}", "bold")
    rows = []
    for record in records:
        label, style = _headline(record)
        count = sum(each.state not in _IDLE for each in record.overrides)
        overrides = f"; overrides by a reviewer: {count}" if count else ""
        rows.append((label, f"{record.file}  {record.reference}, rules {record.rules.version}{overrides}", style))
    page.rows(rows, 11, indent=0)


def _record(page: Page, record: RecordVerified) -> None:
    label, style = _headline(record)
    page.line(f"{record.file}: {label}", style)
    walls = f"wall{'s' if record.walls[1:] else ''} {', '.join(record.walls)}"
    page.line(
        f"survey {record.reference} ({record.survey}), {walls}; judged by rules {record.rules.version} as of "
        f"{record.as_of}"
    )
    page.blank()
    page.line(record.says)
    page.rows(_seen(record), 7)
    for wall in record.drift or ():
        _wall(page, wall, "was", "now")
    if record.overrides:
        page.heading("Overrides by a reviewer")
        for number, seen in enumerate(record.overrides):
            if number:
                page.blank()
            _override(page, seen)
    if record.today is not None:
        _today(page, record.today)
    if record.other is not None:
        _other(page, record.other)


def _seen(record: RecordVerified) -> Rows:
    """The record, the rules and the code: as they were or not."""
    altered = f"ALTERED after it was written: {', '.join(record.altered)}" if record.altered else "as it was written"
    if not record.altered and not record.as_written:
        altered = "laid out otherwise than it was written; what it says is the same"
    rules, code = record.rules, record.code
    version, before = rules.version, rules.recorded[:_DIGITS]
    now = {
        "same": f"{version}, digest {before}: the same",
        "changed": f"{version} is NOT what it was: digest {before} recorded, {(rules.digest or '')[:_DIGITS]} now",
        "gone": f"{version} (digest {before}) is NOT here",
    }[rules.state]
    was = f"{code.recorded.version}, digest {code.recorded.digest[:_DIGITS]}"
    running = f"{code.running.version}, digest {code.running.digest[:_DIGITS]}"
    same = code.state == "same"
    return [
        ("Record", altered, "bold red" if record.altered else ""),
        ("Rules", now, "" if rules.state == "same" else "bold red"),
        ("Code", f"{was}: the same" if same else f"{was} recorded; {running} now", "" if same else "bold yellow"),
    ]


def _wall(page: Page, wall: WallDrift, was: str, now: str) -> None:
    statuses = "" if wall.status_was == wall.status_now else f", {_or(wall.status_was)} -> {_or(wall.status_now)}"
    page.heading(f"Wall {wall.wall}{statuses}")
    for choice in wall.choices:
        page.line(f"  {choice.title} ({choice.choice}): {', '.join(said_fields(choice.differs))}", "bold")
        before, after = _choice(choice.was), _choice(choice.now)
        if before != after:
            page.rows([(was, before, ""), (now, after, "bold")], 3, indent=4)
    titles = dict.fromkeys(member.title for member in wall.members)
    for title in titles:
        page.line(f"  {sentence(title)}", "bold")
        page.rows(_members(each for each in wall.members if each.title == title), 7, indent=4)
    for might in wall.might:
        for label, names in (("no longer", might.gone), ("now", might.added)):
            if names:
                page.line(f"  {sentence(might.title)}, {label} possible: {', '.join(names).replace('_', ' ')}")
    if wall.rules:
        page.line("  Rules", "bold")
        page.rows((_rule(rule) for rule in wall.rules), 15, indent=4)
    if wall.order:
        page.line("  The same, in another order or with another title.")


def _or(status: str | None) -> str:
    return status or "not there"


def _choice(choice: ChoiceRecorded | None) -> str:
    if choice is None:
        return "not there"
    grade = f"; {choice.word}, {choice.certainty} certainty" if choice.word else ""
    others = [option for option in choice.possible if option != choice.option]
    could = f"; could be {', '.join(others).replace('_', ' ')}" if others else ""
    by = f" ({', '.join(choice.rules)})" if choice.rules else ""
    said = choice.says if choice.says == choice.option else f"{choice.option}: {choice.says}"
    return f"{said}  [{choice.status}{grade}{could}]{by}"


def _members(members: Iterable[MemberDrift]) -> Iterator[tuple[str, str, str]]:
    for each in members:
        label = "added" if each.was is None else "gone" if each.now is None else "changed"
        text = f"{each.id}: {each.says}"
        if each.was is not None and each.now is not None:
            text = f"{each.id}: {_member(each.was)} -> {_member(each.now)}"
        yield label, text, _STYLES.get(label, "bold")


def _member(member: MemberRecorded) -> str:
    settled = "" if member.settled else " [open]"
    return f"{member.word}: {member.says}{settled} ({', '.join(member.rules)})"


def _rule(rule: RuleDrift) -> tuple[str, str, str]:
    if rule.was is None or rule.now is None:
        label = "holds now" if rule.was is None else "holds no longer"
        held = rule.now or rule.was
        assert held is not None
        return label, f"{rule.id} {held.title} [{held.word}]", ""
    grades = f"{rule.was.word}, {rule.was.certainty} -> {rule.now.word}, {rule.now.certainty} certainty"
    same = (rule.was.word, rule.was.certainty) == (rule.now.word, rule.now.certainty)
    return "speaks otherwise", f"{rule.id} {rule.now.title}{'' if same else f': {grades}'}", ""


def _override(page: Page, seen: OverrideSeen) -> None:
    """The reviewer's word, marked as such, and beside it what the engine advises and warns of."""
    override = seen.override
    until = f", until {override.until}" if override.until else ""
    page.line(f"  {seen.number}. Wall {override.wall}: {_wanted(override)}", "bold")
    rows: Rows = [
        ("whose", f"the reviewer's, not the engine's: {override.who}, on {override.on}{until}", ""),
        ("why", override.why, ""),
        ("engine", f"the engine advises {seen.engine}", ""),
    ]
    rows.append(("state", _STATES[seen.state], "bold red" if seen.state in ATTENTION else ""))
    if seen.state in _IDLE:
        page.rows(rows, 7, indent=4)
        return
    for rule in seen.ruled_out_by:
        rows.append(("against", f"the engine ruled this option out by {_held(rule)}", "bold red"))
    for label, items in (("caution", seen.cautions), ("new", seen.cautions_added)):
        rows += [(label, f"{item.word}: {joined([item.says])}", "bold yellow") for item in items]
    page.rows(rows, 7, indent=4)
    if seen.cautions or seen.cautions_added:
        new = " `new` are those that the rules add with the reviewer's option." if seen.cautions_added else ""
        page.line(f"    Every caution of the record still stands.{new}")


def _wanted(override: Override) -> str:
    if override.change == "is":
        return f"{override.subject} = {override.to}"
    return f"{override.subject}: {'with' if override.change == 'add' else 'without'} {override.to}"


def _held(rule: RuleHeld) -> str:
    return f"{rule.id}: {rule.title} [{rule.word}]"


def _today(page: Page, today: SurveyCompared) -> None:
    page.heading("The survey as it stands today (a note, no drift)")
    if today.kept:
        page.line(f"  Taken as they were set when it was judged: {', '.join(today.kept)}.")
    if today.state == "same":
        page.line(f"  {today.name} says the same.")
        return
    if today.state == "unreadable":
        page.line(f"  {today.name} is there but cannot be compared; `bedjoint assess` says why.")
        return
    page.line(f"  {today.name} no longer says what was judged.", "bold yellow")
    rows = []
    for fact in today.facts:
        place = f"wall {fact.wall}" if fact.wall is not None else "property"
        rows.append((place, f"{fact.fact}: {fact.was or 'not known'} -> {fact.now or 'not known'}", ""))
    rows += [(f"wall {name}", "is no longer in it", "") for name in today.gone]
    rows += [(f"wall {name}", "is new in it", "") for name in today.added]
    page.rows(rows, max((len(label) for label, _, _ in rows), default=8))
    if not today.walls:
        page.line("  No decision would be another on it.")
        return
    page.line("  On it these decisions would be others:")
    for wall in today.walls:
        _wall(page, wall, "rec", "new")


def _other(page: Page, other: OtherRules) -> None:
    rules = other.rules
    page.heading(f"By rules {rules.version} (a comparison, no drift)")
    page.line(f"  in force from {rules.in_force_from}, digest {rules.digest[:_DIGITS]}")
    if not other.walls:
        page.line("  They decide the same.")
    for wall in other.walls:
        _wall(page, wall, "rec", "new")
    if other.overrides_not_in_rules:
        numbers = ", ".join(map(str, other.overrides_not_in_rules))
        page.line(f"  They do not have what these overrides name: {numbers}.", "bold yellow")
