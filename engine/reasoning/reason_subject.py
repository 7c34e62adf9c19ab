"""What a question is about: a choice, one of its options, a rule, or a member of a set."""

from __future__ import annotations

import difflib
from collections.abc import Collection
from dataclasses import dataclass
from typing import Literal

from engine.errors import BadInput, Problem
from engine.rulebase.conditions import UNDECIDED
from engine.rulebase.rules import RuleBase


@dataclass(frozen=True, slots=True)
class Subject:
    """What is asked about. `of` is the choice or the set; "" of a rule."""

    kind: Literal["choice", "option", "rule", "member"]
    id: str
    of: str = ""

    def __str__(self) -> str:
        return f"{self.of}={self.id}" if self.of and self.kind != "choice" else self.id


def subject(text: str, base: RuleBase, field: str) -> Subject:
    """The subject that a text names: CHOICE, CHOICE=OPTION, RULE, SET=MEMBER, or a member by its id alone.

    `field` stands in messages for where the text was given. Ids are exact; those of rules may be in small letters.

    Raises:
        BadInput: nothing of that name, or a member of several sets.
    """
    left, equals, right = text.partition("=")
    if equals:
        return _pair(left, right, base, field)
    if text in base.choices:
        return Subject("choice", text, text)
    if text.upper() in base.by_id:
        return Subject("rule", text.upper())
    holding = [name for name, members in base.members.items() if text in members]
    if len(holding) == 1:
        return Subject("member", text, holding[0])
    if holding:
        pairs = ", ".join(f"{name}={text}" for name in holding)
        raise BadInput([Problem("", 0, 0, field, "stands in several sets", text, pairs)])
    raise BadInput([_unheard_of(text, base, field)])


def _pair(left: str, right: str, base: RuleBase, field: str) -> Subject:
    if left in base.choices:
        options = [option.id for option in base.choices[left].options]
        if right in (*options, UNDECIDED):
            return Subject("option", right, left)
        problem = Problem(
            "", 0, 0, field, f"no such option of {left}", right, ", ".join(options), _near(right, options)
        )
        raise BadInput([problem])
    if left in base.sets:
        members = base.members[left]
        if right in members:
            return Subject("member", right, left)
        allowed = f"a member of {left}: `bedjoint explain {left}` lists them"
        raise BadInput(
            [Problem("", 0, 0, field, f"nothing of this name in {left}", right, allowed, _near(right, members))]
        )
    names = [*base.choices, *base.sets]
    raise BadInput([Problem("", 0, 0, field, "no such choice or set", left, ", ".join(names), _near(left, names))])


def _unheard_of(text: str, base: RuleBase, field: str) -> Problem:
    options = [f"{name}={text}" for name, choice in base.choices.items() if text in {o.id for o in choice.options}]
    if options:
        hint = f"did you mean {' or '.join(options)}?"
    elif text in base.sets:
        hint = f"a set: ask about one of its members, as {text}=MEMBER"
    else:
        hint = _near(text, [*base.choices, *(member for members in base.members.values() for member in members)])
        hint = hint or _near(text.upper(), base.by_id)
    allowed = "CHOICE, CHOICE=OPTION, RULE or SET=MEMBER; the choices are " + ", ".join(base.choices)
    return Problem("", 0, 0, field, "nothing of this name", text, allowed, hint)


def _near(word: str, names: Collection[str]) -> str:
    near = difflib.get_close_matches(word, names, 3, 0.6) or difflib.get_close_matches(word.lower(), names, 3, 0.6)
    return f"did you mean {' or '.join(near)}?" if near else ""
