"""Ids of rules over all versions: an id once used means that rule for ever."""

from __future__ import annotations

import datetime as dt
import pathlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from engine.audit.findings import Finding
from engine.audit.form_places import Places, finding
from engine.errors import BadInput
from engine.facts.document import read_document
from engine.rulebase.load import VersionRead, read_manifests, rules_folder
from engine.rulebase.model import STAGES


@dataclass(frozen=True, slots=True)
class Used:
    """A rule as an earlier version has it: its stage, its title, and every single conclusion."""

    version: str
    stage: str
    title: str
    concludes: frozenset[tuple[str, str, str]]
    where: str


Ids = Mapping[str, Mapping[str, Used]]
"""By version, the oldest first, and by id."""


def ids_used(folder: pathlib.Path | None = None, before: dt.date | None = None) -> Ids:
    """The ids that each version uses, or each that was in force before a day; read as they stand, faulty or not."""
    folder = folder or rules_folder()
    found, _ = read_manifests(folder)
    order = sorted(found, key=lambda name: (found[name].in_force_from, name))
    return {
        name: dict(_ids_in(folder / name)) for name in order if before is None or found[name].in_force_from < before
    }


def _ids_in(folder: pathlib.Path) -> Iterator[tuple[str, Used]]:
    for stage in STAGES:
        name = f"rules/{stage}.yaml"
        try:
            document = read_document(folder / name, f"rules/{folder.name}/{name}", list_allowed=True)
        except BadInput:
            continue
        for index, row in enumerate(document.data if isinstance(document.data, list) else []):
            if isinstance(row, dict) and isinstance(row.get("id"), str):
                place = document.place((index,))
                yield (
                    row["id"],
                    Used(
                        folder.name,
                        stage,
                        str(row.get("title", "")),
                        frozenset(_conclusions(row)),
                        f"{place.file}:{place.line}",
                    ),
                )


def _conclusions(row: Mapping[str, Any]) -> Iterator[tuple[str, str, str]]:
    for group in ("supports", "rules_out", "adds"):
        given = row.get(group)
        for name, several in given.items() if isinstance(given, dict) else ():
            yield from ((group, name, str(each)) for each in (several if isinstance(several, list) else ()))
    cautions = row.get("cautions")
    yield from (("adds", "cautions", str(each)) for each in (cautions if isinstance(cautions, list) else ()))


def id_findings(read: VersionRead, folder: pathlib.Path | None = None) -> list[Finding]:
    """Ids that mean another rule here than in an earlier version."""
    if read.manifest is None:
        return []
    earlier = ids_used(folder, before=read.manifest.in_force_from)
    places = Places(read)
    return [each for rule_id in read.rows for each in _of_id(rule_id, read, earlier, places)]


def _of_id(rule_id: str, read: VersionRead, earlier: Ids, places: Places) -> Iterator[Finding]:
    using = [version for version, ids in earlier.items() if rule_id in ids]
    if not using:
        return
    last = earlier[using[-1]][rule_id]
    after = list(earlier)[list(earlier).index(using[-1]) + 1 :]
    new_id = "an id is never reused; `bedjoint rules new` proposes ids that never stood"
    if after:
        says = f"{rule_id} stood in {last.version}, was withdrawn in {after[0]}, and stands again"
        at = places.rule(rule_id, "id")
        yield finding("id-reused", "error", rule_id, says, at, rules=(rule_id,), hint=new_id)
        return
    file, index = read.rows[rule_id]
    stage = file.removeprefix("rules/").removesuffix(".yaml")
    data = read.documents[file].data
    concludes = frozenset(_conclusions(data[index] if isinstance(data, list) else {}))
    if stage != last.stage:
        says = f"{rule_id} is of stage {stage}, and of {last.stage} in {last.version}: it is another rule"
        at = places.rule(rule_id, "stage")
        yield finding("id-is-another-rule", "error", rule_id, says, at, rules=(rule_id,), hint=new_id)
    elif concludes and last.concludes and not concludes & last.concludes:
        says = f"{rule_id} concludes nothing that it concluded in {last.version} ({last.where}): it is another rule"
        at = places.rule(rule_id)
        yield finding("id-is-another-rule", "error", rule_id, says, at, rules=(rule_id,), hint=new_id)


def next_free(rule_id: str, used: Ids, count: int = 3) -> tuple[str, ...]:
    """The next ids with the same letters that no version has ever used, counted on from `rule_id`, then from 001."""
    letters, _, number = rule_id.partition("-")
    taken = {each for ids in used.values() for each in ids}
    start = int(number) if number.isdigit() else 1
    order = [*range(start, 1000), *range(1, start)]
    free = (f"{letters}-{each:03d}" for each in order if f"{letters}-{each:03d}" not in taken)
    return tuple(each for each, _ in zip(free, range(count), strict=False))


def stages_of_letters(used: Ids) -> Mapping[str, str]:
    """The stage that the letters of ids stand for, where all rules with them are of one stage."""
    found: dict[str, set[str]] = {}
    for ids in used.values():
        for rule_id, use in ids.items():
            found.setdefault(rule_id.partition("-")[0], set()).add(use.stage)
    return {letters: next(iter(stages)) for letters, stages in found.items() if len(stages) == 1}
