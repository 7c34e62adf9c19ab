"""The page in a real browser, opened from disk: totals, filters, reasons, keyboard, and that it keeps to itself."""

import itertools
import time

import polars as pl
import pytest

from cli.page import render_page
from cli.page_walls import newest_first
from engine.archive.results_batches import gravest
from engine.archive.totals import totals
from tests.page.browser import browser, needs_browser, opened, requests
from tests.page.made_archive import BASES, TEXTS, results, run_facts

pytestmark = needs_browser

GRADES = ("must", "should", "consider")
SCRIPT = '</script><script>window.taken=1</script><img src=x onerror="window.taken=2"> & "q" {0}'


@pytest.fixture(scope="module")
def frame():
    return results()


@pytest.fixture(scope="module")
def rows(frame):
    return gravest(frame.lazy(), frame.height).to_dicts()


@pytest.fixture(scope="module")
def found(frame):
    return totals(frame.lazy(), run_facts(frame), BASES)


@pytest.fixture(scope="module")
def path(frame, found, tmp_path_factory):
    made = tmp_path_factory.mktemp("page") / "page.html"
    made.write_text(render_page(frame.lazy(), found, BASES), encoding="utf-8", newline="\n")
    return made


@pytest.fixture(scope="module")
def driver():
    with browser() as made:
        yield made


@pytest.fixture
def page(driver, path):
    opened(driver, path)
    yield driver
    assert [entry for entry in driver.get_log("browser") if entry["level"] != "INFO"] == []


def count(driver):
    return driver.find_element("id", "count").text


def wait_for(driver, wanted, seconds=5):
    until = time.monotonic() + seconds
    while count(driver) != wanted:
        assert time.monotonic() < until, (count(driver), wanted)
        time.sleep(0.02)


def numbers(driver):
    """The numbers of the walls in the list, read at once: the list may be drawn anew at any moment."""
    return driver.execute_script("return [...document.querySelectorAll('#rows tbody th a')].map(a => a.innerText)")


def said(number, whole=240):
    return f"{whole} walls" if number == whole else f"{number} of {whole} walls"


def choose(driver, **wanted):
    """Set filters as a hand would: the value, and the event that follows."""
    driver.execute_script(
        """const form = document.getElementById("filters");
        form.reset();
        for (const [name, value] of Object.entries(arguments[0])) form.elements[name].value = value;
        form.dispatchEvent(new Event("input", {bubbles: true}));""",
        wanted,
    )
    time.sleep(0.2)


def test_the_totals_shown_are_the_totals(page, found):
    for name in ("rows", "decided", "rejected", "repeated"):
        shown = page.find_element("css selector", f'.sum [data-total="{name}"] b').text
        assert shown == f"{getattr(found, name):,}"
    for kind in (*GRADES, "agree", "not_decidable", "not_recorded"):
        assert page.find_element("css selector", f'[data-total="{kind}"] dd').text == str(getattr(found.walls, kind))
    assert count(page) == "240 walls"


def against(row, rule):
    spoken = any(rule in (told or ()) for name, told in row.items() if name.startswith("against."))
    base = BASES[row["rules"]]
    place = [each.id for each in base.rules].index(rule) if rule in base.by_id else None
    if spoken or place is None or not row[f"fired.{place // 64}"] >> place % 64 & 1:
        return spoken
    return any(member in row[f"left_out.{name}"] for name, member in base.by_id[rule].adds)


@pytest.mark.parametrize(
    ("wanted", "stays"),
    [
        ({"grade": "must"}, lambda r: r["worst"] == "must"),
        ({"grade": "not_decidable"}, lambda r: r["worst"] == "not_decidable"),
        ({"point": "medium"}, lambda r: r["finding.medium"] == "differs"),
        ({"point": "medium", "grade": "consider"}, lambda r: r["grade.medium"] == "consider"),
        ({"point": "plaster", "grade": "agree"}, lambda r: r["finding.plaster"] == "agree"),
        ({"point": "installed", "grade": "should"}, lambda r: r["grade.installed"] == "should"),
        ({"point": "cautions"}, lambda r: r["left_out.cautions"]),
        ({"point": "cautions", "grade": "must"}, lambda r: r["left_out_grade.cautions"] == "must"),
        ({"point": "works", "grade": "not_recorded"}, lambda r: r["recommended.works"] is None),
        ({"rule": "m-001"}, lambda r: against(r, "M-001")),
        ({"rule": "C-003"}, lambda r: against(r, "C-003")),
        ({"rule": "Z-999"}, lambda r: False),
        ({"surveyor": "=S2"}, lambda r: r["surveyor"] == "S2"),
        ({"surveyor": "-"}, lambda r: r["surveyor"] is None),
        ({"year": "=2021"}, lambda r: r["survey_date"].year == 2021),
        ({"construction": "=flint"}, lambda r: r["build.construction"] == "flint"),
        ({"outcome": "=worse"}, lambda r: r["outcome.result"] == "worse"),
        ({"text": "RAIN"}, lambda r: r["note"] == "seen after rain"),
        ({"text": "ferry rain"}, lambda r: "Ferry" in r["reference"] and r["note"] == "seen after rain"),
        (
            {"surveyor": "=S2", "grade": "should", "year": "=2024"},
            lambda r: (r["surveyor"], r["worst"], r["survey_date"].year) == ("S2", "should", 2024),
        ),
    ],
)
def test_filters_leave_the_walls_they_should(page, rows, wanted, stays):
    expected = [at for at, row in enumerate(rows, 1) if stays(row)]
    choose(page, **wanted)
    wait_for(page, said(len(expected)))
    assert numbers(page) == [str(at) for at in expected[:50]]


def test_every_wall_can_be_paged_to(page):
    seen = []
    while True:
        seen += numbers(page)
        following = page.find_element("css selector", '#pager [data-page="next"]')
        if not following.is_enabled():
            break
        following.click()
    assert seen == [str(at) for at in range(1, 241)]
    page.find_element("css selector", '#pager [data-page="first"]').click()
    assert page.find_element("css selector", "#rows tbody th a").text == "1"


def open_wall(driver, number):
    driver.execute_script(f"location.hash = '#w{number}'")
    until = time.monotonic() + 5
    while not driver.find_element("id", "wall-title").text.startswith(f"No. {number}:"):
        assert time.monotonic() < until
    return driver.find_element("id", "wall")


def test_a_click_leads_to_the_reasons(page, rows):
    page.find_element("css selector", "#rows tbody th a").click()
    time.sleep(0.1)
    row, base = rows[0], BASES[rows[0]["rules"]]
    text = page.find_element("id", "wall").text
    assert row["reference"] in text
    for name, told in row.items():
        if not name.startswith("against.") or row[f"finding.{name.partition('.')[2]}"] != "differs":
            continue
        for rule in told:
            assert f"{rule} {base.by_id[rule].word} {base.by_id[rule].title}" in text
            assert base.by_id[rule].raw.because in text
            assert base.sources[base.by_id[rule].cites[0].source].short in text
    assert page.find_element("id", "wall-title") == page.switch_to.active_element


def test_each_wall_shows_its_own_decision_rules_and_what_it_left_out(page, rows):
    for number in (1, 2, 77, 150, 240):
        row, base = rows[number - 1], BASES[rows[number - 1]["rules"]]
        shown = open_wall(page, number)
        text = shown.text
        lines = page.execute_script(
            """return [...document.querySelectorAll("#wall .points")][0].innerText.split("\\n").map(s => s.trim())"""
        )
        for name, choice in base.choices.items():
            # What two versions name, the newest says.
            newest = next(each.choices[name] for each in newest_first(BASES) if name in each.choices)
            says = {option.id: option.says for option in (*choice.options, *newest.options)}
            assert newest.title in " ".join(lines)
            assert says.get(row[f"decided.{name}"], row[f"decided.{name}"]) in " ".join(lines)
        fired = [r for k, r in enumerate(base.rules) if row[f"fired.{k // 64}"] >> k % 64 & 1]
        assert f"The rules that hold ({len(fired)})" in text
        assert all(f"{rule.id} {rule.word} {rule.title}" in text for rule in fired)
        for name, members in base.members.items():
            for member in row[f"left_out.{name}"]:
                assert members[member].says in text
                asking = [rule for rule in fired if (name, member) in rule.adds]
                assert asking
                assert all(rule.id in text for rule in asking)


def test_escape_closes_a_wall_and_the_next_is_a_button_away(page):
    from selenium.webdriver.common.by import By
    from selenium.webdriver.common.keys import Keys

    open_wall(page, 3)
    page.find_element(By.XPATH, "//dialog//button[text()='Next']").click()
    time.sleep(0.1)
    assert page.find_element("id", "wall-title").text.startswith("No. 4:")
    page.switch_to.active_element.send_keys(Keys.ESCAPE)
    time.sleep(0.1)
    assert not page.execute_script("return document.getElementById('wall').open")
    assert page.switch_to.active_element.text == "4"
    page.switch_to.active_element.send_keys(Keys.ENTER)
    time.sleep(0.1)
    assert page.find_element("id", "wall-title").text.startswith("No. 4:")


def test_a_link_to_a_wall_opens_it(driver, path):
    opened(driver, path, "#w42")
    assert driver.find_element("id", "wall-title").text.startswith("No. 42:")
    opened(driver, path, "#w999")
    assert not driver.execute_script("return document.getElementById('wall').open")


def test_charts_lead_to_the_walls_they_count(page, found):
    for name, group in (("surveyor", found.surveyors), ("year", found.years), ("construction", found.constructions)):
        for each in group:
            page.execute_script(f"location.hash = '#list?{name}={each.name or ''}'")
            wait_for(page, said(each.findings.walls))
    rule = found.rules_broken[0].rule
    page.execute_script(
        "document.querySelector(arguments[0]).dispatchEvent(new MouseEvent('click', {bubbles: true}))",
        f'.chart a[href="#list?rule={rule}"]',
    )
    time.sleep(0.2)
    assert page.execute_script("return document.getElementById('filters').elements.rule.value") == rule
    choice = next(each for each in found.choices if each.choice == "verdict").findings
    page.execute_script("location.hash = '#list?point=verdict'")
    wait_for(page, said(choice.differs.part))


def test_the_page_asks_nobody_for_anything(driver, path):
    driver.get("about:blank")
    driver.get_log("performance")
    opened(driver, path)
    open_wall(driver, 1)
    choose(driver, grade="must")
    time.sleep(0.3)
    assert set(requests(driver)) <= {path.as_uri(), "about:blank"}


def test_script_in_any_text_is_shown_and_never_run(driver, frame, tmp_path):
    hostile = {name: SCRIPT.format(name) for name in TEXTS}
    walls = frame.with_columns(pl.lit(text).alias(name) for name, text in hostile.items())
    run = run_facts(walls, rejected=((0, SCRIPT.format("kind"), 2),))
    path = tmp_path / "hostile.html"
    path.write_text(render_page(walls.lazy(), totals(walls.lazy(), run, BASES), BASES), encoding="utf-8", newline="\n")
    driver.get_log("browser")
    opened(driver, path)
    shown = open_wall(driver, 1).text
    for name, text in hostile.items():
        assert text in shown, name
    driver.execute_script("document.getElementById('wall').close()")
    listed = driver.find_element("id", "rows").text
    assert hostile["reference"] in listed
    assert hostile["surveyor"] in driver.find_element("name", "surveyor").text
    worst = driver.find_element("id", "worst").text
    assert hostile["note"] not in worst
    assert hostile["wall"] in worst
    choose(driver, text="window.taken=1")
    wait_for(driver, "240 walls")
    driver.execute_script(
        "location.hash = arguments[0]", "#list?surveyor=" + "%3Cimg%20src%3Dx%20onerror%3Dalert(1)%3E"
    )
    time.sleep(0.2)
    assert driver.execute_script("return window.taken") is None
    assert driver.find_elements("css selector", "img") == []
    assert [entry for entry in driver.get_log("browser") if entry["level"] != "INFO"] == []


def test_the_policy_stops_a_script_that_is_not_the_pages_own(page):
    page.execute_script(
        """const script = document.createElement("script"); script.textContent = "window.taken = 3";
        document.body.append(script);"""
    )
    assert page.execute_script("return window.taken") is None
    refused = [entry["message"] for entry in page.get_log("browser") if entry["level"] == "SEVERE"]
    assert any("Content Security Policy" in message for message in refused)


def test_nothing_is_wider_than_a_narrow_screen(driver, path):
    size = {"width": 400, "height": 800, "deviceScaleFactor": 1, "mobile": True}
    driver.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
    try:
        opened(driver, path)
        assert driver.execute_script("return document.documentElement.scrollWidth") <= 400
        open_wall(driver, 1)
        assert driver.execute_script("return document.getElementById('wall').scrollWidth") <= 400
    finally:
        driver.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})


def test_headings_are_in_order_and_controls_have_names(page):
    levels = page.execute_script("return [...document.querySelectorAll('h1,h2,h3')].map(h => Number(h.tagName[1]))")
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(later - earlier <= 1 for earlier, later in itertools.pairwise(levels))
    nameless = page.execute_script(
        "return [...document.querySelectorAll('#filters input, #filters select')].filter(f => !f.labels.length).length"
    )
    assert nameless == 0
    twice = page.execute_script(
        "const ids = [...document.querySelectorAll('[id]')].map(e => e.id); return ids.length - new Set(ids).size"
    )
    assert twice == 0


def test_a_wall_that_is_not_decidable_names_the_command_and_a_day_stays_on_one_line(page, rows):
    at = next(n for n, row in enumerate(rows, 1) if "not_decidable" in [row[k] for k in row if k[:8] == "finding."])
    assert "bedjoint review SURVEY --recommended FILE" in open_wall(page, at).text
    at = next(n for n, row in enumerate(rows, 1) if "not_decidable" not in [row[k] for k in row if k[:8] == "finding."])
    assert "bedjoint review" not in open_wall(page, at).text
    days = page.execute_script(
        "return [...document.querySelectorAll('#rows .day')].map((day) => day.getClientRects().length)"
    )
    assert set(days) == {1}
