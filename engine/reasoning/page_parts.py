"""Pieces that pages of several kinds are put together from."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from engine.reasoning.page_conditions import Leaf
from engine.reasoning.page_index import PageIndex
from engine.reasoning.page_model import Link, PageEntry, PageRef, PageSection
from engine.rulebase.rules import Rule

NONE = "none"
_LONG = 12


def section(heading: str, entries: Iterable[PageEntry], otherwise: str = NONE) -> PageSection:
    """A section; where there is nothing to list, it says so."""
    return PageSection(heading=heading, entries=tuple(entries) or (PageEntry(text=otherwise),))


def paragraph(text: str) -> PageEntry:
    """A line of its own, with a capital and a full stop."""
    said = text[:1].upper() + text[1:]
    return PageEntry(text=said if said.endswith((".", "?")) else f"{said}.")


def listed(label: str, text: str, to: str, *links: Link) -> PageEntry:
    """A line whose label is the id of a page."""
    return PageEntry(label=label, text=text, links=(Link(text=label, to=to), *links))


def of_page(ref: PageRef, text: str | None = None) -> PageEntry:
    """A line that names a page, with its title unless something else is said."""
    return listed(ref.id, ref.title if text is None else text, ref.id)


def of_rule(rule: Rule, says: str = "", links: Sequence[Link] = ()) -> PageEntry:
    """A line that names a rule, how strongly it speaks, its title, and what is said of it here."""
    more = f": {says}" if says else ""
    return listed(rule.id, f"{rule.title} [{rule.word}]{more}", rule.id, *links)


def ids_of(rules: Iterable[Rule]) -> tuple[str, tuple[Link, ...]]:
    """The ids of rules in a line, with their links."""
    found = [rule.id for rule in rules]
    return ", ".join(found), tuple(Link(text=each, to=each) for each in found)


def by_what_is_asked(asking: Iterable[tuple[Rule, Sequence[Leaf]]]) -> Iterator[PageEntry]:
    """Rules in groups by what they ask of one thing, so that thresholds and values can be seen at a glance.

    A long group gives the ids only.
    """
    groups: dict[str, list[Rule]] = {}
    for rule, found in asking:
        for phrase in dict.fromkeys(leaf.phrase for leaf in found):
            groups.setdefault(phrase, []).append(rule)
    for phrase, rules in groups.items():
        yield PageEntry(text=f"where it {phrase}:")
        if len(rules) > _LONG:
            named, links = ids_of(rules)
            yield PageEntry(text=f"{len(rules)} rules: {named}", depth=1, links=links)
        else:
            yield from (of_rule(rule).model_copy(update={"depth": 1}) for rule in rules)


def see_also(index: PageIndex, id_: str, *more: str) -> tuple[PageRef, ...]:
    """The words of the trade that name a page, pages of the same short name, and more."""
    found = (*more, *index.terms_about.get(id_, ()), *index.namesakes(id_))
    return index.refs_to(each for each in found if each != id_)
