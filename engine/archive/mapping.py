"""The mapping file: how one firm's sheet of past jobs is read as columns of the flat frame."""

from __future__ import annotations

import copy
import functools
import pathlib
import re
import unicodedata
from collections.abc import Collection, Iterator, Mapping
from typing import Annotated, Any, Literal

import yaml
from pydantic import BeforeValidator, Field, ValidationError

from engine.archive.mapping_columns import UNKNOWN_WORD, SheetColumn, column_of, fault_of, nearest, sheet_columns
from engine.archive.mapping_dates import is_date_format
from engine.errors import BadInput, Problem
from engine.facts.complaints import clipped, problems_from
from engine.facts.declare import Section, YesNo
from engine.facts.document import Document, Path, field_name, read_document

Header = Annotated[str, Field(min_length=1, max_length=400)]
Scalar = str | int | float | bool
Targets = str | Annotated[list[str], Field(min_length=1, max_length=20)]
"""The column a header stands for, or several, each with words of its own under `values`."""
SEPARATOR = ";"
WALL_WORDS = "letters, digits, - and _; no spaces; at most 40"
_WALL = re.compile(r"[A-Za-z0-9][A-Za-z0-9_-]{0,39}")
_SEPARATORS = "; , | / + & newline"


def _tuple(raw: Any) -> Any:
    return tuple(raw) if isinstance(raw, list) else raw


class SheetMapping(Section):
    """A mapping file. What it leaves out stays as it is: a header that is a column's name stands for that column.

    It may be given with files of several layouts. All but `ignored` and `constants` is said of the columns reached
    through a header that `columns` names (also one named as itself, `build.role: build.role`); every other column is
    read as ours: our words and units, a point in numbers, dates as YYYY-MM-DD, `;` between the members of a set.

    - `columns`: a header of the sheet -> the column it stands for, or a list of columns that it feeds.
    - `ignored`: headers that are passed over.
    - `values`: by column, a word of the sheet -> our word; of a set, also a word for several of them or `none`.
      Words are told apart by `word_key`, so that case and spaces do not matter.
    - `date_format`: how dates are written as text, as dd/mm/yyyy or as `strptime` has it; without one YYYY-MM-DD.
    - `decimal_comma`: whether 2,5 is two and a half.
    - `units`: by column, what a number in the sheet is to be multiplied by to be in our unit.
    - `constants`: a column the sheet lacks -> its value in every row, in our words and unit (a set also as a list).
      They hold for a sheet with at least one header that `columns` names, or for every sheet where `columns` names
      none, and never over a column that the sheet has, even where its cell is blank. In JSON Lines each line is a
      sheet of its own.

    Survey forms and surveys in YAML are ours and are never read by a mapping, its constants neither.

    - `set_separator`: what stands between the members of a set.
    """

    kind: Literal["archive_mapping"] = "archive_mapping"
    form: Literal[1] = 1
    columns: dict[Header, Targets] = {}
    ignored: Annotated[tuple[Header, ...], BeforeValidator(_tuple)] = ()
    values: dict[str, dict[Header, Scalar | list[str]]] = {}
    date_format: Annotated[str, Field(min_length=2, max_length=40)] | None = None
    decimal_comma: YesNo = False
    units: dict[str, float] = {}
    constants: dict[str, Scalar | list[str]] = {}
    set_separator: Annotated[str, Field(min_length=1, max_length=3)] = SEPARATOR

    @functools.cached_property
    def words(self) -> Mapping[str, Mapping[str, Scalar | tuple[str, ...]]]:
        """By column: the key of a word of the sheet -> our word, or words of a set."""
        return {
            column: {word_key(word): tuple(ours) if isinstance(ours, list) else ours for word, ours in several.items()}
            for column, several in self.values.items()
        }

    @functools.cached_property
    def headers(self) -> Mapping[str, tuple[str, ...]]:
        """The key of a header -> its columns."""
        return {word_key(header): targets_of(columns) for header, columns in self.columns.items()}

    def names(self, header: str) -> bool:
        """Whether `columns` names a header, so that what stands below it is in the firm's words and units."""
        return word_key(header) in self.headers

    def constants_of(self, columns: Collection[str], *, named: bool) -> Mapping[str, Scalar | list[str]]:
        """The constants of a sheet that has these flat columns; `named`: one of them by a header `columns` names."""
        if self.columns and not named:
            return {}
        return {column: value for column, value in self.constants.items() if column not in columns}

    @functools.cached_property
    def passed_over(self) -> frozenset[str]:
        """The keys of the headers that are ignored."""
        return frozenset(map(word_key, self.ignored))


def targets_of(columns: str | list[str]) -> tuple[str, ...]:
    """The columns a header stands for, as `columns` has them."""
    return (columns,) if isinstance(columns, str) else tuple(columns)


def is_wall_id(text: str) -> bool:
    """Whether a wall may be called so."""
    return _WALL.fullmatch(text) is not None


def wall_id_from(text: str) -> str:
    """An id made of what a sheet calls a wall; "" where nothing of it can be kept."""
    plain = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode()
    return re.sub(r"[^A-Za-z0-9_]+", "-", plain).strip("-_").lower()[:40].rstrip("-_")


def word_key(text: str) -> str:
    """What two headers or words are told apart by: case, spaces at the ends and runs of spaces do not count."""
    return " ".join(text.split()).casefold()


def read_mapping(path: pathlib.Path) -> SheetMapping:
    """Read a mapping file.

    Raises:
        BadInput: with every problem of the file.
    """
    document = read_document(path)
    try:
        found = SheetMapping.model_validate(document.data)
    except ValidationError as error:
        problems = [*_form_problems(error, document), *_problems_beside(error, document)]
        raise BadInput(dict.fromkeys(problems)) from None
    if problems := list(_problems(found, document, _reached(found))):
        raise BadInput(problems)
    return found


def mapping_text(mapping: SheetMapping, comments: str = "") -> str:
    """The mapping as a file: what is at its default is left out. `comments` stand above, a `#` before every line."""
    data = mapping.model_dump(exclude_defaults=True, mode="json")
    data = {"kind": mapping.kind, "form": mapping.form, **data}
    if "ignored" in data:
        data["ignored"] = list(data["ignored"])
    if "decimal_comma" in data:
        data["decimal_comma"] = "yes"
    above = "".join(f"# {line}".rstrip() + "\n" for line in comments.splitlines())
    return above + yaml.safe_dump(data, sort_keys=False, allow_unicode=True, width=100)


def _form_problems(error: ValidationError, document: Document) -> Iterator[Problem]:
    """What pydantic rejects. Of a value that may be of several kinds, one line."""
    seen: set[tuple[int, int]] = set()
    for problem in problems_from(error, document, SheetMapping):
        if problem.field.startswith(("values.", "constants.", "columns.")):
            of_columns = problem.field.startswith("columns.")
            if (problem.line, problem.column) in seen:
                continue
            seen.add((problem.line, problem.column))
            problem = Problem(
                problem.file,
                problem.line,
                problem.column,
                problem.field,
                "is not a column or a list of columns" if of_columns else "is not a word, a number or a list of words",
                problem.found,
            )
        yield problem


def _problems_beside(error: ValidationError, document: Document) -> list[Problem]:
    """What is wrong with the parts whose form is right, so that one run shows all."""
    rest: Any = copy.deepcopy(document.data)
    details = error.errors(include_url=False, include_context=False, include_input=False)
    paths = {_within(document.data, detail["loc"]) for detail in details}
    for path in paths:
        holder = rest
        for step in path[:-1]:
            holder = holder[step]
        del holder[path[-1]]
    try:
        found = SheetMapping.model_validate(rest)
        reached = None if any(path[0] in ("columns", "constants") for path in paths if path) else _reached(found)
        return list(_problems(found, document, reached))
    except ValidationError:
        return []


def _within(data: Any, loc: tuple[int | str, ...]) -> tuple[str, ...]:
    """The part of a location that leads through mappings of the file, down to the entry that is wrong."""
    path: list[str] = []
    for step in loc:
        if not isinstance(data, dict) or not isinstance(step, str) or step not in data:
            break
        path.append(step)
        data = data[step]
    return tuple(path)


def _reached(found: SheetMapping) -> frozenset[str]:
    """The columns that something leads to; of a misspelt one, those that may be meant."""
    names = (*(name for _, name, _ in _targets(found)), *found.constants)
    meant = (near for name in names if column_of(name) is None for near in nearest(name, sheet_columns(), 3))
    return frozenset((*names, *meant))


def _targets(found: SheetMapping) -> Iterator[tuple[str, str, Path]]:
    """Every header with each of its columns, and where that stands in the file."""
    for header, columns in found.columns.items():
        if isinstance(columns, str):
            yield header, columns, ("columns", header)
        else:
            yield from ((header, name, ("columns", header, place)) for place, name in enumerate(columns))


def _problems(found: SheetMapping, document: Document, reached: Collection[str] | None) -> Iterator[Problem]:
    """`reached` are the columns that something leads to, None where that is not certain."""
    yield from _columns(found, document)
    yield from _values(found, document)
    yield from _units(found, document)
    for part, names in (("values", found.values), ("units", found.units)):
        for name in names:
            if reached is not None and name not in reached and column_of(name) is not None:
                message = "no header under columns leads to this column"
                hint = f"add {name}: {name} under columns"
                yield _at(document, (part, name), message, name, "", hint, at_key=True)
    yield from _constants(found, document)
    if found.date_format is not None and not is_date_format(found.date_format):
        yield _at(
            document,
            ("date_format",),
            "does not give a day back",
            found.date_format,
            "year, month and day, for instance dd/mm/yyyy, or as strptime has them, '%d/%m/%Y'",
        )
    if not re.fullmatch(r"[ \t]*[;,|/+&\n][ \t]*", found.set_separator):
        yield _at(document, ("set_separator",), "cannot stand between words", found.set_separator, _SEPARATORS)


def _columns(found: SheetMapping, document: Document) -> Iterator[Problem]:
    onto: dict[str, str] = {}
    keys: dict[str, str] = {}
    paths: dict[str, Path] = {}
    for header, name, path in _targets(found):
        if column_of(name) is None:
            yield _no_column(document, path, name)
        elif name in onto:
            first = document.place(paths[name]).line
            yield _at(document, path, f"stands for the same column as {clipped(onto[name])} (line {first})", name)
        onto.setdefault(name, header)
        paths.setdefault(name, path)
    for header in found.columns:
        key = word_key(header)
        if key in keys:
            yield _at(document, ("columns", header), f"is the same header as {clipped(keys[key])}", header, at_key=True)
        keys.setdefault(key, header)
    for index, header in enumerate(found.ignored):
        key = word_key(header)
        if key in keys and keys[key] in found.columns:
            line = document.key_place(("columns", keys[key])).line
            yield _at(document, ("ignored", index), f"is also under columns (line {line})", header)
        elif key in keys:
            yield _at(document, ("ignored", index), "stands twice", header)
        keys.setdefault(key, header)


def _values(found: SheetMapping, document: Document) -> Iterator[Problem]:
    for name, words in found.values.items():
        column = column_of(name)
        if column is None:
            yield _no_column(document, ("values", name), name, at_key=True)
            continue
        keys: dict[str, str] = {}
        for word, ours in words.items():
            path: Path = ("values", name, word)
            key = word_key(word)
            if key in keys:
                yield _at(document, path, f"is the same word as {clipped(keys[key])}", word, at_key=True)
            keys.setdefault(key, word)
            yield from _value(document, path, column, ours)


def _value(document: Document, path: Path, column: SheetColumn, value: Any) -> Iterator[Problem]:
    fault = fault_of(column, value)
    if not fault and column.name == "wall" and not is_wall_id(str(value)):
        yield _at(document, path, "is no id of a wall", str(value), WALL_WORDS)
    if not fault:
        return
    allowed = column.allowed if column.kind == "text" else f"{column.allowed}, {UNKNOWN_WORD}"
    words = value if isinstance(value, list) else [value]
    options = ("yes", "no") if column.kind == "yes_no" else column.options
    wrong = [word for word in words if isinstance(word, str) and word not in options]
    near = nearest(wrong[0].lower().replace(" ", "_"), options) if wrong and options else []
    hint = f"did you mean {near[0]}?" if near else ""
    shown = ", ".join(map(clipped, wrong)) if wrong else clipped(value)
    place = document.place(path)
    yield Problem(place.file, place.line, place.column, field_name(path), fault, shown, allowed, hint)


def _units(found: SheetMapping, document: Document) -> Iterator[Problem]:
    for name, factor in found.units.items():
        column = column_of(name)
        if column is None:
            yield _no_column(document, ("units", name), name, at_key=True)
        elif column.kind != "number":
            yield _at(document, ("units", name), "is no number and has no unit", name, at_key=True)
        elif not factor:
            yield _at(document, ("units", name), "would make every number nought", f"{factor:g}", "any other number")


def _constants(found: SheetMapping, document: Document) -> Iterator[Problem]:
    onto = {column: path for _, column, path in _targets(found)}
    for name, value in found.constants.items():
        path: Path = ("constants", name)
        column = column_of(name)
        if column is None:
            yield _no_column(document, path, name, at_key=True)
            continue
        if name in onto:
            line = document.place(onto[name]).line
            yield _at(document, path, f"is also read from the sheet (line {line})", name, at_key=True)
        yield from _value(document, path, column, value)


def _no_column(document: Document, path: Path, name: str, *, at_key: bool = False) -> Problem:
    near = nearest(name, sheet_columns(), 3)
    hint = f"did you mean {' or '.join(near)}?" if near else ""
    return _at(document, path, "there is no such column", name, "", hint, at_key=at_key)


def _at(
    document: Document,
    path: Path,
    message: str,
    found: str,
    allowed: str = "",
    hint: str = "",
    *,
    at_key: bool = False,
) -> Problem:
    place = document.key_place(path) if at_key else document.place(path)
    return Problem(place.file, place.line, place.column, field_name(path), message, clipped(found), allowed, hint)
