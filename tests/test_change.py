"""Changes that bring another decision: each checked by the engine, and against trying every value."""

import datetime as dt
import itertools
import json
import pathlib
import random
import shlex

import pytest
from generated import any_survey, survey_file

from cli.main import exit_code_of
from engine.decision.assess import evaluate_wall
from engine.decision.open_questions import answered
from engine.errors import BadInput
from engine.facts.amend import amended, as_written
from engine.facts.intake import read_survey
from engine.facts.values import known
from engine.facts.vocabulary import facts
from engine.inference.evaluate import evaluate
from engine.inference.probe import values_to_try
from engine.readings.compute import compute_readings
from engine.reasoning.change import Goal, changes_to
from engine.reasoning.change_model import Changes
from engine.rulebase.conditions import from_steps, to_steps
from engine.rulebase.load import load_rule_base, versions
from engine.rulebase.reading_figures import reading_figures

BASE = load_rule_base(versions()[-1].version)
FIGURES = reading_figures(BASE.tables)
DEMO = pathlib.Path(__file__).parent.parent / "scenarios_demo"


def demo(name):
    file = read_survey(DEMO / f"{name}.yaml", dt.date.today())
    wall = file.survey.walls[0]
    return file, wall, evaluate_wall(file, wall, BASE, exactly=False)


def judged_with(file, wall, changes):
    """The wall judged with changes, from the survey up; `None` where they cannot be true together."""
    try:
        after = amended(file, {name: as_written(value.value) for name, value in changes.items()}, [wall.id]).file
    except BadInput:
        return None
    judged = next(each for each in after.survey.walls if each.id == wall.id)
    return evaluate_wall(after, judged, BASE, exactly=False)


def goals(rng, evaluation, count):
    """Options that are not the decision, of choices at random."""
    pairs = [
        Goal(choice.id, option.id)
        for choice in BASE.choices.values()
        for option in choice.options
        if option.id != evaluation.outcomes[choice.id].option
    ]
    return rng.sample(pairs, count)


def check(file, wall, evaluation, search):
    """Every set brings the goal, no part of it does, and nothing that was known is forgotten."""
    for found in search.sets:
        to = {change.fact: change.to for change in found.changes}
        after = judged_with(file, wall, to)
        assert after is not None, to
        assert search.goal.reached(after), (search.goal, to)
        for size in range(len(to)):
            for part in itertools.combinations(to.items(), size):
                less = judged_with(file, wall, dict(part))
                assert less is None or not search.goal.reached(less), (search.goal, part)
        for change in found.changes:
            assert change.to.known
            assert change.now == evaluation.values[change.fact]
            for other in change.others:
                again = judged_with(file, wall, {**to, change.fact: other})
                assert again is not None
                assert search.goal.reached(again)
    names = [found.facts for found in search.sets]
    assert len(set(names)) == len(names)
    assert not any(one < other for one in names for other in names)


@pytest.mark.parametrize("seed", range(24))
def test_every_set_brings_the_goal_and_no_part_of_it_does(seed):
    rng = random.Random(seed)
    file = survey_file(any_survey(rng, rng.choice((0.0, 0.1, 0.4))))
    wall = file.survey.walls[0]
    evaluation = evaluate_wall(file, wall, BASE, exactly=False)
    for goal in goals(rng, evaluation, 2):
        check(file, wall, evaluation, changes_to(file, wall, BASE, evaluation, goal, 3, most=8))


def _tried(evaluation, changes):
    filled = answered({name: evaluation.values[name] for name in facts()}, changes)
    return evaluate(BASE, {**filled, **compute_readings(filled, 2026, FIGURES)})


@pytest.mark.parametrize("name", ["nine_inch_brick", "bridged_slate", "salts_left_behind", "half_the_facts"])
def test_no_single_fact_is_missed(name):
    """Every value that the rules tell apart, of every fact, tried one by one: plain brute force."""
    file, wall, evaluation = demo(name)
    rng = random.Random(name)
    chosen = goals(rng, evaluation, 6)
    hits = {goal: set() for goal in chosen}
    for fact, variable in facts().items():
        for value in values_to_try(BASE, variable):
            after = _tried(evaluation, {fact: value})
            for goal in chosen:
                if goal.reached(after) and judged_with(file, wall, {fact: value}) is not None:
                    hits[goal].add(fact)
    for goal in chosen:
        search = changes_to(file, wall, BASE, evaluation, goal, 1, most=200)
        found = {next(iter(each.facts)) for each in search.sets}
        assert hits[goal] <= found, goal
        # What brute force does not try: rows, and numbers that only readings are computed from.
        for fact in found - hits[goal]:
            assert not list(values_to_try(BASE, facts()[fact])) or facts()[fact].kind in ("rows", "number", "set")
        check(file, wall, evaluation, search)


def test_no_pair_is_missed():
    """All pairs of two dozen facts tried: the pairs found among them are just those, where no single fact does."""
    file, wall, evaluation = demo("nine_inch_brick")
    goal = Goal("medium", "physical")
    search = changes_to(file, wall, BASE, evaluation, goal, 2)
    assert search.cut_at is None
    assert search.proved_to == 2
    rng = random.Random(1)
    some = sorted({*rng.sample(list(facts()), 22), "earlier_treatment.medium", "earlier_treatment.drilled_in"})
    pairs = set()
    for one, other in itertools.combinations(some, 2):
        for a in values_to_try(BASE, facts()[one]):
            for b in values_to_try(BASE, facts()[other]):
                if goal.reached(_tried(evaluation, {one: a, other: b})):
                    changes = {one: a, other: b}
                    after = judged_with(file, wall, changes)
                    if after is not None and goal.reached(after):
                        pairs.add(frozenset(changes))
    assert pairs == {each.facts for each in search.sets if each.facts <= set(some)}
    assert pairs


def test_numbers_are_the_nearest_that_do():
    """A damp 820 mm high speaks for rising damp up to the height the rules name; a step further it does not."""
    file, wall, evaluation = demo("nine_inch_brick")
    search = changes_to(file, wall, BASE, evaluation, Goal("verdict", "investigate"), 1)
    change = next(c for s in search.sets for c in s.changes if c.fact == "evidence.damp_height_mm")
    nearer = {"evidence.damp_height_mm": type(change.to)(change.to.state, change.to.value - 1)}
    assert not search.goal.reached(judged_with(file, wall, nearer))


def test_what_no_survey_comes_to_is_proved():
    file, wall, evaluation = demo("nine_inch_brick")
    search = changes_to(file, wall, BASE, evaluation, Goal("medium", "solvent_liquid"))
    assert not search.possible
    assert not search.sets


def test_a_cut_search_says_so():
    file, wall, evaluation = demo("half_the_facts")
    search = changes_to(file, wall, BASE, evaluation, Goal("plaster", "lime"), 6, most=1)
    assert search.cut_at is not None or not search.sets
    file, wall, evaluation = demo("nine_inch_brick")
    search = changes_to(file, wall, BASE, evaluation, Goal("verdict", "specialist"), 1, most=2)
    assert search.cut_at == 1
    assert search.proved_to == 0
    assert len(search.sets) == 2


def test_a_goal_that_is_reached_already():
    file, wall, evaluation = demo("nine_inch_brick")
    assert changes_to(file, wall, BASE, evaluation, Goal("verdict", "treat")).already


def test_a_member_of_a_set_can_be_a_goal():
    file, wall, evaluation = demo("nine_inch_brick")
    member = sorted(BASE.members["notices"].keys() - evaluation.sets["notices"].now)[0]
    search = changes_to(file, wall, BASE, evaluation, Goal("notices", member, of_set=True), 2, most=6)
    check(file, wall, evaluation, search)


def test_a_number_refused_at_one_step_is_tried_at_the_next():
    """At 50 mm the wall is thinner than its samples are deep; at 80 mm, which no rule tells from 50, it is not."""
    file, _, _ = demo("nine_inch_brick")
    file = amended(file, {"evidence.evaporating_faces": "both", "evidence.damp_height_mm": 1235}).file
    wall = file.survey.walls[0]
    evaluation = evaluate_wall(file, wall, BASE, exactly=False)
    search = changes_to(file, wall, BASE, evaluation, Goal("tests", "repeat_outside", of_set=True), 1)
    check(file, wall, evaluation, search)
    assert {"build.thickness_mm": 80}.items() <= {c.fact: c.to.value for s in search.sets for c in s.changes}.items()


def test_what_comes_only_of_not_knowing_is_not_called_impossible():
    """Nobody asks for a leak test where the pipes were tested; where they were not, it is asked for."""
    file, wall, evaluation = demo("nine_inch_brick")
    goal = Goal("tests", "leak_test", of_set=True)
    search = changes_to(file, wall, BASE, evaluation, goal)
    assert not search.possible
    assert not search.nowhere
    unknown = amended(file, {"evidence.leaks": "unknown"}).file
    assert goal.reached(evaluate_wall(unknown, unknown.survey.walls[0], BASE, exactly=False))
    nowhere = changes_to(file, wall, BASE, evaluation, Goal("medium", "solvent_liquid"))
    assert nowhere.nowhere


@pytest.mark.parametrize(("name", "goal"), [("ashlar", "condensation"), ("nine_inch_brick", "condensation")])
def test_no_number_nearer_than_the_nearest_does(name, goal):
    """Of every single number found: ten steps nearer on its side, and as far on the other side, do not."""
    file, wall, evaluation = demo(name)
    search = changes_to(file, wall, BASE, evaluation, Goal("causes", goal, of_set=True), 1)
    looked = 0
    for change in (c for s in search.sets for c in s.changes if facts()[c.fact].kind == "number" and c.now.known):
        variable = facts()[change.fact]
        now, found = (to_steps(variable, v.value) for v in (change.now, change.to))
        apart = abs(found - now)
        for steps in (
            *(found + (1 if found < now else -1) * each for each in range(1, min(11, apart))),
            2 * now - found,
        ):
            value = from_steps(variable, steps)
            if steps == found or not variable.ge <= value <= variable.le:
                continue
            after = judged_with(file, wall, {change.fact: known(int(value) if variable.whole else value)})
            nearer = abs(steps - now) < apart
            assert after is None or not nearer or not search.goal.reached(after), (change.fact, value)
            looked += 1
    assert looked


def test_a_survey_with_light_samples_can_be_asked_about():
    from test_ask import light_samples

    file = light_samples()
    wall = file.survey.walls[0]
    evaluation = evaluate_wall(file, wall, BASE, exactly=False)
    search = changes_to(file, wall, BASE, evaluation, Goal("verdict", "treat"), 1)
    assert any("moisture.balance_resolution_g" in each.facts for each in search.sets)
    check(file, wall, evaluation, search)


# --- the command


def shown_command(out):
    """The command the page ends in, as a shell reads it."""
    lines = out.split("Try one:\n")[1].split("\n\n")[0].splitlines()
    return shlex.split(" ".join(line.rstrip().removesuffix("\\") for line in lines))


def test_the_command_survives_a_name_with_spaces_and_an_option_it_overrides(capsys, tmp_path):
    path = tmp_path / "my survey; it's.yaml"
    path.write_text((DEMO / "nine_inch_brick.yaml").read_text())
    _, out, _ = run(capsys, "change", path, "--set", "evidence.leaks=repaired", "--to", "verdict=remove_cause")
    command = shown_command(out)
    assert command[2] == str(path)
    assert [each for each in command if each.startswith("evidence.leaks")] == ["evidence.leaks=active"]
    _, said, err = run(capsys, *command[1:], "--format", "json")
    (wall,) = json.loads(said)["assessments"][0]["walls"]
    assert next(each["option"] for each in wall["choices"] if each["choice"] == "verdict") == "remove_cause", err


def test_no_command_is_shown_that_would_read_standard_input(capsys, monkeypatch):
    import io

    text = (DEMO / "nine_inch_brick.yaml").read_bytes()
    monkeypatch.setattr("sys.stdin", io.TextIOWrapper(io.BytesIO(text)))
    code, out, _ = run(capsys, "change", "-", "--to", "verdict=remove_cause")
    assert code == 0
    assert "Try one" not in out


def run(capsys, *arguments):
    code = exit_code_of([str(each) for each in arguments])
    captured = capsys.readouterr()
    return code, captured.out, captured.err


def test_the_page(capsys):
    code, out, _ = run(capsys, "change", DEMO / "nine_inch_brick.yaml", "--to", "medium=physical")
    assert code == 0
    assert "earlier_treatment.medium" in out
    assert "Proved: no other set of up to two facts would do" in out
    assert "certifies nothing" in out
    assert max(len(line) for line in out.splitlines()) <= 80
    assert "\x1b" not in out


def test_the_command_the_page_ends_in_brings_the_goal(capsys):
    _, out, _ = run(capsys, "change", DEMO / "nine_inch_brick.yaml", "--to", "verdict=remove_cause")
    command = shown_command(out)
    assert command[:2] == ["bedjoint", "assess"]
    _, said, _ = run(capsys, *command[1:], "--format", "json")
    (wall,) = json.loads(said)["assessments"][0]["walls"]
    assert next(each["option"] for each in wall["choices"] if each["choice"] == "verdict") == "remove_cause"


@pytest.mark.parametrize(
    ("survey", "given", "goal"),
    [
        ("cavity_perished_felt.yaml", "build.leaves=2", "medium=mortar"),
        ("cavity_debris.yaml", "build.leaves=2", "verdict=investigate"),
        ("nine_inch_brick.yaml", " evidence.leaks =repaired", "verdict=remove_cause"),
    ],
)
def test_the_command_leaves_out_what_was_set_and_no_longer_applies_or_is_set_otherwise(capsys, survey, given, goal):
    _, out, _ = run(capsys, "change", DEMO / survey, "--set", given, "--to", goal)
    code, said, err = run(capsys, *shown_command(out)[1:], "--format", "json")
    assert code in (0, 1), err
    (wall,) = json.loads(said)["assessments"][0]["walls"]
    name, option = goal.split("=")
    assert next(each["option"] for each in wall["choices"] if each["choice"] == name) == option


def test_the_command_names_a_file_that_begins_with_a_dash(capsys, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    pathlib.Path("-x.yaml").write_text((DEMO / "nine_inch_brick.yaml").read_text())
    _, out, _ = run(capsys, "change", "--to", "verdict=remove_cause", "--", "-x.yaml")
    assert run(capsys, *shown_command(out)[1:])[0] in (0, 1)


def test_none_found_ends_in_1_with_the_proof(capsys):
    code, out, _ = run(capsys, "change", DEMO / "leaking_pipe.yaml", "--to", "verdict=treat", "--up-to", "2")
    assert code == 1
    assert "Proved: no change of up to two facts would do." in out


def test_json_is_by_its_model(capsys):
    code, out, _ = run(
        capsys, "change", DEMO / "nine_inch_brick.yaml", "--to", "verdict=specialist", "--format", "json"
    )
    assert code == 0
    said = Changes.model_validate_json(out)
    assert said.goal == "verdict=specialist"
    assert all(change.set != change.now for each in said.walls[0].sets for change in each.changes)


@pytest.mark.parametrize(
    ("to", "said"),
    [
        ("medim=cream", "did you mean medium?"),
        ("medium=creem", "cream"),
        ("medium", "names nothing"),
        ("M-001", "names nothing"),
    ],
)
def test_bad_goals(capsys, to, said):
    code, out, err = run(capsys, "change", DEMO / "nine_inch_brick.yaml", "--to", to)
    assert code == 2
    assert out == ""
    assert said in err


def test_every_kind_of_results_that_would_do_is_named(capsys):
    """Dry masonry is one way to no course, salts that draw their water from the air another."""
    _, out, _ = run(capsys, "change", DEMO / "nine_inch_brick.yaml", "--to", "verdict=no_course")
    said = " ".join(out.split())
    told = said.split("would have to show, for instance:")[1].split("To find out")[0]
    assert "the masonry at depth is dry" in told
    assert "salts hold moisture from the air" in told


def test_the_command_shown_repeats_what_the_survey_was_judged_with(capsys):
    given = ["--set", "earlier_treatment.medium=cream", "--rules", versions()[-1].version]
    _, out, _ = run(capsys, "change", DEMO / "nine_inch_brick.yaml", *given, "--to", "medium=physical")
    command = shown_command(out)
    assert command[-4:-2] == ["--rules", versions()[-1].version]
    code, said, err = run(capsys, *command[1:], "--format", "json")
    assert code in (0, 1), err
    (wall,) = json.loads(said)["assessments"][0]["walls"]
    assert next(each["option"] for each in wall["choices"] if each["choice"] == "medium") == "physical"


def test_what_is_only_unknown_is_not_called_out_of_reach(capsys):
    code, out, _ = run(capsys, "change", DEMO / "half_the_facts.yaml", "--to", "verdict=treat", "--up-to", "2")
    assert code == 1
    assert "what is still unknown can bring it too" in " ".join(out.split())
