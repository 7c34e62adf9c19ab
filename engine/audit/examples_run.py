"""A rule's own examples, run: it holds on its example, not without any fact of it, and on none of the nearest facts."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, Literal

from engine.audit.findings import Spot
from engine.audit.form_literals import Asked, as_written, literals_in
from engine.audit.rule_examples import view_of
from engine.decision.model import Part
from engine.facts.vocabulary import Variable
from engine.inference.truth import Truth
from engine.inference.view import View
from engine.rulebase.rules import Rule

Kind = Literal["holds", "without", "fails"]
Word = Literal["true", "false", "unknown"]
WORDS: Mapping[Truth, Word] = {Truth.TRUE: "true", Truth.FALSE: "false", Truth.UNKNOWN: "unknown"}


class ExampleRun(Part):
    """One example and what came of it.

    `change` is how it differs from the rule's example: the fact left out, or the fact and its other value. `tests` are
    the truths of the rule's tests, in order. `as_wanted` is whether the rule holds where it should and only there.
    """

    kind: Kind
    change: str
    truth: Word
    tests: tuple[Word, ...]
    as_wanted: bool


class VectorRun(Part):
    """One decision vector on which a rule holds, or that says whether it should.

    `wants` is what the vector says of the rule itself; `says` what it says of the choices and sets the rule bears on;
    `misses` where the decision on its wall is another, in words.
    """

    id: str
    at: Spot
    teaches: str
    holds: bool
    wants: Literal["fires", "silent", ""]
    says: tuple[str, ...]
    misses: tuple[str, ...]

    @property
    def as_wanted(self) -> bool:
        """Whether the rule holds where the vector says so, and not where it says not."""
        return self.wants == "" or (self.wants == "fires") is self.holds


class RuleTested(Part):
    """One rule on its examples, and on vectors. `tests` are its tests in words, in the order written."""

    id: str
    title: str
    where: str
    example: dict[str, Any]
    tests: tuple[str, ...]
    runs: tuple[ExampleRun, ...]
    vectors: tuple[VectorRun, ...] = ()

    @property
    def passed(self) -> bool:
        """Whether it holds wherever an example or a vector says so, and nowhere where one says not."""
        return all(run.as_wanted for run in self.runs) and all(run.as_wanted for run in self.vectors)


class RulesTested(Part):
    """Rules of one version on their examples. `vectors` is the folder of vectors that was looked at."""

    rules: str
    digest: str
    vectors: str | None
    tested: tuple[RuleTested, ...]

    @property
    def passed(self) -> bool:
        """Whether every rule passed."""
        return all(each.passed for each in self.tested)


def truth_on(rule: Rule, example: Mapping[str, Any], variables: Mapping[str, Variable]) -> Truth:
    """The truth of a rule's condition on an example.

    Raises:
        ValueError: a name that is no variable, or a value its variable does not take.
    """
    return view_of(example, variables).truth(rule.when)


def run_examples(rule: Rule, variables: Mapping[str, Variable]) -> RuleTested:
    """Run the examples of one rule.

    Raises:
        ValueError: an example names what is no variable, or gives a value that one does not take.
    """
    asked = tuple(literals_in(as_written(rule.raw.when, rule.when)))
    runs = []
    for kind, change, example in cases_of(rule):
        view = view_of(example, variables)
        truth = view.truth(rule.when)
        tests = tuple(WORDS[_truth(each, view)] for each in asked)
        wanted = (truth is Truth.TRUE) is (kind == "holds")
        runs.append(ExampleRun(kind=kind, change=change, truth=WORDS[truth], tests=tests, as_wanted=wanted))
    return RuleTested(
        id=rule.id,
        title=rule.title,
        where=rule.where,
        example=rule.examples.holds,
        tests=tuple(each.words for each in asked),
        runs=tuple(runs),
    )


def _truth(asked: Asked, view: View) -> Truth:
    truth = view.of_test(asked.test)
    return truth.negated if asked.negated else truth


def cases_of(rule: Rule) -> Iterator[tuple[Kind, str, Mapping[str, Any]]]:
    """Every example, and the example without each of its facts; a fact left out is unknown, so one given so stays."""
    holds = rule.examples.holds
    yield "holds", "", holds
    for name, value in holds.items():
        if value != "unknown":
            yield "without", name, {key: each for key, each in holds.items() if key != name}
    for change in rule.examples.fails:
        yield "fails", "; ".join(f"{name}: {written(value)}" for name, value in change.items()), {**holds, **change}


def written(value: Any) -> str:
    """A value of an example as it is written in its file."""
    if isinstance(value, list):
        return f"[{', '.join(map(str, value))}]"
    return ("yes" if value else "no") if isinstance(value, bool) else str(value)
