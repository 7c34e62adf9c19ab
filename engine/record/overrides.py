"""A reviewer's overrides: added to a record, and what the rules say once one is taken."""

from __future__ import annotations

import dataclasses
import datetime as dt
import difflib
from collections.abc import Iterable, Iterator, Mapping
from typing import Any, NoReturn

from engine.decision.assess import set_found
from engine.errors import BadInput, Problem
from engine.facts.amend import LATEST
from engine.facts.intake import SurveyFile
from engine.inference.evaluate import evaluate
from engine.readings.compute import compute_readings
from engine.record.build import CAUTIONS, overrides_digest
from engine.record.canonical import digest_of
from engine.record.facts import survey_from
from engine.record.model import Change, MemberRecorded, Override, WallRecorded
from engine.record.read import StoredRecord
from engine.rulebase.model import Option
from engine.rulebase.reading_figures import reading_figures
from engine.rulebase.rules import Rule, RuleBase

_SIGNS: Mapping[str, Change] = {"+": "add", "-": "remove"}


@dataclasses.dataclass(frozen=True, slots=True)
class Wanted:
    """What an override changes: a choice to an option, or a set by a member."""

    subject: str
    change: Change
    to: str


def wanted_from(text: str, base: RuleBase) -> Wanted:
    """`CHOICE=OPTION`, `SET=+MEMBER` or `SET=-MEMBER`, checked against the rules.

    Raises:
        BadInput: it is none of these, or names what the rules do not have; with the nearest names.
    """
    subject, equals, to = (part.strip() for part in text.partition("="))
    if not (equals and subject and to):
        _refuse("--to", "is not CHOICE=OPTION, SET=+MEMBER or SET=-MEMBER", text, "such as medium=rods")
    if subject in base.sets:
        change = _SIGNS.get(to[0])
        if change is None:
            _refuse("--to", f"is not said to be added or taken away; {subject} is a set", to, f"+{to} or -{to}")
        member = to[1:].strip()
        _check("--to", f"no such member of {subject}", member, base.members[subject])
        if subject == CAUTIONS and change == "remove":
            _refuse("--to", "would take a caution away, which no override may", member, "an override of what brings it")
        return Wanted(subject, change, member)
    _check("--to", "no such choice or set", subject, [*base.choices, *base.sets])
    _check("--to", f"no such option of {subject}", to, [option.id for option in base.choices[subject].options])
    return Wanted(subject, "is", to)


@dataclasses.dataclass(frozen=True, slots=True)
class Said:
    """Who overrides, why, on which day and until when; `until` None for good."""

    who: str
    why: str
    on: dt.date
    until: dt.date | None


def with_override(stored: StoredRecord, wall: str, to: str, said: Said, base: RuleBase) -> dict[str, Any]:
    """The record's data with one override more; nothing else of it differs. `to` is what `wanted_from` reads.

    Raises:
        BadInput: with every problem: no such wall in the record; what `to` names is not in the rules; an empty who or
            why; an end before the beginning; nothing would change.
    """
    problems = [*_problems_said(said), *_problems_of_wall(stored, wall)]
    try:
        wanted = wanted_from(to, base)
    except BadInput as error:
        raise BadInput([*problems, *error.problems]) from None
    recorded = stored.record.decision.wall(wall)
    if recorded is not None and is_so(recorded, wanted) and not _earlier(stored.record.overrides, wall, wanted):
        engine = "the engine decided so itself; an override would change nothing"
        problems.append(Problem("", 0, 0, "--to", engine, f"{wanted.subject}={_SHOWN[wanted.change]}{wanted.to}"))
    if problems:
        raise BadInput(problems)
    added = {
        "wall": wall,
        "subject": wanted.subject,
        "change": wanted.change,
        "to": wanted.to,
        "who": said.who.strip(),
        "why": said.why.strip(),
        "on": said.on.isoformat(),
        "until": None if said.until is None else said.until.isoformat(),
    }
    before = stored.data["overrides"]
    chained = {**added, "digest": override_digest(added, stored.data, before[-1] if before else None)}
    overrides = [*before, chained]
    digests = {**stored.data["digests"], "overrides": overrides_digest(overrides)}
    return {**stored.data, "digests": digests, "overrides": overrides}


def _problems_of_wall(stored: StoredRecord, wall: str) -> Iterator[Problem]:
    names = [each.wall for each in stored.record.decision.walls]
    if wall not in names:
        yield Problem("", 0, 0, "--wall", "no such wall in the record", wall, _listed(names), _near(wall, names))


def _problems_said(said: Said) -> Iterator[Problem]:
    for name, text, most, allowed in (("who", said.who, 200, "a name"), ("why", said.why, 2000, "a reason")):
        text = text.strip()
        if not text:
            yield Problem("", 0, 0, f"--{name}", "is empty", allowed=allowed)
        elif len(text) > most:
            yield Problem("", 0, 0, f"--{name}", "is too long", f"{len(text)} characters", f"at most {most}")
        elif not all(each.isprintable() or each in "\n\t" for each in text):
            yield Problem("", 0, 0, f"--{name}", "holds characters that cannot be printed")
    if said.until is not None and said.until < said.on:
        yield Problem("", 0, 0, "--until", "is past", said.until.isoformat(), f"{said.on.isoformat()} or later")


_SHOWN: Mapping[Change, str] = {"is": "", "add": "+", "remove": "-"}


def override_digest(override: Mapping[str, Any], record: Mapping[str, Any], before: Mapping[str, Any] | None) -> str:
    """The digest of an override: over what it says, the record it is on, and the override before it."""
    said = {name: value for name, value in override.items() if name != "digest"}
    return digest_of([said, record["digests"]["record"], None if before is None else before["digest"]])


def key_of(override: Override) -> tuple[str, str, str]:
    """What an override is about: of several about the same, the last counts."""
    return override.wall, override.subject, "" if override.change == "is" else override.to


def is_so(wall: WallRecorded, wanted: Wanted | Override) -> bool:
    """Whether the engine's own decision at a wall is already what an override wants."""
    if wanted.change == "is":
        choice = wall.choice(wanted.subject)
        return choice is not None and choice.option == wanted.to
    found = wall.found(wanted.subject)
    held = found is not None and any(item.id == wanted.to for item in found.items)
    return held is (wanted.change == "add")


def in_the_rules(override: Override, base: RuleBase) -> bool:
    """Whether the rules have the choice and option, or the set and member, that an override names."""
    if override.change == "is":
        choice = base.choices.get(override.subject)
        return choice is not None and any(option.id == override.to for option in choice.options)
    return override.to in base.members.get(override.subject, {})


def cautions_with(file: SurveyFile, wall: str, override: Override, base: RuleBase) -> tuple[MemberRecorded, ...]:
    """The cautions that the rules give at a wall once the override's option is taken; empty for a set.

    The rules are run with the choice held at that option; what they say of all other choices follows from it.
    """
    if override.change != "is" or CAUTIONS not in base.sets:
        return ()
    at = next(each for each in file.survey.walls if each.id == wall)
    values = file.values_of(at)
    values.update(compute_readings(values, file.survey.property.survey_date.year, reading_figures(base.tables)))
    held = _held_at(base, override.subject, override.to)
    found = set_found(CAUTIONS, held, evaluate(held, values))
    return tuple(
        MemberRecorded(id=item.id, says=item.says, word=item.word, settled=item.settled, rules=item.rules)
        for item in found.items
    )


def _held_at(base: RuleBase, choice: str, option: str) -> RuleBase:
    """The rules with one choice held at an option: it stands open and first, and no rule says anything of it."""
    options: list[Option] = sorted(base.choices[choice].options, key=lambda each: each.id != option)
    options[0] = options[0].model_copy(update={"open": True})
    held = base.choices[choice].model_copy(update={"options": tuple(options)})
    # A caution that travels with a conclusion on this choice travels with the option concluded: with no other.
    return dataclasses.replace(
        base,
        choices={**base.choices, choice: held},
        rules=tuple(_silent(rule, choice, option) for rule in base.rules),
    )


def _silent(rule: Rule, choice: str, option: str) -> Rule:
    concluded = [each for name, each in rule.supports if name == choice]
    other = bool(concluded) and option not in concluded and all(name == choice for name, _ in rule.supports)
    return dataclasses.replace(
        rule,
        supports=_without(rule.supports, choice),
        rules_out=_without(rule.rules_out, choice),
        adds=tuple(each for each in rule.adds if not (other and each[0] == CAUTIONS)),
    )


def _without(pairs: Iterable[tuple[str, str]], choice: str) -> tuple[tuple[str, str], ...]:
    return tuple(pair for pair in pairs if pair[0] != choice)


def survey_of(stored: StoredRecord) -> SurveyFile:
    """The survey that a record's facts are.

    Raises:
        BadInput: the facts are no survey that this program accepts.
    """
    return survey_from(stored.data["facts"], stored.name, LATEST)


def _earlier(overrides: Iterable[Override], wall: str, wanted: Wanted) -> bool:
    about = (wall, wanted.subject, "" if wanted.change == "is" else wanted.to)
    return any(key_of(each) == about for each in overrides)


def _check(field: str, message: str, found: str, among: Iterable[str]) -> None:
    names = list(among)
    if found not in names:
        raise BadInput([Problem("", 0, 0, field, message, found, _listed(names), _near(found, names))])


def _refuse(field: str, message: str, found: str, allowed: str) -> NoReturn:
    raise BadInput([Problem("", 0, 0, field, message, found, allowed)])


def _listed(names: Iterable[str]) -> str:
    return ", ".join(names)


def _near(found: str, names: Iterable[str]) -> str:
    near = difflib.get_close_matches(found, list(names), 3, 0.5)
    return f"did you mean {' or '.join(near)}?" if near else ""
