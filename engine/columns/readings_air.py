"""The readings computed from the air, the wall's face and the salts in it, as columns.

The formulae are those of `engine.readings.condensation` and `engine.readings.salts`. Exponentials and logarithms may
differ in the last bit from Python's, so rows on which that bit would decide are marked `close:`.
"""

from __future__ import annotations

import functools
import operator

import polars as pl

from engine.columns.readings_by_row import CLOSE
from engine.columns.readings_facts import facts_read
from engine.columns.readings_steps import dtype_of, in_steps, too_close_to_round
from engine.readings.compute_air import SALT_OF
from engine.readings.condensation import OVER_ICE, OVER_WATER, P0_PA
from engine.readings.figures import IonBounds, ReadingFigures
from engine.readings.salts import SALTS, ZERO_C_IN_K

_SALT_CLASSES = {
    "reading.salt_class_plaster_selection": "plaster_selection",
    "reading.salt_class_stone_conservation": "stone_conservation",
}
_SALT_OF = {f"salts.{ion}_percent": salt for ion, salt in SALT_OF.items()}
_TAKE_UP = "reading.salts_take_up_water"
_CLOSE_RH_PERCENT = 1e-6

AIR = frozenset(
    (
        "reading.dew_point_c",
        "reading.surface_above_dew_point_k",
        "reading.surface_rh_percent",
        "reading.calculated_surface_rh_percent",
        _TAKE_UP,
        *_SALT_CLASSES,
    )
)
"""The readings worked out here."""

_AIR_C = pl.col("climate.air_temperature_c")
_AIR_RH = pl.col("climate.air_rh_percent")
_SURFACE_C = pl.col("climate.surface_temperature_c")


def air_readings(known: pl.DataFrame, figures: ReadingFigures | None, wanted: frozenset[str]) -> pl.DataFrame:
    """The values of the readings wanted, with `close:` columns where the last bits may decide."""
    answers = {name: answer for name, answer in _numbers(figures).items() if name in wanted}
    columns: list[pl.Expr] = []
    for name in answers:
        columns += [in_steps(name, pl.col(name)), too_close_to_round(name, pl.col(name)).alias(CLOSE + name)]
    columns += [_salt_class(name, figures).alias(name) for name in sorted(wanted & _SALT_CLASSES.keys())]
    if _TAKE_UP in wanted:
        columns += [_salts_take_up_water().alias(_TAKE_UP), _close_to_taking_up().alias(CLOSE + _TAKE_UP)]
    if answers:
        # Each on a column of its own, since every step on the way is read more than once.
        known = known.with_columns(vapour_pa=_vapour_pa()).with_columns(dew_point_c=_dew_point_c())
        known = known.with_columns(answer.alias(name) for name, answer in answers.items())
    return known.with_columns(columns).select(each.meta.output_name() for each in columns)


def _numbers(figures: ReadingFigures | None) -> dict[str, pl.Expr]:
    return {
        "reading.dew_point_c": pl.col("dew_point_c"),
        "reading.surface_above_dew_point_k": _SURFACE_C - pl.col("dew_point_c"),
        "reading.surface_rh_percent": _surface_rh(_SURFACE_C),
        "reading.calculated_surface_rh_percent": _calculated_surface_rh(figures),
    }


def _saturation_pa(celsius: pl.Expr) -> pl.Expr:
    over_water = OVER_WATER[0] * celsius / (OVER_WATER[1] + celsius)
    over_ice = OVER_ICE[0] * celsius / (OVER_ICE[1] + celsius)
    return P0_PA * pl.when(celsius >= 0).then(over_water).otherwise(over_ice).exp()


def _vapour_pa() -> pl.Expr:
    return _saturation_pa(_AIR_C) * _AIR_RH / 100


def _dew_point_c() -> pl.Expr:
    x = (pl.col("vapour_pa") / P0_PA).log()
    over_water, over_ice = (at * x / (exponent - x) for exponent, at in (OVER_WATER, OVER_ICE))
    return pl.when(x >= 0).then(over_water).otherwise(over_ice)


def _surface_rh(surface_c: pl.Expr) -> pl.Expr:
    return 100 * pl.col("vapour_pa") / _saturation_pa(surface_c)


def _calculated_surface_rh(figures: ReadingFigures | None) -> pl.Expr:
    if figures is None:
        return pl.lit(None, pl.Float64)
    share = pl.col("climate.u_value_w_m2k") * figures.r_si_m2k_w
    outside_c = pl.col("climate.outside_temperature_c")
    surface_c = pl.when(share <= 1).then(outside_c + (1 - share) * (_AIR_C - outside_c))
    return _surface_rh(surface_c)


def _salt_class(name: str, figures: ReadingFigures | None) -> pl.Expr:
    bounds = None if figures is None else figures.salt_schemes.get(_SALT_CLASSES[name])
    if bounds is None:
        return pl.lit(None, dtype_of(name))
    ions = [(_ion(ion), limit) for ion, limit in bounds.items()]
    classes = (
        pl.when(pl.any_horizontal(_high(content, limit) for content, limit in ions))
        .then(pl.lit("high"))
        .when(pl.any_horizontal(content.is_null() for content, _ in ions))
        .then(pl.lit(None, pl.String))
        .when(pl.all_horizontal(content < limit.low_below_percent for content, limit in ions))
        .then(pl.lit("low"))
        .otherwise(pl.lit("medium"))
    )
    return classes.cast(dtype_of(name))


def _high(content: pl.Expr, limit: IonBounds) -> pl.Expr:
    return (content > limit.high_above_percent).fill_null(False)


def _ion(ion: str) -> pl.Expr:
    """An ion's content; unknown throughout where no fact has it."""
    name = f"salts.{ion}_percent"
    return pl.col(name) if name in facts_read() else pl.lit(None, pl.Float64)


def _margin(salt: str) -> pl.Expr:
    """How far the air is above the humidity over a salt's solution; null where its constants do not hold."""
    constants = SALTS[salt]
    equilibrium = constants.a_percent * (constants.b_k / (_AIR_C + ZERO_C_IN_K)).exp()
    return pl.when(_AIR_C.is_between(constants.from_c, constants.to_c)).then(_AIR_RH - equilibrium)


def _salts_take_up_water() -> pl.Expr:
    """Yes as soon as one salt does; no where both ions are known and neither does or is there at all."""
    each = [
        pl.when(pl.col(ion) > 0).then(_margin(salt) >= 0).when(pl.col(ion) == 0).then(pl.lit(False))
        for ion, salt in _SALT_OF.items()
    ]
    return functools.reduce(operator.or_, each)


def _close_to_taking_up() -> pl.Expr:
    close = [(_margin(salt).abs() < _CLOSE_RH_PERCENT).fill_null(False) for salt in _SALT_OF.values()]
    return functools.reduce(operator.or_, close)
