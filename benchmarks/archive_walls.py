"""Draws the walls of made-up past jobs: consistent facts, near a demo wall, some of them left unknown.

Trade knowledge has no place here. What makes a wall plausible is that it stands near one of the demo surveys, and that
what is changed about it is drawn from the spans and odds of the practice walls (`engine/practice/measures.py`).
"""

from __future__ import annotations

import functools
import pathlib
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass

from engine.facts.amend import LATEST
from engine.facts.contradictions import of_values
from engine.facts.declare import Noted
from engine.facts.document import read_document
from engine.facts.intake import checked_survey
from engine.facts.resolve import applies, notes_of, resolve
from engine.facts.values import UNKNOWN_VALUE, Scalar, State, Value
from engine.facts.vocabulary import Variable, facts
from engine.facts.wall_fabric import GroundPoint
from engine.practice.draw import Draw
from engine.practice.measures import FITTING, LIKELY, SPANS, fitting
from engine.practice.samples_maker import made_samples
from engine.rulebase.conditions import from_steps, to_steps

Facts = dict[str, Scalar]
"""The known facts of one wall by name, in the order of the vocabulary, each as the model holds it."""

DEMO = pathlib.Path(__file__).resolve().parent.parent / "scenarios_demo"

DRILLED_OFTEN = 0.1
"""How often a wall has drilled samples; of the others a report says what the profile is, or nothing does."""
_REPORTED_OFTEN = 0.95
_CHANGED = (0, 0, 1, 1, 2, 2, 3, 4, 6, 9)
"""How many facts of a demo wall are drawn anew, each as likely as the others."""
_ANOTHER_NUMBER = 0.5
_NEAR = 0.08
_FILLED = 0.7
_UNKNOWN = ((0.0, 0.5), (0.02, 0.2), (0.08, 0.2), (0.3, 0.1))
"""Share of facts left unknown, and how often a wall has that share."""
_MEMBER_OFTEN = 0.25
_GROUND_RUNS = 0.03
_TRIES = 40

_METHOD, _SAMPLES, _REPORTED = "moisture.method", "moisture.samples", "moisture.reported_profile"
_GROUND, _LEVEL, _FALL = "ground.profile", "ground.level_mm", "ground.fall_along_mm"
_LENGTH = "build.length_m"


@dataclass(frozen=True, slots=True)
class DemoWall:
    """The known facts of a demo wall, and the profile that its samples show where a report could have said so."""

    facts: Facts
    profile: str | None


@functools.cache
def demo_walls() -> tuple[DemoWall, ...]:
    """Every wall of the demo surveys."""
    from engine.practice.judge import Judge
    from engine.rulebase.load import load_rule_base, versions

    judge = Judge(load_rule_base(versions()[-1].version))
    found = []
    for path in sorted(DEMO.glob("*.yaml")):
        survey = checked_survey(read_document(path), LATEST).survey
        for wall in survey.walls:
            values = resolve(notes_of(survey.property, wall))
            profile = judge.evaluation(values, survey.property.survey_date.year).outcomes["profile"].option
            reportable = profile in facts()[_REPORTED].options
            found.append(DemoWall(known_facts(values), profile if reportable else None))
    return tuple(found)


@functools.cache
def _seen() -> Mapping[str, tuple[Scalar, ...]]:
    """The values each fact has on demo walls."""
    seen: dict[str, list[Scalar]] = defaultdict(list)
    for wall in demo_walls():
        for name, value in wall.facts.items():
            seen[name].append(value)
    return {name: tuple(values) for name, values in seen.items()}


def known_facts(values: Mapping[str, Value]) -> Facts:
    """Those of the values that are known facts."""
    return {name: value.value for name in facts() if (value := values[name]).known and value.value is not None}


def resolved(held: Mapping[str, Scalar]) -> dict[str, Value]:
    """Facts in their three states; what is given and does not apply is left out."""
    return resolve({name: Noted(value) for name, value in held.items()})


def draw_wall(draw: Draw, year: int, shared: Mapping[str, Scalar] | None = None) -> Facts:
    """The facts of one wall surveyed in that year, free of contradictions.

    `shared` are the facts of the property where another wall of the job has them already; they are kept as they are.
    """
    for _ in range(_TRIES):
        held = _drawn(draw, shared)
        found = _consistent(held, year)
        if shared is None or {n: v for n, v in found.items() if n.startswith("property.")} == dict(shared):
            return found
    raise RuntimeError("no wall fits the property")


def _drawn(draw: Draw, shared: Mapping[str, Scalar] | None) -> Facts:
    demo = draw.one(demo_walls())
    held: Facts = dict(demo.facts)
    if shared is not None:
        held = {name: value for name, value in held.items() if not name.startswith("property.")} | dict(shared)
    free = [name for name in facts() if shared is None or not name.startswith("property.")]
    for name in free:
        if facts()[name].kind == "number" and name in held and name in SPANS and draw.chance(_ANOTHER_NUMBER):
            held[name] = _near(draw, facts()[name], held[name])
    _sample(draw, held, demo)
    for name in draw.shuffled([n for n in free if not n.startswith("moisture.")])[: draw.one(_CHANGED)]:
        held[name] = _value(draw, facts()[name], held)
    if draw.chance(_GROUND_RUNS) and _LENGTH in held:
        _run_ground(draw, held)
    _fill(draw, held, set(free))
    share = draw.weighted([share for share, _ in _UNKNOWN], [often for _, often in _UNKNOWN])
    return {name: value for name, value in held.items() if name not in free or not draw.chance(share)}


def _sample(draw: Draw, held: Facts, demo: DemoWall) -> None:
    """Drilled samples at some walls; at the others what a report says of them."""
    if draw.chance(DRILLED_OFTEN):
        held.setdefault(_METHOD, "oven")
        if held[_METHOD] == "none":
            held[_METHOD] = "oven"
        if _SAMPLES not in held or draw.chance(0.5):
            held[_SAMPLES] = made_samples(draw, held[_METHOD])
        return
    for name in [name for name in held if facts()[name].applies and name.startswith("moisture.")]:
        del held[name]
    held[_METHOD] = "none"
    if demo.profile is not None and draw.chance(_REPORTED_OFTEN):
        held[_REPORTED] = demo.profile
    else:
        held[_REPORTED] = "none"


def _near(draw: Draw, variable: Variable, value: Scalar) -> Scalar:
    low, high, step = SPANS[variable.name]
    assert isinstance(value, int | float)
    reach = max(1, round((high - low) / step * _NEAR))
    number = value + step * (draw.below(2 * reach + 1) - reach)
    return _within(variable, number)


def _within(variable: Variable, number: float) -> int | float:
    assert variable.ge is not None
    assert variable.le is not None
    number = from_steps(variable, to_steps(variable, min(max(number, variable.ge), variable.le)))
    return int(number) if variable.whole else float(number)


def _value(draw: Draw, variable: Variable, held: Mapping[str, Scalar]) -> Scalar:
    """A value as it might be anywhere."""
    match variable.kind:
        case "choice":
            before = FITTING[variable.name][0] if variable.name in FITTING else ""
            options = fitting(variable.name, variable.options, held.get(before))
            return draw.weighted(options, [LIKELY.get((variable.name, option), 1.0) for option in options])
        case "yes_no":
            return draw.chance(0.4)
        case "set":
            return frozenset(option for option in variable.options if draw.chance(_MEMBER_OFTEN))
        case "number":
            if variable.name in SPANS:
                return _within(variable, draw.between(*SPANS[variable.name]))
            assert variable.ge is not None
            assert variable.le is not None
            seen = _seen().get(variable.name)
            return draw.one(seen) if seen else _within(variable, draw.between(variable.ge, variable.le, 1) / 8)
    if variable.name == _SAMPLES:
        return made_samples(draw, held.get(_METHOD))
    return _ground(draw, 5.0)


def _ground(draw: Draw, length_m: float) -> tuple[GroundPoint, ...]:
    count = 2 + draw.below(3)
    top = -round(draw.between(0, 400, 10))
    return tuple(
        GroundPoint(at_m=round(length_m * index / count, 2), level_mm=top - round(draw.between(0, 200, 10)))
        for index in range(count)
    )


def _run_ground(draw: Draw, held: Facts) -> None:
    length = held[_LENGTH]
    assert isinstance(length, int | float)
    points = held[_GROUND] = _ground(draw, length)
    levels = [point.level_mm for point in points]
    held[_LEVEL], held[_FALL] = max(levels), max(levels) - min(levels)


def _fill(draw: Draw, held: Facts, free: set[str]) -> None:
    """Draw most of what applies only because of a change."""
    values: dict[str, Value] = {}
    for name, variable in facts().items():
        if applies(variable, values) is False:
            values[name] = Value(State.NOT_APPLICABLE)
            continue
        if name not in held and name in free and variable.applies and variable.kind != "rows" and draw.chance(_FILLED):
            held[name] = _value(draw, variable, held)
        values[name] = Value(State.KNOWN, held[name]) if name in held else UNKNOWN_VALUE


def _consistent(held: Facts, year: int) -> Facts:
    """The facts without those that do not apply and those that contradictions name."""
    while True:
        values = resolved(held)
        held = known_facts(values)
        wrong = {".".join(map(str, path[:2])) for path, *_ in of_values(values, year)}
        if not wrong:
            return held
        held = {name: value for name, value in held.items() if name not in wrong}
