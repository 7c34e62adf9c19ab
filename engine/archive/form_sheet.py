"""Reads a filled-in survey form, the sheet with one row a fact, back into one raw row for each wall.

The form has a row of heads (`fact`, `question`, `unit`, `allowed`, an `answer` for each wall, `established`, `by`,
`notes`) and below it one row a fact. A list of rows is a table below or on another sheet: a row with the name of the
list first, a row of heads (`wall` and the fields), then its rows. Where the form has one wall, a row need not name it.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from engine.archive.cells import text_of
from engine.archive.mapping_columns import fault_of, nearest, sheet_columns
from engine.facts.document import shown
from engine.facts.vocabulary import facts

Row = tuple[int, Sequence[Any]]
"""A row's number as a person counts it, and its cells; an empty cell is None or ""."""

FORM_HEADS = ("fact", "question", "unit", "allowed")
ANSWER = "answer"
AFTER_ANSWERS = ("established", "by", "notes")
WALL_HEAD = "wall"
HOW_TO_TITLE = "How to fill this in"
"""The first cell of the sheet of a template that says how it is filled in, and holds no data."""
PREPARED_WALL = "W1"
"""The wall of a form that was made for none by name. Rows of samples used to be prepared for it."""
PREPARED_REFERENCE = "write your reference here"
"""The reference of a form that was made for no job."""
OF_THE_JOB = ("reference", "survey_date", "surveyor")
"""What is the same for every wall of a form, besides the facts of the property."""
_PREPARED = {"reference", "survey_date", WALL_HEAD}
_HEAD_WITHIN = 20
_LONGEST_ALLOWED = 160


@dataclass(frozen=True, slots=True)
class FormCell:
    """One answer as it was written, with its place."""

    value: Any
    sheet: str
    row: int
    column: int


@dataclass(frozen=True, slots=True)
class FormProblem:
    """What is wrong with the form itself, and where. `column` counts from 1; 0: the whole row.

    `hint` says where it stands too, since every wall of the form is refused for it, each at its own place.
    """

    sheet: str
    row: int
    column: int
    field: str
    message: str
    found: str = ""
    hint: str = ""


@dataclass(frozen=True, slots=True)
class FormWall:
    """One wall: its answers by name of the flat column (`moisture.samples.1.height_mm` and the like included).

    `sheet` and `row` are where its id stands. Answers are as in the cells: neither typed nor checked; empty ones are
    left out. `established`, `by` and `notes` are not read: the flat frame does not keep them.
    """

    wall: str
    sheet: str
    row: int
    cells: dict[str, FormCell]


@dataclass(frozen=True, slots=True)
class FormRead:
    """The walls of a form, and what is wrong with it. A wall that a problem concerns is there all the same."""

    walls: tuple[FormWall, ...]
    problems: tuple[FormProblem, ...]


@dataclass(slots=True)
class _Answers:
    """One column of answers while it is read."""

    column: int
    label: str
    cells: dict[str, FormCell]
    id_row: int


def is_form(rows: Iterable[Row]) -> bool:
    """Whether the rows of a sheet are the survey form: its heads are among the first rows."""
    return any(_is_head(cells) for _, cells in _first(rows))


def is_how_to(rows: Iterable[Row]) -> bool:
    """Whether a sheet is the one of a template that says how it is filled in: it holds no data."""
    filled = next((cells for _, cells in _first(rows) if any(map(_text, cells))), ())
    return bool(filled) and _text(filled[0]) == HOW_TO_TITLE


def walls_of_form(sheets: Sequence[tuple[str, Sequence[Row]]]) -> FormRead:
    """The walls of a form, from all sheets of the workbook (name and rows); a CSV file is one sheet named ""."""
    problems: list[FormProblem] = []
    main = next(((name, rows) for name, rows in sheets if is_form(rows)), None)
    if main is None:
        return FormRead((), (FormProblem("", 0, 0, "", "holds no survey form"),))
    answers = _main_sheet(*main, problems)
    _spread(answers, problems)
    by_wall: dict[str, _Answers] = {}
    for each in answers:
        name = _wall_of(each)
        if name in by_wall:
            problems.append(
                FormProblem(main[0], each.id_row, each.column, "wall", "is the name of two walls", shown(name))
            )
        by_wall.setdefault(name, each)
    for name, rows in sheets:
        _tables(name, rows, by_wall, problems)
    walls = tuple(FormWall(_wall_of(each), main[0], each.id_row, each.cells) for each in answers)
    unfilled = None if problems else _blank(walls)
    if unfilled is not None:
        return FormRead(walls[:1], (unfilled,))
    problems += _still_prepared(walls)
    if problems:
        problems += _of_cells(walls)
    order = {name: place for place, (name, _) in enumerate(sheets)}
    problems.sort(key=lambda problem: (order.get(problem.sheet, -1), problem.row, problem.column))
    return FormRead(walls, tuple(map(_placed, problems)))


def _placed(problem: FormProblem) -> FormProblem:
    place = f"sheet {problem.sheet}, row {problem.row}" if problem.sheet else f"row {problem.row}"
    return replace(problem, hint="; ".join(part for part in (problem.hint, f"it stands in {place}") if part))


def _blank(walls: Sequence[FormWall]) -> FormProblem | None:
    """What is wrong with a form that nobody filled in."""
    for wall in walls:
        reference = wall.cells.get("reference")
        if (reference and _text(reference.value) != PREPARED_REFERENCE) or wall.cells.keys() - _PREPARED:
            return None
    first = walls[0] if walls else FormWall("", "", 0, {})
    hint = "it holds neither a reference nor an answer"
    return FormProblem(first.sheet, first.row, 0, "reference", "the form is not filled in", "", hint)


def _still_prepared(walls: Sequence[FormWall]) -> Iterator[FormProblem]:
    reference = walls[0].cells.get("reference") if walls else None
    if reference and _text(reference.value) == PREPARED_REFERENCE:
        found, message = shown(PREPARED_REFERENCE), "is not written yet"
        yield FormProblem(reference.sheet, reference.row, reference.column, "reference", message, found)


def _of_cells(walls: Sequence[FormWall]) -> Iterator[FormProblem]:
    """What is wrong with the answers, said together with what is wrong with the form.

    Of a form without a fault of its own the answers are checked where rows are taken in, against the day of judging.
    """
    from engine.archive.taken_row import RowReader

    reader = RowReader(None, dt.date.max)
    told = set()
    for wall in walls:
        cells = {
            name: cell.value
            for name, cell in wall.cells.items()
            if name != "reference" or _text(cell.value) != PREPARED_REFERENCE
        }
        cells.setdefault("reference", PREPARED_REFERENCE)
        for each in reader.read(("", wall.sheet, wall.row), cells)[1]:
            whole = FormCell(None, wall.sheet, wall.row, 0)
            of_row = (cell for name, cell in wall.cells.items() if name.startswith(f"{each.column}."))
            at = wall.cells.get(each.column) or next(of_row, whole)
            allowed = f"allowed: {each.allowed}" if each.allowed and len(each.allowed) <= _LONGEST_ALLOWED else ""
            hint = "; ".join(part for part in (allowed, each.hint) if part)
            problem = FormProblem(at.sheet, at.row, at.column, each.column, each.message, each.value, hint)
            if problem not in told:
                told.add(problem)
                yield problem


def _of_stray(name: str, row: int, sheet: str, cells: Mapping[str, tuple[int, Any]]) -> Iterator[FormProblem]:
    """What is wrong with the cells of a row that is of no wall."""
    from engine.archive.cells import CellFault, reader_of

    for field, (place, cell) in cells.items():
        column = sheet_columns()[f"{name}.1.{field}"]
        value = reader_of(column, None)(cell)
        if value is None:
            continue
        message = value.message if isinstance(value, CellFault) else fault_of(column, value)
        if message:
            found, allowed = shown(_text(cell)), f"allowed: {column.allowed}"
            yield FormProblem(sheet, row, place, f"{name}.{field}", message, found, allowed)


def _main_sheet(sheet: str, rows: Sequence[Row], problems: list[FormProblem]) -> list[_Answers]:
    at = next(index for index, (_, cells) in enumerate(rows) if _is_head(cells))
    number, heads = rows[at]
    answers = [
        _Answers(place, _text(head).partition(":")[2].strip(), {}, number)
        for place, head in enumerate(heads, 1)
        if _text(head).lower().partition(":")[0] == ANSWER
    ]
    seen: dict[str, int] = {}
    for row, cells in rows[at + 1 :]:
        name = _text(cells[0]) if cells else ""
        if name in _lists():
            break
        said = [each for each in answers if _text(_cell(cells, each.column))]
        if name not in sheet_columns():
            if said:
                near = nearest(name, sheet_columns()) if name else []
                problems.append(
                    FormProblem(
                        sheet,
                        row,
                        1,
                        name,
                        "is no fact of the form" if name else "an answer stands beside no fact",
                        shown(name or _cell(cells, said[0].column)),
                        f"did you mean {near[0]}?" if near else "",
                    )
                )
            continue
        if name in seen:
            problems.append(FormProblem(sheet, row, 1, name, f"stands in row {seen[name]} too", shown(name)))
            continue
        seen[name] = row
        for each in said:
            each.cells[name] = FormCell(_cell(cells, each.column), sheet, row, each.column)
            if name == WALL_HEAD:
                each.id_row = row
    return _in_use(answers)


def _in_use(answers: list[_Answers]) -> list[_Answers]:
    """The columns that say something of a wall. A column with nothing but a prepared id is not in use."""
    used = [each for each in answers if each.cells.keys() - {WALL_HEAD}]
    return used or answers[:1]


def _spread(answers: Sequence[_Answers], problems: list[FormProblem]) -> None:
    """What is said of the property once is said for every wall; what is said twice must be the same."""
    names = [*OF_THE_JOB, *(name for name in facts() if name.startswith("property."))]
    for name in names:
        said = [each.cells[name] for each in answers if name in each.cells]
        for other in said[1:]:
            if _text(other.value) != _text(said[0].value):
                message = "is of the whole property and cannot differ between its walls"
                problems.append(
                    FormProblem(other.sheet, other.row, other.column, name, message, shown(_text(other.value)))
                )
        for each in answers:
            if said:
                each.cells.setdefault(name, said[0])


def _wall_of(answers: _Answers) -> str:
    """The wall's id: as the form says, else as the head of its column does."""
    if WALL_HEAD not in answers.cells and answers.label:
        answers.cells[WALL_HEAD] = FormCell(answers.label, "", answers.id_row, answers.column)
    found = answers.cells.get(WALL_HEAD)
    return _text(found.value) if found else ""


def _tables(sheet: str, rows: Sequence[Row], walls: dict[str, _Answers], problems: list[FormProblem]) -> None:
    """The lists of rows on a sheet."""
    name, heads = "", None
    counts: dict[tuple[str, str], int] = {}
    for row, cells in rows:
        texts = [_text(cell) for cell in cells]
        if texts and texts[0] in _lists():
            name, heads = texts[0], None
        elif name and heads is None and any(texts):
            heads = texts
            known = _fields(name)
            problems += [
                FormProblem(sheet, row, place, name, "is no field of this list", shown(head))
                for place, head in enumerate(heads, 1)
                if head and head != WALL_HEAD and head not in known
            ]
        elif heads is not None and any(text for text, head in zip(texts, heads, strict=False) if head != WALL_HEAD):
            given = dict(zip(heads, texts, strict=False)).get(WALL_HEAD, "")
            only = next(iter(walls)) if len(walls) == 1 else None
            wall = only if only is not None and given in ("", PREPARED_WALL) else given
            if wall not in walls:
                message = "is no wall of this form" if wall else "the row does not say of which wall it is"
                hint = f"the walls of this form: {', '.join(filter(None, walls)) or 'none'}"
                problems.append(FormProblem(sheet, row, 1, name, message, shown(wall) if wall else "", hint))
                fields = _fields(name)
                stray = {
                    head: (place, cell)
                    for place, (head, cell) in enumerate(zip(heads, cells, strict=False), 1)
                    if head in fields and _text(cell)
                }
                problems += _of_stray(name, row, sheet, stray)
                continue
            counts[name, wall] = count = counts.get((name, wall), 0) + 1
            for place, (head, cell) in enumerate(zip(heads, cells, strict=False), 1):
                if head in _fields(name) and _text(cell):
                    walls[wall].cells[f"{name}.{count}.{head}"] = FormCell(cell, sheet, row, place)


def _lists() -> tuple[str, ...]:
    return tuple(variable.name for variable in facts().values() if variable.kind == "rows")


def _fields(name: str) -> tuple[str, ...]:
    start = f"{name}.1."
    return tuple(column.removeprefix(start) for column in sheet_columns() if column.startswith(start))


def _is_head(cells: Sequence[Any]) -> bool:
    texts = [_text(cell).lower() for cell in cells]
    return tuple(texts[: len(FORM_HEADS)]) == FORM_HEADS and any(text.partition(":")[0] == ANSWER for text in texts)


def _first(rows: Iterable[Row]) -> Iterator[Row]:
    for index, row in enumerate(rows):
        if index == _HEAD_WITHIN:
            return
        yield row


def _cell(cells: Sequence[Any], column: int) -> Any:
    return cells[column - 1] if column <= len(cells) else None


def _text(cell: Any) -> str:
    return text_of(cell).strip()
