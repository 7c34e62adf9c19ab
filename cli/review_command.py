"""`bedjoint review`: one past job, what was recommended beside what the rules decide."""

from __future__ import annotations

import datetime as dt
import enum
import os
import pathlib
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, Any, TypeVar

import typer

from cli.completion import choice_options
from cli.inputs import STANDARD_INPUT, day, judging_day, read_surveys, survey_paths
from cli.judged import AsOf, SurveyPath, Version, Walls
from cli.output import deliver
from engine.errors import EXIT_OPEN, EXIT_SETTLED, BadInput, Problem

if TYPE_CHECKING:
    from engine.archive.job import JobFile
    from engine.archive.review_model import Review
    from engine.facts.intake import SurveyFile
    from engine.record.read import StoredRecord
    from engine.rulebase.rules import RuleBase

T = TypeVar("T")

EXAMPLE = """walls:
  - wall: front
    recommended: {verdict: treat, medium: cream, works: [strip_plaster]}
    installed: {medium: rods, on: 2026-05-01}
    outcome: {result: unchanged, on: 2027-01-01}"""
"""A file of what was recommended, of one wall; all but `wall` may be left out."""

EPILOG = (
    "Exit codes: 0 the recommendation agrees throughout; 1 something differs or cannot be decided; "
    "2 bad input or usage; 3 internal error."
)


class Format(enum.StrEnum):
    """How a review is shown."""

    TEXT = "text"
    JSON = "json"
    MARKDOWN = "markdown"


@dataclass(frozen=True, slots=True)
class _Word:
    """A reviewer's last word, as it was given."""

    wanted: tuple[str, ...]
    by: str
    because: str
    until: dt.date | None
    record: pathlib.Path


def review(
    survey: SurveyPath,
    recommended: Annotated[
        str,
        typer.Option(
            "--recommended",
            metavar="FILE",
            help="What was recommended, installed and came of it, by wall; - is standard input.",
        ),
    ],
    wall: Walls = None,
    rules: Version = None,
    as_of: AsOf = None,
    format: Annotated[Format, typer.Option("--format", help="How to show the review.")] = Format.TEXT,
    output: Annotated[pathlib.Path | None, typer.Option("--output", help="Write to this file instead.")] = None,
    override: Annotated[
        list[str] | None,
        typer.Option(
            "--override",
            metavar="CHOICE=OPTION",
            autocompletion=choice_options,
            help="The reviewer's last word: keep this recommended option, or uphold this decision; may be repeated.",
        ),
    ] = None,
    by: Annotated[str | None, typer.Option("--by", metavar="WHO", help="Who answers for it.")] = None,
    because: Annotated[str | None, typer.Option("--because", metavar="WHY", help="The reason.")] = None,
    until: Annotated[
        str | None, typer.Option("--until", metavar="DAY", help="The last day on which it counts (YYYY-MM-DD).")
    ] = None,
    record: Annotated[
        pathlib.Path | None,
        typer.Option("--record", metavar="FILE", help="The decision record that holds it; made if not there yet."),
    ] = None,
) -> int:
    """Review one past job: point by point, with the reasons on both sides, and what is not decidable.

    The file of --recommended is such as this; all but the ids of its walls may be left out:

    \b
    walls:
      - wall: front
        recommended: {verdict: treat, medium: cream, works: [strip_plaster]}
        installed: {medium: rods, on: 2026-05-01}
        outcome: {result: unchanged, on: 2027-01-01}
    """  # noqa: D301
    # Imported here so that `--help` and `version` need not wait for the engine.
    from cli.render_review import as_json, as_markdown, as_text
    from engine.archive.review import reviewed

    problems = _Problems()
    judged_on = problems.tried(lambda: judging_day(as_of))
    file = problems.tried(lambda: _one_survey(survey, judged_on or dt.date.today()))
    job = problems.tried(lambda: _job(recommended, survey))
    base = problems.tried(lambda: _rules(rules, judged_on, file)) if file is not None or rules else None
    word = problems.tried(lambda: _word(override, by, because, until, record, output))
    if file is not None:
        _check_walls(problems, file, job, wall)
    if override and base is not None:
        _check_form(problems, override, base)
    problems.raise_if_any()
    assert file is not None
    assert job is not None
    assert base is not None
    on = judged_on or file.survey.property.survey_date
    found = reviewed(file, base, on, job, wall or None)
    inputs = [*survey_paths([survey]), recommended]
    ready: _Ready | None = None
    if word is not None:
        ready = _with_words(word, found, file, base, on)
        found = ready.review
    match format:
        case Format.TEXT:
            text = as_text(found, plain=output is not None)
        case Format.MARKDOWN:
            text = as_markdown(found)
        case Format.JSON:
            text = as_json(found)
    _deliver(text, output, inputs, ready)
    return EXIT_SETTLED if found.agrees else EXIT_OPEN


class _Problems:
    """Gathers what is wrong, so that all of it is said at once."""

    def __init__(self) -> None:
        self.found: list[Problem] = []

    def tried(self, step: Callable[[], T]) -> T | None:
        """What a step gives, or None where its input is bad."""
        try:
            return step()
        except BadInput as error:
            self.found += error.problems
            return None

    def raise_if_any(self) -> None:
        """Raise what was gathered."""
        if self.found:
            raise BadInput(dict.fromkeys(self.found))


def _one_survey(path: str, latest: dt.date) -> SurveyFile:
    surveys = read_surveys([path], latest)
    if len(surveys) > 1:
        allowed = f"one, such as {surveys[0].name}"
        raise BadInput([Problem(path, 0, 0, "SURVEY", "holds several surveys", allowed=allowed)])
    return surveys[0]


def _job(path: str, survey: str) -> JobFile:
    from engine.archive.job import checked_job_file
    from engine.facts.document import parse_document, read_document

    if path == "-" and survey == "-":
        raise BadInput([Problem("", 0, 0, "--recommended", "is standard input, as the survey is", allowed="a file")])
    document = (
        parse_document(sys.stdin.buffer.read(), STANDARD_INPUT) if path == "-" else read_document(pathlib.Path(path))
    )
    if not _has_walls(document.data):
        message = "is not of the form of a file of what was recommended"
        raise BadInput([Problem(document.file, 0, 0, "--recommended", message, allowed=f"a file such as\n{EXAMPLE}")])
    return checked_job_file(document)


def _has_walls(data: Any) -> bool:
    """Whether a document is at least a list of walls by id; what is wrong within one is said by name."""
    walls = data.get("walls") if isinstance(data, dict) else None
    return isinstance(walls, list) and any(isinstance(each, dict) and "wall" in each for each in walls)


def _rules(rules: str | None, judged_on: dt.date | None, file: SurveyFile | None) -> RuleBase:
    from engine.rulebase.versions import rule_base_for

    surveyed = file.survey.property.survey_date if file is not None else dt.date.today()
    return rule_base_for(rules, judged_on or surveyed)


def _check_walls(problems: _Problems, file: SurveyFile, job: JobFile | None, walls: Sequence[str] | None) -> None:
    from cli.assess_command import check_walls
    from engine.archive.review import problems_of_job

    if walls:
        problems.tried(lambda: check_walls(walls, [each.id for each in file.survey.walls]))
    if job is not None:
        problems.found += problems_of_job(file, job, walls)


def _word(
    override: Sequence[str] | None,
    by: str | None,
    because: str | None,
    until: str | None,
    record: pathlib.Path | None,
    output: pathlib.Path | None,
) -> _Word | None:
    """The reviewer's last word, if there is one.

    Raises:
        BadInput: a part of it is missing or wrong, or stands without it.
    """
    from engine.archive.review_record import problems_of_said

    problems = []
    parts = {"--by": by, "--because": because, "--until": until, "--record": record}
    if not override:
        for name, value in parts.items():
            if value is not None:
                problems.append(Problem("", 0, 0, name, "stands without --override, which it belongs to"))
        if problems:
            raise BadInput(problems)
        return None
    missing = [name for name in ("--by", "--because", "--record") if parts[name] is None]
    problems += [Problem("", 0, 0, name, "is missing; --override needs it") for name in missing]
    last = None
    try:
        last = day(until, "--until")
    except BadInput as error:
        problems += error.problems
    given = problems_of_said("-" if by is None else by, "-" if because is None else because, dt.date.today(), last)
    problems += given
    subjects = [each.partition("=")[0].strip() for each in override]
    for each in dict.fromkeys(name for name in subjects if subjects.count(name) > 1):
        problems.append(Problem("", 0, 0, "--override", "is given twice for one choice", each))
    if record is not None and output is not None and os.path.realpath(record) == os.path.realpath(output):
        problems.append(Problem(str(record), 0, 0, "--record", "is the file of --output", allowed="another file"))
    if problems:
        raise BadInput(problems)
    assert by is not None
    assert because is not None
    assert record is not None
    return _Word(tuple(override), by, because, last, record)


def _check_form(problems: _Problems, override: Sequence[str], base: RuleBase) -> None:
    from engine.archive.review_record import problems_of_form

    for wanted in override:
        problems.found += problems_of_form(wanted, base)


@dataclass(frozen=True, slots=True)
class _Ready:
    """A record that is ready to be written, and the review that tells of it. `before` is what stands there now."""

    review: Review
    target: pathlib.Path
    text: str
    before: bytes | None

    def write(self) -> None:
        """Write the record.

        Raises:
            BadInput: it cannot be written.
        """
        from cli.record_option import write_record

        write_record(self.text, self.target, "--record")

    def take_back(self) -> None:
        """Put back what stood there, since the review that belongs with it could not be written."""
        if self.before is None:
            self.target.unlink(missing_ok=True)
        else:
            self.target.write_bytes(self.before)


def _with_words(word: _Word, found: Review, file: SurveyFile, base: RuleBase, on: dt.date) -> _Ready:
    """The record with the reviewer's word added, and the review that tells of it; nothing is written.

    Raises:
        BadInput: no one wall, an option that was neither recommended nor decided, or another record in the place.
    """
    from engine.archive.review_record import new_record, problems_of_word, same_decision, with_word, words_seen
    from engine.decision.assess import assess
    from engine.record.build import text_of
    from engine.record.overrides import Said

    if len(found.walls) != 1:
        named = ", ".join(each.wall for each in found.walls)
        raise BadInput([Problem("", 0, 0, "--override", "needs one wall; name it with --wall", named, "one of them")])
    (reviewed,) = found.walls
    fresh = new_record(file, assess(file, base, on), str(word.record))
    decided = fresh.record.decision.wall(reviewed.wall)
    assert decided is not None
    given = {each.choice: each.recommended.option for each in reviewed.choices}
    problems: list[Problem] = []
    for wanted in word.wanted:
        choice = decided.choice(wanted.partition("=")[0].strip())
        assert choice is not None
        problems += problems_of_word(wanted, given.get(choice.choice), choice.option)
    if problems:
        raise BadInput(problems)
    # A link stays a link: the file it leads to is replaced.
    target = word.record.resolve() if word.record.is_symlink() else word.record
    before = _standing(word.record)
    stored = fresh if before is None else before[0]
    if not same_decision(stored, fresh):
        message = "holds another record: of other facts, other rules or another day, or altered after it was written"
        raise BadInput([Problem(str(word.record), 0, 0, "--record", message, allowed="another file, or a new one")])
    said = Said(word.by, word.because, dt.date.today(), word.until)
    count = len(stored.record.overrides)
    for wanted in word.wanted:
        stored = with_word(stored, reviewed.wall, wanted, said, base)
    told = found.model_copy(update={"record": str(word.record), "overrides": words_seen(stored, count, base, file)})
    return _Ready(told, target, text_of(stored.data), None if before is None else before[1])


def _standing(path: pathlib.Path) -> tuple[StoredRecord, bytes] | None:
    """The record that stands in a place, with its bytes; None where nothing does.

    Raises:
        BadInput: something else stands there.
    """
    import dataclasses

    from cli.record_files import read_bytes
    from engine.record.read import parse_record

    if not os.path.lexists(path):
        return None
    try:
        raw = read_bytes(str(path))
        return parse_record(raw, str(path)), raw
    except BadInput as error:
        raise BadInput([dataclasses.replace(each, field=each.field or "--record") for each in error.problems]) from None


def _deliver(text: str, output: pathlib.Path | None, inputs: Sequence[str], ready: _Ready | None) -> None:
    """Write the record and the review: both, or neither."""
    if ready is None:
        deliver(text, output, inputs)
        return
    for each in inputs:
        if ready.target.exists() and os.path.exists(each) and os.path.samefile(ready.target, each):
            raise BadInput([Problem(str(ready.target), 0, 0, "--record", "is a file that was read", each, "another")])
    ready.write()
    try:
        deliver(text, output, inputs)
    except BadInput:
        ready.take_back()
        raise
