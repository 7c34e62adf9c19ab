"""Reads one YAML file strictly and remembers where every value stands.

Only the plain part of YAML 1.2 is read: mappings with text keys, lists, text, numbers, true, false and null.
Whatever could be read in two ways, or would be changed in silence, is a problem; all problems of a file are
reported at once. Dates and times stay text.
"""

from __future__ import annotations

import math
import os
import pathlib
import re
from bisect import bisect_right
from dataclasses import dataclass, field
from typing import Any, NamedTuple, NoReturn, TypeAlias

import yaml
from yaml.events import (
    AliasEvent,
    DocumentStartEvent,
    Event,
    MappingEndEvent,
    MappingStartEvent,
    ScalarEvent,
    SequenceEndEvent,
    SequenceStartEvent,
    StreamEndEvent,
)

from engine.errors import BadInput, Problem

Path: TypeAlias = tuple[str | int, ...]

_FOUND_LENGTH = 60
_INTEGER_DIGITS = 18
_INTEGER_TEXT = 64

_TEXT_TAG = "tag:yaml.org,2002:str"
_INTEGER_TAG = "tag:yaml.org,2002:int"
_FLOAT_TAG = "tag:yaml.org,2002:float"

# Besides the control characters: NEL, LS and PS, which YAML 1.1 takes for line ends but editors do not; a
# byte order mark inside the text; halves of surrogate pairs and the two code points that are no characters.
_UNWANTED = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u2028\u2029\ud800-\udfff\ufeff\ufffe\uffff]")
_UNWANTED_IN_FILE = re.compile(_UNWANTED.pattern.replace("\x0b-\x1f", "\x0b\x0c\x0e-\x1f"))
_LINE_END = re.compile("\r\n|\r|\n")
_SEPARATORS = "\x85\u2028\u2029"

_MAPPING_ALLOWED = "a mapping: lines of the form 'key: value'"
_TEXT_ALLOWED = "printable characters, tabs and line ends"
_KEY_ALLOWED = "text as a key; put it in quotes if it looks like something else"


def _core_loader() -> Any:
    """Return the YAML 1.2 core-schema loader, on libyaml where PyYAML was built with it."""
    missing = [] if yaml.__with_libyaml__ else ["Loader", "Dumper"]
    # While it is imported, yamlcore names libyaml's base classes even where there is no libyaml; lend it the
    # plain ones.
    for name in missing:
        setattr(yaml, f"CBase{name}", getattr(yaml, f"Base{name}"))
    try:
        from yamlcore import CCoreLoader
    finally:
        for name in missing:
            delattr(yaml, f"CBase{name}")
    return CCoreLoader


_LOADER = _core_loader()


@dataclass(frozen=True, slots=True)
class Place:
    """Where something stands in a file. `line` and `column` count from 1."""

    file: str
    line: int
    column: int


@dataclass(frozen=True, slots=True)
class Budget:
    """How much one file may hold, each limit apart, so that a long honest file is not taken for a bomb."""

    file_bytes: int = 5_000_000
    nodes: int = 200_000
    depth: int = 32
    text_characters: int = 10_000
    problems: int = 100


DEFAULT_BUDGET = Budget()


class _Spot(NamedTuple):
    """Where one value and its key stand, and the same for what the value holds."""

    line: int
    column: int
    key_line: int
    key_column: int
    below: dict[str | int, _Spot] | None


@dataclass(frozen=True, slots=True, eq=False)
class Document:
    """The data of one file as plain Python, and the place of every value in it."""

    file: str
    data: dict[str, Any] | list[Any]
    _root: _Spot = field(repr=False)

    def place(self, path: Path) -> Place:
        """Return the place of the value at `path`; if there is none, of the nearest value around it."""
        spot = self._spot(path)
        return Place(self.file, spot.line, spot.column)

    def key_place(self, path: Path) -> Place:
        """Return the place of the key at `path`; if there is none, of the nearest key around it.

        An item of a list and the document itself have no key; their own place is returned.
        """
        spot = self._spot(path)
        return Place(self.file, spot.key_line, spot.key_column)

    def _spot(self, path: Path) -> _Spot:
        spot = self._root
        for step in path:
            inner = spot.below.get(step) if spot.below is not None else None
            if inner is None:
                break
            spot = inner
        return spot


def field_name(path: Path) -> str:
    """Return `path` as it is written in messages: `walls[0].thickness_mm`, items counted from 0."""
    parts: list[str] = []
    for step in path:
        if isinstance(step, int):
            parts.append(f"[{step}]")
        else:
            name = step if re.fullmatch(r"[\w-]{1,60}", step) else shown(step)
            parts.append(f".{name}" if parts else name)
    return "".join(parts)


def shown(value: object) -> str:
    """Return `value` as it is shown in messages: on one line, printable and not too long."""
    match value:
        case None:
            return "null"
        case bool():
            return str(value).lower()
        case str():
            quoted = repr(value[:_FOUND_LENGTH])
            return f"{quoted[0]}{_clip(quoted[1:-1], cut=len(value) > _FOUND_LENGTH)}{quoted[0]}"
        case dict():
            return "a mapping"
        case list() | tuple():
            return "a list"
        case _:
            return _bare(str(value))


def _bare(text: str) -> str:
    """Return `text` printable and clipped, without quotes."""
    return _clip(repr(text[:_FOUND_LENGTH])[1:-1], cut=len(text) > _FOUND_LENGTH)


def _clip(text: str, *, cut: bool) -> str:
    return text[: _FOUND_LENGTH - 1] + "…" if cut or len(text) > _FOUND_LENGTH else text


def read_document(
    path: pathlib.Path,
    shown_as: str | None = None,
    budget: Budget = DEFAULT_BUDGET,
    *,
    list_allowed: bool = False,
) -> Document:
    """Read the YAML file at `path`; messages and places call it `shown_as`, or else by its path.

    The top level is a mapping, or a list where `list_allowed` says so.

    Raises:
        BadInput: there is no such file, it cannot be read, or what it holds cannot be used.

    """
    file = shown_as
    if file is None:
        # A file name may hold any byte; a message may not.
        file = "".join(c if c.isprintable() else repr(c)[1:-1] for c in str(path))
    try:
        if path.is_dir():
            _fail(file, "this is a folder, not a file", allowed="a YAML file")
        with path.open("rb") as stream:
            raw = stream.read(budget.file_bytes + 1)
            size = max(os.fstat(stream.fileno()).st_size, len(raw))
    except FileNotFoundError:
        _fail(file, "there is no such file")
    except PermissionError:
        _fail(file, "there is no permission to read this file")
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        _fail(file, f"the file cannot be read: {_bare(reason)}")
    if len(raw) > budget.file_bytes:
        _fail_size(file, size, budget)
    return parse_document(raw, file, budget, list_allowed=list_allowed)


def parse_document(raw: bytes, file: str, budget: Budget = DEFAULT_BUDGET, *, list_allowed: bool = False) -> Document:
    """Read the bytes of a YAML file; messages and places call it `file`.

    The top level is a mapping, or a list where `list_allowed` says so.

    Raises:
        BadInput: the bytes are no UTF-8 text, no YAML, hold something that is not allowed, or exceed a limit.

    """
    if len(raw) > budget.file_bytes:
        _fail_size(file, len(raw), budget)
    text = _decode(raw, file)
    return _Reader(text, file, budget, list_allowed).read()


def _fail(
    file: str,
    message: str,
    *,
    line: int = 0,
    column: int = 0,
    found: str = "",
    allowed: str = "",
    hint: str = "",
) -> NoReturn:
    raise BadInput([Problem(file, line, column, "", message, found, allowed, hint)]) from None


def _fail_size(file: str, size: int, budget: Budget) -> NoReturn:
    _fail(
        file,
        "the file is too large",
        found=f"{size:,} bytes",
        allowed=f"at most {budget.file_bytes:,} bytes",
    )


def _decode(raw: bytes, file: str) -> str:
    allowed = "plain text in UTF-8"
    if raw.startswith((b"\xff\xfe", b"\xfe\xff", b"\0\0\xfe\xff")):
        _fail(
            file,
            "the file is saved as UTF-16 or UTF-32",
            found=_bytes_shown(raw[:4]),
            allowed=allowed,
            hint="save it again with the encoding UTF-8",
        )
    nul = raw.find(b"\0")
    if nul >= 0:
        line, column = _byte_place(raw, nul)
        _fail(
            file,
            "the file holds NUL bytes: it is a binary file, or text saved as UTF-16",
            line=line,
            column=column,
            found=_bytes_shown(raw[nul : nul + 1]),
            allowed=allowed,
        )
    try:
        return raw.removeprefix(b"\xef\xbb\xbf").decode("utf-8")
    except UnicodeDecodeError as error:
        start = error.start + (len(raw) - len(error.object))
        line, column = _byte_place(raw, start)
        _fail(
            file,
            "the file is not UTF-8 text: it is saved in another encoding, or is a binary file",
            line=line,
            column=column,
            found=_bytes_shown(raw[start : start + 1]),
            allowed=allowed,
            hint="save it again with the encoding UTF-8",
        )


def _byte_place(raw: bytes, offset: int) -> tuple[int, int]:
    """Return line and column of the byte at `offset`; what stands before it may be any bytes."""
    before = raw[:offset].removeprefix(b"\xef\xbb\xbf").decode("utf-8", "replace")
    ends = [match.end() for match in _LINE_END.finditer(before)]
    return len(ends) + 1, len(before) - (ends[-1] if ends else 0) + 1


def _bytes_shown(raw: bytes) -> str:
    return f"{'byte' if len(raw) == 1 else 'bytes'} {raw.hex(' ').upper()}"


def _start_of(event: Event) -> tuple[int, int]:
    mark: Any = event.start_mark
    return mark.line + 1, mark.column + 1


class _HaltError(Exception):
    """Nothing more can be read; what was found so far is reported."""


class _Frame:
    """A mapping or a list that is being read. `key` is None while a mapping waits for its next key."""

    __slots__ = ("below", "items", "key", "key_column", "key_line", "mapping")

    def __init__(self, mapping: dict[str, Any] | None, items: list[Any]) -> None:
        self.mapping = mapping
        self.items = items
        self.below: dict[str | int, _Spot] = {}
        self.key: str | int | None = None if mapping is not None else 0
        self.key_line = 0
        self.key_column = 0

    def waits_for_key(self) -> bool:
        return self.mapping is not None and self.key is None


class _Reader:
    """Walks the parser's events with a stack of its own, so that no nesting can exhaust Python's."""

    def __init__(self, text: str, file: str, budget: Budget, list_allowed: bool) -> None:
        self._text = text
        self._list_allowed = list_allowed
        self._file = file
        self._budget = budget
        self._problems: list[Problem] = []
        self._stack: list[_Frame] = []
        self._known: dict[str, Any] = {}
        self._nodes = 0
        self._documents = 0
        self._root: Any = None
        self._root_spot: _Spot | None = None
        self._root_is_empty = False
        self._loader: Any = None

    def read(self) -> Document:
        try:
            self._remove_unwanted()
            self._parse()
            self._check_root()
        except _HaltError:
            pass
        if self._problems:
            raise BadInput(self._problems)
        assert self._root_spot is not None
        return Document(self._file, self._root, self._root_spot)

    def _parse(self) -> None:
        last: Any = None
        try:
            self._loader = _LOADER(self._text)
            get_event = self._loader.get_event
            while True:
                event = get_event()
                kind = type(event)
                if kind is ScalarEvent:
                    self._scalar(event)
                elif kind is MappingEndEvent or kind is SequenceEndEvent:
                    self._close()
                elif kind is MappingStartEvent or kind is SequenceStartEvent:
                    self._open(event)
                elif kind is AliasEvent:
                    self._alias(event)
                elif kind is DocumentStartEvent:
                    self._start(event)
                elif kind is StreamEndEvent:
                    break
                last = event
        except yaml.MarkedYAMLError as error:
            self._syntax(error)
            raise _HaltError from None
        except (yaml.YAMLError, ValueError, OverflowError) as error:
            # The parser in Python lets a few bare errors of int() and chr() out, and says where it stands.
            mark = last.end_mark if last is not None else None
            line = getattr(self._loader, "line", mark.line if mark else 0) + 1
            column = getattr(self._loader, "column", mark.column if mark else 0) + 1
            self._add_problem(line, column, f"the file is not valid YAML: {_bare(str(error))}")
            raise _HaltError from None

    def _check_root(self) -> None:
        if self._root_spot is None or self._root_is_empty:
            if not self._text.strip():
                message = "the file is empty"
            elif self._root_spot is None:
                message = "the file holds only comments"
            else:
                message = "the file holds no values"
            self._add_problem(0, 0, message, allowed=_MAPPING_ALLOWED)
        elif not isinstance(self._root, dict) and not (self._list_allowed and isinstance(self._root, list)):
            self._add_problem(
                self._root_spot.line,
                self._root_spot.column,
                "the file is not a mapping at its top level",
                found=shown(self._root),
                allowed=_MAPPING_ALLOWED,
            )

    # Events

    def _start(self, event: DocumentStartEvent) -> None:
        self._documents += 1
        line, column = _start_of(event)
        if event.tags or event.version not in (None, (1, 2)):
            self._add_problem(
                line,
                column,
                "directives (lines that start with %) are not used here",
                allowed="YAML 1.2 without directives",
            )
        if self._documents == 2:
            self._add_problem(
                line,
                column,
                "a second document starts here",
                found="'---'",
                allowed="one document in a file",
            )

    def _scalar(self, event: ScalarEvent) -> None:
        line, column = _start_of(event)
        self._count(line, column)
        text, style = event.value, event.style
        frame = self._stack[-1] if self._stack else None
        is_key = frame is not None and frame.waits_for_key()
        if frame is not None and is_key:
            first = frame.below.get(text)
            frame.key, frame.key_line, frame.key_column = text, line, column
            if first is not None:
                self._duplicate(first, line, column)
            if text == "<<" and not style:
                self._add_problem(
                    line,
                    column,
                    "merge keys are not used here",
                    found="<<",
                    hint="write the merged keys out",
                )
        if event.tag is not None or event.anchor is not None:
            self._refuse_marks(event, line, column)
        value: Any = text
        if len(text) > self._budget.text_characters:
            self._add_problem(
                line,
                column,
                f"this {'key' if is_key else 'text'} is too long",
                found=f"{len(text):,} characters, {shown(text)}",
                allowed=f"at most {self._budget.text_characters:,} characters",
            )
        elif not style:
            if event.tag is None:
                value = self._known[text] if text in self._known else self._resolve(text, line, column, is_key)
        elif style == '"' and (bad := _UNWANTED.search(text)) is not None:
            self._unwanted(bad.group(), line, column)
        if is_key:
            if not isinstance(value, str):
                self._key_not_text(_bare(text) if text else "nothing before the colon", line, column)
            return
        if frame is None and self._documents == 1:
            self._root_is_empty = not text and not style
        self._put(value, line, column, None)
        self._next()

    def _open(self, event: MappingStartEvent | SequenceStartEvent) -> None:
        line, column = _start_of(event)
        self._count(line, column)
        if event.anchor is not None or event.tag is not None:
            self._refuse_marks(event, line, column)
        is_mapping = type(event) is MappingStartEvent
        if self._stack and self._stack[-1].waits_for_key():
            self._key_not_text("a mapping" if is_mapping else "a list", line, column)
        if len(self._stack) >= self._budget.depth:
            self._too_deep(line, column)
            raise _HaltError
        items: list[Any] = []
        mapping: dict[str, Any] | None = {} if is_mapping else None
        frame = _Frame(mapping, items)
        self._put(items if mapping is None else mapping, line, column, frame.below)
        self._stack.append(frame)

    def _close(self) -> None:
        self._stack.pop()
        self._next()

    def _alias(self, event: AliasEvent) -> None:
        line, column = _start_of(event)
        self._count(line, column)
        self._add_problem(
            line,
            column,
            "aliases are not used here",
            found=_bare(f"*{event.anchor}"),
            hint="write the value out; put text that starts with * in quotes",
        )
        if self._stack and self._stack[-1].waits_for_key():
            self._stack[-1].key = f"*{event.anchor}"
            return
        self._put(None, line, column, None)
        self._next()

    # The tree

    def _put(self, value: Any, line: int, column: int, below: dict[str | int, _Spot] | None) -> None:
        """Put a value where the innermost mapping or list waits for it; a key that is no text is dropped."""
        if not self._stack:
            if self._documents == 1:
                self._root, self._root_spot = value, _Spot(line, column, line, column, below)
            return
        frame = self._stack[-1]
        if frame.key is None:
            return
        if frame.mapping is not None:
            frame.mapping[str(frame.key)] = value
            frame.below[frame.key] = _Spot(line, column, frame.key_line, frame.key_column, below)
        else:
            frame.items.append(value)
            frame.below[frame.key] = _Spot(line, column, line, column, below)

    def _next(self) -> None:
        """Step past the value that has just been completed."""
        if not self._stack:
            return
        frame = self._stack[-1]
        if frame.mapping is None:
            frame.key = len(frame.items)
        elif frame.key is None:
            frame.key = "?"
        else:
            frame.key = None

    def _count(self, line: int, column: int) -> None:
        self._nodes += 1
        if self._nodes > self._budget.nodes:
            self._add_problem(
                line,
                column,
                "the file holds too many keys and values",
                found=f"more than {self._budget.nodes:,}",
                allowed=f"at most {self._budget.nodes:,} keys, values, lists and mappings",
            )
            raise _HaltError

    # Values

    def _resolve(self, text: str, line: int, column: int, is_key: bool) -> Any:
        """Return the value of plain text under the core schema; remember it if nothing is wrong with it."""
        tag = self._loader.resolve(yaml.ScalarNode, text, (True, False))
        if tag == _TEXT_TAG:
            self._known[text] = text
            return text
        if tag == _INTEGER_TAG and len(text) > _INTEGER_TEXT:
            value, wrong = 0, True
        else:
            node = yaml.ScalarNode(tag, text)
            value = self._loader.yaml_constructors[tag](self._loader, node)
            wrong = tag == _INTEGER_TAG and abs(value) >= 10**_INTEGER_DIGITS
        if is_key:
            return value
        if wrong:
            self._add_problem(
                line,
                column,
                "this whole number is too long",
                found=_bare(text),
                allowed=f"at most {_INTEGER_DIGITS} digits; put it in quotes if it is not a quantity",
            )
        elif tag == _FLOAT_TAG and not math.isfinite(value):
            self._add_problem(
                line,
                column,
                "this is not a number that can be used",
                found=_bare(text),
                allowed="finite numbers; leave out what is not known",
            )
        else:
            self._known[text] = value
        return value

    # Problems

    def _add_problem(
        self, line: int, column: int, message: str, *, found: str = "", allowed: str = "", hint: str = ""
    ) -> None:
        if len(self._problems) == self._budget.problems:
            message = f"reading stopped here: the file has more than {self._budget.problems} problems"
            self._problems.append(Problem(self._file, line, column, "", message))
            raise _HaltError
        path = tuple(frame.key for frame in self._stack if frame.key is not None)
        self._problems.append(Problem(self._file, line, column, field_name(path), message, found, allowed, hint))

    def _remove_unwanted(self) -> None:
        """Report the characters that no text may hold and read on without them."""
        match = _UNWANTED_IN_FILE.search(self._text)
        if match is None:
            return
        ends = [0, *(end.end() for end in _LINE_END.finditer(self._text))]
        for match in _UNWANTED_IN_FILE.finditer(self._text):
            line = bisect_right(ends, match.start())
            self._unwanted(match.group(), line, match.start() - ends[line - 1] + 1)
        self._text = _UNWANTED_IN_FILE.sub(lambda bad: " " if bad.group() in _SEPARATORS else "", self._text)

    def _unwanted(self, character: str, line: int, column: int) -> None:
        self._add_problem(
            line,
            column,
            "a control character or other character that is not text stands here",
            found=f"U+{ord(character):04X}",
            allowed=_TEXT_ALLOWED,
        )

    def _duplicate(self, first: _Spot, line: int, column: int) -> None:
        where = (
            f"twice on line {line}" if first.key_line == line else f"on line {first.key_line} and again on line {line}"
        )
        self._add_problem(
            line,
            column,
            f"the same key is given {where}",
            found=shown(self._stack[-1].key),
            allowed="each key once in a mapping",
        )

    def _too_deep(self, line: int, column: int) -> None:
        self._add_problem(
            line,
            column,
            "the file is nested too deeply",
            found=f"more than {self._budget.depth} levels",
            allowed=f"at most {self._budget.depth} levels",
        )

    def _key_not_text(self, found: str, line: int, column: int) -> None:
        self._add_problem(line, column, "this key is not text", found=found, allowed=_KEY_ALLOWED)

    def _refuse_marks(
        self, event: ScalarEvent | MappingStartEvent | SequenceStartEvent, line: int, column: int
    ) -> None:
        """Report the tag and the anchor of a value."""
        if event.tag is not None:
            tag = event.tag
            short = tag.replace("tag:yaml.org,2002:", "!!", 1) if tag.startswith("tag:yaml.org,2002:") else tag
            self._add_problem(
                line,
                column,
                "tags are not used here",
                found=_bare(short),
                allowed="values without a tag",
                hint="put text that starts with ! in quotes",
            )
        if event.anchor is not None:
            self._add_problem(
                line,
                column,
                "anchors are not used here",
                found=_bare(f"&{event.anchor}"),
                hint="write the value out where it is needed; put text that starts with & in quotes",
            )

    def _syntax(self, error: yaml.MarkedYAMLError) -> None:
        """Say in plain words what the parser could not read, and where."""
        context, problem = error.context or "", error.problem or ""
        mark = error.problem_mark or error.context_mark
        opened = error.context_mark or mark
        line, column = (mark.line, mark.column) if mark is not None else (0, 0)
        since = opened.line + 1 if opened is not None else 1
        if "nesting depth" in problem:
            # libyaml reads ahead and meets its own limit before the events reach ours.
            self._too_deep(line + 1, column + 1)
            return
        lines = _LINE_END.split(self._text)
        rest = lines[line][column:] if line < len(lines) else ""
        at_end = not rest and not any(map(str.strip, lines[line + 1 :]))

        message = hint = allowed = ""
        from_start = False
        quoted = "quoted scalar" in context
        if rest.startswith("\t"):
            message, allowed = "a tab stands where the indentation is read", "spaces"
        elif "cannot start any token" in problem:
            message, hint = f"a value cannot start with {rest[:1]}", "put the value in quotes"
        elif "mapping values are not allowed" in problem:
            message = "a colon is not expected here"
            hint = "check the indentation, and put text that holds a colon and a space in quotes"
        elif "could not find expected ':'" in problem:
            message, hint = "this is not a key with a colon after it", "check the indentation and the quotes"
            from_start = True
        elif quoted and ("end of stream" in problem or "unexpected document" in problem):
            message, from_start = "the quotation mark that opens here is never closed", True
        elif quoted:
            message = "the backslash starts nothing that is known inside double quotes"
            hint = "write the backslash twice, or use single quotes"
        elif "',' or ']'" in problem:
            message = f"the list opened with [ on line {since} is not closed, or a comma is missing"
        elif "',' or '}'" in problem:
            message = f"the mapping opened with {{ on line {since} is not closed, or a comma is missing"
        elif "block collection" in context or "block sequence" in context:
            message = f"this does not belong to the list that starts on line {since}"
            hint = "check the indentation, and that every item starts with a dash and a space"
        elif "block mapping" in context:
            message = f"this is not a key of the mapping that starts on line {since}"
            hint = "check the indentation, the quotes and the brackets"
        elif "sequence entries are not allowed" in problem:
            message = "a list cannot start here"
            hint = "start it on a line of its own, or put text that starts with a dash in quotes"
        elif "node content" in problem:
            message = "a value is expected here"
        elif "an alias" in context or "an anchor" in context:
            message, from_start = "a value cannot start with * or &", True
            hint = "put the value in quotes"
        elif "tag" in context or "tag" in problem:
            message, hint, from_start = (
                "tags are not used here",
                "put text that starts with ! in quotes",
                True,
            )
        elif (
            "directive" in context
            or "directive" in problem
            or "incompatible" in problem
            or ("document start" in problem and at_end)
        ):
            message, allowed = (
                "directives (lines that start with %) are not used here",
                "YAML 1.2 without directives",
            )
        elif "document start" in problem:
            message, allowed = "there is more after the end of the document", "one document in a file"
        else:
            message = f"the file is not valid YAML: {_bare(f'{context} {problem}'.strip())}"

        found = ""
        if from_start and opened is not None:
            line, column = opened.line, opened.column
        elif at_end:
            # The parsers may place the end one line further on than the file goes.
            line = max((number for number, part in enumerate(lines) if part.strip()), default=0)
            column, found = len(lines[line].rstrip()), "the end of the file"
        if not found and (text := lines[line].strip(" ")):
            found = shown(text)
        self._add_problem(line + 1, column + 1, message, found=found, allowed=allowed, hint=hint)
