"""A blank survey form, derived from the declarations: every fact unknown, beside its question."""

from __future__ import annotations

import datetime as dt
import itertools
import textwrap
from collections.abc import Iterator, Sequence

import yaml

from engine.facts.survey import Wall
from engine.facts.values import in_words
from engine.facts.vocabulary import Variable, facts

_WIDTH = 100

_ROWS = {
    "ground.profile": ("{at_m: 0, level_mm: -150}",),
    "moisture.samples": (
        "{height_mm: 100, depth_mm: 80, mc_percent: 9.1, hmc_percent: 2.9}",
        "{height_mm: 100, depth_mm: 80, dish_g: 10, wet_g: 12.2, conditioned_g: 12.06, dry_g: 12}",
    ),
}


def blank_form(reference: str, survey_date: dt.date, wall_ids: Sequence[str]) -> str:
    """The text of a blank survey file with these walls."""
    lines = [
        "# A survey: one property and its walls. Leave what you have not looked at as `unknown`;",
        "# `none` means looked for and absent. A fact may say how it was established, for instance",
        '#   thickness_mm: {value: 230, established: measured, by: "tape, at the door"}',
        "# with established one of measured, observed, reported, assumed.",
        "form: 1",
        "property:",
        f"  reference: {_scalar(reference)}",
        f"  survey_date: {survey_date.isoformat()}",
    ]
    by_section = {
        section: list(group)
        for section, group in itertools.groupby(facts().values(), lambda v: v.name.partition(".")[0])
    }
    for variable in by_section["property"]:
        lines += _entry(variable, "  ")
    lines.append("walls:")
    sections = [name for name in Wall.model_fields if name in by_section]
    for wall_id in wall_ids:
        lines.append(f"  - id: {_scalar(wall_id)}")
        for section in sections:
            lines.append(f"    {section}:")
            for variable in by_section[section]:
                lines += _entry(variable, "      ")
    return "\n".join(lines) + "\n"


def _entry(variable: Variable, pad: str) -> Iterator[str]:
    said = [variable.question, f"Established by: {variable.how}.", f"Allowed: {variable.allowed}, unknown."]
    if variable.name in _ROWS:
        said[2] = f"A list of rows like {' or '.join(_ROWS[variable.name])}."
    for need in variable.applies:
        words = " or ".join("none" if value == frozenset() else in_words(value) for value in need.values)
        verb = "is" if type(need).__name__ == "Only" else "is not"
        said.append(f"Only where {need.fact} {verb} {words}.")
    for text in said:
        for line in textwrap.wrap(text, _WIDTH - len(pad) - 2):
            yield f"{pad}# {line}"
    yield f"{pad}{variable.name.partition('.')[2]}: unknown"


def _scalar(text: str) -> str:
    """A string as YAML writes it on one line."""
    return yaml.safe_dump(text, width=10_000, allow_unicode=True, default_style='"').strip()
