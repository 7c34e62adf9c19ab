"""How far two words are the same word, shortened or misspelt."""

from __future__ import annotations

import difflib
import functools

SAME_TOKEN, SHORTENED, MISSPELT = 1.0, 0.85, 0.8


@functools.lru_cache(maxsize=200_000)
def token_likeness(one: str, other: str) -> float:
    """How far two words are the same word: 0 to 1. A word of three letters and more may stand for one it begins."""
    if one == other:
        return SAME_TOKEN
    short, long = sorted((one, other), key=len)
    if short.isdigit() or long.isdigit():
        return 0.0
    if len(short) >= 3 and long.startswith(short):
        return SHORTENED
    if len(short) >= 4 and difflib.SequenceMatcher(None, one, other).ratio() >= 0.84:
        return MISSPELT
    return 0.0
