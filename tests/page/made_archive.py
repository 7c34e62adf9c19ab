"""Results files of made-up past jobs: generated walls judged by the engine, beside recommendations drawn at random."""

import datetime as dt
import functools
import random

import polars as pl

from engine.archive.agreement import agreement
from engine.archive.agreement_rows import judged_rows, recommended_rows
from engine.archive.totals_model import FileTaken, Rejected, RunFacts
from engine.columns.flat import flat_frame, flat_row
from engine.decision.model import RuleSetUsed
from engine.facts.resolve import notes_of, resolve
from engine.facts.survey import Survey
from engine.inference.evaluate import evaluate
from engine.readings.compute import compute_readings
from engine.rulebase.load import load_rule_base
from engine.rulebase.reading_figures import reading_figures
from tests.generated import any_survey

VERSIONS = ("2026.1", "2026.2")
BASES = {version: load_rule_base(version) for version in VERSIONS}
RESULTS = ("cured", "better", "unchanged", "worse")
KEY = ("at.file", "at.sheet", "at.row", "reference", "survey_date", "wall", "surveyor", "note")
KEPT = ("build.construction", "property.age_band")
TEXTS = ("at.file", "at.sheet", "reference", "wall", "surveyor", "note")


def _job(rng, base, evaluation):
    """A recommendation: mostly what is decided, at times anything, at times not recorded."""
    job = {}
    for choice in base.choices.values():
        drawn = rng.random()
        if drawn < 0.75:
            job[f"recommended.{choice.id}"] = evaluation.outcomes[choice.id].option
        elif drawn < 0.92:
            job[f"recommended.{choice.id}"] = rng.choice(choice.options).id
        if job.get(f"recommended.{choice.id}") == "undecided":
            del job[f"recommended.{choice.id}"]
    for name, members in base.members.items():
        if rng.random() < 0.8:
            job[f"recommended.{name}"] = [m for m in members if m in evaluation.sets[name].now and rng.random() < 0.93]
    if rng.random() < 0.6:
        job["installed.medium"] = rng.choice(["cream", "cream", "rods", "mortar", "physical", "aqueous_liquid"])
        job["installed.on"] = dt.date(2026, 3, 1) + dt.timedelta(days=rng.randrange(200))
        if rng.random() < 0.7:
            job["outcome.result"] = rng.choices(RESULTS, (6, 3, 2, 1))[0]
            job["outcome.on"] = job["installed.on"] + dt.timedelta(days=365)
    return job


@functools.cache
def results(walls=240, seed=3):
    """A results file in memory, in its order: two files, the first judged by one version and the second by another."""
    rng, parts = random.Random(seed), []
    for version, base in BASES.items():
        flats, evaluations, jobs = [], [], []
        for row in range(walls // len(BASES)):
            survey = Survey.model_validate(any_survey(rng, rng.choice((0.0, 0.0, 0.15, 0.5))))
            values = resolve(notes_of(survey.property, survey.walls[0]))
            values.update(compute_readings(values, survey.property.survey_date.year, reading_figures(base.tables)))
            evaluations.append(evaluate(base, values))
            jobs.append(_job(rng, base, evaluations[-1]))
            flats.append({**flat_row(survey, survey.walls[0]), "at.file": f"jobs_{version}.csv", "at.sheet": ""})
            flats[-1] |= {"at.row": row + 2, "survey_date": dt.date(rng.randrange(2019, 2027), 5, 4)}
        about = pl.DataFrame(
            [
                {
                    "surveyor": rng.choice(["S1", "S2", "S2", "S3", None]),
                    "note": rng.choice([None, None, "seen after rain"]),
                    **{
                        each: job.get(each)
                        for each in ("installed.medium", "installed.on", "outcome.result", "outcome.on")
                    },
                }
                for job in jobs
            ],
            schema={
                "surveyor": pl.String,
                "note": pl.String,
                "installed.medium": pl.String,
                "installed.on": pl.Date,
                "outcome.result": pl.String,
                "outcome.on": pl.Date,
            },
        )
        flat = flat_frame(flats).hstack(about).select(*KEY, *KEPT, *about.columns[2:])
        recorded = [{name: each for name, each in job.items() if not name.endswith(".on")} for job in jobs]
        findings = agreement(recommended_rows(recorded), judged_rows(base, evaluations), base)
        parts.append(flat.hstack(findings))
    return pl.concat(parts, how="diagonal").select(*KEY, *KEPT, pl.exclude(*KEY, *KEPT))


def run_facts(frame, rejected=((0, "a date that is none", 3), (1, "not a number", 2)), repeated=(1, 0)):
    """The facts of a run that took in the files of a frame."""
    decided = dict(frame.group_by("at.file").len().iter_rows())
    files = sorted(decided)
    refused = [Rejected(file=files[at], kind=kind, rows=rows) for at, kind, rows in rejected if at < len(files)]
    return RunFacts(
        engine="bedjoint 0.1.0",
        on=dt.date(2026, 11, 26),
        rules=tuple(
            RuleSetUsed(version=v, in_force_from=base.manifest.in_force_from, digest=base.digest)
            for v, base in BASES.items()
        ),
        files=tuple(
            FileTaken(
                file=file,
                digest="sha256:" + "0" * 64,
                rows=decided[file] + sum(r.rows for r in refused if r.file == file) + repeated[at % 2],
                repeated=repeated[at % 2],
            )
            for at, file in enumerate(files)
        ),
        rejected=tuple(refused),
    )
