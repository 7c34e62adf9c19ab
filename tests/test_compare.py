"""`bedjoint compare`: two surveys or runs side by side, and what brings a changed decision about."""

import datetime as dt
import functools
import json
import pathlib
import random
import shutil

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cli.main import exit_code_of
from engine.decision.assess import assess
from engine.errors import BadInput
from engine.facts.amend import amended, as_written
from engine.facts.intake import read_survey
from engine.facts.values import State
from engine.facts.vocabulary import facts
from engine.reasoning.comparison import SideJudged, compare
from engine.reasoning.comparison_causes import THE_RULES, Budget, Causes, WallJudged
from engine.reasoning.comparison_model import Because, Comparison
from engine.rulebase.load import load_rule_base, rules_folder, versions
from tests.generated import fact_value, survey_file, survey_near_demo

DEMO = pathlib.Path(__file__).parent.parent / "scenarios_demo"
VERSION = versions()[-1].version
BASE = load_rule_base(VERSION)
DAY = dt.date(2026, 6, 15)
ONE = str(DEMO / "nine_inch_brick.yaml")
OTHER = str(DEMO / "old_course_in_the_bricks.yaml")
SEVERAL = str(DEMO / "three_walls.yaml")


@pytest.fixture
def here(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    return tmp_path


def run(capsys, *arguments):
    code = exit_code_of(list(arguments))
    captured = capsys.readouterr()
    assert "Traceback" not in captured.err + captured.out
    return code, captured.out, captured.err


def compared(capsys, *arguments):
    code, out, err = run(capsys, "compare", *arguments, "--format", "json")
    assert code in (0, 1), err
    comparison = Comparison.model_validate_json(out)
    assert comparison.same is (code == 0)
    return comparison


def side(file, base=BASE):
    surveyed = {(file.name, wall.id): WallJudged(file, wall, base) for wall in file.survey.walls}
    return SideJudged(file.name, (assess(file, base, DAY),), surveyed)


def written(capsys, target, *arguments):
    run(capsys, "assess", *arguments, "--format", "json", "--output", str(target))
    return str(target)


def choices(wall):
    return {each.choice: each for each in wall.choices}


# what differs


def test_a_survey_is_the_same_as_itself(capsys):
    comparison = compared(capsys, SEVERAL, SEVERAL)
    assert comparison.same_rules
    assert [wall.wall_a for wall in comparison.walls] == ["front", "back", "middle"]
    for wall in comparison.walls:
        assert (wall.facts, wall.readings, wall.rules_a_only, wall.rules_b_only) == ((), (), (), ())
    code, out, _ = run(capsys, "compare", SEVERAL, SEVERAL)
    assert code == 0
    assert "No decision differs at any of 3 walls." in out


def test_each_changed_choice_names_what_brings_it(capsys):
    (wall,) = compared(capsys, ONE, OTHER).walls
    found = choices(wall)
    assert (found["medium"].a.option, found["medium"].b.option) == ("cream", "rods")
    assert found["medium"].because.alone == ("earlier_treatment.medium",)
    assert found["line_height"].because.alone == ("floor.timbers_built_in",)
    assert found["verdict"].differs == ("grade",)
    assert "existing_course.kind" in found["verdict"].because.together
    kinds = {(each.set, each.id): (each.a is None, each.b is None) for each in wall.members}
    assert (
        kinds["works", "form_vertical_course"] == (True, False) if ("works", "form_vertical_course") in kinds else True
    )
    assert (True, False) in kinds.values()
    assert (False, True) in kinds.values()
    assert "R-001" not in {rule.id for rule in (*wall.rules_a_only, *wall.rules_b_only)}


def test_facts_are_named_with_their_values_and_places(capsys):
    (wall,) = compared(capsys, ONE, OTHER).walls
    by_name = {fact.name: fact for fact in wall.facts}
    kind = by_name["existing_course.kind"]
    assert (kind.a.value, kind.b.value, kind.b.established) == ("none", "chemical_aqueous", "reported")
    line = int(kind.b.where.rpartition(":")[2])
    assert "kind: " in pathlib.Path(OTHER).read_text().splitlines()[line - 1]
    assert by_name["existing_course.bridged_by"].a.value == "does not apply"
    assert by_name["property.survey_date"].a.value == "2026-03-04"
    assert "build.construction" not in by_name
    rows = by_name["moisture.samples"]
    assert rows.a.value == "7 rows, all of them only here"


def test_one_row_that_differs_is_shown():
    data = amended(survey_file(survey_near_demo(random.Random(3), 0)), {}).file.document.data
    data["walls"][0]["moisture"] = {
        "method": "oven_and_hygroscopic",
        "samples": [{"height_mm": h, "depth_mm": 80, "mc_percent": 9.0, "hmc_percent": 2.0} for h in (0, 300)],
    }
    one = survey_file(data)
    data["walls"][0]["moisture"]["samples"][1]["mc_percent"] = 8.5
    (wall,) = compare(side(one), side(survey_file(data))).walls
    rows = next(fact for fact in wall.facts if fact.name == "moisture.samples")
    assert rows.b.value == "2 rows, and only here height_mm 300 depth_mm 80 mc_percent 8.5 hmc_percent 2"


def test_swapped_sides_say_the_reverse(capsys):
    (there,) = compared(capsys, ONE, OTHER).walls
    (back,) = compared(capsys, OTHER, ONE).walls
    assert [(c.choice, c.a, c.b) for c in there.choices] == [(c.choice, c.b, c.a) for c in back.choices]
    assert there.rules_a_only == back.rules_b_only
    assert {(m.set, m.id) for m in there.members} == {(m.set, m.id) for m in back.members}
    assert {(f.name, f.a.value) for f in there.facts} == {(f.name, f.b.value) for f in back.facts}


def test_what_is_gone_for_another_reason_than_in_b_is_no_cause(capsys):
    """The balance takes the membrane away only by way of an investigation, and B is treated."""
    (wall,) = compared(capsys, ONE, OTHER).walls
    assert choices(wall)["verdict"].b.option == "treat"
    gone = {each.id: each.because for each in wall.members if each.b is None}
    assert gone["renew_floor_membrane"].alone == ("floor.kind",)
    one = read_survey(pathlib.Path(ONE), DAY)
    coarse = amended(one, {"moisture.balance_resolution_g": "unknown"}).file
    (there,) = compare(side(one), side(coarse)).walls
    assert choices(there)["verdict"].b.option == "investigate"
    gone = {each.id: each.because for each in there.members if each.b is None}
    assert gone["renew_floor_membrane"].alone == ("moisture.balance_resolution_g",)


def test_what_other_rules_add_is_no_cause(capsys):
    """Built-in timbers bring the caution on services too, by other rules than the one that brings it in B."""
    (wall,) = compared(capsys, ONE, OTHER).walls
    (services,) = (each for each in wall.members if each.b is not None and each.b.rules == ("C-010",))
    assert services.a is None
    assert services.because.alone == ("finishes.services_in_line",)


def by_the_design(choice, fired):
    """What a choice comes to while these rules hold: the first option that stands."""
    rules = [rule for rule in BASE.rules if rule.id in fired]
    for option in BASE.choices[choice].options:
        stands = option.open or any((choice, option.id) in rule.supports for rule in rules)
        if stands and not any((choice, option.id) in rule.rules_out for rule in rules):
            return option.id
    return "undecided"


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 2**40), st.integers(1, 8))
def test_what_is_said_to_bring_a_change_brings_it(seed, count):
    """Checked against surveys that are written out with just those facts, and with one of them left out.

    It brings it B's way: the rules that hold in B too come to the same.
    """
    rng = random.Random(seed)
    a = survey_file(survey_near_demo(rng, rng.choice((0, 1, 3))))
    changes = {name: fact_value(rng, facts()[name]) for name in rng.sample(list(facts()), count)}
    try:
        b = amended(a, changes).file
    except BadInput:
        return
    (wall,) = compare(side(a), side(b)).walls
    values = b.values_of(b.survey.walls[0])
    differ = {fact.name for fact in wall.facts}
    before = a.values_of(a.survey.walls[0])
    assert differ == {n for n in facts() if (before[n].state, before[n].value) != (values[n].state, values[n].value)}

    of_b = {rule.id for rule in assess(b, BASE, DAY).walls[0].rules}

    @functools.cache
    def judged(names):
        raw = {n: as_written(values[n].value) if values[n].known else "unknown" for n in names}
        try:
            changed = amended(a, raw).file
        except BadInput:
            return None
        return assess(changed, BASE, DAY).walls[0]

    def outcome(names, choice):
        there = judged(tuple(names))
        if there is None:
            return None
        option = there.choice(choice).option
        in_both = {rule.id for rule in there.rules} & of_b
        return option if by_the_design(choice, in_both) == option else None

    can_be_set = [
        n for n in sorted(differ) if values[n].known or (before[n].known and values[n].state is State.UNKNOWN)
    ]
    for each in wall.choices:
        if "option" not in each.differs:
            continue
        wanted = each.b.option
        assert set(each.because.alone) == {n for n in can_be_set if outcome([n], each.choice) == wanted}
        together = each.because.together
        assert bool(together) is not bool(each.because.alone)
        if together:
            assert outcome(together, each.choice) == wanted
            for name in together:
                assert outcome([n for n in together if n != name], each.choice) != wanted
    for each in wall.members:
        for name in each.because.alone:
            found = {item.id: item for item in judged((name,)).found(each.set).items}
            assert (each.id in found) is (each.b is not None)
            if each.b is not None:
                assert set(found[each.id].rules) & set(each.b.rules)


def test_what_would_take_too_long_to_try_is_broken_off_and_said(capsys):
    half = read_survey(DEMO / "half_the_facts.yaml", dt.date(2026, 11, 1))
    fuller = amended(half, {"property.protection": "none"}).file
    sides = [WallJudged(file, file.survey.walls[0], BASE) for file in (half, fuller)]
    causes = Causes(*sides, Budget(0))
    assert causes.of(lambda trial: trial.exact() is None) == Because(alone=(), together=(), complete=False)
    assert causes.of(lambda trial: True).alone == ("property.protection",)
    spent = Causes(*sides, Budget(1))
    assert spent.of(lambda trial: trial.exact().outcomes["verdict"].option == "investigate").complete


# walls


def test_walls_in_one_alone_are_said_and_count_as_a_difference(capsys, here):
    text = pathlib.Path(SEVERAL).read_text()
    (here / "less.yaml").write_text(text[: text.index("  - id: middle")])
    comparison = compared(capsys, SEVERAL, "less.yaml")
    assert [(each.side, each.wall) for each in comparison.alone] == [("a", "middle")]
    assert not comparison.same
    assert all(wall.same for wall in comparison.walls)
    _, out, _ = run(capsys, "compare", "less.yaml", SEVERAL)
    assert "is in B alone" in out
    assert compared(capsys, SEVERAL, "less.yaml", "--wall", "front").same
    assert not compared(capsys, SEVERAL, "less.yaml", "--wall", "middle").same


def test_a_lone_wall_is_paired_with_a_lone_wall_and_no_other(capsys):
    (wall,) = compared(capsys, ONE, OTHER).walls
    assert (wall.wall_a, wall.wall_b) == ("parlour-back", "front")
    (wall,) = compared(capsys, ONE, OTHER, "--wall", "front").walls
    assert (wall.wall_a, wall.wall_b) == ("parlour-back", "front")
    comparison = compared(capsys, ONE, SEVERAL)
    assert comparison.walls == ()
    assert [each.wall for each in comparison.alone] == ["parlour-back", "front", "back", "middle"]
    comparison = compared(capsys, OTHER, SEVERAL, "--wall", "front")
    assert [(wall.wall_a, wall.wall_b) for wall in comparison.walls] == [("front", "front")]
    code, _, err = run(capsys, "compare", ONE, SEVERAL, "--wall", "frnt")
    assert code == 2
    assert "did you mean front?" in err


def test_two_walls_are_paired_by_name(capsys):
    comparison = compared(capsys, ONE, SEVERAL, "--wall-a", "parlour-back", "--wall-b", "middle")
    (wall,) = comparison.walls
    assert (wall.wall_a, wall.wall_b, comparison.alone) == ("parlour-back", "middle", ())
    assert comparison.b.walls == ("front", "back", "middle")
    (wall,) = compared(capsys, SEVERAL, SEVERAL, "--wall-a", "back", "--wall-b", "front").walls
    assert (wall.wall_a, wall.wall_b, wall.same) == ("back", "front", False)
    _, out, _ = run(capsys, "compare", SEVERAL, SEVERAL, "--wall-a", "back", "--wall-b", "front")
    assert "Wall back in A and wall front in B: decisions differ" in out


@pytest.mark.parametrize("form", ["text", "markdown"])
def test_where_no_wall_could_be_paired_the_way_is_said(capsys, form):
    _, out, _ = run(capsys, "compare", ONE, SEVERAL, "--format", form)
    said = " ".join(out.split())
    assert "with --wall-a ID and --wall-b ID; walls of A: parlour-back; walls of B: front, back, middle." in said
    assert "--wall-a" not in run(capsys, "compare", ONE, OTHER, "--format", form)[1]


def test_walls_paired_by_name_must_be_there_and_alone(capsys, here):
    code, _, err = run(capsys, "compare", SEVERAL, SEVERAL, "--wall-a", "bakc", "--wall-b", "midle")
    assert code == 2
    assert "did you mean back?" in err
    assert "did you mean middle?" in err
    code, _, err = run(capsys, "compare", SEVERAL, SEVERAL, "--wall-a", "back", "--wall", "front")
    assert code == 2
    assert "--wall-b: is missing beside --wall-a" in err
    assert "--wall: cannot be used beside" in err
    for name, source in (("a.yaml", OTHER), ("b.yaml", SEVERAL)):
        shutil.copy(source, here / name)
    both = written(capsys, here / "both.json", "a.yaml", "b.yaml")
    code, _, err = run(capsys, "compare", both, ONE, "--wall-a", "front", "--wall-b", "parlour-back")
    assert code == 2
    assert "is a wall of several surveys" in err
    (wall,) = compared(capsys, both, ONE, "--wall-a", "middle", "--wall-b", "parlour-back").walls
    assert wall.wall_a == "middle"


# runs


def test_a_run_is_compared_without_facts_and_says_so(capsys, here):
    before = written(capsys, here / "before.json", ONE)
    after = written(capsys, here / "after.json", ONE, "--set", "floor.timbers_built_in=[joist_ends]")
    comparison = compared(capsys, before, after)
    (wall,) = comparison.walls
    assert (comparison.a.kind, comparison.b.kind) == ("run", "run")
    assert wall.facts is None
    assert choices(wall)["line_height"].because is None
    assert comparison.b.judged[0].changed
    _, out, _ = run(capsys, "compare", before, after)
    assert "A run holds no facts" in out
    assert "NOT AS SURVEYED" in " ".join(out.split())
    assert "FACTS THAT DIFFER" not in out
    for one, other in ((ONE, before), (before, ONE)):
        mixed = compared(capsys, one, other)
        assert mixed.same
        assert mixed.walls[0].facts is None


def test_runs_and_surveys_differ_in_the_same(capsys, here):
    runs = [written(capsys, here / f"{n}.json", path) for n, path in enumerate((ONE, OTHER))]
    by_run, by_survey = compared(capsys, *runs).walls[0], compared(capsys, ONE, OTHER).walls[0]
    for name in ("choices", "members"):
        stripped = [each.model_copy(update={"because": None}) for each in getattr(by_survey, name)]
        assert list(getattr(by_run, name)) == stripped
    assert by_run.readings == by_survey.readings
    assert by_run.rules_a_only == by_survey.rules_a_only


def test_a_run_over_a_folder_pairs_by_reference_too(capsys, here):
    for name, source in (("a.yaml", OTHER), ("b.yaml", SEVERAL)):
        shutil.copy(source, here / name)
    before = written(capsys, here / "before.json", "a.yaml", "b.yaml")
    after = written(capsys, here / "after.json", "b.yaml", "a.yaml")
    comparison = compared(capsys, before, after)
    assert len(comparison.walls) == 4
    assert comparison.same
    (here / "again.yaml").write_text((here / "a.yaml").read_text())
    twice = written(capsys, here / "twice.json", "a.yaml", "again.yaml")
    code, _, err = run(capsys, "compare", twice, after)
    assert code == 2
    assert "holds this wall twice" in err


@pytest.mark.parametrize(
    ("content", "words"),
    [
        ('{"assessments": []}', ["schedules", "field required"]),
        ('{"assessments": [], "schedules": []}', ["hold no wall"]),
        ('{"assessments": [', ["is not JSON"]),
        ('{"assessments": 5, "schedules": []}', ["assessments", "valid array"]),
        ('{"assessments": [{"format": "x"}], "schedules": []}', ["assessments[0].format"]),
        ('{"assessments": ' + "[" * 100000, ["is not JSON"]),
        ('{"assessments": NaN, "schedules": []}', ["assessments"]),
        ('{"something": 1}', ["property", "is missing"]),
        ("[]", ["mapping"]),
        ("", ["empty"]),
    ],
)
def test_what_is_neither_a_run_nor_a_survey_is_refused(capsys, here, content, words):
    (here / "bad.json").write_text(content)
    code, out, err = run(capsys, "compare", "bad.json", ONE)
    assert (code, out) == (2, "")
    for word in words:
        assert word in err


def test_a_run_with_control_characters_is_refused(capsys, here):
    path = pathlib.Path(written(capsys, here / "run.json", ONE))
    data = json.loads(path.read_text())
    data["assessments"][0]["walls"][0]["choices"][0]["says"] = "\x1b[2Jgone"
    path.write_text(json.dumps(data))
    code, out, err = run(capsys, "compare", str(path), ONE)
    assert (code, out) == (2, "")
    assert "control characters" in err


def test_problems_of_both_sides_come_at_once(capsys, here):
    (here / "bad.yaml").write_text("walls: 5\n")
    code, _, err = run(capsys, "compare", "bad.yaml", "missing.yaml", "--output", "o.txt")
    assert code == 2
    assert "bad.yaml:1:8" in err
    assert "missing.yaml: there is no such" in err
    assert not pathlib.Path("o.txt").exists()


def test_options_that_judge_nothing_are_refused(capsys, here):
    before = written(capsys, here / "before.json", ONE)
    for option, value in (("--rules", VERSION), ("--as-of", "2026-11-01")):
        code, _, err = run(capsys, "compare", before, before, option, value)
        assert code == 2
        assert f"{option}: judges nothing" in err
    assert compared(capsys, before, ONE, "--rules", VERSION).same
    code, _, err = run(capsys, "compare", "-", "-")
    assert code == 2
    assert "cannot both be standard input" in err


def test_neither_side_is_overwritten(capsys, here):
    shutil.copy(ONE, here / "s.yaml")
    code, _, _ = run(capsys, "compare", ONE, "s.yaml", "--output", "s.yaml")
    assert code == 2
    assert (here / "s.yaml").read_text() == pathlib.Path(ONE).read_text()


# rules


def other_rules(tmp_path, old, new):
    """The rule base with one thing in it changed."""
    folder = tmp_path / "others"
    shutil.copytree(rules_folder() / VERSION, folder / VERSION)
    for path in (folder / VERSION / "rules").glob("*.yaml"):
        text = path.read_text()
        if old in text:
            path.write_text(text.replace(old, new, 1))
    return load_rule_base(VERSION, folder)


def test_other_rules_are_named_and_tried_like_a_fact(tmp_path):
    file = survey_file(survey_near_demo(random.Random(1), 0))
    fired = assess(file, BASE, DAY).walls[0].rules
    rule = next(each for each in fired if each.strength == "strong" and each.certainty == "moderate")
    text = next(
        p.read_text()
        for p in (rules_folder() / VERSION / "rules").glob("*.yaml")
        if f"id: {rule.id}\n" in p.read_text()
    )
    block = text[text.index(f"id: {rule.id}\n") :]
    block = block[: block.index("  certainty: moderate\n") + len("  certainty: moderate\n")]
    base = other_rules(tmp_path, block, block.replace("  certainty: moderate\n", "  certainty: low\n"))
    comparison = compare(side(file), side(file, base))
    assert not comparison.same_rules
    (wall,) = comparison.walls
    assert wall.facts == ()
    (graded,) = wall.rules_graded
    assert (graded.id, graded.certainty_a, graded.certainty_b, graded.word_b) == (
        rule.id,
        "moderate",
        "low",
        "consider",
    )
    assert comparison.same is (not wall.choices and not wall.members)
    for each in (*wall.choices, *wall.members):
        assert each.because.alone == (THE_RULES,)


# pages


@pytest.mark.parametrize("form", ["text", "markdown"])
def test_every_pair_of_demo_surveys_fits_the_page(capsys, form):
    for path in (ONE, SEVERAL, str(DEMO / "half_the_facts.yaml")):
        _, out, _ = run(capsys, "compare", ONE, path, "--format", form)
        assert "it certifies nothing" in out.replace("\n", " ")
        assert "\x1b" not in out
        assert "|" not in out
        if form == "text":
            assert max(map(len, out.splitlines())) <= 100


def test_the_same_comparison_is_the_same_bytes(capsys):
    assert run(capsys, "compare", ONE, OTHER) == run(capsys, "compare", ONE, OTHER)
