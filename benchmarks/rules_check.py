"""How long a rule base takes to be checked and proved: `python benchmarks/rules_check.py [VERSION]`.

Each part as a ratio to reading and compiling the same version from its files, which is run beside it.
"""

from __future__ import annotations

import datetime as dt
import pathlib
import statistics
import sys
import time
from collections.abc import Callable

from engine.audit.check import Wanted, check
from engine.audit.proof import proof_findings
from engine.audit.properties import properties_of
from engine.rulebase.load import load_rule_base, read_version, versions

VECTORS = pathlib.Path(__file__).parent.parent / "tests" / "vectors"
RUNS = 3


def timed(what: Callable[[], object]) -> float:
    """Seconds, the median of a few runs."""
    took = []
    for _ in range(RUNS):
        start = time.perf_counter()
        what()
        took.append(time.perf_counter() - start)
    return statistics.median(took)


def main() -> None:
    """Print the seconds of each part, and how many times the reading of the files that is."""
    version = sys.argv[1] if len(sys.argv) > 1 else versions()[-1].version
    base = load_rule_base(version)
    today = dt.date.today()
    reading = timed(lambda: read_version(version))
    print(f"{version}: {len(base.rules)} rules read and compiled in {reading:.2f} s")
    properties = properties_of(base)
    parts = {
        "form and sources": lambda: check(version, Wanted(today, ())),
        "the same with coverage": lambda: check(version, Wanted(today, ("coverage",), VECTORS)),
        "proof of everything": lambda: proof_findings(base, properties, base.manifest.in_force_from.year),
        "200 changed rules": lambda: check(version, Wanted(today, ("mutants",), VECTORS, 200)),
    }
    for what, part in parts.items():
        took = timed(part)
        print(f"{what}: {took:.2f} s, {took / reading:.1f} times the reading")


if __name__ == "__main__":
    main()
