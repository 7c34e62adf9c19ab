"""Pages of explanation: complete, resolvable, findable by every name, and readable in every format."""

import functools
import json
import os
import pathlib
import random
import re
import subprocess
import sys
import types
from typing import get_args

import jsonschema
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cli import completion
from cli.main import exit_code_of
from cli.render_pages import anchor, as_json, as_markdown, as_text
from engine.decision.assess import LIMITS
from engine.decision.open_questions import bears_on
from engine.errors import BadInput
from engine.facts.declare import ESTABLISHED, Asked
from engine.facts.values import State
from engine.facts.vocabulary import facts
from engine.inference.evaluate import evaluate
from engine.readings.compute import compute_readings
from engine.readings.vocabulary import MAY_CHANGE, READINGS
from engine.reasoning.page_conditions import condition_entries, leaves
from engine.reasoning.page_glossary import load_glossary
from engine.reasoning.page_model import KINDS, Explained
from engine.reasoning.page_names import normalised
from engine.reasoning.page_rule import why_word
from engine.reasoning.page_variable import reach
from engine.reasoning.pages import everything, explained, listing, page_index, page_of
from engine.rulebase import model
from engine.rulebase.conditions import ConditionParser
from engine.rulebase.load import load_rule_base, rules_folder, versions
from engine.rulebase.reading_figures import reading_figures
from tests.generated import any_survey, survey_file

BASE = load_rule_base(versions()[-1].version)
INDEX = page_index(BASE)
GLOSSARY = load_glossary()
COMMAND = [sys.executable, "-c", "import sys; sys.argv[0] = 'bedjoint'; from cli.start import run; run()"]

HEADINGS = {
    "term": ("Meaning", "Also called", "Where it comes in", "Source"),
    "rule": (
        "What it decides",
        "When",
        "Why",
        "How far to trust it",
        "Known limits",
        "Example facts that make it hold",
        "Nearest facts that do not",
        "Sources",
        "Who disagrees",
    ),
    "stage": (
        "Order of the stages",
        "Choices it decides",
        "Sets closed with it",
        "What its rules may read",
        "Rules",
    ),
    "choice": (
        "What it decides",
        "Options, the preferred first",
        "Why in this order",
        "How it is decided",
        "Rules for and against",
        "What it goes by",
        "What reads the decision",
    ),
    "option": (
        "What it says",
        "Where it stands",
        "Rules that support it",
        "Rules that rule it out",
        "What follows from it",
        "Figures for it",
    ),
    "set": ("What it holds", "Members, in order", "What reads it"),
    "member": ("What it says", "In detail", "Rules that add it", "What follows from it"),
    "fact": (
        "Question",
        "How it is established",
        "What may be written",
        "When it applies",
        "While it is unknown",
        "What is computed from it",
        "Rules that read it",
        "Choices it bears on",
    ),
    "reading": (
        "What it says",
        "From which facts",
        "How it is computed",
        "Unit and range",
        "While it is unknown",
        "Rules that read it",
        "Choices it bears on",
    ),
    "source": (
        "What it is",
        "How far it was seen",
        "Whether it still stands",
        "Rules that cite it, and for what",
        "Figures taken from it",
        "Who follows it where sources disagree",
        "Who sets it aside",
    ),
    "table": ("What it holds", "Sources"),
    "figure": ("What is followed", "What is set aside, and why", "Sources"),
    "version": ("What it is", "What changed, and why", "What is in it", "Digest", "Other versions"),
}


@functools.cache
def all_pages():
    return everything(INDEX)


def text_of(page, heading):
    section = next(each for each in page.sections if each.heading == heading)
    return "\n".join(f"{entry.label} {entry.text}".strip() for entry in section.entries)


def run(capsys, *arguments):
    code = exit_code_of(list(arguments))
    captured = capsys.readouterr()
    assert "Traceback" not in captured.err + captured.out
    return code, captured.out, captured.err


# ---- Completeness ----


def test_everything_in_the_rule_base_has_a_page():
    ids = {page.id for page in all_pages().pages}
    assert len(ids) == len(all_pages().pages)
    wanted = {
        *BASE.by_id,
        *facts(),
        *READINGS,
        *BASE.choices,
        *BASE.sets,
        *BASE.sources,
        *(f"{choice.id}={option.id}" for choice in BASE.choices.values() for option in choice.options),
        *(f"{name}={member}" for name, members in BASE.members.items() for member in members),
        *(f"stage.{stage}" for stage in model.STAGES),
        *(f"term.{term}" for term in GLOSSARY.terms),
        f"rules.{BASE.manifest.version}",
    }
    assert wanted <= ids
    assert {id_ for id_ in ids - wanted if not id_.startswith("table.")} == set()
    assert {page.kind for page in all_pages().pages} == set(KINDS)


def test_every_page_has_the_headings_of_its_kind_and_nothing_empty():
    for page in all_pages().pages:
        headings = tuple(section.heading for section in page.sections)
        if page.kind == "term" and GLOSSARY.terms[page.id.removeprefix("term.")].values:
            assert headings == (*HEADINGS["term"][:2], "Its values", *HEADINGS["term"][2:]), page.id
        else:
            assert headings == HEADINGS[page.kind], page.id
        assert page.title
        assert page.place
        for section in page.sections:
            assert section.entries, (page.id, section.heading)
            assert all(entry.text or entry.label for entry in section.entries), (page.id, section.heading)


EVER = {rule.id for manifest in versions() for rule in load_rule_base(manifest.version).rules}


def test_pages_name_only_what_exists():
    for page in all_pages().pages:
        assert all(INDEX.refs[ref.id] == ref for ref in page.see_also)
        assert page.id not in {ref.id for ref in page.see_also}
        for entry in (entry for section in page.sections for entry in section.entries):
            for link in entry.links:
                assert link.to in INDEX.refs, (page.id, link)
                assert link.text in f"{entry.label} {entry.text}", (page.id, link)
            said = f"{entry.label} {entry.text}"
            for rule in re.findall(r"\b[A-Z]-\d{3}\b", said):
                assert rule in EVER, (page.id, rule)
                # Only what a version says it changed may name a rule that was withdrawn.
                assert rule in BASE.by_id or page.id.startswith("rules."), (page.id, rule)
            for name in re.findall(r"\b(?:reading|decided|found)\.[a-z_0-9]+", said):
                assert name in BASE.variables or name in MAY_CHANGE, (page.id, name)


def test_the_words_of_the_trade_name_only_what_exists():
    for term in GLOSSARY.terms.values():
        for related in term.related:
            assert related in INDEX.refs, (term.id, related)
        assert len(set(term.related)) == len(term.related), term.id
        assert term.ours or term.source in BASE.sources, term.id


def test_the_words_of_the_trade_are_short_and_plain():
    for term in GLOSSARY.terms.values():
        sentences = re.findall(r"[.?](?= |$)", term.meaning)
        assert 2 <= len(sentences) <= 4, term.id
        assert "!" not in term.meaning
        assert not re.search(r"\d", term.meaning), f"{term.id}: figures belong to the rules"


@pytest.mark.parametrize(
    ("scale", "values"),
    [
        ("word", ("must", "should", "consider")),
        ("basis", get_args(model.Basis)),
        ("strength", get_args(model.Strength)),
        ("certainty", get_args(model.Certainty)),
        ("source_kind", get_args(model.SourceKind)),
        ("seen", get_args(model.Seen)),
        ("status", ("settled", "provisional", "undecided")),
        ("state", tuple(state.value for state in State)),
        ("established", ESTABLISHED),
        ("effort", (*get_args(Asked.__dataclass_fields__["effort"].type), "computed")),
    ],
)
def test_every_grade_and_status_is_explained(scale, values):
    if scale == "effort":
        values = (*sorted({fact.effort for fact in facts().values()}), "computed")
    assert set(GLOSSARY.scales[scale].values) == set(values)
    for value in values:
        found = explained(INDEX, value)
        named = [page.id for page in found.pages] + [ref.id for ref in found.matches]
        assert f"term.{GLOSSARY.scales[scale].id}" in named, value


# ---- What pages say ----


def test_a_rule_says_who_is_set_aside_and_what_they_say():
    disagreed = [rule for rule in BASE.rules if rule.raw.against]
    assert disagreed
    for rule in BASE.rules:
        said = text_of(page_of(INDEX, rule.id), "Who disagrees")
        if not rule.raw.against:
            assert said == "nobody on record"
        for source in rule.raw.against:
            assert BASE.sources[source].short in said
            assert next(cite.says for cite in rule.cites if cite.source == source).rstrip(".")[1:] in said
            assert BASE.sources[rule.raw.follows].short in said


def test_the_word_of_a_rule_is_explained_by_its_grade():
    for rule in BASE.rules:
        weak = re.search("conditional|certainty is low|own judgement", why_word(rule)) is not None
        assert weak == (rule.word == "consider"), rule.id
        assert (why_word(rule) == "since it rests on law or a standard and is strong") == (rule.word == "must")


def test_the_page_of_a_rule_holds_all_that_is_written():
    for rule in BASE.rules:
        page = page_of(INDEX, rule.id)
        assert rule.raw.because[1:] in text_of(page, "Why")
        assert (rule.raw.limits or "none written down")[1:] in text_of(page, "Known limits")
        for test in rule.tests:
            assert test.variable.name in text_of(page, "When")
        for name in rule.examples.holds:
            assert name in text_of(page, "Example facts that make it hold")
        for pair in (*rule.supports, *rule.rules_out, *rule.adds):
            assert "=".join(pair) in text_of(page, "What it decides")
        for cite in rule.cites:
            assert cite.says.rstrip(".")[1:] in text_of(page, "Sources")


def test_facts_and_readings_name_every_rule_that_reads_them():
    for name in (*facts(), *READINGS):
        said = text_of(page_of(INDEX, name), "Rules that read it")
        for rule in BASE.rules:
            assert (rule.id in said) == any(test.variable.name == name for test in rule.tests), (name, rule.id)


def test_thresholds_stand_on_the_page_of_a_fact():
    said = text_of(page_of(INDEX, "build.bed_joint_mm"), "Rules that read it")
    for test in {test for rule in BASE.rules for test in rule.tests if test.variable.name == "build.bed_joint_mm"}:
        if test.op in ("below", "at_least"):
            assert test.in_words().removeprefix("build.bed_joint_mm ") in said


def test_sources_name_every_rule_that_cites_them():
    for source in BASE.sources:
        page = page_of(INDEX, source)
        cited = text_of(page, "Rules that cite it, and for what")
        for rule in BASE.rules:
            assert (rule.id in cited) == any(cite.source == source for cite in rule.cites)
        for rule in BASE.rules:
            assert (rule.id in text_of(page, "Who sets it aside")) == (source in rule.raw.against)


def test_a_source_that_was_replaced_says_by_which():
    replaced = [source for source in BASE.sources.values() if source.superseded_by]
    assert replaced
    for source in replaced:
        assert source.superseded_by in text_of(page_of(INDEX, source.id), "Whether it still stands")
        assert source.id in text_of(page_of(INDEX, source.superseded_by), "Whether it still stands")


def test_what_may_not_be_read_says_so():
    for name in MAY_CHANGE:
        page = page_of(INDEX, name)
        assert text_of(page, "Rules that read it") == "none may"
        assert "for showing" in text_of(page, "While it is unknown")


@settings(max_examples=10, deadline=None)
@given(st.integers(0, 2**32), st.sampled_from((0.15, 0.5)))
def test_what_a_fact_bears_on_in_a_survey_stands_on_its_page(seed, unknown_share):
    file = survey_file(any_survey(random.Random(seed), unknown_share))
    for wall in file.survey.walls:
        values = file.values_of(wall)
        year, figures = file.survey.property.survey_date.year, reading_figures(BASE.tables)
        values.update(compute_readings(values, year, figures))
        evaluation = evaluate(BASE, values)
        for fact, choices in bears_on(BASE, evaluation).items():
            direct, further = reach(INDEX, fact)
            assert choices <= {*direct, *further}, fact


@pytest.mark.parametrize(
    ("raw", "lines"),
    [
        ({"build.thickness_mm": {"between": [215, 240]}}, ["build.thickness_mm is from 215 to 240 mm"]),
        ({"not": {"build.thickness_mm": {"between": [215, 240]}}}, ["build.thickness_mm is not from 215 to 240 mm"]),
        ({"evidence.leaks": ["active", "repaired"]}, ["evidence.leaks is active or repaired"]),
        ({"evidence.leaks": {"none_of": ["active", "repaired"]}}, ["evidence.leaks is neither active nor repaired"]),
        ({"evidence.leaks": {"is_not": "active"}}, ["evidence.leaks is not active"]),
        ({"evidence.leaks": "unknown"}, ["evidence.leaks is unknown"]),
        ({"not": {"evidence.leaks": "known"}}, ["evidence.leaks is unknown or does not apply"]),
        ({"not": {"evidence.leaks": "unknown"}}, ["evidence.leaks is known or does not apply"]),
        (
            {"not": {"all": [{"evidence.leaks": "known"}, {"evidence.leaks": "active"}]}},
            ["evidence.leaks is not known to be active"],
        ),
        (
            {"not": {"all": [{"build.length_m": "known"}, {"build.length_m": {"below": 3}}]}},
            ["build.length_m is not known to be below 3 m"],
        ),
        ({"floor.timbers_built_in": "none"}, ["floor.timbers_built_in is none"]),
        (
            {"floor.timbers_built_in": {"excludes": "wall_plate"}},
            ["floor.timbers_built_in does not include wall_plate"],
        ),
        (
            {"all": [{"floor.timbers_built_in": "known"}, {"not": {"floor.timbers_built_in": "none"}}]},
            ["floor.timbers_built_in is known to be other than none"],
        ),
        (
            {"not": {"any": [{"evidence.leaks": "active"}, {"evidence.tide_mark": True}]}},
            ["none of these:", "evidence.leaks is active", "evidence.tide_mark is yes"],
        ),
        (
            {"not": {"all": [{"evidence.leaks": "active"}, {"evidence.tide_mark": True}]}},
            ["not all of these:", "evidence.leaks is active", "evidence.tide_mark is yes"],
        ),
        ({"not": {"not": {"evidence.leaks": "active"}}}, ["evidence.leaks is active"]),
        (
            {
                "all": [
                    {"evidence.tide_mark": False},
                    {"evidence.leaks": "known"},
                    {"evidence.leaks": "active"},
                    {"evidence.mould": "none"},
                ]
            },
            [
                "all of these:",
                "evidence.tide_mark is no",
                "evidence.leaks is known to be active",
                "evidence.mould is none",
            ],
        ),
    ],
)
def test_conditions_in_words(raw, lines):
    problems = []
    condition = ConditionParser(facts(), lambda *problem: problems.append(problem)).parse(raw, ())
    assert not problems
    assert [entry.text for entry in condition_entries(condition)] == lines


def test_what_a_condition_asks_of_the_unknown():
    def asks(raw):
        condition = ConditionParser(facts(), lambda *_: None).parse(raw, ())
        return [leaf.asks for leaf in leaves(condition)]

    unless = {"all": [{"evidence.leaks": "known"}, {"evidence.leaks": "active"}]}
    assert asks({"evidence.leaks": "unknown"}) == ["unknown"]
    assert asks({"not": {"evidence.leaks": "known"}}) == ["unknown"]
    assert asks({"evidence.leaks": "known"}) == ["known"]
    assert asks({"evidence.leaks": "active"}) == ["value"]
    assert asks(unless) == ["value"]
    assert asks({"not": unless}) == ["unless_known"]
    assert asks({"not": {"any": [unless, {"evidence.tide_mark": True}]}}) == ["unless_known", "value"]


# ---- Look-up ----


def test_every_id_finds_exactly_itself():
    for id_ in INDEX.refs:
        for written in (id_, id_.upper(), id_.lower(), f" {id_} "):
            found = INDEX.find(written)
            assert found is not None
            assert found.page is not None, written
            assert found.page.id == id_, written


def test_short_names_find_what_they_name():
    for name, members in BASE.members.items():
        for member in members:
            found = explained(INDEX, member)
            named = [page.id for page in found.pages] + [ref.id for ref in found.matches]
            assert f"{name}={member}" in named
    for source in BASE.sources.values():
        found = INDEX.find(source.short)
        assert found is not None
        assert source.id in ([found.page.id] if found.page else [ref.id for ref in found.matches])
    for term in GLOSSARY.terms.values():
        for word in (term.term, *term.also):
            found = explained(INDEX, word)
            assert f"term.{term.id}" in [page.id for page in found.pages] + [ref.id for ref in found.matches]


@functools.cache
def _all_names():
    return tuple((name, page) for name, held in INDEX._names.items() for _, page in held)


@settings(max_examples=300, deadline=None)
@given(st.data())
def test_the_beginning_of_an_id_finds_all_that_begin_so(data):
    id_ = data.draw(st.sampled_from(sorted(INDEX.refs)))
    beginning = id_[: data.draw(st.integers(1, len(id_)))]
    if not normalised(beginning):
        return
    found = INDEX.find(beginning)
    assert found is not None
    wanted = normalised(beginning)
    exact = {page for name, page in _all_names() if name == wanted}
    alike = {page for name, page in _all_names() if name.startswith(wanted)}
    if exact:
        assert found.by == "name"
        assert exact >= ({found.page.id} if found.page else {ref.id for ref in found.matches})
    elif len(alike) == 1:
        assert found.page is not None
        assert found.page.id == id_
    else:
        assert found.page is None
        assert {ref.id for ref in found.matches} == alike


LETTERS = "abcdefghijklmnopqrstuvwxyz0123456789_.-"


@st.composite
def slips(draw):
    """An id of a rule or a fact, and the same with one letter wrong, missing, too many, or two the wrong way about."""
    id_ = draw(st.sampled_from((*sorted(BASE.by_id), *sorted(facts()))))
    at = draw(st.integers(0, len(id_) - 1))
    letter = draw(st.sampled_from(LETTERS))
    how = draw(st.sampled_from(("other", "missing", "more", "about")))
    wrong = {
        "other": id_[:at] + letter + id_[at + 1 :],
        "missing": id_[:at] + id_[at + 1 :],
        "more": id_[:at] + letter + id_[at:],
        "about": id_[:at] + id_[at : at + 2][::-1] + id_[at + 2 :],
    }[how]
    return id_, wrong


@settings(max_examples=300, deadline=None)
@given(slips())
def test_one_slip_of_the_pen_is_forgiven(slip):
    id_, wrong = slip
    found = INDEX.find(wrong)
    if found is None:
        assert id_ in INDEX.near(wrong), wrong
        with pytest.raises(BadInput, match=re.escape(id_)):
            explained(INDEX, wrong)
    elif found.page is None:
        assert found.matches
    elif found.by == "name":
        assert normalised(wrong) in {name for name, page in _all_names() if page == found.page.id}


def test_a_word_of_the_trade_comes_first_and_the_rest_beside_it():
    found = explained(INDEX, "cream")
    assert [page.id for page in found.pages] == ["term.injection_cream"]
    assert "medium=cream" in [ref.id for ref in found.matches]
    assert any(ref.kind == "rule" for ref in found.matches)
    assert explained(INDEX, "damp-proof course").pages[0].id == "term.damp_proof_course"
    assert explained(INDEX, "Bed Joint").pages[0].id == "term.bed_joint"


def test_several_are_listed_and_words_of_titles_come_last():
    found = explained(INDEX, "M-03")
    assert (found.pages, found.found_by) == ((), "beginning")
    assert {ref.id for ref in found.matches} == {rule.id for rule in BASE.rules if rule.id.startswith("M-03")}
    found = explained(INDEX, "repellent resists water")
    assert (found.found_by, [page.kind for page in found.pages]) == ("words", ["rule"])
    assert "repellent" in found.pages[0].title
    found = explained(INDEX, "gutters")
    assert (found.found_by, found.pages) == ("words", ())
    assert len(found.matches) > 1


# ---- Formats ----


def single(page):
    whole = all_pages()
    return whole.model_copy(update={"pages": (page,), "asked": page.id, "found_by": "name"})


def test_every_page_fits_80_columns_piped(monkeypatch):
    monkeypatch.setenv("COLUMNS", "80")
    for page in all_pages().pages:
        shown = as_text(single(page))
        assert max(map(len, shown.splitlines())) <= 80, page.id
        assert "\x1b" not in shown
        assert "…" not in shown
        assert shown.startswith(page.id)
        for heading in HEADINGS[page.kind]:
            assert f"\n{heading.upper()}\n" in shown
        assert LIMITS in " ".join(shown.split())


def test_every_page_fits_80_columns_on_a_terminal(monkeypatch):
    monkeypatch.setenv("COLUMNS", "80")
    monkeypatch.setenv("TERM", "xterm-256color")
    monkeypatch.delenv("NO_COLOR", raising=False)
    monkeypatch.setattr(sys.stdout, "isatty", lambda: True, raising=False)
    coloured = 0
    for page in all_pages().pages[::9]:
        shown = as_text(single(page))
        coloured += "\x1b[1m" in shown
        assert max(len(re.sub(r"\x1b\[[0-9;]*m", "", line)) for line in shown.splitlines()) <= 80, page.id
    assert coloured
    assert "\x1b" not in as_text(single(all_pages().pages[0]), plain=True)


def test_every_page_as_markdown_and_json():
    schema = Explained.model_json_schema()
    for page in all_pages().pages:
        shown = as_markdown(single(page))
        for heading in HEADINGS[page.kind]:
            assert f"\n### {heading}\n" in shown
        assert "](#" not in shown
        data = json.loads(as_json(single(page)))
        assert data["format"] == "bedjoint-page-1"
        assert Explained.model_validate_json(json.dumps(data)) == single(page)
    jsonschema.Draft202012Validator(schema).validate(json.loads(as_json(single(all_pages().pages[0]))))
    jsonschema.Draft202012Validator(schema).validate(json.loads(as_json(listing(INDEX))))


def test_links_in_the_document_of_all_pages_lead_somewhere():
    shown = as_markdown(all_pages())
    anchors = re.findall(r'<a id="([^"]+)">', shown)
    assert len(anchors) == len(set(anchors)) == len(all_pages().pages)
    targets = re.findall(r"\]\(#([^)]+)\)", shown)
    assert set(targets) == set(anchors)
    contents = shown[: shown.index("<a id=")]
    for page in all_pages().pages:
        assert f"(#{anchor(page.id)})" in contents


def test_the_list_holds_every_id(monkeypatch):
    monkeypatch.setenv("COLUMNS", "80")
    shown = as_text(listing(INDEX))
    for id_ in INDEX.refs:
        assert re.search(rf"^  {re.escape(id_)}(\s|$)", shown, re.MULTILINE), id_
    assert max(map(len, shown.splitlines())) <= 80


# ---- The command ----


def test_one_page_on_the_command_line(capsys):
    code, out, err = run(capsys, "explain", "m-035")
    assert (code, err) == (0, "")
    assert out.startswith("M-035  ")
    code, out, _ = run(capsys, "explain", "bed", "joint", "--format", "markdown")
    assert code == 0
    assert out.startswith("## term.bed\\_joint: Bed joint\n")
    code, out, _ = run(capsys, "explain", "verdict=treat", "--rules", BASE.manifest.version, "--format", "json")
    assert code == 0
    assert json.loads(out)["pages"][0]["id"] == "verdict=treat"


def test_a_page_found_by_words_says_so(capsys):
    code, out, _ = run(capsys, "explain", "repellent", "resists", "water")
    assert code == 0
    assert out.startswith("Nothing is called repellent resists water; this has these words in its title:\n\n")


def test_several_on_the_command_line_are_no_failure(capsys):
    code, out, err = run(capsys, "explain", "M-03")
    assert (code, err) == (0, "")
    assert re.match(r"\d+ names begin with M-03:\n", out)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ([], "TERM: is missing"),
        (["  "], "TERM: is missing"),
        (["M-035", "--all"], "TERM and --all: do not go together"),
        (["--all", "--list"], "--all and --list"),
        (["M-035", "--rules", "1999.1"], "no such version"),
        (["sorptivty"], "did you mean sorptivity?"),
        (["build.thicknes_mm"], "did you mean build.thickness_mm?"),
        (["qqqq"], "nothing of this name"),
        (["[/b] :warning:"], "nothing of this name"),
    ],
)
def test_what_cannot_be_explained_is_said(capsys, arguments, words):
    code, out, err = run(capsys, "explain", *arguments)
    assert (code, out) == (2, "")
    assert words in err


def test_all_pages_are_written_whole(capsys, tmp_path):
    target = tmp_path / "pages.md"
    code, out, err = run(capsys, "explain", "--all", "--format", "markdown", "--output", str(target))
    assert (code, out) == (0, "")
    assert str(target) in err
    assert target.read_text() == as_markdown(all_pages())
    code, _, _ = run(capsys, "explain", "nothing-like-this", "--output", str(tmp_path / "none.md"))
    assert code == 2
    assert [path.name for path in tmp_path.iterdir()] == ["pages.md"]


def test_the_same_bytes_in_every_process():
    seed = "2" if os.environ.get("PYTHONHASHSEED") == "1" else "1"
    shown = subprocess.run(
        [*COMMAND, "explain", "--all", "--format", "json"],
        capture_output=True,
        check=True,
        env={**os.environ, "PYTHONHASHSEED": seed},
    ).stdout
    assert shown.decode() == as_json(all_pages())


# ---- The glossary beside the versions ----


def test_the_glossary_lies_beside_the_versions_and_harms_none():
    assert (rules_folder() / "glossary.yaml").is_file()
    assert [each.version for each in versions()] == sorted(p.name for p in rules_folder().glob("[0-9]*.[0-9]*"))


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("{}", "is not a list"),
        ("- {id: a, term: a, meaning: A word. Another.}\n", "names its source or is one of ours"),
        ("- {id: a, term: a, meaning: A word. Another., ours: yes, source: x}\n", "names its source"),
        ("- {id: a, term: a, meaning: A word. Another., ours: yes, scale: word}\n", "go together"),
        ("- {id: a, term: a, meaning: A word. Another., ours: yes, colour: x}\n", "colour"),
        (
            "- {id: a, term: a, meaning: A word., ours: yes}\n- {id: a, term: b, meaning: A word., ours: yes}\n",
            "stands twice",
        ),
    ],
)
def test_a_bad_glossary_is_refused_in_words(tmp_path, text, words):
    (tmp_path / "glossary.yaml").write_text(text)
    with pytest.raises(BadInput, match=re.escape(words)):
        load_glossary(tmp_path)


# ---- Completion ----


def context(**params):
    return types.SimpleNamespace(params=params)


@pytest.fixture
def no_shell(monkeypatch):
    for name in ("COMP_WORDS", "COMP_CWORD"):
        monkeypatch.delenv(name, raising=False)


def values(offers):
    return [value for value, _ in offers]


@pytest.mark.usefixtures("no_shell")
def test_what_is_offered():
    assert values(completion.rule_ids(context(), "")) == list(BASE.by_id)
    assert values(completion.rule_ids(context(), "m-03")) == [
        f"m-{rule.id[2:]}" for rule in BASE.rules if rule.id.startswith("M-03")
    ]
    assert values(completion.choice_ids(context(), "")) == list(BASE.choices)
    options = [f"{c.id}={o.id}" for c in BASE.choices.values() for o in c.options]
    assert values(completion.choice_options(context(), "")) == options
    assert values(completion.choice_options(context(), "medium=c")) == ["medium=cream"]
    assert values(completion.fact_names(context(), "")) == list(facts())
    assert values(completion.fact_settings(context(), "")) == [f"{name}=" for name in facts()]
    assert values(completion.fact_settings(context(), "evidence.tide_mark=")) == [
        "evidence.tide_mark=yes",
        "evidence.tide_mark=no",
        "evidence.tide_mark=unknown",
    ]
    assert "build.construction=solid_brick" in values(completion.fact_settings(context(), "build.construction=s"))
    assert values(completion.rule_versions(context(), "")) == [each.version for each in versions()]
    assert values(completion.stages(context(), "")) == list(model.STAGES)
    members = {f"{name}={member}" for name, several in BASE.members.items() for member in several}
    assert set(values(completion.set_members(context(), ""))) == members


@pytest.mark.usefixtures("no_shell")
def test_every_offer_for_explain_leads_to_a_page():
    offers = completion.explain_ids(context(), "")
    assert set(INDEX.refs) <= set(values(offers))
    assert len(set(values(offers))) == len(offers)
    for value, says in offers:
        found = INDEX.find(value)
        assert found is not None
        assert found.page is not None, value
        assert "\n" not in says
        assert "[" not in says
    assert "silica_dust" in values(completion.explain_ids(context(), "silica"))


@pytest.mark.usefixtures("no_shell")
def test_a_broken_rule_base_offers_nothing_and_says_nothing(capsys, monkeypatch, tmp_path):
    folder = tmp_path / "2026.1"
    folder.mkdir()
    (folder / "manifest.yaml").write_text("version: [\n")
    monkeypatch.setattr("engine.rulebase.load.rules_folder", lambda: tmp_path)
    monkeypatch.setattr("engine.rulebase.versions.versions", lambda: versions(tmp_path))
    for source in (completion.explain_ids, completion.rule_ids, completion.choice_options, completion.rule_versions):
        assert source(context(), "") == []
    assert completion.rule_ids(context(rules="1999.1"), "") == []
    assert capsys.readouterr() == ("", "")


@pytest.mark.usefixtures("no_shell")
def test_whatever_is_typed_nothing_fails():
    for typed in ('"', "'", "\\", "=", "==", "\x00", "é", "[", "-", "x" * 5000):
        for source in (completion.explain_ids, completion.fact_settings, completion.choice_options):
            assert isinstance(source(context(), typed), list)


def completed(shell, line):
    """What the installed completion of a shell gets for a line, by the protocol the shell's script uses."""
    words = line.split(" ")
    environment = {"_BEDJOINT_COMPLETE": f"complete_{shell}"}
    if shell == "bash":
        # bash ends a word at every `=` and passes that as a word of its own
        words = [part for word in words for part in re.split("(=)", word) if part] + ([""] if line[-1] == " " else [])
        environment |= {"COMP_WORDS": "\n".join(words), "COMP_CWORD": str(len(words) - 1)}
    else:
        environment |= {"_TYPER_COMPLETE_ARGS": line, "_TYPER_COMPLETE_FISH_ACTION": "get-args"}
    found = subprocess.run(COMMAND, capture_output=True, env={**os.environ, **environment}, check=False)
    assert b"Traceback" not in found.stderr
    assert found.stderr == b""
    return found.stdout.decode()


def test_completion_in_bash():
    wanted = [rule.id for rule in BASE.rules if rule.id.startswith("M-03")]
    assert completed("bash", "bedjoint explain M-03").split() == wanted
    assert completed("bash", "bedjoint explain medium=cr").split() == ["cream"]
    options = [option.id for option in BASE.choices["medium"].options]
    assert completed("bash", "bedjoint explain medium=").split() == options
    assert completed("bash", "bedjoint explain M-035 --rules 2026").split() == [each.version for each in versions()]
    assert completed("bash", "bedjoint explain --rules 1999.1 M-03").split() == []


@pytest.mark.parametrize("shell", ["zsh", "fish"])
def test_completion_in_other_shells(shell):
    said = completed(shell, "bedjoint explain medium=c")
    assert "medium=cream" in said
    assert "injection cream" in said


def test_the_glossary_is_shipped():
    project = pathlib.Path(__file__).parent.parent / "pyproject.toml"
    assert 'rules = ["**/*.yaml"]' in project.read_text()
