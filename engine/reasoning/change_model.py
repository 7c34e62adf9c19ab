"""What a search for changes says, as data."""

from __future__ import annotations

import datetime as dt
import shlex
from collections.abc import Sequence
from typing import Any, Literal

from engine.decision.assess import heading
from engine.decision.model import Heading, Part
from engine.facts.amend import as_written
from engine.facts.intake import SurveyFile
from engine.facts.survey import Wall
from engine.facts.values import in_words
from engine.facts.vocabulary import facts
from engine.inference.evaluate import Evaluation
from engine.reasoning.change import Change, ChangeSet, Goal, Search
from engine.rulebase.rules import RuleBase


class FactChanged(Part):
    """One fact that would have to be found otherwise. `set` is what a survey would say; `or_else` would do as well."""

    fact: str
    question: str
    how: str
    effort: str
    unit: str | None
    now: str
    where: str
    established: str | None
    to: str
    or_else: tuple[str, ...]
    set: Any


class SetOfChanges(Part):
    """Facts that together bring the goal, none of which can be left out; `dropped` no longer apply because of them."""

    changes: tuple[FactChanged, ...]
    dropped: tuple[str, ...]


class WallChanges(Part):
    """What would bring the goal at one wall.

    `proved_to`: every set of so many facts or fewer that does it is among `sets`, proved by the solver, but for those
    in `not_excluded`, for which neither facts were found nor a proof. `cut_at`: the size at which the search was cut.
    Not `possible`: nothing found instead of what is known brings it; `nowhere`: no survey at all does.
    `still_possible`: finding out what is unknown, with nothing that is known overturned, can bring it too.
    """

    wall: str
    note: str | None
    now: tuple[str, ...]
    already: bool
    possible: bool
    nowhere: bool
    still_possible: bool
    sets: tuple[SetOfChanges, ...]
    largest: int
    proved_to: int
    not_excluded: tuple[tuple[str, ...], ...]
    cut_at: int | None


class Changes(Heading):
    """The answer to `bedjoint change`."""

    format: Literal["bedjoint-change-1"] = "bedjoint-change-1"
    goal: str
    says: str
    walls: tuple[WallChanges, ...]


def changes_said(
    file: SurveyFile,
    base: RuleBase,
    as_of: dt.date,
    goal: Goal,
    found: Sequence[tuple[Wall, Evaluation, Search]],
    largest: int,
    changed: Sequence[str] = (),
) -> Changes:
    """The searches of a survey's walls as data; `changed` are the facts that were set beforehand."""
    return Changes(
        **dict(heading(file, base, as_of, changed)),
        goal=f"{goal.name}={goal.value}",
        says=_says(base, goal),
        walls=tuple(_wall(wall, evaluation, goal, search, largest) for wall, evaluation, search in found),
    )


def _says(base: RuleBase, goal: Goal) -> str:
    if goal.of_set:
        return base.members[goal.name][goal.value].says
    return next((each.says for each in base.choices[goal.name].options if each.id == goal.value), goal.value)


def _wall(wall: Wall, evaluation: Evaluation, goal: Goal, search: Search, largest: int) -> WallChanges:
    members = evaluation.sets[goal.name].now if goal.of_set else {evaluation.outcomes[goal.name].option}
    return WallChanges(
        wall=wall.id,
        note=wall.note,
        now=tuple(sorted(members)),
        already=search.already,
        possible=search.possible,
        nowhere=search.nowhere,
        still_possible=_still_possible(evaluation, goal),
        sets=tuple(_set(each) for each in search.sets),
        largest=largest,
        proved_to=search.proved_to,
        not_excluded=tuple(tuple(sorted(each)) for each in search.not_excluded),
        cut_at=search.cut_at,
    )


def _still_possible(evaluation: Evaluation, goal: Goal) -> bool:
    if goal.of_set:
        return goal.value in evaluation.sets[goal.name].may
    return goal.value in evaluation.outcomes[goal.name].possible


def _set(each: ChangeSet) -> SetOfChanges:
    return SetOfChanges(changes=tuple(_change(change) for change in each.changes), dropped=each.dropped)


def _change(change: Change) -> FactChanged:
    variable = facts()[change.fact]
    return FactChanged(
        fact=change.fact,
        question=variable.question,
        how=variable.how,
        effort=variable.effort,
        unit=variable.unit,
        now=in_words(change.now.value) if change.now.known else change.now.state.value,
        where=change.now.where,
        established=change.now.established,
        to=change.shows or in_words(change.to.value),
        or_else=change.or_shows or tuple(in_words(each.value) for each in change.others),
        set=as_written(change.to.value),
    )


def as_options(changes: SetOfChanges) -> list[str] | None:
    """The `--set` options that make these changes; `None` where one is a list of rows, too long for a command line."""
    pairs = {each.fact: each.set for each in changes.changes}
    if any(isinstance(value, list) and value and isinstance(value[0], dict) for value in pairs.values()):
        return None
    return [f"--set {shlex.quote(f'{name}={_bare(value)}')}" for name, value in pairs.items()]


def _bare(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"[{', '.join(value)}]" if isinstance(value, list) else str(value)
