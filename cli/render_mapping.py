"""A proposed mapping as a page of text: what was placed and why, what was not, and which words stand for which."""

from __future__ import annotations

import itertools
import shlex
from collections.abc import Iterator

from cli.mapping_example import EXAMPLE
from cli.terminal import Page
from engine.archive.headers import Placed, Proposal, WordPlaced
from engine.archive.headers_read import SheetHead

_MARKS = {"sure": "", "likely": "likely; ", "guess": "a guess; "}
_STYLES = {"sure": "", "likely": "yellow", "guess": "magenta"}


def as_text(head: SheetHead, proposal: Proposal, written_to: str = "") -> str:
    """The page. `written_to` is the file the mapping goes to, "" where it goes to none."""
    page = Page()
    total = len(proposal.placed) + len(proposal.not_placed)
    sheets = f", sheets {', '.join(head.sheets)}" if len(head.sheets) > 1 else ""
    page.line(f"{head.file}{sheets}", "bold")
    page.line(
        f"{len(proposal.placed)} of {total} headers placed, "
        f"from {len(head.rows)} row{'' if len(head.rows) == 1 else 's'} looked at."
    )
    for text in _where(head):
        page.line(text)
    for confidence, title in (("sure", "Placed"), ("likely", "Likely"), ("guess", "Guesses: look at each")):
        _placed(page, title, [each for each in proposal.placed if each.confidence == confidence])
    if proposal.not_placed:
        page.heading("Not placed")
        for header in proposal.not_placed:
            page.line(f"  {header.header}", "red")
            page.rows([("", f"{header.reason}{_near(header.nearest)}", "")], 2)
    _words(page, proposal)
    _left(page, proposal, head.file, written_to)
    return page.text()


def comments(head: SheetHead, proposal: Proposal) -> str:
    """What stands above a proposed mapping: that it is to be looked at, and what is not in it."""
    lines = [f"Proposed from the headers of {head.file}. Look at every line before it is used.", *_where(head)]
    for each in proposal.placed:
        if each.confidence != "sure":
            lines.append(f"{each.confidence}: {each.header} -> {_columns(each)}")
        lines += [f"look at: {each.header} -> {each.column}: {note}" for note in each.notes]
    lines += [f"not placed, so name it under columns or ignored: {each.header}" for each in proposal.not_placed]
    for one in proposal.words:
        if one.confidence != "sure":
            lines.append(f"{one.confidence}: {one.word} -> {one.ours} ({one.column})")
    for lost in proposal.words_not_placed:
        lines.append(f"no word for: {lost.word} ({lost.column})")
    lines += [f"not in the sheet, so name it under columns or constants: {name}" for name in proposal.missing]
    lines += list(proposal.notes)
    said = [" ".join(line.split()) for line in lines]
    example = [f"  {line}" for line in EXAMPLE.splitlines()]
    return "\n".join([*said, "", "What may stand in a mapping file, by example:", *example])


def _where(head: SheetHead) -> Iterator[str]:
    """Which row was taken as that of the headers, and which sheets were passed over."""
    for place, row in enumerate(head.header_rows):
        of = f" of sheet {head.sheets[place]}" if len(head.header_rows) > 1 and place < len(head.sheets) else ""
        yield f"Row {row}{of} was taken as the row of the headers."
    for sheet in head.passed_over:
        yield f"Sheet {sheet} is passed over: it names no job and no wall."


def _columns(placed: Placed) -> str:
    return " and ".join((placed.column, *placed.beside))


def _placed(page: Page, title: str, placed: list[Placed]) -> None:
    if not placed:
        return
    page.heading(f"{title} ({len(placed)})")
    for each in placed:
        page.line(f"  {each.header} -> {_columns(each)}", _STYLES[each.confidence])
        page.rows([("", each.reason, "")], 2)
        page.rows([("", f"look at: {note}", "") for note in each.notes], 2)


def _words(page: Page, proposal: Proposal) -> None:
    if proposal.words:
        page.heading("Words of the sheet and ours")
        for (header, column), several in itertools.groupby(proposal.words, lambda word: (word.header, word.column)):
            page.line(f"  {header} ({column})", "bold")
            page.rows([("", "; ".join(map(_word, several)), "")], 2)
    if proposal.words_not_placed:
        page.heading("Words not placed")
        for lost in proposal.words_not_placed:
            times = f"{lost.count} time{'' if lost.count == 1 else 's'}"
            page.line(f"  {lost.word} ({lost.column}; {times})", "red")
            page.rows([("", _near(lost.nearest).removeprefix("; ") or "is no value of this column", "")], 2)


def _word(word: WordPlaced) -> str:
    mark = "" if word.confidence == "sure" else f" ({_MARKS[word.confidence]}{word.reason})"
    return f"{word.word} -> {word.ours}{mark}"


def _left(page: Page, proposal: Proposal, file: str, written_to: str) -> None:
    page.heading("Before it is used")
    left = list(proposal.notes)
    left += [f"{name} is in no column: name it under columns, or under constants" for name in proposal.missing]
    if proposal.not_placed:
        left.append("name every header that was not placed, under columns or under ignored")
    if proposal.words_not_placed:
        left.append("give a word of ours, or unknown, for every word that was not placed, under values")
    left.append("look at what is likely and what is a guess; a wrong column makes every wall wrong")
    for text in left:
        page.rows([("-", text[:1].upper() + text[1:] + ".", "")], 1)
    page.blank()
    if written_to:
        page.line(f"The mapping is in {written_to}. When it is looked at:")
    else:
        page.line("To print the mapping: --format yaml. To have it as a file:")
    page.command([_next(file, written_to)])


def _next(file: str, written_to: str) -> str:
    """The command that comes next."""
    if written_to:
        return f"bedjoint archive check {shlex.quote(file)} --mapping {shlex.quote(written_to)} --output checked"
    return f"bedjoint archive map {shlex.quote(file)} --output mapping.yaml"


def _near(names: tuple[str, ...]) -> str:
    return f"; nearest: {', '.join(names)}" if names else ""
