"""The pages of choices and their options, of sets and their members, of stages, and of a version of the rules."""

from __future__ import annotations

from collections.abc import Iterator

from engine.reasoning.page_index import PageIndex
from engine.reasoning.page_model import ExplainedPage, Link, PageEntry
from engine.reasoning.page_names import option_id, stage_id, version_id
from engine.reasoning.page_parts import by_what_is_asked, ids_of, listed, of_page, of_rule, paragraph, section, see_also
from engine.reasoning.page_tables import rows_naming
from engine.rulebase.load import versions
from engine.rulebase.model import STAGES, Choice, Member, Option, SetOfFindings
from engine.rulebase.rules import Rule

_HOW = (
    "An option that is open stands until a rule rules it out; any other stands only where a rule supports it. Ruling "
    "out beats support. The first option that stands is the decision; where none does, the choice is undecided"
)

_MANY = 40


def choice_page(index: PageIndex, choice: Choice) -> ExplainedPage:
    """A choice: its options in order, why in that order, and the rules for and against each."""
    return ExplainedPage(
        kind="choice",
        id=choice.id,
        title=choice.title,
        place=f"a choice of stage {choice.stage}",
        sections=(
            section("What it decides", [paragraph(choice.title)]),
            section("Options, the preferred first", (_option(choice, option) for option in choice.options)),
            section("Why in this order", [paragraph(choice.order_because)]),
            section("How it is decided", [paragraph(_HOW)]),
            section("Rules for and against", _for_and_against(index, choice)),
            section("What it goes by", _goes_by(index, choice)),
            section("What reads the decision", _readers(index, f"decided.{choice.id}"), "no later rule"),
        ),
        see_also=see_also(index, choice.id, stage_id(choice.stage)),
    )


def option_page(index: PageIndex, choice: Choice, option: Option) -> ExplainedPage:
    """An option: what it says, where it stands, the rules for and against it, and what follows from it."""
    id_ = option_id(choice.id, option.id)
    place = [each.id for each in choice.options].index(option.id)
    figures = rows_naming(index.base, choice.id, option.id)
    return ExplainedPage(
        kind="option",
        id=id_,
        title=option.says,
        place=f"option {place + 1} of {len(choice.options)} of {choice.id}",
        sections=(
            section("What it says", [paragraph(option.says)]),
            section("Where it stands", _place(choice, place)),
            section("Rules that support it", (of_rule(rule) for rule in _supporting(index, choice.id, option.id))),
            section("Rules that rule it out", (of_rule(rule) for rule in _opposing(index, choice.id, option.id))),
            section(
                "What follows from it",
                _following(index, f"decided.{choice.id}", option.id),
                "no later rule asks for it",
            ),
            section("Figures for it", (of_page(index.refs[each]) for each in figures)),
        ),
        see_also=see_also(index, id_, choice.id),
    )


def set_page(index: PageIndex, held: SetOfFindings) -> ExplainedPage:
    """A set: its members in order, and the rules that read it."""
    members = sorted(index.base.members[held.id].values(), key=lambda member: (member.order, member.id))
    return ExplainedPage(
        kind="set",
        id=held.id,
        title=held.title,
        place=f"a set that rules add to, closed with stage {held.closes}",
        sections=(
            section("What it holds", [paragraph(held.title)]),
            section("Members, in order", (of_page(index.refs[option_id(held.id, member.id)]) for member in members)),
            section("What reads it", _readers(index, f"found.{held.id}"), "no rule; it is for the reader"),
        ),
        see_also=see_also(index, held.id, stage_id(held.closes)),
    )


def member_page(index: PageIndex, held: SetOfFindings, member: Member) -> ExplainedPage:
    """A work, test, notice, caution or cause: what it says, and the rules that add it."""
    id_ = option_id(held.id, member.id)
    adding = (rule for rule in index.base.rules if (held.id, member.id) in rule.adds)
    return ExplainedPage(
        kind="member",
        id=id_,
        title=member.says,
        place=f"one of {held.id}",
        sections=(
            section("What it says", [paragraph(member.says)]),
            section("In detail", [paragraph(member.detail)] if member.detail else [], "nothing more is written"),
            section("Rules that add it", (of_rule(rule) for rule in adding)),
            section("What follows from it", _following(index, f"found.{held.id}", member.id), "no rule reads it"),
        ),
        see_also=see_also(index, id_, held.id),
    )


def stage_page(index: PageIndex, stage: str) -> ExplainedPage:
    """A stage: what it decides, what its rules may read, and the rules themselves."""
    base, at = index.base, STAGES.index(stage)
    before = [choice for each in STAGES[:at] for choice in base.choices_of[each]]
    sets = [each for each in base.sets.values() if STAGES.index(each.closes) < at]
    readable = [*(f"decided.{choice.id}" for choice in before), *(f"found.{each.id}" for each in sets)]
    links = tuple(Link(text=each, to=each.partition(".")[2]) for each in readable)
    id_ = stage_id(stage)
    return ExplainedPage(
        kind="stage",
        id=id_,
        title=index.refs[id_].title,
        place=f"stage {at + 1} of {len(STAGES)}",
        sections=(
            section("Order of the stages", _stages(index, stage)),
            section("Choices it decides", (of_page(index.refs[choice.id]) for choice in base.choices_of[stage])),
            section(
                "Sets closed with it",
                (of_page(index.refs[each.id]) for each in base.sets.values() if each.closes == stage),
            ),
            section(
                "What its rules may read",
                [PageEntry(text=", ".join(("facts", "readings", *readable)), links=links)],
            ),
            section("Rules", (of_rule(rule) for rule in base.by_stage[stage])),
        ),
        see_also=see_also(index, id_),
    )


def version_page(index: PageIndex) -> ExplainedPage:
    """The version of the rules that everything is taken from: from when, what changed and why, and what is in it."""
    base, manifest = index.base, index.base.manifest
    changes = (
        PageEntry(label=f"{number}.", text=f"{change.what} Why: {change.why}")
        for number, change in enumerate(manifest.changes, 1)
    )
    holds = [
        *((f"stage {stage}", f"{len(rules)} rules") for stage, rules in base.by_stage.items()),
        ("choices", str(len(base.choices))),
        *((name, str(len(members))) for name, members in base.members.items()),
        ("sources", str(len(base.sources))),
    ]
    others = [each for each in versions() if each.version != manifest.version]
    id_ = version_id(manifest.version)
    return ExplainedPage(
        kind="version",
        id=id_,
        title=index.refs[id_].title,
        place=f"in force from {manifest.in_force_from.isoformat()}",
        sections=(
            section("What it is", [paragraph(manifest.summary)]),
            section("What changed, and why", changes),
            section("What is in it", (PageEntry(label=what, text=count) for what, count in holds)),
            section("Digest", [PageEntry(text=base.digest)]),
            section(
                "Other versions",
                (
                    PageEntry(label=each.version, text=f"in force from {each.in_force_from.isoformat()}")
                    for each in others
                ),
            ),
        ),
        see_also=see_also(index, id_),
    )


def _option(choice: Choice, option: Option) -> PageEntry:
    stands = "open" if option.open else "needs support"
    return listed(option.id, f"{option.says} [{stands}]", option_id(choice.id, option.id))


def _supporting(index: PageIndex, choice: str, option: str) -> list[Rule]:
    return [rule for rule in index.base.rules if (choice, option) in rule.supports]


def _opposing(index: PageIndex, choice: str, option: str) -> list[Rule]:
    return [rule for rule in index.base.rules if (choice, option) in rule.rules_out]


def _for_and_against(index: PageIndex, choice: Choice) -> Iterator[PageEntry]:
    for option in choice.options:
        said, links = [], [Link(text=option.id, to=option_id(choice.id, option.id))]
        for word, rules in (
            ("supported by", _supporting(index, choice.id, option.id)),
            ("ruled out by", _opposing(index, choice.id, option.id)),
        ):
            if rules:
                named, more = ids_of(rules)
                said.append(f"{word} {named}")
                links += more
        yield PageEntry(label=option.id, text="; ".join(said) or "no rule names it", links=tuple(dict.fromkeys(links)))


def _goes_by(index: PageIndex, choice: Choice) -> Iterator[PageEntry]:
    """Everything that a rule which decides the choice reads."""
    deciding = [rule for rule in index.base.rules if any(c == choice.id for c, _ in (*rule.supports, *rule.rules_out))]
    read = {test.variable.name for rule in deciding for test in rule.tests}
    for what, prefix in (("earlier decisions", "decided."), ("earlier sets", "found."), ("readings", "reading.")):
        names = [name for name in index.base.variables if name in read and name.startswith(prefix)]
        if names:
            yield _named(what, names)
    plain = [name for name in index.base.variables if name in read and not name.startswith(_NO_FACT)]
    if plain:
        yield _named("facts", plain)


_NO_FACT = ("decided.", "found.", "reading.")


def _named(what: str, names: list[str]) -> PageEntry:
    links = tuple(
        Link(text=name, to=name.partition(".")[2] if name.startswith(_NO_FACT[:2]) else name) for name in names
    )
    return PageEntry(label=what, text=", ".join(names), links=links)


def _place(choice: Choice, place: int) -> Iterator[PageEntry]:
    option = choice.options[place]
    yield PageEntry(
        text="It is open: it stands until a rule rules it out."
        if option.open
        else "It stands only where a rule supports it and none rules it out."
    )
    for word, others in (("after", choice.options[:place]), ("before", choice.options[place + 1 :])):
        if others:
            links = tuple(Link(text=each.id, to=option_id(choice.id, each.id)) for each in others)
            yield PageEntry(label=word, text=", ".join(each.id for each in others), links=links)


def _readers(index: PageIndex, name: str) -> Iterator[PageEntry]:
    """The rules that read a decision or a set, by what they ask of it."""
    yield from by_what_is_asked(index.asked_of(name))


def _following(index: PageIndex, name: str, value: str) -> Iterator[PageEntry]:
    """The rules that name one option of a decision, or one member of a set; by stage where there are very many."""
    of_set = name.startswith("found.")
    held, absent = ("is among them", "is not among them") if of_set else ("is the decision", "is not the decision")
    for asks, denied in ((f"where {value} {held}", False), (f"where {value} {absent}", True)):
        rules = [
            rule
            for rule, found in index.asked_of(name)
            if any(value in leaf.wanted and leaf.denied is denied for leaf in found)
        ]
        if rules:
            yield PageEntry(text=f"{asks}:")
        if len(rules) <= _MANY:
            yield from (of_rule(rule).model_copy(update={"depth": 1}) for rule in rules)
            continue
        for stage in STAGES:
            here = [rule for rule in rules if rule.stage == stage]
            if here:
                named, links = ids_of(here)
                count = f"{len(here)} rule{'s' if len(here) != 1 else ''}"
                yield PageEntry(label=stage, text=f"{count}: {named}", depth=1, links=links)


def _stages(index: PageIndex, here: str) -> Iterator[PageEntry]:
    for number, stage in enumerate(STAGES, 1):
        note = "this one: " if stage == here else ""
        id_ = stage_id(stage)
        yield PageEntry(
            label=f"{number}. {stage}", text=f"{note}{index.refs[id_].title}", links=(Link(text=stage, to=id_),)
        )
