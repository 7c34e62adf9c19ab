"""The pages of facts and readings: what is asked, and what in the rules hangs on it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, get_args

from pydantic import BaseModel

from engine.facts.declare import Only
from engine.facts.survey import Survey, Wall
from engine.facts.vocabulary import Variable, facts
from engine.readings.vocabulary import CAN_DO_WITHOUT, MAY_CHANGE, READINGS
from engine.reasoning.page_conditions import conclusions_in_words
from engine.reasoning.page_glossary import Scale
from engine.reasoning.page_index import PageIndex
from engine.reasoning.page_model import ExplainedPage, Link, PageEntry
from engine.reasoning.page_parts import by_what_is_asked, ids_of, listed, of_page, of_rule, paragraph, section, see_also
from engine.rulebase.rules import Rule

_WAITS = (
    "A rule that compares it does not hold as long as it is unknown. Where such a rule could still change a choice, "
    "that choice is provisional, and this fact is among the open questions"
)


def fact_page(index: PageIndex, fact: Variable) -> ExplainedPage:
    """What a fact asks, what may be written, and which rules and choices hang on it."""
    name = fact.name
    return ExplainedPage(
        kind="fact",
        id=name,
        title=fact.question,
        place=f"section {name.partition('.')[0]} of a survey",
        sections=(
            section("Question", [paragraph(fact.question)]),
            section("How it is established", _established(index, fact)),
            section("What may be written", _allowed(fact)),
            section("When it applies", _applies(fact), "always"),
            section("While it is unknown", _unknown(index, fact)),
            section("What is computed from it", (of_page(index.refs[each]) for each in computed_from(name))),
            section("Rules that read it", by_what_is_asked(index.asked_of(name)), _nobody(name)),
            section("Choices it bears on", _bears_on(index, name)),
        ),
        see_also=see_also(index, name),
    )


def reading_page(index: PageIndex, reading: Variable) -> ExplainedPage:
    """What a reading is, from which facts it is computed and how, and which rules read it."""
    name = reading.name
    return ExplainedPage(
        kind="reading",
        id=name,
        title=reading.question,
        place="a reading, computed from facts",
        sections=(
            section("What it says", [paragraph(reading.question)]),
            section("From which facts", (of_page(index.refs[each]) for each in reading.from_facts)),
            section("How it is computed", [paragraph(reading.how)]),
            section("Unit and range", [PageEntry(text=reading.allowed), *_step(reading)]),
            section("While it is unknown", _reading_unknown(index, reading)),
            section("Rules that read it", by_what_is_asked(index.asked_of(name)), _nobody(name)),
            section("Choices it bears on", _bears_on(index, name)),
        ),
        see_also=see_also(index, name),
    )


def computed_from(name: str) -> tuple[str, ...]:
    """The readings that a fact goes into."""
    return tuple(reading for reading, variable in READINGS.items() if name in variable.from_facts)


def reach(index: PageIndex, name: str) -> tuple[dict[str, tuple[Rule, ...]], tuple[str, ...]]:
    """The choices that a fact, reading, decision or set bears on.

    First those that rules reading it decide, with the rules; then those reached only through readings, earlier
    decisions, and facts that apply or not by it.
    """
    base = index.base
    reading = [rule for rule, _ in index.asked_of(name)]
    direct = {choice: rules for choice in base.choices if (rules := tuple(r for r in reading if choice in _touched(r)))}
    seen: set[str] = set()
    front = {name}
    touched: set[str] = set()
    while front:
        seen |= front
        ahead = {reading for each in front for reading in computed_from(each)}
        ahead |= {fact for fact, other in facts().items() if any(need.fact in front for need in other.applies)}
        for each in front:
            for rule, _ in index.asked_of(each):
                touched |= _touched(rule)
                ahead |= {f"decided.{choice}" for choice in _touched(rule)}
                ahead |= {f"found.{group}" for group, _ in rule.adds}
        front = ahead - seen
    return direct, tuple(choice for choice in base.choices if choice in touched and choice not in direct)


def _touched(rule: Rule) -> set[str]:
    return {choice for choice, _ in (*rule.supports, *rule.rules_out)}


def _established(index: PageIndex, fact: Variable) -> Iterator[PageEntry]:
    yield paragraph(fact.how)
    meaning = index.glossary.meaning(_EFFORT, fact.effort)
    yield PageEntry(label="trouble", text=f"{fact.effort.replace('_', ' ')}: {meaning}")


_EFFORT: Scale = "effort"


def _allowed(fact: Variable) -> Iterator[PageEntry]:
    if fact.kind in ("choice", "set"):
        what = "one of these" if fact.kind == "choice" else "none, or a list of some of these in [ ]"
        yield PageEntry(text=f"{what}:")
        for option in fact.options:
            yield PageEntry(text=option, depth=1)
    elif fact.kind == "rows":
        yield PageEntry(text="a list of rows, each with these fields:")
        for field, limits in _row_fields(fact.name):
            yield PageEntry(label=field, text=limits, depth=1)
    else:
        yield PageEntry(text=fact.allowed)
    yield from _step(fact)
    yield PageEntry(text="or unknown, which is the same as leaving it out")


def _step(variable: Variable) -> Iterator[PageEntry]:
    if variable.kind == "number" and variable.step:
        unit = f" {variable.unit}" if variable.unit else ""
        yield PageEntry(text=f"told apart to {variable.step:g}{unit}")


def _row_fields(name: str) -> Iterator[tuple[str, str]]:
    """The fields of the rows of a fact, with their limits in words."""
    holder: type[BaseModel] = Survey if name.startswith("property.") else Wall
    annotation: Any = None
    for step in name.split("."):
        annotation = holder.model_fields[step].annotation
        if isinstance(annotation, type) and issubclass(annotation, BaseModel):
            holder = annotation
    row = next(_models_in(annotation))
    needed = {field for field, info in row.model_fields.items() if info.is_required()}
    for field, schema in row.model_json_schema()["properties"].items():
        limits: Mapping[str, float] = next(
            (part for part in (schema, *schema.get("anyOf", ())) if "minimum" in part), {}
        )
        said = f"{limits['minimum']:g} to {limits['maximum']:g}" if limits else ""
        yield field, said if field in needed else f"{said}; may be left out".removeprefix("; ")


def _models_in(annotation: Any) -> Iterator[type[BaseModel]]:
    for part in get_args(annotation):
        if isinstance(part, type) and issubclass(part, BaseModel):
            yield part
        yield from _models_in(part)


def _applies(fact: Variable) -> Iterator[PageEntry]:
    for need in fact.applies:
        only = "only where" if isinstance(need, Only) else "not where"
        text = f"{only} {need.fact} is {' or '.join(map(str, need.values))}"
        yield PageEntry(text=text, links=(Link(text=need.fact, to=need.fact),))
    depend = [name for name, other in facts().items() if any(need.fact == fact.name for need in other.applies)]
    if depend:
        if not fact.applies:
            yield PageEntry(text="always")
        links = tuple(Link(text=name, to=name) for name in depend)
        yield PageEntry(text=f"it settles whether these apply: {', '.join(depend)}", links=links)


def _unknown(index: PageIndex, fact: Variable) -> Iterator[PageEntry]:
    yield from _rules_for_unknown(index, fact.name)
    if index.asked_of(fact.name) or computed_from(fact.name):
        yield paragraph(_WAITS)
    else:
        yield paragraph("No rule waits for it; what the schedule needs it for is left out there, or shown as open")


def _rules_for_unknown(index: PageIndex, name: str) -> Iterator[PageEntry]:
    """The rules that hold because it is unknown, and those that hold until it is known to be otherwise."""
    asked = index.asked_of(name)
    for rule, found in asked:
        if any(leaf.asks == "unknown" for leaf in found):
            said, links = conclusions_in_words(rule)
            yield of_rule(rule, said, links)
    cautious = [rule for rule, found in asked if any(leaf.asks == "unless_known" for leaf in found)]
    if cautious:
        named, links = ids_of(cautious)
        yield PageEntry(text=f"These may hold until it is known to be otherwise: {named}.", links=links)


def _reading_unknown(index: PageIndex, reading: Variable) -> Iterator[PageEntry]:
    spared = CAN_DO_WITHOUT.get(reading.name, frozenset())
    yield paragraph("It stays unknown as long as a fact that it needs is unknown")
    for fact in reading.from_facts:
        if fact in spared:
            yield listed(fact, "can be done without where it does not apply", fact)
    if reading.name in MAY_CHANGE:
        yield paragraph(
            "There are two ways to it, and the better takes over once its facts are known. So it is for showing: a "
            "rule may not read it, since what rests on it could change after it was called settled"
        )
    yield from _rules_for_unknown(index, reading.name)


def _nobody(name: str) -> str:
    if name in MAY_CHANGE:
        return "none may"
    if computed_from(name):
        return "none by itself; they read what is computed from it"
    return "none; it is there for the schedule of work, for the record, or to be shown"


def _bears_on(index: PageIndex, name: str) -> Iterator[PageEntry]:
    direct, further = reach(index, name)
    for choice, rules in direct.items():
        named, links = ids_of(rules)
        yield listed(choice, f"{index.refs[choice].title}. By {named}", choice, *links)
    if further:
        links = tuple(Link(text=choice, to=choice) for choice in further)
        yield PageEntry(
            text=f"through readings, earlier decisions and facts that hang on it: {', '.join(further)}", links=links
        )
