"""How fast walls are judged: by the columnar reader, by the evaluator, and by the same rules in other engines.

Run it with the interpreter of the environment: `python benchmarks/archive_speed.py --report FILE`. Results are held
together before times: where anything comes out other than by the evaluator on any wall of the sample, the difference
is printed and the exit code is 1. All is measured in one run, the readers in turn, and medians are given. `--parts`
leaves some of it out; `--walls` says for which sizes memory is measured.
"""

from __future__ import annotations

import argparse
import functools
import importlib.metadata
import json
import os
import pathlib
import platform
import re
import resource
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from types import ModuleType

import polars as pl
from archive_jobs import Firm, walls_of_job
from archive_maker import Task, big_parquet, made, make_flat
from archive_writers import YamlWriter
from engines import clips_engine, columns_engine, durable_engine, evaluator_engine, zen_engine
from engines.common import Conclusions, Engine, Values

from engine.columns.flat import values_of
from engine.columns.judge import judge
from engine.facts.document import read_document
from engine.readings.compute import compute_readings
from engine.rulebase.load import load_rule_base, versions
from engine.rulebase.reading_figures import reading_figures
from engine.rulebase.rules import RuleBase

HERE = pathlib.Path(__file__).parent
PARTS = ("rates", "profile", "memory", "surveys", "single")
LIBRARIES = ("polars", "clipspy", "zen-engine", "durable_rules", "pydantic", "PyYAML")
ENGINES: Mapping[ModuleType, Callable[[RuleBase], Engine]] = {
    evaluator_engine: evaluator_engine.EvaluatorEngine,
    clips_engine: clips_engine.ClipsEngine,
    zen_engine: zen_engine.ZenEngine,
    durable_engine: durable_engine.DurableEngine,
}
PLAIN = "no rules: read, filter, write (polars, streamed)"
ONE_CORE = f"{columns_engine.NAME}, one thread"
SHOWN = 5
Took = dict[str, float]
"""Seconds by the clock and of processor time; of a process, the peak of its memory in KiB as well."""
RUN = "import cli.start; cli.start.run()"


def main() -> None:
    """Measure what is asked for; print it and write it down."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--rules", help="the version of the rules; without it the latest")
    parser.add_argument("--parts", nargs="+", choices=PARTS, default=PARTS)
    parser.add_argument("--sample", type=int, default=1000, help="walls that every engine judges, all alike")
    parser.add_argument("--distinct", type=int, default=20_000, help="walls made, of which the Parquet files are drawn")
    parser.add_argument("--file-walls", type=int, default=250_000, help="walls of the Parquet for rates and profile")
    parser.add_argument("--repeats", type=int, default=5)
    parser.add_argument("--batch", type=int, default=columns_engine.BATCH, help="walls that are judged at once")
    parser.add_argument("--walls", type=int, nargs="+", default=[1, 3, 10, 30], help="millions, to measure memory")
    parser.add_argument("--surveys", type=int, default=300, help="survey files to check and to parse")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--report", type=pathlib.Path, help="the Markdown file to write")
    parser.add_argument("--child", nargs="+", help=argparse.SUPPRESS)
    options = parser.parse_args()
    base = load_rule_base(options.rules or versions()[-1].version)
    if options.child:
        print(json.dumps(_child(options.child, base, options.batch)))
        return
    with tempfile.TemporaryDirectory() as folder:
        text = "\n\n".join(_report(options, base, pathlib.Path(folder))) + "\n"
    if options.report:
        options.report.write_text(text, encoding="utf-8")


def _report(options: argparse.Namespace, base: RuleBase, folder: pathlib.Path) -> Iterator[str]:
    for section in _sections(options, base, folder):
        print(section, end="\n\n", flush=True)
        yield section


def _sections(options: argparse.Namespace, base: RuleBase, folder: pathlib.Path) -> Iterator[str]:
    yield f"# How fast walls are judged\n\n{machine(base)}"
    if {"rates", "profile", "memory"}.intersection(options.parts):
        options.distinct = max(options.distinct, options.sample)
        distinct = make_flat(options.distinct, options.seed, workers=2, rules=base.manifest.version)
        distinct.write_parquet(folder / "distinct.parquet")
        flat = distinct.head(options.sample)
    if "rates" in options.parts or "profile" in options.parts:
        _big(folder, folder / "walls.parquet", options.file_walls, options.seed)
    if "rates" in options.parts:
        yield from rates(options, base, flat, folder)
    if "profile" in options.parts:
        yield profile(options, base, folder)
    if "memory" in options.parts:
        yield memory(options, folder)
    if "surveys" in options.parts:
        yield surveys(options, base, folder)
    if "single" in options.parts:
        yield single()


# --- the machine, and what is measured on it


def machine(base: RuleBase) -> str:
    """What it was measured on: no path and no name of a host."""
    try:
        said = pathlib.Path("/proc/cpuinfo").read_text(encoding="utf-8")
        processor = re.search(r"model name\s*:\s*(.+)", said)
    except OSError:
        processor = None
    ram = os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES") / 2**30
    installed = []
    for name in LIBRARIES:
        try:
            installed.append(f"{name} {importlib.metadata.version(name)}")
        except importlib.metadata.PackageNotFoundError:
            installed.append(f"{name} not installed")
    return (
        f"{processor.group(1) if processor else platform.machine()}, {os.cpu_count()} cores, {ram:.0f} GiB; "
        f"{platform.system()}, {platform.python_implementation()} {platform.python_version()}; {', '.join(installed)}. "
        f"Rules {base.manifest.version}: {len(base.rules)} rules. "
        f"Load of the machine at the start: {os.getloadavg()[0]:.1f}."
    )


def _big(folder: pathlib.Path, path: pathlib.Path, walls: int, seed: int) -> None:
    _in_child("make", folder / "distinct.parquet", path, walls, seed)


def _values(flat: pl.DataFrame, base: RuleBase) -> list[Values]:
    """Every row as other engines than the columnar reader are given it: facts, and the readings from them."""
    figures = reading_figures(base.tables)
    found = []
    for row in flat.iter_rows(named=True):
        values = values_of(row)
        values.update(compute_readings(values, row["survey_date"].year, figures))
        found.append(values)
    return found


# --- rates


def rates(options: argparse.Namespace, base: RuleBase, flat: pl.DataFrame, folder: pathlib.Path) -> Iterator[str]:
    """Results first, then the times of all readers in turn."""
    walls = _values(flat, base)
    engines = {each.NAME: make(base) for each, make in ENGINES.items() if each.missing() is None}
    left_out = [f"{each.NAME}: {each.missing()}" for each in ENGINES if each.missing() is not None]
    columnar = list(columns_engine.conclusions(judge(flat, base), base))
    others = {columns_engine.NAME: columnar, **{name: engine.conclude(walls) for name, engine in engines.items()}}
    expected = others.pop(evaluator_engine.NAME)
    found = differences(expected, others)
    if found:
        print("\n".join(found))
        raise SystemExit(1)
    yield (
        f"On {len(walls)} walls {', '.join(others)} and the evaluator come to the same: fired rules, options of "
        f"choices, members of sets." + "".join(f"\n\nLeft out: {each}." for each in left_out)
    )
    source = folder / "walls.parquet"
    took: dict[str, list[Took]] = defaultdict(list)
    for _ in range(options.repeats):
        took[columns_engine.NAME].append(_judged_in_child(source, folder, options.batch, {}))
        took[ONE_CORE].append(_judged_in_child(source, folder, options.batch, {"POLARS_MAX_THREADS": "1"}))
        took[PLAIN].append(_in_child("filter", source, folder / "filtered.parquet"))
        took[""].append(_timed(functools.partial(_values, flat, base)))
        for name, engine in engines.items():
            took[name].append(_timed(functools.partial(engine.conclude, walls)))
    counts = {name: len(walls) if name in engines or not name else options.file_walls for name in took}
    yield _rates_table(took, counts)


def differences(expected: Sequence[Conclusions], others: Mapping[str, Sequence[Conclusions]]) -> list[str]:
    """In which walls, and in what, engines come to anything else than expected; the first few of each."""
    told = []
    for name, several in others.items():
        unlike = [at for at, (one, other) in enumerate(zip(expected, several, strict=True)) if one != other]
        if unlike:
            told.append(f"{name} differs from the {evaluator_engine.NAME} on {len(unlike)} of {len(expected)} walls:")
            told += [f"  wall {at + 1}: {'; '.join(_unlike(expected[at], several[at]))}" for at in unlike[:SHOWN]]
    return told


def _unlike(one: Conclusions, other: Conclusions) -> Iterator[str]:
    for word, rules in (("does not fire", one.fired - other.fired), ("fires", other.fired - one.fired)):
        if rules:
            yield f"{word} {', '.join(sorted(rules))}"
    for choice in sorted({*one.options, *other.options}):
        if one.options.get(choice) != other.options.get(choice):
            yield f"{choice} is {other.options.get(choice)}, not {one.options.get(choice)}"
    for name in sorted({*one.found, *other.found}):
        members = one.found.get(name, frozenset()) ^ other.found.get(name, frozenset())
        if members:
            yield f"{name} differs in {', '.join(sorted(members))}"


def _rates_table(took: Mapping[str, Sequence[Took]], counts: Mapping[str, int]) -> str:
    rate = {name: [counts[name] / each["seconds"] for each in several] for name, several in took.items()}
    medians = {name: statistics.median(several) for name, several in rate.items()}
    readings = medians.pop("")
    # What an engine is handed ready-made, the columnar reader works out itself.
    own = (columns_engine.NAME, ONE_CORE, PLAIN)
    whole = {name: each if name in own else _after(readings, each) for name, each in medians.items()}
    head = ("Reader", "walls", "walls/s", "from, to", "walls a second of processor time", "walls/s from bare facts")
    rows, ratios = [], []
    for name, each in medians.items():
        spread = f"{min(rate[name]):,.0f} to {max(rate[name]):,.0f}"
        busy = counts[name] / statistics.median(each["cpu"] for each in took[name])
        rows.append((name, f"{counts[name]:,}", f"{each:,.0f}", spread, f"{busy:,.0f}", f"{whole[name]:,.0f}"))
        ratios.append((name, *(f"{medians[c] / of[name]:.2f}" for of in (medians, whole) for c in own[:2])))
    return (
        "## Walls a second\n\n"
        f"{table(head, rows)}\n\n"
        "The columnar reader reads a Parquet, works out which facts apply and all readings, judges, works out what "
        "open facts still allow, and writes a Parquet. The evaluator works out what open facts allow too. It and the "
        "other engines are handed facts and readings ready in memory, and write nothing. Working those out, one wall "
        f"after another, goes at {readings:,.0f} walls/s; *from bare facts* adds that. Each engine runs in one process "
        "on one core; polars uses all of them unless it says one thread.\n\n"
        "The columnar reader is so many times as fast as:\n\n"
        f"{table(('Reader', 'as it is', 'on one thread', 'from bare facts', 'and on one thread'), ratios)}"
    )


def _after(one: float, other: float) -> float:
    """The rate of two steps, one after the other."""
    return 1 / (1 / one + 1 / other)


def _timed(run: Callable[[], object]) -> Took:
    start, busy = time.perf_counter(), time.process_time()
    run()
    return {"seconds": time.perf_counter() - start, "cpu": time.process_time() - busy}


def table(head: Iterable[str], rows: Iterable[Iterable[str]]) -> str:
    """A Markdown table: first column to the left, all others to the right."""
    head = list(head)
    lines = [head, ["---", *["---:"] * (len(head) - 1)], *map(list, rows)]
    return "\n".join(f"| {' | '.join(line)} |" for line in lines)


# --- where the time of the columnar reader goes


def profile(options: argparse.Namespace, base: RuleBase, folder: pathlib.Path) -> str:
    """The share of each step."""
    took: dict[str, list[float]] = defaultdict(list)
    for _ in range(options.repeats):
        with tempfile.TemporaryDirectory(dir=folder) as written:
            parts = columns_engine.profile(folder / "walls.parquet", pathlib.Path(written), base, options.batch)
        for name, seconds in parts.items():
            took[name].append(seconds)
    medians = {name: statistics.median(several) for name, several in took.items()}
    whole = sum(medians.values())
    rows = [
        (name, f"{1e6 * seconds / options.file_walls:.2f}", f"{seconds / whole:.0%}")
        for name, seconds in medians.items()
    ]
    rows.append(("all", f"{1e6 * whole / options.file_walls:.2f}", "100%"))
    return (
        f"## Where the columnar reader's time goes\n\n{table(('Step', 'µs a wall', 'share'), rows)}\n\n"
        f"{options.file_walls:,} walls, all cores; {_how(options)}"
    )


# --- memory


def memory(options: argparse.Namespace, folder: pathlib.Path) -> str:
    """Peak memory and rate by size, each in a process of its own."""
    rows = []
    for millions in options.walls:
        walls, source = millions * 1_000_000, folder / "many.parquet"
        _big(folder, source, walls, options.seed)
        plain = _in_child("filter", source, folder / "filtered.parquet")
        judged = _judged_in_child(source, folder, options.batch, {})
        rows.append(
            (
                f"{walls:,}",
                f"{source.stat().st_size / 2**20:,.0f}",
                f"{judged['peak'] / 2**10:,.0f}",
                f"{judged['walls'] / judged['seconds']:,.0f}",
                f"{judged['seconds']:.0f}",
                f"{plain['peak'] / 2**10:,.0f}",
                f"{judged['seconds'] / plain['seconds']:.1f}",
            )
        )
        source.unlink()
    head = (
        "Walls",
        "file, MiB",
        "columnar reader: peak, MiB",
        "walls/s",
        "s",
        "no rules: peak, MiB",
        "columnar takes so many times as long",
    )
    return f"## Memory\n\n{table(head, rows)}\n\n{_how(options)}"


def _how(options: argparse.Namespace) -> str:
    return f"{options.batch:,} walls at once; a file is drawn from {options.distinct:,} distinct ones."


# --- surveys in YAML, and one survey


def surveys(options: argparse.Namespace, base: RuleBase, folder: pathlib.Path) -> str:
    """`archive check` of a folder of survey files, against only parsing them strictly; whole processes."""
    firm = Firm(options.seed, base.manifest.version)
    jobs = tuple((number, walls_of_job(firm, number)) for number in range(1, options.surveys + 1))
    walls = iter(made(Task(firm, 0.0, "yaml", "surveys", jobs)))
    source = folder / "surveys"
    writer = YamlWriter(source)
    for number, count in jobs:
        writer.job(f"job-{number:06}", [next(walls).cells for _ in range(count)])
    took: dict[str, list[float]] = defaultdict(list)
    for _ in range(options.repeats):
        took["parse"].append(_timed(lambda: _in_child("parse", source))["seconds"])
        for workers in sorted({1, os.cpu_count() or 1}):
            took[f"check, {workers} worker{'s' if workers > 1 else ''}"].append(
                _timed(functools.partial(_check, source, folder / "checked", workers, base))["seconds"]
            )
    parse = statistics.median(took["parse"])
    rows = []
    for name, several in took.items():
        seconds = statistics.median(several)
        rows.append((name, f"{seconds:.2f}", f"{len(jobs) / seconds:,.0f}", f"{seconds / parse:.2f}"))
    total = sum(count for _, count in jobs)
    return (
        "## Survey files\n\n"
        f"{table(('What', 's', 'surveys/s', 'against parsing'), rows)}\n\n"
        f"{len(jobs)} surveys of {total} walls, each with a second file of what was recommended; whole processes. "
        "Parsing reads both files of each with the strict loader, in one process, and does nothing else."
    )


def _check(source: pathlib.Path, output: pathlib.Path, workers: int, base: RuleBase) -> None:
    shutil.rmtree(output, ignore_errors=True)
    arguments = ["archive", "check", str(source), "--output", str(output), "--workers", str(workers)]
    done = subprocess.run(
        [sys.executable, "-c", RUN, *arguments, "--rules", base.manifest.version],
        capture_output=True,
        text=True,
        check=False,
    )
    if done.returncode not in (0, 1):
        raise SystemExit(f"archive check failed with exit code {done.returncode}: {done.stderr or done.stdout}")


def single() -> str:
    """One `bedjoint assess`: see `single_assess.py`."""
    done = subprocess.run(
        [sys.executable, str(HERE / "single_assess.py"), str(HERE.parent / "scenarios_demo" / "nine_inch_brick.yaml")],
        capture_output=True,
        text=True,
        check=False,
    )
    if done.returncode:
        raise SystemExit(f"single_assess.py failed: {done.stderr}")
    lines = [line.replace(f"{HERE.parent}{os.sep}", "") for line in done.stdout.splitlines()]
    return "## One survey\n\n" + "\n".join(f"- {line}" for line in lines)


# --- processes of their own, to measure time and memory of one thing


def _in_child(*arguments: object, environment: Mapping[str, str] | None = None, batch: int | None = None) -> Took:
    more = [] if batch is None else ["--batch", str(batch)]
    done = subprocess.run(
        [sys.executable, __file__, *more, "--child", *map(str, arguments)],
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, **(environment or {})},
    )
    if done.returncode:
        raise SystemExit(f"{arguments[0]} failed with exit code {done.returncode}: {done.stderr}")
    found: Took = json.loads(done.stdout.splitlines()[-1])
    return found


def _judged_in_child(source: pathlib.Path, folder: pathlib.Path, batch: int, environment: Mapping[str, str]) -> Took:
    with tempfile.TemporaryDirectory(dir=folder) as written:
        return _in_child("judge", source, written, environment=environment, batch=batch)


def _child(arguments: Sequence[str], base: RuleBase, batch: int) -> Took:
    what, source, *rest = arguments
    start, busy, walls = time.perf_counter(), time.process_time(), 0
    if what == "judge":
        walls = columns_engine.judge_file(pathlib.Path(source), pathlib.Path(rest[0]), base, batch)
    elif what == "filter":
        walls = columns_engine.filter_file(pathlib.Path(source), pathlib.Path(rest[0]))
    elif what == "parse":
        for path in sorted(pathlib.Path(source).glob("*.yaml")):
            read_document(path)
            walls += 1
    else:
        walls = int(rest[1])
        big_parquet(pathlib.Path(rest[0]), walls, int(rest[2]), base=pl.read_parquet(source), workers=1)
    took = time.perf_counter() - start
    # In KiB on Linux, in bytes on macOS.
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / (1 if sys.platform != "darwin" else 1024)
    return {"seconds": took, "cpu": time.process_time() - busy, "walls": walls, "peak": peak}


if __name__ == "__main__":
    main()
