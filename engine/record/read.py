"""Reads a record strictly: JSON that can be read one way only, of the form this program knows."""

from __future__ import annotations

import json
import math
import re
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, NoReturn

from pydantic import ValidationError

from engine.errors import BadInput, Problem
from engine.facts.complaints import problems_from
from engine.facts.document import Budget, Document, parse_document, shown
from engine.record.build import text_of
from engine.record.canonical import LARGEST_WHOLE
from engine.record.facts import LARGEST
from engine.record.model import FORMAT, Record

_ALLOWED = "what `bedjoint assess --record` wrote"
_FORM = re.compile(r"bedjoint-record-([1-9][0-9]{0,8})")
_DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_DEEPEST = 60
_PROBLEMS_SHOWN = 100


@dataclass(frozen=True, slots=True)
class StoredRecord:
    """A record as it was read. `data` is what stands in the file, of which the digests are; `name` is the file's.

    Not `as_written` is a file that is laid out otherwise than the program writes it: spaces, line ends, order of names.
    """

    name: str
    data: dict[str, Any]
    record: Record
    as_written: bool


def parse_record(raw: bytes, name: str) -> StoredRecord:
    """A record from the bytes of its file; `name` stands for it in messages.

    Raises:
        BadInput: with every problem found.
    """
    data = _data(raw, name)
    _check_form(data, raw, name)
    try:
        record = Record.model_validate_json(raw.removeprefix(b"\xef\xbb\xbf"), strict=True)
    except ValidationError as error:
        raise BadInput(_problems(error, raw, name)) from None
    problems = list(_other_problems(data, raw, name))
    if problems:
        raise BadInput(problems[:_PROBLEMS_SHOWN])
    return StoredRecord(name, data, record, text_of(data).encode() == raw)


def is_other_output(raw: bytes) -> bool:
    """Whether this is JSON that another command of this program wrote, and no record."""
    try:
        data = json.loads(raw)
    except (ValueError, RecursionError):
        return False
    if not isinstance(data, dict):
        return False
    form = data.get("format")
    named = isinstance(form, str) and form.startswith("bedjoint-") and not form.startswith("bedjoint-record")
    return named or ("assessments" in data and "schedules" in data)


class _UnreadableError(Exception):
    """JSON that could be read in two ways, or not be held."""


def _data(raw: bytes, name: str) -> dict[str, Any]:
    if len(raw) > LARGEST:
        _refuse(name, "is too large", f"{len(raw):,} bytes", f"at most {LARGEST:,} bytes")
    try:
        text = raw.removeprefix(b"\xef\xbb\xbf").decode("utf-8")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        column = error.start - (raw.rfind(b"\n", 0, error.start) + 1) + 1
        problem = Problem(name, line, column, "", "is not UTF-8 text", f"byte {raw[error.start]:02X}", _ALLOWED)
        raise BadInput([problem]) from None
    if not text.strip():
        _refuse(name, "is empty", "", _ALLOWED)
    repeated: list[str] = []

    def members(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
        found: dict[str, Any] = {}
        for key, value in pairs:
            if key in found:
                repeated.append(key)
            found[key] = value
        return found

    try:
        data = json.loads(
            text,
            object_pairs_hook=members,
            parse_constant=_no_constant,
            parse_int=_whole,
            parse_float=_finite,
        )
    except json.JSONDecodeError as error:
        raise BadInput(
            [Problem(name, error.lineno, error.colno, "", f"is not JSON: {error.msg}", allowed=_ALLOWED)]
        ) from None
    except RecursionError:
        _refuse(name, "is nested too deeply", "", f"at most {_DEEPEST} levels")
    except _UnreadableError as error:
        _refuse(name, str(error), "", _ALLOWED)
    if repeated:
        raise BadInput(_repeated(dict.fromkeys(repeated), raw, name))
    if not isinstance(data, dict):
        _refuse(name, "is not a record", "a list" if isinstance(data, list) else shown(data), _ALLOWED)
    if _depth(data) > _DEEPEST:
        _refuse(name, "is nested too deeply", "", f"at most {_DEEPEST} levels")
    return data


def _no_constant(text: str) -> NoReturn:
    raise _UnreadableError(f"holds {text}, which is not JSON")


def _whole(text: str) -> int:
    if len(text) > 17 or abs(int(text)) > LARGEST_WHOLE:
        raise _UnreadableError(f"holds a whole number of {len(text.lstrip('-'))} digits, too large to be held exactly")
    return int(text)


def _finite(text: str) -> float:
    value = float(text)
    if not math.isfinite(value):
        raise _UnreadableError("holds a number too large to be held")
    return value


def _refuse(name: str, message: str, found: str, allowed: str) -> NoReturn:
    raise BadInput([Problem(name, 0, 0, "", message, found, allowed)]) from None


def _document(raw: bytes, name: str) -> Document | None:
    """The file with the places of its values; None where they cannot be told."""
    try:
        return parse_document(raw, name, Budget(file_bytes=LARGEST, nodes=2_000_000, depth=_DEEPEST + 4))
    except BadInput:
        return None


def _repeated(keys: dict[str, None], raw: bytes, name: str) -> list[Problem]:
    """What is said of names that stand twice in one object: with places, since what reads YAML has them."""
    try:
        parse_document(raw, name, Budget(file_bytes=LARGEST, nodes=2_000_000, depth=_DEEPEST + 4))
    except BadInput as error:
        if all(problem.line for problem in error.problems):
            return list(error.problems)
    return [Problem(name, 0, 0, "", "a name stands twice in one object", shown(key)) for key in keys]


def _check_form(data: dict[str, Any], raw: bytes, name: str) -> None:
    form = data.get("format")
    if form == FORMAT:
        return
    document = _document(raw, name)
    line, column = (
        (0, 0) if document is None else (document.place(("format",)).line, document.place(("format",)).column)
    )
    known = _FORM.fullmatch(form) if isinstance(form, str) else None
    if known:
        message = "is a record of a later form than this program reads"
        hint = "verify it with the program that wrote it, or a later one"
        raise BadInput([Problem(name, line, column, "format", message, shown(form), FORMAT, hint)])
    message = "is no decision record" if form is None else "is not a form of record"
    found = "" if form is None else shown(form)
    raise BadInput([Problem(name, line, column, "format", message, found, FORMAT, f"a record is {_ALLOWED}")])


def _problems(error: ValidationError, raw: bytes, name: str) -> list[Problem]:
    document = _document(raw, name)
    if document is not None:
        return problems_from(error, document, Record)[:_PROBLEMS_SHOWN]
    return [
        Problem(name, 0, 0, ".".join(map(str, each["loc"])), each["msg"].lower(), allowed=_ALLOWED)
        for each in error.errors(include_url=False, include_input=False)[:_PROBLEMS_SHOWN]
    ]


def _other_problems(data: dict[str, Any], raw: bytes, name: str) -> Iterator[Problem]:
    """What the models let pass: days that are not written as days, text that would do something to a terminal."""
    days: list[tuple[tuple[str | int, ...], Any]] = [
        (("as_of",), data["as_of"]),
        (("rules", "in_force_from"), data["rules"]["in_force_from"]),
    ]
    for number, each in enumerate(data["overrides"]):
        days += [(("overrides", number, key), each[key]) for key in ("on", "until") if each[key] is not None]
    wrong = [(path, day) for path, day in days if not _DAY.fullmatch(day)]
    document = _document(raw, name) if wrong else None
    for path, day in wrong:
        place = document.place(path) if document else None
        field = ".".join(map(str, path))
        line, column = (place.line, place.column) if place else (0, 0)
        yield Problem(name, line, column, field, "is not a date", shown(day), "YYYY-MM-DD")
    for text in _texts(data):
        if any(unicodedata.category(each) in ("Cc", "Cs") and each not in "\n\t" for each in text):
            yield Problem(name, 0, 0, "", "holds control characters, or halves of characters", shown(text))


def _texts(data: Any) -> Iterator[str]:
    match data:
        case str():
            yield data
        case dict():
            for key, value in data.items():
                yield key
                yield from _texts(value)
        case list():
            for value in data:
                yield from _texts(value)


def _depth(data: Any) -> int:
    deepest, waiting = 0, [(data, 1)]
    while waiting:
        value, depth = waiting.pop()
        deepest = max(deepest, depth)
        inner = value.values() if isinstance(value, dict) else value if isinstance(value, list) else ()
        waiting += [(each, depth + 1) for each in inner]
    return deepest
