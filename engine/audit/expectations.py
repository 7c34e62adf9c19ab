"""Where a judged case differs from what a vector or a recorded decision says."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from engine.audit.cases import Case
from engine.audit.recorded import Recorded
from engine.audit.vectors import Facts, Vector
from engine.rulebase.rules import RuleBase


def misses(vector: Vector, case: Case) -> Iterator[str]:
    """What a vector says of choices, sets and rules that the case does not bear out, in words.

    What it says of readings, of what is settled and of citations is not looked at here.
    """
    for name, wanted in vector.expect.items():
        if case.decided[name] not in wanted:
            yield f"{name} is {case.decided[name]} and should be {' or '.join(wanted)}"
    yield from (f"{rule} does not hold and should" for rule in vector.fires if rule not in case.fired)
    yield from (f"{rule} holds and should not" for rule in vector.silent if rule in case.fired)
    for name, among in vector.sets.items():
        yield from (f"{each} is missing in {name}" for each in among.includes if each not in case.found[name])
        yield from (f"{each} should not be in {name}" for each in among.excludes if each in case.found[name])


def flips(recorded: Recorded, case: Case) -> Iterator[str]:
    """Every choice and set that comes out otherwise than it was recorded, in words."""
    sets = {name: frozenset(members) for name, members in recorded.sets.items()}
    return _differences(recorded.decides, sets, case)


def changes(before: Case, after: Case) -> Iterator[str]:
    """Every choice and set in which two cases differ, in words."""
    return _differences(before.decided, before.found, after)


def _differences(decided: Mapping[str, str], found: Mapping[str, frozenset[str]], case: Case) -> Iterator[str]:
    for name in sorted({*decided, *case.decided}):
        was, now = decided.get(name), case.decided.get(name)
        if was != now:
            yield f"{name} is {now or 'not there'} and was {was or 'not there'}"
    for name in sorted({*found, *case.found}):
        was_in, now_in = found.get(name, frozenset()), case.found.get(name, frozenset())
        if was_in != now_in:
            gained = [f"gains {each}" for each in sorted(now_in - was_in)]
            lost = [f"loses {each}" for each in sorted(was_in - now_in)]
            yield f"{name} {' and '.join((*gained, *lost))}"


def fits(vector: Vector, case: Case) -> bool:
    """Whether a case bears out a vector."""
    return next(misses(vector, case), None) is None


def as_recorded(base: RuleBase, case: Case, id: str, tells: tuple[str, ...], facts: Facts) -> Recorded:
    """A case as a recorded decision, members in the order of their catalogue."""
    return Recorded(
        id=id,
        tells=tells,
        facts=facts,
        decides={name: case.decided[name] for name in base.choices},
        sets={name: tuple(m for m in base.members[name] if m in case.found[name]) for name in base.sets},
    )
