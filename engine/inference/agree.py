"""Holds the evaluator to what durable-rules comes to on the same case."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from engine.errors import ReadersDisagree
from engine.facts.values import Value
from engine.inference.evaluate import Evaluation
from engine.inference.forward import Forward, available, chain
from engine.rulebase.rules import RuleBase


def agreed(base: RuleBase, values: Mapping[str, Value], evaluation: Evaluation) -> str | None:
    """The version of durable-rules that came to the same, or None where it is not available.

    Raises:
        ReadersDisagree: naming every rule, choice and set on which the two differ.

    """
    version = available()
    if version is None:
        return None
    differences = list(_differences(evaluation, chain(base, values)))
    if differences:
        raise ReadersDisagree(
            f"the evaluator and durable-rules {version} differ on rule set {base.manifest.version}: "
            + "; ".join(differences)
        )
    return version


def _differences(evaluation: Evaluation, forward: Forward) -> Iterator[str]:
    for rule in sorted(evaluation.fired - forward.fired):
        yield f"rule {rule} holds for the evaluator alone"
    for rule in sorted(forward.fired - evaluation.fired):
        yield f"rule {rule} fired in durable-rules alone"
    options = {choice: outcome.option for choice, outcome in evaluation.outcomes.items()}
    for choice in sorted(options.keys() | forward.options.keys()):
        ours, theirs = options.get(choice), forward.options.get(choice)
        if ours != theirs:
            yield f"choice {choice} is {ours} for the evaluator, {theirs} for durable-rules"
    found = {name: membership.now for name, membership in evaluation.sets.items()}
    for name in sorted(found.keys() | forward.found.keys()):
        apart = found.get(name, frozenset()) ^ forward.found.get(name, frozenset())
        if apart or (name in found) != (name in forward.found):
            yield f"set {name} differs in {', '.join(sorted(apart)) or 'whether it closed'}"
