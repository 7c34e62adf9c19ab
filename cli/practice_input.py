"""What a person types at the practice prompt: numbers, ids, or the beginning of one."""

from __future__ import annotations

import difflib
from collections.abc import Sequence


class NotUnderstood(Exception):
    """What was typed is none of what is offered; the message says what would be."""


def one_of(typed: str, offered: Sequence[str]) -> str:
    """The one that is meant by its number from 1, its id, or a beginning that only it has.

    Raises:
        NotUnderstood: none or several are meant.
    """
    text = typed.strip().lower().replace(" ", "_").replace("-", "_")
    if text.isascii() and text.isdigit():
        number = int(text[:9])
        if 1 <= number <= len(offered):
            return offered[number - 1]
        raise NotUnderstood(f"there is no number {typed.strip()}: they run from 1 to {len(offered)}")
    if text in offered:
        return text
    began = [each for each in offered if text and each.startswith(text)]
    if len(began) == 1:
        return began[0]
    if began:
        raise NotUnderstood(f"{typed.strip()} could be {', '.join(began[:-1])} or {began[-1]}")
    near = difflib.get_close_matches(text, offered, 2, 0.5)
    hint = f" (did you mean {' or '.join(near)}?)" if near else ""
    raise NotUnderstood(f"{typed.strip()} is not offered{hint}")


def fact_of(typed: str, offered: Sequence[str]) -> str:
    """The fact that is meant; besides what `one_of` takes, its name without the section, or the beginning of that.

    Raises:
        NotUnderstood: none or several are meant.
    """
    text = typed.strip().lower().replace(" ", "_").replace("-", "_")
    if "." not in text and not text.isdigit():
        fields = {each: each.partition(".")[2] for each in offered}
        same = [each for each, field in fields.items() if field == text]
        began = same or [each for each, field in fields.items() if text and field.startswith(text)]
        if len(began) == 1:
            return began[0]
        if began:
            raise NotUnderstood(f"{typed.strip()} could be {', '.join(began[:-1])} or {began[-1]}")
        near = difflib.get_close_matches(text, list(fields.values()), 2, 0.6)
        if near:
            meant = " or ".join(each for each, field in fields.items() if field in near)
            raise NotUnderstood(f"{typed.strip()} is not among the facts to ask for; did you mean {meant}?")
    return one_of(typed, offered)


def parted(typed: str) -> list[str]:
    """What is meant one by one: parted by commas; by spaces too where every part is a number or a full name."""
    found: list[str] = []
    for part in typed.split(","):
        words = part.split()
        whole = not all(word.isdigit() or "." in word for word in words)
        found += [" ".join(words)] if whole else words
    return found


def several_of(typed: str, offered: Sequence[str]) -> tuple[str, ...]:
    """All that are meant, in the order offered: parted by spaces or commas, `3-5` for a run of numbers, or `none`.

    Raises:
        NotUnderstood: one of them is not offered, or nothing is named.
    """
    words = typed.replace(",", " ").split()
    if [word.lower() for word in words] == ["none"]:
        return ()
    meant: set[str] = set()
    faults: list[str] = []
    for word in words:
        try:
            meant.update(_run_of(word, offered))
        except NotUnderstood as error:
            faults.append(str(error))
    if faults:
        raise NotUnderstood("; ".join(faults))
    if not meant:
        raise NotUnderstood("name the works by their numbers, such as 1 3 5-7, or none")
    return tuple(each for each in offered if each in meant)


def _run_of(word: str, offered: Sequence[str]) -> Sequence[str]:
    first, dash, last = word.partition("-")
    if not (dash and first.isascii() and first.isdigit() and last.isascii() and last.isdigit()):
        return (one_of(word, offered),)
    low, high = offered.index(one_of(first, offered)), offered.index(one_of(last, offered))
    if high < low:
        raise NotUnderstood(f"{word} runs backwards")
    return offered[low : high + 1]
