"""Which facts cannot be true together, as declarations: read by the check of surveys and by the prover alike.

What concerns the rows of a list stands in `contradictions.py`.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Order:
    """One number is less than another of the same unit and step; at most as great where not `strict`.

    Only where both are known. `message` is said of `small`.
    """

    small: str
    great: str
    strict: bool
    message: str


@dataclass(frozen=True, slots=True)
class Has:
    """A fact has one of these values; of a set: it includes one of them."""

    fact: str
    values: tuple[bool | int | str, ...]


@dataclass(frozen=True, slots=True)
class Together:
    """Where `when` is true of a known fact, `then` must be, if its fact is known.

    `message` is said of the fact `blame`; `found` may show both values as {when} and {then}.
    """

    when: Has
    then: Has
    blame: str
    message: str
    found: str
    allowed: str


ORDERS = (
    Order("build.openings_m", "build.length_m", False, "is more than the wall is long"),
    Order(
        "moisture.core_moisture_percent",
        "moisture.core_saturated_percent",
        False,
        "is more than the core holds when saturated",
    ),
    Order("build.cavity_mm", "build.thickness_mm", True, "is wider than the wall is thick"),
    Order("build.bed_joint_mm", "build.bed_joint_gauge_mm", True, "is thicker than a whole course"),
    Order("earlier_treatment.hole_depth_mm", "build.thickness_mm", True, "is deeper than the wall is thick"),
)

NOT_AFTER_SURVEY = "earlier_treatment.year"
"""A year that cannot be later than the survey's."""

WITHOUT_MASSES = ("carbide",)
"""Methods of measuring that give percentages, never masses."""
WITHOUT_HMC = ("carbide", "oven")
"""Methods that do not give the hygroscopic moisture content."""

_CHEMICAL = {
    "chemical_solvent": "solvent_liquid",
    "chemical_aqueous": "aqueous_liquid",
    "chemical_cream": "cream",
    "chemical_rods": "rods",
    "chemical_mortar": "mortar",
    "chemical_unidentified": "unidentified_injection",
}
_KIND, _MEDIUM = "existing_course.kind", "earlier_treatment.medium"
_HEIGHT, _PATTERN, _TIDE = "evidence.damp_height_mm", "evidence.damp_pattern", "evidence.tide_mark"
_BRIDGED = "existing_course.bridged_by"

TOGETHER = (
    Together(
        Has("build.role", ("party",)),
        Has("property.party_to_boundary", (True,)),
        "property.party_to_boundary",
        "does not fit a party wall",
        "{then}",
        "yes",
    ),
    Together(
        Has(_BRIDGED, ("cavity_debris",)),
        Has("build.construction", ("cavity_brick",)),
        _BRIDGED,
        "names debris in a cavity, and this wall has none",
        "{then}",
        "cavity_brick",
    ),
    Together(
        Has(_BRIDGED, ("cavity_debris",)),
        Has("build.cavity_debris", ("bridging",)),
        _BRIDGED,
        "names debris in the cavity against build.cavity_debris",
        "{then}",
        "bridging",
    ),
    *(
        Together(
            Has(_KIND, (kind,)),
            Has(_MEDIUM, (medium,)),
            _MEDIUM,
            f"does not fit existing_course.kind {kind}",
            "{then}",
            f"{medium}, or unknown",
        )
        for kind, medium in _CHEMICAL.items()
    ),
    Together(
        Has(_HEIGHT, (0,)),
        Has(_PATTERN, ("none",)),
        _PATTERN,
        "does not fit evidence.damp_height_mm",
        "{then} with {when} mm",
        "none with 0 mm, or a pattern with a height",
    ),
    Together(
        Has(_PATTERN, ("none",)),
        Has(_HEIGHT, (0,)),
        _PATTERN,
        "does not fit evidence.damp_height_mm",
        "{when} with {then} mm",
        "none with 0 mm, or a pattern with a height",
    ),
    Together(
        Has("moisture.method", ("carbide",)),
        Has("moisture.basis", ("wet",)),
        "moisture.basis",
        "does not fit a carbide meter, which gives percent of the wet mass",
        "{then}",
        "wet",
    ),
    *(
        Together(
            dry,
            Has(_TIDE, (False,)),
            _TIDE,
            "does not fit a wall on which no damp is seen",
            "{then}",
            "no",
        )
        for dry in (Has(_HEIGHT, (0,)), Has(_PATTERN, ("none",)))
    ),
)
