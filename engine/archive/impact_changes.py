"""What another version of the rules changes at each wall: a row a change, with the rules that bring it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from types import MappingProxyType
from typing import Literal

import polars as pl

from engine.archive.agreement import MEDIUM
from engine.archive.impact_rules import (
    RULES,
    Brought,
    Pair,
    Side,
    brings_member,
    brings_option,
    columns_read,
    held_column,
)
from engine.archive.totals_count import INSTALLED
from engine.rulebase.conditions import UNDECIDED

What = Literal["decision", "status", "member", "finding", "left_out"]
ROW = "_row"
"""The place of a wall in its batch."""
STATUSES = ("undecided", "provisional", "settled")
"""The most open first."""
ARISES, VANISHES, REGRADED = "newly_differs", "no_longer_differs", "other_grade"
"""What became of a finding."""

CHANGES: Mapping[str, pl.DataType] = MappingProxyType(
    {
        ROW: pl.UInt32(),
        "what": pl.String(),
        "name": pl.String(),
        "from": pl.String(),
        "to": pl.String(),
        "status_from": pl.String(),
        "status_to": pl.String(),
        "class": pl.String(),
        **{column: pl.List(pl.String()) for column in RULES.values()},
    }
)
"""The columns of changes.

`what` is `decision` (a choice, `name`, comes to another option), `status` (to the same, but more or less open),
`member` (a set, `name`, gained the member `to` or lost the member `from`), `finding` (what was recommended for a
choice, or installed, agrees or differs otherwise; `from` and `to` are the grade of the difference, else the finding) or
`left_out` (`to` is newly left out, or `from` no longer). `class` is what the change is called.
"""

_NO_RULES = pl.lit([], pl.List(pl.String))
_FINDINGS = ("agree", "not_decidable", "not_recorded")


def changes_of(judged: Mapping[Side, pl.DataFrame], pair: Pair) -> pl.DataFrame:
    """Every decision, status and member that is not the same under both, by row; `judged` as `judge` gives it."""
    nothing = pl.DataFrame(schema=CHANGES)
    parts = [nothing]
    for choice in pair.choices:
        parts += _of_choice(judged, pair, choice)
    for name in pair.sets:
        for member in pair.members(name):
            parts += _of_member(judged, pair, name, member)
    return pl.concat(parts)


def findings_changed(findings: Mapping[Side, pl.DataFrame], pair: Pair) -> pl.DataFrame:
    """Every finding that is not the same beside what was recommended; `findings` as `agreement` gives it.

    The rules are those that speak against it under one version and not under the other.
    """
    parts = [pl.DataFrame(schema=CHANGES)]
    points = [*pair.choices, *([INSTALLED] if MEDIUM in pair.choices else [])]
    parts += (_of_finding(findings, point) for point in points)
    for name in pair.sets:
        if name in pair.a.sets and name in pair.b.sets:
            parts += _of_left_out(findings, name)
    return pl.concat(parts)


def status(judged: pl.DataFrame, pair: Pair, side: Side, choice: str) -> pl.Series:
    """How settled a choice is, by the evaluator's own bound."""
    options = (*(option.id for option in pair.base(side).choices[choice].options), UNDECIDED)
    open_ = pl.sum_horizontal(f"possible:{choice}:{option}" for option in options) != 1
    undecided = pl.col(f"decided.{choice}") == UNDECIDED
    found = pl.when(undecided).then(pl.lit(STATUSES[0])).when(open_).then(pl.lit(STATUSES[1]))
    return judged.select(found.otherwise(pl.lit(STATUSES[2])).alias(choice)).to_series()


def held(judged: pl.DataFrame, name: str, member: str) -> pl.Series:
    """Whether a set holds a member; false of what no rule adds."""
    column = f"now:{name}:{member}"
    return judged[column] if column in judged.columns else pl.repeat(False, judged.height, eager=True)


def _of_choice(judged: Mapping[Side, pl.DataFrame], pair: Pair, choice: str) -> Iterator[pl.DataFrame]:
    a, b = judged["a"], judged["b"]
    frame = pl.DataFrame(
        {
            ROW: pl.int_range(a.height, dtype=pl.UInt32, eager=True),
            "from": a[f"decided.{choice}"].cast(pl.String),
            "to": b[f"decided.{choice}"].cast(pl.String),
            "status_from": status(a, pair, "a", choice),
            "status_to": status(b, pair, "b", choice),
        }
    )
    same = frame.filter((pl.col("from") == pl.col("to")) & (pl.col("status_from") != pl.col("status_to")))
    if same.height:
        places = {each: at for at, each in enumerate(STATUSES)}
        after, before = (pl.col(f"status_{way}").replace_strict(places) for way in ("to", "from"))
        called = pl.when(after < before).then(pl.lit("newly_open")).otherwise(pl.lit("newly_settled"))
        yield _rows(same, "status", choice, called, ())
    moved = (frame["from"] != frame["to"]).arg_true()
    if not len(moved):
        return
    for_rules = dict.fromkeys(columns_read(pair, choice))
    rows = frame[moved].hstack(
        [_side(judged, column)[moved].alias(column) for column in for_rules],
    )
    for (before, after), several in rows.partition_by("from", "to", as_dict=True).items():
        step = pair.bold.between(choice, str(before), str(after))
        brought = brings_option(pair, choice, str(before), str(after))
        yield _rows(several, "decision", choice, pl.lit(step), brought)


def _of_member(judged: Mapping[Side, pl.DataFrame], pair: Pair, name: str, member: str) -> Iterator[pl.DataFrame]:
    before, after = (held(judged[side], name, member) for side in ("a", "b"))
    for gained, where in ((True, after & ~before), (False, before & ~after)):
        rows = where.arg_true()
        if not len(rows):
            continue
        brought = brings_member(pair, name, member, gained=gained)
        columns = {held_column(side, each.rule) for each in brought for side in _both(judged, each.rule)}
        frame = pl.DataFrame(
            [
                rows.cast(pl.UInt32).alias(ROW),
                *(_side(judged, column)[rows].alias(column) for column in sorted(columns)),
            ]
        ).with_columns(
            pl.lit(None if gained else member, pl.String).alias("from"),
            pl.lit(member if gained else None, pl.String).alias("to"),
        )
        step = pair.bold.of_member(name, member, gained=gained)
        yield _rows(frame, "member", name, pl.lit(step), brought)


def _both(judged: Mapping[Side, pl.DataFrame], rule: str) -> Iterator[Side]:
    for side, frame in judged.items():
        if f"fired:{rule}" in frame.columns:
            yield side


def _side(judged: Mapping[Side, pl.DataFrame], column: str) -> pl.Series:
    side, _, name = column.partition(":")
    return judged["a" if side == "a" else "b"][name]


def _rows(frame: pl.DataFrame, what: What, name: str, called: pl.Expr, brought: Sequence[Brought]) -> pl.DataFrame:
    """Rows in the shape of changes; statuses and rules where there are any."""
    lists = {
        column: [
            pl.when(each.where).then(pl.lit(each.rule)).otherwise(pl.lit(None, pl.String))
            for each in brought
            if each.held == held
        ]
        for held, column in RULES.items()
    }
    statuses = [each for each in ("status_from", "status_to") if each not in frame.columns]
    return (
        frame.with_columns(
            *(pl.lit(None, pl.String).alias(each) for each in statuses),
            pl.lit(what).alias("what"),
            pl.lit(name).alias("name"),
            called.alias("class"),
            *(
                (pl.concat_list(several).list.drop_nulls() if several else _NO_RULES).alias(column)
                for column, several in lists.items()
            ),
        )
        .select(*CHANGES)
        .cast(pl.Schema(CHANGES))
    )


def _of_finding(findings: Mapping[Side, pl.DataFrame], point: str) -> pl.DataFrame:
    def said(side: Side) -> pl.Series:
        """The grade of a difference, else the finding."""
        told = pl.coalesce(pl.col(f"grade.{point}").cast(pl.String), pl.col(f"finding.{point}").cast(pl.String))
        return findings[side].select(told).to_series()

    frame = pl.DataFrame(
        {
            ROW: pl.int_range(findings["a"].height, dtype=pl.UInt32, eager=True),
            "from": said("a"),
            "to": said("b"),
            "a": findings["a"][f"against.{point}"],
            "b": findings["b"][f"against.{point}"],
        }
    )
    before, after = (~pl.col(way).is_in(_FINDINGS) for way in ("from", "to"))
    frame = frame.filter((pl.col("from") != pl.col("to")) & (before | after))
    called = pl.when(~before).then(pl.lit(ARISES)).when(~after).then(pl.lit(VANISHES)).otherwise(pl.lit(REGRADED))
    return _rows(frame, "finding", point, called, ()).with_columns(
        frame.select(pl.col("b").list.set_difference("a").list.sort().alias(RULES["b"])).to_series(),
        frame.select(pl.col("a").list.set_difference("b").list.sort().alias(RULES["a"])).to_series(),
    )


def _of_left_out(findings: Mapping[Side, pl.DataFrame], name: str) -> Iterator[pl.DataFrame]:
    frame = pl.DataFrame(
        {
            ROW: pl.int_range(findings["a"].height, dtype=pl.UInt32, eager=True),
            **{side: findings[side][f"left_out.{name}"].fill_null([]) for side in ("a", "b")},
        }
    )
    for way, one, other, called in (("to", "b", "a", ARISES), ("from", "a", "b", VANISHES)):
        rows = frame.select(ROW, pl.col(one).list.set_difference(other).alias(way))
        rows = rows.explode(way).drop_nulls(way).sort(ROW, way)
        other_way = "from" if way == "to" else "to"
        yield _rows(rows.with_columns(pl.lit(None, pl.String).alias(other_way)), "left_out", name, pl.lit(called), ())


def with_places(changes: pl.DataFrame, flat: pl.DataFrame, columns: Iterable[str]) -> pl.DataFrame:
    """The changes with where their walls stand in front, in the order of the archive."""
    names = list(columns)
    walls = flat.select(names).with_row_index(ROW)
    return changes.join(walls, on=ROW, how="left", maintain_order="left").select(*names, *CHANGES)
