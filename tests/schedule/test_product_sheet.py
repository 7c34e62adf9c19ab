"""Product sheets: what is read, and how every fault of a file is named with its place."""

from __future__ import annotations

import pathlib
from decimal import Decimal
from typing import Any, get_args

import jsonschema
import pytest
import yaml
from hypothesis import event, given, settings
from hypothesis import strategies as st

from engine.errors import BadInput, Problem
from engine.facts.document import read_document
from engine.facts.vocabulary import facts
from engine.rulebase.load import rules_folder, versions
from engine.schedule.dose import LitresRow, fill_dose
from engine.schedule.drilling import DepthRow, DepthTable, Piece, Share, StopShort, drill_piece, hole_groups, hole_spec
from engine.schedule.product_sheet import (
    Construction,
    Medium,
    ProductSheet,
    parse_product_sheet,
    read_product_sheet,
)

CREAM = """\
form: 1
name: store cream
medium: cream
active_percent: 60
waste_percent: 10
currency: GBP
drilling:
  - constructions: [solid_brick, coursed_stone]
    from_mm: 100
    hole_mm: 12
    centres_mm: 120
    angle_degrees: 0
    sides: 1
    rows: 1
    depths:
      - {thickness_mm: 115, depth_mm: 100}
      - {thickness_mm: 230, depth_mm: 210}
    beyond_stop_short_mm: 40
container: {ml: 1000, price: 18.50}
"""
RODS = """\
name: store rods
medium: rods
drilling:
  - {constructions: [solid_brick], from_mm: 100, to_mm: 600, hole_mm: 12, centres_mm: 120, angle_degrees: 0, sides: 1,
     rows: 1, stop_short_mm: 20}
rods: {length_mm: 180, diameter_mm: 12, per_pack: 10}
"""
LIQUID = """\
name: store liquid
medium: aqueous_liquid
drilling:
  - {constructions: [solid_brick], from_mm: 200, hole_mm: 10, centres_mm: 120, angle_degrees: 45, sides: 1, rows: 2,
     row_spacing_mm: 80, share_percent: 75}
litres_per_m:
  - {constructions: [solid_brick], from_mm: 200, to_mm: 250, low_l_per_m: 4, high_l_per_m: 5}
container: {ml: 5000}
"""


def problems(text: str) -> list[Problem]:
    with pytest.raises(BadInput) as caught:
        parse_product_sheet(text.encode(), "sheet.yaml")
    assert caught.value.exit_code == 2
    return list(caught.value.problems)


def test_a_sheet_is_read(tmp_path: pathlib.Path) -> None:
    path = tmp_path / "cream.yaml"
    path.write_text(CREAM, encoding="utf-8")
    found = read_product_sheet(path)
    assert found.sheet.container is not None
    assert found.sheet.container.price == Decimal("18.5")
    assert found.basis.generic is False
    assert found.basis.says == f"the product sheet store cream ({path})"
    (row,) = found.patterns()
    assert row.constructions == ("coursed_stone", "solid_brick")
    assert row.depth == DepthTable((DepthRow(115, (100,)), DepthRow(230, (210,))), 40)
    assert (row.hole_mm, row.centres_mm, row.to_mm, row.sides, row.rows) == (12, 120, None, 1, 1)
    assert row.source_id == f"{path}:8"
    assert found.litres_rows() == ()


def test_the_other_ways_to_say_the_depth() -> None:
    (rods,) = parse_product_sheet(RODS.encode(), "rods.yaml").patterns()
    assert rods.depth == StopShort(20)
    liquid = parse_product_sheet(LIQUID.encode(), "liquid.yaml")
    (row,) = liquid.patterns()
    assert row.depth == Share(0.75)
    assert (row.rows, row.row_spacing_mm) == (2, 80)
    assert liquid.litres_rows() == (LitresRow(("solid_brick",), 200, 250, 4, 5, "liquid.yaml:7"),)
    assert liquid.sheet.container is not None
    assert liquid.sheet.container.price is None
    assert liquid.sheet.active_percent is None


def test_from_the_sheet_to_the_containers() -> None:
    """A wall of 4.8 m drilled by the sheet: 40 holes, 950 mL, with a tenth 1045 mL, two containers for 37.00."""
    found = parse_product_sheet(CREAM.encode(), "cream.yaml")
    spec = hole_spec(found.patterns()[0], 230)
    assert spec is not None
    drilled = drill_piece(Piece("horizontal", 0, 4.8, 150, None, "wall"), spec, 60, 4.8)
    sheet = found.sheet
    assert sheet.container is not None
    dose = fill_dose(hole_groups([drilled]), sheet.waste_percent, sheet.container.ml, sheet.active_percent, found.basis)
    assert dose is not None
    assert dose.holes == 40
    assert dose.with_waste_ml == pytest.approx(1045, abs=0.1)
    assert dose.containers is not None
    assert sheet.container.price is not None
    assert dose.containers.count * sheet.container.price == Decimal("37.00")


@pytest.mark.parametrize("written", ["0.1", "18.5", "1234.56", "7", "0"])
def test_prices_are_exact(written: str) -> None:
    found = parse_product_sheet(CREAM.replace("18.50", written).encode(), "cream.yaml")
    assert found.sheet.container is not None
    assert found.sheet.container.price == Decimal(written)


def without(text: str, line: str) -> str:
    assert line in text
    return "".join(each for each in text.splitlines(keepends=True) if line not in each)


CASES: dict[str, tuple[str, int, str, str, str, str]] = {
    # what is wrong: text, line, field, message, found, allowed
    "misspelt medium": (
        CREAM.replace("medium: cream", "medium: creme"), 3, "medium",
        "is not one of the values", "'creme'", "cream, rods, mortar, aqueous_liquid",
    ),
    "misspelt field": (
        CREAM.replace("hole_mm: 12", "holes_mm: 12"), 10, "drilling[0].holes_mm",
        "is not a field here", "'holes_mm'", "constructions, from_mm",
    ),
    "missing field": (without(CREAM, "sides"), 8, "drilling[0].sides", "is missing", "", ""),
    "out of limits": (
        CREAM.replace("active_percent: 60", "active_percent: 160"), 4, "active_percent",
        "is out of limits", "160", "at most 100",
    ),
    "of the wrong kind": (
        CREAM.replace("rows: 1", "rows: one"), 14, "drilling[0].rows", "is of the wrong kind", "'one'", "a whole number"
    ),
    "a price in words": (
        CREAM.replace("18.50", "free"), 19, "container.price", "is of the wrong kind", "'free'", "a number"
    ),
    "a price that is true": (
        CREAM.replace("18.50", "true"), 19, "container.price", "is of the wrong kind", "true", "a number"
    ),
    "a price below zero": (
        CREAM.replace("18.50", "-1"), 19, "container.price", "is out of limits", "-1", "at least 0"
    ),
    "a price without currency": (
        without(CREAM, "currency"), 18, "container.price", "has no currency", "18.5", "currency"
    ),
    "not a currency": (
        CREAM.replace("GBP", "pounds"), 6, "currency", "is not written as it must be", "'pounds'", "the pattern"
    ),
    "empty": (CREAM.replace("100\n    hole", "100\n    to_mm:\n    hole"), 10, "drilling[0].to_mm", "is empty", "", ""),
    "no constructions": (
        CREAM.replace("[solid_brick, coursed_stone]", "none"), 8, "drilling[0].constructions", "is too short", "", ""
    ),
    "limits out of order": (
        RODS.replace("to_mm: 600", "to_mm: 90"), 4, "drilling[0].to_mm", "is less than from_mm", "90 mm", "100 mm or"
    ),
    "holes too near": (
        CREAM.replace("centres_mm: 120", "centres_mm: 40"), 11, "drilling[0].centres_mm",
        "puts holes too near each other", "40 mm", "48 mm or more",
    ),
    "rows too near": (
        LIQUID.replace("row_spacing_mm: 80", "row_spacing_mm: 20").replace("hole_mm: 10", "hole_mm: 11"), 5,
        "drilling[0].row_spacing_mm", "puts holes too near each other", "20 mm", "22 mm or more",
    ),
    "rows without spacing": (
        CREAM.replace("rows: 1", "rows: 2"), 14, "drilling[0].rows", "needs row_spacing_mm", "2", "several rows"
    ),
    "spacing of one row": (
        LIQUID.replace("rows: 2", "rows: 1"), 4, "drilling[0].rows", "row_spacing_mm does not apply", "1", ""
    ),
    "no depth": (
        RODS.replace(", stop_short_mm: 20", ""), 4, "drilling[0]", "must say the depth in one way", "none", "one of"
    ),
    "two depths": (
        RODS.replace("stop_short_mm: 20", "stop_short_mm: 20, share_percent: 80"), 4, "drilling[0]",
        "must say the depth in one way", "stop_short_mm, share_percent", "one of depths",
    ),
    "a table that is none": (
        RODS.replace("stop_short_mm: 20", "stop_short_mm: 20, beyond_stop_short_mm: 40"), 5,
        "drilling[0].beyond_stop_short_mm", "and there is none", "", "with depths",
    ),
    "nothing to drill": (
        RODS.replace("stop_short_mm: 20", "stop_short_mm: 100"), 5, "drilling[0].stop_short_mm",
        "leaves nothing to drill", "100 mm", "below 100 mm",
    ),
    "through the wall": (
        CREAM.replace("depth_mm: 100", "depth_mm: 115"), 16, "drilling[0].depths[0].depth_mm",
        "goes through the wall", "115 mm", "below 115 mm",
    ),
    "table out of order": (
        CREAM.replace("thickness_mm: 115", "thickness_mm: 230"), 17, "drilling[0].depths[1].thickness_mm",
        "is less than in the row before", "230 mm", "above 230 mm",
    ),
    "thicker and shallower": (
        CREAM.replace("depth_mm: 210", "depth_mm: 90"), 17, "drilling[0].depths[1].depth_mm",
        "is less than in the row before", "90 mm", "100 mm or more",
    ),
    "rods without rods": (without(RODS, "rods: {"), 2, "medium", "needs the group rods", "rods", "length_mm"),
    "rods in a container": (RODS + "container: {ml: 500}\n", 7, "container", "does not apply to rods", "", "per_pack"),
    "cream with rods": (RODS.replace("medium: rods", "medium: cream"), 6, "rods", "does not apply to cream", "", ""),
    "cream by the metre": (
        LIQUID.replace("aqueous_liquid", "cream"), 7, "litres_per_m", "does not apply to cream", "", "aqueous_liquid"
    ),
    "rods wider than the hole": (
        RODS.replace("diameter_mm: 12", "diameter_mm: 14"), 4, "drilling[0].hole_mm",
        "is narrower than the rods", "12 mm", "14 mm or more",
    ),
    "litres out of order": (
        LIQUID.replace("high_l_per_m: 5", "high_l_per_m: 3"), 7, "litres_per_m[0].high_l_per_m",
        "is less than low_l_per_m", "3", "4 or more",
    ),
    "thickness of litres out of order": (
        LIQUID.replace("to_mm: 250", "to_mm: 150"), 7, "litres_per_m[0].to_mm", "is less than from_mm", "150", "200 or"
    ),
}  # fmt: skip


@pytest.mark.parametrize("case", CASES.values(), ids=CASES)
def test_every_fault_is_named_with_its_place(case: tuple[str, int, str, str, str, str]) -> None:
    text, line, field, message, found, allowed = case
    matching = [problem for problem in problems(text) if problem.field == field and message in problem.message]
    assert len(matching) == 1, problems(text)
    (problem,) = matching
    assert problem.file == "sheet.yaml"
    assert problem.line == line
    assert found in problem.found
    assert allowed in problem.allowed


def test_one_fault_is_one_problem() -> None:
    for name in ("misspelt medium", "out of limits", "a price in words", "empty", "holes too near", "through the wall"):
        assert len(problems(CASES[name][0])) == 1, name
    assert len(problems(CREAM.replace("name: store cream", "name:"))) == 1


def test_near_names_are_offered() -> None:
    (problem,) = problems(CASES["misspelt medium"][0])
    assert problem.hint == "did you mean cream?"


def test_all_faults_of_a_file_are_reported_at_once() -> None:
    text = (
        CREAM.replace("active_percent: 60", "active_percent: 160")
        .replace("sides: 1", "sides: 3")
        .replace("depth_mm: 100", "depth_mm: 130")
        .replace("18.50", "free")
        .replace("currency: GBP", "medum: cream")
    )
    found = problems(text)
    assert [problem.line for problem in found] == [4, 6, 13, 16, 19]
    assert [problem.field for problem in found] == [
        "active_percent",
        "medum",
        "drilling[0].sides",
        "drilling[0].depths[0].depth_mm",
        "container.price",
    ]


def test_a_list_or_a_word_is_no_sheet() -> None:
    for text in ("- 1\n", "cream\n", "", "drilling: 3\n", "drilling: [3]\nrods: []\ncontainer: 3\nlitres_per_m: [x]\n"):
        assert problems(text)


def test_a_file_that_is_not_there(tmp_path: pathlib.Path) -> None:
    with pytest.raises(BadInput, match="no such file"):
        read_product_sheet(tmp_path / "none.yaml")


def test_words_are_those_of_the_survey_and_of_the_rules() -> None:
    assert set(get_args(Construction)) <= set(facts()["build.construction"].options)
    for manifest in versions():
        path = rules_folder() / manifest.version / "choices.yaml"
        document: Any = read_document(path).data
        media = next(choice for choice in document["choices"] if choice["id"] == "medium")
        assert set(get_args(Medium)) <= {option["id"] for option in media["options"]}


def test_the_published_schema_takes_what_the_reader_takes() -> None:
    schema = ProductSheet.model_json_schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    for text in (CREAM, RODS, LIQUID):
        jsonschema.validate(yaml.safe_load(text), schema)
    for name in ("misspelt medium", "missing field", "out of limits", "a price in words", "a price below zero"):
        with pytest.raises(jsonschema.ValidationError):
            jsonschema.validate(yaml.safe_load(CASES[name][0]), schema)


# Sheets of the right form most of the time, so that what is wrong with them is mostly in how their figures go together.
MM = st.one_of(st.integers(5, 700), st.floats(5, 400).map(lambda value: round(value, 1)))
DEPTHS = st.one_of(
    st.fixed_dictionaries({"stop_short_mm": MM}),
    st.fixed_dictionaries({"share_percent": st.integers(10, 95)}),
    st.fixed_dictionaries(
        {"depths": st.lists(st.fixed_dictionaries({"thickness_mm": MM, "depth_mm": MM}), min_size=1, max_size=2)},
        optional={"beyond_stop_short_mm": MM},
    ),
)
ROWS = st.sampled_from([{"rows": 1}, {"rows": 2, "row_spacing_mm": 80}, {"rows": 3, "row_spacing_mm": 40}])
DRILLING = st.builds(
    lambda base, depths, rows, odd: {**base, **depths, **rows, **odd},
    st.fixed_dictionaries(
        {
            "constructions": st.sampled_from([["solid_brick"], ["solid_brick", "rubble_stone"]]),
            "from_mm": st.integers(20, 300),
            "hole_mm": st.integers(4, 30),
            "centres_mm": st.integers(60, 250),
            "angle_degrees": st.integers(0, 80),
            "sides": st.integers(1, 2),
        },
        optional={"to_mm": st.integers(200, 700)},
    ),
    DEPTHS,
    ROWS,
    st.one_of(st.just({}), st.just({}), st.just({}), DEPTHS, st.sampled_from([{"hole_mm": None}, {"sides": True}])),
)
SHEETS = st.fixed_dictionaries(
    {
        "name": st.just("x"),
        "medium": st.sampled_from(["cream", "mortar", "aqueous_liquid"]),
        "drilling": st.lists(DRILLING, min_size=1, max_size=2),
    },
    optional={"container": st.fixed_dictionaries({"ml": st.integers(-5, 500)})},
)


@given(SHEETS, st.floats(20, 2000))
@settings(deadline=None, max_examples=300)
def test_a_sheet_is_refused_or_can_be_drilled(data: dict[str, Any], thickness_mm: float) -> None:
    """Whatever is written: problems with their places, or patterns that every later step accepts."""
    refused: tuple[Problem, ...] = ()
    try:
        found = parse_product_sheet(yaml.safe_dump(data).encode(), "sheet.yaml")
    except BadInput as error:
        refused = error.problems
    event("refused" if refused else "read")
    if refused:
        assert all(problem.line > 0 for problem in refused)
        return
    for row in found.patterns():
        spec = hole_spec(row, thickness_mm)
        if spec is not None:
            drill_piece(Piece("horizontal", 0, 2, 0, None, "wall"), spec, row.centres_mm / 2, 2)
    assert found.litres_rows() == ()
