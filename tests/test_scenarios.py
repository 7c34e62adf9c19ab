"""Every survey in scenarios_demo comes to what scenarios_expected.yaml says, and the folder describes itself truly."""

import datetime as dt
import functools
import pathlib
import re

import pytest
import yaml

from engine.decision.assess import assess
from engine.facts.intake import read_survey
from engine.rulebase.load import load_rule_base

FOLDER = pathlib.Path(__file__).parent.parent / "scenarios_demo"
EXPECTED = yaml.safe_load((pathlib.Path(__file__).parent / "scenarios_expected.yaml").read_text("utf-8"))
FILES = sorted(path.name for path in FOLDER.glob("*.yaml"))
WALLS = [
    pytest.param(file, wall, EXPECTED[file][wall], id=f"{file}:{wall}") for file in EXPECTED for wall in EXPECTED[file]
]
RULES = "2026.1"
FIRST, LAST = dt.date(2026, 1, 10), dt.date(2026, 10, 30)
ABOUT_MISSING_FACTS = {"half_the_facts.yaml", "meter_only.yaml"}


@functools.cache
def assessed(file):
    survey = read_survey(FOLDER / file, LAST)
    return assess(survey, load_rule_base(RULES), survey.survey.property.survey_date)


def decided(file, wall):
    return next(each for each in assessed(file).walls if each.wall == wall)


def members(wall, name):
    return {item.id for item in wall.found(name).items}


def every(choice):
    return {wall.choice(choice).option for file in FILES for wall in assessed(file).walls}


def readme_rows():
    rows = re.findall(
        r"^\| `(.+?)` \| `(.+?)` \| .+ \| (\w+) \| (\w+) \|$", (FOLDER / "README.md").read_text("utf-8"), re.M
    )
    return {(file, wall): (verdict, medium) for file, wall, verdict, medium in rows}


@pytest.mark.parametrize(("file", "wall", "expected"), WALLS)
def test_comes_to_what_is_expected(file, wall, expected):
    found = decided(file, wall)
    assert found.status == expected["status"], [question.fact for question in found.open_questions]
    assert {choice: found.choice(choice).option for choice in expected["decided"]} == expected["decided"]
    for name, wanted in expected.get("found", {}).items():
        assert set(wanted) <= members(found, name), name
    for name, unwanted in expected.get("not_found", {}).items():
        assert not set(unwanted) & members(found, name), name


@pytest.mark.parametrize(("file", "wall", "expected"), WALLS)
def test_expectations_name_the_main_decisions_and_only_what_the_rules_know(file, wall, expected):
    base = load_rule_base(RULES)
    assert {"verdict", "medium"} <= set(expected["decided"])
    for choice, option in expected["decided"].items():
        assert option in {each.id for each in base.choices[choice].options}
    for part in ("found", "not_found"):
        for name, ids in expected.get(part, {}).items():
            assert set(ids) <= set(base.members[name]), name


def test_expectations_cover_every_wall():
    assert {(file, wall.wall) for file in FILES for wall in assessed(file).walls} == {
        (file, wall) for file, walls in EXPECTED.items() for wall in walls
    }


@pytest.mark.parametrize("file", FILES)
def test_only_surveys_about_missing_facts_leave_questions_open(file):
    for wall in assessed(file).walls:
        assert (wall.status == "settled") is (file not in ABOUT_MISSING_FACTS)
        assert bool(wall.open_questions) is (file in ABOUT_MISSING_FACTS)


def test_every_verdict_occurs():
    assert every("verdict") == {option.id for option in load_rule_base(RULES).choices["verdict"].options}


def test_every_medium_that_can_be_chosen_occurs():
    options = {option.id for option in load_rule_base(RULES).choices["medium"].options}
    assert every("medium") == options - {"solvent_liquid"}


@pytest.mark.parametrize("file", FILES)
def test_first_line_says_what_it_teaches(file):
    first, *rest = (FOLDER / file).read_text("utf-8").splitlines()
    assert re.match(r"# Teaches: \w.{20,}", first)
    comment = [line for line in rest[: rest.index("form: 1")] if line.startswith("#")]
    assert any(line.startswith("# Expected: ") for line in comment)


@pytest.mark.parametrize("file", FILES)
def test_survey_date_and_reference(file):
    assessment = assessed(file)
    assert FIRST <= assessment.survey_date <= LAST
    assert re.match(r"SFS-2026-\d{3}, .*Sallowbury$", assessment.reference)


def test_references_follow_the_dates():
    numbered = sorted((assessed(file).survey_date, assessed(file).reference) for file in FILES)
    references = [reference for _, reference in numbered]
    assert references == sorted(set(references))


def test_readme_names_every_wall_with_its_verdict_and_medium():
    assert readme_rows() == {
        (file, wall): (expected["decided"]["verdict"], expected["decided"]["medium"])
        for file, walls in EXPECTED.items()
        for wall, expected in walls.items()
    }
