"""Which version of the rule base judges: the one asked for, or the one in force on a day."""

from __future__ import annotations

import datetime as dt
import difflib

from engine.errors import BadInput, Problem
from engine.rulebase.load import load_rule_base, versions
from engine.rulebase.rules import RuleBase
from engine.rulebase.sealed import as_sealed


def rule_base_for(version: str | None, on: dt.date) -> RuleBase:
    """The rule base of that version, or without one the version in force on a day.

    Raises:
        BadInput: no such version, or none was in force yet.
        BadRules: it cannot be read, or is not what was recorded of it.
    """
    known = versions()
    names = [manifest.version for manifest in known]
    if version is not None:
        if version not in names:
            near = difflib.get_close_matches(version, names, 1, 0.5)
            hint = f"did you mean {near[0]}?" if near else ""
            raise BadInput(
                [Problem("", 0, 0, "--rules", "no such version of the rules", version, ", ".join(names), hint)]
            )
        return as_sealed(load_rule_base(version))
    in_force = [manifest for manifest in known if manifest.in_force(on)]
    if not in_force:
        first = known[0]
        raise BadInput(
            [
                Problem(
                    "",
                    0,
                    0,
                    "day of judging (--as-of, or else the survey's date)",
                    "no version of the rules was in force on that day",
                    on.isoformat(),
                    f"{first.in_force_from.isoformat()} or later",
                    f"to judge an older survey by today's rules, name them: --rules {known[-1].version}",
                )
            ]
        )
    return as_sealed(load_rule_base(in_force[-1].version))
