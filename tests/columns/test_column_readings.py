"""Readings as columns against readings wall by wall: the same state, the same value to the step, on every row."""

import datetime as dt
import random
from dataclasses import replace

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engine.columns.facts import with_applicability
from engine.columns.flat import flat_frame, flat_row, values_of
from engine.columns.layout import fact_columns
from engine.columns.readings import AS_COLUMNS, column_readings
from engine.columns.readings_air import AIR, air_readings
from engine.columns.readings_by_row import settled_by_row
from engine.columns.readings_facts import facts_of_readings
from engine.columns.readings_samples import SAMPLES, sample_readings
from engine.facts.survey import Survey
from engine.facts.values import State
from engine.inference.view import comparable
from engine.readings.compute import compute_readings
from engine.readings.figures import IonBounds, SorptivityFigure
from engine.readings.moisture import Masses, excess_percent, excess_standard_uncertainty, expanded
from engine.readings.salts import equilibrium_rh
from engine.readings.vocabulary import READINGS
from engine.rulebase.load import load_rule_base, versions
from engine.rulebase.reading_figures import reading_figures
from tests.generated import any_survey, survey_data

BASES = {each.version: load_rule_base(each.version) for each in versions()}
FIGURES = reading_figures(list(BASES.values())[-1].tables)
SURVEYED = dt.date(2026, 6, 15)
OVEN = {"method": "oven_and_hygroscopic", "basis": "wet"}
BRICK = {"construction": "solid_brick", "unit_kind": "fired_brick"}


def row_of(**sections):
    survey = Survey.model_validate(
        {"property": {"reference": "R-1", "survey_date": SURVEYED}, "walls": [{"id": "W1", **sections}]}
    )
    return flat_row(survey, survey.walls[0])


def rows_of(data):
    survey = Survey.model_validate({**data, "property": {**data["property"], "survey_date": SURVEYED}})
    return [flat_row(survey, wall) for wall in survey.walls]


def generated_rows(seed, count):
    rng = random.Random(seed)
    rows = []
    while len(rows) < count:
        share = rng.choice((0.0, 0.15, 0.5))
        rows += rows_of((any_survey if rng.random() < 0.5 else survey_data)(rng, share))
    return rows


def frame_of(rows):
    return with_applicability(flat_frame(rows))


def wall_by_wall(row, figures, names):
    found = compute_readings(values_of(row), row["survey_date"].year, figures, names)
    return {
        name: (
            comparable(READINGS[name], value) if value.known else None,
            value.state is State.NOT_APPLICABLE,
            value.for_good,
        )
        for name, value in found.items()
    }


def as_columns(frame, figures, names):
    got = column_readings(frame, figures, names)
    assert got.columns == [column for name in names for column in (name, f"na:{name}", f"fg:{name}")]
    for name in names:
        assert got[f"na:{name}"].null_count() == got[f"fg:{name}"].null_count() == 0
    return [{name: (row[name], row[f"na:{name}"], row[f"fg:{name}"]) for name in names} for row in got.to_dicts()]


def check(rows, figures=FIGURES, names=tuple(AS_COLUMNS)):
    together = as_columns(frame_of(rows), figures, names)
    assert together == [wall_by_wall(row, figures, names) for row in rows]
    return together


def test_every_reading_that_rules_ask_for_is_worked_out_on_columns():
    asked = {name for base in BASES.values() for rule in base.rules for name in _readings_in(rule)}
    assert len(asked) > 20
    assert asked <= AS_COLUMNS <= READINGS.keys()


def _readings_in(rule):
    return {test.variable.name for test in rule.tests if test.variable.name in READINGS}


@pytest.mark.parametrize("version", BASES)
def test_generated_walls(version):
    found = check(generated_rows(11, 1500), reading_figures(BASES[version].tables))
    for name in AS_COLUMNS:
        assert sum(row[name][0] is not None for row in found) > 50, f"{name} is hardly ever known in these walls"
    for state in (1, 2):
        assert any(row[name][state] for row in found for name in AS_COLUMNS)


def test_the_other_readings_are_right_too():
    check(generated_rows(12, 150), FIGURES, tuple(READINGS))


def test_without_figures():
    check(generated_rows(13, 150), None)
    lone = as_columns(frame_of([row_of()]), None, ["reading.calculated_surface_rh_percent"])
    assert lone == [{"reading.calculated_surface_rh_percent": (None, False, False)}]


def test_figures_that_no_version_has():
    """A unit that draws no water, a scheme for an ion that no fact holds, and a scheme that is not there."""
    still = (SorptivityFigure("dense_stone", (0.0, 0.0), "s"),)
    bounds = {"chloride": IonBounds(0.2, 0.5), "magnesium": IonBounds(0.2, 0.5)}
    figures = replace(FIGURES, sorptivity=still, salt_schemes={"plaster_selection": bounds})
    wall = {"build": {**BRICK, "unit_kind": "dense_stone", "thickness_mm": 300}}
    rows = [
        row_of(
            **wall, evidence={"evaporating_faces": "one", "damp_height_mm": height_mm}, salts={"chloride_percent": c}
        )
        for height_mm, c in ((0, 0.1), (1, 0.6))
    ]
    dry, damp = check(rows, figures)
    assert dry["reading.damp_above_rise_range"] == (False, False, False)
    assert damp["reading.damp_above_rise_range"] == (True, False, False)
    assert damp["reading.salt_class_plaster_selection"] == ("high", False, False)


def test_the_types_of_the_columns():
    got = column_readings(frame_of(generated_rows(14, 20)), FIGURES, READINGS)
    for name, variable in READINGS.items():
        wanted = {"number": pl.Int32(), "yes_no": pl.Boolean(), "choice": pl.Enum(variable.options)}[variable.kind]
        assert got.schema[name] == wanted
        assert got.schema[f"na:{name}"] == got.schema[f"fg:{name}"] == pl.Boolean()


@given(st.integers(0, 2**30), st.integers(1, 12))
@settings(max_examples=25, deadline=None)
def test_neither_the_order_of_rows_nor_their_company_matters(seed, count):
    rows = generated_rows(seed, count)
    order = random.Random(seed).sample(range(count), count)
    frame = frame_of(rows)
    names = sorted(AS_COLUMNS)
    whole = as_columns(frame, FIGURES, names)
    assert as_columns(frame[order], FIGURES, names) == [whole[place] for place in order]
    assert as_columns(frame[order[:1]], FIGURES, names) == [whole[order[0]]]


def test_no_rows_and_no_readings():
    frame = frame_of(generated_rows(15, 3))
    none = column_readings(frame.clear(), FIGURES, READINGS)
    assert none.shape == (0, 3 * len(READINGS))
    assert column_readings(frame, FIGURES, ()).width == 0
    with pytest.raises(KeyError, match="no_such"):
        column_readings(frame, FIGURES, ["reading.no_such"])


def test_a_column_that_is_not_there_is_unknown_throughout_and_applies():
    rows = [row_of(climate={"air_temperature_c": 18.5, "air_rh_percent": 61.0, "surface_temperature_c": 12.0})]
    bare = flat_frame(rows).drop(name for name in fact_columns() if not name.startswith("climate."))
    names = tuple(READINGS)
    assert as_columns(bare, FIGURES, names) == [wall_by_wall(rows[0], FIGURES, names)]


def sample(height_mm, mc_percent, hmc_percent=None, depth_mm=80, **more):
    return {"height_mm": height_mm, "depth_mm": depth_mm, "mc_percent": mc_percent, "hmc_percent": hmc_percent, **more}


def weighed(height_mm, wet_g, conditioned_g, depth_mm=80, dish_g=10.0, dry_g=13.0):
    masses = {"dish_g": dish_g, "wet_g": wet_g, "conditioned_g": conditioned_g, "dry_g": dry_g}
    return {"height_mm": height_mm, "depth_mm": depth_mm, **masses}


SERIES = {
    "one height": [sample(100, 9.0, 2.0)],
    "two heights": [sample(100, 9.0, 2.0), sample(400, 4.0, 2.0)],
    "falling": [sample(100, 14.0, 2.0), sample(400, 12.0, 3.0), sample(700, 6.0, 4.0), sample(1000, 3.0, 5.0)],
    "not in order": [sample(700, 6.0, 4.0), sample(100, 14.0, 2.0), sample(400, 12.0, 3.0)],
    "below the floor": [sample(-150, 14.0, 2.0), sample(0, 12.0, 3.0), sample(150, 6.0, 4.0)],
    "all alike": [sample(height, 5.0, 1.0) for height in (100, 400, 700)],
    "neighbours share the peak": [sample(100, 3.0), sample(400, 9.0), sample(475, 9.0), sample(700, 1.0)],
    "others share the peak": [sample(100, 9.0), sample(400, 3.0), sample(700, 9.0)],
    "ties": [sample(h, mc, 1.0) for h, mc in ((0, 5.0), (150, 5.0), (300, 4.0), (450, 6.0), (600, 4.0))],
    "two depths": [sample(100, 5.0, 1.0, 20), sample(100, 9.0, 2.0), sample(400, 4.0, 1.0), sample(400, 6.0, 1.0, 20)],
    "two depths, deep first": [sample(100, 9.0, 2.0), sample(100, 5.0, 1.0, 20), sample(400, 4.0, 1.0)],
    "no hmc": [sample(100, 9.0), sample(400, 4.0), sample(700, 3.0)],
    "hmc missing at the base": [sample(100, 9.0), sample(400, 4.0, 1.0), sample(700, 3.0, 5.0)],
    "hmc missing at the top": [sample(100, 9.0, 1.0), sample(400, 4.0, 1.0), sample(700, 3.0)],
    "halves of steps": [sample(0, 0.295, 0.0), sample(150, 1.055, 0.0), sample(300, 2.235, 0.0)],
    "between two steps": [sample(100, 9.125, 2.0), sample(400, 2.675, 1.005), sample(700, 0.125, 0.0)],
    "salts": [sample(h, 5.0, 1.0, chloride_percent=c, nitrate_percent=n)
              for h, c, n in ((100, 0.1, None), (400, 0.4, 0.2), (700, 0.2, 0.2), (1000, 0.1, 0.1))],
    "weighed": [weighed(100, 13.5, 13.01), weighed(400, 13.3, 13.1), weighed(700, 13.1, 13.2)],
    "weighed, without the second weighing": [weighed(100, 13.5, None), weighed(400, 13.3, 13.1)],
    "weighed, hardly any excess": [weighed(100, 13.013, 13.01), weighed(400, 13.3, 13.1)],
    "weighed, dry": [weighed(100, 13.0, 13.0), weighed(400, 13.0, 13.0), weighed(700, 13.0, 13.0)],
    "weighed at depth only": [sample(100, 9.0, 1.0, 20), weighed(100, 13.5, 13.01), weighed(400, 13.3, 13.1)],
    "weighed at the surface only": [weighed(100, 13.5, 13.01, 20), sample(100, 9.0, 1.0), sample(400, 9.0, 1.0)],
    "many heights": [sample(30 * k, (7 * k * k) % 31 / 2, k % 5) for k in range(60)],
}  # fmt: skip
METHODS = {
    "wet": OVEN,
    "dry": {**OVEN, "basis": "dry"},
    "basis unknown": {"method": "oven_and_hygroscopic"},
    "carbide": {"method": "carbide"},
    "method unknown": {},
    "balance": {**OVEN, "balance_resolution_g": 0.01},
    "balance, basis unknown": {"method": "oven_and_hygroscopic", "balance_resolution_g": 0.001},
    "not sampled": {"method": "none"},
}


@pytest.mark.parametrize("method", METHODS)
def test_series_of_samples(method):
    unsampled = method == "not sampled"
    rows = [row_of(moisture=METHODS[method] | ({} if unsampled else {"samples": each})) for each in SERIES.values()]
    check([*rows, row_of(moisture=METHODS[method]), row_of()], names=tuple(READINGS))
    for row in rows:
        check([row])


def test_what_a_series_comes_to():
    rows = [row_of(moisture={**OVEN, "samples": SERIES[each]}) for each in ("falling", "neighbours share the peak")]
    falling, shared = check(rows)
    assert falling["reading.mc_height_tau"] == (-100, False, False)
    assert falling["reading.base_excess_percent"] == (1200, False, False)
    assert falling["reading.deep_less_surface_percent"] == (None, False, True)
    assert shared["reading.mc_peak_above_base_mm"] == (338, False, False)  # 337.5: to the even millimetre
    assert shared["reading.greatest_hmc_percent"] == (None, False, True)


@given(st.integers(0, 2**30))
@settings(max_examples=40, deadline=None)
def test_samples_with_ties_and_halves_of_steps(seed):
    """Contents to half a step of their readings, few different ones, some without HMC, some weighed."""
    rng = random.Random(seed)
    rows = []
    for _ in range(30):
        finest = rng.choice((0.005, 0.5, 0.001))
        places = rng.sample([(h, d) for h in range(-100, 900, 100) for d in (20, 80)], rng.randint(1, 12))
        samples = [
            weighed(h, 13 + rng.randrange(50) / 100, rng.choice((None, 13 + rng.randrange(20) / 100)), d)
            if rng.random() < 0.2
            else sample(h, rng.randrange(9) * finest, rng.choice((None, rng.randrange(9) * finest)), d)
            for h, d in places
        ]
        rows.append(row_of(moisture={**rng.choice(list(METHODS.values())[:-1]), "samples": samples}))
    check(rows)


def climates():
    for air_c in (-12.3, 0.0, 9.9, 10.0, 21.0, 40.0, 40.1):
        for rh in (1.0, 55.25, 74.15, 75.3, 75.4, 100.0):
            for surface_c in (-0.1, 0.0, air_c, 14.95):
                yield {"air_temperature_c": air_c, "air_rh_percent": rh, "surface_temperature_c": surface_c}
    for u_value in (0.05, 2.1, 4.0, 4.01, 6.0):
        for outside_c in (-40.0, 0.0, 21.0):
            yield {"air_temperature_c": 21.0, "air_rh_percent": 60.0, "u_value_w_m2k": u_value,
                   "outside_temperature_c": outside_c}  # fmt: skip


def test_air_at_its_turning_points():
    salts = ({"chloride_percent": 0.1}, {"chloride_percent": 0.0, "nitrate_percent": 0.3}, {"nitrate_percent": 0.0}, {})
    walls = [row_of(climate=each, salts=salt) for each in climates() for salt in salts]
    check([*walls, row_of(build={"role": "internal"}, climate={"air_temperature_c": 20.0, "air_rh_percent": 50.0})])


def marked(known, name):
    found = air_readings(known, FIGURES, AIR & {name}) if name in AIR else sample_readings(known, SAMPLES & {name})
    return found, found[f"close:{name}"].to_list()


@pytest.mark.parametrize("name", ["reading.surface_rh_percent", "reading.salts_take_up_water"])
def test_what_hangs_on_the_last_bit_of_an_exponential_is_settled_wall_by_wall(name):
    """A face as warm as the room has its humidity, here in the middle of two steps; or salt just begins to take up."""
    begins = equilibrium_rh("sodium_chloride", 21.0).rh_percent
    humidities = (55.25, 60.0, 61.45) if name == "reading.surface_rh_percent" else (begins, 60.0, begins)
    air = {"air_temperature_c": 21.0, "surface_temperature_c": 21.0}
    rows = [row_of(climate={**air, "air_rh_percent": rh}, salts={"chloride_percent": 0.1}) for rh in humidities]
    check_settled(rows, name)


def test_an_excess_as_great_as_its_uncertainty_is_settled_wall_by_wall():
    masses = Masses(10.0, 13.5, 13.49, 13.0, 1.0)
    at_one_gram = expanded(excess_standard_uncertainty(masses, "wet"))
    resolution_g = excess_percent(masses, "wet") / at_one_gram
    samples = [weighed(100, 13.5, 13.49)]
    balances = (resolution_g, resolution_g * 2, resolution_g)
    rows = [row_of(moisture={**OVEN, "samples": samples, "balance_resolution_g": balance}) for balance in balances]
    check_settled(rows, "reading.base_excess_clear")


def check_settled(rows, name):
    """That the first row and the last are marked, and come out right whatever the columns make of them."""
    known = facts_of_readings(frame_of(rows))
    found, close = marked(known, name)
    assert close == [True, False, True]
    right = found[name]
    wrong = right.scatter([0, 2], [1 - right[0], 1 - right[2]] if right.dtype == pl.Int32 else [not right[0]] * 2)
    assert settled_by_row(found.with_columns(wrong), known, FIGURES)[name].to_list() == [
        wall_by_wall(row, FIGURES, [name])[name][0] for row in rows
    ]
    check(rows)


def test_salts_at_the_bounds_of_every_class():
    bounds = {
        ion: {0.0} | {b for scheme in FIGURES.salt_schemes.values() for i in (scheme[ion],)
                      for b in (i.low_below_percent, i.high_above_percent)}
        for ion in ("chloride", "nitrate", "sulfate")
    }  # fmt: skip
    walls = [
        row_of(salts={f"{ion}_percent": content for ion, content in zip(bounds, contents, strict=True) if content >= 0})
        for contents in (
            (c, n, s)
            for c in (*bounds["chloride"], 0.501, -1)
            for n in (*bounds["nitrate"], -1)
            for s in (*bounds["sulfate"], 1.6, -1)
        )
    ]
    check(walls)


def test_the_wall_itself():
    walls = [
        row_of(build={**BRICK, "unit_kind": kind, "thickness_mm": thickness}, evidence=evidence)
        for kind in ("fired_brick", "calcium_silicate", "porous_stone", "dense_stone", "aerated_block")
        for thickness in (50, 99, 100, 101, 215, 240, 241, 299, 300, 301, 2000)
        for evidence in (
            {"evaporating_faces": "one", "damp_height_mm": 900},
            {"evaporating_faces": "both", "damp_height_mm": 0},
            {"damp_height_mm": 10000},
            {"evaporating_faces": "one"},
        )
    ]
    walls += [row_of(build={"construction": "earth", "thickness_mm": 500})]
    points = [{"at_m": 0.0, "level_mm": -50}, {"at_m": 2.0, "level_mm": 120}]
    walls += [
        row_of(ground=ground)
        for ground in (
            {"profile": points},
            {"profile": points, "level_mm": 120, "fall_along_mm": 170},
            {"profile": points[:1]},
            {"level_mm": -5000},
            {"fall_along_mm": 0},
        )
    ]
    walls += [row_of(build={"role": "internal"})]
    timber = {"kind": "suspended_timber"}
    walls += [
        row_of(build={"length_m": length}, floor={**timber, "area_m2": area, "vent_area_mm2": vents})
        for length in (0.1, 3.333, 10.001)
        for area in (1.001, 30.003)
        for vents in (0, 5000, 200_000)
    ]
    walls += [row_of(floor={"kind": "solid"}), row_of(floor=timber, build={"length_m": 4.0})]
    walls += [row_of(earlier_treatment={"medium": "cream", "year": year}) for year in (1900, 2025, 2026)] + [
        row_of(earlier_treatment={"medium": "none"}),
        row_of(earlier_treatment={"medium": "rods"}),
    ]
    check(walls)
