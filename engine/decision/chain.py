"""How far a decision can be trusted once the earlier decisions that it rests on are counted in."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from engine.decision.grounds import grounds
from engine.inference.evaluate import Evaluation
from engine.inference.view import View
from engine.rulebase.rules import Rule

WORDS = ("must", "should", "consider")
CERTAINTIES = ("high", "moderate", "low")


def strength(rule: Rule) -> tuple[int, int]:
    """How firmly a rule speaks: the less, the firmer; first its word, then its certainty."""
    return WORDS.index(rule.word), CERTAINTIES.index(rule.raw.certainty)


@dataclass(frozen=True, slots=True)
class Link:
    """The certainty of a decision with all it rests on, as a place in `CERTAINTIES`, and where the least comes from."""

    certainty: int
    weakest: tuple[str, ...]


SURE = Link(0, ())


def link(choice: str, rules: list[Rule], before: Mapping[str, Link], evaluation: Evaluation, view: View) -> Link:
    """The link of one choice; `rules` bring its option, each by itself, so the surest way counts.

    `before` holds the links of the earlier choices.
    """
    ways = []
    for rule in rules:
        own = Link(CERTAINTIES.index(rule.raw.certainty), (choice,))
        rested = [before[name] for name in _decided(rule, evaluation, view) if name in before]
        worst = max((own, *rested), key=lambda each: each.certainty)
        same = [each for each in rested if each.certainty == worst.certainty and worst is not own]
        weakest = tuple(dict.fromkeys(name for each in same for name in each.weakest)) or worst.weakest
        ways.append(Link(worst.certainty, weakest))
    return min(ways, key=lambda each: each.certainty, default=SURE)


def _decided(rule: Rule, evaluation: Evaluation, view: View) -> list[str]:
    """The earlier choices whose decision made a rule hold."""
    tested = (ground.test.split(" ")[0] for ground in grounds(rule.when, evaluation, view))
    return [name.removeprefix("decided.") for name in tested if name.startswith("decided.")]
