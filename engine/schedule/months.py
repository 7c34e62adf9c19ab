"""Calendar months counted on and back from a day."""

from __future__ import annotations

import calendar
import datetime as dt

from engine.readings.limits import outside, refuse


def months_on(day: dt.date, months: int) -> dt.date:
    """The same day so many months on or, below zero, back; the month's last where it has no such day.

    Raises:
        ValueError: the year is out of the calendar's range.
    """
    year, month = divmod(day.year * 12 + day.month - 1 + months, 12)
    refuse(outside("the year", year, at_least=dt.MINYEAR, at_most=dt.MAXYEAR))
    return dt.date(year, month + 1, min(day.day, calendar.monthrange(year, month + 1)[1]))
