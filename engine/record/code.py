"""Which code judged: the version of the program, and a digest of the engine's source."""

from __future__ import annotations

import functools
import hashlib
import pathlib
from importlib import resources
from importlib.metadata import version

from engine.record.canonical import digest_of
from engine.record.model import CodeUsed


def code_used() -> CodeUsed:
    """The code that is running."""
    return CodeUsed(version=f"bedjoint {version('bedjoint')}", digest=_installed())


@functools.cache
def _installed() -> str:
    return code_digest(pathlib.Path(str(resources.files("engine"))))


def code_digest(folder: pathlib.Path) -> str:
    """SHA-256 over every Python file below a folder: each path with the SHA-256 of its contents, canonically.

    Paths are relative to the folder, with `/`; line ends count as line feeds, so that a checkout with other line ends
    is the same code.
    """
    contents = {}
    for path in folder.rglob("*.py"):
        source = path.read_bytes().replace(b"\r\n", b"\n").replace(b"\r", b"\n")
        contents[path.relative_to(folder).as_posix()] = hashlib.sha256(source).hexdigest()
    return digest_of(contents)
