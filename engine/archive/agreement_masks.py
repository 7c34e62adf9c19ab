"""Rules, options and members as bits in columns of 64-bit words, so that many walls take no loop over walls."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

import polars as pl

WORD_BITS = 64
_FULL = (1 << WORD_BITS) - 1

Words = Mapping[int, pl.Series]
"""Bits by the number of their word: bit k stands in word k // 64. A word that is not there is all zeros."""


def words_of(mask: int) -> list[int]:
    """The numbers of the words in which a mask has bits."""
    return [at for at in range(mask.bit_length() // WORD_BITS + 1) if _word(mask, at)]


def _word(mask: int, at: int) -> int:
    return mask >> (WORD_BITS * at) & _FULL


def gathered(frame: pl.DataFrame, columns: Mapping[int, str], words: Iterable[int]) -> dict[int, pl.Series]:
    """Boolean columns packed into the words named; `columns` goes by bit. A column that is not there is false."""
    nothing = pl.repeat(0, frame.height, dtype=pl.UInt64)
    packed = dict.fromkeys(words, nothing)
    for bit, name in columns.items():
        if name in frame.columns:
            packed[bit // WORD_BITS] |= pl.col(name).cast(pl.UInt64) * pl.lit(1 << bit % WORD_BITS, pl.UInt64)
    found = frame.select(each.alias(str(word)) for word, each in packed.items())
    return {word: found[str(word)] for word in packed}


def looked_up(masks: Sequence[int], at: pl.Series, words: Iterable[int]) -> dict[int, pl.Series]:
    """For every row the mask that stands at its index in `masks`."""
    return {word: pl.Series([_word(mask, word) for mask in masks], dtype=pl.UInt64).gather(at) for word in words}


def both(one: Words, other: Words) -> dict[int, pl.Series]:
    """The bits that stand in both."""
    return {word: bits & other[word] for word, bits in one.items() if word in other}


def within(bits: Words, mask: int) -> dict[int, pl.Series]:
    """The bits that a mask has too."""
    return {word: each & _word(mask, word) for word, each in bits.items() if _word(mask, word)}


def without(one: Words, other: Words) -> dict[int, pl.Series]:
    """The bits of the first that the second does not have."""
    return {word: bits ^ (bits & other[word]) if word in other else bits for word, bits in one.items()}


def either(one: Words, other: Words) -> dict[int, pl.Series]:
    """The bits of both together."""
    joined = dict(one)
    for word, bits in other.items():
        joined[word] = joined[word] | bits if word in joined else bits
    return joined


def only_where(condition: pl.Series, bits: Words) -> dict[int, pl.Series]:
    """The bits where a condition holds, none elsewhere."""
    return {word: each * condition.cast(pl.UInt64) for word, each in bits.items()}


def some(bits: Words, height: int) -> pl.Series:
    """Whether any bit stands, by row."""
    found = never(height)
    for each in bits.values():
        found |= each != 0
    return found


def never(height: int) -> pl.Series:
    """False on every row."""
    return pl.repeat(False, height, dtype=pl.Boolean, eager=True)


def named(bits: Words, names: Sequence[str], height: int) -> pl.Series:
    """The names of the bits of every row, in order, as a list of text. Each pattern of bits is spelt out once."""
    columns = [str(word) for word in bits]
    rows = pl.DataFrame({str(word): each for word, each in bits.items()})
    nothing = pl.repeat([], height, dtype=pl.List(pl.String), eager=True).alias("")
    if not columns:
        return nothing
    patterns = rows.unique(maintain_order=True).with_row_index("at")
    standing = []
    for word, each in bits.items():
        used = each.bitwise_or() if len(each) else 0
        for place in range(WORD_BITS):
            bit = 1 << place
            if isinstance(used, int) and used & bit:
                held = patterns.filter(pl.col(str(word)) & pl.lit(bit, pl.UInt64) != 0)
                name = names[word * WORD_BITS + place]
                standing.append(held.select("at", pl.lit(name, pl.String).alias("name")))
    if not standing:
        return nothing
    lists = pl.concat(standing).sort("at", maintain_order=True).group_by("at", maintain_order=True).agg(pl.col("name"))
    spelt = patterns.join(lists, on="at", how="left").with_columns(
        pl.col("name").fill_null(pl.lit([], pl.List(pl.String)))
    )
    return rows.join(spelt, on=columns, how="left", maintain_order="left")["name"].alias("")
