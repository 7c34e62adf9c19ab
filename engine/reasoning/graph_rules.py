"""The rule base itself as a graph: what its rules read, what they decide, and which later stages read that."""

from __future__ import annotations

import difflib
from collections import Counter
from collections.abc import Iterable, Sequence

from engine.errors import BadInput, Problem
from engine.facts.vocabulary import facts
from engine.readings.vocabulary import READINGS
from engine.reasoning.graph import Edge, EdgeKind, Graph, Node
from engine.rulebase.conditions import Test
from engine.rulebase.model import STAGES
from engine.rulebase.rules import Rule, RuleBase

_FACTS, _READINGS, _EARLIER, _RULES, _OPTIONS, _DECIDED, _LATER = range(7)
_COLUMNS = ("Facts", "Readings", "Decided earlier", "Rules", "Options and members", "Choices and sets", "Read later")


def graph_of(base: RuleBase, *, stage: str | None = None, choice: str | None = None, rule: str | None = None) -> Graph:
    """The rule base as a whole, or one stage, one choice or set, or one rule of it.

    Raises:
        BadInput: nothing of that name, or more than one asked for.
    """
    asked = {"--stage": stage, "--choice": choice, "--rule": rule.upper() if rule is not None else None}
    known = {"--stage": STAGES, "--choice": (*base.choices, *base.sets), "--rule": tuple(base.by_id)}
    given = {option: name for option, name in asked.items() if name is not None}
    problems = [_no_such(option, name, known[option]) for option, name in given.items() if name not in known[option]]
    if len(given) > 1:
        problems.append(Problem("", 0, 0, " and ".join(given), "cannot be asked for together", "", "one of them"))
    if problems:
        raise BadInput(problems)
    match given:
        case {"--stage": name}:
            return of_stage(base, name)
        case {"--choice": name}:
            return of_outcome(base, name)
        case {"--rule": name}:
            return of_rule(base, base.by_id[name])
    return overview(base)


def _no_such(option: str, name: str, known: Sequence[str]) -> Problem:
    near = difflib.get_close_matches(name, known, 3, 0.5)
    allowed = "an id that `rules list` shows" if option == "--rule" else ", ".join(known)
    what = {"--stage": "no such stage", "--choice": "no such choice or set", "--rule": "no such rule"}[option]
    return Problem("", 0, 0, option, what, name, allowed, f"did you mean {' or '.join(near)}?" if near else "")


def overview(base: RuleBase) -> Graph:
    """Every choice and set in the column of its stage, and how many rules lead from one to another."""
    columns = ("Facts", "Readings", *(f"Stage: {stage}" for stage in STAGES))
    counts: Counter[tuple[str, str]] = Counter()
    decided: Counter[str] = Counter()
    for rule in base.rules:
        targets = _targets(rule)
        decided.update(targets)
        counts.update((source, target) for source in _groups(rule) for target in targets)
    counts["facts", "readings"] = len(READINGS)
    read = {test.variable.name for rule in base.rules for test in rule.tests}
    named = (read | {fact for reading in READINGS.values() for fact in reading.from_facts}) & facts().keys()
    nodes = [
        Node("facts", "fact", 0, "facts", (f"{len(named)} facts",), "what a survey says"),
        Node("readings", "reading", 1, "readings", (f"{len(READINGS)} readings",), "computed from facts"),
    ]
    nodes += [_outcome(base, name, 2 + STAGES.index(_stage_of(base, name)), decided[name]) for name in _outcomes(base)]
    order = {node.id: index for index, node in enumerate(nodes)}
    edges = [
        Edge(source, target, "bears", label=str(count), counted=True)
        for (source, target), count in sorted(counts.items(), key=lambda item: [order[each] for each in item[0]])
    ]
    says = (
        f"{len(base.rules)} rules. A number on a line is how many rules read what is on its left and decide on what is "
        "on its right."
    )
    return _graph(base, "choices and sets by stage", says, nodes, edges, columns)


def of_stage(base: RuleBase, stage: str) -> Graph:
    """The rules of one stage, what they read, what they decide, and which later stages read that."""
    rules = base.by_stage[stage]
    return _zoomed(base, f"stage {stage}", f"{len(rules)} rules", rules)


def of_rule(base: RuleBase, rule: Rule) -> Graph:
    """One rule: its tests, what it concludes, and which later stages read that."""
    return _zoomed(base, f"rule {rule.id}", rule.title, [rule], with_tests=True)


def of_outcome(base: RuleBase, name: str) -> Graph:
    """One choice with its options in order, or one set with its members, and the rules that bear on each."""
    node = f"decided.{name}" if name in base.choices else f"found.{name}"
    rules = [rule for rule in base.rules if node in _targets(rule)]
    title = base.choices[name].title if name in base.choices else base.sets[name].title
    return _zoomed(base, f"{'choice' if name in base.choices else 'set'} {name}: {title}", f"{len(rules)} rules", rules,
                   only=name)  # fmt: skip


def _zoomed(
    base: RuleBase, what: str, says: str, rules: Sequence[Rule], *, with_tests: bool = False, only: str | None = None
) -> Graph:
    nodes: dict[str, Node] = {}
    edges: dict[tuple[str, str, EdgeKind], Edge] = {}

    def join(source: str, target: str, kind: EdgeKind, label: str = "", *, counted: bool = False) -> None:
        edges.setdefault((source, target, kind), Edge(source, target, kind, label, counted=counted))

    for rule in rules:
        nodes[rule.id] = _rule(rule)
        for test in rule.tests:
            name = test.variable.name
            said = [each.in_words().removeprefix(name).strip() for each in rule.tests if each.variable.name == name]
            nodes.setdefault(name, _source(base, test, tuple(dict.fromkeys(said)) if with_tests else ()))
            join(name, rule.id, "bears")
        for kind, concluded in _conclusions(rule):
            for name, each in concluded:
                target = f"decided.{name}" if name in base.choices else f"found.{name}"
                if only is None:
                    nodes.setdefault(target, _outcome(base, target, _DECIDED))
                    join(rule.id, target, kind, f"{kind.replace('_', ' ')} {each}")
                elif name == only:
                    nodes.setdefault(f"{target}.{each}", _part(base, name, each))
                    join(rule.id, f"{target}.{each}", kind)
    for name in [each for each in nodes if with_tests and each in READINGS]:
        for fact in READINGS[name].from_facts:
            nodes.setdefault(fact, Node(fact, "fact", _FACTS, "fact", (fact,)))
            join(fact, name, "bears")
    if only is not None:
        target = f"decided.{only}" if only in base.choices else f"found.{only}"
        parts = {f"{target}.{each}": _part(base, only, each) for each in _parts(base, only)}
        nodes = {**{name: node for name, node in nodes.items() if name not in parts}, **parts}
        nodes[target] = _outcome(base, target, _DECIDED)
        for each in parts:
            join(each, target, "bears", "is one of")
    for stage, name, count in _readers(base, [node.id for node in nodes.values() if node.column == _DECIDED]):
        nodes.setdefault(f"stage.{stage}", Node(f"stage.{stage}", "stage", _LATER, "stage", (stage,)))
        join(name, f"stage.{stage}", "bears", str(count), counted=True)
    if any(edge.counted for edge in edges.values()):
        says = f"{says}. A number on a line is how many rules of the later stage read it."
    return _graph(base, what, says, list(nodes.values()), list(edges.values()), _COLUMNS)


def _graph(
    base: RuleBase, what: str, says: str, nodes: Sequence[Node], edges: Sequence[Edge], columns: tuple[str, ...]
) -> Graph:
    return Graph(
        title=f"Rules {base.manifest.version}, {what}",
        says=says,
        columns=columns,
        nodes=tuple(nodes),
        edges=tuple(edges),
        notes=(f"Digest of the rules {base.digest}.",),
        ordered=frozenset((_OPTIONS,)) if columns is _COLUMNS else frozenset(),
    )


def _conclusions(rule: Rule) -> tuple[tuple[EdgeKind, tuple[tuple[str, str], ...]], ...]:
    return ("supports", rule.supports), ("rules_out", rule.rules_out), ("adds", rule.adds)


def _targets(rule: Rule) -> list[str]:
    """The choices and sets a rule decides on, each once."""
    chosen = [f"decided.{name}" for name, _ in (*rule.supports, *rule.rules_out)]
    return list(dict.fromkeys((*chosen, *(f"found.{name}" for name, _ in rule.adds))))


def _groups(rule: Rule) -> list[str]:
    """What a rule reads, with all facts taken for one and all readings for one."""
    names = []
    for test in rule.tests:
        scope = test.variable.name.partition(".")[0]
        is_reading = test.variable.name in READINGS
        names.append(test.variable.name if scope in ("decided", "found") else "readings" if is_reading else "facts")
    return list(dict.fromkeys(names))


def _outcomes(base: RuleBase) -> list[str]:
    return [*(f"decided.{name}" for name in base.choices), *(f"found.{name}" for name in base.sets)]


def _stage_of(base: RuleBase, node: str) -> str:
    scope, _, name = node.partition(".")
    return base.choices[name].stage if scope == "decided" else base.sets[name].closes


def _outcome(base: RuleBase, node: str, column: int, rules: int | None = None) -> Node:
    scope, _, name = node.partition(".")
    foot = "" if rules is None else f"{rules} rules"
    if scope == "decided":
        return Node(node, "choice", column, f"choice {name}", (base.choices[name].title,), foot)
    return Node(node, "member", column, f"set {name}", (base.sets[name].title,), foot)


def _rule(rule: Rule) -> Node:
    return Node(
        rule.id, "rule", _RULES, f"rule {rule.id}", (rule.title,), f"{rule.word}; {rule.raw.certainty} certainty"
    )


def _source(base: RuleBase, test: Test, said: tuple[str, ...]) -> Node:
    """What a rule reads: a fact, a reading, or what an earlier stage decided."""
    name = test.variable.name
    if test.scope != "fact":
        earlier = _outcome(base, name, _EARLIER)
        return Node(name, earlier.kind, _EARLIER, earlier.head, (*earlier.lines, *said))
    if name in READINGS:
        return Node(name, "reading", _READINGS, "reading", (name.removeprefix("reading."), *said))
    return Node(name, "fact", _FACTS, "fact", (name, *said))


def _parts(base: RuleBase, name: str) -> list[str]:
    if name in base.choices:
        return [option.id for option in base.choices[name].options]
    members = base.members[name]
    return sorted(members, key=lambda member: (members[member].order, member))


def _part(base: RuleBase, name: str, part: str) -> Node:
    """An option with its place in the order, or a member of a set."""
    if name in base.choices:
        options = base.choices[name].options
        place, option = next((n, each) for n, each in enumerate(options, 1) if each.id == part)
        foot = "open from the start" if option.open else "needs support"
        head = f"option {place} of {len(options)}"
        return Node(f"decided.{name}.{part}", "choice", _OPTIONS, head, (part, option.says), foot)
    return Node(f"found.{name}.{part}", "member", _OPTIONS, f"in {name}", (part, base.members[name][part].says))


def _readers(base: RuleBase, names: Iterable[str]) -> list[tuple[str, str, int]]:
    """For each later stage and each of these choices and sets: how many of its rules read it."""
    found = []
    for name in names:
        for stage, rules in base.by_stage.items():
            count = sum(any(test.variable.name == name for test in rule.tests) for rule in rules)
            if count:
                found.append((stage, name, count))
    return sorted(found, key=lambda each: STAGES.index(each[0]))
