"""Settled means settled: against every completion, whole or in part, of small random rule bases."""

import itertools
import random

import pytest

from engine.facts.values import NOT_APPLICABLE_VALUE, UNKNOWN_VALUE, known
from engine.inference.evaluate import evaluate

bases = pytest.importorskip("test_forward", reason="durable-rules is not installed")

DOMAINS = {
    "wall.brick": [known(each) for each in bases.BRICK.options],
    "wall.face": [known(each) for each in bases.FACE.options],
    "wall.leak": [known(True), known(False)],
}


@pytest.mark.parametrize("number", range(0, len(bases.POOL), 2))
def test_no_completion_leaves_what_was_possible(number):
    base = bases.POOL[number]
    rng = random.Random(number)
    for _ in range(4):
        values = bases.random_values(rng, base)
        for name in DOMAINS:
            values[name] = UNKNOWN_VALUE
        before = evaluate(base, values)
        for filled in itertools.product(*([*each, UNKNOWN_VALUE, NOT_APPLICABLE_VALUE] for each in DOMAINS.values())):
            after = evaluate(base, {**values, **dict(zip(DOMAINS, filled, strict=True))})
            for name, outcome in before.outcomes.items():
                assert after.outcomes[name].option in outcome.possible
                assert set(after.outcomes[name].possible) <= set(outcome.possible)
            for name, held in before.sets.items():
                assert held.sure <= after.sets[name].now <= held.sure | held.may
