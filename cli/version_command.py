"""`bedjoint version`: what is installed, and what is not."""

from __future__ import annotations

import platform
from importlib.metadata import version as version_of

from cli.output import deliver
from engine.rulebase.load import load_rule_base, versions


def version() -> None:
    """Print the versions of bedjoint, its rule sets, and the readers of the rules."""
    from engine.inference.forward import available

    lines = [f"bedjoint {version_of('bedjoint')}", f"Python {platform.python_version()}"]
    for manifest in versions():
        base = load_rule_base(manifest.version)
        lines.append(
            f"rules {manifest.version}, in force from {manifest.in_force_from}, "
            f"{len(base.rules)} rules, digest {base.digest[:16]}"
        )
    lines.append("reader: three-valued evaluator")
    forward = available()
    lines.append(
        f"reader: durable-rules {forward}, checked against the evaluator on every assessment"
        if forward
        else "reader: durable-rules is absent, so assessments are not checked by a second reader; "
        "it can be installed on Python below 3.13 with the extra `forward`"
    )
    deliver("\n".join(lines) + "\n", None)
