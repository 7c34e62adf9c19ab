"""Plaster, mortar, skirting, ground and vents: hand sums, published layers, numpy and counting."""

from __future__ import annotations

from math import pi

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from engine.readings.ventilation import required_vent_area_mm2
from engine.schedule.drilling import HoleGroup
from engine.schedule.ground import Ground, GroundPoint
from engine.schedule.quantities import (
    Coat,
    CoatRule,
    GroundTarget,
    HeightRule,
    Layer,
    Opening,
    area_between_m2,
    coat_faults,
    coat_rule_for,
    coats,
    ground_to_lower,
    joint_run_m,
    plaster_area,
    plaster_litres,
    plug_litres,
    pointing_litres,
    skirting_run_m,
    strip_height,
    strip_heights,
    vents_to_add,
)

# How high plaster comes off: the published rules disagree.
HANDBOOK = HeightRule("handbook", 300, None, 1000, "building_construction_handbook")
DATA_SHEET = HeightRule("data sheet", None, 300, 1000, "data_sheet")
SPECIFICATION = HeightRule("specification", 500, 500, 1000, "trade_specification")
HERITAGE = HeightRule("heritage group", 450, None, None, "heritage_guidance")
GRANT = HeightRule("grant", None, None, 1200, "grant_specification")
GERMAN = HeightRule("german", 800, 800, None, "german_data_sheet")
# Renovating plaster, WTA 2-9-20 as a German trade periodical gives it (9/2020, p. 14).
RENOVATING = Layer("renovating", 10, None)
LOW = CoatRule(("none", "low"), (RENOVATING,), 20, 40, "wta_2_9_20")
HIGH = CoatRule(("medium", "high"), (Layer("base", 10, None), RENOVATING), 20, 40, "wta_2_9_20")
# Three coats of lime, 20 to 25 mm, the setting coat about 3 (from memory, to be verified against the text); the least
# of the first two is made up here.
LIME = CoatRule(("low",), (Layer("render", 6, None), Layer("float", 6, None), Layer("set", 3, 3)), 20, 25, "lime")
DOOR = Opening(0.9, 0, 2000)
WINDOW = Opening(1.2, 900, 2100)


# Plaster -------------------------------------------------------------------------------------------------------------


def test_the_published_height_rules_side_by_side() -> None:
    found = strip_heights((HANDBOOK, DATA_SHEET, SPECIFICATION, HERITAGE, GRANT, GERMAN), 600, 750, 2400)
    assert [each.height_mm for each in found] == [1000, 1050, 1250, 1050, 1200, 1550]
    assert found[0].source_id == "building_construction_handbook"
    assert not any(each.to_ceiling for each in found)
    assert strip_height(HANDBOOK, 900, None, None).height_mm == 1200


def test_unknown_damp_leaves_the_height_unknown() -> None:
    assert strip_height(HANDBOOK, None, 750, 2400).height_mm is None
    assert strip_height(SPECIFICATION, 600, None, 2400).height_mm is None
    assert strip_height(GRANT, None, None, 2400).height_mm == 1200


def test_no_higher_than_the_room() -> None:
    found = strip_height(GERMAN, 1900, 1800, 2400)
    assert (found.height_mm, found.to_ceiling) == (2400, True)
    assert not strip_height(GERMAN, 1600, 1600, 2400).to_ceiling


@given(st.floats(0, 3000), st.floats(0, 3000), st.floats(0, 3000))
def test_higher_damp_never_takes_off_less(one_mm: float, other_mm: float, salts_mm: float) -> None:
    low, high = sorted((one_mm, other_mm))
    for rule in (HANDBOOK, SPECIFICATION, GERMAN):
        less, more = strip_height(rule, low, salts_mm, None).height_mm, strip_height(rule, high, salts_mm, None)
        assert less is not None
        assert more.height_mm is not None
        assert less <= more.height_mm


def test_area_by_hand() -> None:
    # 5 m x 1.2 m, less 0.9 x 1.2 of the door and 1.2 x 0.3 of the window: 6 - 1.08 - 0.36 = 4.56 m2;
    # put back from 50 mm up: less 5 x 0.05 and plus the door's 0.9 x 0.05: 4.56 - 0.25 + 0.045 = 4.355 m2.
    area = plaster_area(5, 1200, 50, (DOOR, WINDOW))
    assert area is not None
    assert (area.strip_m2, area.replace_m2, area.deducted_m2) == pytest.approx((4.56, 4.355, 1.44))
    assert plaster_area(None, 1200, 50, ()) is None
    assert plaster_area(5, None, 50, ()) is None


OPENINGS = st.lists(
    st.builds(
        lambda width, sill, height: Opening(width / 100, float(sill), float(sill + height)),
        st.integers(10, 300),
        st.integers(0, 2000),
        st.integers(10, 2000),
    ),
    max_size=4,
)


@given(OPENINGS, st.integers(50, 1500), st.integers(1, 2500), st.integers(0, 2500))
@settings(deadline=None)
def test_area_by_counting_millimetres(openings: list[Opening], run_cm: int, height: int, gap: int) -> None:
    """Outside check: for every millimetre of height, the run left beside the openings; they stand side by side."""
    assume(sum(each.width_m for each in openings) * 100 <= run_cm)
    area = plaster_area(run_cm / 100, height, gap, openings)
    assert area is not None
    free_cm = np.full(height, float(run_cm))
    for each in openings:
        free_cm[int(each.sill_mm) : int(each.head_mm)] -= each.width_m * 100
    assert area.strip_m2 == pytest.approx(free_cm.sum() / 100_000, abs=1e-9)
    assert area.replace_m2 == pytest.approx(free_cm[min(gap, height) :].sum() / 100_000, abs=1e-9)


@given(OPENINGS, st.floats(0.1, 10), st.floats(1, 3000), st.floats(0, 200))
def test_areas_are_never_below_zero(openings: list[Opening], run_m: float, height: float, gap: float) -> None:
    area = plaster_area(run_m, height, gap, openings)
    assert area is not None
    assert 0 <= area.replace_m2 <= area.strip_m2
    assert area.deducted_m2 >= 0
    assert area.strip_m2 + area.deducted_m2 == pytest.approx(run_m * height / 1000)


def test_openings_beyond_the_wall_leave_nothing() -> None:
    assert area_between_m2(1, 0, 1000, (Opening(3, 0, 2000),)) == 0
    area = plaster_area(1, 1000, 50, (Opening(3, 0, 50),))
    assert area is not None
    assert area.replace_m2 <= area.strip_m2


# Coats ---------------------------------------------------------------------------------------------------------------


def test_layers_by_salt_class() -> None:
    """WTA 2-9-20: at least 20 mm, 10 mm to a coat, 40 mm in all; two layers for medium and high salts."""
    assert coats(coat_rule_for((LOW, HIGH), "low"), 20) == (Coat("renovating", 20),)
    assert coats(coat_rule_for((LOW, HIGH), "medium"), 25) == (Coat("base", 12.5), Coat("renovating", 12.5))
    assert coats(coat_rule_for((LOW, HIGH), "high"), 40) == (Coat("base", 20), Coat("renovating", 20))
    assert coats(LIME, 21) == (Coat("render", 9), Coat("float", 9), Coat("set", 3))
    assert (HIGH.least_mm, HIGH.most_mm) == (20, 40)
    assert coat_rule_for((LOW, HIGH), None) is None
    assert coat_rule_for((LOW, HIGH), "extreme") is None
    assert coats(None, 20) is None
    assert coats(LOW, None) is None
    for wrong in (19.9, 40.1):
        with pytest.raises(ValueError, match="total thickness"):
            coats(HIGH, wrong)


@st.composite
def coat_rules(draw: st.DrawFn) -> CoatRule:
    layers = []
    for name in ("a", "b", "c")[: draw(st.integers(1, 3))]:
        least = draw(st.floats(1, 10))
        layers.append(Layer(name, least, draw(st.one_of(st.none(), st.floats(least, 20)))))
    return CoatRule(("low",), tuple(layers), draw(st.floats(1, 30)), draw(st.floats(30, 60)), "made up")


@given(st.one_of(st.sampled_from([LOW, HIGH, LIME]), coat_rules()), st.floats(0, 1))
def test_what_is_planned_keeps_the_rule(rule: CoatRule, share: float) -> None:
    assume(rule.least_mm <= rule.most_mm)
    total_mm = min(rule.least_mm + share * (rule.most_mm - rule.least_mm), rule.most_mm)
    planned = coats(rule, total_mm)
    assert planned is not None
    assert coat_faults(rule, planned) == ()
    assert sum(coat.thickness_mm for coat in planned) == pytest.approx(total_mm)


def test_faults_of_planned_coats() -> None:
    assert coat_faults(LOW, (Coat("renovating", 10), Coat("renovating", 10))) == ()
    assert coat_faults(HIGH, (Coat("base", 20), Coat("renovating", 10), Coat("renovating", 10))) == ()
    assert coat_faults(HIGH, (Coat("renovating", 20),)) == (
        "the layers must be, from the wall outwards: base, renovating",
    )
    assert coat_faults(HIGH, (Coat("renovating", 15), Coat("base", 15)))
    assert coat_faults(HIGH, (Coat("base", 10), Coat("renovating", 10), Coat("base", 10)))
    assert coat_faults(LOW, (Coat("renovating", 9), Coat("renovating", 11))) == (
        "a coat of renovating of 9 mm is thinner than 10 mm",
    )
    assert coat_faults(LOW, (Coat("renovating", 15),)) == ("15 mm in all is thinner than 20 mm",)
    assert coat_faults(LOW, (Coat("renovating", 21), Coat("renovating", 20))) == ("41 mm in all is thicker than 40 mm",)
    assert len(coat_faults(LOW, ())) == 2
    assert coat_faults(LIME, (Coat("render", 8), Coat("float", 8), Coat("set", 5))) == (
        "5 mm of set is thicker than 3 mm",
    )


def test_volume_of_a_coat() -> None:
    assert plaster_litres(4.5, 20) == 90
    assert plaster_litres(None, 20) is None
    assert plaster_litres(4.5, None) is None


# Mortar --------------------------------------------------------------------------------------------------------------


def test_plugs() -> None:
    # 40 holes of 12 mm, closed 20 mm deep: 40 x pi/4 x 144 x 20 mm3 = 90.5 mL.
    assert plug_litres((HoleGroup(40, 12, 210),), 20) == pytest.approx(0.0905, abs=0.0001)
    assert plug_litres((HoleGroup(10, 20, 15),), 20) == pytest.approx(10 * pi / 4 * 400 * 15 / 1e6)
    assert plug_litres((), 20) == 0
    assert plug_litres((HoleGroup(40, 12, 210),), None) is None


def test_pointing() -> None:
    # Brick of 215 x 65 with 10 mm joints: each takes 225 mm of bed joint and 75 mm of upright one, 59.26 bricks to
    # the square metre, so 17.78 m of joint in it.
    per_m2 = 1_000_000 / (225 * 75)
    run = joint_run_m(1, 75, 225)
    assert run == pytest.approx(per_m2 * (225 + 75) / 1000)
    assert pointing_litres(run, 10, 20) == pytest.approx(3.556, abs=0.001)
    assert joint_run_m(None, 75, 225) is None
    assert joint_run_m(1, None, 225) is None
    assert joint_run_m(1, 75, None) is None
    assert pointing_litres(None, 10, 20) is None
    assert pointing_litres(5, None, 20) is None
    assert pointing_litres(5, 10, None) is None


# Skirting, ground, vents ---------------------------------------------------------------------------------------------


def test_skirting() -> None:
    assert skirting_run_m(5, 150, (DOOR, WINDOW)) == pytest.approx(4.1)
    assert skirting_run_m(5, 150, (Opening(1, 100, 2000),)) == 4
    assert skirting_run_m(5, 150, (Opening(1, 150, 2000),)) == 5
    assert skirting_run_m(1, 150, (Opening(3, 0, 2000),)) == 0
    assert skirting_run_m(None, 150, ()) is None


def test_ground_by_hand() -> None:
    # Level ground 100 mm too high along 5 m, a strip of 0.6 m: 0.3 m3, 0.36 loose.
    flat = Ground((GroundPoint(0, 0),))
    found = ground_to_lower(flat, (GroundTarget(0, 5, -100),), 0.6, 20)
    assert found is not None
    assert (found.run_m, found.deepest_mm, found.volume_m3, found.loose_m3) == pytest.approx((5, 100, 0.3, 0.36))
    # A slope from 200 above to 200 below the target: a wedge of 2.5 m x 200 mm / 2.
    slope = Ground((GroundPoint(0, 200), GroundPoint(5, -200)))
    found = ground_to_lower(slope, (GroundTarget(0, 5, 0),), 1, 0)
    assert found is not None
    assert (found.run_m, found.deepest_mm, found.volume_m3) == pytest.approx((2.5, 200, 0.25))
    assert ground_to_lower(slope, (GroundTarget(0, 5, 0),), None, 0) is None
    assert ground_to_lower(slope, (GroundTarget(0, 5, 0),), 1, None) is None
    nothing = ground_to_lower(Ground(()), (GroundTarget(0, 5, 0),), 1, 0)
    assert nothing is not None
    assert (nothing.run_m, nothing.volume_m3) == (0, 0)
    with pytest.raises(ValueError, match="two levels"):
        ground_to_lower(flat, (GroundTarget(0, 3, 0), GroundTarget(2, 5, -100)), 1, 0)


@st.composite
def profiles(draw: st.DrawFn) -> Ground:
    places = sorted(draw(st.sets(st.integers(0, 100), min_size=1, max_size=6)))
    return Ground(tuple(GroundPoint(place / 10, draw(st.integers(-500, 500))) for place in places))


@given(profiles(), st.lists(st.integers(-500, 500), min_size=1, max_size=3), st.floats(0.2, 2))
@settings(deadline=None)
def test_ground_against_numerical_integration(ground: Ground, levels: list[int], width_m: float) -> None:
    """Outside check: numpy interpolates the ground every millimetre and integrates what stands above the target."""
    targets = [GroundTarget(3.0 * i, 3.0 * i + 3, float(level)) for i, level in enumerate(levels)]
    found = ground_to_lower(ground, reversed(targets), width_m, 25)
    assert found is not None
    places = [point.at_m for point in ground.points]
    heights = [point.level_mm for point in ground.points]
    section_m2 = deepest_mm = 0.0
    for target in targets:
        x = np.linspace(target.from_m, target.to_m, 3001)
        above_mm = np.maximum(0, np.interp(x, places, heights) - target.level_mm)
        section_m2 += float(np.trapezoid(above_mm, x)) / 1000
        deepest_mm = max(deepest_mm, float(above_mm.max()))
    assert found.volume_m3 == pytest.approx(section_m2 * width_m, rel=1e-4, abs=1e-4)
    assert found.deepest_mm == pytest.approx(deepest_mm, abs=1e-6)
    assert found.loose_m3 == pytest.approx(1.25 * found.volume_m3)
    assert 0 <= found.run_m <= 3 * len(targets) + 1e-9


def test_vents() -> None:
    # Approved Document C as web summaries give it: 1500 mm2 per metre of wall or 500 mm2 per m2 of floor, the greater.
    required = required_vent_area_mm2(6, 24, 1500, 500)
    assert required == 12_000
    # With 4000 mm2 there, 8000 are missing: two bricks of 4000 mm2, or three of 3000.
    assert vents_to_add(required, 4000, 4000) == 2
    assert vents_to_add(required, 4000, 3000) == 3
    assert vents_to_add(required, 15_000, 3000) == 0
    assert vents_to_add(None, 0, 3000) is None
    assert vents_to_add(required, None, 3000) is None
    assert vents_to_add(required, 0, None) is None


@given(st.floats(0, 1e5), st.floats(0, 1e5), st.floats(100, 20_000))
def test_vents_are_enough_and_none_too_many(required: float, present: float, each: float) -> None:
    count = vents_to_add(required, present, each)
    assert count is not None
    assert present + count * each >= required - 1e-4
    assert count == 0 or present + (count - 1) * each < required


# Limits --------------------------------------------------------------------------------------------------------------


def test_limits() -> None:
    with pytest.raises(ValueError, match="says nothing"):
        HeightRule("x", None, None, None, "a")
    with pytest.raises(ValueError, match="figure of the height rule x"):
        HeightRule("x", -1, None, None, "a")
    with pytest.raises(ValueError, match=r"width .*; .*sill .*; .*head"):
        Opening(0, -1, -2)
    with pytest.raises(ValueError, match="room"):
        strip_height(GRANT, 0, 0, 0)
    with pytest.raises(ValueError, match=r"run .*; .*height .*; the gap"):
        plaster_area(0, 0, -1, ())
    with pytest.raises(ValueError, match="upper height"):
        area_between_m2(1, 100, 50, ())
    with pytest.raises(ValueError, match="greatest total"):
        CoatRule(("low",), tuple(Layer(name, 10, None) for name in "abcde"), 20, 40, "x")
    with pytest.raises(ValueError, match="a layer stands twice in a, a"):
        CoatRule(("low",), (Layer("a", 10, None), Layer("a", 10, None)), 20, 40, "x")
    with pytest.raises(ValueError, match="the most of a"):
        Layer("a", 10, 9)
    with pytest.raises(ValueError, match="the least coat of a"):
        Layer("a", 0, None)
    with pytest.raises(ValueError, match=r"class of salts; .*at least one layer"):
        CoatRule((), (), 20, 40, "x")
    with pytest.raises(ValueError, match=r"area .*; the thickness of a coat"):
        plaster_litres(-1, 0)
    with pytest.raises(ValueError, match="plug"):
        plug_litres((), -1)
    with pytest.raises(ValueError, match=r"rise of a course .*; the length of a unit"):
        joint_run_m(1, 0, 0)
    with pytest.raises(ValueError, match=r"length of the joints .*; the width .*; the depth"):
        pointing_litres(-1, 0, 0)
    with pytest.raises(ValueError, match=r"run of wall .*; the height of the skirting"):
        skirting_run_m(0, 0, ())
    with pytest.raises(ValueError, match=r"width .*; the bulking"):
        ground_to_lower(Ground(()), (), 0, -1)
    with pytest.raises(ValueError, match="ends"):
        GroundTarget(2, 1, 0)
    with pytest.raises(ValueError, match=r"required .*; .*present .*; the free area"):
        vents_to_add(-1, -1, 0)
