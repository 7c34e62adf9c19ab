"""Answer sheets: written blank, filled in, read strictly, and marked one by one or many together."""

import csv
import io
import json

import pytest
import yaml

from cli.main import exit_code_of
from cli.practice_setup import practice_cases
from cli.practice_template import blank_sheet
from engine.errors import BadInput
from engine.practice.attempt import Attempt
from engine.practice.handout import Handout
from engine.practice.sheet import attempts, parse_sheet
from engine.rulebase.load import load_rule_base, versions

CASES = practice_cases(None, None)
BLANK = blank_sheet(CASES, 7, 3, 3)


def run(capsys, *arguments):
    code = exit_code_of(list(arguments))
    captured = capsys.readouterr()
    assert "Traceback" not in captured.err + captured.out
    return code, captured.out, captured.err


def filled(trainee="Ada", right=True, **changes):
    """A sheet with every answer right, or every verdict wrong, as data."""
    data = yaml.safe_load(BLANK) | {"trainee": trainee}
    for row in data["cases"]:
        case = CASES.case(7, 3, row["case"])
        for choice in row["answers"]:
            row["answers"][choice] = case.evaluation.outcomes[choice].option
        row["works"] = list(case.called_for) or "none"
        row["asked"] = list(CASES.deciding(case)) or "none"
        if not right:
            row["answers"]["verdict"] = case.twin.outcomes["verdict"].option
            row["asked"] = "none"
    data.update(changes)
    return data


def written(tmp_path, name, data):
    path = tmp_path / name
    path.write_text(data if isinstance(data, str) else yaml.safe_dump(data, sort_keys=False))
    return str(path)


def problems(text):
    with pytest.raises(BadInput) as caught:
        attempts(parse_sheet(text.encode(), "sheet.yaml"), CASES)
    return [str(problem) for problem in caught.value.problems]


# ---- the blank sheet ----


def test_a_blank_sheet_is_a_sheet_with_nothing_answered():
    made = attempts(parse_sheet(BLANK.encode(), "sheet.yaml"), CASES)
    assert [attempt.case.number for attempt in made] == [1, 2, 3]
    assert all(attempt.answers == {} and attempt.works is None and attempt.asked == [] for attempt in made)


def test_a_blank_sheet_fits_the_terminal_and_gives_nothing_away():
    assert max(map(len, BLANK.splitlines())) <= 80
    for number in (1, 2, 3):
        case = CASES.case(7, 3, number)
        part = BLANK.split("# ---- Case ")[number]
        shown = part[: part.index("- case:")]
        for name in case.hidden:
            section, _, field = name.partition(".")
            assert f"{field}: " not in section_of(shown, section), (number, name)
            assert name in part
        for work in case.offered:
            assert work in part


def section_of(text, section):
    """The lines of one section of the facts of a case."""
    lines, inside = [], False
    for line in text.splitlines():
        label = line[6:23].strip()
        inside = label == section if label else inside
        if inside:
            lines.append(line)
    return " ".join(lines)


def test_the_sheet_says_how_it_is_to_be_filled_in(capsys, tmp_path):
    target = tmp_path / "sheet.yaml"
    code, out, err = run(
        capsys, "practice", "--template", "--seed", "7", "--level", "3", "--cases", "3", "--output", str(target)
    )
    assert (code, out) == (0, "")
    assert target.read_text() == BLANK
    assert "bedjoint practice --answers SHEET" in " ".join(BLANK.replace("#", " ").split())
    assert "certifies nothing" in " ".join(BLANK.replace("#", " ").split())
    code, _, err = run(capsys, "practice", "--template")
    assert (code, "--seed" in err) == (2, True)


def test_cases_as_json_give_nothing_away_either(capsys):
    options = ("--template", "--seed", "7", "--level", "3", "--cases", "2", "--format", "json")
    code, out, _ = run(capsys, "practice", *options)
    handed = Handout.model_validate_json(out)
    assert (code, handed.seed, handed.level, len(handed.cases)) == (0, 7, 3, 2)
    assert [each.choice for each in handed.questions] == list(CASES.subject.choices)
    for each in handed.cases:
        case = CASES.case(7, 3, each.case)
        assert each.check == case.check
        shown = {fact.name for fact in each.facts}
        assert not shown & set(case.hidden)
        assert set(case.hidden) <= {fact.fact for fact in each.to_ask}
        assert not shown & {fact.fact for fact in each.to_ask}
        assert tuple(work.id for work in each.works) == case.offered
        # What is computed is computed from what is shown alone.
        seen = Attempt(CASES, case).seen
        known = CASES.evaluation(case, seen).values
        assert all(known[reading.name].known for reading in each.readings)
        assert each.readings


# ---- good sheets ----


def test_right_answers_are_marked_right(capsys, tmp_path):
    path = written(tmp_path, "a.yaml", filled())
    code, out, err = run(capsys, "practice", "--answers", path)
    assert (code, err) == (0, "")
    assert out.startswith("Ada: 100 % over 3 cases\n")
    assert "WRONG" not in out
    assert max(map(len, out.splitlines())) <= 80
    assert "bedjoint practice survey --seed 7 --level 3 --case 1 |" in out
    assert "certifies nothing" in out


def test_the_same_as_json(capsys, tmp_path):
    path = written(tmp_path, "a.yaml", filled(right=False))
    code, out, _ = run(capsys, "practice", "--answers", path, "--format", "json")
    data = json.loads(out)
    assert (code, data["format"], data["trainee"], len(data["cases"])) == (0, "bedjoint-practice-1", "Ada", 3)
    assert data["score"] < 1
    assert run(capsys, "practice", "--answers", path, "--format", "json")[1] == out


def test_a_sheet_from_standard_input_and_to_a_file(capsys, tmp_path, monkeypatch):
    monkeypatch.setattr("sys.stdin", io.TextIOWrapper(io.BytesIO(yaml.safe_dump(filled()).encode())))
    target = tmp_path / "marks.txt"
    code, out, _ = run(capsys, "practice", "--answers", "-", "--output", str(target))
    assert (code, out) == (0, "")
    assert target.read_text().startswith("Ada: 100 %")


def test_marking_a_sheet_keeps_nothing(capsys, tmp_path, monkeypatch):
    monkeypatch.setenv("BEDJOINT_DATA", str(tmp_path / "data"))
    run(capsys, "practice", "--answers", written(tmp_path, "a.yaml", filled()))
    assert not (tmp_path / "data").exists()


def test_facts_asked_for_are_shown_before_marking_without_the_answer(capsys, tmp_path):
    data = yaml.safe_load(BLANK)
    case = CASES.case(7, 3, 1)
    data["cases"][0]["asked"] = list(case.hidden[:3])
    code, out, _ = run(capsys, "practice", "facts", written(tmp_path, "a.yaml", data))
    assert code == 0
    assert all(name in out for name in case.hidden[:3])
    assert not any(name in out for name in case.hidden[3:])
    assert case.evaluation.outcomes["verdict"].option not in out


def test_a_case_as_a_survey_comes_to_what_was_marked(capsys, tmp_path):
    code, out, _ = run(capsys, "practice", "survey", "--seed", "7", "--level", "3", "--case", "1")
    assert code == 0
    path = written(tmp_path, "case.yaml", out)
    code, out, _ = run(capsys, "assess", path, "--format", "json")
    decided = {c["choice"]: c["option"] for c in json.loads(out)["assessments"][0]["walls"][0]["choices"]}
    outcomes = CASES.case(7, 3, 1).evaluation.outcomes
    assert {each: decided[each] for each in CASES.subject.choices} == {
        each: outcomes[each].option for each in CASES.subject.choices
    }


# ---- bad sheets ----


def test_every_fault_is_named_at_once_with_its_line_and_the_nearest_name():
    case = CASES.case(7, 3, 1)
    shown = next(n for n in ("evidence.leaks", "build.role", "floor.kind", "build.movement") if n not in case.hidden)
    text = BLANK.replace("verdict: skip", "verdict: tret", 1).replace("medium: skip", "medum: cream", 1)
    text = text.replace("asked: none", f"asked: [evidense.tide_mark, {case.hidden[0]}, {case.hidden[0]}, {shown}]", 1)
    text = text.replace("works: skip", f"works: [{case.offered[0]}, {case.offered[0]}, monitr]", 1)
    found = problems(text)
    lines = text.splitlines()
    for expected, line in (
        (
            "tret; allowed: investigate, specialist, remove_cause, treat, no_course, skip; did you mean treat?",
            "verdict:",
        ),
        ("is not asked; found medum", "medum:"),
        ("is no fact; found evidense.tide_mark", "asked:"),
        (f"is asked for twice; found {case.hidden[0]}", "asked:"),
        (f"stands among the facts of the case; found {shown}", "asked:"),
        ("stands twice", "works: ["),
        ("is not one of the works offered; found monitr", "works: ["),
    ):
        (one,) = [each for each in found if expected in each]
        number = int(one.split(":")[1])
        assert line in lines[number - 1], (one, lines[number - 1])
    assert len(found) == 7


@pytest.mark.parametrize(
    ("before", "after", "message"),
    [
        ("kind: practice_answers", "kind: survey", "kind"),
        ("form: 1", "form: 2", "form"),
        ("seed: 7", "seed: 7.5", "seed"),
        ("seed: 7", "seed: -1", "out of limits"),
        ("level: 3", "level: 6", "out of limits"),
        ("trainee: unnamed", "trainee: ''", "too short"),
        ("trainee: unnamed", "trainee: unnamed\nnote: hello", "note: is not a field here"),
        ("works: skip", "works: monitor", "a list of names in [ ], or none"),
        ("asked: none", "asked: all", "a list of names in [ ], or none"),
        ("  - case: 2\n", "  - case: 1\n", "is answered twice"),
        ("verdict: skip", "verdict: skip\n      verdict: treat", "verdict"),
        ("rules_digest: '", "rules_digest: '0", "pattern"),
    ],
)
def test_a_fault_of_form_is_refused(before, after, message):
    assert before in BLANK
    found = problems(BLANK.replace(before, after, 1))
    assert any(message in each for each in found), found
    assert all(each.startswith("sheet.yaml:") for each in found)


def test_a_sheet_of_other_cases_is_refused():
    case = CASES.case(7, 3, 2)
    assert any("is of another case" in each for each in problems(BLANK.replace(case.check, "0" * 12)))
    assert any("is of another case" in each for each in problems(BLANK.replace("seed: 7", "seed: 8")))
    assert any("is of another case" in each for each in problems(BLANK.replace("level: 3", "level: 2")))
    (changed,) = problems(BLANK.replace(CASES.base.digest, "f" * 64))
    assert "the rules have changed since the sheet was written" in changed
    (other,) = problems(BLANK.replace("surveys: 'none'", "surveys: '0123456789abcdef'"))
    assert "--from" in other


def test_a_version_of_the_rules_that_is_not_there_is_named_in_the_sheet(capsys, tmp_path):
    text = BLANK.replace(f"rules: '{CASES.base.manifest.version}'", "rules: '1999.1'")
    code, out, err = run(capsys, "practice", "--answers", written(tmp_path, "a.yaml", text))
    assert (code, out) == (2, "")
    assert "a.yaml:" in err
    assert "no such version of the rules; found 1999.1" in err


def test_what_a_sheet_says_cannot_be_given_as_an_option_too(capsys, tmp_path):
    path = written(tmp_path, "a.yaml", filled())
    code, _, err = run(capsys, "practice", "--answers", path, "--seed", "7", "--level", "2")
    assert code == 2
    assert err.count("does not go with --answers") == 2
    assert run(capsys, "practice", "--seed", "1", "--format", "json")[0] == 2


# ---- many sheets ----


def test_many_sheets_are_marked_together(capsys, tmp_path):
    (tmp_path / "class").mkdir()
    written(tmp_path / "class", "a.yaml", filled("Ada"))
    written(tmp_path / "class", "b.yaml", filled("Ben", right=False))
    code, out, err = run(capsys, "practice", "mark", str(tmp_path / "class"))
    assert (code, err) == (0, "")
    assert out.startswith("2 trainees, mean ")
    assert max(map(len, out.splitlines())) <= 80
    rows = {line.split()[0]: line.split() for line in out.splitlines() if line.startswith(("Ada", "Ben"))}
    assert rows["Ada"][1:3] == ["3", "100%"]
    assert int(rows["Ben"][2].rstrip("%")) < 100
    assert load_rule_base(versions()[-1].version).choices["verdict"].title in " ".join(out.split())
    assert "RULES BEHIND WRONG ANSWERS" in out


def test_marks_as_json_and_csv_agree(capsys, tmp_path):
    paths = [written(tmp_path, f"{n}.yaml", filled(name, right=n > 0)) for n, name in enumerate(("Zoe", "Ada"))]
    data = json.loads(run(capsys, "practice", "mark", *paths, "--format", "json")[1])
    rows = list(csv.DictReader(io.StringIO(run(capsys, "practice", "mark", *paths, "--format", "csv")[1])))
    assert [each["trainee"] for each in data["trainees"]] == [row["trainee"] for row in rows] == ["Ada", "Zoe"]
    for each, row in zip(data["trainees"], rows, strict=True):
        assert float(row["score"]) == pytest.approx(each["score"])
        for mark in each["by_choice"]:
            assert float(row[mark["choice"]]) == pytest.approx(mark["score"], abs=1e-4)
    assert data["format"] == "bedjoint-practice-marks-1"


@pytest.mark.parametrize(
    "name", ["=cmd|'/c calc'!A1", "+1+1", "-2+3", "@SUM(A1)", "=1", '"; DROP', "Ada, Countess", "-5"]
)
def test_a_name_is_never_a_formula_in_a_spreadsheet(capsys, tmp_path, name):
    path = written(tmp_path, "a.yaml", filled(name))
    (row,) = csv.DictReader(io.StringIO(run(capsys, "practice", "mark", path, "--format", "csv")[1]))
    cell = row["trainee"]
    assert cell.lstrip("'") == name
    assert cell.startswith("'") is (name[0] in "=+-@" and name != "-5")


def test_one_bad_sheet_among_many_is_named_and_nothing_is_written(capsys, tmp_path):
    good = written(tmp_path, "a.yaml", filled())
    bad = written(tmp_path, "b.yaml", BLANK.replace("verdict: skip", "verdict: maybe"))
    worse = written(tmp_path, "c.yaml", BLANK.replace("form: 1", "form: one"))
    target = tmp_path / "marks.csv"
    code, out, err = run(capsys, "practice", "mark", good, bad, worse, "--format", "csv", "--output", str(target))
    assert (code, out) == (2, "")
    assert err.count("b.yaml") == 3
    assert "c.yaml" in err
    assert not target.exists()


def test_two_sheets_of_one_trainee_are_summed_up_and_the_same_cases_twice_refused(capsys, tmp_path):
    path = written(tmp_path, "a.yaml", filled())
    other = written(tmp_path, "other.yaml", blank_sheet(CASES, 8, 1, 1).replace("unnamed", "Ada"))
    data = json.loads(run(capsys, "practice", "mark", path, other, "--format", "json")[1])
    (ada,) = data["trainees"]
    assert (ada["cases"], len(ada["files"])) == (4, 2)
    again = written(tmp_path, "again.yaml", filled())
    code, _, err = run(capsys, "practice", "mark", path, again)
    assert code == 2
    assert "has answered case 1 of seed 7, level 3, already" in err
    assert "a.yaml" in err
