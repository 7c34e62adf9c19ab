"""What to find out next: every answer against judging the completed survey."""

import datetime as dt
import json
import pathlib
import random

import pytest
from generated import any_survey, survey_file

from cli.main import exit_code_of
from engine.decision.assess import assess, evaluate_wall
from engine.facts.amend import amended
from engine.facts.intake import read_survey
from engine.facts.values import State
from engine.facts.vocabulary import facts
from engine.reasoning.ask import Asked, ask
from engine.rulebase.load import load_rule_base, versions

BASE = load_rule_base(versions()[-1].version)
DEMO = pathlib.Path(__file__).parent.parent / "scenarios_demo"


def agrees(file, wall, evaluation, questions):
    """Every answer leads to what judging the survey with it comes to; how many were looked at."""
    looked = 0
    for question in questions:
        for answer in question.answers:
            after = amended(file, answer.set, [wall.id]).file
            judged = next(each for each in after.survey.walls if each.id == wall.id)
            found = evaluate_wall(after, judged, BASE)
            said = {each.choice: each for each in answer.leads_to}
            for name, outcome in found.outcomes.items():
                before = evaluation.outcomes[name]
                if name in said:
                    assert said[name].option == outcome.option, (question.fact, answer.says, name)
                    assert said[name].settled == outcome.settled, (question.fact, answer.says, name)
                else:
                    assert outcome.option == before.option, (question.fact, answer.says, name)
                    assert outcome.settled == before.settled, (question.fact, answer.says, name)
            assert answer.open_after == sum(not outcome.settled for outcome in found.outcomes.values())
            looked += 1
    return looked


@pytest.mark.parametrize(("name", "most"), [("half_the_facts", 4), ("meter_only", 5)])
def test_every_answer_agrees_with_judging_the_completed_survey(name, most):
    file = read_survey(DEMO / f"{name}.yaml", dt.date.today())
    wall = file.survey.walls[0]
    evaluation = evaluate_wall(file, wall, BASE)
    assert agrees(file, wall, evaluation, ask(file, wall, BASE, evaluation, most).questions) > 5


@pytest.mark.parametrize("seed", range(12))
def test_so_it_does_on_generated_surveys(seed):
    rng = random.Random(seed)
    file = survey_file(any_survey(rng, rng.choice((0.05, 0.15))))
    wall = file.survey.walls[0]
    evaluation = evaluate_wall(file, wall, BASE)
    agrees(file, wall, evaluation, ask(file, wall, BASE, evaluation, 2).questions)


def test_samples_are_asked_for_in_the_words_of_what_they_show():
    file = read_survey(DEMO / "nine_inch_brick.yaml", dt.date.today())
    file = amended(file, {"moisture.samples": "unknown"}).file
    wall = file.survey.walls[0]
    evaluation = evaluate_wall(file, wall, BASE)
    (question,) = ask(file, wall, BASE, evaluation, 1, "moisture.samples").questions
    says = [answer.says for answer in question.answers]
    assert any("falling with height" in each for each in says)
    assert len(question.answers) >= 4
    assert agrees(file, wall, evaluation, [question]) == len(question.answers)


def test_the_ranges_of_a_number_cover_it_and_differ():
    file = read_survey(DEMO / "nine_inch_brick.yaml", dt.date.today())
    file = amended(file, {"evidence.damp_height_mm": "unknown"}).file
    wall = file.survey.walls[0]
    evaluation = evaluate_wall(file, wall, BASE)
    (question,) = ask(file, wall, BASE, evaluation, 1, "evidence.damp_height_mm").questions
    assert len(question.answers) > 1
    assert question.left_out == ("0 mm",)  # a band of damp is seen, so it has a height
    assert question.answers[0].says.startswith("1 to ")
    assert question.answers[-1].says.endswith(" or more")
    ends = [int(word) for answer in question.answers for word in answer.says.split() if word.isdigit()]
    assert ends == sorted(ends)
    assert all(other == one + 1 for one, other in zip(ends[1::2], ends[2::2], strict=True))


def test_a_resolution_no_sample_reaches_is_an_answer_that_cannot_be():
    """Samples of 0.8 g on a balance of unknown resolution: coarser than a sample it cannot be, and nothing breaks."""
    file = light_samples()
    wall = file.survey.walls[0]
    evaluation = evaluate_wall(file, wall, BASE)
    (question,) = ask(file, wall, BASE, evaluation, 1, "moisture.balance_resolution_g").questions
    assert question.left_out == ("0.8001 g or more",)
    assert agrees(file, wall, evaluation, [question]) == len(question.answers) == 2


def light_samples():
    file = read_survey(DEMO / "nine_inch_brick.yaml", dt.date.today())
    rows = []
    for row in file.document.data["walls"][0]["moisture"]["samples"]:
        dish, taken = row["dish_g"], row["dry_g"] - row["dish_g"]
        share = 0.8 / taken
        masses = {name: round(dish + (row[name] - dish) * share, 6) for name in ("dry_g", "wet_g", "conditioned_g")}
        rows.append({**row, **masses})
    return amended(file, {"moisture.samples": rows, "moisture.balance_resolution_g": "unknown"}).file


def test_ground_is_told_by_its_levels_and_fits_what_is_known_of_it():
    file = read_survey(DEMO / "nine_inch_brick.yaml", dt.date.today())
    changes = {"ground.level_mm": "unknown", "ground.profile": "unknown", "ground.fall_along_mm": 10}
    file = amended(file, changes).file
    wall = file.survey.walls[0]
    evaluation = evaluate_wall(file, wall, BASE)
    (question,) = ask(file, wall, BASE, evaluation, 1, "ground.profile").questions
    says = [answer.says for answer in question.answers]
    assert len(set(says)) == len(says) > 1
    assert all("falling by 10 mm" in each for each in says)
    assert agrees(file, wall, evaluation, [question]) == len(says)


def test_the_same_facts_are_asked_for_as_the_decision_names():
    for path in sorted(DEMO.glob("*.yaml")):
        file = read_survey(path, dt.date.today())
        for decided in assess(file, BASE, dt.date.today()).walls:
            wall = next(each for each in file.survey.walls if each.id == decided.wall)
            found = ask(file, wall, BASE, evaluate_wall(file, wall, BASE), 1)
            named = [*(each.fact for each in found.questions), *(each.fact for each in found.further)]
            assert named == [each.fact for each in decided.open_questions]
            values = file.values_of(wall)
            assert all(values[name].state is State.UNKNOWN for name in named)
            assert bool(named) == (decided.status == "provisional") or decided.status == "undecided"


# --- the command


def run(capsys, *arguments):
    code = exit_code_of([str(each) for each in arguments])
    captured = capsys.readouterr()
    return code, captured.out, captured.err


def test_the_page(capsys):
    code, out, _ = run(capsys, "ask", DEMO / "meter_only.yaml", "--most", "2")
    assert code == 1
    assert "moisture.reported_profile" in out
    assert "still open" in out
    assert "certifies nothing" in out
    assert max(len(line) for line in out.splitlines()) <= 80


def test_nothing_left_to_ask(capsys):
    code, out, _ = run(capsys, "ask", DEMO / "nine_inch_brick.yaml")
    assert code == 0
    assert "nothing is left to ask" in out


def test_tests_that_are_asked_for_are_named_where_nothing_is_left_to_ask(capsys):
    """A balance too coarse: no fact is unknown, and yet the answer is not the last word."""
    code, out, _ = run(capsys, "ask", DEMO / "coarse_balance.yaml")
    assert code == 0
    assert "may overturn what is known" in " ".join(out.split())
    assert "Repeat the drilled samples" in out


def test_json_is_by_its_model(capsys):
    code, out, _ = run(capsys, "ask", DEMO / "meter_only.yaml", "--format", "json", "--most", "1")
    assert code == 1
    assert Asked.model_validate(json.loads(out)).walls[0].questions[0].answers


def test_a_fact_that_is_none(capsys):
    code, out, err = run(capsys, "ask", DEMO / "meter_only.yaml", "--fact", "evidence.leeks")
    assert code == 2
    assert out == ""
    assert "did you mean evidence.leaks" in err


def test_a_known_fact_has_nothing_to_answer(capsys):
    file = read_survey(DEMO / "meter_only.yaml", dt.date.today())
    values = file.values_of(file.survey.walls[0])
    name = next(name for name in facts() if values[name].known)
    code, out, _ = run(capsys, "ask", DEMO / "meter_only.yaml", "--fact", name)
    assert code == 1
    assert "Open, with what each comes to now" in out


def test_ground_that_falls_far_has_room_to_fall(capsys):
    unknown = [part for name in ("ground.profile", "ground.level_mm") for part in ("--set", f"{name}=unknown")]
    _, out, _ = run(
        capsys, "ask", f"{DEMO}/nine_inch_brick.yaml", *unknown, "--set", "ground.fall_along_mm=9000",
        "--fact", "ground.profile",
    )  # fmt: skip
    assert "falling by 9000 mm" in out
