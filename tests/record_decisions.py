"""Records the decisions of a version: `python tests/record_decisions.py 2026.1` writes tests/vectors/recorded/2026.1.

Takes some minutes. Run it once when a version's rules stand, and again only while the version is not in force yet. With
the version before as second argument its recorded walls are tried first; with the same version those recorded already,
so that only what has come up since is added.
"""

import argparse
import pathlib
import shutil
import sys

from engine.audit.recorded import recorded_text
from engine.audit.recording import record
from engine.audit.vectors import read_vectors
from engine.rulebase.load import load_rule_base, versions

FOLDER = pathlib.Path(__file__).parent / "vectors"


def main(version, before=None):
    base = load_rule_base(version)
    earlier = read_vectors(FOLDER, load_rule_base(before)).recorded if before else ()
    by_stage = record(
        base,
        read_vectors(FOLDER, base),
        [each.facts for each in earlier],
        lambda left, surveys: print(f"{left} changed rules to tell, {surveys} surveys", file=sys.stderr),
    )
    into = FOLDER / "recorded" / version
    shutil.rmtree(into, ignore_errors=True)
    into.mkdir(parents=True)
    for stage, recorded in by_stage.items():
        (into / f"{stage}.yaml").write_text(recorded_text(version, recorded), encoding="utf-8")
    print(f"{sum(map(len, by_stage.values()))} recorded decisions in {into}")


if __name__ == "__main__":
    names = [manifest.version for manifest in versions()]
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("version", choices=names)
    parser.add_argument("before", choices=names, nargs="?", help="the version whose recorded walls are tried first")
    asked = parser.parse_args()
    main(asked.version, asked.before)
