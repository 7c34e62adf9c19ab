"""What is proved of a rule base: against every survey where they can be listed; with faults put in; of the rules."""

import functools
import itertools
import pathlib

import pytest
import yaml
from few_facts import FEW, fillings, random_base
from hypothesis import given, settings
from hypothesis import strategies as st
from small_bases import choice, make_base

from engine.audit.asking import Asking
from engine.audit.fates import bench_of
from engine.audit.findings import Spot
from engine.audit.proof import proof_findings, proof_steps
from engine.audit.proof_outcomes import outcome_findings
from engine.audit.proof_properties import property_findings
from engine.audit.proof_rules import rule_findings
from engine.audit.properties import Property, properties_of, readings_of
from engine.audit.vectors import read_vectors
from engine.audit.witness import Unreal, Witness, witness_of
from engine.decision.assess import assess
from engine.decision.grounds import now_view
from engine.errors import BadRules
from engine.facts.intake import parse_survey
from engine.facts.vocabulary import facts
from engine.inference.evaluate import evaluate
from engine.inference.truth import Truth
from engine.proof.wall_space import all_surveys, solver_for
from engine.rulebase.conditions import ConditionParser
from engine.rulebase.load import load_rule_base, versions

YEAR = 2026
VECTORS = pathlib.Path(__file__).parent / "vectors"
NOWHERE = Spot(file="properties.yaml", line=1, column=1)
VARIABLES = tuple(facts()[name] for name in FEW)


def of(findings, check):
    return {each.subject for each in findings if each.check == check}


def judged(text, base):
    """A survey file judged as any is."""
    import datetime as dt

    file = parse_survey(text.encode(), "counterexample.yaml", dt.date.max)
    values = file.values_of(file.survey.walls[0])
    return evaluate(base, values)


def condition(base, raw):
    def report(*what):
        raise AssertionError(what)

    variables = {**base.variables, **{name: facts()[name] for name in FEW}}
    return ConditionParser(variables, report).parse(raw, ())


def prop(base, name="p", never=None, whenever=None, then=None, bold=()):
    when = condition(base, never if never is not None else whenever) if not bold else None
    return Property(
        name, "It is so.", "for a test", NOWHERE, when, None if then is None else condition(base, then), tuple(bold)
    )


# --- against every survey there is


@functools.cache
def results(seed):
    base = random_base(seed)
    return base, {chosen: evaluate(base, values) for chosen, values in fillings()}


def without(base, rule):
    kept = tuple(each for each in base.rules if each.id != rule.id)
    return type(base)(
        base.manifest, base.choices, base.sets, base.members, base.sources, kept, base.variables, base.digest + rule.id
    )


@pytest.mark.parametrize("seed", range(40))
def test_findings_are_those_that_looking_at_every_survey_gives(seed):
    base, every = results(seed)
    ask = Asking(base, YEAR)
    outcomes, _ = outcome_findings(ask)
    rules, _ = rule_findings(ask)
    assert ask.unsettled == []
    come_to = {(name, each.outcomes[name].option) for each in every.values() for name in base.choices}
    assert of(outcomes, "gap") == {name for name in base.choices if (name, "undecided") in come_to}
    assert of(outcomes, "impossible-option") == {
        f"{name}={option.id}"
        for name, each in base.choices.items()
        for option in each.options
        if (name, option.id) not in come_to
    }
    held = frozenset.union(*(each.sets["works"].now for each in every.values()))
    assert of(outcomes, "impossible-member") == {f"works={each}" for each in "xy" if each not in held}
    assert of(outcomes, "two-outcomes") == set()
    fired = frozenset.union(*(each.fired for each in every.values()))
    dead = {rule.id for rule in base.rules if rule.id not in fired}
    assert of(rules, "dead-rule") == dead
    for finding in outcomes:
        if finding.check == "gap":
            assert judged(finding.survey, base).outcomes[finding.subject].option == "undecided"
    for rule in base.rules:
        fewer = without(base, rule)
        differs = any(
            (
                (now := evaluate(fewer, values)).outcomes != (then := every[chosen]).outcomes
                and any(now.outcomes[n].option != then.outcomes[n].option for n in base.choices)
            )
            or now.sets["works"].now != then.sets["works"].now
            for chosen, values in fillings()
        )
        if rule.id not in dead:
            assert (rule.id in of(rules, "masked-rule")) == (not differs), rule.id
    overruled = {
        f"{rule.id} {'='.join(pair)}"
        for rule in base.rules
        for pair in rule.supports
        if rule.id not in dead
        and all(
            any(pair in other.rules_out and other.id in each.fired for other in base.by_stage[rule.stage])
            for each in every.values()
            if rule.id in each.fired
        )
    }
    assert of(rules, "contradiction") == overruled


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 39), st.sampled_from("abc"), st.sampled_from("abc"), st.sampled_from("xy"))
def test_a_property_is_broken_where_some_survey_breaks_it(seed, one, other, member):
    base, every = results(seed)
    never = prop(base, never={"all": [{"decided.first": one}, {"decided.second": other}]})
    then = prop(base, whenever={"found.works": {"includes": member}}, then={"evidence.tide_mark": True})
    findings, _ = property_findings(Asking(base, YEAR), (never,))
    breaking = [e for e in every.values() if (e.outcomes["first"].option, e.outcomes["second"].option) == (one, other)]
    assert bool(findings) == bool(breaking)
    for finding in findings:
        view = now_view(judged(finding.survey, base))
        assert view.truth(never.when) is Truth.TRUE
    findings, _ = property_findings(Asking(base, YEAR), (then,))
    views = [now_view(each) for each in every.values()]
    broken = [v for v in views if v.truth(then.when) is Truth.TRUE and v.truth(then.then) is not Truth.TRUE]
    assert bool(findings) == bool(broken)


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 39), st.sampled_from(("first", "second")), st.sampled_from("abc"))
def test_a_forgotten_fact_is_bolder_where_some_pair_of_surveys_shows_it(seed, name, option):
    base, every = results(seed)
    findings, _ = property_findings(Asking(base, YEAR), (prop(base, bold=((name, option),)),))
    shows = any(
        every[less].outcomes[name].option == option != every[more].outcomes[name].option
        for more in every
        for less in itertools.product(*((None, each) if each is not None else (None,) for each in more))
        if less in every
    )
    assert bool(findings) == shows
    for finding in findings:
        assert judged(finding.survey, base).outcomes[name].option != option


# --- faults put in on purpose


def seeded(*rules, options=("a", "+b")):
    return make_base(list(rules), [choice("first", "evidence", *options)], {"works": ("works", ("x", "y"))}, VARIABLES)


def test_a_gap_comes_with_a_survey():
    base = seeded(
        {"when": {"evidence.tide_mark": True}, "rules_out": {"first": ["b"]}},
        {"when": {"evidence.tide_mark": False}, "supports": {"first": ["a"]}},
    )
    (gap,) = [each for each in outcome_findings(Asking(base, YEAR))[0] if each.check == "gap"]
    assert yaml.safe_load(gap.survey)["walls"] == [{"id": "W1", "evidence": {"tide_mark": True}}]
    assert "can be left without an outcome" in gap.says


def test_a_dead_rule_names_what_cannot_be_true_together():
    base = seeded(
        {
            "when": {
                "all": [
                    {"evidence.damp_pattern": "low_band"},
                    {"evidence.damp_height_mm": {"at_least": 200}},
                    {"evidence.damp_height_mm": {"below": 200}},
                ]
            },
            "supports": {"first": ["a"]},
        },
    )
    (dead,) = [each for each in rule_findings(Asking(base, YEAR))[0] if each.check == "dead-rule"]
    assert "These cannot be true together" in dead.says
    assert "at least 200" in dead.says
    assert "below 200" in dead.says
    assert "low_band" not in dead.says


def test_a_contradiction_names_the_rule_that_always_rules_it_out():
    base = seeded(
        {"when": {"evidence.damp_height_mm": {"at_least": 500}}, "supports": {"first": ["a"]}},
        {"when": {"evidence.damp_height_mm": {"at_least": 300}}, "rules_out": {"first": ["a"]}},
        {"when": {"evidence.tide_mark": True}, "rules_out": {"first": ["a"]}},
    )
    (against,) = [each for each in rule_findings(Asking(base, YEAR))[0] if each.check == "contradiction"]
    assert against.rules == ("A-000", "A-001")
    assert against.says.endswith("wherever it holds A-001 rules it out.")


def test_a_masked_rule_is_one_that_another_makes_pointless():
    base = seeded(
        {"when": {"evidence.damp_height_mm": {"at_least": 500}}, "adds": {"works": ["x"]}},
        {"when": {"evidence.damp_height_mm": {"at_least": 300}}, "adds": {"works": ["x"]}},
    )
    assert of(rule_findings(Asking(base, YEAR))[0], "masked-rule") == {"A-000"}


# --- the real rules

BASES = {manifest.version: load_rule_base(manifest.version) for manifest in versions()}


@functools.cache
def real(version):
    base = BASES[version]
    told = []
    met = bench_of(base, read_vectors(VECTORS, base)).cases
    found = proof_findings(base, properties_of(base), YEAR, told.append, met)
    return found, told


@pytest.mark.parametrize("version", BASES)
def test_nothing_of_the_real_rules_stays_unsettled_and_every_counterexample_can_be_assessed(version):
    base = BASES[version]
    (findings, looked), told = real(version)
    of_dead_rules = 2 * len(of(findings, "dead-rule"))
    assert len(told) == proof_steps(base, properties_of(base)) - of_dead_rules
    assert [each.unsettled for each in looked] == [()] * len(looked)
    for each in findings:
        if each.survey is not None:
            import datetime as dt

            file = parse_survey(each.survey.encode(), "counterexample.yaml", dt.date(2026, 11, 25))
            assert assess(file, base, dt.date(2026, 11, 25)).walls


@pytest.mark.parametrize("version", BASES)
def test_the_safety_properties_are_all_there(version):
    wanted = {
        "treated_only_where_shown",
        "no_water_over_old_repellent",
        "no_flammable_liquid",
        "course_above_ground_or_protected",
        "protected_building_not_treated_without_consent",
        "no_stripping_before_asbestos",
        "forgotten_fact_never_treats",
    }
    assert wanted <= {each.id for each in properties_of(BASES[version])}


def test_a_witness_is_as_small_as_leaving_out_facts_makes_it():
    base = BASES["2026.1"]
    wall = all_surveys(base, YEAR)
    solver = solver_for(wall)

    def treats(values):
        return evaluate(base, values).outcomes["verdict"].option == "treat"

    found = witness_of(wall, solver, wall.decided.options["verdict"]["treat"], treats)
    assert isinstance(found, Witness)
    data = yaml.safe_load(found.text)
    (of_wall,) = data["walls"]
    for section, fields in of_wall.items():
        for field in fields if isinstance(fields, dict) else ():
            fewer = {**data, "walls": [{**of_wall, section: {k: v for k, v in fields.items() if k != field}}]}
            assert judged_real(yaml.safe_dump(fewer), base).outcomes["verdict"].option != "treat", (section, field)


def judged_real(text, base):
    import datetime as dt

    from engine.readings.compute import compute_readings
    from engine.rulebase.reading_figures import reading_figures

    file = parse_survey(text.encode(), "w.yaml", dt.date.max)
    values = file.values_of(file.survey.walls[0])
    values.update(compute_readings(values, YEAR, reading_figures(base.tables)))
    return evaluate(base, values)


def test_what_no_survey_can_make_real_is_said_to_be_so():
    base = BASES["2026.1"]
    wall = all_surveys(base, YEAR)
    found = witness_of(wall, solver_for(wall), wall.decided.options["verdict"]["treat"], lambda values: False)
    assert isinstance(found, Unreal)
    assert witness_of(wall, solver_for(wall), False, lambda values: True) is None


# --- properties as written


def written(tmp_path, text):
    base = BASES["2026.1"]
    folder = tmp_path / "2026.1"
    folder.mkdir()
    pathlib.Path(folder / "properties.yaml").write_text(text)
    return properties_of(base, tmp_path)


def test_every_mistake_in_the_properties_is_told_with_its_place(tmp_path):
    with pytest.raises(BadRules) as caught:
        written(
            tmp_path,
            """\
- id: one
  says: It is so.
  because: For a test.
  never: {decided.verdct: treat}
- id: one
  says: It is so.
  because: For a test.
  whenever: {decided.verdict: treat}
- id: two
  says: It is so.
  because: For a test.
  never_bolder: {verdict: [treet], medum: [cream]}
""",
        )
    said = [str(each) for each in caught.value.problems]
    assert len(said) == 5
    assert "properties.yaml:4:" in said[0]
    assert "decided.verdict" in said[0]
    assert any("stands twice" in each for each in said)
    assert any("never; or whenever and then; or never_bolder" in each for each in said)
    assert any("did you mean treat?" in each for each in said)
    assert any("did you mean medium?" in each for each in said)


def test_a_property_may_ask_for_a_reading_that_no_rule_reads(tmp_path):
    base = BASES["2026.1"]
    folder = tmp_path / "2026.1"
    folder.mkdir()
    (folder / "properties.yaml").write_text(
        """\
- id: one
  says: It is so.
  because: For a test.
  never: {all: [{reading.treatment_age_years: {below: 3}}, {decided.medium: solvent_liquid}]}
- id: two
  says: It is so.
  because: For a test.
  never_bolder: {verdict: [investigate], medium: [no_medium], old_repellent: [absent]}
"""
    )
    properties = properties_of(base, tmp_path)
    ask = Asking(base, YEAR, also=readings_of(properties))
    findings, (looked,) = property_findings(ask, properties)
    assert looked.unsettled == ()
    # Each choice of a property about what is forgotten is a finding of its own.
    assert [each.subject for each in findings] == ["two verdict", "two medium"]


def test_a_version_without_properties_says_so():
    findings, _ = property_findings(Asking(BASES["2026.1"], YEAR), ())
    assert [(each.check, each.level) for each in findings] == [("property-none", "warning")]


def test_a_property_that_could_not_be_settled_is_an_error(monkeypatch):
    base = BASES["2026.1"]
    monkeypatch.setattr("engine.audit.proof_properties.witness_by", lambda *_: Unreal(()))
    findings, (looked,) = property_findings(Asking(base, YEAR), (prop(base, "p", bold=(("verdict", "treat"),)),))
    assert [(each.check, each.level, each.subject) for each in findings] == [("property-not-settled", "error", "p")]
    assert len(looked.unsettled) == 1
