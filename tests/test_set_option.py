"""`--set`: the same survey with facts changed, said on every page, and the changing of facts itself."""

import datetime as dt
import json
import pathlib
import random

import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st

from cli.main import exit_code_of
from engine.errors import BadInput
from engine.facts.amend import amended, as_written, given_facts
from engine.facts.document import read_document
from engine.facts.intake import parse_survey
from engine.facts.resolve import notes_of
from engine.facts.values import State
from engine.facts.vocabulary import facts
from engine.reasoning.comparison_facts import changed_facts
from tests.generated import fact_value, survey_data, survey_file, surveys

DEMO = pathlib.Path(__file__).parent.parent / "scenarios_demo"
TODAY = dt.date(2026, 11, 1)
TWO_WALLS = """property: {reference: A-1, survey_date: 2026-05-04, protection: none}
walls:
  - id: front
    build:
      construction: cavity_brick
      thickness_mm: {value: 270, established: measured, by: drill}
      cavity_mm: 50
  - id: back
    build: {construction: solid_brick, thickness_mm: 225}
"""


def _whole_survey():
    """Two demo walls in one survey: of all that is known of them next to nothing is left open."""
    cavity, solid = (read_document(DEMO / f"{name}.yaml").data for name in ("cavity_perished_felt", "nine_inch_brick"))
    walls = [{**cavity["walls"][0], "id": "front"}, {**solid["walls"][0], "id": "back"}]
    return yaml.safe_dump({"property": {**cavity["property"], "reference": "A-1"}, "walls": walls}, sort_keys=False)


WHOLE = _whole_survey()


@pytest.fixture
def survey(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "s.yaml").write_text(WHOLE)
    (tmp_path / "t.yaml").write_text(WHOLE.replace("A-1", "B-2").replace("id: front", "id: side"))
    return tmp_path


def two_walls():
    return parse_survey(TWO_WALLS.encode(), "s.yaml", TODAY)


def run(capsys, *arguments):
    code = exit_code_of(list(arguments))
    captured = capsys.readouterr()
    assert "Traceback" not in captured.err + captured.out
    return code, captured.out, captured.err


def judged(capsys, *arguments):
    code, out, err = run(capsys, "assess", *arguments, "--format", "json")
    assert code in (0, 1), err
    return json.loads(out)["assessments"]


# changing facts


def test_a_changed_fact_has_its_own_place_and_the_others_keep_theirs():
    after = amended(two_walls(), {"build.thickness_mm": 330}, ["front"]).file
    values = after.values_of(after.survey.walls[0])
    assert (values["build.thickness_mm"].value, values["build.thickness_mm"].where) == (330, "--set build.thickness_mm")
    assert values["build.thickness_mm"].established is None
    assert values["build.cavity_mm"].where == "s.yaml:7"
    other = after.values_of(after.survey.walls[1])["build.thickness_mm"]
    assert (other.value, other.where) == (225, "s.yaml:9")


def test_a_survey_changed_twice_keeps_the_places_of_both_changes():
    once = amended(two_walls(), {"build.thickness_mm": 330}, ["front"]).file
    twice = amended(once, {"build.cavity_mm": 60, "property.protection": "listed"}, ["front"], "answer").file
    values = twice.values_of(twice.survey.walls[0])
    assert values["build.thickness_mm"].where == "--set build.thickness_mm"
    assert values["build.cavity_mm"].where == "answer build.cavity_mm"
    assert values["property.protection"].where == "answer property.protection"


def test_what_no_longer_applies_is_left_out_and_named():
    changed = amended(two_walls(), {"build.construction": "solid_brick"})
    assert changed.dropped == (("front", "build.cavity_mm"),)
    values = changed.file.values_of(changed.file.survey.walls[0])
    assert values["build.cavity_mm"].state is State.NOT_APPLICABLE


def test_the_survey_that_was_read_stays_as_it_was():
    before = two_walls()
    amended(before, {"build.construction": "solid_brick", "property.protection": "listed"})
    assert before.document.data == two_walls().document.data
    assert before.survey == two_walls().survey


def test_a_section_that_was_not_written_can_be_set():
    after = amended(two_walls(), {"evidence.tide_mark": True, "floor.timbers_built_in": ["joist_ends"]}).file
    for wall in after.survey.walls:
        values = after.values_of(wall)
        assert values["evidence.tide_mark"].value is True
        assert values["floor.timbers_built_in"].value == frozenset({"joist_ends"})


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"build.thickness_mm": 5}, ["--set build.thickness_mm", "out of limits", "50 to 2000 mm"]),
        ({"build.cavity_mm": 60}, ["--set build.cavity_mm", "walls[1]", "does not apply"]),
        ({"build.thickness_mm": 50}, ["s.yaml:7", "is wider than the wall is thick"]),
        ({"build.construction": "solid_brik"}, ["did you mean solid_brick?", "likewise at 1 more wall)"]),
    ],
)
def test_what_cannot_be_is_refused_once_for_all_walls(changes, words):
    with pytest.raises(BadInput) as error:
        amended(two_walls(), changes)
    assert len(error.value.problems) == 1
    for word in words:
        assert word in str(error.value)


def test_the_same_fault_at_many_walls_is_one_problem():
    data = survey_data(random.Random(4), 0.5, walls=40)
    with pytest.raises(BadInput) as error:
        amended(survey_file(data), {"build.thickness_mm": "thick"})
    (problem,) = error.value.problems
    assert "likewise at 39 more walls" in problem.message


@settings(max_examples=60, deadline=None)
@given(surveys())
def test_every_fact_written_back_is_the_same_fact(data):
    file = survey_file(data)
    (wall,) = file.survey.walls
    before = given_facts(file, wall)
    after = amended(file, {name: as_written(value.value) for name, value in before.items()})
    assert after.dropped == ()
    again = given_facts(after.file, after.file.survey.walls[0])
    assert {name: value.value for name, value in again.items()} == {n: v.value for n, v in before.items()}
    assert all(value.where == f"--set {name}" for name, value in again.items())


@settings(max_examples=150, deadline=None)
@given(surveys(), st.integers(0, 2**40), st.integers(1, 6))
def test_a_changed_survey_is_the_survey_that_would_be_written(data, seed, count):
    """Either refused, or the facts set, less those that no longer apply, and nothing else."""
    rng = random.Random(seed)
    file = survey_file(data)
    names = rng.sample(list(facts()), count)
    changes = {n: "unknown" if rng.random() < 0.2 else fact_value(rng, facts()[n]) for n in names}
    try:
        changed = amended(file, changes)
    except BadInput:
        return
    (old,), (new,) = file.survey.walls, changed.file.survey.walls
    before, after = notes_of(file.survey.property, old), notes_of(changed.file.survey.property, new)
    dropped = {name for _, name in changed.dropped}
    values = changed.file.values_of(new)
    for name in facts():
        if name in dropped:
            assert before[name].value is not None
            assert values[name].state is State.NOT_APPLICABLE
        elif name not in changes:
            assert after[name] == before[name]
        elif changes[name] == "unknown":
            assert after[name].value is None
        else:
            assert as_written(after[name].value) == as_written(_read(changes[name], after[name].value))
    assert not dropped & set(changes)
    survey_file(changed.file.document.data)  # it can be written down and read


def _read(raw, read):
    if isinstance(read, frozenset):
        return frozenset(() if raw == "none" else raw)
    return read if isinstance(read, tuple) else raw


def test_what_was_changed_is_said_once_for_walls_alike():
    before = two_walls()
    after = amended(before, {"build.construction": "earth", "property.protection": "none", "build.length_m": 4})
    said = changed_facts(before, after.file, {"build.construction", "property.protection", "build.length_m"})
    assert said == (
        "property.protection is none, as before",
        "build.length_m is 4 m instead of unknown (walls front, back)",
        "build.construction is earth instead of cavity_brick (wall front)",
        "build.cavity_mm is left out (was 50 mm), since it no longer applies (wall front)",
        "build.construction is earth instead of solid_brick (wall back)",
    )


# the option


def test_the_page_says_what_was_changed_right_under_its_head(capsys, survey):
    options = ("--set", "build.construction=solid_brick", "--wall", "front")
    _, out, _ = run(capsys, "assess", "s.yaml", *options)
    head = " ".join(out.split("VERDICT")[0].split())
    assert "NOT AS SURVEYED. Facts were changed: build.construction is solid_brick instead of cavity_brick" in head
    assert "build.cavity_mm is left out (was 60 mm), since it no longer applies" in head
    _, out, _ = run(capsys, "assess", "s.yaml", *options, "--format", "markdown")
    assert "**NOT AS SURVEYED" in out.split("| |")[0]
    (assessment,) = judged(capsys, "s.yaml", *options)
    assert len(assessment["changed"]) == 5
    assert judged(capsys, "s.yaml", "--wall", "front")[0]["changed"] == []
    assert "NOT AS SURVEYED" not in run(capsys, "assess", "s.yaml")[1]


def test_several_walls_say_it_in_the_overview_too(capsys, survey):
    _, out, _ = run(capsys, "assess", "s.yaml", "--set", "property.protection=listed")
    assert "NOT AS SURVEYED" in out.split("\n\n")[0]
    assert out.count("NOT AS SURVEYED") == 3


def test_only_the_walls_named_are_changed(capsys, survey):
    (assessment,) = judged(capsys, "s.yaml", "--set", "build.thickness_mm=330", "--wall", "back")
    assert assessment["changed"] == ["build.thickness_mm is 330 mm instead of 225 mm (wall back)"]
    (assessment,) = judged(capsys, "s.yaml", "--set", "build.thickness_mm=330")
    assert [each.rpartition("(")[2] for each in assessment["changed"]] == ["wall front)", "wall back)"]


def test_every_survey_is_changed(capsys, survey):
    both = judged(capsys, "s.yaml", "t.yaml", "--set", "build.thickness_mm=330")
    assert [len(each["changed"]) for each in both] == [2, 2]
    (only,) = judged(capsys, "s.yaml", "t.yaml", "--set", "build.thickness_mm=330", "--wall", "side")
    assert (only["file"], only["changed"][0][-11:]) == ("t.yaml", "(wall side)")


def test_places_of_changed_facts_name_the_option_and_never_a_line(capsys):
    path = str(DEMO / "nine_inch_brick.yaml")
    options = ("--set", "evidence.tide_mark=no", "--set", "moisture.basis=wet")
    (assessment,) = judged(capsys, path, *options)
    places = {ground["where"] for rule in assessment["walls"][0]["rules"] for ground in rule["grounds"]}
    places |= {reading["where"] for reading in assessment["walls"][0]["readings"]}
    assert not any(place.endswith(":0") for place in places)
    (plain,) = judged(capsys, path)
    assert assessment["facts_digest"] != plain["facts_digest"]
    code, out, _ = run(capsys, "assess", path, "--set", "property.protection=unknown", "--format", "json")
    assert code == 1
    grounds = [g for rule in json.loads(out)["assessments"][0]["walls"][0]["rules"] for g in rule["grounds"]]
    assert not any(g["where"].endswith(":0") for g in grounds)
    assert any(g["test"].startswith("evidence.tide_mark") for g in grounds)
    tide = json.loads(run(capsys, "assess", path, "--set", "evidence.tide_mark=yes", "--format", "json")[1])
    grounds = [g for rule in tide["assessments"][0]["walls"][0]["rules"] for g in rule["grounds"]]
    assert {g["where"] for g in grounds if g["test"].startswith("evidence.tide_mark")} == {"--set evidence.tide_mark"}


def without_places(data):
    for value in data.values() if isinstance(data, dict) else data if isinstance(data, list) else ():
        without_places(value)
    if isinstance(data, dict):
        data.pop("where", None)


def test_a_changed_survey_is_judged_as_if_it_had_been_written_so(capsys, survey):
    data = yaml.safe_load(WHOLE)
    data["walls"][1]["build"]["thickness_mm"] = 330
    pathlib.Path("u.yaml").write_text(yaml.safe_dump(data, sort_keys=False))
    (asked,) = judged(capsys, "s.yaml", "--wall", "back", "--set", "build.thickness_mm=330")
    (written,) = judged(capsys, "u.yaml", "--wall", "back")
    without_places(asked)
    without_places(written)
    assert asked["walls"] == written["walls"]
    assert asked["facts_digest"] == written["facts_digest"]


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ("build.thickness_mm", ["is not PATH=VALUE"]),
        ("build.thicknes_mm=3", ["no such fact", "did you mean build.thickness_mm"]),
        ("build.thickness_mm=", ["is empty"]),
        ("build.thickness_mm=[", ["--set build.thickness_mm", "a value is expected here"]),
        ("build.cavity_mm=60", ["s.yaml: --set", "t.yaml: --set", "does not apply to this wall"]),
    ],
)
def test_bad_changes_end_in_2_for_every_survey_at_once(capsys, survey, change, words):
    code, out, err = run(capsys, "assess", "s.yaml", "t.yaml", "--set", change, "--output", "o.txt")
    assert (code, out) == (2, "")
    for word in words:
        assert word in err
    assert not pathlib.Path("o.txt").exists()


def test_a_schedule_of_changed_facts_says_so(capsys, survey):
    path = str(DEMO / "nine_inch_brick.yaml")
    code, out, _ = run(capsys, "schedule", path, "--set", "build.thickness_mm=330")
    assert code == 0
    assert out.startswith("NOT AS SURVEYED.")
    assert "build.thickness_mm is 330 mm instead of 225 mm" in " ".join(out.split())
    data = json.loads(run(capsys, "schedule", path, "--set", "build.thickness_mm=330", "--format", "json")[1])
    assert data["schedules"][0]["notes"][0].startswith("NOT AS SURVEYED.")
    code, out, err = run(capsys, "schedule", path, "--set", "build.thickness_mm=330", "--format", "csv")
    assert (code, out) == (2, "")
    assert "text or json" in err
    assert "NOT AS SURVEYED" not in run(capsys, "schedule", path)[1]
