"""Two versions of the rules side by side, as text, as Markdown and as JSON."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Iterator, Sequence

from cli.render_markdown import escaped
from cli.step_words import STEP_STYLES, STEPS
from cli.terminal import Page
from cli.wording import sentence
from engine.audit.boldness import Step
from engine.audit.compare_model import (
    Account,
    ChoiceMoves,
    Everywhere,
    ItemDiffers,
    MemberMoves,
    Possible,
    Reworded,
    RuleDiffers,
    RulesCompared,
    RuleSide,
    Traced,
    WallMoves,
)

Rows = list[tuple[str, str, str]]
"""Rows of label, text and style; one without a label is a heading of its own."""

_CHANGES = {"added": "added", "changed": "changed", "withdrawn": "withdrawn"}
_HELD = {"a": "by A alone", "b": "by B alone", "both": "by both", "neither": "by neither"}
_UNDER = (
    "A",
    "B",
    "why",
    "with",
    "was",
    "now",
    "as is",
    "differs",
    "reads",
    "concludes",
    "grade",
    "source",
    "words",
    "effect",
)
_AROUND = 6
"""How many words on either side of what changed are shown."""
_PARTS = {"figures": "the figures readings are reckoned with"}
_KINDS = {
    "choice": "Choices",
    "option": "Options",
    "set": "Sets",
    "member": "Members of sets",
    "source": "Sources",
    "figure": "Figures",
}


def as_json(compared: RulesCompared) -> str:
    """Everything, as JSON."""
    return compared.model_dump_json(indent=2) + "\n"


def as_text(compared: RulesCompared, *, plain: bool = False, full: bool = True) -> str:
    """A summary, then the decisions, then the words; `plain` without colours whatever the terminal.

    Unless `full`, rules and members of sets are named and no more.
    """
    page = Page(plain=plain)
    page.rows(((label, text, "bold") for label, text in _sides(compared)), 2, indent=0)
    page.blank()
    for line, style in _summary(compared):
        page.line(line, style)
    for title, rows in _sections(compared, full=full):
        page.heading(title)
        page.listing(rows)
    page.blank()
    if not full:
        page.line("--all shows the rules in full, and why each member of a set differs.")
    page.line(compared.limits)
    return page.text()


def as_markdown(compared: RulesCompared, *, full: bool = True) -> str:
    """The same as Markdown."""
    return "\n".join(_markdown(compared, full)) + "\n"


def _markdown(compared: RulesCompared, full: bool) -> Iterator[str]:
    yield "# Rules compared"
    yield ""
    yield from (f"- **{label}**: {escaped(text)}" for label, text in _sides(compared))
    for line, _ in _summary(compared):
        yield from ("", escaped(line))
    for title, rows in _sections(compared, full=full):
        yield from ("", f"## {escaped(sentence(title))}", "")
        yield from _listed(rows)
    yield from ("", f"*{escaped(compared.limits)}*")


def _listed(rows: Rows) -> Iterator[str]:
    for label, text, _ in rows:
        if not label:
            yield f"- **{escaped(text)}**"
        elif label == "-":
            yield f"- {escaped(text)}"
        else:
            yield f"{'  ' if label in _UNDER else ''}- *{escaped(label)}*: {escaped(text)}"


def _sides(compared: RulesCompared) -> list[tuple[str, str]]:
    return [
        (label, f"rules {side.version}, in force from {side.in_force_from}, digest {side.digest[:16]}")
        for label, side in (("A", compared.a), ("B", compared.b))
    ]


def _summary(compared: RulesCompared) -> Iterator[tuple[str, str]]:
    yield f"{_of_rules(compared.rules)} {_of_items(compared.items)}".strip(), "bold"
    yield _of_space(compared.everywhere), "bold"
    if compared.files:
        yield _of_walls(compared.walls), "bold"
    if compared.recorded_looked_at:
        count = f"{compared.recorded_looked_at} recorded decisions of A"
        yield f"Of {count}, B decides {len(compared.recorded) or 'none'} otherwise.", ""
    step = compared.step
    why = {
        "wording": "no decision differs in any survey, and no grade or figure",
        "minor": "decisions, grades or figures differ; old records can still be read",
        "major": "what old records name is gone",
    }[step.kind]
    yield f"From A to B is at least a step of the kind {step.kind}: {why}.", ""


def _of_rules(rules: Sequence[RuleDiffers]) -> str:
    if not rules:
        return "No rule differs."
    parts = []
    for change, word in _CHANGES.items():
        several = [rule for rule in rules if rule.change == change]
        words = sum(rule.wording_only for rule in several)
        aside = f" ({words} in wording alone)" if words else ""
        parts.append(f"{len(several)} {word}{aside}")
    return f"Rules: {', '.join(parts)}."


def _of_items(items: Sequence[ItemDiffers]) -> str:
    counted = [
        (word.lower(), sum(each.kind == kind for each in items))
        for kind, word in _KINDS.items()
        if any(each.kind == kind for each in items)
    ]
    return f"Differing besides: {', '.join(f'{word} {count}' for word, count in counted)}." if counted else ""


def _of_space(found: Everywhere) -> str:
    if found.same:
        return f"Proved: no decision differs in any survey of {found.survey_year}."
    shown = [each for each in found.possible if each.survey]
    open_ = len(found.possible) - len(shown)
    by_step = [
        f"{count} {STEPS[step]}" for step in STEPS for count in [sum(each.step == step for each in shown)] if count
    ]
    parts = []
    if shown:
        parts.append(
            f"Over all surveys of {found.survey_year}, {_counted(len(shown), 'kind')} of difference can occur: "
            f"{', '.join(by_step)}."
        )
    if open_:
        parts.append(f"{_counted(open_, 'kind')} could neither be found in a survey nor be ruled out.")
    parts.append(f"{found.ruled_out} others are proved never to occur.")
    if found.not_compared:
        parts.append(f"Not compared, since one version alone has them: {', '.join(found.not_compared)}.")
    return " ".join(parts)


def _of_walls(walls: Sequence[WallMoves]) -> str:
    moved = [wall for wall in walls if not wall.same]
    if not moved:
        return f"At none of {_counted(len(walls), 'wall')} given does a decision differ."
    every = [each.step for wall in moved for each in wall.choices]
    every += [each.step for wall in moved for each in wall.members]
    by_step = [f"{every.count(step)} {word}" for step, word in STEPS.items() if step in every]
    return f"Decisions differ at {len(moved)} of {_counted(len(walls), 'wall')} given: {', '.join(by_step)}."


def _sections(compared: RulesCompared, *, full: bool) -> Iterator[tuple[str, Rows]]:
    """Every section that has something to say."""
    yield from _of_given(compared, full=full)
    if compared.recorded and full:
        yield (
            "Recorded decisions of A that B decides otherwise",
            [(each.id, "; ".join(each.says), "") for each in compared.recorded],
        )
    if compared.account:
        yield "What the versions say they changed", [row for each in compared.account for row in _account(each)]
    if compared.not_accounted_for:
        yield "Rules that differ and that nothing said there names", [("-", ", ".join(compared.not_accounted_for), "")]
    yield from _of_possible(compared.everywhere, full=full)
    for title, rules in (
        ("Rules added", [rule for rule in compared.rules if rule.change == "added"]),
        ("Rules withdrawn", [rule for rule in compared.rules if rule.change == "withdrawn"]),
        ("Rules changed", [r for r in compared.rules if r.change == "changed" and not r.wording_only]),
    ):
        if rules:
            yield title, [row for rule in rules for row in (_rule(rule) if full else _in_a_line(rule))]
    reworded = [rule for rule in compared.rules if rule.wording_only]
    if reworded:
        yield "Rules changed in wording alone", [("-", _reworded(rule), "") for rule in reworded]
    for kind, title in _KINDS.items():
        items = [each for each in compared.items if each.kind == kind]
        if items:
            yield f"{title} that differ", [row for each in items for row in (_item(each) if full else _item(each)[:1])]
    step = compared.step
    rows: Rows = [("-", sentence(each), "") for each in (*step.because, *step.to_judge)]
    yield f"What kind of step it is: at least {step.kind}", rows


def _in_a_line(rule: RuleDiffers) -> Rows:
    differs = f" [{', '.join(rule.differs)}]" if rule.differs else ""
    return [(rule.id, f"{rule.title}{differs}", "")]


def _account(account: Account) -> Rows:
    return [(account.rules, account.what, ""), ("why", account.why, "")]


# decisions


def _of_given(compared: RulesCompared, *, full: bool) -> Iterator[tuple[str, Rows]]:
    """Walls that decide otherwise; in brief those with the same differences together."""
    together: dict[object, list[WallMoves]] = {}
    for wall in compared.walls:
        if not wall.same:
            key = (wall.file, wall.wall) if full else (wall.status_a, wall.status_b, wall.choices, wall.members)
            together.setdefault(key, []).append(wall)
    rows: Rows = []
    for walls in together.values():
        first = walls[0]
        status = first.status_a if first.status_a == first.status_b else f"{first.status_a} -> {first.status_b}"
        named = "; ".join(f"{wall.wall} of {wall.reference} ({wall.file})" for wall in walls)
        rows.append(("wall" if len(walls) == 1 else "walls", f"{named}: {status}", "bold"))
        for step in STEPS:
            rows += [row for each in first.choices if each.step == step for row in _choice(each)]
            rows += _members([each for each in first.members if each.step == step], step)
    if rows:
        yield "Walls given that decide otherwise", rows


def _of_possible(found: Everywhere, *, full: bool) -> Iterator[tuple[str, Rows]]:
    for step, word in STEPS.items():
        shown = [each for each in found.possible if each.survey and each.step == step]
        if not shown:
            continue
        rows = [
            row for each in shown if each.choice for row in (*_choice(each.choice, each.known_facts), *_beside(each))
        ]
        members = [each.member for each in shown if each.member]
        rows += _members(members, step, _sizes(shown)) if full else _members_named(members)
        yield f"What can differ: {word} ({len(shown)})", rows
    open_ = [each for each in found.possible if not each.survey]
    if open_:
        yield "Neither found nor ruled out", [("-", f"{_named(each)}: {each.unsettled}", "") for each in open_]
    proved: Rows = []
    if found.same_choices:
        proved.append(("choices", ", ".join(found.same_choices), ""))
    if found.same_sets:
        proved.append(("sets", ", ".join(found.same_sets), ""))
    if proved:
        yield f"Proved the same in every survey of {found.survey_year}", proved
    if any(each.survey for each in found.possible):
        hint = (
            "each difference above is shown by a survey that both versions judged. With --witnesses FOLDER they are "
            "written there, named after the difference, such as "
            f"{next(each.name for each in found.possible if each.survey)}.yaml; assess reads them with --rules."
        )
        yield "To see for yourself", [("-", sentence(hint), "")]


def _sizes(shown: Iterable[Possible]) -> dict[tuple[str, str], int]:
    return {(each.member.set, each.member.member): each.known_facts for each in shown if each.member}


def _named(each: Possible) -> str:
    if each.choice:
        return f"{each.choice.choice}: {each.choice.a} -> {each.choice.b} ({STEPS[each.step]})"
    assert each.member
    return f"{each.member.set}: {each.member.member} {_moved(each.member)} ({STEPS[each.step]})"


def _moved(member: MemberMoves) -> str:
    return "gained" if member.gained else "lost"


def _choice(choice: ChoiceMoves, known: int | None = None) -> Rows:
    size = "" if known is None else f"  [shown by a survey of {_counted(known, 'known fact')}]"
    rows: Rows = [("", f"{choice.title} ({choice.choice}): {STEPS[choice.step]}", STEP_STYLES.get(choice.step, "bold"))]
    for label, option, says, status in (
        ("A", choice.a, choice.says_a, choice.status_a),
        ("B", choice.b, choice.says_b, choice.status_b),
    ):
        said = "not a choice of these rules" if option is None else option if says == option else f"{option}: {says}"
        rows.append((label, f"{said}{f'  [{status}]' if status else size if label == 'B' else ''}", ""))
    return [*rows, ("why", _why(choice.because), "")] if choice.because else rows


def _members(members: Sequence[MemberMoves], step: Step, sizes: dict[tuple[str, str], int] | None = None) -> Rows:
    """Members put together by set, whether gained, and by what brings it."""
    grouped: dict[tuple[str, bool, str], list[MemberMoves]] = {}
    for each in members:
        why = _why(each.because) if each.because else ""
        grouped.setdefault((each.title, each.gained, why), []).append(each)
    rows: Rows = []
    for (title, gained, why), several in grouped.items():
        named = ", ".join(
            f"{each.member} [{sizes[each.set, each.member]}]" if sizes else each.member for each in several
        )
        rows.append(("", f"{title}, {'gained' if gained else 'lost'}: {STEPS[step]}", STEP_STYLES.get(step, "bold")))
        rows.append(("B" if gained else "A", f"{named}{'  [known facts of the survey]' if sizes else ''}", ""))
        if why:
            rows.append(("why", why, ""))
    return rows


def _beside(possible: Possible) -> Rows:
    """What else is decided otherwise in the survey that shows it, so that a step is seen for what it comes to."""
    return [("with", "; ".join(possible.beside), "")] if possible.beside else []


def _members_named(members: Sequence[MemberMoves]) -> Rows:
    """Members by set and by whether gained, their names alone: most follow from a choice that differs."""
    grouped: dict[tuple[str, bool], list[str]] = {}
    for each in members:
        grouped.setdefault((each.title, each.gained), []).append(each.member.replace("_", " "))
    rows: Rows = []
    for (title, gained), several in grouped.items():
        rows.append(("", f"{title}, {'gained' if gained else 'lost'}", ""))
        rows.append(("B" if gained else "A", ", ".join(several), ""))
    return rows


def _why(because: Traced) -> str:
    if because.alone:
        named = _parts(because.alone, because)
        text = named if not because.alone[1:] else f"each of these alone: {named}"
    elif because.together:
        text = f"only together: {_parts(because.together, because)}"
    else:
        text = "not found by putting changes back"
    if because.by_way_of:
        text += f"; first by way of {because.by_way_of}"
    return text if because.complete else f"{text}; to try everything would have taken too long"


def _parts(names: Sequence[str], because: Traced) -> str:
    """The parts, rules put together by how they changed and by which version they hold."""
    said: dict[str, list[str]] = {}
    for rule in because.rules:
        said.setdefault(f"{_HELD[rule.holds]}, {rule.change}", []).append(rule.id)
    rules = {rule.id for rule in because.rules}
    shown = [f"{', '.join(several)} ({held})" for held, several in said.items()]
    return "; ".join([*shown, *(_PARTS.get(name, name) for name in names if name not in rules)])


# rules and the rest


def _rule(rule: RuleDiffers) -> Rows:
    rows: Rows = [("", f"{rule.id} {rule.title}", "")]
    side = rule.b or rule.a
    assert side is not None
    if rule.a is None or rule.b is None:
        rows += [("reads", line, "") for line in _lines(side)]
        rows += [("concludes", side.concludes, ""), ("grade", _grade(side), "")]
        return [*rows, *(("source", each, "") for each in side.sources)]
    rows.append(("differs", ", ".join(rule.differs), ""))
    if "condition" in rule.differs:
        rows += _condition(rule.a, rule.b)
        if rule.holds_alike is not None:
            said = "proved: it holds in the same surveys as before" if rule.holds_alike else "it holds in other surveys"
            rows.append(("effect", said, ""))
    for aspect, before, after in (
        ("stage", rule.a.stage, rule.b.stage),
        ("conclusions", rule.a.concludes, rule.b.concludes),
        ("grade", _grade(rule.a), _grade(rule.b)),
    ):
        if aspect in rule.differs:
            rows += [("was", before, ""), ("now", after, "")]
    if "sources" in rule.differs:
        rows += [("was", each, "") for each in rule.a.sources if each not in rule.b.sources]
        rows += [("now", each, "") for each in rule.b.sources if each not in rule.a.sources]
    return [*rows, *(row for each in rule.words for row in _said(each))]


def _lines(side: RuleSide) -> tuple[str, ...]:
    return side.condition


def _condition(one: RuleSide, other: RuleSide) -> Iterator[tuple[str, str, str]]:
    """Both conditions in one list: the lines that were, those that are now, and those that stay."""
    labels = {"-": "was", "+": "now", " ": "as is"}
    for line in difflib.ndiff(one.condition, other.condition):
        if line[0] in labels:
            yield labels[line[0]], line[2:], ""


def _grade(side: RuleSide) -> str:
    return f"{side.word}: {side.basis.replace('_', ' ')}, {side.strength}, {side.certainty} certainty"


def _reworded(rule: RuleDiffers) -> str:
    said = ", ".join(each.what for each in rule.words)
    return f"{rule.id} {rule.title} [{said}]"


def _item(item: ItemDiffers) -> Rows:
    named = item.id if item.title == item.id else f"{item.id}: {item.title}"
    rows: Rows = [(item.change, named, "bold")]
    return [*rows, *(row for each in item.says for row in _said(each))]


def _said(words: Reworded) -> Rows:
    """What was said and what is said now; of what stays the same at either end only the nearest words."""
    before, after = (text.split() if text else [] for text in (words.a, words.b))
    if before and after:
        start = next((n for n, pair in enumerate(zip(before, after, strict=False)) if pair[0] != pair[1]), None)
        if start is None:
            start = min(len(before), len(after))
        ends = zip(reversed(before[start:]), reversed(after[start:]), strict=False)
        end = next((n for n, pair in enumerate(ends) if pair[0] != pair[1]), min(len(before), len(after)) - start)
        before, after = _cut(before, start, end), _cut(after, start, end)
    what = f"{words.what}: " if words.what else ""
    rows: Rows = [(label, f"{what}{' '.join(text)}", "") for label, text in (("was", before), ("now", after)) if text]
    return rows if before or words.a is not None or not after else [("words", rows[0][1], "")]


def _cut(words: list[str], start: int, end: int) -> list[str]:
    head, tail = max(0, start - _AROUND), min(len(words), len(words) - end + _AROUND)
    return [*(["..."] if head else []), *words[head:tail], *(["..."] if tail < len(words) else [])]


def _counted(count: int, what: str) -> str:
    return f"{count} {what}" if count == 1 else f"{count} {what}s"
