"""Dates of a notice for work on a party wall, against days counted by hand and by trying every day."""

from __future__ import annotations

import datetime as dt

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engine.schedule.party_wall import NoticeTerms, once_served, serve_between

# Party Wall etc. Act 1996, section 3: at least two months before the work, of no effect if it has not begun within
# twelve months beginning with the day of service. Fourteen days to reply (as reported by another page).
TERMS = NoticeTerms(2, 12, 14, "party_wall_act_1996")
DAY = dt.timedelta(1)
days = st.dates(dt.date(2000, 1, 1), dt.date(2100, 12, 31))


def date(text: str) -> dt.date:
    return dt.date.fromisoformat(text)


@pytest.mark.parametrize(
    ("starts", "first", "last"),
    [
        ("2026-05-11", "2025-05-12", "2026-03-11"),
        ("2026-01-15", "2025-01-16", "2025-11-15"),
        # No 30th of February: two months from its last day are over on 28 April.
        ("2026-04-30", "2025-05-01", "2026-02-28"),
        ("2028-04-30", "2027-05-01", "2028-02-29"),
        ("2028-02-29", "2027-03-01", "2027-12-29"),
        ("2025-02-28", "2024-03-01", "2024-12-28"),
    ],
)
def test_when_to_serve(starts: str, first: str, last: str) -> None:
    found = serve_between(date(starts), TERMS)
    assert found is not None
    assert (found.first, found.last, found.source_id) == (date(first), date(last), "party_wall_act_1996")


@pytest.mark.parametrize(
    ("served", "reply_by", "work_from", "work_by"),
    [
        ("2026-03-11", "2026-03-24", "2026-05-11", "2027-03-10"),
        ("2026-12-31", "2027-01-13", "2027-03-01", "2027-12-30"),
        ("2027-12-29", "2028-01-11", "2028-02-29", "2028-12-28"),
        ("2024-02-29", "2024-03-13", "2024-04-29", "2025-02-27"),
    ],
)
def test_once_served(served: str, reply_by: str, work_from: str, work_by: str) -> None:
    found = once_served(date(served), TERMS)
    assert found is not None
    assert found.reply_by == date(reply_by)
    assert found.dispute_from == date(reply_by) + DAY
    assert (found.work_from, found.work_by) == (date(work_from), date(work_by))


def test_fourteen_days_begin_with_the_day_of_service() -> None:
    found = once_served(date("2026-03-11"), TERMS)
    assert found is not None
    assert (found.reply_by - date("2026-03-11")).days + 1 == 14


@given(days)
@settings(deadline=None, max_examples=50)
def test_both_ways_say_the_same_of_every_day(starts: dt.date) -> None:
    """Outside check: try every day of the year and a half before, and see which let the work begin on that day."""
    between = serve_between(starts, TERMS)
    assert between is not None
    allowed = []
    for before in range(1, 550):
        served = starts - before * DAY
        found = once_served(served, TERMS)
        assert found is not None
        if found.work_from <= starts <= found.work_by:
            allowed.append(served)
    assert (min(allowed), max(allowed)) == (between.first, between.last)
    assert len(allowed) == (between.last - between.first).days + 1


@given(days)
@settings(deadline=None)
def test_notice_is_never_shorter_than_the_law_asks(starts: dt.date) -> None:
    between = serve_between(starts, TERMS)
    assert between is not None
    # The shortest two months have 59 days, the longest 62; a notice that is served in time leaves time to reply.
    assert 59 <= (starts - between.last).days <= 62
    # Twelve months that begin with the first day hold the start.
    assert 363 <= (starts - between.first).days <= 365
    found = once_served(between.last, TERMS)
    assert found is not None
    assert found.dispute_from < found.work_from <= starts <= found.work_by


def test_unknown_in_unknown_out() -> None:
    assert serve_between(None, TERMS) is None
    assert once_served(None, TERMS) is None


def test_limits() -> None:
    with pytest.raises(ValueError, match=r"before the work .*; .*life of the notice .*; .*reply"):
        NoticeTerms(0, 0, 0, "x")
    with pytest.raises(ValueError, match="life of the notice"):
        NoticeTerms(12, 12, 14, "x")
    with pytest.raises(ValueError, match="year"):
        once_served(dt.date(9999, 6, 1), TERMS)
