"""Settled means settled: the exact look at completions against every completion, and against real surveys."""

import functools
import pathlib
import random

import pytest
from few_facts import fillings, random_base
from generated import TODAY, any_survey, fact_value, survey_file, without_contradictions
from hypothesis import given, settings
from hypothesis import strategies as st

from engine.decision.assess import evaluate_wall
from engine.decision.open_questions import bears_on, what_matters
from engine.facts.amend import amended, as_written
from engine.facts.consistency import ORDERS, TOGETHER
from engine.facts.intake import read_survey
from engine.facts.values import State, known
from engine.facts.vocabulary import facts
from engine.inference.evaluate import evaluate
from engine.proof.completions import Completions
from engine.proof.exact import exact
from engine.proof.wall_space import all_surveys, is_possible, solver_for
from engine.readings.compute import compute_readings
from engine.rulebase.load import load_rule_base, versions
from engine.rulebase.reading_figures import reading_figures

BASE = load_rule_base(versions()[-1].version)
FIGURES = reading_figures(BASE.tables)
DEMO = pathlib.Path(__file__).parent.parent / "scenarios_demo"
YEAR = 2026


def valued(data, base=BASE):
    file = survey_file(data)
    wall = file.survey.walls[0]
    values = file.values_of(wall)
    values.update(compute_readings(values, file.survey.property.survey_date.year, FIGURES))
    return file, wall, values


# --- small rule bases: every completion looked at


@pytest.mark.parametrize("seed", range(60))
def test_what_is_possible_is_what_some_completion_comes_to_and_nothing_else(seed):
    base, rng = random_base(seed), random.Random(seed)
    results = {chosen: evaluate(base, values) for chosen, values in fillings()}
    for start, values in rng.sample(fillings(), 4):
        later = [
            after for chosen, after in results.items()
            if all(before is None or before is now for before, now in zip(start, chosen, strict=True))
        ]  # fmt: skip
        found = exact(base, evaluate(base, values), YEAR)
        for name, outcome in found.outcomes.items():
            assert set(outcome.possible) == {each.outcomes[name].option for each in later}, name
            assert outcome.unproved == ()
        held = found.sets["works"]
        assert held.sure == frozenset.intersection(*(each.sets["works"].now for each in later))
        assert held.sure | held.may == frozenset.union(*(each.sets["works"].now for each in later))


# --- the real rules


@functools.cache
def whole_space():
    wall = all_surveys(BASE, YEAR)
    return wall, solver_for(wall)


def literals(wall, values):
    from engine.proof.cells import equals

    for name, cell in wall.space.cells.items():
        value = values[name]
        if cell.variable.kind in ("rows", "date"):
            yield cell.known if value.known else cell.unknown if value.state is State.UNKNOWN else cell.absent
        else:
            yield equals(cell, value)


def test_every_real_survey_is_in_the_space_and_the_formulas_decide_as_the_evaluator():
    """400 generated surveys: no fact or reading excluded; every rule, choice and set the same."""
    import z3

    wall, solver = whole_space()
    for seed in range(400):
        rng = random.Random(seed)
        _, _, values = valued(any_survey(rng, rng.choice((0.0, 0.15, 0.5, 0.9))))
        evaluation = evaluate(BASE, values)
        solver.push()
        solver.add(*literals(wall, values))
        assert is_possible(solver, True), seed
        model = solver.model()

        def true(formula, model=model):
            return formula if isinstance(formula, bool) else z3.is_true(model.eval(formula, model_completion=True))

        assert {rule for rule, acts in wall.decided.acts.items() if true(acts)} == evaluation.fired
        for name, options in wall.decided.options.items():
            assert [o for o, f in options.items() if true(f)] == [evaluation.outcomes[name].option]
        for name, members in wall.decided.members.items():
            assert {m for m, f in members.items() if true(f)} == evaluation.sets[name].now
        solver.pop()


def test_what_cannot_be_true_together_is_not_in_the_space():
    """Every declared tie, broken: the solver finds no survey, and the check of surveys refuses it."""
    wall, solver = whole_space()
    from engine.proof.cells import equals
    from engine.proof.space import has, number

    cells = wall.space.cells
    for order in ORDERS:
        small, great = cells[order.small], cells[order.great]
        solver.push()
        solver.add(small.known, great.known, number(small) > number(great))
        assert not is_possible(solver, True), order
        solver.pop()
    for each in TOGETHER:
        when, then = cells[each.when.fact], cells[each.then.fact]
        solver.push()
        solver.add(when.known, has(each.when, when), then.known)
        assert is_possible(solver, True), each
        import z3

        solver.add(z3.Not(has(each.then, then)))
        assert not is_possible(solver, True), each
        solver.pop()
    assert not is_possible(solver, equals(cells["earlier_treatment.year"], known(YEAR + 1)))


@given(st.integers(0, 2**32), st.sampled_from((0.1, 0.3, 0.6)))
@settings(max_examples=40, deadline=None)
def test_every_option_said_to_be_possible_is_reached_by_a_survey_that_is_accepted(seed, share):
    file, wall, values = valued(any_survey(random.Random(seed), share))
    evaluation = evaluate(BASE, values)
    if evaluation.settled:
        return
    reach = Completions(BASE, evaluation, YEAR).reach()
    for (name, option), filled in reach.witnesses.items():
        after = amended(file, {fact: as_written(value.value) for fact, value in filled.items()}, [wall.id])
        assert after.dropped == ()
        found = after.file.values_of(after.file.survey.walls[0])
        found.update(compute_readings(found, YEAR, FIGURES))
        assert evaluate(BASE, found).outcomes[name].option == option


@given(st.integers(0, 2**32), st.sampled_from((0.05, 0.2, 0.5)))
@settings(max_examples=60, deadline=None)
def test_no_completion_of_a_survey_leaves_what_is_said_to_be_possible(seed, share):
    """Filled in at random a dozen times over; the bound of the evaluator holds the exact answer as well."""
    rng = random.Random(seed)
    data = any_survey(rng, share)
    _, _, values = valued(data)
    bound = evaluate(BASE, values)
    found = exact(BASE, bound, YEAR)
    for name, outcome in found.outcomes.items():
        assert set(outcome.possible) <= set(bound.outcomes[name].possible)
        assert outcome.option in outcome.possible
    unknown = [name for name in facts() if values[name].state is State.UNKNOWN]
    given_now = {name for name in facts() if values[name].known}
    for _ in range(12 if unknown else 0):
        filled = filled_in(rng, data, rng.sample(unknown, rng.randint(1, len(unknown))))
        _, _, later = valued(filled)
        if any(not later[name].known for name in given_now):
            continue  # the new facts contradicted an old one, which was dropped: no longer the same survey
        after = evaluate(BASE, later)
        for name, outcome in found.outcomes.items():
            assert after.outcomes[name].option in outcome.possible, name
        for name, held in found.sets.items():
            assert held.sure <= after.sets[name].now <= held.sure | held.may, name


def filled_in(rng, data, names):
    import copy

    filled = copy.deepcopy(data)
    for name in names:
        section, _, field = name.partition(".")
        holder = filled["property"] if section == "property" else filled["walls"][0].setdefault(section, {})
        holder[field] = fact_value(rng, facts()[name])
    return without_contradictions(filled)


@given(st.integers(0, 2**32), st.sampled_from((0.1, 0.4)))
@settings(max_examples=25, deadline=None)
def test_a_fact_that_is_not_asked_for_makes_no_difference(seed, share):
    """Any two answers to a fact said not to matter, or none, decide alike, whatever else is filled in."""
    rng = random.Random(seed)
    data = any_survey(rng, share)
    _, _, values = valued(data)
    evaluation = exact(BASE, evaluate(BASE, values), YEAR)
    perhaps, matters = bears_on(BASE, evaluation), what_matters(BASE, evaluation, YEAR)
    assert all(matters[name] <= perhaps[name] for name in matters)
    open_choices = [name for name, outcome in evaluation.outcomes.items() if not outcome.settled]
    idle = [n for n in facts() if values[n].state is State.UNKNOWN and n not in matters and facts()[n].kind != "rows"]
    unknown = [n for n in facts() if values[n].state is State.UNKNOWN]
    for _ in range(6 if idle and open_choices else 0):
        name = rng.choice(idle)
        others = [n for n in rng.sample(unknown, rng.randint(0, len(unknown))) if n != name]
        one = filled_in(rng, data, others)
        two = filled_in(rng, one, [name])
        _, _, before = valued(one)
        _, _, after = valued(two)
        same_but_one = all(before[n].value == after[n].value for n in facts() if n != name)
        if same_but_one and all(after[n].known for n in facts() if values[n].known):
            for each in open_choices:
                a, b = evaluate(BASE, before).outcomes[each], evaluate(BASE, after).outcomes[each]
                assert a.option == b.option, (name, each)


def test_what_the_coarser_look_left_open_is_found_settled():
    """The evaluator takes tests one by one; over a demo wall with one fact gone the exact look settles more."""
    fewer = 0
    for path in sorted(DEMO.glob("*.yaml")):
        file = read_survey(path, TODAY)
        for wall in file.survey.walls:
            for name in ("salts.scheme", "moisture.reported_profile", "evidence.meter"):
                after = amended(file, {name: "unknown"}, [wall.id]).file
                judged = next(each for each in after.survey.walls if each.id == wall.id)
                bound = evaluate_wall(after, judged, BASE, exactly=False)
                found = evaluate_wall(after, judged, BASE)
                fewer += sum(outcome.settled and not bound.outcomes[n].settled for n, outcome in found.outcomes.items())
    assert fewer > 0


# --- what was once excluded or taken for granted, and is real


def in_space(values):
    wall, solver = whole_space()
    solver.push()
    solver.add(*literals(wall, values))
    possible = is_possible(solver, True)
    solver.pop()
    return possible


def test_a_content_finer_than_its_step_at_a_bound_is_in_the_space():
    """0.3004 % of nitrate is above a bound of 0.3 % and yet in the same step as one that is not."""
    bounds = FIGURES.salt_schemes["plaster_selection"]
    for ion, limits in bounds.items():
        for edge in (limits.low_below_percent, limits.high_above_percent):
            for apart in (-0.0004, 0.0, 0.0004):
                salts = {f"{other}_percent": 0.0 for other in bounds} | {f"{ion}_percent": edge + apart}
                wall = {"id": "W", "salts": salts}
                _, _, values = valued({"property": {"reference": "T", "survey_date": "2026-06-15"}, "walls": [wall]})
                assert in_space(values), (ion, edge, apart)


def test_a_trace_of_salt_is_in_the_space():
    salts = {"chloride_percent": 0.0004, "nitrate_percent": 0.0}
    climate = {"air_temperature_c": 20.0, "air_rh_percent": 90.0}
    wall = {"id": "W", "salts": salts, "climate": climate}
    _, _, values = valued({"property": {"reference": "T", "survey_date": "2026-06-15"}, "walls": [wall]})
    assert in_space(values)


def test_an_excess_may_be_clear_before_the_basis_of_other_samples_is_known():
    """The sample at the base was weighed, one above it given in percent of nobody knows which mass."""
    samples = [
        {"height_mm": 0, "depth_mm": 80, "dish_g": 10, "dry_g": 12.5, "wet_g": 12.9, "conditioned_g": 12.6},
        {"height_mm": 300, "depth_mm": 80, "mc_percent": 3.0, "hmc_percent": 2.0},
    ]
    moisture = {"method": "oven_and_hygroscopic", "samples": samples, "balance_resolution_g": 0.01}
    wall = {"id": "W", "moisture": moisture}
    _, _, values = valued({"property": {"reference": "T", "survey_date": "2026-06-15"}, "walls": [wall]})
    assert values["reading.base_excess_clear"].known
    assert not values["reading.base_excess_percent"].known
    assert in_space(values)


def test_a_carbide_meter_reads_percent_of_the_wet_mass():
    """Its contents are certain before the basis is written down, so no other basis may follow."""
    data = read_survey(DEMO / "nine_inch_brick.yaml", TODAY)
    from engine.errors import BadInput

    rows = [{"height_mm": 75, "depth_mm": 80, "mc_percent": 8.0}]
    given = {
        "moisture.method": "carbide",
        "moisture.samples": rows,
        "moisture.basis": "dry",
    }
    with pytest.raises(BadInput, match="percent of the wet mass"):
        amended(data, given)
    amended(data, {**given, "moisture.basis": "wet"})


def test_salts_within_the_step_of_a_bound_can_be_made_real():
    """0.3 % exactly is medium, a trace above it high: leaving nitrate open leaves nothing unproved."""
    for ion in ("chloride", "nitrate", "sulfate"):
        file = amended(read_survey(DEMO / "nine_inch_brick.yaml", TODAY), {f"salts.{ion}_percent": "unknown"}).file
        outcome = evaluate_wall(file, file.survey.walls[0], BASE).outcomes["salt_load"]
        assert outcome.unproved == ()
        assert not outcome.settled


def test_few_options_stay_unproved():
    """Of 40 surveys near a demo wall with a few facts open; a wider space or a poorer search would show here."""
    unproved = 0
    for seed in range(40):
        rng = random.Random(seed)
        _, _, values = valued(any_survey(rng, rng.choice((0.05, 0.15, 0.3))))
        found = exact(BASE, evaluate(BASE, values), YEAR)
        unproved += sum(len(outcome.unproved) for outcome in found.outcomes.values())
    assert unproved <= 2


def test_what_decides_whether_a_fact_applies_bears_on_what_the_fact_does():
    file = amended(read_survey(DEMO / "nine_inch_brick.yaml", TODAY), {"floor.kind": "unknown"}).file
    found = evaluate_wall(file, file.survey.walls[0], BASE)
    perhaps = bears_on(BASE, found)
    for name, variable in facts().items():
        for need in variable.applies:
            if name in perhaps and found.values[need.fact].state is State.UNKNOWN:
                assert perhaps[name] <= perhaps.get(need.fact, frozenset())
