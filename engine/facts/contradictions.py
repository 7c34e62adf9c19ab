"""Facts that cannot be true together. Each check yields the path of the later fact and what is wrong with it."""

from __future__ import annotations

import datetime as dt
import itertools
import math
from collections.abc import Iterator
from typing import Any

from engine.facts.document import Path
from engine.facts.resolve import notes_of, resolve, why_not_applicable
from engine.facts.survey import Survey, Wall
from engine.facts.values import State, in_words
from engine.facts.vocabulary import facts
from engine.facts.wall_evidence import MoistureSample

Contradiction = tuple[Path, str, str, str]
"""Path, message, value found, what is allowed."""

_CHEMICAL = {
    "chemical_solvent": "solvent_liquid",
    "chemical_aqueous": "aqueous_liquid",
    "chemical_cream": "cream",
    "chemical_rods": "rods",
    "chemical_mortar": "mortar",
    "chemical_unidentified": "unidentified_injection",
}


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
    got: dict[str, Any] = {name: value.value for name, value in values.items() if value.known}
    yield from _of_property(got)
    yield from _of_fabric(got)
    yield from _of_ground(got)
    yield from _of_courses(got, survey.property.survey_date.year)
    yield from _of_damp(got)
    yield from _of_samples(got)


def _of_property(got: dict[str, Any]) -> Iterator[Contradiction]:
    if got.get("build.role") == "party" and got.get("property.party_to_boundary") is False:
        yield ("property", "party_to_boundary"), "does not fit a party wall", "no", "yes"
    if got.get("build.openings_m", 0) > got.get("build.length_m", math.inf):
        yield ("build", "openings_m"), "is more than the wall is long", f"{got['build.openings_m']:g} m", \
            f"{got['build.length_m']:g} m at the most"  # fmt: skip
    core, most = got.get("moisture.core_moisture_percent"), got.get("moisture.core_saturated_percent")
    if core is not None and most is not None and core > most:
        yield ("moisture", "core_moisture_percent"), "is more than the core holds when saturated", f"{core:g} %", \
            f"{most:g} % at the most"  # fmt: skip


def _less(got: dict[str, Any], small: str, great: str, what: str) -> Iterator[Contradiction]:
    if small in got and great in got and got[small] >= got[great]:
        section, _, field = small.partition(".")
        yield (section, field), what, f"{got[small]:g} mm", f"less than {great}, {got[great]:g} mm"


def _of_fabric(got: dict[str, Any]) -> Iterator[Contradiction]:
    yield from _less(got, "build.cavity_mm", "build.thickness_mm", "is wider than the wall is thick")
    yield from _less(got, "build.bed_joint_mm", "build.bed_joint_gauge_mm", "is thicker than a whole course")
    bridged = got.get("existing_course.bridged_by", frozenset())
    if "cavity_debris" in bridged:
        path: Path = ("existing_course", "bridged_by")
        construction = got.get("build.construction", "cavity_brick")
        if construction != "cavity_brick":
            yield path, "names debris in a cavity, and this wall has none", construction, "cavity_brick"
        elif got.get("build.cavity_debris", "bridging") != "bridging":
            yield (
                path,
                "names debris in the cavity against build.cavity_debris",
                got["build.cavity_debris"],
                "bridging",
            )


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


def _of_courses(got: dict[str, Any], survey_year: int) -> Iterator[Contradiction]:
    year = got.get("earlier_treatment.year")
    if year is not None and year > survey_year:
        yield (
            ("earlier_treatment", "year"),
            "is later than the survey",
            str(year),
            f"{survey_year} at the latest",
        )
    yield from _less(got, "earlier_treatment.hole_depth_mm", "build.thickness_mm", "is deeper than the wall is thick")
    wanted = _CHEMICAL.get(got.get("existing_course.kind", ""))
    medium = got.get("earlier_treatment.medium", wanted)
    if wanted and medium != wanted:
        yield ("earlier_treatment", "medium"), f"does not fit existing_course.kind {got['existing_course.kind']}", \
            str(medium), f"{wanted}, or unknown"  # fmt: skip


def _of_damp(got: dict[str, Any]) -> Iterator[Contradiction]:
    height, pattern = got.get("evidence.damp_height_mm"), got.get("evidence.damp_pattern")
    if height is not None and pattern is not None and (height == 0) is not (pattern == "none"):
        yield ("evidence", "damp_pattern"), "does not fit evidence.damp_height_mm", f"{pattern} with {height} mm", \
            "none with 0 mm, or a pattern with a height"  # fmt: skip
    if got.get("evidence.tide_mark") is True and (height == 0 or pattern == "none"):
        yield ("evidence", "tide_mark"), "does not fit a wall on which no damp is seen", "yes", "no"


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
        if sample.weighed and method == "carbide":
            yield path, "a carbide meter gives percentages, not masses", "masses", "mc_percent"
        if (sample.hmc_percent is not None or sample.conditioned_g is not None) and method in ("carbide", "oven"):
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
