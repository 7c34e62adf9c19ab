"""The readings as single calculations: a name, what each needs, where its formula comes from, and its limits."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Literal

from engine.readings import condensation, moisture, salts, vibration
from engine.readings.drying import DAYS_PER_MONTH
from engine.readings.figures import Range, ReadingFigures
from engine.readings.ranges import drying_times, rise_range_mm, salt_class, sorptivity_range
from engine.readings.ventilation import required_vent_area_mm2


@dataclass(frozen=True, slots=True)
class Parameter:
    """One value a calculation takes: a number in a unit, or one of some `words`."""

    name: str
    unit: str
    says: str
    needed: bool = True
    words: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Result:
    """One value a calculation gives; `source` where it is another than the formula's."""

    name: str
    value: float | str | bool
    unit: str = ""
    source: str = ""


@dataclass(frozen=True, slots=True)
class Arguments:
    """What was given, checked for name and kind: numbers, and words."""

    numbers: Mapping[str, float]
    words: Mapping[str, str]

    def need(self, name: str) -> float:
        """A number that was checked to be there."""
        return self.numbers[name]

    def get(self, name: str) -> float | None:
        """A number, or `None`."""
        return self.numbers.get(name)


Run = Callable[[Arguments, ReadingFigures], tuple[Result, ...]]


@dataclass(frozen=True, slots=True)
class Calculation:
    """One calculation. `run` raises `ValueError`, with every problem, for values outside its limits."""

    name: str
    title: str
    parameters: tuple[Parameter, ...]
    source: str
    limits: str
    run: Run


_AIR_C = Parameter("air_c", "°C", "temperature of the room air")
_RH = Parameter("rh_percent", "%", "relative humidity of the room air")
_ISO_13788 = "BS EN ISO 13788"
_THICKNESS = Parameter("thickness_mm", "mm", "thickness of the wall")


def _dew_point(given: Arguments, _: ReadingFigures) -> tuple[Result, ...]:
    dew_c = condensation.dew_point_c(given.need("air_c"), given.need("rh_percent"))
    return _results(("dew_point", dew_c, "°C"))


def _surface_rh(given: Arguments, _: ReadingFigures) -> tuple[Result, ...]:
    asked = given.need("air_c"), given.need("rh_percent"), given.need("surface_c")
    return _results(
        ("surface_rh", condensation.surface_rh_percent(*asked), "%"),
        ("above_dew_point", condensation.dew_margin_k(*asked), "K"),
    )


def _temperature_factor(given: Arguments, figures: ReadingFigures) -> tuple[Result, ...]:
    inside_c, outside_c = given.need("inside_c"), given.need("outside_c")
    measured_c, u_value = given.get("surface_c"), given.get("u_value_w_m2k")
    if (measured_c is None) is (u_value is None):
        raise ValueError("give surface_c, measured, or u_value_w_m2k, to calculate it from: one of the two")
    surface_c = measured_c
    if surface_c is None:
        r_si = figures.r_si_m2k_w
        surface_c = condensation.surface_temperature_c(u_value, r_si, inside_c, outside_c)
    factor = condensation.temperature_factor(surface_c, inside_c, outside_c)
    if factor is None:
        raise ValueError("inside and outside are equally warm: there is no temperature factor")
    limit_percent = figures.surface_rh_limit_percent
    least = condensation.minimum_temperature_factor(inside_c, given.get("rh_percent"), outside_c, limit_percent)
    return _results(
        ("surface_temperature", surface_c, "°C"),
        ("temperature_factor", factor, ""),
        (f"least_factor_for_{limit_percent:g}_percent_at_surface", least, ""),
    )


def _moisture(given: Arguments, _: ReadingFigures) -> tuple[Result, ...]:
    masses = moisture.Masses(
        given.need("dish_g"),
        given.need("wet_g"),
        given.get("conditioned_g"),
        given.need("dry_g"),
        given.get("balance_g"),
    )
    found: list[tuple[str, float | None, str]] = []
    bases: tuple[moisture.Basis, ...] = ("wet", "dry")
    for basis in bases:
        of = f"% of {basis} mass"
        uncertainty = moisture.expanded(moisture.excess_standard_uncertainty(masses, basis))
        found += [
            (f"mc_{basis}", moisture.mc_percent(masses, basis), of),
            (f"hmc_{basis}", moisture.hmc_percent(masses, basis), of),
            (f"excess_{basis}", moisture.excess_percent(masses, basis), "% points"),
            (f"excess_uncertainty_{basis}", uncertainty, "% points, k = 2"),
        ]
    return _results(*found)


def _basis(given: Arguments, _: ReadingFigures) -> tuple[Result, ...]:
    wet, dry = given.get("wet_percent"), given.get("dry_percent")
    if (wet is None) is (dry is None):
        raise ValueError("give wet_percent or dry_percent: one of the two")
    return _results(
        ("dry", moisture.to_dry_basis(wet), "% of dry mass"), ("wet", moisture.to_wet_basis(dry), "% of wet mass")
    )


def _saturation(given: Arguments, _: ReadingFigures) -> tuple[Result, ...]:
    found = moisture.saturation_percent(given.need("moisture_percent"), given.need("saturated_percent"))
    return _results(("saturation", found, "%"))


def _rise(given: Arguments, figures: ReadingFigures) -> tuple[Result, ...]:
    measured, kind = given.get("sorptivity_mm_per_sqrt_min"), given.words.get("unit_kind")
    if (measured is None) is (kind is None):
        raise ValueError("give sorptivity_mm_per_sqrt_min or unit_kind: one of the two")
    sorptivity = _both(measured) or sorptivity_range(figures.sorptivity, kind)
    if sorptivity is None:
        kinds = ", ".join(dict.fromkeys(row.unit_kind for row in figures.sorptivity))
        raise ValueError(f"no sorptivity is published here for {kind}; measure it, or give one of: {kinds}")
    span = rise_range_mm(
        given.need("thickness_mm"),
        sorptivity,
        _both(given.get("water_content")) or figures.water_content,
        _both(given.get("evaporation_mm_per_min")) or figures.evaporation_mm_per_min,
        1 if given.words["faces"] == "one" else 2,
    )
    assert span is not None
    rows = "; ".join(dict.fromkeys(row.source_id for row in figures.sorptivity if row.unit_kind == kind))
    return (Result("rise_low", span[0], "mm", rows), Result("rise_high", span[1], "mm", rows))


def _drying(given: Arguments, figures: ReadingFigures) -> tuple[Result, ...]:
    times = drying_times(given.need("thickness_mm"), given.words["unit_kind"], figures.drying) or ()
    found = []
    for number, time in enumerate(times, 1):
        found.append(Result(f"rule_{number}_from", time.from_days / DAYS_PER_MONTH, "months", time.source_id))
        found.append(Result(f"rule_{number}_to", time.to_days / DAYS_PER_MONTH, "months", time.source_id))
    return tuple(found)


def _salts(given: Arguments, _: ReadingFigures) -> tuple[Result, ...]:
    salt, air_c = given.words["salt"], given.need("air_c")
    found = salts.equilibrium_rh(salt, air_c)
    assert found is not None
    results = [*_results(("equilibrium_rh", found.rh_percent, "%")), Result("formula_holds_there", found.within_range)]
    takes_up = salts.takes_up_water(salt, air_c, given.get("rh_percent"))
    return (*results, *([] if takes_up is None else [Result("takes_up_water", takes_up)]))


def _salt_class(given: Arguments, figures: ReadingFigures) -> tuple[Result, ...]:
    ions = {ion: given.get(f"{ion}_percent") for ion in ("chloride", "nitrate", "sulfate")}
    if all(content is None for content in ions.values()):
        raise ValueError("give at least one of chloride_percent, nitrate_percent, sulfate_percent")
    return tuple(
        Result(scheme, salt_class(ions, bounds) or "unknown") for scheme, bounds in figures.salt_schemes.items()
    )


def _vents(given: Arguments, figures: ReadingFigures) -> tuple[Result, ...]:
    required = required_vent_area_mm2(
        given.need("length_m"),
        given.need("area_m2"),
        figures.vent_mm2_per_m_of_wall,
        figures.vent_mm2_per_m2_of_floor,
    )
    assert required is not None
    present = given.get("present_mm2")
    if present is not None and present < 0:
        raise ValueError(f"the vent area that is there (mm²) must be at least 0, not {present}")
    short = None if present is None else max(0.0, required - present)
    return _results(("vent_area_required", required, "mm²"), ("vent_area_short", short, "mm²"))


def _vibration(given: Arguments, figures: ReadingFigures) -> tuple[Result, ...]:
    return _results(
        ("daily_exposure_a8", vibration.daily_exposure_m_s2(given.need("vibration_m_s2"), given.need("hours")), "m/s²"),
        ("action_value", figures.vibration_action_m_s2, "m/s²"),
        ("limit_value", figures.vibration_limit_m_s2, "m/s²"),
    )


def _results(*found: tuple[str, float | None, str]) -> tuple[Result, ...]:
    return tuple(Result(name, value, unit) for name, value, unit in found if value is not None)


def _both(value: float | None) -> Range | None:
    return None if value is None else (value, value)


def _maybe(name: str, unit: str, says: str) -> Parameter:
    return Parameter(name, unit, says, needed=False)


def calculations(unit_kinds: tuple[str, ...]) -> tuple[Calculation, ...]:
    """Every calculation; `unit_kinds` are the kinds of unit a wall may be of."""
    faces: tuple[Literal["one", "both"], ...] = ("one", "both")
    return (
        Calculation(
            "dew_point",
            "Dew point of the room air",
            (_AIR_C, _RH),
            _ISO_13788,
            "humidity above 0 up to 100 %",
            _dew_point,
        ),
        Calculation(
            "surface_rh",
            "Relative humidity of the air at a surface, and how far that is above the dew point",
            (_AIR_C, _RH, Parameter("surface_c", "°C", "temperature of the surface")),
            _ISO_13788,
            "humidity above 0 up to 100 %; above 100 % at the surface, water condenses",
            _surface_rh,
        ),
        Calculation(
            "temperature_factor",
            "Temperature factor of a wall's face, and the least that keeps it free of mould",
            (
                Parameter("inside_c", "°C", "temperature of the room air"),
                Parameter("outside_c", "°C", "temperature outside"),
                _maybe("surface_c", "°C", "temperature of the wall's face, measured"),
                _maybe("u_value_w_m2k", "W/m²K", "thermal transmittance, to calculate the face from"),
                _maybe("rh_percent", "%", "relative humidity of the room air, for the least factor"),
            ),
            f"{_ISO_13788} (from memory, to be verified against the text)",
            "steady state, plane wall; corners and the wall's foot are colder",
            _temperature_factor,
        ),
        Calculation(
            "moisture",
            "Moisture, hygroscopic moisture and excess of a weighed sample, on both bases",
            (
                Parameter("dish_g", "g", "the dish alone (0: tared)"),
                Parameter("wet_g", "g", "dish and sample as taken"),
                Parameter("dry_g", "g", "dish and sample oven-dry"),
                _maybe("conditioned_g", "g", "dish and sample after conditioning"),
                _maybe("balance_g", "g", "the smallest step of the balance, for the uncertainty"),
            ),
            "wet basis BRE Digest 245, dry basis BS EN ISO 12570, uncertainty JCGM 100:2008 (formulae from memory, to "
            "be verified against the texts)",
            "the uncertainty is the balance's alone; dish < dry <= wet and conditioned",
            _moisture,
        ),
        Calculation(
            "basis",
            "A moisture content from one basis to the other",
            (
                _maybe("wet_percent", "%", "content in % of the wet mass"),
                _maybe("dry_percent", "%", "content in % of the dry mass"),
            ),
            "follows from the two definitions",
            "wet basis 0 to below 100 %, dry basis 0 % or more; an excess cannot be converted",
            _basis,
        ),
        Calculation(
            "saturation",
            "Degree of saturation of a core",
            (
                Parameter("moisture_percent", "%", "as found, of the dry mass"),
                Parameter("saturated_percent", "%", "after immersion, of the dry mass"),
            ),
            "degree of moisture penetration of the WTA recommendations, as a German expert's page defines it",
            "may pass 100 % where the core was saturated by capillarity only",
            _saturation,
        ),
        Calculation(
            "rise",
            "Height at which evaporation balances capillary rise, above the level of the water",
            (
                _THICKNESS,
                Parameter("faces", "", "faces that dry", words=faces),
                Parameter("unit_kind", "", "for the published sorptivities", needed=False, words=unit_kinds),
                _maybe("sorptivity_mm_per_sqrt_min", "mm/min^0.5", "measured, in place of unit_kind"),
                _maybe("water_content", "volume fraction", "of the wet part; else the published range"),
                _maybe("evaporation_mm_per_min", "mm/min", "from each face; else the published range"),
            ),
            "sharp-front model, Proc. R. Soc. A 463, 1871-1884 (2007), equations from memory, to be verified against "
            "the text",
            "homogeneous wall in steady conditions, evaporation at the front, no gravity; what is published of bricks "
            "differs widely",
            _rise,
        ),
        Calculation(
            "drying",
            "Time to dry once the water is cut off, by every published rule",
            (_THICKNESS, Parameter("unit_kind", "", "what the units are", words=unit_kinds)),
            "rules of thumb, each with its own source",
            "the rules disagree and none was made for the wall at hand: measure before the wall is closed",
            _drying,
        ),
        Calculation(
            "salts",
            "Humidity of the air from which a salt takes up water",
            (
                Parameter("salt", "", "the salt", words=tuple(salts.SALTS)),
                _AIR_C,
                _maybe("rh_percent", "%", "relative humidity of the air, to compare"),
            ),
            "constants from the Handbook of Chemistry and Physics, constant humidity solutions, +-2 %",
            "one salt alone: mixtures begin lower; outside the constants' temperatures nothing is compared",
            _salts,
        ),
        Calculation(
            "salt_class",
            "Class of the salt load by both schemes",
            tuple(_maybe(f"{ion}_percent", "% by mass", f"{ion} ion") for ion in ("chloride", "nitrate", "sulfate")),
            "classes of WTA 2-6-99 (plaster) and WTA 3-13-01 (stone), as another page reports them",
            "high as soon as one ion is; low or medium only with all three; masonry near the surface",
            _salt_class,
        ),
        Calculation(
            "vents",
            "Vent area for the void below a suspended floor",
            (
                Parameter("length_m", "m", "run of wall"),
                Parameter("area_m2", "m²", "area of the floor"),
                _maybe("present_mm2", "mm²", "clear area of the vents there are"),
            ),
            "Approved Document C, as another page reports it",
            "the greater of the two areas, in opposite walls; all above zero",
            _vents,
        ),
        Calculation(
            "vibration",
            "Daily exposure of the hands to vibration, A(8)",
            (
                Parameter("vibration_m_s2", "m/s²", "the tool's vibration"),
                Parameter("hours", "h", "time at the trigger in the day"),
            ),
            "Control of Vibration at Work Regulations 2005",
            "one tool, up to 24 hours; declared vibration is often low for masonry",
            _vibration,
        ),
    )
