"""The headers and words of the invented firm's own sheets, and the mapping files that lead from them to our columns."""

from __future__ import annotations

import functools
from collections.abc import Mapping, Sequence
from typing import Any

import yaml
from archive_writers import FirmWords, choice_names, sheet_headers

from engine.facts.vocabulary import facts
from engine.rulebase.load import load_rule_base, versions

_HEADERS: Mapping[str, str] = {
    "reference": "Job no.",
    "survey_date": "Date of visit",
    "wall": "Wall",
    "surveyor": "Surveyor",
    "note": "Remarks",
    "recommended.verdict": "What we advised",
    "recommended.medium": "New course",
    "recommended.plaster": "Plaster",
    "installed.medium": "Put in",
    "installed.on": "Put in on",
    "outcome.result": "How it went",
    "outcome.on": "Looked at again",
}


@functools.cache
def firm_words() -> FirmWords:
    """A header for every column of a sheet, and words for the options of every fact that is a choice."""
    headers = {name: _HEADERS.get(name, _spoken(name)) for name in sheet_headers()}
    assert len(set(headers.values())) == len(headers)
    words: dict[str, dict[str, str]] = {
        name: {option: option.replace("_", " ").capitalize() for option in variable.options}
        for name, variable in facts().items()
        if variable.kind == "choice"
    }
    for choice in choice_names():
        for each in versions():
            base = load_rule_base(each.version)
            if choice in base.choices:
                words.setdefault(f"recommended.{choice}", {}).update(
                    {option.id: option.id.replace("_", " ").capitalize() for option in base.choices[choice].options}
                )
    words["installed.medium"] = words["recommended.medium"]
    return FirmWords(headers, words)


def _spoken(name: str) -> str:
    """The last part of a name and its unit, after the section where another column ends alike or it is one word."""
    section, _, field = name.partition(".")
    unit = facts()[name].unit if name in facts() else None
    ending = "_" + str(unit).replace("%", "percent").replace("²", "2").strip("°").lower().replace("/", "_")
    words = field.removesuffix(ending).replace("_", " ").replace(".", " ")
    alike = [each for each in facts() if each.rpartition(".")[2] == field]
    if len(alike) != 1 or " " not in words:
        words = f"{section.replace('_', ' ')} {words}"
    return words[0].upper() + words[1:] + (f" ({unit})" if unit and not words.endswith(unit) else "")


def mapping_data(
    firm: FirmWords,
    columns: Sequence[str] | None = None,
    *,
    date_format: str | None = None,
    yes: str = "",
    no: str = "",
) -> dict[str, Any]:
    """The mapping file of a firm as plain data: for the columns a sheet has, and how it writes dates and yes and no."""
    named = tuple(columns or firm.headers)
    words = {name: {word: ours for ours, word in firm.words.get(name, {}).items() if word != ours} for name in named}
    if yes:
        words |= {name: {yes: "yes", no: "no"} for name in named if name in facts() and facts()[name].kind == "yes_no"}
    found: dict[str, Any] = {
        "kind": "archive_mapping",
        "form": 1,
        "columns": {firm.headers[name]: name for name in named if firm.headers[name] != name},
        "values": {name: several for name, several in words.items() if several},
    }
    return found | ({"date_format": date_format} if date_format else {})


def mapping_text(data: Mapping[str, Any]) -> str:
    """A mapping file."""
    return yaml.safe_dump(dict(data), sort_keys=False, allow_unicode=True, width=100)
