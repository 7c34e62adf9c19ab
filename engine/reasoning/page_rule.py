"""The page of a rule, under the same headings for every rule."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from engine.reasoning.page_conditions import conclusions, condition_entries
from engine.reasoning.page_glossary import Scale
from engine.reasoning.page_index import PageIndex
from engine.reasoning.page_model import ExplainedPage, Link, PageEntry
from engine.reasoning.page_names import page_of_variable, stage_id
from engine.reasoning.page_parts import ids_of, listed, paragraph, section, see_also
from engine.rulebase.model import Cite
from engine.rulebase.rules import Rule


def rule_page(index: PageIndex, rule: Rule) -> ExplainedPage:
    """What a rule decides, when, why, and how far to trust it."""
    raw = rule.raw
    return ExplainedPage(
        kind="rule",
        id=rule.id,
        title=rule.title,
        place=f"stage {rule.stage}; {rule.where}",
        sections=(
            section("What it decides", _decides(index, rule)),
            section("When", _when(index, rule)),
            section("Why", [paragraph(raw.because)]),
            section("How far to trust it", _trust(index, rule)),
            section("Known limits", [paragraph(raw.limits)] if raw.limits else [], "none written down"),
            section(
                "Example facts that make it hold",
                (_example(index, name, value) for name, value in raw.examples.holds.items()),
            ),
            section("Nearest facts that do not", _nearest(index, rule)),
            section("Sources", (_source(index, rule, cite) for cite in raw.cites)),
            section("Who disagrees", _disagree(index, rule), "nobody on record"),
        ),
        see_also=see_also(index, rule.id, stage_id(rule.stage), *index.terms_in(rule.title)),
    )


def what_it_is(index: PageIndex, name: str) -> str:
    """What a variable that a rule reads is: the question of a fact, or where a decision or a set comes from."""
    scope, _, key = name.partition(".")
    title = index.refs[page_of_variable(name)].title
    if scope == "decided":
        return f"decided in stage {index.base.choices[key].stage}: {title}"
    if scope == "found":
        return f"gathered up to stage {index.base.sets[key].closes}: {title}"
    return title


def why_word(rule: Rule) -> str:
    """Why a rule says must, should or consider: what of its grade makes it so."""
    raw = rule.raw
    weak = [
        said
        for holds, said in (
            (raw.strength == "conditional", "it is conditional"),
            (raw.certainty == "low", "its certainty is low"),
            (raw.basis == "judgement", "it is our own judgement"),
        )
        if holds
    ]
    if weak:
        return "since " + " and ".join(weak)
    if raw.basis == "standard":
        return "since it rests on law or a standard and is strong"
    return "since it is strong, and rests on something less than law or a standard"


def _decides(index: PageIndex, rule: Rule) -> Iterator[PageEntry]:
    for kind, page in conclusions(rule):
        yield PageEntry(label=kind, text=f"{page}: {index.refs[page].title}", links=(Link(text=page, to=page),))
    for choice, option in rule.supports:
        against = [each for each in index.base.rules if (choice, option) in each.rules_out]
        if against:
            named, links = ids_of(against)
            page = f"{choice}={option}"
            said = f"{page} falls where one of these holds, since ruling out beats support: {named}"
            yield PageEntry(label="unless", text=said, links=(Link(text=page, to=page), *links))


def _when(index: PageIndex, rule: Rule) -> Iterator[PageEntry]:
    yield from condition_entries(rule.when)
    for name in dict.fromkeys(test.variable.name for test in rule.tests):
        page = page_of_variable(name)
        yield listed(name, what_it_is(index, name), page)


def _trust(index: PageIndex, rule: Rule) -> Iterator[PageEntry]:
    raw, meaning = rule.raw, index.glossary.meaning
    yield PageEntry(label="wording", text=f"{rule.word}, {why_word(rule)}")
    grades: tuple[tuple[Scale, str], ...] = (
        ("basis", raw.basis),
        ("strength", raw.strength),
        ("certainty", raw.certainty),
    )
    for scale, value in grades:
        yield PageEntry(label=scale, text=f"{value.replace('_', ' ')}: {meaning(scale, value)}")


def _example(index: PageIndex, name: str, value: Any) -> PageEntry:
    return listed(name, plain(value), page_of_variable(name))


def _nearest(index: PageIndex, rule: Rule) -> Iterator[PageEntry]:
    holds = rule.examples.holds
    for changes in rule.examples.fails:
        for name, value in changes.items():
            instead = f" (instead of {plain(holds[name])})" if name in holds else " (besides those above)"
            yield listed(name, plain(value) + instead, page_of_variable(name))


def plain(value: Any) -> str:
    """A value of an example as a survey would write it."""
    if isinstance(value, list):
        return ", ".join(map(str, value))
    return ("yes" if value else "no") if isinstance(value, bool) else str(value)


def _stance(rule: Rule, cite: Cite) -> str:
    return "Followed. " if cite.source == rule.raw.follows else "Set aside. " if cite.source in rule.raw.against else ""


def _source(index: PageIndex, rule: Rule, cite: Cite) -> PageEntry:
    source = index.base.sources[cite.source]
    label = f"{source.short}, {cite.clause}" if cite.clause else source.short
    text = f"{_stance(rule, cite)}{cite.says[:1].upper()}{cite.says[1:].rstrip('.')}."
    about = [] if source.title == source.short else [source.title.removeprefix(f"{source.short}: ")]
    about += [source.edition] if source.edition else []
    about += [] if source.seen == "none" else [index.glossary.meaning("seen", source.seen)]
    about += [f"superseded by {source.superseded_by}"] if source.superseded_by else []
    about += ["withdrawn"] if source.withdrawn else []
    links = [Link(text=source.short, to=source.id)]
    if source.superseded_by in index.base.sources:
        links.append(Link(text=source.superseded_by, to=source.superseded_by))
    return PageEntry(label=label, text=f"{text} [{'; '.join(about)}]" if about else text, links=tuple(links))


def _disagree(index: PageIndex, rule: Rule) -> Iterator[PageEntry]:
    for cite in rule.cites:
        if cite.source in rule.raw.against and rule.raw.follows:
            other = index.base.sources[cite.source].short
            followed = index.base.sources[rule.raw.follows].short
            says = f"{cite.says[:1].upper()}{cite.says[1:].rstrip('.')}. The rule follows: {followed}."
            yield PageEntry(
                label=other,
                text=says,
                links=(Link(text=other, to=cite.source), Link(text=followed, to=rule.raw.follows)),
            )
