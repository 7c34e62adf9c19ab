"""The page of a word of the trade, or of these rules."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from engine.facts.vocabulary import facts
from engine.reasoning.page_glossary import Term
from engine.reasoning.page_index import PageIndex
from engine.reasoning.page_model import ExplainedPage, Link, PageEntry
from engine.reasoning.page_names import term_id
from engine.reasoning.page_parts import of_page, paragraph, section
from engine.rulebase.rules import RuleBase


def term_page(index: PageIndex, term: Term) -> ExplainedPage:
    """What a word means, what else it is called, what to read with it, and what the entry rests on.

    A word that is a scale also has its values.
    """
    id_ = term_id(term.id)
    said = {term.id, term.term, f"{term.term}s", *term.values}
    others = [name for name in term.also if name not in said]
    return ExplainedPage(
        kind="term",
        id=id_,
        title=term.term,
        place="a word of these rules" if term.ours else "a word of the trade",
        sections=(
            section("Meaning", [paragraph(term.meaning)]),
            section("Also called", [PageEntry(text=", ".join(others))] if others else []),
            *([section("Its values", _values(index, term))] if term.values else []),
            section("Where it comes in", (of_page(each) for each in index.refs_to(term.related))),
            section("Source", _source(index, term)),
        ),
        see_also=index.refs_to(
            each for each in (*index.terms_about.get(id_, ()), *index.namesakes(id_)) if each != id_
        ),
    )


def _values(index: PageIndex, term: Term) -> Iterator[PageEntry]:
    counted = _counts(index.base, term.scale)
    for value, meaning in term.values.items():
        count, what = counted.get(value, (0, ""))
        said = f" [{count} {what}]" if what else ""
        yield PageEntry(label=value.replace("_", " "), text=f"{meaning}{said}")


def _counts(base: RuleBase, scale: str | None) -> dict[str, tuple[int, str]]:
    """How many rules, sources or facts bear each value of a scale; empty where that is not counted."""
    match scale:
        case "word":
            return _counted(Counter(rule.word for rule in base.rules), "rules")
        case "basis" | "strength" | "certainty":
            return _counted(Counter(getattr(rule.raw, scale) for rule in base.rules), "rules")
        case "seen":
            return _counted(Counter(source.seen for source in base.sources.values()), "sources")
        case "source_kind":
            return _counted(Counter(source.kind for source in base.sources.values()), "sources")
        case "effort":
            return _counted(Counter(fact.effort for fact in facts().values()), "facts")
    return {}


def _counted(counter: Counter[str], what: str) -> dict[str, tuple[int, str]]:
    return {value: (count, what if count != 1 else what.removesuffix("s")) for value, count in counter.items()}


def _source(index: PageIndex, term: Term) -> Iterator[PageEntry]:
    if term.ours:
        yield PageEntry(text="none: this is how these rules use the word")
        return
    source = index.base.sources.get(term.source or "")
    if source is None:
        yield PageEntry(text=f"{term.source}, which this version of the rules does not hold")
    elif source.seen == "none":
        yield PageEntry(text=source.title, links=(Link(text=source.title, to=source.id),))
    else:
        seen = index.glossary.meaning("seen", source.seen)
        text = source.title if not seen else f"{source.title} [{seen}]"
        yield PageEntry(label=source.short, text=text, links=(Link(text=source.short, to=source.id),))
