"""`bedjoint rules test`: rules on their own examples and on decision vectors."""

import json
import pathlib

import pytest
from seeded_rules import FIRST, Rules, rule_text

from cli import rules_test_command
from cli.main import exit_code_of
from engine.audit.examples_run import RulesTested, run_examples, truth_on
from engine.audit.examples_run_vectors import run_rules
from engine.inference.truth import Truth
from engine.rulebase.load import load_rule_base, versions

VECTORS = pathlib.Path(__file__).parent / "vectors"
NEWEST = versions()[-1].version
WORKS = "rules/works.yaml"


def run(capsys, *arguments):
    code = exit_code_of(["rules", "test", *arguments])
    captured = capsys.readouterr()
    assert "Traceback" not in captured.err + captured.out
    return code, captured.out, captured.err


@pytest.mark.parametrize("version", [each.version for each in versions()])
def test_every_rule_of_every_version_passes(capsys, version):
    code, out, err = run(capsys, "--rules", version)
    assert (code, err) == (0, "")
    count = len(load_rule_base(version).rules)
    assert out.startswith(f"{count} rules of {version}, ")
    assert out.endswith("cases: all as they should be\n")


def test_a_rule_is_shown_with_the_truth_of_each_test_in_each_case(capsys):
    code, out, err = run(capsys, "m-003", "--rules", FIRST)
    assert (code, err) == (0, "")
    lines = [" ".join(line.split()) for line in out.splitlines()]
    for line in (
        "M-003 An old repellent in the wall resists what is carried in water",
        "a decided.verdict is treat",
        "b decided.old_repellent is present",
        "a b rule case",
        "T T true the example",
        "? T unknown without decided.verdict",
        "T ? unknown without decided.old_repellent",
        "T F false with decided.old_repellent: absent",
        "F T false with decided.verdict: investigate",
        "1 rule of 2026.1, 5 cases: all as they should be",
    ):
        assert line in lines, line


@pytest.mark.parametrize("columns", ["50", "80"])
def test_every_line_fits(capsys, monkeypatch, columns):
    monkeypatch.setenv("COLUMNS", columns)
    longest = max(load_rule_base(FIRST).rules, key=lambda rule: len(rule.tests))
    _, out, _ = run(capsys, longest.id, "M-003", "--rules", FIRST, "--vectors", str(VECTORS))
    assert max(map(len, out.splitlines())) <= int(columns)


def test_json_says_the_same(capsys):
    code, out, _ = run(capsys, "M-003", "W-022", "--rules", FIRST, "--format", "json")
    outcome = RulesTested.model_validate_json(out)
    assert (code, outcome.passed, outcome.vectors) == (0, True, None)
    assert (outcome.rules, outcome.digest) == (FIRST, load_rule_base(FIRST).digest)
    assert [each.id for each in outcome.tested] == ["M-003", "W-022"]
    assert out == json.dumps(json.loads(out), ensure_ascii=False, indent=2) + "\n"
    base = load_rule_base(FIRST)
    for each in outcome.tested:
        rule = base.by_id[each.id]
        kinds = [run.kind for run in each.runs]
        assert kinds.count("holds") == 1
        assert kinds.count("without") == len(rule.examples.holds)
        assert kinds.count("fails") == len(rule.examples.fails)
        assert all(len(run.tests) == len(rule.tests) for run in each.runs)
        assert all((run.truth == "true") is (run.kind == "holds") for run in each.runs)


def test_the_truth_of_a_rule_of_one_test_is_the_truth_of_the_test():
    base = load_rule_base(FIRST)
    looked = 0
    for rule in base.rules:
        tested = run_examples(rule, base.variables)
        assert tested.runs[0].truth == "true"
        assert truth_on(rule, rule.examples.holds, base.variables) is Truth.TRUE
        if len(tested.tests) == 1:
            looked += 1
            assert all(run.tests == (run.truth,) for run in tested.runs)
    assert looked > 20


def test_unknown_ids_and_versions_are_refused_together(capsys):
    code, out, err = run(capsys, "M-0033", "W-022", "x-1", "--rules", FIRST)
    assert (code, out) == (2, "")
    assert "did you mean M-003" in err
    assert "2 problems; nothing was written" in err
    code, _, err = run(capsys, "--rules", "2026.x")
    assert code == 2
    assert "no such version" in err


@pytest.fixture
def faulty(tmp_path, monkeypatch):
    """A version in which three rules have examples that are not so."""
    rules = Rules(tmp_path)
    plain = "finishes.plaster: lime"
    rules.append(WORKS, rule_text("W-901", plain, holds="{finishes.plaster: gypsum}"))
    rules.append(WORKS, rule_text("W-902", "finishes.plaster: [lime, gypsum]", fails="[{finishes.plaster: gypsum}]"))
    rules.append(WORKS, rule_text("W-903", plain, holds="{finishes.plaster: lime, floor.kind: solid}"))
    base = load_rule_base(FIRST, tmp_path)
    monkeypatch.setattr("engine.rulebase.versions.rule_base_for", lambda version, on: base)
    return base


def test_an_example_that_is_not_so_fails_and_is_marked(capsys, faulty):
    code, out, err = run(capsys)
    assert (code, err) == (1, "")
    assert "3 failed: W-901, W-902, W-903" in out
    lines = [" ".join(line.split()) for line in out.splitlines()]
    assert "F false the example WRONG: it should hold" in lines
    assert "T true with finishes.plaster: gypsum WRONG: it should not hold" in lines
    assert "T true without floor.kind WRONG: it should not hold" in lines
    assert "W-022" not in out
    code, out, _ = run(capsys, "W-022")
    assert code == 0
    code, out, _ = run(capsys, "W-902", "--format", "json")
    assert code == 1
    (tested,) = RulesTested.model_validate_json(out).tested
    assert [each.as_wanted for each in tested.runs] == [True, True, False]


def test_the_vectors_that_fire_a_rule_are_shown_with_what_they_say(capsys):
    code, out, err = run(capsys, "M-003", "--rules", NEWEST, "--vectors", str(VECTORS))
    assert (code, err) == (0, "")
    said = " ".join(out.split())
    assert "V-medium-002 holds, as it should (medium: rods;" in said
    assert "V-medium-001 does not hold, as it should (medium: cream). Plain nine-inch brick" in said
    outcome = RulesTested.model_validate_json(
        run(capsys, "M-003", "--rules", NEWEST, "--vectors", str(VECTORS), "--format", "json")[1]
    )
    by_id = {each.id: each for each in outcome.tested[0].vectors}
    assert by_id["V-medium-002"].holds
    assert by_id["V-medium-002"].wants == "fires"
    assert by_id["V-medium-002"].at.file.endswith("medium.yaml")
    assert not by_id["V-medium-001"].holds
    assert by_id["V-medium-001"].wants == "silent"
    assert all(each.holds or each.wants for each in by_id.values())


def test_a_vector_that_wants_a_rule_to_hold_where_it_does_not_fails(capsys, tmp_path):
    (tmp_path / "mine.yaml").write_text(
        "- id: V-mine-001\n  teaches: A wall of which nothing is known.\n  source: common_practice\n"
        "  source_says: nothing\n  expect: {medium: cream}\n  fires: [M-003]\n"
    )
    code, out, _ = run(capsys, "M-003", "--rules", FIRST, "--vectors", str(tmp_path))
    assert code == 1
    said = " ".join(out.split())
    assert "does not hold - WRONG, the vector wants the contrary (medium: cream)" in said
    assert "The decision is not the one it wants: medium is" in said
    assert "1 failed: M-003" in said
    code, out, err = run(capsys, "M-003", "--rules", FIRST, "--vectors", str(tmp_path / "nowhere"))
    assert (code, out) == (2, "")
    assert "nowhere" in err


def test_a_rule_that_holds_on_no_vector_says_so(capsys, tmp_path):
    code, out, _ = run(capsys, "M-003", "--rules", FIRST, "--vectors", str(tmp_path))
    assert code == 0
    assert "It holds on none of them." in out


def test_all_rules_run_on_all_vectors():
    base = load_rule_base(NEWEST)
    import datetime as dt

    outcome = run_rules(base, base.rules, VECTORS, dt.date(2026, 11, 25))
    assert outcome.passed
    fired = {each.id for each in outcome.tested if any(run.holds for run in each.vectors)}
    assert len(fired) > len(base.rules) // 2
    assert not any(run.misses for each in outcome.tested for run in each.vectors)


def test_no_rule_has_more_tests_than_there_are_letters():
    letters = rules_test_command._LETTERS
    for manifest in versions():
        for rule in load_rule_base(manifest.version).rules:
            assert len(rule.tests) <= len(letters), rule.id
