"""Where the installed command starts."""

from __future__ import annotations

import gc


def run() -> None:
    """Run the command line and leave with its exit code.

    Nearly all that is made while the engine and the rules are loaded lives as long as the process, so looking through
    it for garbage again and again is time spent for nothing.
    """
    gc.set_threshold(200_000, 50, 50)
    from cli.main import run as start

    start()
