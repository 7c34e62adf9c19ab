"""The schedule of a wall: from a survey and its decision to line, holes, dose, works, money and days."""

import datetime as dt
import functools
import importlib
import json
import pathlib
import random
import sys
from dataclasses import replace
from decimal import Decimal
from math import pi

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engine.decision.assess import evaluate_wall
from engine.facts.intake import parse_survey, read_survey
from engine.facts.values import UNKNOWN_VALUE, known
from engine.inference.evaluate import Membership, Outcome, evaluate
from engine.readings.compute import compute_readings
from engine.rulebase.load import load_rule_base
from engine.rulebase.reading_figures import reading_figures
from engine.schedule.build import build_schedule, planned_pieces
from engine.schedule.build_after import Drill
from engine.schedule.build_figures import litres_rows, pattern_rows, tolerances
from engine.schedule.drilling import hole_spec, pick_pattern
from engine.schedule.model import WallSchedule
from engine.schedule.price_book import read_price_book
from engine.schedule.product_sheet import read_product_sheet
from engine.schedule.record import parse_record, reconcile

sys.path.append(str(pathlib.Path(__file__).parent.parent))
generated = importlib.import_module("generated")

DEMO = pathlib.Path(__file__).parent.parent.parent / "scenarios_demo"
BASE = load_rule_base("2026.1")
FIGURES = reading_figures(BASE.tables)
LATEST = dt.date(2026, 12, 31)
WALLS = [
    (path.name, wall.id) for path in sorted(DEMO.glob("*.yaml")) for wall in read_survey(path, LATEST).survey.walls
]
PRICES = read_price_book(DEMO / "books" / "prices.yaml")
SHEETS = {path.stem: read_product_sheet(path) for path in sorted((DEMO / "books" / "products").glob("*.yaml"))}


@functools.cache
def evaluated(file, wall_id):
    survey = read_survey(DEMO / file, LATEST)
    wall = next(each for each in survey.survey.walls if each.id == wall_id)
    return survey, wall, evaluate_wall(survey, wall, BASE)


def schedule_of(file, wall_id, **more):
    survey, wall, evaluation = evaluated(file, wall_id)
    return build_schedule(survey, wall, BASE, evaluation, survey.survey.property.survey_date, **more)


def changed(file, *changes, **more):
    """The schedule of a demo's first wall with lines of its file replaced."""
    text = (DEMO / file).read_text("utf-8")
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    survey = parse_survey(text.encode(), file, LATEST)
    wall = survey.survey.walls[0]
    return build_schedule(survey, wall, BASE, evaluate_wall(survey, wall, BASE), LATEST, **more)


def piece(schedule, name):
    return next(each for each in schedule.line.pieces if each.id.endswith(name))


def firm(schedule):
    return {each.fact for each in schedule.would_firm_up}


@pytest.mark.parametrize(("file", "wall"), WALLS)
def test_every_demo_wall_has_a_schedule_and_a_line_only_where_it_is_treated(file, wall):
    plain = schedule_of(file, wall)
    priced = schedule_of(file, wall, prices=PRICES, drill=Drill(8, 30))
    assert (plain.line is not None) is (plain.verdict == "treat")
    assert bool(plain.media) is (plain.verdict == "treat")
    assert WallSchedule.model_validate_json(plain.model_dump_json()) == plain
    assert WallSchedule.model_validate_json(priced.model_dump_json()) == priced
    if plain.verdict != "treat":
        assert plain.says.startswith("No line is set")
        assert planned_pieces(plain) == ()
        return
    assert plain.plan.medium == plain.medium
    assert all(each.cost is None for each in plain.media)
    assert "price_book" in firm(plain)
    assert "price_book" not in firm(priced)
    assert not plain.line.gaps


def test_nine_inch_brick_by_hand():
    schedule = schedule_of("nine_inch_brick.yaml", "parlour-back")
    line = piece(schedule, "H1")
    # Ground at -180 leaves every joint from -30 up; joints of 75 mm from -28: the one nearest the floor is that at -28.
    assert (line.level_mm, line.joint, line.from_m, line.to_m) == (-28, 0, 0, 3.85)
    # 225 mm between 115 (100 deep) and 230 (210 deep): 100 + 110 * 110 / 115 = 205.2, whole millimetres down.
    assert line.depth_mm == 205
    # 50 mm in from both ends leave 3750 mm: 32 spaces of 117 mm, 33 holes.
    assert line.holes == 33
    assert line.ml_per_hole == pytest.approx(pi / 4 * 1.2**2 * 20.5)
    assert schedule.plan.low_l == pytest.approx(33 * pi / 4 * 1.2**2 * 20.5 / 1000, abs=0.001)
    assert schedule.plan.with_waste_l == pytest.approx(1.1 * schedule.plan.low_l, abs=0.001)
    assert schedule.plan.basis.generic
    assert "generic" in schedule.says
    # 820 + 300 mm of plaster on 3.85 m less a door of 0.86 m; 50 mm left open at the floor.
    assert schedule.works.plaster_off_m2 == pytest.approx((3.85 - 0.86) * 1.12, abs=0.005)
    assert schedule.works.plaster_on_m2 == pytest.approx((3.85 - 0.86) * 1.07, abs=0.005)
    assert schedule.works.plaster_low_l == pytest.approx(20 * (3.85 - 0.86) * 1.07, abs=0.2)
    assert schedule.drying.counted_from == dt.date(2026, 3, 4)
    assert {wait.what: wait.from_day for wait in schedule.drying.redecorate} == {
        "breathable": dt.date(2026, 3, 25),
        "closed": dt.date(2027, 3, 3),
    }


def test_a_product_sheet_takes_the_place_of_generic_figures():
    schedule = schedule_of("nine_inch_brick.yaml", "parlour-back", product=SHEETS["silane_cream"])
    assert not schedule.plan.basis.generic
    assert schedule.plan.with_waste_l == pytest.approx(1.08 * schedule.plan.low_l, abs=0.001)
    assert (schedule.plan.packs.count, schedule.plan.packs.each) == (1, 1000)
    assert schedule.plan.active_l == pytest.approx(0.6 * schedule.plan.low_l, abs=0.001)
    assert "product_sheet" not in firm(schedule)
    beside = next(each for each in schedule.media if each.medium == "aqueous_liquid")
    assert beside.basis.generic


def test_rods_are_counted_only_with_their_sheet():
    bare = schedule_of("old_course_in_the_bricks.yaml", "front")
    assert bare.plan.rods is None
    assert bare.plan.rod_run_m == pytest.approx(39 * 0.205)
    assert "product_sheet" in firm(bare)
    schedule = schedule_of("old_course_in_the_bricks.yaml", "front", product=SHEETS["silane_rods"])
    # Holes of 200 mm take a rod of 180 and 20 more; nine pieces of 20 mm come from one rod.
    assert [each.rods for each in schedule.line.pieces] == [29 + 4, 10 + 2]
    assert schedule.plan.rods == -(-(39 + 5) * 105 // 100)
    assert schedule.plan.packs.count * 10 - schedule.plan.packs.left_over == schedule.plan.rods


def test_the_line_keeps_off_the_old_one_and_below_the_timbers():
    line = piece(schedule_of("old_course_in_the_bricks.yaml", "front"), "H1")
    assert line.level_mm == -236
    assert abs(line.level_mm - (-520 + 240)) > 40
    assert any(reason.rule == "old_work" for reason in line.reasons)


def test_a_cavity_is_drilled_leaf_by_leaf():
    schedule = schedule_of("cavity_perished_felt.yaml", "front")
    leaves = {each.leaf: each for each in schedule.plan.leaves}
    assert set(leaves) == {"inner", "outer"}
    for each in leaves.values():
        assert each.depth_mm < each.thickness_mm < 135
    assert {each.id for each in schedule.line.pieces} == {
        f"front:{name}/{leaf}" for name in ("H1", "V1") for leaf in ("inner", "outer")
    }


def test_on_sloping_ground_the_line_steps_and_clears_it_everywhere():
    schedule = schedule_of("sloping_ground.yaml", "street")
    level = [each for each in schedule.line.pieces if each.kind == "horizontal"]
    assert len(level) == schedule.line.steps + 1 == 3
    for each in level:
        # The ground rises evenly from -330 mm at the start to 45 at 7.2 m.
        assert each.level_mm >= -330 + 375 / 7.2 * each.to_m + 150 - 1e-6
        assert (each.level_mm + 42) % 75 == 0
    assert any(work.how == "protect_inside" for work in schedule.line.below)


def test_ground_that_comes_down_leaves_the_line_at_the_floor_and_is_measured():
    schedule = schedule_of("floor_below_ground.yaml", "garden")
    assert piece(schedule, "H1").level_mm == 8
    assert {work.how for work in schedule.line.below} == {"lower"}
    # 90 mm of ground down to 150 mm below the line at 8 mm, 3.7 m long, 0.3 m wide.
    assert schedule.works.ground_m3 == pytest.approx(3.7 * 0.3 * (0.09 + 0.142), abs=0.001)
    assert schedule.works.ground_deepest_mm == 232


def test_without_a_line_the_works_that_belong_to_the_cause_are_measured():
    schedule = schedule_of("bridged_slate.yaml", "rear")
    assert schedule.line is None
    assert schedule.works.ground_m3 > 0
    assert not any("line" in note for note in schedule.notes)
    assert schedule.exposure is None
    stripped = schedule_of("salts_left_behind.yaml", "stall")
    assert stripped.works.plaster_off_m2 > 0


def test_a_cut_in_course_has_a_slot_and_no_holes():
    schedule = schedule_of("second_failure.yaml", "kitchen-flank")
    assert schedule.plan.slot_m == pytest.approx(6.4)
    assert [each.holes for each in schedule.line.pieces] == [0]
    assert schedule.exposure is None
    beside = next(
        each for each in schedule_of("party_wall.yaml", "party-east", prices=PRICES).media if each.medium == "physical"
    )
    assert beside.cost.net is None
    assert "vertical_pieces" in beside.cost.unknown


def test_every_medium_that_stands_is_priced_side_by_side_and_money_is_exact():
    schedule = schedule_of("nine_inch_brick.yaml", "parlour-back", prices=PRICES)
    assert [each.medium for each in schedule.media] == ["cream", "physical", "aqueous_liquid"]
    for each in schedule.media:
        cost = each.cost
        assert cost.net == cost.labour + cost.material
        assert cost.labour == sum((task.cost for task in cost.tasks), Decimal(0))
        assert cost.gross == cost.net + cost.tax
    assert '"net":"' in schedule.model_dump_json()
    assert [each.decided for each in schedule.media] == [True, False, False]


def test_a_price_in_another_currency_is_refused():
    sheet = SHEETS["silane_cream"]
    other = replace(sheet, sheet=sheet.sheet.model_copy(update={"currency": "EUR"}))
    with pytest.raises(ValueError, match="priced in EUR, the book in GBP"):
        schedule_of("nine_inch_brick.yaml", "parlour-back", product=other, prices=PRICES)


def test_what_is_unknown_is_named_and_the_rest_is_still_said():
    joints = changed("nine_inch_brick.yaml", ("      bed_joint_gauge_mm: 75\n", ""))
    assert "build.bed_joint_gauge_mm" in firm(joints)
    assert piece(joints, "H1").joint is None
    assert joints.plan.holes == 33
    length = changed("nine_inch_brick.yaml", ("      length_m: 3.85\n", ""))
    assert "build.length_m" in firm(length)
    assert length.line is None
    assert length.plan.leaves[0].ml_per_metre == pytest.approx(pi / 4 * 1.2**2 * 20.5 * 1000 / 120, abs=0.05)
    # Nothing is treated whose thickness is not known; were it, the line would stand and its holes would not.
    survey, wall, evaluation = evaluated("nine_inch_brick.yaml", "parlour-back")
    values = {**evaluation.values, "build.thickness_mm": UNKNOWN_VALUE}
    thickness = build_schedule(survey, wall, BASE, replace(evaluation, values=values), LATEST)
    assert "build.thickness_mm" in firm(thickness)
    assert [each.holes for each in thickness.line.pieces] == [None]
    for each in (joints, length, thickness):
        for entry in each.would_firm_up:
            assert entry.question
            assert entry.without


def test_where_the_drill_is_known_the_day_is_reckoned():
    plain = schedule_of("nine_inch_brick.yaml", "parlour-back")
    assert plain.exposure.a8_m_s2 is None
    assert "drill" in firm(plain)
    drilled = schedule_of("nine_inch_brick.yaml", "parlour-back", drill=Drill(10, 60)).exposure
    # 33 holes of 60 s: 0.55 h at 10 m/s2 make 110 points, and A(8) = 10 sqrt(0.55 / 8).
    assert drilled.points == pytest.approx(110)
    assert drilled.a8_m_s2 == pytest.approx(10 * (0.55 / 8) ** 0.5, abs=0.005)
    assert drilled.standing == "at_action"
    assert drilled.least_person_days == 2
    with pytest.raises(ValueError, match="vibration"):
        Drill(0, 10)


def test_a_wall_a_millimetre_thicker_is_never_drilled_less_deep():
    rows = pattern_rows(BASE.tables)
    depths = []
    for thickness in range(100, 601):
        found = pick_pattern(rows, "cream", "solid_brick", float(thickness), 1)
        depths.append(hole_spec(found.row, float(thickness)).depth_mm)
    assert depths == sorted(depths)
    assert depths[460 - 100] == 440
    assert depths[600 - 100] == 560


def test_litres_for_hollow_units_are_only_for_hollow_units():
    solid = litres_rows(BASE.tables, "aqueous_liquid", "solid")
    hollow = litres_rows(BASE.tables, "aqueous_liquid", "hollow")
    assert len(hollow) == len(solid) + 1
    assert hollow[0].high_l_per_m == 3
    assert litres_rows(BASE.tables, "aqueous_liquid", None) == solid


def record_for(schedule, **changes):
    """A record that shows what the schedule asks for."""
    rows = []
    for plan in planned_pieces(schedule):
        row = {"piece": plan.piece_id, "medium": plan.medium, "day": schedule.survey_date.isoformat()}
        row |= {"holes": plan.holes}
        if plan.holes:
            row |= {"hole_mm": plan.hole_mm, "depths_mm": [plan.depth_mm], "widest_centres_mm": plan.centres_mm}
        if plan.medium == "rods":
            row["rods_used"] = plan.rods
        elif plan.ml_per_hole and plan.holes:
            row["used_ml"] = plan.ml_per_hole * plan.holes
        rows.append(row | changes)
    data = {"kind": "installation_record", "reference": "made from the schedule", "pieces": rows}
    return parse_record(json.dumps(data).encode(), "record.yaml")


TREATED = [
    ("nine_inch_brick.yaml", "parlour-back", "silane_cream"),
    ("cavity_perished_felt.yaml", "front", None),
    ("sloping_ground.yaml", "street", None),
    ("old_course_in_the_bricks.yaml", "front", "silane_rods"),
    ("rubble_with_voids.yaml", "gable", "injection_mortar"),
    ("ashlar.yaml", "reading-room-west", "siliconate_liquid"),
    ("second_failure.yaml", "kitchen-flank", None),
]


@pytest.mark.parametrize(("file", "wall", "sheet"), TREATED)
def test_a_record_made_from_the_schedule_itself_finds_nothing(file, wall, sheet):
    schedule = schedule_of(file, wall, product=SHEETS.get(sheet))
    may = tolerances(BASE.tables)
    planned = planned_pieces(schedule)
    assert planned
    assert reconcile(record_for(schedule), planned, may, schedule.survey_date) == ()
    if planned[0].holes:
        found = reconcile(record_for(schedule, holes=1, depths_mm=[20]), planned, may, None)
        assert {"missing_holes", "short_holes"} <= {each.kind for each in found}


@pytest.mark.parametrize(
    ("file", "record", "sheet", "kinds"),
    [
        ("nine_inch_brick", "nine_inch_brick_as_scheduled", None, set()),
        (
            "sloping_ground",
            "sloping_ground_short_holes",
            None,
            {"short_holes", "too_little_agent", "wide_spacing"},
        ),
        ("old_course_in_the_bricks", "old_course_missing_rods", "silane_rods", {"missing_rods"}),
    ],
)
def test_the_demo_records_find_what_they_teach(file, record, sheet, kinds):
    wall = next(wall for name, wall in WALLS if name == f"{file}.yaml")
    schedule = schedule_of(f"{file}.yaml", wall, product=SHEETS.get(sheet))
    path = DEMO / "records" / f"{record}.yaml"
    kept = parse_record(path.read_bytes(), path.name)
    found = reconcile(kept, planned_pieces(schedule), tolerances(BASE.tables), schedule.survey_date)
    assert {each.kind for each in found} == kinds


MEDIA = ("cream", "rods", "mortar", "physical", "aqueous_liquid", "solvent_liquid", "undecided")


def treated(evaluation, medium, height, below):
    """The evaluation of any wall, as if it were to be treated with everything that may be done."""
    forced = {"verdict": "treat", "medium": medium, "line_height": height, "line_below_ground": below}
    outcomes = {**evaluation.outcomes, **{name: Outcome(name, option, (option,)) for name, option in forced.items()}}
    every = frozenset(BASE.members["works"])
    open_rules = {rule for rule in evaluation.fired if ("medium", medium) in BASE.by_id[rule].rules_out}
    return replace(
        evaluation,
        outcomes=outcomes,
        sets={**evaluation.sets, "works": Membership(every, every, every)},
        fired=evaluation.fired - open_rules,
    )


@settings(deadline=None, max_examples=60)
@given(
    seed=st.integers(0, 2**40),
    unknown=st.sampled_from((0.0, 0.15, 0.5)),
    medium=st.sampled_from(MEDIA),
    height=st.sampled_from(("at_floor", "above_ground", "below_timbers")),
    below=st.sampled_from(("lower_ground", "protect", "none_needed")),
    sheet=st.sampled_from((None, *SHEETS)),
    priced=st.booleans(),
)
def test_any_wall_treated_keeps_every_piece_within_it_and_every_sum_true(
    seed, unknown, medium, height, below, sheet, priced
):
    file = generated.survey_file(generated.any_survey(random.Random(seed), unknown))
    wall = file.survey.walls[0]
    values = file.values_of(wall)
    values.update(compute_readings(values, 2026, FIGURES))
    evaluation = treated(evaluate(BASE, values), medium, height, below)
    schedule = build_schedule(
        file, wall, BASE, evaluation, dt.date(2026, 6, 15), SHEETS.get(sheet), PRICES if priced else None
    )
    planned = planned_pieces(schedule)
    assert len({each.piece_id for each in planned}) == len(planned)
    if schedule.line is None:
        assert firm(schedule)
        return
    for each in schedule.line.pieces:
        assert 0 <= each.from_m <= each.to_m <= schedule.line.length_m
        if each.depth_mm:
            leaf = next((leaf for leaf in schedule.plan.leaves if leaf.leaf == each.leaf), None)
            assert leaf is not None
            assert each.depth_mm < leaf.thickness_mm
    plan = schedule.plan
    if plan is not None and plan.holes is not None and plan.medium != "physical":
        assert plan.holes == sum(each.holes for each in schedule.line.pieces)
    if plan is not None and plan.medium in ("cream", "mortar") and plan.low_l is not None:
        in_holes = sum(each.holes * each.ml_per_hole for each in schedule.line.pieces) / 1000
        assert plan.low_l == pytest.approx(in_holes, abs=0.002)


@settings(deadline=None, max_examples=25)
@given(first=st.floats(0.5, 40), more=st.floats(0.2, 40))
def test_a_longer_wall_has_more_holes_and_takes_more_litres(first, more):
    shorter, longer = (
        changed(
            "cavity_perished_felt.yaml",
            ("length_m: 5.3", f"length_m: {round(length, 2)}"),
            ("openings_m: 0.95", "openings_m: 0"),
        )
        for length in (first, first + more)
    )
    assert longer.plan.holes > shorter.plan.holes
    assert longer.plan.with_waste_l > shorter.plan.with_waste_l


def test_where_ground_and_timber_leave_no_joint_the_decision_says_what_then():
    survey, wall, evaluation = evaluated("old_course_in_the_bricks.yaml", "front")
    values = {
        **evaluation.values,
        "ground.level_mm": known(-200),
        "ground.profile": UNKNOWN_VALUE,
        "ground.fall_along_mm": known(0),
        "reading.highest_ground_mm": known(-200.0),
        "existing_course.kind": known("none"),
        "earlier_treatment.medium": known("none"),
    }
    made = {}
    for below in ("none_needed", "lower_ground", "protect"):
        forced = replace(treated(evaluation, "cream", "below_timbers", below), values=values)
        made[below] = build_schedule(survey, wall, BASE, forced, LATEST)
    # The timbers want the line at -205 mm or below, the ground wants it at -50 mm or above.
    open_still = made["none_needed"]
    assert [(gap.from_m, gap.to_m) for gap in open_still.line.gaps] == [(0, 3.4)]
    assert not [each for each in open_still.line.pieces if each.kind == "horizontal"]
    for below, how in (("lower_ground", "lower"), ("protect", "protect_outside")):
        schedule = made[below]
        assert not schedule.line.gaps
        assert piece(schedule, "H1").level_mm == -236
        assert {work.how for work in schedule.line.below} == {how}
    assert made["lower_ground"].works.ground_deepest_mm == -200 - (-236 - 150)


def test_a_fall_without_a_profile_and_a_floor_that_changes_are_reckoned_with_and_said():
    survey, wall, evaluation = evaluated("nine_inch_brick.yaml", "parlour-back")
    values = {**evaluation.values, "ground.fall_along_mm": known(300), "floor.level_change_mm": known(160)}
    forced = replace(treated(evaluation, "cream", "at_floor", "none_needed"), values=values)
    schedule = build_schedule(survey, wall, BASE, forced, LATEST)
    assert "ground.profile" in firm(schedule)
    assert any("160 mm" in note and "half-way" in note for note in schedule.notes)
    assert len([each for each in schedule.line.pieces if each.kind == "horizontal"]) == schedule.line.steps + 1 > 1


def test_a_party_wall_gets_the_dates_of_its_notice():
    """Party Wall etc. Act 1996, section 3: two months before the work, lapsing after twelve; 14 days to reply."""
    file = read_survey(DEMO / "party_wall.yaml", LATEST)
    wall = file.survey.walls[0]
    schedule = build_schedule(file, wall, BASE, evaluate_wall(file, wall, BASE), dt.date(2026, 6, 10))
    (note,) = [note for note in schedule.notes if "party structure notice" in note]
    for day in ("served on 2026-06-10", "from 2026-08-10", "2027-06-09", "reply by 2026-06-2"):
        assert day in note
