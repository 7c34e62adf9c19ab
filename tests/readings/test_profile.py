"""Profiles of damp over height and depth, against scipy, enumeration and constructed walls."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import permutations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import kendalltau  # type: ignore[import-untyped]

from engine.readings.profile import (
    DepthDifference,
    Sample,
    chloride_peak_height_mm,
    deep_minus_surface_at_base_percent,
    deep_profile,
    depth_differences,
    excess_at_base_percent,
    excess_at_top_percent,
    falling_p_value,
    kendall_tau_b,
    largest_step,
    max_excess_percent,
    max_hmc_percent,
    mc_at_base_percent,
    mc_peak_height_mm,
    nitrate_peak_height_mm,
    number_of_heights,
    surface_profile,
    vanishing_height,
)

# A constructed wall of the rising type: MC falls with height and meets HMC near the limit of the damp, where
# the salts peak. At two heights the surface was sampled too.
RISING = (
    Sample(100, 80, 14.0, 2.0, 0.05, 0.02),
    Sample(100, 15, 11.0, 2.5),
    Sample(300, 80, 12.0, 2.5, 0.08, 0.05),
    Sample(500, 80, 9.0, 3.0, 0.12, 0.12),
    Sample(700, 80, 6.0, 4.0, 0.20, 0.25),
    Sample(700, 15, 7.0, 5.0, 0.40, 0.50),
    Sample(900, 80, 3.5, 4.5, 0.30, 0.35),
    Sample(1100, 80, 1.0, 1.0, 0.05, 0.05),
)


def series(contents: Sequence[float]) -> list[Sample]:
    return [Sample(150 * (place + 1), 80, content) for place, content in enumerate(contents)]


def excesses(values: Sequence[float | None]) -> list[Sample]:
    """Samples 200 mm apart, from 200 mm up, with these excesses over an HMC of 5 %."""
    return [
        Sample(200 * (place + 1), 80, 10.0 if value is None else 5 + value, None if value is None else 5.0)
        for place, value in enumerate(values)
    ]


contents = st.lists(st.integers(0, 30).map(float), min_size=3, max_size=12)


def test_the_deepest_and_the_shallowest_stand_for_their_height() -> None:
    assert [sample.mc_percent for sample in deep_profile(RISING)] == [14, 12, 9, 6, 3.5, 1]
    assert [sample.mc_percent for sample in surface_profile(RISING)] == [11, 12, 9, 7, 3.5, 1]
    assert number_of_heights(RISING) == 6


@given(st.permutations(RISING))
def test_the_order_of_the_samples_does_not_matter(samples: list[Sample]) -> None:
    assert deep_profile(samples) == deep_profile(RISING)
    assert surface_profile(samples) == surface_profile(RISING)
    assert depth_differences(samples) == depth_differences(RISING)


def test_rising_wall() -> None:
    assert mc_at_base_percent(RISING) == 14
    assert excess_at_base_percent(RISING) == 12
    assert excess_at_top_percent(RISING) == 0
    assert max_hmc_percent(RISING) == 4.5
    assert max_hmc_percent(surface_profile(RISING)) == 5.0
    assert max_excess_percent(RISING) == 12
    assert mc_peak_height_mm(RISING) == 100
    assert chloride_peak_height_mm(RISING) == 900
    assert nitrate_peak_height_mm(RISING) == 900
    assert nitrate_peak_height_mm(surface_profile(RISING)) == 700
    assert kendall_tau_b(RISING) == -1
    assert falling_p_value(RISING) == pytest.approx(1 / 720)


def test_vanishing_height_of_the_rising_wall() -> None:
    # Excess +2 at 700 mm and -1 at 900 mm: two thirds of the way. An error of 0.3 in each moves the crossing,
    # by hand, 200/3^2 x sqrt(2^2 + 1^2) x 0.3 = 14.9 mm.
    found = vanishing_height(RISING)
    assert found is not None
    assert found.height_mm == pytest.approx(700 + 200 * 2 / 3)
    assert found.uncertainty_mm == 100
    found = vanishing_height(RISING, 0.3)
    assert found is not None
    assert found.uncertainty_mm == pytest.approx(14.907, abs=0.001)


@pytest.mark.parametrize(
    ("values", "height_mm", "half_mm"),
    [
        ([2, 1, 0, -1], 600, 100),
        ([2, -2, 2, -2], 700, 100),  # for good: the upper crossing
        ([-1, 2, -2], 500, 100),  # the base need not be in excess
        ([4, None, -4], 400, 200),  # an unknown between widens the bracket
        ([None, 4, -4], 500, 100),  # an unknown below changes nothing
    ],
)
def test_vanishing_height(values: list[float | None], height_mm: float, half_mm: float) -> None:
    found = vanishing_height(excesses(values))
    assert found is not None
    assert found.height_mm == pytest.approx(height_mm)
    assert found.uncertainty_mm == half_mm


@pytest.mark.parametrize(
    "values",
    [
        [],
        [3],
        [-1, -2, 0],  # never in excess
        [3, 2, 1],  # never vanishes
        [-3, -1, 1],
        [3, -1, None],  # the highest is unknown
        [3, -1, None, -1],  # one above the crossing is unknown
        [None, None, None],
    ],
)
def test_no_vanishing_height(values: list[float | None]) -> None:
    assert vanishing_height(excesses(values)) is None


@given(st.lists(st.floats(-5, 5).filter(lambda value: abs(value) > 1e-6), min_size=2, max_size=10))
def test_above_the_vanishing_height_nothing_is_in_excess(values: list[float]) -> None:
    samples = excesses(values)
    found = vanishing_height(samples)
    if found is None:
        assert samples[-1].excess_percent is not None
        assert samples[-1].excess_percent > 0 or all((sample.excess_percent or 0) <= 0 for sample in samples)
    else:
        assert all((sample.excess_percent or 0) <= 0 for sample in samples if sample.height_mm > found.height_mm)
        assert any((sample.excess_percent or 0) > 0 for sample in samples if sample.height_mm <= found.height_mm)


@given(contents)
def test_tau_b_against_scipy(values: list[float]) -> None:
    tau = kendall_tau_b(series(values))
    if len(set(values)) == 1:
        assert tau is None
        assert falling_p_value(series(values)) is None
    else:
        assert tau == pytest.approx(kendalltau(range(len(values)), values).statistic)


@given(st.lists(st.integers(0, 10_000).map(lambda value: value / 100), min_size=3, max_size=20, unique=True))
def test_exact_p_value_against_scipy(values: list[float]) -> None:
    expected = kendalltau(range(len(values)), values, method="exact", alternative="less").pvalue
    assert falling_p_value(series(values)) == pytest.approx(expected, rel=1e-9)


@given(st.lists(st.integers(0, 3).map(float), min_size=3, max_size=7).filter(lambda values: len(set(values)) > 1))
def test_exact_p_value_with_equal_contents_against_enumeration(values: list[float]) -> None:
    """Every order of the same contents, counted one by one."""

    def falls(order: Sequence[float]) -> int:
        return sum(order[i] > order[j] for i in range(len(order)) for j in range(i + 1, len(order)))

    orders = list(permutations(values))
    expected = sum(falls(order) >= falls(values) for order in orders) / len(orders)
    assert falling_p_value(series(values)) == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize("kinds", [0, 12])
def test_exact_p_value_near_the_normal_approximation_for_many_heights(kinds: int) -> None:
    """With 60 heights, with equal contents and without, the approximation comes close to the exact value."""
    values = [float((37 * place) % 61 - place / 3) for place in range(60)]
    if kinds:
        values = [float(int(value) % kinds) for value in values]
    values = [value - min(values) for value in values]
    expected = kendalltau(range(60), values, method="asymptotic", alternative="less").pvalue
    assert falling_p_value(series(values)) == pytest.approx(expected, abs=0.01)


@given(contents, st.data())
def test_wetting_the_base_never_weakens_the_fall(values: list[float], data: st.DataObject) -> None:
    wetter = [values[0] + data.draw(st.integers(1, 40)), *values[1:]]
    before, after = falling_p_value(series(values)), falling_p_value(series(wetter))
    tau_before, tau_after = kendall_tau_b(series(values)), kendall_tau_b(series(wetter))
    if len(set(values)) == len(values) and len(set(wetter)) == len(wetter):
        assert before is not None
        assert after is not None
        assert tau_before is not None
        assert tau_after is not None
        assert after <= before
        assert tau_after <= tau_before


@pytest.mark.parametrize("values", [[], [5.0], [5.0, 3.0]])
def test_too_few_heights(values: list[float]) -> None:
    samples = series(values)
    assert kendall_tau_b(samples) is None
    assert falling_p_value(samples) is None
    assert largest_step(samples, "fall") is None
    assert mc_peak_height_mm(samples) is None
    assert nitrate_peak_height_mm(samples) is None


def test_steps() -> None:
    fall = largest_step(series([10, 9, 2, 1]), "fall")
    assert fall is not None
    assert (fall.lower_mm, fall.upper_mm) == (300, 450)
    assert fall.change_percent == 7
    assert fall.share_of_range == pytest.approx(7 / 9)
    rise = largest_step(series([2, 3, 11, 8]), "rise")
    assert rise is not None
    assert (rise.lower_mm, rise.upper_mm, rise.change_percent) == (300, 450, 8)
    assert rise.share_of_range == pytest.approx(8 / 9)
    lowest = largest_step(series([9, 6, 3]), "fall")
    assert lowest is not None
    assert lowest.lower_mm == 150
    small = largest_step(series([1.5, 1.2, 1.0]), "fall")
    assert small is not None
    assert small.change_percent == pytest.approx(0.3)
    assert largest_step(series([1, 2, 2, 3]), "fall") is None
    assert largest_step(series([3, 3, 3]), "rise") is None


@given(contents)
def test_a_step_is_a_part_of_the_range(values: list[float]) -> None:
    for direction in ("fall", "rise"):
        step = largest_step(series(values), direction)
        if step is not None:
            assert step.change_percent > 0
            assert 0 < step.share_of_range <= 1
            assert step.upper_mm - step.lower_mm == 150


def test_peaks() -> None:
    def nitrates(values: Sequence[float | None]) -> list[Sample]:
        return [Sample(100 * (place + 1), 80, 5, nitrate_percent=value) for place, value in enumerate(values)]

    assert nitrate_peak_height_mm(nitrates([0.1, 0.4, 0.2])) == 200
    assert nitrate_peak_height_mm(nitrates([0.1, 0.4, 0.4])) == 250
    assert nitrate_peak_height_mm(nitrates([0.4, 0.1, 0.4])) is None
    assert nitrate_peak_height_mm(nitrates([0, 0, 0])) is None
    assert nitrate_peak_height_mm(nitrates([0.1, None, 0.4, None, 0.2])) == 300
    assert nitrate_peak_height_mm(nitrates([0.1, None, 0.4, None])) is None
    assert chloride_peak_height_mm(nitrates([0.1, 0.4, 0.2])) is None
    # Where only the surface was analysed for a salt, the deeper sample does not hide it.
    shallow = [Sample(height, 15, 5, nitrate_percent=value) for height, value in ((1, 0.1), (2, 0.3), (3, 0.2))]
    assert nitrate_peak_height_mm([*shallow, Sample(1, 80, 5), Sample(2, 80, 5), Sample(3, 80, 5)]) == 2


def test_depth_differences() -> None:
    assert depth_differences(RISING) == (
        DepthDifference(100, 15, 80, 3.0),
        DepthDifference(700, 15, 80, -1.0),
    )
    assert deep_minus_surface_at_base_percent(RISING) == 3
    assert deep_minus_surface_at_base_percent(RISING[2:]) is None
    assert deep_minus_surface_at_base_percent([*RISING[:2], *RISING[5:6]]) == 3
    assert deep_minus_surface_at_base_percent(RISING[3:6]) is None
    assert depth_differences(series([5, 4, 3])) == ()


def test_unknown_in_unknown_out() -> None:
    assert mc_at_base_percent([]) is None
    for reading in (
        excess_at_base_percent,
        excess_at_top_percent,
        max_hmc_percent,
        max_excess_percent,
        deep_minus_surface_at_base_percent,
        chloride_peak_height_mm,
    ):
        assert reading([]) is None
        assert reading(series([5, 4, 3])) is None
    # One unknown HMC: the greatest may be that one.
    assert max_hmc_percent([*RISING, Sample(1300, 80, 1.0)]) is None
    assert max_excess_percent([*RISING, Sample(1300, 80, 1.0)]) is None
    assert number_of_heights([]) == 0


def test_a_dry_sample_at_the_face_is_possible() -> None:
    assert Sample(-50, 0, 0, 0, 0, 0).excess_percent == 0


def test_impossible_samples() -> None:
    with pytest.raises(ValueError, match=r"depth .*; .*MC .*; .*HMC .*; .*chloride .*; .*nitrate"):
        Sample(100, -1, -1, -1, -1, -1)
    with pytest.raises(ValueError, match="height"):
        Sample(float("inf"), 1, 1)
    with pytest.raises(ValueError, match=r"height 100 mm, depth 80 mm; .*height 300 mm, depth 80 mm"):
        deep_profile([*RISING, Sample(300, 80, 1), Sample(100, 80, 1)])
    with pytest.raises(ValueError, match="uncertainty"):
        vanishing_height(RISING, -0.1)
