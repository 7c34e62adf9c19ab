"""Rules that say *must* although nobody saw the law or standard, or it is no longer the one in force."""

from __future__ import annotations

from collections.abc import Iterator

from engine.audit.findings import Finding
from engine.audit.form_places import Places, finding
from engine.audit.sources_cited import bearing_sources
from engine.audit.words import listed
from engine.rulebase.load import VersionRead
from engine.rulebase.model import Source

_SEEN = {
    "secondhand": "was seen only as another page reports it",
    "from_memory": "is recalled and was not seen",
    "none": "was not seen",
}


def weak_basis(read: VersionRead, places: Places) -> Iterator[Finding]:
    """Every *must* that rests on no law or standard that was seen and is in force, unless it says why it may."""
    for rule in read.rules:
        bearing = tuple(bearing_sources(rule, read.sources))
        reason = rule.raw.weak_basis_because
        weak = rule.word == "must" and bool(bearing) and all(_weakness(source) for source in bearing)
        if weak and reason is None:
            of_each = [f"{source.short} {_weakness(source)}" for source in bearing]
            yield finding(
                "must-on-weak-basis",
                "error",
                rule.id,
                f"{rule.id} says must, and {listed(of_each)}",
                places.rule(rule.id, "cites"),
                group="sources",
                rules=(rule.id,),
                hint="see the text and say so, let the rule say less, or write why it may stand: weak_basis_because",
            )
        elif reason is not None and not weak:
            yield finding(
                "weak-basis-reason-idle",
                "warning",
                rule.id,
                f"{rule.id} says why it may rest on a weak basis, and it does not rest on one",
                places.rule(rule.id, "weak_basis_because", key=True),
                group="sources",
                rules=(rule.id,),
                hint="take weak_basis_because out",
            )


def _weakness(source: Source) -> str:
    """What is weak about a source as the basis of a must; "" where nothing is."""
    if source.withdrawn:
        return "is withdrawn"
    if source.superseded_by is not None:
        return "is superseded"
    return _SEEN.get(source.seen, "")
