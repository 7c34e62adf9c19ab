"""Changes the rules on purpose, one small fault at a time, and sees whether any test notices."""

from __future__ import annotations

import multiprocessing
import random
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

from engine.audit.asking import spot_of
from engine.audit.cases import judged
from engine.audit.equivalence import Equivalence
from engine.audit.expectations import changes
from engine.audit.fates import Bench, bench_of
from engine.audit.findings import Finding, Looked
from engine.audit.mutants import OPERATORS, Mutant, all_mutants
from engine.audit.mutation_model import Fate, MutationReport, OperatorCount, Unnoticed
from engine.audit.vectors import Vectors
from engine.audit.witness import Witness
from engine.rulebase.rules import RuleBase

Progress = Callable[[int, int], None]
"""Told how many changed rules are done, of how many."""
_AT_A_TIME, _STEPS = 100, 40


@dataclass(frozen=True, slots=True)
class Fated:
    """What became of one changed rule; with it, of one that nothing noticed, what is known of it."""

    fate: Fate
    unnoticed: Unnoticed | None = None


def mutation(
    base: RuleBase,
    vectors: Vectors,
    sample: int | None = None,
    seed: int = 0,
    progress: Progress | None = None,
    processes: int = 1,
) -> MutationReport:
    """Try every changed rule, or a sample of them; the same answer whatever the number of processes.

    Surveys are of the year in which the version comes into force.
    """
    every = all_mutants(base)
    chosen = list(range(len(every)))
    if sample is not None and sample < len(every):
        chosen = sorted(random.Random(seed).sample(chosen, sample))
    else:
        sample = None
    fated: list[Fated] = []
    for some in _fates(base, vectors, every, chosen, processes):
        fated += some
        if progress is not None:
            progress(len(fated), len(chosen))
    bench = bench_of(base, vectors)
    return MutationReport(
        rules=base.manifest.version,
        digest=base.digest,
        made=len(every),
        sample=sample,
        seed=None if sample is None else seed,
        vectors=len(bench.vectors),
        recorded=len(bench.recorded),
        left_out=len(bench.failing) + len(vectors.left_out),
        operators=tuple(_counts([(every[at], each) for at, each in zip(chosen, fated, strict=True)])),
        unnoticed=tuple(each.unnoticed for each in fated if each.unnoticed is not None),
    )


def _fates(
    base: RuleBase, vectors: Vectors, every: list[Mutant], chosen: list[int], processes: int
) -> Iterator[list[Fated]]:
    size = max(1, min(_AT_A_TIME, len(chosen) // _STEPS))
    chunks = [chosen[start : start + size] for start in range(0, len(chosen), size)]
    if processes == 1:
        trial = Trial(base, vectors)
        for chunk in chunks:
            yield [trial.fate(every[at]) for at in chunk]
        return
    context = multiprocessing.get_context("spawn")
    with context.Pool(processes, _start, (base, vectors)) as pool:
        yield from pool.imap(_fates_of, chunks)


_trial: tuple[Trial, list[Mutant]] | None = None
"""In a process of its own: the tests, and every changed rule."""


def _start(base: RuleBase, vectors: Vectors) -> None:
    global _trial
    _trial = Trial(base, vectors), all_mutants(base)


def _fates_of(chosen: Iterable[int]) -> list[Fated]:
    assert _trial is not None
    trial, every = _trial
    return [trial.fate(every[at]) for at in chosen]


class Trial:
    """Says what becomes of changed rules of one base. The solver is called only where no test notices."""

    def __init__(self, base: RuleBase, vectors: Vectors) -> None:
        self._base = base
        self.bench: Bench = bench_of(base, vectors)
        self._equivalence: Equivalence | None = None

    @property
    def equivalence(self) -> Equivalence:
        """The comparison over all surveys, built when it is first asked for."""
        if self._equivalence is None:
            self._equivalence = Equivalence(self._base, self._base.manifest.in_force_from.year)
        return self._equivalence

    def fate(self, mutant: Mutant) -> Fated:
        """What becomes of one changed rule; where the solver gives up, it is unsettled."""
        killer = self.bench.killer(mutant.rule)
        if killer is not None:
            return Fated(killer)
        try:
            return self._proved_or_shown(mutant)
        except RuntimeError as error:
            return Fated("unsettled", self._unnoticed(mutant, None, "", str(error)))

    def _proved_or_shown(self, mutant: Mutant) -> Fated:
        if self.equivalence.decides_alike(mutant.rule):
            return Fated("equivalent" if self.equivalence.holds_alike(mutant.rule) else "only_reasons")
        shown = self.equivalence.shown(mutant.rule)
        if isinstance(shown, Witness):
            before = judged(self._base, shown.values)
            after = self.bench.rejudge.with_rule(before, mutant.rule)
            return Fated("survived", self._unnoticed(mutant, shown.text, "; ".join(changes(before, after)), ""))
        tests = () if shown is None else shown.tests
        why = "the solver allows a survey that is decided otherwise, and none was found"
        if tests:
            why += f"; what would not come about: {', '.join(each.in_words() for each in tests)}"
        return Fated("unsettled", self._unnoticed(mutant, None, "", why))

    @staticmethod
    def _unnoticed(mutant: Mutant, survey: str | None, differs: str, why: str) -> Unnoticed:
        return Unnoticed(
            mutant=mutant.name,
            rule=mutant.rule.id,
            title=mutant.rule.title,
            at=spot_of(mutant.rule),
            operator=mutant.operator,
            says=mutant.says,
            survey=survey,
            differs=differs,
            why=why,
        )


def _counts(fated: list[tuple[Mutant, Fated]]) -> Iterator[OperatorCount]:
    counts = Counter((mutant.operator, each.fate) for mutant, each in fated)
    for operator, says in OPERATORS.items():
        made = sum(count for (name, _), count in counts.items() if name == operator)
        if made:
            fates: dict[str, int] = {fate: counts[operator, fate] for fate in _FATES}
            yield OperatorCount(operator=operator, says=says, made=made, **fates)


_FATES: tuple[Fate, ...] = (
    "examples",
    "vectors",
    "recorded",
    "equivalent",
    "only_reasons",
    "survived",
    "unsettled",
)


def mutation_findings(report: MutationReport) -> tuple[list[Finding], list[Looked]]:
    """A warning for each changed rule that no test notices, with a survey that would; and what was looked at.

    What could be neither proved nor shown is said under what was looked at.
    """
    found = [
        Finding(
            check="change-not-noticed",
            group="tests",
            level="warning",
            subject=f"{each.rule} {each.operator}: {each.says}",
            says=f"No test notices when {each.rule} ({each.title}) is changed: {each.says}. Then {each.differs}.",
            rules=(each.rule,),
            at=each.at,
            survey=each.survey,
        )
        for each in report.unnoticed
        if each.survey is not None
    ]
    total = report.total
    drawn = f"{total.made} of {report.made} changed rules" if report.sample else f"{total.made} changed rules"
    alike = total.equivalent + total.only_reasons
    says = (
        f"tests notice {total.killed} of {drawn} (examples {total.examples}, vectors {total.vectors}, recorded "
        f"decisions {total.recorded}); proved to decide alike in every survey: {alike}, of which "
        f"{total.only_reasons} for other reasons; not noticed: {total.survived}"
    )
    unsettled = tuple(f"{each.mutant}: {each.says}: {each.why}" for each in report.unnoticed if each.survey is None)
    return found, [
        Looked(check="change-not-noticed", group="tests", says=says, looked_at=total.made, unsettled=unsettled)
    ]
