"""The command as a person or a script runs it: output, files, exit codes, never a traceback."""

import datetime as dt
import json
import os
import pathlib
import subprocess
import sys

import pytest
import yaml

from cli.main import exit_code_of
from engine.facts.vocabulary import facts
from engine.rulebase.load import load_rule_base, versions

DEMO = pathlib.Path(__file__).parent.parent / "scenarios_demo"
BASE = load_rule_base(versions()[-1].version)
GOOD = """property: {reference: A-1, survey_date: 2026-05-04}
walls:
  - id: W1
    note: 'depth [mm] [/b] :warning: [bold]x[/bold] <script>'
    build: {construction: solid_brick, thickness_mm: 225}
  - id: W2
"""


@pytest.fixture
def survey(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "s.yaml").write_text(GOOD)
    return tmp_path / "s.yaml"


def run(capsys, *arguments):
    code = exit_code_of(list(arguments))
    captured = capsys.readouterr()
    assert "Traceback" not in captured.err + captured.out
    return code, captured.out, captured.err


def in_process_of_its_own(*arguments, stdin=b"", **environment):
    return subprocess.run(
        [sys.executable, "-c", "import cli.main; cli.main.run()", *arguments],
        input=stdin,
        capture_output=True,
        env={**os.environ, **environment},
        check=False,
    )


def test_an_open_survey_ends_in_1_and_says_what_is_open(capsys, survey):
    code, out, err = run(capsys, "assess", "s.yaml")
    assert (code, err) == (1, "")
    assert out.index("VERDICT") < out.index("Medium") < out.index("Line") < out.index("WHY")
    assert out.index("WHY") < out.index("CAUTIONS") < out.index("OPEN QUESTIONS") < out.index("SOURCES")
    assert "maker's instructions and licensed practice come first" in out.replace("\n", " ")


def test_several_walls_begin_with_one_line_each(capsys, survey):
    _, out, _ = run(capsys, "assess", "s.yaml")
    assert out.startswith("2 walls, 0 settled\n  W1 investigate [provisional]  s.yaml\n  W2 investigate")
    _, out, _ = run(capsys, "assess", "s.yaml", "--wall", "W1")
    assert out.startswith("Wall W1, survey A-1 of 2026-05-04\n")


def test_a_reason_names_what_was_found_at_this_wall(capsys):
    _, out, _ = run(capsys, "assess", str(DEMO / "old_course_in_the_bricks.yaml"))
    why = " ".join(out[out.index("WHY") : out.index("WORKS")].split())
    assert "Here: reading." in why or "Here: evidence." in why


def test_text_from_the_survey_is_shown_as_it_stands(capsys, survey):
    _, out, _ = run(capsys, "assess", "s.yaml")
    assert "depth [mm] [/b] :warning: [bold]x[/bold] <script>" in out
    _, out, _ = run(capsys, "assess", "s.yaml", "--format", "markdown")
    assert "<script>" not in out
    assert r"depth \[mm\] \[/b\] :warning: \[bold\]x\[/bold\] \<script\>" in out


def test_nothing_is_cut_when_piped(survey):
    shown = in_process_of_its_own("assess", "s.yaml").stdout.decode()
    assert "…" not in shown
    assert max(len(line) for line in shown.splitlines()) <= 100
    assert "\x1b" not in shown


@pytest.mark.parametrize("form", ["text", "json", "markdown"])
def test_every_format_names_version_digest_and_walls(capsys, survey, form):
    code, out, _ = run(capsys, "assess", "s.yaml", "--format", form)
    assert code == 1
    for word in ("2026.1", load_rule_base("2026.1").digest[:16], "A-1", "W1", "W2"):
        assert word in out


def test_one_wall_only(capsys, survey):
    _, out, _ = run(capsys, "assess", "s.yaml", "--wall", "W2", "--format", "json")
    assert [wall["wall"] for wall in json.loads(out)["assessments"][0]["walls"]] == ["W2"]
    code, out, err = run(capsys, "assess", "s.yaml", "--wall", "W22")
    assert (code, out) == (2, "")
    assert "no such wall" in err
    assert "did you mean W2?" in err


def test_standard_input_and_a_folder(capsys, survey):
    piped = in_process_of_its_own("assess", "-", "--format", "json", stdin=GOOD.encode())
    assert piped.returncode == 1
    assert json.loads(piped.stdout)["assessments"][0]["file"] == "<stdin>"
    (survey.parent / "in").mkdir()
    for name in ("b.yml", "a.yaml"):
        (survey.parent / "in" / name).write_text(GOOD)
    (survey.parent / "in" / "note.txt").write_text("not a survey")
    _, out, _ = run(capsys, "assess", "in", "--format", "json")
    assert [each["file"] for each in json.loads(out)["assessments"]] == ["in/a.yaml", "in/b.yml"]
    (survey.parent / "empty").mkdir()
    assert run(capsys, "assess", "empty")[0] == 2


def test_a_file_is_written_whole_or_not_at_all(capsys, survey, tmp_path):
    target = tmp_path / "out.json"
    target.write_text("before")
    (tmp_path / "bad.yaml").write_text("walls: 5\n")
    assert run(capsys, "assess", "s.yaml", "bad.yaml", "--format", "json", "--output", "out.json")[0] == 2
    assert target.read_text() == "before"
    code, out, _ = run(capsys, "assess", "s.yaml", "--format", "json", "--output", "out.json")
    assert (code, out) == (1, "")
    assert json.loads(target.read_text())["assessments"]
    assert sorted(p.name for p in tmp_path.iterdir()) == ["bad.yaml", "out.json", "s.yaml"]
    assert run(capsys, "assess", "s.yaml", "--output", "no/such/folder/x")[0] == 2
    assert run(capsys, "assess", "s.yaml", "--output", ".")[0] == 2


def test_the_survey_is_never_overwritten(capsys, survey, tmp_path):
    (tmp_path / "link.yaml").symlink_to("s.yaml")
    for target in ("s.yaml", "./s.yaml", "link.yaml"):
        code, out, err = run(capsys, "assess", "s.yaml", "--output", target)
        assert (code, out) == (2, "")
        assert "is the survey itself" in err
    assert survey.read_text() == GOOD


def test_the_same_file_is_judged_once(capsys, survey):
    _, out, _ = run(capsys, "assess", "s.yaml", "./s.yaml", "--format", "json")
    assert len(json.loads(out)["assessments"]) == 1


def test_a_folder_without_a_survey_is_no_success(capsys, survey, tmp_path):
    (tmp_path / "books").mkdir()
    (tmp_path / "books" / "p.yaml").write_text("kind: prices\n")
    code, out, err = run(capsys, "assess", "books")
    assert (code, out) == (2, "")
    assert "holds no survey" in err


def test_nothing_is_judged_as_of_a_day_to_come(capsys, survey, tmp_path):
    (tmp_path / "late.yaml").write_text(GOOD.replace("2026-05-04", "2098-05-04"))
    code, _, err = run(capsys, "assess", "late.yaml", "--as-of", "2099-01-01")
    assert code == 2
    assert "--as-of: is in the future" in err


def test_problems_of_all_files_come_at_once(capsys, survey, tmp_path):
    (tmp_path / "a.yaml").write_text("walls: 5\n")
    (tmp_path / "b.yaml").write_text(GOOD.replace("225", "23"))
    code, out, err = run(capsys, "assess", "a.yaml", "s.yaml", "b.yaml", "missing.yaml")
    assert (code, out) == (2, "")
    for word in (
        "a.yaml:1:8: walls",
        "property: is missing",
        "b.yaml:5:",
        "write 230",
        "missing.yaml: there is no such",
    ):
        assert word in err
    assert "nothing was written" in err


@pytest.mark.parametrize(
    ("content", "word"),
    [
        (b"", "empty"),
        (b"# only a comment\n", "comments"),
        (b"\x89PNG\r\n\x1a\n\x00\x00", "bad.yaml"),
        (bytes(range(256)) * 40, "bad.yaml"),
        (b"\xff\xfea\x00:\x00", "bad.yaml"),
        (b"a: " + b"x" * 10_000_000, "too large"),
        (b"[" * 3000, "nested too deeply"),
        (b"a: &a [x]\nb: *a\n", "alias"),
        (b"a: 1\na: 2\n", "a"),
        (b"property: {reference: NO, survey_date: 2026-05-04}\nwalls: [{id: off}]\nx: .nan\n", "x"),
        (b"- 1\n", "mapping"),
        (b"a: 1\n--- \nb: 2\n", "document"),
        (b"property: !!set {a}\n", "tag"),
        (b"property: {reference: 12:30, survey_date: 2024-13-01}\nwalls: [{id: W}]\n", "survey_date"),
        (b"property: {reference: a, survey_date: " + b"9" * 5000 + b"}\n", "property"),
        (b"\tproperty: 1", "bad.yaml:1"),
    ],
)
def test_hostile_files_are_refused_in_words(capsys, survey, tmp_path, content, word):
    (tmp_path / "bad.yaml").write_bytes(content)
    code, out, err = run(capsys, "assess", "bad.yaml")
    assert (code, out) == (2, "")
    assert word in err


@pytest.mark.parametrize(
    "arguments",
    [
        ["asess", "s.yaml"],
        ["assess"],
        ["assess", "s.yaml", "--format", "pdf"],
        ["assess", "s.yaml", "--as-of", "May"],
        ["assess", "s.yaml", "--rules", "1999.1"],
        ["assess", "s.yaml", "--as-of", "2025-12-31"],
        ["rules", "show", "X-999"],
        ["rules", "list", "--stage", "cuase"],
        ["schema", "--of", "house"],
        ["form", "--date", "soon"],
    ],
)
def test_bad_usage_ends_in_2(capsys, survey, arguments):
    code, out, err = run(capsys, *arguments)
    assert (code, out) == (2, "")
    assert err


def test_the_rules_in_force_are_picked_by_date(capsys, survey):
    code, out, _ = run(capsys, "assess", "s.yaml", "--as-of", "2026-06-01", "--format", "json")
    assert code == 1
    assert json.loads(out)["assessments"][0]["as_of"] == "2026-06-01"
    (survey.parent / "old.yaml").write_text(GOOD.replace("2026-05-04", "2019-05-04"))
    code, _, err = run(capsys, "assess", "old.yaml")
    assert code == 2
    assert "no version of the rules was in force" in err
    assert "--rules" in err
    assert run(capsys, "assess", "old.yaml", "--rules", "2026.1")[0] == 1


def test_a_survey_later_than_the_day_of_judging_is_refused(capsys, survey):
    code, _, err = run(capsys, "assess", "s.yaml", "--as-of", "2026-05-03")
    assert code == 2
    assert "is in the future" in err


def test_help_at_80_columns(monkeypatch):
    for arguments in (["--help"], ["assess", "--help"], ["rules", "--help"]):
        shown = in_process_of_its_own(*arguments, COLUMNS="80").stdout.decode()
        assert max(len(line) for line in shown.splitlines()) <= 80
        assert shown.startswith("Usage: ")
    help_text = " ".join(in_process_of_its_own("assess", "--help", COLUMNS="80").stdout.decode().split())
    for word in (
        "0 everything settled",
        "1 something provisional",
        "2 bad input",
        "3 internal error",
        "130 interrupted",
    ):
        assert word in help_text


def test_rules_are_listed_and_shown(capsys):
    code, out, _ = run(capsys, "rules", "list")
    assert code == 0
    for rule in BASE.rules:
        assert rule.id in out
    code, out, _ = run(capsys, "rules", "list", "--stage", "cause", "--format", "json")
    assert [rule["id"] for rule in json.loads(out)["rules"]] == [rule.id for rule in BASE.by_stage["cause"]]
    for rule in BASE.rules:
        code, out, _ = run(capsys, "rules", "show", rule.id.lower())
        assert code == 0
        for heading in ("WHAT IT DECIDES", "WHEN", "WHY", "HOW FAR TO TRUST IT", "EXAMPLE", "NEAREST", "SOURCES"):
            assert heading in out
        assert json.loads(run(capsys, "rules", "show", rule.id, "--format", "json")[1])["id"] == rule.id


def test_the_form_can_be_assessed_as_it_is(capsys, survey):
    code, out, _ = run(capsys, "form", "--date", "2026-05-04", "--wall", "N1", "--wall", "N2")
    assert code == 0
    for name in facts():
        assert f"{name.partition('.')[2]}: unknown" in out
    pathlib.Path("f.yaml").write_text(out)
    code, out, _ = run(capsys, "assess", "f.yaml", "--format", "json")
    assert code == 1
    for wall in json.loads(out)["assessments"][0]["walls"]:
        verdict = next(choice for choice in wall["choices"] if choice["choice"] == "verdict")
        assert verdict["option"] == "investigate"
        assert wall["open_questions"]


def test_schema_of_both(capsys):
    for subject in ("survey", "assessment", "schedule"):
        code, out, _ = run(capsys, "schema", "--of", subject)
        assert code == 0
        assert json.loads(out)["$schema"].startswith("https://json-schema.org/")


def test_version_names_rules_and_readers(capsys):
    code, out, _ = run(capsys, "version")
    assert code == 0
    assert f"rules 2026.1, in force from 2026-01-01, {len(load_rule_base('2026.1').rules)} rules" in out
    assert "durable-rules" in out


def test_readers_that_disagree_end_in_3_without_an_answer(capsys, survey, monkeypatch):
    from engine.decision import assess
    from engine.errors import ReadersDisagree

    def differ(*_):
        raise ReadersDisagree("M-001 holds for one reader only")

    monkeypatch.setattr(assess, "agreed", differ)
    code, out, err = run(capsys, "assess", "s.yaml")
    assert (code, out) == (3, "")
    assert "internal error: M-001 holds for one reader only" in err


def test_an_unforeseen_failure_ends_in_3(capsys, survey, monkeypatch):
    from engine.decision import assess

    monkeypatch.setattr(assess, "evaluate", lambda *_: 1 / 0)
    code, out, err = run(capsys, "assess", "s.yaml")
    assert (code, out) == (3, "")
    assert "internal error: ZeroDivisionError" in err


def test_interrupting_ends_in_130(capsys, survey, monkeypatch):
    from engine.decision import assess

    def interrupted(*_):
        raise KeyboardInterrupt

    monkeypatch.setattr(assess, "evaluate", interrupted)
    code, out, err = run(capsys, "assess", "s.yaml", "--output", "out.txt")
    assert (code, out, err.strip()) == (130, "", "interrupted")
    assert not pathlib.Path("out.txt").exists()


def test_a_reader_that_closes_early_is_no_failure(survey):
    command = f'{sys.executable} -c "import cli.main; cli.main.run()" rules list | head -1'
    run = subprocess.run(command, shell=True, capture_output=True, check=False)
    assert run.stdout.startswith(b"Rules 2026.")
    assert run.stderr == b""


def test_json_and_markdown_carry_the_schedule_and_fit_their_schema(capsys):
    import jsonschema

    path = str(DEMO / "nine_inch_brick.yaml")
    whole = json.loads(run(capsys, "assess", path, "--format", "json")[1])
    jsonschema.validate(whole, json.loads(run(capsys, "schema", "--of", "assessment")[1]))
    (schedule,) = whole["schedules"]
    assert schedule["wall"] == whole["assessments"][0]["walls"][0]["wall"]
    alone = json.loads(run(capsys, "schedule", path, "--format", "json")[1])
    jsonschema.validate(alone, json.loads(run(capsys, "schema", "--of", "schedule")[1]))
    assert alone["schedules"] == [schedule]
    out = run(capsys, "assess", path, "--format", "markdown")[1]
    assert "## Schedule" in out
    assert "## Readings" in out


@pytest.mark.parametrize("path", sorted(DEMO.glob("*.yaml")), ids=lambda path: path.stem)
def test_every_demo_survey_is_shown_in_every_format(capsys, path):
    for form in ("text", "json", "markdown"):
        code, out, _ = run(capsys, "assess", str(path), "--format", form)
        assert code in (0, 1)
        assert out.endswith("\n")
        if form == "text":
            assert max(len(line) for line in out.splitlines()) <= 100


def test_the_demo_is_dated_within_the_rules():
    for path in DEMO.glob("*.yaml"):
        day = yaml.safe_load(path.read_text())["property"]["survey_date"]
        assert dt.date(2026, 1, 1) <= day <= dt.date(2026, 11, 25)


def test_a_firm_word_says_what_weak_ground_it_rests_on(capsys):
    """A reported profile alone makes rising damp of low certainty, and so whatever is decided on it."""
    demo = str(DEMO / "meter_only.yaml")
    exit_code_of(["assess", demo, "--set", "moisture.reported_profile=rising", "--format", "json"])
    (wall,) = json.loads(capsys.readouterr().out)["assessments"][0]["walls"]
    choices = {each["choice"]: each for each in wall["choices"]}
    assert choices["rising_damp"]["certainty"] == "low"
    assert choices["verdict"]["rests_on"] == ["rising_damp"]
    assert choices["verdict"]["rests_on_certainty"] == "low"
    assert choices["rising_damp"]["rests_on"] == []
    exit_code_of(["assess", demo, "--set", "moisture.reported_profile=rising"])
    assert "resting on rising damp of low certainty" in " ".join(capsys.readouterr().out.split())


def test_where_nothing_is_treated_the_page_says_what_kept_it_from_that(capsys):
    exit_code_of(["assess", str(DEMO / "coarse_balance.yaml")])
    assert "E-076 A difference that the balance cannot see" in capsys.readouterr().out


@pytest.mark.skipif(not pathlib.Path("/dev/full").exists(), reason="no full device here")
def test_a_full_disk_is_said():
    with open("/dev/full", "w") as full:
        run = subprocess.run(
            [sys.executable, "-c", "import cli.main; cli.main.run()", "version"],
            stdout=full,
            stderr=subprocess.PIPE,
            text=True,
            check=False,
        )
    assert run.returncode == 2
    assert "cannot be written" in run.stderr
    assert "Traceback" not in run.stderr


def test_the_day_of_the_survey_is_no_fact_to_set(capsys):
    assert exit_code_of(["assess", str(DEMO / "meter_only.yaml"), "--set", "property.survey_date=2026-05-01"]) == 2
    assert "--as-of" in capsys.readouterr().err
