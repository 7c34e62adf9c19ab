"""Two versions of the rules side by side: what differs in words, and which decisions therefore do."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable, Iterable, Sequence
from importlib.metadata import version

from engine.audit.boldness import Boldness
from engine.audit.compare_bases import Versions
from engine.audit.compare_files import walls_moved
from engine.audit.compare_kinds import MOST, everywhere
from engine.audit.compare_model import Account, RecordedMoves, RulesCompared
from engine.audit.compare_space import shared_space
from engine.audit.compare_step import step_between
from engine.audit.compare_words import items_that_differ, rules_that_differ
from engine.audit.fates import flipped
from engine.audit.recorded import Recorded
from engine.decision.assess import LIMITS
from engine.decision.model import RuleSetUsed
from engine.facts.intake import SurveyFile
from engine.rulebase.model import Manifest
from engine.rulebase.rules import RuleBase

Progress = Callable[[str, int, int], None]
"""Told what is being looked at, how many of it were, and of how many."""


def compare_rules(
    a: RuleBase,
    b: RuleBase,
    bold: Boldness,
    day: dt.date,
    *,
    surveys: Sequence[SurveyFile] = (),
    recorded: Sequence[Recorded] = (),
    accounts: Sequence[Manifest] | None = None,
    progress: Progress | None = None,
    most: int = MOST,
) -> RulesCompared:
    """Compare base B with base A: in words, on the surveys given, and over all surveys of the year of `day`.

    `recorded` are recorded decisions of A. `accounts` are the manifests whose changes led from A to B, else B's own.
    For at most `most` kinds of difference a survey of its own is looked for.

    Raises:
        RuntimeError: the solver gave up.
        ReadersDisagree: durable-rules and the evaluator came to different conclusions on a survey.
    """
    versions = Versions(a, b)

    def of(what: str) -> Callable[[int, int], None] | None:
        return None if progress is None else lambda done, every: progress(what, done, every)

    shared = shared_space(versions, day)
    rules, items = rules_that_differ(shared), items_that_differ(versions)
    walls = walls_moved(surveys, versions, bold, of("walls"))
    found = everywhere(shared, bold, of("kinds of difference"), most)
    account = tuple(
        Account(rules=manifest.version, what=each.what, why=each.why)
        for manifest in ((b.manifest,) if accounts is None else accounts)
        for each in manifest.changes
    )
    named = rules_named(account)
    moved = tuple(RecordedMoves(id=each.id, says=tuple(says)) for each, says in flipped(b, recorded))
    return RulesCompared(
        engine=f"bedjoint {version('bedjoint')}",
        as_of=day,
        a=_used(a),
        b=_used(b),
        account=account,
        rules=rules,
        not_accounted_for=tuple(each.id for each in rules if not each.wording_only and each.id not in named),
        items=items,
        walls=walls,
        files=tuple(file.name for file in surveys),
        recorded_looked_at=len(recorded),
        recorded=moved,
        everywhere=found,
        step=step_between(rules, items, walls, moved, found),
        limits=LIMITS,
    )


def _used(base: RuleBase) -> RuleSetUsed:
    manifest = base.manifest
    return RuleSetUsed(version=manifest.version, in_force_from=manifest.in_force_from, digest=base.digest)


_ID = r"([A-Z]{1,2})-([0-9]{3})"
_IDS = re.compile(rf"{_ID}(?: to {_ID})?")


def rules_named(account: Iterable[Account]) -> frozenset[str]:
    """The ids of rules that accounts of changes name, alone or as "M-001 to M-009"."""
    named: set[str] = set()
    for each in account:
        for letter, first, _, last in _IDS.findall(f"{each.what} {each.why}"):
            named.update(f"{letter}-{number:03d}" for number in range(int(first), int(last or first) + 1))
    return frozenset(named)
