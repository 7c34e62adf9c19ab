"""What comes of a practice case, as data: the same for the terminal, for JSON, and for marks over many trainees."""

from __future__ import annotations

from typing import Literal

from engine.decision.model import Ground, Part

Mark = Literal["right", "wrong", "skipped", "follows"]
Reading = Literal["missed", "misread"]
Use = Literal["decided", "could have mattered", "could not matter", "nothing to find out"]


class RuleShown(Part):
    """A rule behind an answer, with its grounds, and those of the facts it rests on that were not seen.

    `reading` is of a wrong answer: missed where a fact was not seen, else misread.
    """

    id: str
    title: str
    word: str
    because: str
    basis: str
    certainty: str
    grounds: tuple[Ground, ...]
    unseen: tuple[str, ...]
    reading: Reading | None


class Lacking(Part):
    """The rule that came nearest to bringing an option or a work, and the tests that would have to differ."""

    rule: str
    title: str
    fails: tuple[Ground, ...]


class ChoiceMark(Part):
    """One choice: what was answered, what is right, and why.

    `follows` is not marked: the answer given, or the right one, follows from an earlier choice. `brings` are the rules
    that bring the right option, `against` those that rule out the one answered; of one that no rule rules out,
    `lacking` says what it needed, or `behind` why the right one comes first. `not_asked` are facts that were never
    asked for and would turn this choice, had they been otherwise.
    """

    choice: str
    title: str
    answer: str | None
    answer_says: str
    right: str
    right_says: str
    mark: Mark
    brings: tuple[RuleShown, ...]
    against: tuple[RuleShown, ...]
    lacking: Lacking | None
    behind: str | None
    not_asked: tuple[str, ...]


class WorkMark(Part):
    """One work: the rules that call for it, or where none does, what it lacks."""

    work: str
    says: str
    rules: tuple[RuleShown, ...]
    lacking: Lacking | None


class WorksMark(Part):
    """The works: `score` is the share of those found in all that were found, missed or superfluous."""

    title: str
    answered: bool
    found: tuple[WorkMark, ...]
    missed: tuple[WorkMark, ...]
    superfluous: tuple[WorkMark, ...]
    score: float


class FactAsked(Part):
    """A fact that was asked for, what it came to, and of what use that was."""

    fact: str
    question: str
    effort: str
    value: str
    minutes: int
    use: Use


class AskingMark(Part):
    """The asking: the minutes spent on facts that decide, in all such minutes and those spent on what could not matter.

    `score` is None where no fact kept back decides and nothing was wasted.
    """

    asked: tuple[FactAsked, ...]
    minutes: int
    wasted: int
    not_asked: tuple[str, ...]
    score: float | None


class OtherAnswer(Part):
    """One choice on both sides of the boundary."""

    choice: str
    title: str
    here: str
    there: str
    there_says: str


class Twin(Part):
    """The fact the case turns on: as it is, as it might have been, and what would then be the answer."""

    fact: str
    question: str
    here: str
    there: str
    kept_back: bool
    asked: bool
    answers: tuple[OtherAnswer, ...]


class CaseResult(Part):
    """All that comes of one case. `score` is the mean of what was marked, from 0 to 1."""

    seed: int
    level: int
    case: int
    check: str
    source: str
    choices: tuple[ChoiceMark, ...]
    works: WorksMark
    asking: AskingMark
    twin: Twin
    score: float
    limits: str


class RunResult(Part):
    """The results of several cases, as `bedjoint practice --answers` writes them."""

    format: Literal["bedjoint-practice-1"] = "bedjoint-practice-1"
    trainee: str
    rules: str
    rules_digest: str
    surveys: str
    score: float
    cases: tuple[CaseResult, ...]
