"""Rules that follow opposite sides where published sources disagree."""

from __future__ import annotations

from collections.abc import Iterator

from engine.audit.findings import Finding
from engine.audit.form_cells import Cells, both, either
from engine.audit.form_literals import Asked, Group, as_written
from engine.audit.form_places import Places, finding
from engine.audit.words import listed
from engine.rulebase.load import VersionRead
from engine.rulebase.rules import Rule


def opposite_sides(read: VersionRead, places: Places) -> Iterator[Finding]:
    """For every two sources of which one rule follows the one and another rule the other: both rules."""
    follow: dict[tuple[str, str], list[Rule]] = {}
    for rule in read.rules:
        for other in rule.raw.against if rule.raw.follows else ():
            follow.setdefault((rule.raw.follows or "", other), []).append(rule)
    for (one, other), rules in follow.items():
        against = follow.get((other, one), [])
        if not against or one > other:
            continue
        shared = sorted(_about(rules) & _about(against))
        about = f", both on {listed(shared)}" if shared else ", on different things"
        by = [told_apart(first, second) for first in rules for second in against]
        never_both = bool(by) and all(by)
        if never_both:
            about += f"; they never hold on one wall, since {listed(sorted(set(by)))} tells them apart"
        yield finding(
            "opposite-sides",
            "note" if never_both else "warning",
            f"{one} {other}",
            f"{_follow(rules, one, other, read)}, and {_follow(against, other, one, read)}{about}",
            places.rule(against[0].id, "follows"),
            group="sources",
            rules=tuple(sorted(rule.id for rule in (*rules, *against))),
            hint="follow one of them throughout, or say in `because` why each is right where it is followed",
        )


def told_apart(first: Rule, second: Rule) -> str:
    """A variable of which two rules ask what cannot be true at once; "" where no one variable shows that."""
    for one in _asked_at_once(first):
        for other in _asked_at_once(second):
            if one[0].name == other[0].name:
                cells = Cells(one[0].test.variable, [asked.test for asked in (*one, *other)])
                truths = [either(*(cells.of(asked) for asked in several)) for several in (one, other)]
                if cells.never(both(*truths)):
                    return one[0].name
    return ""


def _asked_at_once(rule: Rule) -> Iterator[tuple[Asked, ...]]:
    """What must hold for a rule to hold: tests of one variable, of each of these one at least."""
    when = as_written(rule.raw.when, rule.when)
    parts = when.parts if isinstance(when, Group) and when.kind == "all" else (when,)
    for part in parts:
        several = (part,) if isinstance(part, Asked) else part.literals
        if len({asked.name for asked in several}) == 1 and (isinstance(part, Asked) or not part.groups):
            yield several


def _follow(rules: list[Rule], one: str, other: str, read: VersionRead) -> str:
    verb = "follows" if len(rules) == 1 else "follow"
    return f"{listed([rule.id for rule in rules])} {verb} {_short(read, one)} against {_short(read, other)}"


def _short(read: VersionRead, source: str) -> str:
    return read.sources[source].short if source in read.sources else source


def _about(rules: list[Rule]) -> set[str]:
    """The choices that rules bear on, and the sets."""
    return {name for rule in rules for name, _ in (*rule.supports, *rule.rules_out, *rule.adds)}
