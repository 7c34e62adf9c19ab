"""What another version of the rules changes over past jobs, counted batch by batch.

Every batch gives a small part. However the walls were cut, and in whatever order the parts are merged, they come to the
same: numbers are added, and of examples the first few by file, sheet and row are kept.
"""

from __future__ import annotations

import functools
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

import polars as pl

from engine.archive.agreement import agreement
from engine.archive.impact_changes import CHANGES, ROW, changes_of, findings_changed, held, with_places
from engine.archive.impact_rules import HELD, RULES, Pair, Side
from engine.archive.results_batches import ORDER
from engine.archive.totals_count import CONSTRUCTION, INSTALLED, YEAR
from engine.columns.judge import judge

EXAMPLES = 3
"""How many walls of each kind of change are kept as examples."""
PLACE = (*ORDER, "wall", "reference", "survey_date")
"""What is kept of a wall, in the order by which walls are ordered."""

Key = tuple[str | int | None, ...]
Kind = tuple[str, str, str | None, str | None]
"""One kind of change: what it is, of which choice or set, from and to; of a status from and to are statuses."""
Place = tuple[str, str, int, str, str, str]
"""Where a wall stands: file, sheet, row, wall, reference, and the day of its survey."""


@dataclass(frozen=True, slots=True)
class ImpactPart:
    """Numbers of walls by what is counted, and the first walls of each kind of change.

    The first word of a key says what is counted: see `impact_part`.
    """

    walls: int = 0
    counts: Counter[Key] = field(default_factory=Counter)
    examples: Mapping[Kind, tuple[Place, ...]] = field(default_factory=dict)
    kept: int = EXAMPLES

    def merged(self, other: ImpactPart) -> ImpactPart:
        """Both together."""
        kept = max(self.kept, other.kept)
        kinds = {*self.examples, *other.examples}
        examples = {
            kind: tuple(sorted({*self.examples.get(kind, ()), *other.examples.get(kind, ())})[:kept]) for kind in kinds
        }
        return ImpactPart(self.walls + other.walls, self.counts + other.counts, examples, kept)


def merged(parts: Iterable[ImpactPart]) -> ImpactPart:
    """All parts together, in whatever order."""
    return functools.reduce(ImpactPart.merged, parts, ImpactPart(kept=0))


@dataclass(frozen=True, slots=True)
class Batch:
    """What came of a batch: its part, and its changes by wall with the columns of `PLACE` in front."""

    part: ImpactPart
    changes: pl.DataFrame


def impact_of(flat: pl.DataFrame, pair: Pair, kept: int = EXAMPLES) -> Batch:
    """Judge a flat frame by both versions, and compare."""
    return impact_part(flat, {"a": judge(flat, pair.a), "b": judge(flat, pair.b)}, pair, kept)


def impact_part(flat: pl.DataFrame, judged: Mapping[Side, pl.DataFrame], pair: Pair, kept: int = EXAMPLES) -> Batch:
    """Compare what two versions say of the same walls; `judged` as `engine.columns.judge` gives it.

    What is counted, by the first word of the key: `table` (choice, from, to; every wall), `kind` (a kind of change),
    `statuses` (kind, status before, after), `rule` (kind, how it holds, rule), `brings` (how it holds, rule: walls at
    which it brings any change), `changed`, `chosen` (a choice comes to another option) and `status_only` (walls),
    `class` (class: walls with such a change), `group` (column, value; walls) and `group_changed`, `group_chosen`,
    `group_class` (class), `only` (side, choice or set, option or member that the other side has not), `recorded` (walls
    with a recommendation), `differs` (side, choice), `worst` (grade or finding before, after).
    """
    walls = _placed(flat)
    counts: Counter[Key] = Counter()
    changes = changes_of(judged, pair)
    _count_walls(counts, walls, changes)
    _count_rules(counts, changes)
    _count_tables(counts, judged, pair)
    found = [changes, _beside_recommended(counts, flat, judged, pair)]
    every = with_places(pl.concat(found), walls, PLACE)
    every = every.sort(*PLACE[:4], ROW, maintain_order=True)
    _count_kinds(counts, every)
    return Batch(ImpactPart(flat.height, counts, _examples(every, kept), kept), every.drop(ROW))


def _placed(flat: pl.DataFrame) -> pl.DataFrame:
    """Where the walls stand, and what they are grouped by."""
    construction = pl.col(CONSTRUCTION).cast(pl.String) if CONSTRUCTION in flat.columns else pl.lit(None, pl.String)
    return flat.select(
        pl.col("at.file"),
        pl.col("at.sheet").fill_null(""),
        pl.col("at.row"),
        pl.col("wall"),
        pl.col("reference"),
        pl.col("survey_date"),
        construction.alias(CONSTRUCTION),
        pl.col("survey_date").dt.year().alias(YEAR),
    )


def _kind() -> tuple[pl.Expr, ...]:
    """What makes a kind: of a change of status the statuses, whatever the option."""
    is_status = pl.col("what") == "status"
    ways = (
        pl.when(is_status).then(pl.col(f"status_{way}")).otherwise(pl.col(way)).alias(f"kind_{way}")
        for way in ("from", "to")
    )
    return pl.col("what"), pl.col("name"), *ways


def _count_kinds(counts: Counter[Key], changes: pl.DataFrame) -> None:
    kinds = _kind()
    for *kind, number in changes.group_by(kinds).len().iter_rows():
        counts["kind", *kind] += number
    moved = changes.filter(pl.col("what") == "decision")
    for *key, number in moved.group_by(*kinds, "status_from", "status_to").len().iter_rows():
        counts["statuses", *key] += number
    for how in HELD:
        rules = changes.select(*kinds, pl.col(RULES[how]).alias("rule")).explode("rule").drop_nulls("rule")
        for *kind, rule, number in rules.group_by(pl.all()).len().iter_rows():
            counts["rule", *kind, how, rule] += number


def _examples(changes: pl.DataFrame, kept: int) -> dict[Kind, tuple[Place, ...]]:
    day = pl.col("survey_date").cast(pl.String).fill_null("")
    first = changes.select(*_kind(), *PLACE[:-1], day).group_by("what", "name", "kind_from", "kind_to").head(kept)
    found: dict[Kind, list[Place]] = {}
    for what, name, before, after, *place in first.iter_rows():
        found.setdefault((what, name, before, after), []).append(tuple(place))
    return {kind: tuple(sorted(places)) for kind, places in found.items()}


def _count_walls(counts: Counter[Key], walls: pl.DataFrame, changes: pl.DataFrame) -> None:
    decided = changes.filter(pl.col("what") != "status")
    changed = decided.select(ROW).unique()
    status_only = changes.select(ROW).unique().join(changed, on=ROW, how="anti")
    _add(counts, ("changed",), changed.height)
    _add(counts, ("status_only",), status_only.height)
    chosen = changes.filter(pl.col("what") == "decision").select(ROW).unique()
    _add(counts, ("chosen",), chosen.height)
    classes = decided.select(ROW, "class").unique()
    for step, number in classes.group_by("class").len().iter_rows():
        counts["class", step] += number
    indexed = walls.with_row_index(ROW)
    for group in (CONSTRUCTION, YEAR):
        for value, number in walls.group_by(group).len().iter_rows():
            counts["group", group, value] += number
        of = indexed.select(ROW, group)
        for value, number in changed.join(of, on=ROW).group_by(group).len().iter_rows():
            counts["group_changed", group, value] += number
        for value, number in chosen.join(of, on=ROW).group_by(group).len().iter_rows():
            counts["group_chosen", group, value] += number
        for value, step, number in classes.join(of, on=ROW).group_by(group, "class").len().iter_rows():
            counts["group_class", group, value, step] += number


def _add(counts: Counter[Key], key: Key, number: int) -> None:
    if number:
        counts[key] += number


def _count_rules(counts: Counter[Key], changes: pl.DataFrame) -> None:
    for how in HELD:
        pairs = changes.select(ROW, pl.col(RULES[how]).alias("rule")).explode("rule").drop_nulls("rule").unique()
        for rule, number in pairs.group_by("rule").len().iter_rows():
            counts["brings", how, rule] += number


def _count_tables(counts: Counter[Key], judged: Mapping[Side, pl.DataFrame], pair: Pair) -> None:
    for choice in pair.choices:
        table = pl.DataFrame(
            {
                "from": judged["a"][f"decided.{choice}"].cast(pl.String),
                "to": judged["b"][f"decided.{choice}"].cast(pl.String),
            }
        )
        for before, after, number in table.group_by("from", "to").len().iter_rows():
            counts["table", choice, before, after] += number
    sides: tuple[Side, Side] = ("a", "b")
    for side in sides:
        base, other = pair.base(side), pair.base("b" if side == "a" else "a")
        for each in base.choices.values():
            there = other.choices[each.id].options if each.id in other.choices else ()
            alone = {option.id for option in each.options} - {option.id for option in there}
            if alone:
                taken = judged[side][f"decided.{each.id}"].cast(pl.String)
                for option in alone:
                    _add(counts, ("only", side, each.id, option), int((taken == option).sum()))
        for name in base.sets:
            for member in set(base.members[name]) - set(other.members.get(name, ())):
                _add(counts, ("only", side, name, member), int(held(judged[side], name, member).sum()))


def _beside_recommended(
    counts: Counter[Key], flat: pl.DataFrame, judged: Mapping[Side, pl.DataFrame], pair: Pair
) -> pl.DataFrame:
    """What changes against the recommendations on file; nothing where there are none."""
    given = [name for name in flat.columns if name.startswith("recommended.") or name == "installed.medium"]
    recorded = int(flat.select(pl.any_horizontal(pl.col(given).is_not_null()).sum()).item()) if given else 0
    if not recorded:
        return pl.DataFrame(schema=CHANGES)
    counts["recorded",] += recorded
    sides: tuple[Side, Side] = ("a", "b")
    findings = {side: agreement(flat, judged[side], pair.base(side)) for side in sides}
    for side, frame in findings.items():
        for point in (*pair.choices, INSTALLED):
            if f"finding.{point}" in frame.columns:
                _add(counts, ("differs", side, point), int((frame[f"finding.{point}"] == "differs").sum()))
    worst = pl.DataFrame({side: findings[side]["worst"].cast(pl.String) for side in sides})
    for before, after, number in worst.group_by("a", "b").len().iter_rows():
        counts["worst", before, after] += number
    return findings_changed(findings, pair)
