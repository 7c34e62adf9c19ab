"""`bedjoint rules compare`: two versions of the rules side by side, in words, on surveys, and over all surveys."""

import dataclasses
import datetime as dt
import functools
import json
import pathlib
import random
import shutil

import pytest
from few_facts import consistent
from generated import TODAY, any_survey, survey_file
from hypothesis import given, settings
from hypothesis import strategies as st
from small_bases import choice, make_base

from cli.main import exit_code_of
from cli.render_rules_compare import as_json, as_markdown, as_text
from cli.rules_command import app as rules_app
from cli.rules_compare_command import compare_versions
from engine.audit.boldness import Boldness, boldness
from engine.audit.compare import compare_rules
from engine.audit.compare_bases import FIGURES, Judge, Versions, logic_of_rule
from engine.audit.compare_files import walls_moved
from engine.audit.compare_kinds import everywhere
from engine.audit.compare_model import RulesCompared
from engine.audit.compare_now import StandsNow
from engine.audit.compare_space import RECKONED_WITH, shared_space
from engine.errors import BadInput, BadRules
from engine.facts.intake import parse_survey, read_survey
from engine.facts.vocabulary import facts
from engine.inference.evaluate import evaluate
from engine.readings.compute import compute_readings
from engine.readings.vocabulary import READINGS
from engine.rulebase import conditions
from engine.rulebase.conditions import All, Not
from engine.rulebase.load import load_rule_base, rules_folder, versions
from engine.rulebase.model import Member
from engine.rulebase.reading_figures import reading_figures

DEMO = pathlib.Path(__file__).parent.parent / "scenarios_demo"
DAY = dt.date(2026, 6, 15)
VERSION = versions()[0].version
BASE = load_rule_base(VERSION)
if "compare" not in {command.name for command in rules_app.registered_commands}:
    rules_app.command("compare")(compare_versions)


def with_rule(rule, base=BASE, **changes):
    """A base with one rule changed: what it is compiled to, or how it is written."""
    raw = {name: changes.pop(name) for name in list(changes) if name not in type(rule).__dataclass_fields__}
    new = dataclasses.replace(rule, raw=rule.raw.model_copy(update=raw), **changes)
    return anew(base, rules=tuple(new if each.id == rule.id else each for each in base.rules))


def without(*rules, base=BASE):
    return anew(base, rules=tuple(each for each in base.rules if each.id not in rules))


def anew(base, **changes):
    """Other contents, and so another digest, by which readers keep what they made of a base."""
    return dataclasses.replace(base, digest=f"{random.Random(str(changes)).getrandbits(256):064x}", **changes)


def compared(a, b, **options):
    return compare_rules(a, b, boldness(), DAY, **options)


def judged(base, text):
    """What the evaluator says of the one wall of a survey, read from its text as any file is."""
    file = parse_survey(text.encode(), "survey.yaml", TODAY)
    values = file.values_of(file.survey.walls[0])
    year = file.survey.property.survey_date.year
    values.update(compute_readings(values, year, reading_figures(base.tables)))
    return evaluate(base, values)


def confirm(result, a, b):
    """Every survey shows what is said of it, its class is right, and what it was traced to brings A's answer back."""
    bold, of_both = boldness(), Versions(a, b)
    mixed = functools.cache(of_both.with_back)
    for each in result.everywhere.possible:
        if each.survey is None:
            continue
        one, other = judged(a, each.survey), judged(b, each.survey)
        if each.choice:
            move = each.choice
            assert (one.outcomes[move.choice].option, other.outcomes[move.choice].option) == (move.a, move.b)
            assert move.step == bold.between(move.choice, move.a, move.b)
        else:
            move = each.member
            assert (move.member in one.sets[move.set].now) is not move.gained
            assert (move.member in other.sets[move.set].now) is move.gained
        because = move.because
        assert because.alone or because.together, each.name
        for parts in ([each] for each in because.alone) if because.alone else [because.together]:
            base = mixed(tuple(parts))
            back = judged(base if FIGURES not in parts else dataclasses.replace(base, tables=a.tables), each.survey)
            if each.choice:
                assert back.outcomes[each.choice.choice].option == each.choice.a
            else:
                assert (each.member.member in back.sets[each.member.set].now) is not each.member.gained


def late_rules(wanted):
    """Rules of the last stage, on which no other decision rests."""
    return (rule for rule in BASE.by_stage["cautions"] if wanted(rule))


# seeded changes


def test_a_base_is_the_same_as_itself():
    result = compared(BASE, BASE)
    assert result.same
    assert (result.rules, result.items, result.everywhere.possible) == ((), (), ())
    assert set(result.everywhere.same_choices) == set(BASE.choices)
    assert result.step.kind == "wording"


def test_a_shifted_threshold_is_found_classed_and_traced():
    def bounded(rule):
        return any(test.op in ("above", "at_least") and test.variable.name in facts() for test in rule.tests)

    def shifted(condition):
        if isinstance(condition, conditions.Test):
            if condition.op not in ("above", "at_least"):
                return condition
            return dataclasses.replace(condition, operand=(condition.operand[0] + 5,))
        if isinstance(condition, Not):
            return Not(shifted(condition.part))
        return type(condition)(tuple(shifted(part) for part in condition.parts))

    rule = next(late_rules(bounded))
    later = shifted(rule.when)
    after = with_rule(rule, when=later, tests=tuple(conditions.tests_in(later)))
    result = compared(BASE, after)
    (differs,) = result.rules
    assert (differs.id, differs.change, differs.differs) == (rule.id, "changed", ("condition",))
    assert differs.holds_alike is False
    assert differs.a.condition != differs.b.condition
    assert len(differs.a.condition) == len(differs.b.condition)
    possible = result.everywhere.possible
    assert possible
    assert {(each.member.set, each.member.member) for each in possible} <= set(rule.adds)
    assert all(not each.member.gained and each.member.because.alone == (rule.id,) for each in possible)
    assert set(result.everywhere.same_choices) == set(BASE.choices)
    assert result.step.kind == "minor"
    confirm(result, BASE, after)


def test_a_withdrawn_rule_is_traced_through_the_stages():
    rule = next(r for r in BASE.by_stage["suitability"] if ("verdict", "remove_cause") in r.supports)
    after = without(rule.id)
    result = compared(BASE, after, most=6)
    (differs,) = result.rules
    assert (differs.id, differs.change, differs.b) == (rule.id, "withdrawn", None)
    possible = [each for each in result.everywhere.possible if each.survey]
    assert {each.choice.choice for each in possible if each.choice} & {"verdict", "medium", "plaster"}
    assert all((each.choice or each.member).because.alone == (rule.id,) for each in possible)
    held = {r.holds for each in possible for r in (each.choice or each.member).because.rules}
    assert held == {"a"}
    first = {each.choice.because.by_way_of for each in possible if each.choice and each.choice.stage == "line"}
    assert first
    assert all(way and way.startswith("verdict: remove_cause -> ") for way in first)
    assert {"evidence", "profile", "rising_damp"} <= set(result.everywhere.same_choices)
    confirm(result, BASE, after)
    by_step = [each.step for each in result.everywhere.possible]
    assert by_step == sorted(by_step, key=["bolder", "newly_open", "newly_settled", "more_cautious", "otherwise"].index)


def test_the_other_way_round_is_the_reverse():
    rule = next(late_rules(lambda rule: rule.adds))
    there, back = compared(BASE, without(rule.id)), compared(without(rule.id), BASE)
    moves = [[(e.member.set, e.member.member, e.member.gained) for e in r.everywhere.possible] for r in (there, back)]
    assert moves[0]
    assert sorted(moves[0]) == sorted((name, member, not gained) for name, member, gained in moves[1])
    assert [rule.change for rule in back.rules] == ["added"]


def test_a_dropped_exception_is_found():
    def excepting(rule):
        return isinstance(rule.when, All) and any(isinstance(part, Not) for part in rule.when.parts)

    rule = next(late_rules(excepting))
    kept = tuple(part for part in rule.when.parts if not isinstance(part, Not))
    after = with_rule(rule, when=All(kept), tests=tuple(conditions.tests_in(All(kept))))
    result = compared(BASE, after)
    assert result.rules[0].differs == ("condition",)
    assert result.everywhere.possible
    assert all(each.member.gained for each in result.everywhere.possible)
    assert all(each.step == "more_cautious" for each in result.everywhere.possible if each.member.set == "cautions")
    confirm(result, BASE, after)


def test_a_condition_written_otherwise_is_proved_to_hold_in_the_same_surveys():
    rule = next(late_rules(lambda rule: isinstance(rule.when, All)))
    turned = All(tuple(reversed(rule.when.parts)))
    result = compared(BASE, with_rule(rule, when=turned))
    assert result.rules[0].differs == ("condition",)
    assert result.rules[0].holds_alike is True
    assert result.same
    assert result.step.kind == "wording"


def test_options_in_another_order_are_traced_to_the_choice():
    plaster = BASE.choices["plaster"]
    turned = plaster.model_copy(update={"options": tuple(reversed(plaster.options))})
    after = anew(BASE, choices={**BASE.choices, "plaster": turned})
    result = compared(BASE, after, most=12)
    assert result.rules == ()
    (item,) = result.items
    assert (item.kind, item.id, item.change, item.says[0].what) == (
        "choice",
        "plaster",
        "changed",
        "order of its options",
    )
    found = [each for each in result.everywhere.possible if each.survey]
    assert {each.choice.choice for each in found if each.choice} == {"plaster"}
    assert all((each.choice or each.member).because.alone == ("choice plaster",) for each in found)
    confirm(result, BASE, after)


def test_wording_alone_is_proved_to_change_no_decision():
    rule = BASE.by_stage["medium"][0]
    after = with_rule(rule, title="Said in other words", because="For the same reason, said otherwise.")
    result = compared(BASE, after)
    (differs,) = result.rules
    assert differs.wording_only
    assert {each.what for each in differs.words} == {"title", "because"}
    assert result.same
    assert result.step.kind == "wording"
    assert "1 changed (1 in wording alone)" in as_text(result)


def test_the_title_of_a_choice_is_no_change_of_the_rules_that_read_it(tmp_path):
    after = altered(tmp_path, "choices.yaml", "title: Verdict", "title: What is to be done")
    assert Versions(BASE, after).parts == ()
    result = compared(BASE, after)
    assert result.rules == ()
    assert result.items[0].meaning == "perhaps"
    assert result.step.kind == "wording"
    assert result.step.to_judge


def test_another_grade_is_no_wording_and_no_other_decision():
    rule = next(late_rules(lambda rule: rule.raw.certainty == "high"))
    result = compared(BASE, with_rule(rule, certainty="low"))
    assert result.same
    assert result.rules[0].differs == ("grade",)
    assert result.step.kind == "minor"


def test_an_option_withdrawn_is_a_major_step():
    medium = BASE.choices["medium"]
    fewer = medium.model_copy(update={"options": tuple(o for o in medium.options if o.id != "solvent_liquid")})
    after = anew(BASE, choices={**BASE.choices, "medium": fewer})
    result = compared(BASE, after, most=5)
    assert result.step.kind == "major"
    assert ("option", "medium=solvent_liquid", "withdrawn") in [(i.kind, i.id, i.change) for i in result.items]


def altered(folder, name, before, after):
    """A copy of the first version with a text in one file replaced."""
    target = folder / f"version{len(list(folder.iterdir()))}"
    shutil.copytree(rules_folder() / VERSION, target / VERSION)
    path = target / VERSION / name
    text = path.read_text()
    assert before in text
    path.write_text(text.replace(before, after, 1))
    return load_rule_base(VERSION, target)


def test_figures_that_readings_are_reckoned_with_are_traced(tmp_path):
    row = "{ion: nitrate, low_below_percent: 0.1, high_above_percent: 0.3}"
    after = altered(tmp_path, "tables/salts.yaml", row, row.replace("0.3", "0.4"))
    result = compared(BASE, after, most=10)
    assert not result.everywhere.shared_readings
    assert [(item.kind, item.id) for item in result.items] == [("figure", "table.salts.schemes")]
    found = [each for each in result.everywhere.possible if each.survey]
    assert "salt_load" in {each.choice.choice for each in found if each.choice}
    assert all((each.choice or each.member).because.alone == (FIGURES,) for each in found)
    assert {"evidence", "old_repellent", "injection"} & set(result.everywhere.same_choices)
    confirm(result, BASE, after)
    assert result.step.kind == "minor"
    named = {each.name for each in result.everywhere.possible}
    for seed in range(60):
        rng = random.Random(seed)
        data = any_survey(rng, 0.2)
        salts = {
            "nitrate_percent": rng.choice((0.05, 0.3, 0.3004, 0.31, 0.35, 0.4, 0.41)),
            "scheme": "plaster_selection",
        }
        data["walls"][0]["salts"] = {**salts, "chloride_percent": rng.choice((0.1, 0.3)), "sulfate_percent": 0.1}
        assert differing(BASE, after, survey_file(data)) <= named


@pytest.mark.parametrize(
    ("table", "before", "after"),
    [("ventilation.yaml", "value: 1500", "value: 700"), ("materials.yaml", None, None)],
)
def test_no_survey_differs_by_figures_in_a_way_that_was_ruled_out(tmp_path, table, before, after):
    if before is None:
        text = (rules_folder() / VERSION / "tables" / table).read_text()
        line = next(each for each in text.splitlines() if "mm_per_sqrt_min:" in each)
        before, after = line, f"{line.partition(':')[0]}: [9.0, 9.5]"
    other = altered(tmp_path, f"tables/{table}", before, after)
    result = compared(BASE, other, most=4)
    named = {each.name for each in result.everywhere.possible}
    confirm(result, BASE, other)
    if table == "ventilation.yaml":
        assert any(each.survey and each.member.because.alone == (FIGURES,) for each in result.everywhere.possible)
    for seed in range(30):
        assert differing(BASE, other, survey_file(any_survey(random.Random(seed), 0.2))) <= named


def differing(a, b, file):
    """The names of the kinds of difference that a survey shows."""
    one, other = (judged(base, file_text(file)) for base in (a, b))
    names = {
        f"{name}-{outcome.option}-to-{other.outcomes[name].option}".replace("_", "-")
        for name, outcome in one.outcomes.items()
        if outcome.option != other.outcomes[name].option
    }
    for name, held in one.sets.items():
        for member in held.now ^ other.sets[name].now:
            names.add(f"{name}-{member}-{'lost' if member in held.now else 'gained'}".replace("_", "-"))
    return names


def test_a_figure_of_schedules_alone_changes_no_decision(tmp_path):
    text = (rules_folder() / VERSION / "tables" / "party_wall.yaml").read_text()
    value = next(line.strip() for line in text.splitlines() if "value:" in line)
    after = altered(tmp_path, "tables/party_wall.yaml", value, f"{value}5")
    result = compared(BASE, after)
    assert result.same
    assert [item.kind for item in result.items] == ["figure"]
    assert result.step.kind == "minor"


# surveys that there are


def test_walls_given_are_judged_by_both_and_traced():
    file = read_survey(DEMO / "nine_inch_brick.yaml", TODAY)
    wall = file.survey.walls[0]
    values = file.values_of(wall)
    values.update(compute_readings(values, 2026, reading_figures(BASE.tables)))
    before = evaluate(BASE, values)
    rule = next(r for r in BASE.by_stage["suitability"] if r.id in before.fired and ("verdict", "treat") in r.supports)
    after = without(rule.id)
    (moved,) = walls_moved([file], Versions(BASE, after), boldness())
    (verdict,) = [each for each in moved.choices if each.choice == "verdict"]
    assert (verdict.a, verdict.b) == ("treat", evaluate(after, values).outcomes["verdict"].option)
    assert verdict.because.alone == (rule.id,)
    assert [(each.id, each.holds, each.change) for each in verdict.because.rules] == [(rule.id, "a", "withdrawn")]
    medium = next(each for each in moved.choices if each.choice == "medium")
    assert medium.because.by_way_of == f"verdict: treat -> {verdict.b}"
    held = {name: (one.now, evaluate(after, values).sets[name].now) for name, one in before.sets.items()}
    assert {(each.set, each.member, each.gained) for each in moved.members} == {
        (name, member, member in now) for name, (was, now) in held.items() for member in was ^ now
    }


def test_a_status_alone_that_differs_is_newly_open_or_settled_and_traced():
    """A rule added that may come to hold leaves the decision as it is and opens it."""
    file = survey_file(
        {
            "property": {"reference": "S", "survey_date": "2026-06-15"},
            "walls": [{"id": "W", "existing_course": {"kind": "none"}, "earlier_treatment": {"medium": "none"}}],
        }
    )
    settled = next(
        name
        for name, outcome in judged(BASE, file_text(file)).outcomes.items()
        if outcome.settled and name == "old_repellent"
    )
    option = judged(BASE, file_text(file)).outcomes[settled].option
    pattern = BASE.by_stage["evidence"][0]
    adding = dataclasses.replace(
        pattern,
        id="E-999",
        when=conditions.Test(facts()["evidence.tide_mark"], "one_of", (True,)),
        tests=(conditions.Test(facts()["evidence.tide_mark"], "one_of", (True,)),),
        supports=(),
        rules_out=((settled, option),),
        adds=(),
    )
    after = anew(BASE, rules=tuple(sorted((*BASE.rules, adding), key=lambda rule: rule.id)))
    (wall,) = walls_moved([file], Versions(BASE, after), boldness())
    (moved,) = [each for each in wall.choices if each.choice == settled]
    assert (moved.a, moved.b, moved.status_a, moved.status_b) == (option, option, "settled", "provisional")
    assert moved.step == "newly_open"
    assert moved.because.alone == ("E-999",)
    (back,) = walls_moved([file], Versions(after, BASE), boldness())
    assert next(each for each in back.choices if each.choice == settled).step == "newly_settled"


def file_text(file):
    import yaml

    return yaml.safe_dump(file.document.data)


# small bases: every survey looked at

FEW = {
    "build.construction": ("solid_brick", "cavity_brick", "earth"),
    "build.cavity_debris": facts()["build.cavity_debris"].options,
    "evidence.damp_height_mm": (0, 299, 300, 301),
    "evidence.tide_mark": (True, False),
}
"""A few facts of every kind, one of which applies only with another. The last stands for all that no rule names."""


@functools.cache
def fillings():
    """Every consistent way to know some of the few facts: the values of all facts."""
    return [values for _, values in consistent(FEW)]


def random_when(rng, decided=(), depth=2):
    roll = rng.random()
    if depth and roll < 0.2:
        return {"not": random_when(rng, decided, depth - 1)}
    if depth and roll < 0.6:
        parts = [random_when(rng, decided, depth - 1) for _ in range(rng.randint(1, 3))]
        return {rng.choice(("all", "any")): [part for n, part in enumerate(parts) if part not in parts[:n]]}
    name = rng.choice([*FEW, *decided, *decided])
    if name in decided:
        return {name: rng.choice(("a", "b", "c"))}
    if rng.random() < 0.25:
        return {name: rng.choice(("known", "unknown"))}
    if name == "evidence.damp_height_mm":
        return {name: {rng.choice(("above", "below")): 300}}
    return {name: rng.choice(FEW[name][:-1] if len(FEW[name]) > 2 else FEW[name])}


def random_rule(rng, number):
    late = number % 2
    stage, of, decided = ("cause", "late", ("decided.early",)) if late else ("evidence", "early", ())
    rule = {"id": f"X-{number:03d}", "stage": stage, "when": random_when(rng, decided)}
    options = rng.sample(("a", "b", "c"), 2)
    rule["supports"] = {of: options[:1]}
    if rng.random() < 0.4:
        rule["rules_out"] = {of: options[1:]}
    if rng.random() < 0.5:
        rule["adds"] = {"found": [rng.choice(("m", "n"))]}
    return rule


def small(rules, turned=False):
    early = ("c", "b", "+a") if turned else ("+a", "b", "c")
    base = make_base(
        rules,
        [choice("early", "evidence", *early), choice("late", "cause", "a", "b", "c")],
        {"found": ("cause", ("m", "n"))},
        [facts()[name] for name in FEW],
    )
    members = {"found": {each: Member(id=each, says=f"what is {each}") for each in ("m", "n")}}
    return dataclasses.replace(base, members=members)


BOLD = Boldness.model_validate(
    {
        "choices": [
            {"id": "early", "classes": [["a"], ["b", "c"]], "because": "for a test"},
            {"id": "late", "classes": [["a"], ["b"], ["c"]], "because": "for a test"},
        ],
        "sets": [{"id": "found", "more_cautious": ["m"], "because": "for a test"}],
    }
)


@given(st.integers(0, 2**32))
@settings(max_examples=25, deadline=None)
def test_every_kind_of_difference_of_small_bases_is_found_and_no_other(seed):
    """Held to the evaluator in every case; and what is traced is the least that brings A's answer back."""
    rng = random.Random(seed)
    rules = [random_rule(rng, number) for number in range(rng.randint(2, 8))]
    other = [rule for rule in rules if rng.random() > 0.2]
    other = [{**rule, "when": random_when(rng)} if rng.random() < 0.3 else rule for rule in other]
    other += [random_rule(rng, number) for number in range(20, 20 + rng.randint(0, 2))]
    a, b = small(rules), small(other, turned=rng.random() < 0.2)
    kinds = set()
    for values in fillings():
        one, two = evaluate(a, values), evaluate(b, values)
        for name in a.choices:
            if one.outcomes[name].option != two.outcomes[name].option:
                kinds.add((name, one.outcomes[name].option, two.outcomes[name].option))
        kinds |= {("found", m, m in two.sets["found"].now) for m in one.sets["found"].now ^ two.sets["found"].now}
    found = everywhere(shared_space(Versions(a, b), DAY), BOLD)
    assert all(each.survey for each in found.possible)
    named = {
        (each.choice.choice, each.choice.a, each.choice.b)
        if each.choice
        else ("found", each.member.member, each.member.gained)
        for each in found.possible
    }
    assert named == kinds
    assert found.kinds == found.ruled_out + len(kinds)
    assert set(found.same_choices) == set(a.choices) - {kind[0] for kind in kinds}
    for each in found.possible:
        move = each.choice or each.member
        parts = move.because.alone or move.because.together
        assert parts
        assert each.known_facts <= len(FEW)
        file = parse_survey(each.survey.encode(), "s.yaml", TODAY)
        judge = Judge(Versions(a, b), file.values_of(file.survey.walls[0]), DAY.year)

        def restored(back, judge=judge, each=each):
            if each.choice:
                return judge.with_back(back).option(each.choice.choice) == each.choice.a
            return judge.with_back(back).has("found", each.member.member) is not each.member.gained

        assert all(restored([part]) for part in move.because.alone)
        if move.because.together:
            assert restored(parts)
            assert not any(restored([p for p in parts if p != part]) for part in parts)


@functools.cache
def some_mixture(seed):
    """Two bases, some of the parts of the first, and the second with these put back."""
    rng = random.Random(seed)
    bases = Versions(BASE, without(*(rule.id for rule in rng.sample(BASE.rules, 30))))
    back = tuple(rng.sample(bases.parts, 12))
    return bases, back, bases.with_back(back)


@given(st.integers(0, 2**32), st.sampled_from((0.1, 0.5)))
@settings(max_examples=20, deadline=None)
def test_what_stands_now_is_what_the_evaluator_says(seed, share):
    """Of a base, and of mixtures of it with one from which rules are gone."""
    rng = random.Random(seed)
    file = survey_file(any_survey(rng, share))
    values = file.values_of(file.survey.walls[0])
    values.update(compute_readings(values, 2026, reading_figures(BASE.tables)))
    bases, back, mixture = some_mixture(seed % 4)
    after = bases.b
    judge = Judge(bases, values, 2026)
    for stands, base in (
        (StandsNow(BASE, values), BASE),
        (judge.b, after),
        (judge.with_back(back), mixture),
        (judge.with_back(bases.parts), BASE),
    ):
        evaluation = evaluate(base, values)
        assert {name: stands.option(name) for name in base.choices} == {
            name: outcome.option for name, outcome in evaluation.outcomes.items()
        }
        for name, held in evaluation.sets.items():
            assert {member for member in base.members[name] if stands.has(name, member)} == held.now
    assert {rule.id for rule in BASE.rules if judge.a.rule_holds(rule.id)} == evaluate(BASE, values).fired


@given(st.integers(0, 2**32))
@settings(max_examples=60, deadline=None)
def test_only_the_readings_named_are_reckoned_with_figures(seed):
    rng = random.Random(seed)
    values = (file := survey_file(any_survey(rng, 0.1))).values_of(file.survey.walls[0])
    figures = reading_figures(BASE.tables)
    fields = sorted({name for names in RECKONED_WITH.values() for name in names})
    without_any = compute_readings(values, 2026, None, READINGS)
    with_them = compute_readings(values, 2026, figures, READINGS)
    for name in READINGS:
        if name not in RECKONED_WITH:
            assert without_any[name].value == with_them[name].value, name
    for field in ("r_si_m2k_w", "surface_rh_limit_percent", "vent_mm2_per_m_of_wall", "vent_mm2_per_m2_of_floor"):
        assert field in fields
        other = dataclasses.replace(figures, **{field: getattr(figures, field) * 0.7})
        moved = compute_readings(values, 2026, other, READINGS)
        apart = {name for name in READINGS if moved[name].value != with_them[name].value}
        assert apart <= {name for name, read in RECKONED_WITH.items() if field in read}, field


# boldness


def test_every_option_of_every_version_is_placed():
    bold = boldness()
    for manifest in versions():
        base = load_rule_base(manifest.version)
        for each in base.choices.values():
            assert {option.id for option in each.options} < set(bold.ranks[each.id])
        assert set(base.sets) <= {each.id for each in bold.sets}


def test_steps_go_by_the_classes():
    bold = boldness()
    assert bold.between("verdict", "investigate", "treat") == "bolder"
    assert bold.between("verdict", "treat", "remove_cause") == "more_cautious"
    assert bold.between("verdict", "treat", "no_course") == "otherwise"
    assert bold.between("verdict", "investigate", "undecided") == "newly_open"
    assert bold.between("verdict", "undecided", "treat") == "newly_settled"
    assert bold.is_bolder("verdict", "investigate", "undecided")
    assert not bold.is_bolder("verdict", "no such option", "investigate")
    assert bold.of_member("cautions", "asbestos", gained=False) == "bolder"
    assert bold.of_member("works", "monitor", gained=True) == "more_cautious"
    assert bold.of_member("works", "strip_plaster", gained=True) == "otherwise"


def test_every_problem_of_the_file_is_said_at_once(tmp_path):
    shutil.copytree(rules_folder() / VERSION, tmp_path / VERSION)
    text = (rules_folder() / "boldness.yaml").read_text()
    for before, after in (
        ("[[not_enough], [enough]]", "[[not_enough], [enuogh]]"),
        ("id: line_run", "id: line_rum"),
        ("- dry_line_first", "- dry_line_frist"),
        ("[cream, rods, mortar]", "[cream, rods, mortar, cream]"),
    ):
        assert before in text
        text = text.replace(before, after, 1)
    (tmp_path / "boldness.yaml").write_text(text)
    with pytest.raises(BadRules) as caught:
        boldness(tmp_path)
    said = "\n".join(map(str, caught.value.problems))
    for expected in (
        "no version has this option of evidence",
        "did you mean enough?",
        "is not placed; found enough",
        "did you mean line_run?",
        "a choice of some version is missing; found line_run",
        "did you mean dry_line_first?",
        "is placed twice; found cream",
    ):
        assert expected in said


# the command


def run(capsys, *arguments):
    code = exit_code_of(["rules", "compare", *arguments])
    captured = capsys.readouterr()
    assert "Traceback" not in captured.err + captured.out
    return code, captured.out, captured.err


def test_the_command_on_a_version_and_itself(capsys, tmp_path):
    code, out, _ = run(capsys, VERSION, VERSION, "--surveys", str(DEMO / "nine_inch_brick.yaml"))
    assert code == 0
    assert "Proved: no decision differs in any survey" in out
    assert "At none of 1 wall given does a decision differ." in out
    target = tmp_path / "out.json"
    assert run(capsys, VERSION, VERSION, "--format", "json", "--output", str(target))[0] == 0
    result = RulesCompared.model_validate_json(target.read_text())
    assert result.same
    assert result.account == ()


def test_every_problem_of_the_input_is_said_at_once(capsys, tmp_path):
    bad, folder, target = tmp_path / "bad.yaml", tmp_path / "full", tmp_path / "out.txt"
    bad.write_text("walls: 3\n")
    folder.mkdir()
    (folder / "something").write_text("")
    code, out, err = run(
        capsys,
        "2026.01",
        "2027.9",
        "--surveys",
        str(DEMO / "nine_inch_brick.yaml"),
        "--surveys",
        str(bad),
        "--witnesses",
        str(folder),
        "--as-of",
        "yesterday",
        "--output",
        str(target),
    )
    assert code == 2
    assert out == ""
    for expected in ("A: no such version", "B: no such version", str(bad), "holds files already", "--as-of"):
        assert expected in err
    assert f"did you mean {VERSION}?" in err
    assert not target.exists()


def test_the_command_on_whatever_versions_there_are(capsys, tmp_path):
    """The newest against the one before it: the answer is well formed, and every survey written is one."""
    if len(versions()) < 2:
        pytest.skip("there is one version")
    before, after = (manifest.version for manifest in versions()[-2:])
    result = compare_rules(
        load_rule_base(before), load_rule_base(after), boldness(), versions()[-1].in_force_from, most=6
    )
    assert result.same is not bool(result.everywhere.possible)
    shown = [each for each in result.everywhere.possible if each.survey]
    for each in shown[:6]:
        file = parse_survey(each.survey.encode(), f"{each.name}.yaml", versions()[-1].in_force_from)
        assert [wall.id for wall in file.survey.walls] == ["W1"]
    assert json.loads(as_json(result))["format"] == "bedjoint-rules-comparison-1"


def test_the_pages_fit_and_say_the_same(monkeypatch):
    monkeypatch.setenv("COLUMNS", "80")
    rule = next(late_rules(lambda rule: rule.adds))
    other = BASE.by_stage["medium"][0]
    result = compared(
        BASE,
        with_rule(other, without(rule.id), title="In other words than before"),
        surveys=[read_survey(DEMO / "nine_inch_brick.yaml", TODAY)],
    )
    text, markdown = as_text(result, plain=True), as_markdown(result)
    assert all(len(line) <= 80 for line in text.splitlines())
    assert "\x1b" not in text
    for page in (" ".join(text.split()), markdown.replace("\\", "")):
        assert "Rules: 0 added, 1 changed (1 in wording alone), 1 withdrawn." in page
        assert rule.id in page
        assert result.limits in page
    assert logic_of_rule(BASE.by_id[other.id]) == logic_of_rule(with_rule(other, title="Other words").by_id[other.id])


def test_surveys_are_written_whole_or_not_at_all(capsys, tmp_path, monkeypatch):
    from cli import rules_compare_command

    rule = next(late_rules(lambda rule: rule.adds))
    result = compared(BASE, without(rule.id))
    folder, target = tmp_path / "surveys", tmp_path / "out.txt"
    rules_compare_command._deliver("text\n", result, target, folder, [])
    written = {path.stem: path.read_text() for path in folder.iterdir()}
    assert written == {each.name: each.survey for each in result.everywhere.possible}
    assert target.read_text() == "text\n"
    with pytest.raises(BadInput):
        rules_compare_command._deliver("text\n", result, tmp_path, tmp_path / "more", [])
    assert not (tmp_path / "more").exists()
    assert sorted(path.name for path in tmp_path.iterdir()) == ["out.txt", "surveys"]


def test_recorded_decisions_that_turn_are_cases_of_a_minor_step(capsys, tmp_path, monkeypatch):
    """Recorded by the rules as they are, and decided by rules with one rule dropped."""
    from engine.audit.fates import flipped
    from engine.audit.vectors import read_vectors

    base = load_rule_base("2026.1")
    recorded = read_vectors(pathlib.Path(__file__).parent / "vectors", base).recorded
    assert len(recorded) > 100
    assert list(flipped(base, recorded)) == []
    rules = tuple(rule for rule in base.rules if rule.id != "M-003")
    fewer = dataclasses.replace(base, rules=rules, digest=base.digest + " without M-003")
    turned = {each.id for each, _ in flipped(fewer, recorded)}
    assert turned
    compared = compare_rules(base, fewer, boldness(), dt.date(2026, 11, 25), recorded=recorded, most=5)
    assert {each.id for each in compared.recorded} == turned
    assert compared.recorded_looked_at == len(recorded)
    assert compared.step.kind == "minor"
    assert {f"recorded decision {each}" for each in turned} <= set(compared.step.cases)
    assert not compared.same
