"""The one way in which a record is written: JSON in the canonical form of RFC 8785, and digests over it.

The form, in full: UTF-8 without a byte order mark; no white space between tokens; the members of an object in the order
of their names, compared as UTF-16 code units; text unescaped but for the quotation mark, the backslash and the control
characters below U+0020, which are written as backslash and b, t, n, f, r, or else u and four hexadecimal digits with
small letters; a number as ECMAScript prints the double it is, so that 225 and 225.0 are both `225`. Text is left as it
is, without Unicode normalisation.

What RFC 8785 cannot hold is refused: numbers that are not finite, whole numbers that a double cannot hold exactly,
halves of surrogate pairs, names that are not text. A file ends in one line feed after that form; a digest is the
SHA-256 of the form without it.
"""

from __future__ import annotations

import hashlib
import json
import math
from decimal import Decimal
from typing import Any

LARGEST_WHOLE = 2**53 - 1
"""The largest whole number that stands for itself alone as a double."""

_FEWEST_LEADING_ZEROS = -6
_MOST_DIGITS = 21


def canonical(data: Any) -> str:
    """Plain data (dicts, lists, tuples, text, numbers, booleans, None) in canonical form, without a line end.

    Raises:
        ValueError: a value that the form cannot hold.
    """
    match data:
        case None:
            return "null"
        case bool():
            return "true" if data else "false"
        case str():
            data.encode()  # halves of surrogate pairs are refused here
            return json.dumps(data, ensure_ascii=False)
        case int():
            if abs(data) > LARGEST_WHOLE:
                raise ValueError(f"a whole number beyond {LARGEST_WHOLE} has no canonical form")
            return str(data)
        case float():
            return _number(data)
        case list() | tuple():
            return f"[{','.join(canonical(each) for each in data)}]"
        case dict():
            if not all(isinstance(name, str) for name in data):
                raise ValueError("a name that is not text has no canonical form")
            names = sorted(data, key=lambda name: name.encode("utf-16-be"))
            return f"{{{','.join(f'{canonical(name)}:{canonical(data[name])}' for name in names)}}}"
    raise ValueError(f"{type(data).__name__} has no canonical form")


def digest_of(data: Any) -> str:
    """SHA-256 over the canonical form, in hexadecimal.

    Raises:
        ValueError: a value that the form cannot hold.
    """
    return hashlib.sha256(canonical(data).encode()).hexdigest()


def _number(value: float) -> str:
    """A double as ECMAScript prints it: the shortest digits that mean it, as Python finds them, laid out its way."""
    if not math.isfinite(value):
        raise ValueError("a number that is not finite has no canonical form")
    if value == 0:
        return "0"
    parts = Decimal(repr(value)).as_tuple()
    assert isinstance(parts.exponent, int)
    all_digits = "".join(map(str, parts.digits))
    digits = all_digits.rstrip("0")
    sign = "-" if parts.sign else ""
    point = len(all_digits) + parts.exponent  # how many digits stand before the point
    if len(digits) <= point <= _MOST_DIGITS:
        return f"{sign}{digits}{'0' * (point - len(digits))}"
    if 0 < point <= _MOST_DIGITS:
        return f"{sign}{digits[:point]}.{digits[point:]}"
    if _FEWEST_LEADING_ZEROS < point <= 0:
        return f"{sign}0.{'0' * -point}{digits}"
    fraction = f".{digits[1:]}" if digits[1:] else ""
    return f"{sign}{digits[0]}{fraction}e{point - 1:+d}"
