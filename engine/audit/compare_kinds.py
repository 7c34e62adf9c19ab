"""Every kind of difference that some survey shows: each choice from option to option, each member gained or lost."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from engine.audit.boldness import Boldness, Step
from engine.audit.compare_bases import Judge, Versions
from engine.audit.compare_causes import restored_choice, restored_member, traced
from engine.audit.compare_model import ChoiceMoves, Everywhere, MemberMoves, Possible, Traced
from engine.audit.compare_search import pinned
from engine.audit.compare_space import Shared
from engine.audit.witness import Unreal, Witness, witness_of
from engine.errors import ReadersDisagree
from engine.facts.values import Value
from engine.facts.vocabulary import facts
from engine.proof.logic import Formula, all_of, any_of, negated, same, within
from engine.rulebase.conditions import UNDECIDED
from engine.rulebase.model import STAGES
from engine.rulebase.rules import RuleBase

MOST = 400
"""For how many kinds a survey of their own is looked for; the others are shown by one of those, or left unsettled."""
_ORDER: tuple[Step, ...] = ("bolder", "newly_open", "newly_settled", "more_cautious", "otherwise")
_NO_SURVEY = "the solver allows it, and no survey was found in which the readings come out so"
_TOO_MANY = "the solver allows it; too many kinds differ to look for a survey for each"

Progress = Callable[[int, int], None]
"""Told how many kinds were looked at, and of how many."""


@dataclass(frozen=True, slots=True)
class Kind:
    """A choice that goes from one option to another, or with `member`, a set that gains or loses it."""

    of: str
    stage: str
    step: Step
    formula: Formula
    before: str = ""
    after: str = ""
    member: str = ""
    gained: bool = False

    @property
    def name(self) -> str:
        """A name for files: lower-case words joined by hyphens."""
        if self.member:
            words = f"{self.of} {self.member} {'gained' if self.gained else 'lost'}"
        else:
            words = f"{self.of} {self.before} to {self.after}"
        return words.replace("_", "-").replace(" ", "-")

    def shown_by(self, judge: Judge) -> bool:
        """Whether a survey that is judged shows it."""
        if self.member:
            if judge.a.has(self.of, self.member) is self.gained:
                return False
            return judge.b.has(self.of, self.member) is self.gained
        return judge.a.option(self.of) == self.before and judge.b.option(self.of) == self.after

    def confirmed_by(self, judge: Judge) -> bool:
        """Whether the evaluator says the same of it."""
        a, b = judge.evaluated
        if self.member:
            held = [self.of in each.sets and self.member in each.sets[self.of].now for each in (a, b)]
            return held == [not self.gained, self.gained]
        return (a.outcomes[self.of].option, b.outcomes[self.of].option) == (self.before, self.after)


def everywhere(shared: Shared, bold: Boldness, progress: Progress | None = None, most: int = MOST) -> Everywhere:
    """Look through all surveys for every kind of difference, and trace each that is found.

    Raises:
        RuntimeError: the solver gave up.
        ReadersDisagree: the evaluator does not confirm what was found.
    """
    versions = shared.versions
    with within(shared.walls[0].context):
        looked = list(_kinds(shared, bold))
    left = sorted((kind for kind in looked if kind.formula is not False), key=_first)
    possible: list[Possible] = []
    seen: list[tuple[Judge, Witness]] = []
    for number, kind in enumerate(left):
        if progress is not None:
            progress(number, len(left))
        witness: Witness | Unreal | None = Unreal(())
        if number < most:
            witness = _witness(shared, kind)
        elif shown := [found for judge, found in seen if kind.shown_by(judge)]:
            witness = min(shown, key=_size)
        if witness is None:  # what one solver allows for it is not in the space it was cut out of
            continue
        judge = None
        if isinstance(witness, Witness):
            judge = Judge(versions, witness.values, shared.year)
            if not kind.confirmed_by(judge):
                raise ReadersDisagree(f"the evaluator does not confirm {kind.name} of {witness.text}")
            if number < most:
                seen.append((judge, witness))
        possible.append(_possible(versions, kind, judge, witness, tried=number < most))
    if progress is not None:
        progress(len(left), len(left))
    open_kinds = {kind.of for kind in left}
    common = [name for name in versions.b.choices if name in versions.a.choices]
    sets = [name for name in versions.b.sets if name in versions.a.sets]
    names = dict.fromkeys((*versions.a.choices, *versions.b.choices, *versions.a.sets, *versions.b.sets))
    return Everywhere(
        survey_year=shared.year,
        shared_readings=versions.same_figures,
        possible=tuple(sorted(possible, key=lambda each: (_ORDER.index(each.step), not each.survey, each.known_facts))),
        same_choices=tuple(name for name in common if name not in open_kinds),
        same_sets=tuple(name for name in sets if name not in open_kinds),
        not_compared=tuple(name for name in names if name not in (*common, *sets)),
        kinds=len(looked),
        ruled_out=len(looked) - len(possible),
    )


def _size(witness: Witness) -> int:
    return sum(witness.values[name].known for name in facts())


def _first(kind: Kind) -> tuple[int, int]:
    return _ORDER.index(kind.step), STAGES.index(kind.stage)


def _kinds(shared: Shared, bold: Boldness) -> Iterator[Kind]:
    """Every kind that could be thought of, its formula `False` where it is proved that no survey shows it."""
    a, b = shared.versions.a, shared.versions.b
    for name, choice in b.choices.items():
        if name not in a.choices:
            continue
        before, after = shared.a.options[name], shared.b.options[name]
        differ = any_of(all_of((formula, negated(after.get(option, False)))) for option, formula in before.items())
        some = shared.possible(differ)
        for option, one in before.items():
            apart = all_of((one, negated(after.get(option, False)))) if some else False
            here = shared.possible(apart)
            for other, then in after.items():
                if other == option:
                    continue
                formula = all_of((one, then)) if here else False
                open_to = formula if shared.possible(formula) else False
                yield Kind(name, choice.stage, bold.between(name, option, other), open_to, option, other)
    for name, each in b.sets.items():
        if name not in a.sets:
            continue
        had, has = shared.a.members[name], shared.b.members[name]
        every = dict.fromkeys((*had, *has))
        some = shared.possible(any_of(negated(same(had.get(m, False), has.get(m, False))) for m in every))
        for member in every:
            one, other = had.get(member, False), has.get(member, False)
            for gained, formula in ((True, all_of((other, negated(one)))), (False, all_of((one, negated(other))))):
                open_to = formula if some and shared.possible(formula) else False
                step = bold.of_member(name, member, gained=gained)
                yield Kind(name, each.closes, step, open_to, member=member, gained=gained)


def _witness(shared: Shared, kind: Kind) -> Witness | Unreal | None:
    """A survey that shows a kind; where the two reckon readings apart, looked for by trying numbers too."""

    def done(values: dict[str, Value]) -> bool:
        return kind.shown_by(Judge(shared.versions, values, shared.year))

    found = witness_of(shared.walls[0], shared.solver, kind.formula, done)
    if not isinstance(found, Unreal) or shared.versions.same_figures:
        return found
    formula = pinned(shared, kind.formula, done)
    again = None if formula is None else witness_of(shared.walls[0], shared.solver, formula, done)
    return again if isinstance(again, Witness) else found


def _possible(
    versions: Versions, kind: Kind, judge: Judge | None, witness: Witness | Unreal, *, tried: bool
) -> Possible:
    because: Traced | None = None
    if judge is not None:
        back = restored_member(judge, kind.of, kind.member) if kind.member else restored_choice(judge, kind.of)
        because = traced(versions, judge, (kind.of, kind.member or None), back)
    unsettled = ""
    if isinstance(witness, Unreal):
        asked = "; ".join(test.in_words() for test in witness.tests[:3])
        unsettled = f"{_NO_SURVEY}{f': {asked}' if asked else ''}" if tried else _TOO_MANY
    moved = _member(versions, kind, because) if kind.member else None
    return Possible(
        name=kind.name,
        choice=None if kind.member else _choice(versions, kind, because),
        member=moved,
        survey=witness.text if isinstance(witness, Witness) else None,
        known_facts=_size(witness) if isinstance(witness, Witness) else 0,
        beside=() if judge is None else tuple(_beside(judge, "" if kind.member else kind.of)),
        unsettled=unsettled,
    )


def _beside(judge: Judge, choice: str) -> Iterator[str]:
    """The other choices that come to something else with it."""
    before, after = judge.evaluated
    for name, outcome in before.outcomes.items():
        other = after.outcomes.get(name)
        if name != choice and other is not None and other.option != outcome.option:
            yield f"{name}: {outcome.option} -> {other.option}"


def _choice(versions: Versions, kind: Kind, because: Traced | None) -> ChoiceMoves:
    choice = versions.b.choices[kind.of]
    return ChoiceMoves(
        choice=kind.of,
        title=choice.title,
        stage=kind.stage,
        a=kind.before,
        b=kind.after,
        says_a=option_says(versions.a, kind.of, kind.before),
        says_b=option_says(versions.b, kind.of, kind.after),
        step=kind.step,
        because=because,
    )


def _member(versions: Versions, kind: Kind, because: Traced | None) -> MemberMoves:
    return MemberMoves(
        set=kind.of,
        title=versions.b.sets[kind.of].title,
        member=kind.member,
        says=member_says(versions, kind.of, kind.member),
        gained=kind.gained,
        step=kind.step,
        because=because,
    )


def option_says(base: RuleBase, choice: str, option: str | None) -> str:
    """What a version says of an option; "" of what it has not."""
    if option == UNDECIDED:
        return "undecided"
    options = base.choices[choice].options if choice in base.choices else ()
    return next((each.says for each in options if each.id == option), "")


def member_says(versions: Versions, name: str, member: str) -> str:
    """What a member is, in the words of B where B has it."""
    for base in (versions.b, versions.a):
        if member in base.members.get(name, {}):
            return base.members[name][member].says
    return member
