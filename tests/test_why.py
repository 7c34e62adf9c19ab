"""Why: the tree of reasons is true to what was evaluated, whole down to the facts, and its places are real."""

import datetime as dt
import functools
import json
import os
import pathlib
import random
import re
import subprocess
import sys

import pytest
from generated import TODAY, any_survey

from cli.main import exit_code_of
from cli.render_reasons import as_markdown, as_text
from engine.decision.assess import assess
from engine.decision.grounds import now_view
from engine.decision.model import Part
from engine.facts.intake import read_survey
from engine.facts.resolve import notes_of, resolve
from engine.facts.survey import Survey
from engine.inference.evaluate import evaluate
from engine.readings.compute import compute_readings
from engine.readings.vocabulary import READINGS
from engine.reasoning.reason_model import (
    ChoiceReason,
    CutHere,
    GroupReason,
    MemberReason,
    Met,
    Missing,
    ReadingReason,
    Reasons,
    RuleAbsent,
    RuleReason,
    SeenAbove,
    SetReason,
    TestReason,
)
from engine.reasoning.reason_subject import Subject, subject
from engine.reasoning.reasons import reasons
from engine.rulebase import conditions
from engine.rulebase.load import load_rule_base, versions
from engine.rulebase.reading_figures import reading_figures
from engine.rulebase.rules import RuleBase

DEMO = pathlib.Path(__file__).parent.parent / "scenarios_demo"
BASE = load_rule_base(versions()[-1].version)
FIGURES = reading_figures(BASE.tables)
DEEP = 99
WORDS = {0: "false", 1: "unknown", 2: "true"}
# The classes whose names begin so are models of reasons, and no tests.
TestReason.__test__ = Missing.__test__ = False


def with_readings(survey, values):
    values.update(compute_readings(values, survey.property.survey_date.year, FIGURES))
    return values


def tree_of(file, wall, evaluation, asked, depth=DEEP, base=BASE):
    subjects = [subject(asked, base, "--about") if isinstance(asked, str) else asked]
    return reasons(file, base, TODAY, [(wall, evaluation)], subjects, about=str(asked), depth=depth).walls[0]


@functools.cache
def demo_walls():
    found = []
    for path in sorted(DEMO.glob("*.yaml")):
        file = read_survey(path, dt.date(2026, 12, 31))
        for wall in file.survey.walls:
            found.append((file, wall, evaluate(BASE, with_readings(file.survey, file.values_of(wall)))))
    return tuple(found)


def parts_of(part):
    """Every part of a tree in the order it is shown, itself first."""
    yield part
    for name in type(part).model_fields:
        value = getattr(part, name)
        for each in value if isinstance(value, tuple) else (value,):
            if isinstance(each, Part):
                yield from parts_of(each)


def check_condition(shown, condition, view):
    """A condition as shown against the rule's own, part for part."""
    assert shown.truth == WORDS[view.truth(condition)]
    if isinstance(condition, conditions.Test):
        assert isinstance(shown, TestReason)
        assert shown.test == condition.in_words()
        return
    assert isinstance(shown, GroupReason)
    kinds = {"all": conditions.All, "any": conditions.AnyOf, "not": conditions.Not}
    assert isinstance(condition, kinds[shown.kind])
    own = (condition.part,) if shown.kind == "not" else condition.parts
    if shown.same_as:
        assert condition in parts_of_condition(BASE.by_id[shown.same_as].when)
        assert not shown.parts
        assert shown.needs is None
        return
    assert len(shown.parts) == len(own)
    for each, part in zip(shown.parts, own, strict=True):
        check_condition(each, part, view)
        if shown.kind != "not":
            assert each.decisive is (shown.decisive and each.truth == shown.truth)
        else:
            assert each.decisive is shown.decisive


def parts_of_condition(condition):
    yield condition
    for part in getattr(condition, "parts", (getattr(condition, "part", None),)):
        if part is not None:
            yield from parts_of_condition(part)


def check_tree(root, evaluation):
    view = now_view(evaluation)
    shown = set()
    for part in parts_of(root):
        match part:
            case SeenAbove():
                assert (part.what, part.id) in shown, part
            case CutHere():
                raise AssertionError(f"cut at full depth: {part}")
            case ChoiceReason():
                shown.add(("choice", part.choice))
                outcome = evaluation.outcomes[part.choice]
                assert (part.option, part.status, part.possible) == (outcome.option, outcome.status, outcome.possible)
                check_choice(part, evaluation)
            case MemberReason():
                shown.add(("member", f"{part.set}={part.member}"))
                assert part.found is (part.member in evaluation.sets[part.set].now)
                assert bool(part.rules) is part.found
                assert {r.id for r in (*part.rules, *part.absent)} == {
                    rule.id
                    for rule in BASE.rules
                    if (part.set, part.member) in rule.adds and (rule.id in evaluation.fired) is part.found
                }
            case ReadingReason():
                shown.add(("reading", part.reading))
                assert tuple(each.variable for each in part.inputs) == READINGS[part.reading].from_facts
            case RuleReason():
                shown.add(("rule", part.id))
                assert part.holds == WORDS[evaluation.now[part.id]]
                assert part is root or part.id in evaluation.fired
                assert part.cites
                check_condition(part.condition, BASE.by_id[part.id].when, view)
            case RuleAbsent():
                shown.add(("rule", part.id))
                assert part.id not in evaluation.fired
                assert part.holds == WORDS[evaluation.now[part.id]] != "true"
                assert part.kept_by
            case Missing():
                assert part.truth != "true"
                assert part.met.variable.startswith(("decided.", "found.")) is (part.below is not None)
            case TestReason():
                check_leaf(part)
            case Met():
                check_met(part, evaluation)


def check_leaf(part):
    """Below a decisive test come an earlier decision, a set or a reading; a fact is a leaf."""
    scope = part.met.variable.partition(".")[0]
    below = {
        "decided": ChoiceReason | SeenAbove,
        "found": SetReason | SeenAbove,
        "reading": ReadingReason | SeenAbove,
    }.get(scope)
    if below and part.decisive:
        assert isinstance(part.below, below)
    else:
        assert part.below is None


def check_met(part, evaluation):
    scope, _, key = part.variable.partition(".")
    if scope == "decided":
        assert part.value == evaluation.outcomes[key].option
    elif scope == "found":
        assert part.value == (", ".join(sorted(evaluation.sets[key].now)) or "none")
    else:
        value = evaluation.values[part.variable]
        assert (part.state, part.where, part.established) == (value.state.value, value.where, value.established)
        assert bool(part.because) is (part.state == "does not apply")


def check_choice(part, evaluation):
    """The rules shown for the option taken, and for each before it, are those that hold and bring it."""

    def holding(kind, option):
        pair = (part.choice, option)
        return {rule.id for rule in BASE.rules if pair in getattr(rule, kind) and rule.id in evaluation.fired}

    assert {rule.id for rule in part.supported_by} == holding("supports", part.option)
    order = [option.id for option in BASE.choices[part.choice].options]
    before = order[: order.index(part.option)] if part.option in order else order
    assert [each.option for each in part.before] == before
    for each in part.before:
        assert {rule.id for rule in each.rules} == holding("rules_out", each.option)
        assert (each.why == "ruled_out") is bool(each.rules)
        if not each.rules:
            could = {rule.id for rule in BASE.rules if (part.choice, each.option) in rule.supports}
            assert {rule.id for rule in each.absent} == could
            assert not could & evaluation.fired
    behind = order[len(before) + 1 :]
    assert set(part.also_stand) <= set(behind)
    assert not set(part.also_stand) & {option for option in behind if holding("rules_out", option)}


def some_subjects(rng, evaluation):
    name = rng.choice(list(BASE.choices))
    options = [option.id for option in BASE.choices[name].options]
    which = rng.choice(list(BASE.sets))
    return (
        Subject("choice", name, name),
        Subject("option", rng.choice(options), name),
        Subject("rule", rng.choice(BASE.rules).id),
        Subject("member", rng.choice(list(BASE.members[which])), which),
    )


def test_the_tree_is_true_to_the_evaluation_and_ends_in_facts():
    """On 100 generated surveys and every demo wall, to the full depth."""
    rng = random.Random(20261210)
    file, wall, _ = demo_walls()[0]
    cases = list(demo_walls())
    for _ in range(100):
        survey = Survey.model_validate(any_survey(rng, rng.choice((0.0, 0.1, 0.3, 0.6, 0.9))))
        values = with_readings(survey, resolve(notes_of(survey.property, survey.walls[0])))
        cases.append((file, wall, evaluate(BASE, values)))
    seen = set()
    for each_file, each_wall, evaluation in cases:
        for asked in some_subjects(rng, evaluation):
            found = tree_of(each_file, each_wall, evaluation, asked)
            assert found.cut == ()
            (root,) = found.conclusions
            check_tree(root, evaluation)
            seen |= {type(part).__name__ for part in parts_of(root)}
    assert {"ChoiceReason", "OptionReason", "RuleReason", "RuleAbsent", "MemberReason", "ReadingReason"} <= seen


def test_every_place_is_the_line_where_the_fact_stands():
    """Every fact met in the reasons for the verdict, the medium and the causes, looked up in the demo file itself."""
    looked_up = 0
    for file, wall, evaluation in demo_walls():
        lines = pathlib.Path(file.name).read_text().splitlines()
        for asked in ("verdict", "medium", "plaster", "line_height"):
            (root,) = tree_of(file, wall, evaluation, asked).conclusions
            for part in parts_of(root):
                if not isinstance(part, Met) or part.state != "known" or not part.where:
                    continue
                name, _, number = part.where.rpartition(":")
                assert name == file.name
                line = lines[int(number) - 1]
                if part.variable.startswith("reading."):
                    fields = [fact.partition(".")[2] for fact in READINGS[part.variable].from_facts]
                    assert any(re.search(rf"\b{field}:", line) for field in fields), (part.where, line)
                    continue
                field = part.variable.partition(".")[2]
                if part.value.endswith(("row", "rows")):  # a list begins below its name
                    assert re.search(rf"\b{field}:", lines[int(number) - 2])
                    continue
                assert re.search(rf"\b{field}:", line), (part.where, line)
                assert part.value.split(" ")[0].rstrip(",") in line, (part.where, line, part.value)
                if part.established:
                    assert part.established in line
                looked_up += 1
    assert looked_up > 1_000


def test_the_depth_cuts_and_says_what_it_cut():
    file, wall, evaluation = next(each for each in demo_walls() if each[0].name.endswith("leaking_pipe.yaml"))
    one = tree_of(file, wall, evaluation, "medium", depth=1)
    assert "verdict" in one.cut
    assert any(isinstance(part, CutHere) and part.id == "verdict" for part in parts_of(one))
    two = tree_of(file, wall, evaluation, "medium", depth=2)
    assert {"evidence", "causes"} <= set(two.cut)
    assert "verdict" not in two.cut
    sizes = [len(tree_of(file, wall, evaluation, "medium", depth=depth).model_dump_json()) for depth in range(1, 8)]
    assert sizes == sorted(sizes)
    assert tree_of(file, wall, evaluation, "medium", depth=7).cut == ()


def test_reasons_agree_with_the_assessment():
    """The grade and the rules of every choice are those the assessment gives."""
    path = DEMO / "nine_inch_brick.yaml"
    file = read_survey(path, TODAY)
    wall = file.survey.walls[0]
    assessed = assess(file, BASE, TODAY).walls[0]
    evaluation = evaluate(BASE, with_readings(file.survey, file.values_of(wall)))
    for choice in assessed.choices:
        (root,) = tree_of(file, wall, evaluation, choice.choice).conclusions
        assert (root.option, root.says, root.word, root.certainty) == (
            choice.option,
            choice.says,
            choice.word,
            choice.certainty,
        )
        assert {rule.id for rule in root.supported_by} <= set(choice.rules)
        assert root.open_facts == choice.open_facts


def test_an_undecided_choice_says_what_stands_in_the_way_of_every_option():
    """A rule base in which nothing supports a verdict any longer."""
    kept = tuple(r for r in BASE.rules if not any(choice == "verdict" for choice, _ in r.supports))
    base = RuleBase(
        BASE.manifest, BASE.choices, BASE.sets, BASE.members, BASE.sources, kept, BASE.variables, BASE.digest
    )
    file, wall, _ = demo_walls()[0]
    evaluation = evaluate(base, with_readings(file.survey, file.values_of(wall)))
    asked = Subject("choice", "verdict", "verdict")
    found = reasons(file, base, TODAY, [(wall, evaluation)], [asked], about="verdict", depth=2)
    (root,) = found.walls[0].conclusions
    assert (root.option, root.status) == ("undecided", "undecided")
    assert [each.option for each in root.before] == [option.id for option in BASE.choices["verdict"].options]
    assert not found.settled
    said = flat(as_text(found))
    assert "verdict is undecided: no option stands on what is known [undecided" in said
    assert "does not stand; it needs support, and there is no rule that could give it." in said


def test_json_comes_back_as_it_went():
    file, wall, evaluation = demo_walls()[3]
    for asked in ("verdict", "medium=rods", "M-010", "cautions=services"):
        found = reasons(
            file, BASE, TODAY, [(wall, evaluation)], [subject(asked, BASE, "--about")], about=asked, depth=DEEP
        )
        assert Reasons.model_validate_json(found.model_dump_json()) == found


def flat(text):
    return " ".join(text.split())


def run(capsys, *arguments):
    code = exit_code_of(["why", *arguments])
    captured = capsys.readouterr()
    assert "Traceback" not in captured.err + captured.out
    return code, captured.out, captured.err


BRICK = str(DEMO / "nine_inch_brick.yaml")


def test_the_reasons_for_a_medium_go_down_to_the_facts(capsys):
    code, out, err = run(capsys, BRICK, "--about", "medium")
    assert (code, err) == (0, "")
    said = flat(out)
    assert out.index("> medium is cream") < out.index("> verdict is treat")
    assert "M-035 supports cream." in said
    assert "Because here:" in said
    assert "+ decided.verdict is treat [settled], as needed: true" in said
    assert "+ build.bed_joint_mm is 10 mm (nine_inch_brick.yaml:29); needs at least 6 mm: true" in said
    assert "observed: two joints raked out to full depth, no edge and no plugs" in said
    assert "Source: followed, common practice" in said
    assert "Source: set aside, " in said
    assert "Behind it physical and aqueous_liquid would stand too." in said
    assert "left out: the reasons of evidence" in said
    assert "certifies nothing" in said


def test_a_reading_shows_what_it_was_computed_from(capsys):
    _, out, _ = run(capsys, BRICK, "--about", "rising_damp")
    said = flat(out)
    assert "reading.base_excess_percent is 7.67 % points; needs at least 1 % points: true" in said
    assert "Computed: MC less HMC of the deepest sample at the lowest height. From moisture.method is" in said
    assert "moisture.samples is 7 rows (nine_inch_brick.yaml:74)" in said


def test_without_about_the_verdict_comes_first_then_the_main_choices_in_order(capsys):
    _, out, _ = run(capsys, BRICK)
    found = re.findall(r"^> (\w+) is ", out, re.MULTILINE)
    assert found[0] == "verdict"
    order = [name for name in BASE.choices if name in found]
    assert found[1:] == [name for name in order if name != "verdict"]
    assert {"rising_damp", "medium", "line_run", "plaster"} <= set(found)


@pytest.mark.parametrize(
    ("about", "said"),
    [
        ("verdict=treat", "> verdict is treat"),
        ("verdict=no_course", "> verdict is treat, not no_course"),
        ("medium=physical", "physical would stand; cream comes before it in the order."),
        ("s-024", "S-024 holds; it supports verdict=treat. Rising damp"),
        ("S-002", "- found.causes is none; needs to include leak: false"),
        ("works=lower_ground", "> lower_ground is not in works: Lower the outside ground"),
        ("lower_ground", "The one rule that would add it does not hold:"),
        ("services", "in cautions: Find and isolate every cable and pipe"),
    ],
)
def test_what_may_be_asked_about(capsys, about, said):
    code, out, _ = run(capsys, BRICK, "--about", about)
    assert code == 0
    assert said in flat(out)


@pytest.mark.parametrize(
    ("about", "said"),
    [
        ("verdit", "did you mean verdict?"),
        ("S-0244", "or S-024 or"),
        ("cream", "did you mean medium=cream?"),
        ("medium=creme", "no such option of medium; found creme; allowed: cream, rods"),
        ("tests=log_climat", "did you mean log_climate?"),
        ("tests", "a set: ask about one of its members, as tests=MEMBER"),
        ("Verdict", "did you mean verdict?"),
    ],
)
def test_what_is_asked_about_wrongly_is_refused_with_what_is_meant(capsys, about, said):
    code, out, err = run(capsys, BRICK, "--about", about)
    assert (code, out) == (2, "")
    assert said in err


def test_a_member_of_two_sets_has_to_be_named_with_its_set():
    from engine.errors import BadInput

    members = {**BASE.members, "tests": {**BASE.members["tests"], "services": BASE.members["cautions"]["services"]}}
    base = RuleBase(
        BASE.manifest, BASE.choices, BASE.sets, members, BASE.sources, BASE.rules, BASE.variables, BASE.digest
    )
    with pytest.raises(BadInput) as caught:
        subject("services", base, "--about")
    assert "tests=services, cautions=services" in str(caught.value.problems[0])
    assert subject("cautions=services", base, "--about") == Subject("member", "services", "cautions")


def test_a_fact_set_for_the_asking_is_shown_as_such(capsys):
    code, out, _ = run(capsys, BRICK, "--about", "medium", "--set", "build.voids=widespread")
    assert code in (0, 1)
    said = flat(out)
    assert "NOT AS SURVEYED. Facts were changed: build.voids" in said
    assert "build.voids is widespread (--set build.voids)" in said
    assert run(capsys, BRICK, "--set", "build.voids=manny")[0] == 2


def test_an_open_wall_ends_in_1_and_names_the_open_facts(capsys):
    code, out, _ = run(capsys, str(DEMO / "half_the_facts.yaml"), "--about", "verdict", "--depth", "1")
    assert code == 1
    said = flat(out)
    assert "verdict is investigate: investigate further before deciding [provisional" in said
    assert "Could still become" in said
    assert "Open: " in said


def test_walls_formats_and_files(capsys, tmp_path):
    three = str(DEMO / "three_walls.yaml")
    _, out, _ = run(capsys, three, "--about", "verdict", "--depth", "1", "--format", "json")
    data = json.loads(out)
    assert data["format"] == "bedjoint-why-1"
    assert [wall["wall"] for wall in data["walls"]] == ["front", "back", *[w["wall"] for w in data["walls"][2:]]]
    _, out, _ = run(capsys, three, "--about", "verdict", "--wall", "back", "--format", "markdown")
    assert out.startswith("# Wall back, survey SFS-2026-084")
    assert "\n## verdict is remove\\_cause" in out
    assert out.count("\n- ") > 2
    target = tmp_path / "why.txt"
    code, out, err = run(capsys, three, "--about", "verdict", "--output", str(target))
    assert (code, out) == (0, "")
    assert "written to" in err
    assert "\x1b" not in target.read_text()
    assert run(capsys, three, "--wall", "bak")[0] == 2


def test_markdown_nests_only_under_what_is_there():
    file, wall, evaluation = demo_walls()[0]
    found = reasons(
        file, BASE, TODAY, [(wall, evaluation)], [subject("verdict", BASE, "x")], about="verdict", depth=DEEP
    )
    before = -1
    for line in as_markdown(found).splitlines():
        item = re.match(r"( *)- ", line)
        if item:
            level = len(item[1]) // 2
            assert level <= before + 1, line
            before = level
        elif line.startswith("#"):
            before = -1


def test_lines_fit_80_columns_and_are_plain_when_piped():
    done = subprocess.run(
        [
            sys.executable,
            "-c",
            "import cli.main; cli.main.run()",
            "why",
            str(DEMO / "leaking_pipe.yaml"),
            "--depth",
            "9",
        ],
        capture_output=True,
        env={**os.environ, "COLUMNS": "80"},
        check=False,
    )
    shown = done.stdout.decode()
    assert done.returncode == 0, done.stderr
    assert "\x1b" not in shown
    assert max(map(len, shown.splitlines())) <= 80
    assert "not known" in shown


def test_an_option_or_a_rule_seen_twice_is_shown_once(capsys):
    _, out, _ = run(capsys, str(DEMO / "leaking_pipe.yaml"), "--about", "medium", "--depth", "9")
    assert out.count("S-002 supports remove_cause. A leak is mended") == 1
    assert (
        "cream, rods, mortar, physical and aqueous_liquid come before it in the order, and are ruled out by M-001; see"
        in (flat(out))
    )
