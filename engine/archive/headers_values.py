"""What the words in a sheet's cells may stand for: our words for them, or the nearest."""

from __future__ import annotations

import difflib
from collections import Counter
from collections.abc import Iterable, Mapping
from typing import Literal

from engine.archive.headers_tokens import token_likeness
from engine.archive.headers_words import Synonyms, plain
from engine.archive.mapping_columns import SheetColumn

Confidence = Literal["sure", "likely", "guess"]
CLOSE_ENOUGH = 0.84
_CLOSE = 0.72


def known_words(column: SheetColumn, words: Synonyms) -> Mapping[str, str]:
    """What may stand in the cells of a column, in plain words -> our word. Empty where it has no words of its own."""
    if column.kind == "yes_no":
        return words.yes_no_words
    if not column.options:
        return {}
    found = dict.fromkeys(words.none_words, "none") if column.kind == "set" or "none" in column.options else {}
    found |= words.value_words.get(column.name, {})
    return {**found, **{plain(option): option for option in column.options}}


def our_word(word: str, column: SheetColumn, words: Synonyms) -> tuple[str, Confidence, str] | None:
    """Our word for a word of the sheet, how sure that is and why; None where nothing is near enough."""
    known = known_words(column, words)
    text = plain(word)
    if text in words.unknown_words:
        return "unknown", "sure", "stands for unknown"
    if text in known:
        reason = "is our word, written otherwise" if text == plain(known[text]) else "is another word for it"
        return known[text], "sure", reason
    tokens = set(text.split())
    if covering := _covering(tokens - _JOINING, known):
        return covering, "likely", "all its words are in it"
    holding = {ours for phrase, ours in known.items() if len(phrase) > 2 and set(phrase.split()) <= tokens}
    whole = {ours for ours in holding if set(plain(ours).split()) <= tokens}
    for held in (whole, holding):
        if len(held) == 1 and not tokens & _DENIALS:
            (ours,) = held
            return ours, "likely" if held is whole else "guess", "holds the words for it"
    if near := difflib.get_close_matches(text, list(known), 1, _CLOSE):
        closeness = difflib.SequenceMatcher(None, text, near[0]).ratio()
        return known[near[0]], "likely" if closeness >= CLOSE_ENOUGH else "guess", f"is spelt like '{near[0]}'"
    return None


def _covering(tokens: set[str], known: Mapping[str, str]) -> str | None:
    """The one word of ours whose phrase has a word for each of several; the one that says least besides."""
    if len(tokens) < 2:
        return None
    extra: dict[str, int] = {}
    for phrase, ours in known.items():
        there = set(phrase.split()) - _JOINING
        if all(any(token_likeness(token, word) >= _SAME_WORD for word in there) for token in tokens):
            extra[ours] = min(len(there) - len(tokens), extra.get(ours, len(there)))
    best = [ours for ours, more in extra.items() if more == min(extra.values())]
    return best[0] if len(best) == 1 else None


_JOINING = frozenset(("and", "with", "plus", "+", "&", "the", "a", "of"))
_SAME_WORD = 0.85
_DENIALS = frozenset(("no", "not", "without", "none", "non", "never"))


def nearest_words(word: str, column: SheetColumn, words: Synonyms) -> tuple[str, ...]:
    """The three words of a column that are nearest in spelling, the nearest first."""
    text = plain(word)
    known = known_words(column, words)

    def likeness(ours: str) -> float:
        said = [phrase for phrase, each in known.items() if each == ours]
        return max((difflib.SequenceMatcher(None, text, phrase).ratio() for phrase in said), default=0.0)

    return tuple(sorted(dict.fromkeys(known.values()), key=lambda ours: -likeness(ours))[:3])


def members_in(words: Iterable[tuple[str, int]], separator: str | None) -> Counter[str]:
    """The words of a set's cells apart, with how often each stands there."""
    found: Counter[str] = Counter()
    for text, count in words:
        for part in text.split(separator) if separator else [text]:
            if part.strip():
                found[" ".join(part.split())] += count
    return found
