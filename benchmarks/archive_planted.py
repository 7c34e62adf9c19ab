"""Makes a large archive with planted errors, checks it, and holds every finding against the ledger.

Run it with the interpreter of the environment: `python benchmarks/archive_planted.py --jobs 100000 --output DIR`. It
prints how many errors of each kind were planted and found, and how long each part took; it ends in 1 if anything was
not found as what it is, or anything else was called an error. An archive that stands in DIR already is used again with
`--again`.
"""

from __future__ import annotations

import argparse
import dataclasses
import pathlib
import shutil
import sys
import time
from collections import Counter

from archive_compare import faults, read_lines
from archive_jobs import TODAY
from archive_maker import PLANTED, Archive, make_archive

_SHOWN = 40


def main() -> None:
    """Make, check, compare, and say what it came to."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--jobs", type=int, default=100_000, help="how many walls")
    parser.add_argument("--output", type=pathlib.Path, required=True, help="the folder to write")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--rules", help="the version that decides all; without it the one in force on the day")
    parser.add_argument("--earlier", help="the version for surveys from before there were rules")
    parser.add_argument("--planted", type=float, default=PLANTED, help="share of walls with a planted error")
    parser.add_argument("--again", action="store_true", help="use the archive that stands there")
    options = parser.parse_args()
    start = time.perf_counter()
    if options.again:
        archive = _standing(options.output)
    else:
        archive = make_archive(
            options.output,
            options.jobs,
            options.seed,
            workers=options.workers,
            rules=options.rules,
            earlier=options.earlier,
            planted=options.planted,
        )
        print(f"made {archive.rows} rows in {time.perf_counter() - start:.0f} s")
    sys.exit(1 if _check(archive, options.output / "results", options.rules, options.earlier) else 0)


def _standing(output: pathlib.Path) -> Archive:
    ledger = output / "ledger.jsonl"
    kinds = Counter(entry["kind"] for entry in read_lines(ledger))
    rows = int((output / "rows.txt").read_text())
    return Archive(output / "archive", output / "mapping.yaml", ledger, output / "remarks.jsonl", rows, kinds)


def _check(archive: Archive, results: pathlib.Path, rules: str | None, earlier: str | None) -> int:
    """Check an archive and print what it came to; how many faults there are."""
    import polars as pl

    from engine.archive.finish import finish
    from engine.archive.judging import ByRules
    from engine.archive.mapping import read_mapping
    from engine.archive.run import Check, read_and_judge

    (archive.ledger.parent / "rows.txt").write_text(f"{archive.rows}\n")
    shutil.rmtree(results, ignore_errors=True)
    start = time.perf_counter()
    asked = Check((str(archive.folder),), results, TODAY, read_mapping(archive.mapping), ByRules(rules, earlier))
    read = read_and_judge(asked, lambda *_: None)
    rejects = [dataclasses.asdict(each) for each in read.rejects()]
    finish(read, lambda walls, totals, bases, path: path.touch() or None, lambda *_: None)
    walls = pl.read_parquet(results / "walls.parquet")
    print(f"checked in {time.perf_counter() - start:.0f} s: {walls.height} walls, {read.rejected} rows rejected")
    ledger = read_lines(archive.ledger)
    wrong = faults(walls, rejects, ledger, read_lines(archive.remarks), archive.rows)
    for kind, count in sorted(archive.planted.items()):
        missed = sum(f" {kind}" in each for each in wrong)
        print(f"  {kind:26} {count:6} planted, {count - missed:6} found as what they are")
    others = sum("nothing is planted" in each for each in wrong)
    print(f"  {'called an error besides':26} {others:6}")
    for each in wrong[:_SHOWN]:
        print(each)
    print(f"{len(wrong)} faults")
    return len(wrong)


if __name__ == "__main__":
    main()
