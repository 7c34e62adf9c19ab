"""The setting out of the line: from the levels along a wall to its pieces, steps, vertical pieces and joins.

The line keeps these rules at every place: it clears the outside ground, unless that is lowered or the wall protected
there; it lies below the timbers; it does not use old work again; it follows a change of the floor; it
steps down with the ground where that falls by more than `LineRules` allows along one piece. Of the lines that
keep them, `line_pieces` takes the one with the fewest pieces and then the one nearest to the level wanted. Where
nothing keeps them, the piece says so, and which ways out there are.

Every figure of the trade comes in with `LineRules`; sources for them stand with the data.
"""

from __future__ import annotations

from collections.abc import Iterator

from engine.schedule.ground import Ground
from engine.schedule.joints import Ladder, to_mm
from engine.schedule.line_below import floor_links, ground_works
from engine.schedule.line_ends import steps, verticals_at_junctions, with_laps
from engine.schedule.line_limits import cells, limits, to_m
from engine.schedule.line_model import LineRules, WallLine
from engine.schedule.line_pieces import Run, runs
from engine.schedule.line_reasons import no_joint, reasons_for_gap, reasons_for_piece
from engine.schedule.line_result import Missing, Piece, SettingOut


def set_out(wall: WallLine, rules: LineRules) -> SettingOut:
    """Set out the line of one wall.

    Without the length or the ground there is no line: `pieces` is `None`, and `missing` says what to measure.
    Without gauge, level of a joint, timbers, old work, junctions or membrane the line is set out as far as it
    goes, and `missing` says which figure would firm it up. Raises nothing: the parts refuse impossible figures.
    """
    missing = tuple(_missing(wall))
    if wall.length_m is None or wall.ground is None:
        return SettingOut(None, (), (), (), (), (), False, missing)
    length_m, ground = float(wall.length_m), wall.ground
    within = limits(wall, length_m, ground, rules)
    laid = runs(cells(within), within.rungs)
    pieces = tuple(_piece(wall, ground, rules, within.rungs, run) for run in laid)
    its_steps = steps(wall, ground, rules, pieces)
    pieces = with_laps(pieces, its_steps)
    verticals, open_ends = verticals_at_junctions(wall, rules, length_m, pieces)
    lines = [(piece.from_m, piece.to_m, piece.level_mm) for piece in pieces if piece.level_mm is not None]
    works = tuple(work for line in lines for work in ground_works(wall, ground, rules, *line))
    missing += open_ends + _missing_of_digging(wall, any(work.how == "lower" for work in works))
    return SettingOut(
        pieces,
        its_steps,
        (*(step.vertical for step in its_steps), *verticals),
        tuple(link for line in lines for link in floor_links(wall, rules, *line)),
        works,
        _timbers_at_risk(wall, rules, lines),
        wall.beds.kind == "irregular",
        missing,
    )


def _piece(wall: WallLine, ground: Ground, rules: LineRules, rungs: Ladder, run: Run) -> Piece:
    from_m, to_m_ = to_m(run.from_nm), to_m(run.to_nm)
    if run.rung is None:
        ways = no_joint(wall, ground, rules, rungs, from_m, to_m_)
        return Piece(from_m, to_m_, None, None, from_m, to_m_, reasons_for_gap(ways, rungs.counted), ways)
    reasons = reasons_for_piece(wall, ground, rules, rungs, from_m, to_m_, run.rung)
    level_mm = to_mm(rungs.level_um(run.rung))
    return Piece(from_m, to_m_, run.rung if rungs.counted else None, level_mm, from_m, to_m_, reasons, None)


def _timbers_at_risk(wall: WallLine, rules: LineRules, lines: list[tuple[float, float, float]]) -> tuple[str, ...]:
    """Name the isolated timbers that the line does not pass below: the wall round them stays damp."""
    return tuple(
        timber.what
        for timber in wall.timbers or ()
        if timber.isolated
        and timber.underside_mm is not None
        and any(
            from_m <= timber.to_m and to_m_ >= timber.from_m and line_mm > timber.underside_mm - rules.below_timber_mm
            for from_m, to_m_, line_mm in lines
        )
    )


def _missing(wall: WallLine) -> Iterator[Missing]:
    if wall.length_m is None:
        yield Missing("length_m", True, "the length of the wall is not known")
    if wall.ground is None:
        yield Missing("ground", True, "the level of the ground along the wall is not known")
    beds = wall.beds
    if beds.kind is None:
        yield Missing(
            "beds", False, "whether level bed joints run through is not known; the levels are to the nearest mm"
        )
    if beds.kind != "irregular" and beds.gauge_mm is None:
        yield Missing("gauge_mm", False, "the rise of a course is not known; with it the line goes to a bed joint")
    if beds.kind != "irregular" and beds.joint_mm is None:
        yield Missing(
            "joint_mm", False, "the level of one bed joint is not known; with it the line goes to a bed joint"
        )
    if wall.timbers is None:
        yield Missing("timbers", False, "whether timbers are built in is not known; the line may have to go lower")
    for timber in wall.timbers or ():
        if timber.underside_mm is None and not timber.isolated:
            says = f"the underside of the {timber.what} is not known; the line may have to go lower there"
            yield Missing("underside_mm", False, says)
    if wall.old is None:
        yield Missing(
            "old", False, "the level of an existing course or of old holes is not known; the line has to keep off it"
        )
    for old in wall.old or ():
        if old.level_mm is None:
            yield Missing("old", False, f"the level of the {old.what} is not known; the line has to keep off it")
    if wall.floor.membrane is None:
        yield Missing("membrane", False, "whether the floor has a membrane to join is not known")
    elif wall.floor.membrane and any(run.membrane_mm is None for run in wall.floor.runs):
        yield Missing("membrane_mm", False, "the level of the floor membrane is not known; it is taken from the finish")


def _missing_of_digging(wall: WallLine, digs: bool) -> tuple[Missing, ...]:
    unknown = any(answer.how == "lower" and answer.not_below_mm is None for answer in wall.answers)
    says = "how deep the ground may be dug without uncovering the foundation is not known"
    return (Missing("not_below_mm", False, says),) if digs and unknown else ()
