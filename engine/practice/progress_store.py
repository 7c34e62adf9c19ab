"""Keeps results in a small database in the user's data folder. What is in it is never lost to an error.

A file that is damaged, foreign or from a newer program is left as it is and said to be so; two processes may write at
once; where nothing can be written, what is there can still be read.
"""

from __future__ import annotations

import contextlib
import os
import pathlib
import sqlite3
from collections.abc import Iterator

import platformdirs

from engine.errors import BadInput, Problem
from engine.practice.progress import Kept, KeptMark, KeptRule

LAYOUT = 1
"""The layout of the database, kept in its `user_version`."""
FILE = "practice.sqlite3"
FOLDER_VARIABLE = "BEDJOINT_DATA"
_WAIT_S = 10.0

_TABLES = (
    """CREATE TABLE result (
        id INTEGER PRIMARY KEY, taken_at TEXT NOT NULL, rules_version TEXT NOT NULL, seed TEXT NOT NULL,
        level INTEGER NOT NULL, number INTEGER NOT NULL, placed INTEGER NOT NULL, score REAL NOT NULL,
        minutes INTEGER NOT NULL)""",
    """CREATE TABLE mark (
        result INTEGER NOT NULL REFERENCES result (id) ON DELETE CASCADE, subject TEXT NOT NULL, answer TEXT,
        right_answer TEXT, worth REAL NOT NULL)""",
    """CREATE TABLE rule (
        result INTEGER NOT NULL REFERENCES result (id) ON DELETE CASCADE, rule TEXT NOT NULL, reading TEXT NOT NULL)""",
    "CREATE INDEX mark_of_result ON mark (result)",
    "CREATE INDEX rule_of_result ON rule (result)",
)


def data_folder() -> pathlib.Path:
    """Where the user's data is: as the environment says, else where the system keeps such data."""
    named = os.environ.get(FOLDER_VARIABLE)
    return pathlib.Path(named) if named else platformdirs.user_data_path("bedjoint")


class ProgressStore:
    """The results of one user."""

    def __init__(self, folder: pathlib.Path | None = None) -> None:
        self.path = (folder or data_folder()) / FILE

    def results(self) -> list[Kept]:
        """Everything kept, the oldest first; nothing where there is no database yet.

        Raises:
            BadInput: the database cannot be read, is damaged, or is of a newer layout.
        """
        if not self._exists():
            return []
        with self._reporting("cannot be read"), self._open(writing=False) as connection:
            if self._layout(connection) == 0:
                return []
            rows = connection.execute(
                "SELECT id, taken_at, rules_version, seed, level, number, placed, score, minutes FROM result"
                " ORDER BY id"
            ).fetchall()
            marks: dict[int, list[KeptMark]] = {}
            for result, *mark in connection.execute(
                "SELECT result, subject, answer, right_answer, worth FROM mark ORDER BY rowid"
            ):
                marks.setdefault(result, []).append(KeptMark(*mark))
            rules: dict[int, list[KeptRule]] = {}
            for result, *rule in connection.execute("SELECT result, rule, reading FROM rule ORDER BY rowid"):
                rules.setdefault(result, []).append(KeptRule(*rule))
            return [
                Kept(
                    taken_at,
                    version,
                    int(seed),
                    level,
                    number,
                    bool(placed),
                    score,
                    minutes,
                    tuple(marks.get(key, ())),
                    tuple(rules.get(key, ())),
                )
                for key, taken_at, version, seed, level, number, placed, score, minutes in rows
            ]

    def add(self, result: Kept) -> None:
        """Keep one result, whole or not at all.

        Raises:
            BadInput: it cannot be kept; what was kept before still is.
        """
        with self._reporting("cannot be written"), self._open(writing=True) as connection:
            cursor = connection.execute(
                "INSERT INTO result (taken_at, rules_version, seed, level, number, placed, score, minutes)"
                " VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
                (
                    result.taken_at,
                    result.rules_version,
                    str(result.seed),
                    result.level,
                    result.case,
                    int(result.placed),
                    result.score,
                    result.minutes,
                ),
            )
            key = cursor.lastrowid
            connection.executemany(
                "INSERT INTO mark (result, subject, answer, right_answer, worth) VALUES (?, ?, ?, ?, ?)",
                [(key, mark.of, mark.answer, mark.right, mark.worth) for mark in result.marks],
            )
            connection.executemany(
                "INSERT INTO rule (result, rule, reading) VALUES (?, ?, ?)",
                [(key, rule.rule, rule.reading) for rule in result.rules],
            )

    def check_writable(self) -> None:
        """Make the database where there is none, and make sure that results can be added.

        Raises:
            BadInput: they cannot be.
        """
        with self._reporting("cannot be written"), self._open(writing=True) as connection:
            # SQLite notices that a file cannot be written at the first page it has to write.
            connection.execute(f"PRAGMA user_version = {LAYOUT}")

    def clear(self) -> int:
        """Forget every result. How many there were.

        Raises:
            BadInput: the database cannot be written, is damaged, or is of a newer layout.
        """
        if not self._exists():
            return 0
        with self._reporting("cannot be written"), self._open(writing=True) as connection:
            count = connection.execute("SELECT count(*) FROM result").fetchone()[0]
            for table in ("mark", "rule", "result"):
                connection.execute(f"DELETE FROM {table}")
            return int(count)

    def _exists(self) -> bool:
        with self._reporting("cannot be read"):
            return self.path.exists()

    @contextlib.contextmanager
    def _open(self, *, writing: bool) -> Iterator[sqlite3.Connection]:
        """A connection inside one transaction, which is kept only where nothing went wrong."""
        if writing:
            self.path.parent.mkdir(parents=True, exist_ok=True)
        with contextlib.closing(sqlite3.connect(self.path, timeout=_WAIT_S, isolation_level=None)) as connection:
            # One writer at a time, who waits for the other; taken before anything is looked at, so that two processes
            # cannot both find the database empty.
            connection.execute("BEGIN IMMEDIATE" if writing else "BEGIN")
            try:
                if writing and self._layout(connection) == 0:
                    for statement in _TABLES:
                        connection.execute(statement)
                    connection.execute(f"PRAGMA user_version = {LAYOUT}")
                yield connection
            except BaseException:
                connection.rollback()
                raise
            connection.commit()

    def _layout(self, connection: sqlite3.Connection) -> int:
        """The layout of the database; 0 where there is nothing in it yet."""
        found = int(connection.execute("PRAGMA user_version").fetchone()[0])
        tables = {name for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
        if found > LAYOUT:
            raise self._refused(
                f"was written by a newer version of bedjoint (layout {found}; this one knows up to {LAYOUT})",
                "use that version, or another folder",
            )
        if found == 0 and tables:
            raise self._refused("is a database, but not one of bedjoint", "use another folder")
        if found == LAYOUT and not {"result", "mark", "rule"} <= tables:
            raise self._refused("is damaged: a part of it is missing", "move it elsewhere to begin anew")
        return found

    @contextlib.contextmanager
    def _reporting(self, what: str) -> Iterator[None]:
        try:
            yield
        except sqlite3.DatabaseError as error:
            if isinstance(error, sqlite3.OperationalError):
                raise self._refused(f"{what}: {error}", "a folder that can be written") from None
            raise self._refused(f"is damaged or no database: {error}", "move it elsewhere to begin anew") from None
        except (OSError, ValueError, TypeError) as error:
            reason = error.strerror if isinstance(error, OSError) else None
            raise self._refused(f"{what}: {reason or error}", "a folder that can be written") from None

    def _refused(self, message: str, hint: str) -> BadInput:
        told = f"nothing in it was changed; {hint}, named by {FOLDER_VARIABLE} if need be"
        return BadInput([Problem(str(self.path), 0, 0, "", message, hint=told)])
