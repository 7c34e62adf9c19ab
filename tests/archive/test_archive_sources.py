"""Files of past jobs: found in one order, said to be faulty before any is read, cut so that every part is read once."""

import os
import pathlib
import pickle
import random
import re
from typing import Any

import openpyxl
import polars as pl
import pytest
import xlsxwriter
from jobs_made import taken, write_csv, write_lines, write_text_parquet, write_xlsx

from engine.archive.mapping import SheetMapping
from engine.archive.sources import read_unit, sources, units_of
from engine.errors import BadInput

ROW: dict[str, Any] = {"reference": "R", "survey_date": "2026-06-15", "wall": "a", "build.length_m": 5, "note": "x"}
SURVEY = "form: 1\nproperty: {reference: Y, survey_date: 2026-06-15}\nwalls: [{id: a}]\n"


def rows(count: int) -> list[dict[str, Any]]:
    return [{**ROW, "wall": f"w{number}"} for number in range(count)]


def folder_of_all(folder: pathlib.Path) -> pathlib.Path:
    (folder / "deep").mkdir(parents=True)
    write_csv(folder / "b.csv", rows(3))
    write_xlsx(folder / "deep" / "a.xlsx", rows(2))
    write_lines(folder / "c.jsonl", rows(2))
    write_text_parquet(folder / "d.parquet", rows(2))
    (folder / "e.yaml").write_text(SURVEY)
    (folder / "e.recommended.yaml").write_text("walls: [{wall: a}]\n")
    (folder / "deep" / "f.yml").write_text(SURVEY)
    for other in ("read me.txt", "photo.jpg", "~$a.xlsx", ".hidden.csv"):
        (folder / other).write_text("no job")
    return folder


def test_a_folder_is_walked_for_every_kind_and_nothing_else(tmp_path: pathlib.Path) -> None:
    folder = folder_of_all(tmp_path / "jobs")
    found = sources([folder])
    assert [pathlib.Path(source.file).name for source in found] == ["b.csv", "c.jsonl", "d.parquet", "a.xlsx", "f.yml"]
    assert [pathlib.Path(path).name for path in found[-1].paths] == ["f.yml", "e.yaml", "e.recommended.yaml"]
    assert next(source for source in found if source.format == "parquet").rows == 2
    flat, rejects = taken(folder)
    assert not rejects
    assert flat.height == 11


def test_the_order_does_not_depend_on_the_order_given(tmp_path: pathlib.Path) -> None:
    folder = folder_of_all(tmp_path / "jobs")
    paths = [folder / "b.csv", folder / "c.jsonl", folder / "deep", folder / "d.parquet", folder / "e.yaml"]
    expected = units_of(sources(paths), 2)
    for seed in range(5):
        random.Random(seed).shuffle(paths)
        assert units_of(sources([*paths, paths[0]]), 2) == expected


def test_everything_wrong_with_the_paths_is_told_at_once(tmp_path: pathlib.Path) -> None:
    (tmp_path / "empty").mkdir()
    (tmp_path / "old.xls").write_bytes(b"x")
    (tmp_path / "broken.xlsx").write_bytes(b"x")
    (tmp_path / "broken.parquet").write_bytes(b"x")
    (tmp_path / "nothing.csv").write_bytes(b"")
    (tmp_path / "wide.csv").write_bytes("reference;wall;survey_date\n".encode("utf-16"))
    (tmp_path / "lone.recommended.yaml").write_text("walls: [{wall: a}]\n")
    (tmp_path / "dup.csv").write_text("reference,wall,survey_date,wall\n")
    (tmp_path / "odd.csv").write_text("reference,wall,build.lenght_m,Office\n")
    with pytest.raises(BadInput) as raised:
        sources([*tmp_path.iterdir(), tmp_path / "gone.csv"])
    told = {(pathlib.Path(p.file).name, p.message, p.hint) for p in raised.value.problems}
    for name, message in (
        ("empty", "no file of jobs is in this folder"),
        ("old.xls", "no such kind of file can be read"),
        ("broken.xlsx", "the workbook cannot be read"),
        ("broken.parquet", "the Parquet file cannot be read"),
        ("nothing.csv", "the file is empty"),
        ("wide.csv", "the file is not UTF-8 text"),
        ("lone.recommended.yaml", "stands beside no survey"),
        ("dup.csv", "is the same header as that of column 2"),
        ("gone.csv", "there is no such file"),
    ):
        assert any(each[0] == name and message in each[1] for each in told), name
    odd = [problem for problem in raised.value.problems if problem.file.endswith("odd.csv")]
    assert [(p.column, p.field, p.found, p.hint) for p in odd] == [
        (0, "survey_date", "", ""),
        (3, "", "'build.lenght_m'", "did you mean build.length_m?"),
        (4, "", "'Office'", "a mapping may name it or list it under ignored"),
    ]


def test_a_mapping_names_headers_and_passes_others_over(tmp_path: pathlib.Path) -> None:
    (tmp_path / "odd.csv").write_text("Ref,wall,Day,Office\nA,front,2026-06-15,x\n")
    mapping = SheetMapping(columns={"ref": "reference", "Day": "survey_date"}, ignored=("office",))
    flat, rejects = taken(tmp_path / "odd.csv", mapping=mapping)
    assert not rejects
    assert flat.select("reference", "wall").rows() == [("A", "front")]
    (tmp_path / "odd.csv").write_text("Ref,wall,Day,survey_date\n")
    with pytest.raises(BadInput, match="stands for survey_date, as 'Day' does"):
        sources([tmp_path / "odd.csv"], mapping)


def test_units_are_picklable_and_read_alone(tmp_path: pathlib.Path) -> None:
    folder = folder_of_all(tmp_path / "jobs")
    units = units_of(sources([folder]), 2)
    assert units == units_of(sources([folder]), 2)
    for unit in units:
        assert read_unit(pickle.loads(pickle.dumps(unit))).unit == unit


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
def test_csv_with_every_quirk_is_cut_at_rows(tmp_path: pathlib.Path, end: str, delimiter: str) -> None:
    rng = random.Random(3)
    d = delimiter
    lines, expected = [d.join(ROW)], []
    for number in range(2, 300):
        note = rng.choice(["plain", '"a{e}b"', f'"x{d}y"', '"say ""no"" to{e}it"', "5 m", 'a 9" wall', "", '""'])
        note = note.replace("{e}", end)
        if rng.random() < 0.1:
            lines.append("" if rng.random() < 0.5 else d * 4)
            continue
        lines.append(d.join(["R", "2026-06-15", f"w{number}", "5", note]))
        read = re.sub(r'^"(.*)"$', r"\1", note, flags=re.DOTALL).replace('""', '"')
        expected.append((number, f"w{number}", read or None))
    path = tmp_path / "jobs.csv"
    path.write_bytes(end.join(lines).encode())
    for size in (1000, 100, 33):
        flat, rejects = taken(path, size)
        assert not rejects
        assert flat.select("at.row", "wall", "note").rows() == expected, size


def test_a_long_file_is_cut_across_the_blocks_it_is_scanned_in(
    tmp_path: pathlib.Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    jobs = [{**row, "note": 'a "b"\n' * (number % 7) + "z"} for number, row in enumerate(rows(200))]
    path = write_csv(tmp_path / "jobs.csv", jobs)
    whole = units_of(sources([path]), 30)
    for block in (5, 64, 1000):
        monkeypatch.setattr("engine.archive.sources_csv._BLOCK", block)
        assert units_of(sources([path]), 30) == whole
    lines = write_lines(tmp_path / "jobs.jsonl", jobs)
    whole = units_of(sources([lines]), 30)
    monkeypatch.setattr("engine.archive.sources_lines._BLOCK", 11)
    assert units_of(sources([lines]), 30) == whole
    assert [unit.count for unit in whole] == [30] * 6 + [20]


def test_rows_of_another_width_are_rejected_and_the_others_read(tmp_path: pathlib.Path) -> None:
    path = tmp_path / "jobs.csv"
    path.write_text("reference,survey_date,wall,note\nR,2026-06-15,a,x\nR,2026-06-15,b\nR,2026-06-15,c,one, two\n"
                    "R,2026-06-15,d,y\n")  # fmt: skip
    flat, rejects = taken(path)
    assert flat.select("at.row", "wall").rows() == [(2, "a"), (5, "d")]
    assert [(each.row, each.message, each.value) for each in rejects] == [
        (3, "the row has fewer cells than there are headers", "3 cells"),
        (4, "the row has more cells than there are headers", "5 cells"),
    ]
    assert "in quotes" in rejects[1].hint


def test_a_mark_that_is_never_closed_takes_only_its_own_row(tmp_path: pathlib.Path) -> None:
    path = tmp_path / "jobs.csv"
    path.write_text('reference,survey_date,wall,note\nR,2026-06-15,a,x\nR,2026-06-15,b,"open\nR,2026-06-15,c,y\n')
    flat, rejects = taken(path)
    assert flat.get_column("wall").to_list() == ["a"]
    assert [(each.row, each.message) for each in rejects] == [
        (3, "a quotation mark opens in this row and is never closed")
    ]


def test_bytes_that_are_no_text_are_a_problem_of_the_file_with_its_row(tmp_path: pathlib.Path) -> None:
    path = tmp_path / "jobs.csv"
    path.write_bytes(b"reference,survey_date,wall\nR,2026-06-15,a\nCaf\xe9,2026-06-15,b\n")
    with pytest.raises(BadInput) as raised:
        units_of(sources([path]))
    [problem] = raised.value.problems
    assert (problem.line, problem.found, problem.hint) == (3, "byte E9", "save it again with the encoding UTF-8")


def test_a_value_without_a_header_is_not_dropped(tmp_path: pathlib.Path) -> None:
    path = tmp_path / "jobs.csv"
    path.write_text("reference,survey_date,wall,\nR,2026-06-15,a,\nR,2026-06-15,b,lost\n")
    flat, [reject] = taken(path)
    assert flat.get_column("wall").to_list() == ["a"]
    assert (reject.row, reject.column, reject.value) == (3, "(column 4)", "lost")


def test_every_sheet_that_is_seen_is_read_with_its_own_rows(tmp_path: pathlib.Path) -> None:
    path = tmp_path / "jobs.xlsx"
    book = openpyxl.Workbook()
    first = book.active
    first.title = "2024"
    first.append([])
    first.append(["reference", "survey_date", "wall", "evidence.tide_mark", "build.thickness_mm"])
    first.append(["A", "2026-06-15", 1, True, 330.0])
    first.append([])
    first.append([77, "2026-06-15", "b", "no", "330"])
    other = book.create_sheet("2025")
    other.append(["reference", "survey_date", "wall"])
    other.append(["C", "2026-06-15", "c"])
    hidden = book.create_sheet("lists")
    hidden.append(["anything"])
    hidden.sheet_state = "hidden"
    book.create_sheet("blank")
    book.save(path)
    flat, rejects = taken(path)
    assert not rejects
    assert flat.select(
        "at.sheet", "at.row", "reference", "wall", "evidence.tide_mark", "build.thickness_mm"
    ).rows() == [
        ("2024", 3, "A", "1", True, 330),
        ("2024", 5, "77", "b", False, 330),
        ("2025", 2, "C", "c", None, None),
    ]


def test_faults_and_formulas_without_a_value_are_not_taken_for_blank_cells(tmp_path: pathlib.Path) -> None:
    path = tmp_path / "jobs.xlsx"
    book = openpyxl.Workbook()
    book.active.append(["reference", "survey_date", "wall", "build.length_m", "evidence.tide_mark"])
    book.active.append(["A", "2026-06-15", "a", "=2+3", "no"])
    book.active.append(["A", "2026-06-15", "b", 5, "#N/A"])
    book.active.append(["A", "2026-06-15", "c", 5, "yes"])
    book.save(path)
    flat, rejects = taken(path)
    assert flat.get_column("wall").to_list() == ["c"]
    assert [(each.row, each.column, each.value) for each in rejects] == [
        (2, "build.length_m", "=2+3"),
        (3, "evidence.tide_mark", "#N/A"),
    ]
    worked_out = tmp_path / "worked.xlsx"
    with xlsxwriter.Workbook(str(worked_out)) as other:
        sheet = other.add_worksheet("jobs")
        sheet.write_row(0, 0, ["reference", "survey_date", "wall", "build.length_m", "note"])
        sheet.write_row(1, 0, ["A", "2026-06-15", "a"])
        sheet.write_formula(1, 3, "=2+3", None, 5)
        sheet.write_formula(1, 4, '="a"&"b"', None, "ab")
    flat, rejects = taken(worked_out)
    assert not rejects
    assert flat.select("build.length_m", "note").rows() == [(5.0, "ab")]


def test_what_we_write_ourselves_is_not_read_back(tmp_path: pathlib.Path) -> None:
    frame = pl.DataFrame({**{k: [v] for k, v in ROW.items()}, "rejected_because": ["no"], "at.row": [7]})
    frame.write_parquet(tmp_path / "a.parquet")
    frame.write_csv(tmp_path / "a.csv")
    for path in (tmp_path / "a.parquet", tmp_path / "a.csv"):
        flat, rejects = taken(path)
        assert not rejects
        assert flat.get_column("at.row").to_list() == [1 if path.suffix == ".parquet" else 2]


@pytest.mark.skipif(os.name != "posix" or os.geteuid() == 0, reason="everything may be read here")
def test_a_file_that_may_not_be_read_is_a_problem(tmp_path: pathlib.Path) -> None:
    path = write_csv(tmp_path / "jobs.csv", rows(1))
    path.chmod(0)
    with pytest.raises(BadInput, match="no permission"):
        sources([path])


def problems_of(path: pathlib.Path, mapping: SheetMapping | None = None) -> list[Any]:
    with pytest.raises(BadInput) as raised:
        sources([path], mapping)
    return list(raised.value.problems)


def test_a_file_of_foreign_headers_is_led_to_map_and_a_foreign_mapping_is_one_problem(tmp_path: pathlib.Path) -> None:
    path = tmp_path / "past jobs.csv"
    path.write_text("Job,Day,Side,wall\nA,2026-06-15,x,front\n")
    last = problems_of(path)[-1]
    assert last.hint == (f"3 of 4 headers are not known, so run: bedjoint archive map '{path}' --output mapping.yaml")
    found = problems_of(path, SheetMapping(columns={"Ref": "reference", "When": "survey_date"}))
    assert [(p.line, p.message) for p in found] == [(1, "the mapping names none of this file's headers")]
    assert "'Job', 'Day', 'Side' and 1 more" in found[0].found
    assert "'Ref', 'When'" in found[0].allowed


def test_case_spaces_and_underscores_of_our_names_do_not_matter(tmp_path: pathlib.Path) -> None:
    path = tmp_path / "jobs.csv"
    path.write_text("Reference,Survey Date,WALL,Build.Thickness MM,Ground.profile.20.at m\nA,2026-06-15,a,225,\n")
    flat, rejects = taken(path)
    assert not rejects
    assert flat.select("reference", "wall", "build.thickness_mm").rows() == [("A", "a", 225)]
    (tmp_path / "jobs.jsonl").write_text('{"Reference": "A", "survey date": "2026-06-15", "Wall": "a", "Note": "x"}\n')
    flat, rejects = taken(tmp_path / "jobs.jsonl")
    assert not rejects
    assert flat.select("reference", "note").rows() == [("A", "x")]
    path.write_text("reference,survey_date,wall,Survey Date\n")
    assert [p.message for p in problems_of(path)] == ["stands for survey_date, as 'survey_date' does"]


def test_the_headers_are_found_below_a_title_with_other_marks(tmp_path: pathlib.Path) -> None:
    path = tmp_path / "jobs.csv"
    title = 'Jobs, walls, and more; "quoted\n'
    above = "\ufeff" + title + '\n;;\n"a\nb";;\n'
    path.write_text(above + "reference;survey_date;wall\nA;2026-06-15;a\nB;2026-06-15;b c\n")
    for size in (1, 50):
        flat, rejects = taken(path, size)
        assert flat.select("at.row", "reference").rows() == [(6, "A")]
        assert [(r.row, r.column, r.value) for r in rejects] == [(7, "wall", "b c")]
    path.write_text("\n" * 25 + "x,y\n" + "reference,survey_date,wall\n")
    assert problems_of(path)[0].line == 26  # beyond the rows looked at: the first that holds anything


def test_a_sheet_without_jobs_does_not_stop_one_with_them(tmp_path: pathlib.Path) -> None:
    path = tmp_path / "jobs.xlsx"
    book = openpyxl.Workbook()
    book.active.append(["reference", "survey_date", "wall"])
    book.active.append(["A", "2026-06-15", "a"])
    book.create_sheet("Prices").append(["Item", "Price"])
    book.save(path)
    flat, rejects = taken(path)
    assert (flat.height, rejects) == (1, [])
    book.create_sheet("More").append(["wall", "Price"])
    book.save(path)
    assert {p.file for p in problems_of(path)} == {f"{path.as_posix()} (More)"}


def test_a_row_of_few_words_is_no_row_of_headers(tmp_path: pathlib.Path) -> None:
    path = tmp_path / "jobs.csv"
    path.write_text("Job,Day,Side,Wall type,Pointing,x,y,z,v,w,u\n,,,,pointing,render,,,,,\n")
    assert {p.line for p in problems_of(path)} == {1}
