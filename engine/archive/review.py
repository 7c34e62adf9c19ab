"""One past job in depth: what was recommended beside what the rules decide, with the reasons on both sides."""

from __future__ import annotations

import datetime as dt
import difflib
from collections.abc import Collection, Iterator, Sequence
from typing import Any

from engine.archive.agreement import agreement
from engine.archive.agreement_rows import judged_rows, recommended_rows
from engine.archive.job import INSTALLED, JobFile, JobWall
from engine.archive.review_model import Review
from engine.archive.review_wall import WallReviewer
from engine.decision.assess import evaluate_wall, heading
from engine.errors import BadInput, Problem
from engine.facts.document import Path, field_name
from engine.facts.intake import SurveyFile
from engine.rulebase.rules import RuleBase


def reviewed(
    file: SurveyFile, base: RuleBase, as_of: dt.date, job: JobFile, walls: Collection[str] | None = None
) -> Review:
    """The review of every wall that the job names, or of those named in `walls`.

    What is still possible at a wall is exact.

    Raises:
        BadInput: see `problems_of_job`.
        ReadersDisagree: the two readers of the rules differ.
    """
    problems = list(problems_of_job(file, job, walls))
    if problems:
        raise BadInput(problems)
    by_id = {wall.id: wall for wall in file.survey.walls}
    named = [each for each in job.walls if walls is None or each.wall in walls]
    named.sort(key=lambda each: list(by_id).index(each.wall))
    evaluations = [evaluate_wall(file, by_id[each.wall], base) for each in named]
    found = agreement(recommended_rows([_row(each) for each in named]), judged_rows(base, evaluations), base)
    reviewers = (
        WallReviewer(file, by_id[each.wall], base, as_of, evaluation, each, findings)
        for each, evaluation, findings in zip(named, evaluations, found.iter_rows(named=True), strict=True)
    )
    return Review(
        **dict(heading(file, base, as_of)),
        recommended_in=job.document.file,
        surveyor=job.surveyor,
        walls=tuple(each.review() for each in reviewers),
        not_named=tuple(each for each in by_id if each not in {wall.wall for wall in job.walls}),
    )


def problems_of_job(file: SurveyFile, job: JobFile, walls: Collection[str] | None = None) -> Iterator[Problem]:
    """What keeps a job from being set beside a survey.

    Walls that the survey does not have, or that the job names twice; days before the survey's; walls that are asked for
    in `walls` and that the job does not name.
    """
    known = [wall.id for wall in file.survey.walls]
    surveyed = file.survey.property.survey_date
    seen: set[str] = set()
    for index, each in enumerate(job.walls):
        path: Path = ("walls", index, "wall")
        if each.wall not in known:
            yield _problem(job, path, f"no such wall in {file.name}", each.wall, known)
        elif each.wall in seen:
            yield _problem(job, path, "the wall stands twice", each.wall)
        seen.add(each.wall)
        days = (("installed", each.installed_on, surveyed), ("outcome", each.outcome_on, each.installed_on or surveyed))
        for name, day, earliest in days:
            if day is not None and day < earliest:
                before = "the day of installing" if name == "outcome" and each.installed_on else "the survey"
                found, allowed = day.isoformat(), [f"{earliest.isoformat()} at the earliest"]
                yield _problem(job, ("walls", index, name, "on"), f"is before {before}", found, allowed)
    for name in walls or ():
        if name in known and name not in seen:
            recorded = ", ".join(each.wall for each in job.walls)
            message = f"nothing is recorded of this wall in {job.document.file}"
            yield Problem("", 0, 0, "--wall", message, name, recorded)


def _problem(job: JobFile, path: Path, message: str, found: str, allowed: Sequence[str] = ()) -> Problem:
    place = job.document.place(path)
    near = difflib.get_close_matches(found, allowed, 1, 0.5) if path[-1] == "wall" else []
    hint = f"did you mean {near[0]}?" if near else ""
    return Problem(place.file, place.line, place.column, field_name(path), message, found, ", ".join(allowed), hint)


def _row(each: JobWall) -> dict[str, Any]:
    """A wall of a job by the names of the flat frame."""
    row: dict[str, Any] = {
        f"recommended.{name}": list(value) if isinstance(value, tuple) else value
        for name, value in each.recommended.items()
    }
    row[f"installed.{INSTALLED}"] = each.installed_medium
    row["outcome.result"] = each.outcome_result
    return row
