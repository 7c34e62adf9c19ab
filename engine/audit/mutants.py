"""Rules with one small fault put in, each a rule that could have been written."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from engine.audit.mutant_conclusions import conclusion_edits
from engine.audit.mutant_conditions import condition_edits
from engine.audit.mutant_tests import Edit
from engine.rulebase.check import problems_in_rule
from engine.rulebase.conditions import Condition, ConditionParser
from engine.rulebase.rules import Rule, RuleBase, compiled

OPERATORS = {
    "threshold": "a bound moved by one step",
    "strictness": "`at least` for `above` or `at most` for `below`, and the reverse",
    "comparison": "a comparison turned round",
    "operand-added": "a value added to those a test takes",
    "operand-dropped": "a value dropped from those a test takes",
    "operand-replaced": "a value replaced by another",
    "negated": "a test negated, or a `not` taken off",
    "known-unknown": "`known` for `unknown`, and the reverse",
    "condition-dropped": "a condition dropped",
    "exception-dropped": "an exception (`not`) dropped",
    "all-any": "`all` for `any`, and the reverse",
    "conclusion-dropped": "a conclusion dropped",
    "conclusion-moved": "the next option or member concluded in its place",
    "support-opposed": "`rules_out` for `supports`, and the reverse",
    "caution-dropped": "a caution dropped",
}
"""The kinds of fault, in the order in which they are reported."""


@dataclass(frozen=True, slots=True)
class Mutant:
    """A rule with one fault. `number` counts the mutants of its rule from 1."""

    rule: Rule
    number: int
    operator: str
    says: str

    @property
    def name(self) -> str:
        """The id of the rule, and which of its mutants this is."""
        return f"{self.rule.id}/{self.number}"


def all_mutants(base: RuleBase) -> list[Mutant]:
    """The mutants of every rule, in order of the rules' ids; none twice, and none that is the rule as it is."""
    return [mutant for rule in base.rules for mutant in mutants_of(rule, base)]


def mutants_of(rule: Rule, base: RuleBase) -> Iterator[Mutant]:
    """The mutants of one rule.

    What no rule file could hold is left out, save that a rule may lose its only conclusion: that is the rule left out.
    """
    seen = {_essence(rule)}
    number = 0
    said: Counter[tuple[str, str]] = Counter()

    def words(edit: Edit) -> str:
        """What the fault does; where the same is done in two places of a rule, the second says so."""
        said[edit.operator, edit.says] += 1
        count = said[edit.operator, edit.says]
        return edit.says if count == 1 else f"{edit.says} (place {count})"

    for edit in condition_edits(rule.raw.when, base.variables):
        when = _parsed(edit.raw, base)
        if when is None:
            continue
        changed = compiled(rule.raw.model_copy(update={"when": edit.raw}), when, rule.where)
        if _essence(changed) not in seen:
            seen.add(_essence(changed))
            number += 1
            yield Mutant(changed, number, edit.operator, words(edit))
    for edit in conclusion_edits(rule.raw, base):
        changed = compiled(rule.raw.model_copy(update=edit.raw), rule.when, rule.where)
        if _essence(changed) not in seen and _allowed(changed, edit, base):
            seen.add(_essence(changed))
            number += 1
            yield Mutant(changed, number, edit.operator, words(edit))


def _essence(rule: Rule) -> tuple[Any, ...]:
    """What a rule does, whatever the order in which it is written."""
    return repr(rule.when), frozenset(rule.supports), frozenset(rule.rules_out), frozenset(rule.adds)


def _parsed(raw: Any, base: RuleBase) -> Condition | None:
    found: list[str] = []
    when = ConditionParser(base.variables, lambda *problem: found.append(problem[1])).parse(raw, ())
    return None if found else when


def _allowed(rule: Rule, edit: Edit, base: RuleBase) -> bool:
    if not (rule.supports or rule.rules_out or rule.adds):
        return True
    at_conclusions = ("supports", "rules_out", "adds", "cautions")
    found = problems_in_rule(rule.raw, rule.stage, base.choices, base.sets, base.members, base.sources)
    return not any(path and path[0] in at_conclusions for path, *_ in found)
