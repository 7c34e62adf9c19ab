"""`bedjoint rules new` and `rules seal`: a new rule to fill in, which can never go in half filled."""

import datetime as dt
import re
import types

import pytest
from seeded_rules import FIRST, Rules

from cli.main import exit_code_of
from engine.audit import digests, form_settings, ids
from engine.audit.digests import sealed_text
from engine.audit.form import form_findings
from engine.audit.ids import ids_used, next_free, stages_of_letters
from engine.audit.scaffold import Wanted, scaffold
from engine.facts.document import parse_document
from engine.rulebase import load
from engine.rulebase.check import placeholders_in
from engine.rulebase.load import load_rule_base, read_version
from engine.rulebase.model import STAGES

DRAFT = "2099.1"


def run(capsys, *arguments):
    code = exit_code_of(["rules", *arguments])
    captured = capsys.readouterr()
    assert "Traceback" not in captured.err + captured.out
    return code, captured.out, captured.err


@pytest.fixture
def rules(tmp_path, monkeypatch):
    """The rules in a folder of their own: the first version, sealed, and a draft that is not yet in force."""
    made = Rules(tmp_path / "versions")
    made.add_version(DRAFT, "2099-01-01")
    for module in (load, digests, ids, form_settings):
        monkeypatch.setattr(module, "rules_folder", lambda: made.folder)
    return made


# ---- What is printed ----


def test_a_new_rule_is_printed_with_what_was_asked_for(capsys):
    code, out, err = run(
        capsys, "new", "m-901", "--rules", FIRST, "--reads", "build.thickness_mm", "--reads", "decided.verdict",
        "--choice", "medium=cream", "--choice", "medium=mortar", "--rules-out", "medium=rods",
        "--adds", "works=let_dry",
    )  # fmt: skip
    assert (code, err) == (0, "")
    (row,) = parse_document(out.encode(), "new", list_allowed=True).data
    assert (row["id"], row["stage"]) == ("M-901", "medium")
    assert row["when"] == {"all": [{"build.thickness_mm": "TODO"}, {"decided.verdict": "TODO"}]}
    assert (row["supports"], row["rules_out"]) == ({"medium": ["cream", "mortar"]}, {"medium": ["rods"]})
    assert row["adds"] == {"works": ["let_dry"]}
    assert list(row["examples"]["holds"]) == ["build.thickness_mm", "decided.verdict"]
    assert row["examples"]["fails"] == [{"build.thickness_mm": "TODO"}, {"decided.verdict": "TODO"}]
    words = " ".join(line.strip(" #") for line in out.splitlines())
    assert "How thick is the masonry" in words
    assert "whole number from 50 to 2000 mm, in steps of 1" in words
    assert "at_least, above, at_most, below, between, known, unknown" in words
    assert "treat, no_course, undecided" in words
    assert all(len(line) <= 80 for line in out.splitlines())


def test_every_field_of_a_rule_is_there_or_explained(capsys):
    from engine.rulebase.model import RawRule

    _, out, _ = run(capsys, "new", "W", "--rules", FIRST)
    for field in RawRule.model_fields:
        assert re.search(rf"\b{field}\b", out), field


def test_every_variable_can_be_asked_for_in_every_stage():
    read = read_version(FIRST)
    for stage in STAGES:
        names = tuple(read.readable(stage))
        text = scaffold(read, "X-001", stage, Wanted(reads=names))
        (row,) = parse_document(text.encode(), "new", list_allowed=True).data
        assert [next(iter(each)) for each in row["when"]["all"]] == list(names)
        unfilled = list(placeholders_in(row))
        assert len(unfilled) >= 3 * len(names) + 6


# ---- Ids and stages ----


def test_letters_alone_take_the_next_free_number(capsys):
    used = ids_used()
    code, out, _ = run(capsys, "new", "l", "--rules", FIRST)
    assert code == 0
    number = max(int(each[2:]) for all_of in used.values() for each in all_of if each.startswith("L-"))
    assert out.startswith(f"- id: L-{number + 1:03d}\n")
    assert "  stage: line\n" in out


def test_an_id_that_was_ever_used_is_refused_and_free_ones_are_proposed(capsys, rules):
    rules.edit("rules/works.yaml", rules.block("rules/works.yaml", "W-022", DRAFT), "", DRAFT)
    code, out, err = run(capsys, "new", "W-022")
    assert (code, out) == (2, "")
    assert "W-022" in err
    assert "is used in 2026.1 (A leak is mended first of all) and withdrawn since; an id is never reused" in err
    proposed = re.search(r"free are (.*)", err).group(1)
    free = next_free("W-022", ids_used(rules.folder))
    assert proposed.startswith(f"{free[0]}, {free[1]} or {free[2]}")
    taken = {each for all_of in ids_used(rules.folder).values() for each in all_of}
    assert taken.isdisjoint(free)
    code, _, err = run(capsys, "new", "W-023")
    assert code == 2
    assert "withdrawn" not in err


def test_ids_and_stages_that_cannot_be_are_refused(capsys):
    for wrong in ("W22", "WWW-001", "W-1", "-", "W-0001"):
        code, out, err = run(capsys, "new", wrong)
        assert (code, out) == (2, "")
        assert "is no id of a rule" in err
    code, _, err = run(capsys, "new", "Q-001")
    assert code == 2
    assert "no rule has the letters Q" in err
    assert "M medium" in err
    code, _, err = run(capsys, "new", "M-901", "--stage", "works")
    assert code == 2
    assert "ids that begin with M are of stage medium" in err
    assert "ids of stage works begin with W" in err
    code, _, err = run(capsys, "new", "Q-001", "--stage", "wroks")
    assert code == 2
    assert "did you mean works?" in err
    code, out, _ = run(capsys, "new", "Q-001", "--stage", "works", "--rules", FIRST)
    assert code == 0
    assert "  stage: works\n" in out
    assert stages_of_letters(ids_used())["R"] == "cause"


def test_everything_asked_for_that_is_not_there_is_said_at_once(capsys):
    code, out, err = run(
        capsys, "new", "M-901", "--rules", FIRST, "--reads", "build.thicknes_mm", "--reads", "decided.plaster",
        "--choice", "medum=cream", "--choice", "medium=creem", "--rules-out", "verdict=treat",
        "--adds", "works=let_dri", "--adds", "causes=leak", "--adds", "wroks=let_dry",
    )  # fmt: skip
    assert (code, out) == (2, "")
    for words in (
        "did you mean build.thickness_mm?",
        "comes out only in or after stage medium",
        "found medum=cream; allowed: medium; did you mean medium?",
        "did you mean cream?",
        "verdict is decided in stage suitability, not in medium",
        "did you mean let_dry?",
        "causes is closed after stage cause",
        "did you mean works?",
        "8 problems; nothing was written",
    ):
        assert words in err, words
    code, _, err = run(capsys, "new", "M-901", "--rules", "2026.11")
    assert code == 2
    assert "no such version of the rules" in err


# ---- What is written ----


def test_a_rule_is_written_only_into_a_version_that_may_change(capsys, rules):
    before = rules.path("rules/medium.yaml").read_bytes()
    code, out, err = run(capsys, "new", "M-901", "--write", "--rules", FIRST)
    assert (code, out) == (2, "")
    assert "its digest was recorded on" in err
    assert "copy rules/2026.1 to a folder with the next number" in err
    assert rules.path("rules/medium.yaml").read_bytes() == before
    rules.add_version("2026.5", dt.date.today().isoformat())
    code, _, err = run(capsys, "new", "M-901", "--write", "--rules", "2026.5")
    assert code == 2
    assert "is in force since" in err
    (rules.folder / "digests.yaml").write_text(sealed_text(DRAFT, Later.today(), rules.folder))
    code, _, err = run(capsys, "new", "M-901", "--write")
    assert code == 2
    assert "its digest was recorded on" in err


def test_a_rule_half_filled_in_never_goes_in_unnoticed(capsys, rules):
    before = rules.path("rules/medium.yaml", DRAFT).read_text()
    code, out, _ = run(capsys, "new", "M-901", "--write", "--reads", "floor.kind", "--choice", "medium=cream")
    assert code == 0
    after = rules.path("rules/medium.yaml", DRAFT).read_text()
    assert after.startswith(before)
    line = rules.place("rules/medium.yaml", "M-901", "- id: M-901", DRAFT)[0]
    assert f"M-901 stands in rules/{DRAFT}/rules/medium.yaml from line {line}." in out
    assert f"bedjoint rules check {DRAFT}" in out
    base, findings, _ = form_findings(DRAFT, rules.folder)
    assert base is None
    unfilled = [each for each in findings if each.check == "not-filled-in"]
    assert {each.level for each in unfilled} == {"error"}
    assert len(unfilled) == rules.block("rules/medium.yaml", "M-901", DRAFT).count("TODO")
    assert {(each.check, each.rules) for each in findings if each.level == "error"} == {("not-filled-in", ("M-901",))}
    basis = next(each for each in unfilled if each.subject == "M-901 basis")
    assert basis.allowed == "standard, guidance, research, common_practice, judgement"
    assert (basis.at.line, basis.at.column) == (rules.place("rules/medium.yaml", "M-901", "basis: T", DRAFT)[0], 10)
    condition = next(each for each in unfilled if each.subject == "M-901 when.all.0.floor.kind")
    assert "solid" in condition.allowed
    for number in range(len(unfilled)):
        # with all but one filled in it is still refused
        text = rules.path("rules/medium.yaml", DRAFT).read_text()
        places = [match.start() for match in re.finditer("TODO", text)]
        assert len(places) == len(unfilled) - number
        assert load.read_version(DRAFT).base is None if number in (0, len(unfilled) - 1) else True
        rules.path("rules/medium.yaml", DRAFT).write_text(text[: places[0]] + "XXX" + text[places[0] + 4 :])
    # a second one can be written beside the first while that is open
    code, out, _ = run(capsys, "new", "M-901", "--write")
    assert code == 2
    code, out, _ = run(capsys, "new", "M-902", "--write")
    assert code == 0


def test_a_rule_filled_in_goes_in(capsys, rules):
    code, _, _ = run(
        capsys, "new", "M-901", "--write", "--reads", "floor.kind", "--reads", "finishes.plaster",
        "--choice", "medium=cream", "--adds", "works=let_dry",
    )  # fmt: skip
    assert code == 0
    for old, new in (
        ("title: TODO", "title: A rule written for a test"),
        ("because: >-\n    TODO", "because: >-\n    It is there to be tried out."),
        ("- floor.kind: TODO", "- floor.kind: solid"),
        ("- finishes.plaster: TODO", "- finishes.plaster: [lime, gypsum]"),
        ("source: TODO\n      says: TODO", "source: common_practice\n      says: nothing of this"),
        ("basis: TODO", "basis: common_practice"),
        ("strength: TODO", "strength: conditional"),
        ("certainty: TODO", "certainty: low"),
        ("      floor.kind: TODO\n      finishes", "      floor.kind: solid\n      finishes"),
        ("      finishes.plaster: TODO\n    #", "      finishes.plaster: lime\n    #"),
        ("{floor.kind: TODO}", "{floor.kind: suspended_timber}"),
        ("{finishes.plaster: TODO}", "{finishes.plaster: none}"),
    ):
        rules.edit_rule("rules/medium.yaml", "M-901", old, new, DRAFT)
    base, findings, _ = form_findings(DRAFT, rules.folder)
    assert base is not None, findings
    assert [each for each in findings if "M-901" in each.rules] == []
    assert base.by_id["M-901"].supports == (("medium", "cream"),)
    first = load_rule_base(FIRST, rules.folder)
    assert set(base.by_id) - set(first.by_id) == {"M-901"}


def test_a_file_that_cannot_be_written_is_left_as_it_is(capsys, rules):
    path = rules.path("rules/medium.yaml", DRAFT)
    path.write_text("- {not a list\n")
    code, out, err = run(capsys, "new", "M-901", "--write")
    assert (code, out) == (2, "")
    assert "medium.yaml:1:" in err
    assert path.read_text() == "- {not a list\n"


# ---- Sealing ----


class Later(dt.date):
    """A day on which the draft is in force."""

    @classmethod
    def today(cls):
        return cls(2099, 7, 1)


@pytest.fixture
def later(monkeypatch):
    monkeypatch.setattr("cli.rules_new_command.dt", types.SimpleNamespace(date=Later))


def test_a_version_that_lies_ahead_is_not_sealed(capsys, rules):
    before = (rules.folder / "digests.yaml").read_text()
    code, out, err = run(capsys, "seal", DRAFT)
    assert (code, out) == (2, "")
    assert "is not yet in force" in err
    assert (rules.folder / "digests.yaml").read_text() == before


def test_a_version_with_errors_is_not_sealed(capsys, rules, later):
    rules.edit_rule("rules/works.yaml", "W-022", "basis: ", "basis: standard # ", DRAFT)
    code, out, err = run(capsys, "seal", DRAFT)
    assert (code, out) == (2, "")
    assert "basis" in err


def test_a_version_is_sealed_once(capsys, rules, later):
    path = rules.folder / "digests.yaml"
    before = path.read_text()
    code, out, _ = run(capsys, "seal", DRAFT)
    assert (code, out) == (0, f"Rules {DRAFT} are sealed.\n")
    after = path.read_text()
    assert after.startswith(before)
    digest = read_version(DRAFT, rules.folder).base.digest
    assert after[len(before) :] == (f"- version: '{DRAFT}'\n  digest: {digest}\n  recorded_on: '2099-07-01'\n")
    code, out, err = run(capsys, "seal", DRAFT)
    assert (code, out) == (2, "")
    assert "what is recorded is never recorded again" in err
    code, _, err = run(capsys, "seal", "2099.2")
    assert code == 2
    assert "did you mean 2099.1?" in err
    assert path.read_text() == after


def test_a_version_that_cannot_be_read_is_not_sealed(capsys, rules):
    rules.edit_rule("rules/works.yaml", "W-022", "strength: strong", "strength: strung", DRAFT)
    before = (rules.folder / "digests.yaml").read_text()
    code, _, err = run(capsys, "seal", DRAFT)
    assert code == 2
    assert "did you mean strong?" in err
    assert (rules.folder / "digests.yaml").read_text() == before
