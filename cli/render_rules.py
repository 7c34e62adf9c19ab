"""Rules as text and as data."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from typing import Any

from cli.terminal import Page
from cli.wording import SEEN
from engine.decision.assess import citations
from engine.rulebase.conditions import All, AnyOf, Condition, Not, Test
from engine.rulebase.rules import Rule, RuleBase


def list_as_text(base: RuleBase, stages: Sequence[str]) -> str:
    """Rules by stage, a line each."""
    page = Page()
    count = sum(len(base.by_stage[stage]) for stage in stages)
    page.line(f"Rules {base.manifest.version}, in force from {base.manifest.in_force_from}: {count} rules")
    for stage in stages:
        page.heading(stage)
        page.rows(((rule.id, f"{rule.word}: {rule.title}", "") for rule in base.by_stage[stage]), 6)
    return page.text()


def list_as_json(base: RuleBase, stages: Sequence[str]) -> str:
    """Rules by stage, as data."""
    rules = [rule_as_data(rule, base) for stage in stages for rule in base.by_stage[stage]]
    found = {"version": base.manifest.version, "digest": base.digest, "rules": rules}
    return json.dumps(found, indent=2, ensure_ascii=False) + "\n"


def rule_as_data(rule: Rule, base: RuleBase) -> dict[str, Any]:
    """One rule as it was written, with its sources looked up."""
    found = rule.raw.model_dump(mode="json")
    return {**found, "cites": [cite.model_dump() for cite in citations(rule, base)], "where": rule.where}


def rule_as_text(rule: Rule, base: RuleBase) -> str:
    """One rule under fixed headings."""
    page, raw = Page(), rule.raw
    page.line(f"{rule.id}  {rule.title}", "bold")
    page.line(f"stage {rule.stage}; rules {base.manifest.version}; {rule.where}")
    page.heading("What it decides")
    page.rows(((kind, what, "") for kind, what in _conclusions(rule, base)), 10)
    page.heading("When")
    for line in _condition_lines(rule.when, 0):
        page.line("  " + line)
    page.heading("Why")
    page.line(raw.because)
    page.heading("How far to trust it")
    basis = raw.basis.replace("_", " ")
    page.line(f"{rule.word}; basis {basis}; {raw.strength}; {raw.certainty} certainty")
    if raw.limits:
        page.heading("Known limits")
        page.line(raw.limits)
    page.heading("Example facts that make it hold")
    page.rows(((name, _plain(value), "") for name, value in raw.examples.holds.items()), 34)
    page.heading("Nearest facts that do not")
    page.rows(((name, _plain(value), "") for each in raw.examples.fails for name, value in each.items()), 34)
    page.heading("Sources")
    for cite in citations(rule, base):
        stance = "followed: " if cite.source == raw.follows else "set aside: " if cite.source in raw.against else ""
        clause = f", {cite.clause}" if cite.clause else ""
        seen = f" [{SEEN[cite.seen]}]" if SEEN[cite.seen] else ""
        page.rows([("-", f"{stance}{cite.title}{clause}: {cite.says}{seen}", "")], 1)
    return page.text()


def _conclusions(rule: Rule, base: RuleBase) -> Iterator[tuple[str, str]]:
    for kind, pairs in (("supports", rule.supports), ("rules out", rule.rules_out)):
        for choice, option in pairs:
            says = next(each.says for each in base.choices[choice].options if each.id == option)
            yield kind, f"{choice}={option}: {says}"
    for name, member in rule.adds:
        yield "adds", f"{name}: {base.members[name][member].says}"


def _condition_lines(condition: Condition, depth: int) -> Iterator[str]:
    pad = "  " * depth
    match condition:
        case Test():
            yield pad + condition.in_words()
        case Not(Test() as test):
            yield f"{pad}not: {test.in_words()}"
        case Not(part):
            yield pad + "not:"
            yield from _condition_lines(part, depth + 1)
        case All(parts) | AnyOf(parts):
            yield pad + ("all of:" if isinstance(condition, All) else "any of:")
            for part in parts:
                yield from _condition_lines(part, depth + 1)


def _plain(value: Any) -> str:
    if isinstance(value, list):
        return ", ".join(map(str, value))
    return ("yes" if value else "no") if isinstance(value, bool) else str(value)
