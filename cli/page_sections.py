"""The parts of the page that stand there without its script: totals, charts, the gravest differences."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from html import escape
from typing import TYPE_CHECKING, Any
from urllib.parse import quote

from cli.page_charts import (
    DEFINITIONS,
    KINDS,
    Bar,
    bars_chart,
    findings_chart,
    in_words,
    legend,
    percent,
    shares_chart,
)
from engine.archive.intervals import FEW, WIDE
from engine.archive.results_meaning import ANOTHER
from engine.reasoning.graph_text import legible

if TYPE_CHECKING:
    from engine.archive.intervals import Share
    from engine.archive.totals_model import Difference, Failures, Findings, GroupTotals, LeftOut, SetTotals, Totals

_MOST_FILES = 40
_MOST_GROUPS = 20
_MOST_RULES = 20
_MOST_LEFT_OUT = 12
_MOST_PAIRS = 10
WORST_SHOWN = 25

_SMALL_NUMBERS = (
    "A hollow mark on a broken line stands for a small number, too little to compare by: fewer than "
    f"{FEW} walls, or an interval of {WIDE * 100:.0f} points and wider (the limits of the National Center for Health "
    "Statistics for showing a share, 2017)."
)

DECIDING = "bedjoint review SURVEY --recommended FILE"
"""The command that says which facts would decide what is not decidable."""
_TILES = {
    "must": "against a must",
    "should": "against a should",
    "consider": "against a consider",
    "not_decidable": "not decidable on what was recorded",
}
SECTIONS = (
    ("totals", "Totals"),
    ("worst", "The gravest differences"),
    ("differences", "Differences"),
    ("rules", "Rules broken, and what was left out"),
    ("installed", "What was installed"),
    ("failures", "Recorded failures"),
    ("list", "Every wall"),
)
"""The sections below the heading: their anchor and their title."""


def said(text: object) -> str:
    """Text of any origin as HTML shows it literally."""
    return escape(legible(str(text)))


def plain(word: str | None, unknown: str = "not known") -> str:
    """An option or a member as words."""
    return unknown if word is None else word.replace("_", " ")


def heading(totals: Totals) -> str:
    """What the page is, what it cannot say, and what is on it."""
    judged = "; ".join(f"{each.version} (digest {each.digest[:12]})" for each in totals.rules)
    contents = "".join(f'<li><a href="#{anchor}">{escape(title)}</a></li>' for anchor, title in SECTIONS)
    return f"""<header>
<h1>Past jobs beside the rules</h1>
<p>Every wall of past jobs is judged from the facts that were written down, and set beside what was recommended, what
was installed, and how it turned out. Where they differ the page says which rules speak against what was done, how
strongly, and on what sources.</p>
<p class="limits"><strong>{said(totals.limits)}</strong></p>
<p class="small">{said(totals.engine)}; judged by rules {said(judged)}; {totals.on.isoformat()}. A difference is a
reason to look at the job again; it is not proof that anybody was wrong. Recorded outcomes are those that somebody wrote
down, and no comparison here is a trial.</p>
<nav aria-label="Contents"><ol>{contents}</ol></nav>
</header>
{DEFINITIONS}"""


def totals_section(totals: Totals) -> str:
    """What was taken in, and that it adds up."""
    files = totals.files[:_MOST_FILES]
    rest = totals.files[_MOST_FILES:]
    rows = [(said(f.file), *(_n(x) for x in (f.rows, f.decided, f.rejected, f.repeated))) for f in files]
    if rest:
        sums = [sum(getattr(f, kind) for f in rest) for kind in ("rows", "decided", "rejected", "repeated")]
        rows.append((f"{len(rest):,} further files", *(_n(x) for x in sums)))
    rows.append(
        ("<strong>all</strong>", *(_n(x) for x in (totals.rows, totals.decided, totals.rejected, totals.repeated)))
    )
    reasons: dict[str, int] = {}
    for each in totals.rejected_for:
        reasons[each.kind] = reasons.get(each.kind, 0) + each.rows
    rejected = ""
    if reasons:
        told = sorted(reasons.items(), key=lambda pair: (-pair[1], pair[0]))
        rejected = _table(["Rejected because", "Rows"], [(said(kind), _n(rows_)) for kind, rows_ in told])
    findings = _boxes((kind, _TILES.get(kind, word), getattr(totals.walls, kind)) for kind, word in KINDS)
    firm = _boxes((kind, kind, getattr(totals, kind)) for kind in ("settled", "provisional", "undecided"))
    unfolded = " open" if totals.rejected and not totals.decided else ""
    return _section(
        "totals",
        f"""<p class="sum"><span data-total="rows"><b>{totals.rows:,}</b> rows taken in</span> =
<span data-total="decided"><b>{totals.decided:,}</b> walls decided</span> +
<span data-total="rejected"><b>{totals.rejected:,}</b> rejected</span> +
<span data-total="repeated"><b>{totals.repeated:,}</b> repeated</span></p>
<h3>Walls by the worst that was found on each, <em>must</em> being the gravest</h3>
{findings}
<h3>Walls by how firm the decision is on the facts there are</h3>
{firm}
<p class="small">Repeated are rows that stand there twice; they are judged once. Rejected are rows with something wrong.
They stand in <code>rejects/</code>, to be mended and run again.</p>
<details{unfolded}><summary>By file{", and why rows were rejected" if reasons else ""}</summary>
{_table(["File", "Rows", "Decided", "Rejected", "Repeated"], rows)}{rejected}
</details>""",
    )


def differences_section(totals: Totals) -> str:
    """Differences by choice and grade, by year, by surveyor, by construction."""
    points = [Bar(each.title, _list(point=each.choice), found=each.findings) for each in totals.choices]
    points.append(Bar("What was installed", _list(point="installed"), found=totals.installed.findings))
    return _section(
        "differences",
        f"""<p>A choice <em>differs</em> where what was recommended cannot be what the rules decide, whatever is still
found out. The grade is the word of the strongest rule against it. It is <em>not decidable</em> where facts that nobody
wrote down could still make it right. Which facts would decide it: <code class="command">{DECIDING}</code></p>
{legend()}
<p class="small">A share counts the walls that differ anywhere, by any grade, among those that differ or agree; the line
through it is the 95&nbsp;% interval (Wilson's score). {_SMALL_NUMBERS} Whoever is sent the difficult walls differs more
often: the shares say where to look, and nothing about anybody's work.</p>
<div class="charts">
{
            _figure(
                findings_chart(
                    "by-choice", "Recommended beside decided, by choice", "Walls by finding, for every choice.", points
                ),
                "By choice, in walls",
                _findings_table("Choice", [(bar.label, bar.found) for bar in points]),
            )
        }
{_group_figure("year", "By year of survey", "Year", totals.years)}
{_group_figure("surveyor", "By surveyor", "Surveyor", totals.surveyors)}
{_group_figure("construction", "By construction", "Construction", totals.constructions)}
</div>""",
    )


def rules_section(totals: Totals) -> str:
    """Rules broken most, and what was left out most."""
    figures = [_rules_broken(totals), *(_members_left_out(each) for each in totals.sets if each.left_out)]
    return _section("rules", f'{legend()}<div class="charts">{"".join(figures)}</div>')


def _rules_broken(totals: Totals) -> str:
    several = len(totals.rules) > 1
    shown = totals.rules_broken[:_MOST_RULES]
    if not shown:
        return "<p>No rule speaks against anything that was recommended or installed.</p>"
    bars = [
        Bar(f"{r.rule}{f' ({r.rules})' if several else ''} {r.word}: {r.title}", _list(rule=r.rule), r.walls)
        for r in shown
    ]
    chart = bars_chart(
        "rules-broken",
        "Rules broken most",
        "Walls on which a rule speaks against what was recommended or installed.",
        bars,
        [r.word for r in shown],
    )
    rows = [(said(r.rule), said(r.rules), r.word, said(r.title), _n(r.walls)) for r in totals.rules_broken]
    note = ""
    if len(rows) > _MOST_RULES:
        note = f"The first {_MOST_RULES} of {len(rows):,}; the figures hold them all."
    title = "Rules against what was recommended or installed, in walls"
    return _figure(chart, title, _table(["Rule", "Version", "Grade", "Title", "Walls"], rows), note)


def _members_left_out(each: SetTotals) -> str:
    shown = each.left_out[:_MOST_LEFT_OUT]
    chart = bars_chart(
        f"left-out-{each.set}",
        f"{each.title}: left out",
        "Walls on which it was left out although rules ask for it.",
        [Bar(m.says, _list(point=each.set), m.walls, note=_grades(m.must, m.should, m.consider)) for m in shown],
        ["must" if m.must else "should" if m.should else "consider" for m in shown],
    )
    rows = [
        (
            said(m.says),
            *(_n(number) for number in (m.must, m.should, m.consider, m.walls)),
            said(in_words(m.of_recorded)),
            said(", ".join(m.rules)),
        )
        for m in each.left_out
    ]
    names = ["Left out", "Must", "Should", "Consider", "Walls", "Of those recorded", "Rules that ask for it"]
    note = (
        f"Recorded for {each.recorded:,} walls; nothing left out on {each.complete:,}; not recorded for "
        f"{each.not_recorded:,}. The hatching is that of the gravest word."
    )
    if len(rows) > _MOST_LEFT_OUT:
        note = f"The first {_MOST_LEFT_OUT} of {len(rows):,}; the figures hold them all. {note}"
    return _figure(chart, f"{each.title}: left out, in walls", _table(names, rows), note)


def installed_section(totals: Totals, texts: Mapping[str, Any]) -> str:
    """What was installed beside what was recommended, and where a cheaper medium stands."""
    i = totals.installed
    media = _options(texts, "medium")
    names = ["Recommended", "Installed", "Walls"]
    told = [(said(media(p.recommended)), said(media(p.installed)), _n(p.walls)) for p in i.pairs]
    pairs = f"<div>{_table(names, told[:_MOST_PAIRS])}"
    if len(told) > _MOST_PAIRS:
        rest = _table(names, told[_MOST_PAIRS:])
        pairs += f"<details><summary>The other {len(told) - _MOST_PAIRS}</summary>{rest}</details>"
    pairs += "</div>"
    over = "<p>Nowhere was a dearer medium recommended where a cheaper one stands.</p>"
    if totals.over_specified:
        over = _table(
            ["Recommended", "A cheaper one that stands", "Walls"],
            [(said(media(o.recommended)), said(media(o.cheaper)), _n(o.walls)) for o in totals.over_specified],
        )
    return _section(
        "installed",
        f"""<p>Installed as recommended on <b>{i.as_recommended:,}</b> walls, otherwise on <b>{i.otherwise:,}</b>; one
or the other is not recorded for {i.not_known:,}.</p>
<div class="tables">{pairs if i.pairs else ""}<div><h3>More than the wall asks for</h3>
<p class="small">What was recommended stands, and so does a medium that usually costs less (common practice, no
source).</p>{over}</div></div>""",
    )


def failures_section(totals: Totals, texts: Mapping[str, Any], beside_rules: Mapping[str, str]) -> str:
    """Recorded failures by medium, by what the rules say of it, by what the rules would have had done."""
    out = totals.outcomes
    medium, verdict = _options(texts, "medium"), _options(texts, "verdict")
    if not out.failed.whole:
        return _section("failures", "<p>No outcome is recorded.</p>")
    charts = "".join(
        _figure(
            shares_chart(
                f"failed-{name}",
                f"Recorded failures {title}",
                "The share of walls with a recorded outcome that did not get better, with its 95 % interval.",
                [Bar(call(each.name), "", share=each.failed, note=_results(each)) for each in groups],
            ),
            f"{title[:1].upper()}{title[1:]}: failures in % of walls with a recorded outcome",
            _table(
                [heading, "With an outcome", "Unchanged", "Worse", "Share that failed"],
                [
                    (said(call(g.name)), _n(g.failed.whole), _n(g.unchanged), _n(g.worse), said(in_words(g.failed)))
                    for g in groups
                ],
            ),
        )
        for name, title, heading, groups, call in (
            ("medium", "by what was installed", "Installed", out.by_medium, lambda n: medium(n, "medium not recorded")),
            ("rules", "by what the rules say of what was installed", "Installed", out.by_rules,
             lambda n: beside_rules.get(str(n), plain(n))),
            ("verdict", "by what the rules would have had done", "The rules would", out.by_verdict, verdict),
        )
        if groups
    )  # fmt: skip
    return _section(
        "failures",
        f"""<p>An outcome is recorded for <b>{out.failed.whole:,}</b> walls: cured {out.cured:,}, better {out.better:,},
unchanged {out.unchanged:,}, worse {out.worse:,}; for {out.not_recorded:,} none is. A failure is a wall that stayed
unchanged or got worse: {said(in_words(out.failed))}.</p>
<p class="small">{_SMALL_NUMBERS} Which walls got which medium
was not left to chance, and poor outcomes may be written down more often than good ones.</p>
<p class="small">{said(ANOTHER)}</p>
<div class="charts">{charts}</div>""",
    )


def worst_section(totals: Totals, texts: Mapping[str, Any]) -> str:
    """The gravest differences as a table; the number of each leads to the wall."""
    shown = totals.worst[:WORST_SHOWN]
    if not shown:
        return _section("worst", "<p>No wall differs.</p>")
    rows = []
    for place, wall in enumerate(shown, 1):
        told = [_difference(each, texts) for each in wall.differences] + [
            _left_out(each, texts) for each in wall.left_out
        ]
        where = f"{wall.file}{f', {wall.sheet}' if wall.sheet else ''}, row {wall.row}"
        rows.append(
            (
                f'<a href="#w{place}">{place}</a>',
                f"<bdi>{said(wall.reference)}</bdi>, <bdi>{said(wall.wall)}</bdi>"
                f'<br><span class="small"><bdi>{said(where)}</bdi></span>',
                f'<span class="day">{wall.survey_date.isoformat()}</span>'
                f"<br><bdi>{said(wall.surveyor or 'surveyor not given')}</bdi>",
                f'<span class="grade g-{wall.worst}">{wall.worst}</span>',
                f"<ul>{''.join(f'<li>{each}</li>' for each in told)}</ul>",
            )
        )
    table = _table(["No.", "Wall", "Surveyed", "Worst", "What differs, and the rules against it"], rows, "worst-table")
    return _section(
        "worst",
        f"""<p>The gravest first. A difference that only follows from an earlier one is not told again. The number
leads to all that there is on the wall.</p>{table}""",
    )


def _difference(each: Difference, texts: Mapping[str, Any]) -> str:
    choice = "medium" if each.choice == "installed" else each.choice
    call = _options(texts, choice)
    was = "installed" if each.choice == "installed" else "recommended"
    title = "What was installed" if each.choice == "installed" else texts["choices"][each.choice]["title"]
    rules = f" ({said(', '.join(each.rules))})" if each.rules else ""
    return (
        f"<b>{each.word}</b> {said(title)}: {was} “{said(call(each.recorded))}”; the rules say "
        f"“{said(call(each.decided))}”{rules}"
    )


def _left_out(each: LeftOut, texts: Mapping[str, Any]) -> str:
    about = texts["sets"].get(each.set, {"title": each.set})
    return f"<b>{each.word}</b> {said(about['title'])}, left out: {said(plain(', '.join(each.members)))}"


def _options(texts: Mapping[str, Any], choice: str) -> Any:
    options = texts["choices"].get(choice, {"options": {}})["options"]

    def call(option: str | None, unknown: str = "not recorded") -> str:
        return unknown if option is None else str(options.get(option, plain(option)))

    return call


def _results(each: Failures) -> str:
    return f"unchanged {each.unchanged:,}, worse {each.worse:,}"


def _grades(must: int, should: int, consider: int) -> str:
    return ", ".join(f"{word} {n:,}" for word, n in (("must", must), ("should", should), ("consider", consider)) if n)


def _group_figure(name: str, title: str, heading: str, groups: Sequence[GroupTotals]) -> str:
    shown = groups[:_MOST_GROUPS] if name != "year" else groups[-_MOST_GROUPS:]
    bars = [
        Bar(
            plain(group.name) if name == "construction" else group.name or "not given",
            _list(**{name: group.name or ""}),
            share=group.findings.differs,
            note=_grades(group.findings.must, group.findings.should, group.findings.consider),
        )
        for group in shown
    ]
    note = (
        f"{_MOST_GROUPS} of {len(groups):,} are drawn; the figures hold them all." if len(groups) > len(shown) else ""
    )
    return _figure(
        shares_chart(f"by-{name}", f"Walls that differ, {title[:1].lower()}{title[1:]}",
                     "The share of walls that differ, with its 95 % interval.", bars),
        f"{title}: walls that differ, in %",
        _findings_table(heading, [(group.name or "not known", group.findings) for group in groups]),
        note,
    )  # fmt: skip


def _findings_table(heading: str, rows: Iterable[tuple[str, Findings | None]]) -> str:
    def share(found: Share) -> str:
        if found.share is None:
            return "none"
        small = " (small number)" if found.small else ""
        return f"{percent(found.share)} % ({percent(found.low)} to {percent(found.high)} %){small}"

    told = [
        (said(plain(name)), _n(found.walls), *(_n(getattr(found, kind)) for kind, _ in KINDS), share(found.differs))
        for name, found in rows
        if found is not None
    ]
    return _table([heading, "Walls", *(word.capitalize() for _, word in KINDS), "Share that differs"], told)


def _list(**filters: str) -> str:
    return "#list?" + "&".join(f"{name}={quote(value, safe='')}" for name, value in filters.items())


def _boxes(counts: Iterable[tuple[str, str, int]]) -> str:
    return (
        '<dl class="boxes">'
        + "".join(
            f'<div class="box" data-total="{kind}"><dt>{escape(word)}</dt><dd>{count:,}</dd></div>'
            for kind, word, count in counts
        )
        + "</dl>"
    )


def _n(number: int) -> str:
    return f'<span class="n">{number:,}</span>'


def _figure(chart: str, title: str, table: str, note: str = "") -> str:
    below = f'<p class="small">{escape(note)}</p>' if note else ""
    return (
        f"<figure><figcaption>{escape(title)}</figcaption>{chart}{below}"
        f"<details><summary>The figures</summary>{table}</details></figure>"
    )


def _table(names: Sequence[str], rows: Iterable[Sequence[str]], style: str = "") -> str:
    """A table of cells that are HTML already."""
    head = "".join(f'<th scope="col">{escape(name)}</th>' for name in names)
    body = "".join(
        f'<tr><th scope="row">{row[0]}</th>{"".join(f"<td>{cell}</td>" for cell in row[1:])}</tr>\n' for row in rows
    )
    kind = f' class="{style}"' if style else ""
    return (
        f'<div class="scrolls" tabindex="0" role="region" aria-label="Table: {escape(names[0] or names[1])}">'
        f"<table{kind}><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table></div>"
    )


def _section(anchor: str, inside: str) -> str:
    title = dict(SECTIONS)[anchor]
    head = f'<h2 id="{anchor}-title">{escape(title)}</h2>'
    return f'<section id="{anchor}" aria-labelledby="{anchor}-title">{head}\n{inside}\n</section>'
