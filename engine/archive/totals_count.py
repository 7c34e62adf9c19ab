"""Counts the findings of every wall, batch by batch: memory does not grow with their number."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping
from typing import Any

import polars as pl

from engine.archive.agreement import MEDIUM, VERDICT
from engine.archive.results_batches import ORDER, on_its_own
from engine.decision.chain import WORDS
from engine.rulebase.rules import RuleBase

INSTALLED = "installed"
"""What was installed stands beside the choices as if it were one."""
YEAR, SURVEYOR, CONSTRUCTION = "year", "surveyor", "build.construction"

_WORD_BITS = 64


class Counts:
    """Numbers of walls by name of the count and by what is counted; and the gravest walls, `worst` of them.

    `bases` are the rules that judged, by version. What is called by two of them is called as the newest calls it.
    """

    def __init__(self, bases: Mapping[str, RuleBase], worst: int) -> None:
        newest_first = sorted(bases.values(), key=lambda base: base.manifest.in_force_from, reverse=True)
        self.bases = bases
        self.choices = {name: each for base in reversed(newest_first) for name, each in base.choices.items()}
        self.sets = {name: each for base in reversed(newest_first) for name, each in base.sets.items()}
        self._most = worst
        self.worst: pl.DataFrame | None = None
        self._adders = {version: _adders(base) for version, base in bases.items()}
        self.of: defaultdict[str, Counter[Any]] = defaultdict(Counter)

    def read_of(self, columns: Iterable[str]) -> list[str]:
        """Those of the columns of the results that are counted."""
        left = {f"decided.{name}" for name in self.sets}
        return [name for name in columns if name not in left and not name.startswith("possible.")]

    def add(self, frame: pl.DataFrame) -> None:
        """Count a batch."""
        frame = frame.with_columns(pl.col("survey_date").dt.year().alias(YEAR))
        have = set(frame.columns)
        self._count("files", frame, "at.file")
        self._count("status", frame, "status")
        self._count("walls", frame, "worst")
        for key in (YEAR, SURVEYOR, CONSTRUCTION):
            self._count(key, frame, key, "worst")
        for point in (*self.choices, INSTALLED):
            if f"finding.{point}" in have:
                self._count(f"finding.{point}", frame, f"finding.{point}", f"grade.{point}")
        for name in self.sets:
            if f"left_out.{name}" in have:
                self._add_set(name, frame)
        self._add_rules(frame, [name for name in frame.columns if name.startswith("against.")])
        self._add_installed(frame, have)
        grave = frame.filter(pl.col("worst").cast(pl.String).is_in(WORDS))
        both = grave if self.worst is None else pl.concat([self.worst, grave])
        ranked = both.sort(["severity", *ORDER], descending=[True, False, False, False])
        self.worst = on_its_own(ranked.head(self._most))

    def _count(self, name: str, frame: pl.DataFrame, *columns: str) -> None:
        counted = frame.group_by(columns).len().select(pl.col(columns), pl.col("len"))
        for *key, number in counted.iter_rows():
            self.of[name][key[0] if len(key) == 1 else tuple(key)] += number

    def _add_set(self, name: str, frame: pl.DataFrame) -> None:
        recorded, left_out = pl.col(f"recommended.{name}").is_not_null(), pl.col(f"left_out.{name}").list.len()
        beyond = pl.col(f"beyond.{name}").list.len()
        summed = frame.select(
            recorded=recorded.sum(), complete=(recorded & (left_out == 0)).sum(), beyond=(beyond > 0).sum()
        )
        self.of[f"set.{name}"].update(summed.row(0, named=True))
        fired = [each for each in frame.columns if each.startswith("fired.")]
        lacking = frame.filter(left_out > 0).select("rules", pl.col(f"left_out.{name}").alias("member"), *fired)
        for (version, member), rows in (
            lacking.explode("member").partition_by("rules", "member", as_dict=True, include_key=False).items()
        ):
            masks = self._adders[str(version)].get((name, str(member)), {})
            graded = pl.coalesce(
                *(pl.when(_any_bit(masks[word])).then(pl.lit(word)) for word in WORDS if word in masks), None
            )
            for word, number in rows.select(graded.alias("word")).group_by("word").len().iter_rows():
                self.of[f"left_out.{name}"][member, word] += number

    def _add_rules(self, frame: pl.DataFrame, against: list[str]) -> None:
        if not against:
            return
        nothing = pl.lit([], pl.List(pl.String))
        rules = pl.concat_list(pl.col(name).fill_null(nothing) for name in against).list.unique()
        broken = frame.select("rules", rules.alias("rule")).explode("rule").drop_nulls("rule")
        self._count("broken", broken, "rules", "rule")

    def _add_installed(self, frame: pl.DataFrame, have: set[str]) -> None:
        medium, recommended, result = f"installed.{MEDIUM}", f"recommended.{MEDIUM}", "outcome.result"
        if {"as_recommended", medium, recommended} <= have:
            self._count("as_recommended", frame, "as_recommended")
            self._count("pairs", frame.drop_nulls("as_recommended"), recommended, medium)
        if {"over_specified", recommended} <= have:
            self._count("over_specified", frame.drop_nulls("over_specified"), recommended, "over_specified")
        if result not in have:
            return
        self._count("outcome", frame, result)
        known = frame.drop_nulls(result)
        if medium in have:
            self._count("by_medium", known, medium, result)
        if f"finding.{INSTALLED}" in have:
            said = (pl.col(f"{kind}.{INSTALLED}").cast(pl.String) for kind in ("grade", "finding"))
            self._count("by_rules", known.with_columns(pl.coalesce(said).alias("said")), "said", result)
        if f"decided.{VERDICT}" in have:
            self._count("by_verdict", known, f"decided.{VERDICT}", result)


def _adders(base: RuleBase) -> dict[tuple[str, str], dict[str, int]]:
    """For every member of every set the rules that add it, as bits in the order of `fired.*`, by their word."""
    found: defaultdict[tuple[str, str], dict[str, int]] = defaultdict(dict)
    for place, rule in enumerate(base.rules):
        for pair in rule.adds:
            found[pair][rule.word] = found[pair].get(rule.word, 0) | 1 << place
    return dict(found)


def _any_bit(mask: int) -> pl.Expr:
    """Whether any of some rules holds."""
    tests = []
    for at in range(mask.bit_length() // _WORD_BITS + 1):
        word = mask >> (_WORD_BITS * at) & (1 << _WORD_BITS) - 1
        if word:
            tests.append(pl.col(f"fired.{at}") & pl.lit(word, pl.UInt64) != 0)
    return pl.any_horizontal(tests)
