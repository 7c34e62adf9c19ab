"""The columns of findings, alike whatever version of the rules judged: what one does not know is null in its rows."""

from __future__ import annotations

import functools
from collections.abc import Iterator, Mapping
from types import MappingProxyType

import polars as pl

from engine.archive.agreement import FINDING, GRADE, STATUS, WORST
from engine.archive.job import job_schema, recommended_choices, recommended_sets
from engine.columns.layout import KEY, PLACE, fact_columns
from engine.rulebase.load import load_rule_base, versions

CARRIED = ("build.construction", "property.age_band")
"""Facts that findings are counted by, carried beside them."""
RULES_A_WORD = 64

_STRINGS = pl.List(pl.String)


def carried() -> Mapping[str, pl.DataType]:
    """The columns of the flat frame that findings carry; what was recommended stands among the findings."""
    job = {name: kind for name, kind in job_schema().items() if not name.startswith("recommended.")}
    return {**PLACE, **KEY, **job, **{name: fact_columns()[name] for name in CARRIED}}


@functools.cache
def findings_schema() -> Mapping[str, pl.DataType]:
    """Every column of the results and its type, in order."""
    return MappingProxyType({**carried(), **dict(_found())})


def _found() -> Iterator[tuple[str, pl.DataType]]:
    yield "rules", pl.String()
    yield "status", STATUS
    for choice in recommended_choices():
        yield f"decided.{choice}", pl.String()
        yield f"possible.{choice}", _STRINGS
        yield f"recommended.{choice}", pl.String()
        yield f"finding.{choice}", FINDING
        yield f"grade.{choice}", GRADE
        yield f"against.{choice}", _STRINGS
    for name in recommended_sets():
        yield f"decided.{name}", _STRINGS
        yield f"recommended.{name}", _STRINGS
        yield f"left_out.{name}", _STRINGS
        yield f"left_out_grade.{name}", GRADE
        yield f"called_for_now.{name}", _STRINGS
        yield f"beyond.{name}", _STRINGS
    yield "finding.installed", FINDING
    yield "grade.installed", GRADE
    yield "against.installed", _STRINGS
    yield "as_recommended", pl.Boolean()
    yield "over_specified", pl.String()
    yield "primary", _STRINGS
    yield "worst", WORST
    yield "severity", pl.UInt32()
    most = max(len(load_rule_base(manifest.version).rules) for manifest in versions())
    for word in range(-(-most // RULES_A_WORD)):
        yield f"fired.{word}", pl.UInt64()


def in_schema(frame: pl.DataFrame) -> pl.DataFrame:
    """Findings with every column in its order.

    Raises:
        pl.exceptions.PolarsError: a column is of another type, or none of these.
    """
    return frame.match_to_schema(dict(findings_schema()), missing_columns="insert", extra_columns="raise")
