"""`bedjoint form`: the blank survey as it was, and template sheets beside it."""

import datetime as dt

import pytest

from cli.main import exit_code_of
from engine.facts.blank_form import blank_form


def run(capsys, *arguments):
    code = exit_code_of(["form", *arguments])
    captured = capsys.readouterr()
    assert "Traceback" not in captured.err + captured.out
    return code, captured.out, captured.err


def test_without_options_it_is_the_blank_survey(capsys):
    expected = blank_form("write your reference here", dt.date(2026, 5, 4), ["W1"])
    assert run(capsys, "--date", "2026-05-04") == (0, expected, "")
    assert run(capsys, "--date", "2026-05-04", "--format", "yaml") == (0, expected, "")


@pytest.mark.parametrize("layout", ["facts", "walls"])
def test_a_workbook_goes_to_its_file_whole(capsys, tmp_path, layout):
    target = tmp_path / "form.xlsx"
    target.write_text("old")
    code, out, err = run(capsys, "--format", "xlsx", "--layout", layout, "--wall", "N1", "--output", str(target))
    assert (code, out) == (0, "")
    assert "written to" in err
    assert target.read_bytes()[:2] == b"PK"
    assert [path.name for path in tmp_path.iterdir()] == ["form.xlsx"]


def test_csv_is_printed(capsys):
    code, out, _ = run(capsys, "--format", "csv", "--wall", "N1", "--wall", "N2", "--wall", "N1")
    assert code == 0
    assert out.startswith("fact,question,unit,allowed,answer: N1,answer: N2,established,by,notes\r\n")
    code, out, _ = run(capsys, "--format", "csv", "--layout", "walls")
    assert (code, out.count("\n")) == (0, 1)


def test_what_is_wrong_with_the_options_is_said_all_at_once(capsys, tmp_path):
    code, out, err = run(capsys, "--format", "xlsx", "--wall", "the front", "--wall", "-x")
    assert (code, out) == (2, "")
    assert "--output" in err
    assert "'the front'" in err
    assert "3 problems" in err
    assert run(capsys, "--layout", "walls")[0] == 2
    code, _, err = run(capsys, "--format", "xlsx", "--output", str(tmp_path))
    assert code == 2
    assert "is a folder" in err
    code, _, err = run(capsys, "--format", "xlsx", "--output", str(tmp_path / "no" / "form.xlsx"))
    assert code == 2
    assert "cannot be written" in err
