"""A comparison as text, as Markdown and as JSON."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from cli.render_markdown import escaped
from cli.terminal import Page
from cli.wording import sentence
from engine.reasoning.comparison_facts import ValueDiffers, ValueSeen
from engine.reasoning.comparison_model import (
    Because,
    ChoiceDiffers,
    ChoiceSeen,
    Comparison,
    Judged,
    MemberDiffers,
    MemberSeen,
    RuleGraded,
    RuleSeen,
    Side,
    WallAlone,
    WallsCompared,
)

Rows = list[tuple[str, str, str]]
"""Rows of label, text and style; one without a label is a heading of its own."""

_STYLES = {"added": "bold green", "gone": "bold red"}
_UNDER = ("A", "B", "why")
_NO_FACTS = (
    "A run holds no facts: which facts differ, and which of them bear on a changed decision, is left out. Compare the "
    "surveys for that."
)


def as_json(comparison: Comparison) -> str:
    """Everything, as JSON."""
    return comparison.model_dump_json(indent=2) + "\n"


def as_text(comparison: Comparison, *, plain: bool = False) -> str:
    """The two sides, and every pair of walls; `plain` without colours whatever the terminal."""
    page = Page(plain=plain)
    for label, side in (("A", comparison.a), ("B", comparison.b)):
        page.rows([(label, text, "bold") for text in _side(side)], 2, indent=0)
    page.line(_rules(comparison))
    page.blank()
    page.line(_summary(comparison), "bold")
    page.rows((("-", _alone(each), "") for each in comparison.alone), 1)
    if not comparison.walls:
        page.line(_how_to_pair(comparison))
    for wall in comparison.walls:
        if len(comparison.walls) > 1 and wall.same and not wall.facts and not wall.readings:
            continue
        page.blank()
        page.line(f"{_name(comparison, wall)}: {_outcome(wall)}", "bold")
        for title, rows in _sections(wall):
            page.heading(title)
            page.listing(rows)
    if any(wall.facts is None for wall in comparison.walls):
        page.blank()
        page.line(_NO_FACTS)
    page.blank()
    page.line(comparison.limits)
    return page.text()


def as_markdown(comparison: Comparison) -> str:
    """The same as Markdown."""
    return "\n".join(_markdown(comparison)) + "\n"


def _markdown(comparison: Comparison) -> Iterator[str]:
    yield "# Comparison"
    yield ""
    for label, side in (("A", comparison.a), ("B", comparison.b)):
        yield from (f"- **{label}**: {escaped(text)}" for text in _side(side))
    yield from ("", escaped(_rules(comparison)), "", f"**{escaped(_summary(comparison))}**")
    if comparison.alone:
        yield ""
        yield from (f"- {escaped(_alone(each))}" for each in comparison.alone)
    if not comparison.walls:
        yield from ("", escaped(_how_to_pair(comparison)))
    for wall in comparison.walls:
        yield from ("", f"## {escaped(_name(comparison, wall))}: {escaped(_outcome(wall))}")
        for title, rows in _sections(wall):
            yield from ("", f"### {escaped(sentence(title))}", "")
            yield from _listed(rows)
    if any(wall.facts is None for wall in comparison.walls):
        yield from ("", escaped(_NO_FACTS))
    yield from ("", f"*{escaped(comparison.limits)}*")


def _listed(rows: Rows) -> Iterator[str]:
    for label, text, _ in rows:
        if not label:
            yield f"- **{escaped(text)}**"
        elif label == "-":
            yield f"- {escaped(text)}"
        else:
            yield f"{'  ' if label in _UNDER else ''}- *{escaped(label)}*: {escaped(text)}"


def _side(side: Side) -> list[str]:
    """Each survey of a side in a line."""
    return [_judged(side, each) for each in side.judged]


def _judged(side: Side, each: Judged) -> str:
    kind = "survey" if side.kind == "survey" else "run of survey"
    place = side.name if side.name == each.file else f"{side.name}, of {each.file}"
    changed = f"; NOT AS SURVEYED: {'; '.join(each.changed)}" if each.changed else ""
    return (
        f"{kind} {each.reference} of {each.survey_date} ({place}); judged by rules {each.rules} as of {each.as_of}"
        f"{changed}"
    )


def _rules(comparison: Comparison) -> str:
    if comparison.same_rules:
        first = next(each for side in (comparison.a, comparison.b) for each in side.judged)
        return f"Both judged by the same rules: {first.rules}, digest {first.rules_digest[:16]}."
    sides = []
    for label, side in (("A", comparison.a), ("B", comparison.b)):
        named = dict.fromkeys(f"{each.rules}, digest {each.rules_digest[:16]}" for each in side.judged)
        sides.append(f"{label} by {' and '.join(named)}")
    return f"NOT THE SAME RULES: {'; '.join(sides)}."


def _summary(comparison: Comparison) -> str:
    count = len(comparison.walls)
    apart = sum(not wall.same for wall in comparison.walls)
    if comparison.same:
        return "No decision differs" + (f" at any of {count} walls." if count > 1 else ".")
    alone = f"; walls on one side alone: {len(comparison.alone)}" if comparison.alone else ""
    return f"Walls compared: {count}; with decisions that differ: {apart}{alone}."


def _alone(alone: WallAlone) -> str:
    return f"wall {alone.wall} of {alone.reference} is in {alone.side.upper()} alone"


def _how_to_pair(comparison: Comparison) -> str:
    ids = "; ".join(
        f"walls of {label}: {', '.join(dict.fromkeys(side.walls))}"
        for label, side in (("A", comparison.a), ("B", comparison.b))
    )
    several = any(len(side.judged) > 1 for side in (comparison.a, comparison.b))
    by = "by id and by the survey's reference" if several else "by id"
    return (
        f"No two walls asked for make a pair: they are paired {by}. Name one of each side with --wall-a ID and "
        f"--wall-b ID; {ids}."
    )


def _name(comparison: Comparison, wall: WallsCompared) -> str:
    several = any(len(side.judged) > 1 for side in (comparison.a, comparison.b))
    a = f"{wall.wall_a} of {wall.reference_a}" if several else wall.wall_a
    return f"Wall {a}" if wall.wall_a == wall.wall_b else f"Wall {a} in A and wall {wall.wall_b} in B"


def _outcome(wall: WallsCompared) -> str:
    if wall.same:
        return "no decision differs"
    status = "" if wall.status_a == wall.status_b else f"; {wall.status_a} -> {wall.status_b}"
    return f"decisions differ{status}"


def _sections(wall: WallsCompared) -> Iterator[tuple[str, Rows]]:
    """The headings of a pair of walls with their rows; none without rows."""
    decided = [row for choice in wall.choices for row in _choice(choice)]
    by_set: dict[str, Rows] = {}
    for member in wall.members:
        by_set.setdefault(member.title, []).extend(_member(member))
    reasons = [*(each.because for each in wall.choices), *(each.because for each in wall.members)]
    bears = {name for because in reasons if because is not None for name in (*because.alone, *because.together)}
    facts = wall.facts or ()
    rules = [*_rules_of("A", wall.rules_a_only), *_rules_of("B", wall.rules_b_only), *map(_graded, wall.rules_graded)]
    for title, rows in (
        ("Decisions that differ", decided),
        *by_set.items(),
        ("Facts that differ and bear on a decision", [_fact(each) for each in facts if each.name in bears]),
        ("Other facts that differ", [_fact(each) for each in facts if each.name not in bears]),
        ("Readings that differ", [("-", _value(each), "") for each in wall.readings]),
        ("Rules that hold in one only, or speak otherwise", rules),
    ):
        if rows:
            yield title, rows


def _choice(choice: ChoiceDiffers) -> Rows:
    rows: Rows = [("", f"{choice.title} ({choice.choice})", "")]
    for label, seen in (("A", choice.a), ("B", choice.b)):
        rows.append((label, "not a choice of its rules" if seen is None else _seen(seen), "bold"))
    return [*rows, *_because(choice.because)]


def _seen(seen: ChoiceSeen) -> str:
    grade = f"; {seen.word}, {seen.certainty} certainty" if seen.word else ""
    others = [option for option in seen.possible if option != seen.option]
    could = f"; could be {', '.join(others).replace('_', ' ')}" if others else ""
    by = f" ({', '.join(seen.rules)})" if seen.rules else ""
    said = seen.says if seen.says == seen.option else f"{seen.option}: {seen.says}"
    return f"{said}  [{seen.status}{grade}{could}]{by}"


def _because(because: Because | None) -> Rows:
    if because is None:
        return []
    if because.alone:
        text = f"{because.alone[0]} alone brings this"
        if because.alone[1:]:
            text = f"each of these alone brings this: {', '.join(because.alone)}"
    elif because.together:
        text = f"only together: {', '.join(because.together)}"
    else:
        text = "not found by trying the facts that differ" if because.complete else "not found"
    if not because.complete:
        text += "; to try everything would have taken too long"
    return [("why", text, "")]


def _member(member: MemberDiffers) -> Rows:
    label = "added" if member.a is None else "gone" if member.b is None else "changed"
    seen = member.b or member.a
    assert seen is not None
    said = f"{member.says} ({', '.join(seen.rules)})"
    if member.a is not None and member.b is not None:
        said = f"{said}; {_held(member.a)} -> {_held(member.b)}"
    else:
        said = f"{seen.word}: {said}{'' if seen.settled else ' [open]'}"
    return [(label, said, _STYLES.get(label, "bold")), *_because(member.because)]


def _held(seen: MemberSeen) -> str:
    return f"{seen.word}, {'settled' if seen.settled else 'open'}"


def _fact(fact: ValueDiffers) -> tuple[str, str, str]:
    places = []
    for label, seen in (("A", fact.a), ("B", fact.b)):
        if seen.where:
            places.append(f"{label}:{seen.where.rpartition(':')[2]}")
    shown = f"  [{' '.join(places)}]" if places else ""
    return "-", f"{_value(fact)}{shown}", ""


def _value(value: ValueDiffers) -> str:
    return f"{value.name}: {_with_unit(value, value.a)} -> {_with_unit(value, value.b)}"


def _with_unit(value: ValueDiffers, seen: ValueSeen) -> str:
    shown = f"{seen.value} {value.unit}" if value.unit and seen.known else seen.value
    return f"{shown} ({seen.established})" if seen.established in ("reported", "assumed") else shown


def _rules_of(side: str, rules: Sequence[RuleSeen]) -> Rows:
    return [(f"only {side}", f"{rule.id} {rule.title} [{rule.word}]", "") for rule in rules]


def _graded(rule: RuleGraded) -> tuple[str, str, str]:
    grades = f"{rule.word_a}, {rule.certainty_a} -> {rule.word_b}, {rule.certainty_b} certainty"
    return "graded", f"{rule.id} {rule.title}: {grades}", ""
