"""What stands between a choice and an option: by the logic of choices, in terms of rules that hold and do not."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator
from dataclasses import dataclass
from typing import Literal

from engine.rulebase.conditions import UNDECIDED
from engine.rulebase.model import Option
from engine.rulebase.rules import Rule, RuleBase


@dataclass(frozen=True, slots=True)
class RuleMove:
    """Rules that would have to hold, or else to hold no longer, all of them.

    `frees` are options before the one wanted that would then stand though they do not now.
    """

    rules: tuple[Rule, ...]
    must: Literal["hold", "stop"]
    frees: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Before:
    """An option before the one wanted that stands `now`, or `then`, once nothing rules out the one wanted."""

    option: Option
    stands: Literal["now", "then"]
    supported_by: tuple[Rule, ...]
    falls_with: tuple[Rule, ...]
    routes: tuple[RuleMove, ...]


@dataclass(frozen=True, slots=True)
class InTheWay:
    """All that keeps an option from being the decision.

    Every rule of `against` would have to stop; where it `lacks_support`, one of `support` would have to hold; each of
    `before` would have to fall, with rules of `against` or by one of its routes.
    """

    against: tuple[Rule, ...]
    lacks_support: bool
    support: tuple[RuleMove, ...]
    before: tuple[Before, ...]


_Frees = Callable[[frozenset[str]], tuple[str, ...]]


class ChoiceLogic:
    """The options of one choice under sets of rules that hold."""

    def __init__(self, base: RuleBase, choice: str, fired: Collection[str]) -> None:
        self._choice = base.choices[choice]
        self._rules = base.by_stage[self._choice.stage]
        self._fired = frozenset(fired)

    def supports(self, option: str, fired: Collection[str]) -> tuple[Rule, ...]:
        """The rules that hold and support an option."""
        return tuple(r for r in self._rules if r.id in fired and (self._choice.id, option) in r.supports)

    def against(self, option: str, fired: Collection[str]) -> tuple[Rule, ...]:
        """The rules that hold and rule an option out."""
        return tuple(r for r in self._rules if r.id in fired and (self._choice.id, option) in r.rules_out)

    def stands(self, option: Option, fired: Collection[str]) -> bool:
        """Whether an option stands while these rules hold."""
        return (option.open or bool(self.supports(option.id, fired))) and not self.against(option.id, fired)

    def taken(self, fired: Collection[str]) -> str:
        """The decision while these rules hold."""
        return next((option.id for option in self._choice.options if self.stands(option, fired)), UNDECIDED)

    def _open(self, wanted: str) -> bool:
        return wanted == UNDECIDED or next(option.open for option in self._choice.options if option.id == wanted)

    def _before(self, wanted: str) -> tuple[Option, ...]:
        ids = [option.id for option in self._choice.options]
        return self._choice.options[: ids.index(wanted)] if wanted in ids else self._choice.options

    def in_the_way(self, wanted: str) -> InTheWay:
        """All that keeps an option (or `undecided`) from being the decision."""
        against = self.against(wanted, self._fired)
        rest = self._fired - {rule.id for rule in against}
        before = self._before(wanted)
        staying = {option.id for option in before if self.stands(option, rest)}
        lacks = not self._open(wanted) and not self.supports(wanted, rest)

        def frees(fired: frozenset[str]) -> tuple[str, ...]:
            return tuple(o.id for o in before if o.id not in staying and self.stands(o, fired))

        support = tuple(
            RuleMove((rule,), "hold", frees(rest | {rule.id}))
            for rule in self._rules
            if rule.id not in self._fired and (self._choice.id, wanted) in rule.supports
        )
        found = []
        for option in before:
            now = self.stands(option, self._fired)
            gone = option.id not in staying
            if gone and not now:
                continue
            by = self.supports(option.id, self._fired)
            routes = () if gone else tuple(self._routes(option, wanted, rest, frees))
            found.append(Before(option, "now" if now else "then", by, by if gone else (), routes))
        return InTheWay(against, lacks, support if lacks else (), tuple(found))

    def _routes(self, option: Option, wanted: str, rest: frozenset[str], frees: _Frees) -> Iterator[RuleMove]:
        """Each way for an option to fall that leaves the one wanted as it is, all being gone that rules it out."""
        supported = self._open(wanted) or bool(self.supports(wanted, rest))
        for rule in self._rules:
            if rule.id in rest or (self._choice.id, option.id) not in rule.rules_out:
                continue
            if rule.id not in self._fired and (self._choice.id, wanted) not in rule.rules_out:
                yield RuleMove((rule,), "hold", frees(rest | {rule.id}))
        by = self.supports(option.id, rest)
        if by and not option.open:
            left = rest - {rule.id for rule in by}
            if not supported or self._open(wanted) or self.supports(wanted, left):
                yield RuleMove(by, "stop", frees(left))

    def leaving(self, wanted: Collection[str]) -> tuple[RuleMove, ...]:
        """Each change of one rule, or of all that support the decision, that makes the decision one of `wanted`."""
        taken = self.taken(self._fired)
        moves = []
        for rule in self._rules:
            held = rule.id in self._fired
            after = self._fired - {rule.id} if held else self._fired | {rule.id}
            if self.taken(after) in wanted:
                moves.append(RuleMove((rule,), "stop" if held else "hold"))
        by = self.supports(taken, self._fired) if taken != UNDECIDED else ()
        if len(by) > 1 and self.taken(self._fired - {rule.id for rule in by}) in wanted:
            moves.append(RuleMove(by, "stop"))
        return tuple(moves)
