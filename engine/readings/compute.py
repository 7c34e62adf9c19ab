"""Computes every reading a rule may ask for from the facts of one wall. Unknown in, unknown out."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from engine.facts.values import NOT_APPLICABLE_VALUE, UNKNOWN_VALUE, State, Value
from engine.facts.vocabulary import Variable
from engine.facts.wall_evidence import MoistureSample
from engine.readings import condensation, profile
from engine.readings.moisture import Masses, hmc_percent, mc_percent, to_wet_basis
from engine.readings.vocabulary import READINGS

Got = Mapping[str, Any]


def compute_readings(values: Mapping[str, Value], survey_year: int) -> dict[str, Value]:
    """The readings of one wall: known, unknown while what they need is, not applicable where that is."""
    got = {name: value.value for name, value in values.items() if value.known}
    got["survey_year"] = survey_year
    return {name: _value(variable, values, got) for name, variable in READINGS.items()}


def _value(variable: Variable, values: Mapping[str, Value], got: Got) -> Value:
    if any(values[name].state is State.NOT_APPLICABLE for name in variable.from_facts):
        return NOT_APPLICABLE_VALUE
    number = _FUNCTIONS[variable.name](got)
    if number is None:
        return UNKNOWN_VALUE
    step = variable.step or 1
    rounded = round(round(number / step) * step, 6)
    assert variable.ge is not None
    assert variable.le is not None
    kept = min(max(rounded, variable.ge), variable.le)
    where = next((values[name].where for name in variable.from_facts if values[name].where), "")
    return Value(State.KNOWN, int(kept) if variable.whole else kept, "computed", variable.how, where)


def _samples(got: Got) -> tuple[profile.Sample, ...]:
    """The samples on wet basis: weighed ones computed, others as written while the basis is unknown."""
    as_wet = to_wet_basis if got.get("moisture.basis") == "dry" else lambda percent: percent
    found = []
    for row in got.get("moisture.samples", ()):
        masses = masses_of(row, got)
        mc = mc_percent(masses, "wet") if row.weighed else as_wet(row.mc_percent)
        hmc = hmc_percent(masses, "wet") if row.weighed else as_wet(row.hmc_percent)
        assert mc is not None  # the form asks for one or the other
        found.append(profile.Sample(row.height_mm, row.depth_mm, mc, hmc, row.chloride_percent, row.nitrate_percent))
    return tuple(found)


def masses_of(row: MoistureSample, got: Got) -> Masses:
    """The weighings of a sample."""
    resolution = got.get("moisture.balance_resolution_g")
    return Masses(row.dish_g, row.wet_g, row.conditioned_g, row.dry_g, resolution)


def _of_samples(
    function: Callable[[tuple[profile.Sample, ...]], float | None],
) -> Callable[[Got], float | None]:
    def read(got: Got) -> float | None:
        samples = _samples(got)
        return function(samples) if samples else None

    return read


def _base_mc_percent(got: Got) -> float | None:
    samples = _samples(got)
    certain = "moisture.basis" in got or all(row.weighed for row in got.get("moisture.samples", ()))
    return profile.mc_at_base_percent(samples) if samples and certain else None


def _depths_at_base(samples: tuple[profile.Sample, ...]) -> float:
    lowest = min(sample.height_mm for sample in samples)
    return float(sum(sample.height_mm == lowest for sample in samples))


def _peak_above_base_mm(samples: tuple[profile.Sample, ...]) -> float | None:
    peak = profile.mc_peak_height_mm(samples)
    return None if peak is None else peak - min(sample.height_mm for sample in samples)


def _air(got: Got) -> tuple[float | None, float | None]:
    return got.get("climate.air_temperature_c"), got.get("climate.air_rh_percent")


def _surface(got: Got) -> tuple[float | None, float | None, float | None]:
    return (*_air(got), got.get("climate.surface_temperature_c"))


def _highest_ground_mm(got: Got) -> float | None:
    points = got.get("ground.profile")
    highest = max(point.level_mm for point in points) if points else got.get("ground.level_mm")
    return None if highest is None else float(highest)


def _ground_fall_mm(got: Got) -> float | None:
    levels = [point.level_mm for point in got.get("ground.profile", ())]
    fall = max(levels) - min(levels) if levels else got.get("ground.fall_along_mm")
    return None if fall is None else float(fall)


def _treatment_age_years(got: Got) -> float | None:
    year = got.get("earlier_treatment.year")
    return None if year is None else float(got["survey_year"] - year)


_FUNCTIONS: Mapping[str, Callable[[Got], float | None]] = {
    "reading.sample_heights": _of_samples(lambda samples: float(profile.number_of_heights(samples))),
    "reading.depths_at_base": _of_samples(_depths_at_base),
    "reading.base_mc_percent": _base_mc_percent,
    "reading.base_excess_percent": _of_samples(profile.excess_at_base_percent),
    "reading.top_excess_percent": _of_samples(profile.excess_at_top_percent),
    "reading.greatest_excess_percent": _of_samples(profile.max_excess_percent),
    "reading.greatest_hmc_percent": _of_samples(profile.max_hmc_percent),
    "reading.mc_height_tau": _of_samples(profile.kendall_tau_b),
    "reading.mc_peak_above_base_mm": _of_samples(_peak_above_base_mm),
    "reading.deep_less_surface_percent": _of_samples(profile.deep_minus_surface_at_base_percent),
    "reading.dew_point_c": lambda got: condensation.dew_point_c(*_air(got)),
    "reading.surface_above_dew_point_k": lambda got: condensation.dew_margin_k(*_surface(got)),
    "reading.surface_rh_percent": lambda got: condensation.surface_rh_percent(*_surface(got)),
    "reading.highest_ground_mm": _highest_ground_mm,
    "reading.ground_fall_mm": _ground_fall_mm,
    "reading.treatment_age_years": _treatment_age_years,
}
