"""Versions in force never change: the digest of each is recorded in `digests.yaml` beside them, and compared."""

from __future__ import annotations

import datetime as dt
import pathlib

from engine.audit.findings import Finding, Looked, Spot
from engine.audit.form_loading import as_findings
from engine.audit.form_places import finding, looked_at, near
from engine.errors import BadInput, BadRules, Problem
from engine.facts.document import Place
from engine.rulebase.load import VersionRead, read_manifests, read_version, rules_folder
from engine.rulebase.sealed import FILE, SHOWN, recorded

_CHECKS = {
    "digest-not-recorded": "the digest of a version in force is recorded",
    "digest-differs": "a version is what it was when its digest was recorded",
    "digest-without-version": "every version that is recorded is there",
}


def digest_findings(
    read: VersionRead, on: dt.date, folder: pathlib.Path | None = None
) -> tuple[list[Finding], list[Looked]]:
    """Whether a version is still what was recorded of it; one that is not in force on `on` need not be recorded."""
    try:
        sealed = recorded(folder)
    except BadRules as error:
        return as_findings(error.problems), []
    found = []
    if read.base is not None:
        row = sealed.get(read.version)
        in_force = read.base.manifest.in_force(on)
        if row is None and in_force:
            says = f"{read.version} is in force since {read.base.manifest.in_force_from} and its digest is not recorded"
            at = Spot(file=SHOWN, line=0, column=0)
            hint = f"bedjoint rules seal {read.version}"
            found.append(finding("digest-not-recorded", "error", read.version, says, at, hint=hint))
        elif row is not None and row.sealed.digest != read.base.digest:
            says = (
                f"{read.version} is not what it was when it was recorded on {row.sealed.recorded_on}: its digest was "
                f"{row.sealed.digest[:12]} and is {read.base.digest[:12]}"
            )
            hint = (
                "put its files back as they were; what is to change belongs in a new version"
                if in_force
                else f"it is not yet in force: to change it all the same, take its row out of {SHOWN}"
            )
            found.append(finding("digest-differs", "error", read.version, says, _spot(row.at), hint=hint))
    present = [path.parent.name for path in (folder or rules_folder()).glob("*/manifest.yaml")]
    for version, row in sealed.items():
        if version not in present:
            says = f"The digest of {version} is recorded and there is no such version"
            hint = near(version, present) or "a version that was in force stays"
            found.append(finding("digest-without-version", "error", version, says, _spot(row.at), hint=hint))
    return found, looked_at(_CHECKS, max(len(sealed), 1))


def _spot(place: Place) -> Spot:
    return Spot(file=place.file, line=place.line, column=place.column)


def sealed_text(version: str, on: dt.date, folder: pathlib.Path | None = None) -> str:
    """The text of `digests.yaml` with the digest of a version added.

    Raises:
        BadInput: no such version, one that is recorded already, that is not yet in force, or that does not load.
    """
    manifests, _ = read_manifests(folder)
    if version not in manifests:
        allowed, hint = ", ".join(manifests), near(version, manifests)
        raise BadInput([Problem("", 0, 0, "VERSION", "no such version of the rules", version, allowed, hint)])
    row = recorded(folder).get(version)
    if row is not None:
        message = f"was recorded on {row.sealed.recorded_on}, and what is recorded is never recorded again"
        raise BadInput([Problem(row.at.file, row.at.line, row.at.column, "VERSION", message, version)])
    read = read_version(version, folder)
    if read.base is None:
        raise BadRules(read.problems)
    if not read.base.manifest.in_force(on):
        message = "is not yet in force, and what is recorded can never change"
        raise BadInput(
            [Problem("", 0, 0, "VERSION", message, version, hint="record it on the day it comes into force")]
        )
    path = (folder or rules_folder()) / FILE
    before = path.read_text(encoding="utf-8") if path.exists() else ""
    line_end = "" if not before or before.endswith("\n") else "\n"
    return (
        f"{before}{line_end}- version: '{version}'\n  digest: {read.base.digest}\n  recorded_on: '{on.isoformat()}'\n"
    )
