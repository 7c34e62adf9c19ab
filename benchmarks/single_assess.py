"""How long one `bedjoint assess` takes, as a ratio to importing the libraries it is built on.

Run it with the interpreter of the environment: `python benchmarks/single_assess.py [SURVEY] [--runs N]`. Both
commands are whole processes, run in turn; the medians and the median of the ratios pair by pair are printed.
`--profile` says instead where the time of one assess goes.
"""

from __future__ import annotations

import argparse
import os
import statistics
import subprocess
import sys
import time

LIBRARIES = "import yaml, yamlcore, pydantic, rich.console, typer"
ASSESS = "import cli.start; cli.start.run()"


def seconds(code: str, *arguments: str) -> float:
    """Wall time of one process, in seconds."""
    start = time.perf_counter()
    done = subprocess.run(
        [sys.executable, "-c", code, *arguments], stdout=subprocess.DEVNULL, env=os.environ, check=False
    )
    took = time.perf_counter() - start
    if done.returncode not in (0, 1):
        raise SystemExit(f"the command failed with exit code {done.returncode}")
    return took


PROFILED = f"""
import cProfile, pstats, sys, time
profile = cProfile.Profile()
profile.enable()
try:
    {ASSESS}
except SystemExit:
    pass
profile.disable()
stats = pstats.Stats(profile)
whole = stats.total_tt
steps = {{
    "reading and checking the rule base": ("engine/rulebase/load.py", "load"),
    "durable-rules, its compiling included": ("engine/inference/agree.py", "agreed"),
}}
for name, (file, function) in steps.items():
    took = [each[3] for at, each in stats.stats.items() if at[0].endswith(file) and at[2] == function]
    print(f"{{name}}: {{max(took, default=0.0) / whole:.0%}}", file=sys.stderr)
imports = [each[3] for at, each in stats.stats.items() if at[2] == "_find_and_load"]
print(f"importing modules: {{max(imports, default=0.0) / whole:.0%}}", file=sys.stderr)
"""
"""One assess under the profiler; shares of its time, steps that hold imports of their own counted with them."""


def profile(survey: str) -> str:
    """The shares of the steps of one assess."""
    done = subprocess.run(
        [sys.executable, "-c", PROFILED, "assess", survey], capture_output=True, text=True, env=os.environ, check=False
    )
    return done.stderr.strip()


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("survey", nargs="?", default="scenarios_demo/nine_inch_brick.yaml")
    parser.add_argument("--runs", type=int, default=11)
    parser.add_argument("--profile", action="store_true", help="say where the time of one assess goes instead")
    options = parser.parse_args()
    if options.profile:
        print(profile(options.survey))
        return
    seconds(LIBRARIES), seconds(ASSESS, "assess", options.survey)  # warm the file cache
    pairs = [(seconds(ASSESS, "assess", options.survey), seconds(LIBRARIES)) for _ in range(options.runs)]
    assess, imports = zip(*pairs, strict=True)
    print(f"assess {options.survey}: median {statistics.median(assess):.3f} s, {min(assess):.3f} to {max(assess):.3f}")
    print(f"importing its libraries: median {statistics.median(imports):.3f} s")
    print(f"ratio, pair by pair: median {statistics.median(a / b for a, b in pairs):.2f}")


if __name__ == "__main__":
    main()
