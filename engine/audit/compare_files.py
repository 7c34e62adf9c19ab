"""Surveys that there are, judged by two versions of the rules: which walls decide otherwise, and by which changes."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from engine.audit.boldness import Boldness, Step
from engine.audit.compare_bases import Judge, Versions
from engine.audit.compare_causes import Restores, restored_choice, restored_member, traced
from engine.audit.compare_kinds import member_says, option_says
from engine.audit.compare_model import ChoiceMoves, MemberMoves, WallMoves
from engine.decision.assess import evaluate_wall, wall_status
from engine.decision.model import Status
from engine.facts.intake import SurveyFile
from engine.facts.survey import Wall
from engine.inference.evaluate import Evaluation, Outcome, evaluate
from engine.reasoning.comparison_causes import Budget
from engine.rulebase.conditions import UNDECIDED

_STATUSES: tuple[Status, ...] = ("undecided", "provisional", "settled")

Progress = Callable[[int, int], None]


def walls_moved(
    surveys: Sequence[SurveyFile], versions: Versions, bold: Boldness, progress: Progress | None = None
) -> tuple[WallMoves, ...]:
    """Every wall of the surveys, judged by both, in the order given.

    Raises:
        ReadersDisagree: durable-rules and the evaluator came to different conclusions.
        RuntimeError: the solver gave up.
    """
    walls = [(file, wall) for file in surveys for wall in file.survey.walls]
    budget = Budget()
    found = []
    for number, (file, wall) in enumerate(walls):
        if progress is not None:
            progress(number, len(walls))
        found.append(_wall(file, wall, versions, bold, budget))
    return tuple(found)


def _wall(file: SurveyFile, wall: Wall, versions: Versions, bold: Boldness, budget: Budget) -> WallMoves:
    a, b = (evaluate_wall(file, wall, base) for base in (versions.a, versions.b))
    year = file.survey.property.survey_date.year
    judge = Judge(versions, a.values, year, b.values)
    choices = []
    for name in dict.fromkeys((*versions.a.choices, *versions.b.choices)):
        one, other = a.outcomes.get(name), b.outcomes.get(name)
        if one is None or other is None or (one.option, one.status) != (other.option, other.status):
            choices.append(_choice(name, one, other, versions, bold, judge, _statuses(judge, name, a, year, budget)))
    members = [
        _member(name, member, versions, bold, judge, gained=member in held[1])
        for name in dict.fromkeys((*versions.a.sets, *versions.b.sets))
        for held in ([each.sets[name].now if name in each.sets else frozenset() for each in (a, b)],)
        for member in sorted(held[0] ^ held[1])
    ]
    return WallMoves(
        file=file.name,
        reference=file.survey.property.reference,
        wall=wall.id,
        status_a=wall_status(a),
        status_b=wall_status(b),
        choices=tuple(choices),
        members=tuple(members),
    )


def _statuses(judge: Judge, choice: str, a: Evaluation, year: int, budget: Budget) -> Restores:
    """Whether a mixture gives a choice the option and the status it has in A."""

    def restores(parts: frozenset[str]) -> bool:
        from engine.proof.exact import exact

        wanted = a.outcomes[choice]
        base, values = judge.mixed(parts)
        now = evaluate(base, values)
        if choice not in now.outcomes or now.outcomes[choice].option != wanted.option:
            return False
        if now.outcomes[choice].settled or wanted.status == UNDECIDED:
            return now.outcomes[choice].status == wanted.status
        budget.spend()
        return exact(base, now, year).outcomes[choice].status == wanted.status

    return restores


def _choice(
    name: str,
    one: Outcome | None,
    other: Outcome | None,
    versions: Versions,
    bold: Boldness,
    judge: Judge,
    statuses: Restores,
) -> ChoiceMoves:
    choice = versions.b.choices.get(name) or versions.a.choices[name]
    moved = one is None or other is None or one.option != other.option
    return ChoiceMoves(
        choice=name,
        title=choice.title,
        stage=choice.stage,
        a=one.option if one else None,
        b=other.option if other else None,
        says_a=option_says(versions.a, name, one.option if one else None),
        says_b=option_says(versions.b, name, other.option if other else None),
        status_a=_status(one),
        status_b=_status(other),
        step=_step(name, one, other, bold),
        because=traced(versions, judge, (name, None), restored_choice(judge, name) if moved else statuses),
    )


def _status(outcome: Outcome | None) -> Status | None:
    return None if outcome is None else _STATUSES[_open(outcome)]


def _open(outcome: Outcome) -> int:
    """The place of its status among the statuses, the most open first."""
    return [str(each) for each in _STATUSES].index(outcome.status)


def _step(name: str, one: Outcome | None, other: Outcome | None, bold: Boldness) -> Step:
    """By the options; where they are the same, or cannot be ordered, by how settled they are."""
    if one is None or other is None:
        return "otherwise"
    step = bold.between(name, one.option, other.option)
    if step == "otherwise" and _open(one) != _open(other):
        return "newly_open" if _open(other) < _open(one) else "newly_settled"
    return step


def _member(name: str, member: str, versions: Versions, bold: Boldness, judge: Judge, *, gained: bool) -> MemberMoves:
    held = versions.b.sets.get(name) or versions.a.sets[name]
    return MemberMoves(
        set=name,
        title=held.title,
        member=member,
        says=member_says(versions, name, member),
        gained=gained,
        step=bold.of_member(name, member, gained=gained),
        because=traced(versions, judge, (name, member), restored_member(judge, name, member)),
    )
