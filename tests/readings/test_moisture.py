"""Moisture content by weighing, against constructed laboratory sheets, simulation and the definitions."""

from __future__ import annotations

import random
import re
from math import nan, sqrt
from statistics import stdev

import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.readings.moisture import (
    Basis,
    Masses,
    differs,
    excess_of_contents,
    excess_percent,
    excess_standard_uncertainty,
    expanded,
    hmc_percent,
    hmc_standard_uncertainty,
    mass_problems,
    mc_percent,
    mc_standard_uncertainty,
    saturation_percent,
    to_dry_basis,
    to_wet_basis,
)

# Both sheets are constructed, not taken from a laboratory; their figures follow from the definitions.
RISING = Masses(10.000, 12.200, 12.060, 12.000, 0.001)
HYGROSCOPIC = Masses(10.000, 12.070, 12.160, 12.000, 0.001)


@st.composite
def weighings(draw: st.DrawFn) -> Masses:
    """A set of weighings that could have been made, with a balance that shows milligrams."""
    dish = draw(st.floats(0, 100))
    dry = dish + draw(st.floats(0.5, 50))
    wet = dry + draw(st.floats(0, 30))
    conditioned = dry + draw(st.floats(0, 30))
    return Masses(dish, wet, conditioned, dry, 0.001)


bases = st.sampled_from(["wet", "dry"])


def test_constructed_sheet_of_a_rising_type() -> None:
    assert mc_percent(RISING, "wet") == pytest.approx(9.09, abs=0.005)
    assert hmc_percent(RISING, "wet") == pytest.approx(2.91, abs=0.005)
    assert mc_percent(RISING, "dry") == pytest.approx(10.00, abs=0.005)
    assert excess_percent(RISING, "wet") == pytest.approx(6.18, abs=0.005)


def test_constructed_sheet_of_a_hygroscopic_type() -> None:
    assert mc_percent(HYGROSCOPIC, "wet") == pytest.approx(3.38, abs=0.005)
    assert hmc_percent(HYGROSCOPIC, "wet") == pytest.approx(7.41, abs=0.005)
    assert excess_percent(HYGROSCOPIC, "wet") == pytest.approx(-4.03, abs=0.005)


@pytest.mark.parametrize(("wet", "dry"), [(5, 5.26), (10, 11.11), (15, 17.65), (20, 25.0)])
def test_conversion_of_basis(wet: float, dry: float) -> None:
    # Computed by hand from the two definitions.
    assert to_dry_basis(wet) == pytest.approx(dry, abs=0.005)


@given(st.floats(0, 99))
def test_conversion_of_basis_there_and_back(wet: float) -> None:
    assert to_wet_basis(to_dry_basis(wet)) == pytest.approx(wet, abs=1e-9)


@given(weighings())
def test_the_bases_describe_one_sample(masses: Masses) -> None:
    assert to_dry_basis(mc_percent(masses, "wet")) == pytest.approx(mc_percent(masses, "dry"), rel=1e-9, abs=1e-9)
    assert to_dry_basis(hmc_percent(masses, "wet")) == pytest.approx(hmc_percent(masses, "dry"), rel=1e-9, abs=1e-9)


@given(weighings())
def test_mass_balance(masses: Masses) -> None:
    """Water and dry matter together are the moist sample again."""
    assert masses.dish_g is not None
    assert masses.wet_g is not None
    assert masses.dry_g is not None
    content = mc_percent(masses, "wet")
    assert content is not None
    moist_g = masses.wet_g - masses.dish_g
    water_g = content / 100 * moist_g
    assert water_g + (masses.dry_g - masses.dish_g) == pytest.approx(moist_g, rel=1e-12)
    assert 0 <= content < 100


@given(weighings(), st.floats(0.01, 10), bases)
def test_a_wetter_sample_reads_wetter(masses: Masses, more_g: float, basis: Basis) -> None:
    assert masses.wet_g is not None
    wetter = Masses(masses.dish_g, masses.wet_g + more_g, masses.conditioned_g, masses.dry_g, 0.001)
    before, after = mc_percent(masses, basis), mc_percent(wetter, basis)
    assert before is not None
    assert after is not None
    assert after > before


@given(weighings(), bases)
def test_the_excess_has_the_sign_of_wet_less_conditioned(masses: Masses, basis: Basis) -> None:
    assert masses.wet_g is not None
    assert masses.conditioned_g is not None
    excess = excess_percent(masses, basis)
    assert excess is not None
    if masses.wet_g >= masses.conditioned_g:
        assert excess >= 0
    else:
        assert excess <= 0


@pytest.mark.parametrize("basis", ["wet", "dry"])
@pytest.mark.parametrize("sheet", [RISING, HYGROSCOPIC])
def test_uncertainty_against_simulated_rounding(sheet: Masses, basis: Basis) -> None:
    """Weigh the same sample many times with errors as even as rounding makes them, and look at the spread."""
    rng = random.Random(20240101)
    resolution_g = 0.01

    def weighed(mass_g: float | None) -> float:
        assert mass_g is not None
        return mass_g + rng.uniform(-resolution_g / 2, resolution_g / 2)

    many = [
        Masses(
            weighed(sheet.dish_g),
            weighed(sheet.wet_g),
            weighed(sheet.conditioned_g),
            weighed(sheet.dry_g),
            resolution_g,
        )
        for _ in range(20_000)
    ]
    exact = Masses(sheet.dish_g, sheet.wet_g, sheet.conditioned_g, sheet.dry_g, resolution_g)
    for value, uncertainty in (
        (mc_percent, mc_standard_uncertainty),
        (hmc_percent, hmc_standard_uncertainty),
        (excess_percent, excess_standard_uncertainty),
    ):
        spread = stdev([found for masses in many if (found := value(masses, basis)) is not None])
        assert uncertainty(exact, basis) == pytest.approx(spread, rel=0.03)


@given(weighings(), bases)
def test_uncertainty_against_finite_differences(masses: Masses, basis: Basis) -> None:
    """Nudge one weighing after the other, and add up the squares of what each does to the reading."""
    # A little water in both, so that no nudge makes the sample lighter than its dry self.
    weighed = [masses.dish_g, masses.wet_g, masses.conditioned_g, masses.dry_g]
    dish, wet, conditioned, dry = (mass for mass in weighed if mass is not None)
    start = [dish + 0.1, wet + 0.2, conditioned + 0.2, dry + 0.1]
    for value, uncertainty in (
        (mc_percent, mc_standard_uncertainty),
        (hmc_percent, hmc_standard_uncertainty),
        (excess_percent, excess_standard_uncertainty),
    ):
        squares = 0.0
        for place in range(4):
            ends = []
            for nudge in (-1e-4, 1e-4):
                nudged = [mass + nudge * (place == other) for other, mass in enumerate(start)]
                ends.append(value(Masses(nudged[0], nudged[1], nudged[2], nudged[3]), basis))
            low, high = ends
            assert low is not None
            assert high is not None
            squares += ((high - low) / 2e-4) ** 2
        found = uncertainty(Masses(start[0], start[1], start[2], start[3], 0.001), basis)
        assert found == pytest.approx(0.001 * sqrt(squares / 12), rel=1e-4)


def test_uncertainty_by_hand() -> None:
    """Of 2 g that hold no water, on either basis each of two weighings counts 100/2 per gram."""
    dry = Masses(10, 12, 12, 12, 0.01)
    by_hand = 0.01 / sqrt(12) * 50 * sqrt(2)
    assert mc_standard_uncertainty(dry, "wet") == pytest.approx(by_hand)
    assert mc_standard_uncertainty(dry, "dry") == pytest.approx(by_hand)
    assert expanded(mc_standard_uncertainty(dry, "dry")) == pytest.approx(2 * by_hand)


@given(weighings(), st.floats(0.001, 0.1), bases)
def test_a_coarser_balance_is_less_sure(masses: Masses, resolution_g: float, basis: Basis) -> None:
    def coarser(factor: float) -> float:
        result = excess_standard_uncertainty(
            Masses(masses.dish_g, masses.wet_g, masses.conditioned_g, masses.dry_g, resolution_g * factor),
            basis,
        )
        assert result is not None
        return result

    assert coarser(2) == pytest.approx(2 * coarser(1))


def test_differs() -> None:
    assert differs(6.18, 0.5) is True
    assert differs(-4.03, 0.5) is True
    assert differs(0.5, 0.5) is False
    assert differs(-0.1, 0.5) is False


def test_saturation() -> None:
    assert saturation_percent(12, 20) == pytest.approx(60)
    assert saturation_percent(22, 20) == pytest.approx(110)
    assert saturation_percent(0, 20) == 0


@pytest.mark.parametrize("missing", range(5))
def test_unknown_in_unknown_out(missing: int) -> None:
    values: list[float | None] = [10.0, 12.2, 12.06, 12.0, 0.001]
    values[missing] = None
    masses = Masses(*values)
    needs = {
        mc_percent: {0, 1, 3},
        hmc_percent: {0, 2, 3},
        excess_percent: {0, 1, 2, 3},
        mc_standard_uncertainty: {0, 1, 3, 4},
        hmc_standard_uncertainty: {0, 2, 3, 4},
        excess_standard_uncertainty: {0, 1, 2, 3, 4},
    }
    for reading, needed in needs.items():
        for basis in ("wet", "dry"):
            assert (reading(masses, basis) is None) == (missing in needed)


def test_unknown_contents() -> None:
    assert excess_of_contents(None, 2.0) is None
    assert excess_of_contents(2.0, None) is None
    assert expanded(None) is None
    assert differs(None, 0.1) is None
    assert differs(0.1, None) is None
    assert to_dry_basis(None) is None
    assert to_wet_basis(None) is None
    assert saturation_percent(None, 20) is None
    assert saturation_percent(10, None) is None


@pytest.mark.parametrize(
    ("masses", "words"),
    [
        ((10, 11.9, 12.1, 12, None), "the wet sample (11.9 g) weighs less than the dry sample"),
        ((10, 12.1, 11.9, 12, None), "the conditioned sample (11.9 g) weighs less than the dry sample"),
        ((12, 12.1, 12.1, 12, None), "the dry sample with its dish (12 g) weighs no more than the dish"),
        ((12, 11, 12.1, 12.1, None), "the wet sample with its dish (11 g) weighs no more than the dish"),
        (
            (10, 10.2, 10.2, 10.04, 0.05),
            "the dry sample without its dish (0.04 g) weighs less than the balance can show (0.05 g)",
        ),
        ((-1, 12.1, 12.1, 12, None), "the dish (g) must be at least 0"),
        ((10, nan, 12.1, 12, None), "the wet sample with its dish (g) must be a finite number"),
        ((10, 12.1, 12.1, 12, 0), "the balance resolution (g) must be above 0"),
    ],
)
def test_impossible_weighings(masses: tuple[float, float, float, float, float | None], words: str) -> None:
    with pytest.raises(ValueError, match=re.escape(words)):
        Masses(*masses)


def test_every_impossible_weighing_is_reported() -> None:
    assert mass_problems(10, 12.2, 12.06, 12) == ()
    assert len(mass_problems(10, 11.5, 11.6, 12)) == 2
    assert len(mass_problems(-1, nan, 11, 12, 0)) == 4  # dish, wet, resolution; conditioned against dry
    with pytest.raises(ValueError, match=r"the wet sample .*; the conditioned sample "):
        Masses(10, 11.5, 11.6, 12)


def test_a_sample_of_one_step_of_the_balance_is_weighed() -> None:
    assert mass_problems(10.0, 10.01, 10.01, 10.01, 0.01) == ()


@pytest.mark.parametrize("wet", [-1, 100, 101])
def test_wet_basis_limits(wet: float) -> None:
    with pytest.raises(ValueError, match="wet basis"):
        to_dry_basis(wet)


def test_other_limits() -> None:
    with pytest.raises(ValueError, match="dry basis"):
        to_wet_basis(-1)
    with pytest.raises(ValueError, match="must be above 0"):
        saturation_percent(5, 0)
    with pytest.raises(ValueError, match=r"MC .*; .*HMC"):
        excess_of_contents(-1, -1)
    with pytest.raises(ValueError, match="uncertainty"):
        differs(1, -1)
    with pytest.raises(ValueError, match="uncertainty"):
        expanded(-1)
