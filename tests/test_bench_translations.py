"""The rule base put into other engines for the benchmark comes to what the evaluator comes to, wall by wall."""

import functools
import importlib
import pathlib
import random
import sys

import pytest
import small_bases
from generated import any_survey, survey_file

from engine.facts.values import NOT_APPLICABLE_VALUE, UNKNOWN_VALUE, known
from engine.facts.vocabulary import Variable
from engine.readings.compute import compute_readings
from engine.rulebase.load import load_rule_base, versions
from engine.rulebase.reading_figures import reading_figures

sys.path.insert(0, str(pathlib.Path(__file__).parent.parent / "benchmarks"))

from engines import clips_engine, durable_engine, evaluator_engine, zen_engine
from engines.common import Conclusions
from engines.evaluator_engine import EvaluatorEngine

WALLS = 40
MADE_BY = {
    clips_engine: clips_engine.ClipsEngine,
    zen_engine: zen_engine.ZenEngine,
    durable_engine: durable_engine.DurableEngine,
}
BASES = [version.version for version in versions()]


@pytest.fixture(params=MADE_BY, ids=lambda module: module.NAME)
def engine(request):
    reason = request.param.missing()
    if reason:
        pytest.skip(reason)
    return MADE_BY[request.param]


@functools.cache
def base_of(version):
    return load_rule_base(version)


@functools.cache
def walls_of(version, count, seed):
    base = base_of(version)
    figures = reading_figures(base.tables)
    rng = random.Random(seed)
    found = []
    while len(found) < count:
        file = survey_file(any_survey(rng, rng.choice((0.0, 0.15, 0.5, 0.9))))
        for wall in file.survey.walls:
            values = dict(file.values_of(wall))
            values.update(compute_readings(values, file.survey.property.survey_date.year, figures))
            found.append(values)
    return found[:count]


@pytest.mark.parametrize("version", BASES)
def test_an_engine_comes_to_what_the_evaluator_does(engine, version):
    base, walls = base_of(version), walls_of(version, WALLS, seed=7)
    expected = EvaluatorEngine(base).conclude(walls)
    assert engine(base).conclude(walls) == expected
    assert len({frozenset(each.options.items()) for each in expected}) > WALLS / 4
    assert any(each.found["works"] for each in expected)


def test_an_engine_starts_every_wall_afresh(engine):
    base, walls = base_of(BASES[-1]), walls_of(BASES[-1], 3, seed=11)
    made = engine(base)
    alone = [made.conclude([wall])[0] for wall in walls]
    assert made.conclude([*walls, {}, *reversed(walls)]) == [
        *alone,
        *EvaluatorEngine(base).conclude([{}]),
        *reversed(alone),
    ]


# --- every operator, true and false, in each state of its fact

BRICK = Variable("wall.brick", "choice", ("solid", "cavity", "cob", "none"))
LEAK = Variable("wall.leak", "yes_no")
THICK = Variable("wall.thick_mm", "number", ge=-50, le=900, step=1, whole=True)
COLD = Variable("reading.cold_k", "number", ge=-50, le=50, step=0.1)
SIGNS = Variable("wall.signs", "set", ("salts", "mould", "tide", "rot"))
SAMPLES = Variable("wall.samples", "rows")
STATES = (None, UNKNOWN_VALUE, NOT_APPLICABLE_VALUE)
VALUES = {
    BRICK: ("solid", "cavity", "cob", "none"),
    LEAK: (True, False),
    THICK: (-50, -1, 0, 224, 225, 226),
    COLD: (-0.4, -0.3, 0.0, 0.1),
    SIGNS: (frozenset(), frozenset({"salts"}), frozenset({"rot"}), frozenset({"salts", "tide"})),
    SAMPLES: (((1, 2),), ()),
}
TESTS = {
    BRICK: ("solid", "none", ["solid", "cob"], {"is_not": "solid"}, {"none_of": ["solid", "cob"]}),
    LEAK: (True, False, {"is_not": True}),
    THICK: (225, {"is_not": 225}, {"above": 0}, {"at_least": 225}, {"at_most": -1}, {"below": 0},
            {"between": [0, 225]}),
    COLD: ({"at_least": -0.3}, {"below": 0}, {"above": -0.4}),
    SIGNS: ("none", {"includes": "salts"}, {"includes_any": ["salts", "tide"]}, {"includes_all": ["salts", "tide"]},
            {"excludes": "salts"}),
    SAMPLES: (),
}  # fmt: skip


def conditions():
    for variable, tests in TESTS.items():
        for test in (*tests, "known", "unknown"):
            name = variable.name
            yield {name: test}
            yield {"not": {name: test}}
            # Within an `any`, and beside one, an engine may put the same test otherwise.
            other = {"wall.leak": "known"} if variable is not LEAK else {"wall.brick": "known"}
            yield {"any": [{name: test}, other]}
            yield {"all": [{"any": [{"not": {name: test}}, other]}, {"not": {name: test}}]}


def test_each_operator_in_each_state(engine):
    whens = list(conditions())
    base = small_bases.make_base([{"when": when, "adds": {}} for when in whens], (), None, tuple(VALUES))
    walls = [{}]
    for variable, several in VALUES.items():
        for value in (*STATES, *map(known, several)):
            for beside in (None, UNKNOWN_VALUE, NOT_APPLICABLE_VALUE, known(True)):
                wall = {LEAK.name: beside, variable.name: value}
                walls.append({name: each for name, each in wall.items() if each is not None})
    expected = EvaluatorEngine(base).conclude(walls)
    assert engine(base).conclude(walls) == expected
    ever = frozenset().union(*(each.fired for each in expected))
    assert len(ever) > 0.9 * len(whens)


BRANCH = small_bases.choice("branch", "cause", "left", "right", "+straight")
WAY = small_bases.choice("way", "works", "up", "down")
SETS = {"works": ("works", ("dig", "prop")), "causes": ("cause", ("leak", "salt"))}
STAGED = (
    {"when": {"wall.leak": True}, "stage": "evidence", "adds": {"causes": ["leak"], "works": ["dig"]}},
    {"when": {"wall.brick": "cob"}, "stage": "cause", "supports": {"branch": ["left", "right"]}},
    {"when": {"wall.brick": "solid"}, "stage": "cause", "supports": {"branch": ["right"]}},
    {"when": {"wall.leak": True}, "stage": "cause", "rules_out": {"branch": ["left", "straight"]}},
    {"when": {"wall.leak": False}, "stage": "cause", "adds": {"causes": ["salt", "leak"]}},
    {"when": {"found.causes": "none"}, "stage": "line", "adds": {"works": ["prop"]}},
    {"when": {"not": {"found.causes": {"includes_any": ["salt"]}}}, "stage": "line", "adds": {"works": ["dig"]}},
    {"when": {"not": {"decided.branch": ["left", "undecided"]}}, "stage": "works", "supports": {"way": ["up"]}},
    {"when": {"decided.branch": "right"}, "stage": "works", "rules_out": {"way": ["up"]}},
    {
        "when": {
            "all": [
                {"found.causes": {"includes": "leak"}},
                {"any": [{"wall.brick": "known"}, {"found.causes": {"includes": "salt"}}]},
            ]
        },
        "stage": "works",
        "supports": {"way": ["down"]},
        "adds": {"works": ["prop"]},
    },
    {"when": {"not": {"found.works": "none"}}, "stage": "cautions", "adds": {}},
    {
        "when": {"any": [{"decided.way": "undecided"}, {"found.works": {"includes_all": ["dig", "prop"]}}]},
        "stage": "cautions",
        "adds": {},
    },
)


def test_choices_and_sets_are_read_by_later_stages(engine):
    base = small_bases.make_base(STAGED, (BRANCH, WAY), SETS, (BRICK, LEAK))
    states = (UNKNOWN_VALUE, NOT_APPLICABLE_VALUE)
    walls = [
        {BRICK.name: brick, LEAK.name: leak}
        for brick in (*states, *map(known, BRICK.options))
        for leak in (*states, known(True), known(False))
    ]
    expected = EvaluatorEngine(base).conclude(walls)
    assert {each.options["branch"] for each in expected} == {"left", "right", "straight", "undecided"}
    assert {each.options["way"] for each in expected} == {"up", "down", "undecided"}
    assert frozenset().union(*(each.fired for each in expected)) == set(base.by_id)
    assert engine(base).conclude(walls) == expected


def test_a_difference_is_told():
    speed = importlib.import_module("archive_speed")
    one = Conclusions(frozenset({"A-001"}), {"verdict": "treat"}, {"works": frozenset({"let_dry"})})
    other = Conclusions(frozenset({"A-002"}), {"verdict": "wait"}, {"works": frozenset()})
    assert speed.differences([one, one], {"same": [one, one]}) == []
    assert speed.differences([one, one], {"other": [one, other]}) == [
        f"other differs from the {evaluator_engine.NAME} on 1 of 2 walls:",
        "  wall 2: does not fire A-001; fires A-002; verdict is wait, not treat; works differs in let_dry",
    ]
