"""Holds what a check of past jobs found against the ledger of what was planted."""

from __future__ import annotations

import json
import pathlib
import re
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from archive_firm import firm_words
from archive_plants import REJECTED, REPEATED

if TYPE_CHECKING:
    import polars as pl

AGREES = ("agree", "not_recorded")
_NO_COLUMN = ("ragged_row", "broken_line", REPEATED)
_IN_SURVEY = {"wall": ("id",), "reference": ("property.reference",), "survey_date": ("property.survey_date",)}
"""What a survey file calls some of our columns."""

_MEMBER = re.compile(r"\.[0-9]+$|\[[0-9]+\]$")
"""The place of a member in a set, after the name of the set."""

Entry = Mapping[str, Any]
Row = Mapping[str, Any]
Where = tuple[str, str, int]


def read_lines(path: pathlib.Path) -> list[Entry]:
    """The entries of a ledger."""
    return [json.loads(line) for line in path.read_text(encoding="utf-8").splitlines()]


def faults(
    findings: pl.DataFrame, rejects: Iterable[Row], ledger: Sequence[Entry], remarks: Sequence[Entry], rows: int
) -> list[str]:
    """Everything in which a check did not find what was planted, or found what was not.

    `findings` has the columns of `walls.parquet`; `rejects` are rows with file, sheet, row, column, value; `rows` is
    how many rows and walls were written.
    """
    return list(_faults(findings, list(rejects), ledger, remarks, rows))


def _faults(
    findings: pl.DataFrame, rejects: Sequence[Row], ledger: Sequence[Entry], remarks: Sequence[Entry], rows: int
) -> Iterator[str]:
    planted = {_at(entry): entry for entry in ledger}
    cheaper = {_at(entry): entry["cheaper"] for entry in remarks}
    unreadable = {where: entry for where, entry in planted.items() if entry["kind"] in REJECTED}
    refused: dict[tuple[str, str, int | None], list[Row]] = defaultdict(list)
    for each in rejects:
        refused[_of_reject(each)].append(each)
    seen: set[Where] = set()
    for row in findings.iter_rows(named=True):
        where = _name(row["at.file"]), row["at.sheet"], row["at.row"]
        seen.add(where)
        entry = planted.get(where)
        if where in unreadable:
            yield f"{where}: {unreadable[where]['kind']} is not rejected"
        elif entry is None:
            yield from (f"{where}: nothing is planted, {said}" for said in _said(row))
            yield from _other_medium(where, row, cheaper.get(where, ()))
        else:
            key = {"reference": row["reference"], "survey_date": str(row["survey_date"]), "wall": row["wall"]}
            yield from (f"{where}: {name} {key[name]} is not {entry[name]}" for name in key if key[name] != entry[name])
            yield from (f"{where}: {entry['kind']}: {said}" for said in _unlike(row, entry["expect"]))
            yield from _other_medium(where, row, entry["expect"]["cheaper"])
    for where, entry in unreadable.items():
        yield from _not_rejected(where, entry, refused.pop(_rejected_at(where), []))
    for where, several in refused.items():
        said = "; ".join(f"{each['column']} {each['value']!r} {each.get('message', '')}" for each in several)
        yield f"{where}: nothing is planted, rejected for {said}"
    for where, entry in planted.items():
        if where not in unreadable and where not in seen:
            yield f"{where}: {entry['kind']}: the wall is not there"
    if findings.height + len(unreadable) != rows:
        yield f"{findings.height} walls and {len(unreadable)} rejected rows are not the {rows} written"


def _at(entry: Entry) -> Where:
    return entry["file"], entry["sheet"], entry["row"]


def _name(file: str) -> str:
    return pathlib.PurePath(file).name


def _of_reject(row: Row) -> tuple[str, str, int | None]:
    name = _name(str(row["file"])).replace(".recommended.yaml", ".yaml")
    return _rejected_at((name, str(row["sheet"] or ""), int(row["row"])))


def _rejected_at(where: Where) -> tuple[str, str, int | None]:
    """Where rejects are looked for: a survey is rejected as a whole, on whichever line the fault is."""
    return (where[0], where[1], None) if where[0].endswith(".yaml") else where


def _not_rejected(where: Where, entry: Entry, found: Sequence[Row]) -> Iterator[str]:
    kind, wanted = entry["kind"], entry["expect"]["rejected"]
    if not found:
        yield f"{where}: {kind} of {wanted['column']} is not rejected"
        return
    if kind in _NO_COLUMN:
        return
    if kind == "contradiction":  # what was found is told in the words of the contradiction, with both values
        wanted = {**wanted, "value": ""}
    names = _called(wanted["column"])
    named = [each for each in found if any(_is_called(str(each["column"]), name) for name in names)]
    said = "; ".join(f"{each['column']} {each['value']!r} {each.get('message', '')}" for each in found)
    if not named:
        yield f"{where}: {kind} of {wanted['column']} is rejected for something else: {said}"
    elif not any(form in str(each["value"]) for each in named for form in _forms(wanted)):
        yield f"{where}: {kind}: {wanted['value']!r} is not named: {said}"


def _called(column: str) -> tuple[str, ...]:
    """What files may call a column of ours."""
    return (column, firm_words().headers.get(column, column), *_IN_SURVEY.get(column, ()))


def _is_called(found: str, name: str) -> bool:
    """A survey names its walls before the column, and a set the place of a member after it."""
    bare = _MEMBER.sub("", found)
    return bare == name or bare.endswith(f".{name}")


def _forms(wanted: Mapping[str, Any]) -> tuple[str, ...]:
    """How a value may be written, in our words or the firm's."""
    value = wanted["value"]
    if isinstance(value, bool):
        return ("yes" if value else "no", str(value))
    if isinstance(value, float):
        return (str(value), f"{value:g}")
    return (str(value), firm_words().words.get(wanted["column"], {}).get(value, str(value)))


def _said(row: Row) -> Iterator[str]:
    """Everything that is said of a wall beyond that it agrees."""
    for name, value in row.items():
        if name.startswith("finding.") and value not in AGREES:
            yield f"{name} is {value}"
        if name.startswith(("left_out.", "beyond.")) and value:
            yield f"{name} is {value}"
    if row["worst"] not in AGREES:
        yield f"worst is {row['worst']}"


def _unlike(row: Row, expect: Mapping[str, Any]) -> Iterator[str]:
    """In what the findings of a wall are not those that were to be found."""
    if row["rules"] != expect["rules"]:
        yield f"judged by {row['rules']}, not by {expect['rules']}"
    names = [name.partition(".")[2] for name in row if name.startswith("finding.")]
    wanted: dict[str, Mapping[str, Any]] = {**expect["choices"]}
    if expect["installed"] is not None:
        wanted["installed"] = expect["installed"]
    for name in names:
        found = row[f"finding.{name}"], row[f"grade.{name}"], sorted(row[f"against.{name}"] or ())
        if name not in wanted:
            if found[0] not in AGREES:
                yield f"{name} is {found}"
            continue
        due = wanted[name]["finding"], wanted[name]["grade"], sorted(wanted[name]["against"])
        if found != due:
            yield f"{name} is {found}, not {due}"
    for name in (name.partition(".")[2] for name in row if name.startswith("left_out.")):
        due_in = expect["sets"].get(name, {"left_out": [], "left_out_grade": None, "beyond": []})
        in_set = {key: row[f"{key}.{name}"] for key in due_in}
        for key, value in in_set.items():
            same = value == due_in[key] if key == "left_out_grade" else sorted(value or ()) == sorted(due_in[key])
            if not same:
                yield f"{key}.{name} is {value}, not {due_in[key]}"
    yield from _weight(row, expect)


def _weight(row: Row, expect: Mapping[str, Any]) -> Iterator[str]:
    """Whether the worst of a wall, and where its differences begin, are what follows from its findings."""
    several = [*expect["choices"].values(), *([expect["installed"]] if expect["installed"] else [])]
    grades = [each["grade"] for each in several] + [each["left_out_grade"] for each in expect["sets"].values()]
    undecidable = any(each["finding"] == "not_decidable" for each in several)
    worst = next((word for word in ("must", "should", "consider") if word in grades), None)
    due = worst or ("not_decidable" if undecidable else "agree")
    if row["worst"] != due:
        yield f"worst is {row['worst']}, not {due}"
    differing = [name for name, each in expect["choices"].items() if each["finding"] == "differs"]
    primary = list(row["primary"] or ())
    if not set(primary) <= set(differing) or bool(primary) != bool(differing):
        yield f"primary is {primary} where {differing} differ"
    elif differing and differing[0] not in primary:
        yield f"primary is {primary}, without {differing[0]}, which comes first"


def _other_medium(where: Where, row: Row, cheaper: Sequence[str]) -> Iterator[str]:
    due = cheaper[0] if cheaper else None
    if row["over_specified"] != due:
        yield f"{where}: over_specified is {row['over_specified']}, not {due}"
