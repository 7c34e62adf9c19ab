"""Where output goes: standard output, or a file that is written whole or not at all."""

from __future__ import annotations

import os
import pathlib
import sys
import tempfile
from collections.abc import Iterable

from engine.errors import BadInput, Problem


def deliver(text: str, target: pathlib.Path | None, inputs: Iterable[str] = ()) -> None:
    """Write text to standard output, or replace a file by it in one step.

    Raises:
        BadInput: the file cannot be written, or is one of `inputs`; what stood there before still does.
    """
    if target is None:
        try:
            sys.stdout.write(text)
            sys.stdout.flush()
        except BrokenPipeError:
            raise
        except OSError as error:
            # What is still in the buffer would fail again at exit.
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
            reason = error.strerror or type(error).__name__
            raise BadInput([Problem("", 0, 0, "standard output", f"cannot be written: {reason}")]) from None
        return
    for each in inputs:
        path = pathlib.Path(each)
        if target.exists() and path.exists() and target.samefile(path):
            raise BadInput([Problem(str(target), 0, 0, "--output", "is the survey itself", allowed="another file")])
    deliver_bytes(text.encode(), target)


def deliver_bytes(content: bytes, target: pathlib.Path) -> None:
    """Replace a file by these bytes in one step.

    Raises:
        BadInput: the file cannot be written; what stood there before still does.
    """
    if target.is_dir():
        raise BadInput([Problem(str(target), 0, 0, "--output", "is a folder", allowed="a file")])
    temporary = ""
    try:
        handle, temporary = tempfile.mkstemp(dir=target.parent, prefix=f".{target.name}.")
        with os.fdopen(handle, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        mode = target.stat().st_mode & 0o777 if target.exists() else 0o666 & ~_umask()
        os.chmod(temporary, mode)
        os.replace(temporary, target)
        print(f"written to {target}", file=sys.stderr)
    except OSError as error:
        if temporary:
            pathlib.Path(temporary).unlink(missing_ok=True)
        reason = error.strerror or type(error).__name__
        raise BadInput([Problem(str(target), 0, 0, "--output", f"cannot be written: {reason}")]) from None


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
