"""Questions about every survey there can be, asked of the solver: answered by proof, by a survey, or left open."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping

import z3

from engine.audit.cases import Case, judged
from engine.audit.findings import Spot
from engine.audit.witness import Unreal, Witness, witness_of
from engine.facts.values import Value
from engine.facts.vocabulary import Variable
from engine.proof.decisions import Decided
from engine.proof.logic import Formula
from engine.proof.wall_space import WallSpace, all_surveys, solver_for
from engine.rulebase.rules import Rule, RuleBase

Progress = Callable[[str], None]
"""Told after each thing looked at what that was."""


class Asking:
    """One version's rules over the space of all surveys of a year. `unsettled` collects what stayed open, in words."""

    def __init__(
        self,
        base: RuleBase,
        survey_year: int,
        progress: Progress = lambda _: None,
        met: Iterable[Case] = (),
        also: Mapping[str, Variable] | None = None,
    ) -> None:
        self.base = base
        self.wall: WallSpace = all_surveys(base, survey_year, also=also)
        self.solver: z3.Solver = solver_for(self.wall)
        self.progress = progress
        self.unsettled: list[str] = []
        self._met: list[Case] = list(met)

    @property
    def decided(self) -> Decided:
        """What the rules come to, as formulas."""
        return self.wall.decided

    def possible(self, what: str, *formulas: Formula) -> bool | None:
        """Whether the solver allows it; `None` where it gave up, which is noted under `what`.

        What it allows may still be no real survey; what it does not is proved.
        """
        if any(each is False for each in formulas):
            return False
        answer = self.solver.check(*(each for each in formulas if each is not True))
        if answer == z3.unknown:
            self.unsettled.append(f"{what}: the solver gave up")
            return None
        return bool(answer == z3.sat)

    def because_of(self, formulas: Mapping[str, Formula]) -> tuple[str, ...]:
        """Of formulas that cannot hold together, by name: some that cannot already, none of them to spare."""
        flags = {name: z3.Bool(f"asked {name}", self.wall.context) for name in formulas}
        self.solver.push()
        try:
            for name, formula in formulas.items():
                self.solver.add(z3.Implies(flags[name], formula))
            kept = list(flags)
            if self.solver.check(*flags.values()) != z3.unsat:
                return ()
            core = {str(each) for each in self.solver.unsat_core()}
            kept = [name for name in kept if str(flags[name]) in core]
            for name in tuple(kept):
                fewer = [flags[other] for other in kept if other != name]
                if self.solver.check(*fewer) == z3.unsat:
                    kept.remove(name)
            return tuple(kept)
        finally:
            self.solver.pop()

    def ever(self, what: str, formula: Formula, holds: Callable[[Case], bool]) -> bool | None:
        """Whether some survey is so by the evaluator's own word: no by proof, yes by a survey, `None` where open."""
        if any(holds(each) for each in self._met):
            return True
        notes = len(self.unsettled)
        shown = self._look(what, formula, holds, smallest=False) is not None
        return None if not shown and len(self.unsettled) > notes else shown

    def shown(self, what: str, formula: Formula, holds: Callable[[Case], bool]) -> Witness | None:
        """The smallest survey found that is so; `None` where it is proved that none is.

        Also `None`, with a note under `what`, where it could be neither proved nor shown.
        """
        return self._look(what, formula, holds, smallest=True)

    def _look(self, what: str, formula: Formula, holds: Callable[[Case], bool], *, smallest: bool) -> Witness | None:
        def done(values: dict[str, Value]) -> bool:
            case = judged(self.base, values)
            so = holds(case)
            if so and not smallest:
                self._met.append(case)
            return so

        try:
            found = witness_of(self.wall, self.solver, formula, done, smallest=smallest)
        except RuntimeError:
            self.unsettled.append(f"{what}: the solver gave up")
            return None
        if isinstance(found, Unreal):
            self.unsettled.append(f"{what}: neither proved nor shown by a survey")
            return None
        return found


def spot_of(rule: Rule) -> Spot:
    """Where a rule stands."""
    file, _, line = rule.where.rpartition(":")
    return Spot(file=file, line=int(line), column=1)
