"""A reviewer's last word, held in a decision record: the recommended option is kept, or the decision upheld."""

from __future__ import annotations

import datetime as dt
import difflib
from collections.abc import Iterator, Sequence
from typing import Any

from engine.decision.model import Assessment
from engine.errors import Problem
from engine.facts.intake import SurveyFile
from engine.record.build import overrides_digest, record_of, text_of
from engine.record.overrides import Said, Wanted, is_so, override_digest, with_override
from engine.record.read import StoredRecord, parse_record
from engine.record.verification import OverrideSeen
from engine.record.verify import altered_in, override_seen
from engine.rulebase.conditions import UNDECIDED
from engine.rulebase.rules import RuleBase


def problems_of_form(wanted: str, base: RuleBase) -> Iterator[Problem]:
    """What is wrong with `CHOICE=OPTION`, whatever the wall."""
    choice, equals, option = (part.strip() for part in wanted.partition("="))
    if not (choice and equals and option):
        yield Problem("", 0, 0, "--override", "is not CHOICE=OPTION", wanted, "such as medium=rods")
    elif choice not in base.choices:
        yield _unknown("no such choice", choice, list(base.choices))
    elif option not in (options := [each.id for each in base.choices[choice].options]):
        yield _unknown(f"no such option of {choice}", option, options)


def problems_of_word(wanted: str, recommended: str | None, decided: str) -> Iterator[Problem]:
    """What is wrong with `CHOICE=OPTION` as a last word: it keeps what was recommended, or upholds what is decided."""
    choice, _, option = (part.strip() for part in wanted.partition("="))
    if option not in (recommended, decided):
        allowed = [f"{choice}={each}" for each in (recommended, decided) if each not in (None, UNDECIDED)]
        message = "is neither what was recommended nor what is decided"
        hint = "for any other option: bedjoint override"
        yield Problem("", 0, 0, "--override", message, wanted, " or ".join(allowed), hint)


def _unknown(message: str, found: str, among: Sequence[str]) -> Problem:
    near = difflib.get_close_matches(found, among, 1, 0.5)
    hint = f"did you mean {near[0]}?" if near else ""
    return Problem("", 0, 0, "--override", message, found, ", ".join(among), hint)


def new_record(file: SurveyFile, assessment: Assessment, name: str) -> StoredRecord:
    """The record of an assessment, as it would be read from its file; `name` is the file's."""
    return parse_record(text_of(record_of(file, assessment)).encode(), name)


def same_decision(stored: StoredRecord, fresh: StoredRecord) -> bool:
    """Whether a record that stands in a file is whole, and of the same survey, rules and decision as a fresh one."""
    return not altered_in(stored) and stored.record.digests.record == fresh.record.digests.record


def with_word(stored: StoredRecord, wall: str, wanted: str, said: Said, base: RuleBase) -> StoredRecord:
    """The record with a reviewer's word on one choice more.

    An option that the engine decided itself is noted as upheld: an override to what it says already, that somebody
    answers for.

    Raises:
        BadInput: what `with_override` refuses, named by the options of `bedjoint review`.
    """
    choice, _, option = (part.strip() for part in wanted.partition("="))
    recorded = stored.record.decision.wall(wall)
    upheld = recorded is not None and is_so(recorded, Wanted(choice, "is", option))
    data = _upheld(stored, wall, choice, option, said) if upheld else with_override(stored, wall, wanted, said, base)
    return parse_record(text_of(data).encode(), stored.name)


def _upheld(stored: StoredRecord, wall: str, choice: str, option: str, said: Said) -> dict[str, Any]:
    added = {
        "wall": wall,
        "subject": choice,
        "change": "is",
        "to": option,
        "who": said.who.strip(),
        "why": said.why.strip(),
        "on": said.on.isoformat(),
        "until": None if said.until is None else said.until.isoformat(),
    }
    before = stored.data["overrides"]
    overrides = [*before, {**added, "digest": override_digest(added, stored.data, before[-1] if before else None)}]
    digests = {**stored.data["digests"], "overrides": overrides_digest(overrides)}
    return {**stored.data, "digests": digests, "overrides": overrides}


def problems_of_said(who: str, why: str, on: dt.date, until: dt.date | None) -> Iterator[Problem]:
    """What is wrong with who says it, why, and until when."""
    for name, text, most, allowed in (("--by", who, 200, "a name"), ("--because", why, 2000, "a reason")):
        text = text.strip()
        if not text:
            yield Problem("", 0, 0, name, "is empty", allowed=allowed)
        elif len(text) > most:
            yield Problem("", 0, 0, name, "is too long", f"{len(text)} characters", f"at most {most}")
        elif not all(each.isprintable() or each in "\n\t" for each in text):
            yield Problem("", 0, 0, name, "holds characters that cannot be printed")
    if until is not None and until < on:
        yield Problem("", 0, 0, "--until", "is past", until.isoformat(), f"{on.isoformat()} or later")


def words_seen(stored: StoredRecord, before: int, base: RuleBase, file: SurveyFile) -> tuple[OverrideSeen, ...]:
    """The overrides of a record after the first `before`, each with what the engine says beside it."""
    found = []
    for number, each in enumerate(stored.record.overrides, 1):
        if number > before:
            wall = stored.record.decision.wall(each.wall)
            upheld = wall is not None and is_so(wall, each)
            found.append(override_seen(stored, number, "went_back" if upheld else "counts", base, file))
    return tuple(found)
