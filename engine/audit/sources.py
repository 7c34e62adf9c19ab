"""The sources of a version: that they are in force, were looked at not too long ago, and bear what rests on them."""

from __future__ import annotations

import datetime as dt
import pathlib
import re
from collections.abc import Callable, Iterator

from engine.audit.findings import Finding, Level, Looked
from engine.audit.form_loading import as_findings
from engine.audit.form_places import Places, finding, looked_at, near
from engine.audit.form_settings import FILE, NO_SETTINGS, Settings, read_settings
from engine.audit.sources_cited import Citing, citing_in
from engine.audit.sources_sides import opposite_sides
from engine.audit.sources_weak import weak_basis
from engine.audit.words import listed
from engine.errors import BadRules
from engine.rulebase.load import VersionRead
from engine.rulebase.model import Source

_AN_ID = re.compile(r"[a-z][a-z0-9_]*")
At = Callable[..., Finding]

_SOURCES = {
    "source-not-cited": "every source is cited by a rule",
    "source-withdrawn": "no source is withdrawn",
    "superseded-by": "what supersedes a source is a source of the file",
    "source-superseded": "no source is superseded where what cites it leaves out the later one",
    "source-without-edition": "every law and standard has its edition",
    "source-not-checked": "of every source that was seen there is a day on which it was confirmed",
    "source-checked-later": "no source was confirmed later than the day of the check",
    "source-stale": "no source was last confirmed too long ago",
}
_MUSTS = {
    "must-on-weak-basis": "every must rests on a law or standard in force that was seen, or says why it may stand",
    "weak-basis-reason-idle": "no rule says why it may rest on a weak basis and rests on a firm one",
}
_SIDES = {"opposite-sides": "no two rules follow opposite sides where sources disagree"}


def source_findings(
    read: VersionRead, on: dt.date, folder: pathlib.Path | None = None
) -> tuple[list[Finding], list[Looked]]:
    """What is wrong with the sources on a day, and with what rests on them. `folder` holds the versions."""
    places = Places(read)
    found: list[Finding] = []
    try:
        settings = read_settings(folder)
    except BadRules as error:
        # `form_findings` reports the same.
        found, settings = as_findings(error.problems), NO_SETTINGS
    citing = citing_in(read)
    for source in read.sources.values():
        found += _of_source(source, citing[source.id], read, places, on, settings)
    found += weak_basis(read, places)
    found += opposite_sides(read, places)
    return found, [
        *looked_at(_SOURCES, len(read.sources), "sources"),
        *looked_at(_MUSTS, sum(rule.word == "must" for rule in read.rules), "sources"),
        *looked_at(_SIDES, sum(bool(rule.raw.against) for rule in read.rules), "sources"),
    ]


def _of_source(
    source: Source, citing: Citing, read: VersionRead, places: Places, on: dt.date, settings: Settings
) -> Iterator[Finding]:
    def at(check: str, level: Level, says: str, field: str = "id", allowed: str = "", hint: str = "") -> Finding:
        spot = places.row("sources.yaml", source.id, field)
        return finding(
            check, level, source.id, says, spot, group="sources", rules=citing.rules, allowed=allowed, hint=hint
        )

    if read.base is not None and not citing.rules:
        yield at("source-not-cited", "warning", f"No rule cites {source.short}", hint="cite it, or take it out")
    yield from _of_its_successor(source, citing, read, at)
    if source.withdrawn:
        if resting := (*citing.as_basis, *citing.tables):
            says = f"{source.short} is withdrawn, and is the basis of {listed(resting)}"
            yield at("source-withdrawn", "error", says, "withdrawn", hint="rest them on what replaced it")
        elif citing.rules:
            says = f"{source.short} is withdrawn, and is cited by {listed(citing.rules)}"
            yield at("source-withdrawn", "warning", says, "withdrawn")
    if source.kind in ("law", "standard") and source.edition is None:
        says = (
            f"{source.short} is a {source.kind} and its edition is not given, so nobody can tell whether it is in force"
        )
        yield at("source-without-edition", "warning", says, hint="add its edition")
    yield from _of_its_day(source, on, settings, at)


def _of_its_successor(source: Source, citing: Citing, read: VersionRead, at: At) -> Iterator[Finding]:
    later = source.superseded_by
    if later is None:
        return
    successor = read.sources.get(later)
    if later == source.id:
        yield at("superseded-by", "error", f"{source.short} is said to be superseded by itself", "superseded_by")
        return
    if successor is None and _AN_ID.fullmatch(later):
        says = f"{source.short} is superseded by {later}, which is no source of the file"
        yield at("superseded-by", "error", says, "superseded_by", hint=near(later, read.sources))
    if not citing.followed and not citing.tables:
        return
    alone = (*(each for each in citing.followed if later not in citing.beside[each]), *citing.tables)
    name = successor.short if successor else later
    if alone:
        cite = "cites" if len(alone) == 1 else "cite"
        says = f"{source.short} is superseded by {name}, and {listed(alone)} {cite} only the earlier"
        yield at("source-superseded", "warning", says, "superseded_by", hint="see what the later one says")
    else:
        says = f"{source.short} is superseded by {name}; what cites it cites both"
        yield at("source-superseded", "note", says, "superseded_by")


def _of_its_day(source: Source, on: dt.date, settings: Settings, at: At) -> Iterator[Finding]:
    checked = source.checked_on
    if checked is None:
        if source.seen == "seen":
            says = f"The text of {source.short} was seen, and no day is given on which title and edition were confirmed"
            yield at("source-not-checked", "note", says, "seen", hint="confirm them and add checked_on")
        return
    if checked > on:
        says = f"{source.short} was confirmed on {checked}, which is after {on}"
        yield at("source-checked-later", "note", says, "checked_on")
        return
    limit = settings.stale_after.get(source.kind)
    if limit is not None and (days := (on - checked).days) > limit.days:
        says = f"{source.short} was last confirmed {days} days before {on}: {limit.because}"
        allowed = f"{limit.days} days for a source of kind {source.kind}, as rules/{FILE} says"
        yield at("source-stale", "warning", says, "checked_on", allowed, "look whether it is still the one in force")
