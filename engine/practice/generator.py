"""Cases near a boundary, where one fact decides: the same for the same seed, level, number, rules and surveys.

A wall is drawn, from surveys that were given or made up; a single fact is looked for that turns the verdict, the medium
or the line; the case is the wall on one side of that boundary, with some of its facts kept back. Before a case is
handed out the survey it makes is read and judged as any other: it has to be free of contradictions, every choice asked
about has to be settled, and so it must be with the one fact changed, and come out otherwise.
"""

from __future__ import annotations

import datetime as dt
import functools
import hashlib
import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from engine.decision.digest import facts_digest
from engine.errors import BadInput, Problem
from engine.facts.amend import amended, as_written
from engine.facts.intake import SurveyFile
from engine.facts.survey import Wall
from engine.facts.values import Value
from engine.facts.vocabulary import facts
from engine.facts.written import survey_data, survey_of
from engine.inference.agree import agreed
from engine.inference.evaluate import Evaluation
from engine.practice.draw import Draw
from engine.practice.judge import Judge, facts_read, reasoning
from engine.practice.settings import LEVELS, Level
from engine.practice.turning import Side, Subject, Turn, Turns, flipped, settled
from engine.practice.wall_maker import WallMaker
from engine.practice.works import catalogue, main_works, other_works
from engine.rulebase.model import STAGES
from engine.rulebase.rules import RuleBase

_LAYOUT = 1
"""Goes up when the same seed no longer gives the same cases."""
_ATTEMPTS = 80
_TURNS_COMPARED = 2
_FACTS_TRIED = 24
_FROM_SURVEYS = 0.6
_NUMBERS_FIRST = 0.35
MADE_UP = "made up"
"""The source of a wall that comes from no survey."""
_NAMELESS = "wall"


@dataclass(frozen=True, slots=True)
class Case:
    """One case. `hidden` are facts kept back; `twin` is the same wall with the fact `turns_on` changed.

    `called_for` are the works that belong, `offered` those and others. `check` is a short digest of all that is asked.
    """

    seed: int
    level: Level
    number: int
    source: str
    file: SurveyFile
    data: dict[str, object]
    evaluation: Evaluation
    hidden: tuple[str, ...]
    turns_on: str
    twin: Evaluation
    flips: tuple[str, ...]
    rules: int
    called_for: tuple[str, ...]
    offered: tuple[str, ...]
    check: str

    @property
    def wall(self) -> Wall:
        """The wall, the only one of the survey."""
        return self.file.survey.walls[0]

    @property
    def values(self) -> Mapping[str, Value]:
        """Facts and readings, each in one of three states."""
        return self.evaluation.values


@dataclass(frozen=True, slots=True)
class _Candidate:
    """A wall that might become a case."""

    side: Side
    wall: str
    survey_date: dt.date
    source: str


@dataclass(frozen=True, slots=True)
class _Aim:
    """What a case is to come to."""

    choice: str
    option: str

    def is_met(self, evaluation: Evaluation) -> bool:
        return evaluation.outcomes[self.choice].option == self.option


class Cases:
    """Makes cases under one rule base, from made-up walls, and from surveys where there are any."""

    def __init__(self, base: RuleBase, subject: Subject, surveys: Sequence[SurveyFile] = ()) -> None:
        self.base = base
        self.subject = subject
        self.judge = Judge(base)
        self.facts_read = facts_read(base)
        last = max(STAGES.index(base.choices[each].stage) for each in subject.turning)
        self._turning_facts = facts_read(base, STAGES[: last + 1])
        self._maker = WallMaker(self.judge, subject.choices)
        self._pool = self._usable(surveys)
        digests = sorted(facts_digest(survey.survey) for survey in surveys)
        self.surveys_digest = _digest(digests)[:16] if surveys else "none"
        self._made: dict[tuple[int, int, int], Case] = {}
        self._deciding: dict[str, dict[str, frozenset[str]]] = {}

    def case(self, seed: int, level: int, number: int) -> Case:
        """The case of that seed, level and number.

        Raises:
            BadInput: no case could be made, which with a sound rule base does not happen.
        """
        key = (seed, level, number)
        if key not in self._made:
            self._made[key] = self._case(*key)
        return self._made[key]

    @property
    def walls_given(self) -> int:
        """How many walls of the surveys given can become cases."""
        return len(self._pool)

    def evaluation(self, case: Case, values: Mapping[str, Value]) -> Evaluation:
        """What the rules say of a case of which only these facts are known."""
        return self.judge.evaluation(values, case.file.survey.property.survey_date.year)

    def deciding(self, case: Case) -> dict[str, frozenset[str]]:
        """The facts kept back that alone could turn an answer, each with the choices it could turn."""
        if case.check not in self._deciding:
            turns = self._turns_of(case.file.survey.property.survey_date)
            self._deciding[case.check] = turns.deciding(case.values, case.hidden)
        return self._deciding[case.check]

    def _case(self, seed: int, level: int, number: int) -> Case:
        for attempt in range(_ATTEMPTS):
            draw = Draw(_LAYOUT, self.base.digest, self.surveys_digest, seed, level, number, attempt)
            aim = self._aim(draw)
            candidate = self._candidate(aim, draw)
            if candidate is None:
                continue
            for turn in self._turns(candidate, aim, LEVELS[level - 1], draw):
                case = self._checked(candidate, turn, (seed, LEVELS[level - 1], number), draw)
                if case is not None:
                    return case
        raise BadInput(
            [Problem("", 0, 0, "practice", "no case can be made under these rules", self.base.manifest.version)]
        )

    def _aim(self, draw: Draw) -> _Aim:
        """What the case is to come to, every stage, every choice of it and every option as likely as the others."""
        choices = [self.base.choices[each] for each in self.subject.turning]
        stage = draw.one(list(dict.fromkeys(each.stage for each in choices)))
        choice = draw.one([each for each in choices if each.stage == stage])
        return _Aim(choice.id, draw.one([each.id for each in choice.options]))

    def _usable(self, surveys: Sequence[SurveyFile]) -> list[_Candidate]:
        """The walls of surveys on which everything asked is settled, whatever order the files came in."""
        found = []
        for survey in surveys:
            date = survey.survey.property.survey_date
            for wall in survey.survey.walls:
                side = self._turns_of(date).side(survey.values_of(wall))
                if settled(side.evaluation, self.subject.choices):
                    found.append(_Candidate(side, wall.id, date, f"{survey.name}, wall {wall.id}"))
        return sorted(found, key=lambda each: _digest(_plain(each.side.values)))

    def _turns_of(self, survey_date: dt.date) -> Turns:
        return Turns(self.judge, self.subject, survey_date.year)

    def _candidate(self, aim: _Aim, draw: Draw) -> _Candidate | None:
        if self._pool and draw.chance(_FROM_SURVEYS):
            good = [each for each in self._pool if aim.is_met(each.side.evaluation)]
            return draw.one(good or self._pool)
        values = self._maker.make(draw, aim.choice, aim.option)
        if values is None:
            return None
        date = self._maker.survey_date
        return _Candidate(self._turns_of(date).side(values), _NAMELESS, date, MADE_UP)

    def _rules_behind(self, evaluation: Evaluation) -> dict[str, None]:
        found: dict[str, None] = {}
        for choice in self.subject.choices:
            found.update(dict.fromkeys(reasoning(self.base, evaluation, choice)[0]))
        return found

    def _turns(self, candidate: _Candidate, aim: _Aim, level: Level, draw: Draw) -> Iterator[Turn]:
        """Ways to turn the answer, those first that come nearest to what is aimed at and to what the level asks."""
        turns = self._turns_of(candidate.survey_date)
        values = candidate.side.values
        names = draw.shuffled([name for name in facts() if name in self._turning_facts and values[name].known])
        if level.nearness < 1 and draw.chance(_NUMBERS_FIRST):
            names.sort(key=lambda name: facts()[name].kind != "number")
        sides: list[Turn] = []
        for turn in turns.found(candidate.side, names[:_FACTS_TRIED], draw):
            sides += draw.shuffled((turn, turn.turned_round))
            if len(sides) >= 2 * _TURNS_COMPARED or self._misses(sides[-1], aim, level) == (0, 0, 0):
                break

        def wanting(turn: Turn) -> tuple[int, ...]:
            return (*self._misses(turn, aim, level), -level.reasoning * len(self._rules_behind(turn.here.evaluation)))

        yield from (turns.nearer(turn, level.nearness) for turn in sorted(sides, key=wanting))

    def _misses(self, turn: Turn, aim: _Aim, level: Level) -> tuple[int, int, int]:
        """Whether a turn is not what is aimed at, 0 where it is: in the choice it turns, the answer here, the trap."""
        other_choice = turn.flips[0] != aim.choice
        trap = level.trap is not None and self._is_trap(turn) is not level.trap
        return int(other_choice), int(not aim.is_met(turn.here.evaluation)), int(trap)

    def _is_trap(self, turn: Turn) -> bool:
        """Whether something at the wall speaks for the answer of its twin: a rule that holds, or an open option."""
        choice = self.base.choices[turn.flips[0]]
        wrong = turn.there.evaluation.outcomes[choice.id].option
        fired = turn.here.evaluation.fired
        return any(option.id == wrong and option.open for option in choice.options) or any(
            (choice.id, wrong) in rule.supports and rule.id in fired for rule in self.base.by_stage[choice.stage]
        )

    def _checked(self, candidate: _Candidate, turn: Turn, place: tuple[int, Level, int], draw: Draw) -> Case | None:
        """The case this turn makes, judged as any survey is; None where it is not what a case has to be."""
        seed, level, number = place
        reference = f"practice case, seed {seed}, level {level.number}, case {number}"
        data = survey_data(turn.here.values, candidate.wall, reference, candidate.survey_date)
        written = as_written(turn.there.values[turn.fact].value)
        try:
            file = survey_of(data, f"case-{seed}-{level.number}-{number}.yaml")
            twin_file = amended(file, {turn.fact: written}, origin="had it been").file
        except BadInput:
            return None
        evaluation, twin = self._judged(file), self._judged(twin_file)
        flips = flipped(evaluation, twin, self.subject.turning)
        if not flips or not all(settled(each, self.subject.choices) for each in (evaluation, twin)):
            return None
        hidden = self._hidden(evaluation, turn.fact, level, draw)
        called_for = main_works(self.base, evaluation, self.subject.works)
        others = other_works(self.base, evaluation, self.subject.works, level.others, draw, bool(level.trap))
        offered = tuple(
            each for each in catalogue(self.base, self.subject.works) if each in called_for or each in others
        )
        asked = [self.base.digest, _plain(evaluation.values), hidden, offered, self.subject.choices]
        return Case(
            seed=seed,
            level=level,
            number=number,
            source=candidate.source,
            file=file,
            data=data,
            evaluation=evaluation,
            hidden=hidden,
            turns_on=turn.fact,
            twin=twin,
            flips=flips,
            rules=len(self._rules_behind(evaluation)),
            called_for=called_for,
            offered=offered,
            check=_digest(asked)[:12],
        )

    def _judged(self, file: SurveyFile) -> Evaluation:
        """What both readers of the rules say of the one wall of a survey.

        Raises:
            ReadersDisagree: the two readers differ.
        """
        values = file.values_of(file.survey.walls[0])
        evaluation = self.judge.evaluation(values, file.survey.property.survey_date.year)
        agreed(self.base, evaluation.values, evaluation)
        return evaluation

    def _hidden(self, evaluation: Evaluation, decides: str, level: Level, draw: Draw) -> tuple[str, ...]:
        """The facts kept back. With a fact goes all that applies because of it, which would tell what it is."""
        known = [name for name in facts() if name in self.facts_read and evaluation.values[name].known]
        shown = {decides, *_above(decides)} if not level.deciding_hidden else set()
        hidden: set[str] = set()
        first, second = self._behind_and_beside(evaluation, known, draw)
        order = [decides, *_taking_turns(first, second)] if level.deciding_hidden else [*second, *first]
        for name in order:
            group = {name, *(each for each in known if name in _above(each))}
            if name in hidden or group & shown or len(hidden) >= level.hidden:
                continue
            hidden |= group
        return tuple(name for name in known if name in hidden)

    def _behind_and_beside(
        self, evaluation: Evaluation, known: Sequence[str], draw: Draw
    ) -> tuple[list[str], list[str]]:
        """The facts behind the answers, and the others, each in an order that is drawn."""
        behind = {
            fact
            for choice in self.subject.choices
            for variable in reasoning(self.base, evaluation, choice)[1]
            for fact in variable.from_facts
        }
        mixed = draw.shuffled(known)
        return [each for each in mixed if each in behind], [each for each in mixed if each not in behind]


@functools.cache
def _above(name: str) -> frozenset[str]:
    """The facts that say whether a fact applies, directly or through others."""
    direct = {need.fact for need in facts()[name].applies}
    return frozenset(direct.union(*(_above(each) for each in direct)))


def _taking_turns(one: Sequence[str], other: Sequence[str]) -> list[str]:
    mixed = [each for pair in zip(one, other, strict=False) for each in pair]
    rest = max(one, other, key=len)[min(len(one), len(other)) :]
    return [*mixed, *rest]


def _plain(values: Mapping[str, Value]) -> list[list[object]]:
    return [[name, as_written(values[name].value)] for name in facts() if values[name].known]


def _digest(data: object) -> str:
    text = json.dumps(data, sort_keys=True, ensure_ascii=False, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()
