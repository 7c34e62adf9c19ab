"""Facts that cannot be true together. Each check yields the path of the later fact and what is wrong with it."""

from __future__ import annotations

import datetime as dt
import itertools
from collections.abc import Iterator, Mapping
from typing import Any

from engine.facts.consistency import (
    NOT_AFTER_SURVEY,
    ORDERS,
    TOGETHER,
    WITHOUT_HMC,
    WITHOUT_MASSES,
    Has,
)
from engine.facts.document import Path
from engine.facts.resolve import notes_of, resolve, why_not_applicable
from engine.facts.survey import Survey, Wall
from engine.facts.values import State, Value, in_words
from engine.facts.vocabulary import facts
from engine.facts.wall_evidence import MoistureSample

Contradiction = tuple[Path, str, str, str]
"""Path, message, value found, what is allowed."""


def contradictions(survey: Survey, today: dt.date) -> Iterator[Contradiction]:
    """Every contradiction in a survey. `today` is the day no survey may be later than."""
    if survey.property.survey_date > today:
        yield (
            ("property", "survey_date"),
            "is in the future of the day of judging",
            survey.property.survey_date.isoformat(),
            f"{today.isoformat()} at the latest",
        )
    seen: set[str] = set()
    for index, wall in enumerate(survey.walls):
        base: Path = ("walls", index)
        if wall.id.lower() in seen:
            yield ((*base, "id"), "another wall has this id already", wall.id, "an id of its own for each wall")
        seen.add(wall.id.lower())
        for section_path, message, found, allowed in _of_wall(survey, wall):
            path: Path = section_path if section_path[0] == "property" else (*base, *section_path)
            yield path, message, found, allowed


def _of_wall(survey: Survey, wall: Wall) -> Iterator[Contradiction]:
    notes = notes_of(survey.property, wall)
    values = resolve(notes)
    for name, value in values.items():
        given = notes[name].value
        if value.state is State.NOT_APPLICABLE and given is not None:
            section, _, field = name.partition(".")
            yield (
                (section, field),
                "does not apply to this wall",
                in_words(given),  # type: ignore[arg-type]
                why_not_applicable(facts()[name], values),
            )
    yield from of_values(values, survey.property.survey_date.year)


def of_values(values: Mapping[str, Value], survey_year: int) -> Iterator[Contradiction]:
    """The contradictions among the known facts of one wall, whether they are a survey's or only tried."""
    got: dict[str, Any] = {name: value.value for name, value in values.items() if value.known}
    yield from _out_of_order(got)
    yield from _not_together(got)
    yield from _later_than_survey(got, survey_year)
    yield from _of_ground(got)
    yield from _of_samples(got)


def _path(name: str) -> Path:
    section, _, field = name.partition(".")
    return section, field


def _out_of_order(got: dict[str, Any]) -> Iterator[Contradiction]:
    for order in ORDERS:
        small, great = got.get(order.small), got.get(order.great)
        if small is None or great is None or small < great or (small == great and not order.strict):
            continue
        unit = facts()[order.small].unit
        limit = f"{great:g} {unit}"
        allowed = f"less than {order.great}, {limit}" if order.strict else f"{limit} at the most"
        yield _path(order.small), order.message, f"{small:g} {unit}", allowed


def _not_together(got: dict[str, Any]) -> Iterator[Contradiction]:
    for each in TOGETHER:
        if each.then.fact in got and _has(got, each.when) and not _has(got, each.then):
            found = each.found.format(when=in_words(got[each.when.fact]), then=in_words(got[each.then.fact]))
            yield _path(each.blame), each.message, found, each.allowed


def _has(got: dict[str, Any], has: Has) -> bool:
    value = got.get(has.fact)
    return not value.isdisjoint(has.values) if isinstance(value, frozenset) else value in has.values


def _later_than_survey(got: dict[str, Any], survey_year: int) -> Iterator[Contradiction]:
    year = got.get(NOT_AFTER_SURVEY)
    if year is not None and year > survey_year:
        yield _path(NOT_AFTER_SURVEY), "is later than the survey", str(year), f"{survey_year} at the latest"


def _of_ground(got: dict[str, Any]) -> Iterator[Contradiction]:
    points = got.get("ground.profile")
    if not points:
        return
    path: Path = ("ground", "profile")
    places = [point.at_m for point in points]
    if any(later <= earlier for earlier, later in itertools.pairwise(places)):
        yield (
            path,
            "its points do not run along the wall",
            "at_m " + ", ".join(f"{m:g}" for m in places),
            "rising",
        )
    length = got.get("build.length_m")
    if length is not None and places[-1] > length:
        yield path, "runs past the end of the wall", f"{places[-1]:g} m", f"{length:g} m at the most"
    levels = [point.level_mm for point in points]
    if got.get("ground.level_mm", max(levels)) != max(levels):
        yield ("ground", "level_mm"), "is not the highest of ground.profile", f"{got['ground.level_mm']} mm", \
            f"{max(levels)} mm"  # fmt: skip
    fall = max(levels) - min(levels)
    if got.get("ground.fall_along_mm", fall) != fall:
        yield ("ground", "fall_along_mm"), "is not the range of ground.profile", \
            f"{got['ground.fall_along_mm']} mm", f"{fall} mm"  # fmt: skip


def _of_samples(got: dict[str, Any]) -> Iterator[Contradiction]:
    thickness, method = got.get("build.thickness_mm"), got.get("moisture.method")
    seen: set[tuple[int, int]] = set()
    for index, sample in enumerate(got.get("moisture.samples", ())):
        path: Path = ("moisture", "samples", index)
        spot = (sample.height_mm, sample.depth_mm)
        if spot in seen:
            yield path, "another sample stands at this height and depth", f"{spot[0]} mm, {spot[1]} mm", "one"
        seen.add(spot)
        if thickness is not None and sample.depth_mm > thickness:
            yield (*path, "depth_mm"), "is deeper than the wall is thick", f"{sample.depth_mm} mm", \
                f"{thickness} mm at the most"  # fmt: skip
        for mass, fault in _impossible_masses(sample, got.get("moisture.balance_resolution_g", 0.0)):
            yield (*path, mass), fault, f"{getattr(sample, mass):g} g", "dish < dry <= conditioned and wet"
        if sample.weighed and method in WITHOUT_MASSES:
            yield path, "a carbide meter gives percentages, not masses", "masses", "mc_percent"
        if (sample.hmc_percent is not None or sample.conditioned_g is not None) and method in WITHOUT_HMC:
            yield path, f"its hygroscopic moisture cannot come from the method {method}", "hmc", \
                "moisture.method oven_and_hygroscopic"  # fmt: skip


def _impossible_masses(sample: MoistureSample, resolution_g: float) -> Iterator[tuple[str, str]]:
    """Nothing weighs less than it does oven-dry, and a sample weighs something."""
    if sample.dry_g is None or sample.dish_g is None:
        return
    if sample.dry_g <= sample.dish_g:
        yield "dry_g", "is no more than the empty dish"
    elif sample.dry_g < sample.dish_g + resolution_g:
        yield "dry_g", "leaves a sample lighter than the balance can show"
    for name, mass in (("wet_g", sample.wet_g), ("conditioned_g", sample.conditioned_g)):
        if mass is not None and mass < sample.dry_g:
            yield name, "is less than when oven-dry"
