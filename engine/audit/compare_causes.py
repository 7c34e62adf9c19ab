"""Which of the changes between two versions brings a difference about: found by putting them back."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence

from engine.audit.compare_bases import Judge, Versions
from engine.audit.compare_model import Change, HeldBy, RuleHeld, Traced
from engine.reasoning.comparison_causes import SpentError
from engine.rulebase.conditions import UNDECIDED
from engine.rulebase.model import STAGES
from engine.rulebase.rules import Rule

Restores = Callable[[frozenset[str]], bool]
"""Whether B with these parts as A has them comes to what A came to."""


def restored_choice(judge: Judge, choice: str) -> Restores:
    """The option of a choice."""
    wanted = judge.a.option(choice)
    return lambda parts: judge.with_back(parts).option(choice) == wanted


def restored_member(judge: Judge, name: str, member: str) -> Restores:
    """A member of a set."""
    wanted = judge.a.has(name, member)
    return lambda parts: judge.with_back(parts).has(name, member) is wanted


def traced(versions: Versions, judge: Judge, decision: tuple[str, str | None], restores: Restores) -> Traced:
    """The least that has to be put back. `decision` is a choice and `None`, or a set and its member."""
    likely = [part for part in versions.parts if _bears(versions, judge, part)]
    alone: list[str] = []
    together: tuple[str, ...] = ()
    complete = True
    try:
        alone += (part for part in likely if restores(frozenset((part,))))
        if not alone:
            for among in (likely, list(versions.parts)):
                if among and restores(frozenset(among)):
                    together = _least(among, restores)
                    break
            if len(together) == 1:  # a change that neither holds alone nor was likely to matter
                alone, together = list(together), ()
    except SpentError:
        complete = False
    named = (*alone, *together)
    return Traced(
        alone=tuple(alone),
        together=together,
        rules=tuple(rule_held(versions, judge, each) for each in named if " " not in each and _is_rule(versions, each)),
        by_way_of=_by_way_of(versions, judge, named, decision),
        complete=complete,
    )


def rule_held(versions: Versions, judge: Judge, rule: str) -> RuleHeld:
    """A rule that changed, and under which version it holds."""
    one, other = judge.a.rule_holds(rule), judge.b.rule_holds(rule)
    held: HeldBy = "both" if one and other else "a" if one else "b" if other else "neither"
    return RuleHeld(
        id=rule,
        title=(versions.b.by_id.get(rule) or versions.a.by_id[rule]).title,
        holds=held,
        change=change_of(rule in versions.a.by_id, rule in versions.b.by_id),
    )


def change_of(in_a: bool, in_b: bool) -> Change:
    """Added, withdrawn or changed."""
    return "changed" if in_a and in_b else "withdrawn" if in_a else "added"


def conclusions_of(rule: Rule) -> object:
    """What a rule concludes, in whatever order it is written."""
    return rule.stage, frozenset(rule.supports), frozenset(rule.rules_out), frozenset(rule.adds)


def _is_rule(versions: Versions, part: str) -> bool:
    return part in versions.a.by_id or part in versions.b.by_id


def _bears(versions: Versions, judge: Judge, part: str) -> bool:
    """Whether a part is looked at first: it is no rule, or a rule that does not bring the same in both here."""
    if not _is_rule(versions, part):
        return True
    held = [side.rule_holds(part) for side in (judge.a, judge.b)]
    if not all(held):
        return any(held)
    one, other = (base.by_id[part] for base in (versions.a, versions.b))
    return conclusions_of(one) != conclusions_of(other)


def _least(names: Sequence[str], works: Restores) -> tuple[str, ...]:
    """Names that work together and of which none can be left out; larger parts are tried first."""
    kept = list(names)
    size = max(1, len(kept) // 2)
    while True:
        at, shorter = 0, False
        while at < len(kept):
            rest = kept[:at] + kept[at + size :]
            if rest and works(frozenset(rest)):
                kept, shorter = rest, True
            else:
                at += size
        if size == 1 and not shorter:
            return tuple(kept)
        size = max(1, size // 2)


def _by_way_of(versions: Versions, judge: Judge, named: Iterable[str], decision: tuple[str, str | None]) -> str | None:
    """The first decision that differs among those that the changes conclude on; `None` where it is this one."""
    direct: set[tuple[str, str | None]] = set()
    for part in named:
        kind, _, name = part.partition(" ")
        if name:
            direct.add((name, None)) if kind == "choice" else direct.update(_members(versions, name))
        for base in (versions.a, versions.b):
            if part in base.by_id:
                rule = base.by_id[part]
                direct.update((choice, None) for choice, _ in (*rule.supports, *rule.rules_out))
                direct.update(rule.adds)
    if decision in direct:
        return None
    found = [
        (at, said)
        for each in sorted(direct, key=lambda pair: (pair[0], pair[1] or ""))
        for at, said in (_differs(versions, judge, each),)
        if said
    ]
    return min(found, default=(0, None))[1]


def _members(versions: Versions, name: str) -> set[tuple[str, str | None]]:
    return {(name, member) for base in (versions.a, versions.b) for member in base.members.get(name, ())}


def _differs(versions: Versions, judge: Judge, decision: tuple[str, str | None]) -> tuple[int, str]:
    """The stage of a decision by number, and how it differs; "" where it does not."""
    name, member = decision
    for base in (versions.b, versions.a):
        if member is None and name in base.choices:
            before, after = judge.a.option(name), judge.b.option(name)
            said = "" if before == after else f"{name}: {before or UNDECIDED} -> {after or UNDECIDED}"
            return STAGES.index(base.choices[name].stage), said
        if member is not None and name in base.sets:
            gained = judge.b.has(name, member)
            said = "" if judge.a.has(name, member) is gained else f"{name}: {member} {'gained' if gained else 'lost'}"
            return STAGES.index(base.sets[name].closes), said
    return 0, ""
