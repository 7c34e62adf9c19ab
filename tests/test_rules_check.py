"""`bedjoint rules check`: what it prints, writes and returns."""

import datetime as dt
import json
import pathlib
import shutil

import jsonschema
import pytest
import yaml

from cli.main import exit_code_of
from engine.audit.accepted import with_accepted
from engine.audit.check import Wanted, check
from engine.audit.findings import AllChecked, Finding
from engine.errors import BadRules
from engine.rulebase.load import load_rule_base, rules_folder, versions

VECTORS = pathlib.Path(__file__).parent / "vectors"
NEWEST = versions()[-1].version
TODAY = dt.date(2026, 11, 25)


def run(capsys, *arguments):
    code = exit_code_of([str(each) for each in arguments])
    out, err = capsys.readouterr()
    return code, out, err


@pytest.fixture
def altered(tmp_path):
    """A copy of the rules in which one file of the newest version may be changed."""
    shutil.copytree(rules_folder(), tmp_path / "rules")

    def change(name, old, new):
        path = tmp_path / "rules" / NEWEST / name
        text = path.read_text()
        assert old in text
        path.write_text(text.replace(old, new, 1))
        return tmp_path / "rules"

    return change


# --- every version stands


@pytest.mark.parametrize("manifest", versions(), ids=lambda each: each.version)
def test_form_sources_and_coverage_of_every_version_are_clean(manifest):
    checked = check(manifest.version, Wanted(TODAY, ("coverage",), VECTORS))
    assert not checked.failed, [each.says for each in checked.findings if each.level == "error" and not each.accepted]


# --- a fault put in is found


def test_a_broken_file_is_found_with_its_place_and_nothing_else_is_tried(altered):
    folder = altered("rules/cause.yaml", "stage: cause", "stage: cuase")
    checked = check(NEWEST, Wanted(TODAY, ("proof",), folder=folder))
    assert checked.failed
    assert checked.digest is None
    (fault,) = [each for each in checked.findings if each.level == "error"]
    assert fault.at.file == f"rules/{NEWEST}/rules/cause.yaml"
    assert fault.at.line > 1
    assert "cuase" in fault.says


def test_a_stale_source_is_one_by_the_day_that_is_asked_for():
    stale = {
        each.subject for each in check(NEWEST, Wanted(dt.date(2046, 1, 1), ())).findings if each.check == "source-stale"
    }
    assert stale
    now = check(NEWEST, Wanted(TODAY, ()))
    assert not [each for each in now.findings if each.check == "source-stale"]


def test_a_broken_property_comes_with_a_survey_that_assess_judges(altered, capsys, tmp_path):
    folder = altered(
        "properties.yaml",
        "never: {decided.medium: solvent_liquid}",
        "never: {decided.medium: rods}",
    )
    checked = check(NEWEST, Wanted(TODAY, ("proof",), folder=folder))
    (broken,) = [each for each in checked.findings if each.check == "property" and each.accepted is None]
    assert broken.subject == "no_flammable_liquid"
    assert broken.at.file == f"rules/{NEWEST}/properties.yaml"
    survey = tmp_path / "s.yaml"
    survey.write_text(broken.survey)
    _, out, _ = run(capsys, "assess", survey, "--rules", NEWEST, "--format", "json")
    (wall,) = json.loads(out)["assessments"][0]["walls"]
    assert next(each["option"] for each in wall["choices"] if each["choice"] == "medium") == "rods"


def test_what_is_let_stand_has_its_reason_and_what_is_not_found_any_more_is_told(tmp_path):
    folder = tmp_path / NEWEST
    folder.mkdir()
    (folder / "accepted.yaml").write_text(
        yaml.safe_dump(
            [
                {"check": "masked-rule", "subject": "A-001", "because": "It gives its own reason."},
                {"check": "masked-rule", "subject": "A-002", "because": "It gives its own reason."},
                {"check": "dead-rule", "subject": "A-003", "because": "Of a check that was not made."},
            ]
        )
    )
    found = [Finding(check="masked-rule", group="proof", level="error", subject="A-001", says="It changes nothing.")]
    one, other = with_accepted(found, NEWEST, frozenset({"masked-rule"}), tmp_path)
    assert one.accepted == "It gives its own reason."
    assert (other.check, other.level, other.subject) == ("accepted", "warning", "masked-rule A-002")
    assert other.at.line == 4


def test_a_reason_that_cannot_be_read_is_told_with_its_place(tmp_path):
    folder = tmp_path / NEWEST
    folder.mkdir()
    (folder / "accepted.yaml").write_text("- {check: dead-rule, subject: A-001, becuse: no}\n")
    with pytest.raises(BadRules) as caught:
        with_accepted([], NEWEST, frozenset(), tmp_path)
    assert "accepted.yaml:1" in str(caught.value)
    assert "because" in str(caught.value)


# --- the command


def test_text_names_what_was_looked_at_and_fits(capsys, monkeypatch):
    monkeypatch.setenv("COLUMNS", "80")
    code, out, err = run(capsys, "rules", "check", NEWEST, "--skip", "proof", "--skip", "mutants", "--vectors", VECTORS)
    assert code == 0
    assert out.startswith(f"Rules {NEWEST}, in force from ")
    for heading in ("FORM", "SOURCES", "TESTS OF THE RULES"):
        assert heading in out
    assert "PROOF" not in out
    assert max(len(line) for line in out.splitlines()) <= 80
    assert "\x1b" not in out + err


def test_json_is_by_its_model_and_its_schema(capsys):
    code, out, _ = run(
        capsys,
        "rules",
        "check",
        NEWEST,
        "--skip",
        "proof",
        "--skip",
        "mutants",
        "--vectors",
        VECTORS,
        "--format",
        "json",
    )
    assert code == 0
    (checked,) = AllChecked.model_validate_json(out).versions
    assert checked.rules == NEWEST
    _, schema, _ = run(capsys, "schema", "--of", "rules-check")
    jsonschema.validate(json.loads(out), json.loads(schema))


SARIF = {
    "type": "object",
    "required": ["version", "runs"],
    "properties": {
        "version": {"const": "2.1.0"},
        "runs": {
            "type": "array",
            "items": {
                "required": ["tool", "results"],
                "properties": {
                    "tool": {
                        "required": ["driver"],
                        "properties": {
                            "driver": {
                                "required": ["name"],
                                "properties": {"rules": {"items": {"required": ["id"]}}},
                            }
                        },
                    },
                    "columnKind": {"enum": ["utf16CodeUnits", "unicodeCodePoints"]},
                    "results": {
                        "items": {
                            "required": ["message"],
                            "properties": {
                                "level": {"enum": ["none", "note", "warning", "error"]},
                                "message": {"required": ["text"]},
                                "locations": {
                                    "items": {
                                        "properties": {
                                            "physicalLocation": {
                                                "required": ["artifactLocation"],
                                                "properties": {
                                                    "region": {
                                                        "properties": {
                                                            "startLine": {"type": "integer", "minimum": 1},
                                                            "startColumn": {"type": "integer", "minimum": 1},
                                                        }
                                                    }
                                                },
                                            }
                                        }
                                    }
                                },
                                "suppressions": {
                                    "items": {
                                        "required": ["kind"],
                                        "properties": {
                                            "kind": {"enum": ["inSource", "external"]},
                                            "status": {"enum": ["accepted", "underReview", "rejected"]},
                                        },
                                    }
                                },
                            },
                        }
                    },
                },
            },
        },
    },
}
"""What SARIF 2.1.0 (OASIS standard, 2020) asks of the parts that are written here; from memory."""


def test_sarif_has_what_the_standard_asks_for(capsys):
    code, out, _ = run(
        capsys,
        "rules",
        "check",
        "2026.1",
        "--skip",
        "proof",
        "--skip",
        "mutants",
        "--vectors",
        VECTORS,
        "--format",
        "sarif",
    )
    log = json.loads(out)
    jsonschema.validate(log, SARIF)
    (one,) = log["runs"]
    checks = [each["id"] for each in one["tool"]["driver"]["rules"]]
    assert len(set(checks)) == len(checks)
    assert one["results"]
    for each in one["results"]:
        assert checks[each["ruleIndex"]] == each["ruleId"]
    accepted = [each for each in one["results"] if each.get("suppressions")]
    assert all(each["suppressions"][0]["justification"] for each in accepted)
    assert (code == 0) == all(each["level"] != "error" for each in one["results"] if each not in accepted)


def test_an_unknown_version_is_refused_with_the_nearest(capsys):
    code, out, err = run(capsys, "rules", "check", "2026.11")
    assert code == 2
    assert out == ""
    assert "did you mean 2026.1?" in err


@pytest.mark.parametrize("count", ["0", "-1", "many", "1.5"])
def test_a_number_of_mutants_is_a_number(capsys, count):
    code, _, err = run(capsys, "rules", "check", NEWEST, f"--mutants={count}")
    assert code == 2
    assert "--mutants" in err


def test_the_surveys_are_written_beside_and_can_be_assessed(altered, capsys, tmp_path, monkeypatch):
    from cli.render_check import with_surveys

    folder = altered("properties.yaml", "never: {decided.medium: solvent_liquid}", "never: {decided.medium: rods}")
    checked = check(NEWEST, Wanted(TODAY, ("proof",), folder=folder))
    (after,) = with_surveys([checked], tmp_path / "shown")
    capsys.readouterr()
    (broken,) = [each for each in after.findings if each.subject == "no_flammable_liquid"]
    assert broken.survey is None
    command = broken.hint.split()
    assert command[:2] == ["bedjoint", "assess"]
    assert run(capsys, *command[1:])[0] in (0, 1)


@pytest.mark.parametrize("manifest", versions(), ids=lambda each: each.version)
def test_the_report_on_changed_rules_is_of_these_rules_and_none_is_let_through(manifest):
    page = (pathlib.Path(__file__).parent / "mutation" / f"{manifest.version}.md").read_text()
    assert f"digest `{load_rule_base(manifest.version).digest}`" in page
    assert "\n- Not noticed, although a survey is decided otherwise: 0\n" in page


def test_the_report_is_written_a_page_a_version(capsys, tmp_path):
    code, _, _ = run(
        capsys, "rules", "check", "2026.1", "--skip", "proof", "--skip", "coverage", "--mutants", "5", "--vectors",
        VECTORS, "--report", tmp_path / "pages",
    )  # fmt: skip
    assert code == 0
    assert "Changed rules: 5 of" in (tmp_path / "pages" / "2026.1.md").read_text()


def test_a_sealed_version_whose_files_were_changed_gives_no_answer(altered, capsys, monkeypatch):
    folder = altered("rules/cause.yaml", "strength: strong", "strength: conditional")
    changed = load_rule_base(NEWEST, folder)
    monkeypatch.setattr("engine.rulebase.load.rules_folder", lambda: folder)
    monkeypatch.setattr("engine.rulebase.versions.load_rule_base", lambda version: changed)
    code, out, err = run(capsys, "assess", "scenarios_demo/nine_inch_brick.yaml", "--rules", NEWEST)
    assert (code, out) == (2, "")
    assert "is not what it was when it was recorded" in err


def test_the_counterexamples_of_a_version_that_lies_ahead_can_be_judged_today(altered, capsys, tmp_path):
    altered("properties.yaml", "never: {decided.medium: solvent_liquid}", "never: {decided.medium: rods}")
    folder = altered("manifest.yaml", "in_force_from: '", "in_force_from: '2099-01-01' # '")
    checked = check(NEWEST, Wanted(TODAY, ("proof",), folder=folder))
    (broken,) = [each for each in checked.findings if each.subject == "no_flammable_liquid"]
    assert yaml.safe_load(broken.survey)["property"]["survey_date"] == f"{TODAY.year}-01-01"


def accepted_file(tmp_path, *rows):
    (tmp_path / NEWEST).mkdir()
    data = [{"check": check, "subject": subject, "because": "For a test."} for check, subject in rows]
    (tmp_path / NEWEST / "accepted.yaml").write_text(yaml.safe_dump(data))


def test_what_keeps_a_version_from_being_read_or_told_apart_cannot_be_let_stand(tmp_path):
    accepted_file(tmp_path, ("cannot-be-read", "R-001"), ("dead-rule", "A-001"), ("digest-differs", NEWEST))
    with pytest.raises(BadRules) as caught:
        with_accepted([], NEWEST, frozenset(), tmp_path)
    assert [each.message for each in caught.value.problems] == ["cannot be let stand"] * 2


def test_a_finding_is_let_stand_once(tmp_path):
    accepted_file(tmp_path, ("dead-rule", "A-001"), ("dead-rule", "A-001"))
    with pytest.raises(BadRules, match="stands twice"):
        with_accepted([], NEWEST, frozenset(), tmp_path)


def test_a_check_there_is_none_of_is_told_once_every_check_was_made(tmp_path):
    accepted_file(tmp_path, ("maskedrule", "A-001"))
    assert with_accepted([], NEWEST, frozenset({"masked-rule"}), tmp_path) == []
    (told,) = with_accepted([], NEWEST, frozenset({"masked-rule"}), tmp_path, every_check_made=True)
    assert told.subject == "maskedrule A-001"


def test_a_version_that_cannot_be_read_has_failed_whatever_is_let_stand(altered):
    folder = altered("rules/cause.yaml", "title:", "titel:")
    rows = (folder / NEWEST / "accepted.yaml").read_text()
    fault = "- {check: cannot-be-read, subject: 'R-001 [0].title', because: For a test.}\n"
    (folder / NEWEST / "accepted.yaml").write_text(rows + fault)
    checked = check(NEWEST, Wanted(TODAY, (), folder=folder))
    assert checked.failed
    assert any("cannot be let stand" in each.says for each in checked.findings)


def test_surveys_of_findings_with_names_alike_get_files_of_their_own(tmp_path, capsys):
    from cli.render_check import with_surveys
    from engine.audit.findings import Checked

    found = tuple(
        Finding(check="c", group="tests", level="warning", subject=f"E-032 above 0 is now {to}", says="x", survey=to)
        for to in ("-1", "1")
    )
    checked = Checked(rules=NEWEST, in_force_from=None, digest="0" * 64, checks=(), findings=found)
    with_surveys([checked], tmp_path)
    assert sorted(path.read_text() for path in tmp_path.iterdir()) == ["-1", "1"]
