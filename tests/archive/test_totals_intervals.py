"""Shares and their intervals, against another library and published values."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binomtest

from engine.archive.intervals import share_of, wilson


@st.composite
def counts(draw):
    whole = draw(st.integers(1, 200_000))
    return draw(st.integers(0, whole)), whole


@given(counts())
def test_the_interval_is_the_one_another_library_computes(pair):
    part, whole = pair
    theirs = binomtest(part, whole).proportion_ci(confidence_level=0.95, method="wilson")
    assert wilson(part, whole) == pytest.approx((theirs.low, theirs.high), abs=1e-9)


@pytest.mark.parametrize(
    ("part", "whole", "low", "high"),
    [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0, 0.1611), (1, 29, 0.0061, 0.1718)],
)
def test_published_worked_values(part, whole, low, high):
    # Newcombe, Statistics in Medicine 17 (1998), 857 to 872, table I, method 3.
    assert wilson(part, whole) == pytest.approx((low, high), abs=5e-5)


@given(counts())
def test_the_interval_holds_the_share_and_stays_between_nothing_and_all(pair):
    share = share_of(*pair)
    assert 0 <= share.low <= share.share <= share.high <= 1


def test_what_is_small_is_called_small():
    assert share_of(3, 29).small, "fewer than thirty"
    assert not share_of(1, 30).small
    assert share_of(15, 30).small, "thirty, but an interval of more than thirty points"
    assert not share_of(50, 100).small


def test_of_nothing_there_is_no_share():
    share = share_of(0, 0)
    assert (share.share, share.low, share.high, share.small) == (None, 0.0, 1.0, True)


@pytest.mark.parametrize(("part", "whole"), [(-1, 5), (6, 5), (1, 0)])
def test_a_part_is_never_more_than_the_whole(part, whole):
    with pytest.raises(ValueError, match="part of"):
        share_of(part, whole)
