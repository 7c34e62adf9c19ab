"""Rules changed on purpose: which tests notice, and that what none notices is proved alike or shown by a survey."""

import dataclasses
import datetime as dt
import functools
import itertools
import pathlib
import random

import pytest
from generated import any_survey, survey_file
from hypothesis import given, settings
from hypothesis import strategies as st
from small_bases import choice, make_base

from engine.audit.cases import Rejudge, decides_alike, is_true, judged, values_of, values_of_data
from engine.audit.equivalence import Equivalence
from engine.audit.fates import Bench, flipped
from engine.audit.findings import Spot
from engine.audit.mutants import OPERATORS, all_mutants, mutants_of
from engine.audit.mutation import mutation, mutation_findings
from engine.audit.mutation_text import mutation_page
from engine.audit.near_bounds import NearBounds
from engine.audit.recorded import read_recorded, recorded_text
from engine.audit.recording import record
from engine.audit.vectors import NO_VECTORS, Placed, Vector, Vectors, read_vectors, survey_data_of
from engine.audit.witness import Witness
from engine.facts.intake import parse_survey
from engine.facts.values import UNKNOWN_VALUE, known
from engine.facts.vocabulary import facts
from engine.inference.evaluate import evaluate
from engine.inference.truth import Truth
from engine.inference.view import View
from engine.rulebase.load import load_rule_base, versions
from engine.rulebase.reading_figures import reading_figures

FOLDER = pathlib.Path(__file__).parent / "vectors"
NAMES = ("evidence.leaks", "build.movement", "ground.retains_earth", "floor.level_change_mm")
VARIABLES = [facts()[name] for name in NAMES]
CHOICES = [choice("call", "evidence", "go", "wait", "+stay"), choice("verdict", "cause", "yes", "+no")]
SETS = {"works": ("works", ("mend", "prop", "pull_down"))}


def small(*rules):
    return make_base(rules, CHOICES, SETS, VARIABLES)


def rule(id, when, stage="evidence", holds=None, fails=(), **concludes):
    return {
        "id": id,
        "stage": stage,
        "when": when,
        "examples": {"holds": holds or {}, "fails": list(fails) or [{}]},
        **concludes,
    }


STEP = rule(
    "A-001",
    {"all": [{"floor.level_change_mm": {"at_least": 75}}, {"evidence.leaks": ["active", "repaired"]}]},
    supports={"call": ["go"]},
    adds={"works": ["mend"]},
    holds={"floor.level_change_mm": 75, "evidence.leaks": "active"},
    fails=[{"floor.level_change_mm": 74}, {"evidence.leaks": "none"}],
)
THEN = rule(
    "B-001",
    {"decided.call": "go"},
    "cause",
    supports={"verdict": ["yes"]},
    holds={"decided.call": "go"},
    fails=[{"decided.call": "stay"}],
)


def with_changed(base, changed):
    return dataclasses.replace(base, rules=tuple(changed if r.id == changed.id else r for r in base.rules))


def vectors_of(*says):
    placed = []
    for number, (facts_given, expect) in enumerate(says):
        made = {"id": f"V-{number}", "teaches": "t", "source": "none", "source_says": "s", "expect": expect}
        placed.append(Placed(Vector.model_validate(made), Spot(file="test", line=1, column=1), facts_given))
    return Vectors("test", tuple(placed))


# ---- The changed rules ----


def test_every_kind_of_fault_is_made_and_says_what_it_does():
    made = _mutants()
    assert {each.operator for each in made} == set(OPERATORS)
    assert len({each.name for each in made}) == len(made)
    assert len({(each.rule.id, each.operator, each.says) for each in made}) == len(made)


def test_the_faults_of_one_rule():
    found = {each.says: each for each in mutants_of(small(STEP, THEN).by_id["A-001"], small(STEP, THEN))}
    assert "floor.level_change_mm: at_least 75 is now 74" in found
    assert "floor.level_change_mm: at_least 75 is now above" in found
    assert "evidence.leaks: one_of without repaired" in found
    assert "evidence.leaks: one_of with none too" in found
    assert "`all` of 2 parts is now `any`" in found
    assert "no longer adds mend to works" in found
    assert "adds prop to works in place of mend" in found
    assert "supports call: wait in place of go" in found
    assert "rules out call: go, which it supports" in found
    turned = found["floor.level_change_mm: at_least 75 is now at_most"].rule
    assert turned.raw.when["all"][0] == {"floor.level_change_mm": {"at_most": 75}}
    assert turned.raw.supports == {"call": ("go",)}


def test_no_changed_rule_is_the_rule_itself_or_another_again():
    base = load_rule_base("2026.1")
    for each in random.Random(0).sample(base.rules, 40):
        essences = [
            (repr(m.rule.when), frozenset(m.rule.supports), frozenset(m.rule.rules_out), frozenset(m.rule.adds))
            for m in mutants_of(each, base)
        ]
        own = (repr(each.when), frozenset(each.supports), frozenset(each.rules_out), frozenset(each.adds))
        assert len({*essences, own}) == len(essences) + 1


# ---- Judging again ----


@functools.cache
def _mutants():
    return all_mutants(load_rule_base("2026.1"))


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 2**40), st.sampled_from((0.0, 0.2, 0.6)))
def test_judged_again_a_case_comes_to_what_the_changed_rules_come_to(seed, share):
    rng = random.Random(seed)
    base = load_rule_base("2026.1")
    case = judged(base, values_of(survey_file(any_survey(rng, share)), base))
    rejudge = Rejudge(base)
    for mutant in rng.sample(_mutants(), 100):
        assert is_true(mutant.rule.when, case.view) == (case.view.truth(mutant.rule.when) is Truth.TRUE)
        after = rejudge.with_rule(case, mutant.rule)
        if after is not case or rng.random() < 0.005:
            whole = judged(with_changed(base, mutant.rule), case.view.values)
            assert (after.decided, after.found, after.fired) == (whole.decided, whole.found, whole.fired)
            return


def test_values_without_places_are_the_values():
    base = load_rule_base("2026.1")
    for placed in read_vectors(FOLDER, base).placed[::25]:
        data = survey_data_of(placed.facts, "R")
        with_places = values_of(survey_file(data), base)
        for name, value in values_of_data(data, base).items():
            assert (value.state, value.value) == (with_places[name].state, with_places[name].value)


# ---- Fates ----


def test_a_change_that_no_test_notices_is_shown_by_a_survey():
    base = small(STEP, THEN)
    report = mutation(base, NO_VECTORS)
    shown = {each.says: each for each in report.unnoticed}
    lost = shown["evidence.leaks: one_of without repaired"]
    assert "repaired" in lost.survey
    assert "call is stay and was go" in lost.differs
    assert "verdict is no and was yes" in lost.differs
    file = parse_survey(lost.survey.encode(), "shown.yaml", dt.date(2026, 12, 31))
    values = values_of(file, base)
    [mutant] = [each for each in all_mutants(base) if each.name == lost.mutant]
    assert evaluate(base, values).outcomes["call"].option == "go"
    assert evaluate(with_changed(base, mutant.rule), values).outcomes["call"].option == "stay"
    found, looked = mutation_findings(report)
    assert {each.survey for each in found} == {each.survey for each in report.unnoticed}
    assert f"not noticed: {len(found)}" in looked[0].says


def test_examples_and_vectors_notice_what_they_tell():
    base = small(STEP, THEN)
    before = mutation(base, NO_VECTORS)
    by_examples = {each.operator: each.examples for each in before.operators}
    assert by_examples["strictness"] == 1
    assert by_examples["all-any"] == 1
    repaired = {"floor": {"level_change_mm": 80}, "evidence": {"leaks": "repaired"}}
    after = mutation(base, vectors_of((repaired, {"verdict": ("yes",)})))
    assert "evidence.leaks: one_of without repaired" not in {each.says for each in after.unnoticed}
    assert after.total.vectors > 0
    assert after.kill_rate > before.kill_rate
    assert after.total.made == before.total.made == before.made


def test_a_vector_that_the_rules_do_not_bear_out_notices_nothing():
    base = small(STEP, THEN)
    report = mutation(base, vectors_of(({"evidence": {"leaks": "none"}}, {"verdict": ("yes",)})))
    assert (report.vectors, report.left_out, report.total.vectors) == (0, 1, 0)


def test_a_change_without_effect_is_proved_to_be_none():
    always = rule("A-002", {"evidence.leaks": "known"}, supports={"call": ["stay"]}, holds={"evidence.leaks": "none"})
    twice = rule(
        "A-003",
        {"any": [{"evidence.leaks": "active"}, {"all": [{"evidence.leaks": "active"}, {"build.movement": "old"}]}]},
        rules_out={"call": ["stay"]},
    )
    base = small(always, twice)
    equivalence = Equivalence(base, 2026)
    by_says = {each.says: each.rule for each in mutants_of(base.by_id["A-003"], base)}
    never_matters = by_says["build.movement: is with active too"]
    assert equivalence.decides_alike(never_matters)
    assert equivalence.holds_alike(never_matters)
    # Supporting an option that is open anyway gives the decision its reason and nothing else.
    reason_only = {each.says: each.rule for each in mutants_of(base.by_id["A-002"], base)}
    dropped = reason_only["no longer supports call: stay"]
    assert equivalence.decides_alike(dropped)
    assert not equivalence.holds_alike(dropped)
    assert equivalence.shown(dropped) is None


PARTS = st.sampled_from(
    [
        {"evidence.leaks": "active"},
        {"evidence.leaks": ["active", "repaired"]},
        {"evidence.leaks": "unknown"},
        {"build.movement": {"is_not": "none"}},
        {"build.movement": "known"},
        {"ground.retains_earth": "yes"},
        {"floor.level_change_mm": {"above": 1}},
        {"floor.level_change_mm": {"between": [1, 3]}},
        {"floor.level_change_mm": {"below": 2}},
    ]
)
CONDITIONS = st.recursive(
    PARTS,
    lambda inner: st.one_of(
        inner.map(lambda part: {"not": part}),
        st.lists(inner, min_size=2, max_size=3, unique_by=repr).map(lambda parts: {"all": parts}),
        st.lists(inner, min_size=2, max_size=3, unique_by=repr).map(lambda parts: {"any": parts}),
    ),
    max_leaves=4,
)
CONCLUDES = (
    {"supports": {"call": ["go"]}, "adds": {"works": ["mend"]}},
    {"supports": {"call": ["wait"]}},
    {"rules_out": {"call": ["stay", "go"]}},
    {"adds": {"works": ["mend", "prop"]}},
)
DOMAIN = {
    "evidence.leaks": ["none", "active", "repaired"],
    "build.movement": ["none", "old", "active"],
    "ground.retains_earth": [True, False],
    "floor.level_change_mm": [0, 1, 2, 3, 4, 5],
}


def every_wall():
    unknown = dict.fromkeys(facts(), UNKNOWN_VALUE)
    for several in itertools.product(*([None, *values] for values in DOMAIN.values())):
        given_values = zip(DOMAIN, several, strict=True)
        yield {**unknown, **{name: known(value) for name, value in given_values if value is not None}}


@settings(max_examples=12, deadline=None)
@given(st.lists(CONDITIONS, min_size=2, max_size=3), st.randoms(use_true_random=False))
def test_proved_alike_means_alike_on_every_wall_and_not_proved_means_one_is_not(conditions, rng):
    rules = [
        rule(f"A-{n:03d}", when, **concludes)
        for n, (when, concludes) in enumerate(zip(conditions, rng.sample(CONCLUDES, len(conditions)), strict=True))
    ]
    base = small(*rules, THEN)
    equivalence, rejudge = Equivalence(base, 2026), Rejudge(base)
    cases = [judged(base, values) for values in every_wall()]
    mutants = all_mutants(base)
    for mutant in rng.sample(mutants, min(25, len(mutants))):
        after = [(case, rejudge.with_rule(case, mutant.rule)) for case in cases]
        assert equivalence.decides_alike(mutant.rule) == all(decides_alike(one, other) for one, other in after)
        assert equivalence.holds_alike(mutant.rule) == all(one is other for one, other in after)


def test_the_answer_is_the_same_with_two_processes_and_with_the_same_seed():
    base = small(STEP, THEN)
    whole = mutation(base, NO_VECTORS)
    assert mutation(base, NO_VECTORS, processes=2) == whole
    sample = mutation(base, NO_VECTORS, 12, 3)
    assert sample == mutation(base, NO_VECTORS, 12, 3)
    assert (sample.total.made, sample.sample, sample.seed) == (12, 12, 3)
    assert sample.made == whole.total.made == mutation(base, NO_VECTORS, 10**6).total.made


def test_progress_goes_up_to_what_there_is():
    told = []
    report = mutation(small(STEP, THEN), NO_VECTORS, progress=lambda done, total: told.append((done, total)))
    assert told[-1] == (report.made, report.made)


def test_the_page_gives_the_numbers_and_what_is_left():
    report = mutation(small(STEP, THEN), NO_VECTORS)
    page = mutation_page(report)
    assert f"- Changed rules: {report.made}\n" in page
    assert f"{report.kill_rate:.2f} %" in page
    assert all(each.mutant in page for each in report.unnoticed)
    assert page == mutation_page(mutation(small(STEP, THEN), NO_VECTORS))


def test_facts_are_found_that_bring_a_computed_reading_to_a_bound():
    base = load_rule_base("2026.1")
    near = NearBounds(2026, reading_figures(base.tables))
    found = 0
    for mutant in _mutants():
        if mutant.operator != "threshold" or "reading.surface_rh_percent" not in mutant.says:
            continue
        old = base.by_id[mutant.rule.id]
        for name, given_facts in itertools.islice(near.facts_for(old, mutant.rule), 2):
            values = near.values_with(given_facts)
            one, other = (
                [values[name].known and View(values).of_test(test) for test in each.tests if test.variable.name == name]
                for each in (old, mutant.rule)
            )
            found += one != other
    assert found > 10


def test_a_change_within_a_step_of_a_bound_is_shown_too():
    base = load_rule_base("2026.1")
    [mutant] = [
        each
        for each in mutants_of(base.by_id["W-087"], base)
        if each.says == "reading.surface_rh_percent: at_least 95 is now above"
    ]
    equivalence = Equivalence(base, 2026)
    shown = equivalence.shown(mutant.rule)
    assert isinstance(shown, Witness)
    assert shown.values["reading.surface_rh_percent"].value == 95
    assert equivalence.tells(mutant.rule)(dict(shown.values))


# ---- Recorded decisions ----


def test_recorded_decisions_notice_every_change_that_can_be_noticed(tmp_path):
    base = small(STEP, THEN)
    by_stage = record(base, NO_VECTORS)
    for stage, recorded in by_stage.items():
        (tmp_path / f"{stage}.yaml").write_text(recorded_text("2026.1", recorded))
    problems = []
    read = read_recorded(tmp_path, problems)
    assert problems == []
    assert sorted(each.id for each in read) == sorted(each.id for several in by_stage.values() for each in several)
    report = mutation(base, Vectors("test", recorded=read))
    assert report.unnoticed == ()
    assert report.kill_rate == 100
    assert 0 < report.recorded < report.total.recorded
    assert record(base, NO_VECTORS) == by_stage


def test_walls_recorded_before_are_tried_first_and_only_the_needed_stay():
    base = small(STEP, THEN)
    recorded = [each for several in record(base, NO_VECTORS).values() for each in several]
    refused = {"evidence": {"leaks": "wet"}}
    told = []
    seeds = [refused, *(each.facts for each in recorded), {"build": {"movement": "old"}}]
    again = record(base, NO_VECTORS, seeds, lambda left, _: told.append(left))
    assert told == []
    facts_now = [each.facts for several in again.values() for each in several]
    assert {repr(each) for each in facts_now} <= {repr(each.facts) for each in recorded}


def test_a_changed_rule_flips_a_recorded_decision_in_words():
    base = small(STEP, THEN)
    recorded = [each for several in record(base, NO_VECTORS).values() for each in several]
    [changed] = [m.rule for m in all_mutants(base) if m.says == "evidence.leaks: one_of without repaired"]
    assert list(flipped(base, recorded)) == []
    said = [line for _, wrong in flipped(with_changed(base, changed), recorded) for line in wrong]
    assert "call is stay and was go" in said
    assert "works loses mend" in said


RECORDED = {
    manifest.version: read_recorded(FOLDER / "recorded" / manifest.version, [])
    for manifest in versions()
    if (FOLDER / "recorded" / manifest.version).is_dir()
}


@pytest.mark.parametrize("version", RECORDED)
def test_every_recorded_decision_still_holds(version):
    said = [f"{each.id}: {'; '.join(wrong)}" for each, wrong in flipped(load_rule_base(version), RECORDED[version])]
    assert not said, "\n".join(said[:20])


@pytest.mark.parametrize("version", RECORDED)
def test_recorded_files_are_as_they_would_be_written(version):
    for path in (FOLDER / "recorded" / version).glob("*.yaml"):
        problems = []
        written = [each for each in RECORDED[version] if each.id.startswith(f"{path.stem}-")]
        assert path.read_text() == recorded_text(version, written)
        assert problems == []


@pytest.mark.parametrize("version", RECORDED)
def test_tests_notice_what_is_drawn_of_the_changed_rules(version):
    base = load_rule_base(version)
    bench = Bench(base, read_vectors(FOLDER, base))
    equivalence = Equivalence(base, base.manifest.in_force_from.year)
    drawn = random.Random(version).sample(all_mutants(base), 150)
    missed = [each for each in drawn if bench.killer(each.rule) is None and not equivalence.decides_alike(each.rule)]
    assert len(missed) <= 3, [f"{each.name} {each.says}" for each in missed]
