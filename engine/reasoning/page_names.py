"""Ids of pages, and how names are compared."""

from __future__ import annotations

import re

_PARTED = re.compile(r"[\s_\-]+")


def normalised(name: str) -> str:
    """A name as it is compared: small letters, and one sign for blanks, hyphens and underscores."""
    return _PARTED.sub("_", name.strip().casefold())


def page_of_variable(name: str) -> str:
    """The id of the page of what a rule reads: a fact or a reading, a choice decided, or a set."""
    scope, _, key = name.partition(".")
    return key if scope in ("decided", "found") else name


def option_id(choice: str, option: str) -> str:
    """The id of the page of an option, or of a member of a set."""
    return f"{choice}={option}"


def term_id(term: str) -> str:
    """The id of the page of a word."""
    return f"term.{term}"


def stage_id(stage: str) -> str:
    """The id of the page of a stage."""
    return f"stage.{stage}"


def version_id(version: str) -> str:
    """The id of the page of a version of the rules."""
    return f"rules.{version}"


def table_id(table: str) -> str:
    """The id of the page of a table of figures."""
    return f"table.{table}"


def figure_id(table: str, figure: str) -> str:
    """The id of the page of one question that a table answers."""
    return f"table.{table}.{figure}"
