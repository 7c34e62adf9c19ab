"""The page as text: what stands in it without a browser, and that what it carries can be unpacked."""

import base64
import gzip
import hashlib
import json
import re
import struct

import pytest

from cli.page import render_page
from cli.page_sections import DECIDING, SECTIONS, totals_section
from cli.page_walls import packed, texts
from engine.archive.results_batches import gravest
from engine.archive.totals import totals
from engine.decision.assess import LIMITS
from tests.page.made_archive import BASES, results, run_facts

SCRIPT = '</script><script>document.title="taken"</script><img src=x onerror=alert(1)>'


@pytest.fixture(scope="module")
def frame():
    return results()


@pytest.fixture(scope="module")
def found(frame):
    return totals(frame.lazy(), run_facts(frame), BASES)


@pytest.fixture(scope="module")
def page(frame, found):
    return render_page(frame.lazy(), found, BASES)


def block_of(page):
    text = re.search(r'<script type="text/plain" id="walls">\n(.*?)</script>', page, re.DOTALL).group(1)
    return base64.b64decode(text)


def unpacked(block):
    """The packed walls read back as the page's script reads them: columns of values."""
    data = gzip.decompress(block)
    length = int.from_bytes(data[:4], "little")
    head, body = json.loads(data[4 : 4 + length]), data[4 + length :]
    rows, columns = head["rows"], {}
    even = -(-rows * 4 // 8) * 8
    for name, column in head["columns"].items():
        at = column["at"]
        match column["kind"]:
            case "coded":
                kind = {1: "B", 2: "H", 4: "I"}[column["bytes"]]
                codes = struct.unpack_from(f"<{rows}{kind}", body, at)
                columns[name] = [column["values"][code] for code in codes]
            case "number":
                columns[name] = list(struct.unpack_from(f"<{rows}I", body, at))
            case "bits":
                words = [struct.unpack_from(f"<{rows}I", body, at + w * even) for w in range(column["words"])]
                masks = [sum(word[row] << 32 * w for w, word in enumerate(words)) for row in range(rows)]
                members = column["members"]
                columns[name] = [
                    None if mask >> len(members) & 1 else [m for k, m in enumerate(members) if mask >> k & 1]
                    for mask in masks
                ]
            case "rules":
                for w in range(column["words"]):
                    columns[f"fired.{w}"] = list(struct.unpack_from(f"<{rows}Q", body, at + w * rows * 8))
    return columns


def test_what_the_page_carries_is_what_the_results_hold(page, frame):
    told = unpacked(block_of(page))
    walls = gravest(frame.lazy(), frame.height)
    assert told["row"] == walls["at.row"].to_list()
    for ours, theirs in (("reference", "reference"), ("file", "at.file"), ("installed", "installed.medium")):
        assert told[ours] == walls[theirs].to_list()
    assert told["surveyed"] == [day.isoformat() for day in walls["survey_date"]]
    for name in ("recommended.medium", "against.verdict", "possible.plaster", "finding.installed", "grade.medium"):
        assert told[name] == walls[name].to_list(), name
    for name in ("causes", "works", "tests", "notices", "cautions"):
        for kind in ("recommended", "left_out", "beyond"):
            expected = walls[f"{kind}.{name}"].to_list()
            as_sets = [None if each is None else set(each) for each in told[f"{kind}.{name}"]]
            assert as_sets == [None if each is None else set(each) for each in expected]
    for word in range(6):
        assert told[f"fired.{word}"] == walls[f"fired.{word}"].to_list()


def test_members_of_no_version_are_carried_too(frame):
    walls = frame.head(3).with_columns(frame.head(3)["recommended.works"].map_elements(lambda _: ["strange"]))
    told = unpacked(packed(walls, BASES))
    assert told["recommended.works"] == walls["recommended.works"].to_list()


def test_the_order_is_the_gravest_first(page, found):
    told = unpacked(block_of(page))
    first = list(zip(told["file"], told["row"], strict=True))[: len(found.worst)]
    assert first == [(wall.file, wall.row) for wall in found.worst]


def test_every_rule_text_stands_once(page):
    told = json.loads(re.search(r'id="texts">(.*?)</script>', page, re.DOTALL).group(1))
    assert set(told["versions"]) == set(BASES)
    for version, base in BASES.items():
        assert [told["rules"][place]["id"] for place in told["versions"][version]] == [rule.id for rule in base.rules]
    keys = [json.dumps(rule) for rule in told["rules"]]
    assert len(keys) == len(set(keys)) < sum(len(base.rules) for base in BASES.values())
    assert {k: v for k, v in told.items() if k not in ("limits", "deciding")} == json.loads(json.dumps(texts(BASES)))


def test_the_policy_allows_the_pages_own_style_and_script_and_nothing_else(page):
    policy = re.search(r'http-equiv="Content-Security-Policy" content="([^"]+)"', page).group(1)
    style = re.search(r"<style>(.*?)</style>", page, re.DOTALL).group(1)
    script = re.search(r"<script>(.*?)</script>", page, re.DOTALL).group(1)

    def digest(text):
        return "'sha256-" + base64.b64encode(hashlib.sha256(text.encode()).digest()).decode() + "'"

    assert policy.split("; ") == [
        "default-src 'none'",
        f"style-src {digest(style)}",
        f"script-src {digest(script)}",
        "base-uri 'none'",
        "form-action 'none'",
    ]
    assert page.index("Content-Security-Policy") < page.index("<style>") < page.index("<script>")
    assert not re.search(r"""\s(style|on\w+)\s*=\s*["']""", page[: page.index('<script type="application/json"')])


def test_the_page_says_what_it_is_not_for(page):
    heading = page[page.index("<header>") : page.index("<main>")]
    assert LIMITS.replace("'", "&#x27;") in heading
    assert '<html lang="en">' in page


def test_script_in_any_text_is_text(frame):
    import polars as pl

    walls = frame.with_columns(
        pl.lit(SCRIPT).alias(name) for name in ("reference", "note", "surveyor", "wall", "at.file", "at.sheet")
    )
    run = run_facts(walls, rejected=((0, SCRIPT, 2),))
    page = render_page(walls.lazy(), totals(walls.lazy(), run, BASES), BASES)
    assert "<img" not in page
    assert page.count("<script") == 3


def test_the_same_walls_give_the_same_page(page, frame, found):
    assert render_page(frame.lazy(), found, BASES) == page


def test_a_page_that_cannot_hold_all_walls_says_so(frame, found):
    page = render_page(frame.lazy(), found, BASES, page_walls=50)
    assert "<b>50</b> gravest of 240 walls. The other 190 are in" in page
    assert len(unpacked(block_of(page))["row"]) == 50


def test_every_number_that_is_drawn_is_written_beside_its_mark(page, found):
    charts = re.findall(r'<svg class="chart".*?</svg>', page, re.DOTALL)
    assert len(charts) >= 8
    by_choice = next(chart for chart in charts if 'id="by-choice-title"' in chart)
    # A line may break between a word and its number.
    told = " ".join(re.findall(r">([^<]*)</text>", by_choice))
    for each in found.choices:
        for kind in ("must", "should", "consider", "agree"):
            number = getattr(each.findings, kind)
            assert not number or f"{kind} {number:,}" in told
    assert all("<title" in chart and "<desc" in chart and 'role="img"' in chart for chart in charts)
    small = [group for group in found.constructions if group.findings.differs.small]
    drawn = next(chart for chart in charts if 'id="by-construction-title"' in chart)
    assert drawn.count("small-numbers") == len(small) > 0
    assert drawn.count("a small number") >= len(small)


def test_an_archive_without_a_wall_is_a_page_too(frame):
    run = run_facts(frame, rejected=(), repeated=(0, 0))
    nothing = run.model_copy(update={"files": tuple(f.model_copy(update={"rows": 0}) for f in run.files)})
    walls = frame.head(0)
    page = render_page(walls.lazy(), totals(walls.lazy(), nothing, BASES), BASES)
    assert "No wall differs." in page
    assert "No outcome is recorded." in page


def test_where_everything_was_rejected_the_reasons_are_unfolded(page, frame, found):
    assert "<details><summary>By file, and why" in page
    nothing = found.model_copy(update={"rows": found.rejected, "decided": 0, "repeated": 0})
    assert "<details open><summary>By file, and why" in totals_section(nothing)


def test_the_gravest_differences_stand_right_after_the_totals(page):
    sections = re.findall(r'<section id="([a-z]+)"', page)
    assert sections[:2] == ["totals", "worst"]
    assert sections == [anchor for anchor, _ in SECTIONS]
    assert re.search(r'data-total="must"><dt>against a must</dt>', page)


def test_no_line_of_a_chart_runs_through_its_words(page):
    charts = re.findall(r'<svg class="chart".*?</svg>', page, re.DOTALL)
    lines = 0
    for chart in charts:
        words = [float(y) for y in re.findall(r'<text class="[^"]*" x="[^"]*" y="([^"]+)"', chart)]
        for low, high in re.findall(r'<line class="grid"[^>]* y1="([^"]+)" y2="([^"]+)"', chart):
            lines += 1
            assert not [y for y in words if float(low) < y - 9 < float(high) or float(low) + 1 < y < float(high)]
    assert lines > 20


def test_what_is_not_decidable_names_the_command_that_says_what_would_decide_it(page):
    assert page.count(DECIDING) == 2
    assert "\u201cAnother to consider\u201d: no must and no should" in page
