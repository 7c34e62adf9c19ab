"""The walls as text for people and spreadsheets."""

from __future__ import annotations

from collections.abc import Iterable

import polars as pl

SEPARATOR = "; "
NONE = "none"
BESIDE_RULES = {
    "agree": "as the rules say",
    "must": "against a must",
    "should": "against a should",
    "consider": "another to consider",
    "not_decidable": "not decidable",
    "not_recorded": "medium not recorded",
}
"""What the rules say of a medium that was installed, in words."""
_FORMULA = r"^[=+\-@\t\r\n]"
_SIGNED_NUMBER = r"^[+-]?\d+(\.\d+)?([eE][+-]?\d+)?$"


def as_text(walls: pl.LazyFrame) -> pl.LazyFrame:
    """The columns of `walls` as a CSV file has them; which rules hold, as bits, is left out.

    Lists are written `a; b`, a set that is known to be empty `none`, Booleans yes and no.
    """
    schema = walls.collect_schema()
    sets = {name.partition(".")[2] for name in schema if name.startswith("left_out.")}
    return walls.select(
        _cell(name, dtype, name.partition(".")[2] in sets)
        for name, dtype in schema.items()
        if not name.startswith("fired.")
    )


def _cell(name: str, dtype: pl.DataType, is_set: bool) -> pl.Expr:
    column = pl.col(name)
    if isinstance(dtype, pl.List):
        return harmless(listed(column, NONE if is_set else "")).alias(name)
    if isinstance(dtype, pl.Boolean):
        return pl.when(column).then(pl.lit("yes")).when(~column).then(pl.lit("no")).alias(name)
    return harmless(column).alias(name) if isinstance(dtype, pl.String) else column


def listed(column: pl.Expr, empty: str = "") -> pl.Expr:
    """A list as one text; null stays null."""
    return pl.when(column.list.len() == 0).then(pl.lit(empty)).otherwise(column.list.join(SEPARATOR))


def harmless(text: pl.Expr) -> pl.Expr:
    """Text that a spreadsheet does not take for a formula: where it would, an apostrophe stands before it."""
    formula = text.str.contains(_FORMULA) & ~text.str.contains(_SIGNED_NUMBER)
    return pl.when(formula).then(pl.concat_str(pl.lit("'"), text)).otherwise(text)


def findings_in_words(schema: Iterable[str]) -> list[pl.Expr]:
    """A column for every point, as `must: cream; the rules say rods`, and one for what every set leaves out."""
    names = list(schema)
    points = [name.partition(".")[2] for name in names if name.startswith("finding.")]
    made = []
    for point in points:
        recorded, decided = (
            ("installed.medium", "decided.medium")
            if point == "installed"
            else (f"recommended.{point}", f"decided.{point}")
        )
        finding, grade = (pl.col(f"{kind}.{point}").cast(pl.String) for kind in ("finding", "grade"))
        if recorded in names and decided in names:
            made.append(
                pl.when(finding == "differs")
                .then(pl.format("{}: {}, the rules say {}", grade, pl.col(recorded), pl.col(decided)))
                .when(finding == "not_decidable")
                .then(pl.format("not decidable: {}", pl.col(recorded)))
                .when(finding == "agree")
                .then(pl.format("agree: {}", pl.col(recorded)))
                .alias(point)
            )
    for name in (name.partition(".")[2] for name in names if name.startswith("left_out.")):
        left_out = pl.col(f"left_out.{name}")
        grade = pl.col(f"left_out_grade.{name}").cast(pl.String)
        made.append(
            pl.when(left_out.list.len() > 0)
            .then(pl.format("{}: {}", grade.fill_null(""), listed(left_out)))
            .when(pl.col(f"recommended.{name}").is_not_null())
            .then(pl.lit("nothing left out"))
            .alias(f"left_out.{name}")
        )
    return made
