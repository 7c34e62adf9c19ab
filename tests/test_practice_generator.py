"""Practice cases: consistent, settled, on one side of a boundary, and the same for all who give the same seed."""

import os
import subprocess
import sys

import pytest

from cli.practice_setup import practice_cases
from engine.decision.assess import evaluate_wall
from engine.facts.amend import LATEST, amended, as_written
from engine.facts.contradictions import contradictions
from engine.facts.vocabulary import facts
from engine.practice.draw import Draw
from engine.practice.judge import facts_read
from engine.practice.measures import FITTING, LIKELY, SPANS
from engine.practice.settings import LEVELS, MINUTES
from engine.rulebase.conditions import to_steps

CASES = practice_cases(None, None)
SEEDS = range(120)
BLOCK = 20


def made(seed):
    return CASES.case(seed, seed % len(LEVELS) + 1, 1)


@pytest.mark.parametrize("first", SEEDS[::BLOCK])
def test_every_case_is_consistent_and_settled_and_its_twin_comes_out_otherwise(first):
    for seed in range(first, first + BLOCK):
        case = made(seed)
        assert not list(contradictions(case.file.survey, LATEST)), seed
        assert all(case.evaluation.outcomes[each].status == "settled" for each in CASES.subject.choices), seed
        twin = amended(case.file, {case.turns_on: as_written(case.twin.values[case.turns_on].value)}).file
        judged = CASES.judge.evaluation(twin.values_of(twin.survey.walls[0]), twin.survey.property.survey_date.year)
        assert all(judged.outcomes[each].status == "settled" for each in CASES.subject.choices), seed
        differing = {
            each
            for each in CASES.subject.turning
            if judged.outcomes[each].option != case.evaluation.outcomes[each].option
        }
        assert differing == set(case.flips), seed
        assert case.flips, seed


def test_a_case_is_judged_alike_by_every_reader_of_the_rules():
    for seed in range(12):
        case = made(seed)
        judged = evaluate_wall(case.file, case.wall, CASES.base)
        for choice in CASES.subject.choices:
            assert judged.outcomes[choice].option == case.evaluation.outcomes[choice].option
            assert judged.outcomes[choice].settled
        assert judged.fired == case.evaluation.fired


def test_what_is_kept_back_fits_the_level():
    for seed in SEEDS:
        case = made(seed)
        hidden, level = set(case.hidden), case.level
        assert len(hidden) >= level.hidden
        assert (case.turns_on in hidden) is level.deciding_hidden
        for name in facts():
            if case.values[name].known and {need.fact for need in facts()[name].applies} & hidden:
                assert name in hidden, (seed, name)
        assert hidden <= CASES.facts_read
        assert all(case.values[name].known for name in hidden)


def test_a_number_that_decides_stands_one_step_from_its_boundary_at_the_highest_level():
    seen = 0
    for seed in SEEDS[len(LEVELS) - 1 :: len(LEVELS)]:
        case = made(seed)
        variable = facts()[case.turns_on]
        if variable.kind == "number":
            seen += 1
            here, there = (
                to_steps(variable, each.values[case.turns_on].value) for each in (case.evaluation, case.twin)
            )
            assert abs(here - there) == 1
    assert seen


def test_the_works_offered_hold_all_that_are_called_for_and_others_beside():
    for seed in SEEDS:
        case = made(seed)
        held = case.evaluation.sets[CASES.subject.works]
        assert set(case.called_for) <= held.now
        assert len(set(case.offered)) == len(case.offered)
        others = set(case.offered) - set(case.called_for)
        assert len(others) == case.level.others
        assert not others & (held.now | held.may)


def test_cases_differ_in_what_they_come_to_and_turn_on():
    cases = [made(seed) for seed in SEEDS]
    verdicts = {case.evaluation.outcomes["verdict"].option for case in cases}
    assert verdicts == {option.id for option in CASES.base.choices["verdict"].options}
    assert len({case.evaluation.outcomes["medium"].option for case in cases}) >= 4
    assert len({case.turns_on for case in cases}) >= 15
    assert len({case.check for case in cases}) == len(cases)
    assert {flip for case in cases for flip in case.flips} == set(CASES.subject.turning)


def test_a_higher_level_looks_for_traps_and_longer_reasoning():
    def mean(level, what):
        cases = [made(seed) for seed in SEEDS[level - 1 :: len(LEVELS)]]
        return sum(map(what, cases)) / len(cases)

    assert mean(1, lambda case: case.rules) < mean(5, lambda case: case.rules) + 1
    assert mean(1, lambda case: len(case.hidden)) < 8 < 25 < mean(5, lambda case: len(case.hidden))


def test_the_same_seed_gives_the_same_case_in_another_process_whatever_its_hashes():
    program = (
        "from cli.practice_setup import practice_cases\n"
        "cases = practice_cases(None, None)\n"
        "print(*[cases.case(seed, level, 2).check for seed in (7, 8) for level in (1, 4, 5)])\n"
    )
    mine = [CASES.case(seed, level, 2).check for seed in (7, 8) for level in (1, 4, 5)]
    environment = {**os.environ, "PYTHONHASHSEED": "4242"}
    other = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, env=environment, check=True)
    assert other.stdout.split() == mine


def test_a_case_does_not_depend_on_those_asked_for_before():
    fresh = practice_cases(None, None)
    assert fresh.case(55, 3, 2).check == CASES.case(55, 3, 2).check
    assert fresh.case(55, 3, 1).check == CASES.case(55, 3, 1).check


def test_draws_are_those_of_the_key_alone():
    draw = Draw("a", 1)
    assert [draw.below(1000) for _ in range(6)] == [908, 246, 761, 770, 835, 860]
    assert Draw("a", 1).shuffled("abcdef") == ["f", "b", "e", "d", "c", "a"]
    assert Draw("a", 1).between(2, 3, 0.1) in [round(2 + n / 10, 1) for n in range(11)]
    assert {Draw("b", n).weighted("xyz", [0, 1, 0]) for n in range(20)} == {"y"}
    assert Draw("a", 1).below(10**9) != Draw("a", 2).below(10**9)


def test_the_settings_cover_what_the_vocabulary_has():
    assert {variable.effort for variable in facts().values()} <= set(MINUTES)
    assert [level.number for level in LEVELS] == list(range(1, len(LEVELS) + 1))
    read = facts_read(CASES.base)
    for name, (low, high, step) in SPANS.items():
        variable = facts()[name]
        assert name in read
        assert variable.ge <= low <= high <= variable.le
        assert step > 0
    for name, option in LIKELY:
        assert option in facts()[name].options
    for name, (before, options) in FITTING.items():
        order = list(facts())
        assert order.index(before) < order.index(name)
        for value, fitting in options.items():
            assert value in facts()[before].options
            assert set(fitting) <= set(facts()[name].options)


def test_made_up_walls_make_sense_beside_themselves():
    for seed in SEEDS:
        values = made(seed).values
        for name, (before, options) in FITTING.items():
            if values[name].known and values[before].known:
                assert values[name].value in options.get(values[before].value, facts()[name].options), (seed, name)
