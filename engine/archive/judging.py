"""One part of an archive: taken in, judged by the rules in force, set beside what was recommended."""

from __future__ import annotations

import datetime as dt
import functools
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import polars as pl

from engine.archive.agreement import agreement
from engine.archive.findings import carried, findings_schema, in_schema
from engine.archive.sources_model import PLACES, Reject, Taken, Unit
from engine.columns.judge import judge
from engine.columns.layout import KEY
from engine.columns.recheck import ONE_IN, recheck
from engine.errors import BedjointError
from engine.rulebase.load import load_rule_base, versions
from engine.rulebase.model import Manifest
from engine.rulebase.rules import RuleBase
from engine.rulebase.sealed import as_sealed

REPEAT_KEY = "_key"
"""A column of parts that is alike for rows of the same survey and wall."""
CONTENT = "_content"
"""A column of parts that is alike for rows that say the same."""


@dataclass(frozen=True, slots=True)
class ByRules:
    """By which rules walls are judged: one version, or that in force on the day of each survey.

    `earlier` judges surveys from before any version was in force; without it they are rejected.
    """

    version: str | None = None
    earlier: str | None = None
    one_in: int = ONE_IN


@dataclass(frozen=True, slots=True)
class Judged:
    """A part: its findings, one row a wall, and what is wrong with the rows that have none."""

    findings: pl.DataFrame
    rejects: tuple[Reject, ...]
    rejected: int
    rechecked: int
    rows: Mapping[str, int]
    """How many rows or walls each file had, whatever became of them."""


@functools.cache
def sealed_base(version: str) -> RuleBase:
    """A version of the rules, checked against its recorded digest; loaded once.

    Raises:
        BadInput, BadRules: there is none of that name, or it cannot be used.
    """
    return as_sealed(load_rule_base(version))


def judged_part(taken: Taken, by: ByRules) -> Judged:
    """Judge what was taken in, row by row under its own version.

    Raises:
        ReadersDisagree: a row of the sample that is judged again comes out otherwise.
    """
    said = taken.flat.drop(*PLACES, *KEY).hash_rows(seed=1)
    flat = taken.flat.with_columns(version_column(by).alias("_rules"), said.alias(CONTENT))
    unjudged = flat.filter(pl.col("_rules").is_null())
    rejects = tuple(_before_any_rules(unjudged, by))
    found, rechecked = [pl.DataFrame(schema={**findings_schema(), CONTENT: pl.UInt64})], 0
    for version in flat.get_column("_rules").drop_nulls().unique().sort():
        rows = flat.filter(pl.col("_rules") == version)
        part = rows.drop("_rules", CONTENT)
        base = sealed_base(version)
        judged = judge(part, base)
        rechecked += recheck(part, judged, base, by.one_in)
        findings = in_schema(part.select(list(carried())).hstack(agreement(part, judged, base)))
        found.append(findings.with_columns(rows.get_column(CONTENT)))
    findings = pl.concat(found).sort(PLACES).with_columns(_key().alias(REPEAT_KEY))
    return Judged(
        findings, (*taken.rejects, *rejects), taken.rejected + unjudged.height, rechecked, _rows_by_file(taken)
    )


def _rows_by_file(taken: Taken) -> Mapping[str, int]:
    """The rows of every file, each once.

    Raises:
        BedjointError: there are not as many rejected rows as rows with something wrong.
    """
    counted = Counter(file for file, _, _ in {each.place for each in taken.rejects})
    if counted.total() != taken.rejected:
        raise BedjointError(f"{taken.rejected} rows were rejected, but something is wrong with {counted.total()}")
    counted.update(dict(taken.flat.group_by("at.file").len().iter_rows()))
    return counted


def version_column(by: ByRules) -> pl.Expr:
    """The version that judges a row, null where none was in force."""
    if by.version is not None:
        return pl.lit(by.version)
    judging = pl.lit(by.earlier, pl.String)
    for manifest in _known_versions():
        in_force = pl.col("survey_date") >= pl.lit(manifest.in_force_from)
        judging = pl.when(in_force).then(pl.lit(manifest.version)).otherwise(judging)
    return judging


def judging_versions(by: ByRules) -> tuple[str, ...]:
    """Every version that may come to judge."""
    if by.version is not None:
        return (by.version,)
    earlier = () if by.earlier is None else (by.earlier,)
    return tuple(dict.fromkeys((*earlier, *(manifest.version for manifest in _known_versions()))))


@functools.cache
def _known_versions() -> tuple[Manifest, ...]:
    return tuple(versions())


def first_in_force() -> dt.date:
    """The day on which the first version of the rules came into force."""
    return _known_versions()[0].in_force_from


def _before_any_rules(rows: pl.DataFrame, by: ByRules) -> Iterator[Reject]:
    first, newest = first_in_force().isoformat(), _known_versions()[-1].version
    for row in rows.select(*PLACES, "survey_date").iter_rows():
        yield Reject(
            row[0],
            row[1],
            row[2],
            "survey_date",
            row[3].isoformat(),
            "no version of the rules was in force on that day",
            f"{first} or later",
            f"to judge older jobs all the same: --earlier {newest}, or --rules {newest} for all",
            row[2],
        )


def _key() -> pl.Expr:
    """Rows of the same survey and wall have the same; ids of walls are one in whatever case they are written."""
    parts = (pl.col("reference"), pl.col("survey_date").cast(pl.String), pl.col("wall").str.to_lowercase())
    return pl.concat_str(parts, separator="\x1f").hash(seed=1)


def judged_unit(unit: Unit, mapping: object, today: dt.date, by: ByRules) -> Judged:
    """Read, take in and judge one unit."""
    from engine.archive.sources import read_unit
    from engine.archive.taken import take_in

    return judged_part(take_in(read_unit(unit, mapping), mapping, today), by)  # type: ignore[arg-type]
