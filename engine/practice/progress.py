"""From results to a level, and to what a trainee should look at again."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from engine.decision.model import Part
from engine.practice.model import CaseResult
from engine.practice.settings import DOWN_BELOW, LEVELS, RESULTS_LOOKED_AT, RESULTS_NEEDED, UP_FROM

MOST_RULES = 10


@dataclass(frozen=True, slots=True)
class KeptMark:
    """One mark: of which choice or set of works, from 0 to 1; of a choice also what was answered and what is right."""

    of: str
    answer: str | None
    right: str | None
    worth: float


@dataclass(frozen=True, slots=True)
class KeptRule:
    """A rule behind a wrong answer, and whether it was missed or misread."""

    rule: str
    reading: str


@dataclass(frozen=True, slots=True)
class Kept:
    """One result as it is kept. `placed`: whether the level was the trainee's own, so that the result may move it."""

    taken_at: str
    rules_version: str
    seed: int
    level: int
    case: int
    placed: bool
    score: float
    minutes: int
    marks: tuple[KeptMark, ...]
    rules: tuple[KeptRule, ...]


def kept(result: CaseResult, works: str, rules_version: str, taken_at: str, *, placed: bool) -> Kept:
    """What is kept of a result; `works` is the id of the set of works, `taken_at` a moment in UTC."""
    marks = [
        KeptMark(each.choice, each.answer, each.right, float(each.mark == "right"))
        for each in result.choices
        if each.mark != "follows"
    ]
    rules = {
        rule.id: KeptRule(rule.id, rule.reading)
        for each in result.choices
        for rule in (*each.brings, *each.against)
        if rule.reading is not None
    }
    return Kept(
        taken_at=taken_at,
        rules_version=rules_version,
        seed=result.seed,
        level=result.level,
        case=result.case,
        placed=placed,
        score=result.score,
        minutes=result.asking.minutes,
        marks=(*marks, KeptMark(works, None, None, result.works.score)),
        rules=tuple(rules.values()),
    )


@dataclass(frozen=True, slots=True)
class Standing:
    """The level one is at, and the scores at it that decide about the next move, the oldest first."""

    level: int = 1
    recent: tuple[float, ...] = ()

    def after(self, score: float) -> Standing:
        """Where one stands after a result at this level: the scores start anew when the level moves."""
        recent = (*self.recent, score)[-RESULTS_LOOKED_AT:]
        mean = sum(recent) / len(recent)
        if len(recent) >= RESULTS_NEEDED:
            if mean >= UP_FROM and self.level < len(LEVELS):
                return Standing(self.level + 1)
            if mean < DOWN_BELOW and self.level > 1:
                return Standing(self.level - 1)
        return Standing(self.level, recent)


def standing(results: Sequence[Kept]) -> Standing:
    """Where results, in the order they came in, lead from the first level. Those at a level given by hand do not count.

    A result of another process may have moved the level in between: one that is not at the level stood at changes
    nothing.
    """
    now = Standing()
    for each in results:
        if each.placed and each.level == now.level:
            now = now.after(each.score)
    return now


class ByLevel(Part):
    """The results at one level."""

    level: int
    cases: int
    score: float


class Confused(Part):
    """One option answered where another was right, and how often."""

    answer: str
    right: str
    times: int


class ByChoice(Part):
    """The results of one choice, or of the works. `confused`: most frequent first.

    `score`: the share that was right; of the works the mean of their marks.
    """

    choice: str
    title: str
    marked: int
    score: float
    confused: tuple[Confused, ...]


class ByRule(Part):
    """A rule behind wrong answers: how often a fact it rests on was not seen, and how often all were."""

    rule: str
    title: str
    missed: int
    misread: int


class Progress(Part):
    """Everything kept, summed up."""

    kept_in: str
    cases: int
    score: float | None
    level: int
    recent: tuple[float, ...]
    by_level: tuple[ByLevel, ...]
    by_choice: tuple[ByChoice, ...]
    by_rule: tuple[ByRule, ...]


def summed_up(results: Sequence[Kept], kept_in: str, titles: dict[str, str], rule_titles: dict[str, str]) -> Progress:
    """All results together; `titles` are of choices and works, in the order to show them."""
    now = standing(results)
    levels = sorted({each.level for each in results})
    return Progress(
        kept_in=kept_in,
        cases=len(results),
        score=_mean([each.score for each in results]),
        level=now.level,
        recent=now.recent,
        by_level=tuple(
            ByLevel(level=n, cases=len(scores), score=_mean(scores) or 0.0)
            for n in levels
            for scores in [[each.score for each in results if each.level == n]]
        ),
        by_choice=tuple(by_choice(results, titles)),
        by_rule=tuple(by_rule(results, rule_titles)),
    )


def by_rule(results: Sequence[Kept], titles: dict[str, str]) -> list[ByRule]:
    """The rules most often behind wrong answers."""
    rules = Counter((rule.rule, rule.reading) for each in results for rule in each.rules)
    names = sorted({rule for rule, _ in rules}, key=lambda r: (-rules[r, "missed"] - rules[r, "misread"], r))
    return [
        ByRule(
            rule=rule,
            title=titles.get(rule, "a rule of another version"),
            missed=rules[rule, "missed"],
            misread=rules[rule, "misread"],
        )
        for rule in names[:MOST_RULES]
    ]


def by_choice(results: Sequence[Kept], titles: dict[str, str]) -> list[ByChoice]:
    """The results of each choice, in the order of `titles`; those never marked are left out."""
    found = []
    for choice, title in titles.items():
        marks = [mark for each in results for mark in each.marks if mark.of == choice]
        if not marks:
            continue
        wrong = Counter((m.answer, m.right) for m in marks if m.answer and m.right and m.answer != m.right)
        most_first = sorted(wrong.items(), key=lambda item: (-item[1], str(item[0])))
        found.append(
            ByChoice(
                choice=choice,
                title=title,
                marked=len(marks),
                score=_mean([mark.worth for mark in marks]) or 0.0,
                confused=tuple(
                    Confused(answer=str(answer), right=str(right), times=times) for (answer, right), times in most_first
                ),
            )
        )
    return found


def _mean(scores: Sequence[float]) -> float | None:
    return round(sum(scores) / len(scores), 4) if scores else None
