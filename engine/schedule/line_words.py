"""How the schedule writes figures."""

from __future__ import annotations


def mm(level_mm: float) -> str:
    """Write millimetres to the tenth."""
    return f"{round(level_mm, 1) + 0.0:g} mm"


def m(place_m: float) -> str:
    """Write metres to the centimetre."""
    return f"{place_m + 0.0:.2f} m"


def listed(words: list[str] | tuple[str, ...]) -> str:
    """Write a list in a sentence."""
    return " and ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else list(words))
