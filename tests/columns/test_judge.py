"""The columnar reader comes to what the evaluator comes to, on every row: conclusions, fired rules and open status."""

import datetime as dt
import pathlib
import random

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engine.columns.facts import comparable
from engine.columns.flat import flat_frame, flat_row, values_of
from engine.columns.judge import judge
from engine.columns.recheck import expected, recheck
from engine.errors import ReadersDisagree
from engine.facts.document import read_document
from engine.facts.survey import Survey
from engine.facts.vocabulary import facts
from engine.rulebase.conditions import to_steps
from engine.rulebase.load import load_rule_base
from tests.generated import any_survey, surveys

DEMO = pathlib.Path(__file__).parent.parent.parent / "scenarios_demo"
AT_A_TIME = 1250


def frame_of(surveys_data):
    rows = []
    for number, data in enumerate(surveys_data):
        survey = Survey.model_validate(data)
        for wall in survey.walls:
            rows.append({**flat_row(survey, wall), "at.file": "generated", "at.sheet": "", "at.row": number + 2})
    return flat_frame(rows)


def differences(flat, judged, base):
    found = []
    for row, have in zip(flat.iter_rows(named=True), judged.iter_rows(named=True), strict=True):
        want = dict(expected(row, base))
        assert set(want) == set(have)
        found += [(row["at.row"], name, have[name], value) for name, value in want.items() if have[name] != value]
    return found


@pytest.mark.parametrize("seed", range(16))
def test_it_agrees_with_the_evaluator_on_20000_generated_walls(seed):
    rng = random.Random(seed)
    flat = frame_of(any_survey(rng, rng.choice((0.0, 0.15, 0.5, 0.9))) for _ in range(AT_A_TIME))
    base = load_rule_base("2026.2")
    assert differences(flat, judge(flat, base), base) == []


@pytest.mark.parametrize("seed", range(100, 104))
def test_it_agrees_on_the_earlier_rules_too(seed):
    rng = random.Random(seed)
    flat = frame_of(any_survey(rng, rng.choice((0.0, 0.15, 0.5, 0.9))) for _ in range(500))
    base = load_rule_base("2026.1")
    assert differences(flat, judge(flat, base), base) == []


@pytest.mark.parametrize("version", ["2026.1", "2026.2"])
def test_it_agrees_on_every_demo_survey(version):
    flat = frame_of(read_document(path).data for path in sorted(DEMO.glob("*.yaml")))
    base = load_rule_base(version)
    assert flat.height > 30
    assert differences(flat, judge(flat, base), base) == []


@settings(max_examples=25, deadline=None)
@given(st.lists(surveys(), min_size=1, max_size=6), st.randoms(use_true_random=False))
def test_a_wall_comes_to_the_same_in_whatever_company_and_order(several, rng):
    base = load_rule_base("2026.2")
    flat = frame_of(several)
    together = judge(flat, base)
    alone = pl.concat([judge(flat[place], base) for place in range(flat.height)])
    assert alone.equals(together)
    order = list(range(flat.height))
    rng.shuffle(order)
    assert judge(flat[order], base).equals(together[order])


def test_a_column_left_out_is_a_fact_that_is_unknown():
    base = load_rule_base("2026.2")
    flat = frame_of([any_survey(random.Random(3), 0.1) for _ in range(20)])
    without = flat.drop("evidence.leaks", "moisture.samples")
    blank = flat.with_columns(
        pl.lit(None, flat.schema[name]).alias(name) for name in ("evidence.leaks", "moisture.samples")
    )
    assert judge(without, base).equals(judge(blank, base))


def test_no_rows_give_no_conclusions_but_their_columns():
    base = load_rule_base("2026.2")
    flat = frame_of([any_survey(random.Random(3), 0.1)])
    assert judge(flat.clear(), base).schema == judge(flat, base).schema


def test_a_row_gives_back_the_facts_it_was_made_of():
    rng = random.Random(11)
    for _ in range(50):
        survey = Survey.model_validate(any_survey(rng, 0.2))
        row = flat_row(survey, survey.walls[0])
        again = flat_frame([row]).row(0, named=True)
        assert {name: value.value for name, value in values_of(again).items()} == {
            name: value.value for name, value in values_of(row).items()
        }


def test_a_difference_from_the_evaluator_is_an_error_and_never_an_answer():
    base = load_rule_base("2026.2")
    flat = frame_of([any_survey(random.Random(seed), 0.1) for seed in range(4)])
    judged = judge(flat, base)
    assert recheck(flat, judged, base, one_in=1) == 4
    assert recheck(flat, judged, base) == 1
    wrong = judged.with_columns(~pl.col("fired:C-040").alias("fired:C-040"))
    with pytest.raises(ReadersDisagree, match=r"generated row 2 .*fired:C-040"):
        recheck(flat, wrong, base)


def test_a_day_of_survey_counts_through_its_year():
    base = load_rule_base("2026.2")
    data = any_survey(random.Random(5), 0.0)
    data["walls"][0]["earlier_treatment"] = {"medium": "cream", "year": 2020}
    data["property"]["survey_date"] = dt.date(2026, 6, 15)
    data["walls"][0].setdefault("existing_course", {})["kind"] = "unknown"
    flat = frame_of([data])
    assert differences(flat, judge(flat, base), base) == []


def test_numbers_finer_than_their_step_are_rounded_as_the_evaluator_rounds_them():
    flat = pl.DataFrame({"climate.air_rh_percent": [1.15, 64.95, 0.235 * 100], "build.length_m": [0.235, 0.145, 2.675]})
    for name in flat.columns:
        variable = facts()[name]
        steps = flat.select(comparable(variable)).get_column(name).to_list()
        assert steps == [to_steps(variable, value) for value in flat.get_column(name)]
