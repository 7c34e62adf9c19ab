"""The readings computed from drilled samples, as columns.

Only the walls with samples are unfolded, a row a sample, in order of height and then of depth. The deepest sample of
each height makes the deep profile, once for all readings; then comes one row a wall again. The order of operations is
that of `engine.readings.moisture` and `engine.readings.profile`, so that numbers round alike.
"""

from __future__ import annotations

import functools
import operator
from math import sqrt

import polars as pl

from engine.columns.readings_by_row import CLOSE
from engine.columns.readings_steps import in_steps
from engine.columns.readings_tau import rises_and_falls
from engine.readings.moisture import COVERAGE_FACTOR
from engine.readings.profile import FEWEST_HEIGHTS

_OF_PLACES = (
    "reading.sample_heights",
    "reading.depths_at_base",
    "reading.greatest_depth_mm",
    "reading.height_span_mm",
)
_OF_CONTENTS = (
    "reading.base_mc_percent",
    "reading.base_excess_percent",
    "reading.top_excess_percent",
    "reading.greatest_excess_percent",
    "reading.greatest_hmc_percent",
    "reading.mc_height_tau",
    "reading.mc_peak_above_base_mm",
    "reading.deep_less_surface_percent",
)
_WEIGHED = "reading.base_weighed"
_CLEAR = "reading.base_excess_clear"

SAMPLES = frozenset((*_OF_PLACES, *_OF_CONTENTS, _WEIGHED, _CLEAR))
"""The readings worked out here."""

_MC, _EXCESS = pl.col("mc"), pl.col("excess")
_MASSES = ("dish_g", "wet_g", "conditioned_g", "dry_g")
_RELATIVELY_CLOSE = 1e-9


def sample_readings(known: pl.DataFrame, wanted: frozenset[str]) -> pl.DataFrame:
    """The values of the readings wanted, with a `close:` column where the last bits may decide."""
    if not wanted:
        return pl.DataFrame()
    sampled = known.select((pl.col("moisture.samples").list.len() > 0).fill_null(False)).to_series()
    walls = _walls(_unfolded(known, sampled))
    columns = [in_steps(name, pl.col(name)) for name in _OF_PLACES if name in wanted]
    columns += [in_steps(name, pl.when("certain").then(name)) for name in _OF_CONTENTS if name in wanted]
    columns += [pl.col(name) for name in (_WEIGHED, _CLEAR) if name in wanted]
    columns += [pl.col(CLOSE + _CLEAR)] if _CLEAR in wanted else []
    place = pl.select(pl.when(sampled).then(sampled.cast(pl.UInt32).cum_sum() - 1)).to_series()
    found = walls.select(columns).select(pl.all().gather(place))
    return found.with_columns(pl.col(CLOSE + _CLEAR).fill_null(False)) if _CLEAR in wanted else found


def _unfolded(known: pl.DataFrame, sampled: pl.Series) -> pl.DataFrame:
    """A row a sample, contents on wet basis, in order of wall, height and depth."""
    rows = known.select(
        samples="moisture.samples",
        resolution_g="moisture.balance_resolution_g",
        dry_basis=(pl.col("moisture.basis") == "dry").fill_null(False),
        basis_is_certain=pl.col("moisture.basis").is_not_null()
        | (pl.col("moisture.method") == "carbide").fill_null(False),
    )
    rows = rows.filter(sampled).with_row_index("wall").explode("samples").unnest("samples")
    rows = rows.with_columns(weighed=pl.any_horizontal(pl.col(_MASSES).is_not_null()))
    rows = rows.with_columns(
        mc=_content("wet_g", "mc_percent"), hmc=_content("conditioned_g", "hmc_percent")
    ).with_columns(excess=_MC - pl.col("hmc"))
    return rows.sort("wall", "height_mm", "depth_mm")


def _content(moist_g: str, percent: str) -> pl.Expr:
    weighed = 100 * (pl.col(moist_g) - pl.col("dry_g")) / (pl.col(moist_g) - pl.col("dish_g"))
    of_dry = 100 * pl.col(percent) / (100 + pl.col(percent))
    return pl.when("weighed").then(weighed).when("dry_basis").then(of_dry).otherwise(percent)


def _walls(samples: pl.DataFrame) -> pl.DataFrame:
    """A row a wall with every reading; contents also where their basis is not `certain`."""
    height, depth = pl.col("height_mm"), pl.col("depth_mm")
    samples = samples.with_columns(at_base=height == height.first().over("wall"))
    of_all = samples.group_by("wall", maintain_order=True).agg(
        (pl.col("basis_is_certain").first() | pl.col("weighed").all()).alias("certain"),
        depth.max().alias("reading.greatest_depth_mm"),
        pl.col("at_base").sum().alias("reading.depths_at_base"),
        depth.first().alias("shallowest_mm"),
        _MC.first().alias("shallowest_mc"),
    )
    deepest = (pl.col("wall") != pl.col("wall").shift(-1)) | (height != height.shift(-1))
    deep = samples.filter(deepest.fill_null(True)).with_columns(heights=pl.len().over("wall"))
    of_deep = deep.group_by("wall", maintain_order=True).agg(
        pl.len().cast(pl.Int64).alias("reading.sample_heights"),
        height.first().alias("lowest_mm"),
        (height.last() - height.first()).alias("reading.height_span_mm"),
        depth.first().alias("deepest_mm"),
        pl.col("weighed").first().alias(_WEIGHED),
        pl.col(*_MASSES, "resolution_g").first(),
        _MC.first().alias("reading.base_mc_percent"),
        _EXCESS.first().alias("reading.base_excess_percent"),
        _EXCESS.last().alias("reading.top_excess_percent"),
        _greatest(_EXCESS).alias("reading.greatest_excess_percent"),
        _greatest(pl.col("hmc")).alias("reading.greatest_hmc_percent"),
    )
    walls = pl.concat([of_all.drop("wall"), of_deep, rises_and_falls(deep), _peaks(deep)], how="horizontal")
    return walls.with_columns(
        pl.when(pl.col("deepest_mm") != pl.col("shallowest_mm"))
        .then(pl.col("reading.base_mc_percent") - pl.col("shallowest_mc"))
        .alias("reading.deep_less_surface_percent"),
        pl.when(_has_an_order()).then(_tau_b()).alias("reading.mc_height_tau"),
        pl.when(_has_an_order()).then(pl.col("peak_mm") - pl.col("lowest_mm")).alias("reading.mc_peak_above_base_mm"),
        *_clear(),
    )


def _greatest(content: pl.Expr) -> pl.Expr:
    """The greatest; null where one is unknown, since that one might be."""
    return pl.when(content.null_count() == 0).then(content.max())


def _has_an_order() -> pl.Expr:
    return (pl.col("reading.sample_heights") >= FEWEST_HEIGHTS) & (pl.col("rises") + pl.col("falls") > 0)


def _tau_b() -> pl.Expr:
    heights, rises, falls = pl.col("reading.sample_heights"), pl.col("rises"), pl.col("falls")
    pairs = heights * (heights - 1) // 2
    return (rises - falls) / (pairs * (rises + falls)).sqrt()


def _peaks(deep: pl.DataFrame) -> pl.DataFrame:
    """The height of the greatest MC; the middle where neighbouring heights share it, null where others do."""
    height, place = pl.col("height_mm"), pl.col("place")
    top = deep.with_row_index("place").filter(_MC.max().over("wall") == _MC)
    neighbours = place.last() - place.first() == pl.len() - 1
    middle = (height.first() + height.last()) / 2
    return top.group_by("wall", maintain_order=True).agg(peak_mm=pl.when(neighbours).then(middle)).drop("wall")


def _clear() -> tuple[pl.Expr, pl.Expr]:
    """Whether the excess at the base is greater than its uncertainty; and where that hangs on the last bits."""
    dish_g, wet_g, conditioned_g, dry_g = (pl.col(name) for name in _MASSES)
    mc_dish, mc_moist, mc_dry = _slopes(dish_g, wet_g, dry_g)
    hmc_dish, hmc_moist, hmc_dry = _slopes(dish_g, conditioned_g, dry_g)
    slopes = (mc_dish - hmc_dish, mc_moist, hmc_moist, mc_dry - hmc_dry)
    squares = functools.reduce(operator.add, (slope * slope for slope in slopes))
    expanded = COVERAGE_FACTOR * (pl.col("resolution_g") / sqrt(12) * squares.sqrt())
    size = pl.col("reading.base_excess_percent").abs()
    close = (size - expanded).abs() <= _RELATIVELY_CLOSE * expanded
    return (size > expanded).alias(_CLEAR), close.alias(CLOSE + _CLEAR)


def _slopes(dish_g: pl.Expr, moist_g: pl.Expr, dry_g: pl.Expr) -> tuple[pl.Expr, pl.Expr, pl.Expr]:
    """How a content (%, wet basis) changes with the dish, the moist and the dry weighing, each per gram."""
    moist_sample_g = moist_g - dish_g
    squared = moist_sample_g * moist_sample_g
    return 100 * (moist_g - dry_g) / squared, 100 * (dry_g - dish_g) / squared, -100 / moist_sample_g
