"""Decision records: written once, judged again, drifts told with their cause, overrides beside the engine's word."""

import copy
import json
import os
import pathlib
import subprocess
import sys

import jsonschema
import pytest
import rfc8785
from hypothesis import given, settings
from hypothesis import strategies as st

from engine.decision.assess import LIMITS, assess
from engine.decision.digest import facts_digest
from engine.errors import BadInput
from engine.facts.intake import parse_survey
from engine.record.build import record_of, text_of
from engine.record.canonical import canonical
from engine.record.code import code_digest
from engine.record.facts import recorded_facts, survey_from
from engine.record.model import Record
from engine.record.overrides import survey_of
from engine.record.read import parse_record
from engine.record.verification import Verification
from engine.record.verify import Against, altered_in, verify
from tests import records
from tests.generated import TODAY, survey_file, surveys
from tests.records import (
    BASE,
    DEMO,
    JSON_DATA,
    LATER,
    PLAIN,
    SEVERAL,
    VERSION,
    edited,
    other_code,
    overridden,
    recorded,
    run,
    verified,
)

here, others = records.here, records.others

# what is written


def test_a_record_is_written_beside_the_output(capsys, here):
    code, out, err = run(capsys, "assess", PLAIN, "--rules", VERSION, "--record", "r.json", "--format", "json")
    assert err == "written to r.json\n"
    (assessment,) = json.loads(out)["assessments"]
    raw = (here / "r.json").read_bytes()
    assert raw.endswith(b"}\n")
    assert raw[:-1] == rfc8785.dumps(json.loads(raw))
    record = Record.model_validate_json(raw)
    assert record.survey == PLAIN
    assert str(here) not in raw.decode()
    assert record.rules.digest == BASE.digest == assessment["rule_set"]["digest"]
    assert record.as_of.isoformat() == assessment["as_of"]
    assert record.engine.version == assessment["engine"]
    (wall,) = record.decision.walls
    for choice in assessment["walls"][0]["choices"]:
        found = wall.choice(choice["choice"])
        assert (found.option, found.status, list(found.rules)) == (choice["option"], choice["status"], choice["rules"])
    for held in assessment["walls"][0]["sets"]:
        assert [item.id for item in wall.found(held["set"]).items] == [item["id"] for item in held["items"]]
    assert {rule.id for rule in wall.rules} == {rule["id"] for rule in assessment["walls"][0]["rules"]}
    assert code == (0 if wall.status == "settled" else 1)


def test_the_facts_of_a_record_are_a_survey_that_judges_the_same(capsys, here):
    record = json.loads(recorded(capsys).read_text())
    thickness = record["facts"]["walls"][0]["build"]["thickness_mm"]
    assert thickness == {"value": 225, "established": "measured", "by": "tape at the door reveal, plaster off"}
    (here / "again.yaml").write_text(json.dumps(record["facts"]))
    again = json.loads(recorded(capsys, "again.json", survey="again.yaml").read_text())
    assert {name: again[name] for name in ("facts", "decision")} == {
        name: record[name] for name in ("facts", "decision")
    }


def test_the_same_bytes_twice_and_nothing_else_over_them(capsys, here):
    path = recorded(capsys)
    before = path.read_bytes()
    code, out, err = run(capsys, "assess", PLAIN, "--rules", VERSION, "--record", "r.json")
    assert code in (0, 1)
    assert out
    assert err == "r.json holds this record already\n"
    code, out, err = run(capsys, "assess", SEVERAL, "--rules", VERSION, "--record", "r.json")
    assert (code, out) == (2, "")
    assert "a record is not overwritten" in err
    assert "another name, such as r-2.json" in err
    assert path.read_bytes() == before
    assert sorted(each.name for each in here.iterdir()) == [PLAIN, "r.json", SEVERAL]


def test_every_process_writes_the_same(here):
    written = []
    for seed in ("1", "2"):
        subprocess.run(
            [sys.executable, "-c", "import cli.main; cli.main.run()", "assess", PLAIN, "--record", f"{seed}.json"],
            capture_output=True,
            env={**os.environ, "PYTHONHASHSEED": seed},
            check=False,
        )
        data = json.loads((here / f"{seed}.json").read_text())
        # The source may be worked on between the two.
        del data["engine"], data["digests"]["record"]
        written.append(data)
    assert written[0] == written[1]


def test_changes_walls_and_day_are_recorded(capsys, here):
    path = recorded(capsys, "r.json", "--set", "floor.timbers_built_in=[joist_ends]", "--as-of", "2026-10-30")
    data = json.loads(path.read_text())
    assert data["facts"]["walls"][0]["floor"]["timbers_built_in"] == ["joist_ends"]
    assert data["as_of"] == "2026-10-30"
    assert data["changed"][0].startswith("floor.timbers_built_in is joist_ends")
    several = json.loads(recorded(capsys, "s.json", survey=SEVERAL).read_text())
    assert [wall["wall"] for wall in several["decision"]["walls"]] == ["front", "back", "middle"]
    some = json.loads(recorded(capsys, "w.json", "--wall", "back", survey=SEVERAL).read_text())
    assert [wall["wall"] for wall in some["decision"]["walls"]] == ["back"]
    assert some["facts"] == several["facts"]
    assert [each.drift for each in verified(capsys, "r.json", "s.json", "w.json")] == [()] * 3


def test_a_record_goes_only_where_one_may_stand(capsys, here):
    (here / "folder").mkdir()
    (here / "link.json").symlink_to("nowhere.json")
    os.mkfifo(here / "pipe")
    for target, said in (
        ("folder", "is a folder"),
        ("link.json", "is a link to nothing"),
        ("no/such/r.json", "stands in a folder that is not there"),
        ("pipe", "is no ordinary file"),
        (PLAIN, "is there already"),
        ("n" * 300, "cannot be used"),
    ):
        code, out, err = run(capsys, "assess", PLAIN, "--record", target)
        assert (code, out) == (2, "")
        assert "--record: " in err
        assert said in err
    assert "holds one survey" in run(capsys, "assess", PLAIN, SEVERAL, "--record", "r.json")[2]
    assert "is the file of --output" in run(capsys, "assess", PLAIN, "--record", "r.json", "--output", "./r.json")[2]
    code, _, _ = run(capsys, "assess", PLAIN, "--record", "r.json", "--output", "no/such/out.txt")
    assert code == 2
    assert not (here / "r.json").exists()
    assert (here / PLAIN).read_bytes() == (DEMO / PLAIN).read_bytes()


# judged again


def test_nothing_drifts_without_the_survey_or_with_it(capsys, here):
    recorded(capsys)
    code, out, err = run(capsys, "verify", "r.json")
    assert (code, err) == (0, "")
    assert "The decision comes out the same; facts, rules and code are those recorded." in " ".join(out.split())
    assert f"{PLAIN} says the same." in out
    assert LIMITS in " ".join(out.split())
    (here / PLAIN).unlink()
    (record,) = verified(capsys, "r.json")
    assert (record.same, record.today, record.suspects) == (True, None, ())


def test_other_rules_are_named_as_the_cause(capsys, here, others):
    recorded(capsys)
    others("rules_out: {medium: [rods]}", "rules_out: {medium: [cream, rods]}")
    (record,) = verified(capsys, "r.json")
    assert (record.rules.state, record.code.state, record.suspects) == ("changed", "same", ("rules",))
    assert "The cause is the rules" in record.says
    (wall,) = record.drift
    medium = next(each for each in wall.choices if each.choice == "medium")
    assert medium.was.option == "cream"
    assert medium.now.option != "cream"
    assert "option" in medium.differs
    code, out, _ = run(capsys, "verify", "r.json")
    assert code == 1
    assert "DRIFTED" in out
    assert "was cream: injection cream" in out
    assert "is NOT what it was" in out
    assert max(map(len, out.splitlines())) <= 80


def test_rules_that_hold_now_and_no_longer_are_said(capsys, here, others):
    recorded(capsys)
    others(
        "      - build.thickness_mm: {between: [215, 240]}\n  rules_out: {medium: [rods]}",
        "      - build.thickness_mm: {between: [300, 340]}\n  rules_out: {medium: [rods]}",
    )
    (record,) = verified(capsys, "r.json")
    (wall,) = record.drift
    assert [(rule.id, rule.now) for rule in wall.rules] == [("M-005", None)]
    assert "holds no longer M-005" in run(capsys, "verify", "r.json")[1]
    others_back = json.loads((here / "r.json").read_text())["rules"]["digest"]
    assert record.rules.recorded == others_back != record.rules.digest


def test_rules_changed_in_place_are_told_even_where_the_decision_is_the_same(capsys, here, others):
    recorded(capsys)
    others("title: Plain nine-inch brick with", "title: A plain nine-inch brick with")
    code, out, _ = run(capsys, "verify", "r.json")
    assert code == 1
    assert "A plain nine-inch brick" in out or "OTHER RULES" in out


def test_other_code_alone_is_a_note_where_the_decision_is_the_same(capsys, here, monkeypatch):
    recorded(capsys)
    other_code(monkeypatch)
    (record,) = verified(capsys, "r.json")
    assert (record.same, record.code.state, record.suspects) == (True, "changed", ("code",))
    code, out, _ = run(capsys, "verify", "r.json")
    assert code == 0
    assert "though not all is as it was: the code" in " ".join(out.split())


def test_other_code_that_decides_otherwise_is_the_cause(capsys, here, monkeypatch):
    path = recorded(capsys)

    def otherwise(data):
        data["decision"]["walls"][0]["choices"][0]["option"] = "something_else"

    old = edited(path, otherwise, sealed=True)
    (record,) = verified(capsys, old)
    assert record.altered == ()
    assert record.suspects == ()
    assert "What they rest on, such as Python or a library, must differ" in record.says
    other_code(monkeypatch)
    (record,) = verified(capsys, old)
    assert record.suspects == ("code",)
    assert "The cause is the code" in record.says


def test_both_rules_and_code_cannot_be_told_apart(capsys, here, others, monkeypatch):
    recorded(capsys)
    others("rules_out: {medium: [rods]}", "rules_out: {medium: [cream, rods]}")
    other_code(monkeypatch)
    (record,) = verified(capsys, "r.json")
    assert record.suspects == ("rules", "code")
    assert "cannot be told apart by this machine alone" in record.says
    assert "The recorded program" in record.says


def test_a_version_that_is_gone_is_said_and_another_can_be_asked(capsys, here, others):
    recorded(capsys)
    path = edited(here / "r.json", lambda data: data["rules"].update(version="2020.1"), sealed=True)
    (record,) = verified(capsys, path)
    assert (record.rules.state, record.drift, record.same) == ("gone", None, False)
    assert "version 2020.1 of the rules is not here" in record.says
    (record,) = verified(capsys, path, "--rules", VERSION)
    assert record.other.rules.version == VERSION
    assert record.other.walls == ()
    code, out, err = run(capsys, "verify", path, "--rules", "2026.11")
    assert (code, out) == (2, "")
    assert "did you mean 2026.1" in err


def test_other_rules_are_a_comparison_and_no_drift(capsys, here, others, monkeypatch):
    recorded(capsys)
    base = BASE
    monkeypatch.setattr("cli.verify_command.recorded_rules", lambda stored: base)
    others("rules_out: {medium: [rods]}", "rules_out: {medium: [cream, rods]}")
    code, out, _ = run(capsys, "verify", "r.json", "--rules", VERSION)
    assert code == 0
    assert out.index("comes out the same") < out.index("BY RULES 2026.1 (A COMPARISON, NO DRIFT)")
    (record,) = verified(capsys, "r.json", "--as-of", "2026-10-30")
    assert record.drift == ()
    assert "medium" in {choice.choice for choice in record.other.walls[0].choices}


def test_a_fact_that_was_edited_is_the_cause(capsys, here):
    path = recorded(capsys)

    def thicker(data):
        data["facts"]["walls"][0]["build"]["thickness_mm"]["value"] = 600

    (record,) = verified(capsys, edited(path, thicker))
    assert (record.altered, record.suspects) == (("facts",), ("facts",))
    assert record.drift
    assert "The cause is the facts in the record, which were edited" in record.says
    code, out, _ = run(capsys, "verify", "e.json")
    assert code == 1
    assert "ALTERED after it was written: facts" in out


def test_facts_that_are_no_survey_any_more_are_said(capsys, here):
    path = recorded(capsys)

    def wrong(data):
        data["facts"]["walls"][0]["build"]["thickness_mm"]["value"] = "thick"

    (record,) = verified(capsys, edited(path, wrong))
    assert record.drift is None
    assert any("thickness_mm" in each for each in record.unreadable)
    assert "edited after it was written" in record.says
    (record,) = verified(capsys, edited(path, wrong, sealed=True))
    assert (record.altered, record.drift) == ((), None)
    assert "a change of the program" in record.says
    for junk in ({}, {"walls": 5}, {"property": 1, "walls": [[]]}):
        (record,) = verified(capsys, edited(path, lambda data, junk=junk: data.update(facts=junk)))
        assert (record.altered, record.drift) == (("facts",), None)


def test_a_decision_and_a_heading_that_were_edited_are_told(capsys, here):
    path = recorded(capsys)

    def other(data):
        data["decision"]["walls"][0]["choices"][2]["status"] = "undecided"

    (record,) = verified(capsys, edited(path, other))
    assert (record.altered, record.suspects) == (("decision",), ("decision",))
    for change in (
        lambda data: data.update(as_of="2026-10-01"),
        lambda data: data.update(survey="other.yaml"),
        lambda data: data["rules"].update(digest="0" * 64),
        lambda data: data["engine"].update(version="bedjoint 9"),
        lambda data: data.update(limits="This certifies everything."),
    ):
        assert altered_in(parse_record(pathlib.Path(edited(path, change)).read_bytes(), "e.json")) == ("heading",)


def test_what_the_survey_says_today_is_a_note(capsys, here):
    recorded(capsys)
    text = (here / PLAIN).read_text()
    (here / PLAIN).write_text(text.replace("thickness_mm: {value: 225", "thickness_mm: {value: 600"))
    assert (here / PLAIN).read_text() != text
    (record,) = verified(capsys, "r.json")
    assert record.same
    assert record.today.state == "differs"
    (fact,) = record.today.facts
    assert (fact.wall, fact.fact) == ("parlour-back", "build.thickness_mm")
    assert (fact.was.split(" ")[0], fact.now.split(" ")[0]) == ("225", "600")
    assert record.today.walls
    code, out, _ = run(capsys, "verify", "r.json")
    assert code == 0
    assert "build.thickness_mm: 225" in out
    (here / PLAIN).write_text("secret: of another kind\n")
    code, out, _ = run(capsys, "verify", "r.json")
    assert code == 0
    assert "secret" not in out
    assert "cannot be compared" in out
    (record,) = verified(capsys, "r.json", "--survey", str(DEMO / PLAIN))
    assert record.today.state == "same"
    assert run(capsys, "verify", "r.json", "--survey", PLAIN)[0] == 2


def test_facts_that_were_set_are_no_difference_to_the_survey(capsys, here):
    recorded(capsys, "r.json", "--set", "floor.timbers_built_in=[joist_ends]", "--set", "build.bed_joint_mm=unknown")
    (record,) = verified(capsys, "r.json")
    assert (record.same, record.today.state) == (True, "same")
    assert set(record.today.kept) == {"floor.timbers_built_in", "build.bed_joint_mm"}


def test_a_folder_of_records_with_other_output_in_it(capsys, here):
    (here / "in" / "deep").mkdir(parents=True)
    recorded(capsys, "in/a.json")
    recorded(capsys, "in/deep/b.json", survey=SEVERAL)
    run(capsys, "assess", PLAIN, "--format", "json", "--output", "in/run.json")
    code, out, err = run(capsys, "verify", "in", "in/a.json")
    assert (code, err) == (0, "")
    assert out.startswith("Records: 2; the same: 2; not the same: 0\n")
    assert "Passed over, being no records: in/run.json." in out
    assert run(capsys, "verify", "in/run.json")[0] == 2
    (here / "in" / "junk.json").write_text("{}")
    assert "in/junk.json" in run(capsys, "verify", "in")[2]
    (here / "empty").mkdir()
    assert "a folder without records" in run(capsys, "verify", "empty")[2]


def test_a_record_laid_out_anew_says_the_same(capsys, here):
    data = json.loads(recorded(capsys).read_text())
    (here / "r.json").write_text(json.dumps(data, indent=2))
    (record,) = verified(capsys, "r.json")
    assert (record.same, record.as_written, record.altered) == (True, False, ())
    assert "laid out otherwise" in run(capsys, "verify", "r.json")[1]


BAD = {
    "no json": ("[", "is not JSON"),
    "empty": ("", "is empty"),
    "list": ("[]", "is not a record"),
    "no utf-8": (b"\xff\xfe{", "is not UTF-8 text"),
    "repeated": ('{\n"format": 1,\n"format": 2}', "bad.json:3:1: format: the same key is given on line 2"),
    "newer": ('{"format":"bedjoint-record-2"}', "is a record of a later form than this program reads"),
    "other": ('{"format":"bedjoint-page-1"}', "is not a form of record"),
    "none": ("{}", "is no decision record"),
    "nan": ('{"a":NaN}', "holds NaN"),
    "huge number": ('{"a":' + "9" * 5000 + "}", "too large to be held exactly"),
    "huge float": ('{"a":1e999}', "too large to be held"),
    "deep list": ("[" * 100_000 + "]" * 100_000, "is nested too deeply"),
    "deep object": ('{"a":' * 90 + "1" + "}" * 90, "is nested too deeply"),
}


@pytest.mark.parametrize(("text", "said"), BAD.values(), ids=BAD)
def test_what_is_no_record_is_refused_with_words(capsys, here, text, said):
    (here / "bad.json").write_bytes(text if isinstance(text, bytes) else text.encode())
    code, out, err = run(capsys, "verify", "bad.json")
    assert (code, out) == (2, "")
    assert "bad.json" in err
    assert said in err


def test_every_problem_of_every_file_at_once(capsys, here):
    path = recorded(capsys)
    edited(path, lambda data: data.update(zzz=1, as_of="2026-13-01"), to="a.json")
    edited(path, lambda data: data["decision"]["walls"][0].update(status="sure"), to="b.json")
    edited(path, lambda data: data["engine"].update(digest="xyz"), to="c.json")
    edited(path, lambda data: data.update(survey="a\x1b[31m.yaml"), to="d.json")
    edited(path, lambda data: data.update(as_of=20260101), to="f.json")
    edited(path, lambda data: data.update(as_of="2026-W01-1"), to="g.json")
    code, out, err = run(capsys, "verify", "a.json", "b.json", "c.json", "d.json", "f.json", "g.json", "none.json", ".")
    assert (code, out) == (2, "")
    assert "a.json:1:" in err
    for said in ("zzz", "as_of", "status", "engine.digest", "control characters", "there is no such file"):
        assert said in err
    for name in "abcdfg":
        assert f"{name}.json" in err
    assert "\x1b" not in err


# properties


@settings(max_examples=6, deadline=None)
@given(surveys((0.0, 0.15, 0.5)))
def test_every_record_is_clean_when_judged_again(data):
    file = survey_file(data)
    again = survey_from(json.loads(canonical(recorded_facts(file.survey))), "again", TODAY)
    assert again.survey == file.survey
    assert facts_digest(again.survey) == facts_digest(file.survey)
    text = text_of(record_of(file, assess(file, BASE, TODAY)))
    stored = parse_record(text.encode(), "r.json")
    assert stored.as_written
    assert text_of(stored.data) == text
    assert survey_of(stored).survey == file.survey
    found = verify(stored, Against(LATER, BASE, survey=file))
    assert (found.same, found.altered, found.drift, found.suspects) == (True, (), (), ())
    assert found.today.state == "same"


@settings(max_examples=40, deadline=None)
@given(surveys(walls=2))
def test_recorded_facts_are_the_same_survey(data):
    file = survey_file(data)
    assert survey_from(recorded_facts(file.survey), "again", TODAY).survey == file.survey


def _leaves(data, path=()):
    """Every path to a value, groups and lists included, but not the whole."""
    if path:
        yield path
    inner = data.items() if isinstance(data, dict) else enumerate(data) if isinstance(data, list) else ()
    for step, value in inner:
        yield from _leaves(value, (*path, step))


FILE = parse_survey((DEMO / PLAIN).read_bytes(), PLAIN, LATER)
RECORD = record_of(FILE, assess(FILE, BASE, LATER))
PATHS = [path for part in ("facts", "decision") for path in _leaves(RECORD[part], (part,))]


@settings(max_examples=120, deadline=None)
@given(st.sampled_from(PATHS), st.sampled_from(["value", "gone", "twice"]), JSON_DATA)
def test_no_edit_of_a_fact_or_of_the_decision_goes_unnoticed(path, how, value):
    data = copy.deepcopy(RECORD)
    *way, last = path
    holder = data
    for step in way:
        holder = holder[step]
    if how == "gone":
        del holder[last]
    elif how == "twice" and isinstance(holder, list):
        holder.insert(last, copy.deepcopy(holder[last]))
    else:
        holder[last] = value
    if canonical(data) == canonical(RECORD):
        return
    try:
        stored = parse_record(text_of(data).encode(), "r.json")
    except BadInput:
        return
    assert path[0] in altered_in(stored)


# schemas and code


def test_records_and_verifications_fit_their_schemas(capsys, here):
    path = recorded(capsys)
    overridden(capsys, "--to", "medium=rods")
    _, out, _ = run(capsys, "verify", "r.json", "--rules", VERSION, "--format", "json")
    for model, text in ((Record, path.read_text()), (Verification, out)):
        schema = model.model_json_schema(mode="serialization")
        jsonschema.Draft202012Validator.check_schema(schema)
        jsonschema.validate(json.loads(text), schema)
        with pytest.raises(jsonschema.ValidationError):
            jsonschema.validate({**json.loads(text), "not_in_it": 1}, schema)


def test_the_digest_of_the_code_is_of_its_contents_and_names(tmp_path):
    for name, end in (("a", b"\n"), ("b", b"\r\n")):
        (tmp_path / name / "inner").mkdir(parents=True)
        (tmp_path / name / "x.py").write_bytes(b"one = 1" + end)
        (tmp_path / name / "inner" / "y.py").write_bytes(b"two = 2" + end)
        (tmp_path / name / "note.txt").write_bytes(name.encode())
    before = code_digest(tmp_path / "a")
    assert before == code_digest(tmp_path / "b")
    (tmp_path / "a" / "x.py").rename(tmp_path / "a" / "z.py")
    moved = code_digest(tmp_path / "a")
    (tmp_path / "a" / "z.py").write_bytes(b"one = 2\n")
    assert len({before, moved, code_digest(tmp_path / "a")}) == 3
