"""Several surveys with facts changed by `--set`: each with what was changed, or every problem at once."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from typing import TYPE_CHECKING

from engine.errors import BadInput, Problem

if TYPE_CHECKING:
    from engine.facts.intake import SurveyFile


def changed_surveys(
    surveys: Sequence[SurveyFile], changes: Sequence[str] | None, walls: Sequence[str] | None
) -> list[tuple[SurveyFile, tuple[str, ...]]]:
    """The surveys that have one of the walls, or all of them, with what `changes` made different in each.

    Raises:
        BadInput: no such fact, a value that is not allowed, or facts that cannot be true together; of every survey.
    """
    chosen = [each for each in surveys if not walls or any(wall.id in walls for wall in each.survey.walls)]
    if not changes:
        return [(each, ()) for each in chosen]
    # Imported here because the reading of changes stands beside commands that import the one this is for.
    from cli.judged import parsed_changes, with_changes
    from engine.reasoning.comparison_facts import changed_facts

    names = parsed_changes(changes)
    found: list[tuple[SurveyFile, tuple[str, ...]]] = []
    problems: list[Problem] = []
    for survey in chosen:
        try:
            after = with_changes(survey, changes, walls)
            found.append((after, changed_facts(survey, after, names, walls or None)))
        except BadInput as error:
            problems += [_of_survey(each, survey, len(chosen)) for each in error.problems]
    if problems:
        raise BadInput(problems)
    return found


def _of_survey(problem: Problem, survey: SurveyFile, surveys: int) -> Problem:
    """The problem with its survey named, where there are several and it does not name a file."""
    if surveys == 1 or problem.line:
        return problem
    return dataclasses.replace(problem, file=f"{survey.name}: {problem.file}")


def not_as_surveyed(changed: Sequence[str]) -> str:
    """What a page says at its head where facts were changed."""
    return f"NOT AS SURVEYED. Facts were changed: {'; '.join(changed)}."
