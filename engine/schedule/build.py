"""From a survey and its decision to the schedule of one wall: what the crew needs on one sheet."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

from engine.decision.assess import LIMITS, set_found
from engine.facts.intake import SurveyFile
from engine.facts.survey import Wall
from engine.inference.evaluate import Evaluation
from engine.rulebase.model import Member, Option
from engine.rulebase.rules import RuleBase
from engine.rulebase.tables import Tables
from engine.schedule.build_after import Drill, drying, exposure
from engine.schedule.build_facts import Known
from engine.schedule.build_figures import line_rules, notice_terms
from engine.schedule.build_line import line_set, note_missing, set_out_wall
from engine.schedule.build_media import CUT_IN, WHOLE, PieceDose, Planned, Stretch, leaves, plan_medium
from engine.schedule.build_money import cost
from engine.schedule.build_works import works
from engine.schedule.line_model import WallLine
from engine.schedule.line_result import Reason as LineReason
from engine.schedule.line_result import SettingOut
from engine.schedule.model import Caution, LineSet, MediumPlan, PieceScheduled, Reason, WallSchedule, Works
from engine.schedule.party_wall import once_served
from engine.schedule.price_book import PriceBookFile
from engine.schedule.product_sheet import ProductSheetFile
from engine.schedule.record import PlannedPiece

_TREAT = "treat"
NO_MEDIUM = "no_medium"
_CHOICES = ("verdict", "medium", "line_run", "line_height", "line_ends", "line_below_ground", "plaster")


@dataclass(frozen=True, slots=True)
class _Set:
    """One piece as it was set out: its place, joint and reasons."""

    stretch: Stretch
    joint: int | None
    at_least: bool
    reasons: tuple[LineReason, ...]


def build_schedule(
    file: SurveyFile,
    wall: Wall,
    base: RuleBase,
    evaluation: Evaluation,
    as_of: dt.date,
    product: ProductSheetFile | None = None,
    prices: PriceBookFile | None = None,
    drill: Drill | None = None,
) -> WallSchedule:
    """Build the schedule of one wall from what is known of it; what is not is named in `would_firm_up`.

    There is a line only where the verdict is to treat. Days of drying are counted from `as_of`. Raises `ValueError`
    for a rule base without tables, and for a product priced in another currency than the price book.
    """
    if base.tables is None:
        raise ValueError(f"rules {base.manifest.version} have no tables to build a schedule from")
    return _Builder(file, wall, base, base.tables, evaluation, product, prices).schedule(as_of, drill)


class _Builder:
    def __init__(
        self,
        file: SurveyFile,
        wall: Wall,
        base: RuleBase,
        tables: Tables,
        evaluation: Evaluation,
        product: ProductSheetFile | None,
        prices: PriceBookFile | None,
    ) -> None:
        self._file = file
        self._wall = wall
        self._base = base
        self._tables = tables
        self._known = Known(evaluation)
        self._rules = line_rules(tables)
        self._product = product
        self._prices = prices

    def schedule(self, as_of: dt.date, drill: Drill | None) -> WallSchedule:
        known, base = self._known, self._base
        treated = known.option("verdict") == _TREAT
        line, out = set_out_wall(known, self._tables, self._rules) if treated else (None, None)
        stretches = _stretches(self._wall.id, line, out)
        plans = self._plans([each.stretch for each in stretches]) if treated else ()
        decided = next((each for each in plans if each.plan.decided), None)
        groups = decided.groups if decided is not None else None
        beside = works(known, self._tables, self._in_order("works"), out, groups)
        media = tuple(self._priced(each, beside) for each in plans)
        shown = self._line(line, out, stretches, decided)
        dries = treated or known.holds("works", "let_dry")
        dry = drying(known, self._tables, leaves(known, self._tables), as_of) if dries else None
        exposed = exposure(known, self._tables, groups, drill)
        self._ask_for_books(treated)
        return WallSchedule(
            file=self._file.name,
            reference=self._file.survey.property.reference,
            wall=self._wall.id,
            survey_date=self._file.survey.property.survey_date,
            as_of=as_of,
            rules=base.manifest.version,
            verdict=known.option("verdict"),
            verdict_says=self._says("verdict"),
            status=self._status(),
            medium=known.option("medium"),
            medium_says=self._says("medium"),
            says=self._summary(treated, shown, decided),
            cautions=tuple(
                Caution(id=each.id, word=each.word, says=each.says)
                for each in set_found("cautions", base, known.evaluation).items
            ),
            line=shown,
            media=media,
            works=beside,
            drying=dry,
            exposure=exposed,
            would_firm_up=known.would_firm_up,
            notes=(*known.notes, *self._notice_dates(as_of)),
            limits=LIMITS,
        )

    def _notice_dates(self, served: dt.date) -> tuple[str, ...]:
        """What a party structure notice served on the day of judging would lead to, where one is due."""
        if not self._known.holds("notices", "party_wall_notice"):
            return ()
        after = once_served(served, notice_terms(self._tables))
        assert after is not None
        return (
            f"A party structure notice served on {served} lets the work begin from {after.work_from}; it lapses unless "
            f"the work has begun by {after.work_by}. Without a reply by {after.reply_by} a dispute is taken to have "
            f"arisen ({after.source_id}).",
        )

    def _in_order(self, set_id: str) -> dict[str, Member]:
        members = self._base.members[set_id]
        return {name: members[name] for name in sorted(members, key=lambda each: (members[each].order, each))}

    def _says(self, choice: str) -> str:
        option = self._known.option(choice)
        return next((each.says for each in self._base.choices[choice].options if each.id == option), "undecided")

    def _status(self) -> str:
        found = {self._known.evaluation.outcomes[choice].status for choice in _CHOICES}
        return "undecided" if "undecided" in found else "provisional" if "provisional" in found else "settled"

    def _standing(self) -> list[Option]:
        """The media that no rule rules out, in the order preferred, the one decided first."""
        fired = [rule for rule in self._base.rules if rule.id in self._known.evaluation.fired]
        ruled_out = {option for rule in fired for choice, option in rule.rules_out if choice == "medium"}
        supported = {option for rule in fired for choice, option in rule.supports if choice == "medium"}
        decided = self._known.option("medium")
        found = [
            option
            for option in self._base.choices["medium"].options
            if option.id not in ruled_out and (option.open or option.id in supported) and option.id != NO_MEDIUM
        ]
        return sorted(found, key=lambda option: option.id != decided)

    def _plans(self, stretches: Sequence[Stretch]) -> tuple[Planned, ...]:
        decided = self._known.option("medium")
        return tuple(
            plan_medium(
                self._known, self._tables, option.id, option.says, option.id == decided, stretches, self._product
            )
            for option in self._standing()
        )

    def _priced(self, planned: Planned, beside: Works) -> MediumPlan:
        if self._prices is None:
            return planned.plan
        return planned.plan.model_copy(update={"cost": cost(planned, beside, self._product, self._prices)})

    def _line(
        self, line: WallLine | None, out: SettingOut | None, stretches: Sequence[_Set], decided: Planned | None
    ) -> LineSet | None:
        if line is None or out is None:
            return None
        note_missing(self._known, out)
        if line.length_m is None or out.pieces is None:
            return None
        doses = decided.pieces if decided is not None else ()
        if not doses:
            doses = tuple(PieceDose(each.stretch, WHOLE, None, None, None) for each in stretches)
        medium = decided.plan.medium if decided is not None else ""
        by_id = {each.stretch.id: each for each in stretches}
        pieces = tuple(_piece(by_id[each.stretch.id], each, medium) for each in doses)
        return line_set(out, line.length_m, pieces)

    def _ask_for_books(self, treated: bool) -> None:
        decided = self._known.option("medium")
        if treated and self._product is None and decided != CUT_IN:
            self._known.ask("product_sheet", "the dose is by generic figures, and containers are not counted")
        if treated and self._product is not None and self._product.sheet.medium != decided:
            self._known.note(
                f"The product sheet given is for {self._product.sheet.medium}, and {decided} is decided: it is used "
                "only where that medium stands beside it."
            )
        if treated and self._prices is None:
            self._known.ask("price_book", "hours and money are not counted")
        openings = self._known.number("build.openings_m")
        if treated and openings:
            self._known.note(
                f"Openings of {openings:g} m are not taken off the line: where they are the survey does not say. Where "
                "the line meets one, the holes are counted again."
            )

    def _summary(self, treated: bool, shown: LineSet | None, decided: Planned | None) -> str:
        if not treated:
            return f"No line is set and nothing is drilled: {self._says('verdict')}."
        if shown is None:
            return "The line cannot be set out yet: see what would firm it up."
        if decided is None:
            return "The line is set out, and no medium is decided for it."
        basis = decided.plan.basis
        if basis is None and decided.plan.medium != CUT_IN:
            return f"The line is set out; the holes are not: {decided.plan.pattern}."
        return f"Dose by {basis.says}." if basis is not None else "A slot is cut; nothing is dosed."


def _stretches(wall_id: str, line: WallLine | None, out: SettingOut | None) -> tuple[_Set, ...]:
    """Every piece of the line that can be drilled: the level ones in order, then the upright ones."""
    if line is None or out is None or line.length_m is None:
        return ()
    length_m = line.length_m
    level = [piece for piece in out.pieces or () if piece.level_mm is not None]
    found = [
        _Set(
            Stretch(
                f"{wall_id}:H{number}",
                round(max(0.0, piece.row_from_m), 6),
                min(length_m, round(piece.row_to_m, 6)),
                piece.level_mm if piece.level_mm is not None else 0,
                None,
            ),
            piece.joint,
            False,
            piece.reasons,
        )
        for number, piece in enumerate(level, 1)
    ]
    for number, upright in enumerate(out.verticals, 1):
        at_m = min(max(0.0, upright.at_m), length_m)
        stretch = Stretch(f"{wall_id}:V{number}", at_m, at_m, upright.from_mm, upright.to_mm)
        found.append(_Set(stretch, None, upright.at_least, (upright.why,)))
    return tuple(found)


def _piece(placed: _Set, done: PieceDose, medium: str) -> PieceScheduled:
    stretch, drilling = placed.stretch, done.drilling
    spec = drilling.spec if drilling is not None else None
    # A level piece of a cut-in course has no holes; one that is to be drilled and is not yet has unknown ones.
    none = 0 if medium == CUT_IN and stretch.top_mm is None else None
    return PieceScheduled(
        id=stretch.id if done.leaf == WHOLE else f"{stretch.id}/{done.leaf}",
        kind="horizontal" if stretch.top_mm is None else "vertical",
        leaf=done.leaf,
        from_m=stretch.from_m,
        to_m=stretch.to_m,
        level_mm=stretch.level_mm,
        top_mm=stretch.top_mm,
        at_least=placed.at_least,
        joint=placed.joint,
        holes=none if drilling is None else drilling.count,
        hole_mm=none if spec is None else spec.hole_mm,
        centres_mm=none if spec is None else spec.centres_mm,
        depth_mm=none if spec is None else spec.depth_mm,
        length_mm=none if spec is None else round(spec.length_mm, 1),
        angle_degrees=none if spec is None else spec.angle_degrees,
        sides=none if spec is None else spec.sides,
        rows=none if spec is None else spec.rows,
        ml_per_hole=done.ml_per_hole,
        rods=done.rods,
        reasons=tuple(Reason(rule=each.rule, says=each.says) for each in placed.reasons),
        notes=drilling.notes if drilling is not None else (),
    )


def planned_pieces(schedule: WallSchedule) -> tuple[PlannedPiece, ...]:
    """The pieces of a schedule as the record of their installation is held against; none without a line."""
    if schedule.line is None:
        return ()
    return tuple(
        PlannedPiece(
            piece_id=piece.id,
            medium=schedule.medium,
            holes=piece.holes,
            hole_mm=piece.hole_mm,
            centres_mm=piece.centres_mm,
            depth_mm=piece.length_mm,
            ml_per_hole=piece.ml_per_hole,
            rods=piece.rods,
        )
        for piece in schedule.line.pieces
    )
