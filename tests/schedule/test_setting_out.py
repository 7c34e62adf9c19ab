"""The setting out of the line: walls worked out by hand, and the ground against numpy."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from plain_wall import RULES, figures_missing, ground, line, wall

from engine.schedule.ground import Ground, GroundPoint, highest, level_mm, stretches_above
from engine.schedule.joints import Beds
from engine.schedule.line_model import (
    Floor,
    FloorRun,
    GroundAnswer,
    Junction,
    OldWork,
    Timber,
)
from engine.schedule.line_result import SettingOut
from engine.schedule.setting_out import set_out


def rules_named(out: SettingOut, piece: int = 0) -> set[str]:
    assert out.pieces is not None
    return {reason.rule for reason in out.pieces[piece].reasons}


# --- Worked walls -----------------------------------------------------------------------------------------------------


def test_a_level_wall_takes_the_joint_nearest_the_floor() -> None:
    out = set_out(wall(), RULES)
    assert line(out) == [(0, 10, -20)]
    assert out.pieces is not None
    assert out.pieces[0].joint == 0
    assert (out.steps, out.verticals, out.ground_works, out.missing, out.follow_mortar) == ((), (), (), (), False)
    assert rules_named(out) == {"ground", "nearest"}


def test_of_two_joints_as_near_the_lower_is_taken() -> None:
    assert line(set_out(wall(beds=Beds("regular", 75, 37.5)), RULES)) == [(0, 10, -37.5)]


def test_above_ground_takes_the_lowest_joint_that_clears_it() -> None:
    # -400 + 150 = -250; joints at -245 and -320.
    assert line(set_out(wall(height="above_ground"), RULES)) == [(0, 10, -245)]
    # a joint exactly at the clearance serves
    assert line(set_out(wall(height="above_ground", beds=Beds("regular", 75, -250)), RULES)) == [(0, 10, -250)]
    assert line(set_out(wall(height="above_ground", beds=Beds("regular", 75, -250.001)), RULES)) == [(0, 10, -175.001)]


def test_the_line_steps_with_sloping_ground() -> None:
    # Ground from -400 up to -250 over 10 m: the clearance asks for -250 up to -100. Joints -245, -170, -95. It falls by
    # 150, so no one joint serves. From the start -170 is the highest (the first joint at or above -250 + 75) and it
    # serves up to 5 1/3 m; -95 serves from where -170 is asked for less 75, at 1/3 m. The step comes late: nearest.
    sloping = wall(height="above_ground", ground=ground((0, -400), (10, -250)))
    out = set_out(sloping, RULES)
    assert out.pieces is not None
    assert [piece.level_mm for piece in out.pieces] == [-170, -95]
    (step,) = out.steps
    assert step.at_m == pytest.approx(16 / 3)
    assert (step.from_mm, step.to_mm, step.lap_mm) == (-170, -95, 100)
    assert (step.vertical.from_mm, step.vertical.to_mm, step.vertical.height_mm) == (-270, 5, 275)
    assert {reason.rule for reason in step.reasons} == {"ground", "fall"}
    # the upper row laps over the lower
    assert out.pieces[0].row_to_m == pytest.approx(16 / 3)
    assert out.pieces[1].row_from_m == pytest.approx(16 / 3 - 0.1)
    # with a fall of 150 allowed, one piece serves
    assert line(set_out(sloping, replace(RULES, fall_before_step_mm=150))) == [(0, 10, -95)]


def test_no_line_is_lower_than_needed_and_none_is_higher_for_nothing() -> None:
    # A mound 2 m wide in the middle: the line goes over it and comes down again.
    out = set_out(wall(ground=ground((0, -400), (4, -400), (5, -100), (6, -400))), RULES)
    assert [level for _, _, level in line(out)] == [55]  # 55 is within 75 mm of the floor, so no step
    out = set_out(wall(ground=ground((0, -400), (4, -400), (5, 0), (6, -400))), RULES)
    assert [level for _, _, level in line(out)] == [55, 205, 55]
    assert out.pieces is not None
    assert out.pieces[1].row_to_m - out.pieces[1].row_from_m == pytest.approx(out.pieces[1].length_m + 0.2)
    assert [step.to_mm - step.from_mm for step in out.steps] == [150, -150]


def test_where_the_gauge_is_wider_than_the_step_the_next_joint_serves() -> None:
    # Stone courses of 300 mm: joints at -250 and 50; needed -100. 50 is 150 above it, and the nearest there is.
    stone = wall(height="above_ground", ground=ground((0, -250)), beds=Beds("regular", 300, 50))
    assert line(set_out(stone, RULES)) == [(0, 10, 50)]


def test_timbers_hold_the_line_down() -> None:
    # Underside -180, less 25: -205 at the most, -250 at the least: the joint at -245.
    joists = Timber(0, 10, -180, "joist ends")
    out = set_out(wall(timbers=(joists,), height="below_timbers"), RULES)
    assert line(out) == [(0, 10, -245)]
    assert "timber" in rules_named(out)
    # whatever the height is to be near to
    assert line(set_out(wall(timbers=(joists,)), RULES)) == [(0, 10, -245)]
    # isolated, they hold nothing down, and are named
    out = set_out(wall(timbers=(replace(joists, isolated=True),)), RULES)
    assert line(out) == [(0, 10, -20)]
    assert out.timbers_at_risk == ("joist ends",)
    low = Timber(0, 10, -10, "bonding timber", isolated=True)  # -20 is below it, but not by the 25 mm that it should be
    assert set_out(wall(timbers=(low,)), RULES).timbers_at_risk == ("bonding timber",)
    assert set_out(wall(height="above_ground", timbers=(replace(joists, isolated=True),)), RULES).timbers_at_risk == ()


def test_timbers_over_a_part_do_not_make_a_level_line_step() -> None:
    out = set_out(wall(timbers=(Timber(2, 4, -180, "wall plate"),), height="below_timbers"), RULES)
    assert line(out) == [(0, 10, -245)]


def test_timbers_over_a_part_make_the_line_step_where_the_ground_rises() -> None:
    # Needed -250 to 4 m, rising to 0 at 6 m. Under the plate -205 at the most.
    out = set_out(
        wall(
            timbers=(Timber(0, 3, -180, "wall plate"),),
            height="below_timbers",
            ground=ground((4, -400), (6, -150)),
        ),
        RULES,
    )
    assert [level for _, _, level in line(out)] == [-245, 55]
    (step,) = out.steps
    assert step.at_m == pytest.approx(3.1)  # a lap clear of the plate, then near to the floor
    assert {reason.rule for reason in step.reasons} == {"ground", "timber"}
    assert out.pieces is not None
    assert out.pieces[1].row_from_m == pytest.approx(3.0)  # the upper row laps up to the plate


def test_where_no_joint_serves_the_piece_says_what_then() -> None:
    # Ground -330: at least -180. Plate at -180: at most -205. Joints -245 and -170.
    out = set_out(wall(timbers=(Timber(4, 6, -180, "wall plate"),), ground=ground((0, -330))), RULES)
    assert out.pieces is not None
    assert line(out) == [(0, 3.9, -20), (3.9, 6.1, None), (6.1, 10, -20)]
    ways = out.pieces[1].no_joint
    assert ways is not None
    assert (ways.joint, ways.level_mm, ways.lower_ground_by_mm) == (-3, -245, 65)
    assert (ways.protect_from_mm, ways.protect_to_mm) == (-545, -180)
    assert (ways.isolate, ways.isolated_joint, ways.isolated_level_mm) == (("wall plate",), -2, -170)
    assert rules_named(out, 1) == {"no_joint", "lower", "protect", "isolate"}
    assert out.steps == ()
    # taking the first way out: the ground lowered there
    dealt = replace(
        wall(timbers=(Timber(4, 6, -180, "wall plate"),), ground=ground((0, -330))),
        answers=(GroundAnswer(3.9, 6.1, "lower", -500),),
    )
    out = set_out(dealt, RULES)
    assert line(out) == [(0, 3.9, -20), (3.9, 6.1, -245), (6.1, 10, -20)]
    (work,) = out.ground_works
    assert (work.how, work.from_m, work.to_m, work.from_mm, work.to_mm) == ("lower", 3.9, 6.1, -330, -395)
    assert work.area_m2 == pytest.approx(2.2 * 0.065)
    # the second: the same line, with protection a lap past it
    out = set_out(replace(dealt, answers=(GroundAnswer(3.9, 6.1, "protect"),)), RULES)
    (work,) = out.ground_works
    assert (work.how, work.from_mm, work.to_mm) == ("protect_outside", -545, -180)
    # the third
    isolated = Timber(4, 6, -180, "wall plate", isolated=True)
    assert line(set_out(wall(timbers=(isolated,), ground=ground((0, -330))), RULES)) == [(0, 10, -20)]


def test_the_ground_is_not_dug_below_the_foundation() -> None:
    # Plate at -180: at most -205. Ground 0, may come down to -330: at least -180. No joint.
    timbers = (Timber(0, 10, -180, "wall plate"),)
    high = wall(timbers=timbers, ground=ground((0, 0)), answers=(GroundAnswer(0, 10, "lower", -330),))
    out = set_out(high, RULES)
    assert line(out) == [(0, 10, None)]
    assert out.pieces is not None
    assert out.pieces[0].no_joint is not None
    assert out.pieces[0].no_joint.lower_ground_by_mm is None
    assert (out.pieces[0].no_joint.protect_to_mm, out.pieces[0].no_joint.isolated_level_mm) == (-180, -170)
    assert rules_named(out) == {"no_joint", "protect", "isolate"}
    out = set_out(replace(high, answers=(GroundAnswer(0, 10, "lower", -400),)), RULES)
    assert line(out) == [(0, 10, -245)]
    assert [(work.how, work.to_mm) for work in out.ground_works] == [("lower", -395)]
    assert out.missing == ()
    # nobody knows how deep: it is said
    out = set_out(replace(high, answers=(GroundAnswer(0, 10, "lower"),)), RULES)
    assert figures_missing(out) == {"not_below_mm"}
    # and where nothing has to be dug, it does not matter
    assert set_out(wall(answers=(GroundAnswer(0, 10, "lower"),)), RULES).missing == ()


def test_an_old_joint_is_not_used_again() -> None:
    out = set_out(wall(old=(OldWork(-18, "row of old holes"),)), RULES)
    assert line(out) == [(0, 10, 55)]
    assert "old_work" in rules_named(out)
    # half-way between two joints: both are barred, so from -20 and 55 to -95, nearer than 130
    assert line(set_out(wall(old=(OldWork(17.5, "row of old holes"),)), RULES)) == [(0, 10, -95)]
    # two of them
    two = (OldWork(-20, "slate course"), OldWork(55, "row of old holes"))
    assert line(set_out(wall(old=two), RULES)) == [(0, 10, -95)]
    # a band either side where there are no joints: 30 mm off -10 is -40
    rough = wall(beds=Beds("irregular", None, None), old=(OldWork(-10, "row of old holes"),))
    assert line(set_out(rough, RULES)) == [(0, 10, 20)]


def test_an_internal_wall_goes_by_the_floor() -> None:
    out = set_out(wall(ground=Ground(())), RULES)
    assert line(out) == [(0, 10, -20)]
    assert rules_named(out) == {"no_ground", "nearest"}
    assert line(set_out(wall(ground=Ground(()), height="above_ground"), RULES)) == [(0, 10, -20)]


def test_the_line_follows_the_floor() -> None:
    stepped = Floor((FloorRun(0, 0), FloorRun(4, -300), FloorRun(7, -250)), False)
    out = set_out(wall(ground=Ground(()), floor=stepped), RULES)
    # 50 mm is no step to follow: of -320 and -245 the nearer over both is -245: 55 x 3 + 5 x 3 against 20 x 3 + 70 x 3
    assert line(out) == [(0, 4, -20), (4, 10, -245)]
    assert [reason.rule for reason in out.steps[0].reasons] == ["floor"]
    # up as well as down, though the lower level would do for both
    up = Floor((FloorRun(0, -300), FloorRun(4, 0)), False)
    assert line(set_out(wall(ground=Ground(()), floor=up), RULES)) == [(0, 4, -320), (4, 10, -20)]
    # 75 mm is not yet followed, 76 mm is; joints at 0 and 75 would suit both
    for change_mm, pieces in ((75, 1), (76, 2)):
        floor = Floor((FloorRun(0, 0), FloorRun(4, change_mm)), False)
        assert len(line(set_out(wall(ground=Ground(()), floor=floor, beds=Beds("regular", 75, 0)), RULES))) == pieces
    # no step where the ground asks for the same level beside both
    high = wall(ground=ground((0, 0)), floor=Floor((FloorRun(0, 0), FloorRun(4, 100)), False))
    assert line(set_out(high, RULES)) == [(0, 10, 205)]


def test_a_wall_without_regular_joints_is_set_out_to_the_millimetre() -> None:
    out = set_out(wall(beds=Beds("irregular", None, None), ground=ground((0, -99.6))), RULES)
    assert line(out) == [(0, 10, 51)]  # 50.4 at the least
    assert out.pieces is not None
    assert out.pieces[0].joint is None
    assert out.follow_mortar
    assert "mortar" in rules_named(out)
    assert out.missing == ()


@pytest.mark.parametrize(
    ("beds", "figures"),
    [
        (Beds("regular", None, -20), {"gauge_mm"}),
        (Beds("regular", 75, None), {"joint_mm"}),
        (Beds("regular", None, None), {"gauge_mm", "joint_mm"}),
        (Beds(None, None, None), {"beds", "gauge_mm", "joint_mm"}),
        (Beds(None, 75, -20), {"beds"}),
    ],
)
def test_without_the_gauge_the_line_is_provisional(beds: Beds, figures: set[str]) -> None:
    out = set_out(wall(beds=beds, ground=ground((0, -100))), RULES)
    assert line(out) == [(0, 10, 50)]
    assert figures_missing(out) == figures
    assert not any(missing.stops for missing in out.missing)
    assert "beds_unknown" in rules_named(out)
    assert not out.follow_mortar


@pytest.mark.parametrize(("field", "figure"), [("length_m", "length_m"), ("ground", "ground")])
def test_without_length_or_ground_there_is_no_line(field: str, figure: str) -> None:
    out = set_out(wall(**{field: None}), RULES)
    assert out.pieces is None
    assert [(missing.figure, missing.stops) for missing in out.missing] == [(figure, True)]


@pytest.mark.parametrize(
    ("changes", "figure"),
    [
        ({"timbers": None}, "timbers"),
        ({"timbers": (Timber(0, 1, None, "wall plate"),)}, "underside_mm"),
        ({"old": None}, "old"),
        ({"old": (OldWork(None, "slate course"),)}, "old"),
        ({"junctions": None}, "junctions"),
        ({"junctions": (Junction("end", "garden wall", None, 0),)}, "junction_heights"),
        ({"junctions": (Junction("end", "garden wall", 500, None),)}, "junction_heights"),
        ({"floor": Floor((FloorRun(0, 0, -40),), None)}, "membrane"),
        ({"floor": Floor((FloorRun(0, 0),), True)}, "membrane_mm"),
    ],
)
def test_what_would_firm_the_line_up_is_named(changes: dict[str, Any], figure: str) -> None:
    out = set_out(wall(**changes), RULES)
    assert [(missing.figure, missing.stops) for missing in out.missing] == [(figure, False)]
    assert line(out) == [(0, 10, -20)]


def test_vertical_pieces_at_untreated_walls() -> None:
    damp = Junction("start", "neighbour wall", 900, 100)
    high = Junction("end", "garden wall", 200, 300)
    low = Junction(4.0, "internal wall", 0, 0)
    out = set_out(wall(junctions=(damp, high, low)), RULES)
    found = [(v.at_m, v.from_mm, v.to_mm, v.at_least, v.why.rule) for v in out.verticals]
    assert found == [
        (0, -120, 900, False, "junction"),  # the height of the damp; a lap below the line at -20
        (10, -120, 450, False, "junction"),  # the ground beyond, and 150 mm
        (4, -120, 150, False, "junction"),  # the floor beyond, and 150 mm
    ]
    (v,) = set_out(wall(junctions=(Junction(4.0, "internal wall", -500, -500),)), RULES).verticals
    assert (v.from_mm, v.to_mm, v.height_mm) == (-120, 130, 250)  # 150 mm above the line at the least


def test_while_nobody_knows_what_joins_both_ends_are_reckoned_with() -> None:
    out = set_out(wall(junctions=None), RULES)
    assert [(v.at_m, v.from_mm, v.to_mm, v.at_least) for v in out.verticals] == [
        (0, -120, 130, True),
        (10, -120, 130, True),
    ]


def test_a_junction_at_a_step_starts_from_the_lower_level() -> None:
    floor = Floor((FloorRun(0, 0), FloorRun(4, -300)), False)
    out = set_out(wall(floor=floor, ground=Ground(()), junctions=(Junction(4, "internal wall", 500, 0),)), RULES)
    assert [(v.from_mm, v.to_mm, v.why.rule) for v in out.verticals] == [(-420, 80, "step"), (-420, 500, "junction")]


def test_a_junction_where_there_is_no_line_waits() -> None:
    high = wall(timbers=(Timber(0, 10, -180, "plate"),), ground=ground((0, 0)))
    out = set_out(replace(high, junctions=(Junction("end", "garden wall", 500, 0),)), RULES)
    assert out.verticals == ()
    assert figures_missing(out) == {"no_joint"}


def test_the_link_to_the_floor_membrane() -> None:
    (link,) = set_out(wall(), RULES).floor_links
    assert (link.line_mm, link.meets_mm, link.difference_mm, link.seal_strip, link.strip_mm) == (
        -20,
        -40,
        20,
        True,
        170,
    )
    (link,) = set_out(wall(floor=Floor((FloorRun(0, 0, -20),), True)), RULES).floor_links
    assert (link.difference_mm, link.seal_strip, link.strip_mm) == (0, False, 150)
    (link,) = set_out(wall(floor=Floor((FloorRun(0, 0),), True)), RULES).floor_links
    assert (link.meets_mm, link.difference_mm, link.seal_strip, link.strip_mm) == (0, -20, True, 170)
    (link,) = set_out(wall(floor=Floor((FloorRun(0, 0),), None)), RULES).floor_links
    assert (link.difference_mm, link.seal_strip, link.strip_mm) == (-20, None, None)
    assert set_out(wall(floor=Floor((FloorRun(0, 0),), False)), RULES).floor_links == ()
    runs = (FloorRun(0, 0, -40), FloorRun(4, -300, -340))
    links = set_out(wall(ground=Ground(()), floor=Floor(runs, True)), RULES).floor_links
    assert [(link.from_m, link.to_m, link.difference_mm) for link in links] == [(0, 4, 20), (4, 10, 20)]


def test_a_floor_below_the_ground_is_protected_inside_up_to_the_line() -> None:
    out = set_out(wall(ground=ground((0, 100))), RULES)
    assert line(out) == [(0, 10, 280)]
    (work,) = out.ground_works
    assert (work.how, work.from_mm, work.to_mm) == ("protect_inside", 0, 580)
    assert work.area_m2 == pytest.approx(5.8)
    # where the ground is lowered below the floor, or kept off outside, nothing is left to protect inside
    for how in ("lower", "protect"):
        out = set_out(wall(ground=ground((0, 100)), answers=(GroundAnswer(0, 10, how, -500),)), RULES)
        assert [work.how for work in out.ground_works] == [{"lower": "lower", "protect": "protect_outside"}[how]]
    # also where the line is still above the floor, here because the joint at -20 is used up
    used = (OldWork(-20, "slate course"),)
    lowered = wall(ground=ground((0, 100)), old=used, answers=(GroundAnswer(0, 10, "lower", -500),))
    assert line(set_out(lowered, RULES)) == [(0, 10, 55)]
    assert [(work.how, work.to_mm) for work in set_out(lowered, RULES).ground_works] == [("lower", -95)]
    # but ground that can come down only a little still stands above the floor
    out = set_out(wall(ground=ground((0, 300)), answers=(GroundAnswer(0, 10, "lower", 100),)), RULES)
    assert [(work.how, work.from_mm, work.to_mm) for work in out.ground_works] == [
        ("lower", 300, 130),
        ("protect_inside", 0, 580),
    ]


def test_a_short_piece_is_pointed_out() -> None:
    out = set_out(wall(ground=ground((0, -400), (4.9, -400), (5, 0), (5.1, -400))), RULES)
    assert ["short" in rules_named(out, at) for at in range(3)] == [False, True, False]


def test_impossible_figures_are_refused_all_at_once() -> None:
    with pytest.raises(ValueError, match=r"clearance above ground mm must be at least 0, not -1; .*lap mm"):
        replace(RULES, clearance_above_ground_mm=-1, lap_mm=math.nan)


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: ground((1, 0), (1, 5)), "must lie at least 0.001 m past"),
        (lambda: ground((2, 0), (1, 5)), "must lie at least 0.001 m past"),
        (lambda: GroundPoint(0, math.inf), "finite"),
        (lambda: Timber(2, 1, 0, "plate"), "must end at least 0.001 m past 2 m, not at 1 m"),
        (lambda: GroundAnswer(2, 2, "lower"), "must end at least 0.001 m past 2 m"),
        (lambda: Floor((), None), "must begin at 0 m"),
        (lambda: Floor((FloorRun(1, 0),), None), "must begin at 0 m"),
        (lambda: Floor((FloorRun(0, 0), FloorRun(0, 5)), None), "must begin at least"),
        (lambda: Beds("regular", 0.5, 0), "the gauge"),
        (lambda: wall(length_m=0), "the length of the wall"),
        (lambda: wall(junctions=(Junction(11.0, "garden wall", 0, 0),)), "outside the wall of 10 m"),
        (lambda: wall(answers=(GroundAnswer(0, 3, "lower"), GroundAnswer(2, 4, "protect"))), "dealt with twice"),
        (lambda: wall(timbers=(Timber(10, 11, 0, "plate"),)), r"timber \(plate\) from 10 m lies outside the wall"),
        (lambda: wall(timbers=(Timber(-1, 0, 0, "plate"),)), "lies outside the wall of 10 m"),
        (lambda: OldWork(math.nan, "course"), "finite"),
        (lambda: Junction(math.nan, "wall", 0, 0), "finite"),
    ],
)
def test_impossible_input_is_refused(make: Any, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        make()


# --- The ground -------------------------------------------------------------------------------------------------------

profiles = st.lists(
    st.tuples(st.integers(0, 200), st.integers(-600, 600)), min_size=1, max_size=8, unique_by=lambda point: point[0]
).map(lambda points: [(at / 10, float(level)) for at, level in sorted(points)])


@given(profiles, st.floats(-5, 25))
@settings(deadline=None)
def test_the_ground_between_points_is_numpys(points: list[tuple[float, float]], at_m: float) -> None:
    places, levels = zip(*points, strict=True)
    assert level_mm(ground(*points), at_m) == pytest.approx(float(np.interp(at_m, places, levels)))


@given(profiles, st.integers(-700, 700), st.floats(0, 9), st.floats(0.1, 10))
@settings(deadline=None)
def test_ground_above_a_level_has_the_area_of_the_integral(
    points: list[tuple[float, float]], level: int, from_m: float, run_m: float
) -> None:
    to_m = from_m + run_m
    found = stretches_above(ground(*points), from_m, to_m, level)
    places, levels = zip(*points, strict=True)
    dense = np.unique(np.concatenate([np.linspace(from_m, to_m, 20001), [p for p in places if from_m < p < to_m]]))
    above = np.maximum(np.interp(dense, places, levels) - level, 0) / 1000
    assert sum(part.area_m2 for part in found) == pytest.approx(float(np.trapezoid(above, dense)), abs=1e-5)
    inside = np.zeros(len(dense), dtype=bool)
    for part in found:
        assert from_m <= part.from_m < part.to_m <= to_m
        inside |= (dense > part.from_m - 1e-9) & (dense < part.to_m + 1e-9)
    assert not np.any((above > 1e-9) & ~inside)
    assert all(a.to_m < b.from_m for a, b in itertools.pairwise(found))
    if found:
        assert max(part.highest_mm for part in found) == pytest.approx(level + 1000 * float(above.max()))


def test_no_ground_has_no_level() -> None:
    assert level_mm(Ground(()), 1) is None
    assert highest(Ground(()), 0, 1) is None
    assert stretches_above(Ground(()), 0, 1, -1000) == ()
