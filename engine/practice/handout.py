"""Cases as they are handed out, as data: what a trainee sees, what may be asked for, and what is to be answered."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import Any, Literal

from engine.decision.assess import LIMITS
from engine.decision.model import Part
from engine.facts.amend import as_written
from engine.facts.vocabulary import facts
from engine.practice.attempt import Attempt
from engine.practice.generator import Cases
from engine.practice.settings import MINUTES
from engine.readings.vocabulary import READINGS


class Seen(Part):
    """A fact or reading in front of the trainee; `value` as a survey file has it, in `unit` where it has one."""

    name: str
    value: Any
    unit: str | None
    established: str | None


class ToAsk(Part):
    """A fact that may be asked for, with its price in minutes, which is a setting of the exercise."""

    fact: str
    question: str
    effort: str
    minutes: int
    allowed: str


class Offer(Part):
    """Something to choose: an option of a choice, or a work."""

    id: str
    says: str


class Question(Part):
    """A choice with its options, the preferred first."""

    choice: str
    title: str
    options: tuple[Offer, ...]


class HandedOut(Part):
    """One case."""

    case: int
    check: str
    survey_date: dt.date
    facts: tuple[Seen, ...]
    readings: tuple[Seen, ...]
    to_ask: tuple[ToAsk, ...]
    works: tuple[Offer, ...]


class Handout(Part):
    """Several cases of one seed and level. The questions are the same for all of them."""

    format: Literal["bedjoint-practice-cases-1"] = "bedjoint-practice-cases-1"
    rules: str
    rules_digest: str
    surveys: str
    seed: int
    level: int
    questions: tuple[Question, ...]
    cases: tuple[HandedOut, ...]
    limits: str


def handout(cases: Cases, seed: int, level: int, numbers: Sequence[int]) -> Handout:
    """These cases, without anything that gives an answer away."""
    base = cases.base
    questions = tuple(
        Question(
            choice=choice.id,
            title=choice.title,
            options=tuple(Offer(id=option.id, says=option.says) for option in choice.options),
        )
        for choice in (base.choices[each] for each in cases.subject.choices)
    )
    return Handout(
        rules=base.manifest.version,
        rules_digest=base.digest,
        surveys=cases.surveys_digest,
        seed=seed,
        level=level,
        questions=questions,
        cases=tuple(_handed_out(Attempt(cases, cases.case(seed, level, number))) for number in numbers),
        limits=LIMITS,
    )


def _handed_out(attempt: Attempt) -> HandedOut:
    case, cases, seen = attempt.case, attempt.cases, attempt.seen
    values = cases.evaluation(case, seen).values
    read = {test.variable.name for rule in cases.base.rules for test in rule.tests}
    members = cases.base.members[cases.subject.works]
    return HandedOut(
        case=case.number,
        check=case.check,
        survey_date=case.file.survey.property.survey_date,
        facts=tuple(
            Seen(name=n, value=as_written(seen[n].value), unit=facts()[n].unit, established=seen[n].established)
            for n in facts()
            if seen[n].known
        ),
        readings=tuple(
            Seen(name=n, value=as_written(values[n].value), unit=READINGS[n].unit, established="computed")
            for n in READINGS
            if n in read and values[n].known
        ),
        to_ask=tuple(
            ToAsk(fact=n, question=v.question, effort=v.effort, minutes=MINUTES[v.effort], allowed=v.allowed)
            for n, v in ((n, facts()[n]) for n in attempt.to_ask())
        ),
        works=tuple(Offer(id=each, says=members[each].says) for each in case.offered),
    )
