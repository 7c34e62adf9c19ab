"""What another version of the rules changes over past jobs: the columnar way against the plain one, wall by wall."""

import dataclasses
import itertools
import random
from collections import Counter

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engine.archive.impact import EXAMPLES, ImpactPart, impact_of, impact_part, merged
from engine.archive.impact_changes import STATUSES
from engine.archive.impact_report import Intake, impact_report
from engine.archive.impact_rules import Pair
from engine.audit.boldness import boldness
from engine.columns.flat import flat_frame, flat_row
from engine.columns.judge import judge
from engine.facts.resolve import notes_of, resolve
from engine.facts.survey import Survey
from engine.inference.evaluate import evaluate
from engine.readings.compute import compute_readings
from engine.rulebase.load import load_rule_base
from engine.rulebase.reading_figures import reading_figures
from tests.archive.plain_agreement import plain_agreement
from tests.generated import any_survey

A, B = load_rule_base("2026.1"), load_rule_base("2026.2")
PAIR = Pair(A, B, boldness())
WALLS = 250
WORDS = ("must", "should", "consider")


def drawn(seed, count):
    """Surveys of one wall with a recommendation each: the flat frame, and the surveys and recommendations by row."""
    rng = random.Random(seed)
    surveys, rows, jobs = [], [], []
    for at in range(count):
        survey = Survey.model_validate(any_survey(rng, rng.choice((0.0, 0.15, 0.5, 0.9))))
        verdicts, media = ([o.id for o in B.choices[name].options] for name in ("verdict", "medium"))
        job = {
            "recommended.verdict": rng.choice([None, *verdicts]),
            "recommended.medium": rng.choice([None, *media]),
            "recommended.works": rng.choice([None, [], ["strip_plaster", "repoint_base"], ["lower_ground"]]),
            "recommended.tests": rng.choice([None, []]),
            "installed.medium": rng.choice([None, *media]),
        }
        place = {"at.file": f"{'ab'[at % 2]}.csv", "at.sheet": "", "at.row": 2 + at}
        rows.append({**place, **flat_row(survey, survey.walls[0])})
        surveys.append(survey)
        jobs.append(job)
    lists = pl.List(pl.String)
    columns = [
        pl.Series(name, [job[name] for job in jobs], dtype=lists if name.endswith(("works", "tests")) else pl.String)
        for name in jobs[0]
    ]
    return flat_frame(rows).with_columns(columns), surveys, jobs


def evaluated(base, survey):
    values = resolve(notes_of(survey.property, survey.walls[0]))
    values.update(compute_readings(values, survey.property.survey_date.year, reading_figures(base.tables)))
    return evaluate(base, values)


@pytest.fixture(scope="module")
def many():
    flat, surveys, jobs = drawn(5, WALLS)
    batch = impact_of(flat, PAIR)
    pairs = [(evaluated(A, each), evaluated(B, each)) for each in surveys]
    return flat, jobs, pairs, batch


# the plain way


def stands(base, choice, option, fired):
    of = next((each for each in base.choices[choice].options if each.id == option), None)
    rules = [rule for rule in base.rules if rule.id in fired]
    if of is None or any((choice, option) in rule.rules_out for rule in rules):
        return False
    return bool(of.open) or any((choice, option) in rule.supports for rule in rules)


def told(rules, a, b):
    """Rules by how they hold: newly, no longer, under both."""
    return (
        sorted(each for each in rules if each in b and each not in a),
        sorted(each for each in rules if each in a and each not in b),
        sorted(each for each in rules if each in a and each in b),
    )


def why_option(pair, choice, after, a, b):
    """The rules that made options before the one now taken fall, and those that made the latter rise."""
    rules = set()
    for option in pair.b.choices[choice].options:
        to = (choice, option.id)
        was = next((each for each in pair.a.choices[choice].options if each.id == option.id), None)
        if option.id == after:
            if not stands(pair.a, choice, option.id, a):
                rules |= {rule.id for rule in pair.a.rules if rule.id in a and to in rule.rules_out}
                supported = (was is not None and was.open) or any(
                    to in rule.supports for rule in pair.a.rules if rule.id in a
                )
                if not supported:
                    rules |= {rule.id for rule in pair.b.rules if rule.id in b and to in rule.supports}
            break
        if stands(pair.a, choice, option.id, a):
            rules |= {rule.id for rule in pair.b.rules if rule.id in b and to in rule.rules_out}
            if not option.open and not any(to in rule.supports for rule in pair.b.rules if rule.id in b):
                rules |= {rule.id for rule in pair.a.rules if rule.id in a and to in rule.supports}
    return told(rules, a, b)


def plain_changes(pair, one, other):
    """Every change at a wall: what, name, from, to, statuses, class, and rules by how they hold."""
    a, b, bold = one.fired, other.fired, pair.bold
    for choice in pair.b.choices:
        before, after = one.outcomes[choice], other.outcomes[choice]
        statuses = (before.status, after.status)
        if before.option != after.option:
            step = bold.between(choice, before.option, after.option)
            rules = why_option(pair, choice, after.option, a, b)
            yield ("decision", choice, before.option, after.option, *statuses, step, *map(tuple, rules))
        elif before.status != after.status:
            more_open = STATUSES.index(after.status) < STATUSES.index(before.status)
            step = "newly_open" if more_open else "newly_settled"
            yield ("status", choice, before.option, after.option, *statuses, step, (), (), ())
    for name in pair.b.sets:
        for gained, members in (
            (True, other.sets[name].now - one.sets[name].now),
            (False, one.sets[name].now - other.sets[name].now),
        ):
            base, fired = (pair.b, b) if gained else (pair.a, a)
            for member in members:
                rules = told({r.id for r in base.rules if r.id in fired and (name, member) in r.adds}, a, b)
                step = bold.of_member(name, member, gained=gained)
                ways = (None, member) if gained else (member, None)
                yield ("member", name, *ways, None, None, step, *map(tuple, rules))


def plain_findings(one, other):
    """What differs in the findings: the choices and what was installed, then what sets leave out."""
    for point in (*B.choices, "installed"):
        before, after = (each[f"grade.{point}"] or each[f"finding.{point}"] for each in (one, other))
        if before != after and (before in WORDS or after in WORDS):
            called = "other_grade" if before in WORDS and after in WORDS else None
            called = called or ("newly_differs" if after in WORDS else "no_longer_differs")
            a, b = ({*each[f"against.{point}"]} for each in (one, other))
            yield ("finding", point, before, after, None, None, called, tuple(sorted(b - a)), tuple(sorted(a - b)), ())
    for name in B.sets:
        a, b = ({*(each[f"left_out.{name}"] or ())} for each in (one, other))
        for member in b - a:
            yield ("left_out", name, None, member, None, None, "newly_differs", (), (), ())
        for member in a - b:
            yield ("left_out", name, member, None, None, None, "no_longer_differs", (), (), ())


def found_at(changes, whats):
    """The changes of the frame by row of the archive, in the shape of the plain ones."""
    columns = ["what", "name", "from", "to", "status_from", "status_to", "class"]
    rules = ["newly_holds", "no_longer_holds", "concludes_otherwise"]
    found = {}
    for row in changes.filter(pl.col("what").is_in(whats)).iter_rows(named=True):
        told = tuple(row[each] for each in columns) + tuple(tuple(row[each]) for each in rules)
        found.setdefault(row["at.row"], Counter())[told] += 1
    return found


# comparisons


def test_every_change_at_every_wall_is_the_plain_one(many):
    _, _, pairs, batch = many
    found = found_at(batch.changes, ["decision", "status", "member"])
    for at, (one, other) in enumerate(pairs):
        assert found.get(2 + at, Counter()) == Counter(plain_changes(PAIR, one, other)), at
    whats = batch.changes["what"].value_counts()
    counted = dict(whats.iter_rows())
    assert all(counted.get(what, 0) > 10 for what in ("decision", "status", "member")), "too few to show anything"


def test_the_way_back_is_the_plain_one_too(many):
    flat, _, pairs, _ = many
    back = Pair(B, A, PAIR.bold)
    found = found_at(impact_of(flat, back).changes, ["decision", "status", "member"])
    for at, (one, other) in enumerate(pairs[:100]):
        assert found.get(2 + at, Counter()) == Counter(plain_changes(back, other, one)), at


def test_findings_beside_the_recommendations_are_the_plain_ones(many):
    _, jobs, pairs, batch = many
    found = found_at(batch.changes, ["finding", "left_out"])
    worst, moved = Counter(), 0
    for at, (job, (one, other)) in enumerate(zip(jobs, pairs, strict=True)):
        before, after = plain_agreement(A, one, job), plain_agreement(B, other, job)
        expected = Counter(plain_findings(before, after))
        assert found.get(2 + at, Counter()) == expected, at
        worst["worst", before["worst"], after["worst"]] += 1
        moved += bool(expected)
    assert moved > 5
    assert {key: n for key, n in batch.part.counts.items() if key[0] == "worst"} == worst


def test_numbers_are_those_of_the_walls(many):
    flat, jobs, pairs, batch = many
    report = impact_report(batch.part, PAIR, Intake())
    every = [list(plain_changes(PAIR, one, other)) for one, other in pairs]
    moved = [[each for each in wall if each[0] != "status"] for wall in every]
    assert report.walls == WALLS
    assert report.changed == sum(map(bool, moved))
    assert report.chosen == sum(any(each[0] == "decision" for each in wall) for wall in every)
    assert report.status_only == sum(bool(wall) and not changed for wall, changed in zip(every, moved, strict=True))
    steps = Counter(step for wall in moved for step in {each[6] for each in wall})
    assert report.steps == steps
    kinds = Counter((each[1], each[2], each[3]) for wall in every for each in wall if each[0] == "decision")
    assert {(each.choice, each.a, each.b): each.walls for each in report.decisions} == kinds
    for each in report.decisions:
        assert sum(status.walls for status in each.statuses) == each.walls
        assert each.rules, "no option's place in the order changed: some rule brings it"
    for table in report.tables:
        cells = Counter(
            (one.outcomes[table.choice].option, other.outcomes[table.choice].option) for one, other in pairs
        )
        assert {(cell.a, cell.b): cell.walls for cell in table.cells} == cells
    constructions = Counter(flat["build.construction"].cast(pl.String).to_list())
    assert {group.name: group.walls for group in report.constructions} == constructions
    assert sum(group.changed for group in report.constructions) == report.changed
    assert sum(group.chosen for group in report.years) == report.chosen
    brought = Counter()
    for wall in moved:
        for how, place in (("b", 7), ("a", 8), ("both", 9)):
            brought.update({(how, rule) for each in wall for rule in each[place]})
    assert {(rule.holds, rule.id): rule.walls for rule in report.rules} == brought
    recorded = sum(any(value is not None for value in job.values()) for job in jobs)
    assert report.recommendations.walls == recorded


def test_bolder_changes_stand_first(many):
    report = impact_report(many[3].part, PAIR, Intake())
    order = ["bolder", "newly_open", "newly_settled", "more_cautious", "otherwise"]
    for told in (report.decisions, report.members):
        places = [order.index(each.step) for each in told]
        assert places == sorted(places)
        assert len(set(places)) > 1


def test_examples_are_the_first_walls_of_each_kind(many):
    flat, _, pairs, batch = many
    report = impact_report(batch.part, PAIR, Intake())
    where = flat.select("at.file", "at.row").rows()
    for each in report.decisions:
        showing = [
            where[at]
            for at, (one, other) in enumerate(pairs)
            if (one.outcomes[each.choice].option, other.outcomes[each.choice].option) == (each.a, each.b)
        ]
        assert [(wall.file, wall.row) for wall in each.examples] == sorted(showing)[:EXAMPLES]


def parts_of(flat, *ends):
    judged = {side: judge(flat, pair_base) for side, pair_base in (("a", A), ("b", B))}
    return [
        impact_part(flat[start:end], {side: frame[start:end] for side, frame in judged.items()}, PAIR).part
        for start, end in itertools.pairwise((0, *ends, flat.height))
    ]


@pytest.fixture(scope="module")
def cut(many):
    """The same walls in batches: in order, and shuffled."""
    flat = many[0]
    return parts_of(flat, 1, 90), parts_of(flat.sample(fraction=1.0, shuffle=True, seed=3), 120)


@settings(deadline=None)
@given(order=st.permutations(range(3)), first=st.integers(1, 2))
def test_batches_in_any_order_give_what_the_whole_gives(many, cut, order, first):
    whole, (parts, shuffled) = many[3].part, cut
    parts = [parts[at] for at in order]
    assert merged(parts) == whole
    assert merged(parts[:first]).merged(merged(parts[first:])) == whole
    assert merged(shuffled) == merged(shuffled[::-1]) == whole
    assert impact_report(merged(parts), PAIR, Intake()) == impact_report(whole, PAIR, Intake())


def test_nothing_changes_between_a_version_and_itself(many):
    flat, *_ = many
    pair = Pair(B, B, PAIR.bold)
    batch = impact_of(flat, pair)
    report = impact_report(batch.part, pair, Intake())
    assert batch.changes.height == 0
    assert report.same
    assert (report.decisions, report.members, report.statuses, report.rules, report.one_version_only) == ((),) * 5
    assert (report.recommendations.graver, report.recommendations.lighter) == (0, 0)


def test_no_walls_and_no_batches():
    empty = impact_of(flat_frame([]), PAIR)
    assert empty.part.walls == 0
    assert empty.changes.height == 0
    assert merged([]).merged(empty.part) == merged([empty.part])
    report = impact_report(ImpactPart(), PAIR, Intake())
    assert report.same
    assert report.recommendations is None


def test_without_recommendations_nothing_is_said_of_them(many):
    flat, *_ = many
    bare = flat.select(name for name in flat.columns if not name.startswith(("recommended.", "installed.")))
    batch = impact_of(bare, PAIR)
    assert impact_report(batch.part, PAIR, Intake()).recommendations is None
    assert set(batch.changes["what"]) <= {"decision", "status", "member"}


def anew(base, seed, **changes):
    """Other contents, and so another digest."""
    return dataclasses.replace(base, digest=f"{random.Random(seed).getrandbits(256):064x}", **changes)


@pytest.mark.parametrize("stage", ["evidence", "suitability"])
def test_a_withdrawn_rule_is_what_brings_the_first_changes(many, stage):
    flat, _, pairs, _ = many
    alone = Counter()
    for _, other in pairs:
        for choice in B.choices_of[stage]:
            to = (choice.id, other.outcomes[choice.id].option)
            bringing = [rule for rule in B.by_stage[stage] if rule.id in other.fired and to in rule.supports]
            if len(bringing) == 1 and not any(option.open for option in choice.options if option.id == to[1]):
                alone[bringing[0].id] += 1
    rule = B.by_id[alone.most_common(1)[0][0]]
    later = anew(B, rule.id, rules=tuple(each for each in B.rules if each.id != rule.id))
    pair = Pair(B, later, PAIR.bold)
    batch = impact_of(flat, pair)
    report = impact_report(batch.part, pair, Intake())
    first = [each for each in report.decisions if each.stage == stage]
    assert sum(each.walls for each in first) >= alone[rule.id] > 5
    for each in first:
        assert [(r.id, r.holds, r.change) for r in each.rules] == [(rule.id, "a", "withdrawn")]
    for each in report.decisions:
        others = [r for r in each.rules if r.id != rule.id]
        assert all(r.change is None for r in others), "no other rule was changed"


def test_an_option_added_and_one_taken_away_are_told(many):
    flat, _, pairs, _ = many
    plaster = B.choices["plaster"]
    least = plaster.options[-1]
    renamed = least.model_copy(update={"id": "stand_by"})
    choices = {**B.choices, "plaster": plaster.model_copy(update={"options": (*plaster.options[:-1], renamed)})}
    rules = tuple(
        dataclasses.replace(
            rule,
            **{
                kind: tuple(
                    ("plaster", "stand_by") if to == ("plaster", least.id) else to for to in getattr(rule, kind)
                )
                for kind in ("supports", "rules_out")
            },
        )
        for rule in B.rules
    )
    pair = Pair(B, anew(B, "renamed", choices=choices, rules=rules), PAIR.bold)
    report = impact_report(impact_of(flat, pair).part, pair, Intake())
    taken = sum(other.outcomes["plaster"].option == least.id for _, other in pairs)
    assert taken > 5
    told = {(each.version, each.of, each.id): each.walls for each in report.one_version_only}
    assert told == {("a", "plaster", least.id): taken, ("b", "plaster", "stand_by"): taken}
    (only,) = report.decisions
    assert (only.a, only.b, only.step, only.walls) == (least.id, "stand_by", "otherwise", taken)
