"""Changes that would bring another decision, as text."""

from __future__ import annotations

import shlex
from collections.abc import Iterator, Sequence

from cli.changed_surveys import not_as_surveyed
from cli.inputs import STANDARD_INPUT
from cli.terminal import Page
from engine.reasoning.change_model import Changes, FactChanged, WallChanges, as_options

WIDTH = 80
_OTHERS_SHOWN = 8
_COUNT = {1: "one fact", 2: "two facts", 3: "three facts", 4: "four facts", 5: "five facts", 6: "six facts"}


def as_text(
    said: Changes, *, plain: bool = False, options: Sequence[str] = (), given: Sequence[tuple[str, str]] = ()
) -> str:
    """Every wall's sets, the smallest first, with how far the search is a proof.

    `options` are those the survey was judged with, to be repeated in the commands that are shown; `given` are those
    that set facts, with the fact.
    """
    page = Page(plain=plain, piped_width=WIDTH)
    for index, wall in enumerate(said.walls):
        if index:
            page.line("-" * 72)
        page.line(f"Wall {wall.wall}, survey {said.reference}: what would make it {said.goal}", "bold")
        page.line(f"{said.file}; judged by rules {said.rule_set.version} as of {said.as_of}")
        if said.changed:
            page.line(not_as_surveyed(said.changed), "bold")
        page.line(f"Wanted: {said.says.rstrip('.')}.")
        page.line(f"Now: {', '.join(wall.now).replace('_', ' ') or 'none'}.")
        _sets(page, wall)
        page.blank()
        for line in _proof(said, wall):
            page.line(line)
        _try(page, said, wall, options, given)
    page.blank()
    page.line("A change is a fact found otherwise, never a fact to be written otherwise than it was found.")
    page.line(said.limits)
    return page.text()


def _sets(page: Page, wall: WallChanges) -> None:
    size = 0
    for number, each in enumerate(wall.sets, 1):
        if len(each.changes) != size:
            size = len(each.changes)
            page.heading(f"{_COUNT[size]} found otherwise" if size == 1 else f"{_COUNT[size]} together")
        rows = []
        for change in each.changes:
            label = f"{number}." if change is each.changes[0] else ""
            rows.append((label, _change(change), ""))
        if each.dropped:
            rows.append(("", f"Then no longer asked: {', '.join(each.dropped)}.", ""))
        page.rows(rows, 3)


def _change(change: FactChanged) -> str:
    unit = f" {change.unit}" if change.unit else ""
    where = change.where.rsplit("/", 1)[-1]  # the page names the survey in full at its head
    place = ", ".join(part for part in (where, change.established or "") if part)
    now = f"{change.now}{unit if change.now not in ('unknown', 'does not apply') else ''}"
    return (
        f"{change.fact}: now {now}{f' ({place})' if place else ''}; would have to {_to(change, unit)}. {_do(change)}."
    )


def _to(change: FactChanged, unit: str) -> str:
    others = change.or_else[:_OTHERS_SHOWN]
    more = f", or {len(change.or_else) - len(others)} more" if len(change.or_else) > len(others) else ""
    if isinstance(change.set, list) and isinstance(change.set[0], dict):
        return f"show, for instance: {'; or: '.join((change.to, *others))}{more}"
    if isinstance(change.set, int | float) and not isinstance(change.set, bool):
        nearest = "be, for instance," if change.now in ("unknown", "does not apply") else "be, at the nearest,"
        return f"{nearest} {change.to}{unit}"
    or_else = f" (or {', '.join(others)}{more})" if others else ""
    return f"be {change.to}{unit}{or_else}"


def _do(change: FactChanged) -> str:
    return f"To find out ({change.effort.replace('_', ' ')}): {change.how}"


def _proof(said: Changes, wall: WallChanges) -> Iterator[str]:
    if wall.already:
        yield f"It is so already: bedjoint why shows the reasons (--about {said.goal})."
        return
    if wall.nowhere:
        yield f"Proved: no consistent survey at all comes to {said.goal} under these rules."
        return
    if not wall.possible:
        yield (
            "Proved: nothing that could be found instead of what is known brings it. If anything does, it is that "
            "something is not known."
        )
        return
    if wall.cut_at is not None:
        yield (
            f"The search was cut among the sets of {_COUNT[wall.cut_at]}: there may be more of that size "
            "(--most looks further)."
        )
    but = ", but for those named next" if wall.not_excluded else ""
    if wall.proved_to:
        if not wall.sets or len(wall.sets[0].changes) > wall.proved_to:
            yield f"Proved: no change of {_up_to(wall.proved_to)} would do{but}."
        else:
            open_part = any(
                set(each) < {change.fact for change in one.changes} for each in wall.not_excluded for one in wall.sets
            )
            parts = "" if open_part else ", and no part of any of these does"
            yield f"Proved: no other set of {_up_to(wall.proved_to)} would do{but}{parts}."
    if wall.still_possible:
        yield "With nothing overturned, what is still unknown can bring it too: bedjoint ask shows what to find out."
    if not wall.sets and wall.cut_at is None and wall.largest < max(_COUNT):
        yield f"Larger sets were not looked for (--up-to {wall.largest + 1})."
    if wall.not_excluded:
        named = "; ".join(" with ".join(each) for each in wall.not_excluded)
        yield f"Neither found nor ruled out (the solver allows it, but no such results were found): {named}."


def _up_to(size: int) -> str:
    return _COUNT[1] if size == 1 else f"up to {_COUNT[size]}"


def _try(
    page: Page, said: Changes, wall: WallChanges, options: Sequence[str], given: Sequence[tuple[str, str]]
) -> None:
    first = next((each for each in wall.sets if as_options(each)), None)
    if first is None or said.file == STANDARD_INPUT:
        return
    overridden = {*(change.fact for change in first.changes), *first.dropped}
    kept = [*(option for fact, option in given if fact not in overridden), *options]
    file = f"./{said.file}" if said.file.startswith("-") else said.file
    page.line("Try one:")
    page.command(
        (
            f"bedjoint assess {shlex.quote(file)}",
            f"--wall {shlex.quote(wall.wall)}",
            *kept,
            *(as_options(first) or ()),
        )
    )
