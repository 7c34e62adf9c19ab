"""How one fact is declared: its type and limits in the model, its question and applicability beside it."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Annotated, Any, Generic, Literal, TypeVar, get_args

from pydantic import BaseModel, BeforeValidator, ConfigDict, GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic.json_schema import JsonSchemaValue
from pydantic_core import CoreSchema, PydanticCustomError, core_schema

T = TypeVar("T")

Established = Literal["measured", "observed", "reported", "assumed"]
ESTABLISHED: tuple[str, ...] = get_args(Established)
_NOTE_KEYS = ("value", "established", "by")
_TEXT_CAP = 400


class Section(BaseModel):
    """A strict group of facts: no unknown keys, no guessing of types."""

    model_config = ConfigDict(strict=True, extra="forbid", allow_inf_nan=False, frozen=True)


@dataclass(frozen=True, slots=True)
class Only:
    """A fact applies only while another fact has one of these values."""

    fact: str
    values: tuple[Any, ...]


@dataclass(frozen=True, slots=True)
class Unless:
    """A fact applies only while another fact has none of these values."""

    fact: str
    values: tuple[Any, ...]


@dataclass(frozen=True, slots=True)
class Asked:
    """What stands beside the type of a fact.

    `question` is what the surveyor answers, `how` the way it is established, `effort` how much trouble that
    is, `unit` and `step` belong to numbers: values are compared after rounding to `step`.
    """

    question: str
    how: str
    unit: str | None = None
    step: float | None = None
    applies: tuple[Only | Unless, ...] = ()
    effort: Literal["look", "ask", "measure", "open_up", "laboratory"] = "look"

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: GetJsonSchemaHandler) -> JsonSchemaValue:
        found = {**handler(schema), "description": self.question, "x-established-by": self.how}
        return {**found, "x-unit": self.unit} if self.unit else found


class Noted(Generic[T]):
    """A fact as written down: its value, or None while it is unknown, and how it was established.

    Not a dataclass: pydantic would then read it by its fields, and a survey writes the bare value.
    """

    __slots__ = ("by", "established", "value")

    def __init__(self, value: T | None = None, established: str | None = None, by: str | None = None) -> None:
        self.value = value
        self.established = established
        self.by = by

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Noted) and self._all() == other._all()

    def __hash__(self) -> int:
        return hash(self._all())

    def __repr__(self) -> str:
        return f"Noted{self._all()!r}"

    def _all(self) -> tuple[T | None, str | None, str | None]:
        return (self.value, self.established, self.by)

    @classmethod
    def __get_pydantic_core_schema__(cls, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        (inner,) = get_args(source)
        return core_schema.no_info_wrap_validator_function(_read_note, handler.generate_schema(inner))

    @classmethod
    def __get_pydantic_json_schema__(cls, schema: CoreSchema, handler: GetJsonSchemaHandler) -> JsonSchemaValue:
        # Through a list, since the handler leaves out what annotations add to the schema it is called with.
        inner = handler(core_schema.list_schema(schema["schema"]))["items"]
        return {
            "anyOf": [
                inner,
                {"const": "unknown"},
                {
                    "type": "object",
                    "additionalProperties": False,
                    "required": ["value"],
                    "properties": {
                        "value": {"anyOf": [inner, {"const": "unknown"}]},
                        "established": {"enum": list(ESTABLISHED)},
                        "by": {"type": "string", "minLength": 1, "maxLength": _TEXT_CAP},
                    },
                },
            ]
        }


UNKNOWN: Noted[Any] = Noted()


def _read_note(raw: Any, inner: Callable[[Any], Any]) -> Noted[Any]:
    if isinstance(raw, Noted):
        return raw
    if raw == "unknown":
        return UNKNOWN
    if not isinstance(raw, dict):
        return Noted(inner(raw))
    extra = [key for key in raw if key not in _NOTE_KEYS]
    if extra or "value" not in raw:
        raise PydanticCustomError("note", "a noted fact has a value and may say established and by", {"keys": extra})
    established, by = raw.get("established"), raw.get("by")
    if established is not None and established not in ESTABLISHED:
        raise PydanticCustomError("established", "not a way to establish a fact", {"expected": ", ".join(ESTABLISHED)})
    if by is not None and not (isinstance(by, str) and 0 < len(by) <= _TEXT_CAP):
        raise PydanticCustomError("by", "`by` is a short text that says what established the fact")
    value = None if raw["value"] == "unknown" else inner(raw["value"])
    return Noted(value, established, by)


def _yes_no(raw: Any) -> Any:
    return {"yes": True, "no": False}.get(raw, raw) if isinstance(raw, str) else raw


def _members(raw: Any) -> Any:
    if raw == "none":
        return frozenset()
    if not isinstance(raw, list):
        raise PydanticCustomError("set", "a list of values in [ ], or none")
    if not raw:
        raise PydanticCustomError("set", "an empty list says nothing: write none, or unknown")
    seen: list[Any] = []
    for member in raw:
        if member in seen:
            raise PydanticCustomError("set", "{member} stands twice in the list", {"member": str(member)})
        seen.append(member)
    if not all(isinstance(member, str) for member in raw):
        raise PydanticCustomError("set", "a list of words")
    return frozenset(raw)


def _date(raw: Any) -> Any:
    if isinstance(raw, dt.date):
        return raw
    try:
        return day_of(raw)
    except ValueError:
        raise PydanticCustomError("date", "not a date", {"expected": "a date as YYYY-MM-DD"}) from None


def day_of(raw: Any) -> dt.date:
    """A day written as YYYY-MM-DD.

    Raises:
        ValueError: anything else, also what ISO 8601 allows besides, such as the day of a week.
    """
    if not isinstance(raw, str) or not re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", raw, re.ASCII):
        raise ValueError("not a date")
    return dt.date.fromisoformat(raw)


def _rows(raw: Any) -> Any:
    if not isinstance(raw, list) or not raw:
        raise PydanticCustomError("rows", "a list of rows, at least one")
    return tuple(raw)


class _SetSchema:
    """Shows a set in JSON Schema as it is written: a list without repeats, or the word none."""

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: GetJsonSchemaHandler) -> JsonSchemaValue:
        inner = handler(schema)
        return {"anyOf": [{**inner, "minItems": 1}, {"const": "none"}]}


class _YesNoSchema:
    """Shows a yes-or-no fact as it may be written."""

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: GetJsonSchemaHandler) -> JsonSchemaValue:
        return {"enum": [True, False, "yes", "no"]}


YesNo = Annotated[bool, BeforeValidator(_yes_no), _YesNoSchema()]
Day = Annotated[dt.date, BeforeValidator(_date)]
SetOf = Annotated[frozenset[T], BeforeValidator(_members), _SetSchema()]
RowsOf = Annotated[tuple[T, ...], BeforeValidator(_rows)]
