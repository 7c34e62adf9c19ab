"""The results files: the same bytes however the walls were cut, no cell a formula, whole or not at all."""

import csv
import hashlib
import json
import random
import zipfile

import openpyxl
import polars as pl
import pytest
from openpyxl.utils.escape import unescape

from engine.archive.results import whole, write_csv, write_summary, write_walls, write_workbook
from engine.archive.results_batches import ORDER, among_gravest, gravest, in_batches
from engine.archive.totals import totals
from engine.archive.totals_model import Totals
from engine.errors import BadInput
from tests.page.made_archive import BASES, results, run_facts

NASTY = (
    "=1+1",
    "+SUM(A1)",
    "-2+3",
    "@cmd",
    "\tx",
    "\rx",
    "-12.5",
    "+4",
    "-1e3",
    "https://example.org",
    "a;b",
    'q"q',
    "",
)


@pytest.fixture(scope="module")
def frame():
    return results()


@pytest.fixture(scope="module")
def hostile(frame):
    """The walls, with texts that a spreadsheet could take for something else."""
    texts = [NASTY[at % len(NASTY)] for at in range(frame.height)]
    return frame.with_columns(pl.Series(name, texts) for name in ("reference", "note", "surveyor", "wall"))


@pytest.fixture(scope="module")
def found(hostile):
    return totals(hostile.lazy(), run_facts(hostile), BASES)


def digest(path):
    return hashlib.sha256(path.read_bytes()).hexdigest()


def in_parts(frame, folder, sizes):
    made, start = [], 0
    for at, size in enumerate(sizes):
        made.append(folder / f"part{at:03d}.parquet")
        frame[start : start + size].write_parquet(made[-1])
        start += size
    assert start >= frame.height
    return made


@pytest.mark.parametrize("rows_of_a_group", [64, 65_536])
def test_the_same_walls_give_the_same_bytes_however_they_were_cut(frame, tmp_path, monkeypatch, rows_of_a_group):
    monkeypatch.setattr("engine.archive.results.ROW_GROUP", rows_of_a_group)
    seen = set()
    for sizes in ([240], [120, 120], [1] * 240, [7, 100, 0, 133], [64, 64, 64, 48]):
        write_walls(in_parts(frame, tmp_path, sizes), tmp_path / "walls.parquet")
        seen.add(digest(tmp_path / "walls.parquet"))
    assert len(seen) == 1
    assert pl.read_parquet(tmp_path / "walls.parquet").equals(frame)


def test_parts_in_any_order_come_out_in_order(frame, tmp_path):
    parts = in_parts(frame, tmp_path, [100, 100, 40])
    write_walls(parts, tmp_path / "one.parquet")
    write_walls(parts[::-1], tmp_path / "other.parquet")
    shuffled = frame.sample(fraction=1.0, shuffle=True, seed=1)
    write_walls(in_parts(shuffled, tmp_path, [100, 100, 40]), tmp_path / "third.parquet")
    assert digest(tmp_path / "one.parquet") == digest(tmp_path / "other.parquet") == digest(tmp_path / "third.parquet")


def test_batches_hold_every_wall_in_order(frame):
    for rows in (1, 50, 120, 240, 241):
        assert pl.concat(in_batches(frame.lazy(), rows)).equals(frame)
    assert list(in_batches(frame.head(0).lazy(), 10)) == []


def test_the_gravest_are_the_gravest(frame, monkeypatch):
    monkeypatch.setattr("engine.archive.results_batches.ROW_GROUP", 31)
    expected = frame.sort(["severity", *ORDER], descending=[True, False, False, False])
    for most in (0, 1, 100, 240, 1000):
        assert gravest(frame.lazy(), most).equals(expected.head(most))
    assert gravest(frame.head(0).lazy(), 5).height == 0


def test_csv_has_no_formula_and_every_wall(hostile, tmp_path):
    write_csv(hostile.lazy(), tmp_path / "walls.csv")
    with (tmp_path / "walls.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == hostile.height
    for row, wall in zip(rows, hostile.iter_rows(named=True), strict=True):
        for name, cell in row.items():
            if cell[:1] in ("=", "+", "-", "@", "\t", "\r"):
                float(cell)
            assert not name.startswith("fired.")
        written = wall["note"]
        assert row["note"] in (written, "'" + written)
        assert row["at.row"] == str(wall["at.row"])
        assert row["survey_date"] == wall["survey_date"].isoformat()
        cautions = wall["recommended.cautions"]
        assert row["recommended.cautions"] == ("" if cautions is None else "; ".join(cautions) or "none")
        assert row["against.medium"] == "; ".join(wall["against.medium"])
        assert row["as_recommended"] == {True: "yes", False: "no", None: ""}[wall["as_recommended"]]
    kept = {row["note"] for row in rows}
    assert {"-12.5", "+4", "-1e3"} <= kept, "signed numbers stay numbers"
    assert {"'=1+1", "'+SUM(A1)", "'-2+3", "'@cmd", "'\tx"} <= kept


@pytest.fixture(scope="module")
def workbook(hostile, found, tmp_path_factory):
    path = tmp_path_factory.mktemp("book") / "walls.xlsx"
    write_workbook(hostile.lazy(), found, path)
    return path


def test_the_workbook_reads_back_with_the_same_counts(workbook, found, hostile):
    book = openpyxl.load_workbook(workbook)
    assert book.sheetnames == ["Totals", "Worst first", "Rules", "Surveyors", "Walls"]
    walls = book["Walls"]
    assert walls.max_row == hostile.height + 1
    header = [cell.value for cell in walls[1]]
    told = [row[header.index("Note")] for row in walls.iter_rows(min_row=2, values_only=True)]
    assert [unescape(each or "") for each in told] == hostile["note"].to_list()
    dates = [row[header.index("Surveyed on")] for row in walls.iter_rows(min_row=2, values_only=True)]
    assert [each.date() for each in dates] == hostile["survey_date"].to_list()
    rows = list(book["Totals"].iter_rows(values_only=True))
    whole_row = next(row for row in rows if row[0] == "whole wall, by its worst finding")
    assert whole_row[1:4] == (found.walls.walls, found.walls.must, found.walls.should)
    taken = next(row for row in rows if row[0] == "all files")
    assert taken[1:5] == (found.rows, found.decided, found.rejected, found.repeated)
    assert found.limits in [row[0] for row in rows]
    surveyors = list(book["Surveyors"].iter_rows(min_row=2, values_only=True))
    assert sum(row[1] for row in surveyors) == hostile.height
    first = book["Worst first"]["B2"].value
    assert unescape(first or "") == found.worst[0].reference


def test_nothing_in_the_workbook_is_a_formula_or_a_link(workbook):
    for sheet in openpyxl.load_workbook(workbook):
        assert sheet.freeze_panes or sheet.title == "Totals"
        for row in sheet.iter_rows():
            for cell in row:
                assert cell.data_type != "f", (sheet.title, cell.coordinate)
                assert cell.hyperlink is None
    with zipfile.ZipFile(workbook) as archive:
        for name in archive.namelist():
            assert b"<f>" not in archive.read(name)
            assert b"hyperlink" not in archive.read(name)


def test_a_workbook_that_cannot_hold_all_walls_says_so(hostile, found, tmp_path):
    write_workbook(hostile.lazy(), found, tmp_path / "small.xlsx", most_walls=50)
    book = openpyxl.load_workbook(tmp_path / "small.xlsx")
    assert book["Walls"].max_row == 51
    said = [cell for row in book["Totals"].iter_rows(values_only=True) for cell in row if isinstance(cell, str)]
    assert any("holds the 50 gravest of 240" in text for text in said)
    with pytest.raises(ValueError, match="at most"):
        write_workbook(hostile.lazy(), found, tmp_path / "small.xlsx", most_walls=1_048_576)


def test_every_file_is_the_same_the_second_time(hostile, found, tmp_path):
    for run in ("one", "other"):
        (tmp_path / run).mkdir()
        write_csv(hostile.lazy(), tmp_path / run / "walls.csv")
        write_workbook(hostile.lazy(), found, tmp_path / run / "walls.xlsx")
        write_summary(found, tmp_path / run / "summary.json")
    for name in ("walls.csv", "walls.xlsx", "summary.json"):
        assert digest(tmp_path / "one" / name) == digest(tmp_path / "other" / name)


def test_the_summary_is_the_totals(found, tmp_path):
    write_summary(found, tmp_path / "summary.json")
    text = (tmp_path / "summary.json").read_text(encoding="utf-8")
    assert Totals.model_validate_json(text) == found
    assert json.loads(text)["format"] == "bedjoint-archive-summary-1"


def test_a_failure_leaves_what_stood_there(tmp_path):
    target = tmp_path / "walls.csv"
    target.write_text("before")

    def fail():
        with whole(target) as temporary:
            temporary.write_text("half")
            raise RuntimeError

    with pytest.raises(RuntimeError):
        fail()
    assert target.read_text() == "before"
    assert [each.name for each in tmp_path.iterdir()] == ["walls.csv"]


def test_what_cannot_be_written_is_said(found, tmp_path):
    with pytest.raises(BadInput, match="cannot be written"):
        write_summary(found, tmp_path / "nowhere" / "summary.json")


def test_random_texts_survive_the_csv(frame, tmp_path):
    rng = random.Random(4)
    letters = "=+-@ab1,.\";'\n\té✓"
    notes = ["".join(rng.choice(letters) for _ in range(rng.randrange(1, 8))) for _ in range(frame.height)]
    write_csv(frame.with_columns(pl.Series("note", notes)).lazy(), tmp_path / "walls.csv")
    with (tmp_path / "walls.csv").open(encoding="utf-8", newline="") as file:
        told = [row["note"] for row in csv.DictReader(file)]
    assert all(cell in (note, "'" + note) for cell, note in zip(told, notes, strict=True))


@pytest.mark.parametrize("most", [0, 1, 7, 40, 200])
def test_the_gravest_are_those_that_sorting_gives(most):
    frame = pl.DataFrame(
        {"severity": [(7 * number) % 5 for number in range(100)], "at.row": range(100)},
        schema={"severity": pl.UInt32, "at.row": pl.Int64},
    )
    wanted = frame.sort("severity", descending=True, maintain_order=True).head(most)
    assert gravest(frame.lazy(), most).equals(wanted)
    among = [pl.DataFrame(schema=frame.schema), *among_gravest(frame.lazy(), most, rows=9)]
    assert pl.concat(among).equals(wanted.sort("at.row"))


def test_the_sheets_print_on_a4_one_page_wide_with_their_heads(workbook):
    for sheet in openpyxl.load_workbook(workbook):
        assert (sheet.page_setup.paperSize, sheet.page_setup.orientation) == (9, "landscape")
        assert (sheet.page_setup.fitToWidth or 1, sheet.page_setup.fitToHeight) == (1, 0)
        assert sheet.sheet_properties.pageSetUpPr.fitToPage
        if sheet.title == "Totals":
            continue
        assert sheet.print_title_rows == "$1:$1"
        last = openpyxl.utils.cell.range_boundaries(sheet.print_area.rpartition("!")[2].replace("$", ""))[2]
        letters = [openpyxl.utils.get_column_letter(at) for at in range(1, last + 1)]
        assert sum(sheet.column_dimensions[letter].width for letter in letters) < 230, sheet.title


def test_no_text_of_a_printed_list_is_clipped(workbook):
    book = openpyxl.load_workbook(workbook)
    for title in ("Worst first", "Rules"):
        sheet = book[title]
        for row in sheet.iter_rows(max_col=10):
            for cell in row:
                if isinstance(cell.value, str):
                    width = sheet.column_dimensions[cell.column_letter].width
                    lines = -(-len(cell.value) // int(width))
                    assert sheet.row_dimensions[cell.row].height >= 15 * lines, (title, cell.coordinate)


def test_the_totals_say_what_the_names_of_the_columns_mean(workbook, hostile, found):
    rows = list(openpyxl.load_workbook(workbook)["Totals"].iter_rows(values_only=True))
    said = {name: row[1] for row in rows if isinstance(row[0], str) for name in row[0].split(", ")}
    kinds = {f"{name.partition('.')[0]}.NAME" for name in hostile.columns}
    for name in ("at.file", "finding.NAME", "grade.NAME", "against.NAME", "left_out.NAME", "beyond.NAME", "worst"):
        assert said[name]
        assert name in kinds or name in hostile.columns
    assert said["evidence"] == next(each.title for each in found.choices if each.choice == "evidence")
