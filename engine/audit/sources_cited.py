"""Who cites a source, and in what part: as what is followed, as the basis, or as what is set aside."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

from engine.rulebase.check import BEARS
from engine.rulebase.load import VersionRead
from engine.rulebase.model import Source
from engine.rulebase.rules import Rule
from engine.rulebase.tables import Tables, rows_in


@dataclass(slots=True)
class Citing:
    """The rules that cite a source: all, those that do not set it aside, those whose basis it bears.

    `beside` are the sources that each of them cites; `tables` those in which a row that is followed names it.
    """

    rules: tuple[str, ...] = ()
    followed: tuple[str, ...] = ()
    as_basis: tuple[str, ...] = ()
    beside: dict[str, frozenset[str]] = field(default_factory=dict)
    tables: tuple[str, ...] = ()


def citing_in(read: VersionRead) -> Mapping[str, Citing]:
    """For every source of a version, who cites it."""
    found = {name: Citing() for name in read.sources}
    for rule in read.rules:
        cited = frozenset(cite.source for cite in rule.cites)
        bearing = {source.id for source in bearing_sources(rule, read.sources)}
        for name in cited & set(found):
            each = found[name]
            each.rules += (rule.id,)
            each.beside[rule.id] = cited
            if name not in rule.raw.against:
                each.followed += (rule.id,)
            if name in bearing:
                each.as_basis += (rule.id,)
    for table in Tables.__dataclass_fields__ if read.tables else ():
        for name in {row.source for _, row in rows_in(getattr(read.tables, table)) if row.set_aside is None}:
            if name in found:
                found[name].tables += (f"tables/{table}.yaml",)
    return found


def bearing_sources(rule: Rule, sources: Mapping[str, Source]) -> Iterator[Source]:
    """The cited sources of a kind that can bear the basis the rule claims, those set aside left out."""
    kinds = BEARS.get(rule.raw.basis, frozenset())
    for name in dict.fromkeys(cite.source for cite in rule.cites):
        if name not in rule.raw.against and name in sources and sources[name].kind in kinds:
            yield sources[name]
