"""When the notice for work on a party wall is served, and until when it lasts.

Pure arithmetic of dates; the periods belong to the rule base and are passed in. Unknown in, unknown out. Source: Party
Wall etc. Act 1996, section 3, for England and Wales: notice at least two months before the work begins, of no effect
once twelve months beginning with the day of service are over and the work has not begun. No reply within fourteen days
counts as a dispute (as reported by another page); that they too begin with the day of service is from memory, to be
verified against the text. Consent or an award is needed all the same.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from engine.readings.limits import outside, refuse
from engine.schedule.months import months_on


@dataclass(frozen=True, slots=True)
class NoticeTerms:
    """The periods: whole months before the work, whole months until the notice lapses, days to reply.

    Each at least 1, and the notice lapses later than it lets the work begin, else `ValueError`.
    """

    months_before: int
    lapses_after_months: int
    reply_days: int
    source_id: str

    def __post_init__(self) -> None:
        refuse(
            outside("the notice before the work (months)", self.months_before, at_least=1),
            outside("the life of the notice (months)", self.lapses_after_months, above=max(1, self.months_before)),
            outside("the time to reply (days)", self.reply_days, at_least=1),
        )


@dataclass(frozen=True, slots=True)
class ServeBetween:
    """The first and the last day on which a notice can be served for work that begins on a given day."""

    first: dt.date
    last: dt.date
    source_id: str


@dataclass(frozen=True, slots=True)
class NoticeServed:
    """What follows from the day of service.

    `reply_by` is the last day for consent, and on `dispute_from` silence counts as a dispute; the work may begin from
    `work_from` and has begun by `work_by`, or the notice lapses.
    """

    reply_by: dt.date
    dispute_from: dt.date
    work_from: dt.date
    work_by: dt.date
    source_id: str


def serve_between(starts: dt.date | None, terms: NoticeTerms) -> ServeBetween | None:
    """Say when a notice can be served for work that begins on `starts`: it lasts until then and is in time."""
    if starts is None:
        return None
    first = months_on(starts, -terms.lapses_after_months)
    while _last_of_months(first, terms.lapses_after_months) < starts:
        first += dt.timedelta(1)
    return ServeBetween(first, months_on(starts, -terms.months_before), terms.source_id)


def once_served(served: dt.date | None, terms: NoticeTerms) -> NoticeServed | None:
    """Say what follows from a notice served on `served`: until when to reply, and when the work may begin."""
    if served is None:
        return None
    dispute_from = served + dt.timedelta(terms.reply_days)
    # Where the month has no such day, two months are over only with the month's last day: so from the day after it.
    work_from = months_on(served, terms.months_before)
    if work_from.day < served.day:
        work_from += dt.timedelta(1)
    return NoticeServed(
        dispute_from - dt.timedelta(1),
        dispute_from,
        work_from,
        _last_of_months(served, terms.lapses_after_months),
        terms.source_id,
    )


def _last_of_months(first: dt.date, months: int) -> dt.date:
    """The last day of so many months of which `first` is the first day."""
    return months_on(first, months) - dt.timedelta(1)
