"""The rules of a version beside one another, and what none of them reaches."""

from __future__ import annotations

import re
from collections.abc import Callable, Hashable, Iterable, Iterator, Mapping

from engine.audit.findings import Finding
from engine.audit.form_literals import as_written, canonical
from engine.audit.form_places import Places, finding
from engine.rulebase.load import VersionRead
from engine.rulebase.model import STAGES
from engine.rulebase.rules import Rule


def alike(rules: Iterable[Rule], places: Places) -> Iterator[Finding]:
    """Rules that are the same as an earlier one, or are told apart by nothing that is read."""
    several = tuple(rules)
    for first, rule in _repeated(several, _whole):
        yield finding(
            "same-rule",
            "error",
            f"{first.id} {rule.id}",
            f"{rule.id} has the condition and the conclusions of {first.id}",
            places.rule(rule.id, "when"),
            rules=(first.id, rule.id),
            hint="leave one of them out",
        )
    for field, name in (("title", "title"), ("because", "reason")):
        for first, rule in _repeated(several, lambda rule, field=field: _plain(getattr(rule.raw, field))):  # type: ignore[misc]
            yield finding(
                f"same-{name}",
                "warning",
                f"{first.id} {rule.id}",
                f"{rule.id} has the {name} of {first.id}: {rule.title}",
                places.rule(rule.id, field),
                rules=(first.id, rule.id),
                hint="say what is different here",
            )


def _repeated(rules: tuple[Rule, ...], key: Callable[[Rule], Hashable]) -> Iterator[tuple[Rule, Rule]]:
    first: dict[Hashable, Rule] = {}
    for rule in rules:
        found = first.setdefault(key(rule), rule)
        if found is not rule:
            yield found, rule


def _whole(rule: Rule) -> Hashable:
    when = canonical(as_written(rule.raw.when, rule.when))
    return rule.stage, when, frozenset(rule.supports), frozenset(rule.rules_out), frozenset(rule.adds)


def _plain(text: str) -> str:
    return " ".join(re.findall(r"\w+", text.casefold()))


def unreached(read: VersionRead, places: Places) -> Iterator[Finding]:
    """Options that can never stand, and members that no rule adds."""
    supported = {pair for rule in read.rules for pair in rule.supports}
    for number, choice in enumerate(read.choices.values()):
        for index, option in enumerate(choice.options):
            if not option.open and (choice.id, option.id) not in supported:
                yield finding(
                    "option-never-supported",
                    "error",
                    f"{choice.id}={option.id}",
                    f"{choice.id}={option.id} is not open and no rule supports it, so it can never stand",
                    places.file("choices.yaml", "choices", number, "options", index),
                    hint=f"write a rule of stage {choice.stage} that supports it, or take the option out",
                )
    added: Mapping[tuple[str, str], None] = dict.fromkeys(pair for rule in read.rules for pair in rule.adds)
    for name, members in read.members.items():
        for member in members:
            if (name, member) not in added:
                yield finding(
                    "member-never-added",
                    "error",
                    f"{name}={member}",
                    f"No rule adds {member} to {name}",
                    places.row(f"{name}.yaml", member),
                    hint=f"write a rule that adds it, or take it out of {name}.yaml",
                )


def stages_without_rules(read: VersionRead, places: Places) -> Iterator[Finding]:
    """Stages at which nothing is judged."""
    present = {rule.stage for rule in read.rules}
    for stage in STAGES:
        if stage not in present:
            at = places.file(f"rules/{stage}.yaml")
            yield finding("stage-without-rules", "error", stage, f"The stage {stage} has no rules", at)
