"""Facts of the property as a whole."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from engine.facts.declare import UNKNOWN, Asked, Day, Noted, Section, YesNo

AgeBand = Literal[
    "before_1850",
    "1850_to_1918",
    "1919_to_1944",
    "1945_to_1964",
    "1965_to_1984",
    "1985_to_1999",
    "2000_or_later",
]
Text = Annotated[str, Field(min_length=1, max_length=200)]


class Property(Section):
    """The property, its date of survey, and what holds for all of its walls."""

    reference: Text
    survey_date: Day
    age_band: Annotated[
        Noted[AgeBand],
        Asked("When was this part of the building built?", "records, deeds, style and materials", effort="ask"),
    ] = UNKNOWN
    protection: Annotated[
        Noted[Literal["none", "listed", "conservation_area", "scheduled"]],
        Asked(
            "Is the building protected: listed, in a conservation area, or a scheduled monument?",
            "the public list and the local planning authority",
            effort="ask",
        ),
    ] = UNKNOWN
    party_to_boundary: Annotated[
        Noted[YesNo],
        Asked(
            "Does any wall to be worked on stand on, or touch, a boundary with another owner?",
            "title plan and a look at the site",
            effort="ask",
        ),
    ] = UNKNOWN
    being_modified: Annotated[
        Noted[YesNo],
        Asked(
            "Is the building being altered in a way that touches these walls, floors or the ground outside?",
            "the client and the drawings",
            effort="ask",
        ),
    ] = UNKNOWN
