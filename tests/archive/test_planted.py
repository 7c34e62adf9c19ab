"""Archives with errors planted in them: every one is found as what it is, and nothing else is called an error."""

import collections
import copy
import csv
import filecmp
import json

import pytest
from planted_archive import archive_compare, archive_maker, archive_plants, checked

FINDINGS, REJECTED = archive_plants.FINDINGS, archive_plants.REJECTED
WALLS = 1200
SEED = 3
OFTEN = 0.18
NEVER = {"ruled_out_must"}
"""No rule that rules an option out is as strong as a must."""


@pytest.fixture(scope="module")
def archive(tmp_path_factory):
    return archive_maker.make_archive(tmp_path_factory.mktemp("made"), WALLS, SEED, planted=OFTEN)


@pytest.fixture(scope="module")
def ledger(archive):
    return archive_compare.read_lines(archive.ledger)


@pytest.fixture(scope="module")
def found(archive, tmp_path_factory):
    return checked([archive.folder], tmp_path_factory.mktemp("results") / "out", archive.mapping)


def faults(found, archive, ledger):
    remarks = archive_compare.read_lines(archive.remarks)
    return archive_compare.faults(found.walls, found.rejects, ledger, remarks, archive.rows)


def test_every_kind_is_planted_several_times(archive):
    assert set(archive.planted) == {*FINDINGS, *REJECTED} - NEVER
    assert min(archive.planted.values()) >= 3


def test_no_wall_has_two_errors(ledger):
    assert max(collections.Counter((e["file"], e["sheet"], e["row"]) for e in ledger).values()) == 1


def test_every_planted_error_is_found_and_nothing_else(archive, ledger, found):
    assert faults(found, archive, ledger) == []


def test_counts_add_up(archive, ledger, found):
    bad = sum(entry["kind"] in REJECTED for entry in ledger)
    assert archive.rows == WALLS + archive.planted["repeated_row"]
    assert found.walls.height == archive.rows - bad
    planted = {(e["file"], e["row"]): e for e in ledger if e["kind"] in FINDINGS}
    grades = collections.Counter(found.walls["worst"])
    assert sum(grades[word] for word in ("must", "should", "consider", "not_decidable")) <= len(planted)
    assert found.totals.rows == archive.rows


@pytest.mark.parametrize("name", sorted({*FINDINGS, *REJECTED} - NEVER))
def test_an_error_that_is_not_in_the_ledger_is_noticed(archive, ledger, found, name):
    """What holds the findings against the ledger is not blind to any kind of error."""
    at = next(at for at, entry in enumerate(ledger) if entry["kind"] == name)
    assert faults(found, archive, ledger[:at] + ledger[at + 1 :])


def test_another_finding_than_the_one_planted_is_noticed(archive, ledger, found):
    for kind, path, value in (
        ("ruled_out_should", ("choices", "*", "grade"), "consider"),
        ("ruled_out_consider", ("choices", "*", "against"), ["E-001"]),
        ("left_out_must", ("sets", "*", "left_out_grade"), "should"),
        ("installed_other", ("installed", "finding"), "agree"),
        ("over_specified", ("cheaper",), []),
        ("out_of_limits", ("rejected", "column"), "build.role"),
        ("misspelt_option", ("rejected", "value"), "another word"),
    ):
        changed = copy.deepcopy(ledger)
        holder = next(entry for entry in changed if entry["kind"] == kind)["expect"]
        for step in path[:-1]:
            holder = next(iter(holder.values())) if step == "*" else holder[step]
        holder[path[-1]] = value
        assert faults(found, archive, changed), kind


def test_all_by_one_version_with_surveys_of_earlier_years(tmp_path):
    made = archive_maker.make_archive(tmp_path, 60, 11, rules="2026.2", planted=0.2, workers=1)
    result = checked([made.folder], tmp_path / "out", made.mapping, version="2026.2")
    assert faults(result, made, archive_compare.read_lines(made.ledger)) == []
    assert set(result.walls["rules"]) == {"2026.2"}
    assert result.walls["survey_date"].min().year < 2024


def test_earlier_surveys_by_a_version_of_their_own_and_in_smaller_parts(tmp_path):
    made = archive_maker.make_archive(tmp_path, 40, 12, earlier="2026.1", planted=0.2, workers=1)
    ledger = archive_compare.read_lines(made.ledger)
    whole = checked([made.folder], tmp_path / "whole", made.mapping, earlier="2026.1")
    assert faults(whole, made, ledger) == []
    parts = checked([made.folder], tmp_path / "parts", made.mapping, earlier="2026.1", batch=8)
    assert parts.walls.equals(whole.walls)
    assert parts.rejects == whole.rejects


def test_the_same_seed_gives_the_same_files_whatever_the_workers(tmp_path):
    one = archive_maker.make_archive(tmp_path / "one", 100, 5, planted=0.3, workers=1)
    two = archive_maker.make_archive(tmp_path / "two", 100, 5, planted=0.3, workers=2)
    names = sorted(path.relative_to(one.folder.parent) for path in one.folder.parent.rglob("*") if path.is_file())
    same, differ, missing = filecmp.cmpfiles(one.folder.parent, two.folder.parent, map(str, names), shallow=False)
    assert (differ, missing) == ([], [])
    assert len(same) == len(names) > 12
    other = archive_maker.make_archive(tmp_path / "other", 100, 6, planted=0.3, workers=1)
    assert (other.folder / "jobs-a.csv").read_bytes() != (one.folder / "jobs-a.csv").read_bytes()


def test_jobs_look_like_a_firms(archive):
    with (archive.folder / "jobs-a.csv").open(encoding="utf-8", newline="") as file:
        rows = [row for row in csv.DictReader(file) if row["build.thickness_mm"]]
    sampled = sum(bool(row["moisture.samples.1.height_mm"]) for row in rows)
    assert 0.05 < sampled / len(rows) < 0.16
    assert len({row["build.construction"] for row in rows}) >= 5
    assert {row["recommended.verdict"] for row in rows} >= {"treat", "investigate", "remove_cause", "no_course"}
    assert {row["surveyor"] for row in rows} == {f"S{number:02}" for number in range(1, 13)}
    assert sum(bool(row["installed.medium"]) for row in rows) > len(rows) / 20


def test_the_ledger_says_where_an_error_stands(archive, ledger):
    for entry in ledger:
        if entry["file"] == "dotted.jsonl" and entry["kind"] in FINDINGS:
            line = (archive.folder / entry["file"]).read_text(encoding="utf-8").splitlines()[entry["row"] - 1]
            assert json.loads(line)["reference"] == entry["reference"]
            assert json.loads(line)["wall"] == entry["wall"]
