"""Why not: what keeps a choice from an option, a rule from holding, or something out of a set.

Every obstacle names rules that would have to hold, or to hold no longer, and for each of them the tests that would have
to come out otherwise (`obstacle_changes`): with these flipped and nothing else changed, the obstacle is gone.
"""

from __future__ import annotations

import datetime as dt
import itertools
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any, Literal

from engine.decision.assess import heading, wall_status
from engine.decision.grounds import now_view
from engine.decision.open_questions import what_matters
from engine.errors import BadInput
from engine.facts.amend import amended
from engine.facts.intake import SurveyFile
from engine.facts.survey import Wall
from engine.facts.values import State, in_words
from engine.facts.vocabulary import facts
from engine.inference.evaluate import Evaluation
from engine.inference.truth import Truth
from engine.inference.view import View
from engine.reasoning.obstacle_changes import (
    TO_HOLD,
    TO_STOP,
    Change,
    Flips,
    Need,
    OneOf,
    Together,
    change_for,
    flips_of,
    ways,
    works,
)
from engine.reasoning.obstacle_choices import Before, ChoiceLogic, RuleMove
from engine.reasoning.obstacle_model import (
    Answer,
    ChangeSaid,
    FlipSaid,
    Leaving,
    MemberObstacles,
    NeedSaid,
    NoSupport,
    Obstacle,
    Obstacles,
    OneOfSaid,
    OptionObstacles,
    Route,
    RuleChanged,
    RuledOut,
    RuleObstacles,
    StandsBefore,
    TogetherSaid,
    WallObstacles,
)
from engine.reasoning.obstacle_values import Candidate, example
from engine.reasoning.reason_subject import Subject
from engine.reasoning.reason_words import met, word_of
from engine.reasoning.reasons import rule_head
from engine.rulebase.conditions import UNDECIDED, tests_in
from engine.rulebase.rules import Rule, RuleBase

MOST_TRIED = 12
"""So many of the changes named are tried, to find one for an example."""
MOST_MEMBERS = 3
"""What it takes for a set to include one of its members is gone into where no more than so many would do."""


def removals(rule: Rule, view: View, must: Literal["hold", "stop"]) -> Iterator[Flips]:
    """Each set of flips with which a rule comes to hold, or holds no longer, and no flip of which can be left out.

    They may be many. None is given for what the rule does already.
    """
    goal = TO_HOLD if must == "hold" else TO_STOP
    if goal.met(rule.when, view):
        return
    for way in ways(change_for(rule.when, view, goal)):
        if works(way, rule.when, view, goal):
            yield flips_of(way)


def obstacles(
    file: SurveyFile,
    base: RuleBase,
    as_of: dt.date,
    judged: Sequence[tuple[Wall, Evaluation]],
    subject: Subject,
    *,
    depth: int,
    changed: Sequence[str] = (),
) -> Obstacles:
    """What stands in the way of a subject at each wall.

    `depth` counts the earlier decisions that are gone into: 0 none, 1 those that the obstacles rest on, and so on.
    """
    head = heading(file, base, as_of, changed)
    year = file.survey.property.survey_date.year
    walls = tuple(_of_wall(file, base, wall, evaluation, year, subject, depth) for wall, evaluation in judged)
    return Obstacles(**dict(head), about=str(subject), depth=depth, walls=walls)


def _of_wall(
    file: SurveyFile,
    base: RuleBase,
    wall: Wall,
    evaluation: Evaluation,
    survey_year: int,
    subject: Subject,
    depth: int,
) -> WallObstacles:
    answers = Answers(base, evaluation, survey_year)
    answer = answers.to(subject)
    earlier: list[Answer] = []
    level = answers.asked_for()
    for _ in range(depth):
        earlier += [answers.about(each) for each in level]
        level = answers.asked_for()
    return WallObstacles(
        wall=wall.id,
        note=wall.note,
        status=wall_status(evaluation),
        answer=answer,
        earlier=tuple(earlier),
        cut=tuple(level),
        example=_example(file, wall, answers.changes),
    )


def _example(file: SurveyFile, wall: Wall, changes: Mapping[str, Any]) -> str | None:
    """The first of some changed facts that does not contradict what else the survey says."""
    for name, raw in itertools.islice(changes.items(), MOST_TRIED):
        try:
            amended(file, {name: raw}, [wall.id])
        except BadInput:
            continue
        if isinstance(raw, list):
            return f"{name}=[{', '.join(raw)}]"
        return f"{name}={f'{raw:g}' if isinstance(raw, float) else in_words(raw)}"
    return None


class Answers:
    """The answers about one wall. Ids name them: `verdict=treat`, `not verdict=treat`, `causes=leak`."""

    def __init__(self, base: RuleBase, evaluation: Evaluation, survey_year: int) -> None:
        self._base = base
        self._evaluation = evaluation
        self._view = now_view(evaluation)
        self._reach = what_matters(base, evaluation, survey_year)
        self._asked: dict[str, None] = {}
        self._answered: set[str] = set()
        self._shown: set[tuple[str, str]] = set()
        self._aim: tuple[str, str] | None = None
        self.changes: dict[str, Any] = {}
        """Facts of which a change was named, with the first value that was found to do, as a survey writes it."""

    def asked_for(self) -> tuple[str, ...]:
        """The ids of earlier decisions that the answers so far rest on and that were not answered yet."""
        return tuple(each for each in self._asked if each not in self._answered)

    def to(self, subject: Subject) -> Answer:
        """The answer to what was asked."""
        if subject.kind == "rule":
            rule = self._base.by_id[subject.id]
            held = rule.id in self._evaluation.fired
            changed = self._changed(rule, "stop" if held else "hold")
            return RuleObstacles(id=rule.id, is_held=held, rule=changed)
        return self.about(str(subject))

    def about(self, answer_id: str) -> Answer:
        """The answer of an id."""
        self._answered.add(answer_id)
        negated, pair = answer_id.startswith("not "), answer_id.removeprefix("not ")
        name, _, key = pair.partition("=")
        if name in self._base.sets:
            return self._member(answer_id, name, key, wanted=not negated)
        return self._leaving(answer_id, name) if negated else self._option(answer_id, name, key)

    def _option(self, answer_id: str, name: str, key: str) -> OptionObstacles:
        choice, outcome = self._base.choices[name], self._evaluation.outcomes[name]
        says = {option.id: option.says for option in choice.options}
        return OptionObstacles(
            id=answer_id,
            choice=name,
            title=choice.title,
            option=key,
            says=says.get(key, "no option stands"),
            order_because=choice.order_because,
            taken=outcome.option,
            status=outcome.status,
            is_taken=key == outcome.option,
            possible=key in outcome.possible,
            open_facts=tuple(fact for fact, choices in self._reach.items() if name in choices),
            obstacles=() if key == outcome.option else self._in_the_way(name, key),
        )

    def _in_the_way(self, name: str, key: str) -> tuple[Obstacle, ...]:
        self._aim = (name, key)
        found = ChoiceLogic(self._base, name, self._evaluation.fired).in_the_way(key)
        listed: list[Obstacle] = []
        if found.against:
            listed.append(RuledOut(rules=tuple(self._changed(rule, "stop") for rule in found.against)))
        if found.lacks_support:
            listed.append(NoSupport(rules=tuple(self._changed(m.rules[0], m.must, m.frees) for m in found.support)))
        listed += [self._before(each) for each in found.before]
        self._aim = None
        return tuple(listed)

    def _before(self, before: Before) -> StandsBefore:
        return StandsBefore(
            option=before.option.id,
            says=before.option.says,
            stands=before.stands,
            is_open=before.option.open,
            supported_by=tuple(rule.id for rule in before.supported_by),
            falls_with=tuple(rule.id for rule in before.falls_with),
            routes=self._routes(before.routes),
        )

    def _routes(self, moves: Iterable[RuleMove]) -> tuple[Route, ...]:
        return tuple(
            Route(
                rules=tuple(self._changed(rule, move.must, vain=bool(move.frees)) for rule in move.rules),
                frees=move.frees,
            )
            for move in moves
        )

    def _leaving(self, answer_id: str, name: str) -> Leaving:
        choice, taken = self._base.choices[name], self._evaluation.outcomes[name].option
        wanted = [option for option in (*(each.id for each in choice.options), UNDECIDED) if option != taken]
        moves = ChoiceLogic(self._base, name, self._evaluation.fired).leaving(wanted)
        return Leaving(
            id=answer_id,
            choice=name,
            title=choice.title,
            taken=taken,
            wanted=tuple(wanted),
            routes=self._routes(moves),
        )

    def _member(self, answer_id: str, name: str, member: str, *, wanted: bool) -> MemberObstacles:
        held = self._evaluation.sets[name]
        rules = [r for stage in self._base.by_stage.values() for r in stage if (name, member) in r.adds]
        adding = [rule for rule in rules if rule.id in self._evaluation.fired]
        found: tuple[Obstacle, ...] = ()
        if wanted and not adding:
            found = (NoSupport(rules=tuple(self._changed(rule, "hold") for rule in rules)),)
        elif not wanted and adding:
            found = (RuledOut(rules=tuple(self._changed(rule, "stop") for rule in adding)),)
        return MemberObstacles(
            id=answer_id,
            set=name,
            title=self._base.sets[name].title,
            member=member,
            says=self._base.members[name][member].says,
            wanted="in" if wanted else "out",
            is_so=bool(adding) is wanted,
            possible=member in held.now | held.may if wanted else member not in held.sure,
            obstacles=found,
        )

    def _changed(
        self, rule: Rule, must: Literal["hold", "stop"], frees: tuple[str, ...] = (), *, vain: bool = False
    ) -> RuleChanged:
        """A rule and what it takes; without the latter where it is in vain, or was shown before."""
        key = (rule.id, must)
        change = None
        if not vain and key not in self._shown:
            self._shown.add(key)
            change = self._said(change_for(rule.when, self._view, TO_HOLD if must == "hold" else TO_STOP))
        return RuleChanged(
            **dict(rule_head(rule, self._base)),
            must=must,
            holds=word_of(self._evaluation.now[rule.id]),
            change=change,
            frees=frees,
        )

    def _said(self, change: Change) -> ChangeSaid:
        match change:
            case Need():
                return self._need(change)
            case Together(parts):
                return TogetherSaid(parts=tuple(self._said(part) for part in parts))
            case OneOf(parts):
                return OneOfSaid(parts=tuple(self._said(part) for part in parts))

    def _need(self, need: Need) -> NeedSaid:
        then_against = self._then_against(need)
        undone = any(len({t.variable.name for t in self._base.by_id[rule].tests}) == 1 for rule in then_against)
        earlier = () if undone else self._earlier(need)
        self._asked.update(dict.fromkeys(earlier))
        if not undone:
            self._note_change(need)
        return NeedSaid(
            needs=need.allowed.needs,
            values=need.allowed.values,
            by=need.by,
            met=met(need.variable, self._evaluation),
            computed_from=need.variable.from_facts if need.variable.name.startswith("reading.") else (),
            ways=tuple(
                tuple(
                    FlipSaid(test=f.test.in_words(), now=word_of(self._view.truth(f.test)), must_be=word_of(f.to))
                    for f in sorted(flips, key=lambda flip: flip.test.in_words())
                )
                for flips in need.ways
            ),
            earlier=earlier,
            then_against=then_against,
            undone=undone,
        )

    def _note_change(self, need: Need) -> None:
        name = need.variable.name
        value = self._evaluation.values.get(name)
        if name not in facts() or (value is not None and value.state is State.NOT_APPLICABLE):
            return
        raw = example(need.variable, value, need.doing)
        if raw is not None:
            self.changes.setdefault(name, raw)

    def _then_against(self, need: Need) -> tuple[str, ...]:
        """Rules that would come to rule out what is aimed at, whichever value that would do was taken."""
        if self._aim is None:
            return ()
        rules = [
            rule
            for rule in self._base.by_stage[self._base.choices[self._aim[0]].stage]
            if rule.id not in self._evaluation.fired
            and self._aim in rule.rules_out
            and any(test.variable.name == need.variable.name for test in rule.tests)
        ]
        found: dict[str, None] = {}
        for candidate in need.doing if rules else ():
            view = self._supposing(need, candidate)
            undoing = [rule.id for rule in rules if view.truth(rule.when) is Truth.TRUE]
            if not undoing:
                return ()
            found.update(dict.fromkeys(undoing))
        return tuple(sorted(found))

    def _supposing(self, need: Need, candidate: Candidate) -> View:
        """The view with one variable as a candidate has it."""
        found = dict(self._view.found)
        for name, members in candidate.view.found.items():
            asked = {str(each) for test in tests_in(need.condition) for each in test.operand}
            found[name] = (found[name] - asked) | (members & asked)
        return View(
            {**self._view.values, **candidate.view.values}, {**self._view.decided, **candidate.view.decided}, found
        )

    def _earlier(self, need: Need) -> tuple[str, ...]:
        """The ids of the answers that say what it takes for an earlier decision or a set to be as needed."""
        scope, _, name = need.variable.name.partition(".")
        if scope == "decided":
            taken = self._evaluation.outcomes[name].option
            options = [each for each in need.allowed.values if each != UNDECIDED]
            others = [each for each in need.variable.options if each not in (taken, UNDECIDED)]
            return (f"not {name}={taken}",) if options == others else tuple(f"{name}={each}" for each in options)
        if scope == "found":
            now = self._evaluation.sets[name].now
            flips = [flip for flips in need.ways for flip in flips]
            asked = dict.fromkeys(str(m) for flip in flips for m in flip.test.operand or need.variable.options)
            if len(asked) > MOST_MEMBERS:
                return ()
            coming = any((flip.to.name == "TRUE") is (flip.test.op == "includes") for flip in flips)
            return tuple(f"{name}={m}" if coming else f"not {name}={m}" for m in asked if coming or m in now)
        return ()
