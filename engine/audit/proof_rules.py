"""Proofs about single rules: each can hold, each makes a difference, none supports what is then always ruled out."""

from __future__ import annotations

from engine.audit.asking import Asking, spot_of
from engine.audit.cases import Case
from engine.audit.findings import Finding, Looked
from engine.audit.words import in_words, listed
from engine.proof.decisions import Encoder, options_taken
from engine.proof.logic import Formula, all_of, any_of, negated, within
from engine.rulebase.conditions import All
from engine.rulebase.model import Choice
from engine.rulebase.rules import Rule


def rule_findings(ask: Asking) -> tuple[list[Finding], list[Looked]]:
    """Rules that never hold, that change nothing, that support what is always ruled out where they hold."""
    dead, looked_at_dead = _dead(ask)
    never = {each.subject for each in dead}
    alive = [rule for rule in ask.base.rules if rule.id not in never]
    masked, looked_at_masked = _masked(ask, alive)
    against, looked_at_against = _overruled(ask, alive)
    return [*dead, *masked, *against], [looked_at_dead, looked_at_masked, looked_at_against]


def _looked(check: str, says: str, count: int, unsettled: list[str]) -> Looked:
    return Looked(check=check, group="proof", says=says, looked_at=count, unsettled=tuple(unsettled))


def _finding(check: str, rule: Rule, subject: str, rules: tuple[str, ...], says: str) -> Finding:
    return Finding(
        check=check,
        group="proof",
        level="error",
        subject=subject,
        rules=rules,
        at=spot_of(rule),
        says=f"{rule.id} ({rule.title}) {says}",
    )


def _dead(ask: Asking) -> tuple[list[Finding], Looked]:
    found: list[Finding] = []
    before = len(ask.unsettled)
    for rule in ask.base.rules:

        def holds(case: Case, rule_id: str = rule.id) -> bool:
            return rule_id in case.fired

        if ask.ever(f"{rule.id} holds", ask.decided.acts[rule.id], holds) is False:
            says = f"can hold in no survey. {_why_never(ask, rule)}"
            found.append(_finding("dead-rule", rule, rule.id, (rule.id,), says))
        ask.progress(rule.id)
    says = "every rule holds in some survey"
    return found, _looked("dead-rule", says, len(ask.base.rules), ask.unsettled[before:])


def _why_never(ask: Asking, rule: Rule) -> str:
    """The parts of its condition that can never be true together."""
    parts = rule.when.parts if isinstance(rule.when, All) else (rule.when,)
    with within(ask.wall.context):
        encoder = Encoder(ask.base, ask.wall.space.cells)
        encoder.run(rule.stage)
        formulas = {in_words(part): encoder.truths(part)[0] for part in parts}
    if any(formula is False for formula in formulas.values()):
        return "A part of its condition can never be true."
    clash = ask.because_of({name: formula for name, formula in formulas.items() if formula is not True})
    return f"These cannot be true together: {listed(clash)}." if clash else ""


def _masked(ask: Asking, rules: list[Rule]) -> tuple[list[Finding], Looked]:
    found: list[Finding] = []
    before = len(ask.unsettled)
    for rule in rules:
        difference = any_of((*_changes(ask, rule), *_additions(ask, rule)))
        if ask.possible(f"{rule.id} makes a difference", difference) is False:
            says = "changes nothing: in every survey in which it holds, all that it concludes comes without it too."
            found.append(_finding("masked-rule", rule, rule.id, (rule.id,), says))
        ask.progress(f"{rule.id} makes a difference")
    says = "every rule makes a difference to an outcome or a set in some survey"
    return found, _looked("masked-rule", says, len(rules), ask.unsettled[before:])


def _changes(ask: Asking, rule: Rule) -> list[Formula]:
    """Where a choice comes to what it would not without the rule."""
    found: list[Formula] = []
    for choice in ask.base.choices_of[rule.stage]:
        if any(pair[0] == choice.id for pair in (*rule.supports, *rule.rules_out)):
            without = _without(ask, rule, choice)
            with_it = ask.decided.options[choice.id]
            found += [all_of((with_it[option], negated(formula))) for option, formula in without.items()]
    return found


def _without(ask: Asking, rule: Rule, choice: Choice) -> dict[str, Formula]:
    """What a choice comes to without one rule."""
    others = (each for each in ask.base.by_stage[rule.stage] if each.id != rule.id)
    return options_taken(choice, others, ask.decided.acts)


def _additions(ask: Asking, rule: Rule) -> list[Formula]:
    """Where a member of a set would be missing without the rule."""
    acts = ask.decided.acts
    return [
        all_of((acts[rule.id], negated(any_of(acts[each.id] for each in ask.base.rules if _adds(each, pair, rule)))))
        for pair in rule.adds
    ]


def _adds(other: Rule, pair: tuple[str, str], rule: Rule) -> bool:
    return other.id != rule.id and pair in other.adds


def _overruled(ask: Asking, rules: list[Rule]) -> tuple[list[Finding], Looked]:
    """Rules that support an option which other rules rule out in every survey in which they hold."""
    found: list[Finding] = []
    before, count = len(ask.unsettled), 0
    acts = ask.decided.acts
    for rule in rules:
        for pair in rule.supports:
            against = [each.id for each in ask.base.by_stage[rule.stage] if pair in each.rules_out]
            count += 1
            if not against:
                continue
            never = {each: negated(acts[each]) for each in against}
            if ask.possible(f"{rule.id} for {'='.join(pair)}", acts[rule.id], *never.values()) is not False:
                continue
            by = ask.because_of({"": acts[rule.id], **never})
            against_it = tuple(each for each in by if each)
            verb = "rule" if len(against_it) > 1 else "rules"
            says = f"supports {'='.join(pair)}, and wherever it holds {listed(against_it)} {verb} it out."
            found.append(_finding("contradiction", rule, f"{rule.id} {'='.join(pair)}", (rule.id, *against_it), says))
        ask.progress(f"{rule.id} contradicted")
    says = "no rule supports an option that is ruled out wherever the rule holds"
    return found, _looked("contradiction", says, count, ask.unsettled[before:])
