"""How a mapping says dates are written: as offices say it (dd/mm/yyyy) or in the letters of strptime (%d/%m/%Y)."""

from __future__ import annotations

import datetime as dt
import re

_TRIED_DAY = dt.date(2021, 3, 14)
_LETTERS = re.compile(r"y+|m+|d+", re.IGNORECASE)
_MEANT = {"d": "%d", "dd": "%d", "m": "%m", "mm": "%m", "mmm": "%b", "mmmm": "%B", "yy": "%y", "yyyy": "%Y"}
_SAID = {"%d": "dd", "%m": "mm", "%b": "mmm", "%B": "mmmm", "%y": "yy", "%Y": "yyyy"}


def strptime_form(text: str) -> str:
    """A way to write dates in the letters of strptime. What has a % in it is in them already."""
    if "%" in text:
        return text
    return _LETTERS.sub(lambda found: _MEANT.get(found.group().lower(), found.group()), text)


def said_form(text: str) -> str:
    """A way to write dates as offices say it; what cannot be said so stays as it is."""
    said = re.sub(r"%[dmbByY]", lambda found: _SAID[found.group()], strptime_form(text))
    return text if "%" in said else said


def is_date_format(text: str) -> bool:
    """Whether a day written so can be read back."""
    form = strptime_form(text)
    try:
        return dt.datetime.strptime(_TRIED_DAY.strftime(form), form).date() == _TRIED_DAY
    except (ValueError, re.error):
        return False
