"""What becomes of a mutant: which test notices it first, or that none does."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Literal

from engine.audit.cases import Case, Rejudge, decides_alike, judged, values_of_data
from engine.audit.expectations import fits, flips, misses
from engine.audit.recorded import Recorded
from engine.audit.rule_examples import ExampleCase, borne_out, example_cases
from engine.audit.vectors import Placed, Vector, Vectors, survey_data_of
from engine.errors import BadInput
from engine.rulebase.rules import Rule, RuleBase

Killer = Literal["examples", "vectors", "recorded"]


class Bench:
    """The tests of one version, each judged once under the rules as they are.

    A vector or recorded decision that the rules do not bear out themselves tells nothing of a mutant, and neither does
    one whose survey is refused: it stands in `failing`, with why.
    """

    def __init__(self, base: RuleBase, vectors: Vectors) -> None:
        self.base = base
        self.examples: dict[str, tuple[ExampleCase, ...]] = {r.id: example_cases(r, base.variables) for r in base.rules}
        self.vectors: list[tuple[Vector, Case]] = []
        self.recorded: list[Case] = []
        self.failing: list[tuple[Placed | Recorded, str]] = []
        self.rejudge = Rejudge(base)
        for placed in vectors.placed:
            self._take(placed)
        for recorded in vectors.recorded:
            self._take(recorded)

    def _take(self, test: Placed | Recorded) -> None:
        case, wrong = judged_as(self.base, test)
        if case is None or wrong:
            self.failing.append((test, "; ".join(wrong)))
        elif isinstance(test, Recorded):
            self.recorded.append(case)
        else:
            self.vectors.append((test.vector, case))

    @property
    def cases(self) -> list[Case]:
        """The walls of all vectors and recorded decisions that the rules bear out."""
        return [*(case for _, case in self.vectors), *self.recorded]

    def killer(self, rule: Rule) -> Killer | None:
        """The first kind of test that comes out otherwise with `rule` in the place of that of its id."""
        if rule.id in self.examples and not borne_out(rule.when, self.examples[rule.id]):
            return "examples"
        for vector, case in self.vectors:
            after = self.rejudge.with_rule(case, rule)
            if after is not case and not fits(vector, after):
                return "vectors"
        return "recorded" if self.noticed(rule, self.recorded) else None

    def noticed(self, rule: Rule, cases: Iterable[Case]) -> bool:
        """Whether one of the cases is decided otherwise with `rule`."""
        return any(not decides_alike(case, self.rejudge.with_rule(case, rule)) for case in cases)


def judged_as(base: RuleBase, test: Placed | Recorded) -> tuple[Case | None, list[str]]:
    """A vector or recorded decision judged under a rule base, and in words where it comes out otherwise than it says.

    Without a case: its survey is refused.
    """
    name = test.vector.id if isinstance(test, Placed) else test.id
    try:
        case = judged(base, values_of_data(survey_data_of(test.facts, name), base))
    except BadInput as error:
        return None, [f"its survey is refused: {error}"]
    return case, list(flips(test, case) if isinstance(test, Recorded) else misses(test.vector, case))


def flipped(base: RuleBase, recorded: Iterable[Recorded]) -> Iterator[tuple[Recorded, list[str]]]:
    """The recorded decisions of any version that this rule base decides otherwise, each with what differs."""
    for each in recorded:
        _, wrong = judged_as(base, each)
        if wrong:
            yield each, wrong


_last: tuple[RuleBase, Vectors, Bench] | None = None
"""The bench used last: coverage and mutation ask for the same one."""


def bench_of(base: RuleBase, vectors: Vectors) -> Bench:
    """The tests of a version, judged once."""
    global _last
    if _last is None or _last[0] is not base or _last[1] is not vectors:
        _last = base, vectors, Bench(base, vectors)
    return _last[2]
