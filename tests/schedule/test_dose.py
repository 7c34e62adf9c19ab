"""Doses against the published pairs, solid geometry by integration, and cutting rods one by one."""

from __future__ import annotations

from math import ceil, cos, nan, pi, radians, sqrt

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad  # type: ignore[import-untyped]

from engine.schedule.dose import (
    Basis,
    LitresPerMetre,
    LitresRate,
    LitresRow,
    RodsInHole,
    fill_dose,
    hole_volume_ml,
    liquid_dose,
    litres_by_rate,
    litres_by_table,
    ml_per_metre,
    rod_dose,
    rods_in_hole,
    spec_ml_per_metre,
    whole_containers,
    with_waste,
)
from engine.schedule.drilling import (
    DepthRow,
    DepthTable,
    HoleGroup,
    PatternRow,
    Piece,
    Share,
    drill_piece,
    hole_groups,
    hole_spec,
)

GENERIC = Basis(True, "trade")
SHEET = Basis(False, "store cream (cream.yaml)")
CREAM_DEPTHS = DepthTable(
    (DepthRow(115, (100,)), DepthRow(230, (210,)), DepthRow(345, (325,)), DepthRow(460, (440,))), 40
)
CREAM = PatternRow("cream", ("solid_brick",), 100, None, 12, 120, CREAM_DEPTHS, 0, 1, 1, None, "trade", None)
MORTAR = PatternRow("mortar", ("solid_brick",), 100, None, 19, 230, Share(0.6), 25, 2, 1, None, "handbook", None)


def wall_dose_ml(row: PatternRow, thickness_mm: float, length_m: float, edge_mm: float) -> float:
    spec = hole_spec(row, thickness_mm)
    assert spec is not None
    piece = Piece("horizontal", 0, length_m, 150, None, "wall")
    dose = fill_dose(hole_groups([drill_piece(piece, spec, edge_mm, length_m)]), 10, None, None, GENERIC)
    assert dose is not None
    return dose.net_ml


# Holes ---------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("length_mm", "expected"), [(100, 94), (210, 198), (325, 306), (440, 415), (190, 179), (310, 292), (420, 396)]
)
def test_dose_of_twelve_millimetre_holes_at_120_centres(length_mm: float, expected: int) -> None:
    """Computed from the solid: (pi/4) d^2 L (1000/s)."""
    assert ml_per_metre(12, length_mm, 120, 1) == pytest.approx(expected, abs=1)


def test_dose_grows_with_the_square_of_the_diameter() -> None:
    base = ml_per_metre(12, 210, 120, 1)
    assert base is not None
    for wider_mm, ratio in ((14, 1.361), (16, 1.778)):
        wide = ml_per_metre(wider_mm, 210, 120, 1)
        assert wide is not None
        assert wide / base == pytest.approx(ratio, abs=0.0005)


@pytest.mark.parametrize(("hole_mm", "length_mm"), [(12, 100), (12, 440), (19, 152), (30, 300)])
def test_volume_against_integration(hole_mm: float, length_mm: float) -> None:
    """Outside check: scipy integrates the chords of the circle, then the length."""
    radius = hole_mm / 2
    section, _ = quad(lambda y: 2 * sqrt(radius * radius - y * y), -radius, radius)
    assert hole_volume_ml(hole_mm, length_mm) == pytest.approx(section * length_mm / 1000, rel=1e-6)


@pytest.mark.parametrize(("hole_mm", "depth_mm", "angle"), [(12, 210, 0), (19, 138, 25), (10, 180, 45), (30, 250, 40)])
def test_volume_of_a_slanted_hole_by_counting_random_points(hole_mm: float, depth_mm: float, angle: float) -> None:
    """Outside check: of points scattered in a block of wall, the share within a radius of the hole's axis."""
    rng = np.random.default_rng(20260301)
    fall, radius = radians(angle), hole_mm / 2
    half = radius / cos(fall)
    drop = depth_mm * np.tan(fall)
    points = 1_000_000
    x = rng.uniform(0, depth_mm, points)
    y = rng.uniform(-radius, radius, points)
    z = rng.uniform(-drop - half, half, points)
    from_axis = np.hypot(y, z * np.cos(fall) + x * np.sin(fall))
    block = depth_mm * 2 * radius * (drop + 2 * half)
    counted_ml = block * np.mean(from_axis <= radius) / 1000
    assert hole_volume_ml(hole_mm, depth_mm / cos(fall)) == pytest.approx(counted_ml, rel=0.015)


def test_rows_and_faces_count() -> None:
    one, two = ml_per_metre(12, 210, 120, 1), ml_per_metre(12, 210, 120, 2)
    assert one is not None
    assert two == pytest.approx(2 * one)
    spec = hole_spec(MORTAR, 230)
    assert spec is not None
    # 0.6 x 230 = 138 mm deep, 138 / cos 25 = 152.3 mm long, 43.2 mL each, 2 x 1000/230 holes to the metre.
    assert spec_ml_per_metre(spec) == pytest.approx(pi / 4 * 361 * 152.27 / 1000 * 2 * 1000 / 230, rel=1e-4)


def test_a_wall_by_hand() -> None:
    # 4.8 m of nine-inch brick: 40 holes of 12 x 210 mm, 23.75 mL each, 950.0 mL, with a tenth 1045 mL.
    groups = (HoleGroup(40, 12, 210),)
    dose = fill_dose(groups, 10, 1000, 60, SHEET)
    assert dose is not None
    assert dose.holes == 40
    assert dose.groups[0].ml_per_hole == pytest.approx(23.750, abs=0.001)
    assert dose.net_ml == pytest.approx(950.0, abs=0.05)
    assert dose.litres == pytest.approx(1.045, abs=0.0001)
    assert dose.active_ml == pytest.approx(570.0, abs=0.05)
    assert dose.containers is not None
    assert (dose.containers.count, dose.containers.bought_ml) == (2, 2000)
    assert dose.containers.left_ml == pytest.approx(955.0, abs=0.1)
    assert dose.basis.says == "the product sheet store cream (cream.yaml)"


def test_generic_figures_say_so() -> None:
    assert GENERIC.says.startswith("generic figures (trade), not those of a product")


def test_unknown_in_unknown_out() -> None:
    groups = (HoleGroup(40, 12, 210),)
    dose = fill_dose(groups, 10, None, None, GENERIC)
    assert dose is not None
    assert dose.containers is None
    assert dose.active_ml is None
    assert fill_dose(groups, None, 1000, 60, GENERIC) is None
    assert hole_volume_ml(None, 210) is None
    assert ml_per_metre(12, 210, None, 1) is None
    assert ml_per_metre(12, None, 120, 1) is None
    assert with_waste(None, 10) is None
    assert with_waste(10, None) is None
    assert whole_containers(None, 1000) is None
    assert rods_in_hole(210, None) is None
    assert rod_dose(groups, None, 10, 10, GENERIC) is None
    assert rod_dose(groups, 180, None, 10, GENERIC) is None
    assert liquid_dose(None, 5, 40, 10, 5000, GENERIC) is None
    assert liquid_dose(LitresPerMetre(4, 5, "a"), None, 40, 10, 5000, GENERIC) is None
    assert liquid_dose(LitresPerMetre(4, 5, "a"), 5, 40, None, 5000, GENERIC) is None


@given(st.integers(0, 500), st.integers(0, 500), st.floats(6, 30), st.floats(30, 900))
def test_more_holes_take_more(few: int, more: int, hole_mm: float, length_mm: float) -> None:
    few, many = sorted((few, few + more))
    doses = [fill_dose((HoleGroup(n, hole_mm, length_mm),), 10, 1000, 60, GENERIC) for n in (few, many)]
    assert doses[0] is not None
    assert doses[1] is not None
    assert (doses[0].net_ml < doses[1].net_ml) is (few < many)
    assert doses[0].with_waste_ml >= doses[0].net_ml


@given(st.floats(100, 2000), st.floats(100, 2000), st.floats(0.1, 12), st.sampled_from([CREAM, MORTAR]))
@settings(deadline=None)
def test_a_thicker_wall_never_takes_less(one_mm: float, other_mm: float, length_m: float, row: PatternRow) -> None:
    thin, thick = sorted((one_mm, other_mm))
    edge_mm = row.centres_mm / 2
    assert wall_dose_ml(row, thin, length_m, edge_mm) <= wall_dose_ml(row, thick, length_m, edge_mm) + 1e-6


@given(st.floats(100, 900), st.floats(1, 30))
@settings(deadline=None)
def test_a_real_wall_takes_what_a_metre_takes(thickness_mm: float, length_m: float) -> None:
    """With the outer holes half a space from the ends, holes of a wall are its metres' holes, rounded up."""
    spec = hole_spec(CREAM, thickness_mm)
    assert spec is not None
    by_metre = spec_ml_per_metre(spec) * length_m
    one_hole = hole_volume_ml(spec.hole_mm, spec.length_mm)
    assert one_hole is not None
    assert by_metre - 0.1 <= wall_dose_ml(CREAM, thickness_mm, length_m, 60) <= by_metre + one_hole + 0.1


# Containers ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("needed_ml", "size_ml", "count"),
    [(0, 1000, 0), (1, 1000, 1), (1000, 1000, 1), (1000.1, 1000, 2), (22 * (1000 + 1e-13), 1000, 22), (0.3, 0.1, 3)],
)
def test_whole_containers(needed_ml: float, size_ml: float, count: int) -> None:
    found = whole_containers(needed_ml, size_ml)
    assert found is not None
    assert found.count == count


@given(st.floats(0, 1e6), st.floats(1, 25_000), st.floats(0, 100))
def test_containers_hold_the_volume_with_its_waste_and_no_container_too_many(
    net_ml: float, size_ml: float, waste: float
) -> None:
    gross_ml = with_waste(net_ml, waste)
    assert gross_ml is not None
    found = whole_containers(gross_ml, size_ml)
    assert found is not None
    assert found.count * size_ml >= net_ml * (1 + waste / 100) - 1e-5
    assert found.count == 0 or (found.count - 1) * size_ml < gross_ml
    assert found.left_ml == pytest.approx(found.bought_ml - gross_ml, abs=1e-5)


def test_waste_leaves_no_noise() -> None:
    assert with_waste(20, 10) == 22
    assert with_waste(0.1 + 0.2, 0) == 0.3


# Rods ----------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("length_mm", "rod_mm", "expected"),
    [
        (210, 180, RodsInHole(1, 30)),
        (360, 180, RodsInHole(2, 0)),
        (100, 180, RodsInHole(0, 100)),
        (360 - 1e-10, 180, RodsInHole(2, 0)),
        (440, 90, RodsInHole(4, 80)),
    ],
)
def test_rods_of_one_hole(length_mm: float, rod_mm: float, expected: RodsInHole) -> None:
    assert rods_in_hole(length_mm, rod_mm) == expected


def test_rods_of_a_wall_by_hand() -> None:
    # 40 holes of 210 mm with rods of 180: 40 whole, and 40 cuts of 30 mm, six to a rod: 7 rods; 47 in all.
    dose = rod_dose((HoleGroup(40, 12, 210),), 180, 5, 10, GENERIC)
    assert dose is not None
    (group,) = dose.groups
    assert (group.each, group.cuts_per_rod, group.cut_from) == (RodsInHole(1, 30), 6, 7)
    assert (dose.holes, dose.net, dose.with_waste, dose.packs) == (40, 47, 50, 5)
    # Whole rods need no cuts; a cut of more than half a rod uses one each.
    assert rod_dose((HoleGroup(40, 12, 360),), 180, 0, None, GENERIC).net == 80  # type: ignore[union-attr]
    assert rod_dose((HoleGroup(40, 12, 100),), 180, 0, None, GENERIC).net == 40  # type: ignore[union-attr]
    assert rod_dose((), 180, 0, 10, GENERIC).packs == 0  # type: ignore[union-attr]


def rods_cut_one_by_one(group: HoleGroup, rod_mm: int) -> int:
    """Fill hole after hole, taking the short end from the last rod cut as long as it lasts."""
    used, rest = 0, 0
    for _ in range(group.count):
        left = int(group.length_mm)
        while left >= rod_mm:
            used, left = used + 1, left - rod_mm
        if left:
            if rest < left:
                used, rest = used + 1, rod_mm
            rest -= left
    return used


@given(
    st.lists(st.tuples(st.integers(0, 60), st.integers(30, 900)), max_size=4), st.integers(40, 400), st.floats(0, 30)
)
def test_rods_against_cutting_them_one_by_one(sizes: list[tuple[int, int]], rod_mm: int, waste: float) -> None:
    groups = [HoleGroup(count, 12, length) for count, length in sizes]
    dose = rod_dose(groups, rod_mm, waste, 12, GENERIC)
    assert dose is not None
    assert dose.net == sum(rods_cut_one_by_one(group, rod_mm) for group in groups)
    assert isinstance(dose.with_waste, int)
    assert dose.net * (1 + waste / 100) <= dose.with_waste + 1e-5
    assert dose.with_waste <= ceil(dose.net * (1 + waste / 100) + 1e-5)
    assert dose.packs is not None
    assert (dose.packs - 1) * 12 < dose.with_waste <= dose.packs * 12 or dose.packs == dose.with_waste == 0
    for each in dose.groups:
        assert each.each.whole * rod_mm + each.each.cut_mm == pytest.approx(each.group.length_mm)
        assert each.rods * rod_mm >= each.group.count * each.group.length_mm - 1e-6


# Liquids -------------------------------------------------------------------------------------------------------------

# Gravity silicone, litres per metre: an Australian trade table, as reported by another page.
GRAVITY = (
    LitresRow(("solid_brick",), 100, 100, 2, 2, "au"),
    LitresRow(("solid_brick",), 125, 150, 3, 3, "au"),
    LitresRow(("solid_brick",), 200, 250, 4, 5, "au"),
    LitresRow(("solid_brick",), 300, 350, 7, 8, "au"),
    LitresRow(("solid_brick",), 450, 500, 10, 12, "au"),
    LitresRow(("cavity_brick",), None, None, 6, 7, "au"),
)
TWO_PER_100 = LitresRate(2, 2, 100, "rate")
PRESSURE = LitresRate(1, 1.5, 115, "uk")


@pytest.mark.parametrize(
    ("construction", "thickness_mm", "litres"),
    [
        ("solid_brick", 100, (2, 2)),
        ("solid_brick", 125, (3, 3)),
        ("solid_brick", 150, (3, 3)),
        ("solid_brick", 230, (4, 5)),
        ("solid_brick", 350, (7, 8)),
        ("solid_brick", 500, (10, 12)),
        ("cavity_brick", 270, (6, 7)),
        ("solid_brick", 90, (2, 2)),
        ("solid_brick", 175, (4, 5)),
        ("solid_brick", 400, (10, 12)),
        ("solid_brick", 501, None),
        ("rubble_stone", 300, None),
        (None, 300, None),
        ("solid_brick", None, None),
    ],
)
def test_litres_per_metre(
    construction: str | None, thickness_mm: float | None, litres: tuple[float, float] | None
) -> None:
    found = litres_by_table(GRAVITY, None, construction, thickness_mm)
    assert (None if found is None else (found.low, found.high)) == litres
    assert found is None or found.source_id == "au"


@pytest.mark.parametrize(
    ("thickness_mm", "litres"),
    [
        (90, (1.8, 1.8)),
        (115, (2.3, 2.3)),
        (175, (3.5, 3.5)),
        (350, (7, 8)),
        (400, (8, 8)),
        (500, (10, 12)),
        (520, (10.4, 12)),  # 12 by the row before, since a thicker wall never takes less
        (800, (16, 16)),
    ],
)
def test_a_rate_for_what_the_table_leaves_out(thickness_mm: float, litres: tuple[float, float]) -> None:
    found = litres_by_table(reversed(GRAVITY), TWO_PER_100, "solid_brick", thickness_mm)
    assert found is not None
    assert (found.low, found.high) == pytest.approx(litres)
    assert litres_by_table(GRAVITY, TWO_PER_100, "rubble_stone", thickness_mm) is None


def test_a_rate_stays_between_the_rows() -> None:
    found = litres_by_table(GRAVITY, LitresRate(4, 4, 100, "high"), "solid_brick", 175)
    assert (found.low, found.high) == (4, 5)  # type: ignore[union-attr]
    found = litres_by_table(GRAVITY, LitresRate(1, 1, 100, "low"), "solid_brick", 175)
    assert (found.low, found.high) == (3, 3)  # type: ignore[union-attr]


def test_the_table_is_about_two_litres_for_each_hundred_millimetres() -> None:
    """The published summary of the same table."""
    for row in GRAVITY[:-1]:
        assert row.from_mm is not None
        assert row.to_mm is not None
        by_rate = litres_by_rate(TWO_PER_100, (row.from_mm + row.to_mm) / 2)
        assert by_rate is not None
        assert (row.low_l_per_m + row.high_l_per_m) / 2 == pytest.approx(by_rate.low, rel=0.2)


def test_litres_by_rate() -> None:
    # UK pressure liquids, 1 to 1.5 litres for each 115 mm (from memory, to be verified against the text).
    assert litres_by_rate(PRESSURE, 230) == LitresPerMetre(2, 3, "uk")
    assert litres_by_rate(PRESSURE, None) is None


RATES = st.one_of(st.none(), st.just(TWO_PER_100), st.floats(0.1, 9).map(lambda each: LitresRate(each, each, 100, "r")))


@given(st.floats(20, 500), st.floats(20, 500), RATES)
def test_a_thicker_wall_never_takes_less_liquid(one_mm: float, other_mm: float, rate: LitresRate | None) -> None:
    thin, thick = sorted((one_mm, other_mm))
    for less, more in (
        (litres_by_table(GRAVITY, rate, "solid_brick", thin), litres_by_table(GRAVITY, rate, "solid_brick", thick)),
        (litres_by_rate(PRESSURE, thin), litres_by_rate(PRESSURE, thick)),
    ):
        assert less is not None
        assert more is not None
        assert less.low <= more.low
        assert less.high <= more.high


def test_a_liquid_by_hand() -> None:
    # 6 m of nine-inch brick: 24 to 30 L, with a tenth 33 L, seven cans of 5 L; 50 holes share 480 to 600 mL each.
    dose = liquid_dose(litres_by_table(GRAVITY, TWO_PER_100, "solid_brick", 230), 6, 50, 10, 5000, GENERIC)
    assert dose is not None
    assert (dose.low_l, dose.high_l, dose.with_waste_l) == pytest.approx((24, 30, 33))
    assert (dose.low_ml_per_hole, dose.high_ml_per_hole) == pytest.approx((480, 600))
    assert dose.containers is not None
    assert dose.containers.count == 7
    bare = liquid_dose(LitresPerMetre(4, 5, "a"), 6, 0, 10, None, GENERIC)
    assert bare is not None
    assert (bare.low_ml_per_hole, bare.containers) == (None, None)


# Limits --------------------------------------------------------------------------------------------------------------


def test_limits() -> None:
    with pytest.raises(ValueError, match=r"diameter .*; the hole's length"):
        hole_volume_ml(0, -1)
    with pytest.raises(ValueError, match="finite"):
        hole_volume_ml(nan, 1)
    with pytest.raises(ValueError, match=r"centres .*; the number of rows"):
        ml_per_metre(12, 210, 0, 0)
    with pytest.raises(ValueError, match="waste"):
        with_waste(1, 101)
    with pytest.raises(ValueError, match="waste"):
        rod_dose((), 180, -1, 10, GENERIC)
    with pytest.raises(ValueError, match=r"rods in a pack .* at least 1"):
        rod_dose((), 180, 5, 0, GENERIC)
    with pytest.raises(ValueError, match="size"):
        whole_containers(1, 0)
    with pytest.raises(ValueError, match="active"):
        fill_dose((), 10, 1000, 101, GENERIC)
    with pytest.raises(ValueError, match="number of holes"):
        HoleGroup(-1, 12, 210)
    with pytest.raises(ValueError, match=r"greatest thickness .*; .*most litres"):
        LitresRow(("solid_brick",), 200, 100, 3, 2, "a")
    with pytest.raises(ValueError, match="at least one construction"):
        LitresRow((), 100, 200, 2, 3, "a")
    with pytest.raises(ValueError, match="most litres"):
        LitresRate(2, 1, 100, "a")
    with pytest.raises(ValueError, match="run"):
        liquid_dose(LitresPerMetre(4, 5, "a"), 0, 40, 10, 5000, GENERIC)
