"""What differs between two versions of the rules, in words: rules, choices, sets, sources and figures."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from pydantic import BaseModel

from engine.audit.compare_bases import Versions, logic_of_condition
from engine.audit.compare_causes import change_of
from engine.audit.compare_model import Aspect, ItemDiffers, Reworded, RuleDiffers, RuleSide
from engine.audit.compare_space import Shared
from engine.proof.logic import negated, same, within
from engine.reasoning.page_conditions import conclusions_in_words, condition_entries
from engine.reasoning.page_glossary import load_glossary
from engine.reasoning.page_index import PageIndex
from engine.reasoning.page_model import ExplainedPage
from engine.reasoning.page_names import figure_id
from engine.reasoning.page_rule import plain
from engine.reasoning.page_tables import figure_page, figure_title, tables_of
from engine.rulebase.model import STAGES, Choice, Member, Source
from engine.rulebase.rules import Rule, RuleBase

_INDENT = "  "


def rules_that_differ(shared: Shared) -> tuple[RuleDiffers, ...]:
    """Every rule that is not the same in both, in order of stage and id.

    Raises:
        RuntimeError: the solver gave up.
    """
    a, b = shared.versions.a, shared.versions.b
    found = []
    for rule in {**a.by_id, **b.by_id}.values():
        one, other = a.by_id.get(rule.id), b.by_id.get(rule.id)
        aspects = _aspects(one, other) if one and other else ()
        if one and other and not aspects:
            continue
        found.append(
            RuleDiffers(
                id=rule.id,
                change=change_of(one is not None, other is not None),
                differs=aspects,
                a=_side(one, a) if one else None,
                b=_side(other, b) if other else None,
                words=tuple(_words(one, other)) if one and other else (),
                holds_alike=_holds_alike(shared, rule.id) if "condition" in aspects else None,
            )
        )
    return tuple(sorted(found, key=lambda each: (_stage(each), each.id)))


def _stage(rule: RuleDiffers) -> int:
    side = rule.b or rule.a
    assert side is not None
    return STAGES.index(side.stage)


def _holds_alike(shared: Shared, rule: str) -> bool:
    with within(shared.walls[0].context):
        return not shared.possible(negated(same(shared.a.acts[rule], shared.b.acts[rule])))


def _aspects(one: Rule, other: Rule) -> tuple[Aspect, ...]:
    a, b = one.raw, other.raw
    apart: dict[Aspect, bool] = {
        "stage": one.stage != other.stage,
        "condition": logic_of_condition(one.when) != logic_of_condition(other.when),
        "conclusions": _concludes(one) != _concludes(other),
        "grade": (a.basis, a.strength, a.certainty) != (b.basis, b.strength, b.certainty),
        "sources": (a.cites, a.follows, a.against) != (b.cites, b.follows, b.against),
        "wording": (a.title, a.because, a.limits, a.examples) != (b.title, b.because, b.limits, b.examples),
    }
    return tuple(aspect for aspect, differs in apart.items() if differs)


def _concludes(rule: Rule) -> tuple[frozenset[tuple[str, str]], ...]:
    return frozenset(rule.supports), frozenset(rule.rules_out), frozenset(rule.adds)


def _side(rule: Rule, base: RuleBase) -> RuleSide:
    return RuleSide(
        title=rule.title,
        stage=rule.stage,
        condition=tuple(f"{_INDENT * entry.depth}{entry.text}" for entry in condition_entries(rule.when)),
        concludes=conclusions_in_words(rule)[0],
        word=rule.word,
        basis=rule.raw.basis,
        strength=rule.raw.strength,
        certainty=rule.raw.certainty,
        sources=tuple(_cited(rule, base)),
        where=rule.where,
    )


def _cited(rule: Rule, base: RuleBase) -> Iterator[str]:
    for cite in rule.cites:
        source = base.sources.get(cite.source)
        stance = (
            "followed" if cite.source == rule.raw.follows else "set aside" if cite.source in rule.raw.against else ""
        )
        named = f"{source.short if source else cite.source}{f', {cite.clause}' if cite.clause else ''}"
        yield f"{named}{f' ({stance})' if stance else ''}: {cite.says}"


def _words(one: Rule, other: Rule) -> Iterator[Reworded]:
    """What of the wording is not the same; of the examples only that they are not."""
    a, b = one.raw, other.raw
    for name in ("title", "because", "limits"):
        before, after = getattr(a, name), getattr(b, name)
        if before != after:
            yield Reworded(what=name, a=before, b=after)
    if a.examples != b.examples:
        yield Reworded(what="examples", a=None, b="other facts than before")


def items_that_differ(versions: Versions) -> tuple[ItemDiffers, ...]:
    """Every choice, option, set, member, source and figure that is not the same in both."""
    return (
        *_choices(versions.a, versions.b),
        *_sets(versions.a, versions.b),
        *_sources(versions.a, versions.b),
        *_figures(versions),
    )


def _choices(a: RuleBase, b: RuleBase) -> Iterator[ItemDiffers]:
    for name in dict.fromkeys((*a.choices, *b.choices)):
        one, other = a.choices.get(name), b.choices.get(name)
        title = (other or a.choices[name]).title
        says = tuple(_choice_says(one, other)) if one and other else ()
        if says or not (one and other):
            yield ItemDiffers(
                kind="choice",
                id=name,
                title=title,
                change=change_of(one is not None, other is not None),
                says=says,
                meaning="gone" if other is None else "perhaps" if one and one.title != other.title else "kept",
            )
        sides = [{option.id: option for option in each.options} if each else {} for each in (one, other)]
        for option in dict.fromkeys((*sides[0], *sides[1])) if one and other else ():
            before, after = sides[0].get(option), sides[1].get(option)
            differs = tuple(_fields(before, after, ("open", "says"))) if before and after else ()
            if differs or not (before and after):
                reworded = before is not None and after is not None and before.says != after.says
                yield ItemDiffers(
                    kind="option",
                    id=f"{name}={option}",
                    title=(after or sides[0][option]).says,
                    change=change_of(before is not None, after is not None),
                    says=differs,
                    meaning="gone" if after is None else "perhaps" if reworded else "kept",
                )


def _choice_says(one: Choice, other: Choice) -> Iterator[Reworded]:
    yield from _fields(one, other, ("stage", "title", "order_because"))
    kept = [[option.id for option in each.options] for each in (one, other)]
    common = [[name for name in names if name in kept[0] and name in kept[1]] for names in kept]
    if common[0] != common[1]:
        yield Reworded(what="order of its options", a=", ".join(kept[0]), b=", ".join(kept[1]))


def _sets(a: RuleBase, b: RuleBase) -> Iterator[ItemDiffers]:
    for name in dict.fromkeys((*a.sets, *b.sets)):
        one, other = a.sets.get(name), b.sets.get(name)
        says = tuple(_fields(one, other, ("closes", "title"))) if one and other else ()
        if says or not (one and other):
            yield ItemDiffers(
                kind="set",
                id=name,
                title=(other or a.sets[name]).title,
                change=change_of(one is not None, other is not None),
                says=says,
                meaning="kept" if other else "gone",
            )
        for id_, before, after, differs in _by_id(
            a.members.get(name, {}), b.members.get(name, {}), tuple(Member.model_fields)
        ):
            reworded = before is not None and after is not None and before.says != after.says
            yield ItemDiffers(
                kind="member",
                id=f"{name} {id_}",
                title=(after or before).says,
                change=change_of(before is not None, after is not None),
                says=differs,
                meaning="gone" if after is None else "perhaps" if reworded else "kept",
            )


def _sources(a: RuleBase, b: RuleBase) -> Iterator[ItemDiffers]:
    for id_, before, after, differs in _by_id(a.sources, b.sources, tuple(Source.model_fields)):
        change = change_of(before is not None, after is not None)
        yield ItemDiffers(kind="source", id=id_, title=(after or before).title, change=change, says=differs)


def _by_id(
    one: Mapping[str, Any], other: Mapping[str, Any], fields: Sequence[str]
) -> Iterator[tuple[str, Any, Any, tuple[Reworded, ...]]]:
    """What one side alone has and what is not the same: id, before, after, and the fields that differ."""
    for id_ in dict.fromkeys((*one, *other)):
        before, after = one.get(id_), other.get(id_)
        differs = tuple(_fields(before, after, fields)) if before and after else ()
        if differs or before is None or after is None:
            yield id_, before, after, differs


def _fields(one: BaseModel | None, other: BaseModel | None, names: Sequence[str]) -> Iterator[Reworded]:
    for name in names:
        before, after = getattr(one, name, None), getattr(other, name, None)
        if before != after:
            yield Reworded(what=name.replace("_", " "), a=_shown(before), b=_shown(after))


def _shown(value: Any) -> str | None:
    return None if value is None else plain(value)


def _figures(versions: Versions) -> Iterator[ItemDiffers]:
    sides = [{(table, figure): held for table, figure, held in tables_of(base)} for base in (versions.a, versions.b)]
    indexes: list[PageIndex] = []
    for table, figure in dict.fromkeys((*sides[0], *sides[1])):
        before, after = sides[0].get((table, figure)), sides[1].get((table, figure))
        if before == after:
            continue
        indexes = indexes or [PageIndex(base, load_glossary()) for base in (versions.a, versions.b)]
        lines = [
            _lines(figure_page(index, table, figure)) if held is not None else []
            for index, held in zip(indexes, (before, after), strict=True)
        ]
        yield ItemDiffers(
            kind="figure",
            id=figure_id(table, figure),
            title=figure_title(table, figure),
            change=change_of(before is not None, after is not None),
            says=(
                *(Reworded(what="", a=line, b=None) for line in lines[0] if line not in lines[1]),
                *(Reworded(what="", a=None, b=line) for line in lines[1] if line not in lines[0]),
            ),
        )


def _lines(page: ExplainedPage) -> list[str]:
    """What a page of figures says of those followed and those set aside, without its list of sources."""
    return [
        f"{entry.label}: {entry.text}" if entry.label else entry.text
        for section in page.sections[:2]
        for entry in section.entries
        if entry.text != "none"
    ]
