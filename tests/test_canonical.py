"""The canonical form of JSON: the standard's own examples, and another implementation."""

import json
import struct

import pytest
import rfc8785
from hypothesis import given, settings

from engine.record.canonical import canonical
from tests.records import JSON_DATA

NUMBERS_OF_RFC_8785 = {
    "0000000000000000": "0",
    "8000000000000000": "0",
    "0000000000000001": "5e-324",
    "8000000000000001": "-5e-324",
    "7fefffffffffffff": "1.7976931348623157e+308",
    "ffefffffffffffff": "-1.7976931348623157e+308",
    "4340000000000000": "9007199254740992",
    "c340000000000000": "-9007199254740992",
    "4430000000000000": "295147905179352830000",
    "44b52d02c7e14af5": "9.999999999999997e+22",
    "44b52d02c7e14af6": "1e+23",
    "44b52d02c7e14af7": "1.0000000000000001e+23",
    "444b1ae4d6e2ef4e": "999999999999999700000",
    "444b1ae4d6e2ef4f": "999999999999999900000",
    "444b1ae4d6e2ef50": "1e+21",
    "3eb0c6f7a0b5ed8c": "9.999999999999997e-7",
    "3eb0c6f7a0b5ed8d": "0.000001",
    "41b3de4355555553": "333333333.3333332",
    "41b3de4355555554": "333333333.33333325",
    "41b3de4355555555": "333333333.3333333",
    "41b3de4355555556": "333333333.3333334",
    "41b3de4355555557": "333333333.33333343",
    "becbf647612f3696": "-0.0000033333333333333333",
    "43143ff3c1cb0959": "1424953923781206.2",
}
"""Appendix B of the standard: the bits of a double, and how it is written."""


@pytest.mark.parametrize(("bits", "written"), NUMBERS_OF_RFC_8785.items())
def test_numbers_are_written_as_the_standard_lists_them(bits, written):
    (number,) = struct.unpack(">d", bytes.fromhex(bits))
    assert canonical(number) == written


def test_the_examples_of_the_standard():
    """Sections 3.2.2 and 3.2.3."""
    data = json.loads(
        r'{"numbers": [333333333.33333329, 1E30, 4.50, 2e-3, 0.000000000000000000000000001],'
        r'"string": "\u20ac$\u000F\u000aA' + "'" + r'\u0042\u0022\u005c\\\"\/", "literals": [null, true, false]}'
    )
    assert canonical(data) == (
        '{"literals":[null,true,false],"numbers":[333333333.3333333,1e+30,4.5,0.002,1e-27],'
        '"string":"€$\\u000f\\nA\'B\\"\\\\\\\\\\"/"}'
    )
    names = ["\u20ac", "\r", "\ufb33", "1", "\U0001f600", "\u0080", "\u00f6"]
    written = json.loads(
        canonical(dict.fromkeys(names, 0)), object_pairs_hook=lambda pairs: [name for name, _ in pairs]
    )
    assert written == ["\r", "1", "\u0080", "\u00f6", "\u20ac", "\U0001f600", "\ufb33"]


@settings(max_examples=300, deadline=None)
@given(JSON_DATA)
def test_the_form_is_the_one_another_implementation_writes(data):
    written = canonical(data)
    assert written.encode() == rfc8785.dumps(data)
    assert canonical(json.loads(written, parse_int=float)) == written


@pytest.mark.parametrize(
    "value", [float("nan"), float("inf"), 2**53, -(2**53), "\ud800", {1: 2}, {"\udfff": 1}, {1, 2}]
)
def test_what_has_no_canonical_form_is_refused(value):
    with pytest.raises(ValueError, match=r"canonical form|surrogates"):
        canonical([value])
