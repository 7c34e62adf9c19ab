"""Makes recorded decisions: few surveys that together tell every rule from what a small fault would make of it.

For a changed rule that no example and no vector notices the solver is asked for a survey that is decided otherwise with
it, and, to have few, otherwise with some more changed rules at once. Last, those that others make superfluous go.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from engine.audit.cases import Case, judged, values_of_data
from engine.audit.equivalence import Equivalence
from engine.audit.expectations import as_recorded
from engine.audit.fates import Bench
from engine.audit.mutants import Mutant, all_mutants
from engine.audit.recorded import Recorded
from engine.audit.vectors import Facts, Vectors, survey_data_of
from engine.audit.witness import Witness
from engine.errors import BadInput
from engine.facts.values import Value
from engine.rulebase.model import STAGES
from engine.rulebase.rules import RuleBase

Progress = Callable[[int, int], None]
"""Told how many changed rules are still to be told apart, and how many surveys there are."""
_TOGETHER = 48
"""How many other changed rules are tried at once with each."""
_KEPT = 100
"""How many of those that a survey happens to tell must still be told by what is left of it."""


@dataclass(frozen=True, slots=True)
class _Found:
    facts: Facts
    case: Case


def record(
    base: RuleBase, vectors: Vectors, seeds: Iterable[Facts] = (), progress: Progress | None = None
) -> Mapping[str, tuple[Recorded, ...]]:
    """Recorded decisions of a version, by the stage of the first rule that each tells.

    They notice every changed rule that examples and vectors do not, save those that decide alike in every survey and
    those for which no survey is found. What `vectors` has recorded is not looked at. `seeds` are facts of walls tried
    first: those of another version's recorded decisions keep the two alike.

    Raises:
        RuntimeError: the solver gave up.
    """
    bench = Bench(base, Vectors(vectors.folder, vectors.placed, vectors.left_out))
    equivalence = Equivalence(base, base.manifest.in_force_from.year)
    unnoticed = [mutant for mutant in all_mutants(base) if bench.killer(mutant.rule) is None]
    open_now = [mutant for mutant in unnoticed if not equivalence.decides_alike(mutant.rule)]
    found = list(_from_seeds(base, seeds))
    todo = [each for each in open_now if not bench.noticed(each.rule, (one.case for one in found))]
    rng = random.Random(0)
    rng.shuffle(todo)
    while todo:
        this = _survey(bench, equivalence, todo, rng)
        if this is None:
            todo = todo[1:]
            continue
        found.append(this)
        todo = [each for each in todo if not bench.noticed(each.rule, (this.case,))]
        if progress is not None:
            progress(len(todo), len(found))
    return _numbered(base, _needed(bench, open_now, found))


def _from_seeds(base: RuleBase, seeds: Iterable[Facts]) -> Iterator[_Found]:
    for facts in seeds:
        try:
            values = values_of_data(survey_data_of(facts, "seed"), base)
        except BadInput:
            continue
        yield _Found(facts, judged(base, values))


def _survey(bench: Bench, equivalence: Equivalence, todo: Sequence[Mutant], rng: random.Random) -> _Found | None:
    """A survey that tells the first of the changed rules, and others as it comes."""
    first, others = todo[0].rule, [each.rule for each in todo[1:] if each.rule.id != todo[0].rule.id]
    some = rng.sample(others, min(_TOGETHER, len(others)))
    together = equivalence.together(first, some)
    kept: list[Mutant] = []

    def done(values: Mapping[str, Value]) -> bool:
        case = (judged(bench.base, values),)
        if not bench.noticed(first, case):
            return False
        if not kept:
            told = (each for each in todo if bench.noticed(each.rule, case))
            kept.extend(each for _, each in zip(range(_KEPT), told, strict=False))
        return all(bench.noticed(each.rule, case) for each in kept)

    shown = equivalence.witness(together, done)
    if not isinstance(shown, Witness):
        shown = equivalence.shown(first, done)
    if not isinstance(shown, Witness):
        return None
    return _Found(facts_in(shown.data), judged(bench.base, shown.values))


def facts_in(data: Mapping[str, Any]) -> Facts:
    """The facts of a survey of one wall, section by section; the day of the survey stays, its reference goes."""
    about = {name: value for name, value in data["property"].items() if name != "reference"}
    return {"property": about, **{section: each for section, each in data["walls"][0].items() if section != "id"}}


def _needed(bench: Bench, mutants: Sequence[Mutant], found: Sequence[_Found]) -> list[tuple[_Found, list[Mutant]]]:
    """The surveys that tell the most, one after the other, until nothing is left to tell; with what each adds."""
    told = [{at for at, each in enumerate(mutants) if bench.noticed(each.rule, (one.case,))} for one in found]
    left = set().union(*told)
    needed: list[tuple[_Found, list[Mutant]]] = []
    while left:
        best = max(range(len(found)), key=lambda at: (len(told[at] & left), -at))
        needed.append((found[best], [mutants[at] for at in sorted(told[best] & left)]))
        left -= told[best]
    return needed


def _numbered(base: RuleBase, needed: Iterable[tuple[_Found, list[Mutant]]]) -> Mapping[str, tuple[Recorded, ...]]:
    by_stage: dict[str, list[Recorded]] = {stage: [] for stage in STAGES}
    for one, told in sorted(needed, key=lambda each: each[1][0].name):
        stage = told[0].rule.stage
        tells = tuple(dict.fromkeys(each.rule.id for each in told))
        name = f"{stage}-{len(by_stage[stage]) + 1:03d}"
        by_stage[stage].append(as_recorded(base, one.case, name, tells, one.facts))
    return {stage: tuple(several) for stage, several in by_stage.items() if several}
