"""What a page of explanation holds, as data. The JSON of `bedjoint explain` is made of these."""

from __future__ import annotations

import datetime as dt
from typing import Literal, get_args

from engine.decision.model import Part

Kind = Literal[
    "term",
    "rule",
    "stage",
    "choice",
    "option",
    "set",
    "member",
    "fact",
    "reading",
    "source",
    "table",
    "figure",
    "version",
]
KINDS: tuple[Kind, ...] = get_args(Kind)

FoundBy = Literal["name", "beginning", "words", "all", "list"]


class PageRef(Part):
    """A page by its id, which is unique over all kinds, and its title."""

    kind: Kind
    id: str
    title: str


class Link(Part):
    """A piece of an entry's label or text, word for word, that names another page."""

    text: str
    to: str


class PageEntry(Part):
    """One line of a section: a label or none, and what is said. `depth` is how far in it stands, from 0."""

    label: str = ""
    text: str = ""
    depth: int = 0
    links: tuple[Link, ...] = ()


class PageSection(Part):
    """What stands under one heading; never nothing."""

    heading: str
    entries: tuple[PageEntry, ...]


class ExplainedPage(Part):
    """One page. The headings of a kind are always the same, in the same order."""

    kind: Kind
    id: str
    title: str
    place: str
    sections: tuple[PageSection, ...]
    see_also: tuple[PageRef, ...]


class Explained(Part):
    """The answer to one look-up.

    `pages` holds the page that was found, or every page where all were asked for. `matches` are the pages that fit as
    well; where `pages` is empty they are the answer. `found_by` says how: by an id or another name, by how names
    begin, by words of titles. `rules` is the version that everything is taken from, in force from `in_force_from`.
    """

    format: Literal["bedjoint-page-1"] = "bedjoint-page-1"
    rules: str
    in_force_from: dt.date
    digest: str
    limits: str
    asked: str | None
    found_by: FoundBy
    pages: tuple[ExplainedPage, ...]
    matches: tuple[PageRef, ...]
