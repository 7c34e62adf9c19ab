"""A sheet of answers to practice cases, read as strictly as a survey, and the attempts it makes."""

from __future__ import annotations

import difflib
import pathlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, ValidationError
from pydantic_core import PydanticCustomError

from engine.errors import BadInput, Problem
from engine.facts.complaints import problems_from
from engine.facts.declare import RowsOf, Section
from engine.facts.document import Document, Path, field_name, parse_document, read_document
from engine.facts.vocabulary import facts
from engine.practice.attempt import Attempt
from engine.practice.generator import Cases
from engine.practice.settings import LEVELS, MOST_CASES, MOST_SEED

KIND = "practice_answers"
SKIP = "skip"
NONE = "none"
UNNAMED = "unnamed"
"""What a blank sheet has for the trainee's name."""


def _names(raw: Any) -> Any:
    if isinstance(raw, list):
        return tuple(raw)
    if raw == NONE:
        return ()
    raise PydanticCustomError("set", "a list of names in [ ], or none")


def _names_or_skip(raw: Any) -> Any:
    return None if raw == SKIP else _names(raw)


Digest = Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]


class SheetCase(Section):
    """The answers to one case. `check` says of which case they are; what is skipped counts as not answered."""

    case: Annotated[int, Field(ge=1, le=MOST_CASES)]
    check: Annotated[str, Field(pattern=r"^[0-9a-f]{12}$")]
    asked: Annotated[tuple[str, ...], BeforeValidator(_names)] = ()
    answers: dict[str, str] = {}
    works: Annotated[tuple[str, ...] | None, BeforeValidator(_names_or_skip)] = None


class AnswerSheet(Section):
    """A whole sheet. `form` is the version of the layout."""

    kind: Literal["practice_answers"]
    form: Literal[1] = 1
    trainee: Annotated[str, Field(min_length=1, max_length=80)]
    rules: str
    rules_digest: Digest
    surveys: str
    seed: Annotated[int, Field(ge=0, le=MOST_SEED)]
    level: Annotated[int, Field(ge=1, le=len(LEVELS))]
    cases: Annotated[RowsOf[SheetCase], Field(max_length=MOST_CASES)]


@dataclass(frozen=True, slots=True)
class SheetFile:
    """A sheet with the document it was read from."""

    sheet: AnswerSheet
    document: Document

    @property
    def name(self) -> str:
        """The file's name as it is shown."""
        return self.document.file

    def problem(self, path: Path, message: str, found: str = "", allowed: str = "", hint: str = "") -> Problem:
        """Something wrong at a place of the sheet."""
        place = self.document.place(path)
        return Problem(place.file, place.line, place.column, field_name(path), message, found, allowed, hint)


def read_sheet(path: pathlib.Path) -> SheetFile:
    """Read a sheet.

    Raises:
        BadInput: with every problem of its form.
    """
    return _of_form(read_document(path))


def parse_sheet(raw: bytes, name: str) -> SheetFile:
    """Read a sheet from bytes; `name` stands for it in messages.

    Raises:
        BadInput: with every problem of its form.
    """
    return _of_form(parse_document(raw, name))


def _of_form(document: Document) -> SheetFile:
    try:
        return SheetFile(AnswerSheet.model_validate(document.data), document)
    except ValidationError as error:
        raise BadInput(problems_from(error, document, AnswerSheet)) from None


def attempts(file: SheetFile, cases: Cases) -> list[Attempt]:
    """The attempts a sheet makes, in the order of its cases.

    Raises:
        BadInput: the sheet is of other rules or surveys, or an answer is none; with every problem.
    """
    problems = list(_of_other_cases(file, cases))
    if problems:
        raise BadInput(problems)
    found, seen = [], set()
    for index, row in enumerate(file.sheet.cases):
        path: Path = ("cases", index)
        if row.case in seen:
            problems.append(file.problem((*path, "case"), "is answered twice", str(row.case)))
        seen.add(row.case)
        case = cases.case(file.sheet.seed, file.sheet.level, row.case)
        if row.check != case.check:
            allowed = f"{case.check}, which case {row.case} of this seed and level has"
            problems.append(file.problem((*path, "check"), "is of another case", row.check, allowed))
            continue
        attempt = Attempt(cases, case)
        problems += [*_ask(file, path, row, attempt), *_answer(file, path, row, attempt)]
        problems += _name_works(file, path, row, attempt)
        found.append(attempt)
    if problems:
        raise BadInput(problems)
    return found


def _of_other_cases(file: SheetFile, cases: Cases) -> Iterator[Problem]:
    sheet, base = file.sheet, cases.base
    if sheet.rules_digest != base.digest:
        yield file.problem(
            ("rules_digest",),
            "the rules have changed since the sheet was written, and with them the cases",
            sheet.rules_digest,
            base.digest,
            "write a new sheet with --template",
        )
    if sheet.surveys != cases.surveys_digest:
        hint = "give the same folder of surveys with --from as when the sheet was written"
        if sheet.surveys == NONE:
            hint = "leave --from out: the sheet was written without"
        yield file.problem(
            ("surveys",), "the cases were made from other surveys", sheet.surveys, cases.surveys_digest, hint
        )


def _ask(file: SheetFile, path: Path, row: SheetCase, attempt: Attempt) -> Iterator[Problem]:
    can_ask, shown = attempt.to_ask(), attempt.seen
    for index, name in enumerate(row.asked):
        place = (*path, "asked", index)
        if name not in facts():
            near = _near(name, can_ask) or _near(name, list(facts()))
            yield file.problem(place, "is no fact", name, "section.fact, as listed above the answers", near)
            continue
        if any(each.fact == name for each in attempt.asked):
            yield file.problem(place, "is asked for twice", name)
        elif name not in can_ask:
            why = "stands among the facts of the case" if shown[name].known else "is read by no rule, or does not apply"
            yield file.problem(place, why, name, "one of the further facts")
        else:
            attempt.ask(name)


def _answer(file: SheetFile, path: Path, row: SheetCase, attempt: Attempt) -> Iterator[Problem]:
    choices = attempt.cases.subject.choices
    for choice_id, answer in row.answers.items():
        place = (*path, "answers", choice_id)
        if choice_id not in choices:
            yield file.problem(place, "is not asked", choice_id, ", ".join(choices), _near(choice_id, choices))
            continue
        options = [option.id for option in attempt.cases.base.choices[choice_id].options]
        if answer in options:
            attempt.answers[choice_id] = answer
        elif answer != SKIP:
            allowed = [*options, SKIP]
            yield file.problem(place, "is not one of the options", answer, ", ".join(allowed), _near(answer, allowed))


def _name_works(file: SheetFile, path: Path, row: SheetCase, attempt: Attempt) -> Iterator[Problem]:
    if row.works is None:
        return
    offered = attempt.case.offered
    for index, work in enumerate(row.works):
        place = (*path, "works", index)
        if work not in offered:
            yield file.problem(place, "is not one of the works offered", work, ", ".join(offered), _near(work, offered))
        elif work in row.works[:index]:
            yield file.problem(place, "stands twice", work)
    attempt.works = tuple(work for work in row.works if work in offered)


def _near(word: str, among: Sequence[str]) -> str:
    near = difflib.get_close_matches(word, among, 1, 0.5)
    return f"did you mean {near[0]}?" if near else ""
