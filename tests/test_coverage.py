"""Coverage: what the tests of a rule base reach, and what a seeded gap does to that."""

import itertools
import pathlib

import pytest
from hypothesis import given
from hypothesis import strategies as st
from small_bases import choice, make_base

from engine.audit.coverage import coverage
from engine.audit.findings import Spot
from engine.audit.independence import Cases, independence
from engine.audit.vectors import NO_VECTORS, Placed, Vector, Vectors, facts_of, merged, read_vectors, survey_data_of
from engine.errors import BadInput
from engine.facts.values import UNKNOWN_VALUE, known
from engine.facts.vocabulary import facts
from engine.inference.truth import Truth
from engine.inference.view import View
from engine.rulebase import conditions
from engine.rulebase.conditions import All, AnyOf, Not
from engine.rulebase.load import load_rule_base

FOLDER = pathlib.Path(__file__).parent / "vectors"
NAMES = ("evidence.leaks", "build.movement", "ground.retains_earth")
VARIABLES = [facts()[name] for name in NAMES]
RULE = {
    "id": "A-001",
    "when": {"all": [{"evidence.leaks": "active"}, {"build.movement": "active"}]},
    "supports": {"call": ["go"]},
    "adds": {"works": ["mend"]},
    "examples": {
        "holds": {"evidence.leaks": "active", "build.movement": "active"},
        "fails": [{"evidence.leaks": "none"}, {"build.movement": "none"}],
    },
}


def small(*rules):
    return make_base(
        rules,
        [choice("call", "evidence", "go", "+stay")],
        {"works": ("works", ("mend", "pull_down"))},
        VARIABLES,
    )


def vector(number, facts, **says):
    made = {"id": f"V-{number}", "teaches": "a thing", "source": "none", "source_says": "a thing", "expect": {}, **says}
    return Placed(Vector.model_validate(made), Spot(file="test", line=number, column=1), facts)


BOTH = {"evidence": {"leaks": "active"}, "build": {"movement": "active"}}
NEITHER = {"evidence": {"leaks": "none"}, "build": {"movement": "none"}}


def checks(base, *vectors, folder="test"):
    found, looked = coverage(base, Vectors(folder, tuple(vectors)))
    return {(each.check, each.subject): each for each in found}, {each.check: each for each in looked}


def test_a_covered_rule_leaves_only_what_is_not_reached():
    found, looked = checks(small(RULE), vector(1, BOTH, expect={"call": "go"}), vector(2, NEITHER))
    assert set(found) == {("outcome-not-reached", "works=pull_down")}
    assert looked["rule-not-reached"].says.startswith("1 of 1 rules")
    assert "of 2, vectors and examples show 2 by unique cause" in looked["test-not-shown"].says


def test_a_rule_that_holds_nowhere_is_an_error_and_where_it_never_stops_a_warning():
    found, _ = checks(small(RULE), vector(1, NEITHER))
    assert found["rule-not-reached", "A-001"].level == "error"
    assert found["outcome-not-reached", "call=go"].level == "warning"
    found, _ = checks(small(RULE), vector(1, BOTH))
    assert found["rule-never-false", "A-001"].level == "warning"


def test_a_condition_that_no_test_shows_to_matter_is_found_and_named():
    loose = {**RULE, "examples": {**RULE["examples"], "fails": [{"evidence.leaks": "none"}]}}
    found, looked = checks(small(loose), vector(1, BOTH), vector(2, NEITHER))
    assert "build.movement is active" in found["test-not-shown", "A-001"].says
    assert "evidence.leaks" not in found["test-not-shown", "A-001"].says
    assert looked["test-not-shown"].says.endswith("1 are not shown")
    only_one = {"evidence": {"leaks": "active"}, "build": {"movement": "old"}}
    found, _ = checks(small(loose), vector(1, BOTH), vector(2, NEITHER), vector(3, only_one))
    assert ("test-not-shown", "A-001") not in found


def test_without_vectors_only_the_examples_count_and_that_is_said():
    found, looked = coverage(small(RULE), NO_VECTORS)
    assert found == []
    assert [each.check for each in looked] == ["test-not-shown"]
    assert "there are no vectors" in looked[0].says


def test_a_vector_that_is_not_borne_out_is_an_error_and_reaches_nothing():
    found, _ = checks(small(RULE), vector(1, BOTH, expect={"call": "stay"}), vector(2, {"evidence": {"leaks": "wet"}}))
    assert "call is go and should be stay" in found["vector-fails", "V-1"].says
    assert "survey is refused" in found["vector-fails", "V-2"].says
    assert ("rule-not-reached", "A-001") in found


# ---- Each test by itself ----

LEAK, MOVES, EARTH = (
    conditions.Test(VARIABLES[0], "one_of", ("active",)),
    conditions.Test(VARIABLES[1], "one_of", ("active",)),
    conditions.Test(VARIABLES[2], "one_of", (True,)),
)
LEAK_KNOWN = conditions.Test(VARIABLES[0], "known")


def view(leak=None, moves=None, earth=None):
    given = {
        NAMES[0]: None if leak is None else "active" if leak else "none",
        NAMES[1]: None if moves is None else "active" if moves else "none",
        NAMES[2]: earth,
    }
    return View({name: UNKNOWN_VALUE if value is None else known(value) for name, value in given.items()})


def test_unique_cause_wants_the_other_tests_the_same_unknown_too():
    both = All((LEAK, MOVES))
    assert independence(both, Cases([view(True, True), view(False, True)])) == ["unique", None]
    assert independence(both, Cases([view(True, True), view(False, None)])) == [None, None]
    assert independence(both, Cases([view(True, True), view(None, True)])) == [None, None]
    either = AnyOf((LEAK, Not(MOVES)))
    assert independence(
        either, Cases([view(True, None), view(False, None), view(False, False), view(False, True)])
    ) == [
        "unique",
        "unique",
    ]


def test_masking_is_taken_only_where_tests_are_coupled():
    coupled = All((LEAK_KNOWN, Not(LEAK)))
    views = [view(False), view(True), view(None)]
    # Whether the leak is known changes what is known of the leak: no pair differs in that alone.
    assert independence(coupled, Cases(views)) == [None, "unique"]
    guarded = Not(All((LEAK_KNOWN, LEAK)))
    assert independence(guarded, Cases(views)) == ["masking", "unique"]
    apart = AnyOf((All((LEAK, MOVES)), EARTH))
    masked = [view(True, True, False), view(True, False, None), view(False, True, None), view(False, None, True)]
    assert independence(apart, Cases(masked))[2] is None


CONDITIONS = st.recursive(
    st.sampled_from([LEAK, MOVES, EARTH, LEAK_KNOWN]),
    lambda inner: st.one_of(
        st.builds(Not, inner),
        st.builds(All, st.lists(inner, min_size=1, max_size=3).map(tuple)),
        st.builds(AnyOf, st.lists(inner, min_size=1, max_size=3).map(tuple)),
    ),
    max_leaves=6,
)
EVERY = [view(*each) for each in itertools.product((None, True, False), repeat=3)]


@given(CONDITIONS, st.lists(st.sampled_from(EVERY), max_size=8))
def test_what_is_shown_by_unique_cause_is_shown_by_two_of_the_cases(when, views):
    tests = list(conditions.tests_in(when))
    for index, how in enumerate(independence(when, Cases(views))):
        pairs = [
            (one, other)
            for one, other in itertools.product(views, repeat=2)
            if (one.truth(when) is Truth.TRUE) and (other.truth(when) is not Truth.TRUE)
            if one.of_test(tests[index]) is other.of_test(tests[index]).negated is not Truth.UNKNOWN
        ]
        alone = [
            (one, other)
            for one, other in pairs
            if all(one.of_test(t) is other.of_test(t) for at, t in enumerate(tests) if at != index)
        ]
        assert (how == "unique") == bool(alone)
        if how == "masking":
            assert pairs


@given(CONDITIONS, st.lists(st.sampled_from(EVERY), max_size=6))
def test_more_cases_never_show_less(when, views):
    fewer, every = independence(when, Cases(views)), independence(when, Cases(EVERY))
    assert all(more is not None for less, more in zip(fewer, every, strict=True) if less is not None)


# ---- The folder ----

GOOD = """
- id: V-one-001
  teaches: A thing.
  source: common_practice
  source_says: A thing.
  base: {base}
  facts: {{evidence: {{leaks: none, mould: null}}}}
  expect: {{verdict: [treat, investigate]}}
  works: {{includes: [let_dry]}}
"""
BASES = """
under: {facts: {evidence: {leaks: active, mould: at_base}, build: {voids: none}}}
over: {base: under, facts: {build: {movement: none}}}
"""


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "bases.yaml").write_text(BASES)
    (tmp_path / "one.yaml").write_text(GOOD.format(base="over"))
    return tmp_path


def test_facts_are_laid_upon_bases_and_sets_are_read(folder):
    [placed] = read_vectors(folder, load_rule_base("2026.1")).placed
    assert placed.facts == {"evidence": {"leaks": "none"}, "build": {"voids": "none", "movement": "none"}}
    assert placed.vector.expect == {"verdict": ("treat", "investigate")}
    assert placed.vector.sets["works"].includes == ("let_dry",)
    assert (placed.at.line, placed.later) == (2, False)
    wall = survey_data_of(placed.facts, "R")["walls"][0]
    assert wall == {"id": "W1", **placed.facts}


def test_every_fault_of_a_folder_is_said_at_once(folder):
    (folder / "two.yaml").write_text(GOOD.format(base="ovr").replace("expect:", "expects:").replace("-001", "-002"))
    (folder / "three.yaml").write_text(GOOD.format(base="undr").replace("V-one-001", "V-three-001"))
    (folder / "four.yaml").write_text(GOOD.format(base="over"))
    with pytest.raises(BadInput) as refused:
        read_vectors(folder, load_rule_base("2026.1"))
    said = "\n".join(map(str, refused.value.problems))
    assert "did you mean expect" in said
    assert "did you mean under" in said
    assert "stands already" in said
    with pytest.raises(BadInput, match="is no folder"):
        read_vectors(folder / "nowhere", load_rule_base("2026.1"))


def test_what_the_version_does_not_have_is_left_out_with_the_reason(folder):
    (folder / "one.yaml").write_text(GOOD.format(base="over").replace("let_dry", "let_dri") + "  fires: [Z-999]\n")
    vectors = read_vectors(folder, load_rule_base("2026.1"))
    [(_, why)] = vectors.left_out
    assert vectors.placed == ()
    assert "no rule Z-999" in why
    assert "no member let_dri of works" in why
    found, _ = coverage(load_rule_base("2026.1"), vectors)
    assert any(each.check == "vector-fails" and each.level == "error" for each in found)


def test_a_version_with_a_folder_of_its_own_is_not_held_to_what_later_ones_changed(folder):
    (folder / "2026.1").mkdir()
    (folder / "2026.1" / "own.yaml").write_text(GOOD.format(base="under").replace("V-one", "V-own"))
    vectors = read_vectors(folder, load_rule_base("2026.1"))
    assert [(each.vector.id, each.later) for each in vectors.placed] == [("V-one-001", True), ("V-own-001", False)]
    found, looked = coverage(load_rule_base("2026.1"), vectors)
    failing = [each.subject for each in found if each.check == "vector-fails"]
    assert failing == ["V-own-001"]
    assert "1 vectors of later versions" in looked[0].says


def test_a_base_that_rests_on_itself_is_refused(folder):
    (folder / "bases.yaml").write_text("over: {base: under, facts: {}}\nunder: {base: over, facts: {}}\n")
    with pytest.raises(BadInput, match="no base of this name"):
        read_vectors(folder, load_rule_base("2026.1"))


def test_null_removes_a_fact_and_the_base_stays_as_it_is():
    under = {"build": {"voids": "none", "length_m": 3}}
    assert merged(under, {"build": {"voids": None}}) == {"build": {"length_m": 3}}
    assert under["build"]["voids"] == "none"
    with pytest.raises(KeyError):
        facts_of("nowhere", {}, {})


def test_the_vectors_of_the_project_can_be_read_for_every_version():
    vectors = read_vectors(FOLDER, load_rule_base("2026.1"))
    assert len(vectors.placed) > 100
