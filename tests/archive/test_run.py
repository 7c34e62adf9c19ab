"""A whole check: the same results whatever the order, the batches and the workers, and after an interruption."""

import json
import os
import pathlib
import signal
import subprocess
import sys
import time

import polars as pl
import pytest

from cli.main import exit_code_of
from engine.archive.findings import findings_schema
from engine.archive.judging import judging_versions, sealed_base

DEMO = pathlib.Path(__file__).parent.parent.parent / "scenarios_demo" / "archive"
SAME = ("walls.parquet", "walls.csv", "summary.json", "page.html", "rejects.csv")


def check(output, *paths, **options):
    arguments = ["archive", "check", *map(str, paths or (DEMO / "jobs.csv",)), "--output", str(output)]
    for name, value in {"as_of": "2026-11-26", "earlier": "2026.1", **options}.items():
        option = f"--{name.replace('_', '-')}"
        arguments += [option] if value is True else [option, str(value)]
    return arguments


def results(folder):
    found = {name: (folder / name).read_bytes() for name in SAME}
    for path in sorted((folder / "rejects").rglob("*")) if (folder / "rejects").exists() else ():
        if path.is_file():
            found[str(path.relative_to(folder))] = path.read_bytes()
    return found


@pytest.fixture(scope="module")
def plain(tmp_path_factory):
    folder = tmp_path_factory.mktemp("plain")
    assert exit_code_of(check(folder)) == 1
    return results(folder)


def test_it_writes_every_kind_of_result_and_leaves_nothing_else(tmp_path, capsys):
    assert exit_code_of(check(tmp_path / "out")) == 1
    names = {path.name for path in (tmp_path / "out").iterdir()}
    assert names >= {*SAME, "walls.xlsx"}
    assert not {name for name in names if name.startswith(".")}
    summary = json.loads((tmp_path / "out" / "summary.json").read_text())
    assert summary["rows"] == summary["decided"] + summary["rejected"] + summary["repeated"]
    walls = pl.read_parquet(tmp_path / "out" / "walls.parquet")
    assert walls.height == summary["decided"]
    assert walls.schema == pl.Schema(dict(findings_schema()))
    said = capsys.readouterr().out
    assert f"{summary['rows']} rows of past jobs" in said
    assert "certifies nothing" in said


@pytest.mark.parametrize(("batch", "workers"), [(7, 1), (13, 2), (1000, 2)])
def test_neither_batches_nor_workers_change_a_byte(tmp_path, plain, batch, workers):
    assert exit_code_of(check(tmp_path, batch=batch, workers=workers)) == 1
    assert results(tmp_path) == plain


def test_the_order_in_which_files_are_named_changes_nothing(tmp_path):
    lines = (DEMO / "jobs.csv").read_text(encoding="utf-8").splitlines(keepends=True)
    one, other = tmp_path / "a.csv", tmp_path / "b.csv"
    one.write_text("".join([lines[0], *lines[1:20]]), encoding="utf-8")
    other.write_text("".join([lines[0], *lines[15:30]]), encoding="utf-8")
    assert exit_code_of(check(tmp_path / "x", one, other)) == 1
    assert exit_code_of(check(tmp_path / "y", other, one)) == 1
    assert results(tmp_path / "x") == results(tmp_path / "y")
    summary = json.loads((tmp_path / "x" / "summary.json").read_text())
    rejected = pl.read_csv(tmp_path / "x" / "rejects.csv")
    again = rejected.filter(pl.col("message").str.contains("repeats another row"))
    assert summary["repeated"] == again.height > 0
    assert set(again.get_column("file")) == {str(other)}


def test_a_check_that_was_killed_goes_on_where_it_was(tmp_path, plain):
    output = tmp_path / "out"
    arguments = check(output, batch=2, workers=1)
    code = "import sys; from cli.main import exit_code_of; sys.exit(exit_code_of(sys.argv[1:]))"
    running = subprocess.Popen([sys.executable, "-c", code, *arguments], stderr=subprocess.DEVNULL)
    parts = output / ".unfinished"
    until = time.monotonic() + 120
    while len(list(parts.glob("part-*.json"))) < 3 and time.monotonic() < until and running.poll() is None:
        time.sleep(0.01)
    assert running.poll() is None
    os.kill(running.pid, signal.SIGKILL)
    running.wait()
    kept = {path: path.stat().st_mtime_ns for path in parts.glob("part-*.parquet")}
    assert len(kept) >= 3
    assert exit_code_of(check(output)) == 2
    assert exit_code_of(check(output, resume=True)) == 1
    assert results(output) == plain
    assert not parts.exists()


def test_an_interrupt_ends_in_130_and_leaves_what_is_done(tmp_path, plain):
    output = tmp_path / "out"
    code = "import sys; from cli.main import exit_code_of; sys.exit(exit_code_of(sys.argv[1:]))"
    running = subprocess.Popen(
        [sys.executable, "-c", code, *check(output, batch=2, workers=2)], stderr=subprocess.PIPE, text=True
    )
    until = time.monotonic() + 120
    while not list((output / ".unfinished").glob("part-*.json")) and time.monotonic() < until:
        time.sleep(0.01)
    running.send_signal(signal.SIGINT)
    _, said = running.communicate(timeout=60)
    assert running.returncode == 130
    assert "Traceback" not in said
    assert exit_code_of(check(output, resume=True)) == 1
    assert results(output) == plain


def test_results_are_not_written_over_unless_asked(tmp_path, plain, capsys):
    assert exit_code_of(check(tmp_path)) == 1
    before = results(tmp_path)
    assert exit_code_of(check(tmp_path)) == 2
    assert "--replace" in capsys.readouterr().err
    assert results(tmp_path) == before
    assert exit_code_of(check(tmp_path, replace=True)) == 1
    assert results(tmp_path) == plain


def test_it_does_not_go_on_with_something_else(tmp_path, capsys):
    assert exit_code_of(check(tmp_path / "none", resume=True)) == 2
    assert "nothing there to go on with" in capsys.readouterr().err
    work = tmp_path / "out" / ".unfinished"
    work.mkdir(parents=True)
    (work / "plan.json").write_text(json.dumps({"files": "another", "batch": 3}))
    assert exit_code_of(check(tmp_path / "out", resume=True)) == 2
    said = capsys.readouterr().err
    assert "files" in said
    assert "changed" in said


def test_surveys_from_before_any_rules_are_rejected_unless_a_version_is_named(tmp_path):
    lines = (DEMO / "jobs.csv").read_text(encoding="utf-8").splitlines(keepends=True)
    header = lines[0].rstrip("\n").split(",")
    date = header.index("survey_date")
    cells = lines[1].rstrip("\n").split(",")
    cells[date] = "2024-03-01"
    source = tmp_path / "old.csv"
    source.write_text(lines[0] + ",".join(cells) + "\n", encoding="utf-8")
    code = "archive", "check", str(source), "--output"
    assert exit_code_of([*code, str(tmp_path / "a"), "--as-of", "2026-11-26"]) == 1
    (rejected,) = pl.read_csv(tmp_path / "a" / "rejects.csv").rows(named=True)
    assert rejected["column"] == "survey_date"
    assert "no version of the rules was in force" in rejected["message"]
    assert "--earlier" in rejected["hint"]
    exit_code_of([*code, str(tmp_path / "b"), "--as-of", "2026-11-26", "--earlier", "2026.1"])
    assert pl.read_parquet(tmp_path / "b" / "walls.parquet").get_column("rules").to_list() == ["2026.1"]
    exit_code_of([*code, str(tmp_path / "c"), "--as-of", "2026-11-26", "--rules", "2026.2"])
    assert pl.read_parquet(tmp_path / "c" / "walls.parquet").get_column("rules").to_list() == ["2026.2"]


def test_the_version_in_force_on_the_day_judges():
    from engine.archive.judging import ByRules, version_column

    bases = {name: sealed_base(name) for name in judging_versions(ByRules())}
    days = {name: base.manifest.in_force_from for name, base in bases.items()}
    frame = pl.DataFrame({"survey_date": list(days.values())}, schema={"survey_date": pl.Date})
    day_before = frame.with_columns(pl.col("survey_date").dt.offset_by("-1d"))
    assert frame.select(version_column(ByRules()).alias("v")).get_column("v").to_list() == list(days)
    before = day_before.select(version_column(ByRules()).alias("v")).get_column("v").to_list()
    assert before == [None, *list(days)[:-1]]


def test_unknown_versions_and_paths_are_told_and_nothing_is_written(tmp_path, capsys):
    assert exit_code_of(check(tmp_path / "o", rules="2062.1")) == 2
    assert "2026.1" in capsys.readouterr().err
    assert exit_code_of(check(tmp_path / "o", tmp_path / "not-there.csv")) == 2
    assert not (tmp_path / "o").exists()


def test_results_and_jobs_lie_apart(tmp_path, capsys):
    folder = tmp_path / "jobs"
    folder.mkdir()
    source = folder / "jobs.csv"
    source.write_bytes((DEMO / "jobs.csv").read_bytes())
    assert exit_code_of(check(folder / "out", folder)) == 2
    assert "would be read as jobs" in capsys.readouterr().err
    assert not (folder / "out").exists()
    assert exit_code_of(check(tmp_path / "out", source)) == 1
    mended = next((tmp_path / "out" / "rejects").rglob("*.csv"))
    before = mended.read_bytes()
    assert exit_code_of(check(tmp_path / "out", mended, replace=True)) == 2
    assert "lies in the folder of the results" in capsys.readouterr().err
    assert mended.read_bytes() == before


def test_rejects_that_were_mended_where_they_lay_are_kept(tmp_path, capsys):
    assert exit_code_of(check(tmp_path)) == 1
    rejected = next((tmp_path / "rejects").rglob("*.csv"))
    assert exit_code_of(check(tmp_path, replace=True)) == 1
    assert not (tmp_path / "rejects-1").exists()
    rejected.write_text("mended", encoding="utf-8")
    later = time.time() + 5
    os.utime(rejected, (later, later))
    capsys.readouterr()
    assert exit_code_of(check(tmp_path, replace=True)) == 1
    assert next((tmp_path / "rejects-1").rglob("*.csv")).read_text(encoding="utf-8") == "mended"
    assert "rejects-1" in capsys.readouterr().out.replace("\n", "")


def test_rows_of_one_wall_that_say_different_things_are_told_apart_from_copies(tmp_path, capsys):
    lines = (DEMO / "jobs.csv").read_text(encoding="utf-8").splitlines(keepends=True)
    other = lines[1].replace(",S07,", ",S08,", 1)
    assert other != lines[1]
    source = tmp_path / "twice.csv"
    source.write_text("".join([*lines[:3], lines[2], other]), encoding="utf-8")
    assert exit_code_of(check(tmp_path / "out", source)) == 1
    rejected = pl.read_csv(tmp_path / "out" / "rejects.csv").sort("row")
    assert rejected.get_column("row").to_list() == [4, 5]
    assert rejected.get_column("message").to_list() == [
        "repeats another row",
        "disagrees with another row of the same wall",
    ]
    assert "disagrees with another row of the same wall" in capsys.readouterr().out


def test_a_file_without_a_row_is_said_to_hold_no_jobs(tmp_path, capsys):
    header = (DEMO / "jobs.csv").read_text(encoding="utf-8").splitlines(keepends=True)[0]
    (tmp_path / "none.csv").write_text(header, encoding="utf-8")
    assert exit_code_of(check(tmp_path / "out", tmp_path / "none.csv")) == 2
    assert "holds no jobs" in capsys.readouterr().err
    assert not (tmp_path / "out").exists()


CODE = "import sys; from cli.main import exit_code_of; sys.exit(exit_code_of(sys.argv[1:]))"


def killed_after(parts, output, **options):
    """A check that is killed once so many parts are done."""
    running = subprocess.Popen([sys.executable, "-c", CODE, *check(output, **options)], stderr=subprocess.DEVNULL)
    until = time.monotonic() + 120
    while len(list((output / ".unfinished").glob("part-*.json"))) < parts and time.monotonic() < until:
        time.sleep(0.01)
    running.kill()
    running.wait()


def test_a_second_check_is_kept_out_of_a_folder_in_which_one_is_at_work(tmp_path, capsys):
    output = tmp_path / "out"
    running = subprocess.Popen([sys.executable, "-c", CODE, *check(output, batch=1)], stderr=subprocess.DEVNULL)
    until = time.monotonic() + 120
    while not list((output / ".unfinished").glob("part-*.json")) and time.monotonic() < until:
        time.sleep(0.01)
    for option in ("replace", "resume"):
        assert exit_code_of(check(output, **{option: True})) == 2
        assert "another check is at work there" in capsys.readouterr().err
    running.kill()
    running.wait()
    assert exit_code_of(check(output, resume=True)) == 1


def test_a_file_that_changes_while_it_is_read_gives_no_results(tmp_path, monkeypatch, capsys):
    from engine.archive import run

    source = tmp_path / "jobs.csv"
    source.write_bytes((DEMO / "jobs.csv").read_bytes())
    judged = run.judged_unit

    def meanwhile(*arguments):
        os.utime(source, (1, 1))
        return judged(*arguments)

    monkeypatch.setattr(run, "judged_unit", meanwhile)
    assert exit_code_of(check(tmp_path / "out", source, workers=1)) == 2
    assert "changed while they were being read" in capsys.readouterr().err
    assert not (tmp_path / "out" / "walls.parquet").exists()


def test_rejects_of_an_earlier_check_do_not_stay(tmp_path):
    assert exit_code_of(check(tmp_path / "out")) == 1
    lines = (DEMO / "jobs.csv").read_text(encoding="utf-8").splitlines(keepends=True)
    rejected = pl.read_csv(tmp_path / "out" / "rejects.csv").get_column("row").to_list()
    good = tmp_path / "good.csv"
    kept = [line for row, line in enumerate(lines, 1) if row not in rejected]
    good.write_text("".join(kept), encoding="utf-8")
    assert exit_code_of(check(tmp_path / "out", good, replace=True)) == 1
    assert not (tmp_path / "out" / "rejects").exists()


def test_a_part_that_is_not_whole_is_judged_again(tmp_path, plain):
    output = tmp_path / "out"
    killed_after(2, output, batch=2)
    part = output / ".unfinished" / "part-0000000.parquet"
    part.write_bytes(part.read_bytes()[:100])
    assert exit_code_of(check(output, resume=True)) == 1
    assert results(output) == plain


def test_a_check_goes_on_by_the_day_on_which_it_began(tmp_path, plain):
    output = tmp_path / "out"
    killed_after(2, output, batch=2)
    assert exit_code_of(check(output, resume=True, as_of="2027-01-01")) == 1
    assert results(output) == plain


def test_a_full_disk_is_told_and_what_is_done_is_kept(tmp_path, monkeypatch, capsys, plain):
    from engine.archive import journal

    wrote = journal._write_frame

    def full(frame, path):
        if "0000003" in path.name:
            raise OSError(28, "No space left on device")
        wrote(frame, path)

    monkeypatch.setattr(journal, "_write_frame", full)
    assert exit_code_of(check(tmp_path, batch=5, workers=1)) == 2
    assert "No space left on device" in capsys.readouterr().err
    monkeypatch.undo()
    assert exit_code_of(check(tmp_path, resume=True)) == 1
    assert results(tmp_path) == plain


def test_a_sample_of_every_layout_is_judged_again(tmp_path, capsys):
    assert exit_code_of(["archive", "check", str(DEMO.parent / "nine_inch_brick.yaml"), "--output", str(tmp_path)]) == 0
    assert "1 wall of them was judged a second way" in " ".join(capsys.readouterr().out.split())
