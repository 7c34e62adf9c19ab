"""The chain from the facts of one wall to a decision, grown backwards from what is asked about."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from engine.decision.grounds import grounds, now_view
from engine.facts.values import UNKNOWN_VALUE, State, Value, in_words
from engine.inference.evaluate import Evaluation
from engine.inference.truth import Truth
from engine.inference.view import View
from engine.readings.vocabulary import READINGS
from engine.reasoning.graph import Edge, EdgeKind, Node
from engine.reasoning.graph_vain import InVain
from engine.rulebase.conditions import Test
from engine.rulebase.model import STAGES, Choice
from engine.rulebase.rules import Rule, RuleBase

FACT_COLUMN, READING_COLUMN = 0, 1
COLUMNS = ("Facts", "Readings", *(part for stage in STAGES for part in (f"Rules: {stage}", f"Found: {stage}")))
"""Of each column what stands in it: facts, readings, then for every stage its rules and what they come to."""


def rule_column(stage: str) -> int:
    """The column of a stage's rules; what they come to stands in the next."""
    return 2 + 2 * STAGES.index(stage)


@dataclass(slots=True)
class Chain:
    """Grows the graph backwards from what is asked about, each node and edge once.

    `everything` adds the rules that are kept open by unknown facts, and every rule that rules an option out; without
    it only those rulings-out are shown but for which another option would have been taken.
    """

    base: RuleBase
    evaluation: Evaluation
    everything: bool = False
    nodes: dict[str, Node] = field(default_factory=dict)
    edges: dict[tuple[str, str, EdgeKind], Edge] = field(default_factory=dict)
    view: View = field(init=False)

    def __post_init__(self) -> None:
        self.view = now_view(self.evaluation)

    # what may be asked about

    def choice(self, name: str, option: str = "") -> str:
        """A choice with what it rests on. Returns its node, as all of these do.

        With an option also the rules that support it or rule it out, or might.
        """
        node = f"decided.{name}"
        if node in self.nodes:
            self._join_all(name, node, option)
            return node
        choice, outcome = self.base.choices[name], self.evaluation.outcomes[name]
        says = next((option.says for option in choice.options if option.id == outcome.option), outcome.option)
        self.nodes[node] = Node(
            id=node,
            kind="choice",
            column=rule_column(choice.stage) + 1,
            head="decision",
            lines=(choice.title, says),
            foot=outcome.status,
            state="known" if outcome.settled else "open",
        )
        self._join_all(name, node, option)
        return node

    def _join_all(self, name: str, node: str, option: str) -> None:
        choice, taken = self.base.choices[name], self.evaluation.outcomes[name].option
        kept_out = {*self._kept_out(choice), option}
        for rule in self.base.by_stage[choice.stage]:
            supported = {each for choice_id, each in rule.supports if choice_id == name}
            ruled_out = {each for choice_id, each in rule.rules_out if choice_id == name}
            holds = rule.id in self.evaluation.fired
            if not holds:
                # Of a rule that is kept open, everything it might conclude counts.
                if self.evaluation.ever[rule.id] is not Truth.UNKNOWN:
                    continue
                if not self.everything:
                    supported, ruled_out = supported & {option}, ruled_out & {option}
            if supported & {taken, option} or (supported and not holds):
                self.join(rule, node, "supports")
            if ruled_out & kept_out or (ruled_out and not holds):
                self.join(rule, node, "rules_out")

    def member(self, name: str, member: str) -> str:
        """A member of a set with the rules that put it there, or might."""
        node = f"found.{name}.{member}"
        if node in self.nodes:
            return node
        held = self.evaluation.sets[name]
        known = self.base.members[name][member]
        here = member in held.now
        self.nodes[node] = Node(
            id=node,
            kind="member",
            column=rule_column(self.base.sets[name].closes) + 1,
            head=self.base.sets[name].title,
            lines=(known.says,),
            foot=("settled" if member in held.sure else "provisional") if here else "perhaps, once more is known",
            state="known" if member in held.sure else "open",
        )
        for rule in self.base.rules:
            wanted = rule.id in self.evaluation.fired or (
                (self.everything or not here) and self.evaluation.ever[rule.id] is Truth.UNKNOWN
            )
            if (name, member) in rule.adds and wanted:
                self.join(rule, node, "adds")
        return node

    def members(self, name: str) -> list[str]:
        """Every member of a set: those it has, and with `everything` those it might yet have."""
        held = self.evaluation.sets[name]
        shown = held.now | held.may if self.everything else held.now
        order = self.base.members[name]
        return [self.member(name, each) for each in sorted(shown, key=lambda m: (order[m].order, m))]

    def works_of_rules_shown(self) -> None:
        """What the rules in the graph add to the sets that close with the works."""
        for rule in [self.base.by_id[node.id] for node in self.nodes.values() if node.kind == "rule"]:
            for name, member in rule.adds:
                if self.base.sets[name].closes == "works" and member in self.evaluation.sets[name].now:
                    self.member(name, member)

    # rules

    def _kept_out(self, choice: Choice) -> list[str]:
        """The options that rules are shown to rule out."""
        options = [option.id for option in choice.options]
        if self.everything:
            return options
        taken = self.evaluation.outcomes[choice.id].option
        before = choice.options[: options.index(taken)] if taken in options else choice.options
        return [option.id for option in before if option.open or self._supported(choice.id, option.id)]

    def _supported(self, choice: str, option: str) -> bool:
        fired = self.evaluation.fired
        return any((choice, option) in rule.supports and rule.id in fired for rule in self.base.rules)

    def join(self, rule: Rule, node: str, kind: EdgeKind) -> None:
        """A rule with what makes it hold, joined to what it bears on."""
        is_open = rule.id not in self.evaluation.fired
        self._edge(Edge(self.rule(rule), node, kind, label=self._label(rule, node, kind), open=is_open))

    def _label(self, rule: Rule, node: str, kind: EdgeKind) -> str:
        choice = node.partition(".")[2]
        concluded = rule.supports if kind == "supports" else rule.rules_out if kind == "rules_out" else ()
        options = ", ".join(option for name, option in concluded if name == choice)
        return f"{kind.replace('_', ' ')} {options}" if options else kind

    def rule(self, rule: Rule) -> str:
        """A rule with what makes it hold, or, where unknown facts keep it open, with those."""
        if rule.id in self.nodes:
            return rule.id
        holds = rule.id in self.evaluation.fired
        against = ", ".join(option.replace("_", " ") for _, option in rule.rules_out)
        self.nodes[rule.id] = Node(
            id=rule.id,
            kind="rule",
            column=rule_column(rule.stage),
            head=f"rule {rule.id}" if holds else f"rule {rule.id}, open",
            lines=(rule.title, *((f"rules out {against}",) if against else ())),
            foot=f"{rule.word}; {rule.raw.certainty} certainty",
            state="known" if holds else "open",
        )
        by_words = {test.in_words(): test for test in rule.tests}
        if holds:
            tests = [by_words[ground.test] for ground in grounds(rule.when, self.evaluation, self.view)]
        else:
            tests = [test for test in rule.tests if self._keeps_open(test)]
        for test in tests:
            for source in self._sources(test):
                self._edge(Edge(source, rule.id, "bears", open=not holds))
        return rule.id

    def _keeps_open(self, test: Test) -> bool:
        scope, _, key = test.variable.name.partition(".")
        if scope == "decided":
            return not self.evaluation.outcomes[key].settled
        if scope == "found":
            return bool(self.evaluation.sets[key].may)
        return self._value(test.variable.name).state is State.UNKNOWN

    def _sources(self, test: Test) -> list[str]:
        scope, _, key = test.variable.name.partition(".")
        if scope == "decided":
            return [self.choice(key)]
        if scope == "found":
            return self._of_set(key, test)
        return [self.variable(test.variable.name)]

    def _of_set(self, name: str, test: Test) -> list[str]:
        """The members a test of a set rests on; where there are none, the set itself."""
        held = self.evaluation.sets[name]
        asked = [str(member) for member in test.operand] if test.op == "includes" else sorted(held.now)
        here = [member for member in asked if member in held.now]
        perhaps = [member for member in asked if member in held.may and member not in held.now]
        if here:
            return [self.member(name, member) for member in here]
        if self.everything and perhaps:
            return [self.member(name, member) for member in perhaps]
        node = f"found.{name}"
        closes = self.base.sets[name]
        said = "none of these" if asked else "none"
        self.nodes[node] = Node(
            node, "member", rule_column(closes.closes) + 1, closes.title, (said,), state="open" if perhaps else "known"
        )
        return [node]

    # what was looked for and not found

    def would_change(self, found: Iterable[InVain]) -> None:
        """Rules that do not hold for one fact alone, with that fact and what they would change."""
        for each in found:
            fact = self.variable(each.fact)
            rule = self._idle(each.rule)
            if each.first is None:
                self._edge(Edge(fact, rule, "bears", open=True))
            else:
                first = self._idle(each.first)
                self._edge(Edge(fact, first, "bears", open=True))
                self._edge(Edge(first, rule, "adds", label=f"would add {each.member}", open=True))
            for kind, concluded in self._concluded(each.rule):
                options = ", ".join(option for name, option in concluded if name == each.choice)
                if options:
                    label = f"would {'support' if kind == 'supports' else 'rule out'} {options}"
                    self._edge(Edge(rule, f"decided.{each.choice}", kind, label=label, open=True))

    @staticmethod
    def _concluded(rule: Rule) -> tuple[tuple[EdgeKind, Sequence[tuple[str, str]]], ...]:
        return ("supports", rule.supports), ("rules_out", rule.rules_out)

    def _idle(self, rule: Rule) -> str:
        against = ", ".join(option.replace("_", " ") for _, option in rule.rules_out)
        self.nodes.setdefault(
            rule.id,
            Node(
                id=rule.id,
                kind="rule",
                column=rule_column(rule.stage),
                head=f"rule {rule.id}, does not hold",
                lines=(rule.title, *((f"would rule out {against}",) if against else ())),
                foot="looked for and not found",
                state="idle",
            ),
        )
        return rule.id

    # facts and readings

    def _value(self, name: str) -> Value:
        return self.evaluation.values.get(name, UNKNOWN_VALUE)

    def variable(self, name: str) -> str:
        """A fact, or a reading with the facts it is computed from."""
        if name in self.nodes:
            return name
        variable, value = self.base.variables[name], self._value(name)
        is_reading = name in READINGS
        unit = f" {variable.unit}" if variable.unit and value.known else ""
        self.nodes[name] = Node(
            id=name,
            kind="reading" if is_reading else "fact",
            column=READING_COLUMN if is_reading else FACT_COLUMN,
            head="reading" if is_reading else "fact",
            lines=(name.removeprefix("reading."), in_words(value.value) + unit if value.known else value.state.value),
            foot="" if is_reading else _foot(value),
            state="unknown" if value.state is State.UNKNOWN else "known",
        )
        if is_reading:
            for fact in variable.from_facts:
                if self._feeds(self._value(fact), value):
                    self._edge(Edge(self.variable(fact), name, "bears", open=not value.known))
        return name

    @staticmethod
    def _feeds(fact: Value, reading: Value) -> bool:
        """Whether a fact is what a reading was computed from, or what it wants."""
        if reading.state is State.UNKNOWN and not reading.for_good:
            return fact.state is State.UNKNOWN
        return fact.state is not State.UNKNOWN if reading.known else True

    def _edge(self, edge: Edge) -> None:
        self.edges.setdefault((edge.source, edge.target, edge.kind), edge)


def _foot(value: Value) -> str:
    """How a fact was established, and its place: the line alone, since the file is the same throughout."""
    place = value.where
    _, colon, line = place.rpartition(":")
    if colon and line.isdigit():
        place = f"line {line}"
    return ", ".join(part for part in (value.established or "", place) if part)
