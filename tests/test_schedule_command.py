"""`bedjoint schedule` and `bedjoint reconcile` as they are run."""

import csv
import datetime as dt
import io
import json
import pathlib
import re

import pytest

from cli.main import exit_code_of
from cli.render_schedule import as_csv, as_text, brief, cell
from engine.schedule.model import Schedules

ROOT = pathlib.Path(__file__).parent.parent
DEMO = "scenarios_demo"
PRICES = f"{DEMO}/books/prices.yaml"
CREAM = f"{DEMO}/books/products/silane_cream.yaml"
RODS = f"{DEMO}/books/products/silane_rods.yaml"


@pytest.fixture(autouse=True)
def _at_the_root(monkeypatch):
    monkeypatch.chdir(ROOT)


def run(capsys, *arguments):
    code = exit_code_of([str(each) for each in arguments])
    out, err = capsys.readouterr()
    return code, out, err


def test_the_sheet_says_all_that_the_crew_needs(capsys):
    code, out, _ = run(capsys, "schedule", f"{DEMO}/nine_inch_brick.yaml", "--prices", PRICES, "--product", CREAM)
    assert code in (0, 1)
    words = " ".join(out.split())
    for part in (
        "Schedule for wall parlour-back, survey SFS-2026-011",
        "Local codes, the maker's instructions and licensed practice come first.",
        "Injection cream",
        "H1 0.00 to 3.85 m at -28 mm (joint +0); 33 holes of 23.2 mL.",
        "12 mm holes, 205 mm deep, level, no more than 120 mm apart, from one side, one row",
        "33 holes, 6.7",
        "0.83 L, waste included",
        "1 of 1000 mL",
        "3.35 m², to 1120 mm",
        "total GBP",
        "WHAT WOULD FIRM IT UP",
        "DRYING, COUNTED FROM 2026-03-04",
        "breathable finish",
        "L of masonry as dust",
    ):
        assert part in words, part
    assert max(map(len, out.splitlines())) <= 80


@pytest.mark.parametrize("file", sorted(path.name for path in (ROOT / DEMO).glob("*.yaml")))
def test_every_demo_in_every_format(capsys, file):
    code, out, err = run(capsys, "schedule", f"{DEMO}/{file}", "--prices", PRICES)
    assert not err
    assert max(map(len, out.splitlines())) <= 80
    assert "…" not in out
    _, as_data, _ = run(capsys, "schedule", f"{DEMO}/{file}", "--format", "json")
    found = Schedules.model_validate_json(as_data)
    assert code == (0 if all(each.status == "settled" for each in found.schedules) else 1)
    _, table, _ = run(capsys, "schedule", f"{DEMO}/{file}", "--format", "csv")
    rows = list(csv.DictReader(io.StringIO(table)))
    pieces = [piece for each in found.schedules if each.line is not None for piece in each.line.pieces]
    assert [row["piece"] for row in rows] == [piece.id for piece in pieces]
    for row, piece in zip(rows, pieces, strict=True):
        assert float(row["level_mm"]) == pytest.approx(piece.level_mm)
        assert row["holes"] == ("" if piece.holes is None else str(piece.holes))


def test_no_cell_of_the_table_can_be_taken_for_a_formula(capsys):
    for bad in ("=1+1", "+cmd", "-2+3", "@sum", "\tx", "\rx", "\n=x", "-", "+", "=", "-1e"):
        assert cell(bad) == f"'{bad}"
    for good in ("-105", "+3.5", "1e3", "text", "a=b", ""):
        assert cell(good) == good
    assert (cell(-105.0), cell(0.1 + 0.2), cell(12), cell(None), cell(-0.5)) == ("-105", "0.3", "12", "", "-0.5")
    _, as_data, _ = run(capsys, "schedule", f"{DEMO}/nine_inch_brick.yaml", "--format", "json")
    (schedule,) = Schedules.model_validate_json(as_data).schedules
    table = as_csv([schedule.model_copy(update={"reference": '=HYPERLINK("x")'})])
    assert next(csv.DictReader(io.StringIO(table)))["reference"] == '\'=HYPERLINK("x")'
    assert "[bold]" in as_text([schedule.model_copy(update={"notes": ("[bold]",)})])


def test_one_wall_of_several_and_a_file_written_whole(capsys, tmp_path):
    target = tmp_path / "sheet.txt"
    code, out, _ = run(capsys, "schedule", f"{DEMO}/three_walls.yaml", "--wall", "front", "--output", target)
    assert code in (0, 1)
    assert out == ""
    text = target.read_text("utf-8")
    assert text.count("Schedule for wall") == 1
    code, _, err = run(capsys, "schedule", f"{DEMO}/three_walls.yaml", "--wall", "frnt")
    assert code == 2
    assert "did you mean front?" in err


def test_drying_is_counted_from_the_day_given(capsys):
    _, out, _ = run(capsys, "schedule", f"{DEMO}/nine_inch_brick.yaml", "--as-of", "2026-11-02", "--format", "json")
    (schedule,) = Schedules.model_validate_json(out).schedules
    assert schedule.drying.counted_from == schedule.as_of == dt.date(2026, 11, 2)


def test_the_drill_is_given_whole_or_not_at_all(capsys):
    survey = f"{DEMO}/nine_inch_brick.yaml"
    code, out, _ = run(capsys, "schedule", survey, "--vibration", "10", "--trigger", "60")
    assert code in (0, 1)
    assert re.search(r"A\(8\) 2\.62\s+m/s²", out)
    for arguments, word in (
        (("--vibration", "10"), "--trigger"),
        (("--trigger", "10"), "--vibration"),
        (("--vibration", "nan", "--trigger", "10"), "--vibration"),
        (("--vibration", "-1", "--trigger", "10"), "--vibration"),
    ):
        code, out, err = run(capsys, "schedule", survey, *arguments)
        assert (code, out) == (2, "")
        assert word in err


def test_the_faults_of_every_file_are_reported_at_once(capsys, tmp_path):
    other = tmp_path / "euro.yaml"
    other.write_text((ROOT / CREAM).read_text("utf-8").replace("GBP", "EUR"))
    code, out, err = run(capsys, "schedule", f"{DEMO}/nine_inch_brick.yaml", "--product", other, "--prices", PRICES)
    assert (code, out) == (2, "")
    assert "EUR" in err
    code, out, err = run(capsys, "schedule", PRICES, "--product", PRICES, "--prices", CREAM)
    assert (code, out) == (2, "")
    assert f"{PRICES}:" in err
    assert f"{CREAM}:" in err


RECORDS = [
    ("nine_inch_brick.yaml", "nine_inch_brick_as_scheduled.yaml", (), 0, set()),
    (
        "sloping_ground.yaml",
        "sloping_ground_short_holes.yaml",
        (),
        1,
        {("street:H2", "short_holes"), ("street:H2", "too_little_agent"), ("street:H3", "wide_spacing")},
    ),
    (
        "old_course_in_the_bricks.yaml",
        "old_course_missing_rods.yaml",
        ("--product", RODS),
        1,
        {("front:H1", "missing_rods")},
    ),
]


@pytest.mark.parametrize(("survey", "record", "more", "expected", "findings"), RECORDS)
def test_reconcile_finds_what_the_demo_records_teach(capsys, survey, record, more, expected, findings):
    arguments = ("reconcile", f"{DEMO}/{survey}", f"{DEMO}/records/{record}", *more)
    code, out, _ = run(capsys, *arguments, "--format", "json")
    data = json.loads(out)
    assert code == expected
    assert {(each["piece_id"], each["kind"]) for each in data["findings"]} == findings
    code, out, _ = run(capsys, *arguments)
    assert code == expected
    assert ("Nothing found" in out) is (expected == 0)
    assert max(map(len, out.splitlines())) <= 80


def test_the_commands_in_the_demo_records_are_those_that_are_run_here():
    for _, record, more, *_ in RECORDS:
        comment = " ".join((ROOT / DEMO / "records" / record).read_text("utf-8").split("kind:")[0].split())
        for part in ("bedjoint reconcile", record, *more):
            assert part in comment


def test_reconcile_refuses_what_is_no_record(capsys):
    code, out, err = run(capsys, "reconcile", f"{DEMO}/nine_inch_brick.yaml", PRICES)
    assert (code, out) == (2, "")
    assert PRICES in err
    code, _, err = run(capsys, "reconcile", "missing.yaml", "neither.yaml")
    assert code == 2
    assert "missing.yaml" in err
    assert "neither.yaml" in err
    code, _, err = run(capsys, "reconcile", DEMO, f"{DEMO}/records/nine_inch_brick_as_scheduled.yaml")
    assert code == 2
    assert "one file" in err


def test_a_record_of_a_wall_without_a_line_is_all_unplanned(capsys):
    record = f"{DEMO}/records/nine_inch_brick_as_scheduled.yaml"
    code, out, _ = run(capsys, "reconcile", f"{DEMO}/condensation.yaml", record, "--format", "json")
    assert code == 1
    assert [each["kind"] for each in json.loads(out)["findings"]] == ["piece_not_planned"]


def test_an_assessment_shows_the_schedule_of_a_treated_wall_in_brief(capsys):
    _, out, _ = run(capsys, "assess", f"{DEMO}/three_walls.yaml")
    assert out.count("\nSCHEDULE\n") == 1
    brief = " ".join(out[out.index("\nSCHEDULE\n") :].split("\n\n")[0].split())
    assert "pieces: 1 level, 2 upright; steps: 0" in brief
    assert "58 holes; to bring: 1.48 L, by generic figures" in brief
    assert f"bedjoint schedule {DEMO}/three_walls.yaml --wall front" in brief
    _, out, _ = run(capsys, "assess", f"{DEMO}/condensation.yaml")
    assert "SCHEDULE" not in out


def test_the_brief_repeats_the_options_in_use_and_says_from_when_drying_is_counted(capsys):
    survey = f"{DEMO}/nine_inch_brick.yaml"
    _, out, _ = run(capsys, "schedule", survey, "--as-of", "2026-11-02", "--format", "json")
    (schedule,) = Schedules.model_validate_json(out).schedules
    rows = {label: text for label, text, _ in brief(schedule, " --set a.b=c --as-of 2026-11-02")}
    assert rows["in full"] == f"bedjoint schedule {survey} --wall parlour-back --set a.b=c --as-of 2026-11-02"
    assert rows["drying"].startswith("counted from 2026-11-02, dry by one rule or another 20")
    assert {label: text for label, text, _ in brief(schedule)}["in full"].endswith("--wall parlour-back")


def test_what_is_to_bring_is_not_known_without_the_length(capsys):
    survey, unknown = f"{DEMO}/nine_inch_brick.yaml", ("--set", "build.length_m=unknown")
    _, out, _ = run(capsys, "schedule", survey, *unknown)
    table = out[out.index("MEDIA THAT STAND") :].split("\n\n")[0]
    assert re.search(r"physical +\? +\? ", table)
    assert "0.00" not in table
    _, out, _ = run(capsys, "schedule", survey, *unknown, "--prices", PRICES, "--format", "json")
    (schedule,) = Schedules.model_validate_json(out).schedules
    (cut_in,) = (plan for plan in schedule.media if plan.medium == "physical")
    assert (cut_in.slot_m, cut_in.holes, cut_in.cost.gross) == (None, None, None)
    assert "vertical_pieces" not in cut_in.cost.unknown
    sheet = as_text([schedule.model_copy(update={"media": (cut_in.model_copy(update={"decided": True}),)})])
    assert re.search(r"slot +not known", sheet)


def test_changed_facts_are_named_at_the_top_of_each_sheet(capsys):
    _, out, _ = run(capsys, "schedule", f"{DEMO}/nine_inch_brick.yaml", "--set", "build.length_m=unknown")
    top = " ".join(out[: out.index("VERDICT")].split())
    assert "Facts were changed: build.length_m is unknown instead of 3.85 m." in top
    assert "NOT AS SURVEYED" not in out[out.index("VERDICT") :]


def test_cautions_say_how_strongly_they_are_meant_as_the_assessment_does(capsys):
    _, out, _ = run(capsys, "assess", f"{DEMO}/nine_inch_brick.yaml", "--format", "json")
    (wall,) = json.loads(out)["assessments"][0]["walls"]
    (found,) = (each for each in wall["sets"] if each["set"] == "cautions")
    _, out, _ = run(capsys, "schedule", f"{DEMO}/nine_inch_brick.yaml", "--format", "json")
    (schedule,) = Schedules.model_validate_json(out).schedules
    assert [(each.word, each.says) for each in schedule.cautions] == [(i["word"], i["says"]) for i in found["items"]]
    assert {each.word for each in schedule.cautions} == {"must", "should", "consider"}
    _, out, _ = run(capsys, "schedule", f"{DEMO}/nine_inch_brick.yaml")
    said = " ".join(out.split())
    for each in schedule.cautions:
        assert f"{each.word} {each.says}" in said


def test_a_folder_of_surveys_gives_the_sheets_of_all(capsys):
    _, out, _ = run(capsys, "schedule", DEMO, "--format", "json")
    found = Schedules.model_validate_json(out).schedules
    assert {each.file for each in found} == {f"{DEMO}/{path.name}" for path in (ROOT / DEMO).glob("*.yaml")}
