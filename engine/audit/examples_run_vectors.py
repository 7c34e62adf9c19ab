"""Rules run on decision vectors: on which of them each holds, and what those say."""

from __future__ import annotations

import datetime as dt
import json
import pathlib
from collections.abc import Iterator, Sequence

from engine.audit.cases import Case, judged, values_of
from engine.audit.examples_run import RulesTested, RuleTested, VectorRun, run_examples
from engine.audit.expectations import misses
from engine.audit.vectors import Placed, Vector, read_vectors, survey_data_of
from engine.facts.intake import parse_survey
from engine.rulebase.rules import Rule, RuleBase


def run_rules(base: RuleBase, rules: Sequence[Rule], folder: pathlib.Path | None, today: dt.date) -> RulesTested:
    """Run the examples of rules and, where there is a folder, its vectors. No vector may be dated after `today`.

    Raises:
        BadInput: the folder's files cannot be used, or a vector's facts are no survey.
    """
    cases = [] if folder is None else [(each, _case(each, base, today)) for each in read_vectors(folder, base).placed]
    tested = tuple(_with_vectors(run_examples(rule, base.variables), rule, cases) for rule in rules)
    shown = None if folder is None else str(folder)
    return RulesTested(rules=base.manifest.version, digest=base.digest, vectors=shown, tested=tested)


def _case(placed: Placed, base: RuleBase, today: dt.date) -> Case:
    data = survey_data_of(placed.facts, placed.vector.id)
    name = f"{placed.at.file}:{placed.at.line} ({placed.vector.id})"
    return judged(base, values_of(parse_survey(json.dumps(data).encode(), name, today), base))


def _with_vectors(tested: RuleTested, rule: Rule, cases: Sequence[tuple[Placed, Case]]) -> RuleTested:
    runs = tuple(run for placed, case in cases for run in _run(rule, placed, case))
    return tested.model_copy(update={"vectors": runs})


def _run(rule: Rule, placed: Placed, case: Case) -> Iterator[VectorRun]:
    vector, holds = placed.vector, rule.id in case.fired
    wants = "fires" if rule.id in vector.fires else "silent" if rule.id in vector.silent else ""
    if holds or wants:
        yield VectorRun(
            id=vector.id,
            at=placed.at,
            teaches=vector.teaches,
            holds=holds,
            wants=wants,
            says=tuple(_says(rule, vector)),
            misses=tuple(misses(vector, case)),
        )


def _says(rule: Rule, vector: Vector) -> Iterator[str]:
    """What a vector says of what a rule bears on."""
    for name in dict.fromkeys(choice for choice, _ in (*rule.supports, *rule.rules_out)):
        if name in vector.expect:
            yield f"{name}: {' or '.join(vector.expect[name])}"
    for name, member in rule.adds:
        if name in vector.sets:
            among = vector.sets[name]
            if member in among.includes:
                yield f"{name}: with {member}"
            elif member in among.excludes:
                yield f"{name}: without {member}"
