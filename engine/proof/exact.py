"""An evaluation made exact: what is still possible is what some completion of the survey comes to, and nothing else."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping

from engine.inference.evaluate import Evaluation, Membership, Outcome
from engine.proof.completions import Completions
from engine.proof.logic import negated
from engine.rulebase.rules import RuleBase


def exact(base: RuleBase, evaluation: Evaluation, survey_year: int) -> Evaluation:
    """The same evaluation with the options and members that are still possible narrowed to those that are.

    A completion fills in unknown facts, wholly or in part, in a way that is consistent. An option is kept when a real
    completion reaches it, or, named as `unproved`, when it could not be ruled out either. A member of a set is kept
    unless the solver rules it out. Costs nothing where the evaluator's own bound already settles everything.

    Raises:
        RuntimeError: the solver gave up.
    """
    if evaluation.settled:
        return evaluation
    completions = Completions(base, evaluation, survey_year)
    found = completions.reach()
    reached = {*found.witnesses, *found.unproved}
    outcomes = {
        name: dataclasses.replace(
            outcome,
            possible=tuple(o for o in outcome.possible if o == outcome.option or (name, o) in reached),
            unproved=tuple(o for o in outcome.possible if (name, o) in found.unproved),
        )
        for name, outcome in evaluation.outcomes.items()
    }
    return dataclasses.replace(
        evaluation, outcomes=_as_before(evaluation, outcomes), sets=_sets(evaluation, completions)
    )


def _as_before(evaluation: Evaluation, outcomes: Mapping[str, Outcome]) -> dict[str, Outcome]:
    """The outcomes; those that were settled before untouched."""
    return {name: before if before.settled else outcomes[name] for name, before in evaluation.outcomes.items()}


def _sets(evaluation: Evaluation, completions: Completions) -> dict[str, Membership]:
    narrowed = {}
    for name, held in evaluation.sets.items():
        sure, may = set(held.sure), set[str]()
        for member in sorted(held.may):
            in_it = completions.wall.decided.members[name][member]
            if member in completions.held[name] or completions.can_be(in_it):
                can_lack = member in completions.lacked[name] or completions.can_be(negated(in_it))
                (may if can_lack else sure).add(member)
        narrowed[name] = Membership(held.now, frozenset(sure), frozenset(may))
    return narrowed
