"""What is not the same in two decisions on the same walls."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from engine.record.model import ChoiceRecorded, Decision, MemberRecorded, SetRecorded, WallRecorded
from engine.record.verification import ChoiceDrift, MemberDrift, MightDrift, RuleDrift, WallDrift


def drift(was: Decision, now: Decision) -> tuple[WallDrift, ...]:
    """Every wall whose decision differs in anything at all; empty only where the two are equal."""
    before = {wall.wall: wall for wall in was.walls}
    after = {wall.wall: wall for wall in now.walls}
    names = dict.fromkeys((*before, *after))
    found = tuple(
        _wall(name, before.get(name), after.get(name)) for name in names if before.get(name) != after.get(name)
    )
    if not found and was != now:  # a wall stands twice, or they stand in another order
        return tuple(_wall(wall.wall, wall, wall) for wall in was.walls)
    return found


def _wall(name: str, was: WallRecorded | None, now: WallRecorded | None) -> WallDrift:
    choices, members = tuple(_choices(was, now)), tuple(_members(was, now))
    might, rules = tuple(_might(was, now)), tuple(_rules(was, now))
    return WallDrift(
        wall=name,
        status_was=was.status if was else None,
        status_now=now.status if now else None,
        choices=choices,
        members=members,
        might=might,
        rules=rules,
        order=not (choices or members or might or rules) and (was and was.status) == (now and now.status),
    )


def _choices(was: WallRecorded | None, now: WallRecorded | None) -> Iterator[ChoiceDrift]:
    before = {each.choice: each for each in was.choices} if was else {}
    after = {each.choice: each for each in now.choices} if now else {}
    for name in dict.fromkeys((*before, *after)):
        one, other = before.get(name), after.get(name)
        if one != other:
            either = other or one
            assert either is not None
            yield ChoiceDrift(choice=name, title=either.title, differs=_fields(one, other), was=one, now=other)


def _fields(one: ChoiceRecorded | None, other: ChoiceRecorded | None) -> tuple[str, ...]:
    names = tuple(ChoiceRecorded.model_fields)
    if one is None or other is None:
        return names
    return tuple(name for name in names if getattr(one, name) != getattr(other, name))


def _members(was: WallRecorded | None, now: WallRecorded | None) -> Iterator[MemberDrift]:
    for name, title, one, other in _sets(was, now):
        before, after = _by_id(one), _by_id(other)
        for member in dict.fromkeys((*before, *after)):
            a, b = before.get(member), after.get(member)
            if a != b:
                either = b or a
                assert either is not None
                yield MemberDrift(set=name, title=title, id=member, says=either.says, was=a, now=b)


def _might(was: WallRecorded | None, now: WallRecorded | None) -> Iterator[MightDrift]:
    for name, title, one, other in _sets(was, now):
        before = one.might_be_added if one else ()
        after = other.might_be_added if other else ()
        gone = tuple(each for each in before if each not in after)
        added = tuple(each for each in after if each not in before)
        if gone or added:
            yield MightDrift(set=name, title=title, gone=gone, added=added)


def _sets(
    was: WallRecorded | None, now: WallRecorded | None
) -> Iterator[tuple[str, str, SetRecorded | None, SetRecorded | None]]:
    before = {each.set: each for each in was.sets} if was else {}
    after = {each.set: each for each in now.sets} if now else {}
    for name in dict.fromkeys((*before, *after)):
        one, other = before.get(name), after.get(name)
        either = other or one
        assert either is not None
        yield name, either.title, one, other


def _by_id(found: SetRecorded | None) -> Mapping[str, MemberRecorded]:
    return {item.id: item for item in found.items} if found else {}


def _rules(was: WallRecorded | None, now: WallRecorded | None) -> Iterator[RuleDrift]:
    before = {rule.id: rule for rule in was.rules} if was else {}
    after = {rule.id: rule for rule in now.rules} if now else {}
    for name in sorted({*before, *after}):
        one, other = before.get(name), after.get(name)
        if one != other:
            yield RuleDrift(id=name, was=one, now=other)


def said_fields(differs: tuple[str, ...]) -> tuple[str, ...]:
    """What differs of a choice, in words."""
    return tuple(_WORDS[name] for name in differs if name in _WORDS)


_WORDS = {
    "title": "its title",
    "option": "the option",
    "says": "the wording",
    "status": "the status",
    "possible": "what is still possible",
    "unproved": "what is not proved",
    "word": "how strongly it is said",
    "certainty": "the certainty",
    "rules": "the rules that bring it",
    "not_taken": "why the others are not taken",
    "cautions": "the cautions it carries",
}
