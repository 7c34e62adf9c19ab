"""How long one `bedjoint assess` takes, as a ratio to importing the libraries it is built on.

Run it with the interpreter of the environment: `python benchmarks/single_assess.py [SURVEY] [--runs N]`. Both
commands are whole processes, run in turn; the medians and the median of the ratios pair by pair are printed.
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


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("survey", nargs="?", default="scenarios_demo/nine_inch_brick.yaml")
    parser.add_argument("--runs", type=int, default=11)
    options = parser.parse_args()
    seconds(LIBRARIES), seconds(ASSESS, "assess", options.survey)  # warm the file cache
    pairs = [(seconds(ASSESS, "assess", options.survey), seconds(LIBRARIES)) for _ in range(options.runs)]
    assess, imports = zip(*pairs, strict=True)
    print(f"assess {options.survey}: median {statistics.median(assess):.3f} s, {min(assess):.3f} to {max(assess):.3f}")
    print(f"importing its libraries: median {statistics.median(imports):.3f} s")
    print(f"ratio, pair by pair: median {statistics.median(a / b for a, b in pairs):.2f}")


if __name__ == "__main__":
    main()
