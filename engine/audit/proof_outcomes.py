"""Proofs about choices and sets: each choice comes to one outcome, each option and member to pass in some survey."""

from __future__ import annotations

from engine.audit.asking import Asking
from engine.audit.cases import Case
from engine.audit.findings import Finding, Looked
from engine.proof.logic import all_of
from engine.rulebase.conditions import UNDECIDED


def outcome_findings(ask: Asking) -> tuple[list[Finding], list[Looked]]:
    """Choices left without an outcome or with two; options and members that no survey can have."""
    gaps, looked_at_gaps = _gaps(ask)
    missing, looked_at_options = _impossible(ask)
    return [*gaps, *missing], [looked_at_gaps, *looked_at_options]


def _gaps(ask: Asking) -> tuple[list[Finding], Looked]:
    found: list[Finding] = []
    before = len(ask.unsettled)
    for choice in ask.base.choices.values():
        options = ask.decided.options[choice.id]

        def undecided(case: Case, choice_id: str = choice.id) -> bool:
            return case.decided[choice_id] == UNDECIDED

        witness = ask.shown(f"{choice.id} undecided", options[UNDECIDED], undecided)
        if witness is not None:
            found.append(
                Finding(
                    check="gap",
                    group="proof",
                    level="error",
                    subject=choice.id,
                    says=f"“{choice.title}” can be left without an outcome: in the survey given every option of it is "
                    "ruled out or without support.",
                    survey=witness.text,
                )
            )
        ids = list(options)
        for place, one in enumerate(ids):
            for other in ids[place + 1 :]:
                if ask.possible(f"{choice.id} both {one} and {other}", all_of((options[one], options[other]))):
                    found.append(
                        Finding(
                            check="two-outcomes",
                            group="proof",
                            level="error",
                            subject=f"{choice.id}={one} {other}",
                            says=f"“{choice.title}” can come to {one} and to {other} at once.",
                        )
                    )
        ask.progress(f"outcomes of {choice.id}")
    says = "every choice comes to exactly one outcome in every survey"
    return found, Looked(
        check="gap",
        group="proof",
        says=says,
        looked_at=len(ask.base.choices),
        unsettled=tuple(ask.unsettled[before:]),
    )


def _impossible(ask: Asking) -> tuple[list[Finding], list[Looked]]:
    found: list[Finding] = []
    before, options = len(ask.unsettled), 0
    for choice in ask.base.choices.values():
        for option in choice.options:
            options += 1
            pair = f"{choice.id}={option.id}"

            def taken(case: Case, choice_id: str = choice.id, option_id: str = option.id) -> bool:
                return case.decided[choice_id] == option_id

            if ask.ever(pair, ask.decided.options[choice.id][option.id], taken) is False:
                found.append(
                    Finding(
                        check="impossible-option",
                        group="proof",
                        level="error",
                        subject=pair,
                        says=f"No survey can come to {pair} ({option.says}): it is proved that it is always ruled out, "
                        "without support, or behind another option.",
                    )
                )
            ask.progress(pair)
    looked = [
        Looked(
            check="impossible-option",
            group="proof",
            says="every option is the decision in some survey",
            looked_at=options,
            unsettled=tuple(ask.unsettled[before:]),
        )
    ]
    before, members = len(ask.unsettled), 0
    for name, each in ask.decided.members.items():
        for member, formula in each.items():
            members += 1
            pair = f"{name}={member}"

            def held(case: Case, name: str = name, member: str = member) -> bool:
                return member in case.found[name]

            if ask.ever(pair, formula, held) is False:
                found.append(
                    Finding(
                        check="impossible-member",
                        group="proof",
                        level="error",
                        subject=pair,
                        says=f"No survey can bring {pair}: it is proved that no rule that adds it can hold.",
                    )
                )
            ask.progress(pair)
    looked.append(
        Looked(
            check="impossible-member",
            group="proof",
            says="every work, test, notice, caution and cause is brought by some survey",
            looked_at=members,
            unsettled=tuple(ask.unsettled[before:]),
        )
    )
    return found, looked
