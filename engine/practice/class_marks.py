"""The marks of many answer sheets together: by trainee, by choice, by rule."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from engine.decision.assess import LIMITS
from engine.decision.model import Part
from engine.errors import BadInput, Problem
from engine.practice.model import CaseResult
from engine.practice.progress import ByChoice, ByRule, by_choice, by_rule, kept
from engine.practice.sheet import SheetFile


class TraineeMarks(Part):
    """One trainee's marks, over all of their sheets. `score` is the mean over cases, from 0 to 1."""

    trainee: str
    files: tuple[str, ...]
    cases: int
    score: float
    minutes: int
    wasted: int
    by_choice: tuple[ByChoice, ...]


class ClassMarks(Part):
    """The marks of all trainees. `score` is the mean of theirs."""

    format: Literal["bedjoint-practice-marks-1"] = "bedjoint-practice-marks-1"
    score: float
    trainees: tuple[TraineeMarks, ...]
    by_choice: tuple[ByChoice, ...]
    by_rule: tuple[ByRule, ...]
    limits: str


@dataclass(frozen=True, slots=True)
class MarkedSheet:
    """A sheet with what came of its cases."""

    file: SheetFile
    results: tuple[CaseResult, ...]


def class_marks(
    sheets: Sequence[MarkedSheet], works: str, titles: dict[str, str], rule_titles: dict[str, str]
) -> ClassMarks:
    """All sheets summed up; `titles` are of the choices and the works, in the order to show them.

    Raises:
        BadInput: a trainee answered the same cases in two sheets.
    """
    _refuse_twice(sheets)
    by_name: dict[str, list[MarkedSheet]] = {}
    for sheet in sheets:
        by_name.setdefault(sheet.file.sheet.trainee, []).append(sheet)
    trainees = tuple(_trainee(name, by_name[name], works, titles) for name in sorted(by_name))
    every = [kept(r, works, s.file.sheet.rules, "", placed=False) for s in sheets for r in s.results]
    return ClassMarks(
        score=round(sum(each.score for each in trainees) / len(trainees), 4),
        trainees=trainees,
        by_choice=tuple(by_choice(every, titles)),
        by_rule=tuple(by_rule(every, rule_titles)),
        limits=LIMITS,
    )


def _trainee(name: str, sheets: Sequence[MarkedSheet], works: str, titles: dict[str, str]) -> TraineeMarks:
    results = [result for sheet in sheets for result in sheet.results]
    every = [kept(result, works, "", "", placed=False) for result in results]
    return TraineeMarks(
        trainee=name,
        files=tuple(sheet.file.name for sheet in sheets),
        cases=len(results),
        score=round(sum(each.score for each in results) / len(results), 4),
        minutes=sum(each.asking.minutes for each in results),
        wasted=sum(each.asking.wasted for each in results),
        by_choice=tuple(by_choice(every, titles)),
    )


def _refuse_twice(sheets: Sequence[MarkedSheet]) -> None:
    first: dict[tuple[str, str], str] = {}
    problems: list[Problem] = []
    for sheet in sheets:
        trainee = sheet.file.sheet.trainee
        for result in sheet.results:
            before = first.setdefault((trainee, result.check), sheet.file.name)
            if before != sheet.file.name:
                problems.append(
                    sheet.file.problem(
                        ("trainee",),
                        f"has answered case {result.case} of seed {result.seed}, level {result.level}, already",
                        trainee,
                        hint=f"in {before}; every trainee needs a name of their own",
                    )
                )
                break
    if problems:
        raise BadInput(problems)
