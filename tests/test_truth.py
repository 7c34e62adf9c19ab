"""Strong Kleene logic, and what a decision makes of it."""

import itertools

import pytest

from engine.inference import agree
from engine.inference.truth import Truth, conjunction, disjunction

F, U, T = Truth.FALSE, Truth.UNKNOWN, Truth.TRUE

# Kleene's strong tables, as textbooks on many-valued logic print them.
AND = {(T, T): T, (T, U): U, (T, F): F, (U, U): U, (U, F): F, (F, F): F}
OR = {(T, T): T, (T, U): T, (T, F): T, (U, U): U, (U, F): U, (F, F): F}


@pytest.mark.parametrize(("pair", "result"), AND.items())
def test_and(pair, result):
    assert conjunction(pair) is conjunction(pair[::-1]) is result


@pytest.mark.parametrize(("pair", "result"), OR.items())
def test_or(pair, result):
    assert disjunction(pair) is disjunction(pair[::-1]) is result


def test_not_and_the_empty_cases():
    assert [T.negated, U.negated, F.negated] == [F, U, T]
    assert conjunction([]) is T
    assert disjunction([]) is F


def test_filling_in_an_unknown_never_turns_true_into_false_or_back():
    def formula(a, b, c):
        return disjunction((conjunction((a, b.negated)), c))

    for values in itertools.product((F, U, T), repeat=3):
        whole = formula(*values)
        if whole is U:
            continue
        for filled in itertools.product(*(((F, T) if value is U else (value,)) for value in values)):
            assert formula(*filled) is whole


def test_without_durable_rules_nothing_is_compared_and_that_is_said(monkeypatch):
    monkeypatch.setattr(agree, "available", lambda: None)
    assert agree.agreed(None, {}, None) is None
