"""What the readings of one wall are computed from."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, TypeAlias

from engine.readings.figures import ReadingFigures

Answer: TypeAlias = bool | int | float | str


@dataclass(frozen=True, slots=True)
class Given:
    """The known facts by name, the year of the survey, and the published figures where there are any."""

    facts: Mapping[str, Any]
    survey_year: int
    figures: ReadingFigures | None = None
    kept: dict[str, Any] = field(default_factory=dict, compare=False, repr=False)
    """What several readings are worked out from, once it is."""

    def get(self, name: str) -> Any:
        """A fact; `None` when it is unknown or does not apply."""
        return self.facts.get(name)


Read: TypeAlias = Callable[[Given], Answer | None]
