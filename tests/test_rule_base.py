"""Every version of the rule base loads; every rule holds on its example and on nothing near it.

What is wrong with the form of a version is found by `engine.audit.form`; `test_rules_form` puts faults in and looks
whether they are found. Here it is asked of the versions as they are, and the examples are run once more without it.
"""

import datetime as dt

import pytest

from engine.audit.form import form_findings
from engine.audit.sources import source_findings
from engine.inference.truth import Truth
from engine.inference.view import View
from engine.rulebase.examples import example_values
from engine.rulebase.load import load_rule_base, read_version, versions
from engine.rulebase.model import STAGES

VERSIONS = [manifest.version for manifest in versions()]
NEVER = {
    "cannot-be-read",
    "not-filled-in",
    "test-never-holds",
    "tests-contradict",
    "example-value",
    "example-does-not-hold",
    "example-not-smallest",
    "counter-example-form",
    "counter-example-holds",
    "same-rule",
    "stage-without-rules",
    "option-never-supported",
    "member-never-added",
    "id-reused",
    "id-is-another-rule",
    "version-misnamed",
    "version-same-day",
    "version-order",
    "source-not-cited",
    "source-withdrawn",
    "superseded-by",
}
"""Checks that find nothing in any version, whatever their level."""


def holds(base, rule, example):
    view = View({})
    for name, value in example_values(example, base.variables).items():
        kind, _, key = name.partition(".")
        if kind == "decided":
            view.decided[key] = value.value
        elif kind == "found":
            view.found[key] = value.value
        else:
            view.values[name] = value
    return view.truth(rule.when) is Truth.TRUE


@pytest.mark.parametrize("version", VERSIONS)
def test_every_check_of_form_and_sources_that_must_find_nothing_finds_nothing(version):
    read = read_version(version)
    base, form, looked = form_findings(version, read=read)
    sources, more = source_findings(read, dt.date(2026, 11, 25))
    assert base is not None
    assert {each.check for each in (*looked, *more)} >= NEVER
    assert [each for each in (*form, *sources) if each.check in NEVER] == []


@pytest.mark.parametrize("version", VERSIONS)
def test_every_rule_holds_on_its_example_and_on_nothing_near_it(version):
    base = load_rule_base(version)
    for rule in base.rules:
        example = rule.examples.holds
        assert holds(base, rule, example), rule.id
        for name in example:
            fewer = {key: value for key, value in example.items() if key != name}
            # left out is unknown too
            assert example[name] == "unknown" or not holds(base, rule, fewer), f"{rule.id} holds without {name}"
        for change in rule.examples.fails:
            assert len(change) == 1, f"{rule.id}: a counter-example changes one value"
            name = next(iter(change))
            assert name in example, f"{rule.id}: {name} is not in its example"
            assert example[name] != change[name]
            assert not holds(base, rule, {**example, **change}), f"{rule.id} holds with {change}"


@pytest.mark.parametrize("version", VERSIONS)
def test_every_option_member_and_source_is_reached(version):
    base = load_rule_base(version)
    concluded = {pair for rule in base.rules for pair in rule.supports}
    added = {pair for rule in base.rules for pair in rule.adds}
    for choice in base.choices.values():
        assert all(option.open or (choice.id, option.id) in concluded for option in choice.options), choice.id
    for name, members in base.members.items():
        assert {member for key, member in added if key == name} == set(members), name
    assert {cite.source for rule in base.rules for cite in rule.cites} == set(base.sources)
    assert all(base.by_stage[stage] for stage in STAGES)


@pytest.mark.parametrize("version", VERSIONS)
def test_must_only_from_a_law_or_a_standard(version):
    base = load_rule_base(version)
    for rule in base.rules:
        kinds = {base.sources[cite.source].kind for cite in rule.cites}
        if rule.word == "must":
            assert kinds & {"law", "standard"}, rule.id


def test_versions_come_into_force_in_order():
    days = [manifest.in_force_from for manifest in versions()]
    assert days == sorted(set(days))
    assert days[0] >= dt.date(2026, 1, 1)
