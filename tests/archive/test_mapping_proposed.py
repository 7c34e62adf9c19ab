"""What is proposed for the sheet of an invented firm, and what is rightly not."""

import datetime as dt

import pytest
from jobs_made import taken

from cli.archive_map_command import Format, archive_map
from cli.main import exit_code_of
from cli.mapping_example import EXAMPLE
from engine.archive.headers import propose
from engine.archive.headers_read import head_of
from engine.archive.headers_values import our_word
from engine.archive.headers_words import synonyms
from engine.archive.mapping import mapping_text, read_mapping
from engine.archive.mapping_columns import sheet_columns
from engine.errors import BadInput

SHEET = [
    ("Job No.", "reference", ["J1", "J2", "J3"]),
    ("Client", None, ["a", "b", "c"]),
    ("Postcode", None, ["AB1 2CD", "AB1 2CE", "AB1 2CF"]),
    ("Date of Survey", "survey_date", ["03/05/2024", "14/05/2024", "20/05/2024"]),
    ("Surveyed by", "surveyor", ["S1", "S2", "S1"]),
    ("Elevation", "wall", ["front", "rear", "side"]),
    ("Property Age", "property.age_band", ["Victorian", "1930s", "Georgian"]),
    ("Listed?", "property.protection", ["Grade II", "No", "No"]),
    ("WallType", "build.construction", ["Solid Brick", '9" solid brick', "Cavity"]),
    ("Wall thickness (cm)", "build.thickness_mm", ["22.5", "33", "27"]),
    ("Length (m)", "build.length_m", ["7.5", "4", "n/k"]),
    ("Ext / Int", "build.role", ["Ext", "Party", "int"]),
    ("Mortar", "build.mortar_kind", ["lime mortar", "cement", "lime"]),
    ("Existing D.P.C.", "existing_course.kind", ["Slate", "Felt", "none"]),
    ("DPC ht above GL (mm)", "existing_course.height_above_ground_mm", [120, 40, None]),
    ("DPC bridged by", "existing_course.bridged_by", ["render / high ground", "none", ""]),
    ("GL to FFL", "ground.level_mm", ["150", "-50", "0"]),
    ("Floor type", "floor.kind", ["Suspended timber", "solid", "Solid"]),
    ("Airbricks", "floor.subfloor_vents", ["clear", "n/k", "blocked"]),
    ("Height of damp", "evidence.damp_height_mm", ["600", "900", "400"]),
    ("Tide mark (Y/N)", "evidence.tide_mark", ["Y", "N", "Y"]),
    ("Salts visible", "evidence.efflorescence", ["light", "none", "heavy"]),
    ("Gutters", "evidence.rainwater_goods", ["poor", "sound", "ok"]),
    ("Ext. render", "evidence.render", ["blown", "none", "none"]),
    ("Pointing", "evidence.pointing", ["Good", "Poor", "hard cement"]),
    ("Mold", "evidence.mould", ["None", "corners", "none"]),
    ("Prev. treatment", "earlier_treatment.medium", ["Injected", "None", "None"]),
    ("Year treated", "earlier_treatment.year", ["1987", "", ""]),
    ("Chlorides %", "salts.chloride_percent", ["0.12", "", "0.3"]),
    ("RH (%)", "climate.air_rh_percent", ["65", "70", "58"]),
    ("Room Temp", "climate.air_temperature_c", ["18", "17", "21"]),
    ("Recommended treatment", "recommended.medium", ["Cream", "Rods", "dpc cream"]),
    ("Other works", "recommended.works", ["hack off plaster", "lower ground levels", "none"]),
    ("Treatment installed", "installed.medium", ["DPC Cream", "Rods", "cream"]),
    ("Date installed", "installed.on", ["12/06/2024", "", "30/06/2024"]),
    ("Callback result", "outcome.result", ["Dry", "still damp", "improved"]),
    ("Price (£)", None, ["1200", "900", "850"]),
    ("timbr mc %", "floor.timber_moisture_percent", [18, 22, 16]),
    ("S1 height", "moisture.samples.1.height_mm", [100, 100, 100]),
    ("MC 1", "moisture.samples.1.mc_percent", [8.2, 6.0, 4.1]),
    ("Remarks", "note", ["", "x", ""]),
]
HEADERS = [header for header, _, _ in SHEET]
ROWS = list(zip(*(cells for _, _, cells in SHEET), strict=True))


@pytest.fixture(scope="module")
def proposal():
    return propose(HEADERS, ROWS)


@pytest.mark.parametrize(("header", "column"), [(header, column) for header, column, _ in SHEET])
def test_a_messy_header_finds_its_column_or_none(proposal, header, column):
    assert {each.header: each.column for each in proposal.placed}.get(header) == column


def test_headers_and_columns_go_together_one_to_one(proposal):
    columns = [each.column for each in proposal.placed]
    assert len(columns) == len(set(columns))
    assert {each.header for each in (*proposal.placed, *proposal.not_placed)} == set(HEADERS)


def test_a_unit_in_brackets_becomes_a_factor(proposal):
    assert proposal.mapping.units == {"build.thickness_mm": 10}


@pytest.mark.parametrize(
    ("column", "word", "ours"),
    [
        ("build.construction", "Solid Brick", "solid_brick"),
        ("build.construction", '9" solid brick', "solid_brick"),
        ("build.construction", "Cavity", "cavity_brick"),
        ("build.length_m", "n/k", "unknown"),
        ("existing_course.bridged_by", "high ground", "ground"),
        ("evidence.tide_mark", "Y", "yes"),
        ("recommended.works", "hack off plaster", "strip_plaster"),
        ("outcome.result", "still damp", "unchanged"),
        ("property.protection", "No", "none"),
    ],
)
def test_a_word_of_the_firm_finds_ours(proposal, column, word, ours):
    assert proposal.mapping.values[column][word] == ours


def test_what_no_word_of_ours_says_is_listed_with_the_nearest(proposal):
    lost = {(each.column, each.word): each for each in proposal.words_not_placed}
    assert "1919_to_1944" in lost["property.age_band", "1930s"].nearest
    assert "1930s" not in proposal.mapping.values["property.age_band"]


def test_a_word_written_in_several_ways_is_one_word():
    found = propose(["Floor type", "Tide mark"], [["solid", "unknown"], ["Solid", "Unknown"], ["SOLID", "n/k"]])
    assert found.mapping.values["floor.kind"] == {"Solid": "solid"} or found.mapping.values["floor.kind"] == {
        "SOLID": "solid"
    }
    assert found.mapping.values["evidence.tide_mark"] == {"Unknown": "unknown", "n/k": "unknown"}


def test_a_sample_without_its_depth_is_pointed_out(proposal):
    assert any("moisture.samples.1 has no depth_mm" in note for note in proposal.notes)


def test_dates_and_separators_are_seen_in_the_cells(proposal):
    assert (proposal.mapping.date_format, proposal.mapping.set_separator) == ("dd/mm/yyyy", "/")


def test_dates_that_could_be_either_way_are_said_to_be():
    found = propose(["Job", "Date"], [["1", "03/04/2024"], ["2", "05/06/2024"]])
    assert found.mapping.date_format == "dd/mm/yyyy"
    assert any("none of those looked at shows" in note for note in found.notes)
    assert propose(["Date"], [["12/31/2024"]]).mapping.date_format == "mm/dd/yyyy"


def test_cells_that_cannot_be_of_a_column_speak_against_it():
    name = propose(["Thickness"], [["lime"], ["cement"], ["mixed"]])
    assert not [each for each in name.placed if each.column == "build.thickness_mm" and each.confidence == "sure"]
    fitting = propose(["Wall thickness"], [[225], [330]])
    assert [(each.column, each.confidence) for each in fitting.placed] == [("build.thickness_mm", "sure")]
    in_cm = propose(["Wall thickness"], [[22.5], [33]])
    assert all(each.confidence != "sure" for each in in_cm.placed)


def test_our_own_names_are_sure_and_need_no_look():
    names = [
        "reference",
        "survey_date",
        "wall",
        "ground.level_mm",
        "moisture.samples.2.mc_percent",
        "recommended.works",
    ]
    found = propose(names, [["A", dt.date(2024, 5, 4), "W1", -150, 4.5, "strip_plaster; replaster"]])
    assert {each.header: each.column for each in found.placed} == {name: name for name in names}
    assert {each.confidence for each in found.placed} == {"sure"}
    assert not any(each.notes for each in found.placed)
    assert not found.missing
    assert not found.mapping.values


def test_our_own_names_are_in_the_mapping_only_where_their_cells_are_not_ours(tmp_path):
    sheet = {
        "reference": ["J1", "J2"],
        "survey_date": ["2024-05-03", dt.date(2024, 5, 4)],
        "installed.on": ["03/05/2024", "14/06/2024"],
        "outcome.on": ["2024-09-03", "2024-10-01"],
        "build.role": ["external", "party"],
        "build.construction": ["Solid brick", "flint"],
        "build.length_m": ["7.5", "4"],
        "climate.air_temperature_c": ["18,5", "17,25"],
        "climate.air_rh_percent": ["65", "60 %"],
        "build.thickness_mm": ["22", "33"],
        "existing_course.bridged_by": ["ground; render", "none"],
        "build.features_in_line": ["neighbour_wall / garden_wall", "none"],
        "evidence.tide_mark": ["Yes", "unknown"],
        "evidence.efflorescence": ["n/k", "none"],
        "recommended.old_repellent": ["not_known", "absent"],
        "Mortar": ["lime", "cement"],
    }
    found = propose(list(sheet), list(zip(*sheet.values(), strict=True)))
    assert {each.column for each in found.placed} == {*sheet, "build.mortar_kind"} - {"Mortar"}
    mapping = found.mapping
    assert mapping.columns == {
        **{
            name: name
            for name in ("installed.on", "build.construction", "climate.air_temperature_c", "climate.air_rh_percent",
                         "build.thickness_mm", "build.features_in_line", "evidence.efflorescence")
        },
        "Mortar": "build.mortar_kind",
    }  # fmt: skip
    assert (mapping.date_format, mapping.decimal_comma, mapping.set_separator) == ("dd/mm/yyyy", True, "/")
    assert set(mapping.values) == {"build.construction", "evidence.efflorescence"}
    target = tmp_path / "m.yaml"
    target.write_text(mapping_text(mapping))
    assert read_mapping(target) == mapping


def test_the_command_writes_a_mapping_that_names_every_column_it_says_anything_of(tmp_path, capsys):
    path = tmp_path / "mixed.csv"
    path.write_text(
        "reference;wall;Date;build.construction;Thickness (cm);build.length_m\n"
        "J1;w;03/05/2024;Solid brick;22,5;7.5\nJ2;w;14/05/2024;flint;33;4\n"
    )
    target = tmp_path / "m.yaml"
    archive_map(path, target, Format.TEXT)
    capsys.readouterr()
    mapping = read_mapping(target)
    assert mapping.columns == {
        "Date": "survey_date",
        "build.construction": "build.construction",
        "Thickness (cm)": "build.thickness_mm",
    }
    assert "  build.construction: build.construction\n" in target.read_text()
    flat, rejects = taken(path, mapping=mapping)
    assert not rejects
    assert flat.select("build.thickness_mm", "build.length_m", "build.construction").rows() == [
        (225, 7.5, "solid_brick"),
        (330, 4.0, "flint"),
    ]


def test_the_same_header_twice_is_placed_once():
    found = propose(["Job", "job "], [["1", "2"]])
    assert [each.header for each in found.placed] == ["Job"]
    assert found.not_placed[0].reason == "is the same header as that of column 1"
    with_words = propose(["Listed?", "Listed?"], [["Grade II", None]])
    assert with_words.mapping.values == {"property.protection": {"Grade II": "listed"}}


def test_the_words_of_the_trade_are_held_to_the_columns(tmp_path):
    assert synonyms().headers
    (tmp_path / "synonyms.yaml").write_text(
        "headers: {build.thikness_mm: [thk], wall: [w], surveyor: [w]}\n"
        "rows: {moisture.samples: {height_mm: [height]}}\n"
        "values: {build.construction: {solid_brik: [solid], flint: [cavity brick]}}\n"
        "look_at: {nowhere: look at it}\n"
        "units: {furlong: {m: 3}}\n"
        "'yes': [y]\n'no': [n]\nnone: [nil]\nunknown: [n/k]\n"
    )
    with pytest.raises(BadInput) as caught:
        synonyms(tmp_path)
    said = "\n".join(map(str, caught.value.problems))
    for part in ("build.thikness_mm", "stands for wall too", "has no {n}", "solid_brick?", "another word of this",
                 "nowhere", "furlong"):  # fmt: skip
        assert part in said


def firm_csv(tmp_path):
    lines = [HEADERS, *([("" if cell is None else str(cell)) for cell in row] for row in ROWS)]
    path = tmp_path / "firm.csv"
    path.write_text("\n".join(",".join('"' + cell.replace('"', '""') + '"' for cell in line) for line in lines))
    return path


def test_the_command_prints_a_page_of_80_columns_and_writes_a_mapping_that_reads(tmp_path, monkeypatch, capsys):
    monkeypatch.setenv("COLUMNS", "80")
    target = tmp_path / "m.yaml"
    archive_map(firm_csv(tmp_path), target, Format.TEXT)
    page = capsys.readouterr().out
    assert all(len(line) <= 80 for line in page.splitlines() if str(tmp_path) not in line)
    assert "Wall thickness (cm) -> build.thickness_mm" in page
    assert "NOT PLACED" in page
    assert "many sheets write how far below" in " ".join(page.split())
    mapping = read_mapping(target)
    assert mapping.columns["Job No."] == "reference"
    assert "# not placed, so name it under columns or ignored: Client" in target.read_text()
    archive_map(firm_csv(tmp_path), None, Format.YAML)
    assert capsys.readouterr().out == target.read_text()


@pytest.mark.parametrize("kind", ["xlsx", "parquet", "jsonl"])
def test_headers_are_read_from_every_kind_of_file(tmp_path, kind):
    import openpyxl
    import polars as pl

    path = tmp_path / f"jobs.{kind}"
    match kind:
        case "xlsx":
            book = openpyxl.Workbook()
            book.active.append(["Job No", "Wall thickness", "Date"])
            book.active.append(["J1", 225, dt.datetime(2024, 5, 4)])
            more = book.create_sheet("2023")
            more.append(["Job No", "Mortar"])
            more.append(["J2", "lime"])
            book.save(path)
        case "parquet":
            pl.DataFrame({"Job No": ["J1"], "Wall thickness": [225], "Date": [dt.date(2024, 5, 4)], "Mortar": ["lime"]}
                         ).write_parquet(path)  # fmt: skip
        case _:
            path.write_text('{"Job No": "J1", "Wall thickness": 225}\n\n{"Date": "2024-05-04", "Mortar": "lime"}\n')
    head = head_of(path)
    found = propose(head.headers, head.rows)
    assert {each.header: each.column for each in found.placed} == {
        "Job No": "reference",
        "Wall thickness": "build.thickness_mm",
        "Date": "survey_date",
        "Mortar": "build.mortar_kind",
    }


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("a.txt", b"x"),
        ("a.csv", b""),
        ("a.xlsx", b"PK nothing"),
        ("a.parquet", b"no"),
        ("a.jsonl", b"[1]\n"),
        ("none.csv", None),
    ],
)
def test_a_file_that_cannot_be_read_is_refused_in_words(tmp_path, name, content):
    path = tmp_path / name
    if content is not None:
        path.write_bytes(content)
    with pytest.raises(BadInput):
        head_of(path)


def test_a_mapping_that_is_there_is_not_written_over_unless_asked(tmp_path, capsys):
    target = tmp_path / "m.yaml"
    target.write_text("mended by hand")
    arguments = ["archive", "map", str(firm_csv(tmp_path)), "--output", str(target)]
    assert exit_code_of(arguments) == 2
    said = capsys.readouterr()
    assert "--replace" in said.err
    assert not said.out
    assert target.read_text() == "mended by hand"
    assert exit_code_of([*arguments, "--replace"]) == 0
    assert read_mapping(target).columns["Job No."] == "reference"


def test_every_key_is_shown_in_the_help_and_at_the_head_of_the_file(tmp_path, monkeypatch, capsys):
    monkeypatch.setenv("COLUMNS", "80")
    assert exit_code_of(["archive", "map", "--help"]) == 0
    page = capsys.readouterr().out
    target = tmp_path / "m.yaml"
    archive_map(firm_csv(tmp_path), target, Format.TEXT)
    head = target.read_text().partition("kind: archive_mapping")[0]
    for line in EXAMPLE.splitlines():
        assert line in page
        assert line in head
    assert max(map(len, page.splitlines())) <= 80


def test_the_page_ends_with_a_command_that_works_as_it_stands(tmp_path, monkeypatch, capsys):
    monkeypatch.setenv("COLUMNS", "80")
    path = firm_csv(tmp_path).rename(tmp_path / "past jobs.csv")
    archive_map(path, tmp_path / "m.yaml", Format.TEXT)
    last = capsys.readouterr().out.rstrip().splitlines()[-1].strip()
    assert last == f"bedjoint archive check '{path}' --mapping {tmp_path / 'm.yaml'} --output checked"


def notes_of(found, header):
    return " ".join(note for each in found.placed if each.header == header for note in each.notes)


def test_dates_written_mostly_one_way_are_read_so_and_the_odd_ones_named():
    days = ["31/02/2025", "14/06/25", *(f"{day}/06/2025" for day in range(13, 21))]
    found = propose(["Job", "Date"], [["J", day] for day in days])
    assert found.mapping.date_format == "dd/mm/yyyy"
    assert notes_of(found, "Date") == "no date as dd/mm/yyyy: '31/02/2025' (row 2), '14/06/25' (row 3)"
    too_few = propose(["Job", "Date"], [["J", day] for day in (*days, "2025.06.01")])
    assert too_few.mapping.date_format is None


def test_numbers_with_the_other_mark_are_named():
    found = propose(["Wall length", "RH (%)"], [["4.2", "60"], ["3,6", "61"], ["4.5", "62"]])
    assert found.mapping.decimal_comma is False
    assert notes_of(found, "Wall length") == "written with a decimal comma: '3,6' (row 3)"
    assert not notes_of(found, "RH (%)")


@pytest.mark.parametrize("header", ["We recommended", "Recommendation", "Advice", "Treatment recommended"])
@pytest.mark.parametrize(
    ("cells", "columns"),
    [
        (["cream", "DPC rods"], "recommended.medium"),
        (["yes", "no"], "recommended.verdict"),
        (["treat", "no treatment", "investigate"], "recommended.verdict"),
        (["cream", "no treatment", "Investigate", "cream"], ["recommended.verdict", "recommended.medium"]),
    ],
)
def test_what_was_recommended_goes_by_the_cells(header, cells, columns):
    found = propose(["Job", header], [["J", cell] for cell in cells]).mapping
    assert found.columns[header] == columns
    if isinstance(columns, list):
        assert found.values["recommended.verdict"] == {
            "cream": "treat",
            "no treatment": "no_course",
            "Investigate": "investigate",
        }
        assert found.values["recommended.medium"] == {"no treatment": "unknown", "Investigate": "unknown"}


@pytest.mark.parametrize(
    ("header", "cells", "column"),
    [
        ("Checked on", ["13/05/2025"], "outcome.on"),
        ("Result", ["dry", "still damp"], "outcome.result"),
        ("Outcome", ["improved", "dry"], "outcome.result"),
        ("Installed", ["13/05/2025"], "installed.on"),
        ("Installed", ["cream", "rods"], "installed.medium"),
        ("Date installed", ["13/05/2025"], "installed.on"),
    ],
)
def test_what_was_installed_and_how_it_turned_out_go_by_the_cells(header, cells, column):
    assert propose(["Job", header], [["J", cell] for cell in cells]).mapping.columns[header] == column


def test_advice_and_treatment_in_columns_of_their_own_are_kept_apart():
    rows = [["treat", "cream"], ["no treatment", ""], ["treat", "rods"]]
    found = propose(["Advice", "Recommended treatment"], rows).mapping.columns
    assert found == {"Advice": "recommended.verdict", "Recommended treatment": "recommended.medium"}


@pytest.mark.parametrize(
    ("word", "ours"),
    [
        ("oven & hygroscopic", "oven_and_hygroscopic"),
        ("Hygro + oven", "oven_and_hygroscopic"),
        ("oven dried", "oven"),
    ],
)
def test_the_option_that_covers_all_the_words_is_preferred(word, ours):
    assert our_word(word, sheet_columns()["moisture.method"], synonyms())[0] == ours


def test_walls_with_spaces_get_ids_no_two_the_same():
    walls = ["North gable", "north  gable", "North-gable", "North gable!", "rear"]
    found = propose(["Elevation"], [[wall] for wall in walls])
    ids = found.mapping.values["wall"]
    assert ids == {"North gable": "north-gable-2", "North gable!": "north-gable-3"}
    own = propose(["wall"], [["North gable"]]).mapping
    assert (own.columns, own.values) == ({"wall": "wall"}, {"wall": {"North gable": "north-gable"}})
    assert not propose(["wall"], [["north"]]).mapping.columns


TITLED = [
    ["Past jobs 2025"],
    [],
    ["Job no", "Date", "Elevation", "Wall thickness"],
    ["J1", "2025-06-13", "north", 225],
]


@pytest.mark.parametrize("kind", ["csv", "xlsx"])
def test_headers_below_a_title_are_found_by_map_and_by_the_check(tmp_path, kind, capsys):
    path = tmp_path / f"jobs.{kind}"
    sheet_written(path, {"Jobs": TITLED})
    archive_map(path, tmp_path / "m.yaml", Format.TEXT)
    assert "Row 3 was taken as the row of the headers." in capsys.readouterr().out
    flat, rejects = taken(path, mapping=read_mapping(tmp_path / "m.yaml"))
    assert not rejects
    assert flat.select("at.row", "reference", "wall", "build.thickness_mm").rows() == [(4, "J1", "north", 225)]


def test_a_sheet_that_is_no_table_of_walls_is_passed_over(tmp_path, capsys):
    path = tmp_path / "jobs.xlsx"
    sheet_written(path, {"Jobs": TITLED, "Prices": [["Item", "Price"], ["Cream", 12]]})
    archive_map(path, tmp_path / "m.yaml", Format.TEXT)
    page = capsys.readouterr().out
    assert "Sheet Prices is passed over" in page
    assert "Item" not in page
    flat, rejects = taken(path, mapping=read_mapping(tmp_path / "m.yaml"))
    assert (flat.height, rejects) == (1, [])


def sheet_written(path, sheets):
    import csv

    import openpyxl

    if path.suffix == ".csv":
        with path.open("w", newline="") as out:
            csv.writer(out).writerows(next(iter(sheets.values())))
        return
    book = openpyxl.Workbook()
    book.remove(book.active)
    for name, rows in sheets.items():
        sheet = book.create_sheet(name)
        for row in rows:
            sheet.append(row)
        if rows is TITLED:
            sheet.merge_cells("A1:D1")
    book.save(path)


def test_a_header_that_feeds_several_columns_is_no_guess():
    (placed,) = propose(["We recommended"], [["cream"], ["no treatment"]]).placed
    assert (placed.column, placed.beside) == ("recommended.verdict", ("recommended.medium",))
    assert placed.confidence != "guess"
    assert "as near" not in placed.reason
