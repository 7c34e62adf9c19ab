"""`bedjoint compute` as a person or a script runs it."""

import json
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cli.compute_command import _calculations, _shown
from cli.main import exit_code_of
from cli.profile_plot import profile_plot
from engine.decision.model import ProfilePoint

EXAMPLES = {
    "dew_point": ("air_c=20", "rh_percent=60"),
    "surface_rh": ("air_c=20", "rh_percent=60", "surface_c=14"),
    "temperature_factor": ("inside_c=20", "outside_c=0", "u_value_w_m2k=2.1", "rh_percent=60"),
    "moisture": ("dish_g=10", "wet_g=13.5", "dry_g=13", "conditioned_g=13.1", "balance_g=0.001"),
    "basis": ("wet_percent=20",),
    "saturation": ("moisture_percent=12", "saturated_percent=16"),
    "rise": ("thickness_mm=150", "faces=one", "sorptivity_mm_per_sqrt_min=1"),
    "drying": ("thickness_mm=250", "unit_kind=fired_brick"),
    "salts": ("salt=sodium_chloride", "air_c=20", "rh_percent=80"),
    "salt_class": ("chloride_percent=0.3", "nitrate_percent=0", "sulfate_percent=0"),
    "vents": ("length_m=10", "area_m2=20", "present_mm2=4000"),
    "vibration": ("vibration_m_s2=10", "hours=2"),
    "dose": ("hole_mm=12", "depth_mm=210", "centres_mm=120"),
}


def run(capsys, *arguments):
    code = exit_code_of(["compute", *arguments])
    captured = capsys.readouterr()
    assert "Traceback" not in captured.err + captured.out
    return code, captured.out, captured.err


def results(capsys, name, *arguments):
    code, out, err = run(capsys, name, *(arguments or EXAMPLES[name]), "--format", "json")
    assert (code, err) == (0, "")
    return {result["name"]: result["value"] for result in json.loads(out)["results"]}


def test_every_calculation_has_an_example():
    assert set(EXAMPLES) == set(_calculations())


@pytest.mark.parametrize("name", EXAMPLES)
def test_a_result_has_unit_source_and_limits(capsys, name):
    code, out, err = run(capsys, name, *EXAMPLES[name])
    assert (code, err) == (0, "")
    calculation = _calculations()[name]
    shown = " ".join(out.split())
    assert calculation.source in shown
    assert calculation.limits in shown
    assert max(len(line) for line in out.splitlines()) <= 100
    for unit in {p.unit for p in calculation.parameters}:
        assert unit in " ".join(run(capsys, "--list")[1].split())


def test_published_values(capsys):
    # 20 degrees and 60 %: 12.0 (BS EN ISO 13788); wet 20 % is dry 25 % (from the definitions)
    assert results(capsys, "dew_point")["dew_point"] == pytest.approx(12.0, abs=0.05)
    assert results(capsys, "basis") == {"dry": 25.0}
    # The reference wall of Proc. R. Soc. A 463 (2007): b 150, S 1.0, e 0.001, w 0.2: 612 mm
    assert results(capsys, "rise")["rise_low"] == pytest.approx(612, abs=1)
    # Approved Document C
    assert results(capsys, "vents") == {"vent_area_required": 15_000, "vent_area_short": 11_000}
    # 10 m/s2 for two hours is 5 m/s2 A(8), the daily limit (Control of Vibration at Work Regulations 2005)
    assert results(capsys, "vibration") == {"daily_exposure_a8": 5.0, "action_value": 2.5, "limit_value": 5.0}
    # Solid geometry: pi 6^2 210
    dose = results(capsys, "dose")
    assert dose["hole"] == pytest.approx(math.pi * 36 * 210 / 1000)
    assert dose["per_metre"] == pytest.approx(dose["hole"] / 0.12)
    slanted = results(capsys, "dose", *EXAMPLES["dose"], "angle_degrees=60", "rows=2")
    assert slanted["hole"] == pytest.approx(2 * dose["hole"])
    assert slanted["per_metre"] == pytest.approx(4 * dose["per_metre"])
    assert results(capsys, "salt_class") == {"plaster_selection": "medium", "stone_conservation": "high"}
    assert results(capsys, "drying")["rule_1_from"] == pytest.approx(10)
    assert results(capsys, "salts")["takes_up_water"] is True
    factors = results(capsys, "temperature_factor")
    assert factors["temperature_factor"] == pytest.approx(0.475)
    assert factors["least_factor_for_80_percent_at_surface"] == pytest.approx(0.772, abs=0.001)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ((), ("--list", "dew_point")),
        (("dew_pont",), ("did you mean dew_point?",)),
        (("dew_point", "air=20", "rh_percent=60"), ("did you mean air_c?", "air_c: is missing")),
        (("dew_point", "air_c=20", "rh_percent=nan"), ("not a usable number", "found nan")),
        (("dew_point", "air_c=20", "rh_percent=1e400"), ("not a usable number",)),
        (("dew_point", "air_c=20", "rh_percent=1_0"), ("not a usable number",)),
        (("dew_point", "air_c=20", "air_c=21", "rh_percent"), ("given twice", "rh_percent: is not KEY=VALUE")),
        (("dew_point", "air_c=20", "rh_percent=101"), ("relative humidity", "at most 100")),
        (("moisture", "dish_g=10", "wet_g=9", "dry_g=9.5"), ("weighs less than the dry", "no more than the dish")),
        (("salts", "salt=table_salt", "air_c=20"), ("not one of its values", "sodium_chloride")),
        (("salts", "salt=calcium_chloride", "air_c=-273.149"), ("too far out",)),
        (("rise", "thickness_mm=225", "faces=both"), ("one of the two",)),
        (("rise", "thickness_mm=225", "faces=both", "unit_kind=dense_block"), ("no sorptivity is published",)),
        (("basis",), ("one of the two",)),
        (("temperature_factor", "inside_c=20", "outside_c=20", "surface_c=20"), ("equally warm",)),
        (("salt_class",), ("at least one",)),
        (("dose", "hole_mm=12", "depth_mm=210", "centres_mm=120", "rows=1.5"), ("whole number",)),
        (("vents", "length_m=1", "area_m2=1", "present_mm2=-1"), ("at least 0",)),
        (("dew_point", "--list"), ("stands alone",)),
    ],
)
def test_bad_input_ends_in_2_in_words(capsys, arguments, words):
    code, out, err = run(capsys, *arguments)
    assert (code, out) == (2, "")
    for word in words:
        assert word in err


@pytest.mark.parametrize("name", EXAMPLES)
@given(data=st.data())
@settings(deadline=None, max_examples=40)
def test_any_numbers_give_a_result_or_a_reason(name, data):
    calculation = _calculations()[name]
    numbers = st.floats(-1e3, 1e3) | st.floats(-1e9, 1e9) | st.sampled_from([0.0, 1.0, -273.15, -237.3])
    arguments = [
        f"{p.name}={data.draw(st.sampled_from(p.words) if p.words else numbers)}"
        for p in calculation.parameters
        if p.needed or data.draw(st.booleans())
    ]
    assert exit_code_of(["compute", name, *arguments]) in (0, 2)


def test_the_list_as_data(capsys):
    code, out, _ = run(capsys, "--list", "--format", "json")
    assert code == 0
    assert {each["name"] for each in json.loads(out)} == set(EXAMPLES)


@pytest.mark.parametrize(
    ("value", "shown"),
    [
        (0.0, "0.000"),
        (12.00441, "12.00"),
        (123456.7, "123457"),
        (0.023071, "0.02307"),
        (True, "yes"),
        ("low", "low"),
    ],
)
def test_four_digits_are_shown(value, shown):
    assert _shown(value) == shown


def points(*rows):
    return [
        ProfilePoint(height_mm=h, mc_percent=m, hmc_percent=k, excess_percent=None if k is None else m - k)
        for h, m, k in rows
    ]


def test_the_plot_shows_what_falls_and_where_it_stands():
    drawn = profile_plot(points((100, 14, 2), (400, 9, 3), (700, 4, 4), (1000, 3, None)))
    lines = [line for line in drawn.splitlines() if "|" in line]
    columns = {line[:4].strip(): line.find("M") for line in lines if "M" in line}
    assert columns["100"] > columns["400"] > columns["1000"] > 0
    assert "*" in next(line for line in lines if line.startswith(" 700"))
    assert drawn.isascii()
    assert 12 <= len(drawn.splitlines()) <= 16
    assert profile_plot(points((100, 14, 2), (400, 9, 3))) is None
    assert profile_plot(()) is None


@given(
    st.lists(
        st.tuples(st.integers(-500, 5000), st.floats(0, 100), st.none() | st.floats(0, 100)), min_size=3, max_size=60,
        unique_by=lambda row: row[0],
    )
)  # fmt: skip
@settings(deadline=None, max_examples=60)
def test_any_profile_fits_into_76_plain_columns(rows):
    drawn = profile_plot(points(*rows))
    assert drawn.isascii()
    assert max(len(line) for line in drawn.splitlines()) <= 76
    assert len(drawn.splitlines()) <= 26


def test_the_plot_stands_in_the_page_after_the_reasons(capsys, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    rows = ", ".join(
        f"{{height_mm: {height}, depth_mm: 80, mc_percent: {mc}, hmc_percent: 2}}"
        for height, mc in ((0, 9), (300, 7), (600, 3))
    )
    (tmp_path / "s.yaml").write_text(
        "property: {reference: A-1, survey_date: 2026-05-04}\nwalls:\n  - id: W1\n"
        f"    moisture: {{method: oven_and_hygroscopic, basis: wet, samples: [{rows}]}}\n"
    )
    assert exit_code_of(["assess", "s.yaml"]) == 1
    out = capsys.readouterr().out
    assert out.index("WHY") < out.index("MOISTURE PROFILE") < out.index("OPEN QUESTIONS")
    assert exit_code_of(["assess", "s.yaml", "--format", "json"]) == 1
    wall = json.loads(capsys.readouterr().out)["assessments"][0]["walls"][0]
    assert wall["profile"][0] == {"height_mm": 0, "mc_percent": 9, "hmc_percent": 2, "excess_percent": 7}
