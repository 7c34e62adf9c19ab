"""Pictures of reasoning: what is in them, how they are laid out, and that nothing in the data breaks them."""

import datetime as dt
import functools
import html
import os
import pathlib
import random
import re
import subprocess
import sys
import xml.etree.ElementTree as ET

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cli.graph_dot import as_dot
from cli.graph_mermaid import as_mermaid
from cli.graph_svg import as_svg
from cli.main import exit_code_of
from engine.decision.assess import evaluate_wall
from engine.decision.grounds import grounds, now_view
from engine.errors import BadInput
from engine.facts.intake import read_survey
from engine.facts.values import State
from engine.facts.vocabulary import facts
from engine.inference.evaluate import evaluate
from engine.inference.truth import Truth
from engine.readings.compute import compute_readings
from engine.readings.vocabulary import READINGS
from engine.reasoning.graph import Edge, Graph, Node
from engine.reasoning.graph_chain import Chain
from engine.reasoning.graph_layout import Line, Size, laid_out, overlapping
from engine.reasoning.graph_rules import graph_of
from engine.reasoning.graph_text import legible, width_of, wrapped
from engine.reasoning.graph_wall import wall_graph
from engine.reasoning.obstacle_choices import ChoiceLogic
from engine.rulebase.load import load_rule_base, versions
from engine.rulebase.model import STAGES
from engine.rulebase.reading_figures import reading_figures
from tests.generated import survey_file, surveys

DEMO = pathlib.Path(__file__).parent.parent / "scenarios_demo"
BASE = load_rule_base(versions()[-1].version)
DAY = dt.date(2026, 11, 1)
SVG = "{http://www.w3.org/2000/svg}"
HOSTILE = (
    'say "no" [x] {y} (z) <b>&amp;</b> & co',
    "two\nlines",
    "#35; style a:#fff; x",
    '%%{init: {"theme": "x"}}%%',
    "`**bold**`",
    "a --> b; c -.-x d",
    "\\N \\l \\ ends in a backslash\\",
    "</svg><script>alert(1)</script>",
    "]]> <![CDATA[ x",
    "end",
    "click n1 \"javascript:alert('x')\"",
    "---",
    "日本語 ü ß 🎉 é",
    "x" * 300,
    "&quot; &#35; &lt; <br/> $$x^2$$ @{ shape: x }",
    "\u202eturned\u2066 \x1b[31m \x00 \ud800 \uffff",
    "",
)


@functools.cache
def demo_walls():
    found = {}
    for path in sorted(DEMO.glob("*.yaml")):
        file = read_survey(path, DAY)
        for wall in file.survey.walls:
            found[f"{path.stem} {wall.id}"] = (file, wall, evaluate_wall(file, wall, BASE))
    return found


# Named without judging them, so that collecting the tests takes no time.
DEMO_WALLS = [
    f"{path.stem} {wall}"
    for path in sorted(DEMO.glob("*.yaml"))
    for wall in re.findall(r"^ *- id: (\S+)", path.read_text(), re.M)
]


def drawn(file, wall, evaluation, *about, everything=False):
    return wall_graph(file, wall, BASE, evaluation, DAY, about, everything=everything)


def hostile_graph():
    kinds = ("fact", "reading", "rule", "choice", "member", "stage")
    nodes = [
        Node(f"id {text}", kinds[n % 6], n % 3, text, (text, text), text, ("known", "unknown", "open")[n % 3])
        for n, text in enumerate(HOSTILE)
    ]
    columns = [[node for node in nodes if node.column == column] for column in range(3)]
    pairs = [*zip(columns[0], columns[1], strict=False), *zip(columns[1], columns[2], strict=False)]
    edges = [
        Edge(a.id, b.id, ("bears", "rules_out", "adds")[n % 3], a.head, open=n % 2 == 0, counted=n % 3 == 0)
        for n, (a, b) in enumerate(pairs)
    ]
    return Graph(
        "".join(HOSTILE), HOSTILE[7], (HOSTILE[0], HOSTILE[7], HOSTILE[2]), tuple(nodes), tuple(edges), HOSTILE
    )


GRAPHS = {
    "hostile": hostile_graph,
    "empty": lambda: Graph("nothing", "", (), (), ()),
    "small": lambda: drawn(*demo_walls()["sound_felt_still_damp living-rear"]),
    "typical": lambda: drawn(*demo_walls()["nine_inch_brick parlour-back"]),
    "large": lambda: drawn(*demo_walls()["half_the_facts back-room"]),
    "works": lambda: drawn(*demo_walls()["old_course_in_the_bricks front"], "works", "cautions"),
    "all": lambda: drawn(*demo_walls()["half_the_facts back-room"], everything=True),
    "in vain": lambda: drawn(*demo_walls()["nine_inch_brick parlour-back"], everything=True),
    "rules": lambda: graph_of(BASE),
    "stage": lambda: graph_of(BASE, stage="medium"),
    "choice": lambda: graph_of(BASE, choice="verdict"),
    "set": lambda: graph_of(BASE, choice="causes"),
    "rule": lambda: graph_of(BASE, rule="R-001"),
}
graph_named = functools.cache(lambda name: GRAPHS[name]())


# what is in the picture


@pytest.mark.parametrize("case", DEMO_WALLS)
def test_a_picture_shows_what_is_decisive_and_nothing_else(case):
    file, wall, evaluation = demo_walls()[case]
    graph = drawn(file, wall, evaluation)
    nodes = {node.id: node for node in graph.nodes}
    assert {"decided.verdict", "decided.medium"} <= set(nodes)
    view = now_view(evaluation)
    fed = set()
    for node in graph.nodes:
        into = [edge.source for edge in graph.edges if edge.target == node.id]
        if node.kind == "rule":
            assert node.id in evaluation.fired
            rule = BASE.by_id[node.id]
            said = {ground.test.split(" ")[0] for ground in grounds(rule.when, evaluation, view)}
            sources = {
                name if name in nodes and not name.startswith("found.") else ".".join(name.split(".")[:2])
                for name in into
            }
            assert sources == said
            fed |= said
        elif node.kind == "reading":
            assert set(into) <= set(READINGS[node.id].from_facts)
            fed |= set(into)
    for node in graph.nodes:
        if node.kind in ("fact", "reading"):
            assert node.id in fed
            value = evaluation.values[node.id]
            assert (node.state == "unknown") is (value.state is State.UNKNOWN)
    assert len(graph.nodes) < 60


@pytest.mark.parametrize("case", DEMO_WALLS)
def test_without_a_ruling_out_that_is_shown_another_option_would_have_been_taken(case):
    file, wall, evaluation = demo_walls()[case]
    for edge in drawn(file, wall, evaluation).edges:
        if edge.kind != "rules_out":
            continue
        choice = BASE.choices[edge.target.partition(".")[2]]
        taken = evaluation.outcomes[choice.id].option
        before = []
        for option in choice.options:
            if option.id == taken:
                break
            supported = any((choice.id, option.id) in BASE.by_id[r].supports for r in evaluation.fired)
            before += [option.id] if option.open or supported else []
        assert any((choice.id, option) in BASE.by_id[edge.source].rules_out for option in before)


@settings(max_examples=40, deadline=None)
@given(surveys())
def test_all_shows_more_and_marks_what_is_open(data):
    file = survey_file(data)
    (wall,) = file.survey.walls
    values = file.values_of(wall)
    values.update(compute_readings(values, 2026, reading_figures(BASE.tables)))
    evaluation = evaluate(BASE, values)
    some, every = drawn(file, wall, evaluation), drawn(file, wall, evaluation, everything=True)
    assert {node.id for node in some.nodes} <= {node.id for node in every.nodes}
    for graph in (some, every):
        columns = {node.id: node.column for node in graph.nodes}
        assert len(columns) == len(graph.nodes)
        assert all(columns[edge.source] < columns[edge.target] for edge in graph.edges)
        for node in graph.nodes:
            if node.kind == "rule":
                holds = node.id in evaluation.fired
                state = "open" if evaluation.ever[node.id] is Truth.UNKNOWN else "idle"
                assert node.state == ("known" if holds else state)
            if node.kind == "choice":
                assert (node.state == "open") is not evaluation.outcomes[node.id.partition(".")[2]].settled
        for edge in graph.edges:
            if edge.target in BASE.by_id:
                assert edge.open is (edge.target not in evaluation.fired)
    assert all(node.state == "known" for node in some.nodes if node.kind == "rule")


IN_VAIN = re.compile(r"Looked for, not found, and not drawn: (\d+) known facts?\b.*; --all draws them\.")


@pytest.mark.parametrize("case", ["nine_inch_brick parlour-back", "leaking_pipe kitchen-side", "three_walls front"])
def test_what_was_looked_for_in_vain_is_counted_and_with_all_drawn(case):
    """Each is a rule that does not hold; were it alone to hold as well, its choice would come to another option."""
    file, wall, evaluation = demo_walls()[case]
    plain, every = drawn(file, wall, evaluation), drawn(file, wall, evaluation, everything=True)
    assert plain.says.startswith("What brings it, by rules ")
    assert "--all" not in every.says
    idle = {node.id for node in every.nodes if node.state == "idle"}
    assert idle
    assert not any(node.state == "idle" for node in plain.nodes)
    assert not idle & evaluation.fired
    into = {name: {edge.source for edge in every.edges if edge.target == name} for name in idle}
    kept_by = {source for sources in into.values() for source in sources if source not in idle}
    assert all(evaluation.values[fact].known for fact in kept_by)
    changing = 0
    for edge in every.edges:
        if edge.source in idle and edge.target.startswith("decided."):
            name = edge.target.partition(".")[2]
            logic = ChoiceLogic(BASE, name, evaluation.fired)
            assert logic.taken(evaluation.fired | {edge.source}) != evaluation.outcomes[name].option
            assert edge.open
            changing += 1
    assert changing >= len(idle) / 2
    if "nine" in case:
        assert int(IN_VAIN.search(plain.says)[1]) == len(kept_by)
        leak = {edge.target for edge in every.edges if edge.source == "evidence.leaks"} & idle
        assert {"S-002"} <= {edge.target for edge in every.edges if edge.source in leak} | leak


def test_open_rules_are_shown_for_every_choice_in_the_picture_only_with_all():
    file, wall, evaluation = demo_walls()["half_the_facts back-room"]
    graph = drawn(file, wall, evaluation, everything=True)
    shown = {node.id for node in graph.nodes}
    for name in ("verdict", "medium"):
        for rule in BASE.rules:
            bears = any(choice == name for choice, _ in (*rule.supports, *rule.rules_out))
            if bears and evaluation.ever[rule.id] is Truth.UNKNOWN:
                assert rule.id in shown


def test_any_choice_set_member_and_rule_can_be_asked_about():
    file, wall, evaluation = demo_walls()["nine_inch_brick parlour-back"]
    for choice in BASE.choices:
        assert f"decided.{choice}" in {node.id for node in drawn(file, wall, evaluation, choice).nodes}
        for option in BASE.choices[choice].options:
            asked = drawn(file, wall, evaluation, f"{choice}={option.id}")
            against = {e.source for e in asked.edges if e.kind == "rules_out" and e.target == f"decided.{choice}"}
            holding = {r.id for r in BASE.rules if (choice, option.id) in r.rules_out and r.id in evaluation.fired}
            assert holding <= against
    for name, members in BASE.members.items():
        held = evaluation.sets[name]
        if held.now:
            graph = drawn(file, wall, evaluation, name)
            assert {f"found.{name}.{member}" for member in held.now} <= {node.id for node in graph.nodes}
        for member in members:
            if member in held.now | held.may:
                assert drawn(file, wall, evaluation, f"{name}={member}").nodes
            else:
                with pytest.raises(BadInput, match="is not found at this wall"):
                    drawn(file, wall, evaluation, f"{name}={member}")
    for rule in BASE.rules:
        if rule.id in evaluation.fired:
            assert rule.id in {node.id for node in drawn(file, wall, evaluation, rule.id).nodes}
        elif evaluation.ever[rule.id] is Truth.UNKNOWN:
            assert {n.id: n.state for n in drawn(file, wall, evaluation, rule.id).nodes}[rule.id] == "open"
        else:
            with pytest.raises(BadInput, match="does not hold"):
                drawn(file, wall, evaluation, rule.id)


def test_a_wall_of_which_nothing_is_known():
    evaluation = evaluate(BASE, {})
    chain = Chain(BASE, evaluation, everything=True)
    for choice in BASE.choices:
        chain.choice(choice)
    assert any(node.state == "unknown" for node in chain.nodes.values())


# the rule base


def test_the_rule_base_is_counted_right():
    graph = graph_of(BASE)
    assert {node.id for node in graph.nodes} == {
        "facts",
        "readings",
        *(f"decided.{name}" for name in BASE.choices),
        *(f"found.{name}" for name in BASE.sets),
    }
    counts = {(edge.source, edge.target): int(edge.label) for edge in graph.edges}
    for (source, target), count in counts.items():
        if source == "decided.verdict" and target == "decided.medium":
            reads = [r for r in BASE.by_stage["medium"] if any(t.variable.name == "decided.verdict" for t in r.tests)]
            assert count == len([rule for rule in reads if rule.supports or rule.rules_out])
    assert counts["decided.verdict", "decided.medium"] > 0
    assert counts["facts", "readings"] == len(READINGS)


def test_every_stage_choice_set_and_rule_can_be_drawn():
    for stage in STAGES:
        shown = {node.id for node in graph_of(BASE, stage=stage).nodes}
        assert {rule.id for rule in BASE.by_stage[stage]} <= shown
    for name in (*BASE.choices, *BASE.sets):
        graph = graph_of(BASE, choice=name)
        parts = [node.id for node in graph.nodes if node.column == 4]
        wanted = [o.id for o in BASE.choices[name].options] if name in BASE.choices else list(BASE.members[name])
        assert sorted(part.rpartition(".")[2] for part in parts) == sorted(wanted)
        if name in BASE.choices:
            assert [part.rpartition(".")[2] for part in parts] == wanted
    for rule in BASE.rules:
        graph = graph_of(BASE, rule=rule.id.lower())
        shown = {node.id for node in graph.nodes}
        assert {test.variable.name for test in rule.tests} <= shown
        for kind, concluded in (("supports", rule.supports), ("rules_out", rule.rules_out)):
            for choice, _ in concluded:
                assert (rule.id, f"decided.{choice}", kind) in {(e.source, e.target, e.kind) for e in graph.edges}


def test_the_options_of_a_choice_stand_in_their_order():
    for name in BASE.choices:
        svg = ET.fromstring(as_svg(graph_of(BASE, choice=name)))
        heights = [box[1] for node, box in boxes(svg).items() if node.startswith(f"decided.{name}.")]
        assert heights == sorted(heights)


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        ({"stage": "cuase"}, ["no such stage", "did you mean cause"]),
        ({"choice": "verdct"}, ["no such choice or set", "did you mean verdict"]),
        ({"rule": "R-999"}, ["no such rule"]),
        ({"stage": "cause", "rule": "R-001"}, ["cannot be asked for together"]),
    ],
)
def test_what_is_not_in_the_rule_base_is_refused(asked, words):
    with pytest.raises(BadInput) as error:
        graph_of(BASE, **asked)
    for word in words:
        assert word in str(error.value)


# layout


@st.composite
def pictures(draw):
    rng = random.Random(draw(st.integers(0, 2**40)))
    columns = draw(st.integers(1, 8))
    count = draw(st.integers(1, 40))
    sizes = [
        Size(f"n{n}", rng.randrange(columns) * 3, rng.randint(20, 250), rng.randint(20, 300)) for n in range(count)
    ]
    pairs = [(a, b) for a in sizes for b in sizes if a.column < b.column]
    chosen = rng.sample(pairs, min(len(pairs), rng.randint(0, 80)))
    return sizes, [Line(a.id, b.id, rng.choice((a.id, f"{a.id} other"))) for a, b in chosen]


@settings(max_examples=100, deadline=None)
@given(pictures())
def test_no_box_overlaps_and_no_line_runs_through_a_box(picture):
    sizes, lines = picture
    layout = laid_out(sizes, lines)
    assert layout == laid_out(sizes, lines)
    assert overlapping(layout.boxes) == []
    by_id = {box.id: box for box in layout.boxes}
    assert [box.id for box in layout.boxes] == [size.id for size in sizes]
    for size in sizes:
        box = by_id[size.id]
        assert box.height == size.height
        assert box.width >= size.width
        assert box.x >= 0
        assert box.x + box.width <= layout.width
        assert box.y >= 0
        assert box.y + box.height <= layout.height
    for line, route in zip(lines, layout.routes, strict=True):
        source, target = by_id[line.source], by_id[line.target]
        assert route[0][0] == source.x + source.width
        assert source.y <= route[0][1] <= source.y + source.height
        assert route[-1][0] == target.x
        assert target.y <= route[-1][1] <= target.y + target.height
        assert len(route) % 2 == 0
        assert [x for x, _ in route] == sorted(x for x, _ in route)
        for (from_x, from_y), (to_x, to_y) in zip(route[1:-1:2], route[2:-1:2], strict=True):
            assert from_y == to_y
            assert 0 <= from_y <= layout.height
            for box in layout.boxes:
                beside = to_x <= box.x or box.x + box.width <= from_x
                assert beside or not box.y <= from_y <= box.y + box.height


def test_a_tree_is_laid_out_without_crossings():
    sizes = [Size("root", 0, 50, 20)]
    lines = []
    rng = random.Random(5)
    for branch in rng.sample(range(6), 6):
        sizes.append(Size(f"b{branch}", 1, 50, 20))
        lines.append(Line("root", f"b{branch}", "root"))
        for leaf in range(3):
            sizes.append(Size(f"b{branch}l{leaf}", 2, 50, 20))
            lines.append(Line(f"b{branch}", f"b{branch}l{leaf}", f"b{branch}"))
    rng.shuffle(sizes)
    layout = laid_out(sizes, lines)
    at = {box.id: box.y for box in layout.boxes}
    branches = sorted((f"b{n}" for n in range(6)), key=at.__getitem__)
    leaves = sorted((each for each in at if "l" in each), key=at.__getitem__)
    assert [leaf[:2] for leaf in leaves] == [branch for branch in branches for _ in range(3)]


def test_a_line_that_leads_back_or_nowhere_is_refused():
    sizes = [Size("a", 0, 10, 10), Size("b", 1, 10, 10)]
    for line in (Line("b", "a", "b"), Line("a", "a", "a"), Line("a", "c", "a")):
        with pytest.raises(ValueError, match="->"):
            laid_out(sizes, [line])


# Advance widths of the printable ASCII characters in DejaVu Sans and DejaVu Sans Bold, thousandths of the size, as the
# fonts themselves give them: among the widest of the plain fonts in common use.
REGULAR = (
    "318 401 460 838 636 950 780 275 390 390 500 838 318 361 318 337 636 636 636 636 636 636 636 636 636 "
    "636 337 337 838 838 838 531 1000 684 686 698 770 632 575 775 752 295 295 656 557 863 748 787 603 787 "
    "695 635 611 732 684 989 685 611 685 390 337 390 838 500 500 613 635 550 635 615 352 635 634 278 278 "
    "579 278 974 634 612 635 635 411 521 392 634 592 818 592 592 525 636 337 636 838"
)
BOLD = (
    "348 456 521 838 696 1002 872 306 457 457 523 838 380 415 380 365 696 696 696 696 696 696 696 696 696 "
    "696 400 400 838 838 838 580 1000 774 762 734 830 683 683 821 837 372 372 775 637 995 837 850 733 850 "
    "770 720 682 812 774 1103 771 724 725 457 365 457 838 500 500 675 716 593 716 678 435 716 712 343 343 "
    "665 343 1042 712 687 716 716 493 595 478 712 652 924 645 652 582 712 365 712 838"
)


@pytest.mark.parametrize(("widths", "bold"), [(REGULAR, False), (BOLD, True)])
def test_text_is_never_thought_narrower_than_it_is(widths, bold):
    for code, width in enumerate(widths.split(), 32):
        assert width_of(chr(code), 1000, bold=bold) >= int(width) - 1


@settings(max_examples=200)
@given(st.text(), st.integers(30, 300))
def test_wrapping_loses_nothing_and_fits(text, width):
    lines = wrapped(text, width, 12)
    assert "".join("".join(line.split()) for line in lines) == "".join(text.split())
    assert all(width_of(line, 12) <= width or len(line) == 1 for line in lines)


# SVG


def boxes(svg):
    """Each node with the box its outline takes up."""
    found = {}
    for group in svg.iter(f"{SVG}g"):
        if "data-node" not in group.attrib:
            continue
        shape = next(each for each in group if each.tag in (f"{SVG}rect", f"{SVG}polygon"))
        if shape.tag == f"{SVG}rect":
            x, y, width, height = (int(shape.get(name)) for name in ("x", "y", "width", "height"))
            found[group.get("data-node")] = (x, y, x + width, y + height)
        else:
            points = [tuple(map(int, pair.split(","))) for pair in shape.get("points").split()]
            xs, ys = zip(*points, strict=True)
            found[group.get("data-node")] = (min(xs), min(ys), max(xs), max(ys))
    return found


@pytest.mark.parametrize("name", GRAPHS)
def test_an_svg_stands_by_itself_and_nothing_overlaps(name):
    graph = graph_named(name)
    text = as_svg(graph)
    svg = ET.fromstring(text)
    assert svg.tag == f"{SVG}svg"
    assert {each.tag.removeprefix(SVG) for each in svg.iter()} <= {
        "svg", "title", "desc", "rect", "g", "polygon", "path", "text",
    }  # fmt: skip
    for each in svg.iter():
        for name, value in each.attrib.items():
            assert name not in ("href", "style", "onload", "class")
            assert "url(" not in value or name.startswith("data-")
    width, height = int(svg.get("width")), int(svg.get("height"))
    assert svg.get("viewBox") == f"0 0 {width} {height}"
    title, says = svg[0], svg[1]
    assert svg.get("aria-labelledby") == f"{title.get('id')} {says.get('id')}"
    assert title.text == legible(graph.title)
    background = svg[2]
    assert (background.get("width"), background.get("height")) == (str(width), str(height))
    every = boxes(svg)
    assert set(every) == {legible(node.id) for node in graph.nodes}
    for one, (x, y, right, bottom) in every.items():
        assert 0 <= x < right <= width
        assert 0 <= y < bottom <= height
        for other, (other_x, other_y, other_right, other_bottom) in every.items():
            apart = right <= other_x or other_right <= x or bottom <= other_y or other_bottom <= y
            assert one == other or apart
    ends = [(g.get("data-source"), g.get("data-target")) for g in svg.iter(f"{SVG}g") if "data-source" in g.attrib]
    assert ends == [(legible(edge.source), legible(edge.target)) for edge in graph.edges]
    assert {name for pair in ends for name in pair} <= set(every)
    for each in svg.iter(f"{SVG}text"):
        assert float(each.get("y")) <= height
        if each.get("text-anchor") is None:
            assert float(each.get("x")) >= 0
            size, bold = float(each.get("font-size")), each.get("font-weight") == "bold"
            assert float(each.get("x")) + width_of(each.text or "", size, bold=bold) <= width


@pytest.mark.parametrize("name", GRAPHS)
def test_every_label_is_whole_and_inside_its_outline(name):
    graph = graph_named(name)
    svg = ET.fromstring(as_svg(graph))
    every = boxes(svg)
    groups = {g.get("data-node"): g for g in svg.iter(f"{SVG}g") if "data-node" in g.attrib}
    for node in graph.nodes:
        group = groups[legible(node.id)]
        assert (group.find(f"{SVG}title").text or "") == legible(node.label)
        texts = list(group.iter(f"{SVG}text"))
        shown = "".join("".join((text.text or "").split()) for text in texts)
        assert shown == "".join(legible(node.label).split())
        x, y, right, bottom = every[legible(node.id)]
        for text in texts:
            size, bold = float(text.get("font-size")), text.get("font-weight") == "bold"
            assert x < float(text.get("x"))
            assert float(text.get("x")) + width_of(text.text or "", size, bold=bold) <= right
            assert y < float(text.get("y")) < bottom


def test_kinds_and_states_differ_without_colour():
    nodes = tuple(
        Node(f"{kind} {state}", kind, 0, kind, ("x",), state=state)
        for kind in ("fact", "reading", "rule", "choice", "member", "stage")
        for state in ("known", "unknown", "open", "idle")
    )
    svg = ET.fromstring(as_svg(Graph("t", "s", ("c",), nodes, ())))
    outlines = {}
    for group in (g for g in svg.iter(f"{SVG}g") if "data-node" in g.attrib):
        shapes = [each for each in group if each.tag in (f"{SVG}rect", f"{SVG}polygon")]
        first = shapes[0]
        form = (len(shapes), first.tag, first.get("rx"), len((first.get("points") or "").split()))
        outlines[group.get("data-node")] = (form, first.get("stroke-dasharray"))
    forms = {name.split(" ")[0]: outline[0] for name, outline in outlines.items()}
    assert len(set(forms.values())) == 6
    dashes = {outline[1] for name, outline in outlines.items() if name.startswith("fact")}
    assert dashes == {None, "7 4", "2 3", "10 3 2 3"}


def test_a_ruling_out_ends_in_a_bar():
    nodes = (Node("a", "rule", 0, "a", ()), Node("b", "choice", 1, "b", ()))
    ends = []
    for kind in ("supports", "rules_out"):
        svg = ET.fromstring(as_svg(Graph("t", "s", ("x", "y"), nodes, (Edge("a", "b", kind),))))
        group = next(g for g in svg.iter(f"{SVG}g") if "data-source" in g.attrib)
        ends.append(group[-1].tag.removeprefix(SVG))
    assert ends == ["polygon", "rect"]


# DOT and Mermaid


def dot_text(text):
    """What a quoted string of a label shows: the escapes and entities that Graphviz knows undone."""
    return html.unescape(re.sub(r"\\(.)", lambda m: "\n" if m[1] == "n" else m[1], text))


DOT_STRING = r'"((?:[^"\\]|\\.)*)"'
DOT_ATTRIBUTES = rf"(?:[a-z]+=(?:{DOT_STRING}|[A-Za-z0-9]+)(?:, (?!$)|$))+"


@pytest.mark.parametrize("name", GRAPHS)
def test_dot_holds_every_label_and_edge(name):
    graph = graph_named(name)
    lines = as_dot(graph).splitlines()
    assert (lines[0], lines[-1]) == ("digraph bedjoint {", "}")
    names, edges = {}, []
    for line in lines[1:-1]:
        if match := re.fullmatch(rf"  (n\d+) \[(label={DOT_STRING}, tooltip={DOT_STRING}, .*)\];", line):
            assert re.fullmatch(DOT_ATTRIBUTES, match[2])
            names[match[1]] = dot_text(match[4])
            assert "".join(dot_text(match[3]).split()) == "".join(names[match[1]].split())
        elif match := re.fullmatch(rf"  (n\d+) -> (n\d+) \[arrowhead=(tee|normal), tooltip={DOT_STRING}.*\];", line):
            edges.append((match[1], match[2], match[3]))
        else:
            assert re.fullmatch(
                rf"  (?:(?:graph|node|edge) \[(?:[^\"]|{DOT_STRING})*\];|\{{ rank=same; (?:n\d+; ?)+\}})", line
            ), line
    assert list(names.values()) == [legible(node.label).replace("\t", " ") for node in graph.nodes]
    number = {node.id: f"n{n}" for n, node in enumerate(graph.nodes, 1)}
    assert edges == [
        (number[e.source], number[e.target], "tee" if e.kind == "rules_out" else "normal") for e in graph.edges
    ]


MERMAID_TEXT = r"(?:[\w .,/()+='-]|#\d+;|<br/>)*"
MERMAID_NODE = re.compile(
    rf'  (n\d+|note\d+)(\[/|\[\[|\[|\(|\{{\{{|>)"({MERMAID_TEXT})"(/\]|\]\]|\]|\)|\}}\}}):::[a-z]+'
)
MERMAID_EDGE = re.compile(rf'  (n\d+) (?:--|-\.-)([>x])(?:\|"{MERMAID_TEXT}"\|)? (n\d+)')
CLOSES = {"[": "]", "[/": "/]", "(": ")", "{{": "}}", "[[": "]]", ">": "]"}


def mermaid_text(text):
    text = text.replace("<br/>", "\n")
    return re.sub(r"#(\d+);", lambda match: chr(int(match[1])), text)


@pytest.mark.parametrize("name", GRAPHS)
def test_mermaid_keeps_to_its_grammar(name):
    graph = graph_named(name)
    text = as_mermaid(graph)
    front, _, body = text.removeprefix("---\n").partition("\n---\n")
    assert re.fullmatch(r'title: "(?:[^"\\\n]|\\["\\])*"', front)
    first, *lines = body.splitlines()
    assert first == "flowchart LR"
    labels, edges = [], []
    for line in lines:
        if match := MERMAID_NODE.fullmatch(line):
            assert CLOSES[match[2]] == match[4]
            labels += [mermaid_text(match[3])] if match[1][1].isdigit() else []
        elif match := MERMAID_EDGE.fullmatch(line):
            edges.append((match[1], match[3], match[2]))
        else:
            assert re.fullmatch(
                r"  (classDef \w+ [\w#:, -]+|class (n\d+,?)+ (unknown|open|idle)|%% \d+ edges: .*)", line
            ), line
    assert labels == [legible(node.label).replace("\t", " ") for node in graph.nodes]
    number = {node.id: f"n{n}" for n, node in enumerate(graph.nodes, 1)}
    assert edges == [(number[e.source], number[e.target], "x" if e.kind == "rules_out" else ">") for e in graph.edges]


# the commands


def run(capsys, *arguments):
    code = exit_code_of(list(arguments))
    captured = capsys.readouterr()
    assert "Traceback" not in captured.err + captured.out
    return code, captured.out, captured.err


NINE = str(DEMO / "nine_inch_brick.yaml")
THREE = str(DEMO / "three_walls.yaml")


@pytest.mark.parametrize(("form", "start"), [("svg", "<svg "), ("dot", "digraph "), ("mermaid", "---\ntitle: ")])
def test_a_wall_and_the_rules_are_drawn_in_every_format(capsys, form, start):
    for arguments in (["graph", NINE], ["rules", "graph"], ["rules", "graph", "--rule", "m-001"]):
        code, out, err = run(capsys, *arguments, "--format", form)
        assert (code, err) == (0, "")
        assert out.startswith(start)
    assert "certifies nothing" in html.unescape(run(capsys, "graph", NINE, "--format", form)[1].replace("#59;", ";"))


def test_one_wall_is_drawn_at_a_time(capsys):
    code, out, err = run(capsys, "graph", THREE)
    assert (code, out) == (2, "")
    assert "front, back, middle" in err
    assert "Wall back" in run(capsys, "graph", THREE, "--wall", "back")[1]
    code, _, err = run(capsys, "graph", THREE, "--wall", "bakc")
    assert code == 2
    assert "did you mean back?" in err
    code, _, err = run(capsys, "graph", str(DEMO))
    assert code == 2
    assert "is not one survey" in err


def test_every_fault_of_what_is_asked_about_comes_at_once(capsys):
    code, out, err = run(capsys, "graph", NINE, "--about", "verdct", "--about", "works=foo", "--about", "W-001")
    assert (code, out) == (2, "")
    assert "did you mean verdict" in err
    assert "foo" in err
    assert "W-001" in err or "does not hold" in err


def test_changed_facts_are_drawn_as_changed(capsys):
    arguments = ("--set", "existing_course.kind=unknown", "--format", "svg")
    _, out, _ = run(capsys, "graph", NINE, *arguments)
    svg = ET.fromstring(out)
    assert "NOT AS SURVEYED" in svg[1].text
    assert "existing_course.kind is unknown instead of none" in svg[1].text
    _, out, _ = run(
        capsys, "graph", NINE, "--set", "evidence.tide_mark=yes", "--about", "rising_damp", "--format", "svg"
    )
    assert "--set evidence.tide_mark" in out


def test_a_picture_is_written_whole_and_never_over_the_survey(capsys, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    survey = tmp_path / "s.yaml"
    survey.write_text(pathlib.Path(NINE).read_text())
    code, out, _ = run(capsys, "graph", "s.yaml", "--format", "svg", "--output", "p.svg")
    assert (code, out) == (0, "")
    assert ET.fromstring((tmp_path / "p.svg").read_text()).tag == f"{SVG}svg"
    assert run(capsys, "graph", "s.yaml", "--output", "s.yaml")[0] == 2
    assert survey.read_text() == pathlib.Path(NINE).read_text()
    assert run(capsys, "graph", "s.yaml", "--about", "nothing", "--output", "q.svg")[0] == 2
    assert not (tmp_path / "q.svg").exists()


def test_the_same_picture_is_the_same_bytes_in_every_process():
    code = (
        "import sys; from cli.main import exit_code_of; "
        "exit_code_of(['graph', sys.argv[1], '--all', '--format', 'svg']); "
        "exit_code_of(['rules', 'graph', '--stage', 'medium', '--format', 'svg'])"
    )
    outs = {
        subprocess.run(
            [sys.executable, "-c", code, str(DEMO / "half_the_facts.yaml")],
            capture_output=True,
            check=True,
            env={**os.environ, "PYTHONHASHSEED": seed},
        ).stdout
        for seed in ("0", "1", "77")
    }
    assert len(outs) == 1
    assert outs.pop().startswith(b"<svg ")


def test_facts_are_named_in_full():
    file, wall, evaluation = demo_walls()["nine_inch_brick parlour-back"]
    for node in drawn(file, wall, evaluation).nodes:
        if node.kind == "fact":
            assert node.lines[0] == node.id
            assert node.id in facts()
            assert node.state == "unknown" or "line " in node.foot
