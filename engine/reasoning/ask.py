"""What to find out next: each open fact with every answer it can have, and what each would lead to."""

from __future__ import annotations

import datetime as dt
import difflib
from collections.abc import Sequence
from typing import Any, Literal

from engine.decision.assess import evaluate_wall, heading, set_found
from engine.decision.model import Heading, OpenQuestion, Part
from engine.decision.open_questions import open_questions, what_matters
from engine.errors import BadInput, Problem
from engine.facts.amend import amended, as_written
from engine.facts.intake import SurveyFile
from engine.facts.survey import Wall
from engine.facts.vocabulary import facts
from engine.inference.evaluate import Evaluation
from engine.proof.completions import Completions
from engine.reasoning.answers import Answers, Candidate
from engine.rulebase.rules import RuleBase

TESTS = "tests"
"""The set of tests still needed."""


class LeadsTo(Part):
    """What one choice comes to with an answer, where that differs from now or is settled by it."""

    choice: str
    option: str
    before: str
    settled: bool
    settled_before: bool


class Answer(Part):
    """One possible answer. `set` holds what a survey would say, such that judging it again gives `leads_to`.

    `leads_to` are the choices that come out otherwise or become settled; `open_after` how many choices are open still.
    """

    says: str
    set: dict[str, Any]
    leads_to: tuple[LeadsTo, ...]
    open_after: int


class Question(OpenQuestion):
    """A fact to find out, with its answers. `together_with` are facts that its answers give as well.

    `left_out` are answers that other facts of the survey exclude.
    """

    together_with: tuple[str, ...]
    answers: tuple[Answer, ...]
    left_out: tuple[str, ...]


class OpenNow(Part):
    """A choice that is not settled, and what it comes to on what is known."""

    choice: str
    option: str


class WallQuestions(Part):
    """The open questions of one wall, the most decisive first; the answers of those asked for, the rest by name.

    `tests` are the tests that the decision asks for: they may overturn what is known, where no question is left.
    """

    wall: str
    open_now: tuple[OpenNow, ...]
    tests: tuple[str, ...]
    questions: tuple[Question, ...]
    further: tuple[OpenQuestion, ...]


class Asked(Heading):
    """The answer to `bedjoint ask`."""

    format: Literal["bedjoint-ask-1"] = "bedjoint-ask-1"
    walls: tuple[WallQuestions, ...]


def asked_of(
    file: SurveyFile,
    base: RuleBase,
    as_of: dt.date,
    walls: Sequence[tuple[Wall, Evaluation]],
    most: int,
    only: str | None = None,
    changed: Sequence[str] = (),
) -> Asked:
    """The questions of several walls of a survey; `changed` are the facts that were set beforehand.

    Raises:
        BadInput: `only` names no fact.
    """
    if only is not None and only not in facts():
        near = difflib.get_close_matches(only, facts(), 3, 0.5)
        hint = f"did you mean {' or '.join(near)}?" if near else ""
        raise BadInput([Problem("", 0, 0, "--fact", "no such fact", only, "section.fact, as a survey has them", hint)])
    return Asked(
        **dict(heading(file, base, as_of, changed)),
        walls=tuple(ask(file, wall, base, evaluation, most, only) for wall, evaluation in walls),
    )


def ask(
    file: SurveyFile, wall: Wall, base: RuleBase, evaluation: Evaluation, most: int, only: str | None = None
) -> WallQuestions:
    """The questions of a wall with what their answers lead to: the first `most`, or the one fact that is named.

    Every answer is judged as a survey that has it. Answers that other facts exclude are left out.
    """
    year = file.survey.property.survey_date.year
    every = open_questions(base, evaluation, what_matters(base, evaluation, year, each_choice=True))
    shown = [each for each in every if each.fact == only] if only else list(every[:most])
    asker = _Asker(file, wall, base, evaluation)
    return WallQuestions(
        wall=wall.id,
        open_now=tuple(
            OpenNow(choice=name, option=outcome.option)
            for name, outcome in evaluation.outcomes.items()
            if not outcome.settled
        ),
        tests=tuple(item.says for item in set_found(TESTS, base, evaluation).items) if TESTS in base.sets else (),
        questions=tuple(asker.question(each) for each in shown),
        further=tuple(each for each in every if each not in shown),
    )


class _Asker:
    def __init__(self, file: SurveyFile, wall: Wall, base: RuleBase, evaluation: Evaluation) -> None:
        self._file, self._wall, self._base, self._now = file, wall, base, evaluation
        year = file.survey.property.survey_date.year
        self._answers = Answers(base, evaluation, year)
        self._completions = Completions(base, evaluation, year)

    def question(self, asked: OpenQuestion) -> Question:
        variable = facts()[asked.fact]
        answers, left_out, together = [], [], {asked.fact: None}
        for candidate in self._answers.of(variable):
            answer = self._answer(candidate)
            if answer is None:
                left_out.append(candidate.says)
            else:
                answers.append(answer)
                together.update(dict.fromkeys(candidate.changes))
        return Question(
            **dict(asked),
            together_with=tuple(name for name in together if name != asked.fact),
            answers=tuple(answers),
            left_out=tuple(left_out),
        )

    def _answer(self, candidate: Candidate) -> Answer | None:
        written = {name: as_written(value.value) for name, value in candidate.changes.items()}
        try:
            changed = amended(self._file, written, [self._wall.id], "answer")
        except BadInput:
            return None  # other facts of the survey exclude it
        if changed.dropped:
            return None  # so does one that was given of what would then not be there
        file = changed.file
        wall = next(each for each in file.survey.walls if each.id == self._wall.id)
        after = self._answers.after(candidate.changes)
        rows = any(facts()[name].kind == "rows" for name in candidate.changes)
        still = None if rows else self._completions.open_after(candidate.changes, after)
        if still is None:
            after = evaluate_wall(file, wall, self._base)
            still = frozenset(name for name, outcome in after.outcomes.items() if not outcome.settled)
        leads = tuple(
            LeadsTo(
                choice=name,
                option=outcome.option,
                before=(before := self._now.outcomes[name]).option,
                settled=name not in still,
                settled_before=before.settled,
            )
            for name, outcome in after.outcomes.items()
            if outcome.option != self._now.outcomes[name].option
            or (name not in still and not self._now.outcomes[name].settled)
        )
        return Answer(
            says=candidate.says,
            set=written,
            leads_to=leads,
            open_after=len(still),
        )
