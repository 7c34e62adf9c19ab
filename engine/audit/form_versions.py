"""Versions beside one another: their names, their numbers, and the days from which they are in force."""

from __future__ import annotations

import itertools
import pathlib
from collections.abc import Iterator

from engine.audit.findings import Finding, Spot
from engine.audit.form_loading import as_findings
from engine.audit.form_places import finding
from engine.rulebase.load import read_manifests
from engine.rulebase.model import Manifest


def version_findings(folder: pathlib.Path | None = None) -> list[Finding]:
    """What is wrong with the manifests of all versions; the subject is the folder of the version at fault."""
    manifests, problems = read_manifests(folder)
    found = as_findings(problems)
    for name, manifest in manifests.items():
        if not manifest.changes:
            says = f"The manifest of {name} does not say what changed and why"
            hint = "write it under changes, a row for each change"
            found.append(finding("version-without-changes", "error", name, says, _spot(name), hint=hint))
        if manifest.version != name:
            says = f"The folder {name} holds the manifest of version {manifest.version}"
            hint = "give the folder the name of the version, or the manifest the name of the folder"
            found.append(finding("version-misnamed", "error", name, says, _spot(name), allowed=name, hint=hint))
    order = sorted(manifests, key=lambda name: (manifests[name].in_force_from, _number(manifests[name])))
    for before, name in itertools.pairwise(order):
        found += _after(before, manifests[before], name, manifests[name])
    return found


def _spot(name: str) -> Spot:
    return Spot(file=f"rules/{name}/manifest.yaml", line=0, column=0)


def _number(manifest: Manifest) -> tuple[int, int]:
    year, _, number = manifest.version.partition(".")
    return int(year), int(number)


def _after(before: str, first: Manifest, name: str, second: Manifest) -> Iterator[Finding]:
    if first.in_force_from == second.in_force_from:
        says = f"{before} and {name} are in force from the same day, {first.in_force_from}: one of them can never judge"
        hint = "let each version come into force on a day of its own"
        yield finding("version-same-day", "error", name, says, _spot(name), hint=hint)
    if _number(first) >= _number(second):
        says = f"{second.version} comes into force after {first.version} and has no higher number"
        hint = "number versions in the order in which they come into force"
        yield finding("version-order", "error", name, says, _spot(name), hint=hint)
