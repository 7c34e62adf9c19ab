"""Why not: every obstacle is one, what would remove it does, and the command says it plainly."""

import datetime as dt
import functools
import itertools
import json
import os
import pathlib
import random
import subprocess
import sys

import pytest
from generated import TODAY, any_survey

from cli.judged import parsed_changes
from cli.main import exit_code_of
from engine.decision.grounds import now_view
from engine.facts.amend import amended
from engine.facts.intake import read_survey
from engine.facts.resolve import notes_of, resolve
from engine.facts.survey import Survey
from engine.facts.values import known
from engine.inference.evaluate import evaluate
from engine.inference.truth import Truth, conjunction, disjunction
from engine.inference.view import View
from engine.readings.compute import compute_readings
from engine.reasoning.obstacle_changes import TO_HOLD, TO_STOP, Need, change_for, ways
from engine.reasoning.obstacle_choices import ChoiceLogic
from engine.reasoning.obstacle_model import NoSupport, Obstacles, RuledOut, StandsBefore
from engine.reasoning.obstacles import obstacles, removals
from engine.reasoning.reason_subject import Subject, subject
from engine.rulebase import conditions
from engine.rulebase.load import load_rule_base, versions
from engine.rulebase.reading_figures import reading_figures
from engine.rulebase.rules import RuleBase

DEMO = pathlib.Path(__file__).parent.parent / "scenarios_demo"
BASE = load_rule_base(versions()[-1].version)
FIGURES = reading_figures(BASE.tables)
BOUNDS = ("at_least", "above", "at_most", "below")
SHARES = (0.0, 0.1, 0.3, 0.6, 0.9)


def evaluated(rng):
    survey = Survey.model_validate(any_survey(rng, rng.choice(SHARES)))
    values = resolve(notes_of(survey.property, survey.walls[0]))
    values.update(compute_readings(values, survey.property.survey_date.year, FIGURES))
    return evaluate(BASE, values)


@functools.cache
def pool():
    """Evaluations that several tests look at."""
    rng = random.Random(20261130)
    return [evaluated(rng) for _ in range(300)]


def truth_with(condition, view, flips):
    """Strong Kleene logic over a condition with some truths put in by hand: no code of the thing tested."""
    match condition:
        case conditions.Test():
            return flips.get(condition, view.of_test(condition))
        case conditions.Not(part):
            return truth_with(part, view, flips).negated
        case conditions.All(parts):
            return conjunction(truth_with(part, view, flips) for part in parts)
        case conditions.AnyOf(parts):
            return disjunction(truth_with(part, view, flips) for part in parts)
    raise AssertionError(condition)


def as_map(flips):
    found = {flip.test: flip.to for flip in flips}
    assert len(found) == len(flips)
    return found


def test_every_condition_made_true_removes_its_obstacle_and_none_of_a_joint_set_can_be_left_out():
    """Over 2,000 surveys: with the flips the rule comes to hold or to stop; with one left out it does not."""
    rng = random.Random(20261201)
    tried = joint = 0
    for _ in range(2000):
        evaluation = evaluated(rng)
        view = now_view(evaluation)
        for rule in rng.sample(BASE.rules, 3):
            held = rule.id in evaluation.fired
            for flips in itertools.islice(removals(rule, view, "stop" if held else "hold"), 10):
                flipped = as_map(flips)
                assert flipped
                assert (truth_with(rule.when, view, flipped) is Truth.TRUE) is not held, rule.id
                for test in flipped:
                    rest = {other: truth for other, truth in flipped.items() if other is not test}
                    assert (truth_with(rule.when, view, rest) is Truth.TRUE) is held, (rule.id, test.in_words())
                assert all(view.of_test(test) is not truth for test, truth in flipped.items())
                tried += 1
                joint += len(flipped) > 1
    assert tried > 8_000
    assert joint > 2_000


def removes(way, rule, view, held):
    """Whether the flips of a way turn a rule, and none of them is idle."""
    flips = [flip for _, several in way for flip in several]
    turned = {flip.test: flip.to for flip in flips}
    if len(turned) < len(set(flips)):
        return False

    def turns(with_flips):
        return (truth_with(rule.when, view, with_flips) is Truth.TRUE) is not held

    return turns(turned) and not any(
        turns({test: truth for test, truth in turned.items() if test is not left_out}) for left_out in turned
    )


def test_nothing_is_shown_that_is_in_no_way_that_works_and_only_what_always_holds_has_none():
    rng = random.Random(20261202)

    def needs(change):
        return {change} if isinstance(change, Need) else set().union(*map(needs, change.parts), set())

    for evaluation in pool():
        view = now_view(evaluation)
        for rule in rng.sample(BASE.rules, 8):
            held = rule.id in evaluation.fired
            change = change_for(rule.when, view, TO_STOP if held else TO_HOLD)
            working = [way for way in ways(change) if removes(way, rule, view, held)]
            assert needs(change) == {need for way in working for need, _ in way}
            if not working:
                # Only a rule on all options of a choice at once can never stop.
                assert held
                (test,) = rule.tests
                assert set(test.operand) == set(test.variable.options)


def test_values_said_to_do_are_values_that_do():
    """Of an option of a fact, a reading or a decision: with those shown the part comes out one way, with others not."""
    rng = random.Random(20261203)
    seen = 0
    for evaluation in pool():
        view = now_view(evaluation)
        for rule in rng.sample(BASE.rules, 6):
            goal = TO_STOP if rule.id in evaluation.fired else TO_HOLD
            for way in itertools.islice(ways(change_for(rule.when, view, goal)), 6):
                for need, _ in way:
                    scope, _, key = need.variable.name.partition(".")
                    if need.variable.kind != "choice" or not need.allowed.values:
                        continue
                    comes_out = {True: set(), False: set()}
                    for option in set(need.variable.options) - {"undecided"}:
                        values = {} if scope == "decided" else {need.variable.name: known(option)}
                        supposed = View(values, {key: option} if scope == "decided" else {})
                        comes_out[option in need.allowed.values].add(supposed.truth(need.condition))
                    assert len(comes_out[True]) == 1
                    assert not comes_out[True] & comes_out[False]
                    seen += 1
    assert seen > 1_000


def test_a_number_is_exactly_so_far_off():
    """A step nearer than said does not do, and as far as said does."""
    rng = random.Random(20261204)
    seen = both = 0
    with_bounds = [r for r in BASE.rules if any(t.op in BOUNDS for t in r.tests)]
    for evaluation in pool():
        view = now_view(evaluation)
        for rule in rng.sample(with_bounds, 8):
            held = rule.id in evaluation.fired
            change = change_for(rule.when, view, TO_STOP if held else TO_HOLD)
            for need in {need for way in itertools.islice(ways(change), 8) for need, _ in way if need.by}:
                variable = need.variable
                now = evaluation.values[variable.name].value
                step = variable.step or 1

                def comes_out(by, need=need, variable=variable, now=now):
                    return View({variable.name: known(round(now + by, 6))}).truth(need.condition)

                said = need.by.split(" or ")
                assert len(said) == len({part.endswith("short") for part in said})
                assert sorted(said, key=lambda part: float(part.split()[0])) == said
                for part in said:
                    amount = float(part.split()[0]) * (1 if part.endswith("short") else -1)
                    assert amount
                    assert part.endswith(("short", "too much"))
                    nearer = amount - step if amount > 0 else amount + step
                    assert comes_out(amount) is not comes_out(nearer), (rule.id, need.by)
                    assert comes_out(nearer) is comes_out(0)
                seen += 1
                both += len(said) == 2
    assert seen > 300
    assert both > 5


def standing(choice, fired, base=BASE):
    """The decision while these rules hold, by the words of the design: the first option that stands."""
    rules = [rule for rule in base.rules if rule.id in fired]
    for option in base.choices[choice].options:
        supported = option.open or any((choice, option.id) in rule.supports for rule in rules)
        if supported and not any((choice, option.id) in rule.rules_out for rule in rules):
            return option.id
    return "undecided"


def test_with_every_obstacle_gone_the_option_is_the_decision():
    """For every option not taken: rules changed as one way out of each obstacle asks, the option is taken."""
    rng = random.Random(20261205)
    tried = missed = without = 0
    for evaluation in pool():
        for choice in BASE.choices:
            logic = ChoiceLogic(BASE, choice, evaluation.fired)
            taken = evaluation.outcomes[choice].option
            assert logic.taken(evaluation.fired) == taken
            for wanted in [option.id for option in BASE.choices[choice].options]:
                if wanted == taken:
                    continue
                found = logic.in_the_way(wanted)
                assert found.against or found.lacks_support or found.before
                fired = set(evaluation.fired) - {rule.id for rule in found.against}
                moves = [[move for move in found.support if not move.frees]] if found.lacks_support else []
                moves += [[m for m in each.routes if not m.frees] for each in found.before if not each.falls_with]
                if not all(moves):
                    without += 1
                    continue
                for move in map(rng.choice, moves):
                    rules = {rule.id for rule in move.rules}
                    fired = fired | rules if move.must == "hold" else fired - rules
                tried += 1
                missed += standing(choice, fired) != wanted
    assert tried > 10_000
    assert without < tried / 100
    assert missed < tried / 1000  # two ways out, each sound by itself, may undo each other


def test_leaving_a_decision_really_leaves_it():
    for evaluation in pool()[:150]:
        for choice in BASE.choices:
            taken = evaluation.outcomes[choice].option
            wanted = [o.id for o in BASE.choices[choice].options if o.id != taken]
            for move in ChoiceLogic(BASE, choice, evaluation.fired).leaving(wanted):
                rules = {rule.id for rule in move.rules}
                fired = evaluation.fired | rules if move.must == "hold" else evaluation.fired - rules
                assert standing(choice, fired) in wanted


def judged(file, wall):
    values = file.values_of(wall)
    values.update(compute_readings(values, file.survey.property.survey_date.year, FIGURES))
    return evaluate(BASE, values)


def demo_walls():
    for path in sorted(DEMO.glob("*.yaml")):
        file = read_survey(path, dt.date(2026, 12, 31))
        for wall in file.survey.walls:
            yield file, wall, judged(file, wall)


def rules_in(answer):
    for each in getattr(answer, "obstacles", ()):
        if isinstance(each, RuledOut | NoSupport):
            yield from each.rules
        else:
            for route in each.routes:
                yield from route.rules


def test_obstacles_of_every_option_of_every_demo_wall():
    rng = random.Random(20261206)
    for file, wall, evaluation in demo_walls():
        for choice in rng.sample(list(BASE.choices.values()), 4):
            for option in choice.options:
                asked = Subject("option", option.id, choice.id)
                found = obstacles(file, BASE, TODAY, [(wall, evaluation)], asked, depth=0)
                answer = found.walls[0].answer
                assert answer.is_taken is (evaluation.outcomes[choice.id].option == option.id)
                assert bool(answer.obstacles) is not answer.is_taken
                for rule in rules_in(answer):
                    assert (rule.id in evaluation.fired) is (rule.must == "stop")
                for each in answer.obstacles:
                    if isinstance(each, RuledOut):
                        assert all(f"{choice.id}={option.id}" in rule.rules_out for rule in each.rules)
                    if isinstance(each, NoSupport):
                        assert not option.open
                        assert all(f"{choice.id}={option.id}" in rule.supports for rule in each.rules)
                    if isinstance(each, StandsBefore):
                        order = [o.id for o in choice.options]
                        assert order.index(each.option) < order.index(option.id)


def test_json_comes_back_as_it_went():
    file, wall, evaluation = next(demo_walls())
    for asked in ("verdict=no_course", "medium=mortar", "M-010", "works=lower_ground"):
        of = subject(asked, BASE, "WHAT")
        found = obstacles(file, BASE, TODAY, [(wall, evaluation)], of, depth=2)
        assert Obstacles.model_validate_json(found.model_dump_json()) == found


def run(capsys, *arguments):
    code = exit_code_of(["why-not", *arguments])
    captured = capsys.readouterr()
    assert "Traceback" not in captured.err + captured.out
    return code, captured.out, captured.err


def flat(text):
    return " ".join(text.split())


@pytest.fixture
def thin(tmp_path, monkeypatch):
    """The plain demo wall, a little too thin for the rule on nine-inch brick."""
    monkeypatch.chdir(tmp_path)
    text = (DEMO / "nine_inch_brick.yaml").read_text()
    assert text.count("{value: 225, established: measured") == 1
    (tmp_path / "thin.yaml").write_text(text.replace("{value: 225, established", "{value: 210, established"))
    return "thin.yaml"


def test_a_number_that_falls_short_says_by_how_much(capsys, thin):
    """The rule on plain nine-inch brick wants 215 to 240 mm."""
    rule = next(
        rule
        for rule in BASE.rules
        if {t.op for t in rule.tests if t.variable.name == "build.thickness_mm"} == {"at_least", "at_most"}
    )
    line = (
        (DEMO / "nine_inch_brick.yaml")
        .read_text()
        .splitlines()
        .index("      thickness_mm: {value: 225, established: measured, by: 'tape at the door reveal, plaster off'}")
    )
    code, out, err = run(capsys, thin, rule.id)
    assert (code, err) == (0, "")
    place = f"(thin.yaml:{line + 1}, measured: tape at the door reveal, plaster off)"
    assert f"build.thickness_mm is 210 mm {place}; needs 215 to 240 mm: 5 mm short" in flat(out)
    _, out, _ = run(capsys, thin, rule.id.lower(), "--set", "build.thickness_mm=250")
    assert "build.thickness_mm is 250 mm (--set build.thickness_mm); needs 215 to 240 mm: 10 mm too much" in flat(out)
    assert "NOT AS SURVEYED. Facts were changed: build.thickness_mm" in out
    _, out, _ = run(capsys, thin, rule.id, "--format", "json")
    data = json.loads(out)
    assert data["format"] == "bedjoint-why-not-1"
    need = data["walls"][0]["answer"]["rule"]["change"]
    assert need["met"]["variable"] == "build.thickness_mm"
    assert need["by"] == "5 mm short"
    assert need["values"] == ["215 to 240 mm"]
    test = "build.thickness_mm is at least 215 mm"
    assert need["ways"] == [[{"test": test, "now": "false", "must_be": "true"}]]


def test_what_rules_an_option_out_and_what_would_stop_it(capsys):
    code, out, _ = run(capsys, str(DEMO / "leaking_pipe.yaml"), "verdict=treat")
    assert code == 0
    said = flat(out)
    assert "1. S-002 rules out treat: A leak is mended before anything is drilled." in said
    assert "found.causes is leak; must not include leak" in said
    assert "2. treat needs support, and none of the 3 rules that would support it holds." in said
    assert "It falls with S-002 above." in said
    assert "needs something other than active: none or repaired" in said  # one level down: the leak itself
    assert "certifies nothing" in said


def test_an_option_before_it_would_have_to_fall(capsys):
    _, out, _ = run(capsys, str(DEMO / "nine_inch_brick.yaml"), "medium=physical")
    said = flat(out)
    assert "cream (injection cream) comes before it in the order and stands, supported by M-035." in said
    assert "cream would fall in one of these ways:" in said
    assert "build.bed_joint_mm is 10 mm (nine_inch_brick.yaml:29); needs below 6 mm: 5 mm too much" in said


def test_a_number_between_two_bounds_says_both_ways_out(capsys):
    _, out, _ = run(capsys, str(DEMO / "nine_inch_brick.yaml"), "medium=rods")
    assert "needs below 215 mm or above 240 mm: 11 mm too much or 16 mm short" in flat(out)


def test_an_option_whose_words_are_its_id_is_named_once(capsys):
    _, out, _ = run(capsys, str(DEMO / "nine_inch_brick.yaml"), "salt_load=high")
    assert "> Why salt_load is not high\n" in out
    _, out, _ = run(capsys, str(DEMO / "nine_inch_brick.yaml"), "salt_load=low")
    assert "> salt_load is low [settled]\n" in out
    _, out, _ = run(capsys, str(DEMO / "nine_inch_brick.yaml"), "salt_load=unknown")
    assert "(low)" not in out
    _, out, _ = run(capsys, str(DEMO / "nine_inch_brick.yaml"), "medium=rods")
    assert "> Why medium is not rods: pre-dosed rods" in out


def test_the_change_to_try_is_one_that_was_named_and_can_be_made(capsys):
    """For options of every demo wall: a fact named in the answer, with another value that the survey allows."""
    rng = random.Random(20261207)
    seen = 0
    for file, wall, evaluation in demo_walls():
        for choice in rng.sample(list(BASE.choices.values()), 3):
            asked = Subject("option", rng.choice(choice.options).id, choice.id)
            found = obstacles(file, BASE, TODAY, [(wall, evaluation)], asked, depth=1)
            if found.walls[0].answer.is_taken:
                assert found.walls[0].example is None
                continue
            if found.walls[0].example is None:
                continue
            name = found.walls[0].example.partition("=")[0]
            assert f'"variable":"{name}"' in found.model_dump_json()
            after = amended(file, parsed_changes([found.walls[0].example]), [wall.id]).file
            values = next(after.values_of(each) for each in after.survey.walls if each.id == wall.id)
            assert values[name].value != evaluation.values[name].value
            seen += 1
    assert seen > 20
    _, out, _ = run(capsys, str(DEMO / "nine_inch_brick.yaml"), "salt_load=high")
    assert "To try one, add it, such as --set salts.chloride_percent=0.501 to the command." in flat(out)
    _, out, _ = run(
        capsys, str(DEMO / "nine_inch_brick.yaml"), "salt_load=high", "--set", "salts.chloride_percent=0.501"
    )
    assert "> salt_load is high [settled]" in out
    _, out, _ = run(capsys, str(DEMO / "three_walls.yaml"), "medium=rods")
    assert "--wall front --set " in flat(out)


def test_what_is_so_already_says_so_and_points_to_why(capsys):
    demo = str(DEMO / "nine_inch_brick.yaml")
    code, out, _ = run(capsys, demo, "medium=cream")
    assert code == 0
    assert "medium is cream" in out
    assert "Nothing stands in its way. Its reasons: bedjoint why, with --about medium." in flat(out)
    _, out, _ = run(capsys, demo, "S-024")
    assert "S-024 holds" in out
    assert "bedjoint why, with --about S-024" in flat(out)


def test_depth_goes_into_earlier_decisions_or_names_what_is_left_out(capsys):
    demo = str(DEMO / "leaking_pipe.yaml")
    _, none, _ = run(capsys, demo, "medium=mortar", "--depth", "0")
    assert "Why verdict is not treat" not in none
    assert "left out: what it takes for verdict=treat" in flat(none)
    _, one, _ = run(capsys, demo, "medium=mortar")
    assert "Why verdict is not treat" in one
    assert "Why rising_damp is not shown" not in one
    _, two, _ = run(capsys, demo, "medium=mortar", "--depth", "2")
    assert "Why rising_damp is not shown" in two


def test_every_wall_or_only_one(capsys):
    _, out, _ = run(capsys, str(DEMO / "three_walls.yaml"), "verdict=no_course")
    assert out.count("survey SFS-2026-084") == 3
    _, out, _ = run(capsys, str(DEMO / "three_walls.yaml"), "verdict=no_course", "--wall", "back")
    assert out.count("survey SFS-2026-084") == 1


@pytest.mark.parametrize(
    ("what", "said"),
    [
        ("verdict", "names no option; found verdict; allowed: verdict=investigate"),
        ("verdict=treet", "no such option of verdict; found treet; allowed: investigate"),
        ("verdict=treet", "did you mean treat?"),
        ("verdit=treat", "did you mean verdict?"),
        ("M-999", "did you mean M-0"),
        ("cream", "did you mean medium=cream?"),
        ("works", "a set: ask about one of its members, as works=MEMBER"),
        ("works=lower_grond", "did you mean lower_ground?"),
        ("nothing at all", "the choices are evidence, profile"),
    ],
)
def test_what_is_asked_for_wrongly_is_refused_with_what_is_meant(capsys, what, said):
    code, out, err = run(capsys, str(DEMO / "nine_inch_brick.yaml"), what)
    assert (code, out) == (2, "")
    assert said in err
    assert "nothing was written" in err


def test_a_folder_of_several_surveys_is_refused(capsys, tmp_path):
    for name in ("a.yaml", "b.yaml"):
        (tmp_path / name).write_text((DEMO / "nine_inch_brick.yaml").read_text())
    code, out, err = run(capsys, str(tmp_path), "medium=mortar")
    assert (code, out) == (2, "")
    assert "holds several surveys" in err
    assert exit_code_of(["why", str(tmp_path)]) == 2


def test_a_file_is_written_plain_and_whole(capsys, thin):
    code, out, err = run(capsys, thin, "medium=mortar", "--output", "answer.md", "--format", "markdown")
    assert (code, out, err) == (0, "", "written to answer.md\n")
    text = pathlib.Path("answer.md").read_text()
    assert text.startswith("# Wall parlour-back, survey SFS-2026-011")
    assert "\n## Why medium is not mortar" in text
    before = pathlib.Path(thin).read_text()
    code, _, err = run(capsys, thin, "medium=mortar", "--output", thin)
    assert code == 2
    assert "is the survey itself" in err
    assert pathlib.Path(thin).read_text() == before


def test_lines_fit_80_columns_and_are_plain_when_piped():
    for name, what in (("leaking_pipe", "verdict=treat"), ("cob_cottage", "injection=conditional")):
        done = subprocess.run(
            [sys.executable, "-c", "import cli.main; cli.main.run()", "why-not", str(DEMO / f"{name}.yaml"), what],
            capture_output=True,
            env={**os.environ, "COLUMNS": "80", "FORCE_COLOR": ""},
            check=False,
        )
        shown = done.stdout.decode()
        assert done.returncode == 0, done.stderr
        assert "\x1b" not in shown
        assert max(map(len, shown.splitlines())) <= 80


def test_an_option_that_no_rule_could_support_says_so():
    dead = [rule for rule in BASE.rules if ("verdict", "no_course") not in rule.supports]
    base = RuleBase(
        BASE.manifest, BASE.choices, BASE.sets, BASE.members, BASE.sources, tuple(dead), BASE.variables, BASE.digest
    )
    file = read_survey(DEMO / "nine_inch_brick.yaml", TODAY)
    wall = file.survey.walls[0]
    values = file.values_of(wall)
    found = obstacles(
        file, base, TODAY, [(wall, evaluate(base, values))], Subject("option", "no_course", "verdict"), depth=0
    )
    from cli.render_obstacles import as_text

    assert "no_course needs support, and there is no rule that could support it." in flat(as_text(found))
