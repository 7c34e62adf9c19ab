"""The sharp-front model, against published figures, tables worked by hand and numerical integration."""

from __future__ import annotations

from dataclasses import replace
from math import sqrt

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp  # type: ignore[import-untyped]

from engine.readings.capillary_rise import (
    WettedWall,
    daily_flow_l_per_m,
    equilibrium_height_mm,
    equilibrium_height_with_gravity_mm,
    height_mm,
    height_without_evaporation_mm,
    residence_days,
    sorptivity_mm_per_sqrt_min,
    stored_water_l_per_m,
)

DAY = 1440
# Proc. R. Soc. A 463, 1871-1884 (2007), reference parameters, from memory.
REFERENCE = WettedWall(150, 1.0, 0.2, 0.001, 1)

walls = st.builds(
    WettedWall,
    st.floats(50, 1000),
    st.floats(0.05, 4),
    st.floats(0.05, 0.5),
    st.floats(1e-5, 0.01),
    st.sampled_from([1, 2]),
)


def known(value: float | None) -> float:
    assert value is not None
    return value


def test_published_equilibrium() -> None:
    # The same paper, from memory: 612 mm for its reference wall.
    assert equilibrium_height_mm(REFERENCE) == pytest.approx(612.4, abs=0.05)


def test_published_thick_wall() -> None:
    # A conservation site works the same paper for a 500 mm wall: 1.12 m and 111 litres stored in each metre.
    # (Its flow and residence time go with another evaporation, 1.0 mm a day, and are not used.)
    wall = replace(REFERENCE, thickness_mm=500)
    assert equilibrium_height_mm(wall) == pytest.approx(1120, rel=0.005)
    assert stored_water_l_per_m(wall) == pytest.approx(111.8, abs=0.05)


@pytest.mark.parametrize(
    ("thickness_mm", "height", "stored", "flow", "days"),
    [
        (100, 500.0, 10.0, 0.72, 13.9),
        (150, 612.4, 18.4, 0.88, 20.8),
        (230, 758.3, 34.9, 1.09, 31.9),
        (345, 928.7, 64.1, 1.34, 47.9),
        (460, 1072.4, 98.7, 1.54, 63.9),
        (500, 1118.0, 111.8, 1.61, 69.4),
    ],
)
def test_table_by_thickness(thickness_mm: float, height: float, stored: float, flow: float, days: float) -> None:
    # Computed from the formulae by hand.
    wall = replace(REFERENCE, thickness_mm=thickness_mm)
    assert equilibrium_height_mm(wall) == pytest.approx(height, abs=0.06)
    assert stored_water_l_per_m(wall) == pytest.approx(stored, abs=0.06)
    assert daily_flow_l_per_m(wall) == pytest.approx(flow, abs=0.006)
    assert residence_days(wall) == pytest.approx(days, abs=0.06)


def test_sensitivity() -> None:
    # Computed by hand, 150 mm.
    assert equilibrium_height_mm(replace(REFERENCE, evaporation_mm_per_min=0.002)) == pytest.approx(433.0, abs=0.06)
    assert equilibrium_height_mm(replace(REFERENCE, evaporation_mm_per_min=0.0005)) == pytest.approx(866.0, abs=0.06)
    assert equilibrium_height_mm(replace(REFERENCE, sorptivity_mm_per_sqrt_min=0.5)) == pytest.approx(306.2, abs=0.06)


@pytest.mark.parametrize(
    ("days", "height"),
    [(1, 185.3), (3, 306.3), (7, 428.4), (14, 526.5), (30, 594.9), (60, 611.4), (90, 612.3)],
)
def test_rise_over_time(days: float, height: float) -> None:
    # Computed by hand, 150 mm.
    assert height_mm(REFERENCE, days * DAY) == pytest.approx(height, abs=0.06)


def test_rise_without_evaporation() -> None:
    # Computed by hand: 30 days.
    assert height_without_evaporation_mm(1.0, 0.2, 30 * DAY) == pytest.approx(1039, abs=0.5)


@pytest.mark.parametrize(
    ("thickness_mm", "conductivity_m_per_s", "height"),
    [(150, 1e-9, 607.9), (150, 1e-8, 569.0), (150, 1e-7, 309.9), (500, 1e-8, 978.1)],
)
def test_gravity(thickness_mm: float, conductivity_m_per_s: float, height: float) -> None:
    # Computed by hand; 1 m/s is 60 000 mm/min.
    wall = replace(REFERENCE, thickness_mm=thickness_mm)
    assert equilibrium_height_with_gravity_mm(wall, conductivity_m_per_s * 60_000) == pytest.approx(height, abs=0.06)


def integrated(a: float, c: float, k: float, start_mm: float, from_min: float, to_min: float) -> float:
    solution = solve_ivp(
        lambda _, h: a / h - c * h - k, (from_min, to_min), [start_mm], method="LSODA", rtol=1e-9, atol=1e-9
    )
    assert solution.success
    return float(solution.y[0, -1])


@pytest.mark.parametrize("faces", [1, 2])
@pytest.mark.parametrize("days", [0.1, 1, 7, 30, 365])
def test_closed_form_against_integration(faces: int, days: float) -> None:
    """The equation of the model itself, dh/dt = a/h - c h, integrated from shortly after the start."""
    wall = WettedWall(230, 1.16, 0.25, 0.0008, faces)  # type: ignore[arg-type]
    a, c = 1.16**2 / (2 * 0.25**2), faces * 0.0008 / (230 * 0.25)
    start = known(height_without_evaporation_mm(1.16, 0.25, 0.001))
    assert height_mm(wall, days * DAY) == pytest.approx(integrated(a, c, 0, start, 0.001, days * DAY), rel=1e-5)


def test_gravity_against_integration() -> None:
    """With gravity in the equation, the front settles where the formula says."""
    a, c, conductivity = 1 / (2 * 0.2**2), 0.001 / (150 * 0.2), 6e-4
    settled = integrated(a, c, conductivity / 0.2, 1.0, 0, 400 * DAY)
    assert equilibrium_height_with_gravity_mm(REFERENCE, conductivity) == pytest.approx(settled, rel=1e-5)


@given(walls, st.floats(1.01, 5))
def test_monotone(wall: WettedWall, factor: float) -> None:
    height = known(equilibrium_height_mm(wall))
    assert known(equilibrium_height_mm(replace(wall, thickness_mm=known(wall.thickness_mm) * factor))) > height
    more_evaporation = replace(wall, evaporation_mm_per_min=known(wall.evaporation_mm_per_min) * factor)
    assert known(equilibrium_height_mm(more_evaporation)) < height
    thirstier = replace(wall, sorptivity_mm_per_sqrt_min=known(wall.sorptivity_mm_per_sqrt_min) * factor)
    assert known(equilibrium_height_mm(thirstier)) > height


@given(walls, st.integers(0, 10**6), st.integers(0, 10**6))
def test_the_front_rises_towards_equilibrium(wall: WettedWall, one_min: int, other_min: int) -> None:
    earlier, later = sorted((one_min, other_min))
    low, high = known(height_mm(wall, earlier)), known(height_mm(wall, later))
    assert 0 <= low <= high <= known(equilibrium_height_mm(wall)) * (1 + 1e-12)
    free = height_without_evaporation_mm(wall.sorptivity_mm_per_sqrt_min, wall.water_content, later)
    assert high <= known(free) * (1 + 1e-12)


@given(walls, st.floats(0, 0.1))
def test_gravity_only_lowers(wall: WettedWall, conductivity: float) -> None:
    height = known(equilibrium_height_mm(wall))
    assert known(equilibrium_height_with_gravity_mm(wall, conductivity)) <= height * (1 + 1e-12)
    assert equilibrium_height_with_gravity_mm(wall, 0) == pytest.approx(height)


@given(walls)
def test_water_balance(wall: WettedWall) -> None:
    """What flows through in one residence time, thickness x content / evaporation, is what is stored."""
    out_mm_per_min = known(wall.evaporation_mm_per_min) * known(wall.evaporating_faces)
    expected = known(wall.thickness_mm) * known(wall.water_content) / out_mm_per_min / DAY
    assert residence_days(wall) == pytest.approx(expected)
    assert known(stored_water_l_per_m(wall)) == pytest.approx(
        known(daily_flow_l_per_m(wall)) * known(residence_days(wall))
    )


@given(walls)
def test_two_faces_are_one_face_with_twice_the_evaporation(wall: WettedWall) -> None:
    two = replace(wall, evaporating_faces=2)
    double = replace(wall, evaporating_faces=1, evaporation_mm_per_min=2 * known(wall.evaporation_mm_per_min))
    assert equilibrium_height_mm(two) == pytest.approx(equilibrium_height_mm(double))
    assert daily_flow_l_per_m(two) == pytest.approx(daily_flow_l_per_m(double))
    by_formula = known(wall.sorptivity_mm_per_sqrt_min) * sqrt(
        known(wall.thickness_mm) / (4 * known(wall.evaporation_mm_per_min) * known(wall.water_content))
    )
    assert equilibrium_height_mm(two) == pytest.approx(by_formula)


@pytest.mark.parametrize(("absorption", "sorptivity"), [(4.18, 0.54), (8.99, 1.16), (27.1, 3.50), (20, 2.6), (30, 3.9)])
def test_sorptivity(absorption: float, sorptivity: float) -> None:
    # Published pairs for aerated concrete, clay brick, gypsum plaster and the range of solid brick.
    assert sorptivity_mm_per_sqrt_min(absorption) == pytest.approx(sorptivity, rel=0.01)


@pytest.mark.parametrize(
    "field",
    [
        "thickness_mm",
        "sorptivity_mm_per_sqrt_min",
        "water_content",
        "evaporation_mm_per_min",
        "evaporating_faces",
    ],
)
def test_unknown_in_unknown_out(field: str) -> None:
    wall = replace(REFERENCE, **{field: None})
    assert height_mm(wall, 1.0) is None
    assert equilibrium_height_mm(wall) is None
    assert equilibrium_height_with_gravity_mm(wall, 1e-4) is None
    assert stored_water_l_per_m(wall) is None
    assert daily_flow_l_per_m(wall) is None
    assert residence_days(wall) is None


def test_unknown_times_and_materials() -> None:
    assert height_mm(REFERENCE, None) is None
    assert equilibrium_height_with_gravity_mm(REFERENCE, None) is None
    assert height_without_evaporation_mm(None, 0.2, 1) is None
    assert height_without_evaporation_mm(1, None, 1) is None
    assert height_without_evaporation_mm(1, 0.2, None) is None
    assert sorptivity_mm_per_sqrt_min(None) is None


def test_at_the_limits() -> None:
    assert equilibrium_height_mm(WettedWall(0.5, 1.0, 1.0, 0.25, 1)) == pytest.approx(1.0)
    assert height_without_evaporation_mm(0.5, 1.0, 4) == pytest.approx(1.0)
    assert sorptivity_mm_per_sqrt_min(0.5) == pytest.approx(0.0645, abs=0.0001)


def test_limits() -> None:
    with pytest.raises(
        ValueError, match=r"thickness .*; .*sorptivity .*; .*water .*; .*evaporation .*; .*1 face or 2, not 3"
    ):
        WettedWall(0, 0, 1.1, 0, 3)  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="water content"):
        height_without_evaporation_mm(1, 1.1, 1)
    with pytest.raises(ValueError, match="time"):
        height_mm(REFERENCE, -1)
    with pytest.raises(ValueError, match=r"sorptivity .*; .*water content .*; .*time"):
        height_without_evaporation_mm(0, 0, -1)
    with pytest.raises(ValueError, match="conductivity"):
        equilibrium_height_with_gravity_mm(REFERENCE, -1)
    with pytest.raises(ValueError, match="absorption"):
        sorptivity_mm_per_sqrt_min(0)
