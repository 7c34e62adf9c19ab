"""A share with its interval, and whether the numbers behind it are too small to say much."""

from __future__ import annotations

import math

from pydantic import model_validator

from engine.decision.model import Part

Z_95 = 1.959963984540054
"""The standard normal deviate that leaves 2.5 % on either side."""

FEW = 30
WIDE = 0.30
"""A share is called small in numbers when it rests on fewer than `FEW`, or its interval is `WIDE` or wider.

Both limits are those of the National Center for Health Statistics, Data Presentation Standards for Proportions (Vital
and Health Statistics, series 2, no. 175, 2017; the limits from memory), as far as they concern a plain count. The
report applies the second to the interval of Clopper and Pearson, which is wider than the one used here; its further
limit on the width relative to the share is left out.
"""


class Share(Part):
    """`part` of `whole`, with the 95 % interval by Wilson's score. All three shares are from 0 to 1.

    Where `whole` is 0 there is no share: `share` is None, and the interval is everything.
    """

    part: int
    whole: int
    share: float | None
    low: float
    high: float
    small: bool

    @model_validator(mode="after")
    def _in_order(self) -> Share:
        if not 0 <= self.part <= self.whole:
            raise ValueError(f"{self.part} cannot be a part of {self.whole}")
        return self


def wilson(part: int, whole: int) -> tuple[float, float]:
    """The 95 % interval of a share by Wilson's score, without correction for continuity; from 0 to 1 of nothing.

    Wilson, Journal of the American Statistical Association 22 (1927), 209 to 212.

    Raises:
        ValueError: `part` is below 0 or above `whole`.
    """
    if not 0 <= part <= whole:
        raise ValueError(f"{part} cannot be a part of {whole}")
    if whole == 0:
        return 0.0, 1.0
    share, square = part / whole, Z_95 * Z_95
    middle = (share + square / (2 * whole)) / (1 + square / whole)
    half = Z_95 / (1 + square / whole) * math.sqrt(share * (1 - share) / whole + square / (4 * whole * whole))
    # At the ends the formula gives 0 and 1 but for rounding.
    low = 0.0 if part == 0 else max(0.0, middle - half)
    high = 1.0 if part == whole else min(1.0, middle + half)
    return low, high


def share_of(part: int, whole: int) -> Share:
    """A share with its interval, to six decimals, and whether it rests on small numbers.

    Raises:
        ValueError: `part` is below 0 or above `whole`.
    """
    low, high = wilson(part, whole)
    return Share(
        part=part,
        whole=whole,
        share=round(part / whole, 6) if whole else None,
        low=round(low, 6),
        high=round(high, 6),
        small=whole < FEW or high - low >= WIDE,
    )
