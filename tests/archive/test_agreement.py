"""Findings: the columnar way against the plain one, and what they mean on walls whose answer is known."""

import itertools
import random

import polars as pl
import pytest

from engine.archive.agreement import agreement
from engine.archive.agreement_rows import judged_rows, recommended_rows
from engine.columns.flat import flat_frame, flat_row
from engine.columns.judge import judge
from engine.facts.resolve import notes_of, resolve
from engine.facts.survey import Survey
from engine.facts.values import known
from engine.facts.vocabulary import Variable
from engine.inference.evaluate import evaluate
from engine.readings.compute import compute_readings
from engine.rulebase.load import load_rule_base
from engine.rulebase.reading_figures import reading_figures
from tests.archive.plain_agreement import plain_agreement
from tests.generated import any_survey
from tests.small_bases import choice as made_choice
from tests.small_bases import make_base

VERSIONS = ("2026.1", "2026.2")
RESULTS = ("cured", "better", "unchanged", "worse")


def evaluated(base, data):
    survey = Survey.model_validate(data)
    values = resolve(notes_of(survey.property, survey.walls[0]))
    values.update(compute_readings(values, survey.property.survey_date.year, reading_figures(base.tables)))
    return evaluate(base, values)


def any_job(rng, base, evaluation):
    """A recommendation at random: often as decided, or as still possible; at times no option of this version."""
    job = {}
    for choice in base.choices.values():
        outcome = evaluation.outcomes[choice.id]
        options = [option.id for option in choice.options]
        drawn = rng.random()
        if drawn < 0.3:
            job[f"recommended.{choice.id}"] = outcome.option
        elif drawn < 0.4:
            job[f"recommended.{choice.id}"] = rng.choice(outcome.possible)
        elif drawn < 0.8:
            job[f"recommended.{choice.id}"] = rng.choice([*options, "of_another_version"])
    for name, members in base.members.items():
        held = evaluation.sets[name]
        if rng.random() < 0.8:
            likely = [m for m in sorted(held.now) if rng.random() < 0.9]
            others = rng.sample([*members, "of_another_version"], rng.choice((0, 0, 1, 3)))
            job[f"recommended.{name}"] = [*likely, *others]
    if rng.random() < 0.7:
        job["installed.medium"] = rng.choice([option.id for option in base.choices["medium"].options])
    if rng.random() < 0.7:
        job["outcome.result"] = rng.choice(RESULTS)
    return job


def found_for(base, evaluations, jobs):
    return agreement(recommended_rows(jobs), judged_rows(base, evaluations), base)


@pytest.fixture(scope="module", params=VERSIONS)
def many(request):
    """About a thousand walls of a version, each with its evaluation and a recommendation."""
    base, rng = load_rule_base(request.param), random.Random(7)
    evaluations = [evaluated(base, any_survey(rng, rng.choice((0.0, 0.15, 0.5, 0.9)))) for _ in range(1000)]
    jobs = [any_job(rng, base, each) for each in evaluations]
    return base, evaluations, jobs, found_for(base, evaluations, jobs)


def test_the_columns_say_what_the_plain_reference_says(many):
    base, evaluations, jobs, found = many
    plain = [plain_agreement(base, each, job) for each, job in zip(evaluations, jobs, strict=True)]
    ranks = [each.pop("rank") for each in plain]
    assert set(found.columns) == {*plain[0], "severity"}
    for name in plain[0]:
        expected, told = [each[name] for each in plain], found[name].to_list()
        wrong = [place for place, (one, other) in enumerate(zip(expected, told, strict=True)) if one != other]
        assert not wrong, (name, wrong[0], expected[wrong[0]], told[wrong[0]])
    severity = found["severity"].to_list()
    by_rank = sorted(range(len(plain)), key=lambda place: ranks[place])
    for one, other in itertools.pairwise(by_rank):
        assert (severity[one] < severity[other]) == (ranks[one] < ranks[other])


def test_every_kind_of_finding_was_among_them(many):
    base, _, _, found = many
    assert {"must", "should", "consider", "not_decidable"} <= set(found["worst"])
    for choice in base.choices:
        assert set(found[f"finding.{choice}"]) == {"agree", "differs", "not_decidable", "not_recorded"}
    assert {"should", "consider"} <= {each for name in base.choices for each in found[f"grade.{name}"]}
    assert {"must", "should", "consider"} <= {each for name in base.sets for each in found[f"left_out_grade.{name}"]}
    assert found["over_specified"].drop_nulls().len() > 5
    assert found.filter(pl.col("primary").list.len() > 1).height > 20


def test_the_types_are_those_that_are_written_down(many):
    base, _, _, found = many
    texts = pl.List(pl.String)
    for choice in base.choices:
        for name in ("decided", "recommended"):
            assert found[f"{name}.{choice}"].dtype == pl.String
        assert found[f"possible.{choice}"].dtype == found[f"against.{choice}"].dtype == texts
    for name in base.sets:
        for column in ("decided", "recommended", "left_out", "beyond"):
            assert found[f"{column}.{name}"].dtype == texts
    assert found["primary"].dtype == texts
    assert found["severity"].dtype == pl.UInt32
    assert found["as_recommended"].dtype == pl.Boolean
    assert found["fired.0"].dtype == pl.UInt64


def test_batches_give_what_the_whole_gives(many):
    base, evaluations, jobs, found = many
    flat, judged = recommended_rows(jobs), judged_rows(base, evaluations)
    parts = [agreement(flat[at : at + 300], judged[at : at + 300], base) for at in range(0, len(jobs), 300)]
    assert pl.concat(parts).equals(found)


def test_nothing_recorded_and_no_walls_at_all(many):
    base, evaluations, _, _ = many
    judged = judged_rows(base, evaluations[:5])
    found = agreement(pl.DataFrame({"wall": list("abcde")}), judged, base)
    assert set(found["worst"]) == {"not_recorded"}
    assert found["recommended.works"].dtype == pl.List(pl.String)
    assert found["severity"].to_list() == [0] * 5
    none = agreement(pl.DataFrame({"wall": []}), judged[:0], base)
    assert none.height == 0
    assert none.schema == found.schema


def test_it_works_on_what_the_columnar_reader_gives():
    rng = random.Random(11)
    base = load_rule_base(VERSIONS[-1])
    every = [any_survey(rng, 0.2) for _ in range(60)]
    surveys = [Survey.model_validate(data) for data in every]
    flat = flat_frame(flat_row(survey, survey.walls[0]) for survey in surveys)
    evaluations = [evaluated(base, data) for data in every]
    jobs = recommended_rows([any_job(rng, base, each) for each in evaluations])
    flat = flat.hstack(jobs)
    assert agreement(flat, judge(flat, base), base).equals(agreement(jobs, judged_rows(base, evaluations), base))


@pytest.mark.parametrize(
    ("rules", "given", "finding", "grade", "against"),
    [
        # The decision is `first` in all of them, as nothing rules it out.
        ([], "first", "agree", None, []),
        ([("standard", {"rules_out": {"what": ["second"]}})], "second", "differs", "must", ["A-000"]),
        ([("judgement", {"rules_out": {"what": ["second"]}})], "second", "differs", "consider", ["A-000"]),
        # Not supported, and open only to support: as the rule that brings the decision says.
        ([("guidance", {"supports": {"what": ["first"]}})], "third", "differs", "should", ["A-000"]),
        ([], "third", "differs", "consider", []),
        # It stands and comes later: no more than to consider, whatever supports the decision.
        ([("standard", {"supports": {"what": ["first"]}})], "second", "differs", "consider", ["A-000"]),
        # Ruled out by two: both are named, the stronger one grades it.
        (
            [("judgement", {"rules_out": {"what": ["second"]}}), ("guidance", {"rules_out": {"what": ["second"]}})],
            "second",
            "differs",
            "should",
            ["A-000", "A-001"],
        ),
        ([], None, "not_recorded", None, []),
        ([], "elsewhere", "differs", "consider", []),
    ],
)
def test_a_finding_is_graded_by_the_rules_that_speak(rules, given, finding, grade, against):
    fact = Variable("build.dry", "yes_no", from_facts=("build.dry",))
    made = [{"when": {"build.dry": True}, "basis": basis, **says} for basis, says in rules]
    base = make_base(made, [made_choice("what", "evidence", "+first", "+second", "third")], variables=[fact])
    evaluation = evaluate(base, {"build.dry": known(True)})
    jobs = [{"recommended.what": given}]
    found = agreement(recommended_rows(jobs), judged_rows(base, [evaluation]), base).row(0, named=True)
    assert (found["finding.what"], found["grade.what"], found["against.what"]) == (finding, grade, against)


def test_what_is_open_is_not_decidable_and_what_follows_is_not_primary():
    fact = Variable("build.dry", "yes_no", from_facts=("build.dry",))
    rules = [
        {"when": {"build.dry": True}, "rules_out": {"cause": ["ground"]}, "basis": "guidance"},
        {"when": {"decided.cause": "air"}, "rules_out": {"answer": ["drill"]}, "stage": "suitability"},
    ]
    choices = [
        made_choice("cause", "evidence", "+ground", "+air"),
        made_choice("answer", "suitability", "+drill", "+wait"),
    ]
    base = make_base(rules, choices, variables=[fact])
    job = {"recommended.cause": "ground", "recommended.answer": "drill"}
    evaluations = [evaluate(base, {"build.dry": known(True)}), evaluate(base, {})]
    found = agreement(recommended_rows([job, job]), judged_rows(base, evaluations), base)
    assert found["finding.answer"].to_list() == ["differs", "agree"]
    assert found["primary"].to_list() == [["cause"], []]
    assert found["worst"].to_list() == ["should", "agree"]
    assert found["possible.answer"].to_list() == [["wait"], ["drill", "wait"]]
    other = {"recommended.cause": "air", "recommended.answer": "wait"}
    found = agreement(recommended_rows([other, other]), judged_rows(base, evaluations), base)
    assert found["finding.answer"].to_list() == ["agree", "not_decidable"]
    assert found["worst"].to_list() == ["agree", "not_decidable"]
    # Where the cause was not recorded, the answer that rests on it stands for itself.
    alone = {"recommended.answer": "drill"}
    found = agreement(recommended_rows([alone]), judged_rows(base, evaluations[:1]), base)
    assert found["primary"].to_list() == [["answer"]]
