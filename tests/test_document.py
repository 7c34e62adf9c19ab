from __future__ import annotations

import os
import pathlib
import re
import subprocess
import sys
import textwrap
import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import pytest
import yaml
import yamlcore
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st

from engine.errors import EXIT_BAD_INPUT, BadInput, Problem
from engine.facts import document
from engine.facts.document import (
    Budget,
    Document,
    Place,
    field_name,
    parse_document,
    read_document,
    shown,
)

PARSERS = {"libyaml": yamlcore.CCoreLoader, "python": yamlcore.CoreLoader}


@contextmanager
def using(parser: str) -> Iterator[None]:
    before = document._LOADER
    document._LOADER = PARSERS[parser]
    try:
        yield
    finally:
        document._LOADER = before


@pytest.fixture(params=sorted(PARSERS))
def parser(request: pytest.FixtureRequest) -> Iterator[str]:
    with using(request.param):
        yield request.param


def parse(text: str | bytes, budget: Budget = document.DEFAULT_BUDGET) -> Document:
    raw = text if isinstance(text, bytes) else text.encode()
    return parse_document(raw, "survey.yaml", budget)


def problems(text: str | bytes, budget: Budget = document.DEFAULT_BUDGET) -> tuple[Problem, ...]:
    with pytest.raises(BadInput) as caught:
        parse(text, budget)
    assert caught.value.exit_code == EXIT_BAD_INPUT
    assert all(p.file == "survey.yaml" for p in caught.value.problems)
    assert all(str(p).isprintable() for p in caught.value.problems)
    assert all(len(p.found) <= 100 for p in caught.value.problems)
    return caught.value.problems


def the_problem(text: str | bytes, budget: Budget = document.DEFAULT_BUDGET) -> Problem:
    found = problems(text, budget)
    assert len(found) == 1, [str(p) for p in found]
    return found[0]


def where(problem: Problem) -> tuple[int, int]:
    return problem.line, problem.column


# What is read


@pytest.mark.usefixtures("parser")
@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("NO", "NO"),
        ("no", "no"),
        ("off", "off"),
        ("Yes", "Yes"),
        ("y", "y"),
        ("true", True),
        ("False", False),
        ("12:30", "12:30"),
        ("1:30:00", "1:30:00"),
        ("010", 10),
        ("0o17", 15),
        ("0x1F", 31),
        ("1_000", "1_000"),
        ("1e3", 1000.0),
        ("225", 225),
        ("-3", -3),
        ("+3", 3),
        ("0.4", 0.4),
        (".5", 0.5),
        ("5.", 5.0),
        ("2024-13-01", "2024-13-01"),
        ("2024-02-29", "2024-02-29"),
        ("2024-02-29T10:00:00Z", "2024-02-29T10:00:00Z"),
        ("999999999999999999", 999999999999999999),
        ("-999999999999999999", -999999999999999999),
        ("null", None),
        ("~", None),
        ("", None),
        ("'1'", "1"),
        ('"true"', "true"),
        ("'.nan'", ".nan"),
        ("''", ""),
        ("NaN", "NaN"),
        ("infinity", "infinity"),
        ("=", "="),
        ("'<<'", "<<"),
        ("'!text'", "!text"),
        ("a # remark", "a"),
        ("a#b", "a#b"),
        ("north wall", "north wall"),
        ('"a\\tb\\nc"', "a\tb\nc"),
        ('"\\u00e9\\U0001F600"', "é😀"),
        ("é漢😀", "é漢😀"),
        ("[1, a, [2]]", [1, "a", [2]]),
        ("{b: 1, c: {d: e}}", {"b": 1, "c": {"d": "e"}}),
        ("[]", []),
        ("{}", {}),
        ("|\n  one\n  two\n", "one\ntwo\n"),
        (">\n  one\n  two\n", "one two\n"),
    ],
)
def test_values_follow_the_core_schema(text: str, value: object) -> None:
    read = parse(f"a: {text}").data["a"]
    assert read == value
    assert type(read) is type(value)


@pytest.mark.usefixtures("parser")
def test_keys_that_only_look_like_something_else_are_text() -> None:
    assert parse("no: 1\n2024-01-01: 2\n12:30: 3\n'1': 4\n\"true\": 5\n'<<': 6\n").data == {
        "no": 1,
        "2024-01-01": 2,
        "12:30": 3,
        "1": 4,
        "true": 5,
        "<<": 6,
    }


@pytest.mark.usefixtures("parser")
@pytest.mark.parametrize(
    "raw",
    [
        b"\xef\xbb\xbfa: 1\n",
        b"a: 1",
        b"a: 1\r\n",
        b"---\na: 1\n...\n",
        b"%YAML 1.2\n---\na: 1\n",
        b"# remark\n\na: 1\n# end",
    ],
)
def test_harmless_forms_of_a_file(raw: bytes) -> None:
    assert parse(raw).data == {"a": 1}


# What is refused


@pytest.mark.usefixtures("parser")
@pytest.mark.parametrize(
    ("text", "place", "field", "message", "found"),
    [
        ("a: 1\nb: 2\na: 3\n", (3, 1), "a", "the same key is given on line 1 and again on line 3", "'a'"),
        ("w: {a: 1, a: 2}\n", (1, 11), "w.a", "the same key is given twice on line 1", "'a'"),
        ("a: 1\n'a': 2\n", (2, 1), "a", "the same key is given on line 1 and again on line 2", "'a'"),
        ("1: x\n", (1, 1), "1", "this key is not text", "1"),
        ("a: 1\ntrue: x\n", (2, 1), "true", "this key is not text", "true"),
        ("null: x\n", (1, 1), "null", "this key is not text", "null"),
        ("1.5: x\n", (1, 1), "'1.5'", "this key is not text", "1.5"),
        ("b:\n  ?\n  : x\n", (2, 4), "b.''", "this key is not text", "nothing before the colon"),
        (f"{'9' * 900}: x\n", (1, 1), f"'{'9' * 59}…'", "this key is not text", "9" * 59 + "…"),
        ("[a, b]: x\n", (1, 1), "", "this key is not text", "a list"),
        ("? {a: b}\n: x\n", (1, 3), "", "this key is not text", "a mapping"),
        ("? - a\n  - b\n: x\n", (1, 3), "", "this key is not text", "a list"),
        ("a: *b\n", (1, 4), "a", "aliases are not used here", "*b"),
        ("*b : 1\n", (1, 1), "", "aliases are not used here", "*b"),
        ("a: &b 1\n", (1, 4), "a", "anchors are not used here", "&b"),
        ("&b a: 1\n", (1, 1), "a", "anchors are not used here", "&b"),
        ("a: &b\n  c: 1\n", (1, 4), "a", "anchors are not used here", "&b"),
        ("<<: {a: 1}\n", (1, 1), "'<<'", "merge keys are not used here", "<<"),
        ("a: !!set {b, c}\n", (1, 4), "a", "tags are not used here", "!!set"),
        ("a: !!binary aGk=\n", (1, 4), "a", "tags are not used here", "!!binary"),
        (
            "a: !!python/object:os.system x\n",
            (1, 4),
            "a",
            "tags are not used here",
            "!!python/object:os.system",
        ),
        ("a: ! x\n", (1, 4), "a", "tags are not used here", "!"),
        ("a: !own x\n", (1, 4), "a", "tags are not used here", "!own"),
        ("a: !<own> x\n", (1, 4), "a", "tags are not used here", "own"),
        ("!!str 1: x\n", (1, 1), "1", "tags are not used here", "!!str"),
        ("- !!omap\n", (1, 3), "[0]", "tags are not used here", "!!omap"),
        ("a: !x!y 1\n", (1, 4), "a", "tags are not used here", "'a: !x!y 1'"),
        ("a: 1\n---\nb: 2\n", (2, 1), "", "a second document starts here", "'---'"),
        ("a: 1\n---\n", (2, 1), "", "a second document starts here", "'---'"),
        ("a: 1\n...\nb: 2\n", (3, 1), "", "there is more after the end of the document", "'b: 2'"),
        ("%YAML 1.1\n---\na: no\n", (1, 1), "", "directives (lines that start with %) are not used here", ""),
        ("%TAG ! x\n---\na: 1\n", (1, 1), "", "directives (lines that start with %) are not used here", ""),
        ("a: .inf\n", (1, 4), "a", "this is not a number that can be used", ".inf"),
        ("a: -.INF\n", (1, 4), "a", "this is not a number that can be used", "-.INF"),
        ("a: .nan\n", (1, 4), "a", "this is not a number that can be used", ".nan"),
        ("a: 1e400\n", (1, 4), "a", "this is not a number that can be used", "1e400"),
        ("a: [1, -1e999]\n", (1, 8), "a[1]", "this is not a number that can be used", "-1e999"),
        ("a: 1000000000000000000\n", (1, 4), "a", "this whole number is too long", "1000000000000000000"),
        (f"a: -{'9' * 5000}\n", (1, 4), "a", "this whole number is too long", "-" + "9" * 58 + "…"),
        (f"a: 0x{'F' * 16}\n", (1, 4), "a", "this whole number is too long", "0x" + "F" * 16),
        ("a: \x07\n", (1, 4), "", "a control character", "U+0007"),
        ("a: 1\nb: x\x7fy\n", (2, 5), "", "a control character", "U+007F"),
        ("a: x\u0085y\n", (1, 5), "", "a control character", "U+0085"),
        ("a: x\u2028y\n", (1, 5), "", "a control character", "U+2028"),
        ("a: x\ufeffy\n", (1, 5), "", "a control character", "U+FEFF"),
        ('a: "\\0"\n', (1, 4), "a", "a control character", "U+0000"),
        ('a: "\\e[31m"\n', (1, 4), "a", "a control character", "U+001B"),
        ('"\\a": 1\n', (1, 1), "'\\x07'", "a control character", "U+0007"),
        ("a:\n\tb: 1\n", (2, 1), "a", "a tab stands where the indentation is read", "'\\tb: 1'"),
        ("\ta: 1\n", (1, 1), "", "a tab stands where the indentation is read", "'\\ta: 1'"),
        ("a: b: c\n", (1, 5), "", "a colon is not expected here", "'a: b: c'"),
        ("a: 1\n  b: 2\n", (2, 4), "", "a colon is not expected here", "'b: 2'"),
        ("a: 1\nfoo\nb: 2\n", (2, 1), "", "this is not a key with a colon after it", "'foo'"),
        ("a: 'x\nb: 1\n", (1, 4), "a", "the quotation mark that opens here is never closed", '"a: \'x"'),
        ('a: "x\n---\n"\n', (1, 4), "a", "the quotation mark that opens here is never closed", "'a: \"x'"),
        ("a: [1, 2\nb: 3\n", (2, 2), "a[2]", "the list opened with [ on line 1 is not closed", "'b: 3'"),
        ("a: [1, 2", (1, 9), "a[2]", "the list opened with [ on line 1 is not closed", "the end of the file"),
        ("a: {x: 1\nb: 3\n", (2, 2), "a", "the mapping opened with { on line 1 is not closed", "'b: 3'"),
        ("a:\n- b\nc\n", (3, 1), "a[1]", "this is not a key with a colon after it", "'c'"),
        ("a:\n  - b\n  c: 1\n", (3, 3), "a[1]", "this does not belong to the list that starts on line 2", ""),
        ("a:\n  - x\n - y\n", (3, 2), "", "this is not a key of the mapping that starts on line 1", "'- y'"),
        ("a: - b\n", (1, 4), "a", "a list cannot start here", "'a: - b'"),
        ("a: ]\n", (1, 4), "a", "a value is expected here", "'a: ]'"),
        ("a: @b\n", (1, 4), "a", "a value cannot start with @", "'a: @b'"),
        ("a: %b\n", (1, 4), "a", "a value cannot start with %", "'a: %b'"),
        ("a: * b\n", (1, 4), "a", "a value cannot start with * or &", "'a: * b'"),
        ("a: |9x\n", (1, 6), "a", "the file is not valid YAML: while scanning a block scalar", "'a: |9x'"),
        ("", (0, 0), "", "the file is empty", ""),
        ("\ufeff \n\n", (0, 0), "", "the file is empty", ""),
        ("# only\n  # remarks\n", (0, 0), "", "the file holds only comments", ""),
        ("---\n# remark\n", (0, 0), "", "the file holds no values", ""),
        ("- a\n- b\n", (1, 1), "", "the file is not a mapping at its top level", "a list"),
        ("\n  text\n", (2, 3), "", "the file is not a mapping at its top level", "'text'"),
        ("5\n", (1, 1), "", "the file is not a mapping at its top level", "5"),
        ("null\n", (1, 1), "", "the file is not a mapping at its top level", "null"),
    ],
)
def test_refused(text: str, place: tuple[int, int], field: str, message: str, found: str) -> None:
    seen = problems(text)
    fitting = [p for p in seen if p.message.startswith(message)]
    assert len(fitting) == 1, [str(p) for p in seen]
    (problem,) = fitting
    assert where(problem) == place
    assert problem.field == field
    assert found in problem.found
    assert bool(found) <= bool(problem.found)
    assert problem.allowed or problem.hint or problem.found
    # Only a list at the top is a second problem in its own right.
    assert len(seen) == 1 + (field == "[0]")


@pytest.mark.parametrize("text", ['a: "\\q"', 'a: "\\x1"', 'a: "\\u00"'])
@pytest.mark.usefixtures("parser")
def test_a_backslash_that_starts_nothing(text: str) -> None:
    problem = the_problem(text)
    assert problem.message == "the backslash starts nothing that is known inside double quotes"
    assert problem.field == "a"
    assert problem.line == 1


@pytest.mark.parametrize(
    "text",
    [
        'a: "\\ud800"',
        'a: "\\U00110000"',
        'a: "\\UFFFFFFFF"',
        f"%YAML {'9' * 5000}.1\n---\na: 1\n",
    ],
)
@pytest.mark.usefixtures("parser")
def test_what_the_parsers_raise_besides_their_own_errors_is_a_problem(text: str) -> None:
    assert the_problem(text).line == 1


@pytest.mark.parametrize(
    ("raw", "message", "place", "found"),
    [
        ("a: é\n".encode("latin-1"), "the file is not UTF-8 text", (1, 4), "byte E9"),
        (b"\xef\xbb\xbfa: 1\nb: \xff\n", "the file is not UTF-8 text", (2, 4), "byte FF"),
        (b"a: 1\nb: \xed\xa0\x80\n", "the file is not UTF-8 text", (2, 4), "byte ED"),
        (b"a: \xc0\x80\n", "the file is not UTF-8 text", (1, 4), "byte C0"),
        (b"a: \xc3", "the file is not UTF-8 text", (1, 4), "byte C3"),
        ("a: 1\n".encode("utf-16"), "the file is saved as UTF-16 or UTF-32", (0, 0), "bytes F"),
        ("a: 1\n".encode("utf-32"), "the file is saved as UTF-16 or UTF-32", (0, 0), "bytes F"),
        (b"\xfe\xff\0a", "the file is saved as UTF-16 or UTF-32", (0, 0), "bytes FE FF 00 61"),
        ("a: 1\n".encode("utf-16-le"), "the file holds NUL bytes", (1, 2), "byte 00"),
        (b"a: 1\nb: x\0y\n", "the file holds NUL bytes", (2, 5), "byte 00"),
        (b"PK\x03\x04\x14\x00\x06\x00", "the file holds NUL bytes", (1, 6), "byte 00"),
        (b"\x89PNG\r\n\x1a\n", "the file is not UTF-8 text", (1, 1), "byte 89"),
    ],
)
def test_files_that_are_no_utf8_text(raw: bytes, message: str, place: tuple[int, int], found: str) -> None:
    problem = the_problem(raw)
    assert problem.message.startswith(message)
    assert where(problem) == place
    assert problem.found.startswith(found)
    assert problem.allowed == "plain text in UTF-8"


# Limits


@pytest.mark.usefixtures("parser")
@pytest.mark.parametrize("opening", ["[", "{", "- ", "? ", "a: [", "{a: "])
@pytest.mark.parametrize("count", [33, 3_000, 100_000])
def test_deep_nesting_is_one_plain_problem(opening: str, count: int) -> None:
    text = opening * count
    if opening == "a: [":
        text = "a: " + "[" * count
    deep = [p for p in problems(text) if p.message == "the file is nested too deeply"]
    assert len(deep) == 1
    assert deep[0].line == 1
    assert deep[0].found == "more than 32 levels"
    assert deep[0].allowed == "at most 32 levels"


@pytest.mark.usefixtures("parser")
def test_deep_block_mappings() -> None:
    text = "".join("  " * level + "a:\n" for level in range(40))
    problem = the_problem(text)
    assert problem.message == "the file is nested too deeply"
    assert where(problem) == (33, 65)
    assert problem.field == ".".join("a" * 32)


@pytest.mark.usefixtures("parser")
def test_nesting_up_to_the_limit_is_read() -> None:
    data = parse("a: " + "[" * 31 + "]" * 31).data["a"]
    for _ in range(30):
        (data,) = data
    assert data == []
    assert the_problem("a: " + "[" * 32 + "]" * 32).message == "the file is nested too deeply"


def test_an_alias_bomb_is_refused_where_it_is_written() -> None:
    rows = ["a0: &a0 [x, x, x, x, x, x, x, x, x]"]
    rows += [f"a{i}: &a{i} [{', '.join([f'*a{i - 1}'] * 9)}]" for i in range(1, 9)]
    seen = problems("\n".join(rows))
    assert sum(p.message == "anchors are not used here" for p in seen) == 9
    assert sum(p.message == "aliases are not used here" for p in seen) == 72
    assert where(seen[0]) == (1, 5)


def test_the_limits_are_separate() -> None:
    honest = "a: " + "x" * 9_000 + "\n" + "".join(f"k{i}: |\n  {'y' * 9_000}\n" for i in range(400))
    assert len(parse(honest).data) == 401

    problem = the_problem(b"#" * 5_000_001)
    assert (problem.message, problem.line) == ("the file is too large", 0)
    assert problem.found == "5,000,001 bytes"
    assert problem.allowed == "at most 5,000,000 bytes"

    problem = the_problem("a: [" + "1," * 200_000 + "]")
    assert problem.message == "the file holds too many keys and values"
    assert problem.found == "more than 200,000"
    assert problem.allowed.startswith("at most 200,000 ")
    assert where(problem) == (1, 5 + 2 * 199_997)

    assert parse("a: [1, 2]", Budget(nodes=5)).data == {"a": [1, 2]}
    assert the_problem("a: [1, 2]", Budget(nodes=4)).line == 1
    assert parse(b"a: 1", Budget(file_bytes=4)).data == {"a": 1}
    assert the_problem(b"a: 10", Budget(file_bytes=4)).found == "5 bytes"


@pytest.mark.usefixtures("parser")
@pytest.mark.parametrize("form", ["a: {}", "a: '{}'", 'a: "{}"', "a: |-\n  {}"])
def test_long_text(form: str) -> None:
    assert parse(form.format("x" * 10_000)).data == {"a": "x" * 10_000}
    problem = the_problem(form.format("x" * 10_001))
    assert problem.message == "this text is too long"
    assert problem.found == "10,001 characters, '" + "x" * 59 + "…'"
    assert problem.allowed == "at most 10,000 characters"
    assert (problem.field, problem.line) == ("a", 1)


@pytest.mark.usefixtures("parser")
def test_long_keys() -> None:
    problem = the_problem("? " + "k" * 10_001 + "\n: 1\n")
    assert problem.message == "this key is too long"
    assert where(problem) == (1, 3)


@pytest.mark.usefixtures("parser")
def test_the_number_of_problems_reported_is_bounded() -> None:
    seen = problems("a: 1\n" * 50_000)
    assert len(seen) == 101
    assert seen[-1].message == "reading stopped here: the file has more than 100 problems"
    assert seen[-1].line == 102
    assert len(problems("\x01" * 10_000)) == 101


# All problems at once


@pytest.mark.usefixtures("parser")
def test_all_problems_of_a_file_are_reported_at_once() -> None:
    text = textwrap.dedent(
        """\
        property: old mill
        walls:
          - id: north
            thickness_mm: 225
            id: south
            salts: !!set {chloride, nitrate}
          - 1: x
            age: .nan
            height_mm: *h
            note: "bell \\a"
            <<: {b: 1}
        property: new mill
        property: third
        ---
        other: 12345678901234567890
        """
    )
    assert [(p.line, p.column, p.field, p.message) for p in problems(text)] == [
        (5, 5, "walls[0].id", "the same key is given on line 3 and again on line 5"),
        (6, 12, "walls[0].salts", "tags are not used here"),
        (7, 5, "walls[1].1", "this key is not text"),
        (8, 10, "walls[1].age", "this is not a number that can be used"),
        (9, 16, "walls[1].height_mm", "aliases are not used here"),
        (
            10,
            11,
            "walls[1].note",
            "a control character or other character that is not text stands here",
        ),
        (11, 5, "walls[1].'<<'", "merge keys are not used here"),
        (12, 1, "property", "the same key is given on line 1 and again on line 12"),
        (13, 1, "property", "the same key is given on line 12 and again on line 13"),
        (14, 1, "", "a second document starts here"),
        (15, 8, "other", "this whole number is too long"),
    ]


@pytest.mark.usefixtures("parser")
def test_problems_before_a_syntax_error_are_reported_with_it() -> None:
    seen = problems("a: 1\na: 2\nb\x07: .inf\nc: [1\nd: 2\n")
    assert [(p.line, p.message.split(":")[0]) for p in seen] == [
        (2, "the same key is given on line 1 and again on line 2"),
        (3, "a control character or other character that is not text stands here"),
        (3, "this is not a number that can be used"),
        (5, "the list opened with [ on line 4 is not closed, or a comma is missing"),
    ]


@pytest.mark.usefixtures("parser")
def test_a_wrong_top_level_does_not_hide_what_is_in_it() -> None:
    assert [p.message for p in problems("- a: 1\n  a: 2\n")] == [
        "the file is not a mapping at its top level",
        "the same key is given on line 1 and again on line 2",
    ]


@pytest.mark.usefixtures("parser")
def test_a_merge_is_refused_with_its_anchor_and_alias() -> None:
    seen = problems("a: &x {b: 1}\nc:\n  <<: *x\n  d: 1\n  d: 2\n")
    assert [(p.line, p.message) for p in seen] == [
        (1, "anchors are not used here"),
        (3, "merge keys are not used here"),
        (3, "aliases are not used here"),
        (5, "the same key is given on line 4 and again on line 5"),
    ]


@pytest.mark.usefixtures("parser")
def test_reading_goes_on_after_keys_that_are_not_text() -> None:
    seen = problems("? [a, {b: .nan}]\n: {c: 1, c: 2}\n*k : {d: 1, d: 2}\nlast: !x y\n")
    assert [(where(p), p.message) for p in seen] == [
        ((1, 3), "this key is not text"),
        ((1, 11), "this is not a number that can be used"),
        ((2, 10), "the same key is given twice on line 2"),
        ((3, 1), "aliases are not used here"),
        ((3, 13), "the same key is given twice on line 3"),
        ((4, 7), "tags are not used here"),
    ]


def test_one_message_in_full() -> None:
    assert str(the_problem("walls:\n  - id: north\n    id: south\n")) == (
        "survey.yaml:3:5: walls[0].id: the same key is given on line 2 and again on line 3; found 'id'; "
        "allowed: each key once in a mapping"
    )


# Places


SURVEY = """\
# a survey
property:
  name: "Old mill"
walls:
  - id: north
    moisture:
      - {height_mm: 100, percent: 4.5}
      - height_mm: 500
        percent:
  -
    id: south
notes: |
  first
  second
😀: [漢, x]
"""


@pytest.mark.usefixtures("parser")
@pytest.mark.parametrize(
    ("path", "value", "key"),
    [
        ((), (2, 1), (2, 1)),
        (("property",), (3, 3), (2, 1)),
        (("property", "name"), (3, 9), (3, 3)),
        (("walls",), (5, 3), (4, 1)),
        (("walls", 0), (5, 5), (5, 5)),
        (("walls", 0, "id"), (5, 9), (5, 5)),
        (("walls", 0, "moisture"), (7, 7), (6, 5)),
        (("walls", 0, "moisture", 0), (7, 9), (7, 9)),
        (("walls", 0, "moisture", 0, "percent"), (7, 35), (7, 26)),
        (("walls", 0, "moisture", 1, "height_mm"), (8, 20), (8, 9)),
        (("walls", 0, "moisture", 1, "percent"), (9, 17), (9, 9)),
        (("walls", 1, "id"), (11, 9), (11, 5)),
        (("notes",), (12, 8), (12, 1)),
        (("😀", 0), (15, 5), (15, 5)),
        (("😀", 1), (15, 8), (15, 8)),
        # What is not there: the nearest that is.
        (("owner",), (2, 1), (2, 1)),
        (("property", "age"), (3, 3), (2, 1)),
        (("property", "name", "first", 0), (3, 9), (3, 3)),
        (("walls", 1, "moisture", 0, "percent"), (11, 5), (11, 5)),
        (("walls", 2, "id"), (5, 3), (4, 1)),
        (("walls", "id"), (5, 3), (4, 1)),
        (("walls", -1), (5, 3), (4, 1)),
        (("property", 0), (3, 3), (2, 1)),
    ],
)
def test_places(path: document.Path, value: tuple[int, int], key: tuple[int, int]) -> None:
    read = parse(SURVEY)
    assert read.place(path) == Place("survey.yaml", *value)
    assert read.key_place(path) == Place("survey.yaml", *key)


@pytest.mark.usefixtures("parser")
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("start", [b"", b"\xef\xbb\xbf"])
def test_places_do_not_depend_on_line_ends_or_byte_order_mark(end: str, start: bytes) -> None:
    read = parse(start + SURVEY.replace("\n", end).encode())
    assert read.data == parse(SURVEY).data
    assert read.place(("property",)) == Place("survey.yaml", 3, 3)
    assert read.place(("😀", 1)) == Place("survey.yaml", 15, 8)
    assert read.place(()) == Place("survey.yaml", 2, 1)


def test_an_empty_mapping_is_a_document() -> None:
    read = parse("{}")
    assert read.data == {}
    assert read.place(("walls", 0)) == Place("survey.yaml", 1, 1)


# How things are shown


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (None, "null"),
        (True, "true"),
        (False, "false"),
        (3, "3"),
        (4.5, "4.5"),
        ({"a": 1}, "a mapping"),
        ([1], "a list"),
        ("it's", '"it\'s"'),
        ("a\n\x1b\u202eb", "'a\\n\\x1b\\u202eb'"),
        ("x" * 60, "'" + "x" * 60 + "'"),
        ("x" * 61, "'" + "x" * 59 + "…'"),
        ("\x1b" * 60, "'" + "\\x1b" * 14 + "\\x1" + "…'"),
    ],
)
def test_shown(value: object, text: str) -> None:
    assert shown(value) == text


def test_field_name() -> None:
    assert field_name(()) == ""
    assert field_name(("walls", 0, "thickness_mm")) == "walls[0].thickness_mm"
    assert field_name((0, "a", "b c", "d.e")) == "[0].a.'b c'.'d.e'"
    assert field_name(("x" * 100,)) == "'" + "x" * 59 + "…'"


# Files


def test_read_document(tmp_path: pathlib.Path) -> None:
    path = tmp_path / "survey.yaml"
    path.write_bytes(b"a: 1\n")
    assert read_document(path).data == {"a": 1}
    assert read_document(path).file == str(path)
    assert read_document(path, "survey.yaml").place(("a",)) == Place("survey.yaml", 1, 4)


def file_problem(path: pathlib.Path, **options: Any) -> Problem:
    with pytest.raises(BadInput) as caught:
        read_document(path, **options)
    (problem,) = caught.value.problems
    assert problem.line == 0
    return problem


def test_files_that_cannot_be_read(tmp_path: pathlib.Path) -> None:
    assert file_problem(tmp_path / "none.yaml").message == "there is no such file"
    assert file_problem(tmp_path).message == "this is a folder, not a file"
    assert file_problem(tmp_path, shown_as="here").file == "here"
    assert file_problem(tmp_path / ("x" * 5000)).message.startswith("the file cannot be read: ")
    assert file_problem(pathlib.Path("a\0b")).message.startswith("the file cannot be read: ")
    assert file_problem(tmp_path / "a\x1b\udcff.yaml").file.endswith("a\\x1b\\udcff.yaml")
    (tmp_path / "file").write_bytes(b"a: 1")
    assert file_problem(tmp_path / "file" / "survey.yaml").message.startswith("the file cannot be read: ")


def test_a_file_without_permission(tmp_path: pathlib.Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied")

    path = tmp_path / "survey.yaml"
    path.write_bytes(b"a: 1")
    monkeypatch.setattr(pathlib.Path, "open", refuse)
    assert file_problem(path).message == "there is no permission to read this file"


def test_a_large_file_is_not_read_whole(tmp_path: pathlib.Path) -> None:
    path = tmp_path / "large.yaml"
    with path.open("wb") as stream:
        stream.truncate(3_000_000_000)
    problem = file_problem(path)
    assert problem.message == "the file is too large"
    assert problem.found == "3,000,000,000 bytes"
    path.write_bytes(b"a: 10")
    assert file_problem(path, budget=Budget(file_bytes=4)).found == "5 bytes"
    assert read_document(path, budget=Budget(file_bytes=5)).data == {"a": 10}


@pytest.mark.skipif(not os.path.exists("/dev/zero"), reason="there are no device files")
def test_an_endless_file() -> None:
    assert file_problem(pathlib.Path("/dev/zero")).message == "the file is too large"


# Speed, and the parser without libyaml


def test_a_long_file_is_read_quickly() -> None:
    text = "rules:\n" + "".join(
        f"  - id: rule-{i:04}\n    when: {{fact: wall.age, at_least: {i}}}\n    cites:\n      - source: a\n"
        f"    because: >\n      Reason {i}\n"
        for i in range(850)
    )
    assert text.count("\n") > 5_000
    times = []
    for _ in range(3):
        start = time.perf_counter()
        parse(text)
        times.append(time.perf_counter() - start)
    # About 0.03 s is usual; the bound is loose because machines differ.
    assert min(times) < 1.0


def test_it_works_without_libyaml() -> None:
    program = """
        import sys
        sys.modules["yaml._yaml"] = None
        import yaml
        from engine.facts import document
        assert not yaml.__with_libyaml__
        assert not hasattr(yaml, "CBaseLoader") and not hasattr(yaml, "CBaseDumper")
        read = document.parse_document(b"a: [no, 12:30, 010]", "survey.yaml")
        assert read.data == {"a": ["no", "12:30", 10]}, read.data
        assert read.place(("a", 1)).column == 9
    """
    done = subprocess.run([sys.executable, "-c", textwrap.dedent(program)], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


# Properties


FRAGMENTS = st.sampled_from(
    [
        *("a", "b", "1", "0", ".", "e9", "-", "+", "~", ".inf", ".nan", "null", "true", "no", "9" * 20),
        *(": ", ":", "- ", "? ", ", ", "[", "]", "{", "}", "|", ">", "|\n", ">-\n", "#", " #"),
        *("&a ", "*a", "!", "!!set ", "!a!b ", "!<x> ", "<<", "%YAML 1.2\n", "%TAG ", "---\n", "...\n"),
        *("'", '"', "\\", "\\n", "\\x41", "\\ud800", "\\U00110000", "\\UFFFFFFFF", "@", "`", "\n", "\r"),
        *("\n  ", "\n    ", "\n- ", "\n  - ", "\na: ", "\nb: ", "\t", " ", "\x00", "\x07", "\x85", "\u2028"),
        *("\ufeff", "é", "漢", "😀", "\ufffe", "\U0001fffe"),
    ]
)
YAML_LIKE = st.lists(FRAGMENTS, max_size=40).map(lambda parts: "".join(parts).encode())


def read_or_problems(raw: bytes) -> Document | tuple[Problem, ...]:
    try:
        return parse_document(raw, "survey.yaml")
    except BadInput as error:
        return error.problems


def check_any(raw: bytes, parser: str) -> None:
    with using(parser):
        read = read_or_problems(raw)
    if isinstance(read, Document):
        assert read.data == yaml.load(raw.decode("utf-8-sig"), Loader=PARSERS[parser])
        return
    assert read
    for problem in read:
        assert problem.file == "survey.yaml"
        assert problem.message
        assert str(problem).isprintable()
        assert len(str(problem)) < 2500
        assert (problem.line == 0) == (problem.column == 0)
        assert 0 <= problem.line <= len(re.split(b"\r\n|\r|\n", raw))


@given(st.binary(max_size=200))
@settings(deadline=None, max_examples=1000)
@example(b"[" * 100_000)
@example(b"a: \xff\xfe")
def test_any_bytes_give_a_document_or_problems(raw: bytes) -> None:
    check_any(raw, "libyaml")


@given(YAML_LIKE)
@settings(deadline=None, max_examples=2000)
def test_anything_like_yaml_gives_a_document_or_problems(raw: bytes) -> None:
    check_any(raw, "libyaml")


@given(st.one_of(st.binary(max_size=200), YAML_LIKE))
@settings(deadline=None, max_examples=500)
def test_the_parser_in_python_gives_a_document_or_problems(raw: bytes) -> None:
    check_any(raw, "python")


@given(YAML_LIKE)
@settings(deadline=None, max_examples=500)
def test_the_file_is_the_only_thing_that_decides(raw: bytes) -> None:
    first, second = read_or_problems(raw), read_or_problems(raw)
    if isinstance(first, Document):
        assert isinstance(second, Document)
        assert repr(first.data) == repr(second.data)
    else:
        assert first == second


CHARACTERS = st.characters(
    codec="utf-8", exclude_categories=["Cc", "Cs"], exclude_characters="\u2028\u2029\ufeff\ufffe\uffff"
)
TEXTS = st.one_of(
    st.text(CHARACTERS | st.sampled_from("\t\n :-?#&*!|>'\"%@`{}[],\\"), max_size=30),
    st.text("0123456789+-.:_eExoabnf", max_size=8),
    st.sampled_from(
        [
            *("yes", "No", "on", "OFF", "y", "true", "False", "null", "~", "", " ", ".inf", ".NaN", "1e3"),
            *("12:30", "010", "0o7", "0x1f", "1_000", "2024-01-01", "2024-13-01", "<<", "=", "---", "..."),
            *("- a", "a: b", "a #b", "#", "!x", "&a", "*a", "%a", "@a", "'", '"', "\\", "a\nb", " a", "a "),
            *("x " * 100, "long\n" * 20),
        ]
    ),
)
PLAIN = st.recursive(
    st.one_of(
        st.none(),
        st.booleans(),
        st.integers(-(10**18) + 1, 10**18 - 1),
        st.floats(allow_nan=False, allow_infinity=False),
        TEXTS,
    ),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(TEXTS, inner, max_size=4),
    max_leaves=15,
)
MAPPINGS = st.dictionaries(TEXTS, PLAIN, max_size=5)


class Dumper(yaml.SafeDumper):
    def ignore_aliases(self, data: object) -> bool:
        return True


def has_only_what_is_read(data: object) -> bool:
    """Whether a YAML 1.2 reader found no key that is not text and no number out of bounds."""
    match data:
        case dict():
            return all(isinstance(k, str) and has_only_what_is_read(v) for k, v in data.items())
        case list():
            return all(map(has_only_what_is_read, data))
        case float():
            return abs(data) < float("inf")
        case int():
            return abs(data) < 10**18
        case _:
            return True


@given(MAPPINGS, st.booleans())
@settings(deadline=None, max_examples=400)
def test_what_a_yaml_1_1_writer_wrote_is_read_as_yamlcore_reads_it(data: dict[str, Any], raw: bool) -> None:
    text = yaml.dump(data, Dumper=Dumper, default_flow_style=False, allow_unicode=raw, sort_keys=False)
    reference = yaml.load(text, Loader=yamlcore.CoreLoader)
    # YAML 1.1 leaves unquoted a few texts that are numbers in YAML 1.2, `1e9` for one.
    assume(has_only_what_is_read(reference))
    assert parse(text).data == reference


@given(MAPPINGS, st.booleans(), st.sampled_from(sorted(PARSERS)))
@settings(deadline=None, max_examples=400)
def test_what_a_yaml_1_2_writer_wrote_is_read_back(data: dict[str, Any], raw: bool, parser: str) -> None:
    class CoreDumper(yamlcore.CoreDumper):  # type: ignore[misc]
        def ignore_aliases(self, data: object) -> bool:
            return True

    text = yaml.dump(data, Dumper=CoreDumper, default_flow_style=False, allow_unicode=raw, sort_keys=False)
    # This writer does not know the merge key and leaves it unquoted.
    assume("<<:" not in text)
    assume("? <<" not in text)
    with using(parser):
        read = parse(text).data
    assert read == data == yaml.load(text, Loader=yamlcore.CoreLoader)
    assert repr(read) == repr(yaml.load(text, Loader=yamlcore.CoreLoader))


WORDS = st.text("abcxyzéß漢😀", min_size=1, max_size=8)
TREES = st.dictionaries(
    WORDS,
    st.recursive(
        WORDS | st.integers(0, 10**9),
        lambda inner: st.lists(inner, min_size=1, max_size=4) | st.dictionaries(WORDS, inner, min_size=1, max_size=4),
        max_leaves=20,
    ),
    min_size=1,
    max_size=5,
)


def leaves(data: object, path: document.Path = ()) -> Iterator[tuple[document.Path, object]]:
    if isinstance(data, dict):
        for key, value in data.items():
            yield from leaves(value, (*path, key))
    elif isinstance(data, list):
        for index, value in enumerate(data):
            yield from leaves(value, (*path, index))
    else:
        yield path, data


@given(TREES, st.booleans(), st.sampled_from(sorted(PARSERS)))
@settings(deadline=None, max_examples=300)
def test_every_value_and_key_stands_where_its_place_says(data: dict[str, Any], flow: bool, parser: str) -> None:
    text = yaml.dump(data, Dumper=Dumper, default_flow_style=flow, allow_unicode=True, width=100_000)
    lines = text.split("\n")
    with using(parser):
        read = parse(text)
    assert read.data == data
    for path, value in leaves(data):
        place = read.place(path)
        assert lines[place.line - 1][place.column - 1 :].lstrip("'").startswith(str(value))
        assert read.place((*path, "missing", 0)) == place
        if isinstance(path[-1], str):
            place = read.key_place(path)
            assert lines[place.line - 1][place.column - 1 :].lstrip("'").startswith(path[-1])
