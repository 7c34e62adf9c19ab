"""Explains one thing, or everything: rules, facts, readings, choices, sets, sources, figures, words of the trade."""

from __future__ import annotations

from engine.decision.assess import LIMITS
from engine.errors import BadInput, Problem
from engine.facts.vocabulary import facts
from engine.readings.vocabulary import READINGS
from engine.reasoning.page_choice import choice_page, member_page, option_page, set_page, stage_page, version_page
from engine.reasoning.page_glossary import load_glossary
from engine.reasoning.page_index import Found, PageIndex
from engine.reasoning.page_model import KINDS, Explained, ExplainedPage, FoundBy, PageRef
from engine.reasoning.page_rule import rule_page
from engine.reasoning.page_source import source_page
from engine.reasoning.page_tables import figure_page, table_page
from engine.reasoning.page_term import term_page
from engine.reasoning.page_variable import fact_page, reading_page
from engine.rulebase.rules import RuleBase


def page_index(base: RuleBase) -> PageIndex:
    """Everything of a version that has a page, with the words of the trade.

    Raises:
        BadInput: the glossary cannot be used.
    """
    return PageIndex(base, load_glossary())


def explained(index: PageIndex, asked: str) -> Explained:
    """Look one thing up: its page, or the pages that fit where there is more than one.

    Raises:
        BadInput: nothing of that name or with these words, with the nearest names.
    """
    found = index.find(asked)
    if found is None:
        near = [index.refs[page].title if index.refs[page].kind == "term" else page for page in index.near(asked)]
        hint = f"did you mean {' or '.join(near)}?" if near else ""
        allowed = (
            "an id, the beginning of one, a word of the trade, or words of a title; `explain --list` shows the ids"
        )
        raise BadInput([Problem("", 0, 0, "TERM", "nothing of this name to explain", asked, allowed, hint)])
    return _answer(index, asked, found)


def everything(index: PageIndex) -> Explained:
    """Every page, by kind."""
    pages = tuple(page_of(index, ref.id) for ref in by_kind(index))
    return _wrapped(index, None, "all", pages, ())


def listing(index: PageIndex) -> Explained:
    """The id and title of every page, by kind."""
    return _wrapped(index, None, "list", (), by_kind(index))


def by_kind(index: PageIndex) -> tuple[PageRef, ...]:
    """Every page's id and title, by kind, and within a kind in the order of the rule base."""
    return tuple(sorted(index.refs.values(), key=lambda ref: KINDS.index(ref.kind)))


def page_of(index: PageIndex, id_: str) -> ExplainedPage:
    """The page of an id, written as the index has it.

    Raises:
        KeyError: no page has this id.
    """
    kind, base = index.refs[id_].kind, index.base
    _, _, tail = id_.partition(".")
    group, _, member = id_.partition("=")
    match kind:
        case "term":
            return term_page(index, index.glossary.terms[tail])
        case "rule":
            return rule_page(index, base.by_id[id_])
        case "stage":
            return stage_page(index, tail)
        case "choice":
            return choice_page(index, base.choices[id_])
        case "option":
            choice = base.choices[group]
            return option_page(index, choice, next(option for option in choice.options if option.id == member))
        case "set":
            return set_page(index, base.sets[id_])
        case "member":
            return member_page(index, base.sets[group], base.members[group][member])
        case "fact":
            return fact_page(index, facts()[id_])
        case "reading":
            return reading_page(index, READINGS[id_])
        case "source":
            return source_page(index, base.sources[id_])
        case "table":
            return table_page(index, tail)
        case "figure":
            table, _, figure = tail.partition(".")
            return figure_page(index, table, figure)
        case "version":
            return version_page(index)


def _answer(index: PageIndex, asked: str, found: Found) -> Explained:
    pages = (page_of(index, found.page.id),) if found.page else ()
    return _wrapped(index, asked, found.by, pages, found.matches)


def _wrapped(
    index: PageIndex, asked: str | None, by: FoundBy, pages: tuple[ExplainedPage, ...], matches: tuple[PageRef, ...]
) -> Explained:
    base = index.base
    return Explained(
        rules=base.manifest.version,
        in_force_from=base.manifest.in_force_from,
        digest=base.digest,
        limits=LIMITS,
        asked=asked,
        found_by=by,
        pages=pages,
        matches=matches,
    )
