"""Where the holes go: hand-counted walls, numpy's interpolation, and what must hold of every wall."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from math import hypot, nan

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engine.schedule.drilling import (
    DepthRow,
    DepthTable,
    HoleGroup,
    HoleSpec,
    Leaf,
    PatternRow,
    Piece,
    PieceDrilling,
    Share,
    StopShort,
    drill_piece,
    hole_groups,
    hole_spec,
    leaves_of,
    pick_pattern,
    spread_mm,
    stages_mm,
)

# Cream, as a UK trade page heads its columns; the depths from memory of approval tables.
CREAM_DEPTHS = DepthTable(
    (DepthRow(115, (100,)), DepthRow(230, (210,)), DepthRow(345, (325,)), DepthRow(460, (440,))), 40
)
CREAM = PatternRow(
    "cream", ("solid_brick", "cavity_brick"), 100, None, 12, 120, CREAM_DEPTHS, 0, 1, 1, None, "trade", None
)
# Injection mortar by the Building Construction Handbook: both faces, three fifths of the thickness.
MORTAR = PatternRow("mortar", ("solid_brick",), 200, 600, 19, 230, Share(0.6), 25, 2, 1, None, "handbook", None)
# Pressure liquid in two staggered rows, as a German data sheet has it (as reported by another page).
TWO_ROWS = PatternRow("aqueous_liquid", ("solid_brick",), 200, None, 15, 120, StopShort(50), 30, 1, 2, 80, "de", None)
EDGE = 60.0
EPS = 1e-6


def level(from_m: float, to_m: float, leaf: str = "wall") -> Piece:
    return Piece("horizontal", from_m, to_m, 150, None, leaf)


def upright(at_m: float, height_mm: float) -> Piece:
    return Piece("vertical", at_m, at_m, 150, height_mm, "wall")


def spec(row: PatternRow, thickness_mm: float) -> HoleSpec:
    found = hole_spec(row, thickness_mm)
    assert found is not None
    return found


# Depths -------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("thickness_mm", "depth_mm"), [(115, 100), (230, 210), (345, 325), (460, 440)])
def test_depths_of_the_table_itself(thickness_mm: float, depth_mm: float) -> None:
    assert stages_mm(CREAM_DEPTHS, thickness_mm) == (depth_mm,)


@pytest.mark.parametrize(
    ("thickness_mm", "depth_mm"),
    [
        (102.5, 87),  # a thinner leaf keeps the 15 mm of the first row, rounded to more, not less
        (225, 205),  # 100 + 110 x 110/115 = 205.2
        (460.5, 440),  # 40 mm short would be 420.5: never shallower than the last row
        (480, 440),
        (500, 460),
        (900, 860),
    ],
)
def test_depths_between_and_beyond_the_rows(thickness_mm: float, depth_mm: float) -> None:
    assert stages_mm(CREAM_DEPTHS, thickness_mm) == (depth_mm,)


@given(st.floats(115, 460))
def test_depths_between_rows_are_numpys(thickness_mm: float) -> None:
    """Outside check: numpy.interp, rounded down to the whole millimetre."""
    found = stages_mm(CREAM_DEPTHS, thickness_mm)
    assert found is not None
    exact = float(np.interp(thickness_mm, [115, 230, 345, 460], [100, 210, 325, 440]))
    assert exact - 1 < found[0] <= exact + EPS


def test_shares_are_not_lost_to_rounding() -> None:
    # In binary 0.7 x 340 is a little less than 238.
    assert stages_mm(Share(0.7), 340) == (238,)
    assert stages_mm(Share(0.6), 345) == (207,)
    assert stages_mm(Share(0.6), 230) == (138,)
    assert stages_mm(StopShort(20), 230) == (210,)


def test_stages() -> None:
    # Pressure liquid in brick, in stages (from memory, to be verified against the text).
    table = DepthTable((DepthRow(115, (70,)), DepthRow(230, (70, 190)), DepthRow(345, (70, 190, 310))), None)
    assert stages_mm(table, 115) == (70,)
    assert stages_mm(table, 230) == (70, 190)
    assert stages_mm(table, 345) == (70, 190, 310)
    assert stages_mm(table, 225) == (70, 184)
    assert stages_mm(table, 300) == (70, 190, 263)
    assert stages_mm(table, 346) is None
    # A stage of the thicker row that lies deeper than the whole hole is left out.
    assert stages_mm(DepthTable((DepthRow(115, (65,)), DepthRow(230, (90, 190))), None), 120) == (70,)


def test_no_depth_where_nothing_is_left_to_drill() -> None:
    assert stages_mm(StopShort(50), 50) is None
    assert stages_mm(StopShort(50), 50.9) is None
    assert stages_mm(StopShort(50), 51) == (1,)
    assert stages_mm(CREAM_DEPTHS, 15) is None
    assert stages_mm(CREAM_DEPTHS, None) is None
    assert hole_spec(MORTAR, 199) is None
    assert hole_spec(MORTAR, None) is None


RULES = st.one_of(
    st.just(CREAM_DEPTHS),
    st.floats(1, 200).map(StopShort),
    st.floats(0.05, 0.95).map(Share),
)


@given(RULES, st.floats(20, 2000), st.floats(20, 2000))
def test_thicker_walls_are_never_drilled_less_deep_nor_through(
    rule: DepthTable | StopShort | Share, one_mm: float, other_mm: float
) -> None:
    thin, thick = sorted((one_mm, other_mm))
    shallow, deep = stages_mm(rule, thin), stages_mm(rule, thick)
    if shallow is not None:
        assert deep is not None
        assert 0 < shallow[-1] <= deep[-1] < thick
        assert shallow[-1] < thin


@given(st.floats(50, 1000), st.floats(0, 80))
def test_a_slanted_hole_is_the_hypotenuse(thickness_mm: float, angle: float) -> None:
    """Outside check: Pythagoras."""
    hole = spec(replace(CREAM, from_mm=20, angle_degrees=angle, depth=Share(0.6)), thickness_mm)
    assert hole.length_mm == pytest.approx(hypot(hole.depth_mm, hole.drop_mm))
    assert hole.depth_mm + hole.left_mm == pytest.approx(thickness_mm)


def test_known_slopes() -> None:
    steep = spec(replace(CREAM, angle_degrees=45, depth=StopShort(30)), 230)
    assert (steep.depth_mm, steep.drop_mm) == pytest.approx((200, 200))
    assert steep.length_mm == pytest.approx(282.8427)
    assert spec(replace(CREAM, angle_degrees=60, depth=StopShort(30)), 230).length_mm == pytest.approx(400)
    assert spec(CREAM, 230).length_mm == 210
    assert spec(CREAM, 230).drop_mm == 0


# Picking a pattern ---------------------------------------------------------------------------------------------------

THIN = replace(CREAM, from_mm=100, to_mm=230, source_id="thin")
THICK = replace(CREAM, from_mm=230, to_mm=600, source_id="thick")
TABLE = (THIN, THICK, MORTAR, TWO_ROWS)


@pytest.mark.parametrize(
    ("medium", "construction", "thickness_mm", "row", "others"),
    [
        ("cream", "solid_brick", 100, THIN, 0),
        ("cream", "solid_brick", 230, THIN, 1),
        ("cream", "cavity_brick", 230.1, THICK, 0),
        ("cream", "solid_brick", 600, THICK, 0),
        ("mortar", "solid_brick", 345, MORTAR, 0),
        ("aqueous_liquid", "solid_brick", 5000, TWO_ROWS, 0),
    ],
)
def test_the_first_fitting_row_is_taken(
    medium: str, construction: str, thickness_mm: float, row: PatternRow, others: int
) -> None:
    found = pick_pattern(TABLE, medium, construction, thickness_mm, 2)
    assert found.row is row
    assert len(found.others) == others
    assert row.source_id in found.says
    assert "not known" not in found.says


@pytest.mark.parametrize(
    ("medium", "construction", "thickness_mm", "faces", "says"),
    [
        (
            "cream",
            "flint",
            300,
            2,
            "no drilling pattern for cream in flint; there is one for cavity_brick, solid_brick",
        ),
        ("physical", "solid_brick", 230, 2, "no drilling pattern for physical in solid_brick; there is none for this"),
        ("cream", "solid_brick", 601, 2, "of 601 mm; there is one for 100 to 230 mm, 230 to 600 mm"),
        ("aqueous_liquid", "solid_brick", 90, 2, "of 90 mm; there is one for 200 mm and more"),
        ("mortar", "solid_brick", 230, 1, "is drilled from both faces; only one can be reached"),
        (None, "solid_brick", 230, 2, "not known: medium"),
        ("cream", None, None, 2, "not known: construction, thickness"),
    ],
)
def test_no_row_fits_and_it_says_why(
    medium: str | None, construction: str | None, thickness_mm: float | None, faces: int, says: str
) -> None:
    found = pick_pattern(TABLE, medium, construction, thickness_mm, faces)
    assert found.row is None
    assert not found.others
    assert says in found.says


def test_a_row_whose_rule_leaves_nothing_does_not_fit() -> None:
    row = replace(CREAM, from_mm=20, depth=StopShort(50))
    assert pick_pattern((row,), "cream", "solid_brick", 50, 1).row is None
    assert pick_pattern((row,), "cream", "solid_brick", 60, 1).row is row


def test_two_faces_needed_and_not_known() -> None:
    found = pick_pattern(TABLE, "mortar", "solid_brick", 230, None)
    assert found.row is MORTAR
    assert "whether both can be drilled is not known" in found.says
    assert pick_pattern(TABLE, "cream", "solid_brick", 150, None).says.endswith("by thin")


# Leaves --------------------------------------------------------------------------------------------------------------


def test_leaves_of_a_cavity_wall() -> None:
    names = ("outer", "inner")
    assert leaves_of(270, 2, 60, 115, names) == (Leaf("outer", 105, False), Leaf("inner", 105, False))
    assert leaves_of(None, 2, 60, 115, names) == (Leaf("outer", 115, True), Leaf("inner", 115, True))
    assert leaves_of(270, 2, None, 115, names) == (Leaf("outer", 115, True), Leaf("inner", 115, True))
    assert leaves_of(270, None, 60, 115, names) is None
    three = leaves_of(400, 3, 50, 115, ("outer", "middle", "inner"))
    assert three == (Leaf("outer", 100, False), Leaf("middle", 100, False), Leaf("inner", 100, False))
    with pytest.raises(ValueError, match="leave no leaves"):
        leaves_of(120, 3, 60, 115, ("a", "b", "c"))
    with pytest.raises(ValueError, match=r"number of leaves must be at most 2, not 3"):
        leaves_of(400, 3, 50, 115, names)


# Where the holes stand -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("length_mm", "holes"),
    [
        (1200, 10),  # 1080 mm between the outer holes: 9 spaces, 10 posts
        (1201, 11),
        (4800, 40),
        (120, 1),
        (119.9, 0),
        (150, 1),  # two holes would stand 30 mm apart and 60 mm from the ends
        (180, 2),
        (240, 2),
        (240.1, 3),
        (0, 0),
    ],
)
def test_hand_counted_stretches(length_mm: float, holes: int) -> None:
    assert len(spread_mm(length_mm, 120, EDGE, 12)) == holes


def test_noise_in_a_length_makes_no_further_hole() -> None:
    assert len(spread_mm(1200 + 1e-9, 120, EDGE, 12)) == 10
    # (7.3 - 6.1) m is 1.2000000000000002 m.
    drilled = drill_piece(level(6.1, 7.3), spec(CREAM, 230), EDGE, 10)
    assert drilled.count == 10


def test_hand_set_out() -> None:
    assert spread_mm(600, 120, 50, 12) == pytest.approx((50, 150, 250, 350, 450, 550))
    assert spread_mm(420, 120, 60, 12) == pytest.approx((60, 160, 260, 360))
    assert spread_mm(150, 120, 60, 12) == (75,)


@st.composite
def stretches(draw: st.DrawFn) -> tuple[float, float, float, float]:
    hole = draw(st.floats(5, 30))
    centres = draw(st.floats(4 * hole, 400))
    edge = draw(st.floats(hole / 2, centres / 2))
    return draw(st.floats(0, 6000)), centres, edge, hole


@given(stretches())
@settings(deadline=None)
def test_spaces_and_ends(stretch: tuple[float, float, float, float]) -> None:
    length, centres, edge, hole = stretch
    places = spread_mm(*stretch)
    if not places:
        assert length < 2 * edge
        return
    gaps = [after - before for before, after in pairwise((0.0, *places, length))]
    assert all(gap <= centres + EPS for gap in gaps)
    assert gaps[0] >= edge - EPS
    assert gaps[-1] >= edge - EPS
    assert gaps[0] == pytest.approx(gaps[-1], abs=EPS)
    assert all(gap >= 2 * hole - EPS for gap in gaps[1:-1])
    # Fewest: with one hole less, the outer two at the edge distance, some space would be too long.
    if len(places) > 2:
        assert (length - 2 * edge) / (len(places) - 2) > centres - EPS * len(places)


@given(stretches(), st.floats(0, 3000))
@settings(deadline=None)
def test_a_longer_stretch_never_has_fewer_holes(stretch: tuple[float, float, float, float], more_mm: float) -> None:
    length, *rest = stretch
    assert len(spread_mm(length, *rest)) <= len(spread_mm(length + more_mm, *rest))


def test_stretches_that_meet_keep_the_centres() -> None:
    left = [each / 1000 for each in drill_piece(level(0, 1.31), spec(CREAM, 230), EDGE, 3).runs[0].along_mm]
    right = [each / 1000 for each in drill_piece(level(1.31, 3), spec(CREAM, 230), EDGE, 3).runs[0].along_mm]
    assert right[0] - left[-1] <= 0.120 + EPS


PATTERNS = st.builds(
    PatternRow,
    st.just("cream"),
    st.just(("solid_brick",)),
    st.just(50.0),
    st.none(),
    st.floats(8, 30),
    st.floats(120, 250),
    st.sampled_from([CREAM_DEPTHS, Share(0.6), Share(0.4), StopShort(20)]),
    st.sampled_from([0.0, 25.0, 45.0]),
    st.sampled_from([1, 2]),
    st.just(1),
    st.none(),
    st.just("made up"),
    st.none(),
).flatmap(
    lambda row: st.sampled_from([row, replace(row, rows=2, row_spacing_mm=80), replace(row, rows=3, row_spacing_mm=75)])
)


@st.composite
def walls(draw: st.DrawFn) -> tuple[Piece, HoleSpec, float, float, tuple[float, ...]]:
    row = draw(PATTERNS)
    wall_m = draw(st.floats(0.1, 6))
    edge = draw(st.floats(row.hole_mm, row.centres_mm / 2))
    if draw(st.booleans()):
        piece = Piece("vertical", (at := draw(st.floats(0, wall_m))), at, 0, draw(st.floats(1, 3000)), "wall")
    else:
        one, other = sorted((draw(st.floats(0, wall_m)), draw(st.floats(0, wall_m))))
        piece = Piece("horizontal", one, other, 0, None, "wall")
    corners = tuple(draw(st.lists(st.floats(0, wall_m), max_size=2)))
    return piece, spec(row, draw(st.floats(60, 700))), edge, wall_m, corners


@given(walls())
@settings(deadline=None, max_examples=300)
def test_every_hole_is_inside_its_piece_and_wall(
    wall: tuple[Piece, HoleSpec, float, float, tuple[float, ...]],
) -> None:
    piece, hole, edge, wall_m, corners = wall
    drilled = drill_piece(piece, hole, edge, wall_m, corners)
    assert drilled.count == sum(len(run.along_mm) for run in drilled.runs)
    assert drilled.count or drilled.notes or piece.length_mm == 0 or corners
    for run in drilled.runs:
        assert len(run.along_mm) == len(run.levels_mm)
        for along, lev in zip(run.along_mm, run.levels_mm, strict=True):
            assert edge - 0.002 <= along <= wall_m * 1000 - edge + 0.002
            if piece.kind == "horizontal":
                assert piece.from_m * 1000 + edge - 0.002 <= along <= piece.to_m * 1000 - edge + 0.002
            else:
                assert piece.height_mm is not None
                assert edge - 0.002 <= lev <= piece.height_mm - edge + 0.002


@given(walls())
@settings(deadline=None, max_examples=300)
def test_no_two_holes_of_a_row_are_further_apart_than_the_centres(
    wall: tuple[Piece, HoleSpec, float, float, tuple[float, ...]],
) -> None:
    piece, hole, edge, wall_m, _ = wall
    drilled = drill_piece(piece, hole, edge, wall_m)
    for run in drilled.runs:
        if piece.kind == "horizontal":
            bounds, places = (piece.from_m * 1000, piece.to_m * 1000), run.along_mm
        else:
            bounds, places = (0.0, piece.length_mm), run.levels_mm
        if places:
            assert all(b - a <= hole.centres_mm + 0.002 for a, b in pairwise((bounds[0], *places, bounds[1])))


@given(walls())
@settings(deadline=None, max_examples=300)
def test_holes_never_run_into_each_other(wall: tuple[Piece, HoleSpec, float, float, tuple[float, ...]]) -> None:
    """Looked at along the holes' axes: any two that share the same depth of wall keep a hole's width apart."""
    piece, hole, edge, wall_m, corners = wall
    drilled = drill_piece(piece, hole, edge, wall_m, corners)
    spots = [
        (run.side, along, lev) for run in drilled.runs for along, lev in zip(run.along_mm, run.levels_mm, strict=True)
    ]
    for i, (side, along, lev) in enumerate(spots):
        for other_side, other_along, other_lev in spots[i + 1 :]:
            if side == other_side or hole.meets:
                assert hypot(along - other_along, lev - other_lev) >= hole.hole_mm - 0.002


def test_corners_have_a_hole_on_either_side() -> None:
    hole = spec(CREAM, 230)
    drilled = drill_piece(level(0, 3), hole, EDGE, 3, corners_m=(1.2, 1.2, 0, 3))
    along = drilled.runs[0].along_mm
    assert along == pytest.approx(
        (*spread_mm(1200, 120, EDGE, 12), *(1200 + each for each in spread_mm(1800, 120, EDGE, 12)))
    )
    assert 1140 in along
    assert 1260 in along
    assert drilled.count == 25


def test_short_stretches_are_said() -> None:
    drilled = drill_piece(level(0, 1.29), spec(CREAM, 230), EDGE, 3, corners_m=(1.2,))
    assert drilled.notes == ("from 1200 to 1290 mm along: 90 mm is too short for a hole 60 mm from either end",)
    assert drilled.count == 10


def test_vertical_pieces() -> None:
    drilled = drill_piece(upright(2, 420), spec(CREAM, 230), EDGE, 5)
    (run,) = drilled.runs
    assert run.levels_mm == pytest.approx((210, 310, 410, 510))
    assert set(run.along_mm) == {2000}
    assert not drilled.notes


def test_vertical_pieces_at_the_ends_are_moved_in() -> None:
    for at_m, along in ((0.0, 60), (5.0, 4940)):
        drilled = drill_piece(upright(at_m, 420), spec(CREAM, 230), EDGE, 5)
        assert set(drilled.runs[0].along_mm) == {along}
        assert drilled.notes == (f"vertical piece at {at_m:g} m: drilled 60 mm in from the end of the wall",)
    none = drill_piece(upright(0, 420), spec(CREAM, 230), EDGE, 0.1)
    assert none.count == 0
    assert "the wall is too short" in none.notes[0]
    # The second row of a column goes further from the end, where there is room for it.
    hole = spec(TWO_ROWS, 300)
    assert [set(run.along_mm) for run in drill_piece(upright(5, 420), hole, EDGE, 5).runs] == [{4940}, {4860}]
    assert drill_piece(upright(0, 420), hole, EDGE, 0.19).count == 0


def test_both_faces_are_staggered_where_holes_would_meet() -> None:
    first, second = drill_piece(level(0, 2.3), spec(MORTAR, 345), 115, 2.3).runs
    assert (first.side, second.side) == (1, 2)
    assert first.along_mm == pytest.approx([115 + 230 * i for i in range(10)])
    assert second.along_mm == pytest.approx([230 + 230 * i for i in range(9)])
    apart = replace(MORTAR, depth=Share(0.4))
    first, second = drill_piece(level(0, 2.3), spec(apart, 345), 115, 2.3).runs
    assert first.along_mm == second.along_mm


def test_holes_to_the_middle_meet_in_walls_of_odd_thickness_too() -> None:
    half = replace(MORTAR, depth=Share(0.5), to_mm=None)
    assert spec(half, 600).meets
    assert spec(half, 601).meets
    assert not spec(replace(half, depth=Share(0.45)), 600).meets
    assert not spec(replace(half, sides=1), 600).meets


def test_both_faces_in_a_stretch_with_one_hole() -> None:
    drilled = drill_piece(level(0, 0.3), spec(MORTAR, 345), 115, 2.3)
    assert drilled.count == 1
    assert "drilled from the first face only" in drilled.notes[0]


def test_two_staggered_rows() -> None:
    lower, upper = drill_piece(level(0, 1.2), spec(TWO_ROWS, 300), EDGE, 1.2).runs
    assert set(lower.levels_mm) == {150}
    assert set(upper.levels_mm) == {230}
    assert lower.along_mm[:2] == pytest.approx((60, 180))
    assert upper.along_mm[0] == pytest.approx(120)
    assert (len(lower.along_mm), len(upper.along_mm)) == (10, 9)


def test_counting_groups() -> None:
    outer, inner = spec(CREAM, 105), spec(CREAM, 115)
    pieces: list[PieceDrilling] = [
        drill_piece(level(0, 1.2, "outer"), outer, EDGE, 2.4),
        drill_piece(level(1.2, 2.4, "outer"), outer, EDGE, 2.4),
        drill_piece(level(0, 2.4, "inner"), inner, EDGE, 2.4),
        drill_piece(level(0, 0.05, "inner"), spec(CREAM, 300), EDGE, 2.4),
    ]
    assert hole_groups(pieces) == (HoleGroup(20, 12, 90), HoleGroup(20, 12, 100))
    assert hole_groups([]) == ()


# Limits --------------------------------------------------------------------------------------------------------------


def test_pieces_refuse_what_cannot_be() -> None:
    with pytest.raises(ValueError, match="ends"):
        level(2, 1)
    with pytest.raises(ValueError, match="a vertical piece has a height"):
        Piece("horizontal", 0, 1, 0, 300, "wall")
    with pytest.raises(ValueError, match="a vertical piece has a height"):
        Piece("vertical", 1, 1, 0, None, "wall")
    with pytest.raises(ValueError, match="stands at one place"):
        Piece("vertical", 0, 1, 0, 300, "wall")
    with pytest.raises(ValueError, match=r"level .* finite"):
        Piece("horizontal", 0, 1, nan, None, "wall")
    with pytest.raises(ValueError, match=r"must be at most 3, not 4; where a corner is .* at most 3, not 5"):
        drill_piece(level(0, 4), spec(CREAM, 230), EDGE, 3, (5,))


def test_spacing_refuses_what_cannot_be() -> None:
    with pytest.raises(ValueError, match=r"edge distance .* at most 60"):
        spread_mm(1000, 120, 61, 12)
    with pytest.raises(ValueError, match=r"edge distance .* at least 6"):
        spread_mm(1000, 120, 5, 12)
    with pytest.raises(ValueError, match=r"greatest centres .* at least 48"):
        spread_mm(1000, 47, 6, 12)


def test_patterns_refuse_what_cannot_be() -> None:
    with pytest.raises(ValueError, match=r"at least one construction; .*diameter .*; .*2 sides?|1 side or 2"):
        replace(CREAM, constructions=(), hole_mm=0, sides=3)
    with pytest.raises(ValueError, match="between rows is given"):
        replace(CREAM, rows=2)
    with pytest.raises(ValueError, match="between rows is given"):
        replace(CREAM, row_spacing_mm=80)
    with pytest.raises(ValueError, match="angle"):
        replace(CREAM, angle_degrees=90)
    with pytest.raises(ValueError, match="greatest thickness"):
        replace(CREAM, to_mm=99)
    with pytest.raises(ValueError, match="centres"):
        replace(CREAM, centres_mm=47)
    with pytest.raises(ValueError, match="1 face or 2"):
        pick_pattern(TABLE, "cream", "solid_brick", 230, 0)


def test_depth_rules_refuse_what_cannot_be() -> None:
    with pytest.raises(ValueError, match="below 115"):
        DepthRow(115, (115,))
    with pytest.raises(ValueError, match="from shallow to deep"):
        DepthRow(230, (190, 70))
    with pytest.raises(ValueError, match="at least one depth"):
        DepthRow(230, ())
    with pytest.raises(ValueError, match="from thin to thick"):
        DepthTable((DepthRow(230, (100,)), DepthRow(115, (100,))), None)
    with pytest.raises(ValueError, match="must not be drilled less deep"):
        DepthTable((DepthRow(115, (100,)), DepthRow(230, (90,))), None)
    with pytest.raises(ValueError, match="at least one row"):
        DepthTable((), None)
    for bad in (0, 1):
        with pytest.raises(ValueError, match="share"):
            Share(bad)
    with pytest.raises(ValueError, match="above 0"):
        StopShort(0)
