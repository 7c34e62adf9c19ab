"""A survey between two sets of figures, found by trying numbers: the solver knows such readings by bounds only."""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Iterator, Mapping

from engine.audit.compare_space import Shared, touched
from engine.facts.contradictions import of_values
from engine.facts.values import UNKNOWN_VALUE, Value, known
from engine.facts.vocabulary import Variable, facts
from engine.proof.cells import equals
from engine.proof.logic import Formula, all_of, within
from engine.proof.wall_space import can_be, values_in
from engine.readings.compute import compute_readings
from engine.readings.vocabulary import READINGS

TRIES = 400


def pinned(shared: Shared, formula: Formula, done: Callable[[dict[str, Value]], bool]) -> Formula | None:
    """That all facts are as in a survey for which `done` holds; `None` where none was found near one the solver allows.

    Only numbers are moved from which readings are reckoned that the two versions reckon apart.

    Raises:
        RuntimeError: the solver gave up.
    """
    wall = shared.walls[0]
    model = can_be(shared.solver, formula)
    if model is None:
        return None
    wanted = values_in(model, wall.space.cells)
    start = {name: UNKNOWN_VALUE if each.kind == "rows" else wanted[name] for name, each in facts().items()}
    apart = [each for name, each in READINGS.items() if touched(name, shared.versions)]
    movable = sorted(
        {
            name
            for each in apart
            for name in each.from_facts
            if name in facts() and facts()[name].kind == "number" and start[name].known
        }
    )
    for trial in _moved(start, movable):
        if any(of_values(trial, shared.year)):
            continue
        if done({**trial, **compute_readings(trial, shared.year, wall.figures, READINGS)}):
            with within(wall.context):
                return all_of((formula, *(equals(wall.space.cells[name], value) for name, value in trial.items())))
    return None


def _moved(start: Mapping[str, Value], movable: list[str]) -> Iterator[dict[str, Value]]:
    rng = random.Random(0)
    for _ in range(TRIES if movable else 0):
        trial = dict(start)
        for name in movable:
            if rng.random() < 0.7:
                trial[name] = _somewhere(facts()[name], rng)
        yield trial


def _somewhere(variable: Variable, rng: random.Random) -> Value:
    """A number within its limits, as likely of any order of magnitude: most limits are far beyond what is usual."""
    assert variable.ge is not None
    assert variable.le is not None
    step = variable.step or 1.0
    low, high = max(variable.ge, step), max(variable.le, step)
    number = math.exp(rng.uniform(math.log(low), math.log(high)))
    number = min(max(round(round(number / step) * step, 6), variable.ge), variable.le)
    return known(int(number) if variable.whole else number)
