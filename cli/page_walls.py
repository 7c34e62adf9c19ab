"""The walls and the rules as the page carries them: a packed block that its script unpacks, and JSON beside it.

The block is gzip of: the length of a JSON head (4 bytes, least first), the head, then the columns one after the other,
each from a multiple of 8 on, numbers with the least byte first. The head has `rows` and `columns`; a column says `at`
which byte after the head it starts, and is one of

- `coded`: `values`, and by wall the place of its value there in `bytes` bytes; null is a value;
- `number`: 4 bytes without sign;
- `bits`: `members`, and 32-bit words one after the other, each a column of its own; the bit after the last member says
  that nothing was recorded;
- `rules`: 64-bit words likewise; the bits are the rules that hold, in the order of the version that judged.
"""

from __future__ import annotations

import array
import gzip
import json
import sys
from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import polars as pl

    from engine.rulebase.rules import Rule, RuleBase

_PLAIN = {
    "reference": "reference",
    "wall": "wall",
    "surveyor": "surveyor",
    "note": "note",
    "at.file": "file",
    "at.sheet": "sheet",
    "build.construction": "construction",
    "property.age_band": "age",
    "installed.medium": "installed",
    "outcome.result": "outcome",
    "rules": "rules",
    "status": "status",
    "worst": "worst",
    "over_specified": "over_specified",
    "primary": "primary",
    "survey_date": "surveyed",
    "installed.on": "installed_on",
    "outcome.on": "outcome_on",
}
"""Columns of the results that the page carries as they are, by the name they have there."""
_OF_POINTS = ("decided", "recommended", "possible", "finding", "grade", "against")
_OF_SETS = ("recommended", "left_out", "called_for_now", "beyond")
_SET_GRADE = "left_out_grade"
_ALIGNED = 8
_JOINT = "\x1f"


def packed(walls: pl.DataFrame, bases: Mapping[str, RuleBase]) -> bytes:
    """The walls as the block, in the order given; the same walls give the same bytes."""
    block = _Block(walls.height)
    for column, name in _PLAIN.items():
        if column in walls.columns:
            block.coded(name, walls[column])
    block.number("row", walls["at.row"])
    for column in walls.columns:
        kind, _, name = column.partition(".")
        if f"left_out.{name}" in walls.columns:
            if kind in _OF_SETS:
                block.bits(column, walls[column], members_of(bases, name))
            elif kind == _SET_GRADE:
                block.coded(column, walls[column])
        elif kind in _OF_POINTS:
            block.coded(column, walls[column])
    fired = sorted((c for c in walls.columns if c.startswith("fired.")), key=lambda c: int(c.partition(".")[2]))
    block.rules([walls[column] for column in fired])
    return gzip.compress(block.whole(), compresslevel=6, mtime=0)


def carried(columns: Iterable[str]) -> list[str]:
    """Those of the columns of the results that the page needs, and `severity`, by which it orders the walls."""
    told = list(columns)
    sets = {name.partition(".")[2] for name in told if name.startswith("left_out.")}
    kept = {*_PLAIN, "at.row", "severity"}
    kinds = {*_OF_POINTS, *_OF_SETS, _SET_GRADE, "fired"}
    needless = {f"decided.{name}" for name in sets}
    return [name for name in told if name in kept or (name.partition(".")[0] in kinds and name not in needless)]


def members_of(bases: Mapping[str, RuleBase], name: str) -> tuple[str, ...]:
    """The members of a set in any version, those of the newest first."""
    return tuple(dict.fromkeys(member for base in newest_first(bases) for member in base.members.get(name, ())))


def newest_first(bases: Mapping[str, RuleBase]) -> list[RuleBase]:
    """The versions, the newest first: what two of them name, the newest says."""
    return sorted(bases.values(), key=lambda base: base.manifest.in_force_from, reverse=True)


class _Block:
    def __init__(self, rows: int) -> None:
        self._head: dict[str, Any] = {"rows": rows, "columns": {}}
        self._body = bytearray()

    def _add(self, name: str, kind: str, parts: Iterable[tuple[str, Iterable[int]]], **more: Any) -> None:
        self._head["columns"][name] = {"kind": kind, "at": len(self._body), **more}
        for code, numbers in parts:
            column = array.array(code, numbers)
            if sys.byteorder == "big":
                column.byteswap()
            self._body += column.tobytes()
            self._body += bytes(-len(self._body) % _ALIGNED)

    def coded(self, name: str, values: pl.Series) -> None:
        """Values of which many are alike."""
        told, codes = _distinct(values)
        size, code = (1, "B") if len(told) <= 1 << 8 else (2, "H") if len(told) <= 1 << 16 else (4, "I")
        self._add(name, "coded", [(code, codes.to_list())], values=told, bytes=size)

    def number(self, name: str, values: pl.Series) -> None:
        """Whole numbers from 0 to 2**32 - 1."""
        self._add(name, "number", [("I", values.to_list())])

    def bits(self, name: str, lists: pl.Series, members: Sequence[str]) -> None:
        """Lists of members; those that no version knows come after the others."""
        told, codes = _distinct(lists)
        unknown = {member for each in told if each is not None for member in each}.difference(members)
        named = (*members, *sorted(unknown))
        place, nothing = {member: 1 << at for at, member in enumerate(named)}, 1 << len(named)
        masks = [nothing if each is None else sum(place[member] for member in set(each)) for each in told]
        words = len(named) // 32 + 1
        by_code = codes.to_list()
        parts = []
        for word in range(words):
            of_value = [mask >> 32 * word & 0xFFFF_FFFF for mask in masks]
            parts.append(("I", [of_value[code] for code in by_code]))
        self._add(name, "bits", parts, members=named, words=words)

    def rules(self, words: Sequence[pl.Series]) -> None:
        """The rules that hold, as the results have them."""
        self._add("fired", "rules", [("Q", word.fill_null(0).to_list()) for word in words], words=len(words))

    def whole(self) -> bytes:
        head = json.dumps(self._head, ensure_ascii=False, separators=(",", ":")).encode()
        head += b" " * (-(len(head) + 4) % _ALIGNED)
        return len(head).to_bytes(4, "little") + head + bytes(self._body)


def _distinct(values: pl.Series) -> tuple[list[Any], pl.Series]:
    """The values as JSON has them, each once, in the order in which they are met, and by row the place of its value."""
    import polars as pl

    is_list = isinstance(values.dtype, pl.List)
    keys = values.list.join(_JOINT) if is_list else values.cast(pl.String)
    # An empty list and a list of one empty text would be written alike; no option, member or rule is an empty text.
    once = pl.DataFrame({"key": keys.unique(maintain_order=True)}).with_row_index("code")
    codes = pl.DataFrame({"key": keys}).join(once, on="key", how="left", nulls_equal=True, maintain_order="left")[
        "code"
    ]
    told = once["key"].to_list()
    if is_list:
        return [None if key is None else key.split(_JOINT) if key else [] for key in told], codes
    return told, codes


def texts(bases: Mapping[str, RuleBase]) -> dict[str, Any]:
    """What the page says of choices, sets, members and rules, each text once.

    `versions` gives for every version its rules in order, as places in `rules`.
    """
    order = newest_first(bases)
    rules: dict[str, int] = {}
    told: list[dict[str, Any]] = []
    versions: dict[str, list[int]] = {}
    for base in order:
        places = versions[base.manifest.version] = []
        for rule in base.rules:
            text = _rule(rule, base)
            key = json.dumps(text)
            if key not in rules:
                rules[key] = len(told)
                told.append(text)
            places.append(rules[key])
    return {
        "choices": {
            name: {"title": choice.title, "options": {option.id: option.says for option in choice.options}}
            for base in reversed(order)
            for name, choice in base.choices.items()
        },
        "sets": {
            name: {
                "title": each.title,
                "members": {m: member.says for b in reversed(order) for m, member in b.members.get(name, {}).items()},
            }
            for base in reversed(order)
            for name, each in base.sets.items()
        },
        "rules": told,
        "versions": versions,
    }


def _rule(rule: Rule, base: RuleBase) -> dict[str, Any]:
    return {
        "id": rule.id,
        "title": rule.title,
        "word": rule.word,
        "stage": rule.stage,
        "because": rule.raw.because,
        "limits": rule.raw.limits,
        "basis": rule.raw.basis,
        "certainty": rule.raw.certainty,
        "cites": [[base.sources[cite.source].short, cite.clause] for cite in rule.cites],
        "adds": [list(pair) for pair in rule.adds],
    }
