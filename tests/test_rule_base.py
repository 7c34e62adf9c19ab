"""Every version of the rule base loads; every rule holds on its example and on nothing near it."""

import datetime as dt

import pytest

from engine.inference.truth import Truth
from engine.inference.view import View
from engine.rulebase.examples import example_values
from engine.rulebase.load import load_rule_base, versions
from engine.rulebase.model import STAGES

BASES = {manifest.version: load_rule_base(manifest.version) for manifest in versions()}
RULES = [pytest.param(base, rule, id=f"{version}:{rule.id}") for version, base in BASES.items() for rule in base.rules]


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


@pytest.mark.parametrize(("base", "rule"), RULES)
def test_holds_on_its_example(base, rule):
    assert holds(base, rule, rule.examples.holds)


@pytest.mark.parametrize(("base", "rule"), RULES)
def test_example_is_the_smallest(base, rule):
    for name in rule.examples.holds:
        fewer = {key: value for key, value in rule.examples.holds.items() if key != name}
        if rule.examples.holds[name] == "unknown":
            continue  # left out is unknown too
        assert not holds(base, rule, fewer), f"{rule.id} holds without {name}"


@pytest.mark.parametrize(("base", "rule"), RULES)
def test_does_not_hold_on_the_nearest_facts(base, rule):
    for change in rule.examples.fails:
        assert len(change) == 1, f"{rule.id}: a counter-example changes one value"
        name = next(iter(change))
        assert name in rule.examples.holds, f"{rule.id}: {name} is not in its example"
        assert rule.examples.holds[name] != change[name]
        assert not holds(base, rule, {**rule.examples.holds, **change}), f"{rule.id} holds with {change}"


@pytest.mark.parametrize(("version", "base"), BASES.items())
def test_every_choice_can_be_decided_and_every_option_reached(version, base):
    for choice in base.choices.values():
        concluded = {option for r in base.rules for key, option in r.supports if key == choice.id}
        for option in choice.options:
            assert option.open or option.id in concluded, f"nothing supports {choice.id}={option.id}"


@pytest.mark.parametrize(("version", "base"), BASES.items())
def test_every_member_and_source_is_used(version, base):
    added = {pair for rule in base.rules for pair in rule.adds}
    for name, members in base.members.items():
        assert {member for key, member in added if key == name} == set(members), name
    cited = {cite.source for rule in base.rules for cite in rule.cites}
    assert cited == set(base.sources)


@pytest.mark.parametrize(("version", "base"), BASES.items())
def test_must_only_from_a_law_or_a_standard(version, base):
    for rule in base.rules:
        kinds = {base.sources[cite.source].kind for cite in rule.cites}
        if rule.word == "must":
            assert kinds & {"law", "standard"}, rule.id


def test_versions_come_into_force_in_order():
    days = [manifest.in_force_from for manifest in versions()]
    assert days == sorted(set(days))
    assert days[0] >= dt.date(2026, 1, 1)


def test_every_stage_has_rules():
    for base in BASES.values():
        assert all(base.by_stage[stage] for stage in STAGES)
