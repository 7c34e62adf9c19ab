"""What a trainee has in front of them: the facts shown and asked for, what that cost, and the answers given."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from engine.facts.resolve import applies
from engine.facts.values import NOT_APPLICABLE_VALUE, UNKNOWN_VALUE, State, Value
from engine.facts.vocabulary import facts
from engine.inference.evaluate import Evaluation
from engine.inference.truth import Truth, conjunction, disjunction
from engine.inference.view import View
from engine.practice.generator import Case, Cases
from engine.practice.settings import MINUTES
from engine.rulebase.conditions import UNDECIDED, All, AnyOf, Condition, Not, Test
from engine.rulebase.rules import RuleBase


@dataclass(frozen=True, slots=True)
class Asked:
    """A fact that was asked for: what came of it, its price, and whether it could still matter when it was asked."""

    fact: str
    value: Value
    minutes: int
    could_matter: bool


@dataclass(slots=True)
class Attempt:
    """One trainee at one case. `works` is None as long as the works were not answered."""

    cases: Cases
    case: Case
    asked: list[Asked] = field(default_factory=list)
    answers: dict[str, str] = field(default_factory=dict)
    works: tuple[str, ...] | None = None

    @property
    def seen(self) -> dict[str, Value]:
        """The facts as far as the trainee can know them; a fact that was looked into without result stays unknown."""
        kept_back = set(self.case.hidden).difference(each.fact for each in self.asked)
        found_out = {each.fact: each.value for each in self.asked}
        values: dict[str, Value] = {}
        for name, variable in facts().items():
            value = self.case.values[name]
            if name in found_out:
                values[name] = found_out[name]
            elif applies(variable, values) is False:
                values[name] = NOT_APPLICABLE_VALUE
            else:
                values[name] = UNKNOWN_VALUE if name in kept_back or not value.known else value
        return values

    @property
    def minutes(self) -> int:
        """What has been spent on further facts."""
        return sum(each.minutes for each in self.asked)

    def to_ask(self) -> list[str]:
        """The facts that may be asked for: those some rule reads that are not in front of the trainee.

        Among them are facts that turn out not to apply, or that nobody established: a list without them would tell
        which is which.
        """
        seen, done = self.seen, {each.fact for each in self.asked}
        read = self.cases.facts_read
        return [n for n in facts() if n in read and n not in done and seen[n].state is State.UNKNOWN]

    def ask(self, name: str) -> Asked:
        """Find out a fact. It costs nothing where nobody established it, or where it is known by now not to apply.

        Where it turns out not to apply, the price is that of the fact that shows it.

        Raises:
            KeyError: no rule reads it, or it is in front of the trainee already.
        """
        seen = self.seen[name]
        if name not in self.cases.facts_read or seen.known or any(each.fact == name for each in self.asked):
            raise KeyError(name)
        value = self.case.values[name]
        free = value.state is State.UNKNOWN or seen.state is State.NOT_APPLICABLE
        minutes = 0 if free else MINUTES[facts()[self._looked_at(name)].effort]
        evaluation = self.cases.evaluation(self.case, self.seen)
        found = Asked(name, value, minutes, could_matter(self.cases, evaluation, name))
        self.asked.append(found)
        return found

    def _looked_at(self, name: str) -> str:
        """The fact that has to be looked at to know of this one: itself, or what shows that it does not apply."""
        if self.case.values[name].state is not State.NOT_APPLICABLE:
            return name
        before = [need.fact for need in facts()[name].applies]
        shows = [each for each in before if applies(facts()[name], {each: self.case.values[each]}) is False]
        return self._looked_at(shows[0]) if shows else name

    def follows(self, choice: str) -> str | None:
        """The option that follows from the answers before it, whatever the facts; None where more than one is left.

        Raises:
            KeyError: the choice is not asked about.
        """
        decided: dict[str, str] = {}
        for each in self.cases.subject.choices:
            follows = following(self.cases.base, each, decided)
            if each == choice:
                return follows
            answer = follows or self.answers.get(each)
            if answer is not None:
                decided[each] = answer
        raise KeyError(choice)


def following(base: RuleBase, choice_id: str, decided: Mapping[str, str]) -> str | None:
    """The only option of a choice that earlier decisions leave, whatever the facts are; None where they leave more."""
    choice, possible = base.choices[choice_id], []
    rules = [(rule, _by_decisions(rule.when, View({}, dict(decided)))) for rule in base.by_stage[choice.stage]]
    for option in choice.options:
        pair = (choice_id, option.id)
        support = {truth for rule, truth in rules if pair in rule.supports} | ({Truth.TRUE} if option.open else set())
        against = {truth for rule, truth in rules if pair in rule.rules_out}
        if Truth.TRUE not in against and support - {Truth.FALSE}:
            possible.append(option.id)
        if Truth.TRUE in support and not against - {Truth.FALSE}:
            break
    else:
        possible.append(UNDECIDED)
    return possible[0] if len(possible) == 1 and possible[0] != UNDECIDED else None


def _by_decisions(condition: Condition, view: View) -> Truth:
    """The truth of a condition on earlier decisions alone: every fact is open, even whether it is known."""
    match condition:
        case Test():
            return view.of_test(condition) if condition.scope == "decided" else Truth.UNKNOWN
        case All(parts):
            return conjunction(_by_decisions(part, view) for part in parts)
        case AnyOf(parts):
            return disjunction(_by_decisions(part, view) for part in parts)
        case Not(part):
            return _by_decisions(part, view).negated


def could_matter(cases: Cases, evaluation: Evaluation, fact: str) -> bool:
    """Whether finding out a fact could still change a choice asked about or a work, through whatever else it changes.

    Errs to the side of yes: False is certain.
    """
    base, subject = cases.base, cases.subject
    open_rules = [rule for rule in base.rules if evaluation.ever[rule.id] is Truth.UNKNOWN]
    changed = {fact}
    before = 0
    while len(changed) > before:
        before = len(changed)
        changed.update(n for n, v in facts().items() if any(need.fact in changed for need in v.applies))
        for rule in open_rules:
            if not any(_reads(test, changed) for test in rule.tests):
                continue
            concluded = (*rule.supports, *rule.rules_out)
            changed.update(f"decided.{choice}" for choice, _ in concluded if not evaluation.outcomes[choice].settled)
            changed.update(f"found.{name}" for name, member in rule.adds if member in evaluation.sets[name].may)
    asked = {*(f"decided.{choice}" for choice in subject.choices), f"found.{subject.works}"}
    return not asked.isdisjoint(changed)


def _reads(test: Test, changed: set[str]) -> bool:
    return test.variable.name in changed or not changed.isdisjoint(test.variable.from_facts)
