"""Two surveys, or two runs, side by side: which facts and readings differ, and which decisions therefore do."""

from __future__ import annotations

import difflib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from importlib.metadata import version

from engine.decision.assess import LIMITS, choice_decided, set_found
from engine.decision.model import Assessment, ChoiceDecided, Item, ItemsFound, ReadingTaken, RuleApplied, WallDecided
from engine.errors import BadInput, Problem
from engine.facts.vocabulary import facts
from engine.reasoning.comparison_causes import SURVEY_DATE, Brings, Budget, Causes, Trial, WallJudged
from engine.reasoning.comparison_facts import ValueDiffers, ValueSeen, differing
from engine.reasoning.comparison_model import (
    Aspect,
    ChoiceDiffers,
    ChoiceSeen,
    Comparison,
    Judged,
    MemberDiffers,
    MemberSeen,
    RuleGraded,
    RuleSeen,
    Side,
    WallAlone,
    WallsCompared,
)

NOT_KNOWN = "not known"


@dataclass(frozen=True, slots=True)
class SideJudged:
    """One side: its assessments, and the walls by file and id where the survey itself is to hand."""

    name: str
    assessments: tuple[Assessment, ...]
    surveyed: Mapping[tuple[str, str], WallJudged] | None

    @property
    def several(self) -> bool:
        """Whether it holds more than one survey."""
        return len(self.assessments) > 1

    @property
    def walls(self) -> tuple[str, ...]:
        """The ids of all its walls, judged here or not."""
        if self.surveyed is not None:
            return tuple(wall for _, wall in self.surveyed)
        return tuple(wall.wall for each in self.assessments for wall in each.walls)


@dataclass(frozen=True, slots=True)
class _Placed:
    """One wall of a side, with the assessment it stands in."""

    assessment: Assessment
    wall: WallDecided
    judged: WallJudged | None


def compare(
    a: SideJudged, b: SideJudged, walls: Sequence[str] | None = None, pair: tuple[str, str] | None = None
) -> Comparison:
    """Pair the walls and compare each pair; only the walls of `walls`, where that is given.

    Walls are paired by id, and by reference as well where a side holds several surveys. Where each side has one wall
    alone, the two are a pair whatever their ids. With `pair` these two walls, of A and of B, are all that is compared.

    Raises:
        BadInput: a side has the same wall of the same survey twice, or no such wall as `pair` names, or several.
    """
    by_reference = a.several or b.several
    left, right = _placed(a, by_reference), _placed(b, by_reference)
    pairs = (
        _pairs(left, right, lone=len(a.walls) == len(b.walls) == 1)
        if pair is None
        else [_named(left, right, a, b, pair)]
    )
    wanted = [pair for pair in pairs if walls is None or any(each and each.wall.wall in walls for each in pair)]
    budget = Budget()
    both = [(one, other) for one, other in wanted if one is not None and other is not None]
    digests = {each.rule_set.digest for side in (a, b) for each in side.assessments}
    return Comparison(
        engine=f"bedjoint {version('bedjoint')}",
        a=_side(a),
        b=_side(b),
        same_rules=len(digests) == 1,
        walls=tuple(_compared(one, other, budget) for one, other in both),
        alone=tuple(_standing_alone(*pair) for pair in wanted if None in pair),
        limits=LIMITS,
    )


def _side(side: SideJudged) -> Side:
    return Side(
        name=side.name,
        kind="run" if side.surveyed is None else "survey",
        walls=side.walls,
        judged=tuple(
            Judged(
                file=each.file,
                reference=each.reference,
                survey_date=each.survey_date,
                as_of=each.as_of,
                rules=each.rule_set.version,
                rules_digest=each.rule_set.digest,
                facts_digest=each.facts_digest,
                changed=each.changed,
            )
            for each in side.assessments
        ),
    )


def _placed(side: SideJudged, by_reference: bool) -> dict[tuple[str, str], _Placed]:
    found: dict[tuple[str, str], _Placed] = {}
    for assessment in side.assessments:
        for wall in assessment.walls:
            key = (assessment.reference if by_reference else "", wall.wall)
            if key in found:
                message = "holds this wall twice, so that it cannot be paired"
                raise BadInput([Problem(side.name, 0, 0, "", message, f"wall {wall.wall} of {assessment.reference}")])
            judged = None if side.surveyed is None else side.surveyed[assessment.file, wall.wall]
            found[key] = _Placed(assessment, wall, judged)
    return found


def _pairs(
    left: Mapping[tuple[str, str], _Placed], right: Mapping[tuple[str, str], _Placed], *, lone: bool
) -> list[tuple[_Placed | None, _Placed | None]]:
    if lone:
        return [(next(iter(left.values())), next(iter(right.values())))]
    return [(left.get(key), right.get(key)) for key in dict.fromkeys((*left, *right))]


def _named(
    left: Mapping[tuple[str, str], _Placed],
    right: Mapping[tuple[str, str], _Placed],
    a: SideJudged,
    b: SideJudged,
    pair: tuple[str, str],
) -> tuple[_Placed, _Placed]:
    """The two walls of these ids; every problem of both is raised at once."""
    problems, found = [], []
    for option, name, placed, side in zip(("--wall-a", "--wall-b"), pair, (left, right), (a, b), strict=True):
        here = [each for each in placed.values() if each.wall.wall == name]
        found += here[:1]
        if not here:
            near = difflib.get_close_matches(name, side.walls, 1, 0.5)
            hint = f"did you mean {near[0]}?" if near else ""
            problems.append(
                Problem("", 0, 0, option, f"no such wall in {side.name}", name, ", ".join(side.walls), hint)
            )
        elif len(here) > 1:
            message = f"is a wall of several surveys in {side.name}"
            problems.append(Problem("", 0, 0, option, message, name, "a wall of one survey alone"))
    if problems:
        raise BadInput(problems)
    one, other = found
    return one, other


def _standing_alone(one: _Placed | None, other: _Placed | None) -> WallAlone:
    placed = one or other
    assert placed is not None
    return WallAlone(side="b" if one is None else "a", reference=placed.assessment.reference, wall=placed.wall.wall)


def _compared(one: _Placed, other: _Placed, budget: Budget) -> WallsCompared:
    a, b = one.wall, other.wall
    rules = [{rule.id: rule for rule in wall.rules} for wall in (a, b)]
    facts_differ, causes = None, None
    if one.judged is not None and other.judged is not None:
        facts_differ = _facts(one.judged, other.judged)
        causes = Causes(one.judged, other.judged, budget)
    return WallsCompared(
        wall_a=a.wall,
        wall_b=b.wall,
        reference_a=one.assessment.reference,
        reference_b=other.assessment.reference,
        status_a=a.status,
        status_b=b.status,
        facts=facts_differ,
        readings=_readings(a, b),
        choices=_choices(a, b, causes),
        members=_members(a, b, causes),
        rules_a_only=tuple(_rule(rule) for rule in a.rules if rule.id not in rules[1]),
        rules_b_only=tuple(_rule(rule) for rule in b.rules if rule.id not in rules[0]),
        rules_graded=_graded(rules[0], rules[1]),
    )


def _facts(a: WallJudged, b: WallJudged) -> tuple[ValueDiffers, ...]:
    found = differing(facts().values(), a.file.values_of(a.wall), b.file.values_of(b.wall))
    days = [judged.file.survey.property.survey_date.isoformat() for judged in (a, b)]
    if days[0] == days[1]:
        return found
    seen = [
        ValueSeen(value=day, known=True, established=None, where=_place(judged))
        for day, judged in zip(days, (a, b), strict=True)
    ]
    dated = ValueDiffers(name=SURVEY_DATE, question="On which day was it surveyed?", unit=None, a=seen[0], b=seen[1])
    return (dated, *found)


def _place(judged: WallJudged) -> str:
    place = judged.file.document.place(("property", "survey_date"))
    return f"{place.file}:{place.line}"


def _readings(a: WallDecided, b: WallDecided) -> tuple[ValueDiffers, ...]:
    """Readings whose value is not the same; one that a side could not compute is not known there."""
    sides = [{reading.name: reading for reading in wall.readings} for wall in (a, b)]
    found = []
    for name in dict.fromkeys((*sides[0], *sides[1])):
        one, other = sides[0].get(name), sides[1].get(name)
        either = one or other
        assert either is not None
        if one is None or other is None or one.value != other.value:
            found.append(
                ValueDiffers(name=name, question=either.question, unit=either.unit, a=_reading(one), b=_reading(other))
            )
    return tuple(found)


def _reading(reading: ReadingTaken | None) -> ValueSeen:
    if reading is None:
        return ValueSeen(value=NOT_KNOWN, known=False, established=None, where="")
    return ValueSeen(value=reading.value, known=True, established="computed", where=reading.where)


def _choices(a: WallDecided, b: WallDecided, causes: Causes | None) -> tuple[ChoiceDiffers, ...]:
    sides = [{choice.choice: choice for choice in wall.choices} for wall in (a, b)]
    found = []
    for name in dict.fromkeys((*sides[0], *sides[1])):
        one, other = sides[0].get(name), sides[1].get(name)
        either = other or one
        assert either is not None
        aspects = _aspects(one, other)
        if aspects:
            found.append(
                ChoiceDiffers(
                    choice=name,
                    title=either.title,
                    stage=either.stage,
                    differs=aspects,
                    a=_choice_seen(one),
                    b=_choice_seen(other),
                    because=None if causes is None else causes.of(_brings_choice(name, other, aspects)),
                )
            )
    return tuple(found)


def _aspects(one: ChoiceDecided | None, other: ChoiceDecided | None) -> tuple[Aspect, ...]:
    if one is None or other is None:
        return () if one is other else ("option", "status", "possible", "grade")
    apart: dict[Aspect, bool] = {
        "option": one.option != other.option,
        "status": one.status != other.status,
        "possible": one.possible != other.possible,
        "grade": (one.word, one.certainty) != (other.word, other.certainty),
    }
    return tuple(aspect for aspect, differs in apart.items() if differs)


def _brings_choice(name: str, wanted: ChoiceDecided | None, aspects: tuple[Aspect, ...]) -> Brings:
    """Whether a trial brings, by B's rules, the option B came to; where that is A's as well, all else that differs."""

    def brings(trial: Trial) -> bool:
        base, evaluation = trial.base, trial.evaluation
        if name not in base.choices or wanted is None:
            return name not in base.choices and wanted is None
        now = evaluation.outcomes[name]
        if not trial.takes_as_b(name, wanted.option) or "option" in aspects:
            return trial.takes_as_b(name, wanted.option)
        if "grade" in aspects:
            for each in (evaluation, trial.in_both):
                found = choice_decided(base.choices[name], now, base, each, {})
                if (found.word, found.certainty) != (wanted.word, wanted.certainty):
                    return False
        if not {"status", "possible"} & set(aspects):
            return True
        # What is exactly possible is always among what the evaluator calls possible.
        return set(wanted.possible) <= set(now.possible) and trial.exact().outcomes[name].possible == wanted.possible

    return brings


def _choice_seen(choice: ChoiceDecided | None) -> ChoiceSeen | None:
    if choice is None:
        return None
    return ChoiceSeen(
        option=choice.option,
        says=choice.says,
        status=choice.status,
        possible=choice.possible,
        word=choice.word,
        certainty=choice.certainty,
        rules=choice.rules,
    )


def _members(a: WallDecided, b: WallDecided, causes: Causes | None) -> tuple[MemberDiffers, ...]:
    sides = [{found.set: found for found in wall.sets} for wall in (a, b)]
    differ = []
    for name in dict.fromkeys((*sides[0], *sides[1])):
        title = (sides[1].get(name) or sides[0][name]).title
        one, other = _by_id(sides[0].get(name)), _by_id(sides[1].get(name))
        for member in dict.fromkeys((*one, *other)):
            if _same_member(one.get(member), other.get(member)):
                continue
            item = other.get(member) or one[member]
            differ.append(
                MemberDiffers(
                    set=name,
                    title=title,
                    id=member,
                    says=item.says,
                    a=_member_seen(one.get(member)),
                    b=_member_seen(other.get(member)),
                    because=None if causes is None else causes.of(_brings_member(name, member, one, other)),
                )
            )
    return tuple(differ)


def _by_id(found: ItemsFound | None) -> dict[str, Item]:
    return {item.id: item for item in found.items} if found is not None else {}


def _same_member(one: Item | None, other: Item | None) -> bool:
    if one is None or other is None:
        return one is other
    return (one.word, one.settled) == (other.word, other.settled)


def _brings_member(name: str, member: str, one: Mapping[str, Item], other: Mapping[str, Item]) -> Brings:
    """Whether a trial brings the member by a rule of B's, or its absence for B's reason.

    Where both sides have it: whether it brings all else that differs of it.
    """

    def brings(trial: Trial) -> bool:
        base, evaluation = trial.base, trial.evaluation
        held = name in base.sets and member in evaluation.sets[name].now
        if member not in other:
            return not held and trial.lacks_as_b(name, member, one[member].rules)
        if not held or not trial.adds_as_b(name, member) or member not in one:
            return held and trial.adds_as_b(name, member)
        found = _by_id(set_found(name, base, evaluation))[member]
        in_both = {base.by_id[rule].word for rule in found.rules if rule in trial.in_both.fired}
        if found.word != other[member].word or found.word not in in_both:
            return False
        settled = found.settled or member in trial.exact().sets[name].sure
        return settled is other[member].settled

    return brings


def _member_seen(item: Item | None) -> MemberSeen | None:
    return None if item is None else MemberSeen(word=item.word, settled=item.settled, rules=item.rules)


def _rule(rule: RuleApplied) -> RuleSeen:
    return RuleSeen(id=rule.id, title=rule.title, stage=rule.stage, word=rule.word, certainty=rule.certainty)


def _graded(a: Mapping[str, RuleApplied], b: Mapping[str, RuleApplied]) -> tuple[RuleGraded, ...]:
    return tuple(
        RuleGraded(
            id=name,
            title=b[name].title,
            word_a=a[name].word,
            word_b=b[name].word,
            certainty_a=a[name].certainty,
            certainty_b=b[name].certainty,
        )
        for name in a
        if name in b and (a[name].word, a[name].certainty) != (b[name].word, b[name].certainty)
    )
