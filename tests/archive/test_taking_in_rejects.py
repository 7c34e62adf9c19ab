"""Refused rows come back in their own layout, and once mended they are taken in like any other."""

import csv
import json
import pathlib
from typing import Any

import openpyxl
import polars as pl
import pytest
from jobs_made import taken, without_places, write_csv, write_lines, write_text_parquet, write_xlsx
from python_calamine import CalamineWorkbook

from engine.archive.rejects import targets, write_rejects
from engine.archive.rejects_words import safe
from engine.archive.sources import sources, units_of
from engine.archive.sources_model import REJECTED

BAD = "solid_brik"
MENDED: dict[Any, str] = {BAD: "solid_brick", "=1+2": "front"}


def rows() -> list[dict[str, Any]]:
    found = []
    for number in range(20):
        bad = number % 5 == 2
        found.append(
            {
                "reference": f"R{number}",
                "survey_date": "2026-06-15",
                "wall": "=1+2" if number == 7 else "front",
                "build.construction": BAD if bad else "solid_brick",
                "build.thickness_mm": 330,
                "note": '=HYPERLINK("x"), "quoted"\nnext' if bad else "plain",
            }
        )
    return found


def refused(path: pathlib.Path, out: pathlib.Path) -> tuple[pl.DataFrame, dict[str, pathlib.Path]]:
    out.mkdir()
    flat, rejects = taken(path, 6)
    units = units_of(sources([path]), 6)
    written = write_rejects(rejects, units, None, out)
    assert {each for each in out.rglob("*") if each.is_file()} == set(written)
    with (out / "rejects.csv").open(newline="") as stream:
        lines = list(csv.DictReader(stream))
    assert len(lines) == len(rejects)
    assert {line["message"] for line in lines} == {reject.message for reject in rejects}
    return flat, {each.name: each for each in written}


def mend(path: pathlib.Path) -> None:
    """What a person would do: right the words, leave the column that says why where it is."""
    match path.suffix:
        case ".xlsx":
            book = openpyxl.load_workbook(path)
            for line in book.worksheets[0].iter_rows():
                for cell in line:
                    if cell.value in MENDED:
                        cell.value = MENDED[cell.value]
            book.save(path)
        case ".parquet":
            frame = pl.read_parquet(path)
            frame.with_columns(
                pl.col("build.construction").replace(BAD, "solid_brick"), pl.col("wall").replace("=1+2", "front")
            ).write_parquet(path)
        case ".csv":
            with path.open(encoding="utf-8-sig", newline="") as stream:
                lines = list(csv.reader(stream, delimiter=";"))
            with path.open("w", encoding="utf-8-sig", newline="") as out:
                csv.writer(out, delimiter=";").writerows([MENDED.get(cell, cell) for cell in line] for line in lines)
        case _:
            lines = [json.loads(line) for line in path.read_text().splitlines()]
            path.write_text("".join(
                json.dumps({name: MENDED.get(cell, cell) for name, cell in line.items()}) + "\n" for line in lines
            ))  # fmt: skip


@pytest.mark.parametrize("kind", ["csv", "xlsx", "parquet", "jsonl"])
def test_mended_rows_are_taken_in_when_run_again(tmp_path: pathlib.Path, kind: str) -> None:
    made = rows()
    write = {"csv": lambda p, r: write_csv(p, r, ";", "utf-8-sig"), "xlsx": write_xlsx, "parquet": write_text_parquet,
             "jsonl": write_lines}[kind]  # fmt: skip
    path = write(tmp_path / f"jobs.{kind}", made)
    flat, written = refused(path, tmp_path / "out")
    assert flat.height == 16
    back = written[path.name]
    again, rejects = taken(back)
    assert again.height == 0
    assert len({reject.place for reject in rejects}) == 4
    mend(back)
    again, rejects = taken(back)
    assert not rejects
    both = pl.concat([without_places(flat), without_places(again)]).sort("reference")
    right = [{**row, "wall": "front", "build.construction": "solid_brick"} for row in made]
    whole, _ = taken(write(tmp_path / f"right.{kind}", right))
    assert both.equals(without_places(whole).sort("reference"))


def test_cells_keep_their_value_and_only_ours_are_made_safe(tmp_path: pathlib.Path) -> None:
    _, written = refused(write_csv(tmp_path / "jobs.csv", rows(), ";", "utf-8-sig"), tmp_path / "csv")
    raw = written["jobs.csv"].read_bytes()
    assert raw.startswith(b"\xef\xbb\xbfreference;survey_date;")
    with written["jobs.csv"].open(encoding="utf-8-sig", newline="") as stream:
        lines = list(csv.DictReader(stream, delimiter=";"))
    assert lines[1]["wall"] == "=1+2"
    assert lines[0]["note"] == '=HYPERLINK("x"), "quoted"\nnext'
    assert "build.construction: is not one of the values; found solid_brik" in lines[0][REJECTED]
    with (tmp_path / "csv" / "rejects.csv").open(newline="") as stream:
        listed = list(csv.DictReader(stream))
    assert "'=1+2" in {line["value"] for line in listed}
    _, written = refused(write_xlsx(tmp_path / "jobs.xlsx", rows()), tmp_path / "xlsx")
    sheet = openpyxl.load_workbook(written["jobs.xlsx"]).worksheets[0]
    assert sheet.title == "jobs"
    assert sheet["C3"].value == "=1+2"
    assert sheet["C3"].data_type == "s"
    assert sheet["E2"].value == 330
    assert sheet["B2"].is_date
    assert CalamineWorkbook.from_path(str(written["jobs.xlsx"])).get_sheet_by_index(0).to_python()[2][2] == "=1+2"


def test_what_could_not_be_read_as_rows_stays_refused_until_it_is_mended(tmp_path: pathlib.Path) -> None:
    path = tmp_path / "jobs.csv"
    path.write_text('reference,survey_date,wall,note\nR,2026-06-15,a,x\nR,2026-06-15,b\nR,2026-06-15,c,one,two\n'
                    'R,2026-06-15,d,y\nR,2026-06-15,e,"open\nR,2026-06-15,f,z\n')  # fmt: skip
    flat, written = refused(path, tmp_path / "out")
    assert flat.get_column("wall").to_list() == ["a", "d"]
    back = written["jobs.csv"]
    again, rejects = taken(back)
    assert again.height == 0
    assert len({reject.place for reject in rejects}) == 3
    text = back.read_text().replace(",b\n", ",b,,\n").replace("one,two", '"one,two"').replace('"open', '"open",\nR"', 0)
    lines = text.replace('"open', "open,").splitlines()
    back.write_text("\n".join([*lines[:-1], lines[-1] + ","]) + "\n")
    again, rejects = taken(back)
    assert not rejects
    assert again.get_column("wall").to_list() == ["b", "c", "e", "f"]


def test_lines_that_are_no_json_come_back_as_they_were(tmp_path: pathlib.Path) -> None:
    path = tmp_path / "jobs.jsonl"
    path.write_text('{"reference": "R", "survey_date": "2026-06-15", "wall": "a b"}\n{oops\n')
    _, written = refused(path, tmp_path / "out")
    first, second = written["jobs.jsonl"].read_text().splitlines()
    assert second == "{oops"
    assert json.loads(first)[REJECTED].startswith("wall: is no id of a wall; found a b")


def test_surveys_are_copied_with_what_stands_beside_them(tmp_path: pathlib.Path) -> None:
    folder = tmp_path / "jobs"
    folder.mkdir()
    text = "form: 1\nproperty: {reference: Y, survey_date: 2026-06-15}\nwalls:\n  - {id: a}\n  - {id: b b}\n"
    beside = "walls:\n  - {wall: a, recommended: {medium: cream}}\n"
    (folder / "one.yaml").write_text(text)
    (folder / "one.recommended.yaml").write_text(beside)
    (folder / "good.yaml").write_text(text.replace("b b", "b"))
    flat, written = refused(folder, tmp_path / "out")
    assert flat.height == 3
    assert set(written) == {"rejects.csv", "one.yaml", "one.recommended.yaml"}
    assert written["one.recommended.yaml"].read_text() == beside
    copied = written["one.yaml"].read_text()
    assert copied.startswith(text)
    assert "# rejected_because: row 5: wall: is not written as it must be; found b b" in copied
    written["one.yaml"].write_text(copied.replace("{id: b b}", "{id: b}"))
    again, rejects = taken(tmp_path / "out" / "rejects")
    assert not rejects
    assert again.select("wall", "recommended.medium").rows() == [("a", "cream"), ("b", None)]


def test_files_go_inside_the_folder_each_to_its_own_place() -> None:
    found = targets(["/a/jobs.csv", "../a/jobs.csv", "a/jobs.csv", "A/JOBS.csv", "./b.csv", "../.."])
    places = [path.as_posix() for path in found.values()]
    assert places == ["a/jobs.csv", "a/2-jobs.csv", "a/3-jobs.csv", "A/4-JOBS.csv", "b.csv", "file"]


@pytest.mark.parametrize("text", ["=1", "+a", "-a", "@x", "\tx", "\rx", "-1+2", "+cmd|x"])
def test_a_formula_is_made_safe(text: str) -> None:
    assert safe(text) == f"'{text}"


@pytest.mark.parametrize("text", ["-1", "+2.5", "-1e3", "1", "", "a=b", "-,5"])
def test_numbers_and_plain_text_stay(text: str) -> None:
    assert safe(text) == text
