"""The page of a source: what it is, how far it was seen, and what in the rules rests on it."""

from __future__ import annotations

from collections.abc import Iterator

from engine.reasoning.page_index import PageIndex
from engine.reasoning.page_model import ExplainedPage, Link, PageEntry
from engine.reasoning.page_names import term_id
from engine.reasoning.page_parts import listed, of_rule, paragraph, section, see_also
from engine.reasoning.page_tables import rows_from
from engine.rulebase.model import Source
from engine.rulebase.rules import Rule


def source_page(index: PageIndex, source: Source) -> ExplainedPage:
    """A source, the rules and figures that rest on it, who follows it and who sets it aside."""
    base = index.base
    followed = [rule for rule in base.rules if rule.raw.follows == source.id]
    figures = list(rows_from(base, source.id))
    aside: list[PageEntry] = [
        of_rule(rule, _instead(index, rule)) for rule in base.rules if source.id in rule.raw.against
    ]
    aside += [listed(page, row.set_aside, page) for page, row in figures if row.set_aside]
    return ExplainedPage(
        kind="source",
        id=source.id,
        title=index.refs[source.id].title,
        place=f"a source; {source.kind.replace('_', ' ')}",
        sections=(
            section("What it is", _what(index, source)),
            section("How far it was seen", _seen(index, source)),
            section("Whether it still stands", _stands(index, source)),
            section("Rules that cite it, and for what", _cited(base.rules, source)),
            section("Figures taken from it", (listed(page, row.says, page) for page, row in figures)),
            section("Who follows it where sources disagree", (of_rule(rule) for rule in followed), "nobody on record"),
            section("Who sets it aside", aside, "nobody on record"),
        ),
        see_also=see_also(index, source.id, *_terms_resting(index, source)),
    )


def _terms_resting(index: PageIndex, source: Source) -> Iterator[str]:
    if source.kind != "common_practice":
        yield from (term_id(term.id) for term in index.glossary.terms.values() if term.source == source.id)


def _what(index: PageIndex, source: Source) -> Iterator[PageEntry]:
    yield paragraph(source.title)
    for label, text in (("edition", source.edition), ("publisher", source.publisher)):
        if text:
            yield PageEntry(label=label, text=text)
    meaning = index.glossary.meaning("source_kind", source.kind)
    yield PageEntry(label="kind", text=f"{source.kind.replace('_', ' ')}: {meaning}")


def _seen(index: PageIndex, source: Source) -> Iterator[PageEntry]:
    yield paragraph(index.glossary.meaning("seen", source.seen) or source.seen)
    if source.note:
        yield paragraph(source.note)
    if source.checked_on:
        yield PageEntry(label="checked on", text=source.checked_on.isoformat())


def _stands(index: PageIndex, source: Source) -> Iterator[PageEntry]:
    later = source.superseded_by
    if later:
        title = index.refs[later].title if later in index.refs else ""
        links = (Link(text=later, to=later),) if later in index.refs else ()
        yield PageEntry(label="superseded by", text=f"{later}: {title}".removesuffix(": "), links=links)
    if source.withdrawn:
        yield paragraph("It has been withdrawn")
    for other in index.base.sources.values():
        if other.superseded_by == source.id:
            yield PageEntry(
                label="supersedes", text=f"{other.id}: {index.refs[other.id].title}", links=(_link(other.id),)
            )
    if not (later or source.withdrawn):
        yield paragraph("Nothing is on record that replaces it or takes it back")


def _link(id_: str) -> Link:
    return Link(text=id_, to=id_)


def _cited(rules: tuple[Rule, ...], source: Source) -> Iterator[PageEntry]:
    for rule in rules:
        for cite in rule.cites:
            if cite.source == source.id:
                clause = f"{cite.clause}: " if cite.clause else ""
                yield listed(rule.id, f"{rule.title}. It says: {clause}{cite.says.rstrip('.')}.", rule.id)


def _instead(index: PageIndex, rule: Rule) -> str:
    return f"follows {index.base.sources[rule.raw.follows].short} instead" if rule.raw.follows else ""
