"""Every decision vector in tests/vectors comes to what it says, and the vectors cover what they should.

A vector in the folder itself is judged by the newest rule set; one in a folder named after a rule set, by that.
"""

import copy
import functools
import json
import pathlib
import re

import pytest
from generated import TODAY, survey_file

from engine.decision.assess import assess
from engine.errors import BadInput
from engine.facts.document import read_document
from engine.rulebase.load import load_rule_base, versions

FOLDER = pathlib.Path(__file__).parent / "vectors"
NEWEST = versions()[-1].version
BY_VERSION = [FOLDER / manifest.version for manifest in versions()]
SETS = ("works", "tests", "notices", "cautions", "causes")
NEEDED = {"id", "teaches", "source", "source_says", "expect"}
OPTIONAL = {"base", "facts", "status", "readings", "fires", "silent", "cites", *SETS}
STATUSES = ("settled", "provisional", "undecided")
NEVER = {("medium", "solvent_liquid")}
"""Options that must never be the decision, so that no vector expects them."""
FEWEST = 60
MARKS = {
    "from_memory": ("(from memory, to be verified against the text)",),
    "secondhand": ("(from memory, to be verified against the text)", "(as reported by another page)"),
}
"""How a source is spoken of that was not seen, or only as somebody else reports it."""

BASES = read_document(FOLDER / "bases.yaml").data


def _read():
    for path in sorted((*FOLDER.glob("*.yaml"), *(path for each in BY_VERSION for path in each.glob("*.yaml")))):
        if path.name != "bases.yaml":
            version = NEWEST if path.parent == FOLDER else path.parent.name
            for vector in read_document(path, list_allowed=True).data:
                yield path.stem, version, vector


ALL = list(_read())
VECTORS = [pytest.param(version, vector, id=vector["id"]) for _, version, vector in ALL]


def merged(under, over):
    """The facts of `over` laid upon those of `under`, section by section; null removes a fact."""
    facts = copy.deepcopy(under)
    for section, fields in over.items():
        held = facts.setdefault(section, {})
        held.update(copy.deepcopy(fields))
        facts[section] = {field: value for field, value in held.items() if value is not None}
    return facts


def facts_of(vector):
    """All facts of a vector or a base: its base's, with its own laid upon them."""
    base = vector.get("base")
    return merged(facts_of(BASES[base]) if base else {}, vector.get("facts", {}))


def survey_of(vector):
    facts = facts_of(vector)
    holder = {"reference": "vector", "survey_date": "2026-06-15", **facts.pop("property", {})}
    return {"form": 1, "property": holder, "walls": [{"id": "W1", **facts}]}


def judged(version, vector):
    return _judged(version, json.dumps(survey_of(vector)))


@functools.cache
def _judged(version, survey):
    return assess(survey_file(json.loads(survey)), load_rule_base(version), TODAY).walls[0]


def wanted_options(expected):
    return expected if isinstance(expected, list) else [expected]


def differences(vector, wall):
    """Where a decision differs from what the vector says, in words; nothing where it agrees."""
    return [
        *_choices(vector, wall),
        *_readings(vector, wall),
        *_rules(vector, wall),
        *_members(vector, wall),
        *_citations(vector, wall),
    ]


def _choices(vector, wall):
    for name, wanted in vector["expect"].items():
        found = wall.choice(name)
        if found.option not in wanted_options(wanted):
            against = {each.option: each for each in found.not_taken}[wanted_options(wanted)[0]]
            yield (
                f"{name}: expected {wanted}, found {found.option} by {', '.join(found.rules) or 'no rule'}; "
                f"{against.option} is {against.why} {', '.join(against.rules)}"
            )
    for name, wanted in vector.get("status", {}).items():
        found = wall.choice(name)
        if found.status != wanted:
            yield f"{name}: expected {wanted}, found {found.status}, open: {', '.join(found.open_facts) or 'nothing'}"


def _readings(vector, wall):
    found = {reading.name: reading.value for reading in wall.readings}
    for name, wanted in vector.get("readings", {}).items():
        value = found.get(f"reading.{name}")
        if value is None or abs(float(value) - wanted) > 1e-6:
            yield f"reading.{name}: expected {wanted}, found {value}"


def _rules(vector, wall):
    held = {rule.id for rule in wall.rules}
    for rule in vector.get("fires", ()):
        if rule not in held:
            yield f"{rule} does not hold and should"
    for rule in vector.get("silent", ()):
        if rule in held:
            yield f"{rule} holds and should not"


def _members(vector, wall):
    for name in SETS:
        found = {item.id: item.rules for item in wall.found(name).items}
        for member in vector.get(name, {}).get("includes", ()):
            if member not in found:
                yield f"{name}: {member} is missing"
        for member in vector.get(name, {}).get("excludes", ()):
            if member in found:
                yield f"{name}: {member} should not be there, put there by {', '.join(found[member])}"


def _citations(vector, wall):
    behind = {*wall.choice("verdict").rules, *vector.get("fires", ())}
    found = {cite.source for rule in wall.rules if rule.id in behind for cite in rule.cites}
    for source in vector.get("cites", ()):
        if source not in found:
            yield f"{source} is not among the sources of {', '.join(sorted(behind))}"


def named_wrongly(vector, base):
    """What a vector names that the rule base does not know, and what it lacks."""
    keys = set(vector)
    yield from (f"lacks {key}" for key in sorted(NEEDED - keys))
    yield from (f"has an unknown key {key}" for key in sorted(keys - NEEDED - OPTIONAL))
    if vector.get("base") not in (None, *BASES):
        yield f"names an unknown base {vector['base']}"
    for name, wanted in vector.get("expect", {}).items():
        options = {option.id for option in base.choices[name].options} if name in base.choices else set()
        yield from (f"expects {name}: {each}, unknown" for each in wanted_options(wanted) if each not in options)
    for name, wanted in vector.get("status", {}).items():
        if name not in base.choices or wanted not in STATUSES:
            yield f"has a status {name}: {wanted}, unknown"
    for name in vector.get("readings", {}):
        if f"reading.{name}" not in base.variables:
            yield f"names an unknown reading {name}"
    ids = {rule.id for rule in base.rules}
    for rule in (*vector.get("fires", ()), *vector.get("silent", ())):
        if rule not in ids:
            yield f"names an unknown rule {rule}"
    for name in SETS:
        for way, members in vector.get(name, {}).items():
            if way not in ("includes", "excludes"):
                yield f"says {way} of {name}, which is neither includes nor excludes"
            yield from (f"names {member}, unknown in {name}" for member in members if member not in base.members[name])
    for source in (vector.get("source"), *vector.get("cites", ())):
        if source not in base.sources:
            yield f"names an unknown source {source}"


@pytest.mark.parametrize(("version", "vector"), VECTORS)
def test_vector(version, vector):
    base = load_rule_base(version)
    faults = list(named_wrongly(vector, base))
    assert not faults, "the vector itself is at fault:\n  " + "\n  ".join(faults)
    try:
        wall = judged(version, vector)
    except BadInput as error:
        pytest.fail(f"the facts are no survey:\n{error}", pytrace=False)
    found = differences(vector, wall)
    if found:
        pytest.fail(
            f"{vector['teaches']}\n{vector['source']}: {vector['source_says']}\n  " + "\n  ".join(found), pytrace=False
        )


def test_ids_are_unique_and_named_after_their_file():
    ids = [vector["id"] for _, _, vector in ALL]
    assert len(ids) == len(set(ids)), sorted({each for each in ids if ids.count(each) > 1})
    for stem, _, vector in ALL:
        assert re.fullmatch(rf"V-{stem}-\d{{3}}", vector["id"])


def test_there_are_enough():
    assert len(ALL) >= FEWEST


@pytest.mark.parametrize(("version", "vector"), VECTORS)
def test_says_what_it_teaches_and_how_sure_its_source_is(version, vector):
    assert re.fullmatch(r"[A-Z].{20,}[^.]\.", vector["teaches"]), "one sentence"
    source = load_rule_base(version).sources[vector["source"]]
    marks = MARKS.get(source.seen)
    assert marks is None or any(mark in vector["source_says"] for mark in marks), f"{source.id} is {source.seen}"


def test_every_option_that_can_be_the_decision_is_expected_somewhere():
    expected = {
        (name, wanted)
        for _, version, vector in ALL
        if version == NEWEST
        for name, wanted in vector["expect"].items()
        if not isinstance(wanted, list)
    }
    base = load_rule_base(NEWEST)
    options = {(choice.id, option.id) for choice in base.choices.values() for option in choice.options}
    assert expected == options - NEVER


def test_every_base_is_a_survey_without_contradictions_and_is_used():
    for name, base in BASES.items():
        assert set(base) <= {"base", "facts"}
        survey_file(survey_of({"id": name, **base}))
    used = {vector.get("base") for _, _, vector in ALL} | {base.get("base") for base in BASES.values()}
    assert set(BASES) <= used


# ---- The runner itself ----

RIGHT = next(vector for _, _, vector in ALL if vector["id"] == "V-medium-001")
WRONG = [
    pytest.param({"expect": {"verdict": "no_course"}}, "verdict: expected no_course, found treat", id="choice"),
    pytest.param({"expect": {"verdict": ["no_course", "specialist"]}}, "verdict: expected", id="choice of several"),
    pytest.param({"status": {"verdict": "provisional"}}, "verdict: expected provisional, found settled", id="status"),
    pytest.param({"readings": {"base_mc_percent": 9.08}}, "expected 9.08, found 9.09", id="reading"),
    pytest.param({"readings": {"treatment_age_years": 3}}, "expected 3, found None", id="reading not there"),
    pytest.param({"fires": ["M-003"]}, "M-003 does not hold and should", id="rule"),
    pytest.param({"silent": ["M-005"]}, "M-005 holds and should not", id="silent rule"),
    pytest.param({"works": {"includes": ["fresh_bed_joint"]}}, "works: fresh_bed_joint is missing", id="includes"),
    pytest.param(
        {"cautions": {"excludes": ["silica_dust"]}}, "cautions: silica_dust should not be there", id="excludes"
    ),
    pytest.param({"cites": ["hsg47"]}, "hsg47 is not among the sources", id="cites"),
]
AT_FAULT = [
    pytest.param({"expect": {"verdict": "tret"}}, "expects verdict: tret, unknown", id="option"),
    pytest.param({"expect": {"verdikt": "treat"}}, "expects verdikt: treat, unknown", id="choice"),
    pytest.param({"status": {"verdict": "sure"}}, "verdict: sure, unknown", id="status"),
    pytest.param({"readings": {"base": 1}}, "unknown reading base", id="reading"),
    pytest.param({"silent": ["M-999"]}, "unknown rule M-999", id="rule"),
    pytest.param({"works": {"include": ["let_dry"]}}, "include of works", id="way"),
    pytest.param({"works": {"includes": ["let_dri"]}}, "let_dri, unknown in works", id="member"),
    pytest.param({"source": "hearsay"}, "unknown source hearsay", id="source"),
    pytest.param({"base": "plain_brik"}, "unknown base plain_brik", id="base"),
    pytest.param({"expects": {}}, "unknown key expects", id="key"),
]


@pytest.fixture(scope="module")
def right_wall():
    return judged(NEWEST, RIGHT)


def bare(change):
    """The right vector with all that it claims taken out, and one claim put in."""
    return {key: value for key, value in RIGHT.items() if key in NEEDED | {"base"}} | {"expect": {}} | change


@pytest.mark.parametrize(("change", "says"), WRONG)
def test_the_runner_finds_a_wrong_vector(right_wall, change, says):
    assert differences(bare({}), right_wall) == []
    [found] = differences(bare(change), right_wall)
    assert says in found


@pytest.mark.parametrize(("change", "says"), AT_FAULT)
def test_the_runner_finds_a_vector_that_names_what_is_not_there(change, says):
    base = load_rule_base(NEWEST)
    assert list(named_wrongly(RIGHT, base)) == []
    [fault] = named_wrongly({**RIGHT, **change}, base)
    assert says in fault


def test_a_change_is_laid_upon_its_base_and_null_removes_a_fact():
    under = {"build": {"voids": "none", "length_m": 3}, "floor": {"kind": "solid"}}
    over = {"build": {"voids": None, "thickness_mm": 225}, "ground": {"level_mm": -300}}
    assert merged(under, over) == {
        "build": {"length_m": 3, "thickness_mm": 225},
        "floor": {"kind": "solid"},
        "ground": {"level_mm": -300},
    }
    assert under["build"]["voids"] == "none"
