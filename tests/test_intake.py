"""What the intake says of bad surveys: every problem, its place, what is allowed; never a traceback."""

import copy
import datetime as dt
import random
import textwrap

import pytest
import yaml
from generated import TODAY, fact_value, survey_data, survey_file, surveys
from hypothesis import given, settings
from hypothesis import strategies as st

from engine.errors import BadInput
from engine.facts.blank_form import blank_form
from engine.facts.intake import parse_survey
from engine.facts.values import State
from engine.facts.vocabulary import facts

GOOD = """
property:
  reference: A-1
  survey_date: 2026-05-04
walls:
  - id: W1
    build:
      construction: solid_brick
      thickness_mm: 225
"""


def problems(text: str, today: dt.date = TODAY) -> list[str]:
    with pytest.raises(BadInput) as caught:
        parse_survey(textwrap.dedent(text).encode(), "s.yaml", today)
    return [str(problem) for problem in caught.value.problems]


def with_wall(lines: str) -> str:
    return GOOD + textwrap.indent(textwrap.dedent(lines), "    ")


def test_a_good_survey_is_read():
    file = parse_survey(GOOD.encode(), "s.yaml", TODAY)
    values = file.values_of(file.survey.walls[0])
    assert values["build.thickness_mm"].value == 225
    assert values["build.thickness_mm"].where == "s.yaml:9"
    assert values["build.cavity_mm"].state is State.NOT_APPLICABLE
    assert values["evidence.leaks"].state is State.UNKNOWN


def test_none_is_not_unknown():
    file = parse_survey(
        with_wall("existing_course: {kind: none}\nfinishes: {services_in_line: none}").encode(), "s", TODAY
    )
    values = file.values_of(file.survey.walls[0])
    assert values["existing_course.kind"].value == "none"
    assert values["existing_course.bridged_by"].state is State.NOT_APPLICABLE
    assert values["finishes.services_in_line"].value == frozenset()
    assert values["earlier_treatment.medium"].state is State.UNKNOWN


def test_a_note_keeps_how_a_fact_was_established():
    text = with_wall("evidence: {leaks: {value: none, established: measured, by: pressure test}}")
    file = parse_survey(text.encode(), "s.yaml", TODAY)
    value = file.values_of(file.survey.walls[0])["evidence.leaks"]
    assert (value.value, value.established, value.by) == ("none", "measured", "pressure test")


def _weighed(masses: str) -> str:
    return f"moisture: {{method: oven_and_hygroscopic, samples: [{{height_mm: 1, depth_mm: 80, {masses}}}]}}"


@pytest.mark.parametrize(
    ("wall", "words"),
    [
        ("buidl: {}", ["s.yaml:10:5", "buidl", "did you mean build?"]),
        ("floor: {kinds: solid}", ["floor.kinds", "did you mean kind?"]),
        ("floor: {kind: solidd}", ["floor.kind", "found 'solidd'", "suspended_timber", "did you mean solid?"]),
        ("evidence: {tide_mark: Yes}", ["did you mean yes?"]),
        (
            "evidence: {damp_height_mm: 300 mm}",
            ["found '300 mm'", "write the number alone, without quotes; it is in mm"],
        ),
        ("evidence: {tide_mark: maybe}", ["tide_mark", "yes, no, unknown"]),
        ("evidence: {damp_height_mm: -5}", ["damp_height_mm", "found -5", "from 0 to 10000 mm"]),
        ("evidence: {damp_height_mm: 1.5}", ["damp_height_mm", "found 1.5", "whole number"]),
        ("evidence: {damp_height_mm: '300'}", ["damp_height_mm", "found '300'", "whole number"]),
        ("evidence: {damp_height_mm: true}", ["damp_height_mm", "whole number"]),
        ("evidence: {damp_height_mm: }", ["damp_height_mm", "is empty"]),
        ("evidence: 5", ["evidence", "found 5", "a group of fields"]),
        ("climate: {air_rh_percent: 101}", ["air_rh_percent", "from 1 to 100 %"]),
        ("ground: {adjoins_untreated: []}", ["adjoins_untreated", "write none, or unknown"]),
        ("ground: {adjoins_untreated: garden_wall}", ["adjoins_untreated", "a list of values"]),
        ("ground: {adjoins_untreated: [gardn_wall]}", ["garden_wall", "gardn_wall"]),
        ("ground: {adjoins_untreated: [garden_wall, garden_wall]}", ["stands twice"]),
        ("evidence: {leaks: {value: none, by: meter, hall tap}}", ["hall tap", "must stand in quotes"]),
        ("evidence: {leaks: {valeu: none}}", ["evidence.leaks", "did you mean value?"]),
        ("evidence: {leaks: {value: none, established: guessed}}", ["found 'guessed'", "measured, observed"]),
        ("moisture: {method: oven, samples: [{height_mm: 100, depth_mm: 80}]}", ["needs mc_percent, or its masses"]),
        (
            "moisture: {method: oven_and_hygroscopic, samples: "
            "[{height_mm: 1, depth_mm: 80, mc_percent: 9, hmc_percent: 41}]}",
            ["hmc_percent", "found 41", "at most 40"],
        ),
        ("earlier_treatment: {medium: cream, year: 2027}", ["is later than the survey", "found 2027"]),
        ("evidence: {damp_height_mm: 0, tide_mark: yes}", ["tide_mark", "no damp is seen"]),
        ("moisture: {core_moisture_percent: 30, core_saturated_percent: 10}", ["holds when saturated"]),
        ("evidence: {damp_height_mm: 0, damp_pattern: low_band}", ["damp_pattern", "does not fit"]),
        ("existing_course: {kind: chemical_cream}\nearlier_treatment: {medium: rods}", ["does not fit", "found rods"]),
        ("existing_course: {kind: slate, bridged_by: [cavity_debris]}", ["this wall has none", "found solid_brick"]),
        ("existing_course: {kind: none, bridged_by: [ground]}", ["does not apply", "existing_course.kind is none"]),
        ("moisture: {method: oven, samples: [{height_mm: 1, depth_mm: 300, mc_percent: 9}]}", ["deeper than the wall"]),
        (
            "moisture: {method: carbide, samples: [{height_mm: 1, depth_mm: 80, mc_percent: 9, hmc_percent: 3}]}",
            ["carbide"],
        ),
        (_weighed("dish_g: 10, wet_g: 12.2"), ["a weighed sample needs dish_g, wet_g and dry_g"]),
        (_weighed("dish_g: 10, wet_g: 12.2, dry_g: 12, mc_percent: 9"), ["not both"]),
        (_weighed("dish_g: 10, wet_g: 11.9, dry_g: 12"), ["samples[0].wet_g", "is less than when oven-dry"]),
        (_weighed("dish_g: 10, wet_g: 12, dry_g: 12, conditioned_g: 11"), ["samples[0].conditioned_g"]),
        (
            _weighed("dish_g: 10, wet_g: 10.2, dry_g: 10.1").replace("{method", "{balance_resolution_g: 1, method"),
            ["samples[0].dry_g", "lighter than the balance can show"],
        ),
        (_weighed("dish_g: 12, wet_g: 12, dry_g: 12"), ["samples[0].dry_g", "no more than the empty dish"]),
        ("ground: {profile: [{at_m: 2, level_mm: 0}, {at_m: 1, level_mm: 0}]}", ["do not run along the wall"]),
        ("ground: {level_mm: 10, profile: [{at_m: 0, level_mm: 0}]}", ["is not the highest of ground.profile"]),
    ],
)
def test_a_bad_value_is_named_with_its_place_and_what_is_allowed(wall, words):
    said = "\n".join(problems(with_wall(wall)))
    assert "s.yaml:" in said
    for word in words:
        assert word in said


@pytest.mark.parametrize(
    ("thickness", "hint"), [(23, "if 23 is in cm, write 230"), (0.23, "whole number"), (9, "write 90")]
)
def test_a_likely_slip_of_unit_is_named(thickness, hint):
    assert hint in problems(GOOD.replace("225", str(thickness)))[0]


def test_a_cavity_in_a_solid_wall_is_a_contradiction():
    said = problems(GOOD + "      cavity_mm: 50\n")
    assert said == [
        "s.yaml:10:18: walls[0].build.cavity_mm: does not apply to this wall; found 50; "
        "allowed: build.construction is solid_brick; this applies only where it is cavity_brick"
    ]


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ("length_m: 3\n      openings_m: 9", ["openings_m", "more than the wall is long"]),
        ("role: party", ["party_to_boundary", "does not fit a party wall"]),
    ],
)
def test_more_contradictions(change, words):
    said = "\n".join(
        problems(GOOD.replace("reference: A-1", "reference: A-1\n  party_to_boundary: no") + f"      {change}\n")
    )
    for word in words:
        assert word in said


def test_a_survey_from_the_future_is_refused():
    said = problems(GOOD.replace("2026-05-04", "2026-12-24"))
    assert "is in the future" in said[0]
    assert "2026-11-01 at the latest" in said[0]


@pytest.mark.parametrize(
    "day", ["2026-13-01", "2026-02-30", "04.05.2026", "2026-5-4", "yesterday", "20260504", "5", "2026-W18-1"]
)
def test_a_date_is_a_real_day(day):
    assert "YYYY-MM-DD" in problems(GOOD.replace("2026-05-04", day))[0]


def test_two_walls_of_one_id():
    said = problems(GOOD + "  - id: w1\n")
    assert said[0].startswith("s.yaml:10:9: walls[1].id: another wall has this id already")


def test_every_problem_is_reported_at_once_of_form_and_of_sense():
    text = """
    property:
      reference: A-1
      survey_date: 2027-05-04
      protektion: none
    walls:
      - id: W1
        build: {construction: solid_brick, thickness_mm: 23, cavity_mm: 50}
        floor: {kind: wood}
      - id: W1
    """
    said = "\n".join(problems(text))
    for word in ("protektion", "thickness_mm", "cavity_mm", "floor.kind", "is in the future", "this id already"):
        assert word in said


@pytest.mark.parametrize("missing", ["property", "walls"])
def test_what_a_survey_must_have(missing):
    data = yaml.safe_load(GOOD)
    del data[missing]
    said = problems(yaml.safe_dump(data))
    assert any(missing in each and "is missing" in each for each in said)


def test_the_blank_form_is_a_survey_that_knows_nothing():
    text = blank_form("A: 1 # [x]", dt.date(2026, 5, 4), ["W1", "W2"])
    file = parse_survey(text.encode(), "form.yaml", TODAY)
    assert file.survey.property.reference == "A: 1 # [x]"
    for wall in file.survey.walls:
        assert all(value.state is State.UNKNOWN for value in file.values_of(wall).values())
    for variable in facts().values():
        assert variable.question.endswith("?")
        assert f"{variable.name.partition('.')[2]}: unknown" in text


def test_every_fact_is_fully_declared():
    seen = set()
    for name, variable in facts().items():
        assert variable.question
        assert variable.how
        assert variable.kind != "number" or (variable.unit and variable.step and variable.ge < variable.le)
        for need in variable.applies:
            assert need.fact in seen, f"{name} depends on a later fact"
            options = facts()[need.fact].options
            assert all(value in options or value == "none" for value in need.values)
        seen.add(name)


def test_units_stand_in_the_names_of_quantities():
    ends = {"mm": "_mm", "m": "_m", "%": "_percent", "°C": "_c", "years": "_years"}
    for variable in facts().values():
        if variable.kind == "number" and variable.unit in ends:
            assert variable.name.endswith(ends[variable.unit])


@given(surveys(walls=2))
@settings(max_examples=150, deadline=None)
def test_a_generated_survey_is_read_back_as_it_was_written(data):
    file = survey_file(data)
    for index, wall in enumerate(file.survey.walls):
        values = file.values_of(wall)
        for section in data["walls"][index]:
            if section in ("id", "note"):
                continue
            for field, raw in data["walls"][index][section].items():
                value = values[f"{section}.{field}"]
                if isinstance(raw, list) and raw and isinstance(raw[0], dict):
                    assert len(value.value) == len(raw)
                elif isinstance(raw, list) or (raw == "none" and isinstance(value.value, frozenset)):
                    assert value.value == frozenset(() if raw == "none" else raw)
                else:
                    assert value.value == raw


JUNK = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(-(10**20), 10**20),
    st.floats(),
    st.text(max_size=8),
    st.lists(st.integers(), max_size=3),
    st.dictionaries(st.text(max_size=5), st.integers(), max_size=3),
    st.sampled_from(["unknown", "none", "yes", "NO", "12:30", "2024-13-01", "[/b]", ":warning:", "=1+1"]),
)


@given(
    st.integers(0, 2**32),
    st.lists(st.tuples(st.integers(0, 10**6), JUNK, st.sampled_from(["set", "drop", "add"])), min_size=1, max_size=5),
)
@settings(max_examples=2000, deadline=None)
def test_a_damaged_survey_is_read_or_refused_and_never_breaks_the_intake(seed, damage):
    """Takes a good survey and breaks it in one to five places: 2,000 such files."""
    data = survey_data(random.Random(seed), 0.7)
    for pick, junk, way in damage:
        holder: object = data
        rng = random.Random(pick)
        while isinstance(holder, dict | list) and holder:
            key = rng.choice(list(holder) if isinstance(holder, dict) else range(len(holder)))
            inner = holder[key]
            if isinstance(inner, dict | list) and inner and rng.random() < 0.85:
                holder = inner
                continue
            if way == "drop":
                del holder[key]
            elif way == "add" and isinstance(holder, dict):
                holder[f"{key}x"] = copy.deepcopy(junk)
            else:
                holder[key] = copy.deepcopy(junk)
            break
    text = yaml.safe_dump(data, allow_unicode=True).encode("utf-8", "surrogatepass")
    try:
        parse_survey(text, "s.yaml", TODAY)
    except BadInput as error:
        said = [str(problem) for problem in error.problems]
    else:
        return
    assert said
    assert all(each.isprintable() and each.startswith("s.yaml") for each in said)


def test_the_generator_draws_every_kind_of_fact():
    rng = random.Random(7)
    for variable in facts().values():
        assert fact_value(rng, variable) is not None
