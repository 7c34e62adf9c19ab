"""A schedule as the crew's sheet: text that is never cut, JSON, or a table of pieces as CSV."""

from __future__ import annotations

import csv
import datetime as dt
import io
import re
from collections.abc import Sequence
from decimal import Decimal

from cli.terminal import Page
from cli.wording import sentence
from engine.schedule.model import (
    LeafDrilled,
    LineSet,
    MediumPlan,
    PieceScheduled,
    Schedules,
    WallSchedule,
)

WIDTH = 80
_NOT_KNOWN = "not known"
_CHANGED = "NOT AS SURVEYED."
_NUMBER = re.compile(r"[+-]?([0-9]+(\.[0-9]*)?|\.[0-9]+)([eE][+-]?[0-9]+)?")
_STARTS_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n")
_COLUMNS = (
    "reference",
    "wall",
    "piece",
    "kind",
    "leaf",
    "from_m",
    "to_m",
    "level_mm",
    "top_mm",
    "joint",
    "medium",
    "holes",
    "hole_mm",
    "centres_mm",
    "depth_mm",
    "length_mm",
    "angle_degrees",
    "sides",
    "rows",
    "ml_per_hole",
    "rods",
    "reasons",
)
_BELOW = {
    "lower": "lower the ground",
    "protect_outside": "protect the wall outside",
    "protect_inside": "protect the wall inside",
}
_STANDING = {
    "below_action": "below the action value",
    "at_action": "at the action value or above it",
    "above_limit": "above the limit: not in one day of one person",
}


def as_json(schedules: Sequence[WallSchedule]) -> str:
    """Everything, as JSON."""
    return Schedules(schedules=tuple(schedules)).model_dump_json(indent=2) + "\n"


def as_csv(schedules: Sequence[WallSchedule]) -> str:
    """One row for each piece of the line; no cell can be taken for a formula."""
    target = io.StringIO()
    writer = csv.writer(target, lineterminator="\n")
    writer.writerow(_COLUMNS)
    for schedule in schedules:
        for piece in schedule.line.pieces if schedule.line is not None else ():
            reasons = "; ".join(reason.says for reason in piece.reasons)
            first = {"reference": schedule.reference, "wall": schedule.wall, "piece": piece.id, "reasons": reasons}
            row = {**piece.model_dump(), **first, "medium": schedule.medium}
            writer.writerow(cell(row[name]) for name in _COLUMNS)
    return target.getvalue()


def cell(value: object) -> str:
    """A cell as text that a spreadsheet takes for a number or for plain text, and never for a formula."""
    if value is None:
        return ""
    if isinstance(value, float):
        return f"{value:.6f}".rstrip("0").rstrip(".")
    text = str(value)
    return f"'{text}" if text.startswith(_STARTS_FORMULA) and not _NUMBER.fullmatch(text) else text


def as_text(schedules: Sequence[WallSchedule], *, plain: bool = False) -> str:
    """Every wall as a sheet of text; `plain` without colours whatever the terminal."""
    page = Page(plain=plain, piped_width=WIDTH)
    for number, schedule in enumerate(schedules):
        if number:
            page.blank()
            page.line("-" * 72)
        _Sheet(page, schedule).show()
    return page.text()


def brief(schedule: WallSchedule, options: str = "") -> list[tuple[str, str, str]]:
    """The schedule in a few rows, for a page that is about something else.

    `options` are those that page was judged with, as they are written after the command.
    """
    if schedule.line is None:
        return [("line", schedule.says, "")]
    line, plan = schedule.line, schedule.plan
    level = sum(piece.run_m for piece in line.pieces if piece.kind == "horizontal")
    upright = sum(piece.kind == "vertical" for piece in line.pieces)
    text = f"{level:.2f} m to work along; pieces: {len(line.pieces) - upright} level, {upright} upright"
    rows = [("line", f"{text}; steps: {line.steps}", "")]
    if plan is not None:
        holes = "a slot" if plan.medium == "physical" else _count(plan.holes, "holes")
        rows.append(("medium", f"{holes}; to bring: {_to_bring(plan)}{_generic(plan)}", ""))
    if schedule.works.strip_heights:
        on = f", on {_of(schedule.works.plaster_on_m2, 'm²')}" if schedule.works.plaster is not None else ""
        rows.append(("plaster", f"off {_of(schedule.works.plaster_off_m2, 'm²')}{on}", ""))
    if schedule.drying is not None:
        first = min((wait.from_day for wait in schedule.drying.redecorate), default=None)
        dry = f"{schedule.drying.earliest} to {schedule.drying.latest}" if schedule.drying.earliest else _NOT_KNOWN
        counted = f"counted from {schedule.drying.counted_from}, dry by one rule or another {dry}"
        rows.append(("drying", f"{counted}; first decoration from {first}; measure", ""))
    rows.append(("in full", f"bedjoint schedule {schedule.file} --wall {schedule.wall}{options}", ""))
    return rows


def _count(count: int | None, what: str) -> str:
    return f"{what} not known" if count is None else f"{count} {what}"


def _generic(plan: MediumPlan) -> str:
    return ", by generic figures and not a product's" if plan.basis is not None and plan.basis.generic else ""


class _Sheet:
    def __init__(self, page: Page, schedule: WallSchedule) -> None:
        self._page = page
        self._schedule = schedule

    def show(self) -> None:
        page, schedule = self._page, self._schedule
        page.line(f"Schedule for wall {schedule.wall}, survey {schedule.reference} of {schedule.survey_date}", "bold")
        page.line(f"{schedule.file}; by rules {schedule.rules} as of {schedule.as_of}")
        for note in schedule.notes:
            if note.startswith(_CHANGED):
                page.line(note, "bold")
        page.line(schedule.limits)
        page.blank()
        page.rows(
            [
                ("VERDICT", f"{sentence(schedule.verdict_says)}  [{schedule.status}]", "bold"),
                ("Medium", sentence(schedule.medium_says), ""),
                ("", schedule.says, ""),
            ],
            8,
            indent=0,
        )
        if schedule.cautions:
            page.heading("Cautions")
            page.rows(((each.word, each.says, "bold" if each.word == "must" else "") for each in schedule.cautions), 9)
        if schedule.line is not None:
            self._line(schedule.line)
        if schedule.plan is not None:
            self._drilling(schedule.plan)
            self._dose(schedule.plan)
        if schedule.line is not None:
            self._beside(schedule.line)
        self._works()
        self._media()
        self._drying()
        self._exposure()
        if schedule.would_firm_up:
            page.heading("What would firm it up")
            page.rows(((f.fact, f"{f.question} Without it: {f.without}.", "") for f in schedule.would_firm_up), 24)
        notes = [note for note in schedule.notes if not note.startswith(_CHANGED)]
        if notes:
            page.heading("Notes")
            page.rows((("-", note, "") for note in notes), 1)

    def _line(self, line: LineSet) -> None:
        page = self._page
        page.heading("The line")
        page.line(
            f"Wall of {line.length_m:.2f} m; places from its start, levels against the inside floor finish. A record "
            f"names each piece with the wall before it: {self._schedule.wall}:H1."
        )
        if line.follow_mortar:
            page.line("No level joints run through: hold the level as near as the mortar allows.")
        page.rows(((_short(piece.id), _piece(piece), "") for piece in line.pieces), 9)
        for gap in line.gaps:
            why = "; ".join(reason.says for reason in gap.reasons)
            page.rows([("NO LINE", f"{gap.from_m:.2f} to {gap.to_m:.2f} m: {why}", "bold")], 9)
        reasons = {
            _short(piece.id).split("/")[0]: "; ".join(reason.says for reason in piece.reasons) for piece in line.pieces
        }
        page.heading("Why there")
        page.rows(((name, f"{sentence(why)}.", "") for name, why in reasons.items() if why), 9)

    def _drilling(self, plan: MediumPlan) -> None:
        self._page.heading("Holes")
        if not plan.leaves:
            self._page.line(f"  {sentence(plan.pattern)}.")
        self._page.rows(((leaf.leaf, _leaf(leaf), "") for leaf in plan.leaves), 9)
        if plan.holes:
            drilled = f", {plan.drilled_m:.2f} m to drill" if plan.drilled_m is not None else ""
            self._page.rows([("in all", f"{plan.holes} holes{drilled}", "bold")], 9)
        self._page.rows((("-", f"{sentence(note)}.", "") for note in plan.notes), 9)

    def _dose(self, plan: MediumPlan) -> None:
        rows = [("basis", sentence(plan.basis.says), "")] if plan.basis is not None else []
        if plan.low_l and plan.high_l and plan.with_waste_l is not None:
            span = _litres(plan.low_l) if plan.low_l == plan.high_l else f"{plan.low_l:g} to {plan.high_l:g} L"
            rows.append(("in holes", span, ""))
            rows.append(("to bring", f"{_litres(plan.with_waste_l)}, waste included", "bold"))
        elif plan.basis is not None and plan.medium != "rods" and plan.with_waste_l is None:
            rows.append(("to bring", _NOT_KNOWN, ""))
        if plan.active_l is not None:
            rows.append(("active", f"{plan.active_l * 1000:.0f} mL of declared active content in the holes", ""))
        if plan.rod_run_m is not None:
            rows.append(("in holes", f"{plan.rod_run_m:.2f} m of rod, butted end to end", ""))
            rods = _NOT_KNOWN if plan.rods is None else f"{plan.rods} rods, cutting included"
            rows.append(("to bring", rods, "bold"))
        if plan.packs is not None:
            pack = plan.packs
            rows.append(
                ("packs", f"{pack.count} of {pack.each:g} {pack.unit} ({pack.left_over:g} {pack.unit} over)", "")
            )
        if plan.slot_m is None:
            rows.append(("slot", _NOT_KNOWN, ""))
        elif plan.slot_m:
            rows.append(("slot", f"{plan.slot_m:.2f} m of slot and sheet", "bold"))
        if rows:
            self._page.heading("Dose")
            self._page.rows(rows, 9)

    def _beside(self, line: LineSet) -> None:
        rows = []
        for join in line.joins:
            strip = f" ({join.strip_mm:.0f} mm wide)" if join.strip_mm is not None else ""
            rows.append(("floor", f"{join.from_m:.2f} to {join.to_m:.2f} m: {join.says}{strip}", ""))
        for work in line.below:
            text = (
                f"{work.from_m:.2f} to {work.to_m:.2f} m, from {_level(work.from_mm)} to {_level(work.to_mm)}: "
                f"{_BELOW[work.how]}, {work.area_m2:.2f} m²; {work.says}"
            )
            rows.append(("ground" if work.how == "lower" else "wall", text, ""))
        rows += [("timber", f"stays in the damp part of the wall: {each}", "bold") for each in line.timbers_at_risk]
        if rows:
            self._page.heading("Beside and below the line")
            self._page.rows(rows, 9)

    def _works(self) -> None:
        works = self._schedule.works
        rows = []
        if works.strip_heights:
            followed = next((rule for rule in works.strip_heights if rule.followed), None)
            if followed is not None and works.plaster_off_m2 is not None and followed.height_mm is not None:
                off = f"{works.plaster_off_m2:.2f} m², to {followed.height_mm:.0f} mm, by {followed.source}"
                if works.openings_deducted_m2:
                    off += f"; openings of {works.openings_deducted_m2:.2f} m² deducted"
            else:
                off = _NOT_KNOWN
            rows.append(("plaster off", off, ""))
            others = [f"{r.height_mm:.0f} ({r.rule})" for r in works.strip_heights if not r.followed and r.height_mm]
            if others:
                rows.append(("", f"other rules, not followed, mm: {', '.join(others)}", ""))
        if "replaster" in works.called_for:
            on = _NOT_KNOWN if works.plaster_on_m2 is None else f"{works.plaster_on_m2:.2f} m²"
            kind = (works.plaster or "").replace("_", " ")
            rows.append(("plaster on", f"{on}, {kind}{': ' + works.coats if works.coats else ''}", ""))
            if works.plaster_low_l is not None and works.plaster_high_l is not None:
                rows.append(
                    ("", f"{works.plaster_low_l:g} to {works.plaster_high_l:g} L on the wall, without waste", "")
                )
        for work, label, value in (
            ("lift_and_refix_skirting", "skirting", _of(works.skirting_m, "m to lift and refix")),
            ("seal_holes", "mortar", _of(works.mortar_l, "L to close the holes")),
            ("link_floor_membrane", "floor seal", _of(works.seal_m, "m to join to the floor membrane")),
            ("add_vents", "vents", _of(works.vent_area_short_mm2, "mm² of free area to add", 0)),
            ("lower_ground", "ground", _of(works.ground_m3, "m³ to lower")),
        ):
            if work in works.called_for:
                rows.append((label, value, ""))
        if works.ground_m3 is not None and works.ground_loose_m3 is not None and works.ground_deepest_mm is not None:
            text = f"{works.ground_loose_m3:.2f} m³ loose; {works.ground_deepest_mm:.0f} mm at the deepest"
            rows.append(("", text, ""))
        if rows or works.notes:
            self._page.heading("Works beside the course")
            self._page.rows(rows, 11)
            self._page.rows((("-", note, "") for note in works.notes), 11)

    def _media(self) -> None:
        media = self._schedule.media
        if not media:
            return
        page = self._page
        page.heading("Media that stand, side by side")
        currency = next((each.cost.currency for each in media if each.cost is not None), "")
        head = ("medium", "holes", "to bring", "hours", "labour", "material", f"total {currency}".strip())
        page.line(_columns(head), "bold")
        for plan in media:
            cost = plan.cost
            money = [_money(value) for value in (cost.hours, cost.labour, cost.material)] if cost else ["-"] * 3
            total = _money(cost.gross) if cost is not None else "-"
            holes = "?" if plan.holes is None else str(plan.holes)
            page.line(_columns((plan.medium, holes, _to_bring(plan), *money, total)))
        for plan in media:
            if plan.cost is not None and plan.cost.unknown:
                names = ", ".join(plan.cost.unknown)
                text = f"{plan.medium}: no total, not known: {names}; the rest is {plan.cost.known_net} before tax"
                page.rows([("-", text, "")], 1)
        first = next((each.cost for each in media if each.cost is not None), None)
        if first is not None:
            tax = f"total with {first.tax_name} of {first.tax_percent} %" if first.tax_name else "total without tax"
            text = f"By {first.book}; {tax}; {first.rounding}. A price does not change the order of the media."
            page.rows([("-", text, "")], 1)

    def _drying(self) -> None:
        drying = self._schedule.drying
        if drying is None:
            return
        page = self._page
        page.heading(f"Drying, counted from {drying.counted_from}")
        page.line("The rules disagree and none is the answer: measure. The days move with the day of the work.")
        page.rows(
            (
                (
                    _days(rule.from_day, rule.to_day) if rule.from_day else "cannot say",
                    f"{rule.why_not + ': ' if rule.why_not else ''}{rule.says} ({rule.source})",
                    "",
                )
                for rule in drying.rules
            ),
            24,
        )
        page.rows(
            ((_days(wait.from_day, wait.to_day), f"{wait.what} finish: {wait.says}", "") for wait in drying.redecorate),
            24,
        )
        page.rows(
            ((str(wait.from_day), f"{wait.what.replace('_', ' ')}: {wait.says}", "") for wait in drying.measure), 24
        )

    def _exposure(self) -> None:
        found = self._schedule.exposure
        if found is None:
            return
        self._page.heading("Hands and lungs")
        rows = [
            (
                "dust",
                f"{found.holes} holes, {found.drilled_m:.2f} m drilled, {found.dust_l:.2f} L of masonry as dust; "
                f"the limit for silica in the air is {found.silica_limit_mg_m3:g} mg/m³ over 8 hours",
                "",
            )
        ]
        if found.a8_m_s2 is not None and found.standing is not None:
            text = (
                f"{found.trigger_hours:.2f} h at the trigger; all in one day of one person A(8) {found.a8_m_s2:.2f} "
                f"m/s², {found.points:.0f} points: {_STANDING[found.standing]}"
            )
            rows.append(("hands", text, ""))
        if found.least_person_days is not None:
            days = f"{found.least_person_days} days of one person, to stay below {found.action_m_s2:g} m/s²"
            if found.holes_a_day_below_action is not None:
                days += f": no more than {found.holes_a_day_below_action} holes a day"
            rows.append(("", days, ""))
        if found.vibration_m_s2 is None:
            text = (
                f"action is due from {found.action_m_s2:g} m/s², work stops at {found.limit_m_s2:g} m/s², both A(8): "
                "count the trigger time"
            )
            rows.append(("hands", text, ""))
        self._page.rows(rows, 9)


def _short(piece_id: str) -> str:
    return piece_id.rpartition(":")[2]


def _piece(piece: PieceScheduled) -> str:
    if piece.top_mm is None:
        joint = f" (joint {piece.joint:+d})" if piece.joint is not None else ""
        text = f"{piece.from_m:.2f} to {piece.to_m:.2f} m at {_level(piece.level_mm)}{joint}"
    else:
        least = " at least" if piece.at_least else ""
        text = f"upright at {piece.from_m:.2f} m, from {_level(piece.level_mm)} to {_level(piece.top_mm)}{least}"
    if piece.holes is None:
        text += "; holes not known"
    elif piece.holes:
        text += f"; {piece.holes} holes{', both sides together' if piece.sides == 2 else ''}"
        text += f" of {piece.ml_per_hole:.1f} mL" if piece.ml_per_hole else ""
        text += f", {piece.rods} rods" if piece.rods else ""
    return f"{text}. {' '.join(sentence(note) + '.' for note in piece.notes)}".rstrip(". ") + "."


def _leaf(leaf: LeafDrilled) -> str:
    stages = (
        f", filled in stages at {', '.join(f'{each:g}' for each in leaf.stages_mm)} mm" if leaf.stages_mm[1:] else ""
    )
    angle = "level" if not leaf.angle_degrees else f"{leaf.angle_degrees:g}° down, {leaf.length_mm:g} mm along the hole"
    rows = "one row" if leaf.rows == 1 else f"{leaf.rows} rows {leaf.row_spacing_mm:g} mm apart"
    sides = "one side" if leaf.sides == 1 else "both sides"
    dose = f"; {leaf.ml_per_metre:g} mL to the metre of a long run" if leaf.ml_per_metre is not None else ""
    assumed = " (assumed)" if leaf.assumed else ""
    return (
        f"{leaf.thickness_mm:g} mm thick{assumed}: {leaf.hole_mm:g} mm holes, {leaf.depth_mm:g} mm deep{stages}, "
        f"{angle}, no more than {leaf.centres_mm:g} mm apart, from {sides}, {rows}{dose} [{leaf.source}]"
    )


def _level(mm: float) -> str:
    return f"{mm:+.0f} mm" if round(mm) else "0 mm"


def _litres(litres: float) -> str:
    return f"{litres:.2f} L"


def _of(value: float | None, unit: str, digits: int = 2) -> str:
    return _NOT_KNOWN if value is None else f"{value:.{digits}f} {unit}"


def _to_bring(plan: MediumPlan) -> str:
    if plan.medium == "physical":
        return f"{plan.slot_m:.2f} m" if plan.slot_m is not None else "?"
    if plan.medium == "rods":
        run = "? rods" if plan.rod_run_m is None else f"{plan.rod_run_m:.2f} m rod"
        return run if plan.rods is None else f"{plan.rods} rods"
    return "? L" if plan.with_waste_l is None else _litres(plan.with_waste_l)


def _money(value: Decimal | None) -> str:
    return "?" if value is None else str(value)


def _columns(parts: Sequence[str]) -> str:
    widths = (-15, 6, 10, 8, 10, 10, 11)
    shown = (part.ljust(-width) if width < 0 else part.rjust(width) for part, width in zip(parts, widths, strict=True))
    return "  " + " ".join(shown)


def _days(from_day: dt.date | None, to_day: dt.date | None) -> str:
    return str(from_day) if from_day == to_day else f"{from_day} to {to_day}"
