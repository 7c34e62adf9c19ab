"""The one way the readings refuse a figure that cannot be."""

from __future__ import annotations

from math import isfinite


def outside(
    what: str,
    value: float | None,
    *,
    at_least: float | None = None,
    above: float | None = None,
    at_most: float | None = None,
    below: float | None = None,
) -> str | None:
    """Say in words how a figure breaks its limits; `None` when it keeps them or is unknown.

    `what` names the figure with its unit; `at_least` and `at_most` are allowed themselves, `above` and
    `below` are not.
    """
    if value is None:
        return None
    if not isfinite(value):
        return f"{what} must be a finite number, not {value}"
    if at_least is not None and value < at_least:
        return f"{what} must be at least {at_least:g}, not {value}"
    if above is not None and value <= above:
        return f"{what} must be above {above:g}, not {value}"
    if at_most is not None and value > at_most:
        return f"{what} must be at most {at_most:g}, not {value}"
    if below is not None and value >= below:
        return f"{what} must be below {below:g}, not {value}"
    return None


def refuse(*problems: str | None) -> None:
    """Raise one `ValueError` that reports every problem given; do nothing when there is none."""
    found = [problem for problem in problems if problem is not None]
    if found:
        raise ValueError("; ".join(found))
