"""The readings computed from drilled samples and cores."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from engine.facts.wall_evidence import MoistureSample
from engine.readings import moisture, profile
from engine.readings.given import Given, Read
from engine.readings.moisture import Masses, to_wet_basis

Got = Mapping[str, Any] | Given
"""The known facts, by themselves or with what else the readings are given."""


def samples_of(given: Got) -> tuple[profile.Sample, ...]:
    """The samples on wet basis: weighed ones computed, others as written while the basis is unknown."""
    if isinstance(given, Given):
        if "samples" not in given.kept:
            given.kept["samples"] = _samples_of(given)
        kept: tuple[profile.Sample, ...] = given.kept["samples"]
        return kept
    return _samples_of(given)


def _samples_of(given: Got) -> tuple[profile.Sample, ...]:
    as_wet = to_wet_basis if given.get("moisture.basis") == "dry" else lambda percent: percent
    found = []
    for row in _rows(given):
        masses = _masses(row, given)
        mc = moisture.mc_percent(masses, "wet") if row.weighed else as_wet(row.mc_percent)
        hmc = moisture.hmc_percent(masses, "wet") if row.weighed else as_wet(row.hmc_percent)
        assert mc is not None  # the form asks for one or the other
        found.append(profile.Sample(row.height_mm, row.depth_mm, mc, hmc, row.chloride_percent, row.nitrate_percent))
    return tuple(found)


def _rows(given: Got) -> tuple[MoistureSample, ...]:
    return given.get("moisture.samples") or ()


def _deep_rows(given: Given) -> list[MoistureSample]:
    """The deepest sample of each height as it was written, from the lowest height up."""
    deepest: dict[int, MoistureSample] = {}
    for row in sorted(_rows(given), key=lambda row: (row.height_mm, row.depth_mm)):
        deepest[row.height_mm] = row
    return list(deepest.values())


def _masses(row: MoistureSample, given: Got) -> Masses:
    return Masses(row.dish_g, row.wet_g, row.conditioned_g, row.dry_g, given.get("moisture.balance_resolution_g"))


def _basis_is_certain(given: Given) -> bool:
    """Whether the percentages are known to be of the wet or of the dry mass; a carbide meter's are of the wet."""
    method, basis = given.get("moisture.method"), given.get("moisture.basis")
    return basis is not None or method == "carbide" or all(row.weighed for row in _rows(given))


def _of(function: Callable[[tuple[profile.Sample, ...]], float | None]) -> Read:
    """A reading of the contents, unknown while their basis is: it would change once the basis is found out."""

    def read(given: Given) -> float | None:
        samples = samples_of(given)
        return function(samples) if samples and _basis_is_certain(given) else None

    return read


def _of_places(function: Callable[[tuple[profile.Sample, ...]], float]) -> Read:
    """A reading of where the samples were taken, whatever they hold."""

    def read(given: Given) -> float | None:
        samples = samples_of(given)
        return function(samples) if samples else None

    return read


def _depths_at_base(samples: tuple[profile.Sample, ...]) -> float:
    lowest = min(sample.height_mm for sample in samples)
    return float(sum(sample.height_mm == lowest for sample in samples))


def _height_span_mm(samples: tuple[profile.Sample, ...]) -> float:
    heights = [sample.height_mm for sample in samples]
    return max(heights) - min(heights)


def _base_weighed(given: Given) -> bool | None:
    rows = _deep_rows(given)
    return rows[0].weighed if rows else None


def _peak_above_base_mm(samples: tuple[profile.Sample, ...]) -> float | None:
    peak = profile.mc_peak_height_mm(samples)
    return None if peak is None else peak - min(sample.height_mm for sample in samples)


def _expanded(row: MoistureSample, given: Given) -> float | None:
    """The expanded uncertainty of a sample's excess, percentage points, wet basis."""
    return moisture.expanded(moisture.excess_standard_uncertainty(_masses(row, given), "wet"))


def _base_uncertainty_percent(given: Given) -> float | None:
    rows = _deep_rows(given)
    return _expanded(rows[0], given) if rows else None


def _base_excess_clear(given: Given) -> bool | None:
    return moisture.differs(profile.excess_at_base_percent(samples_of(given)), _base_uncertainty_percent(given))


def _vanishes_mm(samples: tuple[profile.Sample, ...]) -> float | None:
    found = profile.vanishing_height(samples)
    return None if found is None else found.height_mm


def _vanishes_uncertainty_mm(given: Given) -> float | None:
    rows = _deep_rows(given)
    greatest: float | None = None
    if rows and all(row.weighed for row in rows):
        if given.get("moisture.balance_resolution_g") is None:
            return None
        each = [_expanded(row, given) for row in rows]
        greatest = max((one for one in each if one is not None), default=None)
    found = profile.vanishing_height(samples_of(given), greatest)
    return None if found is None else found.uncertainty_mm


def _fall_share_percent(samples: tuple[profile.Sample, ...]) -> float | None:
    step = profile.largest_step(samples, "fall")
    return None if step is None else 100 * step.share_of_range


def _fall_at_mm(samples: tuple[profile.Sample, ...]) -> float | None:
    step = profile.largest_step(samples, "fall")
    return None if step is None else step.upper_mm


def _saturation_percent(given: Given) -> float | None:
    measured: float | None = given.get("moisture.saturation_percent")
    if measured is not None:
        return measured
    return moisture.saturation_percent(
        given.get("moisture.core_moisture_percent"), given.get("moisture.core_saturated_percent")
    )


OF_SAMPLES: Mapping[str, Read] = {
    "reading.sample_heights": _of_places(lambda samples: float(profile.number_of_heights(samples))),
    "reading.depths_at_base": _of_places(_depths_at_base),
    "reading.greatest_depth_mm": _of_places(lambda samples: max(sample.depth_mm for sample in samples)),
    "reading.height_span_mm": _of_places(_height_span_mm),
    "reading.base_weighed": _base_weighed,
    "reading.base_mc_percent": _of(profile.mc_at_base_percent),
    "reading.base_excess_percent": _of(profile.excess_at_base_percent),
    "reading.top_excess_percent": _of(profile.excess_at_top_percent),
    "reading.greatest_excess_percent": _of(profile.max_excess_percent),
    "reading.greatest_hmc_percent": _of(profile.max_hmc_percent),
    "reading.mc_height_tau": _of(profile.kendall_tau_b),
    "reading.mc_peak_above_base_mm": _of(_peak_above_base_mm),
    "reading.deep_less_surface_percent": _of(profile.deep_minus_surface_at_base_percent),
    "reading.base_excess_uncertainty_percent": _base_uncertainty_percent,
    "reading.base_excess_clear": _base_excess_clear,
    "reading.mc_fall_p_value": _of(profile.falling_p_value),
    "reading.excess_vanishes_mm": _of(_vanishes_mm),
    "reading.excess_vanishes_uncertainty_mm": _vanishes_uncertainty_mm,
    "reading.largest_fall_share_percent": _of(_fall_share_percent),
    "reading.largest_fall_at_mm": _of(_fall_at_mm),
    "reading.nitrate_peak_mm": _of(profile.nitrate_peak_height_mm),
    "reading.chloride_peak_mm": _of(profile.chloride_peak_height_mm),
    "reading.saturation_percent": _saturation_percent,
}
"""Each reading with its function."""
