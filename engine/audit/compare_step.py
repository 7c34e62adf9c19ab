"""How far one version of the rules is from another, in the words of versioning: wording, minor or major."""

from __future__ import annotations

from collections.abc import Sequence

from engine.audit.compare_model import Everywhere, ItemDiffers, RecordedMoves, RuleDiffers, StepBetween, WallMoves

_RECORDED = ("choice", "option", "set", "member")
_GRADE = "how strongly or certainly a rule speaks differs: {}"


def step_between(
    rules: Sequence[RuleDiffers],
    items: Sequence[ItemDiffers],
    walls: Sequence[WallMoves],
    recorded_moves: Sequence[RecordedMoves],
    everywhere: Everywhere,
) -> StepBetween:
    """What the step from A to B is at least, and why. The facts of a survey are the engine's, and the same for both.

    `major`: a choice, an option, a set or a member that records of A may name is gone, so that they cannot be read
    with B. `minor`: some decision differs, recorded, at a wall given or in a survey found, or it could not be proved
    that none does; or there is a new word for one, another grade, or another figure. `wording`: none of these, and it
    is proved that no decision differs in any survey.
    """
    recorded = [each for each in items if each.kind in _RECORDED]
    gone = [
        f"{each.kind} {each.id} is withdrawn: old records may name it" for each in recorded if each.meaning == "gone"
    ]
    to_judge = tuple(
        f"the words of {each.kind} {each.id} changed: if another thing is meant by them, old records cannot be read"
        for each in recorded
        if each.meaning == "perhaps"
    )
    reasons = [*_decisions(walls, everywhere), *_beside(rules, items)]
    if recorded_moves:
        reasons.insert(0, f"{len(recorded_moves)} recorded decisions are decided otherwise")
    cases = (
        *(f"recorded decision {each.id}" for each in recorded_moves),
        *(f"wall {wall.wall} of {wall.reference}" for wall in walls if not wall.same),
        *(each.name for each in everywhere.possible),
    )
    if gone:
        return StepBetween(kind="major", because=(*gone, *reasons), cases=cases, to_judge=to_judge)
    if reasons:
        return StepBetween(kind="minor", because=tuple(reasons), cases=cases, to_judge=to_judge)
    proved = f"proved: in no survey of {everywhere.survey_year} does a decision differ"
    return StepBetween(kind="wording", because=(proved,), cases=(), to_judge=to_judge)


def _decisions(walls: Sequence[WallMoves], everywhere: Everywhere) -> list[str]:
    """The decisions that differ, or might, counted."""
    found = []
    if moved := sum(not wall.same for wall in walls):
        found.append(f"decisions differ at {moved} of the walls given")
    shown = sum(each.survey is not None for each in everywhere.possible)
    if shown:
        found.append(f"decisions differ in surveys that could be, in {shown} kinds of difference")
    if open_ := len(everywhere.possible) - shown:
        found.append(f"of {open_} kinds of difference it is not proved that they never occur")
    if everywhere.not_compared:
        found.append(f"one version alone decides on {', '.join(everywhere.not_compared)}")
    return found


def _beside(rules: Sequence[RuleDiffers], items: Sequence[ItemDiffers]) -> list[str]:
    """What differs beside the decisions, and is more than wording."""
    found = []
    new = [f"{each.kind} {each.id}" for each in items if each.kind in _RECORDED and each.change == "added"]
    if new:
        found.append(f"there are new words for decisions: {', '.join(new)}")
    graded = [rule.id for rule in rules if "grade" in rule.differs]
    if graded:
        found.append(_GRADE.format(", ".join(graded)))
    figures = [each.id for each in items if each.kind == "figure"]
    if figures:
        found.append(f"figures that schedules or readings are reckoned with differ: {', '.join(figures)}")
    return found
