"""Moisture content by weighing: what a drilled sample held, what it takes up from the air, and the excess.

Three weighings of one sample in its dish: as taken (wet), after conditioning in air of a set relative
humidity, and oven-dry. The moisture content (MC) is all the water it held; the hygroscopic moisture content
(HMC) is what its salts and pores draw from the air; the excess, MC - HMC, is the water that only a liquid
source explains.

Sources: wet basis, BRE Digest 245 (formula from memory); dry basis, BS EN ISO 12570 (formula from memory).
The two bases give different figures for one sample, so the basis is always named and two figures are
compared on one basis only.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt
from typing import Literal

from engine.readings.limits import outside, refuse

Basis = Literal["wet", "dry"]
"""What the water is a percentage of: the moist sample (wet) or the dry sample (dry)."""

COVERAGE_FACTOR = 2.0
"""From standard to expanded uncertainty, for about 95 % cover (JCGM 100:2008, from memory)."""


@dataclass(frozen=True, slots=True)
class Masses:
    """The weighings of one sample, each with its dish, in grams; `None` where one was not made.

    `resolution_g` is the smallest step the balance shows. A tared balance has a dish of 0 g.
    Raises `ValueError` with every problem that `mass_problems` finds.
    """

    dish_g: float | None
    wet_g: float | None
    conditioned_g: float | None
    dry_g: float | None
    resolution_g: float | None = None

    def __post_init__(self) -> None:
        refuse(*mass_problems(self.dish_g, self.wet_g, self.conditioned_g, self.dry_g, self.resolution_g))


def mass_problems(
    dish_g: float | None,
    wet_g: float | None,
    conditioned_g: float | None,
    dry_g: float | None,
    resolution_g: float | None = None,
) -> tuple[str, ...]:
    """Say, in plain sentences, all that is impossible in a set of weighings (grams); empty when nothing is.

    Nothing weighs less than its oven-dry self, a sample weighs something, and no less than the balance can
    show. Only weighings that were made, and can be, are compared.
    """
    problems: list[str] = []

    def usable(problem: str | None, value: float | None) -> float | None:
        if problem is None:
            return value
        problems.append(problem)
        return None

    dish_g = usable(outside("the dish (g)", dish_g, at_least=0), dish_g)
    resolution_g = usable(outside("the balance resolution (g)", resolution_g, above=0), resolution_g)
    weighed = {
        name: usable(outside(f"the {name} sample with its dish (g)", mass_g, above=0), mass_g)
        for name, mass_g in (("wet", wet_g), ("conditioned", conditioned_g), ("dry", dry_g))
    }
    dry_g = weighed["dry"]
    for name, mass_g in weighed.items():
        if mass_g is None:
            continue
        if dry_g is not None and mass_g < dry_g:
            problems.append(f"the {name} sample ({mass_g} g) weighs less than the dry sample ({dry_g} g)")
        if dish_g is None:
            continue
        if mass_g <= dish_g:
            problems.append(f"the {name} sample with its dish ({mass_g} g) weighs no more than the dish ({dish_g} g)")
        elif resolution_g is not None and mass_g < dish_g + resolution_g:
            problems.append(
                f"the {name} sample without its dish ({mass_g - dish_g:g} g) weighs less than the balance "
                f"can show ({resolution_g} g)"
            )
    return tuple(problems)


def mc_percent(masses: Masses, basis: Basis) -> float | None:
    """Give the moisture content, % by mass on the basis named; `None` without the dish, wet or dry weighing.

    Wet: 100 (wet - dry) / (wet - dish), BRE Digest 245 (from memory). Dry: 100 (wet - dry) / (dry - dish),
    BS EN ISO 12570 (from memory).
    """
    return _content_percent(masses.dish_g, masses.wet_g, masses.dry_g, basis)


def hmc_percent(masses: Masses, basis: Basis) -> float | None:
    """Give the hygroscopic moisture content, % by mass; `None` without the dish, conditioned or dry weighing.

    As `mc_percent` with the conditioned mass for the wet one. The figure belongs to the relative humidity
    of the conditioning (75 % in UK practice, 93 to 96 % elsewhere); figures from different humidities do
    not compare.
    """
    return _content_percent(masses.dish_g, masses.conditioned_g, masses.dry_g, basis)


def excess_percent(masses: Masses, basis: Basis) -> float | None:
    """Give MC - HMC in percentage points on the basis named; `None` when either is unknown.

    Zero or below: no liquid source is needed to explain the reading. An excess cannot be converted from one
    basis to the other; take it anew from the masses.
    """
    return excess_of_contents(mc_percent(masses, basis), hmc_percent(masses, basis))


def excess_of_contents(mc_percent: float | None, hmc_percent: float | None) -> float | None:
    """Give MC - HMC in percentage points from two contents (%) on the same basis.

    `None` when either is unknown. Raises `ValueError` for a content below zero.
    """
    refuse(outside("the MC (%)", mc_percent, at_least=0), outside("the HMC (%)", hmc_percent, at_least=0))
    if mc_percent is None or hmc_percent is None:
        return None
    return mc_percent - hmc_percent


def mc_standard_uncertainty(masses: Masses, basis: Basis) -> float | None:
    """Give the standard uncertainty of the MC, percentage points, from the balance's resolution alone.

    Each weighing is rounded on its own, with standard uncertainty resolution / sqrt(12) (JCGM 100:2008,
    from memory; rectangular distribution), carried to first order. What sampling and drying add is not in
    it. `None` when a weighing or the resolution is unknown.
    """
    if masses.dish_g is None or masses.wet_g is None or masses.dry_g is None:
        return None
    return _propagated(masses.resolution_g, *_slopes(masses.dish_g, masses.wet_g, masses.dry_g, basis))


def hmc_standard_uncertainty(masses: Masses, basis: Basis) -> float | None:
    """Give the standard uncertainty of the HMC, percentage points; as `mc_standard_uncertainty`."""
    if masses.dish_g is None or masses.conditioned_g is None or masses.dry_g is None:
        return None
    return _propagated(masses.resolution_g, *_slopes(masses.dish_g, masses.conditioned_g, masses.dry_g, basis))


def excess_standard_uncertainty(masses: Masses, basis: Basis) -> float | None:
    """Give the standard uncertainty of the excess, percentage points; as `mc_standard_uncertainty`.

    MC and HMC share the dish and the dry weighing, so their errors partly cancel; that is taken into account.
    """
    if masses.dish_g is None or masses.wet_g is None or masses.conditioned_g is None or masses.dry_g is None:
        return None
    mc_dish, mc_moist, mc_dry = _slopes(masses.dish_g, masses.wet_g, masses.dry_g, basis)
    hmc_dish, hmc_moist, hmc_dry = _slopes(masses.dish_g, masses.conditioned_g, masses.dry_g, basis)
    return _propagated(masses.resolution_g, mc_dish - hmc_dish, mc_moist, hmc_moist, mc_dry - hmc_dry)


def expanded(standard_uncertainty: float | None) -> float | None:
    """Widen a standard uncertainty to the expanded one, coverage factor 2; `None` when unknown.

    Raises `ValueError` below zero.
    """
    refuse(outside("the standard uncertainty", standard_uncertainty, at_least=0))
    return None if standard_uncertainty is None else COVERAGE_FACTOR * standard_uncertainty


def differs(excess_percent: float | None, expanded_uncertainty: float | None) -> bool | None:
    """Tell whether an excess, of either sign, is further from zero than its expanded uncertainty.

    Both in percentage points. `None` when either is unknown. Raises `ValueError` for an uncertainty below
    zero.
    """
    refuse(
        outside("the excess (percentage points)", excess_percent),
        outside("the expanded uncertainty (percentage points)", expanded_uncertainty, at_least=0),
    )
    if excess_percent is None or expanded_uncertainty is None:
        return None
    return abs(excess_percent) > expanded_uncertainty


def to_dry_basis(wet_percent: float | None) -> float | None:
    """Convert a content from % of the moist mass to % of the dry mass: 100 w / (100 - w).

    `None` when unknown. Limits: 0 to below 100; `ValueError` outside. Follows from the two definitions.
    """
    refuse(outside("the moisture content, wet basis (%)", wet_percent, at_least=0, below=100))
    return None if wet_percent is None else 100 * wet_percent / (100 - wet_percent)


def to_wet_basis(dry_percent: float | None) -> float | None:
    """Convert a content from % of the dry mass to % of the moist mass: 100 u / (100 + u).

    `None` when unknown. Limits: 0 or above; `ValueError` below. Follows from the two definitions.
    """
    refuse(outside("the moisture content, dry basis (%)", dry_percent, at_least=0))
    return None if dry_percent is None else 100 * dry_percent / (100 + dry_percent)


def saturation_percent(u_percent: float | None, u_max_percent: float | None) -> float | None:
    """Give the degree of saturation, %: 100 u / u_max, both contents on the dry basis.

    `None` when either is unknown. `u_max_percent` is the content after immersion or capillary saturation. A
    wall can hold more than capillary saturation, so figures above 100 are passed on. Raises `ValueError`
    for a content below zero or a `u_max` of zero. Source: the degree of moisture penetration of the WTA
    recommendations, as a German expert's page defines it.
    """
    refuse(
        outside("the moisture content, dry basis (%)", u_percent, at_least=0),
        outside("the saturation moisture content, dry basis (%)", u_max_percent, above=0),
    )
    if u_percent is None or u_max_percent is None:
        return None
    return 100 * u_percent / u_max_percent


def _content_percent(dish_g: float | None, moist_g: float | None, dry_g: float | None, basis: Basis) -> float | None:
    if dish_g is None or moist_g is None or dry_g is None:
        return None
    return 100 * (moist_g - dry_g) / ((moist_g if basis == "wet" else dry_g) - dish_g)


def _slopes(dish_g: float, moist_g: float, dry_g: float, basis: Basis) -> tuple[float, float, float]:
    """How the content (%) changes with the dish, the moist and the dry weighing, each per gram."""
    water_g, dry_sample_g, moist_sample_g = moist_g - dry_g, dry_g - dish_g, moist_g - dish_g
    if basis == "wet":
        return (
            100 * water_g / moist_sample_g**2,
            100 * dry_sample_g / moist_sample_g**2,
            -100 / moist_sample_g,
        )
    return 100 * water_g / dry_sample_g**2, 100 / dry_sample_g, -100 * moist_sample_g / dry_sample_g**2


def _propagated(resolution_g: float | None, *slopes: float) -> float | None:
    if resolution_g is None:
        return None
    return resolution_g / sqrt(12) * sqrt(sum(slope * slope for slope in slopes))
