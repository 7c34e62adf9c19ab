"""An installation's record against its schedule."""

from __future__ import annotations

import dataclasses
import datetime as dt
import json
import pathlib
from math import ceil
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engine.errors import BadInput
from engine.schedule.record import (
    Finding,
    InstallationRecordFile,
    PlannedPiece,
    Tolerances,
    parse_record,
    read_record,
    reconcile,
)

TOLERANCES = Tolerances(5, 5, 0.5, 5, 50, "common_practice")
SURVEYED = dt.date(2026, 3, 4)
# 33 holes of 12 mm, 205 mm deep: 23.185 mL in each by solid geometry, 765.1 mL in all.
CREAM = PlannedPiece("front/1", "cream", 33, 12, 120, 205, 23.185, 0)
# Rods of 180 mm in holes of 200 mm: a rod and a cut of 20 mm, nine to a rod: 10 holes take 10 + 2.
RODS = PlannedPiece("front/2", "rods", 10, 12, 120, 200, 0, 12)
SLOT = PlannedPiece("back/1", "physical", 0, 0, 0, 0, 0, 0)

DONE_CREAM: dict[str, Any] = {
    "piece": "front/1",
    "medium": "cream",
    "day": "2026-04-20",
    "holes": 33,
    "hole_mm": 12,
    "depths_mm": [205] * 33,
    "widest_centres_mm": 120,
    "containers_used": 0.8,
    "container_ml": 1000,
}
DONE_RODS: dict[str, Any] = {
    "piece": "front/2",
    "medium": "rods",
    "day": "2026-04-20",
    "holes": 10,
    "hole_mm": 12,
    "depths_mm": [200, 201, 203],
    "widest_centres_mm": 118,
    "rods_used": 12,
}
DONE_SLOT: dict[str, Any] = {"piece": "back/1", "medium": "physical", "day": "2026-04-21"}


def written(*pieces: dict[str, Any]) -> InstallationRecordFile:
    data = {"kind": "installation_record", "reference": "a job", "pieces": list(pieces)}
    return parse_record(json.dumps(data, indent=1).encode(), "record.yaml")


def changed(row: dict[str, Any], /, **changes: Any) -> dict[str, Any]:
    """A piece with some entries changed; those set to None are left out."""
    return {key: value for key, value in {**row, **changes}.items() if value is not None}


def found(piece: dict[str, Any], plan: PlannedPiece = CREAM, tolerances: Tolerances = TOLERANCES) -> list[Finding]:
    return list(reconcile(written(piece), [plan], tolerances, SURVEYED))


def kinds(piece: dict[str, Any], plan: PlannedPiece = CREAM) -> list[str]:
    return [finding.kind for finding in found(piece, plan)]


def test_a_perfect_record_finds_nothing() -> None:
    assert reconcile(written(DONE_CREAM, DONE_RODS, DONE_SLOT), [CREAM, RODS, SLOT], TOLERANCES, SURVEYED) == ()


@pytest.mark.parametrize(
    ("changes", "expected"),
    [
        ({"holes": 32, "depths_mm": [205] * 32}, "missing_holes"),
        ({"hole_mm": 10}, "wrong_diameter"),
        ({"hole_mm": 14}, "wrong_diameter"),
        ({"depths_mm": [205] * 32 + [199]}, "short_holes"),
        ({"widest_centres_mm": 126}, "wide_spacing"),
        ({"containers_used": 0.7}, "too_little_agent"),
        ({"containers_used": 1.2}, "too_much_agent"),
        ({"day": "2026-03-03"}, "dated_too_early"),
        ({"medium": "mortar"}, "other_medium"),
        ({"holes": None}, "not_recorded"),
        ({"hole_mm": None}, "not_recorded"),
        ({"depths_mm": None}, "not_recorded"),
        ({"widest_centres_mm": None}, "not_recorded"),
        ({"containers_used": None, "container_ml": None}, "not_recorded"),
        ({"day": None}, "not_recorded"),
    ],
)
def test_each_fault_is_found_and_nothing_else(changes: dict[str, Any], expected: str) -> None:
    assert kinds(changed(DONE_CREAM, **changes)) == [expected]


@pytest.mark.parametrize(
    "changes",
    [
        {"depths_mm": [200] * 33},
        {"depths_mm": [215]},
        {"hole_mm": 12.5},
        {"widest_centres_mm": 125},
        {"widest_centres_mm": 90},
        {"containers_used": 0.727},  # 765.1 mL less 5 %
        {"containers_used": 1.147},  # and half as much again
        {"containers_used": None, "container_ml": None, "used_ml": 790},
        {"day": "2026-03-04"},
    ],
)
def test_what_is_within_tolerance_is_no_finding(changes: dict[str, Any]) -> None:
    assert kinds(changed(DONE_CREAM, **changes)) == []


def test_a_finding_says_what_how_much_and_where() -> None:
    (finding,) = found(changed(DONE_CREAM, depths_mm=[205, 205, 180, 198, 205]))
    assert (finding.kind, finding.piece_id) == ("short_holes", "front/1")
    assert (finding.planned, finding.found, finding.tolerance) == (205, 180, 5)
    assert "2 of 5 holes measured are too short, the shortest 180 mm" in finding.says
    assert finding.where == "record.yaml:5"


def test_agent_is_compared_with_the_holes_that_were_drilled() -> None:
    # 40 holes hold 927 mL: what is enough for the 33 scheduled leaves some of them empty.
    more = changed(DONE_CREAM, holes=40, depths_mm=[205])
    (finding,) = found(more)
    assert finding.kind == "too_little_agent"
    assert finding.planned == pytest.approx(927.4, abs=0.1)
    assert "800 mL for 40 holes that hold 927 mL" in finding.says
    assert found(changed(more, containers_used=0.9)) == []
    # Where only half the holes were drilled, half the cream is enough, and the missing holes are the finding.
    assert kinds(changed(DONE_CREAM, holes=16, depths_mm=[205], containers_used=0.4)) == ["missing_holes"]


@pytest.mark.parametrize(
    ("changes", "expected"),
    [
        ({"rods_used": 11}, ["missing_rods"]),
        ({"rods_used": 13}, []),
        ({"holes": 11, "rods_used": 13}, ["missing_rods"]),  # 11 x 1.2 = 13.2, so 14
        ({"holes": 11, "rods_used": 14}, []),
        ({"holes": 9, "rods_used": 11}, ["missing_holes"]),  # 9 x 1.2 = 10.8, so 11 do
        ({"rods_used": None}, ["not_recorded"]),
    ],
)
def test_rods(changes: dict[str, Any], expected: list[str]) -> None:
    assert kinds(changed(DONE_RODS, **changes), RODS) == expected


def test_what_is_missing_is_counted() -> None:
    assert found(changed(DONE_CREAM, holes=31, depths_mm=[205]))[0].says.startswith("31 holes of 33: 2 are missing")
    assert found(changed(DONE_RODS, rods_used=9), RODS)[0].says == "9 rods for holes that take 12: 3 are missing"


def test_a_piece_without_holes_is_not_asked_for_their_depth() -> None:
    plan = PlannedPiece("back/1", "cream", 0, 12, 120, 205, 23, 0)
    assert kinds(changed(DONE_SLOT, medium="cream", hole_mm=12), plan) == []


def test_a_schedule_that_does_not_say_cannot_be_checked() -> None:
    plan = PlannedPiece("front/1", "cream", None, None, None, None, None, None)
    row = changed(DONE_CREAM, rods_used=None)
    assert kinds(row, plan) == ["cannot_check"] * 5 + ["not_recorded"]
    assert kinds(row, dataclasses.replace(plan, rods=0)) == ["cannot_check"] * 5


def test_pieces_on_one_side_only() -> None:
    record = written(DONE_CREAM, changed(DONE_RODS, piece="front/22"))
    findings = reconcile(record, [SLOT, CREAM, RODS], TOLERANCES, SURVEYED)
    assert [(each.kind, each.piece_id) for each in findings] == [
        ("piece_not_recorded", "back/1"),
        ("piece_not_recorded", "front/2"),
        ("piece_not_planned", "front/22"),
    ]
    assert "is it front/2?" in findings[2].says
    assert findings[0].where == ""
    assert findings[2].where.startswith("record.yaml:")


def test_nothing_to_date_it_against() -> None:
    early = changed(DONE_CREAM, day="1990-01-01")
    assert reconcile(written(early), [CREAM], TOLERANCES, None) == ()


# Properties


@st.composite
def planned_pieces(draw: st.DrawFn) -> PlannedPiece:
    medium = draw(st.sampled_from(["cream", "rods", "mortar", "aqueous_liquid"]))
    holes = draw(st.integers(1, 500))
    rods = medium == "rods"
    return PlannedPiece(
        "a/1",
        medium,
        holes,
        draw(st.sampled_from([8.0, 10.0, 12.0, 19.0, 30.0])),
        draw(st.floats(60, 400)),
        draw(st.floats(60, 900)),
        0 if rods else draw(st.floats(1, 500)),
        draw(st.integers(holes, 10 * holes)) if rods else 0,
    )


def as_planned(plan: PlannedPiece, **changes: Any) -> dict[str, Any]:
    assert plan.holes is not None
    row: dict[str, Any] = {
        "piece": plan.piece_id,
        "medium": plan.medium,
        "day": "2026-05-01",
        "holes": plan.holes,
        "hole_mm": plan.hole_mm,
        "depths_mm": [plan.depth_mm] * min(plan.holes, 50),
        "widest_centres_mm": plan.centres_mm,
    }
    if plan.rods:
        row["rods_used"] = plan.rods
    else:
        assert plan.ml_per_hole is not None
        row["used_ml"] = plan.ml_per_hole * plan.holes
    return changed(row, **changes)


EXACT = Tolerances(0, 0, 0, 0, 0, "none")


@given(plan=planned_pieces())
@settings(deadline=None)
def test_a_record_exactly_as_planned_finds_nothing_even_without_tolerance(plan: PlannedPiece) -> None:
    assert found(as_planned(plan), plan, EXACT) == []


@given(plan=planned_pieces(), extra=st.integers(0, 50))
@settings(deadline=None)
def test_more_than_planned_finds_nothing_where_agent_goes_with_the_holes(plan: PlannedPiece, extra: int) -> None:
    assert plan.holes is not None
    holes = plan.holes + extra
    changes: dict[str, Any] = {"holes": holes}
    if plan.rods:
        changes["rods_used"] = ceil(plan.rods * holes / plan.holes)
    else:
        assert plan.ml_per_hole is not None
        changes["used_ml"] = plan.ml_per_hole * holes
    assert found(as_planned(plan, **changes), plan, EXACT) == []


@given(plan=planned_pieces(), data=st.data())
@settings(deadline=None)
def test_every_shortfall_is_found(plan: PlannedPiece, data: st.DataObject) -> None:
    assert plan.holes is not None
    assert plan.depth_mm is not None
    assert plan.centres_mm is not None
    fault = data.draw(st.sampled_from(["holes", "depth", "centres", "agent"]))
    if fault == "holes":
        fewer = data.draw(st.integers(0, plan.holes - 1))
        row, expected = (
            as_planned(plan, holes=fewer, depths_mm=[plan.depth_mm] * min(fewer, 5) or None),
            "missing_holes",
        )
    elif fault == "depth":
        row, expected = as_planned(plan, depths_mm=[plan.depth_mm - 5.1]), "short_holes"
    elif fault == "centres":
        row, expected = as_planned(plan, widest_centres_mm=plan.centres_mm + 5.1), "wide_spacing"
    elif plan.rods:
        row, expected = as_planned(plan, rods_used=plan.rods - 1), "missing_rods"
    else:
        assert plan.ml_per_hole is not None
        row, expected = as_planned(plan, used_ml=plan.ml_per_hole * plan.holes * 0.94), "too_little_agent"
    assert expected in kinds(row, plan)


@given(plan=planned_pieces(), name=st.sampled_from(["day", "holes", "hole_mm", "depths_mm", "widest_centres_mm"]))
@settings(deadline=None)
def test_leaving_something_out_never_passes(plan: PlannedPiece, name: str) -> None:
    assert kinds(as_planned(plan, **{name: None}), plan) == ["not_recorded"]


# The file


def problems(*pieces: dict[str, Any]) -> list[str]:
    with pytest.raises(BadInput) as caught:
        written(*pieces)
    return [str(problem) for problem in caught.value.problems]


@pytest.mark.parametrize(
    ("changes", "expected"),
    [
        ({"holes": -1, "depths_mm": None}, "pieces[0].holes: is out of limits; found -1; allowed: at least 0"),
        ({"holes": 33.5}, "pieces[0].holes: is of the wrong kind; found 33.5; allowed: a whole number"),
        ({"medium": "creme"}, "did you mean cream?"),
        ({"day": "20 April"}, "pieces[0].day: is not a date"),
        ({"piece": "front 1"}, "pieces[0].piece: is not written as it must be"),
        ({"hols": 33}, "did you mean holes?"),
        ({"container_ml": None}, "pieces[0].containers_used: stands alone"),
        ({"containers_used": None}, "pieces[0].container_ml: stands alone"),
        ({"used_ml": 800}, "pieces[0].used_ml: is given twice"),
        ({"rods_used": 3}, "pieces[0].rods_used: does not apply to this medium"),
        ({"holes": 2}, "has more depths than there are holes; found 33 depths of 2 holes"),
        ({"medium": "rods"}, "pieces[0]: rods are not counted in mL or containers"),
        ({"depths_mm": []}, "a list of rows, at least one"),
    ],
)
def test_what_a_record_may_not_say(changes: dict[str, Any], expected: str) -> None:
    found_problems = problems(changed(DONE_CREAM, **changes))
    assert any(expected in each for each in found_problems), found_problems
    assert all(each.startswith("record.yaml:") for each in found_problems)


def test_a_piece_stands_once() -> None:
    (problem,) = problems(DONE_CREAM, DONE_CREAM)
    assert "pieces[1].piece: stands twice in the record; found front/1" in problem


def test_all_problems_at_once() -> None:
    found_problems = problems(changed(DONE_CREAM, holes=-1, depths_mm=None), changed(DONE_RODS, medium="rod", day="x"))
    assert len(found_problems) == 3


def test_other_kinds_of_file_are_refused() -> None:
    with pytest.raises(BadInput, match="kind"):
        parse_record(b"kind: prices\nreference: x\npieces: [{piece: a, medium: cream}]\n", "record.yaml")
    with pytest.raises(BadInput, match="not a mapping"):
        parse_record(b"- a\n", "record.yaml")


def test_reading_from_a_file(tmp_path: pathlib.Path) -> None:
    path = tmp_path / "record.yaml"
    path.write_text("kind: installation_record\nreference: x\npieces:\n  - {piece: a, medium: cream}\n")
    file = read_record(path)
    assert file.name == str(path)
    assert file.record.pieces[0].agent_ml is None
    with pytest.raises(BadInput, match="no such file"):
        read_record(tmp_path / "nowhere.yaml")


def test_plans_and_tolerances_that_cannot_be() -> None:
    with pytest.raises(ValueError, match=r"holes of a piece.*diameter.*centres.*depth.*agent.*rods"):
        PlannedPiece("a", "cream", -1, -1, -1, -1, -1, -1)
    with pytest.raises(ValueError, match="rods need holes"):
        PlannedPiece("a", "rods", 0, 12, 120, 200, 0, 3)
    with pytest.raises(ValueError, match=r"depth.*spacing.*diameter.*short.*over"):
        Tolerances(-1, -1, -1, 101, -1, "x")
    with pytest.raises(ValueError, match="front/1 more than once"):
        reconcile(written(DONE_CREAM), [CREAM, CREAM], TOLERANCES, None)
