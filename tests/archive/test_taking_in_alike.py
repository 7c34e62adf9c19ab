"""The fast way in and the strict way come to the same rows and the same faults, whatever stands in the cells."""

import datetime as dt
import random
from typing import Any

import polars as pl
import pytest
from jobs_made import TODAY, as_line, as_row, columns_of, made_jobs, made_surveys

from engine.archive import taken as taken_module
from engine.archive.mapping import SheetMapping
from engine.archive.mapping_columns import column_of, sheet_columns
from engine.archive.sources_headers import headers_of
from engine.archive.sources_lines import flattened
from engine.archive.sources_model import PLACES, RawBatch, RawRow, Reject, Unit
from engine.archive.taken import _cells, _renamed, framed, take_in
from engine.archive.taken_row import OURS, Reached, RowReader
from engine.columns.consistent import contradiction_mask
from engine.columns.flat import values_of
from engine.facts.contradictions import of_values
from engine.facts.values import State

JUNK = (
    "", "unknown", " ", "x", "-1", "0", "1", "1.5", "1e2", "1e400", "nan", "inf", "-inf", "Infinity", "+5", " 7 ",
    "1_000", "1,5", "103.0", "99999", "none", "none; x", "yes", "YES", "true", "No", "a;b", "2026-06-15", "2026-13-01",
    "2027-01-01", "15/06/2026", "0x10", "٣", "1.", ".5", "-0", "1e-3", "\u200b", "\x07", "\x1f5", "\u20095", "W 1", "é",
    "a" * 201, "a" * 2001, "unknown ", " none", "rods", "treat", "no_medium", "cured", "2020-01-01", ";", "none;none",
)  # fmt: skip


def spoiled_text(rng: random.Random, name: str) -> str:
    column = column_of(name)
    assert column is not None
    chance = rng.random()
    if chance < 0.5:
        return rng.choice(JUNK)
    if column.options:
        return rng.choice(column.options) if chance < 0.8 else "; ".join(rng.choices(column.options, k=2))
    if column.kind == "number":
        assert column.ge is not None
        assert column.le is not None
        near = [column.ge, column.le, column.le + 1, column.ge - 1, (column.ge + column.le) / 2]
        return str(rng.choice([*near, rng.randint(int(column.ge), int(column.le))]))
    return rng.choice(["yes", "no"]) if column.kind == "yes_no" else rng.choice(JUNK)


def text_frame(count: int, seed: int) -> pl.DataFrame:
    rng = random.Random(seed)
    surveys = made_surveys(count, seed)
    rows = [as_row(as_line(*pair)) for pair in zip(surveys, made_jobs(surveys, seed), strict=True)]
    names = list(sheet_columns())
    for row in rows:
        for _ in range(rng.choice((0, 0, 1, 1, 2, 4))):
            name = rng.choice(names if rng.random() < 0.6 else list(row))
            row[name] = spoiled_text(rng, name)
    columns = columns_of(rows)
    texts = [{name: None if row.get(name) is None else str(row[name]) for name in columns} for row in rows]
    return placed(pl.DataFrame(texts, schema=dict.fromkeys(columns, pl.String())))


def placed(frame: pl.DataFrame) -> pl.DataFrame:
    own = frame.drop([name for name in PLACES if name in frame.columns])
    return own.select(
        pl.lit("f").alias("at.file"), pl.lit("").alias("at.sheet"), pl.int_range(2, pl.len() + 2).alias("at.row"), *own
    )


def typed_frame(accepted: pl.DataFrame, seed: int) -> pl.DataFrame:
    """What was accepted, spoiled again by values of the right type."""
    rng = random.Random(seed)
    names = [name for name in accepted.columns if name not in PLACES]
    rows = accepted.to_dicts()
    given = {name: [row[name] for row in rows if row[name] is not None] for name in names}
    for row in rows:
        for _ in range(rng.choice((0, 1, 1, 3))):
            name = rng.choice(names)
            dtype = accepted.schema[name]
            if rng.random() < 0.5 and given[name]:
                row[name] = rng.choice(given[name])
            elif name in ("moisture.samples", "ground.profile") and row[name]:
                row[name] = spoiled_rows(rng, row[name])
            elif dtype == pl.UInt16:
                row[name] = rng.choice([0, 1, 3, 256, 65535])
            elif dtype.is_numeric():
                row[name] = rng.choice([0, 1, 2, 50, 10**6, -(10**6)])
            elif dtype == pl.Date:
                row[name] = rng.choice([dt.date(2030, 1, 1), dt.date(1900, 1, 1), dt.date(2026, 6, 15), None])
            elif dtype == pl.List(pl.String):
                row[name] = rng.choice([[], ["none"], ["x"], ["strip_plaster", "strip_plaster"]])
            elif dtype == pl.String:
                row[name] = rng.choice(JUNK)
    return placed(pl.DataFrame(rows, schema=accepted.schema, strict=False))


def spoiled_rows(rng: random.Random, rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    found = [dict(row) for row in rows]
    row = rng.choice(found)
    field = rng.choice(list(row))
    row[field] = rng.choice([None, 0, 1, 2, 8, 6000, -1, row[field]])
    if rng.random() < 0.3:
        found.append(dict(rng.choice(found)))
    return [] if rng.random() < 0.1 else found


def loosened(frame: pl.DataFrame) -> pl.DataFrame:
    """The same with the types other programs would have given it."""
    number = pl.List(pl.Struct({f.name: pl.Float64() for f in frame.schema["moisture.samples"].inner.fields}))  # type: ignore[attr-defined]
    whole = [n for n, t in frame.schema.items() if t.is_integer() and t != pl.UInt16 and n not in PLACES]
    return frame.with_columns(
        pl.col(whole).cast(pl.Float64), pl.col(pl.Enum).cast(pl.String), pl.col("moisture.samples").cast(number)
    )


def strictly(frame: pl.DataFrame, mapping: SheetMapping | None = None) -> tuple[pl.DataFrame, list[Reject]]:
    headers, _ = headers_of("f", [name for name in frame.columns if name not in PLACES], mapping, lists=True)
    reader = RowReader(mapping, TODAY)
    rows, rejects = [], []
    reached = OURS
    if mapping is not None:
        called = {name: header for name, header in headers.flat.items() if name != header}
        reached = Reached(called, {name for name, header in headers.flat.items() if header in mapping.columns})
    for place, cells, _, _ in _cells(frame, headers.flat):
        if mapping is not None:
            cells = {**cells, **{n: v for n, v in mapping.constants.items() if n not in headers.flat}}
        row, wrong = reader.read(place, cells, {}, reached)
        rejects += wrong
        rows += [row] if row is not None else []
    return framed(rows), rejects


def compared(frame: pl.DataFrame, monkeypatch: pytest.MonkeyPatch) -> pl.DataFrame:
    """Take a frame in both ways; the rows that were accepted."""
    strict_rows = []

    class Counting(RowReader):
        def read(self, place: Any, *others: Any) -> Any:
            strict_rows.append(place)
            return super().read(place, *others)

    monkeypatch.setattr(taken_module, "RowReader", Counting)
    found = take_in(RawBatch(Unit("csv", "f", "f"), frame), None, TODAY)
    flat, rejects = strictly(frame)
    assert found.flat.get_column("at.row").to_list() == flat.get_column("at.row").to_list()
    assert found.flat.equals(flat)
    assert list(found.rejects) == rejects
    assert found.rows == frame.height
    refused = {reject.place for reject in rejects}
    assert found.rejected == len(refused)
    # The fast way leaves little to the strict one that is not refused there.
    assert len(strict_rows) <= len(refused) + frame.height // 50
    return found.flat


@pytest.mark.parametrize("seed", [1, 2])
def test_both_ways_come_to_the_same(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    accepted = compared(text_frame(700, seed), monkeypatch)
    assert 150 < accepted.height < 600
    typed = typed_frame(accepted, seed)
    assert 50 < compared(typed, monkeypatch).height < typed.height - 50
    compared(loosened(typed), monkeypatch)


TOLD = SheetMapping.model_validate(
    {
        "columns": {"Role": "build.role", "Thick": "build.thickness_mm", "build.length_m": "build.length_m",
                    "When": "survey_date", "By": "existing_course.bridged_by", "Works": "recommended.works"},
        "values": {"build.role": {"x": "party", "1": "unknown"}, "recommended.works": {"x": ["seal_holes", "let_dry"]}},
        "units": {"build.thickness_mm": 2, "build.length_m": 0.5},
        "decimal_comma": "yes",
        "set_separator": "/",
        "date_format": "%d/%m/%Y",
        "constants": {"build.voids": "none", "ground.level_mm": 150, "note": 3},
    }
)  # fmt: skip


@pytest.mark.parametrize("typed", [False, True])
def test_both_ways_come_to_the_same_by_a_mapping_of_some_of_the_columns(
    typed: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    frame = text_frame(500, 21)
    if typed:
        frame = compared(frame, monkeypatch)
    frame = frame.drop("build.voids", "ground.level_mm", strict=False)
    frame = frame.rename({name: header for header, name in TOLD.columns.items() if name in frame.columns})
    if not typed:
        frame = frame.with_columns(
            pl.col("By", "Works").str.replace_all(";", "/"), pl.col("build.length_m").str.replace(r"\.", ",")
        )
    found = take_in(RawBatch(Unit("csv", "f", "f"), frame), TOLD, TODAY)
    flat, rejects = strictly(frame, TOLD)
    assert found.flat.equals(flat)
    assert list(found.rejects) == rejects
    assert flat.height > 50
    assert set(flat.get_column("ground.level_mm")) == {150}
    assert rejects


def test_the_mask_marks_exactly_what_the_check_of_surveys_finds(monkeypatch: pytest.MonkeyPatch) -> None:
    accepted = compared(text_frame(500, 5), monkeypatch)
    rng = random.Random(6)
    rows = accepted.to_dicts()
    facts = [
        name for name, dtype in accepted.schema.items() if "." in name and name[:3] not in ("at.", "rec", "ins", "out")
    ]
    given = {name: [row[name] for row in rows if row[name] is not None] for name in facts}
    for row in rows:
        for name in rng.sample(facts, 6):
            row[name] = rng.choice(given[name]) if given[name] else None
    frame = framed(rows)
    marks = contradiction_mask(frame).to_list()
    expected = []
    for row in rows:
        values = values_of(row)
        absent = any(values[name].state is State.NOT_APPLICABLE and row[name] is not None for name in facts)
        expected.append(absent or any(of_values(values, row["survey_date"].year)))
    assert marks == expected
    assert 80 < sum(marks) < len(marks) - 20


LINE_JUNK: tuple[Any, ...] = (
    None, True, False, 0, 1, 1.5, 330.0, -1, 1e300, 10**12, "", "unknown", "none", "5", "x", [], ["none"], [""], ["x"],
    ["unknown"], ["paving", "paving"],
    ["paving", " ground"], ["ground; paving"], [1], {}, {"a": 1}, [{}], [{"at_m": 1}],
    [{"at_m": 0, "level_mm": 5.0}], [{"at_m": 0, "level_mm": 5.5}], [None], "2026-06-15", "cream", ["strip_plaster"],
)  # fmt: skip


@pytest.mark.parametrize("told", [False, True])
def test_lines_of_json_come_to_the_same_both_ways(told: bool) -> None:
    rng = random.Random(9)
    surveys = made_surveys(500, 9)
    names = [*sheet_columns(), "moisture.samples", "ground.profile", "build.colour"]
    rows = []
    for number, pair in enumerate(zip(surveys, made_jobs(surveys, 9), strict=True), 1):
        cells = flattened(as_line(*pair))
        for _ in range(rng.choice((0, 0, 1, 1, 2, 4))):
            cells[rng.choice(names if rng.random() < 0.6 else list(cells))] = rng.choice(LINE_JUNK)
        rows.append(RawRow("", number, cells))
    mapping = None
    if told:
        values = {
            "existing_course.bridged_by": {"x": ["ground", "paving"]},
            "build.role": {"1": "party", "5": "internal"},
        }
        named = ("existing_course.bridged_by", "build.role", "evidence.damp_height_mm", "recommended.works")
        columns = {**{name: name for name in named}, "Long": "build.length_m", "When": "survey_date"}
        mapping = SheetMapping.model_validate(
            {
                "columns": columns,
                "values": values,
                "units": {"build.length_m": 2},
                "decimal_comma": "yes",
                "set_separator": ",",
                "constants": {"evidence.tide_mark": True, "ground.level_mm": 150},
            }
        )
        for row in rows:
            for header, name in list(columns.items())[-2:]:
                if rng.random() < 0.4 and name in row.cells:
                    row.cells[header] = row.cells.pop(name)  # type: ignore[attr-defined]
            for name in named:
                if rng.random() < 0.3:
                    row.cells.pop(name, None)  # type: ignore[attr-defined]
    found = take_in(RawBatch(Unit("jsonl", "f", "f"), rows=tuple(rows)), mapping, TODAY)
    reader = RowReader(mapping, TODAY)
    flat, rejects = [], []
    for row in rows:
        cells, reached = row.cells, OURS
        if mapping is not None:
            line, _ = _renamed(row, mapping)
            cells, reached = line.cells, line.reached
        taken, wrong = reader.read(("f", "", row.row), cells, {}, reached)
        flat += [taken] if taken is not None else []
        rejects += wrong
    assert found.flat.equals(framed(flat))
    assert list(found.rejects) == rejects
    assert 100 < found.flat.height < 450
    assert found.rows == 500
