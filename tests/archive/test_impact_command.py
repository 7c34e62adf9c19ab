"""`bedjoint archive impact`: from files of past jobs to what is printed and written."""

import json
import pathlib
import random

import jsonschema
import polars as pl
import pytest
import yaml

from cli.main import exit_code_of
from cli.render_impact import as_markdown
from engine.archive.impact_model import Impact
from tests.generated import any_survey

OLD, NEW = "2026.1", "2026.2"
WALLS = 60


@pytest.fixture(scope="module")
def archive(tmp_path_factory):
    """A folder of surveys with what was recommended beside half of them, and one survey that cannot be judged."""
    folder = tmp_path_factory.mktemp("archive") / "jobs"
    folder.mkdir()
    rng = random.Random(11)
    for at in range(WALLS):
        survey = any_survey(rng, rng.choice((0.0, 0.15, 0.5)))
        survey["property"]["reference"] = f"J-{at}"
        (folder / f"job{at:02}.yaml").write_text(yaml.safe_dump(survey, sort_keys=False))
        if at % 2:
            wall = {"wall": survey["walls"][0]["id"], "recommended": {"verdict": "treat", "medium": "cream"}}
            (folder / f"job{at:02}.recommended.yaml").write_text(yaml.safe_dump({"form": 1, "walls": [wall]}))
    (folder / "wrong.yaml").write_text(
        "property: {reference: X, survey_date: 2026-06-15}\nwalls: [{id: a, build: {thickness_mm: -3}}]\n"
    )
    return folder


def run(capsys, monkeypatch, *arguments):
    monkeypatch.setenv("COLUMNS", "80")
    code = exit_code_of(["archive", "impact", *map(str, arguments)])
    out, err = capsys.readouterr()
    return code, out, err


@pytest.fixture
def called(capsys, monkeypatch):
    return lambda *arguments: run(capsys, monkeypatch, *arguments)


def test_the_page_says_what_changes_and_fits_a_terminal(called, archive):
    code, out, err = called(archive, "--from", OLD, "--to", NEW)
    assert (code, err) == (1, "")
    assert all(len(line) <= 80 for line in out.splitlines() if str(archive) not in line)
    assert "\x1b" not in out
    words = " ".join(out.split())
    assert f"{WALLS + 1} rows of past jobs: {WALLS} walls judged by both, 1 rejected, 0 repeated." in words
    assert "MORE CAUTIOUS" in out
    assert "W-090 newly holds, added" in words
    assert "WHAT IT MEANS FOR RECOMMENDATIONS ON FILE" in out
    assert "build.thickness_mm: '-3' is out of limits" in words
    assert "bedjoint archive check" in words
    assert words.endswith("It judges what was written down, not the wall.")


def test_bolder_changes_come_before_more_cautious_ones(called, archive):
    _, out, _ = called(archive, "--from", NEW, "--to", OLD)
    assert out.index("BOLDER: ") > 0
    assert "MORE CAUTIOUS: " not in out or out.index("BOLDER: ") < out.index("MORE CAUTIOUS: ")


def test_json_is_what_its_schema_says_and_agrees_with_the_page(called, archive):
    code, out, _ = called(archive, "--from", OLD, "--to", NEW, "--format", "json")
    assert code == 1
    told = json.loads(out)
    jsonschema.validate(told, Impact.model_json_schema(mode="serialization"))
    assert (told["a"]["version"], told["b"]["version"]) == (OLD, NEW)
    assert told["rows"] == told["walls"] + told["rejected"] + told["repeated"] == WALLS + 1
    assert told["recommendations"]["walls"] == WALLS // 2
    found = Impact.model_validate_json(out)
    assert not found.same
    assert as_markdown(found).startswith("# Impact of a version of the rules\n")
    assert all(each.examples for each in found.decisions)


def test_markdown(called, archive):
    code, out, _ = called(archive, "--from", OLD, "--to", NEW, "--format", "markdown")
    assert code == 1
    assert "## More cautious: " in out
    assert "rising_damp" not in out.replace("rising\\_damp", ""), "underscores are escaped"


def test_nothing_changes_between_a_version_and_itself(called, archive):
    code, out, _ = called(archive, "--from", NEW, "--to", NEW)
    assert code == 0
    assert f"At none of {WALLS} walls does a decision differ." in out


def test_everything_wrong_is_said_at_once(called, archive, tmp_path):
    (tmp_path / "mapping.yaml").write_text("kind: nothing\n")
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / "kept").write_text("mine")
    code, out, err = called(
        archive, "--from", "2026.3", "--to", "x", "--mapping", tmp_path / "mapping.yaml", "--output", tmp_path / "full"
    )
    assert (code, out) == (2, "")
    assert "--from: no such version of the rules; found 2026.3; allowed: 2026.1, 2026.2" in err
    assert "--to: no such version of the rules; found x" in err
    assert "mapping.yaml" in err
    assert "holds files already" in err
    assert [each.name for each in (tmp_path / "full").iterdir()] == ["kept"]
    code, _, err = called(tmp_path / "missing.csv", "--from", "2026.1", "--to", "2027.1")
    assert code == 2
    assert "missing.csv" in err
    assert "2027.1" in err


def test_the_changes_of_every_wall_are_written(called, archive, tmp_path):
    target = tmp_path / "impact"
    code, out, err = called(archive, "--from", OLD, "--to", NEW, "--output", target, "--format", "json")
    assert code == 1
    assert "written to" in err
    assert sorted(each.name for each in target.iterdir()) == ["changes.csv", "changes.parquet", "impact.json"]
    assert [each.name for each in tmp_path.iterdir()] == ["impact"], "nothing is left beside it"
    assert (target / "impact.json").read_text() == out
    told = json.loads(out)
    changes, text = pl.read_parquet(target / "changes.parquet"), pl.read_csv(target / "changes.csv")
    assert changes.height == text.height
    assert changes.select("at.file", "at.sheet", "at.row").rows() == sorted(
        changes.select("at.file", "at.sheet", "at.row").rows()
    )
    walls = changes.filter(pl.col("what").is_in(["decision", "member"])).select("at.file", "at.row", "wall")
    assert walls.unique().height == told["changed"]
    assert changes.filter(pl.col("what") == "decision").height == sum(each["walls"] for each in told["decisions"])
    assert changes.filter(pl.col("what") == "member").height == sum(each["walls"] for each in told["members"])
    row = changes.row(0, named=True)
    assert text.row(0, named=True)["newly_holds"] in (None, "; ".join(row["newly_holds"]))


def test_a_wall_that_stands_twice_is_judged_once(called, archive, tmp_path):
    for name in ("job00.yaml", "job01.yaml"):
        (tmp_path / name).write_bytes((archive / name).read_bytes())
        (tmp_path / f"again_{name}").write_bytes((archive / name).read_bytes())
    _, out, _ = called(tmp_path, "--from", OLD, "--to", NEW, "--format", "json")
    told = json.loads(out)
    assert (told["rows"], told["walls"], told["repeated"]) == (4, 2, 2)


def test_batches_of_any_size_come_to_the_same(archive, tmp_path):
    import datetime as dt

    from engine.archive.impact_rules import Pair
    from engine.archive.impact_run import impact_over
    from engine.audit.boldness import boldness
    from engine.rulebase.load import load_rule_base

    pair = Pair(load_rule_base(OLD), load_rule_base(NEW), boldness())
    results = []
    for size in (25, 1000):
        folder = tmp_path / str(size)
        folder.mkdir()
        found = impact_over([archive], pair, dt.date(2026, 11, 26), changes=folder, batch=size)
        results.append((found, *((folder / name).read_bytes() for name in ("changes.parquet", "changes.csv"))))
    assert results[0] == results[1]


def test_paths_with_spaces_are_quoted_where_a_command_is_shown(called, archive, tmp_path):
    folder = tmp_path / "past jobs"
    folder.mkdir()
    (folder / "wrong.yaml").write_bytes((archive / "wrong.yaml").read_bytes())
    code, out, _ = called(folder, "--from", OLD, "--to", NEW)
    assert code == 0, "no wall was judged, so none changes"
    assert f"'{folder}'" in out
    assert pathlib.Path(folder, "wrong.yaml").exists()
