"""The form of a version: every fault put into a copy of the rules is found, at its place and in plain words."""

import datetime as dt
import hashlib

import pytest
from seeded_rules import FIRST, Rules, rule_text

from engine.audit.digests import digest_findings, sealed_text
from engine.audit.form import form_findings
from engine.audit.form_cells import Cells
from engine.audit.form_literals import as_written, canonical, literals_in
from engine.errors import BadInput, BadRules
from engine.facts.vocabulary import facts
from engine.inference.truth import Truth
from engine.inference.view import View
from engine.rulebase.conditions import ConditionParser
from engine.rulebase.load import load_rule_base, read_version, rules_folder, versions
from engine.rulebase.sealed import recorded

DAY = dt.date(2026, 11, 25)
WORKS = "rules/works.yaml"


def found(findings, check, subject):
    """The one finding of this check about this subject."""
    several = [each for each in findings if each.check == check and each.subject == subject]
    near = [
        (each.check, each.subject) for each in findings if check in (each.check, each.subject) or each.check == check
    ]
    assert len(several) == 1, (check, subject, near)
    return several[0]


def told(finding, file, place, *words):
    """Check where a finding stands and what it says."""
    assert (finding.at.line, finding.at.column) == place
    assert finding.at.file == f"rules/{FIRST}/{file}"
    for word in words:
        assert word in finding.says
    assert finding.says.endswith(".")
    assert "\n" not in finding.says


# ---- Versions as they are ----


@pytest.mark.parametrize("version", [each.version for each in versions()])
def test_every_version_is_without_errors_of_form(version):
    base, findings, looked = form_findings(version)
    assert base is not None
    assert base.digest == load_rule_base(version).digest
    assert [each for each in findings if each.level == "error"] == []
    checks = {each.check for each in looked}
    assert {each.check for each in findings} <= checks
    assert all(each.group == "form" and each.looked_at for each in looked)


def test_no_rule_of_a_version_repeats_or_reaches_nothing():
    for manifest in versions():
        _, findings, _ = form_findings(manifest.version)
        strict = {"example-not-smallest", "counter-example-form", "member-never-added", "option-never-supported"}
        assert not strict & {each.check for each in findings}


# ---- Faults that keep a version from being read ----


def test_every_fault_of_every_file_is_found_at_once(tmp_path):
    rules = Rules(tmp_path)
    rules.edit_rule(
        "rules/medium.yaml",
        "M-003",
        "decided.old_repellent: present\n  rules",
        "decided.old_repelent: present\n  rules",
    )
    rules.edit_rule(
        "rules/medium.yaml", "M-003", "{medium: [cream, aqueous_liquid]}", "{medium: [creme, aqueous_liquid]}"
    )
    rules.edit_rule(
        WORKS, "W-022", "{works: [repair_leak, let_dry, remeasure]}", "{works: [repair_leek, let_dry, remeasure]}"
    )
    rules.edit_rule(
        WORKS, "W-023", "evidence.rainwater_goods: defective\n  adds", "evidence.rainwater_goods: defektive\n  adds"
    )
    rules.edit_rule(WORKS, "W-021", "source: common_practice", "source: comon_practice")
    rules.edit_rule(WORKS, "W-020", "stage: works", "stage: work")
    rules.append("rules/line.yaml", rule_text("L-901", "reading.ground_fall_mm: {above: 75.5}", stage="line"))
    rules.append("rules/line.yaml", rule_text("L-902", "reading.ground_fall_mm: {above: 99999}", stage="line"))
    rules.append("rules/line.yaml", rule_text("L-903", "reading.ground_fall_mm: {between: [90, 75]}", stage="line"))
    base, findings, looked = form_findings(FIRST, tmp_path)
    assert base is None
    assert "cannot-be-read" in {each.check for each in looked}
    assert "option-never-supported" not in {each.check for each in looked}
    wrong = [each for each in findings if each.check == "cannot-be-read"]
    by_rule = {each.rules[0] if each.rules else each.subject.split()[0]: each for each in wrong}
    assert set(by_rule) == {"M-003", "W-020", "W-021", "W-022", "W-023", "L-901", "L-902", "L-903"}
    assert len(wrong) == 9
    hints = {each.hint for each in wrong}
    assert {"did you mean decided.old_repellent?", "did you mean repair_leak?", "did you mean defective?"} <= hints
    assert {"did you mean common_practice?", "did you mean works?", "did you mean cream?"} <= hints
    told(by_rule["W-022"], WORKS, rules.place(WORKS, "W-022", "[repair_leek"), "repair_leek", "no member of works")
    told(by_rule["W-023"], WORKS, rules.place(WORKS, "W-023", "defektive"), "not a value of evidence.rainwater_goods")
    assert "finer than reading.ground_fall_mm is told apart" in by_rule["L-901"].says
    assert "whole steps of 1" in by_rule["L-901"].allowed
    assert "number from" in by_rule["L-902"].allowed
    assert "an empty range" in by_rule["L-903"].says
    with pytest.raises(BadRules) as error:
        load_rule_base(FIRST, tmp_path)
    assert len(error.value.problems) == 9


def test_a_rule_that_is_half_filled_in_keeps_the_version_from_being_read(tmp_path):
    rules = Rules(tmp_path)
    rules.edit_rule(WORKS, "W-022", "strength: strong", "strength: TODO")
    rules.edit_rule(
        WORKS, "W-023", "title: Gutters, downpipes and gullies are put right", "title: TODO say what it decides"
    )
    rules.append(WORKS, rule_text("W-901", "TODO: TODO"))
    base, findings, _ = form_findings(FIRST, tmp_path)
    assert base is None
    assert {each.check for each in findings if each.level == "error"} == {"not-filled-in"}
    strength = next(each for each in findings if each.rules == ("W-022",))
    told(strength, WORKS, rules.place(WORKS, "W-022", "TODO"), "W-022", "is still to be filled in", "'TODO'")
    assert strength.allowed == "strong, conditional"
    assert {each.rules for each in findings if each.level == "error"} == {("W-022",), ("W-023",), ("W-901",)}
    with pytest.raises(BadRules, match="still to be filled in"):
        load_rule_base(FIRST, tmp_path)


def test_what_is_missing_is_said(tmp_path):
    rules = Rules(tmp_path)
    rules.edit_rule(WORKS, "W-022", "  title: A leak is mended first of all\n", "")
    rules.edit_rule(WORKS, "W-021", "  because: >-\n", "  reason: >-\n")
    block = rules.block(WORKS, "W-023")
    rules.edit(WORKS, block, block[: block.index("    fails:")])
    (tmp_path / FIRST / "tables" / "dose.yaml").unlink()
    base, findings, _ = form_findings(FIRST, tmp_path)
    assert base is None
    says = " ".join(each.says for each in findings)
    assert "title: is missing" in says
    assert "because: is missing" in says
    assert "'reason'" in says
    assert "fails: is missing" in says
    assert any(each.at.file == f"rules/{FIRST}/tables/dose.yaml" and "no such file" in each.says for each in findings)


# ---- Faults of what can be read ----

LOGIC = {
    # id: the condition, what is found: check, level, marker of the place, words
    "W-901": (
        "build.thickness_mm: {below: 50}",
        ("test-never-holds", "error", "50}", ("is below 50 mm can never hold", "from 50 to 2000 mm")),
    ),
    "W-902": (
        "not: {build.thickness_mm: {at_most: 2000}}",
        ("test-never-holds", "error", "2000}", ("not (build.thickness_mm is at most 2000 mm)",)),
    ),
    "W-903": (
        "build.thickness_mm: {at_least: 50}",
        ("test-always-holds", "error", "50}", ("holds of every value it can have",)),
    ),
    "W-904": (
        "evidence.rainwater_goods: [sound, defective]",
        ("test-always-holds", "warning", "[sound", ("sound or defective",)),
    ),
    "W-905": (
        "all:\n  - build.thickness_mm: {at_least: 300}\n  - any:\n      - build.thickness_mm: {below: 200}\n"
        "      - finishes.plaster: lime",
        ("tests-contradict", "error", "200}", ("can never hold together with build.thickness_mm is at least 300 mm",)),
    ),
    "W-906": (
        "build.thickness_mm: {at_least: 300, below: 200}",
        ("tests-contradict", "error", "200}", ("is below 200 mm can never hold together with",)),
    ),
    "W-907": (
        "all:\n  - finishes.plaster: lime\n  - finishes.plaster: [cement_sand, gypsum]",
        ("tests-contradict", "error", "[cement_sand", ("finishes.plaster is lime",)),
    ),
    "W-908": (
        "all:\n  - build.thickness_mm: {at_least: 300}\n  - build.thickness_mm: {above: 215}",
        ("test-adds-nothing", "warning", "215}", ("follows from build.thickness_mm is at least 300 mm already",)),
    ),
    "W-909": (
        "any:\n  - build.thickness_mm: {at_least: 300}\n  - build.thickness_mm: {above: 215}",
        ("test-adds-nothing", "warning", "300}", ("is covered by build.thickness_mm is above 215 mm",)),
    ),
    "W-910": (
        "all:\n  - finishes.plaster: lime\n  - any:\n      - finishes.plaster: [lime, gypsum]\n"
        "      - floor.kind: solid",
        ("test-adds-nothing", "warning", "[lime, gypsum]", ("so that the `any` around it asks nothing",)),
    ),
    "W-911": (
        "any:\n  - finishes.plaster: lime\n  - all:\n      - floor.kind: solid\n"
        "      - all:\n          - floor.kind: solid",
        ("test-adds-nothing", "warning", None, ("floor.kind is solid is asked twice",)),
    ),
    "W-912": (
        "any:\n  - build.thickness_mm: {below: 300}\n  - build.thickness_mm: {at_least: 250}",
        ("test-always-holds", "error", "250}", ("or build.thickness_mm is below 300 mm holds of every value",)),
    ),
    "W-913": (
        "all:\n  - found.causes: none\n  - found.causes: {includes: leak}",
        ("tests-contradict", "error", "leak}", ("found.causes is none",)),
    ),
    "W-915": (
        "all:\n  - floor.kind: unknown\n  - floor.kind: solid",
        ("tests-contradict", "error", None, ("floor.kind is unknown",)),
    ),
    "W-916": (
        "not:\n  any:\n    - build.thickness_mm: {below: 300}\n    - build.thickness_mm: {at_least: 250}",
        ("tests-contradict", "error", "250}", ("not (build.thickness_mm is at least 250 mm)",)),
    ),
}
NO_FAULT = {
    "W-921": "all:\n  - build.thickness_mm: {above: 215}\n  - build.thickness_mm: {below: 330}",
    "W-922": "any: [{salts.scheme: plaster_selection}, {salts.scheme: unknown}]",
    "W-923": "build.thickness_mm: {between: [215, 240]}",
    "W-924": "not: {all: [{ground.retains_earth: known}, {ground.retains_earth: yes}]}",
    "W-925": "all:\n  - found.causes: {includes: leak}\n  - found.causes: {excludes: high_ground}",
    "W-926": "all:\n  - floor.kind: known  # not known, it is false and no longer open\n  - floor.kind: solid",
}


@pytest.fixture(scope="module")
def seeded(tmp_path_factory):
    """One copy with many faults, none of which keeps it from being read, and what is found in it."""
    rules = Rules(tmp_path_factory.mktemp("seeded"))
    for rule_id, (when, _) in LOGIC.items():
        rules.append(WORKS, rule_text(rule_id, when))
    for rule_id, when in NO_FAULT.items():
        rules.append(WORKS, rule_text(rule_id, when))
    rules.append(WORKS, rule_text("W-930", "reading.mc_height_tau: {above: 0.5}"))
    plain = "finishes.plaster: lime"
    rules.append(WORKS, rule_text("W-940", plain, holds="{finishes.plaster: gypsum}"))
    rules.append(WORKS, rule_text("W-941", plain, holds="{finishes.plaster: lime, floor.kind: solid}"))
    rules.append(WORKS, rule_text("W-942", "finishes.plaster: [lime, gypsum]", fails="[{finishes.plaster: gypsum}]"))
    rules.append(
        WORKS, rule_text("W-943", plain, fails="[{finishes.plaster: none, floor.kind: solid}, {floor.knd: solid}]")
    )
    rules.append(WORKS, rule_text("W-944", plain, fails="[{finishes.plaster: lime}]"))
    rules.append(WORKS, rule_text("W-945", plain, holds="{finishes.plaster: lyme}"))
    rules.append(WORKS, rule_text("W-946", plain, holds="{finishs.plaster: lime}"))
    rules.append(WORKS, rule_text("W-949", plain, holds="{found.causes: [[leak]]}"))
    two = "all:\n  - finishes.plaster: lime\n  - build.thickness_mm: {at_least: 300}"
    rules.append(WORKS, rule_text("W-947", two, holds="{finishes.plaster: lime, build.thickness_mm: 330}"))
    rules.append(WORKS, rule_text("W-948", two, holds="{finishes.plaster: lime}"))
    again = "any:\n  - floor.kind: suspended_timber\n  - all: [{floor.kind: solid}, {build.voids: none}]"
    turned = "any:\n  - all: [{build.voids: none}, {floor.kind: solid}]\n  - floor.kind: suspended_timber"
    rules.append(WORKS, rule_text("W-950", again))
    rules.append(WORKS, rule_text("W-951", turned))
    rules.append(WORKS, rule_text("W-952", plain, title="rule W-950, for a test!", because="The REASON of rule W-950"))
    rules.edit(
        "choices.yaml",
        "{id: cream, open:",
        "{id: never, open: no, says: nothing supports it}\n      - {id: cream, open:",
    )
    rules.append("works.yaml", "- id: paint_it\n  says: Paint it.\n")
    (rules.folder / FIRST / "rules" / "work.yaml").write_text("- nothing\n")
    base, findings, _ = form_findings(FIRST, rules.folder)
    assert base is not None
    return rules, findings


@pytest.mark.parametrize("id", LOGIC)
def test_a_fault_of_a_condition_is_found(seeded, id):
    rules, findings = seeded
    check, level, marker, words = LOGIC[id][1]
    own = [each for each in findings if each.rules == (id,) and each.check.startswith("test")]
    assert [each.check for each in own] == [check]
    assert own[0].level == level
    place = (own[0].at.line, own[0].at.column) if marker is None else rules.place(WORKS, id, marker)
    told(own[0], WORKS, place, id, *words)


@pytest.mark.parametrize("id", NO_FAULT)
def test_a_condition_that_says_something_is_left_alone(seeded, id):
    _, findings = seeded
    assert [each.says for each in findings if each.rules == (id,) and each.check.startswith("test")] == []


def test_numbers_have_units_or_are_said_to_have_none(seeded, tmp_path):
    _, findings = seeded
    assert not [each for each in findings if each.check == "number-without-unit"]
    rules = Rules(tmp_path)
    rules.append(WORKS, rule_text("W-930", "reading.mc_height_tau: {above: 0.5}"))
    checks = tmp_path / "checks.yaml"
    text = checks.read_text()
    checks.write_text(text[: text.index("pure_numbers")])
    _, findings, _ = form_findings(FIRST, tmp_path)
    finding = found(findings, "number-without-unit", "W-930 reading.mc_height_tau")
    told(finding, WORKS, rules.place(WORKS, "W-930", "0.5}"), "no unit")
    assert "pure_numbers" in finding.hint


EXAMPLES = [
    ("W-940", "example-does-not-hold", "", "{finishes.plaster: gypsum}", "does not hold on its own example"),
    ("W-941", "example-not-smallest", "floor.kind", "floor.kind:", "holds without floor.kind"),
    ("W-942", "counter-example-holds", "finishes.plaster: gypsum", "{finishes.plaster: gypsum}", "holds with"),
    ("W-943", "example-value", "floor.knd", "floor.knd:", "which is no variable"),
    ("W-944", "counter-example-form", "finishes.plaster: lime", "[{finishes", "is the example itself"),
    ("W-945", "example-value", "finishes.plaster", "lyme", "lyme is not a value of finishes.plaster"),
    ("W-949", "example-value", "found.causes", "[[leak]]", "is not a value of found.causes"),
    ("W-946", "example-value", "finishs.plaster", "finishs", "names finishs.plaster, which is no variable"),
    ("W-947", "no-counter-example", "build.thickness_mm", "build.thickness_mm: 330", "no counter-example changes"),
    ("W-948", "example-does-not-hold", "", "{finishes.plaster: lime}", "a fact that it needs is not among them"),
]
HINTS = {
    ("W-943", "floor.knd"): "did you mean floor.kind?",
    ("W-945", "finishes.plaster"): "did you mean lime?",
    ("W-946", "finishs.plaster"): "did you mean finishes.plaster?",
    ("W-947", "build.thickness_mm"): "add to `fails`: {build.thickness_mm: 299}",
    ("W-941", "floor.kind"): "leave it out of `holds`",
}


@pytest.mark.parametrize(("id", "check", "more", "marker", "says"), EXAMPLES)
def test_a_fault_of_an_example_is_found(seeded, id, check, more, marker, says):
    rules, findings = seeded
    finding = found(findings, check, f"{id} {more}".strip())
    line, column = rules.place(WORKS, id, marker)
    told(finding, WORKS, (line, column + marker.startswith("[{")), says)
    assert finding.level == ("warning" if check == "no-counter-example" else "error")
    if (id, more) in HINTS:
        assert finding.hint == HINTS[id, more]


def test_a_counter_example_changes_one_value_of_the_example(tmp_path):
    rules = Rules(tmp_path)
    fails = "[{finishes.plaster: none, floor.kind: solid}, {floor.kind: solid}]"
    rules.append(WORKS, rule_text("W-901", "finishes.plaster: lime", fails=fails))
    _, findings, _ = form_findings(FIRST, tmp_path)
    two = found(findings, "counter-example-form", "W-901 finishes.plaster: none; floor.kind: solid")
    told(two, WORKS, rules.place(WORKS, "W-901", "{finishes.plaster: none"), "changes 2 values")
    other = found(findings, "counter-example-form", "W-901 floor.kind: solid")
    told(other, WORKS, rules.place(WORKS, "W-901", "{floor.kind: solid}"), "which is not in its example")


def test_rules_that_repeat_another_are_found(seeded):
    rules, findings = seeded
    same = found(findings, "same-rule", "W-950 W-951")
    told(
        same,
        WORKS,
        (rules.place(WORKS, "W-951", "any:")[0], same.at.column),
        "the condition and the conclusions of W-950",
    )
    assert same.level == "error"
    title = found(findings, "same-title", "W-950 W-952")
    told(title, WORKS, rules.place(WORKS, "W-952", "rule W-950, for"), "W-952 has the title of W-950")
    reason = found(findings, "same-reason", "W-950 W-952")
    told(reason, WORKS, rules.place(WORKS, "W-952", "The REASON"), "W-952 has the reason of W-950")


def test_what_no_rule_reaches_is_found(seeded):
    rules, findings = seeded
    option = found(findings, "option-never-supported", "medium=never")
    line = rules.path("choices.yaml").read_text().split("{id: never")[0].count("\n") + 1
    told(option, "choices.yaml", (line, option.at.column), "is not open and no rule supports it")
    assert option.level == "error"
    member = found(findings, "member-never-added", "works=paint_it")
    told(member, "works.yaml", rules.place("works.yaml", "paint_it", "id: paint_it"), "No rule adds paint_it to works")
    unread = found(findings, "file-not-read", f"rules/{FIRST}/rules/work.yaml")
    assert "Nothing reads rules/work.yaml" in unread.says
    assert "accepted.yaml" in unread.allowed


def test_a_stage_without_rules_is_found(tmp_path):
    rules = Rules(tmp_path)
    for name in ("accepted.yaml", "properties.yaml"):
        (tmp_path / FIRST / name).unlink(missing_ok=True)
    rules.path("rules/cautions.yaml").write_text("[]\n")
    base, findings, _ = form_findings(FIRST, tmp_path)
    if base is None:  # an empty list is no rules to read
        assert any(each.at.file.endswith("cautions.yaml") for each in findings)
    else:
        assert found(findings, "stage-without-rules", "cautions").level == "error"


# ---- Ids over versions ----


def test_an_id_is_never_reused(tmp_path):
    rules = Rules(tmp_path)
    rules.add_version("2026.2", "2026-06-01")
    rules.add_version("2026.3", "2026-09-01")
    rules.edit(WORKS, rules.block(WORKS, "W-021", "2026.2"), "", "2026.2")
    rules.edit_rule(WORKS, "W-022", "{works: [repair_leak, let_dry, remeasure]}", "{works: [lower_ground]}", "2026.3")
    block = rules.block(WORKS, "W-023", "2026.3")
    rules.edit(WORKS, block, "", "2026.3")
    rules.append("rules/cautions.yaml", block.replace("stage: works", "stage: cautions"), "2026.3")
    _, findings, _ = form_findings("2026.3", tmp_path)
    again = found(findings, "id-reused", "W-021")
    assert again.at.file == f"rules/2026.3/{WORKS}"
    assert (again.at.line, again.at.column) == rules.place(WORKS, "W-021", "W-021", "2026.3")
    assert "stood in 2026.1, was withdrawn in 2026.2, and stands again" in again.says
    other = found(findings, "id-is-another-rule", "W-022")
    assert "concludes nothing that it concluded in 2026.2" in other.says
    assert f"rules/2026.2/{WORKS}:" in other.says
    staged = found(findings, "id-is-another-rule", "W-023")
    assert "is of stage cautions, and of works in 2026.2" in staged.says
    assert all(each.level == "error" and "rules new" in each.hint for each in (again, other, staged))
    _, findings, _ = form_findings("2026.1", tmp_path)
    assert not [each for each in findings if each.check.startswith("id-")]


def test_an_id_may_change_what_it_says_and_part_of_what_it_concludes(tmp_path):
    rules = Rules(tmp_path)
    rules.add_version("2026.2", "2026-06-01")
    rules.edit_rule(WORKS, "W-022", "{works: [repair_leak, let_dry, remeasure]}", "{works: [let_dry]}", "2026.2")
    rules.edit_rule(WORKS, "W-022", "title: A leak is mended first of all", "title: Something else", "2026.2")
    _, findings, _ = form_findings("2026.2", tmp_path)
    assert not [each for each in findings if each.check.startswith("id-")]


# ---- Versions ----


def test_versions_come_one_after_the_other(tmp_path):
    rules = Rules(tmp_path)
    rules.add_version("2026.10", "2026-06-01")
    rules.add_version("2026.9", "2026-09-01")
    rules.add_version("2027.1", "2026-09-01")
    (tmp_path / "2027.1").rename(tmp_path / "2027.01")
    _, findings, _ = form_findings(FIRST, tmp_path)
    order = found(findings, "version-order", "2026.9")
    assert "2026.9 comes into force after 2026.10 and has no higher number" in order.says
    same = found(findings, "version-same-day", "2027.01")
    assert "in force from the same day, 2026-09-01" in same.says
    named = found(findings, "version-misnamed", "2027.01")
    assert named.at.file == "rules/2027.01/manifest.yaml"
    assert {each.level for each in (order, same, named)} == {"error"}


def test_every_manifest_that_cannot_be_read_is_found(tmp_path):
    rules = Rules(tmp_path)
    rules.add_version("2026.2", "2026-06-01")
    rules.add_version("2026.3", "2026-07-01")
    rules.edit("manifest.yaml", "in_force_from: '2026-06-01'", "in_force_from: '2026-06-31'", "2026.2")
    rules.edit("manifest.yaml", "summary:", "summery:", "2026.3")
    with pytest.raises(BadRules) as error:
        versions(tmp_path)
    assert {problem.file for problem in error.value.problems} == {
        "rules/2026.2/manifest.yaml",
        "rules/2026.3/manifest.yaml",
    }
    base, findings, _ = form_findings("2026.2", tmp_path)
    assert base is None
    subjects = [(each.check, each.subject) for each in findings]
    assert len(subjects) == len(set(subjects))
    assert ("cannot-be-read", "rules/2026.2/manifest.yaml in_force_from") in subjects
    assert ("cannot-be-read", "rules/2026.3/manifest.yaml summery") in subjects


# ---- Digests ----


@pytest.mark.parametrize("manifest", versions(), ids=lambda each: each.version)
def test_a_version_that_is_sealed_is_what_it_was(manifest):
    sealed = recorded().get(manifest.version)
    if sealed is not None:
        assert load_rule_base(manifest.version).digest == sealed.sealed.digest
    findings, _ = digest_findings(read_version(manifest.version), sealed.sealed.recorded_on if sealed else DAY)
    assert [each for each in findings if each.check != "digest-not-recorded"] == []


def test_the_first_version_is_sealed():
    assert recorded()[FIRST].sealed.digest == "8a43f042d07ff3fb34becdcc47a17552ca6d4451f062fd7cb4bcfa1536a116eb"


def test_a_version_in_force_that_changed_is_found(tmp_path):
    rules = Rules(tmp_path)
    digests = lambda: digest_findings(read_version(FIRST, tmp_path), DAY, tmp_path)[0]  # noqa: E731
    assert digests() == []
    rules.path("accepted.yaml").write_text("- {check: a, subject: b, because: it is not part of the version}\n")
    rules.path("properties.yaml").write_text("- {}\n")
    rules.append(WORKS, "# a comment changes nothing\n")
    assert digests() == []
    rules.edit_rule(WORKS, "W-022", "certainty: high", "certainty: moderate")
    (finding,) = digests()
    assert (finding.check, finding.subject, finding.level) == ("digest-differs", FIRST, "error")
    assert (finding.at.file, finding.at.line) == ("rules/digests.yaml", 3)
    assert "8a43f042d07f" in finding.says
    assert "new version" in finding.hint


def test_a_version_in_force_is_sealed_and_one_to_come_need_not_be(tmp_path):
    rules = Rules(tmp_path)
    rules.add_version("2026.2", "2026-06-01")
    rules.edit_rule(WORKS, "W-022", "certainty: high", "certainty: moderate", "2026.2")
    before = digest_findings(read_version("2026.2", tmp_path), dt.date(2026, 5, 31), tmp_path)[0]
    assert before == []
    (finding,) = digest_findings(read_version("2026.2", tmp_path), dt.date(2026, 6, 1), tmp_path)[0]
    assert finding.check == "digest-not-recorded"
    assert finding.hint == "bedjoint rules seal 2026.2"
    text = sealed_text("2026.2", dt.date(2026, 6, 1), tmp_path)
    assert text.startswith((tmp_path / "digests.yaml").read_text())
    (tmp_path / "digests.yaml").write_text(text)
    assert digest_findings(read_version("2026.2", tmp_path), dt.date(2026, 6, 1), tmp_path)[0] == []
    assert recorded(tmp_path)["2026.2"].sealed.recorded_on == dt.date(2026, 6, 1)
    with pytest.raises(BadInput, match="never recorded again"):
        sealed_text("2026.2", dt.date(2026, 6, 2), tmp_path)


def test_a_seal_without_a_version_and_a_faulty_file_are_found(tmp_path):
    Rules(tmp_path)
    path = tmp_path / "digests.yaml"
    good = path.read_text()
    digest = hashlib.sha256(b"x").hexdigest()
    path.write_text(f"{good}- {{version: '2026.7', digest: {digest}, recorded_on: '2026-02-01'}}\n")
    (finding,) = digest_findings(read_version(FIRST, tmp_path), DAY, tmp_path)[0]
    assert (finding.check, finding.subject) == ("digest-without-version", "2026.7")
    path.write_text(f"{good}- {{version: '2026.1', digest: abc, recorded_on: never}}\n- {{version: '2026.1'}}\n")
    findings, _ = digest_findings(read_version(FIRST, tmp_path), DAY, tmp_path)
    assert {each.check for each in findings} == {"cannot-be-read"}
    assert len(findings) == 4
    with pytest.raises(BadInput, match="no such version"):
        sealed_text("2026.7", DAY, rules_folder())


# ---- Conditions as written ----


def test_every_test_of_every_rule_has_its_place_and_its_truth():
    """The condition laid out with its places means what the compiled one means."""
    base = load_rule_base(FIRST)
    for rule in base.rules:
        node = as_written(rule.raw.when, rule.when)
        assert [each.test for each in literals_in(node)] == list(rule.tests)
        for asked in literals_in(node):
            raw = rule.raw.when
            for step in asked.path:
                raw = raw[step]
            assert raw is not None


def test_conditions_that_differ_only_in_layout_are_one():
    def laid_out(raw):
        def report(*problem):
            raise AssertionError(problem)

        return canonical(as_written(raw, ConditionParser(facts(), report).parse(raw, ())))

    one = {"all": [{"floor.kind": "solid"}, {"build.thickness_mm": {"between": [215, 240]}}]}
    other = {"build.thickness_mm": {"at_most": 240, "at_least": 215}, "floor.kind": ["solid"]}
    assert laid_out(one) == laid_out(other)
    assert laid_out({"not": one}) == laid_out({"any": [{"not": {part: other[part]}} for part in other]})
    assert laid_out({"floor.kind": {"is_not": "solid"}}) == laid_out({"not": {"floor.kind": "solid"}})
    assert laid_out({"any": [one, other]}) != laid_out({"floor.kind": "solid"})


def test_cells_agree_with_the_evaluator():
    """In every cell a test has the truth that the evaluator gives it there."""
    for rule in load_rule_base(FIRST).rules[::7]:
        for asked in literals_in(as_written(rule.raw.when, rule.when)):
            if asked.test.scope != "fact":
                continue
            cells = Cells(asked.test.variable, [asked.test])
            unknown = View({}).of_test(asked.test)
            truth = unknown.negated if asked.negated else unknown
            assert truth in cells.of(asked)
            assert not cells.never((Truth.TRUE, *cells.of(asked)))
