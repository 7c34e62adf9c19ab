"""The rule base as a decision graph of decision tables, run by zen-engine.

One table a stage, a row a rule, every row that holds collected: its rule and what that says. A row has one cell with
the whole condition as an expression. An expression node after each table decides the choices of the stage and closes
its sets for the tables after it. Measured and left aside as no faster: a cell for each attribute a rule reads, with
the rest of the condition in a cell of its own. Left aside as slower, by about a quarter: an output column for each set,
for support and for ruling out; and handing over one wall at a time.
"""

from __future__ import annotations

import importlib.util
import itertools
import json
from collections.abc import Iterable, Sequence
from typing import Any

from engines.common import Both, Conclusions, Formula, Literal, Values, formula, told, variables_read

from engine.facts.values import State
from engine.rulebase.conditions import UNDECIDED
from engine.rulebase.model import STAGES, Choice
from engine.rulebase.rules import Rule, RuleBase

NAME, PACKAGE = "zen-engine", "zen-engine"
_KEY, _BATCH = "rules", 500
_NOT_APPLICABLE, _KNOWN = "N/A", "KNOWN"
_APART = ("number", "set")
"""Kinds of which what does not apply is told beside the value: their values cannot be compared with a word."""
_TRUE_WHEN = {"at_least": ">=", "above": ">", "at_most": "<=", "below": "<"}
_FALSE_WHEN = {"at_least": "<", "above": "<=", "at_most": ">", "below": ">="}


def missing() -> str | None:
    """Why this engine cannot run here; None where it can."""
    return None if importlib.util.find_spec("zen") else f"{PACKAGE} is not installed"


class ZenEngine:
    """The rule base as one decision, compiled once."""

    def __init__(self, base: RuleBase) -> None:
        import zen

        self._engine = zen.ZenEngine({"loader": {"type": "static", "content": {_KEY: graph(base)}}})
        self._read = [(name, _name(name), variable) for name, variable in variables_read(base).items()]

    def conclude(self, walls: Sequence[Values]) -> list[Conclusions]:
        """Evaluate the graph for each wall, in batches."""
        found = []
        for start in range(0, len(walls), _BATCH):
            requests = [{"key": _KEY, "context": self._context(values)} for values in walls[start : start + _BATCH]]
            for answer in self._engine.evaluate_batch(requests):
                if not answer["success"]:
                    raise RuntimeError(f"zen-engine: {answer['error']}")
                found.append(_conclusions_of(answer["data"]["result"]))
        return found

    def _context(self, values: Values) -> dict[str, Any]:
        """What is known; what does not apply is told as such, and what is unknown left out."""
        wall: dict[str, Any] = {}
        for name, key, variable in self._read:
            value = values.get(name)
            if value is None or value.state is State.UNKNOWN:
                continue
            compared = told(variable, value)
            if compared is State.NOT_APPLICABLE:
                if variable.kind in _APART:
                    wall[f"{key}_na"] = True
                else:
                    wall[key] = _NOT_APPLICABLE
            elif isinstance(compared, frozenset):
                wall[key] = list(compared)
            else:
                wall[key] = _KNOWN if compared is None else compared
        return wall


def _conclusions_of(result: Any) -> Conclusions:
    return Conclusions(
        frozenset(result["fired"]),
        result["decided"],
        {name: frozenset(said.split()[1] for said in members) for name, members in result["found"].items()},
    )


# --- the graph


def graph(base: RuleBase) -> dict[str, Any]:
    """A rule base as a decision graph in JSON."""
    nodes: list[dict[str, Any]] = [{"id": "wall", "name": "wall", "type": "inputNode", "content": {}}]
    for stage in STAGES:
        nodes.append(_table(base, stage))
        nodes.append(_expressions(stage, _conclusions(base, stage), True))
    last = [
        ("fired", f"flatten([{', '.join(f'{stage}_fired' for stage in STAGES)}])"),
        ("decided", _object((choice, _name(f"decided.{choice}")) for choice in base.choices)),
        ("found", _object((name, _name(f"found.{name}")) for name in base.sets)),
    ]
    nodes.append(_expressions("conclusions", last, False))
    nodes.append({"id": "told", "name": "told", "type": "outputNode", "content": {}})
    edges = [
        {"id": f"edge-{number}", "type": "edge", "sourceId": source["id"], "targetId": target["id"]}
        for number, (source, target) in enumerate(itertools.pairwise(nodes))
    ]
    for number, node in enumerate(nodes):
        node["position"] = {"x": 200 * number, "y": 0}
    return {"contentType": "application/vnd.gorules.decision", "nodes": nodes, "edges": edges}


def _table(base: RuleBase, stage: str) -> dict[str, Any]:
    return {
        "id": f"{stage}-rules",
        "name": f"{stage}-rules",
        "type": "decisionTableNode",
        "content": {
            "hitPolicy": "collect",
            "inputs": [{"id": "when", "name": "when"}],
            "outputs": [{"id": name, "name": name, "field": name} for name in ("rule", "says")],
            "rules": [_row(rule) for rule in base.by_stage[stage]],
            "passThrough": True,
            "outputPath": f"{stage}_rows",
            "inputField": None,
            "executionMode": "single",
        },
    }


def _row(rule: Rule) -> dict[str, str]:
    says = [
        *(f"for {choice} {option}" for choice, option in rule.supports),
        *(f"not {choice} {option}" for choice, option in rule.rules_out),
        *(f"{name} {member}" for name, member in rule.adds),
    ]
    return {
        "_id": rule.id,
        "when": _expression(formula(rule.when)),
        "rule": json.dumps(rule.id),
        "says": json.dumps(says),
    }


def _expressions(name: str, expressions: Iterable[tuple[str, str]], passes: bool) -> dict[str, Any]:
    return {
        "id": f"{name}-end",
        "name": f"{name}-end",
        "type": "expressionNode",
        "content": {
            "expressions": [{"id": key, "key": key, "value": value} for key, value in expressions],
            "passThrough": passes,
            "inputField": None,
            "outputPath": None,
            "executionMode": "single",
        },
    }


def _conclusions(base: RuleBase, stage: str) -> list[tuple[str, str]]:
    """What an expression node works out of the rows of its stage: in turn, each seen by those after it."""
    rows = f"{stage}_rows"
    found = [(f"{stage}_fired", f"map({rows}, #.rule)"), (f"{stage}_said", f"flatMap({rows}, #.says)")]
    found += [(_name(f"decided.{choice.id}"), _deciding(choice)) for choice in base.choices_of[stage]]
    for each in base.sets.values():
        if each.closes == stage:
            found.append((_name(f"found.{each.id}"), _members(base, each.id, stage)))
    return found


def _members(base: RuleBase, name: str, last: str) -> str:
    """The members of a set, from every stage that adds to it."""
    adding = [stage for stage in STAGES if any(key == name for rule in base.by_stage[stage] for key, _ in rule.adds)]
    said = ", ".join(f"{'$.' if stage == last else ''}{stage}_said" for stage in adding)
    start = json.dumps(f"{name} ")
    return f"filter(flatten([{said}]), startsWith(#, {start}))"


def _deciding(choice: Choice) -> str:
    taken = json.dumps(UNDECIDED)
    for option in reversed(choice.options):
        supported, ruled_out = (
            f"{json.dumps(f'{word} {choice.id} {option.id}')} in $.{choice.stage}_said" for word in ("for", "not")
        )
        stands = f"not ({ruled_out})" if option.open else f"{supported} and not ({ruled_out})"
        taken = f"{stands} ? {json.dumps(option.id)} : ({taken})"
    return taken


def _object(pairs: Iterable[tuple[str, str]]) -> str:
    return f"{{{', '.join(f'{key}: {value}' for key, value in pairs)}}}"


def _name(name: str) -> str:
    return name.replace(".", "_")


# --- conditions


def _expression(whole: Formula) -> str:
    if isinstance(whole, Literal):
        return _literal(whole)
    word = " and " if isinstance(whole, Both) else " or "
    return f"({word.join(_expression(part) for part in whole.parts)})"


def _literal(literal: Literal) -> str:
    test, name = literal.test, _name(literal.test.variable.name)
    kind, told_apart = test.variable.kind, test.variable.kind in _APART
    not_applicable = f"{name}_na == true"
    match test.op:
        case "known" if told_apart:
            return f"{name} {'!=' if literal.wanted else '=='} null"
        case "known":
            known = f"({name} != null and {name} != '{_NOT_APPLICABLE}')"
            return known if literal.wanted else f"(not {known})"
        case "unknown":
            unknown = f"({name} == null{f' and {name}_na == null' if told_apart else ''})"
            return unknown if literal.wanted else f"(not {unknown})"
        case "one_of" if kind != "number":
            inside = _one_of(name, test.operand)
            if literal.wanted:
                return inside
            return f"(not {inside})" if test.scope == "decided" else f"({name} != null and not {inside})"
    match test.op:
        case "includes":
            told_as = f"{test.variable.name.partition('.')[2]} " if test.scope == "found" else ""
            held = " or ".join(f"{json.dumps(f'{told_as}{member}')} in {name}" for member in test.operand)
        case "empty":
            held = f"len({name}) == 0"
        case "one_of":
            held = " or ".join(f"{name} == {operand}" for operand in test.operand)
        case _:
            held = f"{name} {_TRUE_WHEN[test.op]} {test.operand[0]}"
    if test.scope == "found":
        return f"({held})" if literal.wanted else f"(not ({held}))"
    if literal.wanted:
        return f"({name} != null and ({held}))"
    if test.op in _FALSE_WHEN:
        return f"({name} == null ? {not_applicable} : {name} {_FALSE_WHEN[test.op]} {test.operand[0]})"
    return f"({name} == null ? {not_applicable} : not ({held}))"


def _one_of(name: str, operands: tuple[str | bool | int, ...]) -> str:
    if len(operands) == 1:
        return f"({name} == {json.dumps(operands[0])})"
    return f"({name} in [{', '.join(json.dumps(each) for each in operands)}])"
