"""One version of the rule base checked from every side: its form, its sources, its tests, and what is proved of it."""

from __future__ import annotations

import datetime as dt
import os
import pathlib
from collections.abc import Callable, Collection, Iterable
from dataclasses import dataclass, field

from engine.audit.accepted import with_accepted
from engine.audit.cases import Case
from engine.audit.coverage import coverage
from engine.audit.digests import digest_findings
from engine.audit.fates import bench_of
from engine.audit.findings import Checked, Finding, Looked
from engine.audit.form import form_findings
from engine.audit.form_loading import as_findings
from engine.audit.mutation import mutation, mutation_findings
from engine.audit.mutation_model import MutationReport
from engine.audit.proof import proof_findings, proof_steps
from engine.audit.properties import properties_of
from engine.audit.sources import source_findings
from engine.audit.vectors import NO_VECTORS, Vectors, read_vectors
from engine.errors import BadRules
from engine.rulebase.load import read_version
from engine.rulebase.rules import RuleBase

PARTS = ("coverage", "mutants", "proof")
"""What may be left out; form and sources are always looked at."""

Progress = Callable[[str, int, int], None]
"""Told what is being looked at, and how much of how much of it is done."""

_PROCESSES = min(4, os.cpu_count() or 1)
_ORDER = {"error": 0, "warning": 1, "note": 2}
Found = tuple[list[Finding], list[Looked]]


@dataclass(frozen=True, slots=True)
class Wanted:
    """What to check. `parts` are of `PARTS`; `mutants` is how many are tried, all of them where `None`.

    `on` is the day on which sources are stale or not; `vectors` the folder of decision vectors; `folder` that of the
    versions, else the rules that come with the program.
    """

    on: dt.date
    parts: Collection[str] = PARTS
    vectors: pathlib.Path | None = None
    mutants: int | None = 200
    seed: int = 0
    folder: pathlib.Path | None = None
    progress: Progress = field(default=lambda what, done, total: None)


def check(version: str, wanted: Wanted) -> Checked:
    """Every finding of one version, those let stand with their reason.

    What keeps a version from being read is a finding too; then it cannot be tested or proved.

    Raises:
        BadInput: the vectors cannot be read.
    """
    read = read_version(version, wanted.folder)
    base, findings, looked = form_findings(version, wanted.folder, read=read)
    parts = [digest_findings(read, wanted.on, wanted.folder), source_findings(read, wanted.on, wanted.folder)]
    report: MutationReport | None = None
    met: list[Case] = []
    unjudged = any(each.check == "example-value" for each in findings)
    if base is not None:
        if not unjudged:
            vectors = read_vectors(wanted.vectors, base) if wanted.vectors else NO_VECTORS
            tests, report = _tests(base, vectors, wanted)
            parts.append(tests)
            if "proof" in wanted.parts:
                met = bench_of(base, vectors).cases
        parts.append(_proofs(base, wanted, met))
    for found, made in parts:
        findings = [*findings, *found]
        looked = [*looked, *made]
    try:
        findings = with_accepted(
            findings,
            version,
            frozenset(each.check for each in looked),
            wanted.folder,
            every_check_made=base is not None and set(PARTS) <= set(wanted.parts),
        )
    except BadRules as error:
        findings += as_findings(error.problems)
    return Checked(
        rules=version,
        in_force_from=read.manifest.in_force_from if read.manifest else None,
        digest=base.digest if base else None,
        checks=tuple(looked),
        findings=tuple(sorted(dict.fromkeys(findings), key=lambda each: _ORDER[each.level])),
        mutation=report,
    )


def _tests(base: RuleBase, vectors: Vectors, wanted: Wanted) -> tuple[Found, MutationReport | None]:
    """Coverage and changed rules; both judge examples, so these must be values that their variables take."""
    if not {"coverage", "mutants"} & set(wanted.parts):
        return ([], []), None
    findings: list[Finding] = []
    looked: list[Looked] = []
    report: MutationReport | None = None
    if "coverage" in wanted.parts:
        found, made = coverage(base, vectors)
        findings += found
        looked += made
    if "mutants" in wanted.parts:
        what = f"{base.manifest.version}: changed rules"
        report = mutation(
            base,
            vectors,
            wanted.mutants,
            wanted.seed,
            lambda done, total: wanted.progress(what, done, total),
            processes=_PROCESSES if wanted.mutants is None else 1,
        )
        found, made = mutation_findings(report)
        findings += found
        looked += made
    return (findings, looked), report


def _proofs(base: RuleBase, wanted: Wanted, met: Iterable[Case]) -> Found:
    if "proof" not in wanted.parts:
        return [], []
    try:
        properties = properties_of(base, wanted.folder)
    except BadRules as error:
        return as_findings(error.problems), []
    steps, done = proof_steps(base, properties), 0

    def told(_: str) -> None:
        nonlocal done
        done += 1
        wanted.progress(f"{base.manifest.version}: proofs", done, steps)

    # Surveys of a version that lies ahead are of today's year, so that they can be judged today.
    return proof_findings(base, properties, min(base.manifest.in_force_from.year, wanted.on.year), told, met)
