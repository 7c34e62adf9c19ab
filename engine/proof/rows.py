"""Lists of rows that would give wanted readings: tried where the solver only says what the readings would be."""

from __future__ import annotations

import itertools
import random
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import TypeAlias

from engine.facts.wall_evidence import MoistureSample
from engine.facts.wall_fabric import GroundPoint
from engine.readings.profile import Sample

Rows: TypeAlias = tuple[MoistureSample, ...]
Wanted: TypeAlias = Mapping[str, float]
"""By name of the reading: the value it should have; one that is left out may have any."""

_DISH_G, _SAMPLE_G = 10.0, 2.5
_USUAL = {
    "reading.sample_heights": 3.0,
    "reading.height_span_mm": 900.0,
    "reading.greatest_depth_mm": 80.0,
    "reading.depths_at_base": 1.0,
    "reading.base_mc_percent": 6.0,
}
_SHAPES: tuple[Callable[[float, float], float], ...] = (
    lambda base, share: base * (1 - 0.85 * share),
    lambda base, share: base,
    lambda base, share: base + 5 * share,
    lambda base, share: base + 4 * (0 < share < 1) - 0.5 * base * (share == 1),
    lambda base, share: base if share == 0 else 0.4 * base * share,
)
"""MC over the share of the height: falling, even, rising, with a peak above the base, rising above a wetter base."""
_ABOVE: tuple[Callable[[float, float], float | None], ...] = (
    lambda mc, hmc: hmc,
    lambda mc, hmc: mc,
    lambda mc, hmc: max(0.0, mc - 2),
    lambda mc, hmc: mc + 1,
    lambda mc, hmc: None,
)
"""HMC above the base from MC there and HMC at the base: the same, all of it, two points less, more than all, none."""


@dataclass(frozen=True, slots=True)
class SampleKind:
    """What samples may be: with hygroscopic contents, given as masses, no deeper than the wall (mm) where known.

    `dry_basis`: their percentages are of the dry mass; contents are thought of here in % of the wet mass throughout.
    """

    with_hmc: bool
    weighed: bool
    deepest_mm: int | None
    dry_basis: bool


def sample_sets(wanted: Wanted, kind: SampleKind) -> Iterator[Rows]:
    """Sets of samples that come near what is wanted: every shape of the profile with every shape of the HMC."""
    want = {**_USUAL, **wanted}
    count = max(1, min(int(want["reading.sample_heights"]), 12))
    span = int(min(max(want["reading.height_span_mm"], count - 1), 5000)) if count > 1 else 0
    heights = [round(span * each / max(1, count - 1)) for each in range(count)]
    depth = int(min(want["reading.greatest_depth_mm"], kind.deepest_mm or 1500, 1500))
    base = min(want["reading.base_mc_percent"], 55.0)
    if base == 0 and wanted.get("reading.mc_peak_above_base_mm") == 0:
        base = 0.004  # reads as nought, and is still more than nothing above it
    excess = wanted.get("reading.base_excess_percent")
    hmc = min(40.0, max(0.0, base - (excess if excess is not None else 2.0)))
    top = wanted.get("reading.top_excess_percent")
    less = wanted.get("reading.deep_less_surface_percent", 0.0)
    kept_hmc = (None, *_ABOVE) if kind.with_hmc else (None,)
    for shape, above, hmc_at_base in itertools.product(_SHAPES, kept_hmc, (True, False)):
        rows = []
        for height in heights:
            share = height / span if span else 0.0
            mc = shape(base, share)
            content: float | None = None
            if above is not None and (share or hmc_at_base):
                content = above(mc, hmc) if share else hmc
                if share == 1 and top is not None:
                    content = mc - top
            rows.append((height, depth, mc, content))
        if want["reading.depths_at_base"] >= 2 and depth:
            shallow = max(0, depth - 60)
            extra = min(int(want["reading.depths_at_base"]) - 1, depth - shallow)
            rows += [(heights[0], shallow + each, base - less, None) for each in range(extra)]
        yield tuple(_row(*row, kind) for row in rows)


def as_kind(samples: Iterable[Sample], kind: SampleKind) -> Rows:
    """Samples on the wet basis, as a survey of this kind would give them."""
    deepest = kind.deepest_mm or 1500
    return tuple(
        _row(
            int(each.height_mm),
            min(int(each.depth_mm), deepest),
            each.mc_percent,
            each.hmc_percent if kind.with_hmc else None,
            kind,
        )
        for each in samples
    )


def another(rows: Rows, wanted: Wanted, kind: SampleKind, rng: random.Random) -> Rows:
    """The same samples with one content changed, to a value that some wanted reading has or lies beside."""
    index = rng.randrange(len(rows))
    contents = [_contents(row, kind) for row in rows]
    mc, hmc = contents[index]
    near = [value for name, value in wanted.items() if name.endswith("_percent")] or [5.0]
    step = rng.choice((0.0, 0.01, -0.01, 0.5, -0.5, 2.0, -2.0))
    if kind.with_hmc and rng.random() < 0.6:
        hmc = None if rng.random() < 0.15 else rng.choice((mc, mc - rng.choice(near), rng.choice(near))) + step
    else:
        mc = rng.choice((mc, contents[index - 1][0], rng.choice(near), mc * rng.random())) + step
    changed = list(rows)
    row = rows[index]
    changed[index] = _row(row.height_mm, row.depth_mm, mc, hmc, kind)
    return tuple(changed)


def _contents(row: MoistureSample, kind: SampleKind) -> tuple[float, float | None]:
    """MC and HMC of a sample made here, % of the wet mass."""
    if row.mc_percent is not None:
        found = (row.mc_percent, row.hmc_percent)
        return (_wet(found[0]), None if found[1] is None else _wet(found[1])) if kind.dry_basis else found

    def percent(mass_g: float) -> float:
        return 100 * (1 - _SAMPLE_G / (mass_g - _DISH_G))

    return percent(row.wet_g or 0.0), None if row.conditioned_g is None else percent(row.conditioned_g)


def _wet(percent_of_dry: float) -> float:
    return 100 * percent_of_dry / (100 + percent_of_dry)


def _row(height: int, depth: int, mc: float, hmc: float | None, kind: SampleKind) -> MoistureSample:
    # 28 % of the wet mass is as much as 40 % of the dry, the most a survey may give of an HMC.
    mc = min(max(mc, 0.0), 37.0)
    hmc = None if hmc is None else min(max(hmc, 0.0), 28.0)
    if kind.weighed:
        return MoistureSample(
            height_mm=height,
            depth_mm=depth,
            dish_g=_DISH_G,
            dry_g=_DISH_G + _SAMPLE_G,
            wet_g=_weighed_wet(mc),
            conditioned_g=None if hmc is None else _weighed_wet(hmc),
        )
    if kind.dry_basis:
        mc, hmc = 100 * mc / (100 - mc), None if hmc is None else 100 * hmc / (100 - hmc)
    mc, hmc = round(mc, 4), None if hmc is None else round(hmc, 4)
    return MoistureSample(height_mm=height, depth_mm=depth, mc_percent=mc, hmc_percent=hmc)


def _weighed_wet(percent_of_wet: float) -> float:
    return round(_DISH_G + _SAMPLE_G / (1 - percent_of_wet / 100), 6)


def ground_profile(highest_mm: int, fall_mm: int, length_m: float | None) -> tuple[GroundPoint, ...]:
    """Points of the ground with this highest level and, as far as levels go, this fall."""
    low = max(highest_mm - fall_mm, -5000)
    if low == highest_mm:
        return (GroundPoint(at_m=0.0, level_mm=highest_mm),)
    last = 1.0 if length_m is None else min(1.0, length_m)
    return (GroundPoint(at_m=0.0, level_mm=highest_mm), GroundPoint(at_m=last, level_mm=low))
