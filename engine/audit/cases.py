"""A wall judged under a rule base on what is known of it, and how that changes when one rule is another."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from pydantic import ValidationError

from engine.decision.grounds import now_view
from engine.facts.amend import LATEST
from engine.facts.contradictions import contradictions
from engine.facts.intake import SurveyFile
from engine.facts.resolve import notes_of, resolve
from engine.facts.survey import Survey
from engine.facts.values import Value
from engine.facts.written import survey_of
from engine.inference.evaluate import evaluate
from engine.inference.truth import Truth
from engine.inference.view import View
from engine.readings.compute import compute_readings
from engine.rulebase.conditions import UNDECIDED, All, AnyOf, Condition, Not, Test
from engine.rulebase.model import STAGES
from engine.rulebase.reading_figures import reading_figures
from engine.rulebase.rules import Rule, RuleBase


@dataclass(frozen=True, slots=True)
class Case:
    """What the conditions of a wall's rules see once all stages are done, and the rules that hold."""

    view: View
    fired: frozenset[str]

    @property
    def decided(self) -> Mapping[str, str]:
        """The option of every choice."""
        return self.view.decided

    @property
    def found(self) -> Mapping[str, frozenset[str]]:
        """The members of every set."""
        return self.view.found


def values_of(file: SurveyFile, base: RuleBase) -> dict[str, Value]:
    """The facts and readings of a survey's only wall."""
    values = file.values_of(file.survey.walls[0])
    year = file.survey.property.survey_date.year
    values.update(compute_readings(values, year, reading_figures(base.tables)))
    return values


def values_of_data(data: Mapping[str, Any], base: RuleBase) -> dict[str, Value]:
    """The same from a survey's data, without places.

    Raises:
        BadInput: facts that are not allowed or cannot be true together.
    """
    try:
        survey = Survey.model_validate(data)
        if next(contradictions(survey, LATEST), None) is None:
            values = resolve(notes_of(survey.property, survey.walls[0]))
            year = survey.property.survey_date.year
            return {**values, **compute_readings(values, year, reading_figures(base.tables))}
    except ValidationError:
        pass
    return values_of(survey_of(dict(data), "facts"), base)  # once more, so that every problem is said with its place


def judged(base: RuleBase, values: Mapping[str, Value]) -> Case:
    """A wall judged by the evaluator."""
    found = evaluate(base, values)
    return Case(now_view(found), found.fired)


class Rejudge:
    """Judges cases again with one rule of a base changed, looking only at what that can change."""

    def __init__(self, base: RuleBase) -> None:
        self._base = base
        self._readers: dict[str, set[str]] = {}
        for rule in base.rules:
            for test in rule.tests:
                self._readers.setdefault(test.variable.name, set()).add(rule.id)

    def with_rule(self, case: Case, rule: Rule) -> Case:
        """The case with `rule` in the place of the rule of its id; the case itself where nothing changes.

        That some rule holds and changes no outcome is a change too.
        """
        old = self._base.by_id[rule.id]
        before = rule.id in case.fired
        after = before if rule.when is old.when else is_true(rule.when, case.view)
        if before == after and (not after or same_conclusions(old, rule)):
            return case
        fired = set(case.fired) ^ ({rule.id} if before != after else set())
        view = View(case.view.values, dict(case.decided), dict(case.found))
        touched = {*conclusions(old), *conclusions(rule)}
        start = STAGES.index(rule.stage)
        changed: set[str] = set()
        for stage in STAGES[start:]:
            if stage != rule.stage:
                for reader in self._reading(changed, stage):
                    if is_true(reader.when, view) != (reader.id in fired):
                        fired ^= {reader.id}
                        touched |= conclusions(reader)
            changed |= self._close(stage, touched, fired, rule, view)
        return Case(view, frozenset(fired))

    def _reading(self, changed: set[str], stage: str) -> Iterable[Rule]:
        names = {name for variable in changed for name in self._readers.get(variable, ())}
        return (rule for rule in self._base.by_stage[stage] if rule.id in names)

    def _close(self, stage: str, touched: set[tuple[str, str]], fired: set[str], changed: Rule, view: View) -> set[str]:
        """Decide the choices and close the sets of a stage that are touched; the variables that change."""
        found = set()
        groups = {group for group, _ in touched}
        for choice in self._base.choices_of[stage]:
            if choice.id in groups:
                rules = [self._now(each, changed) for each in self._base.by_stage[stage] if each.id in fired]
                option = decide(self._base, choice.id, rules)
                if option != view.decided[choice.id]:
                    view.decided[choice.id] = option
                    found.add(f"decided.{choice.id}")
        for name, each in self._base.sets.items():
            if each.closes == stage and name in groups:
                adding = (self._now(rule, changed) for rule in self._base.rules if rule.id in fired)
                members = frozenset(member for rule in adding for key, member in rule.adds if key == name)
                if members != view.found[name]:
                    view.found[name] = members
                    found.add(f"found.{name}")
        return found

    @staticmethod
    def _now(rule: Rule, changed: Rule) -> Rule:
        return changed if rule.id == changed.id else rule


def is_true(condition: Condition, view: View) -> bool:
    """Whether a condition is true: `View.truth`, without looking at more of it than that takes."""
    match condition:
        case Test():
            return view.of_test(condition) is Truth.TRUE
        case Not(part):
            return _is_false(part, view)
        case All(parts):
            return all(is_true(part, view) for part in parts)
        case AnyOf(parts):
            return any(is_true(part, view) for part in parts)


def _is_false(condition: Condition, view: View) -> bool:
    match condition:
        case Test():
            return view.of_test(condition) is Truth.FALSE
        case Not(part):
            return is_true(part, view)
        case All(parts):
            return any(_is_false(part, view) for part in parts)
        case AnyOf(parts):
            return all(_is_false(part, view) for part in parts)


def decide(base: RuleBase, choice: str, rules: Iterable[Rule]) -> str:
    """The option a choice comes to when these rules of its stage hold."""
    rules = tuple(rules)
    supported = {option for rule in rules for key, option in rule.supports if key == choice}
    opposed = {option for rule in rules for key, option in rule.rules_out if key == choice}
    for option in base.choices[choice].options:
        if (option.open or option.id in supported) and option.id not in opposed:
            return option.id
    return UNDECIDED


def conclusions(rule: Rule) -> set[tuple[str, str]]:
    """Everything a rule bears on: choice and option, set and member."""
    return {*rule.supports, *rule.rules_out, *rule.adds}


def same_conclusions(one: Rule, other: Rule) -> bool:
    """Whether two rules conclude the same."""
    return (
        set(one.supports) == set(other.supports)
        and set(one.rules_out) == set(other.rules_out)
        and set(one.adds) == set(other.adds)
    )


def decides_alike(one: Case, other: Case) -> bool:
    """Whether two cases come to the same in every choice and set."""
    return one is other or (one.decided == other.decided and one.found == other.found)
