"""What checks of a rule base find, as data. Its JSON Schema is published by `bedjoint schema --of rules-check`."""

from __future__ import annotations

import datetime as dt
from typing import Literal

from engine.audit.mutation_model import MutationReport
from engine.audit.spot import Spot as Spot
from engine.decision.model import Part

Level = Literal["error", "warning", "note"]
Group = Literal["form", "sources", "proof", "tests"]


class Finding(Part):
    """One thing found. `check` and `subject` together name it, and do not change when lines move.

    `subject` is the id of a rule, a source or a property, or `choice=option`, with more after a space where it takes
    more to name it. `survey` is the text of a survey file that `assess` judges and that shows it; `accepted` is why it
    is let stand.
    """

    check: str
    group: Group
    level: Level
    subject: str
    says: str
    rules: tuple[str, ...] = ()
    at: Spot | None = None
    allowed: str = ""
    hint: str = ""
    survey: str | None = None
    accepted: str | None = None


class Looked(Part):
    """One check that was made: how many things it looked at, and what it could not settle, in words."""

    check: str
    group: Group
    says: str
    looked_at: int
    unsettled: tuple[str, ...] = ()


class Checked(Part):
    """The outcome for one version. `mutation` is what became of rules changed on purpose, where that was tried."""

    rules: str
    in_force_from: dt.date | None
    digest: str | None
    checks: tuple[Looked, ...]
    findings: tuple[Finding, ...]
    mutation: MutationReport | None = None

    @property
    def failed(self) -> bool:
        """Whether an error stands that nobody accepted, or the version cannot be read."""
        return self.digest is None or any(each.level == "error" and each.accepted is None for each in self.findings)


class AllChecked(Part):
    """The outcomes for every version that was checked."""

    format: Literal["bedjoint-rules-check-1"] = "bedjoint-rules-check-1"
    versions: tuple[Checked, ...]
