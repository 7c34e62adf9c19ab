"""What commands share that name versions of the rules and write to a folder of their own."""

from __future__ import annotations

import difflib
import pathlib
from collections.abc import Callable, Sequence
from typing import TypeVar

from engine.errors import BadInput, Problem

T = TypeVar("T")


def gathered(read: Callable[[], T], problems: list[Problem]) -> T | None:
    """What a reading gives; its problems join the others, so that all are shown at once."""
    try:
        return read()
    except BadInput as error:
        problems.extend(error.problems)
        return None


def check_versions(asked: Sequence[tuple[str, str]], names: Sequence[str]) -> None:
    """See that there are versions of these names; each is asked for under its label.

    Raises:
        BadInput: with every one that there is not, and the nearest name.
    """
    problems = []
    for label, name in asked:
        if name not in names:
            near = difflib.get_close_matches(name, names, 1, 0.5)
            hint = f"did you mean {near[0]}?" if near else ""
            problems.append(Problem("", 0, 0, label, "no such version of the rules", name, ", ".join(names), hint))
    if problems:
        raise BadInput(problems)


def check_folder(folder: pathlib.Path | None, option: str) -> None:
    """See that a folder can be written, before the long work for what goes into it.

    Raises:
        BadInput: it holds something, is no folder, or has no place to stand in.
    """
    if folder is None:
        return
    message = ""
    if folder.exists() and not folder.is_dir():
        message = "is not a folder"
    elif folder.is_dir() and any(folder.iterdir()):
        message = "holds files already"
    elif not folder.absolute().parent.is_dir():
        message = "stands in no folder"
    if message:
        raise BadInput([Problem(str(folder), 0, 0, option, message, allowed="a new or an empty folder")])
