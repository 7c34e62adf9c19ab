"""Template sheets, filled in as a person would, give the same facts back."""

import csv
import datetime as dt
import inspect
import io

import openpyxl
import pytest

from cli.form_command import form
from engine.archive.form_sheet import PREPARED_REFERENCE, is_form, is_how_to, walls_of_form
from engine.archive.mapping_columns import sheet_columns
from engine.archive.template import Blank, wall_columns
from engine.archive.template_csv import template_csv
from engine.archive.template_xlsx import template_xlsx
from engine.decision.assess import LIMITS

BLANK = Blank("A-1", dt.date(2026, 5, 4), ("front", "rear"))
ANSWERS = {
    "front": {
        "property.age_band": "before_1850",
        "build.construction": "solid_brick",
        "build.thickness_mm": 230,
        "floor.timbers_built_in": "joist_ends; wall_plate",
        "evidence.tide_mark": "yes",
        "recommended.medium": "cream",
        "installed.on": dt.datetime(2026, 6, 1),
        "outcome.result": "better",
    },
    "rear": {"build.construction": "flint", "build.length_m": 4.5},
}
SAMPLES = [
    ("front", {"height_mm": 100, "depth_mm": 80, "mc_percent": 9.1}),
    ("front", {"height_mm": 400, "depth_mm": 80}),
    ("rear", {"height_mm": 50, "depth_mm": 90}),
]


def opened(raw):
    return openpyxl.load_workbook(io.BytesIO(raw))


def rows_of(sheet):
    return [(row[0].row, [cell.value for cell in row]) for row in sheet.iter_rows()]


def filled_in():
    book = opened(template_xlsx("facts", BLANK))
    sheet = book["Survey"]
    heads = {cell.value: cell.column for cell in sheet[1]}
    for row in sheet.iter_rows(min_row=2):
        for wall, answers in ANSWERS.items():
            if row[0].value in answers:
                row[heads[f"answer: {wall}"] - 1].value = answers[row[0].value]
    samples = book["Samples"]
    fields = {cell.value: cell.column for cell in samples[2]}
    for wall, sample in SAMPLES:
        row = next(
            r for r in samples.iter_rows(min_row=3) if r[0].value == wall and r[fields["height_mm"] - 1].value is None
        )
        for name, value in sample.items():
            row[fields[name] - 1].value = value
    return book


def test_a_form_filled_in_gives_the_same_facts_back():
    read = walls_of_form([(sheet.title, rows_of(sheet)) for sheet in filled_in() if sheet.sheet_state == "visible"])
    assert not read.problems
    assert [wall.wall for wall in read.walls] == ["front", "rear"]
    found = {wall.wall: {name: cell.value for name, cell in wall.cells.items()} for wall in read.walls}
    for wall, answers in ANSWERS.items():
        for name, value in answers.items():
            assert found[wall][name] == value
        assert found[wall]["survey_date"] == dt.datetime(2026, 5, 4)
        assert found[wall]["reference"] == "A-1"
    assert found["rear"]["property.age_band"] == "before_1850"
    assert found["front"]["moisture.samples.2.height_mm"] == 400
    assert found["rear"]["moisture.samples.1.depth_mm"] == 90
    assert "moisture.samples.3.height_mm" not in found["front"]


def test_every_answer_knows_its_sheet_and_row():
    book = filled_in()
    read = walls_of_form([(sheet.title, rows_of(sheet)) for sheet in book if sheet.sheet_state == "visible"])
    for wall in read.walls:
        for cell in wall.cells.values():
            assert book[cell.sheet].cell(cell.row, cell.column).value == cell.value


def test_the_csv_form_filled_in_gives_the_same_facts_back():
    rows = list(csv.reader(io.StringIO(template_csv("facts", BLANK))))
    heads = rows[0]
    for row in rows:
        for wall, answers in ANSWERS.items():
            if row and row[0] in answers:
                row[heads.index(f"answer: {wall}")] = str(answers[row[0]])
    at = next(index for index, row in enumerate(rows) if row[:1] == ["moisture.samples"])
    rows[at + 2][1:4] = ["100", "80", "9.1"]
    read = walls_of_form([("", list(enumerate(rows, 1)))])
    assert not read.problems
    front, rear = read.walls
    assert {name: front.cells[name].value for name in ANSWERS["front"]} == {
        name: str(value) for name, value in ANSWERS["front"].items()
    }
    assert front.cells["moisture.samples.1.mc_percent"].value == "9.1"
    assert front.cells["moisture.samples.1.mc_percent"].row == at + 3
    assert rear.cells["build.length_m"].value == "4.5"


def test_what_is_wrong_with_a_form_is_said_with_its_row():
    head = ["fact", "question", "unit", "allowed", "answer: a", "answer: b"]
    rows = [head, ["reference", "", "", "", "A", "B"], ["wall", "", "", "", "x", "x"],
            ["build.thiknes_mm", "", "", "", 3], ["build.role", "", "", "", "party", "party"], ["build.role"],
            ["", "", "", "", "left over"], [], ["moisture.samples"], ["wall", "height_mm", "colour"],
            ["z", 100, 1]]  # fmt: skip
    read = walls_of_form([("Survey", list(enumerate(rows, 1)))])
    said = [(problem.row, problem.message) for problem in read.problems]
    assert (2, "is of the whole property and cannot differ between its walls") in said
    assert (3, "is the name of two walls") in said
    assert (4, "is no fact of the form") in said
    assert "build.thickness_mm" in next(problem.hint for problem in read.problems if problem.row == 4)
    assert (6, "stands in row 5 too") in said
    assert (7, "an answer stands beside no fact") in said
    assert (10, "is no field of this list") in said
    assert (11, "is no wall of this form") in said


ONE = Blank(PREPARED_REFERENCE, dt.date(2026, 5, 4), ("W1",))


def of_one_wall(answers, samples=(), prepared=""):
    """The form of one wall, filled in, and what is read back."""
    book = opened(template_xlsx("facts", ONE))
    for row in book["Survey"].iter_rows(min_row=2):
        if row[0].value in answers:
            row[4].value = answers[row[0].value]
    fields = {cell.value: cell.column for cell in book["Samples"][2]}
    for at, sample in enumerate(samples, 3):
        assert book["Samples"].cell(at, 1).value in (None, "")
        for name, value in {"wall": prepared, **sample}.items():
            book["Samples"].cell(at, fields[name]).value = value
    return walls_of_form([(sheet.title, rows_of(sheet)) for sheet in book if sheet.sheet_state == "visible"])


@pytest.mark.parametrize("prepared", ["", "front", "W1"])
def test_samples_of_an_only_wall_need_not_name_it(prepared):
    read = of_one_wall({"reference": "A-1", "wall": "front"}, [{"height_mm": 100, "depth_mm": 80}], prepared)
    assert not read.problems
    assert [(wall.wall, wall.cells["moisture.samples.1.height_mm"].value) for wall in read.walls] == [("front", 100)]


def test_all_mistakes_of_a_form_are_said_at_once_with_sheet_row_and_walls():
    samples = [{"wall": "rear", "height_mm": "high", "depth_mm": 80}, {"height_mm": -4, "depth_mm": 80}]
    read = of_one_wall({"wall": "front", "build.role": "outer", "build.thickness_mm": "330 mm"}, samples)
    said = {(problem.field, problem.message): (problem.sheet, problem.row) for problem in read.problems}
    assert said["reference", "is not written yet"] == ("Survey", 3)
    assert said["moisture.samples", "is no wall of this form"] == ("Samples", 3)
    assert said["moisture.samples.height_mm", "is not a number"] == ("Samples", 3)
    assert said["moisture.samples.1", "a sample needs mc_percent, or its masses"] == ("Samples", 4)
    assert [at[0] for (field, _), at in said.items() if field == "build.thickness_mm"] == ["Survey"]
    assert [at[0] for (field, _), at in said.items() if field == "build.role"] == ["Survey"]
    stray = next(problem for problem in read.problems if problem.message == "is no wall of this form")
    assert stray.hint == "the walls of this form: front; it stands in sheet Samples, row 3"


def test_a_form_that_nobody_filled_in_is_blank():
    read = of_one_wall({})
    assert [problem.message for problem in read.problems] == ["the form is not filled in"]
    assert len(read.walls) == 1
    read = walls_of_form([("", list(enumerate(csv.reader(io.StringIO(template_csv("facts", ONE))), 1)))])
    assert [problem.message for problem in read.problems] == ["the form is not filled in"]
    assert inspect.signature(form).parameters["reference"].default == PREPARED_REFERENCE


def test_the_sheet_of_samples_offers_the_walls_of_the_form():
    book = opened(template_xlsx("facts", BLANK))
    (rule,) = (each for each in book["Samples"].data_validations.dataValidation if "A3" in str(each.sqref))
    sheet, _, area = rule.formula1.lstrip("=").partition("!")
    assert [cell.value for cell in book[sheet][area.replace("$", "")][0]] == ["front", "rear"]


def test_only_the_form_is_taken_for_the_form():
    facts, walls = opened(template_xlsx("facts", BLANK)), opened(template_xlsx("walls", BLANK))
    assert [sheet.title for sheet in facts if is_form(rows_of(sheet))] == ["Survey"]
    assert not any(is_form(rows_of(sheet)) for sheet in walls)
    assert [sheet.title for sheet in walls if is_how_to(rows_of(sheet))] == ["How to"]


def words_of(book, rule):
    if rule.formula1.startswith('"'):
        return rule.formula1.strip('"').split(",")
    sheet, _, area = rule.formula1.lstrip("=").partition("!")
    return [cell.value for (cell,) in book[sheet][area.replace("$", "")]]


@pytest.mark.parametrize("layout", ["facts", "walls"])
def test_cells_offer_the_words_and_limits_of_their_fact(layout):
    book = opened(template_xlsx(layout, BLANK))
    sheet = book["Survey" if layout == "facts" else "Walls"]
    by_name = {}
    for rule in sheet.data_validations.dataValidation:
        area = next(iter(rule.sqref.ranges))
        at = sheet.cell(area.min_row, 1) if layout == "facts" else sheet.cell(1, area.min_col)
        by_name.setdefault(at.value, rule)
    for name, column in sheet_columns().items():
        if layout == "facts" and name[name.find(".") :].count(".") == 3:
            continue
        rule = by_name[name]
        match column.kind:
            case "choice":
                assert words_of(book, rule) == [*column.options, "unknown"]
            case "yes_no":
                assert words_of(book, rule) == ["yes", "no", "unknown"]
            case "number":
                assert rule.type == ("whole" if column.whole else "decimal")
                assert (float(rule.formula1), float(rule.formula2)) == (column.ge, column.le)
                assert "Leave empty what is not known" in rule.error
            case "date":
                assert (rule.type, rule.errorStyle or "stop") == ("date", "stop")
                assert "YYYY-MM-DD" in rule.error
            case "set":
                assert "semicolon (;)" in rule.prompt


def test_a_long_list_of_words_stands_on_a_hidden_sheet(monkeypatch):
    monkeypatch.setattr("engine.archive.template_xlsx._LONGEST_LIST", 60)
    book = opened(template_xlsx("walls", BLANK))
    assert book["Lists"].sheet_state == "hidden"
    assert [sheet.title for sheet in book if sheet.sheet_state == "visible"] == ["Walls", "How to"]
    rule = next(
        rule for rule in book["Walls"].data_validations.dataValidation if rule.promptTitle == "How is the wall built?"
    )
    assert words_of(book, rule) == [*sheet_columns()["build.construction"].options, "unknown"]


def test_the_sheets_can_be_read_and_printed():
    book = opened(template_xlsx("facts", BLANK))
    assert [sheet.title for sheet in book][:4] == ["Survey", "Samples", "Ground profile", "How to"]
    for sheet in book:
        if sheet.title == "Lists":
            continue
        assert sheet.page_setup.paperSize == 9
        assert sheet.page_setup.fitToHeight == 0
    assert book["Survey"].freeze_panes == "C2"
    assert book["Survey"].print_title_rows == "$1:$1"
    assert book["Survey"]["E4"].is_date
    assert any(row[0].value == LIMITS for row in book["How to"].iter_rows())
    comments = [cell.comment for cell in opened(template_xlsx("walls", BLANK))["Walls"][1]]
    assert all(comment is not None for comment in comments)


def test_the_sheet_of_walls_shows_the_job_after_the_key_and_folds_away_what_few_walls_need():
    sheet = opened(template_xlsx("walls", BLANK))["Walls"]
    heads = [cell.value for cell in sheet[1]]
    sections = list(dict.fromkeys(name.partition(".")[0] for name in heads[5:]))
    assert sections[:3] == ["recommended", "installed", "outcome"]
    assert len(sections) == len(set(sections))
    hidden = set()
    for each in sheet.column_dimensions.values():
        hidden |= set(heads[each.min - 1 : each.max]) if each.hidden else set()
    assert {"moisture.samples.4.height_mm", "ground.profile.12.at_m"} <= hidden
    assert not {"moisture.samples.3.height_mm", "build.construction", "recommended.medium"} & hidden
    assert len(hidden) > len(heads) / 2
    assert (sheet.freeze_panes, sheet.print_title_rows, sheet.print_title_cols) == ("D2", "$1:$1", "$A:$C")


def test_no_cell_of_a_csv_is_a_formula():
    for layout in ("facts", "walls"):
        blank = Blank('=HYPERLINK("x")', None, ("W1",))
        cells = [cell for row in csv.reader(io.StringIO(template_csv(layout, blank))) for cell in row]
        assert '\'=HYPERLINK("x")' in cells
        assert not [cell for cell in cells if cell[:1] in ("=", "+", "-", "@", "\t")]


def test_the_same_template_is_the_same_text_and_the_walls_sheet_has_every_column():
    assert template_csv("facts", BLANK) == template_csv("facts", BLANK)
    rows = list(csv.reader(io.StringIO(template_csv("walls", BLANK))))
    assert set(rows[0]) == set(sheet_columns()) == {column.name for column in wall_columns()}
    assert [row[:3] for row in rows[1:]] == [["A-1", "2026-05-04", "front"], ["A-1", "2026-05-04", "rear"]]
