"""The record that `assess --record FILE` writes: whole, once, and never over another."""

from __future__ import annotations

import dataclasses
import os
import pathlib
import sys
from collections.abc import Sequence
from typing import TYPE_CHECKING, NoReturn

from cli.output import deliver
from engine.errors import BadInput, Problem

if TYPE_CHECKING:
    from engine.decision.model import Assessment
    from engine.facts.intake import SurveyFile


@dataclasses.dataclass(frozen=True, slots=True)
class RecordFile:
    """A record that is ready to be written. Not `fresh` is one that stands there already with the same bytes."""

    target: pathlib.Path
    text: str
    fresh: bool

    def write(self) -> None:
        """Write it, if it does not stand there already.

        Raises:
            BadInput: it cannot be written.
        """
        if self.fresh:
            write_record(self.text, self.target, "--record")
        else:
            print(f"{self.target} holds this record already", file=sys.stderr)

    def take_back(self) -> None:
        """Remove what was written, since something that belongs with it could not be."""
        if self.fresh:
            self.target.unlink(missing_ok=True)


def record_file(
    judged: Sequence[tuple[SurveyFile, Assessment]], target: pathlib.Path, output: pathlib.Path | None
) -> RecordFile:
    """The record of one survey, checked against what stands in its place; nothing is written.

    Raises:
        BadInput: several surveys; a place that cannot be written, or where something else stands.
    """
    from engine.record.build import record_of, text_of

    if len(judged) != 1:
        names = ", ".join(file.name for file, _ in judged)
        _refuse("", "holds one survey", names, "one survey, such as " + judged[0][0].name)
    ((file, assessment),) = judged
    if output is not None and os.path.realpath(output) == os.path.realpath(target):
        _refuse(str(target), "is the file of --output", "", "another file")
    text = text_of(record_of(file, assessment))
    return RecordFile(target, text, fresh=not _stands_already(target, text))


def _stands_already(target: pathlib.Path, text: str) -> bool:
    """Whether the record is there already, byte for byte.

    Raises:
        BadInput: something else is.
    """
    shown = str(target)
    try:
        if target.is_dir():
            _refuse(shown, "is a folder", "", "a file")
        if not target.exists():
            if target.is_symlink():
                _refuse(shown, "is a link to nothing", "", "a file")
            if not target.parent.is_dir():
                _refuse(shown, "stands in a folder that is not there", "", "a file in a folder that is")
            return False
        if not target.is_file():
            _refuse(shown, "is no ordinary file", "", "a file")
        same = target.read_bytes() == text.encode()
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or "not a name for a file"
        _refuse(shown, f"cannot be used: {reason}", "", "a file")
    if not same:
        _refuse(
            shown,
            "is there already and holds something else; a record is not overwritten",
            "",
            f"another name, such as {_free(target)}",
        )
    return True


def _free(target: pathlib.Path) -> pathlib.Path:
    """A name beside it that is free."""
    number = 2
    while (found := target.with_name(f"{target.stem}-{number}{target.suffix}")).exists():
        number += 1
    return found


def _refuse(file: str, message: str, found: str, allowed: str) -> NoReturn:
    raise BadInput([Problem(file, 0, 0, "--record", message, found, allowed)]) from None


def write_record(text: str, target: pathlib.Path, field: str) -> None:
    """Write a record, whole or not at all; `field` is what messages call the option or argument.

    Raises:
        BadInput: it cannot be written.
    """
    try:
        deliver(text, target)
    except BadInput as error:
        raise BadInput([dataclasses.replace(each, field=field) for each in error.problems]) from None
