"""Whether a changed rule changes any decision, over every survey there can be: proved, or shown by one.

A rule bears on decisions only through what it concludes. So the two versions of the rules decide alike in every survey
if and only if the choices and members that the changed rule concludes on, before or after, come out alike in every
survey: what comes later reads nothing else of it.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Mapping, Sequence

from engine.audit.cases import Rejudge, conclusions, decides_alike, judged, same_conclusions
from engine.audit.near_bounds import NearBounds
from engine.audit.witness import Done, Unreal, Witness, witness_of
from engine.facts.values import Value
from engine.facts.vocabulary import Variable
from engine.proof.cells import equals
from engine.proof.decisions import Encoder, options_taken
from engine.proof.logic import Formula, all_of, any_of, negated, same, within
from engine.proof.wall_space import WallSpace, all_surveys, is_possible, solver_for
from engine.rulebase.model import Choice
from engine.rulebase.rules import Rule, RuleBase


class Equivalence:
    """Compares rules with the rules of a base over all surveys of a year. Built once; each question is a small one."""

    def __init__(self, base: RuleBase, survey_year: int, values: Mapping[str, Value] | None = None) -> None:
        """`values` are facts and readings of a wall that surveys are related to: rows may then be just those."""
        self._base = base
        self.wall: WallSpace = all_surveys(base, survey_year, values)
        self._rejudge = Rejudge(base)
        self._near = NearBounds(survey_year, self.wall.figures)
        with within(self.wall.context):
            self._encoder = Encoder(base, self.wall.space.cells)
            self._decided = self._encoder.run()
        self._solver = solver_for(self.wall)

    def decides_alike(self, rule: Rule) -> bool:
        """Whether it is proved that no survey comes to another outcome with `rule` in the place of that of its id.

        Raises:
            RuntimeError: the solver gave up.
        """
        return not self._possible(self.difference(rule))

    def holds_alike(self, rule: Rule) -> bool:
        """Whether it is proved that the rule holds in the same surveys and concludes the same where it does.

        Raises:
            RuntimeError: the solver gave up.
        """
        before, after = self._acts(rule)
        if not same_conclusions(self._base.by_id[rule.id], rule):
            return not self._possible(any_of((before, after)))
        with within(self.wall.context):
            return not self._possible(negated(same(before, after)))

    def _possible(self, formula: Formula) -> bool:
        # Added and taken away again: passed as assumptions, thousands of formulas slow the solver down by half.
        self._solver.push()
        try:
            self._solver.add(formula)
            return is_possible(self._solver)
        finally:
            self._solver.pop()

    def shown(self, rule: Rule, done: Done | None = None) -> Witness | Unreal | None:
        """A survey that is decided otherwise with `rule`; `None` is proof that there is none.

        `done` asks more of it, where it is given. The answer does not depend on what was asked before: it comes from
        a solver that was asked nothing else.

        Raises:
            RuntimeError: the solver gave up.
        """
        year, done = self.wall.now.survey_year, done or self.tells(rule)
        found = Equivalence(self._base, year).witness((rule,), done)
        if not isinstance(found, Unreal):
            return found
        for reading, given in self._near.facts_for(self._base.by_id[rule.id], rule):
            values = self._near.values_with(given)
            around = Equivalence(self._base, year, values)
            near = around.witness((rule,), done, around.as_given(given, reading, values))
            if isinstance(near, Witness):
                return near
        return found

    def as_given(self, given: Mapping[str, Value], reading: str, values: Mapping[str, Value]) -> Formula:
        """That these facts are as given, with the reading and every other that is computed from them alone."""
        cells = self.wall.space.cells
        fixed = [name for name in cells if name in given]
        fixed += [name for name, cell in cells.items() if cell.variable.from_facts and _only(cell.variable, given)]
        with within(self.wall.context):
            return all_of([equals(cells[name], values[name]) for name in dict.fromkeys((*fixed, reading))])

    def witness(self, rules: Sequence[Rule], done: Done, also: Formula = True) -> Witness | Unreal | None:
        """A survey for which `done` holds, looked for where it is decided otherwise with each of the rules in turn.

        `also` is what else has to hold there.

        Raises:
            RuntimeError: the solver gave up.
        """
        # Beside the base's own tests those of the changed rules have to come out as wanted when a survey is made.
        wider = dataclasses.replace(self._base, rules=(*self._base.rules, *rules))
        wall = dataclasses.replace(self.wall, base=wider)
        with within(self.wall.context):
            formula = all_of([also, *(self.difference(rule) for rule in rules)])
        return witness_of(wall, self._solver, formula, done)

    def together(self, first: Rule, others: Iterable[Rule]) -> list[Rule]:
        """The first rule and those of the others of which one survey may tell all at once, taken in turn.

        Raises:
            RuntimeError: the solver gave up.
        """
        found = [first]
        self._solver.push()
        try:
            self._solver.add(self.difference(first))
            for rule in others:
                self._solver.push()
                self._solver.add(self.difference(rule))
                if is_possible(self._solver):
                    found.append(rule)
                else:
                    self._solver.pop()
        finally:
            self._solver.pop(len(found))
        return found

    def tells(self, rule: Rule) -> Done:
        """Whether facts and readings are decided otherwise with `rule`, by the evaluator's word."""

        def different(values: dict[str, Value]) -> bool:
            case = judged(self._base, values)
            return not decides_alike(case, self._rejudge.with_rule(case, rule))

        return different

    def difference(self, rule: Rule) -> Formula:
        """When some choice or member comes out otherwise with `rule` in the place of that of its id."""
        with within(self.wall.context):
            old = self._base.by_id[rule.id]
            before, after = self._acts(rule)
            groups = {group for group, _ in conclusions(old) | conclusions(rule)}
            found: list[Formula] = []
            for choice in self._base.choices_of[rule.stage]:
                if choice.id in groups:
                    now = self._decide(choice, rule, after)
                    was = self._decided.options[choice.id]
                    found += [all_of((was[option], negated(now[option]))) for option in now]
            for pair in sorted({*old.adds, *rule.adds}):
                others = any_of(
                    self._decided.acts[each.id] for each in self._base.rules if each.id != old.id and pair in each.adds
                )
                with_old = before if pair in old.adds else False
                with_new = after if pair in rule.adds else False
                found.append(all_of((negated(others), negated(same(with_old, with_new)))))
            return any_of(found)

    def _acts(self, rule: Rule) -> tuple[Formula, Formula]:
        """When the rule of its id holds, and when `rule` does."""
        with within(self.wall.context):
            return self._decided.acts[rule.id], self._encoder.truths(rule.when)[0]

    def _decide(self, choice: Choice, changed: Rule, act: Formula) -> dict[str, Formula]:
        """When each option is taken, with the changed rule in its place; none of them: undecided."""
        rules = [changed if each.id == changed.id else each for each in self._base.by_stage[choice.stage]]
        acts = {each.id: act if each.id == changed.id else self._decided.acts[each.id] for each in rules}
        return options_taken(choice, rules, acts)


def _only(variable: Variable, given: Mapping[str, Value]) -> bool:
    return all(fact in given for fact in variable.from_facts)
