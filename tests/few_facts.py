"""A few facts of which every consistent survey can be listed, and random rule bases over them."""

import functools
import itertools
import random

from generated import TODAY
from small_bases import choice, make_base

from engine.facts.contradictions import contradictions
from engine.facts.resolve import notes_of, resolve
from engine.facts.survey import Survey
from engine.facts.vocabulary import facts

FEW = {
    "build.construction": ("solid_brick", "cavity_brick", "timber_frame", "earth"),
    "build.cavity_debris": facts()["build.cavity_debris"].options,
    "evidence.damp_height_mm": (0, 299, 300, 301),
    "evidence.damp_pattern": ("none", "low_band", "patch"),
    "evidence.tide_mark": (True, False),
}
"""Facts of every kind of tie: one that applies only with another, some that cannot be true together.

The last of each stands for all values that no rule names.
"""


@functools.cache
def fillings():
    """Every consistent way to know some of the few facts, all of it or nothing: the values of all facts."""
    return list(consistent(FEW))


def consistent(few):
    """Every way to know some of these facts that a survey may hold, each with the values of all facts."""
    for chosen in itertools.product(*((None, *values) for values in few.values())):
        data = {"property": {"reference": "T", "survey_date": "2026-06-15"}, "walls": [{"id": "W"}]}
        for name, value in zip(few, chosen, strict=True):
            section, _, field = name.partition(".")
            if value is not None:
                data["walls"][0].setdefault(section, {})[field] = value
        survey = Survey.model_validate(data)
        if not list(contradictions(survey, TODAY)):
            yield chosen, resolve(notes_of(survey.property, survey.walls[0]))


def random_when(rng, names, depth=2):
    roll = rng.random()
    if depth and roll < 0.2:
        return {"not": random_when(rng, names, depth - 1)}
    if depth and roll < 0.6:
        parts = [random_when(rng, names, depth - 1) for _ in range(rng.randint(1, 3))]
        unlike = [part for index, part in enumerate(parts) if part not in parts[:index]]
        return {rng.choice(("all", "any")): unlike}
    name = rng.choice(names)
    if name.startswith("decided."):
        return {name: rng.choice(("a", "b", "c"))}
    if rng.random() < 0.25:
        return {name: rng.choice(("known", "unknown"))}
    if name == "evidence.damp_height_mm":
        return {name: {rng.choice(("at_least", "above", "at_most", "below")): 300}}
    named = FEW[name] if name == "evidence.tide_mark" else FEW[name][:-1]
    return {name: rng.choice(named)}


def random_base(seed):
    rng = random.Random(seed)
    rules = []
    for stage, name, earlier in (("evidence", "first", ()), ("works", "second", ("decided.first",))):
        for _ in range(rng.randint(2, 5)):
            rules.append(
                {
                    "stage": stage,
                    "when": random_when(rng, (*FEW, *earlier)),
                    "supports": {name: [rng.choice("abc")]} if rng.random() < 0.7 else {},
                    "rules_out": {name: [rng.choice("abc")]} if rng.random() < 0.4 else {},
                    "adds": {"works": [rng.choice("xy")]} if rng.random() < 0.5 else {},
                }
            )
    choices = [choice("first", "evidence", "a", "+b", "c"), choice("second", "works", "+a", "b", "+c")]
    return make_base(rules, choices, {"works": ("works", ("x", "y"))}, tuple(facts()[name] for name in FEW))
