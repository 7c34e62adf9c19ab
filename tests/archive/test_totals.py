"""Totals: against counting wall by wall in plain Python, against cases counted by hand, and that they add up."""

import datetime as dt
from collections import Counter

import polars as pl
import pytest

from engine.archive.totals import totals
from engine.archive.totals_model import FileTaken, Rejected, Totals
from engine.errors import BedjointError
from tests.page.made_archive import BASES, results, run_facts

GRADES = ("must", "should", "consider")
KINDS = (*GRADES, "agree", "not_decidable", "not_recorded")


@pytest.fixture(scope="module")
def frame():
    return results()


@pytest.fixture(scope="module")
def found(frame):
    return totals(frame.lazy(), run_facts(frame), BASES)


@pytest.fixture(scope="module")
def rows(frame):
    return frame.to_dicts()


def counted(findings):
    return Counter({kind: getattr(findings, kind) for kind in KINDS if getattr(findings, kind)})


def test_rows_add_up(found, frame):
    assert found.rows == found.decided + found.rejected + found.repeated == frame.height + 5 + 1
    for each in found.files:
        assert each.rows == each.decided + each.rejected + each.repeated
    assert found.decided == found.settled + found.provisional + found.undecided
    assert sum(each.rows for each in found.rejected_for) == found.rejected


def test_worst_findings_are_those_of_the_walls(found, rows):
    assert counted(found.walls) == Counter(row["worst"] for row in rows)
    assert found.walls.walls == len(rows)
    differ = sum(row["worst"] in GRADES for row in rows)
    assert found.walls.differs.part == differ
    assert found.walls.differs.whole == differ + sum(row["worst"] == "agree" for row in rows)


def test_every_choice_is_counted_by_finding_and_grade(found, rows):
    assert [each.choice for each in found.choices] == list(BASES["2026.2"].choices)
    for name, findings in [(c.choice, c.findings) for c in found.choices] + [("installed", found.installed.findings)]:
        told = Counter(row[f"grade.{name}"] or row[f"finding.{name}"] for row in rows)
        assert counted(findings) == told, name
        assert findings.walls == len(rows)


@pytest.mark.parametrize("group", ["years", "surveyors", "constructions"])
def test_groups_hold_every_wall_once(found, rows, group):
    key = {
        "years": lambda row: str(row["survey_date"].year),
        "surveyors": lambda row: row["surveyor"],
        "constructions": lambda row: row["build.construction"],
    }[group]
    told = {each.name: counted(each.findings) for each in getattr(found, group)}
    expected = {}
    for row in rows:
        expected.setdefault(key(row), Counter())[row["worst"]] += 1
    assert told == expected


def strongest(row, name, member):
    """The strongest word of the rules that hold on a wall and add a member."""
    base = BASES[row["rules"]]
    words = [
        rule.word
        for place, rule in enumerate(base.rules)
        if row[f"fired.{place // 64}"] >> place % 64 & 1 and (name, member) in rule.adds
    ]
    return min(words, key=GRADES.index)


def test_members_left_out_are_counted_by_the_rules_that_ask_for_them(found, rows):
    some = 0
    for each in found.sets:
        expected = {}
        for row in rows:
            for member in row[f"left_out.{each.set}"]:
                expected.setdefault(member, Counter())[strongest(row, each.set, member)] += 1
        told = {m.member: Counter({g: getattr(m, g) for g in GRADES if getattr(m, g)}) for m in each.left_out}
        assert told == expected
        some += len(told)
        recorded = [row for row in rows if row[f"recommended.{each.set}"] is not None]
        assert each.recorded == len(recorded)
        assert each.recorded + each.not_recorded == len(rows)
        assert each.complete == sum(not row[f"left_out.{each.set}"] for row in recorded)
        assert each.beyond == sum(bool(row[f"beyond.{each.set}"]) for row in rows)
        for member in each.left_out:
            assert member.of_recorded.whole == each.recorded
            assert member.walls == sum((member.must, member.should, member.consider))
    assert some > 20


def test_a_rule_broken_twice_on_a_wall_counts_once(found, rows):
    expected = Counter()
    for row in rows:
        against = {rule for name, told in row.items() if name.startswith("against.") for rule in told or ()}
        expected.update((row["rules"], rule) for rule in against)
    assert {(each.rules, each.rule): each.walls for each in found.rules_broken} == dict(expected)
    walls = [each.walls for each in found.rules_broken]
    assert walls == sorted(walls, reverse=True)
    assert all(each.word == BASES[each.rules].by_id[each.rule].word for each in found.rules_broken)


def test_outcomes_and_failures(found, rows):
    out = found.outcomes
    told = Counter({each: getattr(out, each) for each in ("cured", "better", "unchanged", "worse")})
    told[None] = out.not_recorded
    assert told == Counter(row["outcome.result"] for row in rows)
    known = [row for row in rows if row["outcome.result"]]
    groups = {
        "by_medium": lambda row: row["installed.medium"],
        "by_rules": lambda row: row["grade.installed"] or row["finding.installed"],
        "by_verdict": lambda row: row["decided.verdict"],
    }
    for name, key in groups.items():
        expected = {}
        for row in known:
            failed = row["outcome.result"] in ("unchanged", "worse")
            part, whole = expected.get(key(row), (0, 0))
            expected[key(row)] = (part + failed, whole + 1)
        assert {g.name: (g.failed.part, g.failed.whole) for g in getattr(out, name)} == expected
        assert all(g.failed.part == g.unchanged + g.worse for g in getattr(out, name))


def test_installed_beside_recommended(found, rows):
    installed = found.installed
    told = Counter(row["as_recommended"] for row in rows)
    assert (installed.as_recommended, installed.otherwise, installed.not_known) == (told[True], told[False], told[None])
    assert sum(pair.walls for pair in installed.pairs) == told[True] + told[False]
    assert sum(pair.walls for pair in installed.pairs if pair.recommended == pair.installed) == told[True]
    cheaper = Counter((r["recommended.medium"], r["over_specified"]) for r in rows if r["over_specified"])
    assert {(each.recommended, each.cheaper): each.walls for each in found.over_specified} == dict(cheaper)


def test_the_gravest_come_first_and_say_what_differs(found, rows):
    graded = [row for row in rows if row["worst"] in GRADES]
    graded.sort(key=lambda row: (-row["severity"], row["at.file"], row["at.sheet"], row["at.row"]))
    expected = [(row["at.file"], row["at.row"]) for row in graded[:200]]
    assert [(each.file, each.row) for each in found.worst] == expected
    for each, row in zip(found.worst, graded, strict=False):
        points = {d.choice for d in each.differences} - {"installed"}
        assert points == set(row["primary"])
        for difference in each.differences:
            assert difference.word == row[f"grade.{difference.choice}"]
            assert list(difference.rules) == row[f"against.{difference.choice}"]
        assert {left.set for left in each.left_out} == {s.set for s in found.sets if row[f"left_out.{s.set}"]}


@pytest.mark.parametrize("batch", [1, 37, 240, 1000])
def test_batches_change_nothing(found, frame, batch):
    assert totals(frame.lazy(), run_facts(frame), BASES, batch) == found


def test_the_summary_reads_back(found):
    assert Totals.model_validate_json(found.model_dump_json()) == found


def test_four_walls_counted_by_hand(frame):
    rows = frame.filter(pl.col("worst").cast(pl.String).is_in(["must", "agree"])).head(4).with_columns(
        pl.Series("outcome.result", ["cured", "worse", None, "unchanged"]),
        pl.Series("installed.medium", ["cream", "cream", "rods", None]),
        pl.Series("surveyor", ["S9", None, "S9", "S9"]),
        pl.Series("survey_date", [dt.date(2024, 1, 1), dt.date(2024, 12, 31), *[dt.date(2025, 1, 1)] * 2]),
        pl.Series("worst", ["must", "agree", "must", "not_decidable"]),
    )  # fmt: skip
    found = totals(rows.lazy(), run_facts(rows, rejected=(), repeated=(0, 0)), BASES)
    assert [(year.name, year.findings.walls, year.findings.must) for year in found.years] == [
        ("2024", 2, 1),
        ("2025", 2, 1),
    ]
    assert [(s.name, s.findings.walls, s.findings.differs.whole) for s in found.surveyors] == [
        ("S9", 3, 2),
        (None, 1, 1),
    ]
    medium = {each.name: (each.failed.part, each.failed.whole) for each in found.outcomes.by_medium}
    assert medium == {"cream": (1, 2), None: (1, 1)}
    assert (found.outcomes.cured, found.outcomes.not_recorded, found.outcomes.failed.part) == (1, 1, 2)
    assert all(each.failed.small for each in found.outcomes.by_medium)


def test_an_archive_without_a_wall(frame):
    run = run_facts(frame).model_copy(
        update={
            "files": (FileTaken(file="empty.csv", digest="sha256:0", rows=2),),
            "rejected": (Rejected(file="empty.csv", kind="not a date", rows=2),),
        }
    )
    found = totals(frame.head(0).lazy(), run, BASES)
    assert (found.rows, found.decided, found.rejected, found.worst) == (2, 0, 2, ())
    assert found.walls.differs.share is None


@pytest.mark.parametrize("rows", [119, 125])
def test_sums_that_do_not_add_up_are_an_error(frame, rows):
    run = run_facts(frame)
    files = (run.files[0].model_copy(update={"rows": rows}), *run.files[1:])
    with pytest.raises(BedjointError, match=r"jobs_2026\.1\.csv: \d+ rows were taken in"):
        totals(frame.lazy(), run.model_copy(update={"files": files}), BASES)


def test_walls_of_a_file_that_was_not_taken_in_are_an_error(frame):
    run = run_facts(frame)
    with pytest.raises(BedjointError, match=r"not taken in: jobs_2026\.1\.csv"):
        totals(frame.lazy(), run.model_copy(update={"files": run.files[1:]}), BASES)
