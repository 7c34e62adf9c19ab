"""The `bedjoint` command: commands registered, failures turned into messages and exit codes."""

from __future__ import annotations

import os
import sys

import typer

from cli import (
    archive_command,
    ask_command,
    assess_command,
    change_command,
    compare_command,
    compute_command,
    explain_command,
    form_command,
    graph_command,
    override_command,
    practice_command,
    reconcile_command,
    review_command,
    rules_command,
    schedule_command,
    schema_command,
    verify_command,
    version_command,
    why_command,
    why_not_command,
)
from engine.errors import EXIT_BAD_INPUT, EXIT_INTERNAL, EXIT_INTERRUPTED, BadInput, BedjointError

EPILOG = (
    "Exit codes: 0 everything settled; 1 something provisional or undecided; 2 bad input or usage; "
    "3 internal error; 130 interrupted."
)

app = typer.Typer(
    name="bedjoint",
    help="Decide how to treat damp at the base of a wall, from a survey file and a cited rule base.",
    epilog=EPILOG,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    pretty_exceptions_show_locals=False,
    rich_markup_mode=None,
)
app.command("assess", epilog=EPILOG)(assess_command.assess)
app.command("why", epilog=EPILOG)(why_command.why)
app.command("why-not")(why_not_command.why_not)
app.command("change")(change_command.change)
app.command("ask", epilog=EPILOG)(ask_command.ask)
app.command("compare")(compare_command.compare)
app.command("graph")(graph_command.graph)
app.command("explain")(explain_command.explain)
app.command("schedule", epilog=EPILOG)(schedule_command.schedule)
app.command("verify", epilog=verify_command.EPILOG)(verify_command.verify)
app.command("override", epilog=override_command.EPILOG)(override_command.override)
app.command("reconcile")(reconcile_command.reconcile)
app.command("review", epilog=review_command.EPILOG)(review_command.review)
app.add_typer(archive_command.app, name="archive")
app.add_typer(rules_command.app, name="rules")
app.add_typer(practice_command.app, name="practice")
app.command("compute")(compute_command.compute)
app.command("form")(form_command.form)
app.command("schema")(schema_command.schema)
app.command("version")(version_command.version)


def run() -> None:
    """Run the command line and leave with its exit code."""
    sys.exit(exit_code_of(sys.argv[1:]))


def exit_code_of(arguments: list[str]) -> int:
    """Run the command line with these arguments; messages go to standard error, never a traceback."""
    try:
        code = app(arguments, standalone_mode=False)
        sys.stdout.flush()
    except BadInput as error:
        for problem in error.problems:
            _say(str(problem))
        count = len(error.problems)
        _say(f"{count} problem{'s' if count != 1 else ''}; nothing was written")
        return EXIT_BAD_INPUT
    except BedjointError as error:
        _say(f"internal error: {error}")
        return EXIT_INTERNAL
    except typer.TyperException as error:
        show = getattr(error, "show", None)
        if show:
            show()
        else:
            _say(str(error))
        return error.exit_code
    except (KeyboardInterrupt, typer.Abort):
        _say("interrupted")
        return EXIT_INTERRUPTED
    except BrokenPipeError:
        # The reader closed early, as `head` does: nothing is left to say, and nothing may fail at exit.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except Exception as error:
        if os.environ.get("BEDJOINT_DEBUG"):
            raise
        _say(f"internal error: {type(error).__name__}: {error}; set BEDJOINT_DEBUG=1 to see where")
        return EXIT_INTERNAL
    if code == EXIT_INTERRUPTED:
        _say("interrupted")
    return int(code) if isinstance(code, int) else 0


def _say(text: str) -> None:
    print(text, file=sys.stderr)
