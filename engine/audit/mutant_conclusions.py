"""Small faults put into what a rule concludes."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from engine.audit.mutant_tests import Edit
from engine.rulebase.model import RawRule
from engine.rulebase.rules import RuleBase

Groups = Mapping[str, tuple[str, ...]]


def conclusion_edits(raw: RawRule, base: RuleBase) -> Iterator[Edit]:
    """Every fault that is put into a rule's conclusions. `raw` of each are the fields of the rule that change."""
    for ours, theirs, verb in (("supports", "rules_out", "supports"), ("rules_out", "supports", "rules out")):
        here: Groups = getattr(raw, ours)
        there: Groups = getattr(raw, theirs)
        for choice, option in _pairs(here):
            fewer = _without(here, choice, option)
            yield Edit("conclusion-dropped", f"no longer {verb} {choice}: {option}", {ours: fewer})
            opposed = {ours: fewer, theirs: _added(there, choice, option)}
            other = "rules out" if verb == "supports" else "supports"
            yield Edit("support-opposed", f"{other} {choice}: {option}, which it {verb}", opposed)
            taken = {*here.get(choice, ()), *there.get(choice, ())}
            options = [each.id for each in base.choices[choice].options]
            if (moved := _following(options, option, taken)) is not None:
                says = f"{verb} {choice}: {moved} in place of {option}"
                yield Edit("conclusion-moved", says, {ours: _replaced(here, choice, option, moved)})
    for name, member in _pairs(raw.adds):
        yield Edit(
            "conclusion-dropped", f"no longer adds {member} to {name}", {"adds": _without(raw.adds, name, member)}
        )
        if (moved := _following(list(base.members[name]), member, set(raw.adds[name]))) is not None:
            says = f"adds {moved} to {name} in place of {member}"
            yield Edit("conclusion-moved", says, {"adds": _replaced(raw.adds, name, member, moved)})
    for caution in raw.cautions:
        fewer_cautions = tuple(each for each in raw.cautions if each != caution)
        yield Edit("caution-dropped", f"no longer carries the caution {caution}", {"cautions": fewer_cautions})


def _pairs(groups: Groups) -> Iterator[tuple[str, str]]:
    return ((group, each) for group, several in groups.items() for each in several)


def _without(groups: Groups, group: str, dropped: str) -> Groups:
    left = {name: tuple(e for e in several if (name, e) != (group, dropped)) for name, several in groups.items()}
    return {name: several for name, several in left.items() if several}


def _added(groups: Groups, group: str, new: str) -> Groups:
    return {**groups, group: (*groups.get(group, ()), new)}


def _replaced(groups: Groups, group: str, old: str, new: str) -> Groups:
    return {**groups, group: tuple(new if each == old else each for each in groups[group])}


def _following(order: Sequence[str], after: str, taken: set[str]) -> str | None:
    """What comes next in the order, going round; `None` where all are taken."""
    at = order.index(after)
    return next((each for each in (*order[at + 1 :], *order[:at]) if each not in taken), None)
