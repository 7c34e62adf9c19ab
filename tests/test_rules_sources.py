"""The sources of a version: what is superseded, withdrawn, stale or unseen is found, and what rests on it."""

import datetime as dt

import pytest
from seeded_rules import FIRST, Rules, rule_text

from engine.audit.form import form_findings
from engine.audit.form_settings import read_settings
from engine.audit.sources import source_findings
from engine.audit.sources_cited import bearing_sources, citing_in
from engine.audit.sources_sides import told_apart
from engine.errors import BadRules
from engine.rulebase.load import load_rule_base, read_version, versions

DAY = dt.date(2026, 11, 25)
SOURCES = "sources.yaml"
WORKS = "rules/works.yaml"
PLAIN = "finishes.plaster: lime"

SOURCE = """
- id: {id}
  short: {id} short
  title: The title of {id}
  kind: {kind}
  seen: {seen}
{more}"""


def source_text(id, kind="standard", seen="seen", **more):
    return SOURCE.format(
        id=id, kind=kind, seen=seen, more="".join(f"  {key}: {value}\n" for key, value in more.items())
    )


def found(findings, check, subject):
    several = [each for each in findings if each.check == check and each.subject == subject]
    assert len(several) == 1, (check, subject, [(each.check, each.subject) for each in findings])
    assert several[0].group == "sources"
    assert several[0].says.endswith(".")
    return several[0]


def at(finding):
    return finding.at.line, finding.at.column


def rests_on(rules, number, source, **other):
    """A rule whose basis is a standard, resting on one source."""
    rules.append(WORKS, rule_text(f"W-{number}", PLAIN, source=source, basis="standard", **other))


@pytest.fixture(scope="module")
def seeded(tmp_path_factory):
    rules = Rules(tmp_path_factory.mktemp("sources"))
    sources = {
        "good_one": {"edition": "'2020'", "checked_on": "'2026-01-01'"},
        "withdrawn_one": {"edition": "'2020'", "withdrawn": "yes"},
        "withdrawn_other": {"edition": "'2020'", "withdrawn": "yes"},
        "later_one": {"edition": "'2024'", "checked_on": "'2026-01-01'"},
        "earlier_one": {"edition": "'2004'", "superseded_by": "later_one", "checked_on": "'2026-01-01'"},
        "earlier_other": {"edition": "'2003'", "superseded_by": "later_one", "checked_on": "'2026-01-01'"},
        "misnamed": {"edition": "'2003'", "superseded_by": "latr_one", "checked_on": "'2026-01-01'"},
        "in_words": {"edition": "'2003'", "superseded_by": "the code of 2019", "checked_on": "'2026-01-01'"},
        "by_itself": {"edition": "'2003'", "superseded_by": "by_itself", "checked_on": "'2026-01-01'"},
        "no_edition": {"checked_on": "'2026-01-01'"},
        "no_day": {"edition": "'2003'"},
        "future_one": {"edition": "'2003'", "checked_on": "'2026-12-24'"},
        "recalled_one": {"seen": "from_memory", "edition": "'2003'"},
        "nobody_cites": {"edition": "'2003'", "checked_on": "'2026-01-01'"},
    }
    for name, more in sources.items():
        rules.append(SOURCES, source_text(name, **more))
    rests_on(rules, 901, "good_one")
    rests_on(rules, 902, "withdrawn_one")
    rules.append(WORKS, rule_text("W-903", PLAIN, source="withdrawn_other", basis="judgement"))
    rests_on(rules, 904, "earlier_one")
    both = "{source: earlier_other, says: the old}\n    - {source: later_one, says: the new}\n    - {source: good_one"
    rests_on(rules, 905, "good_one")
    rules.edit_rule(WORKS, "W-905", "{source: good_one", both)
    for number, name in enumerate(("misnamed", "in_words", "by_itself", "no_edition", "no_day", "future_one"), 906):
        rests_on(rules, number, name)
    rests_on(rules, 920, "recalled_one")
    rests_on(rules, 921, "recalled_one", more="  weak_basis_because: It is the law, whoever has read it.\n")
    rests_on(rules, 922, "good_one", more="  weak_basis_because: There is no need of this.\n")
    rests_on(rules, 923, "recalled_one", more="  limits: None.\n")
    rules.edit_rule(WORKS, "W-923", "strength: strong", "strength: conditional")
    rests_on(rules, 924, "recalled_one")
    rules.edit_rule(
        WORKS, "W-924", "{source: recalled_one", "{source: good_one, says: seen}\n    - {source: recalled_one"
    )
    read = read_version(FIRST, rules.folder)
    assert read.base is not None, read.problems
    findings, looked = source_findings(read, DAY, rules.folder)
    assert {each.check for each in findings} <= {each.check for each in looked}
    return rules, findings


def test_a_good_source_is_left_alone(seeded):
    _, findings = seeded
    assert [each for each in findings if each.subject in ("good_one", "later_one", "W-901")] == []


def test_a_withdrawn_source_fails_where_it_is_the_basis(seeded):
    rules, findings = seeded
    basis = found(findings, "source-withdrawn", "withdrawn_one")
    assert (basis.level, basis.rules) == ("error", ("W-902",))
    assert "is withdrawn, and is the basis of W-902" in basis.says
    assert at(basis) == rules.place(SOURCES, "withdrawn_one", "yes")
    cited = found(findings, "source-withdrawn", "withdrawn_other")
    assert (cited.level, cited.rules) == ("warning", ("W-903",))


def test_a_superseded_source_warns_unless_the_later_one_is_cited_too(seeded):
    rules, findings = seeded
    alone = found(findings, "source-superseded", "earlier_one")
    assert alone.level == "warning"
    assert "superseded by later_one short, and W-904 cites only the earlier" in alone.says
    assert at(alone) == rules.place(SOURCES, "earlier_one", "later_one")
    both = found(findings, "source-superseded", "earlier_other")
    assert both.level == "note"
    assert "cites both" in both.says


def test_what_supersedes_is_a_source_or_is_said_in_words(seeded):
    rules, findings = seeded
    wrong = found(findings, "superseded-by", "misnamed")
    assert (wrong.level, wrong.hint) == ("error", "did you mean later_one?")
    assert "latr_one, which is no source of the file" in wrong.says
    assert at(wrong) == rules.place(SOURCES, "misnamed", "latr_one")
    assert found(findings, "superseded-by", "by_itself").level == "error"
    assert not [each for each in findings if (each.check, each.subject) == ("superseded-by", "in_words")]
    assert "superseded by the code of 2019" in found(findings, "source-superseded", "in_words").says


def test_days_and_editions_that_are_missing_or_wrong_are_found(seeded):
    rules, findings = seeded
    assert found(findings, "source-without-edition", "no_edition").level == "warning"
    undated = found(findings, "source-not-checked", "no_day")
    assert (undated.level, at(undated)) == ("note", rules.place(SOURCES, "no_day", "seen\n"))
    later = found(findings, "source-checked-later", "future_one")
    assert "confirmed on 2026-12-24, which is after 2026-11-25" in later.says
    assert not [each for each in findings if (each.check, each.subject) == ("source-not-checked", "recalled_one")]


def test_a_source_nobody_cites_is_found(seeded):
    rules, findings = seeded
    finding = found(findings, "source-not-cited", "nobody_cites")
    assert finding.level == "warning"
    assert at(finding) == rules.place(SOURCES, "nobody_cites", "nobody_cites\n  short")


def test_a_must_rests_on_what_was_seen_and_is_in_force(seeded):
    rules, findings = seeded
    weak = found(findings, "must-on-weak-basis", "W-920")
    assert (weak.level, weak.rules) == ("error", ("W-920",))
    assert "W-920 says must, and recalled_one short is recalled and was not seen" in weak.says
    assert at(weak) == rules.place(WORKS, "W-920", "- {source")
    assert "weak_basis_because" in weak.hint
    rules_found = {each.subject for each in findings if each.check == "must-on-weak-basis"}
    assert {"W-902", "W-904", "W-920"} <= rules_found
    assert rules_found.isdisjoint({"W-901", "W-921", "W-922", "W-923", "W-924", "W-905"})
    idle = found(findings, "weak-basis-reason-idle", "W-922")
    assert (idle.level, at(idle)) == ("warning", rules.place(WORKS, "W-922", "weak_basis_because"))
    assert {each.subject for each in findings if each.check == "weak-basis-reason-idle"} == {"W-922"}


def test_a_source_is_stale_after_as_long_as_the_settings_say():
    read = read_version(FIRST)
    limits = read_settings().stale_after
    for source in read.sources.values():
        if source.checked_on is None or source.kind not in limits:
            continue
        last = source.checked_on + dt.timedelta(limits[source.kind].days)
        for day, stale in ((last, False), (last + dt.timedelta(1), True)):
            findings, _ = source_findings(read, day)
            subjects = {each.subject for each in findings if each.check == "source-stale"}
            assert (source.id in subjects) is stale, source.id
        break
    findings, _ = source_findings(read, dt.date(2040, 1, 1))
    stale = [each for each in findings if each.check == "source-stale"]
    assert {each.subject for each in stale} == {name for name, each in read.sources.items() if each.checked_on}
    assert all(each.level == "warning" and "rules/checks.yaml" in each.allowed for each in stale)
    assert all(limits[read.sources[each.subject].kind].because in each.says for each in stale)


def test_the_same_day_gives_the_same_findings():
    read = read_version(FIRST)
    assert source_findings(read, DAY) == source_findings(read, DAY)


def test_faulty_settings_are_found(tmp_path):
    rules = Rules(tmp_path)
    (tmp_path / "checks.yaml").write_text("stale_after:\n  - {kind: lore, days: none, because: so}\n")
    with pytest.raises(BadRules):
        read_settings(tmp_path)
    for findings in (
        form_findings(FIRST, tmp_path)[1],
        source_findings(read_version(FIRST, tmp_path), DAY, tmp_path)[0],
    ):
        wrong = [each for each in findings if each.check == "cannot-be-read"]
        assert {(each.at.file, each.at.line) for each in wrong} == {("rules/checks.yaml", 2)}
        assert any("law" in each.allowed for each in wrong)
    assert rules.version == FIRST


@pytest.mark.parametrize("version", [each.version for each in versions()])
def test_every_kind_that_can_go_stale_has_a_limit(version):
    kinds = {source.kind for source in load_rule_base(version).sources.values() if source.checked_on}
    assert kinds <= set(read_settings().stale_after)


# ---- Where sources disagree ----


def sides(rules, number, when, follows, against):
    more = f"  follows: {follows}\n  against: [{against}]\n"
    rules.append(WORKS, rule_text(f"W-{number}", when, source=follows, basis="standard", more=more))
    rules.edit_rule(WORKS, f"W-{number}", "  basis: ", f"    - {{source: {against}, says: otherwise}}\n  basis: ")


def test_rules_that_follow_opposite_sides_are_both_named(tmp_path):
    rules = Rules(tmp_path)
    for name in ("one_side", "other_side", "third_side", "fourth_side"):
        rules.append(SOURCES, source_text(name, edition="'2020'", checked_on="'2026-01-01'"))
    sides(rules, 901, "finishes.plaster: lime", "one_side", "other_side")
    sides(rules, 902, "floor.kind: solid", "other_side", "one_side")
    sides(rules, 903, "salts.scheme: plaster_selection", "third_side", "fourth_side")
    sides(rules, 904, "all: [{salts.scheme: stone_conservation}, {floor.kind: solid}]", "fourth_side", "third_side")
    sides(rules, 905, "floor.kind: solid", "third_side", "one_side")
    read = read_version(FIRST, tmp_path)
    assert read.base is not None, read.problems
    findings, _ = source_findings(read, DAY, tmp_path)
    clash = found(findings, "opposite-sides", "one_side other_side")
    assert (clash.level, clash.rules) == ("warning", ("W-901", "W-902"))
    assert "W-901 follows one_side short against other_side short" in clash.says
    assert "W-902 follows other_side short against one_side short, both on works" in clash.says
    assert at(clash) == rules.place(WORKS, "W-902", "other_side\n")
    apart = found(findings, "opposite-sides", "fourth_side third_side")
    assert apart.level == "note"
    assert "they never hold on one wall, since salts.scheme tells them apart" in apart.says
    mine = {"one_side other_side", "fourth_side third_side"}
    assert {each.subject for each in findings if each.check == "opposite-sides" and "side" in each.subject} == mine
    assert told_apart(read.base.by_id["W-901"], read.base.by_id["W-902"]) == ""


def test_what_bears_a_basis_is_of_its_kind_and_not_set_aside():
    read = read_version(FIRST)
    citing = citing_in(read)
    for rule in read.rules:
        bearing = [source.id for source in bearing_sources(rule, read.sources)]
        assert set(bearing).isdisjoint(rule.raw.against)
        assert set(bearing) <= {cite.source for cite in rule.cites}
        assert bearing or rule.raw.basis == "judgement" or rule.raw.against
        for name in bearing:
            assert rule.id in citing[name].as_basis
            assert rule.id in citing[name].followed
    tables = {name for each in citing.values() for name in each.tables}
    assert "tables/dose.yaml" in tables


# ---- The first version, which can no longer be changed ----


def test_what_is_known_of_the_first_version():
    findings, _ = source_findings(read_version(FIRST), DAY)
    weak = {each.subject for each in findings if each.level == "error"}
    assert weak == {"C-001", "C-002", "C-003", "C-007", "C-013", "W-015", "W-016"}
    superseded = {each.subject: each.rules for each in findings if each.check == "source-superseded"}
    assert set(superseded) == {"wta_2_6_99", "wta_4_4_04"}
