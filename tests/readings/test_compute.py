"""From the facts of a wall to its readings: what they come to, and when they are unknown or do not apply."""

import math

import pytest
import scipy.stats
from hypothesis import given, settings
from hypothesis import strategies as st

from engine.facts.resolve import resolve
from engine.facts.survey import Wall
from engine.facts.values import State
from engine.facts.vocabulary import facts
from engine.readings.compute import compute_readings, samples_in
from engine.readings.figures import IonBounds
from engine.readings.ranges import rise_range_mm, salt_class
from engine.readings.vocabulary import CAN_DO_WITHOUT, READINGS
from engine.rulebase.load import load_rule_base, versions
from engine.rulebase.reading_figures import reading_figures

FIGURES = reading_figures(load_rule_base(versions()[-1].version).tables)
OVEN = {"method": "oven_and_hygroscopic", "basis": "wet"}


def values_of(**sections):
    wall = Wall.model_validate({"id": "W1", **sections})
    notes = {}
    for name in facts():
        section, _, field = name.partition(".")
        if section != "property":
            notes[name] = getattr(getattr(wall, section), field)
    return resolve(notes)


def readings(figures=FIGURES, **sections):
    return compute_readings(values_of(**sections), 2026, figures)


def reading(name, **sections):
    value = readings(**sections)[f"reading.{name}"]
    return value.value if value.known else value.state


def profile(*rows, **more):
    keys = ("height_mm", "mc_percent", "hmc_percent", "chloride_percent", "nitrate_percent")
    samples = [{"depth_mm": 80, **dict(zip(keys, row, strict=False))} for row in rows]
    return {"moisture": {**OVEN, "samples": samples, **more}}


def weighed(*rows, **more):
    keys = ("height_mm", "dish_g", "wet_g", "conditioned_g", "dry_g")
    samples = [{"depth_mm": 80, **dict(zip(keys, row, strict=True))} for row in rows]
    return {"moisture": {"method": "oven_and_hygroscopic", "samples": samples, **more}}


RISING = profile((100, 14.0, 2.0, 0.1, 0.0), (400, 12.0, 3.0, 0.4, 0.1), (700, 6.0, 4.0, 0.2, 0.3), (1000, 3.0, 5.0))


def test_every_reading_is_computed_and_rests_on_facts_there_are():
    assert set(readings()) == set(READINGS)
    for name, variable in READINGS.items():
        assert set(variable.from_facts) <= set(facts())
        assert CAN_DO_WITHOUT.get(name, frozenset()) <= set(variable.from_facts)
        assert variable.question.endswith("?")
        assert variable.how


def test_nothing_known_nothing_computed():
    assert not [name for name, value in readings().items() if value.known]


def test_without_figures_what_needs_them_stays_unknown():
    wall = {
        "build": {"construction": "solid_brick", "unit_kind": "fired_brick", "thickness_mm": 225, "length_m": 10},
        "floor": {"kind": "suspended_timber", "area_m2": 20, "vent_area_mm2": 5000},
        "evidence": {"evaporating_faces": "both", "damp_height_mm": 900},
        "salts": {"chloride_percent": 1.0, "nitrate_percent": 1.0, "sulfate_percent": 1.0},
        "climate": {
            "air_temperature_c": 20.0, "air_rh_percent": 60.0, "outside_temperature_c": 0.0, "u_value_w_m2k": 2.1
        },
    }  # fmt: skip
    known = {name for name, value in readings(**wall).items() if value.known}
    bare = {name for name, value in readings(None, **wall).items() if value.known}
    assert {name.removeprefix("reading.") for name in known - bare} == {
        "surface_temperature_c", "calculated_surface_rh_percent", "temperature_factor", "least_temperature_factor",
        "salt_class_plaster_selection", "salt_class_stone_conservation", "rise_low_mm", "rise_high_mm",
        "damp_above_rise_range", "vent_area_required_mm2", "vent_area_short_mm2", "drying_low_months",
        "drying_high_months",
    }  # fmt: skip


def test_the_profile():
    assert reading("base_excess_percent", **RISING) == 12
    contents = [14.0, 12.0, 6.0, 3.0]
    expected = scipy.stats.kendalltau(range(4), contents, alternative="less", method="exact").pvalue
    assert reading("mc_fall_p_value", **RISING) == pytest.approx(expected, abs=5e-5)
    assert reading("excess_vanishes_mm", **RISING) == 850  # from +2 at 700 to -2 at 1000
    assert reading("excess_vanishes_uncertainty_mm", **RISING) == 150
    assert reading("largest_fall_at_mm", **RISING) == 700
    assert reading("largest_fall_share_percent", **RISING) == round(100 * 6 / 11, 1)
    assert reading("chloride_peak_mm", **RISING) == 400
    assert reading("nitrate_peak_mm", **RISING) == 700


def test_how_deep_and_how_far_up_the_samples_reach():
    assert reading("height_span_mm", **RISING) == 900
    assert reading("greatest_depth_mm", **RISING) == 80
    rows = [{"height_mm": h, "depth_mm": d, "mc_percent": 5.0} for h, d in ((-50, 10), (-50, 15), (100, 12))]
    shallow = {"moisture": {"method": "oven", "samples": rows}}
    assert reading("height_span_mm", **shallow) == 150
    assert reading("greatest_depth_mm", **shallow) == 15


def test_whether_the_lowest_sample_was_weighed_goes_by_the_deepest_there():
    assert reading("base_weighed", **RISING) is False
    assert reading("base_weighed", **weighed((100, 10.0, 13.5, 13.01, 13.0))) is True
    row = {"dish_g": 10.0, "wet_g": 13.5, "dry_g": 13.0}
    both = [{"height_mm": 100, "depth_mm": 20, **row}, {"height_mm": 100, "depth_mm": 80, "mc_percent": 9.0}]
    assert reading("base_weighed", moisture={"method": "oven", "samples": both}) is False


def test_the_uncertainty_of_the_excess_needs_masses_and_balance():
    # 10 g dish, 3 g dry, 0.5 g water, 0.01 g from the air: numeric derivatives of MC - HMC, JCGM 100:2008
    masses = {"dish": 10.0, "wet": 13.5, "conditioned": 13.01, "dry": 13.0}

    def excess(m):
        mc = 100 * (m["wet"] - m["dry"]) / (m["wet"] - m["dish"])
        return mc - 100 * (m["conditioned"] - m["dry"]) / (m["conditioned"] - m["dish"])

    slopes = [(excess({**masses, k: v + 1e-5}) - excess({**masses, k: v - 1e-5})) / 2e-5 for k, v in masses.items()]
    expected = 2 * 0.001 / math.sqrt(12) * math.hypot(*slopes)
    row = (100, 10.0, 13.5, 13.01, 13.0)
    given_ = weighed(row, balance_resolution_g=0.001)
    assert reading("base_excess_uncertainty_percent", **given_) == pytest.approx(expected, abs=6e-4)
    assert reading("base_excess_clear", **given_) is True
    coarse = weighed((100, 10.0, 13.02, 13.01, 13.0), balance_resolution_g=0.1)
    assert reading("base_excess_clear", **coarse) is False
    assert reading("base_excess_clear", **weighed(row)) is State.UNKNOWN
    assert reading("base_excess_uncertainty_percent", **RISING) is State.UNKNOWN


def test_where_the_excess_vanishes_is_never_surer_before_the_balance_is_known():
    rows = ((100, 10.0, 13.5, 13.1, 13.0), (400, 10.0, 13.2, 13.1, 13.0), (700, 10.0, 13.05, 13.1, 13.0))
    assert reading("excess_vanishes_mm", **weighed(*rows)) == reading(
        "excess_vanishes_mm", **weighed(*rows, balance_resolution_g=0.001)
    )
    assert reading("excess_vanishes_uncertainty_mm", **weighed(*rows)) is State.UNKNOWN
    fine = reading("excess_vanishes_uncertainty_mm", **weighed(*rows, balance_resolution_g=0.001))
    assert 0 < fine < reading("excess_vanishes_uncertainty_mm", **weighed(*rows, balance_resolution_g=0.01)) < 150


def test_not_sampled_means_not_applicable():
    found = readings(moisture={"method": "none"})
    for name, variable in READINGS.items():
        if "moisture.samples" in variable.from_facts:
            assert found[name].state is State.NOT_APPLICABLE


def test_saturation_as_given_or_from_the_core():
    core = {"core_moisture_percent": 12.0, "core_saturated_percent": 16.0}
    assert reading("saturation_percent", moisture=core) == 75
    assert reading("saturation_percent", moisture={**core, "saturation_percent": 71.5}) == 71.5
    assert reading("saturation_percent", moisture={"core_moisture_percent": 12.0}) is State.UNKNOWN


AIR = {"air_temperature_c": 20.0, "air_rh_percent": 60.0, "outside_temperature_c": 0.0}


def test_the_wall_face_measured_or_calculated():
    # BS EN ISO 13788 worked through by hand: U 2.1, R_si 0.25: f = 1 - 0.525; 80 % at 15.43 degrees: f = 0.772
    calculated = {"climate": {**AIR, "u_value_w_m2k": 2.1}}
    assert reading("surface_temperature_c", **calculated) == 9.5
    assert reading("temperature_factor", **calculated) == 0.475
    assert reading("least_temperature_factor", **calculated) == 0.772
    assert reading("calculated_surface_rh_percent", **calculated) > 100
    measured = {"climate": {**AIR, "u_value_w_m2k": 2.1, "surface_temperature_c": 14.0}}
    assert reading("surface_temperature_c", **measured) == 14
    assert reading("temperature_factor", **measured) == 0.7
    assert reading("calculated_surface_rh_percent", **measured) == reading(
        "calculated_surface_rh_percent", **calculated
    )
    assert reading("surface_above_dew_point_k", **measured) == 2.0


def test_what_rules_ask_of_the_face_is_measured_only():
    calculated = {"climate": {**AIR, "u_value_w_m2k": 2.1}}
    assert reading("surface_rh_percent", **calculated) is State.UNKNOWN
    assert reading("surface_above_dew_point_k", **calculated) is State.UNKNOWN


def test_an_internal_wall_has_a_face_but_no_outside():
    inside = {"build": {"role": "internal"}, "climate": {"air_temperature_c": 20.0, "surface_temperature_c": 15.0}}
    assert reading("surface_temperature_c", **inside) == 15
    assert reading("temperature_factor", **inside) is State.NOT_APPLICABLE
    assert reading("least_temperature_factor", **inside) is State.NOT_APPLICABLE


def test_a_wall_with_less_resistance_than_its_face_is_not_calculated():
    assert reading("surface_temperature_c", climate={**AIR, "u_value_w_m2k": 5.9}) is State.UNKNOWN
    assert reading("temperature_factor", climate={**AIR, "outside_temperature_c": 20.0, "u_value_w_m2k": 2}) is (
        State.UNKNOWN
    )


@pytest.mark.parametrize(
    ("ions", "plaster", "stone"),
    [
        # WTA 2-6-99 and WTA 3-13-01 as the trade press tables them
        ((0.01, 0.01, 0.01), "low", "low"),
        ((0.2, 0.01, 0.01), "medium", "high"),
        ((0.03, 0.01, 0.01), "low", "medium"),
        ((0.5, 0.3, 1.5), "medium", "high"),
        ((None, 0.31, None), "high", "high"),
        ((0.01, None, 0.01), State.UNKNOWN, State.UNKNOWN),
        ((0.2, None, 0.01), State.UNKNOWN, "high"),
    ],
)
def test_salt_classes(ions, plaster, stone):
    keys = ("chloride_percent", "nitrate_percent", "sulfate_percent")
    salts = {key: ion for key, ion in zip(keys, ions, strict=True) if ion is not None}
    assert reading("salt_class_plaster_selection", salts=salts) == plaster
    assert reading("salt_class_stone_conservation", salts=salts) == stone


@given(st.lists(st.none() | st.floats(0, 3), min_size=3, max_size=3), st.integers(0, 2), st.floats(0, 3))
@settings(deadline=None)
def test_finding_an_ion_out_never_changes_a_class(contents, which, content):
    bounds = {ion: IonBounds(0.2, 0.5) for ion in "abc"}
    before = salt_class(dict(zip("abc", contents, strict=True)), bounds)
    if contents[which] is None:
        contents[which] = content
    after = salt_class(dict(zip("abc", contents, strict=True)), bounds)
    assert before is None or before == after


@pytest.mark.parametrize(
    ("chloride", "nitrate", "rh", "air_c", "expected"),
    [
        # Handbook of Chemistry and Physics at 20 degrees: sodium chloride 75.4 %, sodium nitrate 75.5 %
        (0.1, 0.1, 80.0, 20.0, True),
        (0.1, 0.1, 70.0, 20.0, False),
        (0.0, 0.0, 95.0, 20.0, False),
        (0.1, None, 80.0, 20.0, True),
        (0.1, None, 60.0, 20.0, State.UNKNOWN),
        (0.1, 0.1, 80.0, 5.0, State.UNKNOWN),
        (0.1, 0.1, None, 20.0, State.UNKNOWN),
    ],
)
def test_salts_that_take_up_water(chloride, nitrate, rh, air_c, expected):
    salts = {"chloride_percent": chloride, "nitrate_percent": nitrate}
    climate = {"air_temperature_c": air_c, "air_rh_percent": rh}
    sections = {
        "salts": {key: value for key, value in salts.items() if value is not None},
        "climate": {key: value for key, value in climate.items() if value is not None},
    }
    assert reading("salts_take_up_water", **sections) == expected


def brick(**more):
    return {
        "build": {"construction": "solid_brick", "unit_kind": "fired_brick", "thickness_mm": 225},
        "evidence": {"evaporating_faces": "both", **more},
    }


def test_the_range_of_rise():
    # S sqrt(b / (4 e w)), Proc. R. Soc. A 463 (2007), with S from 0.65 to 3.9, e 0.001, w 0.2
    root = math.sqrt(225 / (4 * 0.001 * 0.2))
    assert reading("rise_low_mm", **brick()) == pytest.approx(0.65 * root, abs=1)
    assert reading("rise_high_mm", **brick()) == pytest.approx(3.9 * root, abs=1)
    assert reading("damp_above_rise_range", **brick(damp_height_mm=2100)) is True
    assert reading("damp_above_rise_range", **brick(damp_height_mm=2000)) is False
    one = brick(evaporating_faces="one")
    assert reading("rise_high_mm", **one) == pytest.approx(3.9 * root * math.sqrt(2), abs=1)


def test_no_rise_without_a_published_sorptivity():
    wall = brick()
    wall["build"]["unit_kind"] = "calcium_silicate"
    assert reading("rise_low_mm", **wall) is State.UNKNOWN
    wall["build"]["unit_kind"] = "dense_stone"
    assert reading("rise_low_mm", **wall) == 0
    assert reading("rise_high_mm", **wall) > 0
    assert reading("rise_low_mm", build={"construction": "earth"}) is State.NOT_APPLICABLE


def test_a_range_in_the_wrong_order_is_refused():
    with pytest.raises(ValueError, match="least to its greatest"):
        rise_range_mm(225, (2, 1), (0.2, 0.2), (0.001, 0.001), 1)
    with pytest.raises(ValueError, match="sorptivity"):
        rise_range_mm(225, (-1, 1), (0.2, 0.2), (0.001, 0.001), 1)
    assert rise_range_mm(None, (1, 2), (0.2, 0.2), (0.001, 0.001), 1) is None


def test_vents():
    # Approved Document C: 1500 mm2 to the metre of wall, 500 to the square metre of floor, the greater
    floor = {"kind": "suspended_timber", "area_m2": 20.0, "vent_area_mm2": 4000}
    assert reading("vent_area_required_mm2", build={"length_m": 10.0}, floor=floor) == 15_000
    assert reading("vent_area_short_mm2", build={"length_m": 10.0}, floor=floor) == 11_000
    assert reading("vent_area_short_mm2", build={"length_m": 2.0}, floor={**floor, "vent_area_mm2": 90_000}) == 0
    assert reading("vent_area_required_mm2", build={"length_m": 10.0}, floor={"kind": "solid"}) in (
        State.NOT_APPLICABLE, State.UNKNOWN
    )  # fmt: skip


def test_drying_spans_every_rule():
    # 230 mm: 25 mm a month 9.2; tables 6 to 12; square law for fired brick 0.28 x 23^2 = 148 days
    wall = brick()
    wall["build"]["thickness_mm"] = 230
    assert reading("drying_low_months", **wall) == pytest.approx(0.28 * 23**2 / (365.25 / 12), abs=0.05)
    assert reading("drying_high_months", **wall) == 12
    del wall["build"]["unit_kind"]
    assert reading("drying_low_months", **wall) is State.UNKNOWN
    assert reading("drying_months_so_far", earlier_treatment={"medium": "cream", "year": 2024}) == 24
    assert reading("drying_months_so_far", earlier_treatment={"medium": "none"}) is State.NOT_APPLICABLE


@given(st.data())
@settings(deadline=None, max_examples=150)
def test_filling_in_a_fact_changes_no_reading_that_rules_may_judge_by(data):
    """Readings that take a measurement before a calculation are for showing: see the vocabulary."""
    wall = {
        "build": {"role": "external", "construction": "solid_brick", "unit_kind": "fired_brick", "thickness_mm": 225},
        "climate": {**AIR, "u_value_w_m2k": 2.0, "surface_temperature_c": 9.0},
        "salts": {"chloride_percent": 0.3, "nitrate_percent": 0.0, "sulfate_percent": 0.2},
        "evidence": {"evaporating_faces": "one", "damp_height_mm": 800},
        **weighed((100, 9.0, 13.5, 13.1, 13.0), (400, 9.0, 13.2, 13.1, 13.0), balance_resolution_g=0.01),
    }
    full = readings(**wall)
    places = [(section, field) for section, fields in wall.items() for field in fields]
    dropped = data.draw(st.sets(st.sampled_from(places)))
    fewer = {s: {f: v for f, v in fields.items() if (s, f) not in dropped} for s, fields in wall.items()}
    for name, value in readings(**fewer).items():
        if name not in ("reading.surface_temperature_c", "reading.temperature_factor"):
            assert not value.known or value.value == full[name].value, name


def test_samples_come_out_on_wet_basis():
    # 100 u / (100 + u)
    dry = {"moisture": {**OVEN, "basis": "dry", "samples": [{"height_mm": 0, "depth_mm": 80, "mc_percent": 25.0}]}}
    assert [sample.mc_percent for sample in samples_in(values_of(**dry))] == [20.0]
    assert samples_in(values_of()) == ()
