"""Where a part of a rule, or of another file of a version, stands; and what fault is found there."""

from __future__ import annotations

import difflib
from collections.abc import Collection, Mapping

from engine.audit.findings import Finding, Group, Level, Looked, Spot
from engine.facts.document import Document, Path
from engine.rulebase.load import VersionRead


def near(word: str, among: Collection[str]) -> str:
    """The nearest of several names as a hint; "" where none is near."""
    found = difflib.get_close_matches(word, among, 1, 0.6)
    return f"did you mean {found[0]}?" if found else ""


def spot_in(document: Document, path: Path = (), *, key: bool = False) -> Spot:
    """The place of the value at `path`, or of its key."""
    place = document.key_place(path) if key else document.place(path)
    return Spot(file=place.file, line=place.line, column=place.column)


class Places:
    """Finds places in the files of a version that was read."""

    def __init__(self, read: VersionRead) -> None:
        self._read = read
        self._index: dict[tuple[str, str], int] = {}
        for name, document in read.documents.items():
            if isinstance(document.data, list):
                for index, row in enumerate(document.data):
                    if isinstance(row, dict) and isinstance(row.get("id"), str):
                        self._index.setdefault((name, row["id"]), index)

    def rule(self, rule_id: str, *path: str | int, key: bool = False) -> Spot:
        """The place of a part of a rule."""
        file, index = self._read.rows[rule_id]
        return spot_in(self._read.documents[file], (index, *path), key=key)

    def row(self, file: str, row_id: str, *path: str | int) -> Spot | None:
        """The place of a part of a row with an id, in a file that is a list of such rows."""
        document, index = self._read.documents.get(file), self._index.get((file, row_id))
        return None if document is None or index is None else spot_in(document, (index, *path))

    def file(self, file: str, *path: str | int) -> Spot:
        """The place of a part of any other file; of the file as a whole where it was not read."""
        document = self._read.documents.get(file)
        if document is None:
            return Spot(file=f"rules/{self._read.version}/{file}", line=0, column=0)
        return spot_in(document, path)


def finding(
    check: str,
    level: Level,
    subject: str,
    says: str,
    at: Spot | None,
    *,
    group: Group = "form",
    rules: tuple[str, ...] = (),
    allowed: str = "",
    hint: str = "",
) -> Finding:
    """One finding, of form unless said otherwise; `says` is a sentence whose full stop is put here."""
    return Finding(
        check=check,
        group=group,
        level=level,
        subject=subject,
        says=f"{says.rstrip('.')}.",
        rules=rules,
        at=at,
        allowed=allowed,
        hint=hint,
    )


def looked_at(checks: Mapping[str, str], count: int, group: Group = "form") -> list[Looked]:
    """Checks that were made, each of so many things: what each finds is called as it is."""
    return [Looked(check=check, group=group, says=says, looked_at=count) for check, says in checks.items()]
