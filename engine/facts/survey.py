"""A survey: one property and the walls that may each need a decision of their own."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from engine.facts.declare import RowsOf, Section
from engine.facts.property_facts import Property
from engine.facts.wall_evidence import (
    Climate,
    EarlierTreatment,
    Evidence,
    ExistingCourse,
    Moisture,
    Salts,
)
from engine.facts.wall_fabric import Build, Finishes, Floor, Ground

WallId = Annotated[str, Field(pattern=r"^[A-Za-z0-9][A-Za-z0-9_-]{0,39}$")]
Note = Annotated[str, Field(min_length=1, max_length=2000)]


class Wall(Section):
    """One stretch of wall, alike along its length in all that matters for the decision."""

    id: WallId
    note: Note | None = None
    build: Build = Build()
    ground: Ground = Ground()
    floor: Floor = Floor()
    existing_course: ExistingCourse = ExistingCourse()
    earlier_treatment: EarlierTreatment = EarlierTreatment()
    evidence: Evidence = Evidence()
    moisture: Moisture = Moisture()
    salts: Salts = Salts()
    climate: Climate = Climate()
    finishes: Finishes = Finishes()


class Survey(Section):
    """A whole survey file. `form` is the version of the layout."""

    form: Literal[1] = 1
    note: Note | None = None
    property: Property
    walls: Annotated[RowsOf[Wall], Field(max_length=500)]
