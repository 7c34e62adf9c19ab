"""Made-up walls in bulk: the flat frame of them, and the big Parquet for measuring speed."""

import pathlib

import polars as pl
import pytest
from planted_archive import archive_maker, checked

from engine.archive.job import job_schema
from engine.columns.flat import values_of
from engine.columns.layout import fact_columns, flat_schema
from engine.facts.contradictions import of_values
from engine.facts.values import State


@pytest.fixture(scope="module")
def flat() -> pl.DataFrame:
    return archive_maker.make_flat(300, 2)


def test_the_flat_frame_has_the_columns_and_types_of_the_layout(flat):
    assert flat.schema == pl.Schema({**flat_schema(), **job_schema()})
    assert flat.height == 300
    assert flat.select("reference", "survey_date", "wall").is_unique().all()


def test_its_walls_are_consistent_and_hold_nothing_that_does_not_apply(flat):
    for row in flat.iter_rows(named=True):
        values = values_of(row)
        assert list(of_values(values, row["survey_date"].year)) == []
        given = {name for name in fact_columns() if row[name] is not None}
        assert given == {name for name, value in values.items() if value.state is State.KNOWN}


def test_a_big_parquet_is_the_same_walls_again_and_again(flat, tmp_path, monkeypatch):
    monkeypatch.setattr(archive_maker, "_GROUP", 1000)
    path: pathlib.Path = tmp_path / "big.parquet"
    archive_maker.big_parquet(path, 3500, 4, base=flat)
    big = pl.read_parquet(path)
    assert big.height == 3500
    assert big["reference"].n_unique() == 3500
    assert isinstance(big.schema["recommended.verdict"], pl.Enum)
    assert {name: big.schema[name] for name in fact_columns()} == dict(fact_columns())
    names = [*fact_columns(), "recommended.works", "installed.on"]
    assert big.select(names).unique().height == flat.select(names).unique().height
    archive_maker.big_parquet(tmp_path / "again.parquet", 3500, 4, base=flat)
    assert pl.read_parquet(tmp_path / "again.parquet").equals(big)


def test_nothing_is_found_at_walls_with_nothing_planted(flat, tmp_path):
    path = tmp_path / "big.parquet"
    archive_maker.big_parquet(path, 1000, 4, base=flat)
    found = checked([path], tmp_path / "out")
    assert found.rejects == []
    assert found.walls.height == 1000
    assert set(found.walls["worst"]) == {"agree"}
