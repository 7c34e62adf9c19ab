"""The small demo archive holds what the README beside it says, and nothing else that differs."""

import re

import pytest
from planted_archive import DEMO, archive_demo, checked

from engine.archive.mapping import read_mapping

FILES = ("jobs.csv", "day-book.csv")
ROW = re.compile(
    r"^\| (?P<file>[a-z-]+\.csv) (?P<row>\d+) \| (?P<reference>\S+), (?P<wall>\w+) \| (?P<what>.+) \|$", re.M
)


@pytest.fixture(scope="module")
def listed():
    found = {(each["file"], int(each["row"])): each for each in ROW.finditer((DEMO / "README.md").read_text("utf-8"))}
    assert len(found) >= 10
    return found


@pytest.fixture(scope="module")
def found(tmp_path_factory):
    paths = [DEMO / name for name in FILES]
    output = tmp_path_factory.mktemp("demo") / "out"
    return checked(paths, output, DEMO / "mapping.yaml", version=archive_demo.VERSION)


def place(file, row):
    return file.rpartition("/")[2], row


def test_what_differs_is_what_the_readme_lists(listed, found):
    rows = list(found.walls.iter_rows(named=True))
    differing = {place(row["at.file"], row["at.row"]): row for row in rows if row["worst"] != "agree"}
    rejected = {place(each["file"], each["row"]) for each in found.rejects}
    assert set(differing) | rejected == set(listed)
    assert rejected == {where for where, each in listed.items() if each["what"].startswith("rejected: ")}
    for where, row in differing.items():
        assert (row["reference"], row["wall"]) == (listed[where]["reference"], listed[where]["wall"])


def test_the_readme_counts_the_walls(found):
    text = (DEMO / "README.md").read_text("utf-8")
    for file in FILES:
        walls = int(re.search(rf"`{file}`: (\d+) walls", text)[1])
        assert len((DEMO / file).read_text("utf-8").splitlines()) == walls + 1
    assert found.totals.rows == 80
    assert f"--rules {archive_demo.VERSION}" in text


def test_some_jobs_were_followed_up(found):
    assert found.walls["outcome.result"].drop_nulls().n_unique() >= 3
    assert found.walls["installed.medium"].drop_nulls().n_unique() >= 3


def test_the_files_are_small_and_the_mapping_is_sound():
    assert sum(path.stat().st_size for path in DEMO.iterdir()) < 200_000
    assert read_mapping(DEMO / "mapping.yaml").columns["Job no."] == "reference"
