"""A record against the survey file as it stands today."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from engine.errors import BadInput
from engine.facts.amend import amended
from engine.facts.intake import SurveyFile
from engine.facts.vocabulary import facts
from engine.record.build import decision_of
from engine.record.canonical import canonical
from engine.record.drift import drift
from engine.record.facts import recorded_facts
from engine.record.model import Decision, Record
from engine.record.verification import FactChanged, SurveyCompared, WallDrift
from engine.rulebase.rules import RuleBase

_NOT_FACTS = ("id", "form")


def compared_with_today(
    record: Record, recorded: SurveyFile, today: SurveyFile, base: RuleBase | None, before: Decision
) -> SurveyCompared:
    """Which facts the survey says otherwise than as `recorded`, and what is then decided otherwise than `before`.

    Facts that were changed when the survey was judged are taken as they were judged. Without a `base` nothing is
    judged.

    Raises:
        ReadersDisagree: the two readers of the rules differ.
    """
    was = recorded_facts(recorded.survey)
    before_walls = _walls(was)
    judged = [wall.wall for wall in before.walls]
    kept = _set_names(record)
    try:
        today = _with_changes(today, was, kept, judged)
    except BadInput:
        return SurveyCompared(name=today.name, state="unreadable", kept=kept)
    now = recorded_facts(today.survey)
    after_walls = _walls(now)
    changed = [
        *_changes(None, _without_walls(was), _without_walls(now)),
        *(
            each
            for name in before_walls
            if name in after_walls
            for each in _changes(name, before_walls[name], after_walls[name])
        ),
    ]
    gone = tuple(name for name in before_walls if name not in after_walls)
    added = tuple(name for name in after_walls if name not in before_walls)
    if not (changed or gone or added):
        return SurveyCompared(name=today.name, state="same", kept=kept)
    here = [name for name in judged if name in after_walls]
    walls: tuple[WallDrift, ...] = ()
    if base is not None and here:
        after = decision_of(today, base, here)
        walls = drift(Decision(walls=tuple(wall for wall in before.walls if wall.wall in here)), after)
    return SurveyCompared(
        name=today.name, state="differs", facts=tuple(changed), gone=gone, added=added, kept=kept, walls=walls
    )


def _set_names(record: Record) -> tuple[str, ...]:
    """The facts that were set when the survey was judged: the sentence about each begins with its name.

    What was left out since it no longer applied is left out again by what made it so.
    """
    names = []
    for sentence in record.changed:
        name, _, rest = sentence.partition(" is ")
        if name in facts() and not rest.startswith("left out "):
            names.append(name)
    return tuple(dict.fromkeys(names))


def _with_changes(file: SurveyFile, was: Mapping[str, Any], names: tuple[str, ...], judged: list[str]) -> SurveyFile:
    recorded = _walls(was)
    for wall in judged if names else ():
        if not any(each.id == wall for each in file.survey.walls):
            continue
        written = {}
        for name in names:
            section, _, field = name.partition(".")
            holder = was[section] if section == "property" else recorded[wall].get(section, {})
            written[name] = holder.get(field, "unknown")
        file = amended(file, written, [wall]).file
    return file


def _without_walls(data: Mapping[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in data.items() if name != "walls"}


def _walls(data: Mapping[str, Any]) -> dict[str, Mapping[str, Any]]:
    return {wall["id"]: wall for wall in data["walls"]}


def _changes(wall: str | None, was: Mapping[str, Any], now: Mapping[str, Any]) -> Iterator[FactChanged]:
    for section in dict.fromkeys((*was, *now)):
        one, other = was.get(section), now.get(section)
        if section in _NOT_FACTS or one == other:
            continue
        if not (isinstance(one, dict | None) and isinstance(other, dict | None)):
            yield FactChanged(wall=wall, fact=section, was=_said(one, other), now=_said(other, one))
            continue
        a, b = one or {}, other or {}
        for field in dict.fromkeys((*a, *b)):
            if a.get(field) != b.get(field):
                name = f"{section}.{field}"
                yield FactChanged(
                    wall=wall, fact=name, was=_said(a.get(field), b.get(field)), now=_said(b.get(field), a.get(field))
                )


def _said(value: Any, other: Any) -> str | None:
    """A fact as it is written, in words; of rows, those that the other side does not have."""
    match value:
        case None:
            return None
        case bool():
            return "yes" if value else "no"
        case {"value": inner}:
            how = ", ".join(str(value[name]) for name in ("established", "by") if name in value)
            beside = other["value"] if isinstance(other, dict) and "value" in other else other
            return f"{_said(inner, beside)} ({how})"
        case [dict(), *_]:
            beside = other["value"] if isinstance(other, dict) and "value" in other else other
            own = [row for row in value if not (isinstance(beside, list) and row in beside)]
            rows = f"{len(value)} row{'s' if value[1:] else ''}"
            return f"{rows}, of them only here: {'; '.join(_row(row) for row in own)}" if own else rows
        case list():
            return ", ".join(map(str, value))
        case str():
            return value
        case _:
            return canonical(value)


def _row(row: Any) -> str:
    return " ".join(f"{name} {value}" for name, value in row.items()) if isinstance(row, dict) else canonical(row)
