"""The rule base as a CLIPS program, run through clipspy.

A wall is one fact with a slot for each fact or reading; a rule is one defrule. What a condition asks of single slots
becomes slot constraints, which the network shares between rules; an `any` becomes one predicate, so that a rule has
one activation a wall. Support and ruling out are noted in globals, and a rule at the end of a stage decides each of
its choices and asserts it for the stages after; salience keeps them in order. Measured and left aside as slower: a
fact for each attribute, joined in the network (by about two fifths), choices decided by patterns over asserted support
(by about a sixth), and the fact builder of clipspy in place of the text of a fact.
"""

from __future__ import annotations

import importlib.util
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any

from engines.common import Both, Conclusions, Formula, Literal, Values, formula, literals, variables_read

from engine.facts.values import State
from engine.facts.vocabulary import Variable
from engine.rulebase.conditions import UNDECIDED, Test, to_steps
from engine.rulebase.model import STAGES, Choice
from engine.rulebase.rules import Rule, RuleBase

NAME, PACKAGE = "CLIPS", "clipspy"
_UNKNOWN, _NOT_APPLICABLE, _KNOWN, _END = "UNKNOWN", "N/A", "KNOWN", "END"
_TRUE_WHEN = {"at_least": ">=", "above": ">", "at_most": "<=", "below": "<"}
_FALSE_WHEN = {"at_least": "<", "above": "<=", "at_most": ">", "below": ">="}


def missing() -> str | None:
    """Why this engine cannot run here; None where it can."""
    return None if importlib.util.find_spec("clips") else f"{PACKAGE} is not installed"


class ClipsEngine:
    """The rule base in a CLIPS environment of its own."""

    def __init__(self, base: RuleBase) -> None:
        import clips

        self._environment = clips.Environment()
        for construct in program(base):
            self._environment.build(construct)
        # clipspy puts a router of its own before all others, and asks it about every character of a fact's text:
        # without it a fact is taken in twenty times as fast. Only the wording of errors is lost.
        for router in list(self._environment.routers()):
            router.deactivate()
        self._read = [(name, _slot(name), _writer(variable)) for name, variable in variables_read(base).items()]
        self._choices = [choice.id for stage in STAGES for choice in base.choices_of[stage]]
        self._sets = tuple(base.sets)
        told = f" {_END} ".join(f"?*{name}*" for name in ("fired", "decided", *self._sets))
        self._conclusions = f"(implode$ (create$ {told}))"

    def conclude(self, walls: Sequence[Values]) -> list[Conclusions]:
        """Wall after wall: assert it, run, read what was concluded."""
        return [self._wall(values) for values in walls]

    def _wall(self, values: Values) -> Conclusions:
        environment = self._environment
        environment.reset()
        # Not `assert_string`: clipspy would keep every fact it returns in memory, and slow down with each.
        environment.load_facts(self._fact(values))
        environment.run()
        fired, decided, *found = (part.split() for part in environment.eval(self._conclusions).split(_END))
        return Conclusions(
            frozenset(fired),
            dict(zip(self._choices, decided, strict=True)),
            {name: frozenset(members) for name, members in zip(self._sets, found, strict=True)},
        )

    def _fact(self, values: Values) -> str:
        """The wall as a fact: what is unknown is left to the default of its slot."""
        slots = []
        for name, slot, written in self._read:
            value = values.get(name)
            if value is None or value.state is State.UNKNOWN:
                continue
            text = written(value.value) if value.state is State.KNOWN else _NOT_APPLICABLE
            slots.append(f"({slot} {text})")
        return f"(wall {''.join(slots)})"


def _writer(variable: Variable) -> Callable[[Any], str | int]:
    """How known values of a variable are written: numbers in whole steps."""
    match variable.kind:
        case "number":
            return lambda value: to_steps(variable, value)
        case "set":
            return " ".join
        case "choice" | "yes_no":
            return _symbol
    return lambda _: _KNOWN


def _symbol(value: str | bool | int) -> str:
    return str(value) if not isinstance(value, bool) else "yes" if value else "no"


# --- the program


def program(base: RuleBase) -> Iterator[str]:
    """The constructs of a rule base, in an order in which CLIPS can take them in."""
    for name in ("fired", "decided", *base.sets):
        yield f"(defglobal ?*{name}* = (create$))"
    for choice in base.choices.values():
        for option in choice.options:
            yield f"(defglobal {_stands(choice.id, option.id)} = {'TRUE' if option.open else 'FALSE'})"
            yield f"(defglobal {_ruled_out(choice.id, option.id)} = FALSE)"
    slots = " ".join(
        f"({'multislot' if variable.kind == 'set' else 'slot'} {_slot(name)} (default {_UNKNOWN}))"
        for name, variable in variables_read(base).items()
    )
    yield f"(deftemplate wall {slots})"
    read_by: dict[str, int] = {}
    for rule in base.rules:
        for name in {test.variable.name for test in rule.tests}:
            read_by[name] = read_by.get(name, 0) + 1
    salience = 10_000
    for stage in STAGES:
        for rule in base.by_stage[stage]:
            patterns, acts = _patterns(rule, read_by), _acts(rule)
            yield f"(defrule {rule.id} (declare (salience {salience})) {patterns} => {acts})"
        for number, choice in enumerate(base.choices_of[stage], 1):
            yield _deciding(choice, salience - number)
        for each in base.sets.values():
            if each.closes == stage:
                yield (
                    f"(defrule close-{each.id} (declare (salience {salience - 90})) (wall) => "
                    f"(assert ({_slot(f'found.{each.id}')} ?*{each.id}*)))"
                )
        salience -= 100


def _slot(name: str) -> str:
    return name.replace(".", "_")


def _stands(choice: str, option: str) -> str:
    return f"?*{choice}-{option}*"


def _ruled_out(choice: str, option: str) -> str:
    return f"?*not-{choice}-{option}*"


def _acts(rule: Rule) -> str:
    acts = [f"(bind ?*fired* ?*fired* {rule.id})"]
    acts += [f"(bind {_stands(*pair)} TRUE)" for pair in rule.supports]
    acts += [f"(bind {_ruled_out(*pair)} TRUE)" for pair in rule.rules_out]
    added: dict[str, list[str]] = {}
    for name, member in rule.adds:
        added.setdefault(name, []).append(member)
    acts += [f"(bind ?*{name}* ?*{name}* {' '.join(members)})" for name, members in added.items()]
    return " ".join(acts)


def _deciding(choice: Choice, salience: int) -> str:
    """The rule that takes the first option that stands. It follows those of its stage by salience."""
    taken = UNDECIDED
    for option in reversed(choice.options):
        stands, ruled_out = _stands(choice.id, option.id), _ruled_out(choice.id, option.id)
        taken = f"(if (and {stands} (not {ruled_out})) then {option.id} else {taken})"
    return (
        f"(defrule decide-{choice.id} (declare (salience {salience})) (wall) => "
        f"(bind ?taken {taken}) (bind ?*decided* ?*decided* ?taken) (assert ({_slot(f'decided.{choice.id}')} ?taken)))"
    )


# --- conditions


def _patterns(rule: Rule, read_by: Mapping[str, int]) -> str:
    """The left side of a rule: a pattern on the wall, one on each decision and set read, and a test of what joins them.

    The slots that most rules read come first, so that more of the network is shared; those an `any` reads come last.
    """
    whole = formula(rule.when)
    single: dict[str, list[Literal]] = {}
    groups: list[Formula] = []
    for part in whole.parts if isinstance(whole, Both) else (whole,):
        if isinstance(part, Literal):
            single.setdefault(part.test.variable.name, []).append(part)
        else:
            groups.append(part)
    grouped = {each.test.variable.name for group in groups for each in literals(group)}
    of_wall = {test.variable.name: test for test in rule.tests if test.scope == "fact"}
    before = {test.variable.name: test for test in rule.tests if test.scope != "fact"}

    slots, bound, waiting = [], set(), list(groups)
    for name in sorted(of_wall, key=lambda name: (name in grouped, -read_by[name], name)):
        bound.add(name)
        ready = [group for group in waiting if {each.test.variable.name for each in literals(group)} <= bound]
        waiting = [group for group in waiting if group not in ready]
        slots.append(f"({_slot(name)} {_constraint(of_wall[name], single.get(name, []), name in grouped, ready)})")
    patterns = [f"(wall {' '.join(slots)})"] if slots or not before else []
    for name, test in before.items():
        patterns.append(f"({_slot(name)} {_constraint(test, single.get(name, []), name in grouped, [])})")
    return " ".join([*patterns, *(f"(test {_predicate(group)})" for group in waiting)])


def _constraint(test: Test, single: list[Literal], is_grouped: bool, groups: list[Formula]) -> str:
    """What one slot must be: a list of symbols where that says it, otherwise predicates on its value."""
    variable = test.variable
    value = f"{'$' if variable.kind == 'set' else ''}{_value(variable)}"
    if single and variable.kind in ("choice", "yes_no"):
        inside, outside = _cells(single)
        if not inside:
            raise ValueError(f"a condition on {variable.name} that nothing meets")
        # After an or (`|`) no predicate can follow that goes for all of it.
        if len(inside) <= len(outside) and not groups:
            return f"{value}&{'|'.join(inside)}" if is_grouped else "|".join(inside)
        constraint = [f"~{cell}" for cell in outside]
    else:
        constraint = [f":{_predicate(each)}" for each in single]
    constraint += [f":{_predicate(group)}" for group in groups]
    named = is_grouped or not constraint or any(part.startswith(":") for part in constraint)
    return "&".join([value, *constraint] if named else constraint)


def _cells(single: list[Literal]) -> tuple[list[str], list[str]]:
    """The symbols a slot may hold for all of the literals, and those it may not."""
    test = single[0].test
    options = list(_symbols(test.variable.options)) if test.variable.kind == "choice" else ["yes", "no"]
    states = [_UNKNOWN, _NOT_APPLICABLE] if test.scope == "fact" else []
    inside = {*options, *states}
    for each in single:
        match each.test.op:
            case "known":
                true, false = {*options}, {*states}
            case "unknown":
                true, false = {_UNKNOWN}, {*options, _NOT_APPLICABLE}
            case _:
                true = {*_symbols(each.test.operand)}
                false = {*options, _NOT_APPLICABLE} - true
        inside &= true if each.wanted else false
    return [c for c in (*options, *states) if c in inside], [c for c in (*options, *states) if c not in inside]


def _symbols(values: tuple[str | bool | int, ...]) -> Iterator[str]:
    return map(_symbol, values)


def _value(variable: Variable) -> str:
    return f"?{_slot(variable.name)}"


def _predicate(whole: Formula) -> str:
    if isinstance(whole, Literal):
        kinds: Mapping[str, Callable[[Literal], str]] = {"number": _of_number, "set": _of_set}
        if whole.test.op in ("known", "unknown"):
            return _of_state(whole)
        return kinds.get(whole.test.variable.kind, _of_symbol)(whole)
    parts = " ".join(_predicate(part) for part in whole.parts)
    return f"({'and' if isinstance(whole, Both) else 'or'} {parts})"


def _either(parts: list[str]) -> str:
    return parts[0] if len(parts) == 1 else f"(or {' '.join(parts)})"


def _of_state(literal: Literal) -> str:
    value = _value(literal.test.variable)
    states = [_UNKNOWN, _NOT_APPLICABLE] if literal.test.op == "known" else [_UNKNOWN]
    if literal.test.variable.kind == "set":
        is_one = _either([f"(member$ {state} {value})" for state in states])
    else:
        is_one = _either([f"(eq {value} {state})" for state in states])
    return is_one if literal.wanted is (literal.test.op == "unknown") else f"(not {is_one})"


def _of_symbol(literal: Literal) -> str:
    value, operands = _value(literal.test.variable), list(_symbols(literal.test.operand))
    if literal.wanted:
        return _either([f"(eq {value} {operand})" for operand in operands])
    return f"(neq {value} {' '.join([*operands, *_unknown(literal)])})"


def _of_number(literal: Literal) -> str:
    test, value = literal.test, _value(literal.test.variable)
    if test.op == "one_of":
        return _of_symbol(literal)
    if literal.wanted:
        return f"(and (integerp {value}) ({_TRUE_WHEN[test.op]} {value} {test.operand[0]}))"
    beyond = f"(and (integerp {value}) ({_FALSE_WHEN[test.op]} {value} {test.operand[0]}))"
    return f"(or (eq {value} {_NOT_APPLICABLE}) {beyond})"


def _of_set(literal: Literal) -> str:
    test, value = literal.test, _value(literal.test.variable)
    if test.op == "empty":
        if literal.wanted:
            return f"(= 0 (length$ {value}))"
        return f"(not (or (= 0 (length$ {value})) (member$ {_UNKNOWN} {value})))"
    members = [*_symbols(test.operand), *([] if literal.wanted else _unknown(literal))]
    included = _either([f"(member$ {member} {value})" for member in members])
    return included if literal.wanted else f"(not {included})"


def _unknown(literal: Literal) -> list[str]:
    """The unknown state, where the variable can be in it: a decision or a set of an earlier stage cannot."""
    return [_UNKNOWN] if literal.test.scope == "fact" else []
