"""Forward chaining by durable-rules comes to the same as the evaluator, on every case, inside the engine's limits."""

import dataclasses
import datetime as dt
import importlib
import random
import warnings
from concurrent.futures import ThreadPoolExecutor

import pytest
import small_bases
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from small_bases import choice

from engine.errors import BadInput, BedjointError, ReadersDisagree
from engine.facts.values import NOT_APPLICABLE_VALUE, UNKNOWN_VALUE, known
from engine.facts.vocabulary import Variable, facts
from engine.inference import agree, forward
from engine.inference.agree import agreed
from engine.inference.evaluate import evaluate
from engine.inference.forward import Forward, available, chain, hashed
from engine.readings.vocabulary import READINGS
from engine.rulebase.conditions import UNDECIDED, ConditionParser, from_steps
from engine.rulebase.examples import example_values
from engine.rulebase.load import choice_variable, load_rule_base, versions
from engine.rulebase.model import STAGES, Choice

pytest.importorskip("durable.engine", exc_type=ImportError)

BRICK = Variable("wall.brick", "choice", ("solid", "cavity", "cob", "none"))
FACE = Variable("wall.face", "choice", ("bare", "render"))
LEAK = Variable("wall.leak", "yes_no")
THICK = Variable("wall.thick_mm", "number", ge=50, le=900, step=1, whole=True)
COLD = Variable("reading.cold_k", "number", ge=-50, le=50, step=0.1)
SIGNS = Variable("wall.signs", "set", ("salts", "mould", "tide", "rot"))
SEEN = Variable("wall.seen_on", "date")
SAMPLES = Variable("wall.samples", "rows")
VARIABLES = (BRICK, FACE, LEAK, THICK, COLD, SIGNS, SEEN, SAMPLES)


def make_base(rules, choices=(), sets=None, variables=VARIABLES):
    return small_bases.make_base(rules, choices, sets, variables)


def fires(when, values, variables=VARIABLES):
    """Whether a single rule fires, once the evaluator is seen to agree."""
    base = make_base([{"when": when, "adds": {}}], variables=variables)
    agreed(base, values, evaluate(base, values))
    return chain(base, values).fired == {"A-000"}


# --- every operator


def test_the_version_is_told():
    assert available() == "2.0.28"


@pytest.mark.parametrize(
    ("when", "holds", "fails"),
    [
        ({"wall.brick": "solid"}, {BRICK: "solid"}, {BRICK: "cob"}),
        ({"wall.brick": "none"}, {BRICK: "none"}, {BRICK: "cob"}),
        ({"wall.brick": {"is_not": "solid"}}, {BRICK: "cob"}, {BRICK: "solid"}),
        ({"wall.brick": ["solid", "cob"]}, {BRICK: "cob"}, {BRICK: "cavity"}),
        ({"wall.brick": {"none_of": ["solid", "cob"]}}, {BRICK: "cavity"}, {BRICK: "cob"}),
        ({"wall.brick": ["solid", "cob", "none"]}, {BRICK: "cob"}, {BRICK: "cavity"}),
        ({"wall.leak": True}, {LEAK: True}, {LEAK: False}),
        ({"wall.leak": False}, {LEAK: False}, {LEAK: True}),
        ({"wall.leak": {"is_not": "yes"}}, {LEAK: False}, {LEAK: True}),
        ({"wall.thick_mm": 225}, {THICK: 225}, {THICK: 226}),
        ({"wall.thick_mm": {"is_not": 225}}, {THICK: 224}, {THICK: 225}),
        ({"wall.thick_mm": {"at_least": 225}}, {THICK: 225}, {THICK: 224}),
        ({"wall.thick_mm": {"above": 225}}, {THICK: 226}, {THICK: 225}),
        ({"wall.thick_mm": {"at_most": 225}}, {THICK: 225}, {THICK: 226}),
        ({"wall.thick_mm": {"below": 225}}, {THICK: 224}, {THICK: 225}),
        ({"wall.thick_mm": {"between": [215, 240]}}, {THICK: 240}, {THICK: 241}),
        ({"wall.thick_mm": {"between": [215, 240]}}, {THICK: 215}, {THICK: 214}),
        ({"not": {"wall.thick_mm": {"between": [215, 240]}}}, {THICK: 241}, {THICK: 230}),
        ({"reading.cold_k": {"at_least": -0.3}}, {COLD: -0.3}, {COLD: -0.4}),
        ({"reading.cold_k": {"below": 0}}, {COLD: -0.1}, {COLD: 0.0}),
        ({"wall.signs": {"includes": "salts"}}, {SIGNS: {"salts", "rot"}}, {SIGNS: {"rot"}}),
        ({"wall.signs": {"includes_any": ["salts", "tide"]}}, {SIGNS: {"tide"}}, {SIGNS: {"rot"}}),
        ({"wall.signs": {"includes_all": ["salts", "tide"]}}, {SIGNS: {"tide", "salts"}}, {SIGNS: {"tide"}}),
        ({"wall.signs": {"excludes": "salts"}}, {SIGNS: {"rot"}}, {SIGNS: {"salts"}}),
        ({"wall.signs": "none"}, {SIGNS: set()}, {SIGNS: {"rot"}}),
        ({"not": {"wall.signs": "none"}}, {SIGNS: {"rot"}}, {SIGNS: set()}),
        *(
            ({v.name: "known"}, {v: value}, {v: None})
            for v, value in (
                (BRICK, "cob"),
                (LEAK, False),
                (THICK, 100),
                (SIGNS, set()),
                (SEEN, dt.date(2026, 1, 2)),
                (SAMPLES, ((1, 2),)),
            )
        ),
        *(
            ({v.name: "unknown"}, {v: None}, {v: value})
            for v, value in (
                (BRICK, "cob"),
                (LEAK, False),
                (THICK, 100),
                (SIGNS, set()),
                (SEEN, dt.date(2026, 1, 2)),
                (SAMPLES, ()),
            )
        ),
    ],
)
def test_each_operator(when, holds, fails):
    def values(given):
        return {
            variable.name: UNKNOWN_VALUE
            if value is None
            else known(frozenset(value) if isinstance(value, set) else value)
            for variable, value in given.items()
        }

    assert fires(when, values(holds))
    assert not fires(when, values(fails))


TESTS = [
    {"wall.brick": "solid"},
    {"wall.leak": True},
    {"wall.thick_mm": {"at_least": 225}},
    {"wall.signs": {"includes": "salts"}},
    {"wall.signs": "none"},
]


@pytest.mark.parametrize("test", TESTS)
@pytest.mark.parametrize("values", [{}, {v.name: UNKNOWN_VALUE for v in VARIABLES}])
def test_what_is_unknown_neither_holds_nor_fails(test, values):
    assert not fires(test, values)
    assert not fires({"not": test}, values)
    assert not fires({"any": [test, {"not": test}]}, values)


@pytest.mark.parametrize("test", TESTS)
def test_what_does_not_apply_fails(test):
    values = {v.name: NOT_APPLICABLE_VALUE for v in VARIABLES}
    assert not fires(test, values)
    assert fires({"not": test}, values)


def test_what_does_not_apply_is_neither_known_nor_unknown():
    values = {v.name: NOT_APPLICABLE_VALUE for v in VARIABLES}
    for variable in VARIABLES:
        for word in ("known", "unknown"):
            assert not fires({variable.name: word}, values)
            assert fires({"not": {variable.name: word}}, values)


def test_nested_conditions():
    when = {
        "all": [
            {"any": [{"wall.brick": "solid"}, {"not": {"wall.thick_mm": {"below": 300}}}]},
            {"not": {"any": [{"wall.leak": True}, {"all": [{"wall.face": "render"}, {"wall.signs": "none"}]}]}},
        ]
    }
    dry = {"wall.leak": known(False), "wall.face": known("render"), "wall.signs": known(frozenset({"rot"}))}
    assert fires(when, {**dry, "wall.brick": known("solid")})
    assert fires(when, {**dry, "wall.brick": known("cob"), "wall.thick_mm": known(300)})
    assert not fires(when, {**dry, "wall.brick": known("cob"), "wall.thick_mm": known(299)})
    assert not fires(when, {**dry, "wall.brick": known("solid"), "wall.signs": known(frozenset())})
    assert not fires(when, {**dry, "wall.brick": known("solid"), "wall.signs": UNKNOWN_VALUE})
    assert fires(when, {**dry, "wall.face": known("bare"), "wall.signs": UNKNOWN_VALUE, "wall.brick": known("solid")})


def test_a_condition_that_always_holds_and_one_that_never_does():
    always = {"any": [{"wall.leak": "known"}, {"not": {"wall.leak": "known"}}]}
    for value in (known(True), UNKNOWN_VALUE, NOT_APPLICABLE_VALUE):
        assert fires(always, {"wall.leak": value})
        assert not fires({"not": always}, {"wall.leak": value})


def test_a_value_that_is_none_of_its_variable_never_reaches_the_engine():
    base = make_base([{"when": {"wall.brick": "solid"}}])
    for wrong in ("soild", True, 1, None):
        with pytest.raises(TypeError, match=r"wall\.brick"):
            chain(base, {"wall.brick": known(wrong)})


# --- stages, choices and sets


def three_stages():
    return make_base(
        [
            {"when": {"wall.brick": "solid"}, "supports": {"enough": ["yes"]}, "adds": {"tests": ["probe"]}},
            {"when": {"wall.leak": "unknown"}, "supports": {"enough": ["no"]}, "adds": {"tests": ["hose"]}},
            {
                "stage": "cause",
                "when": {"decided.enough": "yes", "wall.signs": {"includes": "salts"}},
                "supports": {"cause": ["rising"]},
            },
            {"stage": "cause", "when": {"wall.leak": True}, "rules_out": {"cause": ["rising"]}},
            {
                "stage": "cause",
                "when": {"not": {"decided.enough": "yes"}},
                "supports": {"cause": ["leak"]},
                "adds": {"tests": ["wait"]},
            },
            {
                "stage": "suitability",
                "when": {"all": [{"decided.cause": ["rising", UNDECIDED]}, {"found.tests": {"includes": "probe"}}]},
                "supports": {"verdict": ["treat"]},
            },
            {
                "stage": "suitability",
                "when": {"found.tests": {"excludes": "probe"}},
                "rules_out": {"verdict": ["treat", "wait"]},
            },
            {"stage": "suitability", "when": {"found.tests": "none"}, "rules_out": {"verdict": ["refer"]}},
        ],
        [
            choice("enough", "evidence", "yes", "no"),
            choice("cause", "cause", "rising", "leak"),
            choice("verdict", "suitability", "treat", "+wait", "+refer"),
        ],
        {"tests": ("cause", ("probe", "hose", "wait"))},
    )


@pytest.mark.parametrize(
    ("values", "options", "tests"),
    [
        (
            {"wall.brick": "solid", "wall.leak": False, "wall.signs": frozenset({"salts"})},
            {"enough": "yes", "cause": "rising", "verdict": "treat"},
            {"probe"},
        ),
        (
            {"wall.brick": "solid", "wall.leak": True, "wall.signs": frozenset({"salts"})},
            {"enough": "yes", "cause": UNDECIDED, "verdict": "treat"},
            {"probe"},
        ),
        ({"wall.brick": "cob"}, {"enough": "no", "cause": "leak", "verdict": "refer"}, {"hose", "wait"}),
        (
            {"wall.brick": "cob", "wall.leak": False},
            {"enough": UNDECIDED, "cause": "leak", "verdict": "refer"},
            {"wait"},
        ),
    ],
)
def test_three_stages(values, options, tests):
    base = three_stages()
    values = {name: known(value) for name, value in values.items()}
    assert agreed(base, values, evaluate(base, values)) == available()
    outcome = chain(base, values)
    assert outcome.options == options
    assert outcome.found == {"tests": tests}


def test_an_empty_set_is_told():
    base = make_base(
        [
            {"when": {"wall.leak": True}, "adds": {"tests": ["hose"]}},
            {"stage": "cause", "when": {"found.tests": "none"}, "supports": {"cause": ["rising"]}},
        ],
        [choice("cause", "cause", "rising", "leak")],
        {"tests": ("evidence", ("hose",))},
    )
    for leak, option in ((True, UNDECIDED), (False, "rising")):
        values = {"wall.leak": known(leak)}
        agreed(base, values, evaluate(base, values))
        assert chain(base, values).options == {"cause": option}


# --- the engine's limits


def test_more_than_sixty_four_comparisons_true_of_one_fact():
    rules = [{"when": {"wall.thick_mm": {"at_least": 50 + step}}} for step in range(200)]
    rules += [{"when": {"wall.brick": {"is_not": "cob"}, "wall.thick_mm": {"above": 100 + n}}} for n in range(200)]
    base = make_base(rules)
    for thick, fired in ((900, 400), (149, 100 + 49), (50, 1)):
        values = {"wall.thick_mm": known(thick), "wall.brick": known("solid")}
        agreed(base, values, evaluate(base, values))
        assert len(chain(base, values).fired) == fired


def test_more_than_five_hundred_and_twelve_conditions_in_a_stage():
    names = tuple(Variable(f"wall.f{n}", "number", ge=0, le=50, step=1) for n in range(150))
    rules = [{"when": {each.name: {"at_least": bound}}} for each in names for bound in (5, 10, 15, 20, 25)]
    base = make_base(rules, variables=names)
    assert len(rules) > 512
    rng = random.Random(5)
    for _ in range(20):
        values = {each.name: known(rng.randrange(30)) for each in names}
        agreed(base, values, evaluate(base, values))
        assert len(chain(base, values).fired) == sum(value.value // 5 for value in values.values())


def test_many_rules_on_one_comparison_and_many_alternatives_of_one_attribute():
    rules = [{"when": {"wall.brick": "solid", "wall.thick_mm": {"at_least": 50 + n % 300}}} for n in range(600)]
    rules += [{"when": {"wall.brick": ["solid", "cob"], "wall.thick_mm": 100 + n}} for n in range(300)]
    base = make_base(rules)
    for brick in BRICK.options:
        values = {"wall.brick": known(brick), "wall.thick_mm": known(220)}
        agreed(base, values, evaluate(base, values))
    assert len(chain(base, {"wall.brick": known("solid"), "wall.thick_mm": known(220)}).fired) == 2 * 171 + 1


def test_more_joined_facts_than_the_engine_takes():
    names = tuple(Variable(f"wall.f{n}", "yes_no") for n in range(40))
    base = make_base([{"when": {each.name: True for each in names}}], variables=names)
    every = {each.name: known(True) for each in names}
    assert chain(base, every).fired == {"A-000"}
    for each in names:
        assert chain(base, {**every, each.name: known(False)}).fired == frozenset()


def test_a_condition_of_many_ways_is_simplified():
    pairs = [{"any": [{"wall.thick_mm": {"below": 100 + n}}, {"wall.leak": True}]} for n in range(40)]
    assert fires({"all": pairs}, {"wall.leak": known(True)})
    assert fires({"all": pairs}, {"wall.thick_mm": known(99)})
    assert not fires({"all": pairs}, {"wall.thick_mm": known(100)})


def test_a_condition_of_too_many_ways_is_refused():
    names = tuple(Variable(f"wall.f{n}", "yes_no") for n in range(24))
    pairs = [{"any": [{a.name: True}, {b.name: True}]} for a, b in zip(names[::2], names[1::2], strict=True)]
    base = make_base([{"when": {"all": pairs}}], variables=names)
    with pytest.raises(BedjointError, match="A-000 holds in more than"):
        chain(base, {})


def test_a_rule_that_puts_too_many_tests_to_one_fact_is_refused():
    apart = [{"wall.thick_mm": 100 + 2 * n} for n in range(60)]
    with pytest.raises(BedjointError, match="A-000/0/0 puts too many tests"):
        chain(make_base([{"when": {"any": apart}}]), {})


def test_fifteen_hundred_cases_in_one_process():
    base = three_stages()
    rng = random.Random(15)
    for _ in range(1500):
        values = random_values(rng, base)
        agreed(base, values, evaluate(base, values))


def test_several_threads_do_not_mix_their_cases():
    base = three_stages()
    cases = [random_values(random.Random(seed), base) for seed in range(200)]
    with ThreadPoolExecutor(4) as pool:
        several = list(pool.map(lambda values: chain(base, values), cases))
    assert several == [chain(base, values) for values in cases]


def test_names_of_one_hash_are_refused():
    assert hashed("all") == 321211332
    assert hashed("costarring") == hashed("liquid")
    pair = (Variable("costarring", "yes_no"), Variable("liquid", "yes_no"))
    base = make_base([{"when": {each.name: True for each in pair}}], variables=pair)
    with pytest.raises(BedjointError, match="cannot tell costarring from liquid"):
        chain(base, {})


def test_a_rule_base_is_compiled_once():
    before = forward._MACHINES.copy()
    for _ in range(3):
        chain(make_base([{"when": {"wall.thick_mm": {"between": [111, 117]}}}]), {})
    assert len(forward._MACHINES) == len(before) + 1


# --- failures of the engine are never silent


class Failing(set):
    """Stands in for what the actions write to."""

    def __init__(self, error):
        super().__init__()
        self.error = error

    def add(self, name):
        raise self.error


@pytest.fixture
def machine():
    base = make_base([{"when": {"wall.leak": True}}, {"when": {"wall.leak": False}}])
    chain(base, {})
    machine = forward._MACHINES[base.digest]
    yield base, machine
    machine._marked = set()
    assert chain(base, {"wall.leak": known(True)}).fired == {"A-000"}  # nothing stayed behind


@pytest.mark.parametrize("error", [ValueError("broken"), KeyboardInterrupt()])
def test_what_an_action_raises_is_raised(machine, error):
    base, compiled_machine = machine
    compiled_machine._marked = Failing(error)
    with pytest.raises(type(error)):
        chain(base, {"wall.leak": known(True)})


def test_an_exception_the_engine_kept_is_raised(machine, monkeypatch):
    base, compiled_machine = machine
    real = compiled_machine._host.assert_facts
    monkeypatch.setattr(compiled_machine._host, "assert_facts", lambda *args: {**real(*args), "exception": "something"})
    with pytest.raises(BedjointError, match="something"):
        chain(base, {"wall.leak": known(True)})


def test_an_error_of_the_engine_is_raised(monkeypatch):
    monkeypatch.setattr(forward, "_MOST_OF_ONE_ATTRIBUTE", 1000)
    base = make_base([{"when": {"wall.thick_mm": {"at_least": 100 + step}}} for step in range(70)])
    assert len(chain(base, {"wall.thick_mm": known(109)}).fired) == 10
    for thick in (900, 109):  # nothing more is asked of an engine that failed
        with pytest.raises(BedjointError, match="error code: 303"):
            chain(base, {"wall.thick_mm": known(thick)})


def test_a_pass_cut_short_is_an_error(machine, monkeypatch):
    base, compiled_machine = machine
    monkeypatch.setattr(compiled_machine._host, "assert_fact", lambda *args: 0)
    with pytest.raises(BedjointError, match="stopped"):
        chain(base, {"wall.leak": known(True)})
    monkeypatch.setattr(compiled_machine._host, "assert_fact", lambda *args: None)
    with pytest.raises(BedjointError, match="end"):
        chain(base, {"wall.leak": known(True)})


def test_a_case_that_stayed_behind_is_an_error(machine, monkeypatch):
    base, compiled_machine = machine
    with monkeypatch.context() as patched:
        patched.setattr(compiled_machine._host, "delete_state", lambda *args: None)
        chain(base, {"wall.leak": known(True)})
        with pytest.raises(BedjointError, match="stayed behind"):
            chain(base, {"wall.leak": known(False)})
    with pytest.raises(BedjointError, match="stayed behind"):
        chain(base, {"wall.leak": known(False)})


def test_a_deprecated_call_inside_the_engine_is_no_error(monkeypatch):
    durable = importlib.import_module("durable.engine")
    real = durable._unix_now

    def deprecated():
        warnings.warn("utcfromtimestamp", DeprecationWarning, stacklevel=2)
        return real()

    monkeypatch.setattr(durable, "_unix_now", deprecated)
    assert fires({"wall.leak": True}, {"wall.leak": known(True)})


def test_without_durable_rules(monkeypatch):
    base = three_stages()
    monkeypatch.setattr(forward, "_durable", lambda: None)
    monkeypatch.setattr(forward, "_MACHINES", {})
    assert available() is None
    assert agreed(base, {}, evaluate(base, {})) is None
    with pytest.raises(BedjointError, match="not installed"):
        chain(base, {})


@pytest.mark.parametrize("error", [ImportError("undefined symbol: PyEval_CallObject"), ModuleNotFoundError("durable")])
def test_a_module_that_does_not_import_is_absent(monkeypatch, error):
    def broken(name):
        raise error

    monkeypatch.setattr(importlib, "import_module", broken)
    assert forward._durable.__wrapped__() is None


# --- agreement


def random_value(rng, variable, edges=()):
    """Any value of a variable: unknown, not applicable, or known, near the thresholds of the rules."""
    roll = rng.random()
    if roll < 0.15:
        return UNKNOWN_VALUE
    if roll < 0.25:
        return NOT_APPLICABLE_VALUE
    match variable.kind:
        case "choice":
            return known(rng.choice(variable.options))
        case "yes_no":
            return known(rng.random() < 0.5)
        case "set":
            share = rng.choice((0, 0.1, 0.5, 1))
            return known(frozenset(each for each in variable.options if rng.random() < share))
        case "number":
            if edges and rng.random() < 0.8:
                number = from_steps(variable, rng.choice(edges) + rng.choice((-1, 0, 1)))
            else:
                number = from_steps(variable, round(rng.uniform(variable.ge, variable.le) / (variable.step or 1)))
            number = min(max(number, variable.ge), variable.le)
            return known(int(number) if variable.whole else float(number))
        case "date":
            return known(dt.date(2026, 1, 1))
    return known(())


def random_values(rng, base, share=1.0):
    """Values for the facts and readings a rule base reads."""
    edges = {}
    for test in (test for rule in base.rules for test in rule.tests):
        found = edges.setdefault(test.variable, [])
        if test.variable.kind == "number":
            found.extend(test.operand)
    return {
        variable.name: random_value(rng, variable, tuple(sorted(found)))
        for variable, found in sorted(edges.items(), key=lambda pair: pair[0].name)
        if not variable.name.startswith(("decided.", "found.")) and rng.random() < share
    }


def random_condition(rng, variables):
    """A condition that parses: the same one may not stand twice in a list."""
    problems = [True]
    while problems:
        problems.clear()
        when = random_part(rng, variables, 3)
        parser = ConditionParser({v.name: v for v in variables}, lambda *problem: problems.append(problem))
        parser.parse(when, ())
    return when


def random_part(rng, variables, depth):
    roll = rng.random()
    if depth and roll < 0.25:
        return {"not": random_part(rng, variables, depth - 1)}
    if depth and roll < 0.65:
        parts = [random_part(rng, variables, depth - 1) for _ in range(rng.randint(1, 3))]
        return {rng.choice(("all", "any")): parts}
    variable = rng.choice(variables)
    words = [] if variable.name.startswith(("decided.", "found.")) else ["known", "unknown"]
    some = rng.sample(variable.options, rng.randint(1, len(variable.options))) if variable.options else []
    match variable.kind:
        case "choice":
            tests = [some[0], some, {"none_of": some}, {"is_not": some[0]}]
        case "yes_no":
            tests = [True, False, {"is_not": "yes"}]
        case "set":
            tests = ["none", {"includes_any": some}, {"includes_all": some}, {"excludes": some[0]}]
        case "number":
            low, high = (from_steps(variable, each) for each in sorted(rng.sample(range(997, 1004), 2)))
            tests = [
                {"between": [low, high]},
                *({op: low} for op in ("at_least", "above", "at_most", "below", "is")),
            ]
        case _:
            tests = []
    return {variable.name: rng.choice((*tests, *words))}


def random_base(seed):
    """A small rule base: three stages, a choice in each, two sets."""
    rng = random.Random(seed)
    few = (
        BRICK,
        FACE,
        LEAK,
        Variable("wall.thick_mm", "number", ge=50, le=2000, step=1, whole=True),
        Variable("reading.cold_k", "number", ge=-50, le=200, step=0.1),
        SIGNS,
        SEEN,
    )
    stages = ("evidence", "cause", "verdict")
    choices = [choice("evidence", "evidence", "a", "+b", "c"), choice("cause", "suitability", "a", "b"),
               choice("verdict", "works", "+a", "b", "+c")]  # fmt: skip
    sets = {"tests": ("evidence", ("x", "y")), "works": ("cautions", ("x", "y", "z"))}
    read = {
        "evidence": few,
        "cause": (
            *few,
            choice_variable(Choice.model_validate(choices[0])),
            Variable("found.tests", "set", ("x", "y")),
        ),
    }
    read["verdict"] = (*read["cause"], choice_variable(Choice.model_validate(choices[1])))
    rules = []
    for name, made in zip(stages, choices, strict=True):
        for _ in range(rng.randint(2, 6)):
            options = [each["id"] for each in made["options"]]
            rules.append(
                {
                    "stage": made["stage"],
                    "when": random_condition(rng, read[name]),
                    "supports": {name: rng.sample(options, 1)} if rng.random() < 0.6 else {},
                    "rules_out": {name: rng.sample(options, 1)} if rng.random() < 0.4 else {},
                    "adds": {
                        **({"works": [rng.choice("xyz")]} if rng.random() < 0.5 else {}),
                        **({"tests": [rng.choice("xy")]} if name == "evidence" else {}),
                    },
                }
            )
    return make_base(rules, choices, sets, few)


POOL = [random_base(seed) for seed in range(60)]


@settings(max_examples=600, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(base=st.sampled_from(POOL), seed=st.integers(0, 2**32))
def test_agrees_with_the_evaluator(base, seed):
    rng = random.Random(seed)
    values = random_values(rng, base, share=rng.choice((0.5, 1.0)))
    assert agreed(base, values, evaluate(base, values)) == available()


def test_the_pool_fires_and_decides_all_sorts():
    seen = set()
    for seed, base in enumerate(POOL):
        outcome = chain(base, random_values(random.Random(seed), base))
        seen |= {len(outcome.fired) > 0, *outcome.options.items()}
    assert {True, False, ("cause", UNDECIDED), ("cause", "a"), ("verdict", "b")} <= seen


def tampered(evaluation, **changes):
    return dataclasses.replace(evaluation, **changes)


def test_readers_that_differ_are_an_error():
    base = three_stages()
    values = {"wall.brick": known("solid"), "wall.leak": known(False)}
    right = evaluate(base, values)
    agreed(base, values, right)
    wrong_rule = tampered(right, fired=right.fired - {"A-000"} | {"A-001"})
    with pytest.raises(ReadersDisagree, match=r"rule A-001 holds.*rule A-000 fired") as caught:
        agreed(base, values, wrong_rule)
    assert "2026.1" in str(caught.value)
    outcome = dataclasses.replace(right.outcomes["verdict"], option="refer")
    with pytest.raises(ReadersDisagree, match="choice verdict is refer for the evaluator, treat for durable"):
        agreed(base, values, tampered(right, outcomes={**right.outcomes, "verdict": outcome}))
    with pytest.raises(ReadersDisagree, match="choice verdict is None"):
        agreed(base, values, tampered(right, outcomes={}))
    sets = {"tests": dataclasses.replace(right.sets["tests"], now=frozenset({"hose"}))}
    with pytest.raises(ReadersDisagree, match="set tests differs in hose, probe"):
        agreed(base, values, tampered(right, sets=sets))
    with pytest.raises(ReadersDisagree, match="set tests differs in probe"):
        agreed(base, values, tampered(right, sets={}))


def test_a_set_that_only_one_reader_closed_is_a_difference(monkeypatch):
    base = three_stages()
    right = evaluate(base, {})
    monkeypatch.setattr(agree, "chain", lambda *args: Forward(right.fired, chain(base, {}).options, {}))
    empty = {"tests": dataclasses.replace(right.sets["tests"], now=frozenset())}
    with pytest.raises(ReadersDisagree, match="set tests differs in whether it closed"):
        agreed(base, {}, tampered(right, sets=empty))


# --- the rule base itself


def shipped():
    try:
        return [load_rule_base(manifest.version) for manifest in versions()]
    except BadInput:  # told by the tests of the rule base
        return []


@pytest.mark.parametrize("base", shipped(), ids=lambda base: base.manifest.version)
def test_agrees_on_the_rule_base(base):
    assert set(base.by_stage) == set(STAGES)
    rng = random.Random(2026)
    domain = {**facts(), **READINGS}
    edges = {name: set() for name in domain}
    for test in (test for rule in base.rules for test in rule.tests):
        if test.variable.kind == "number" and test.scope == "fact":
            edges[test.variable.name].update(test.operand)
    for _ in range(500):
        share = rng.choice((0.3, 0.8, 1.0))
        values = {
            name: random_value(rng, variable, tuple(sorted(edges[name])))
            for name, variable in domain.items()
            if rng.random() < share
        }
        agreed(base, values, evaluate(base, values))


@pytest.mark.parametrize("base", shipped(), ids=lambda base: base.manifest.version)
def test_agrees_on_the_examples_of_the_rule_base(base):
    for rule in base.rules:
        example = {
            name: value for name, value in rule.examples.holds.items() if not name.startswith(("decided.", "found."))
        }
        values = example_values(example, base.variables)
        agreed(base, values, evaluate(base, values))
