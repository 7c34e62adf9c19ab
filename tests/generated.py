"""Surveys made at random from the vocabulary: consistent, with a chosen share of facts left unknown."""

import copy
import datetime as dt
import functools
import pathlib
import random
from typing import Any

from hypothesis import strategies as st

from engine.facts.contradictions import contradictions
from engine.facts.document import read_document
from engine.facts.intake import SurveyFile, parse_survey
from engine.facts.resolve import applies
from engine.facts.survey import Survey
from engine.facts.values import NOT_APPLICABLE_VALUE, UNKNOWN_VALUE, known
from engine.facts.vocabulary import Variable, facts
from engine.rulebase.conditions import from_steps, to_steps

TODAY = dt.date(2026, 11, 1)


def number(rng: random.Random, variable: Variable, wanted: tuple[int, ...] = ()) -> Any:
    low, high = to_steps(variable, variable.ge), to_steps(variable, variable.le)
    near = [steps for steps in wanted if low <= steps <= high]
    if near and rng.random() < 0.6:
        steps = rng.choice(near)
    else:
        # Most limits are far beyond what is usual: draw near the low end as often as anywhere.
        steps = rng.randint(low, high if rng.random() < 0.3 else low + (high - low) // 8)
    value = from_steps(variable, steps)
    return int(value) if variable.whole else value


def fact_value(rng: random.Random, variable: Variable) -> Any:
    match variable.kind:
        case "choice":
            return rng.choice(variable.options)
        case "yes_no":
            return rng.random() < 0.5
        case "set":
            members = [option for option in variable.options if rng.random() < 0.3]
            return members or "none"
        case "number":
            return number(rng, variable)
    if variable.name == "ground.profile":
        return [{"at_m": float(at), "level_mm": rng.randint(-600, 600)} for at in range(rng.randint(1, 5))]
    heights = sorted(rng.sample(range(0, 1800, 150), rng.randint(1, 7)))
    wet = rng.random() < 0.5
    if rng.random() < 0.3:
        return [weighed_sample(rng, height) for height in heights]
    return [
        {
            "height_mm": height,
            "depth_mm": depth,
            "mc_percent": round(max(0.0, 14 - height / 120 + rng.uniform(-2, 2)) if wet else rng.uniform(0, 6), 2),
            "hmc_percent": round(rng.uniform(0, 9), 2),
        }
        for height in heights
        for depth in rng.choice(((80,), (20, 80)))
    ]


def weighed_sample(rng: random.Random, height: int) -> dict[str, Any]:
    dish = round(rng.uniform(5, 20), 3)
    dry = round(dish + rng.uniform(2, 4), 3)
    return {
        "height_mm": height,
        "depth_mm": 80,
        "dish_g": dish,
        "dry_g": dry,
        "wet_g": round(dry + rng.uniform(0, 0.4), 3),
        "conditioned_g": round(dry + rng.uniform(0, 0.2), 3),
    }


def survey_data(rng: random.Random, unknown_share: float, walls: int = 1) -> dict[str, Any]:
    """A survey as plain data, free of contradictions."""
    data: dict[str, Any] = {
        "property": {"reference": f"G-{rng.randrange(10**6)}", "survey_date": "2026-06-15"},
        "walls": [{"id": f"W{index}"} for index in range(1, walls + 1)],
    }
    for index, wall in enumerate(data["walls"]):
        values: dict[str, Any] = {}
        for name, variable in facts().items():
            section, _, field = name.partition(".")
            holder = data["property"] if section == "property" else wall.setdefault(section, {})
            if section == "property" and index:
                values[name] = UNKNOWN_VALUE
                continue
            if applies(variable, values) is False:
                values[name] = NOT_APPLICABLE_VALUE
            elif rng.random() < unknown_share:
                values[name] = UNKNOWN_VALUE
            else:
                raw = fact_value(rng, variable)
                holder[field] = raw
                values[name] = known(frozenset(() if raw == "none" else raw) if variable.kind == "set" else raw)
    return without_contradictions(data)


def without_contradictions(data: dict[str, Any]) -> dict[str, Any]:
    while True:
        found = list(contradictions(Survey.model_validate(data), TODAY))
        if not found:
            return data
        for path, *_ in found:
            holder = data
            for step in path[:2] if path[0] == "walls" else path[:1]:
                holder = holder[step]
            if path[0] == "walls":
                holder[path[2]].pop(path[3], None)
            else:
                holder.pop(path[1], None)


def survey_file(data: dict[str, Any]) -> SurveyFile:
    import yaml

    return parse_survey(yaml.safe_dump(data, sort_keys=False).encode(), "generated.yaml", TODAY)


@functools.cache
def _demo_walls() -> tuple[tuple[dict[str, Any], dict[str, Any]], ...]:
    folder = pathlib.Path(__file__).parent.parent / "scenarios_demo"
    found = []
    for path in sorted(folder.glob("*.yaml")):
        data = read_document(path).data
        found += [(data["property"], wall) for wall in data["walls"]]
    return tuple(found)


def survey_near_demo(rng: random.Random, changes: int) -> dict[str, Any]:
    """A demo wall with some of its facts changed or left out: unlike wholly random ones, many of these are treated."""
    holder, wall = copy.deepcopy(rng.choice(_demo_walls()))
    data = {"property": {**holder, "survey_date": "2026-06-15"}, "walls": [wall]}
    for name in rng.sample(list(facts()), changes):
        section, _, field = name.partition(".")
        section_data = data["property"] if section == "property" else wall.setdefault(section, {})
        if rng.random() < 0.3:
            section_data.pop(field, None)
        else:
            section_data[field] = fact_value(rng, facts()[name])
    return without_contradictions(data)


def any_survey(rng: random.Random, unknown_share: float) -> dict[str, Any]:
    """A wholly random survey, or more often one near a demo wall."""
    if rng.random() < 0.3:
        return survey_data(rng, unknown_share)
    return survey_near_demo(rng, rng.choice((0, 1, 2, 3, 5, 8, 13)))


def surveys(
    unknown_shares: tuple[float, ...] = (0.0, 0.15, 0.5, 0.9), walls: int = 1
) -> st.SearchStrategy[dict[str, Any]]:
    """A strategy of generated surveys."""

    def make(seed: int, share: float) -> dict[str, Any]:
        rng = random.Random(seed)
        return any_survey(rng, share) if walls == 1 else survey_data(rng, share, walls)

    return st.builds(make, st.integers(0, 2**40), st.sampled_from(unknown_shares))
