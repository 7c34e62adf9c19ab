"""From a formula over all surveys to one survey file that shows it, as small as leaving out facts makes it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import z3

from engine.errors import BadInput
from engine.facts.contradictions import of_values
from engine.facts.resolve import applies, notes_of, resolve
from engine.facts.values import NOT_APPLICABLE_VALUE, UNKNOWN_VALUE, Value
from engine.facts.vocabulary import facts
from engine.facts.written import survey_data, survey_of, survey_text
from engine.proof.completions import MODELS, as_wanted
from engine.proof.logic import Formula, all_of, negated
from engine.proof.realise import Realiser
from engine.proof.wall_space import WallSpace, can_be, values_in
from engine.readings.compute import compute_readings
from engine.rulebase.conditions import Test

WALL, REFERENCE = "W1", "counterexample"
Done = Callable[[dict[str, Value]], bool]


@dataclass(frozen=True, slots=True)
class Witness:
    """A survey of one wall: its facts and readings, its data as YAML has them, and the text of its file."""

    values: Mapping[str, Value]
    data: Mapping[str, Any]
    text: str


@dataclass(frozen=True, slots=True)
class Unreal:
    """The solver allows it, and no survey was found that shows it: tests of readings that would not come out so."""

    tests: tuple[Test, ...]


def witness_of(
    wall: WallSpace, solver: z3.Solver, formula: Formula, done: Done, *, smallest: bool = True
) -> Witness | Unreal | None:
    """A survey for which `done` holds, looked for where the formula does; `None` is proof that there is none.

    `wall` is a space of all surveys and `solver` holds it; `done` judges facts and readings. Where it need not be the
    smallest, it is whatever survey was found first.

    Raises:
        RuntimeError: the solver gave up.
    """
    return witness_by(wall, solver, formula, lambda _: done, smallest=smallest)


def witness_by(
    wall: WallSpace, solver: z3.Solver, formula: Formula, judge: Callable[[z3.ModelRef], Done], *, smallest: bool = True
) -> Witness | Unreal | None:
    """The same where it depends on the solver's model what is to be shown.

    Raises:
        RuntimeError: the solver gave up.
    """
    realiser = Realiser(wall)
    off: tuple[Test, ...] = ()
    solver.push()
    try:
        for tried in range(MODELS):
            model = can_be(solver, formula)
            if model is None:
                return None if tried == 0 else Unreal(off)
            wanted, done = values_in(model, wall.space.cells), judge(model)
            real, off = realiser.real(wanted, done)
            if real is not None:
                facts_known = {name: real[name] for name in facts() if real[name].known}
                kept = _smallest(wall, facts_known, done) if smallest else facts_known
                return _written(wall, kept, done) or Unreal(())
            if not off:
                return Unreal(())
            solver.add(negated(all_of(as_wanted(test, wanted, wall) for test in off)))
    finally:
        solver.pop()
    return Unreal(off)


def _smallest(wall: WallSpace, known: dict[str, Value], done: Done) -> dict[str, Value]:
    """The facts without those that can be left out, half of them at a time, then fewer, then one by one."""
    size = max(1, len(known) // 2)
    while True:
        dropped = False
        names = list(known)
        for start in range(0, len(names), size):
            fewer = {name: value for name, value in known.items() if name not in names[start : start + size]}
            if len(fewer) < len(known) and _does(wall, fewer, done):
                known, dropped = fewer, True
        if size == 1 and not dropped:
            return known
        size = max(1, size // 2)


def _does(wall: WallSpace, known: Mapping[str, Value], done: Done) -> bool:
    values = filled(known)
    if any(of_values(values, wall.now.survey_year)):
        return False
    return done({**values, **compute_readings(values, wall.now.survey_year, wall.figures)})


def filled(known: Mapping[str, Value]) -> dict[str, Value]:
    """Every fact: those known, those that do not apply with them, and the others unknown."""
    values: dict[str, Value] = {}
    for name, variable in facts().items():
        out = bool(variable.applies) and applies(variable, values) is False
        values[name] = NOT_APPLICABLE_VALUE if out else known.get(name, UNKNOWN_VALUE)
    return values


def _written(wall: WallSpace, known: Mapping[str, Value], done: Done) -> Witness | None:
    """The survey as a file, read back as any other is; `None` where that is refused or does not show it."""
    data = survey_data(known, WALL, REFERENCE, survey_day(wall))
    try:
        file = survey_of(data, REFERENCE)
    except BadInput:
        return None
    values = resolve(notes_of(file.survey.property, file.survey.walls[0]))
    values.update(compute_readings(values, wall.now.survey_year, wall.figures))
    return Witness(values, data, survey_text(data)) if done(values) else None


def survey_day(wall: WallSpace) -> dt.date:
    """The day of a survey that shows something: the first of its year, so that it can be judged from then on."""
    return dt.date(wall.now.survey_year, 1, 1)
