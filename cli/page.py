"""The results of a check of past jobs as one page: a file that needs nothing besides itself."""

from __future__ import annotations

import base64
import hashlib
import io
import json
import pathlib
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, TextIO

from cli.page_sections import (
    DECIDING,
    differences_section,
    failures_section,
    heading,
    installed_section,
    rules_section,
    said,
    totals_section,
    worst_section,
)
from cli.page_walls import carried, packed, texts

if TYPE_CHECKING:
    import polars as pl

    from engine.archive.totals_model import Totals
    from engine.rulebase.rules import RuleBase

PAGE_WALLS = 200_000
"""As many walls as a page holds unless told otherwise, the gravest first."""

_ASSETS = pathlib.Path(__file__).parent / "page_assets"
_LINE = 1 << 16


def render_page(
    walls: pl.LazyFrame, totals: Totals, bases: Mapping[str, RuleBase], page_walls: int = PAGE_WALLS
) -> str:
    """The page as text; see `write_page`."""
    out = io.StringIO()
    write_page(out, walls, totals, bases, page_walls)
    return out.getvalue()


def write_page(
    out: TextIO,
    walls: pl.LazyFrame,
    totals: Totals,
    bases: Mapping[str, RuleBase],
    page_walls: int = PAGE_WALLS,
) -> None:
    """Write the page of a check of past jobs.

    Args:
        out: where to; text in UTF-8, line ends as they are.
        walls: the results file, a wall a row.
        totals: what the whole of it comes to.
        bases: the rules that judged, by version.
        page_walls: how many walls the page holds at most, the gravest first. The page says how many it leaves out.
    """
    from engine.archive.results_batches import gravest
    from engine.archive.results_text import BESIDE_RULES

    frame = gravest(walls.select(carried(walls.collect_schema().names())), page_walls)
    told = texts(bases)
    beside = {**told, "limits": totals.limits, "deciding": DECIDING}
    style, script = _asset("page.css"), _asset("page.js")
    policy = (
        f"default-src 'none'; style-src '{_hash(style)}'; script-src '{_hash(script)}'; "
        "base-uri 'none'; form-action 'none'"
    )
    out.write(f"""<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta http-equiv="Content-Security-Policy" content="{policy}">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="color-scheme" content="light dark">
<meta name="referrer" content="no-referrer">
<title>Past jobs beside the rules</title>
<style>{style}</style>
</head>
<body>
<a class="skip" href="#list">To the list of walls</a>
{heading(totals)}
<main>
{totals_section(totals)}
{worst_section(totals, told)}
{differences_section(totals)}
{rules_section(totals)}
{installed_section(totals, told)}
{failures_section(totals, told, BESIDE_RULES)}
{_list_section(totals, frame.height)}
</main>
<footer><p>{said(totals.limits)}</p></footer>
<dialog id="wall" aria-labelledby="wall-title"></dialog>
<script type="application/json" id="texts">{_in_script(beside)}</script>
<script type="text/plain" id="walls">
""")
    block = base64.b64encode(packed(frame, bases)).decode("ascii")
    for start in range(0, len(block), _LINE):
        out.write(block[start : start + _LINE] + "\n")
    out.write(f"</script>\n<script>{script}</script>\n</body>\n</html>\n")


def _list_section(totals: Totals, held: int) -> str:
    rest = totals.decided - held
    where = f"""<p>The page holds the <b>{held:,}</b> gravest of {totals.decided:,} walls. The other {rest:,} are in
<code>walls.parquet</code> and <code>walls.csv</code>, beside this page.</p>""" if rest else ""  # fmt: skip
    return f"""<section id="list" aria-labelledby="list-title">
<h2 id="list-title" tabindex="-1">Every wall</h2>
{where}<p>The gravest first. The number of a wall, or a click on its row, opens all that there is on it.</p>
<noscript><p><strong>The list needs scripts, which are off. All walls are in <code>walls.csv</code>.</strong></p>
</noscript>
<form id="filters" role="search" aria-label="Filter the walls" hidden>
<label>Text <input type="search" name="text" placeholder="reference, wall, note, file"></label>
<label>Grade <select name="grade"></select></label>
<label>Point <select name="point"></select></label>
<label>Rule <input name="rule" list="rule-ids" placeholder="any, such as M-001"></label>
<datalist id="rule-ids"></datalist>
<label>Surveyor <select name="surveyor"></select></label>
<label>Year <select name="year"></select></label>
<label>Construction <select name="construction"></select></label>
<label>Outcome <select name="outcome"></select></label>
<button type="reset">Clear</button>
</form>
<p id="count" role="status" aria-live="polite">Unpacking the walls.</p>
<div id="rows"></div>
<nav id="pager" aria-label="Pages of the list" hidden></nav>
</section>"""


def _asset(name: str) -> str:
    text = (_ASSETS / name).read_text(encoding="utf-8")
    assert "</" not in text
    return text


def _hash(text: str) -> str:
    return "sha256-" + base64.b64encode(hashlib.sha256(text.encode()).digest()).decode("ascii")


def _in_script(data: Mapping[str, Any]) -> str:
    """JSON that cannot end the element it stands in."""
    text = json.dumps(data, ensure_ascii=False, separators=(",", ":"))
    for character in "<>&\u2028\u2029":
        text = text.replace(character, f"\\u{ord(character):04x}")
    return text
