"""The review of one past job: point by point, both sides, what is open, and a reviewer's last word in a record."""

import datetime as dt
import functools
import io
import json
import pathlib
import re
import shutil
import sys
import types

import jsonschema
import pytest
import yaml

from cli.main import exit_code_of
from cli.render_review import as_json, as_text
from cli.review_command import EXAMPLE
from engine.archive.job import read_job_file
from engine.archive.review import reviewed
from engine.archive.review_model import Review
from engine.decision.assess import LIMITS, assess
from engine.facts.intake import read_survey
from engine.record.read import parse_record
from engine.rulebase.versions import rule_base_for

DEMO = pathlib.Path(__file__).parent.parent.parent / "scenarios_demo"
REVIEWS = DEMO / "reviews"
TODAY = dt.date(2026, 11, 26)
NAMES = sorted(path.name.removesuffix(".recommended.yaml") for path in REVIEWS.glob("*.recommended.yaml"))


@pytest.fixture
def here(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "80")
    for name in NAMES:
        shutil.copy(DEMO / f"{name}.yaml", tmp_path)
        shutil.copy(REVIEWS / f"{name}.recommended.yaml", tmp_path)
    return tmp_path


def run(capsys, *arguments):
    code = exit_code_of(["review", *arguments])
    captured = capsys.readouterr()
    assert "Traceback" not in captured.err + captured.out
    return code, captured.out, captured.err


@pytest.fixture(scope="module")
def demo():
    """The demo reviews, each made once."""

    @functools.cache
    def made(name):
        file, job = read_survey(DEMO / f"{name}.yaml", TODAY), read_job_file(REVIEWS / f"{name}.recommended.yaml")
        on = file.survey.property.survey_date
        return reviewed(file, rule_base_for(None, on), on, job)

    return made


@pytest.fixture
def quick(monkeypatch):
    """Without the search for changes, where it is not what a test is about."""
    monkeypatch.setattr("engine.archive.review_wall.MOST_SEARCHES", 0)


def run_json(capsys, name, *arguments):
    """A demo review as data, and its exit code."""
    code, out, err = run(
        capsys, f"{name}.yaml", "--recommended", f"{name}.recommended.yaml", "--format", "json", *arguments
    )
    assert out, err
    return Review.model_validate_json(out), code


def point(wall, choice):
    return next(each for each in wall.choices if each.choice == choice)


def found_set(wall, name):
    return next(each for each in wall.sets if each.set == name)


def test_a_course_recommended_for_a_wall_that_a_leak_wets(demo):
    review = demo("leaking_pipe")
    assert not review.agrees
    assert review.surveyor == "S3"
    (wall,) = review.walls
    rules = {rule.id: rule for rule in wall.rules}
    verdict = point(wall, "verdict")
    assert (verdict.recommended.option, verdict.decided.option) == ("treat", "remove_cause")
    assert (verdict.finding, verdict.grade, verdict.primary, verdict.follows_from) == ("differs", "should", True, ())
    assert verdict.sides.against == ("S-002",)
    assert verdict.sides.for_recommendation == ()
    assert rules["S-002"].because.startswith("No damp-proof course stops water")
    assert rules["S-002"].cites
    medium = point(wall, "medium")
    assert (medium.finding, medium.primary, medium.follows_from) == ("differs", False, ("verdict",))
    assert medium.would_bring is None
    cause = point(wall, "rising_damp")
    grounds = [ground for rule in cause.sides.against for ground in rules[rule].grounds]
    assert any("/leaking_pipe.yaml:" in ground.where for ground in grounds)
    assert [change.fact for each in cause.would_bring.sets for change in each.changes] == ["evidence.damp_pattern"]
    assert verdict.would_bring.sets == ()
    assert verdict.would_bring.proved_to == 2
    works = found_set(wall, "works")
    assert {each.id for each in works.left_out} == {"repair_leak", "let_dry", "remeasure"}
    assert {each.id for each in works.beyond} == {"strip_plaster", "replaster", "seal_holes"}
    assert all(each.rules and each.word for each in works.left_out)
    assert all(each.would_add and not each.rules for each in works.beyond)
    assert (wall.installed.as_recommended, wall.installed.finding) == (True, "differs")
    assert wall.outcome.failure
    assert wall.worst == "should"


def test_the_right_verdict_with_the_wrong_medium(demo):
    (wall,) = demo("old_course_in_the_bricks").walls
    medium = point(wall, "medium")
    assert (medium.decided.option, medium.finding, medium.primary) == ("rods", "differs", True)
    assert medium.would_bring.sets
    for each in medium.would_bring.sets:
        assert all(change.now != change.to for change in each.changes)
    assert [each.finding for each in wall.choices if each.choice != "medium"] == ["agree"] * 4
    assert (wall.installed.as_recommended, wall.installed.finding) == (False, "agree")
    assert not wall.outcome.failure


def test_more_than_the_wall_asks_for(demo):
    (wall,) = demo("nine_inch_brick").walls
    medium = point(wall, "medium")
    assert (medium.finding, medium.grade, medium.sides.stands) == ("differs", "consider", True)
    assert wall.over_specified.cheaper.option == "cream"
    assert wall.over_specified.basis == "common practice, no source"
    assert "dearest" in wall.over_specified.why_dearer


def test_what_cannot_be_decided_and_which_facts_would(demo):
    (wall,) = demo("half_the_facts").walls
    assert wall.worst == "should"  # a work that is called for whatever is found out was left out
    for name in ("verdict", "medium", "plaster"):
        each = point(wall, name)
        assert each.finding == "not_decidable"
        assert each.recommended.option in each.possible
        assert each.open_facts
        assert each.would_bring is None
    assert "evidence.leaks" in point(wall, "verdict").open_facts
    assert "salts.nitrate_percent" not in point(wall, "verdict").open_facts
    asked = [each.fact for each in wall.open_questions]
    assert set(point(wall, "plaster").open_facts) <= set(asked)
    tests = found_set(wall, "tests")
    assert tests.finding == "not_decidable"
    assert [each.id for each in tests.may_be_called_for] == ["leak_test"]


@pytest.mark.parametrize("name", NAMES)
def test_every_point_names_rules_that_are_told(demo, name):
    review = demo(name)
    for wall in review.walls:
        told = {rule.id for rule in wall.rules}
        for each in wall.choices:
            sides = each.sides
            assert {*sides.against, *sides.for_decision, *sides.for_recommendation} <= told
            if each.finding == "differs":
                assert sides.against or sides.stands or not sides.for_decision
        for each in wall.sets:
            for member in (*each.left_out, *each.called_for_now):
                assert set(member.rules) <= told


def as_decided(path, *, leave_out=()):
    """The recommendation that a survey's own assessment is."""
    file = read_survey(path, TODAY)
    decided = assess(file, rule_base_for(None, file.survey.property.survey_date), file.survey.property.survey_date)
    walls = []
    for wall in decided.walls:
        recommended = {each.choice: each.option for each in wall.choices}
        recommended |= {each.set: [item.id for item in each.items] or "none" for each in wall.sets}
        walls.append({"wall": wall.wall, "recommended": {n: v for n, v in recommended.items() if n not in leave_out}})
    return {"form": 1, "walls": walls}


@pytest.mark.parametrize("name", ["nine_inch_brick", "three_walls", "condensation"])
def test_what_the_rules_themselves_decide_agrees_throughout(capsys, here, quick, name):
    path = DEMO / f"{name}.yaml"
    pathlib.Path("own.yaml").write_text(yaml.safe_dump(as_decided(path)))
    code, out, err = run(capsys, str(path), "--recommended", "own.yaml", "--format", "json")
    assert code == 0, err
    review = Review.model_validate_json(out)
    assert {wall.worst for wall in review.walls} == {"agree"}
    assert all(each.finding == "agree" for wall in review.walls for each in (*wall.choices, *wall.sets))
    assert all(each.agreed == tuple(each.recommended) or set(each.agreed) == set(each.recommended)
               for wall in review.walls for each in wall.sets)  # fmt: skip


@pytest.mark.parametrize("name", NAMES)
def test_text_fits_and_is_plain_when_piped(demo, monkeypatch, name):
    monkeypatch.setenv("COLUMNS", "80")
    out = as_text(demo(name))
    assert max(map(len, out.splitlines())) <= 80
    assert "\x1b" not in out
    said = " ".join(out.split())
    assert LIMITS in said
    assert "POINT BY POINT" in said
    assert "Because:" in said
    assert "Found:" in said
    assert f"({name}.yaml:" in said
    assert "_" not in out.split("POINT BY POINT")[1].split("\n\n")[0]


def test_a_terminal_is_given_colours_and_a_file_is_not(demo, monkeypatch):
    monkeypatch.setattr(sys.stdout, "isatty", lambda: True, raising=False)
    monkeypatch.setenv("COLUMNS", "80")
    monkeypatch.setenv("TERM", "xterm-256color")
    shown = as_text(demo("leaking_pipe"))
    assert "\x1b[" in shown
    bare = re.sub(r"\x1b\[[0-9;]*m", "", shown)
    assert max(map(len, bare.splitlines())) <= 80
    assert "\x1b" not in as_text(demo("leaking_pipe"), plain=True)


def test_both_sides_stand_in_the_text(demo, monkeypatch):
    monkeypatch.setenv("COLUMNS", "80")
    said = " ".join(as_text(demo("nine_inch_brick")).split())
    assert "> Against physical:" in said
    assert "physical stands as well, and comes later in the order. The order: Cream first" in said
    assert "MORE THAN THE WALL ASKS FOR" in said
    said = " ".join(as_text(demo("leaking_pipe")).split())
    assert "> Against treat:" in said
    assert "> For treat: no rule that holds supports it." in said
    assert "Proved: no change of up to two facts would bring treat." in said
    assert "This follows from what differs at verdict." in said
    assert "a recorded failure" in said
    assert "proves neither side right" in said


def test_markdown_and_a_file_to_write_to(capsys, here, quick):
    arguments = ("leaking_pipe.yaml", "--recommended", "leaking_pipe.recommended.yaml", "--format", "markdown")
    code, printed, _ = run(capsys, *arguments, "--output", "review.md")
    assert (code, printed) == (1, "")
    text = pathlib.Path("review.md").read_text()
    assert text.startswith("# Wall kitchen-side, survey ")
    assert "\n## Point by point\n" in text
    assert "leaking\\_pipe.yaml:" in text
    before = pathlib.Path("leaking_pipe.recommended.yaml").read_text()
    code, _, err = run(capsys, *arguments, "--output", "leaking_pipe.recommended.yaml")
    assert code == 2
    assert "--output" in err
    assert pathlib.Path("leaking_pipe.recommended.yaml").read_text() == before


def test_json_is_as_its_schema_says_and_the_same_every_time(capsys, here):
    schema = Review.model_json_schema(mode="serialization")
    name = "old_course_in_the_bricks"
    arguments = (f"{name}.yaml", "--recommended", f"{name}.recommended.yaml", "--format", "json")
    code, first, _ = run(capsys, *arguments)
    assert code == 1
    assert run(capsys, *arguments)[1] == first
    jsonschema.Draft202012Validator(schema).validate(json.loads(first))


@pytest.mark.parametrize("name", NAMES)
def test_every_demo_fits_the_schema(demo, name):
    schema = Review.model_json_schema(mode="serialization")
    jsonschema.Draft202012Validator(schema).validate(json.loads(as_json(demo(name))))


def test_the_recommendation_may_come_from_standard_input(capsys, here, quick, monkeypatch):
    raw = pathlib.Path("nine_inch_brick.recommended.yaml").read_bytes()
    monkeypatch.setattr(sys, "stdin", types.SimpleNamespace(buffer=io.BytesIO(raw)))
    code, out, _ = run(capsys, "nine_inch_brick.yaml", "--recommended", "-", "--format", "json")
    assert code == 1
    assert Review.model_validate_json(out).recommended_in == "<stdin>"
    code, _, err = run(capsys, "-", "--recommended", "-")
    assert code == 2
    assert "is standard input, as the survey is" in err


def test_the_help_and_a_file_of_another_form_show_what_the_recommendation_looks_like(capsys, here, quick):
    _, out, _ = run(capsys, "--help")
    assert all(line in out for line in EXAMPLE.splitlines())
    assert max(map(len, out.splitlines())) <= 80
    for text in ("medium: cream\n", "walls: front\n", "walls:\n  - medium: cream\n"):
        pathlib.Path("other.yaml").write_text(text)
        code, out, err = run(capsys, "nine_inch_brick.yaml", "--recommended", "other.yaml")
        assert (code, out) == (2, "")
        assert EXAMPLE in err
    pathlib.Path("example.yaml").write_text(EXAMPLE)
    _, _, err = run(capsys, "nine_inch_brick.yaml", "--recommended", "example.yaml")
    assert "not of the form" not in err
    assert read_job_file(pathlib.Path("example.yaml")).walls[0].recommended["medium"] == "cream"


def test_only_the_walls_that_are_recorded_or_asked_for(capsys, here, quick):
    job = as_decided(DEMO / "three_walls.yaml")
    job["walls"] = [job["walls"][2], job["walls"][0]]
    pathlib.Path("two.yaml").write_text(yaml.safe_dump(job))
    survey = str(DEMO / "three_walls.yaml")
    code, out, _ = run(capsys, survey, "--recommended", "two.yaml", "--format", "json")
    review = Review.model_validate_json(out)
    assert code == 0
    assert [wall.wall for wall in review.walls] == ["front", "middle"]
    assert review.not_named == ("back",)
    _, out, _ = run(capsys, survey, "--recommended", "two.yaml", "--wall", "middle", "--format", "json")
    assert [wall.wall for wall in Review.model_validate_json(out).walls] == ["middle"]
    code, _, err = run(capsys, survey, "--recommended", "two.yaml", "--wall", "back")
    assert code == 2
    assert "nothing is recorded of this wall in two.yaml; found back; allowed: middle, front" in err


def test_another_version_of_the_rules_judges_where_it_is_asked_for(capsys, here, quick):
    review, _ = run_json(capsys, "leaking_pipe", "--rules", "2026.2", "--as-of", "2026-11-20")
    assert review.rule_set.version == "2026.2"
    assert review.as_of == dt.date(2026, 11, 20)


LAST_WORD = ("--by", "A. Viewer", "--because", "Seen on site.", "--record", "r.json")


def of_record(path="r.json"):
    return parse_record(pathlib.Path(path).read_bytes(), str(path))


def verified(capsys, path="r.json"):
    code = exit_code_of(["verify", path, "--format", "json"])
    (record,) = json.loads(capsys.readouterr().out)["records"]
    return code, record


def test_the_recommended_option_is_kept_by_an_override(capsys, here, quick):
    review, code = run_json(
        capsys, "old_course_in_the_bricks", "--override", "medium=cream", *LAST_WORD, "--until", "2999-12-31"
    )
    assert code == 1
    assert review.record == "r.json"
    (seen,) = review.overrides
    assert (seen.state, seen.override.to, seen.override.who) == ("counts", "cream", "A. Viewer")
    assert seen.override.until == dt.date(2999, 12, 31)
    assert [rule.id for rule in seen.ruled_out_by] == ["M-003"]
    code, record = verified(capsys)
    assert code == 0
    assert [each["state"] for each in record["overrides"]] == ["counts"]
    assert not record["altered"]
    assert of_record().record.decision.walls[0].choice("medium").option == "rods"


def test_the_decision_is_upheld_and_the_record_passes(capsys, here, quick):
    arguments = ("old_course_in_the_bricks.yaml", "--recommended", "old_course_in_the_bricks.recommended.yaml")
    code, out, _ = run(capsys, *arguments, "--override", "medium=rods", "--override", "verdict=treat", *LAST_WORD)
    assert code == 1
    said = " ".join(out.split())
    assert "> medium: the decision stands, rods." in said
    assert "A. Viewer, on " in said
    assert "To check it: bedjoint verify r.json" in said
    assert max(map(len, out.splitlines())) <= 80
    code, record = verified(capsys)
    assert code == 0
    assert [each["state"] for each in record["overrides"]] == ["went_back", "went_back"]


def test_a_second_word_is_added_to_the_same_record(capsys, here, quick):
    arguments = ("old_course_in_the_bricks.yaml", "--recommended", "old_course_in_the_bricks.recommended.yaml")
    assert exit_code_of(["assess", arguments[0], "--record", "r.json"]) == 0
    capsys.readouterr()
    assert run(capsys, *arguments, "--override", "medium=cream", *LAST_WORD)[0] == 1
    assert run(capsys, *arguments, "--override", "medium=rods", *LAST_WORD)[0] == 1
    code, record = verified(capsys)
    assert code == 0
    assert [each["state"] for each in record["overrides"]] == ["replaced", "went_back"]


def test_a_record_of_something_else_is_left_alone(capsys, here, quick):
    assert exit_code_of(["assess", "leaking_pipe.yaml", "--record", "r.json"]) == 0
    capsys.readouterr()
    before = pathlib.Path("r.json").read_bytes()
    arguments = ("old_course_in_the_bricks.yaml", "--recommended", "old_course_in_the_bricks.recommended.yaml")
    code, out, err = run(capsys, *arguments, "--override", "medium=cream", *LAST_WORD)
    assert (code, out) == (2, "")
    assert "holds another record" in err
    assert pathlib.Path("r.json").read_bytes() == before
    altered = json.loads(before)
    altered["survey"] = "another.yaml"
    pathlib.Path("r.json").write_text(json.dumps(altered))
    code, _, err = run(capsys, "leaking_pipe.yaml", "--recommended", "leaking_pipe.recommended.yaml",
                       "--override", "medium=cream", *LAST_WORD)  # fmt: skip
    assert code == 2
    assert "r.json" in err


def test_no_record_stays_where_the_review_cannot_be_written(capsys, here, quick):
    arguments = ("leaking_pipe.yaml", "--recommended", "leaking_pipe.recommended.yaml", "--override", "medium=cream")
    code, _, err = run(capsys, *arguments, *LAST_WORD, "--output", "nowhere/review.txt")
    assert code == 2
    assert "--output" in err
    assert not pathlib.Path("r.json").exists()
    code, _, err = run(capsys, *arguments, "--by", "A", "--because", "B", "--record", "leaking_pipe.yaml")
    assert code == 2
    assert pathlib.Path("leaking_pipe.yaml").read_bytes() == (DEMO / "leaking_pipe.yaml").read_bytes()


def test_an_option_nobody_recommended_is_not_a_last_word_on_the_job(capsys, here, quick):
    arguments = ("leaking_pipe.yaml", "--recommended", "leaking_pipe.recommended.yaml")
    code, _, err = run(capsys, *arguments, "--override", "medium=rods", *LAST_WORD)
    assert code == 2
    assert "allowed: medium=cream or medium=no_medium; for any other option: bedjoint override" in err
    assert not pathlib.Path("r.json").exists()
    pathlib.Path("all.yaml").write_text(yaml.safe_dump(as_decided(DEMO / "three_walls.yaml")))
    survey = str(DEMO / "three_walls.yaml")
    code, _, err = run(capsys, survey, "--recommended", "all.yaml", "--override", "medium=cream", *LAST_WORD)
    assert code == 2
    assert "needs one wall; name it with --wall" in err
    arguments = (survey, "--recommended", "all.yaml", "--wall", "front", "--override", "medium=cream")
    assert run(capsys, *arguments, *LAST_WORD)[0] == 0
    assert [wall.wall for wall in of_record().record.decision.walls] == ["front", "back", "middle"]


def problems(err):
    *lines, last = err.splitlines()
    assert last.endswith("nothing was written")
    return lines


def test_every_bad_input_is_said_at_once(capsys, here):
    pathlib.Path("bad.yaml").write_text(
        "form: 1\nwalls:\n- wall: kitchen\n  recommended: {medium: creem}\n  outcome: {result: cured}\n"
    )
    pathlib.Path("survey.yaml").write_text("form: 1\nwalls: []\n")
    code, out, err = run(
        capsys, "survey.yaml", "--recommended", "bad.yaml", "--rules", "2027.1", "--as-of", "soon",
        "--override", "mediun=cream", "--by", " ", "--until", "2020-01-01",
    )  # fmt: skip
    assert (code, out) == (2, "")
    found = problems(err)
    for start in ("--as-of: is not a date", "--because: is missing", "--by: is empty", "--record: is missing",
                  "--rules: no such version", "--until: is past", "bad.yaml:4:", "survey.yaml:"):  # fmt: skip
        assert any(each.startswith(start) for each in found), (start, found)


def test_walls_and_days_that_do_not_fit_the_survey(capsys, here):
    pathlib.Path("bad.yaml").write_text(
        "form: 1\nwalls:\n- wall: kitchen\n- wall: kitchen-side\n  installed: {on: 2026-01-01}\n"
        "- wall: kitchen-side\n  installed: {on: 2026-03-01}\n  outcome: {on: 2026-02-20}\n"
    )
    code, _, err = run(capsys, "leaking_pipe.yaml", "--recommended", "bad.yaml", "--wall", "kitchen",
                       "--override", "medium", "--override", "verdict=trat", *LAST_WORD)  # fmt: skip
    assert code == 2
    found = problems(err)
    assert any("no such wall in leaking_pipe.yaml; found kitchen" in each for each in found)
    assert any("the wall stands twice; found kitchen-side" in each for each in found)
    assert any("walls[1].installed.on: is before the survey" in each for each in found)
    assert any("walls[2].outcome.on: is before the day of installing" in each for each in found)
    assert any(each.startswith("--wall: no such wall") for each in found)
    assert any("is not CHOICE=OPTION; found medium" in each for each in found)
    assert any("no such option of verdict; found trat" in each and "did you mean treat?" in each for each in found)


@pytest.mark.parametrize("given", [("--by", "A"), ("--until", "2999-01-01"), ("--record", "r.json")])
def test_parts_of_a_last_word_do_not_stand_alone(capsys, here, given):
    code, _, err = run(capsys, "leaking_pipe.yaml", "--recommended", "leaking_pipe.recommended.yaml", *given)
    assert code == 2
    assert f"{given[0]}: stands without --override" in err


def test_a_job_of_which_nothing_is_recorded(capsys, here, quick):
    pathlib.Path("empty.yaml").write_text("form: 1\nwalls:\n- wall: kitchen-side\n")
    code, out, _ = run(capsys, "leaking_pipe.yaml", "--recommended", "empty.yaml")
    assert code == 0
    assert "nothing was recommended that could be held against the rules" in " ".join(out.split())
