"""Everything that is proved of a version, over every consistent survey of one wall, with what is unknown in it."""

from __future__ import annotations

from collections.abc import Iterable

from engine.audit.asking import Asking, Progress
from engine.audit.cases import Case
from engine.audit.findings import Finding, Looked
from engine.audit.proof_outcomes import outcome_findings
from engine.audit.proof_properties import property_findings
from engine.audit.proof_rules import rule_findings
from engine.audit.properties import Property, readings_of
from engine.rulebase.rules import RuleBase


def proof_steps(base: RuleBase, properties: tuple[Property, ...]) -> int:
    """How often progress is told of."""
    options = sum(len(choice.options) for choice in base.choices.values())
    members = sum(len(each) for each in base.members.values())
    return len(base.choices) + options + members + 3 * len(base.rules) + len(properties)


def proof_findings(
    base: RuleBase,
    properties: tuple[Property, ...],
    survey_year: int,
    progress: Progress = lambda _: None,
    met: Iterable[Case] = (),
) -> tuple[list[Finding], list[Looked]]:
    """Gaps, impossible options and members, dead, masked and contradicted rules, broken properties.

    Surveys are of one year: rules read how long ago something was done, and an earlier year only makes that less. `met`
    are walls that were judged already: what they come to need not be looked for.
    """
    ask = Asking(base, survey_year, progress, met, readings_of(properties))
    found: list[Finding] = []
    looked: list[Looked] = []
    for of_what in (outcome_findings, rule_findings):
        findings, made = of_what(ask)
        found += findings
        looked += made
    findings, made = property_findings(ask, properties)
    return [*found, *findings], [*looked, *made]
