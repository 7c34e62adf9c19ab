"""Draws that come out alike on every machine and under every version of Python."""

from __future__ import annotations

import hashlib
import random
from collections.abc import Sequence
from typing import TypeVar

T = TypeVar("T")


class Draw:
    """A source of draws that is given by its key alone.

    Everything is made from `random()`, whose sequence Python promises to keep; what the other methods of its generator
    come to is not promised.
    """

    def __init__(self, *key: object) -> None:
        digest = hashlib.sha256("\n".join(str(part) for part in key).encode()).digest()
        self._next = random.Random(int.from_bytes(digest, "big")).random

    def chance(self, share: float) -> bool:
        """True so often: 0 never, 1 always."""
        return self._next() < share

    def below(self, count: int) -> int:
        """A whole number from 0 to one less than `count`."""
        return int(self._next() * count)

    def between(self, low: float, high: float, step: float) -> float:
        """A number from `low` to `high` in whole steps."""
        return round(low + step * self.below(round((high - low) / step) + 1), 6)

    def one(self, several: Sequence[T]) -> T:
        """One of several, each as likely as the others."""
        return several[self.below(len(several))]

    def weighted(self, several: Sequence[T], weights: Sequence[float]) -> T:
        """One of several, each as likely as its weight says."""
        at = self._next() * sum(weights)
        for each, weight in zip(several, weights, strict=True):
            at -= weight
            if at < 0:
                return each
        return several[-1]

    def shuffled(self, several: Sequence[T]) -> list[T]:
        """All of them, in an order that is drawn."""
        left = list(several)
        return [left.pop(self.below(len(left))) for _ in range(len(left))]
