"""Made-up past jobs of the invented firm Sallowbury Fabric Surveys: what was found, recommended, done, and came of it.

What is recommended is what the evaluator decides, so that a check of these jobs finds nothing but what was planted.
"""

from __future__ import annotations

import datetime as dt
import functools
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, replace

from archive_walls import Facts, draw_wall, resolved

from engine.facts.values import Scalar
from engine.inference.evaluate import Evaluation
from engine.practice.draw import Draw
from engine.practice.judge import Judge
from engine.rulebase.conditions import UNDECIDED
from engine.rulebase.load import load_rule_base, versions
from engine.rulebase.model import STAGES, Manifest
from engine.rulebase.rules import RuleBase

TODAY = dt.date(2026, 11, 26)
FIRST_YEAR = 2019
SURVEYORS = tuple(f"S{number:02}" for number in range(1, 13))
NO_MEDIUM = "no_medium"
"""The option that says that nothing is put in."""

_THIS_YEAR = 0.4
_WALLS = ((1, 0.62), (2, 0.26), (3, 0.12))
"""How many walls a job has, and how often."""
_RECORDED_LATE, _RECORDED_EARLY, _SET_RECORDED = 0.92, 0.2, 0.85
"""How often a choice from the verdict on, one before it, or a set is written down."""
_INSTALLED = 0.85
_FOLLOWED_UP = 0.6
_CURED, _FAILED = ((6.0, 2.5, 1.0, 0.2), (2.0, 2.0, 3.0, 1.0))
_RESULTS = ("cured", "better", "unchanged", "worse")
_WALL_NAMES = ("front", "rear", "gable", "party", "hall", "parlour", "kitchen", "scullery", "bay", "stair", "cellar")
_NOTES = (
    "Owner asked for a second visit in spring.",
    "Tenant present; furniture moved away from the wall first.",
    "Cupboard against the wall could not be moved.",
    "Keys from the agent. No access to the yard on the day.",
    "Dry week before the survey; windows had been kept shut.",
    "Earlier report shown but not left with us.",
    "Skirting taken off at one place, put back.",
    "Photographs 4 to 9, “north end” marked in chalk.",
    "Spoke to next door; they have noticed nothing.",
    "Paint peeling; tested, see sheet 2.",
)
_NOTED = 0.35


@dataclass(frozen=True, slots=True)
class Job:
    """One wall of a job. Facts are those known; `recommended` goes by choice, `members` by set (None: not recorded)."""

    number: int
    reference: str
    survey_date: dt.date
    wall: str
    surveyor: str | None
    note: str | None
    facts: Facts
    recommended: Mapping[str, str]
    members: Mapping[str, tuple[str, ...] | None]
    installed: str | None = None
    installed_on: dt.date | None = None
    result: str | None = None
    result_on: dt.date | None = None
    version: str = ""
    evaluation: Evaluation | None = field(default=None, compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class Firm:
    """Whose jobs they are: the seed, and the version that judges: `rules`, or the one in force on the day.

    `earlier` judges those surveyed before there were rules. There are none of these unless one of the two is given.
    """

    seed: int
    rules: str | None = None
    earlier: str | None = None

    @property
    def since(self) -> int:
        """The year of the earliest surveys."""
        return FIRST_YEAR if self.rules or self.earlier else known_versions()[0].in_force_from.year


@functools.cache
def known_versions() -> tuple[Manifest, ...]:
    """Every version of the rules, the oldest first; read once."""
    return versions()


@functools.cache
def judge_of(version: str) -> Judge:
    """The judge under one version."""
    return Judge(load_rule_base(version))


def version_on(firm: Firm, day: dt.date) -> str:
    """The version that judges a survey of that day."""
    in_force = [manifest.version for manifest in known_versions() if manifest.in_force(day)]
    found = firm.rules or (in_force[-1] if in_force else firm.earlier)
    assert found is not None
    return found


def walls_of_job(firm: Firm, number: int) -> int:
    """How many walls the job of that number has."""
    return Draw("archive", firm.seed, number, "walls").weighted([n for n, _ in _WALLS], [often for _, often in _WALLS])


def job_draw(firm: Firm, number: int, *more: object) -> Draw:
    """The draws that belong to one job."""
    return Draw("archive", firm.seed, number, *more)


def survey_date(firm: Firm, number: int) -> dt.date:
    """The day of a job's survey."""
    draw = job_draw(firm, number, "date")
    if firm.since >= TODAY.year or draw.chance(_THIS_YEAR):
        return dt.date(TODAY.year, 1, 1) + dt.timedelta(draw.below((TODAY - dt.date(TODAY.year, 1, 1)).days + 1))
    first = dt.date(firm.since, 1, 1)
    return first + dt.timedelta(draw.below((dt.date(TODAY.year, 1, 1) - first).days))


def wall_names(firm: Firm, number: int, count: int) -> list[str]:
    """What the walls of a job are called."""
    return job_draw(firm, number, "names").shuffled(_WALL_NAMES)[:count]


def drawn_job(
    firm: Firm,
    number: int,
    day: dt.date,
    wall: str,
    surveyor: str,
    draw: Draw,
    shared: Mapping[str, Scalar] | None,
) -> Job:
    """A wall, and what is recorded of it."""
    facts = draw_wall(draw, day.year, shared)
    version = version_on(firm, day)
    judge = judge_of(version)
    evaluation = judge.evaluation(resolved(facts), day.year)
    job = Job(
        number,
        f"SFS-{day.year}-{number:05}",
        day,
        wall,
        surveyor,
        draw.one(_NOTES) if draw.chance(_NOTED) else None,
        facts,
        _recommended(judge.base, evaluation, draw),
        {
            name: in_order(judge.base, name, evaluation.sets[name].now) if draw.chance(_SET_RECORDED) else None
            for name in judge.base.sets
        },
        version=version,
        evaluation=evaluation,
    )
    return _carried_out(job, draw)


def in_order(base: RuleBase, name: str, members: Collection[str]) -> tuple[str, ...]:
    """Members in the order of the catalogue."""
    return tuple(member for member in base.members[name] if member in members)


def _recommended(base: RuleBase, evaluation: Evaluation, draw: Draw) -> dict[str, str]:
    verdict = STAGES.index(base.choices["verdict"].stage)
    found = {}
    for name, choice in base.choices.items():
        often = _RECORDED_LATE if STAGES.index(choice.stage) >= verdict else _RECORDED_EARLY
        option = evaluation.outcomes[name].option
        if draw.chance(often) and option != UNDECIDED:
            found[name] = option
    return found


def _carried_out(job: Job, draw: Draw) -> Job:
    assert job.evaluation is not None
    medium = job.evaluation.outcomes["medium"].option
    if medium in (NO_MEDIUM, UNDECIDED) or not draw.chance(_INSTALLED):
        return job
    return installed_as(job, medium, draw)


def installed_as(job: Job, medium: str, draw: Draw) -> Job:
    """The job with a medium installed, and often with what came of it."""
    assert job.evaluation is not None
    on = job.survey_date + dt.timedelta(20 + draw.below(180))
    if on > TODAY:
        return job
    job = replace(job, installed=medium, installed_on=on)
    seen = on + dt.timedelta(180 + draw.below(500))
    if seen > TODAY or not draw.chance(_FOLLOWED_UP):
        return job
    odds = _CURED if medium == job.evaluation.outcomes["medium"].option else _FAILED
    return replace(job, result=draw.weighted(_RESULTS, odds), result_on=seen)
