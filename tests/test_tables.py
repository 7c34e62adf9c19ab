"""The trade's figures as data: every version's tables load, name their sources, and agree with what is published."""

from __future__ import annotations

import copy
import pathlib
from itertools import pairwise
from math import pi, sqrt
from typing import Any

import pytest
import yaml

from engine.errors import Problem
from engine.facts.vocabulary import facts
from engine.inference.truth import Truth
from engine.inference.view import View
from engine.rulebase.examples import example_values
from engine.rulebase.load import load_rule_base, rules_folder, versions
from engine.rulebase.table_models import DepthAt, Figure, Row, followed, set_aside, the_figure
from engine.rulebase.tables import Tables, load_tables, rows_in

VERSIONS = [manifest.version for manifest in versions()]
NAMES = tuple(Tables.__dataclass_fields__)


def read(version: str, folder: pathlib.Path | None = None) -> tuple[Tables | None, list[Problem]]:
    base = load_rule_base(version)
    problems: list[Problem] = []
    found = load_tables(folder or rules_folder() / version, base.sources, base.choices, problems.append)
    return found.tables, problems


def tables(version: str) -> Tables:
    found, problems = read(version)
    assert problems == []
    assert found is not None
    return found


T = tables(VERSIONS[-1])


def every_row(found: Tables) -> list[tuple[str, Row]]:
    return [(f"{name}:{path}", row) for name in NAMES for path, row in rows_in(getattr(found, name))]


# Form


@pytest.mark.parametrize("version", VERSIONS)
def test_every_version_loads(version: str) -> None:
    tables(version)


@pytest.mark.parametrize("version", VERSIONS)
def test_contents_and_sources_are_handed_on(version: str) -> None:
    base = load_rule_base(version)
    found = load_tables(rules_folder() / version, base.sources, base.choices, lambda problem: None)
    assert sorted(found.contents) == sorted(f"tables/{name}.yaml" for name in NAMES)
    assert found.cited <= set(base.sources)
    assert {row.source for _, row in every_row(tables(version))} <= found.cited


@pytest.mark.parametrize("version", VERSIONS)
def test_what_was_not_seen_says_so(version: str) -> None:
    base = load_rule_base(version)
    for where, row in every_row(tables(version)):
        says = row.says
        if row.seen == "from_memory":
            assert "from memory, to be verified against the text" in says, where
        if row.seen == "secondhand":
            assert "as reported by another page" in says, where
        if row.seen == "none":
            assert row.source == "common_practice", where
            assert row.certainty == "low", where
        if row.certainty == "high":
            assert row.seen == "seen", where
            assert base.sources[row.source].kind in ("law", "standard", "guidance"), where
        if base.sources[row.source].seen == "from_memory":
            assert row.seen in ("from_memory", "secondhand"), where


@pytest.mark.parametrize("version", VERSIONS)
def test_every_row_set_aside_has_one_that_is_followed(version: str) -> None:
    found = tables(version)
    for name in NAMES:
        table = getattr(found, name)
        for field in type(table).model_fields:
            rows = getattr(table, field)
            if isinstance(rows, tuple) and rows and isinstance(rows[0], Row):
                assert followed(rows), f"{name}.{field}"
                assert len(followed(rows)) + len(set_aside(rows)) == len(rows)


# Against what is published


def test_clearance_laps_and_vents() -> None:
    # NHBC 5.1 and the UK specification clauses: 150 mm, laps of 100 mm, 150 mm with the floor membrane.
    assert the_figure(T.line.clearance_above_ground_mm).value == 150
    assert the_figure(T.line.lap_mm).value == 100
    assert the_figure(T.line.lap_with_floor_membrane_mm).value == 150
    # Approved Document C: 1500 mm² a metre or 500 mm² a square metre.
    assert the_figure(T.ventilation.mm2_per_m_of_wall).value == 1500
    assert the_figure(T.ventilation.mm2_per_m2_of_floor).value == 500
    assert T.ventilation.opposite_walls is True


@pytest.mark.parametrize(
    ("construction", "thickness_mm", "pattern"),
    [
        ("solid_brick", 102.5, "cream"),
        ("solid_brick", 230, "cream"),
        ("solid_brick", 460, "cream"),
        ("coursed_stone", 461, "cream_thick"),
        ("solid_brick", 600, "cream_thick"),
        ("coursed_stone", 601, "cream_both_sides"),
        ("cavity_brick", 115, "cream"),
        ("cavity_brick", 500, None),
        ("earth", 450, None),
        ("timber_frame", 150, None),
    ],
)
def test_patterns_for_cream(construction: str, thickness_mm: float, pattern: str | None) -> None:
    found = T.drilling.pattern("cream", construction, thickness_mm)
    assert (found.id if found else None) == pattern


def test_every_medium_that_is_drilled_has_a_pattern_for_ordinary_brick() -> None:
    for medium in ("cream", "rods", "mortar", "aqueous_liquid", "solvent_liquid"):
        assert T.drilling.pattern(medium, "solid_brick", 230) is not None, medium
    assert T.drilling.pattern("physical", "solid_brick", 230) is None


def test_no_wall_is_claimed_twice_and_none_between_is_left_out() -> None:
    for medium in ("cream", "rods", "mortar", "aqueous_liquid"):
        for thickness_mm in range(50, 2000, 5):
            claims = [
                row
                for row in followed(T.drilling.patterns)
                if row.medium == medium and row.takes("solid_brick", thickness_mm)
            ]
            assert len(claims) == 1, (medium, thickness_mm)


@pytest.mark.parametrize(("wall_mm", "dose"), [(115, 94), (230, 198), (345, 306), (460, 415)])
def test_dose_that_follows_from_the_pattern_for_cream(wall_mm: int, dose: float) -> None:
    # Solid geometry: (pi / 4) d² L x 1000 / s for holes of 12 mm at 120 mm, 94, 198, 306 and 415 mL a metre.
    pattern = T.drilling.pattern("cream", "solid_brick", wall_mm)
    assert pattern is not None
    assert pattern.depth is not None
    (row,) = (row for row in pattern.depth.table if row.wall_mm == wall_mm)
    litres = pi / 4 * pattern.hole_mm**2 * row.depths_mm[-1] * 1000 / pattern.centres_mm / 1000
    assert litres == pytest.approx(dose, abs=1)


def test_mortar_is_drilled_as_the_handbook_says() -> None:
    # Building Construction Handbook: 19 mm, no more than 230 mm apart, both sides, 3/5 of the wall, 20 to 30 degrees.
    pattern = T.drilling.pattern("mortar", "rubble_stone", 500)
    assert pattern is not None
    assert pattern.depth is not None
    assert (pattern.hole_mm, pattern.centres_mm, pattern.sides) == (19, 230, "both")
    assert pattern.depth.share_of_wall == 0.6
    assert pattern.angle_range_degrees == (20, 30)


def test_pressure_in_si_is_the_pressure_in_psi() -> None:
    # One psi is 6894.757 Pa; the page gives 40 to 150 psi.
    (row,) = (row for row in T.drilling.pressure_mpa if row.of == "liquid_in_brick")
    assert row.value == pytest.approx((40 * 0.006894757, 150 * 0.006894757), abs=0.005)


def test_liquid_per_100_mm_is_what_the_table_comes_to() -> None:
    rate = the_figure(T.dose.litres_per_metre_per_100_mm).value
    solid = [row for row in T.dose.litres_per_metre if "solid_brick" in row.constructions]
    for row in solid:
        assert row.from_mm is not None
        assert row.to_mm is not None
        # The middle of the litres over the middle of the thicknesses.
        assert sum(row.litres) / (row.from_mm + row.to_mm) * 100 == pytest.approx(rate, rel=0.2)
    for before, after in pairwise(solid):
        assert before.to_mm is not None
        assert after.from_mm is not None
        assert before.to_mm < after.from_mm
        assert before.litres[1] < after.litres[0]


def test_plaster_height_rules() -> None:
    for load, above in (("low", 300), ("not_measured", 300), ("medium", 500), ("high", 500)):
        rule = T.plaster.height_rule(load)
        assert rule is not None
        assert (rule.above_mm, rule.at_least_mm) == (above, 1000)
    assert {row.above_mm for row in T.plaster.heights} >= {300, 450, 500, 800}
    assert {row.at_least_mm for row in T.plaster.heights} >= {900, 1000, 1200}


def test_plaster_coats_by_class_of_salt() -> None:
    one = T.plaster.coats_of("renovating_one_layer", "low")
    two = T.plaster.coats_of("renovating_two_layers", "high")
    assert one is not None
    assert two is not None
    assert one.total_mm == two.total_mm == (20, 40)
    assert two.layers == ("base", "renovating")
    assert two.coat_at_least_mm == 10
    assert T.plaster.coats_of("renovating_one_layer", "high") is None
    assert T.plaster.coats_of("cement_render", "low") is None


def test_drying_rules_are_all_followed_and_give_the_printed_examples() -> None:
    rows = (*T.drying.rates, *T.drying.classes, *T.drying.named_walls, *T.drying.square_law)
    assert set_aside(rows) == ()
    # 230 mm: 9.2 months at 25 mm a month; approvals 6 to 12 months; the square law 148 days.
    assert 230 / T.drying.rates[0].mm_per_month == pytest.approx(9.2)
    assert T.drying.named_walls[0].months == (6, 12)
    p = {row.material: row.p_days_per_cm2 for row in T.drying.square_law}
    printed = [("fired_brick", 11.5, 37), ("fired_brick", 23, 148), ("fired_brick", 46, 592), ("limestone", 46, 2539)]
    for material, cm, days in printed:
        assert p[material] * cm**2 == pytest.approx(days, abs=0.5)


def test_sorptivities_are_the_published_coefficients_converted() -> None:
    # One kilogram on a square metre is a millimetre: S = w / sqrt(60), to two figures.
    converted = [row for row in T.materials.sorptivity if row.from_kg_per_m2_sqrt_h is not None]
    assert len(converted) == 3
    for row in converted:
        assert row.from_kg_per_m2_sqrt_h is not None
        for shown, w in zip(row.mm_per_sqrt_min, row.from_kg_per_m2_sqrt_h, strict=True):
            assert shown == pytest.approx(w / sqrt(60), rel=0.02)


def test_the_gap_between_bricks_is_named_and_real() -> None:
    s = {row.material: row.mm_per_sqrt_min for row in T.materials.sorptivity}
    (gap,) = (gap for gap in T.materials.gaps if "clay_brick" in gap.materials)
    spans = sorted(s[name] for name in gap.materials)
    assert all(before[1] < after[0] for before, after in pairwise(spans))


def test_reference_wall_of_the_model() -> None:
    # Proc. R. Soc. A 463 (2007), from memory: S 1.0, water 0.2, 0.001 mm/min, 150 mm: 612 mm; 1.44 mm a day.
    (water,) = followed(T.materials.water_content)
    (evaporation,) = followed(T.materials.evaporation_mm_per_min)
    assert 1.0 * sqrt(150 / (2 * evaporation.value[0] * water.value[0])) == pytest.approx(612.4, abs=0.1)
    (other,) = set_aside(T.materials.evaporation_mm_per_min)
    assert other.value[0] * 1440 == pytest.approx(1.0, abs=1e-3)


def test_vibration_in_points_and_in_a8_agree() -> None:
    # A(8)² is a² t / 8, the points are f a² t: so points = 8 f A(8)² at the action value and at the limit.
    factor = the_figure(T.exposure.points_factor_per_hour).value
    for value, in_points in (
        (T.exposure.action_m_s2, T.exposure.action_points),
        (T.exposure.limit_m_s2, T.exposure.limit_points),
    ):
        assert 8 * factor * the_figure(value).value ** 2 == the_figure(in_points).value
    assert the_figure(T.exposure.silica_limit_mg_m3).value == 0.1


@pytest.mark.parametrize("version", VERSIONS)
def test_salt_classes_are_those_the_rules_decide_by(version: str) -> None:
    base = load_rule_base(version)

    def classes(scheme: str, percents: dict[str, float]) -> set[str]:
        example = {"salts.scheme": scheme, **{f"salts.{ion}_percent": value for ion, value in percents.items()}}
        view = View(example_values(example, base.variables))
        loads = [(rule, option) for rule in base.rules for choice, option in rule.supports if choice == "salt_load"]
        holding = {option for rule, option in loads if view.truth(rule.when) is Truth.TRUE}
        order = [option.id for option in base.choices["salt_load"].options]
        return {min(holding, key=order.index)} if holding else set()

    for scheme in followed(tables(version).salts.schemes):
        low = {row.ion: row.low_below_percent * 0.9 for row in scheme.ions}
        assert classes(scheme.scheme, low) == {"low"}, scheme.scheme
        for row in scheme.ions:
            for value, expected in (
                (row.low_below_percent, "medium"),
                (row.high_above_percent, "medium"),
                (row.high_above_percent + 0.001, "high"),
                (row.low_below_percent - 0.001, "low"),
            ):
                assert classes(scheme.scheme, {**low, row.ion: value}) == {expected}, (scheme.scheme, row.ion, value)


def test_a_printed_question_on_salt_classes() -> None:
    # From a Polish examination: 0.4 % nitrate is high, 0.3 % sulfate is low.
    (scheme,) = (row for row in T.salts.schemes if row.scheme == "plaster_selection")
    ions = {row.ion: row for row in scheme.ions}
    assert ions["nitrate"].high_above_percent < 0.4
    assert ions["sulfate"].low_below_percent > 0.3


def test_words_are_those_of_the_survey() -> None:
    assert {row.scheme for row in T.salts.schemes} == set(facts()["salts.scheme"].options)


# Faults


@pytest.fixture
def copied(tmp_path: pathlib.Path) -> pathlib.Path:
    version = tmp_path / VERSIONS[-1]
    (version / "tables").mkdir(parents=True)
    for path in (rules_folder() / VERSIONS[-1] / "tables").glob("*.yaml"):
        (version / "tables" / path.name).write_text(path.read_text("utf-8"), "utf-8")
    return version


def edit(folder: pathlib.Path, name: str, change: Any) -> None:
    path = folder / "tables" / f"{name}.yaml"
    data = yaml.safe_load(path.read_text("utf-8"))
    change(data)
    path.write_text(yaml.safe_dump(data, sort_keys=False, allow_unicode=True), "utf-8")


def faults(folder: pathlib.Path) -> list[str]:
    found, problems = read(VERSIONS[-1], folder)
    assert problems
    assert all(problem.file.startswith(f"rules/{VERSIONS[-1]}/tables/") for problem in problems)
    del found
    return [str(problem) for problem in problems]


def test_a_copy_reads_as_the_original(copied: pathlib.Path) -> None:
    for name in NAMES:
        edit(copied, name, lambda data: None)
    assert read(VERSIONS[-1], copied) == (T, [])


def a_second_row(data: Any) -> None:
    data["lap_mm"].append(copy.deepcopy(data["lap_mm"][0]))


@pytest.mark.parametrize(
    ("name", "change", "expected"),
    [
        ("line", lambda d: d["lap_mm"][0].update(source="uk_spec_2014"), "did you mean uk_spec_clauses_2014?"),
        ("line", lambda d: d["lap_mm"][0].update(also=["nobody"]), "lap_mm[0].also[0]: no source of this name"),
        ("line", a_second_row, "lap_mm: one row is followed"),
        ("line", lambda d: d["lap_mm"][0].update(set_aside="not followed"), "lap_mm: one row is followed"),
        ("line", lambda d: d.pop("lap_mm"), "lap_mm: is missing"),
        ("line", lambda d: d.update(lap_m=1), "did you mean lap_mm?"),
        ("line", lambda d: d["lap_mm"][0].update(value="100"), "lap_mm[0].value: is of the wrong kind"),
        ("line", lambda d: d["lap_mm"][0].update(value=0), "lap_mm[0].value"),
        ("line", lambda d: d["lap_mm"][0].pop("says"), "lap_mm[0].says: is missing"),
        ("line", lambda d: d["lap_mm"][0].update(seen="yes"), "is not one of the values"),
        ("drilling", lambda d: d["patterns"][0].update(medium="creme"), "did you mean cream?"),
        ("drilling", lambda d: d["patterns"][0].update(constructions=["brick"]), "patterns[0].constructions[0]"),
        ("drilling", lambda d: d["patterns"][1].update(id="cream"), "stands twice in this table; found id cream"),
        ("drilling", lambda d: d["patterns"][1].update(over_mm=400), "patterns[1]: claims the same walls as cream"),
        ("drilling", lambda d: d["patterns"][1].update(over_mm=700), "no wall lies between over_mm and to_mm"),
        ("drilling", lambda d: d["patterns"][1].update(over_mm=600), "no wall lies between over_mm and to_mm"),
        (
            "drilling",
            lambda d: d["patterns"][0]["depth"]["table"][0].update(depths_mm=[115]),
            "each depth is greater than the one before and less than the wall",
        ),
        (
            "salts",
            lambda d: d["schemes"][0]["ions"][0].update(low_below_percent=0.5),
            "low ends below where high begins",
        ),
        ("drilling", lambda d: d["patterns"][0].pop("depth"), "a pattern that is followed gives depth"),
        ("drilling", lambda d: d["patterns"][0].update(rows=2), "rows above one another need row_gap_mm"),
        ("drilling", lambda d: d["patterns"][1]["depth"].update(share_of_wall=0.5), "one of the three"),
        ("drilling", lambda d: d["patterns"][2]["depth"].update(share_of_wall=1), "a hole through the whole wall"),
        ("drilling", lambda d: d["patterns"][0]["depth"]["table"].reverse(), "goes from thin walls to thick"),
        (
            "drilling",
            lambda d: d["patterns"][0]["depth"]["table"][0].update(depths_mm=[120]),
            "each depth is greater than the one before and less than the wall",
        ),
        ("drilling", lambda d: d["patterns"][6].update(hole_range_mm=[14, 12]), "from is greater than to"),
        ("drilling", lambda d: d["patterns"][6].update(hole_range_mm=[1, 2, 3]), "a number, or two in [ ]"),
        ("dose", lambda d: d["active_percent"][0].update(of="creme"), "did you mean cream?"),
        ("dose", lambda d: d["waste"].append(copy.deepcopy(d["waste"][0])), "stands twice in this table; found cream"),
        ("plaster", lambda d: d["heights"][1].update(salt_loads=["low"]), "found the height for salts low"),
        ("plaster", lambda d: d["heights"][0].update(salt_loads=["some"]), "heights[0].salt_loads[0]"),
        ("plaster", lambda d: d["heights"][0].pop("above"), "above and above_mm stand together"),
        ("plaster", lambda d: d["heights"][5].pop("at_least_mm"), "gives above_mm, at_least_mm, or both"),
        ("plaster", lambda d: d["coats"][0].update(plaster="renovating"), "coats[0].plaster: is not known here"),
        ("drying", lambda d: d["classes"][0]["classes"].reverse(), "go from thin walls to thick"),
        ("drying", lambda d: d["square_law"][0].update(unit_kind="brick"), "square_law[0].unit_kind"),
        ("drying", lambda d: d["square_law"][1].update(unit_kind="fired_brick"), "stands twice in this table"),
        ("materials", lambda d: d["gaps"][0]["materials"].append("wood"), "gaps[0].materials[3]: is not known here"),
        ("salts", lambda d: d["schemes"][0].update(scheme="plaster_selecton"), "did you mean plaster_selection?"),
        ("salts", lambda d: d["schemes"][2].pop("set_aside"), "stands twice in this table; found stone_conservation"),
        ("salts", lambda d: d["schemes"][0]["ions"][0].update(ion="nitrate"), "each ion stands once"),
        (
            "salts",
            lambda d: d["schemes"][0]["ions"][0].update(low_below_percent=0.6),
            "low ends below where high begins",
        ),
    ],
)
def test_faults_are_found(copied: pathlib.Path, name: str, change: Any, expected: str) -> None:
    edit(copied, name, change)
    found = faults(copied)
    assert any(expected in each for each in found), found


def test_faults_of_several_files_are_reported_at_once_with_their_lines(copied: pathlib.Path) -> None:
    edit(copied, "line", lambda data: data["lap_mm"][0].update(source="nobody"))
    edit(copied, "salts", lambda data: data.pop("schemes"))
    (copied / "tables" / "dose.yaml").unlink()
    (copied / "tables" / "drying.yaml").write_text("rates: [", "utf-8")
    (copied / "tables" / "prices.yaml").write_text("a: 1", "utf-8")
    found = faults(copied)
    assert len(found) == 5
    assert all(name in text for name, text in zip(("line", "dose", "drying", "salts", "prices"), found, strict=True))
    assert "no such file" in found[1]
    assert ":1:" in found[2]
    assert "no table has this name" in found[4]
    assert read(VERSIONS[-1], copied)[0] is None


def test_a_fault_of_a_name_leaves_the_tables_readable_and_reported(copied: pathlib.Path) -> None:
    edit(copied, "line", lambda data: data["lap_mm"][0].update(source="nobody"))
    found, problems = read(VERSIONS[-1], copied)
    assert found is not None
    assert len(problems) == 1
    assert problems[0].line > 1


def test_spans_and_figures() -> None:
    row = {"source": "x", "says": "a figure", "certainty": "low", "seen": "none"}
    assert Figure.model_validate({**row, "value": 5, "range": 5}).range == (5, 5)
    assert Figure.model_validate({**row, "value": 5, "range": [4, 6]}).range == (4, 6)
    assert DepthAt.model_validate({"wall_mm": 230, "depths_mm": [70, 190]}).depths_mm == (70, 190)
