"""`bedjoint practice`: cases for a trainee, at the terminal or from a file of answers, and how one is getting on."""

from __future__ import annotations

import enum
import pathlib
import sys
from typing import TYPE_CHECKING, Annotated

import typer

from cli.output import deliver
from cli.practice_setup import WORKS, From, Level, Rules, Seed, checked_options, count_of, demo_folder, practice_cases
from engine.errors import EXIT_INTERRUPTED, EXIT_SETTLED, BadInput, Problem

if TYPE_CHECKING:
    from engine.practice.generator import Cases
    from engine.practice.progress_store import ProgressStore
    from engine.practice.sheet import SheetFile

_CASES = 5
_HELP = """Practise on walls near a boundary, where one fact decides.

A case shows facts without the decision. Further facts can be asked for, at a cost set for the exercise. You name the
cause, the verdict, the line, the medium, the plaster and the works; then you see which answers agree with the rules,
which rules were missed or misread, and what the case turned on.

Without a keyboard: --template writes cases and a blank answer sheet (YAML, form 1), `practice facts SHEET` shows the
facts asked for in it, `practice --answers SHEET` marks it, `practice mark SHEET...` many of them. A sheet holds kind,
form, trainee, rules, rules_digest, surveys, seed, level, and for each of its cases: case, check, asked (a list of
facts, or none), answers (an option for each choice, or skip), works (a list, none, or skip).

Results are kept on this machine, in the folder BEDJOINT_DATA names or else in the user's data folder. The level goes up
after good results and down after poor ones: `practice progress` says how. With --seed a class sees the same cases."""


class Format(enum.StrEnum):
    """How results are shown."""

    TEXT = "text"
    JSON = "json"


class TableFormat(enum.StrEnum):
    """How marks over many sheets are shown."""

    TEXT = "text"
    JSON = "json"
    CSV = "csv"


Output = Annotated[pathlib.Path | None, typer.Option("--output", help="Write to this file instead.")]
Sheet = Annotated[pathlib.Path, typer.Argument(metavar="SHEET", help="An answer sheet, begun with --template.")]

app = typer.Typer(help=_HELP, rich_markup_mode=None, invoke_without_command=True)


@app.callback(invoke_without_command=True, help=_HELP)
def practice(
    context: typer.Context,
    cases: Annotated[str | None, typer.Option("--cases", metavar="N", help=f"How many; {_CASES} if not given.")] = None,
    seed: Seed = None,
    level: Level = None,
    from_folder: From = None,
    rules: Rules = None,
    answers: Annotated[pathlib.Path | None, typer.Option("--answers", help="Mark this answer sheet.")] = None,
    template: Annotated[bool, typer.Option("--template", help="Write cases and a blank answer sheet.")] = False,
    format: Annotated[
        Format, typer.Option("--format", help="How to show marks, or the cases of --template.")
    ] = Format.TEXT,
    output: Output = None,
) -> int:
    """Practise at the terminal, mark one sheet, or write a blank one."""
    given: dict[str, object] = {
        "--cases": cases, "--seed": seed, "--level": level, "--from": from_folder, "--rules": rules,
        "--answers": answers, "--template": template or None, "--output": output,
        "--format": format if format is not Format.TEXT else None,
    }  # fmt: skip
    given = {option: value for option, value in given.items() if value is not None}
    if context.invoked_subcommand is not None:
        _refuse(given, f"stands before {context.invoked_subcommand}", "options after the subcommand's name")
        return EXIT_SETTLED
    count = count_of(cases)
    checked_options(seed, level, count)
    if answers is not None:
        _refuse({o: v for o, v in given.items() if o in ("--cases", "--seed", "--level", "--rules", "--template")},
                "does not go with --answers", "nothing: the sheet says which cases it answers")  # fmt: skip
        return _mark_one(answers, from_folder, format, output)
    if template:
        if seed is None:
            allowed = "a seed, so that the cases can be made again"
            raise BadInput([Problem("", 0, 0, "--seed", "is missing", allowed=allowed)])
        return _hand_out(practice_cases(rules, from_folder), (seed, level or 1, count or _CASES), format, output)
    _refuse({o: v for o, v in given.items() if o in ("--format", "--output")},
            "goes with --answers or --template only", "neither, at the terminal")  # fmt: skip
    return _practise(count or _CASES, seed, level, from_folder, rules)


def _refuse(given: dict[str, object], message: str, allowed: str) -> None:
    if given:
        raise BadInput([Problem("", 0, 0, option, message, str(value), allowed) for option, value in given.items()])


def _practise(count: int, seed: int | None, level: int | None, folder: str | None, rules: str | None) -> int:
    from cli.practice_session import Session
    from engine.practice.settings import MOST_SEED

    if seed is None:
        import secrets

        # A folder of its own is drawn from only where nobody relies on seeing the same cases elsewhere.
        folder = folder or demo_folder()
        drawn = secrets.randbelow(min(MOST_SEED, 10**6))
    else:
        drawn, level = seed, level or 1
    session = Session(
        cases=practice_cases(rules, folder),
        seed=drawn,
        level=level,
        count=count,
        store=_usable_store(),
        drawn_from=f"Walls are made up, or come from {folder}." if folder else "Walls are made up.",
        again=lambda at, number: _again(drawn, at, number, folder, rules),
    )
    return EXIT_SETTLED if session.run() else EXIT_INTERRUPTED


def _again(seed: int, level: int, number: int, folder: str | None, rules: str | None) -> str:
    """The command that writes a case as a survey."""
    import shlex

    command = f"bedjoint practice survey --seed {seed} --level {level} --case {number}"
    for option, value in (("--from", folder), ("--rules", rules)):
        command += f" {option} {shlex.quote(value)}" if value else ""
    return command


def _unless_todays(rules: str) -> str | None:
    """A version of the rules as far as it has to be named."""
    import datetime as dt

    from engine.rulebase.versions import rule_base_for

    return None if rule_base_for(None, dt.date.today()).manifest.version == rules else rules


def _usable_store() -> ProgressStore | None:
    """Where progress is kept; None, once it has been said, where that cannot be."""
    from engine.practice.progress_store import ProgressStore

    store = ProgressStore()
    try:
        store.check_writable()
        store.results()
    except BadInput as error:
        for problem in error.problems:
            print(f"progress is not kept: {problem}", file=sys.stderr)
        return None
    return store


def _hand_out(cases: Cases, which: tuple[int, int, int], format: Format, output: pathlib.Path | None) -> int:
    """Write the cases of a seed, a level, and so many: as a sheet to fill in, or as JSON."""
    from cli.practice_template import blank_sheet
    from engine.practice.handout import handout

    seed, level, count = which
    if format is Format.JSON:
        text = handout(cases, seed, level, range(1, count + 1)).model_dump_json(indent=2) + "\n"
    else:
        text = blank_sheet(cases, seed, level, count)
    deliver(text, output)
    return EXIT_SETTLED


def _mark_one(path: pathlib.Path, folder: str | None, format: Format, output: pathlib.Path | None) -> int:
    from cli.practice_result import run_page
    from engine.practice.marking import marked, run_result
    from engine.practice.sheet import attempts

    file, cases = _sheet(path, folder)
    sheet = file.sheet
    results = [marked(attempt) for attempt in attempts(file, cases)]
    result = run_result(sheet.trainee, cases, results)
    if format is Format.JSON:
        text = result.model_dump_json(indent=2) + "\n"
    else:
        text = run_page(
            result,
            lambda n: _again(sheet.seed, sheet.level, n, folder, _unless_todays(sheet.rules)),
            plain=output is not None,
        )
    deliver(text, output, [str(path)])
    return EXIT_SETTLED


def _sheet(path: pathlib.Path, folder: str | None) -> tuple[SheetFile, Cases]:
    """A sheet, and what makes the cases it answers.

    Raises:
        BadInput: with every problem of the sheet's form, or rules that are not there.
    """
    from engine.practice.sheet import parse_sheet, read_sheet

    file = parse_sheet(sys.stdin.buffer.read(), "<stdin>") if str(path) == "-" else read_sheet(path)
    return file, _cases_of(file, folder)


def _cases_of(file: SheetFile, folder: str | None) -> Cases:
    try:
        return practice_cases(file.sheet.rules, folder)
    except BadInput as error:
        if any(problem.field == "--rules" for problem in error.problems):
            raise BadInput(
                [file.problem(("rules",), p.message, p.found, p.allowed, p.hint) for p in error.problems]
            ) from None
        raise


@app.command("facts")
def facts_asked_for(sheet: Sheet, from_folder: From = None, output: Output = None) -> int:
    """Show the facts an answer sheet asks for."""
    from cli.render_practice import sheet_facts_page
    from engine.practice.sheet import attempts

    file, cases = _sheet(sheet, from_folder)
    deliver(sheet_facts_page(attempts(file, cases), plain=output is not None), output, [str(sheet)])
    return EXIT_SETTLED


@app.command("mark")
def mark(
    sheets: Annotated[list[str], typer.Argument(metavar="ANSWERS...", help="Answer sheets, or folders of them.")],
    from_folder: From = None,
    format: Annotated[TableFormat, typer.Option("--format", help="How to show the marks.")] = TableFormat.TEXT,
    output: Output = None,
) -> int:
    """Mark many answer sheets, by trainee and choice."""
    from cli.inputs import survey_paths
    from cli.practice_marks import as_csv, as_json, as_text
    from engine.practice.class_marks import MarkedSheet, class_marks
    from engine.practice.marking import marked
    from engine.practice.sheet import attempts, read_sheet

    paths = survey_paths(sheets)
    problems: list[Problem] = []
    found: list[MarkedSheet] = []
    made: dict[str, Cases] = {}
    for path in paths:
        try:
            file = read_sheet(pathlib.Path(path))
            if file.sheet.rules not in made:
                made[file.sheet.rules] = _cases_of(file, from_folder)
            cases = made[file.sheet.rules]
            found.append(MarkedSheet(file, tuple(marked(each) for each in attempts(file, cases))))
        except BadInput as error:
            problems.extend(error.problems)
    if problems:
        raise BadInput(problems)
    titles, rule_titles = _titles(list(made.values()))
    marks = class_marks(found, WORKS, titles, rule_titles)
    shown = {
        TableFormat.TEXT: lambda: as_text(marks, plain=output is not None),
        TableFormat.JSON: lambda: as_json(marks),
        TableFormat.CSV: lambda: as_csv(marks),
    }
    deliver(shown[format](), output, paths)
    return EXIT_SETTLED


def _titles(several: list[Cases]) -> tuple[dict[str, str], dict[str, str]]:
    """Of choices and works, and of rules, the last version's word for each."""
    titles: dict[str, str] = {}
    rule_titles: dict[str, str] = {}
    for cases in several:
        titles.update({each: cases.base.choices[each].title for each in cases.subject.choices})
        titles[WORKS] = cases.base.sets[WORKS].title
        rule_titles.update({rule.id: rule.title for rule in cases.base.rules})
    return titles, rule_titles


@app.command("survey")
def survey(
    seed: Annotated[int, typer.Option("--seed", metavar="N", help="The seed of the case.")],
    level: Annotated[int, typer.Option("--level", metavar="1..5", help="Its level.")],
    case: Annotated[int, typer.Option("--case", metavar="N", help="Its number.")],
    from_folder: From = None,
    rules: Rules = None,
    output: Output = None,
) -> int:
    """Write a case as a survey, for `bedjoint why`."""
    from engine.facts.written import survey_text

    checked_options(seed, level, case)
    deliver(survey_text(practice_cases(rules, from_folder).case(seed, level, case).data), output)
    return EXIT_SETTLED


@app.command("progress")
def progress(
    format: Annotated[Format, typer.Option("--format", help="How to show it.")] = Format.TEXT,
    clear: Annotated[bool, typer.Option("--clear", help="Forget all results, after asking.")] = False,
    output: Output = None,
) -> int:
    """Show your results, and how the level moves."""
    import datetime as dt

    from cli.practice_progress import progress_page
    from cli.practice_setup import subject_of
    from engine.practice.progress import summed_up
    from engine.practice.progress_store import ProgressStore
    from engine.rulebase.versions import rule_base_for

    store = ProgressStore()
    results = store.results()
    if clear:
        return _clear(store, len(results))
    base = rule_base_for(None, dt.date.today())
    titles = {each: base.choices[each].title for each in subject_of(base).choices} | {WORKS: base.sets[WORKS].title}
    summary = summed_up(results, str(store.path), titles, {rule.id: rule.title for rule in base.rules})
    text = summary.model_dump_json(indent=2) + "\n" if format is Format.JSON else progress_page(summary)
    deliver(text, output)
    return EXIT_SETTLED


def _clear(store: ProgressStore, count: int) -> int:
    from cli.practice_progress import cases_in_words

    if not count:
        print(f"Nothing is kept in {store.path}.")
        return EXIT_SETTLED
    try:
        typed = input(f"Forget the results of {cases_in_words(count)} in {store.path}? yes or no > ")
    except EOFError:
        typed = ""
    if typed.strip().lower() not in ("yes", "y"):
        print("Nothing was forgotten.")
        return EXIT_SETTLED
    print(f"Forgot the results of {cases_in_words(store.clear())}.")
    return EXIT_SETTLED
