"""Pages of explanation as text, as Markdown and as JSON."""

from __future__ import annotations

import json
import os
import re
from collections.abc import Iterator, Mapping, Sequence
from itertools import groupby

from cli.render_markdown import escaped
from cli.terminal import Page
from cli.wording import sentence
from engine.reasoning.page_model import Explained, ExplainedPage, Kind, Link, PageEntry, PageRef, PageSection

KIND_TITLES: Mapping[Kind, str] = {
    "term": "Words of the trade and of these rules",
    "rule": "Rules",
    "stage": "Stages",
    "choice": "Choices",
    "option": "Options of choices",
    "set": "Sets",
    "member": "Causes, works, tests, notices and cautions",
    "fact": "Facts",
    "reading": "Readings",
    "source": "Sources",
    "table": "Tables of figures",
    "figure": "Figures",
    "version": "This version of the rules",
}
_WIDE = 100
_NARROW = 50
_SHORT_LABEL = 16
_LABEL = 27
_LONGEST_LABEL = 30
_LONG_TEXT = 110
_BELOW = 3
_MATCHES_SHOWN = 15


def as_json(found: Explained) -> str:
    """The whole answer as JSON."""
    return json.dumps(found.model_dump(mode="json"), indent=2, ensure_ascii=False) + "\n"


def as_text(found: Explained, *, plain: bool = False) -> str:
    """The answer as text for a terminal or a pipe; `plain` without colours whatever the terminal."""
    page = Page(plain=plain, piped_width=_piped_width())
    if found.found_by == "list":
        page.line(f"What `bedjoint explain` has a page for, by rules {found.rules}", "bold")
        _refs_by_kind(page, found.matches)
    elif not found.pages:
        page.line(_several(found), "bold")
        _refs_by_kind(page, found.matches)
    if found.pages and found.found_by == "words":
        page.line(f"Nothing is called {found.asked}; this has these words in its title:")
        page.blank()
    for number, each in enumerate(found.pages):
        if number:
            page.blank()
            page.line("-" * 72)
        _page(page, each, found)
    page.blank()
    page.line(found.limits)
    page.line(f"rules {found.rules}, in force from {found.in_force_from}, digest {found.digest[:16]}")
    return page.text()


def as_markdown(found: Explained) -> str:
    """The answer as Markdown. With every page there is a table of contents, and names are links."""
    return "\n".join(_markdown(found)).rstrip("\n") + "\n"


def _several(found: Explained) -> str:
    count, asked = len(found.matches), found.asked
    return {
        "name": f"{count} things go by the name {asked}:",
        "beginning": f"{count} names begin with {asked}:",
        "words": f"Nothing is called {asked}; {count} titles have these words:",
    }[found.found_by]


def _piped_width() -> int:
    """The width asked for by COLUMNS, else wide."""
    asked = os.environ.get("COLUMNS", "")
    return max(int(asked), _NARROW) if asked.isascii() and asked.isdigit() and len(asked) < 5 else _WIDE


def _page(page: Page, each: ExplainedPage, found: Explained) -> None:
    page.line(each.id if _says_title(each) else f"{each.id}  {sentence(each.title)}", "bold")
    page.line(each.place)
    for section in each.sections:
        page.heading(section.heading)
        _section(page, section)
    also = _see_also(each, found)
    if also:
        page.heading("See also")
        _refs(page, also[:_MATCHES_SHOWN])
        if len(also) > _MATCHES_SHOWN:
            page.line(f"  and {len(also) - _MATCHES_SHOWN} more; --format json names them")


def _see_also(each: ExplainedPage, found: Explained) -> list[PageRef]:
    """What else to look at, without what the page names already."""
    named = {link.to for section in each.sections for entry in section.entries for link in entry.links}
    also = dict.fromkeys((*each.see_also, *found.matches))
    return [ref for ref in also if ref.id not in named]


def _says_title(each: ExplainedPage) -> bool:
    """Whether the first thing on the page is its title, which then need not stand twice."""
    first = each.sections[0].entries[0]
    return not first.label and first.text.rstrip(".?").casefold() == each.title.rstrip(".?").casefold()


def _section(page: Page, section: PageSection) -> None:
    before = ""
    for number, (labelled, group) in enumerate(groupby(section.entries, lambda entry: bool(entry.label))):
        entries = list(group)
        if number and not before.endswith(":"):
            page.blank()
        before = entries[-1].text
        if labelled:
            _labelled(page, entries)
            continue
        for entry in entries:
            page.rows([("", entry.text, "")], 1, indent=2 * entry.depth)


def _labelled(page: Page, entries: Sequence[PageEntry]) -> None:
    width = _width([(entry.label, entry.text) for entry in entries])
    for depth, group in groupby(entries, lambda entry: entry.depth):
        _rows(page, [(entry.label, entry.text) for entry in group], width, indent=2 + 2 * depth)


def _width(rows: Sequence[tuple[str, str]]) -> int:
    """The width of the column of labels; a narrow one, with the text below the labels, where that reads better."""
    labels = [label for label, _ in rows]
    longest = max(map(len, labels)) + 1
    if longest > _SHORT_LABEL and sum(len(text) for _, text in rows) > _LONG_TEXT * len(rows):
        return _BELOW
    if longest <= _LONGEST_LABEL:
        return longest
    return _LABEL if sum(len(label) > _LABEL for label in labels) <= len(labels) / 4 else _BELOW


def _rows(page: Page, rows: Sequence[tuple[str, str]], width: int, indent: int = 2) -> None:
    """Rows whose text stands beside the label, or below it where the label is too long."""
    for fits, group in groupby(rows, lambda row: len(row[0]) <= width):
        several = list(group)
        if fits:
            page.rows([(label, text, "") for label, text in several], width, indent=indent)
            continue
        for label, text in several:
            page.rows([(label, "", "")], len(label), indent=indent)
            page.rows([("", text, "")], width, indent=indent)


def _refs(page: Page, refs: Sequence[PageRef]) -> None:
    _rows(page, [(ref.id, sentence(ref.title)) for ref in refs], _width([(ref.id, ref.title) for ref in refs]))


def _refs_by_kind(page: Page, refs: Sequence[PageRef]) -> None:
    for kind, group in groupby(refs, lambda ref: ref.kind):
        page.heading(KIND_TITLES[kind])
        _refs(page, list(group))


def _markdown(found: Explained) -> Iterator[str]:
    linked = found.found_by == "all"
    if linked:
        yield f"# What the rules of version {found.rules} say, page by page"
        yield from ("", escaped(found.limits), "", f"In force from {found.in_force_from}; digest `{found.digest}`.", "")
        yield from ("## Contents", "")
        for kind, group in groupby(found.pages, lambda page: page.kind):
            yield from (f"### {KIND_TITLES[kind]}", "")
            for page in group:
                yield f"- [{escaped(page.id)}](#{anchor(page.id)}): {escaped(sentence(page.title))}"
            yield ""
    elif not found.pages:
        title = "What there is to explain" if found.found_by == "list" else _several(found)
        yield from (f"# {escaped(title)}", "")
        for kind, refs in groupby(found.matches, lambda ref: ref.kind):
            yield from (f"## {KIND_TITLES[kind]}", "")
            yield from (f"- {escaped(ref.id)}: {escaped(sentence(ref.title))}" for ref in refs)
            yield ""
    for page in found.pages:
        yield from _markdown_page(page, found, linked)
    if not linked:
        yield from (f"*{escaped(found.limits)}*", "")
        yield f"Rules {found.rules}, in force from {found.in_force_from}, digest `{found.digest}`."


def anchor(id_: str) -> str:
    """Where a page stands in the document of all pages."""
    return "page-" + re.sub(r"[^\w-]", "-", id_)


def _markdown_page(page: ExplainedPage, found: Explained, linked: bool) -> Iterator[str]:
    if linked:
        yield from (f'<a id="{anchor(page.id)}"></a>', "")
    title = escaped(page.id) if _says_title(page) else f"{escaped(page.id)}: {escaped(sentence(page.title))}"
    yield from (f"## {title}", "", f"*{escaped(page.place)}*", "")
    for section in page.sections:
        yield from (f"### {escaped(section.heading)}", "")
        yield from _markdown_entries(section.entries, linked)
        yield ""
    also = _see_also(page, found)
    if also:
        yield from ("### See also", "")
        for ref in also:
            name = f"[{escaped(ref.id)}](#{anchor(ref.id)})" if linked else escaped(ref.id)
            yield f"- {name}: {escaped(sentence(ref.title))}"
        yield ""


def _markdown_entries(entries: Sequence[PageEntry], linked: bool) -> Iterator[str]:
    alone = len(entries) == 1
    for entry in entries:
        in_label = [link for link in entry.links if link.text in entry.label] if linked else []
        in_text = [link for link in entry.links if link not in in_label] if linked else []
        text = _with_links(entry.text, in_text)
        if entry.label:
            text = f"**{_with_links(entry.label, in_label)}**: {text}" if text else _with_links(entry.label, in_label)
        yield text if alone and not entry.label else f"{'  ' * entry.depth}- {text}"


def _with_links(text: str, links: Sequence[Link]) -> str:
    """Text that stands as it is, with the pieces that name pages as links to them."""
    if not links:
        return escaped(text)
    to = {link.text: link.to for link in links}
    names = "|".join(re.escape(name) for name in sorted(to, key=len, reverse=True))
    parts = re.split(rf"(?<![\w.=])({names})(?![\w=])", text)
    return "".join(
        f"[{escaped(part)}](#{anchor(to[part])})" if number % 2 else _escaped_piece(part)
        for number, part in enumerate(parts)
    )


def _escaped_piece(text: str) -> str:
    """Escaped, with the blanks at both ends kept."""
    inner = text.strip()
    if not inner:
        return " " if text else ""
    before = " " if text[0].isspace() else ""
    after = " " if text[-1].isspace() else ""
    return before + escaped(inner) + after
