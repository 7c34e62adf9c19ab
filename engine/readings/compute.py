"""Computes every reading a rule may ask for from the facts of one wall. Unknown in, unknown out."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from engine.facts.values import NOT_APPLICABLE_VALUE, UNKNOWN_FOR_GOOD, UNKNOWN_VALUE, State, Value
from engine.facts.vocabulary import Variable
from engine.readings.compute_air import OF_AIR
from engine.readings.compute_samples import OF_SAMPLES, samples_of
from engine.readings.compute_wall import OF_WALL
from engine.readings.figures import ReadingFigures
from engine.readings.given import Answer, Given, Read
from engine.readings.profile import Sample
from engine.readings.vocabulary import CAN_DO_WITHOUT, READINGS

_FUNCTIONS: Mapping[str, Read] = {**OF_SAMPLES, **OF_AIR, **OF_WALL}


def compute_readings(
    values: Mapping[str, Value],
    survey_year: int,
    figures: ReadingFigures | None = None,
    names: Iterable[str] = READINGS,
) -> dict[str, Value]:
    """The readings of one wall: known, unknown while what they need is, not applicable where that is.

    Without `figures` the readings that are reckoned with published figures stay unknown. `names` are those wanted.
    """
    given = Given(_known(values), survey_year, figures)
    return {name: _value(READINGS[name], values, given) for name in names}


def samples_in(values: Mapping[str, Value]) -> tuple[Sample, ...]:
    """The samples of one wall on wet basis (as written while the basis is unknown); none where none are known."""
    return samples_of(_known(values))


def _known(values: Mapping[str, Value]) -> dict[str, Any]:
    return {name: value.value for name, value in values.items() if value.known}


def _value(variable: Variable, values: Mapping[str, Value], given: Given) -> Value:
    needed = set(variable.from_facts) - CAN_DO_WITHOUT.get(variable.name, frozenset())
    if any(values[name].state is State.NOT_APPLICABLE for name in needed):
        return NOT_APPLICABLE_VALUE
    answer = _FUNCTIONS[variable.name](given)
    if answer is None:
        still_open = any(values[name].state is State.UNKNOWN for name in variable.from_facts)
        return UNKNOWN_VALUE if still_open else UNKNOWN_FOR_GOOD
    where = next((values[name].where for name in variable.from_facts if values[name].where), "")
    return Value(State.KNOWN, _kept(variable, answer), "computed", variable.how, where)


def _kept(variable: Variable, answer: Answer) -> Answer:
    """The answer; a number to its step and within its limits."""
    if variable.kind != "number":
        return answer
    assert isinstance(answer, int | float)
    assert variable.ge is not None
    assert variable.le is not None
    step = variable.step or 1
    kept = min(max(round(round(answer / step) * step, 6), variable.ge), variable.le)
    return int(kept) if variable.whole else kept
