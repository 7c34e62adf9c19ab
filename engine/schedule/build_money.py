"""What the job costs with one medium, from a price book."""

from __future__ import annotations

from engine.schedule.build_media import CUT_IN, LIQUID, Planned
from engine.schedule.model import Cost, MaterialCost, TaskCost, Works
from engine.schedule.money import (
    ROUNDING_RULES,
    Bought,
    MediumCost,
    MediumWork,
    Number,
    PieceWork,
    measures_of,
    nothing,
    price_medium,
)
from engine.schedule.price_book import Measure, PriceBookFile
from engine.schedule.product_sheet import ProductSheetFile


def cost(planned: Planned, works: Works, product: ProductSheetFile | None, prices: PriceBookFile) -> Cost:
    """Price the job with one medium: the line, and the works that are called for.

    Raises `ValueError` for a product priced in another currency than the book.
    """
    work = MediumWork(planned.plan.medium, _measures(planned, works), _bought(planned, product))
    found = _shown(price_medium(prices.book, work), prices)
    if planned.plan.medium == CUT_IN and planned.plan.holes is None and planned.plan.slot_m is not None:
        totals = dict.fromkeys(("hours", "labour", "material", "net", "tax", "gross"))
        return found.model_copy(update={**totals, "unknown": (*found.unknown, "vertical_pieces")})
    return found


def _measures(planned: Planned, works: Works) -> dict[Measure, Number | None]:
    plan = planned.plan
    pieces = [
        PieceWork(
            str(number),
            _run_m(each.stretch.from_m, each.stretch.to_m, each.stretch.level_mm, each.stretch.top_mm),
            0 if each.drilling is None else each.drilling.count,
            0 if each.drilling is None else each.drilling.spec.length_mm,
            0,
            0,
        )
        for number, each in enumerate(planned.pieces)
    ]
    measures: dict[Measure, Number | None] = {**nothing(), **measures_of(pieces, 0)}
    measures["job"] = 1
    if plan.holes is None:
        measures["hole"] = measures["drilled_m"] = None
    measures["agent_litre"] = 0 if plan.medium in ("rods", "physical") else plan.with_waste_l
    if plan.medium in LIQUID and plan.with_waste_l is None:
        measures["agent_litre"] = None
    measures["rod"] = plan.rods
    measures["slot_m"] = plan.slot_m
    called = set(works.called_for)
    by_work: tuple[tuple[Measure, str, Number | None], ...] = (
        ("plaster_off_m2", "strip_plaster", works.plaster_off_m2),
        ("plaster_on_m2", "replaster", works.plaster_on_m2),
        ("skirting_m", "lift_and_refix_skirting", works.skirting_m),
        ("ground_m3", "lower_ground", works.ground_m3),
        ("vent", "add_vents", None),
        ("repointing_m2", "repoint_base", None),
        ("grout_litre", "pregrout_voids", None),
        ("seal_m", "link_floor_membrane", works.seal_m),
    )
    for measure, work, quantity in by_work:
        measures[measure] = quantity if work in called else 0
    return measures


def _run_m(from_m: float, to_m: float, level_mm: float, top_mm: float | None) -> float:
    return round(to_m - from_m if top_mm is None else (top_mm - level_mm) / 1000, 6)


def _bought(planned: Planned, product: ProductSheetFile | None) -> tuple[Bought, ...]:
    if product is None or product.sheet.medium != planned.plan.medium:
        return ()
    sheet = product.sheet
    price = sheet.rods.price if sheet.rods is not None else sheet.container.price if sheet.container else None
    packs = planned.plan.packs
    return (Bought("product", sheet.name, packs.count if packs else None, price, sheet.currency),)


def _shown(found: MediumCost, prices: PriceBookFile) -> Cost:
    return Cost(
        book=f"{prices.book.name} ({prices.name})",
        currency=found.currency,
        rounding=ROUNDING_RULES[found.rounding],
        tasks=tuple(
            TaskCost(id=t.id, says=t.says, per=t.per, quantity=t.quantity, hours=t.hours, cost=t.cost)
            for t in found.tasks
        ),
        materials=tuple(
            MaterialCost(id=m.id, says=m.says, packs=m.packs, price_each=m.price_each, cost=m.cost)
            for m in found.materials
        ),
        hours=found.hours,
        labour=found.labour,
        material=found.material,
        net=found.net,
        tax_name=found.tax_name,
        tax_percent=found.tax_percent,
        tax=found.tax,
        gross=found.gross,
        known_net=found.known_net,
        unknown=found.unknown,
    )
