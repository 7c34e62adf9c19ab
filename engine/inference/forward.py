"""The rule base fired by durable-rules, stage after stage: a reader that shares only the compiled rules.

Every condition is split into the ways in which it holds; each way is one rule of durable-rules, joining one fact per
attribute. A stage is finished, and its choices decided here from the rules that fired, before anything is asserted
for the next: the engine does not withdraw what rested on a negation.
"""

from __future__ import annotations

import contextlib
import functools
import importlib
import importlib.metadata
import itertools
import threading
import types
import warnings
from bisect import bisect_left
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from engine.errors import BedjointError
from engine.facts.values import State, Value, known
from engine.facts.vocabulary import Variable
from engine.rulebase.conditions import UNDECIDED, All, AnyOf, Condition, Not, Test, to_steps
from engine.rulebase.model import STAGES, Choice
from engine.rulebase.rules import Rule, RuleBase

Cell = str | int
Way = Mapping[str, frozenset[Cell]]
"""One way in which a condition holds: for each attribute it rests on, the cells its fact may lie in."""
Pattern = dict[str, Any]

_UNKNOWN, _NOT_APPLICABLE, _KNOWN = "?unknown", "?does_not_apply", "?known"
_YES, _NO, _NONE, _SOME = "yes", "no", "?none", "?some"
_STATES = (_UNKNOWN, _NOT_APPLICABLE)
_END = "?end"
_CASE = "case"

# The engine's own limits: 16 joined facts; 64 comparisons true of one fact at once, and the `$or` they stand in count
# too; in a ruleset 512 distinct comparisons and 256 uses of one. Past some of them it hangs or brings the process
# down, so each stage is cut up well below.
_MOST_JOINED = 12
_MOST_OF_ONE_ATTRIBUTE = 40
_MOST_COMPARISONS = 200
_MOST_RULES = 100
_MOST_WAYS = 500

# What the engine itself gives a meaning to, in a definition or in a fact.
_RESERVED = (
    "sid id all any run count pri cap dist $s $m $i $or $and $eq $neq $lt $lte $gt $gte $ex $nex $not "
    "$mt $imt $iall $iany $forward $all $any $add $sub $mul $div $l $r"
)


@dataclass(frozen=True, slots=True)
class Forward:
    """What forward chaining came to: the rules that fired, the option of each choice, the members of each set."""

    fired: frozenset[str]
    options: Mapping[str, str]
    found: Mapping[str, frozenset[str]]


def available() -> str | None:
    """The version of durable-rules, or None where it is not installed or cannot be imported."""
    loaded = _durable()
    return None if loaded is None else loaded[1]


def chain(base: RuleBase, values: Mapping[str, Value]) -> Forward:
    """Fire every stage in order. `values` holds facts and readings; one left out is unknown.

    Raises:
        BedjointError: durable-rules is not available, cannot hold the rule base, or did not finish.

    """
    with _LOCK, warnings.catch_warnings():
        # From Python 3.12 on the engine's clock goes through a deprecated call.
        warnings.simplefilter("ignore", DeprecationWarning)
        machine = _MACHINES.get(base.digest)
        if machine is None:
            machine = _MACHINES[base.digest] = _Machine(base)
        return machine.chain(values)


def hashed(name: str) -> int:
    """The 32-bit FNV-1a hash by which the engine tells names apart."""
    value = 2166136261
    for byte in name.encode():
        value = ((value ^ byte) * 16777619) & 0xFFFFFFFF
    return value


_LOCK = threading.RLock()
_MACHINES: dict[str, _Machine] = {}
_NUMBERS = itertools.count()


@functools.cache
def _durable() -> tuple[types.ModuleType, str] | None:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            module = importlib.import_module("durable.engine")
            return module, importlib.metadata.version("durable_rules")
        except ImportError:
            return None


@dataclass(frozen=True, slots=True)
class _Attribute:
    """What one fact tells: the value of a variable, whether a set holds anything, or whether it holds one member.

    A value lies in exactly one of the `cells`, and the two states are cells like any other. The cells of a number
    are the ranges between `cuts`, numbered from the lowest.
    """

    name: str
    variable: Variable
    member: str | None
    cells: tuple[Cell, ...]
    cuts: tuple[int, ...] = ()

    @property
    def steps(self) -> str:
        """The property that carries a number, beside its state."""
        return f"{self.name}#"

    @property
    def whole(self) -> frozenset[Cell]:
        """All cells: no restriction."""
        return frozenset(self.cells)

    def told(self, values: Mapping[str, Value]) -> Pattern:
        """The properties of the fact for these values."""
        value = values.get(self.variable.name)
        if value is None or value.state is State.UNKNOWN:
            return {self.name: _UNKNOWN}
        if value.state is State.NOT_APPLICABLE:
            return {self.name: _NOT_APPLICABLE}
        raw = value.value
        kind = self.variable.kind
        if kind == "number" and isinstance(raw, int | float) and not isinstance(raw, bool):
            return {self.name: _KNOWN, self.steps: to_steps(self.variable, raw)}
        if kind == "choice" and isinstance(raw, str) and raw in self.variable.options:
            return {self.name: raw}
        if kind == "yes_no" and isinstance(raw, bool):
            return {self.name: _YES if raw else _NO}
        if kind == "set" and isinstance(raw, frozenset):
            if self.member is None:
                return {self.name: _SOME if raw else _NONE}
            return {self.name: _YES if self.member in raw else _NO}
        if kind in ("date", "rows"):
            return {self.name: _KNOWN}
        # The engine compares loosely: what is not of its kind must never reach it.
        raise TypeError(f"{self.variable.name}: {raw!r} is not a value of it")

    def pattern(self, region: frozenset[Cell]) -> Pattern:
        """The test, in the engine's terms, that this attribute's fact lies in the region."""
        if self.variable.kind == "number":
            return _either([*self._ranges(region), *({self.name: s} for s in _STATES if s in region)])
        inside = [{self.name: cell} for cell in self.cells if cell in region]
        outside = [{"$neq": {self.name: cell}} for cell in self.cells if cell not in region]
        return _either(inside) if len(inside) <= len(outside) or not outside else _both(outside)

    def _ranges(self, region: frozenset[Cell]) -> Iterator[Pattern]:
        numbers = len(self.cuts) + 1
        if all(cell in region for cell in range(numbers)):
            yield {self.name: _KNOWN}
            return
        for inside, group in itertools.groupby(range(numbers), key=region.__contains__):
            if inside:
                run = list(group)
                first, last = run[0], run[-1]
                above = [{"$gte": {self.steps: self.cuts[first - 1]}}] if first else []
                below = [{"$lt": {self.steps: self.cuts[last]}}] if last < len(self.cuts) else []
                yield _both([*above, *below])


def _either(patterns: list[Pattern]) -> Pattern:
    return patterns[0] if len(patterns) == 1 else {"$or": patterns}


def _both(patterns: list[Pattern]) -> Pattern:
    return patterns[0] if len(patterns) == 1 else {"$and": patterns}


def _comparisons(pattern: Pattern) -> Iterator[str]:
    for key, value in pattern.items():
        if key in ("$or", "$and"):
            for part in value:
                yield from _comparisons(part)
        else:
            yield f"{key}:{value}"


def _bounds(test: Test) -> Iterator[tuple[int | None, int | None]]:
    """The ranges of whole steps in which a test of a number holds: from the first, up to but not the second."""
    for operand in test.operand:
        assert isinstance(operand, int)
        match test.op:
            case "at_least":
                yield operand, None
            case "above":
                yield operand + 1, None
            case "at_most":
                yield None, operand + 1
            case "below":
                yield None, operand
            case _:
                yield operand, operand + 1


def _attributes(rules: Iterable[Rule]) -> dict[str, _Attribute]:
    """Every attribute the rules read, by name."""
    variables: dict[str, Variable] = {}
    cuts: dict[str, set[int]] = {}
    members: dict[str, set[str]] = {}
    for test in (test for rule in rules for test in rule.tests):
        name = test.variable.name
        variables[name] = test.variable
        if test.variable.kind == "number":
            found = (bound for pair in _bounds(test) for bound in pair if bound is not None)
            cuts.setdefault(name, set()).update(found)
        if test.op == "includes":
            members.setdefault(name, set()).update(str(member) for member in test.operand)
    read: dict[str, _Attribute] = {}
    for name, variable in variables.items():
        edges = tuple(sorted(cuts.get(name, ())))
        match variable.kind:
            case "choice":
                cells: tuple[Cell, ...] = variable.options
            case "yes_no":
                cells = (_YES, _NO)
            case "number":
                cells = tuple(range(len(edges) + 1))
            case "set":
                cells = (_NONE, _SOME)
                for member in sorted(members.get(name, ())):
                    key = f"{name}={member}"
                    read[key] = _Attribute(key, variable, member, (_YES, _NO, *_STATES))
            case _:
                cells = (_KNOWN,)
        read[name] = _Attribute(name, variable, None, (*cells, *_STATES), edges)
    return read


class _Ways:
    """Splits conditions into the ways in which they are true, or false.

    Being true and being false are each a set of whole states of the facts, unknown and not applicable among them, so
    the ways may be intersected, joined and simplified like any sets; what is in neither is unknown.
    """

    def __init__(self, attributes: Mapping[str, _Attribute]) -> None:
        self._attributes = attributes

    def of(self, rule: Rule) -> list[Way]:
        """The ways in which a rule holds."""
        try:
            return self._of(rule.when, wanted=True)
        except OverflowError:
            raise BedjointError(f"{rule.id} holds in more than {_MOST_WAYS} ways: split it") from None

    def _of(self, condition: Condition, *, wanted: bool) -> list[Way]:
        match condition:
            case Test():
                return self._of_test(condition, wanted)
            case Not(part):
                return self._of(part, wanted=not wanted)
            case All(parts) | AnyOf(parts):
                each = [self._of(part, wanted=wanted) for part in parts]
                return self._meet(each) if isinstance(condition, All) is wanted else self._join(each)

    def _of_test(self, test: Test, wanted: bool) -> list[Way]:
        name = test.variable.name
        if test.op == "includes":
            keys = [f"{name}={member}" for member in test.operand]
            if wanted:
                return [{key: frozenset((_YES,))} for key in keys]
            return [{key: frozenset((_NO, _NOT_APPLICABLE)) for key in keys}]
        attribute = self._attributes[name]
        true: frozenset[Cell]
        match test.op:
            case "unknown":
                true = frozenset((_UNKNOWN,))
            case "known":
                true = attribute.whole.difference(_STATES)
            case "empty":
                true = frozenset((_NONE,))
            case _ if test.variable.kind == "number":
                true = frozenset(cell for pair in _bounds(test) for cell in _cells(attribute, *pair))
            case _ if test.variable.kind == "yes_no":
                true = frozenset(_YES if operand else _NO for operand in test.operand)
            case _:
                true = frozenset(str(operand) for operand in test.operand)
        if wanted:
            return [{name: true}]
        false = attribute.whole - true
        return [{name: false if test.op in ("known", "unknown") else false - {_UNKNOWN}}]

    def _meet(self, groups: list[list[Way]]) -> list[Way]:
        ways: list[Way] = [{}]
        for group in groups:
            met = (_both_ways(one, other) for one in ways for other in group)
            ways = self._simplest(way for way in met if way is not None)
        return ways

    def _join(self, groups: list[list[Way]]) -> list[Way]:
        return self._simplest(itertools.chain.from_iterable(groups))

    def _simplest(self, ways: Iterable[Way]) -> list[Way]:
        """The same ways without those within others, and with those that differ in one attribute joined."""
        kept: list[Way] = []
        for way in ways:
            fresh: Way | None = way
            while fresh is not None and not any(_covers(old, fresh) for old in kept):
                now = fresh
                kept = [old for old in kept if not _covers(now, old)]
                partner = next((old for old in kept if self._joined(old, now) is not None), None)
                if partner is None:
                    kept.append(now)
                    break
                kept.remove(partner)
                fresh = self._joined(partner, now)
            if len(kept) > _MOST_WAYS:
                raise OverflowError
        return kept

    def _joined(self, one: Way, other: Way) -> Way | None:
        if one.keys() != other.keys():
            return None
        apart = [name for name, region in one.items() if other[name] != region]
        if len(apart) != 1:
            return None
        name = apart[0]
        region = one[name] | other[name]
        rest = {key: value for key, value in one.items() if key != name}
        return rest if region == self._attributes[name].whole else {**rest, name: region}


def _cells(attribute: _Attribute, low: int | None, high: int | None) -> range:
    first = 0 if low is None else bisect_left(attribute.cuts, low) + 1
    last = len(attribute.cuts) if high is None else bisect_left(attribute.cuts, high)
    return range(first, last + 1)


def _both_ways(one: Way, other: Way) -> Way | None:
    """Where both hold; None where they contradict each other."""
    met = dict(one)
    for name, region in other.items():
        met[name] = met[name] & region if name in met else region
        if not met[name]:
            return None
    return met


def _covers(wide: Way, narrow: Way) -> bool:
    return all(name in narrow and narrow[name] <= region for name, region in wide.items())


@dataclass(frozen=True, slots=True)
class _Piece:
    """One rule of durable-rules: its name, and the facts it joins with the test of each."""

    name: str
    joins: tuple[tuple[_Attribute, Pattern], ...]

    @property
    def definition(self) -> list[Pattern]:
        """What is joined, as the engine takes it."""
        if not self.joins:
            return [{"m": {_END: 1}}]
        return [{f"m_{index}": pattern} for index, (_, pattern) in enumerate(self.joins)]

    def loads(self) -> Iterator[tuple[str, set[str]]]:
        """What the rule adds to the comparisons of each attribute; an `$or` is never shared between rules."""
        for attribute, pattern in self.joins:
            yield attribute.name, {*_comparisons(pattern), *([self.name] if "$or" in pattern else [])}


@dataclass(frozen=True, slots=True)
class _Ruleset:
    """One ruleset of a stage: its name, and the attributes its rules read."""

    name: str
    reads: tuple[_Attribute, ...]


class _Machine:
    """A rule base compiled for durable-rules. Compiled once: the engine never gives the memory back."""

    def __init__(self, base: RuleBase) -> None:
        loaded = _durable()
        if loaded is None:
            raise BedjointError("durable-rules is not installed, or does not import on this Python")
        self._engine = loaded[0]
        self._base = base
        self._marked: set[str] = set()
        self._raised: list[BaseException] = []
        self._broken = ""
        self._held_by: dict[str, list[tuple[str, frozenset[str]]]] = {}
        attributes = _attributes(base.rules)
        _check_names(attributes.values())
        ways = _Ways(attributes)
        pieces = {stage: self._pieces(stage, ways, attributes) for stage in STAGES}
        self._host = _quiet_host(self._engine)
        self._rulesets = {stage: [self._ruleset(each) for each in _in_rulesets(pieces[stage])] for stage in STAGES}

    def chain(self, values: Mapping[str, Value]) -> Forward:
        """Fire every stage for one case."""
        if self._broken:
            raise BedjointError(self._broken)
        seen = dict(values)
        fired: set[str] = set()
        options: dict[str, str] = {}
        found: dict[str, frozenset[str]] = {}
        for stage in STAGES:
            fired |= self._fire(stage, seen)
            for choice in self._base.choices_of[stage]:
                options[choice.id] = _option(choice, self._base.by_stage[stage], fired)
                seen[f"decided.{choice.id}"] = known(options[choice.id])
            for each in self._base.sets.values():
                if each.closes == stage:
                    found[each.id] = frozenset(
                        member
                        for rule in self._base.rules
                        for key, member in rule.adds
                        if key == each.id and rule.id in fired
                    )
                    seen[f"found.{each.id}"] = known(found[each.id])
        return Forward(frozenset(fired), options, found)

    def _pieces(self, stage: str, ways: _Ways, attributes: Mapping[str, _Attribute]) -> list[_Piece]:
        """The rules of a stage as rules of durable-rules, one or more for each way in which a rule holds."""
        pieces = []
        held = self._held_by[stage] = []
        for rule in self._base.by_stage[stage]:
            for number, way in enumerate(ways.of(rule)):
                joins = [
                    (attribute, attribute.pattern(way[name])) for name, attribute in attributes.items() if name in way
                ]
                # A way that joins more than the engine can is told in parts, and holds when all of them fired.
                parts = [
                    _Piece(f"{rule.id}/{number}/{start}", tuple(joins[start : start + _MOST_JOINED]))
                    for start in range(0, max(len(joins), 1), _MOST_JOINED)
                ]
                held.append((rule.id, frozenset(part.name for part in parts)))
                pieces.extend(parts)
        return pieces

    def _ruleset(self, pieces: list[_Piece]) -> _Ruleset:
        name = f"bedjoint-{next(_NUMBERS)}"
        end = _Piece(_END, ())
        rules = {piece.name: {"all": piece.definition, "run": self._noting(piece.name)} for piece in (*pieces, end)}
        try:
            self._host.register_rulesets({name: rules})
        except Exception as error:
            raise BedjointError(f"durable-rules cannot hold {pieces[0].name} to {pieces[-1].name}") from error
        reads = {attribute.name: attribute for piece in pieces for attribute, _ in piece.joins}
        return _Ruleset(name, tuple(reads.values()))

    def _noting(self, name: str) -> Callable[[Any], None]:
        """An action that only notes that its rule fired: the engine would swallow whatever it raised."""

        def note(_: Any) -> None:
            try:
                self._marked.add(name)
            except BaseException as error:
                self._raised.append(error)

        return note

    def _fire(self, stage: str, values: Mapping[str, Value]) -> set[str]:
        marked: set[str] = set()
        for ruleset in self._rulesets[stage]:
            self._pass(ruleset, values)
            marked |= self._marked
        return {rule for rule, parts in self._held_by[stage] if parts <= marked}

    def _pass(self, ruleset: _Ruleset, values: Mapping[str, Value]) -> None:
        """Assert what one ruleset reads. Facts are told apart by their ids, one case by its session."""
        facts = [
            {**attribute.told(values), "id": f"{index}", "sid": _CASE} for index, attribute in enumerate(ruleset.reads)
        ]
        self._marked.clear()
        self._raised.clear()
        states: list[Any] = []
        try:
            if facts:  # an empty list brings the process down
                # Raised after all facts have been taken in, where some fact passed no test of the ruleset.
                with contextlib.suppress(self._engine.MessageNotHandledException):
                    states.append(self._host.assert_facts(ruleset.name, facts))
            # Every ruleset has a rule for the end. It also lets run what waited behind a fact that passed no test.
            states.append(self._host.assert_fact(ruleset.name, {_END: 1, "id": _END, "sid": _CASE}))
        except self._engine.MessageObservedException as error:
            raise BedjointError(f"an earlier case stayed behind in {ruleset.name}") from error
        except Exception as error:
            self._broken = f"durable-rules failed in {ruleset.name}: {error!r}"
            raise BedjointError(self._broken) from error
        finally:
            # After an error of its own the engine has half a state, and deleting that brings the process down.
            if not self._broken:
                with contextlib.suppress(Exception):  # there may be no state yet
                    self._host.delete_state(ruleset.name, _CASE)
        if self._raised:
            raise self._raised[0]
        for state in states:
            self._look_at(state, ruleset)
        if _END not in self._marked:
            raise BedjointError(f"durable-rules did not reach the end of {ruleset.name}")

    def _look_at(self, state: Any, ruleset: _Ruleset) -> None:
        """What a call returned: the state of the case, or None where nothing fired. It holds what went wrong."""
        if state is None:
            return
        if not isinstance(state, dict) or "exception" in state:
            wrong = state["exception"] if isinstance(state, dict) else "it stopped before the last rule"
            raise BedjointError(f"durable-rules failed in {ruleset.name}: {wrong}")


def _quiet_host(engine: types.ModuleType) -> Any:
    base: Any = engine.Host

    class Quiet(base):  # type: ignore[misc]
        """A host without the two background threads, which may not run beside a deletion of state."""

        def _run(self) -> None:
            pass

    return Quiet()


def _in_rulesets(pieces: Iterable[_Piece]) -> Iterator[list[_Piece]]:
    """Cut up a stage so that no ruleset comes near the engine's limits."""
    taken: list[_Piece] = []
    loads: dict[str, set[str]] = {}
    for piece in pieces:
        own = dict(piece.loads())
        if _too_much(own):
            raise BedjointError(f"{piece.name} puts too many tests to one fact for durable-rules: split the rule")
        grown = {**loads, **{name: loads.get(name, set()) | load for name, load in own.items()}}
        if len(taken) == _MOST_RULES or _too_much(grown):
            yield taken
            taken, grown = [], own
        taken.append(piece)
        loads = grown
    if taken:
        yield taken


def _too_much(loads: Mapping[str, set[str]]) -> bool:
    each = [len(load) for load in loads.values()]
    return max(each, default=0) > _MOST_OF_ONE_ATTRIBUTE or sum(each) > _MOST_COMPARISONS


def _check_names(attributes: Iterable[_Attribute]) -> None:
    """Two names of one hash are one name to the engine."""
    names = [*_RESERVED.split(), _END, _CASE, *(f"m_{index}" for index in range(_MOST_JOINED)), "m"]
    for attribute in attributes:
        names += [attribute.name, attribute.steps]
        if set(_STATES) & set(attribute.variable.options):
            raise BedjointError(f"{attribute.name} has an option named like a state")
    by_hash: dict[int, str] = {}
    for name in names:
        other = by_hash.setdefault(hashed(name), name)
        if other != name:
            raise BedjointError(f"durable-rules cannot tell {other} from {name}: rename one")


def _option(choice: Choice, rules: Iterable[Rule], fired: set[str]) -> str:
    """The first option in the order that is open or supported, and not ruled out."""
    supported: set[str] = set()
    ruled_out: set[str] = set()
    for rule in rules:
        if rule.id in fired:
            supported.update(option for key, option in rule.supports if key == choice.id)
            ruled_out.update(option for key, option in rule.rules_out if key == choice.id)
    for option in choice.options:
        if (option.open or option.id in supported) and option.id not in ruled_out:
            return option.id
    return UNDECIDED
