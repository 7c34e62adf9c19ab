"""How long the smallest changes take, against trying every pair of facts: `python benchmarks/counterfactuals.py`.

On the demo wall with the most facts. Plain brute force evaluates every pair of values that the rules tell apart; since
that takes minutes, it is measured on a share of the pairs and carried over to all. What the two find is compared.
"""

from __future__ import annotations

import datetime as dt
import itertools
import pathlib
import statistics
import time

from engine.decision.assess import evaluate_wall
from engine.decision.open_questions import answered
from engine.facts.intake import read_survey
from engine.facts.vocabulary import facts
from engine.inference.evaluate import evaluate
from engine.inference.probe import values_to_try
from engine.readings.compute import compute_readings
from engine.reasoning.change import Goal, changes_to
from engine.rulebase.load import load_rule_base, versions
from engine.rulebase.reading_figures import reading_figures

DEMO = pathlib.Path(__file__).parent.parent / "scenarios_demo"
GOALS = (Goal("medium", "physical"), Goal("medium", "rods"), Goal("verdict", "no_course"), Goal("plaster", "leave"))
EVERY = 40
RUNS = 5


def main() -> None:
    """Print the times, their ratio, and whether both found the same among the pairs tried."""
    base = load_rule_base(versions()[-1].version)
    figures = reading_figures(base.tables)
    judged = []
    for path in sorted(DEMO.glob("*.yaml")):
        file = read_survey(path, dt.date.today())
        judged += [(sum(v.known for v in file.values_of(wall).values()), path.name, file, wall)
                   for wall in file.survey.walls]  # fmt: skip
    given, name, file, wall = max(judged, key=lambda each: each[:2])
    evaluation = evaluate_wall(file, wall, base)
    pairs = [
        ({one: a}, {other: b})
        for one, other in itertools.combinations(facts(), 2)
        for a in values_to_try(base, facts()[one])
        for b in values_to_try(base, facts()[other])
    ]
    print(f"{name}, wall {wall.id}: {given} facts known; {len(pairs)} pairs of values")
    now = {fact: evaluation.values[fact] for fact in facts()}
    tried = []
    start = time.perf_counter()
    for one, other in pairs[::EVERY]:
        filled = answered(now, {**one, **other})
        filled.update(compute_readings(filled, file.survey.property.survey_date.year, figures))
        tried.append((frozenset((*one, *other)), evaluate(base, filled)))
    brute = (time.perf_counter() - start) * EVERY
    for goal in GOALS:
        if goal.reached(evaluation):
            continue
        times = []
        for _ in range(RUNS):
            start = time.perf_counter()
            search = changes_to(file, wall, base, evaluation, goal, 2, every_size=True, most=10_000)
            times.append(time.perf_counter() - start)
        found = [each.facts for each in search.sets]
        hits = {names for names, after in tried if goal.reached(after)}
        missed = [names for names in hits if not any(each <= names for each in found)]
        took = statistics.median(times)
        print(
            f"{goal.name}={goal.value}: {took:.2f} s for all sets of up to two ({len(found)} found, proved); "
            f"brute force {brute:.0f} s, {brute / took:.0f} times as long; of {len(hits)} hits tried, missed: "
            f"{len(missed)}"
        )


if __name__ == "__main__":
    main()
