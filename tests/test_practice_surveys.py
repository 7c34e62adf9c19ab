"""Practice cases drawn from surveys that were given: the demonstration surveys stand for them."""

import pathlib
import shutil

import pytest

from cli.practice_setup import demo_folder, practice_cases
from engine.errors import BadInput
from engine.facts.amend import LATEST
from engine.facts.contradictions import contradictions
from engine.facts.vocabulary import facts
from engine.practice.settings import LEVELS

DEMO = pathlib.Path(__file__).parent.parent / "scenarios_demo"
CASES = practice_cases(None, str(DEMO))
MADE_UP = practice_cases(None, None)
SEEDS = range(70)


def made(seed):
    return CASES.case(seed, seed % len(LEVELS) + 1, 3)


def test_the_walls_that_leave_something_open_are_not_used():
    assert 20 <= CASES.walls_given < len(list(DEMO.glob("*.yaml"))) + 10
    sources = " ".join(made(seed).source for seed in SEEDS)
    assert "half_the_facts" not in sources
    assert "meter_only" not in sources


def test_cases_come_from_surveys_and_are_made_up_as_well():
    sources = [made(seed).source for seed in SEEDS]
    assert 20 < sources.count("made up") < 50
    assert len(set(sources)) > 15


def test_every_case_is_consistent_and_settled_and_flips():
    for seed in SEEDS:
        case = made(seed)
        assert not list(contradictions(case.file.survey, LATEST)), seed
        for evaluation in (case.evaluation, case.twin):
            assert all(evaluation.outcomes[each].status == "settled" for each in CASES.subject.choices), seed
        assert case.flips
        assert all(case.evaluation.outcomes[c].option != case.twin.outcomes[c].option for c in case.flips)
        assert (case.turns_on in case.hidden) is case.level.deciding_hidden


@pytest.mark.parametrize("first", range(1000, 1100, 20))
def test_made_up_cases_of_further_seeds_are_settled_and_flip_too(first):
    for seed in range(first, first + 20):
        case = MADE_UP.case(seed, seed % len(LEVELS) + 1, 4)
        assert not list(contradictions(case.file.survey, LATEST)), seed
        for evaluation in (case.evaluation, case.twin):
            assert all(evaluation.outcomes[each].status == "settled" for each in CASES.subject.choices), seed
        assert case.flips
        assert all(case.evaluation.outcomes[c].option != case.twin.outcomes[c].option for c in case.flips)


def test_nothing_in_a_case_tells_where_it_comes_from():
    for seed in SEEDS:
        case = made(seed)
        assert case.file.survey.note is None
        assert case.wall.note is None
        assert all(value.by is None for name, value in case.values.items() if name in facts())
        assert "Sallowbury" not in str(case.data)


def test_how_a_fact_was_established_is_kept():
    kept = {value.established for seed in SEEDS for name, value in made(seed).values.items() if name in facts()}
    assert {"measured", "reported"} <= kept


def test_the_order_and_the_names_of_the_files_do_not_matter(tmp_path):
    for number, path in enumerate(sorted(DEMO.glob("*.yaml"), reverse=True)):
        shutil.copy(path, tmp_path / f"{number:02}.yaml")
    other = practice_cases(None, str(tmp_path))
    assert other.surveys_digest == CASES.surveys_digest
    assert [other.case(seed, 2, 1).check for seed in range(4)] == [CASES.case(seed, 2, 1).check for seed in range(4)]


def test_other_surveys_give_other_cases(tmp_path):
    shutil.copy(DEMO / "nine_inch_brick.yaml", tmp_path)
    other = practice_cases(None, str(tmp_path))
    assert other.surveys_digest not in (CASES.surveys_digest, "none")
    assert other.walls_given == 1
    assert other.case(1, 2, 1).check != CASES.case(1, 2, 1).check


def test_a_folder_from_which_no_case_can_come_is_refused(tmp_path):
    shutil.copy(DEMO / "meter_only.yaml", tmp_path)
    with pytest.raises(BadInput, match="no wall that can become a case"):
        practice_cases(None, str(tmp_path))
    (tmp_path / "empty").mkdir()
    with pytest.raises(BadInput, match="a folder without surveys"):
        practice_cases(None, str(tmp_path / "empty"))


def test_the_demonstration_surveys_are_found_beside_the_program(monkeypatch, tmp_path):
    monkeypatch.chdir(DEMO.parent)
    assert demo_folder() == "scenarios_demo"
    monkeypatch.chdir(tmp_path)
    assert pathlib.Path(demo_folder()) == DEMO
