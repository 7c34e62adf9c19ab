"""A new rule to be filled in: its YAML with every field explained, and where in a version it goes."""

from __future__ import annotations

import datetime as dt
import pathlib
import re
import textwrap
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from typing import get_args

from engine.audit.form_places import near
from engine.audit.ids import Ids, next_free, stages_of_letters
from engine.audit.words import listed
from engine.errors import BadInput, Problem
from engine.facts.document import parse_document, shown
from engine.facts.vocabulary import Variable
from engine.rulebase.check import PLACEHOLDER
from engine.rulebase.conditions import ConditionParser
from engine.rulebase.load import VersionRead
from engine.rulebase.model import STAGES, Basis, Certainty, Strength
from engine.rulebase.sealed import recorded

_ID = re.compile(r"[A-Z]{1,2}-[0-9]{3}")
_WIDTH = 80
_MANY = 12


@dataclass(frozen=True, slots=True)
class Wanted:
    """What is known of the new rule: what it reads, and its conclusions as `choice=option` or `set=member`."""

    reads: Sequence[str] = ()
    supports: Sequence[str] = ()
    rules_out: Sequence[str] = ()
    adds: Sequence[str] = ()


def new_id(asked: str, used: Ids) -> str:
    """The id asked for, or for letters alone the next one free after all that have them.

    Raises:
        BadInput: not an id, or one that a version uses or has used; free ones are proposed.
    """
    wanted = asked.upper()
    if re.fullmatch(r"[A-Z]{1,2}", wanted):
        numbers = [int(each[-3:]) for ids in used.values() for each in ids if each.partition("-")[0] == wanted]
        found = next_free(f"{wanted}-{max(numbers, default=0) + 1:03d}", used, 1)
        if found:
            return found[0]
    if not _ID.fullmatch(wanted):
        allowed = "one or two letters, a dash and three figures, such as "
        raise BadInput([Problem("", 0, 0, "ID", "is no id of a rule", asked, allowed + next(iter(_example(used)))[0])])
    using = [(version, ids[wanted]) for version, ids in used.items() if wanted in ids]
    if using:
        version, last = using[-1]
        withdrawn = "" if version == list(used)[-1] else " and withdrawn since; an id is never reused"
        free = listed(next_free(wanted, used), "or")
        message = f"is used in {version} ({last.title}){withdrawn}"
        raise BadInput([Problem("", 0, 0, "ID", message, wanted, hint=f"free are {free}" if free else "")])
    return wanted


def _example(used: Ids) -> Iterator[tuple[str, ...]]:
    for letters in (*stages_of_letters(used), "A"):
        yield next_free(f"{letters}-001", used, 1)


def stage_of(rule_id: str, asked: str | None, used: Ids) -> str:
    """The stage a new rule belongs to: that of all rules with its letters, or the one asked for.

    Raises:
        BadInput: no such stage, not the one that the letters stand for, or letters that stand for none yet.
    """
    letters = rule_id.partition("-")[0]
    known = stages_of_letters(used)
    if asked is not None and asked not in STAGES:
        raise BadInput([Problem("", 0, 0, "--stage", "no such stage", asked, ", ".join(STAGES), near(asked, STAGES))])
    stage = known.get(letters)
    if stage is None and asked is None:
        letters_known = ", ".join(f"{each} {stage}" for each, stage in sorted(known.items()))
        message = f"no rule has the letters {letters}: say of which stage it is"
        raise BadInput(
            [Problem("", 0, 0, "--stage", message, "", ", ".join(STAGES), f"letters in use: {letters_known}")]
        )
    if stage is not None and asked is not None and stage != asked:
        own = sorted(each for each, of in known.items() if of == asked)
        hint = f"ids of stage {asked} begin with {listed(own, 'or')}" if own else ""
        message = f"ids that begin with {letters} are of stage {stage}"
        raise BadInput([Problem("", 0, 0, "--stage", message, asked, stage, hint)])
    return asked or stage or ""


def scaffold(read: VersionRead, rule_id: str, stage: str, wanted: Wanted) -> str:
    """The YAML of a new rule. Every value still to be filled in begins with a word that keeps the version from loading.

    Raises:
        BadInput: with everything that `wanted` names and that is not there, or belongs to another stage.
    """
    problems = list(_problems(read, stage, wanted))
    if problems:
        raise BadInput(problems)
    readable = read.readable(stage)
    lines = [
        f"- id: {rule_id}",
        *_comment("What it decides, as a sentence that says it, in one line. No other rule has the same.", 2),
        f"  title: {PLACEHOLDER}",
        f"  stage: {stage}",
        *_when([readable[name] for name in wanted.reads]),
        *_conclusions(read, stage, wanted),
        *_comment("The reasoning in plain words, as a senior surveyor would say it to a trainee.", 2),
        "  because: >-",
        f"    {PLACEHOLDER}",
        *_comment("Known limits, in a sentence; leave out where there are none:  limits: ...", 2),
        *_comment(
            "Ids of sources.yaml, and what each says there in our own words; `clause` only where it is known. Text "
            "that was not seen says so: (from memory, to be verified against the text), (as reported by another page).",
            2,
        ),
        "  cites:",
        f"    - source: {PLACEHOLDER}",
        f"      says: {PLACEHOLDER}",
        *_comment(
            f"{_or(get_args(Basis))}. Only a law or a standard bears `standard`; with `strong` it reads *must*.", 2
        ),
        f"  basis: {PLACEHOLDER}",
        *_comment(f"{_or(get_args(Strength))}", 2),
        f"  strength: {PLACEHOLDER}",
        *_comment(f"{_or(get_args(Certainty))}", 2),
        f"  certainty: {PLACEHOLDER}",
        *_comment(
            "Where sources disagree, both are cited:  follows: the one followed;  against: [those set aside]. Where a "
            "must rests on a text nobody saw:  weak_basis_because: why it may stand.",
            2,
        ),
        *_examples(wanted.reads),
    ]
    return "\n".join(lines) + "\n"


def _or(words: Sequence[str]) -> str:
    return listed(words, "or")


def _comment(text: str, indent: int) -> list[str]:
    pad = " " * indent + "# "
    return textwrap.wrap(text, _WIDTH, initial_indent=pad, subsequent_indent=pad, break_long_words=False)


def _when(variables: Sequence[Variable]) -> Iterator[str]:
    yield from _comment(
        "All of these must hold; `any` and `not` can stand in place of a test. A value alone means `is`, a list means "
        "one of them; `known` and `unknown` ask only whether it is known.",
        2,
    )
    yield "  when:"
    yield "    all:"
    for variable in variables:
        question = variable.question if variable.question.endswith(("?", ".")) else f"{variable.question}."
        yield from _comment(f"{question} {_about(variable)}", 6)
        yield f"      - {variable.name}: {PLACEHOLDER}"
    if not variables:
        yield from _comment("section.fact, reading.name, decided.choice or found.set, of an earlier stage", 6)
        yield f"      - {PLACEHOLDER}: {PLACEHOLDER}"


def _about(variable: Variable) -> str:
    """What may be asked of a variable, and the values it takes."""
    step = f", in steps of {variable.step:g}" if variable.kind == "number" and variable.step else ""
    if variable.kind in ("date", "rows"):
        return "Tests: known, unknown."
    return f"Values: {variable.allowed}{step}. Tests: {_tests(variable)}."


def _tests(variable: Variable) -> str:
    """The tests there are, as the parser of conditions names them to somebody who asks for one that there is not."""
    named: list[str] = []
    parser = ConditionParser(
        {variable.name: variable}, lambda path, message, found, allowed, hint: named.append(allowed)
    )
    parser.parse({variable.name: {"": ""}}, ())
    return named[0]


def _conclusions(read: VersionRead, stage: str, wanted: Wanted) -> Iterator[str]:
    choices = [choice for choice in read.choices.values() if choice.stage == stage]
    given = (("supports", wanted.supports), ("rules_out", wanted.rules_out), ("adds", wanted.adds))
    yield from _comment("What follows: at least one of supports, rules_out, adds. Ruling out beats support.", 2)
    for choice in choices:
        yield from _comment(f"{choice.id}: {', '.join(option.id for option in choice.options)}", 2)
    sets = [name for name, each in read.sets.items() if STAGES.index(each.closes) >= STAGES.index(stage)]
    yield from _comment(
        f"Sets that can still be added to: {', '.join(sets)}; their members are in the files named so.", 2
    )
    for group, pairs in given:
        if pairs:
            yield f"  {group}: {{{', '.join(_grouped(pairs))}}}"
    if not any(pairs for _, pairs in given):
        yield f"  supports: {{{PLACEHOLDER}: [{PLACEHOLDER}]}}"


def _grouped(pairs: Sequence[str]) -> Iterator[str]:
    found: dict[str, list[str]] = {}
    for pair in dict.fromkeys(pairs):
        name, _, each = pair.partition("=")
        found.setdefault(name, []).append(each)
    yield from (f"{name}: [{', '.join(several)}]" for name, several in found.items())


def _examples(reads: Sequence[str]) -> Iterator[str]:
    names = tuple(reads) or (PLACEHOLDER,)
    yield "  examples:"
    yield from _comment("The smallest facts that make it hold: leave one out and it does not.", 4)
    yield "    holds:"
    yield from (f"      {name}: {PLACEHOLDER}" for name in names)
    yield from _comment("The nearest facts that do not: each changes one value of `holds`.", 4)
    yield "    fails:"
    yield from (f"      - {{{name}: {PLACEHOLDER}}}" for name in names)


def _problems(read: VersionRead, stage: str, wanted: Wanted) -> Iterator[Problem]:
    readable = read.readable(stage)
    for name in wanted.reads:
        if name not in readable:
            if name in read.variables:
                message, hint = f"comes out only in or after stage {stage}, and cannot be read there", ""
            else:
                message, hint = "is no variable", near(name, readable)
            yield Problem("", 0, 0, "--reads", message, name, "", hint)
    for name in {each for each in wanted.reads if list(wanted.reads).count(each) > 1}:
        yield Problem("", 0, 0, "--reads", "is given twice", name)
    for option, pairs in (("--choice", wanted.supports), ("--rules-out", wanted.rules_out)):
        for pair in pairs:
            yield from _problems_in_pair(read, stage, option, pair)
    for pair in wanted.adds:
        name, equals, member = pair.partition("=")
        if not equals or name not in read.sets:
            yield _not_there("--adds", "is no set with a member, as SET=MEMBER", pair, name, read.sets)
        elif STAGES.index(read.sets[name].closes) < STAGES.index(stage):
            yield Problem("", 0, 0, "--adds", f"{name} is closed after stage {read.sets[name].closes}", pair)
        elif member not in read.members[name]:
            yield _not_there("--adds", f"no member of {name}", member, member, read.members[name])


def _problems_in_pair(read: VersionRead, stage: str, option: str, pair: str) -> Iterator[Problem]:
    name, equals, value = pair.partition("=")
    choice = read.choices.get(name)
    own = [each.id for each in read.choices.values() if each.stage == stage]
    if not equals or choice is None:
        yield _not_there(option, "is no choice with an option, as CHOICE=OPTION", pair, name, own)
    elif choice.stage != stage:
        message = f"{name} is decided in stage {choice.stage}, not in {stage}"
        yield Problem("", 0, 0, option, message, pair, ", ".join(own))
    elif value not in (options := [each.id for each in choice.options]):
        yield _not_there(option, f"no option of {name}", value, value, options)


def _not_there(option: str, message: str, found: str, name: str, among: Collection[str]) -> Problem:
    allowed = ", ".join(among) if len(among) <= _MANY else ""
    return Problem("", 0, 0, option, message, found, allowed, near(name, among))


def refuse_what_may_not_change(read: VersionRead, on: dt.date, folder: pathlib.Path | None = None) -> None:
    """Let pass only a version that is neither in force nor recorded.

    Raises:
        BadInput: what to do instead.
    """
    sealed = recorded(folder).get(read.version)
    instead = (
        f"copy rules/{read.version} to a folder with the next number, give its manifest that number and a later "
        "in_force_from, and name it with --rules"
    )
    if sealed is not None:
        message = f"its digest was recorded on {sealed.sealed.recorded_on}, so it does not change any more"
    elif read.manifest is not None and read.manifest.in_force(on):
        message = f"is in force since {read.manifest.in_force_from}, so it does not change any more"
    else:
        return
    raise BadInput([Problem("", 0, 0, "--write", message, read.version, "a version not yet in force", instead)])


def with_rule(read: VersionRead, stage: str, text: str) -> tuple[pathlib.Path, str, int]:
    """The file a new rule goes to, its whole text with the rule at its end, and the line the rule begins on.

    Raises:
        BadInput: the file cannot be read, or would not be a list of one rule more.
    """
    name = f"rules/{stage}.yaml"
    path, here = read.folder / name, f"rules/{read.version}/{name}"
    document = read.documents.get(name)
    if document is None:
        raise BadInput(
            [each for each in read.problems if each.file == here] or [Problem(here, 0, 0, "", "was not read")]
        )
    before = path.read_text(encoding="utf-8").rstrip("\n") + "\n\n"
    whole = before + text
    after = parse_document(whole.encode(), here, list_allowed=True)
    if not isinstance(document.data, list) or len(after.data) != len(document.data) + 1:
        message = "a rule written at its end would not be one more of its list"
        raise BadInput([Problem(here, 0, 0, "", message, shown(document.data))])
    return path, whole, before.count("\n") + 1
