"""Jobs are the same jobs in whatever format they come, and what is wrong with one is said in full."""

import datetime as dt
import json
import pathlib
from typing import Any

import polars as pl
import pytest
import yaml
from jobs_made import (
    TODAY,
    as_line,
    as_row,
    made_jobs,
    made_surveys,
    taken,
    without_places,
    write_csv,
    write_lines,
    write_surveys,
    write_text_parquet,
    write_xlsx,
)

from engine.archive import taken as taken_module
from engine.archive.job import job_schema
from engine.archive.mapping import SheetMapping
from engine.archive.sources import read_unit, sources
from engine.archive.taken import take_in
from engine.archive.taken_row import Reached, RowReader
from engine.columns.layout import flat_schema, members_of
from engine.errors import BadInput
from engine.facts.vocabulary import facts

GOOD: dict[str, Any] = {
    "reference": "R-1",
    "survey_date": "2026-06-15",
    "wall": "front",
    "build.role": "external",
    "build.thickness_mm": 330,
    "build.length_m": 8.5,
    "build.construction": "solid_brick",
    "build.features_in_line": "none",
    "evidence.tide_mark": "yes",
    "moisture.method": "oven",
    "moisture.samples.1.height_mm": 100,
    "moisture.samples.1.depth_mm": 80,
    "moisture.samples.1.mc_percent": 9.5,
    "recommended.medium": "cream",
    "recommended.works": "none",
    "installed.medium": "rods",
    "installed.on": "2026-07-01",
    "outcome.result": "cured",
    "outcome.on": "2026-09-01",
}


def nested(row: dict[str, Any]) -> dict[str, Any]:
    """A row as a line of JSON with dotted names, the rows of its lists as a list."""
    line: dict[str, Any] = {}
    samples: dict[str, Any] = {}
    for name, value in row.items():
        if name.startswith("moisture.samples."):
            samples[name.rpartition(".")[2]] = value
        else:
            line[name] = value
    return line | ({"moisture.samples": [samples]} if samples else {})


def written(kind: str, folder: pathlib.Path, rows: list[dict[str, Any]]) -> pathlib.Path:
    match kind:
        case "csv":
            return write_csv(folder / "jobs.csv", rows, ";")
        case "xlsx":
            return write_xlsx(folder / "jobs.xlsx", rows)
        case "parquet":
            return write_text_parquet(folder / "jobs.parquet", rows)
    return write_lines(folder / "jobs.jsonl", [nested(row) for row in rows])


KINDS = ("csv", "xlsx", "parquet", "jsonl")
FIRST = {"csv": 2, "xlsx": 2, "parquet": 1, "jsonl": 1}


def test_the_same_jobs_in_every_format_are_the_same_rows(tmp_path: pathlib.Path) -> None:
    surveys = made_surveys(200, 7)
    jobs = made_jobs(surveys, 8)
    lines = [as_line(survey, job) for survey, job in zip(surveys, jobs, strict=True)]
    rows = [as_row(line) for line in lines]
    read, rejects = taken(write_surveys(tmp_path / "surveys", surveys, jobs))
    assert not rejects
    assert read.schema == {**flat_schema(), **job_schema()}
    expected = without_places(read)
    assert expected.get_column("recommended.works").list.len().max() == 3
    expected.write_parquet(tmp_path / "typed.parquet")
    for path in (
        write_lines(tmp_path / "jobs.jsonl", lines),
        write_csv(tmp_path / "comma.csv", rows),
        write_csv(tmp_path / "mark.csv", rows, ";", "utf-8-sig"),
        write_csv(tmp_path / "tab.csv", rows, "\t"),
        write_xlsx(tmp_path / "jobs.xlsx", rows),
        write_text_parquet(tmp_path / "text.parquet", rows),
        tmp_path / "typed.parquet",
    ):
        for size in (50_000, 90):
            found, wrong = taken(path, size)
            assert not wrong, path.name
            assert without_places(found).equals(expected), path.name
            first = found.get_column("at.row").to_list()
            assert first == list(range(first[0], first[0] + 200))


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize(
    ("column", "value", "message", "allowed", "hint"),
    [
        ("build.construction", "solid_brik", "is not one of the values", "solid_brick", "did you mean solid_brick?"),
        ("build.thickness_mm", 33, "is out of limits", "whole number from 50 to 2000 mm", "if 33 is in cm, write 330"),
        ("build.thickness_mm", 330.5, "is not a whole number", "whole number from 50", ""),
        ("build.length_m", "8,5", "is not a number", "number from 0.1 to 500 m", "written with a point"),
        ("evidence.tide_mark", "perhaps", "is not yes or no", "yes, no, unknown", ""),
        ("build.features_in_line", "cavern", "is not one of the values", "none, or any of", ""),
        ("survey_date", "15.06.2026", "is not a date", "YYYY-MM-DD", "date_format"),
        ("survey_date", "2027-06-15", "is in the future of the day of judging", TODAY.isoformat(), ""),
        ("survey_date", None, "is missing", "", ""),
        ("reference", None, "is missing", "", ""),
        ("wall", "the front", "is no id of a wall", "letters, digits, - and _", "{the front: the-front}"),
        ("build.cavity_mm", 50, "does not apply to this wall", "build.construction is solid_brick", ""),
        ("build.openings_m", 9, "is more than the wall is long", "8.5 m at the most", ""),
        ("earlier_treatment.year", 2027, "is later than the survey", "2026", ""),
        ("moisture.samples.1.depth_mm", 400, "is deeper than the wall is thick", "330 mm", ""),
        ("moisture.samples.1.mc_percent", 61, "is out of limits", "number from 0 to 60", ""),
        ("recommended.medium", "creem", "is not one of the values", "cream", "did you mean cream?"),
        ("recommended.works", "strip_plastr", "is not one of the values", "strip_plaster", "did you mean"),
        ("installed.medium", "rod", "is not one of the values", "rods", "did you mean rods?"),
        ("installed.on", "2026-06-01", "is before the survey", "2026-06-15 at the earliest", ""),
        ("outcome.on", "2026-06-30", "is before the day of installing", "2026-07-01 at the earliest", ""),
        ("outcome.result", "healed", "is not one of the values", "cured, better", ""),
        ("note", "a\x07b", "holds a character that is no text", "printable", "U+0007"),
        ("note", "n" * 2001, "is too long", "at most 2000 characters", ""),
    ],
)
def test_a_fault_is_told_with_its_place_and_what_is_allowed(
    tmp_path: pathlib.Path, kind: str, column: str, value: Any, message: str, allowed: str, hint: str
) -> None:
    if kind == "xlsx" and isinstance(value, str) and "\x07" in value:
        pytest.skip("a workbook cannot hold it")
    rows = [GOOD, {**GOOD, "wall": "rear", column: value}, {**GOOD, "wall": "side"}]
    if value == "2027-06-15":  # later than what was done to the wall, too
        rows[1] |= dict.fromkeys(("installed.on", "outcome.on"))
    path = written(kind, tmp_path, rows)
    flat, rejects = taken(path)
    assert flat.get_column("wall").to_list() == ["front", "side"]
    assert len(rejects) == 1, rejects
    [reject] = rejects
    assert (reject.file, reject.row) == (path.as_posix(), FIRST[kind] + 1)
    assert reject.sheet == ("jobs" if kind == "xlsx" else "")
    assert reject.column == column
    assert reject.value.startswith("" if value is None else str(value)[:199])
    assert reject.message == message
    assert allowed in reject.allowed
    assert hint in reject.hint


def test_all_faults_of_a_row_are_told_at_once(tmp_path: pathlib.Path) -> None:
    bad = {**GOOD, "build.role": "outer", "build.thickness_mm": "thick", "recommended.medium": "glue",
           "build.openings_m": 9, "outcome.on": "2026-06-30"}  # fmt: skip
    for kind in KINDS:
        folder = tmp_path / kind
        folder.mkdir()
        flat, rejects = taken(written(kind, folder, [bad, GOOD]))
        assert flat.height == 1
        columns = {"build.role", "build.thickness_mm", "recommended.medium", "build.openings_m", "outcome.on"}
        assert {reject.column for reject in rejects} == columns


def test_a_sample_keeps_the_number_it_has_in_the_file(tmp_path: pathlib.Path) -> None:
    row = {**GOOD, "moisture.samples.4.height_mm": 300, "moisture.samples.4.depth_mm": 80}
    _, [reject] = taken(write_csv(tmp_path / "jobs.csv", [row]))
    assert reject.column == "moisture.samples.4"
    assert "a sample needs mc_percent" in reject.message
    row["moisture.samples.4.mc_percent"] = 3
    flat, rejects = taken(write_csv(tmp_path / "jobs.csv", [row]))
    assert not rejects
    assert [sample["height_mm"] for sample in flat.item(0, "moisture.samples")] == [100, 300]


def test_a_mapping_translates_before_anything_is_checked(tmp_path: pathlib.Path) -> None:
    mapping = SheetMapping.model_validate(
        {
            "columns": {
                "Job no": "reference",
                "Date": "survey_date",
                "Wall": "wall",
                "Thick (cm)": "build.thickness_mm",
                "Damp?": "evidence.tide_mark",
                "Made of": "build.construction",
                "DPC": "recommended.medium",
                "Length": "build.length_m",
                "Works": "recommended.works",
            },
            "ignored": ["Office"],
            "values": {"build.construction": {"9\" solid": "solid_brick", "n/k": "unknown"},
                       "evidence.tide_mark": {"Y": True}, "recommended.medium": {"cream inj.": "cream"},
                       "recommended.works": {"std": ["strip_plaster", "clear_cavity"]}},
            "date_format": "%d/%m/%Y",
            "decimal_comma": "yes",
            "units": {"build.thickness_mm": 10},
            "constants": {"surveyor": "S9", "build.role": "external"},
        }
    )  # fmt: skip
    rows = [
        {"Job no": "A1", "Date": "15/06/2026", "Wall": "f", "Thick (cm)": "21,5", "Damp?": "y", "Office": "x",
         "Made of": '9" SOLID', "DPC": "Cream inj.", "Length": "8,5", "Works": "std"},
        {"Job no": "A2", "Date": "2026-06-15", "Wall": "f", "Thick (cm)": "33", "Damp?": "no", "Office": "y",
         "Made of": "n/k", "DPC": "rods", "Length": "", "Works": "none"},
        {"Job no": "A3", "Date": "31/06/2026", "Wall": "f", "Thick (cm)": "3,3", "Damp?": "no", "Office": "y",
         "Made of": "mud", "DPC": "rods", "Length": "1.5", "Works": ""},
    ]  # fmt: skip
    for path in (write_csv(tmp_path / "a.csv", rows, ";"), write_xlsx(tmp_path / "a.xlsx", rows),
                 write_lines(tmp_path / "a.jsonl", rows)):  # fmt: skip
        flat, rejects = taken(path, mapping=mapping)
        assert flat.get_column("build.thickness_mm").to_list() == [215, 330]
        assert flat.get_column("build.length_m").to_list() == [8.5, None]
        assert flat.get_column("build.construction").to_list() == ["solid_brick", None]
        assert flat.get_column("evidence.tide_mark").to_list() == [True, False]
        assert flat.get_column("recommended.medium").to_list() == ["cream", "rods"]
        assert flat.get_column("recommended.works").to_list() == [["clear_cavity", "strip_plaster"], []]
        assert flat.get_column("surveyor").to_list() == ["S9", "S9"]
        assert flat.get_column("build.role").to_list() == ["external", "external"]
        assert flat.get_column("survey_date").dt.to_string().to_list() == ["2026-06-15", "2026-06-15"]
        told = {(reject.column, reject.value) for reject in rejects}
        assert told == {("Date", "31/06/2026"), ("Thick (cm)", "3,3"), ("Made of", "mud"), ("Length", "1.5")}


FIRM = SheetMapping.model_validate(
    {
        "columns": {"Job": "reference", "When": "survey_date", "Thick": "build.thickness_mm", "By":
                    "existing_course.bridged_by", "Long": "build.length_m", "Made of": "build.construction"},
        "values": {"build.construction": {"flint": "solid_brick", "brick": "solid_brick"},
                   "existing_course.bridged_by": {"ground": "paving"}},
        "date_format": "%d/%m/%Y",
        "decimal_comma": "yes",
        "units": {"build.thickness_mm": 10},
        "constants": {"surveyor": "S9", "build.role": "external", "ground.level_mm": -150},
        "set_separator": ",",
    }
)  # fmt: skip
THEIRS: dict[str, Any] = {"Job": "T", "When": "15/06/2026", "wall": "w", "Thick": "15", "Long": "7,5",
                          "Made of": "brick", "existing_course.kind": "slate", "By": "ground,render"}  # fmt: skip
OWN: dict[str, Any] = {"reference": "O", "survey_date": "2026-06-15", "wall": "w", "build.thickness_mm": "150",
                       "build.length_m": "7.5", "build.construction": "flint", "existing_course.kind": "slate",
                       "existing_course.bridged_by": "ground; render"}  # fmt: skip
CHECKED = ("reference", "survey_date", "build.thickness_mm", "build.length_m", "build.construction",
           "surveyor", "build.role", "ground.level_mm")  # fmt: skip
BRIDGED = facts()["existing_course.bridged_by"]


def read_as(flat: pl.DataFrame) -> list[tuple[Any, ...]]:
    rows = flat.select(pl.col("survey_date").dt.to_string(), pl.exclude("survey_date")).select(CHECKED).rows()
    sets = [sorted(members_of(BRIDGED, mask)) for mask in flat.get_column("existing_course.bridged_by")]
    return [(*row, each) for row, each in zip(rows, sets, strict=True)]


THEIRS_READ = ("T", "2026-06-15", 150, 7.5, "solid_brick", "S9", "external", -150, ["paving", "render"])
OWN_READ = ("O", "2026-06-15", 150, 7.5, "flint", None, None, None, ["ground", "render"])
WAYS = ("fast", "strict")


@pytest.fixture(params=WAYS)
def way(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> str:
    """Everything the one way or the other."""
    if request.param == "strict":
        monkeypatch.setattr(taken_module, "contradiction_mask", lambda flat: pl.repeat(True, flat.height, eager=True))
    else:
        monkeypatch.setattr(RowReader, "read", lambda *_: pytest.fail("a row went the strict way"))
    return str(request.param)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.usefixtures("way")
def test_a_mapping_is_about_the_columns_it_names_and_no_others(tmp_path: pathlib.Path, kind: str) -> None:
    for name, row, expected in (("theirs", THEIRS, THEIRS_READ), ("own", OWN, OWN_READ)):
        folder = tmp_path / name
        folder.mkdir()
        flat, rejects = taken(written(kind, folder, [row, {**row, "wall": "v"}]), mapping=FIRM)
        assert not rejects
        assert read_as(flat) == [expected, expected]


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.usefixtures("way")
def test_a_sheet_may_have_both_the_names_of_the_firm_and_ours(tmp_path: pathlib.Path, kind: str) -> None:
    row = {**OWN, "Thick": "15", "surveyor": "", "build.role": "party"}
    del row["build.thickness_mm"]
    filled = {name: value for name, value in row.items() if value} if kind == "jsonl" else row
    flat, rejects = taken(written(kind, tmp_path, [filled]), mapping=FIRM)
    assert not rejects
    # A line without a surveyor lacks the column, a sheet with a blank cell has it.
    surveyor = "S9" if kind == "jsonl" else None
    assert read_as(flat) == [("O", "2026-06-15", 150, 7.5, "flint", surveyor, "party", -150, ["ground", "render"])]


@pytest.mark.usefixtures("way")
def test_a_column_named_as_itself_is_in_the_words_of_the_firm(tmp_path: pathlib.Path) -> None:
    data = FIRM.model_dump()
    itself = SheetMapping.model_validate({**data, "columns": {name: name for name in FIRM.columns.values()}})
    row = {**OWN, "survey_date": "15/06/2026", "build.thickness_mm": "15", "build.length_m": "7,5",
           "existing_course.bridged_by": "ground, render"}  # fmt: skip
    for kind in KINDS:
        folder = tmp_path / kind
        folder.mkdir()
        flat, rejects = taken(written(kind, folder, [row]), mapping=itself)
        assert not rejects
        assert read_as(flat) == [("O", *THEIRS_READ[1:])]


@pytest.mark.usefixtures("way")
def test_typed_columns_of_ours_are_left_as_they_are(tmp_path: pathlib.Path) -> None:
    mask = 1 << BRIDGED.options.index("ground") | 1 << BRIDGED.options.index("render")
    own = pl.DataFrame(
        {"reference": ["O"], "survey_date": [dt.date(2026, 6, 15)], "wall": ["w"], "build.thickness_mm": [150],
         "build.length_m": [7.5], "build.construction": pl.Series(["flint"], dtype=pl.Categorical()),
         "existing_course.kind": ["slate"],
         "existing_course.bridged_by": pl.Series([mask], dtype=pl.UInt16())}
    )  # fmt: skip
    own.write_parquet(tmp_path / "own.parquet")
    assert read_as(taken(tmp_path / "own.parquet", mapping=FIRM)[0]) == [OWN_READ]
    theirs = own.select(Job=pl.lit("T"), When="survey_date", wall="wall", Thick=pl.lit(15), Long="build.length_m",
                        Made=pl.lit("brick"), **{"existing_course.kind": "existing_course.kind"},
                        By=pl.lit(["ground", "render"]))  # fmt: skip
    theirs.rename({"Made": "Made of"}).write_parquet(tmp_path / "theirs.parquet")
    assert read_as(taken(tmp_path / "theirs.parquet", mapping=FIRM)[0]) == [THEIRS_READ]


@pytest.mark.usefixtures("way")
def test_numbers_of_a_workbook_are_read_as_they_are(tmp_path: pathlib.Path) -> None:
    own = {**OWN, "build.thickness_mm": 150, "build.length_m": 7.5}
    theirs = {**THEIRS, "Thick": 15, "Long": 7.5}
    for row, expected in ((own, OWN_READ), (theirs, THEIRS_READ)):
        flat, rejects = taken(write_xlsx(tmp_path / f"{expected[0]}.xlsx", [row]), mapping=FIRM)
        assert not rejects
        assert read_as(flat) == [expected]


def test_each_line_of_json_is_read_by_the_names_it_has(tmp_path: pathlib.Path) -> None:
    mixed = {**OWN, "reference": "M", "Thick": 15, "build.length_m": 7.5}
    del mixed["build.thickness_mm"]
    lines = [THEIRS, OWN, mixed, THEIRS, {**OWN, "build.thickness_mm": "15"}]
    flat, [reject] = taken(write_lines(tmp_path / "jobs.jsonl", lines), mapping=FIRM)
    constants = ("S9", "external", -150)
    assert read_as(flat) == [
        THEIRS_READ,
        OWN_READ,
        ("M", "2026-06-15", 150, 7.5, "flint", *constants, ["ground", "render"]),
        THEIRS_READ,
    ]
    assert flat.get_column("at.row").to_list() == [1, 2, 3, 4]
    # By the name this line has, not by that of the firm.
    assert (reject.row, reject.column, reject.value) == (5, "build.thickness_mm", "15")


def test_a_key_in_its_section_can_be_named_by_a_mapping_of_lines(tmp_path: pathlib.Path) -> None:
    mapping = SheetMapping(columns={"property.survey_date": "survey_date"}, date_format="%d/%m/%Y")
    line = {"property": {"reference": "N", "survey_date": "15/06/2026"}, "wall": "w"}
    flat, rejects = taken(write_lines(tmp_path / "jobs.jsonl", [line]), mapping=mapping)
    assert not rejects
    assert flat.get_column("survey_date").to_list() == [dt.date(2026, 6, 15)]


def test_constants_of_a_mapping_without_columns_are_for_every_sheet(tmp_path: pathlib.Path) -> None:
    mapping = SheetMapping.model_validate({"constants": {"surveyor": "S9", "build.role": "external"}})
    for kind in KINDS:
        folder = tmp_path / kind
        folder.mkdir()
        flat, rejects = taken(written(kind, folder, [{**OWN, "build.role": "party"}]), mapping=mapping)
        assert not rejects
        assert flat.select("surveyor", "build.role").rows() == [("S9", "party")]


def test_a_form_is_ours_whatever_the_mapping_says(tmp_path: pathlib.Path) -> None:
    path = tmp_path / "form.csv"
    path.write_text(
        "fact,question,unit,allowed,answer,established,by,notes\nreference,,,,R1,,,\nsurvey_date,,,,2026-06-15,,,\n"
        "wall,,,,front,,,\nbuild.thickness_mm,,mm,,150,,,\nbuild.length_m,,m,,7.5,,,\nbuild.construction,,,,flint,,,\n"
        "existing_course.kind,,,,slate,,,\nexisting_course.bridged_by,,,,ground; render,,,\n"
    )
    for columns in ({}, {"build.thickness_mm": "build.thickness_mm"}):
        flat, rejects = taken(path, mapping=SheetMapping.model_validate({**FIRM.model_dump(), "columns": columns}))
        assert not rejects
        assert read_as(flat) == [("R1", *OWN_READ[1:])]


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("word", ["grund", "it's", "a\\b", '"quoted', "w" * 150])
def test_a_bad_member_of_a_set_is_told_under_its_header_as_the_cell_has_it(
    tmp_path: pathlib.Path, kind: str, word: str
) -> None:
    own = {**OWN, "existing_course.bridged_by": f"ground; {word}"}
    theirs = {**THEIRS, "By": f"ground, {word}"}
    for row, column in ((own, "existing_course.bridged_by"), (theirs, "By")):
        folder = tmp_path / column
        folder.mkdir()
        _, [reject] = taken(written(kind, folder, [row]), mapping=FIRM)
        assert (reject.column, reject.value, reject.message) == (column, word, "is not one of the values")
    if kind == "jsonl":
        listed = {**OWN, "existing_course.bridged_by": ["ground", word]}
        _, [reject] = taken(write_lines(tmp_path / "listed.jsonl", [listed]), mapping=FIRM)
        assert (reject.column, reject.value) == ("existing_course.bridged_by", word)


SURVEY = {
    "form": 1,
    "property": {"reference": "Y-1", "survey_date": "2026-06-15"},
    "walls": [
        {"id": "front", "build": {"role": "external", "thickness_mm": 330}},
        {"id": "rear", "build": {"role": "outer", "thickness_mm": 330, "cavity_mm": 400}},
        {"id": "side", "build": {"role": "party"}, "note": "of the wall"},
    ],
}


def survey_in(folder: pathlib.Path, survey: Any, job: Any = None) -> pathlib.Path:
    folder.mkdir(exist_ok=True)
    text = survey if isinstance(survey, str) else yaml.safe_dump(survey, sort_keys=False)
    (folder / "job.yaml").write_text(text)
    if job is not None:
        (folder / "job.recommended.yaml").write_text(yaml.safe_dump(job, sort_keys=False))
    return folder


def test_one_bad_wall_does_not_stop_the_others_of_its_survey(tmp_path: pathlib.Path) -> None:
    flat, rejects = taken(survey_in(tmp_path / "y", SURVEY))
    assert flat.get_column("wall").to_list() == ["front", "side"]
    assert flat.get_column("note").to_list() == [None, "of the wall"]
    line = yaml.safe_dump(SURVEY, sort_keys=False).splitlines().index("- id: rear") + 1
    assert {reject.row for reject in rejects} == {line}
    assert {(each.column, each.value, each.line - line) for each in rejects} == {
        ("build.role", "outer", 2),
        ("build.cavity_mm", "400", 4),
    }
    assert any("external" in reject.allowed for reject in rejects)


def test_a_fault_of_the_property_rejects_each_of_its_walls(tmp_path: pathlib.Path) -> None:
    survey = {**SURVEY, "property": {"reference": "Y-1", "survey_date": "2026-06-15", "age_band": "old"}}
    flat, rejects = taken(survey_in(tmp_path / "y", survey))
    assert flat.height == 0
    assert len({reject.place for reject in rejects}) == 3
    assert sum(reject.column == "property.age_band" for reject in rejects) == 3


def test_a_survey_that_cannot_be_read_is_one_rejected_row(tmp_path: pathlib.Path) -> None:
    flat, rejects = taken(survey_in(tmp_path / "y", 'form: 1\nproperty: "open\n'))
    assert flat.height == 0
    assert [(reject.row, reject.line > 0) for reject in rejects] == [(2, True)]
    flat, rejects = taken(survey_in(tmp_path / "y", {"form": 1, "property": SURVEY["property"], "walls": []}))
    assert flat.height == 0
    assert len(rejects) == 1


def test_two_walls_of_one_id_and_the_second_is_rejected(tmp_path: pathlib.Path) -> None:
    survey = {**SURVEY, "walls": [{"id": "front"}, {"id": "Front"}]}
    flat, [reject] = taken(survey_in(tmp_path / "y", survey))
    assert flat.get_column("wall").to_list() == ["front"]
    assert (reject.column, reject.message) == ("wall", "another wall has this id already")


def test_walls_on_one_line_are_counted_each(tmp_path: pathlib.Path) -> None:
    text = "property: {reference: Y, survey_date: 2026-06-15}\nwalls: [{id: a}, {id: b b}, {id: c c}, {id: d}]\n"
    flat, rejects = taken(survey_in(tmp_path / "y", text))
    assert flat.select("at.sheet", "at.row", "wall").rows() == [("", 2, "a"), ("wall 4 of the line", 2, "d")]
    assert len({reject.place for reject in rejects}) == 2


def test_what_is_recorded_beside_a_survey_is_checked_wall_by_wall(tmp_path: pathlib.Path) -> None:
    survey = {**SURVEY, "walls": [{"id": name} for name in ("a", "b", "c", "d", "e")]}
    job = {
        "form": 1,
        "surveyor": "S3",
        "walls": [
            {"wall": "a", "recommended": {"medium": "creem"}},
            {"wall": "b", "recommended": {"medium": "cream", "works": ["strip_plaster"], "cautions": "none"}},
            {"wall": "c", "installed": {"medium": "rods", "on": "2026-06-01"}},
            {"wall": "d"},
            {"wall": "d"},
            {"wall": "rear"},
        ],
    }
    flat, rejects = taken(survey_in(tmp_path / "y", survey, job))
    assert flat.select(
        "wall", "recommended.medium", "recommended.works", "recommended.cautions", "surveyor"
    ).rows() == [
        ("b", "cream", ["strip_plaster"], [], "S3"),
        ("e", None, None, None, "S3"),
    ]
    assert [(each.column, each.value, each.sheet) for each in rejects] == [
        ("recommended.medium", "creem", ""),
        ("installed.on", "2026-06-01", ""),
        ("wall", "d", ""),
        ("wall", "rear", "job.recommended.yaml"),
    ]
    assert "job.recommended.yaml, line" in rejects[0].message
    assert rejects[0].hint == "did you mean cream?"
    assert len({reject.place for reject in rejects}) == 4


def test_a_line_of_json_is_judged_by_itself(tmp_path: pathlib.Path) -> None:
    good = json.dumps({**nested(GOOD)})
    lines = [good, "{not json", "", '{"reference": "A", "reference": "B"}', "[1]", '{"build": {"length_m": NaN}}',
             json.dumps({**nested(GOOD), "build.colour": "red", "moisture.samples": []})]  # fmt: skip
    path = tmp_path / "jobs.jsonl"
    path.write_text("\n".join(lines))
    flat, rejects = taken(path)
    assert flat.get_column("at.row").to_list() == [1]
    assert [(each.row, each.column) for each in rejects] == [
        (2, ""),
        (4, ""),
        (5, ""),
        (6, ""),
        (7, "build.colour"),
        (7, "moisture.samples"),
    ]
    assert next(each for each in rejects if each.row == 4).message == "the line names 'reference' twice"


def test_typed_parquet_is_not_read_row_by_row(tmp_path: pathlib.Path, monkeypatch: pytest.MonkeyPatch) -> None:
    surveys = made_surveys(60, 11)
    read, _ = taken(write_surveys(tmp_path / "s", surveys, made_jobs(surveys, 12)))
    read.drop("at.file", "at.sheet", "at.row").write_parquet(tmp_path / "typed.parquet")

    def never(*_: object, **__: object) -> None:
        raise AssertionError("a row went the strict way")

    monkeypatch.setattr("engine.archive.taken.RowReader.read", never)
    flat, rejects = taken(tmp_path / "typed.parquet")
    assert flat.height == 60
    assert not rejects


def test_numbers_of_another_type_are_taken_only_where_nothing_is_lost(tmp_path: pathlib.Path) -> None:
    samples = [[{"height_mm": 100.0, "depth_mm": 80, "mc_percent": 4}], [{"height_mm": 100.5, "depth_mm": 80,
               "mc_percent": 4}], [{"height_mm": None, "depth_mm": 80, "mc_percent": 4}]]  # fmt: skip
    frame = pl.DataFrame(
        {
            "reference": [1, 2, 3],
            "survey_date": ["2026-06-15"] * 3,
            "wall": ["a", "b", "c"],
            "build.thickness_mm": [330.0, 330.0, 330.0],
            "moisture.samples": samples,
        },
        strict=False,
    )
    frame.write_parquet(tmp_path / "jobs.parquet")
    flat, rejects = taken(tmp_path / "jobs.parquet")
    assert flat.select("reference", "build.thickness_mm").rows() == [("1", 330)]
    assert {(each.row, each.column) for each in rejects} == {
        (2, "moisture.samples.1.height_mm"),
        (3, "moisture.samples.1.height_mm"),
    }


def test_units_can_be_read_in_any_order(tmp_path: pathlib.Path) -> None:
    rows = [{**GOOD, "wall": f"w{number}", "note": "one\ntwo" if number % 3 else "x"} for number in range(50)]
    path = write_csv(tmp_path / "jobs.csv", rows)
    [source] = sources([path])
    units = source.units(7)
    assert [unit.first for unit in units] == [2 + 7 * n for n in range(8)]
    assert sum(unit.count or 0 for unit in units) == 50
    back = [take_in(read_unit(unit), None, TODAY).flat for unit in reversed(units)]
    assert pl.concat(back[::-1]).equals(taken(path)[0])


def test_a_filled_in_form_is_taken_in_wall_by_wall(tmp_path: pathlib.Path) -> None:
    head = "fact,question,unit,allowed,answer,answer,established,by,notes\n"
    lines = "reference,,,,R1,,,,\nsurvey_date,,,,2026-06-15,,,,\nwall,,,,front,rear,,,\nsurveyor,,,,S1,,,,\n"
    facts = "build.thickness_mm,,mm,,330,33,,,\nbuild.role,,,,external,outer,,,\n"
    path = tmp_path / "form.csv"
    path.write_text(head + lines + facts)
    flat, rejects = taken(path)
    assert flat.select("reference", "wall", "surveyor", "build.thickness_mm").rows() == [("R1", "front", "S1", 330)]
    assert [(each.column, each.value, each.line) for each in sorted(rejects, key=lambda each: each.line)] == [
        ("build.thickness_mm", "33", 6),
        ("build.role", "outer", 7),
    ]
    assert len({reject.place for reject in rejects}) == 1


@pytest.mark.parametrize("kind", KINDS)
def test_one_header_feeds_two_columns_in_either_way_of_reading(tmp_path, kind):
    mapping = SheetMapping(
        columns={"We advised": ["recommended.verdict", "recommended.medium"], "Elevation": "wall"},
        values={
            "recommended.verdict": {"DPC cream": "treat", "nothing": "no_course"},
            "recommended.medium": {"DPC cream": "cream", "nothing": "unknown"},
            "wall": {"North gable": "north-gable"},
        },
    )
    cells = [("North gable", "DPC cream"), ("b", "nothing"), ("South gable", "dpc cream"), ("d", "rods")]
    base = {"reference": "A", "survey_date": "2026-06-15"}
    rows = [{**base, "Elevation": wall, "We advised": advised} for wall, advised in cells]
    path = tmp_path / f"jobs.{kind}"
    {"csv": write_csv, "xlsx": write_xlsx, "parquet": write_text_parquet, "jsonl": write_lines}[kind](path, rows)
    flat, rejects = taken(path, mapping=mapping)
    assert flat.select("wall", "recommended.verdict", "recommended.medium").rows() == [
        ("north-gable", "treat", "cream"),
        ("b", "no_course", None),
    ]
    told = {(each.column, each.value, each.allowed, each.hint) for each in rejects if each.value == "South gable"}
    assert told == {
        (
            "Elevation",
            "South gable",
            "letters, digits, - and _; no spaces; at most 40",
            "a mapping can translate it: values: wall: {South gable: south-gable}",
        )
    }
    assert [(each.column, each.value) for each in rejects if each.value == "rods"] == [("We advised", "rods")]
    strict, wrong = RowReader(mapping, TODAY).read(
        ("f", "", 2),
        {**base, "wall": "North gable", "recommended.verdict": "DPC cream", "recommended.medium": "DPC cream"},
        {},
        Reached({}, mapping.headers["we advised"] + ("wall",)),
    )
    assert not wrong
    assert strict is not None
    assert (strict["recommended.verdict"], strict["recommended.medium"]) == ("treat", "cream")


def test_a_bad_date_is_said_as_the_mapping_says_dates(tmp_path):
    mapping = SheetMapping(columns={"Day": "survey_date"}, date_format="dd/mm/yyyy")
    write_csv(tmp_path / "jobs.csv", [{"reference": "A", "Day": "31/02/2025", "wall": "a"}])
    _, rejects = taken(tmp_path / "jobs.csv", mapping=mapping)
    assert [(r.message, r.allowed) for r in rejects] == [
        ("is not a date as dd/mm/yyyy", "a date as dd/mm/yyyy, or as YYYY-MM-DD")
    ]


def test_a_stray_cell_at_the_far_end_of_a_sheet_is_a_problem_and_takes_no_memory(tmp_path):
    import openpyxl

    book = openpyxl.Workbook()
    book.active.append(["reference", "survey_date", "wall"])
    book.active["XFD1048576"] = "x"
    book.save(tmp_path / "far.xlsx")
    with pytest.raises(BadInput, match=r"too great to be read: sheet Sheet reaches to row 1048576, column 16384"):
        sources([tmp_path / "far.xlsx"])


def test_half_a_character_in_a_line_rejects_that_line_alone(tmp_path):
    lines = [
        '{"reference":"R1","survey_date":"2026-06-01","wall":"w","note":"\\ud800"}',
        '{"ref\\udfff":"R2"}',
        '{"reference":"R3","survey_date":"2026-06-01","wall":"w","note":"\\ud83d\\ude00"}',
    ]
    (tmp_path / "x.jsonl").write_text("\n".join(lines), encoding="utf-8")
    (unit,) = sources([tmp_path / "x.jsonl"])[0].units()
    taken = take_in(read_unit(unit), None, dt.date(2026, 11, 26))
    assert taken.flat.get_column("reference").to_list() == ["R3"]
    assert [(each.row, each.message) for each in taken.rejects] == [
        (1, "the line holds half a character, a lone surrogate"),
        (2, "the line holds half a character, a lone surrogate"),
    ]


def test_an_option_is_taken_whatever_its_case_and_with_spaces_for_underscores(tmp_path):
    rows = [
        "reference,survey_date,wall,build.construction,floor.timbers_built_in,outcome.result",
        "R1,2026-06-01,w,Solid brick,Joist ends; wall-plate,Cured",
        "R2,2026-06-01,w,SOLID_BRICK,none,better",
    ]
    (tmp_path / "x.csv").write_text("\n".join(rows), encoding="utf-8")
    (unit,) = sources([tmp_path / "x.csv"])[0].units()
    taken = take_in(read_unit(unit), None, dt.date(2026, 11, 26))
    assert taken.rejects == ()
    assert taken.flat.get_column("build.construction").to_list() == ["solid_brick", "solid_brick"]
    assert taken.flat.get_column("floor.timbers_built_in").to_list() == [0b11, 0]
    assert taken.flat.get_column("outcome.result").to_list() == ["cured", "better"]
