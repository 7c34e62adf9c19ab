"""What the tests of decision records share: a folder with surveys, other rules and code, records made and edited."""

import datetime as dt
import json
import pathlib
import shutil

import pytest
from hypothesis import strategies as st

from cli.main import exit_code_of
from engine.record.build import overrides_digest, record_digest, text_of
from engine.record.canonical import digest_of
from engine.record.verification import Verification
from engine.rulebase.load import load_rule_base, rules_folder

DEMO = pathlib.Path(__file__).parent.parent / "scenarios_demo"
VERSION = "2026.1"
BASE = load_rule_base(VERSION)
PLAIN = "nine_inch_brick.yaml"
SEVERAL = "three_walls.yaml"
LATER = dt.date(2026, 11, 1)


JSON_DATA = st.recursive(
    st.none() | st.booleans() | st.integers(-(2**53) + 1, 2**53 - 1) | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(),
    lambda inner: st.lists(inner, max_size=5) | st.dictionaries(st.text(max_size=5), inner, max_size=5),
)  # fmt: skip


@pytest.fixture
def here(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "80")
    for name in (PLAIN, SEVERAL):
        shutil.copy(DEMO / name, tmp_path / name)
    return tmp_path


@pytest.fixture
def others(monkeypatch, tmp_path):
    """Puts other rules in the place of those installed: a copy of the version with one text replaced."""

    def put(old, new, file="rules/medium.yaml"):
        folder = tmp_path / "others"
        shutil.copytree(rules_folder() / VERSION, folder / VERSION)
        path = folder / VERSION / file
        text = path.read_text()
        assert old in text
        path.write_text(text.replace(old, new, 1))
        monkeypatch.setattr("engine.rulebase.load.rules_folder", lambda: folder)
        load_rule_base.cache_clear()

    yield put
    load_rule_base.cache_clear()


def other_code(monkeypatch):
    monkeypatch.setattr("engine.record.code._installed", lambda: "0" * 64)


def run(capsys, *arguments):
    code = exit_code_of(list(arguments))
    captured = capsys.readouterr()
    assert "Traceback" not in captured.err + captured.out
    return code, captured.out, captured.err


def recorded(capsys, name="r.json", *arguments, survey=PLAIN):
    code, _, err = run(capsys, "assess", survey, "--rules", VERSION, "--record", name, *arguments)
    assert code in (0, 1), err
    return pathlib.Path(name)


def verified(capsys, *arguments):
    code, out, err = run(capsys, "verify", *arguments, "--format", "json")
    assert err == ""
    found = Verification.model_validate_json(out)
    assert code == (0 if found.clean else 1)
    return found.records


def edited(path, change, *, sealed=False, to="e.json"):
    """The record with its data changed; `sealed` with digests that fit again."""
    data = json.loads(path.read_text())
    change(data)
    if sealed:
        data["digests"] = {name: digest_of(data[name]) for name in ("facts", "decision")}
        data["digests"]["record"] = record_digest(data, data["digests"])
        data["digests"]["overrides"] = overrides_digest(data["overrides"])
    pathlib.Path(to).write_text(text_of(data))
    return to


def overridden(capsys, *arguments, record="r.json", wall="parlour-back", who="A. Viewer", why="It is so."):
    return run(capsys, "override", record, "--wall", wall, *arguments, "--who", who, "--why", why)
