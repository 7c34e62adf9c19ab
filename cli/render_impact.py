"""What another version of the rules changes over past jobs, as text, as Markdown and as JSON."""

from __future__ import annotations

import itertools
import shlex
from collections.abc import Iterable, Iterator, Sequence

from cli.render_archive import counted
from cli.render_markdown import escaped
from cli.step_words import STEP_STYLES, STEPS
from cli.terminal import Page
from cli.wording import sentence
from engine.archive.impact_model import (
    DecisionChanges,
    ExampleWall,
    FindingChanges,
    GroupImpact,
    Impact,
    LeftOutChanges,
    MemberChanges,
    PointImpact,
    Recommendations,
    RuleBrings,
)
from engine.decision.chain import WORDS

Rows = list[tuple[str, str, str]]
"""Rows of label, text and style; one without a label is a heading of its own."""

_HOLDS = {"a": "holds no longer", "b": "newly holds", "both": "concludes otherwise", "neither": ""}
_SAID = {
    "must": "differs against a must",
    "should": "differs against a should",
    "consider": "differs against a consider",
    "agree": "agrees",
    "not_decidable": "is not decidable",
    "not_recorded": "is not recorded",
}
_UNDER = ("A", "B", "why", "such as", "status")
_BOUND = (
    "in bulk, what is settled goes by a bound that may call open what a closer look would settle; assess looks closer "
    "at single walls"
)
_RULES = 4
"""How many rules of one kind of change are named."""
_KINDS = 12
"""How many kinds of change are told, of those that are not bolder."""
_MOST = 10
"""How many rules, constructions and members are listed."""


def as_json(found: Impact) -> str:
    """Everything, as JSON."""
    return found.model_dump_json(indent=2) + "\n"


def as_text(found: Impact, paths: Sequence[str] = (), *, plain: bool = False) -> str:
    """A summary, then what changes, bolder first; `plain` without colours whatever the terminal."""
    page = Page(plain=plain)
    page.rows(((label, text, "bold") for label, text in _sides(found)), 2, indent=0)
    page.blank()
    for line, style in _summary(found):
        page.line(line, style)
    for title, rows in _sections(found):
        page.heading(title)
        page.listing(rows)
    if found.rejected:
        page.line("  All that were rejected, in their own layout, to be mended:")
        page.command(["bedjoint archive check", *map(shlex.quote, paths), "--output DIR"])
    page.blank()
    page.line(found.limits)
    return page.text()


def as_markdown(found: Impact, paths: Sequence[str] = ()) -> str:
    """The same as Markdown."""
    return "\n".join(_markdown(found, paths)) + "\n"


def _markdown(found: Impact, paths: Sequence[str]) -> Iterator[str]:
    yield "# Impact of a version of the rules"
    yield ""
    yield from (f"- **{label}**: {escaped(text)}" for label, text in _sides(found))
    for line, _ in _summary(found):
        yield from ("", escaped(line))
    for title, rows in _sections(found):
        yield from ("", f"## {escaped(sentence(title))}", "")
        for label, text, _ in rows:
            if not label:
                yield f"- **{escaped(text)}**"
            elif label == "-":
                yield f"- {escaped(text)}"
            else:
                yield f"{'  ' if label in _UNDER else ''}- *{escaped(label)}*: {escaped(text)}"
    if found.rejected:
        command = " ".join(["bedjoint archive check", *map(shlex.quote, paths), "--output DIR"])
        yield from ("", "All that were rejected, in their own layout, to be mended:", "", f"    {command}")
    yield from ("", f"*{escaped(found.limits)}*")


def _sides(found: Impact) -> list[tuple[str, str]]:
    return [
        (label, f"rules {side.version}, in force from {side.in_force_from}, digest {side.digest[:16]}")
        for label, side in (("A", found.a), ("B", found.b))
    ]


def _summary(found: Impact) -> Iterator[tuple[str, str]]:
    yield (
        f"{counted(found.rows, 'row')} of past jobs: {counted(found.walls, 'wall')} judged by both, "
        f"{found.rejected:,} rejected, {found.repeated:,} repeated.",
        "bold",
    )
    if not found.changed:
        yield f"At none of {counted(found.walls, 'wall')} does a decision differ.", "bold"
    else:
        steps = ", ".join(f"{number:,} {STEPS[step]}" for step, number in found.steps.items())
        yield (
            f"At {_of(found.changed, found.walls)} of them something is decided otherwise: at "
            f"{_of(found.chosen, found.walls)} a choice, at the rest works, tests, notices, cautions or causes alone.",
            "bold",
        )
        yield f"Walls with at least one such change: {steps}.", "bold"
    if found.status_only:
        yield (
            f"At {counted(found.status_only, 'more wall' if found.changed else 'wall')} every answer is the same, but "
            "more or less settled.",
            "",
        )


def _of(part: int, whole: int) -> str:
    if not whole:
        return f"{part:,}"
    share = 100 * part / whole
    return f"{part:,} ({'under 1' if 0 < share < 1 else f'{share:.0f}'} %)"


def _sections(found: Impact) -> Iterator[tuple[str, Rows]]:
    """Every section that has something to say."""
    yield from _decisions(found)
    members = list(_members(found.members))
    if members:
        yield "Works, tests, notices, cautions, causes: gained and lost", members
    if found.statuses:
        rows: Rows = [
            (f"{each.walls:,}", f"{each.title}: {each.a} -> {each.b} ({STEPS[each.step]})", "")
            for each in found.statuses
        ]
        yield "The same answer, more or less settled", [*rows, ("-", _BOUND, "")]
    changed = [each for each in found.rules if each.change is not None]
    if changed:
        yield (
            "Rules that were changed, and at how many walls they bring a change",
            _listed(
                [(each.id, f"{counted(each.walls, 'wall')}: {each.title} ({_how(each)})", "") for each in changed],
                "rule",
            ),
        )
    if found.changed:
        for title, groups in (
            ("By construction", found.constructions),
            ("By year of survey", found.years),
        ):
            yield title, [(each.name or "not known", _group(each), "") for each in groups]
    if found.one_version_only or found.not_compared:
        yield "In one version only", list(_only(found))
    if found.recommendations is not None:
        yield "What it means for recommendations on file", list(_recommendations(found.recommendations))
    if found.rejects:
        yield "Rows that could not be judged", list(_rejects(found))


def _listed(rows: Rows, what: str) -> Rows:
    """The first of a long list, and how many more there are."""
    more = len(rows) - _MOST
    return rows if more < 2 else [*rows[:_MOST], ("-", f"{counted(more, f'more {what}')} (--format json has all)", "")]


def _decisions(found: Impact) -> Iterator[tuple[str, Rows]]:
    for step, several in itertools.groupby(found.decisions, lambda each: each.step):
        kinds = list(several)
        rows: Rows = []
        shown = kinds
        if step != "bolder" and len(kinds) > _KINDS + 1:
            # The commonest, but in the order in which the decisions are taken.
            least = sorted((each.walls for each in kinds), reverse=True)[_KINDS - 1]
            shown = [each for each in kinds if each.walls >= least][:_KINDS]
        for each in shown:
            rows += _decision(each)
        left = [each for each in kinds if each not in shown]
        if left:
            walls = max(each.walls for each in left)
            text = (
                f"{counted(len(left), 'more kind')}, each at {counted(walls, 'wall')} at most (--format json has all)"
            )
            rows.append(("-", text, ""))
        walls = sum(each.walls for each in kinds)
        yield f"{STEPS[step]}: {counted(len(kinds), 'kind')} of change, {counted(walls, 'decision')}", rows


def _decision(each: DecisionChanges) -> Rows:
    rows: Rows = [
        ("", f"{each.title} ({each.choice}): {counted(each.walls, 'wall')}", STEP_STYLES.get(each.step, "bold"))
    ]
    for label, option, says in (("A", each.a, each.says_a), ("B", each.b, each.says_b)):
        rows.append((label, option if says == option else f"{option}: {says}", ""))
    rows += _why(each.rules)
    rows.append(("such as", _places(each.examples), ""))
    return rows


def _why(rules: Sequence[RuleBrings]) -> Rows:
    """The rules that bring it, those at most walls first."""
    if not rules:
        return [("why", "no rule alone: the options or their order differ", "")]
    shown = rules if len(rules) <= _RULES + 1 else rules[:_RULES]
    rows = [("why", f"{rule.id} {rule.title} ({_how(rule)}; {counted(rule.walls, 'wall')})", "") for rule in shown]
    return rows if len(shown) == len(rules) else [*rows, ("why", f"and {len(rules) - len(shown)} more rules", "")]


def _how(rule: RuleBrings) -> str:
    """How it holds, and whether it is itself changed: where not, something before it is decided otherwise."""
    return f"{_HOLDS[rule.holds]}, {rule.change or 'unchanged'}"


def _places(examples: Iterable[ExampleWall]) -> str:
    return "; ".join(_place(each) for each in examples)


def _place(each: ExampleWall) -> str:
    sheet = f" ({each.sheet})" if each.sheet else ""
    return f"{each.file}{sheet}:{each.row} wall {each.wall}"


def _members(members: Sequence[MemberChanges]) -> Iterator[tuple[str, str, str]]:
    """Members by set, gained before lost; bolder ones first in each."""
    sets = dict.fromkeys(each.set for each in sorted(members, key=lambda each: each.step != "bolder"))
    for name in sets:
        for gained in (False, True):
            several = [each for each in members if each.set == name and each.gained is gained]
            if not several:
                continue
            style = STEP_STYLES.get(several[0].step, "bold")
            yield "", f"{several[0].title} ({name}): {'gained' if gained else 'lost'}", style
            yield from _listed([_member(each) for each in several], "of them")


def _member(each: MemberChanges) -> tuple[str, str, str]:
    rules = [f"{rule.id} {_how(rule)}" for rule in each.rules[:_RULES]]
    if len(each.rules) > _RULES:
        rules.append(f"and {len(each.rules) - _RULES} more rules")
    why = f" Why: {'; '.join(rules)}." if rules else ""
    called = each.member.replace("_", " ")
    return f"{each.walls:,}", f"{called} [{STEPS[each.step]}].{why} Such as {_places(each.examples[:1])}", ""


def _group(each: GroupImpact) -> str:
    steps = ", ".join(f"{number:,} {STEPS[step]}" for step, number in each.steps.items())
    changed = f"{_of(each.changed, each.walls)} of {counted(each.walls, 'wall')}"
    return f"{changed}, a choice at {each.chosen:,}{f'; {steps}' if steps else ''}"


def _only(found: Impact) -> Iterator[tuple[str, str, str]]:
    for each in found.one_version_only:
        side = found.a if each.version == "a" else found.b
        taken = f"at {counted(each.walls, 'wall')}" if each.walls else "at no wall here"
        yield each.version.upper(), f"{each.of}: {each.id} (in {side.version} alone; taken {taken})", ""
    if found.not_compared:
        yield (
            "-",
            f"choices that one version alone has, and that were not compared: {', '.join(found.not_compared)}",
            "",
        )


def _recommendations(found: Recommendations) -> Iterator[tuple[str, str, str]]:
    yield (
        "-",
        f"{counted(found.walls, 'wall')} with what was recommended or installed on file. The gravest difference is "
        f"graver under B at {found.graver:,}, and lighter at {found.lighter:,}.",
        "",
    )
    for point in found.points:
        yield "", f"{point.title} ({point.point}): differs at {point.after:,}, before at {point.before:,}", ""
        if not point.changes:
            yield "-", "at the same walls, as gravely", ""
            continue
        yield from _point(point)
    for arises in (True, False):
        several = [each for each in found.left_out if each.arises is arises]
        if several:
            yield "", "Newly left out by what was recommended" if arises else "No longer left out", ""
            yield from _listed([_left_out(each) for each in several], "of them")


def _point(point: PointImpact) -> Iterator[tuple[str, str, str]]:
    yield "-", f"newly {point.arises:,}, no longer {point.vanishes:,}, of another grade {point.regraded:,}", ""
    for each in point.changes:
        yield f"{each.walls:,}", _finding(each), ""


def _finding(each: FindingChanges) -> str:
    rules = ", ".join(
        f"{rule.id} ({_HOLDS[rule.holds].replace('holds', 'speaks against it')})" for rule in each.rules[:_RULES]
    )
    more = f" and {len(each.rules) - _RULES} more rules" if len(each.rules) > _RULES else ""
    why = f" {rules}{more}." if rules else ""
    if not rules and each.a in WORDS and each.b in WORDS:
        why = " The same rules are against it."
    return f"{_SAID[each.a]} -> {_SAID[each.b]}.{why} Such as {_places(each.examples)}"


def _left_out(each: LeftOutChanges) -> tuple[str, str, str]:
    return f"{each.walls:,}", f"{each.member.replace('_', ' ')} ({each.set}). Such as {_places(each.examples[:1])}", ""


def _rejects(found: Impact) -> Iterator[tuple[str, str, str]]:
    for each in found.rejects:
        sheet = f" ({each.sheet})" if each.sheet else ""
        value = f": {each.value!r}" if each.value else ""
        yield "-", f"{each.file}{sheet}:{each.row} {each.column}{value} {each.message}", ""
    if found.rejected > len(found.rejects):
        yield "-", f"{counted(found.rejected - len(found.rejects), 'more row')}", ""
