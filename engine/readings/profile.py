"""What a series of drilled samples says about how damp changes with height and with depth.

At each height the deepest sample stands for the wall, because the surface takes part in the weather of the
room (BRE Digest 245 leaves out the outer part of each hole). Every function does that choice itself; to
read the surface instead, pass it `surface_profile(samples)`. All contents of one series are on one basis,
heights and depths in mm.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations, pairwise
from math import hypot, sqrt
from typing import Literal

from engine.readings.limits import outside, refuse
from engine.readings.moisture import excess_of_contents

FEWEST_HEIGHTS = 3
"""Two heights always rise or fall, whatever the cause; an order, a step or a peak needs a third."""


@dataclass(frozen=True, slots=True)
class Sample:
    """One sample: where it was taken, and its contents in % by mass; `None` where it was not analysed.

    Height from the survey's own zero (below it is negative), depth from the face to the sample. Depth and
    contents are zero or more, else `ValueError`.
    """

    height_mm: float
    depth_mm: float
    mc_percent: float
    hmc_percent: float | None = None
    chloride_percent: float | None = None
    nitrate_percent: float | None = None

    def __post_init__(self) -> None:
        refuse(
            outside("the sample's height (mm)", self.height_mm),
            outside("the sample's depth (mm)", self.depth_mm, at_least=0),
            outside("the MC (%)", self.mc_percent, at_least=0),
            outside("the HMC (%)", self.hmc_percent, at_least=0),
            outside("the chloride (%)", self.chloride_percent, at_least=0),
            outside("the nitrate (%)", self.nitrate_percent, at_least=0),
        )

    @property
    def excess_percent(self) -> float | None:
        """MC - HMC in percentage points; `None` when the HMC is unknown."""
        return excess_of_contents(self.mc_percent, self.hmc_percent)


@dataclass(frozen=True, slots=True)
class VanishingHeight:
    """The height above which no sample holds more than its HMC, and how far it may be off to either side."""

    height_mm: float
    uncertainty_mm: float


@dataclass(frozen=True, slots=True)
class Step:
    """The greatest change of MC between two neighbouring heights.

    `change_percent` is in percentage points, as a positive figure; `share_of_range` (0 to 1) is its part of
    the difference between the wettest and the driest height.
    """

    lower_mm: float
    upper_mm: float
    change_percent: float
    share_of_range: float


@dataclass(frozen=True, slots=True)
class DepthDifference:
    """How much wetter the deepest sample of one height is than the shallowest, in percentage points of MC."""

    height_mm: float
    shallow_mm: float
    deep_mm: float
    deep_minus_surface_percent: float


def deep_profile(samples: Sequence[Sample]) -> tuple[Sample, ...]:
    """Give the deepest sample of each height, from the lowest height up.

    Raises `ValueError` that names every place from which more than one sample is given.
    """
    return _profile(samples, max)


def surface_profile(samples: Sequence[Sample]) -> tuple[Sample, ...]:
    """Give the shallowest sample of each height, from the lowest height up; errors as `deep_profile`."""
    return _profile(samples, min)


def number_of_heights(samples: Sequence[Sample]) -> int:
    """Count the heights from which there are samples."""
    return len({sample.height_mm for sample in samples})


def mc_at_base_percent(samples: Sequence[Sample]) -> float | None:
    """Give the MC (%) at the lowest height; `None` when there are no samples."""
    profile = deep_profile(samples)
    return profile[0].mc_percent if profile else None


def excess_at_base_percent(samples: Sequence[Sample]) -> float | None:
    """Give the excess (percentage points) at the lowest height; `None` without samples or without its HMC."""
    profile = deep_profile(samples)
    return profile[0].excess_percent if profile else None


def excess_at_top_percent(samples: Sequence[Sample]) -> float | None:
    """Give the excess (percentage points) at the greatest height; `None` as `excess_at_base_percent`."""
    profile = deep_profile(samples)
    return profile[-1].excess_percent if profile else None


def max_hmc_percent(samples: Sequence[Sample]) -> float | None:
    """Give the greatest HMC (%) of the profile.

    `None` without samples, or when one of them has no HMC, since that one might be the greatest.
    """
    return _greatest([sample.hmc_percent for sample in deep_profile(samples)])


def max_excess_percent(samples: Sequence[Sample]) -> float | None:
    """Give the greatest excess (percentage points) of the profile; `None` as `max_hmc_percent`."""
    return _greatest([sample.excess_percent for sample in deep_profile(samples)])


def vanishing_height(
    samples: Sequence[Sample], expanded_uncertainty_percent: float | None = None
) -> VanishingHeight | None:
    """Give the height at which the excess vanishes for good, on a straight line between two samples.

    The two are the highest sample with an excess above zero and the next above it that has none. The
    uncertainty is half the distance between them; or, where the expanded uncertainty of each excess
    (percentage points, zero or more) is given, that carried to the height along the straight line. `None`
    when no sample is in excess, when the highest one still is, or when an unknown HMC above them leaves it
    open. Raises `ValueError` for an uncertainty below zero.
    """
    refuse(outside("the expanded uncertainty (percentage points)", expanded_uncertainty_percent, at_least=0))
    upper: tuple[float, float] | None = None
    open_above = False
    for sample in reversed(deep_profile(samples)):
        excess = sample.excess_percent
        if excess is None:
            open_above = True
        elif excess <= 0:
            if open_above:
                return None
            upper = (sample.height_mm, excess)
        elif upper is None:
            return None
        else:
            return _zero_between((sample.height_mm, excess), upper, expanded_uncertainty_percent)
    return None


def largest_step(samples: Sequence[Sample], direction: Literal["fall", "rise"]) -> Step | None:
    """Give the greatest fall, or the greatest rise, of MC from one height to the next above it.

    Of equal steps the lowest. `None` with fewer than three heights, since two make one step that is all of
    the range, and when the MC nowhere changes in that direction.
    """
    profile = deep_profile(samples)
    if len(profile) < FEWEST_HEIGHTS:
        return None
    sign = 1 if direction == "rise" else -1
    lower, upper = max(pairwise(profile), key=lambda pair: sign * (pair[1].mc_percent - pair[0].mc_percent))
    change = sign * (upper.mc_percent - lower.mc_percent)
    if change <= 0:
        return None
    contents = [sample.mc_percent for sample in profile]
    return Step(lower.height_mm, upper.height_mm, change, change / (max(contents) - min(contents)))


def mc_peak_height_mm(samples: Sequence[Sample]) -> float | None:
    """Give the height (mm) of the greatest MC.

    Neighbouring heights that share it give the middle of the lowest and the highest of them. `None` with
    fewer than three heights, when all hold the same, and when heights that are no neighbours share it.
    """
    return _peak_height_mm(samples, lambda sample: sample.mc_percent)


def chloride_peak_height_mm(samples: Sequence[Sample]) -> float | None:
    """Give the height (mm) of the most chloride, over the deepest samples analysed for it.

    Otherwise as `mc_peak_height_mm`.
    """
    return _peak_height_mm(samples, lambda sample: sample.chloride_percent)


def nitrate_peak_height_mm(samples: Sequence[Sample]) -> float | None:
    """Give the height (mm) of the most nitrate, over the deepest samples analysed for it.

    Otherwise as `mc_peak_height_mm`.
    """
    return _peak_height_mm(samples, lambda sample: sample.nitrate_percent)


def depth_differences(samples: Sequence[Sample]) -> tuple[DepthDifference, ...]:
    """Compare depth and surface at each height with samples from more than one depth, lowest first."""
    return tuple(
        DepthDifference(deep.height_mm, surface.depth_mm, deep.depth_mm, deep.mc_percent - surface.mc_percent)
        for surface, deep in zip(surface_profile(samples), deep_profile(samples), strict=True)
        if surface.depth_mm < deep.depth_mm
    )


def deep_minus_surface_at_base_percent(samples: Sequence[Sample]) -> float | None:
    """Give how much wetter the wall is at depth than at the surface at the lowest height, points of MC.

    `None` without samples, or when the lowest height has samples from one depth only.
    """
    deep, surface = deep_profile(samples), surface_profile(samples)
    if not deep or surface[0].depth_mm == deep[0].depth_mm:
        return None
    return deep[0].mc_percent - surface[0].mc_percent


def kendall_tau_b(samples: Sequence[Sample]) -> float | None:
    """Give Kendall's tau-b of MC with height: -1 where it falls throughout, +1 where it rises throughout.

    `None` with fewer than three heights, which have no order worth the name, and when the MC is the same at
    all heights.
    """
    contents = _ranked_contents(samples)
    if contents is None:
        return None
    pairs = len(contents) * (len(contents) - 1) // 2
    rises, falls = _rises_and_falls(contents)
    return (rises - falls) / sqrt(pairs * (rises + falls))


def falling_p_value(samples: Sequence[Sample]) -> float | None:
    """Give the chance that MC in no relation to height would fall with height at least as clearly as it does.

    The exact one-sided p-value of Kendall's tau: the share of all orders of these contents that have no
    fewer falling pairs. It is exact for equal contents too. `None` as `kendall_tau_b`. Three heights reach
    1/6 at best, four 1/24.
    """
    contents = _ranked_contents(samples)
    if contents is None:
        return None
    _, falls = _rises_and_falls(contents)
    ways = _orders_by_falls(tuple(sorted(contents.count(content) for content in set(contents))))
    return sum(ways[falls:]) / sum(ways)


def _profile(samples: Sequence[Sample], choose: Callable[[float, float], float]) -> tuple[Sample, ...]:
    places = [(sample.height_mm, sample.depth_mm) for sample in samples]
    refuse(
        *(
            f"more than one sample from height {height_mm:g} mm, depth {depth_mm:g} mm"
            for height_mm, depth_mm in sorted({place for place in places if places.count(place) > 1})
        )
    )
    chosen: dict[float, Sample] = {}
    for sample in samples:
        rival = chosen.get(sample.height_mm)
        if rival is None or choose(sample.depth_mm, rival.depth_mm) == sample.depth_mm:
            chosen[sample.height_mm] = sample
    return tuple(chosen[height_mm] for height_mm in sorted(chosen))


def _zero_between(
    lower: tuple[float, float], upper: tuple[float, float], expanded_uncertainty_percent: float | None
) -> VanishingHeight:
    (low_mm, low_excess), (high_mm, high_excess) = lower, upper
    gap_mm, drop = high_mm - low_mm, low_excess - high_excess
    height_mm = low_mm + gap_mm * low_excess / drop
    if expanded_uncertainty_percent is None:
        return VanishingHeight(height_mm, gap_mm / 2)
    slope_mm_per_point = gap_mm / drop
    spread = hypot(low_excess, high_excess) / drop
    return VanishingHeight(height_mm, expanded_uncertainty_percent * slope_mm_per_point * spread)


def _peak_height_mm(samples: Sequence[Sample], content: Callable[[Sample], float | None]) -> float | None:
    profile = deep_profile([sample for sample in samples if content(sample) is not None])
    contents = [content(sample) or 0.0 for sample in profile]
    if len(profile) < FEWEST_HEIGHTS or max(contents) == min(contents):
        return None
    top = [place for place, value in enumerate(contents) if value == max(contents)]
    if top[-1] - top[0] != len(top) - 1:
        return None
    return (profile[top[0]].height_mm + profile[top[-1]].height_mm) / 2


def _greatest(contents: Sequence[float | None]) -> float | None:
    known = [content for content in contents if content is not None]
    return max(known) if known and len(known) == len(contents) else None


def _ranked_contents(samples: Sequence[Sample]) -> list[float] | None:
    """Give the MC from the lowest height up; `None` when they have no order to speak of."""
    contents = [sample.mc_percent for sample in deep_profile(samples)]
    return contents if len(contents) >= FEWEST_HEIGHTS and len(set(contents)) > 1 else None


def _rises_and_falls(contents: Sequence[float]) -> tuple[int, int]:
    pairs = list(combinations(contents, 2))
    return sum(low < high for low, high in pairs), sum(low > high for low, high in pairs)


@lru_cache(maxsize=256)
def _orders_by_falls(group_sizes: tuple[int, ...]) -> tuple[int, ...]:
    """Count, for 0, 1, 2, ... falling pairs, the orders of things in groups of equals of these sizes.

    The counts are the coefficients of the q-multinomial: the product of (1 + q + ... + q^(i-1)) for i up to
    the number of things, divided by the same product for each group.
    """
    counts = [1]
    placed = 0
    for size in group_sizes:
        for i in range(1, size + 1):
            counts = _divided(_multiplied(counts, placed + i), i)
        placed += size
    return tuple(counts)


def _multiplied(counts: list[int], length: int) -> list[int]:
    """Multiply a polynomial by 1 + q + ... + q^(length-1)."""
    product: list[int] = []
    for i in range(len(counts) + length - 1):
        gained = counts[i] if i < len(counts) else 0
        lost = counts[i - length] if i >= length else 0
        product.append((product[-1] if product else 0) + gained - lost)
    return product


def _divided(counts: list[int], length: int) -> list[int]:
    """Divide a polynomial by 1 + q + ... + q^(length-1), where that leaves no remainder."""
    quotient: list[int] = []
    for i in range(len(counts) - length + 1):
        earlier = quotient[i - length] if i >= length else 0
        quotient.append(earlier + counts[i] - (counts[i - 1] if i else 0))
    return quotient
