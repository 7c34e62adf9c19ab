"""What a job takes in hours and money with each medium that still stands, from a price book.

Every printed figure follows from the printed ones: hours of a task are brought to hundredths, its cost is those
hours at the price of an hour, a material is whole packs at their price; each cost is brought to the currency's
smallest unit by the book's rounding, and a total is the sum of its lines. Tax is taken once, on the total.
All of it is exact decimal arithmetic. What is unknown leaves its line, and every total above it, unknown.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Decimal, localcontext
from fractions import Fraction
from typing import TypeAlias, get_args

from engine.readings.limits import outside, refuse
from engine.schedule.price_book import Material, Measure, PriceBook, Rounding, Task

Number: TypeAlias = int | float | Decimal

ROUNDING_RULES: Mapping[Rounding, str] = {
    "half_up": "half of the smallest unit and more is rounded up",
    "half_even": "half of the smallest unit is rounded to the even one, anything else to the nearest",
}
"""How money is rounded, in words for the reader of a quotation."""

_HOUR = Decimal("0.01")
_MOST = 1e9
_QUANTITY = Decimal("0.000001")
"""Finer than anything measured; keeps a pack that is just full from being counted as two."""


@dataclass(frozen=True, slots=True)
class PieceWork:
    """What one piece of the line takes: its length, its holes and their depth, the agent or the rods.

    0 where a measure is none of this medium's, `None` where it is unknown. All zero or more and finite, else
    `ValueError`.
    """

    piece_id: str
    length_m: float | None
    holes: int | None
    hole_depth_mm: float | None
    ml_per_hole: float | None
    rods: int | None

    def __post_init__(self) -> None:
        refuse(
            outside("the length of a piece (m)", self.length_m, at_least=0),
            outside("the holes of a piece", self.holes, at_least=0),
            outside("the depth of a hole (mm)", self.hole_depth_mm, at_least=0),
            outside("the agent in a hole (mL)", self.ml_per_hole, at_least=0),
            outside("the rods of a piece", self.rods, at_least=0),
        )


@dataclass(frozen=True, slots=True)
class Bought:
    """A product bought by its own sheet: whole packs at a price each, in the sheet's currency. `None` is unknown.

    Packs and price zero or more, a price with a currency, else `ValueError`.
    """

    id: str
    says: str
    packs: int | None
    price_each: Decimal | None
    currency: str | None

    def __post_init__(self) -> None:
        refuse(
            outside("the packs bought", self.packs, at_least=0),
            None if self.price_each is None else outside("the price of a pack", float(self.price_each), at_least=0),
            "a price needs a currency" if self.price_each is not None and self.currency is None else None,
        )


@dataclass(frozen=True, slots=True)
class MediumWork:
    """The job with one medium: how much there is of each measure, and the products whose sheets are known.

    A measure that is left out is unknown, not nothing: start from `nothing()`. Where anything is bought by its
    own sheet, the book's materials marked as agent are left out.
    """

    medium: str
    measures: Mapping[Measure, Number | None]
    bought: tuple[Bought, ...] = ()


@dataclass(frozen=True, slots=True)
class TaskLine:
    """The hours and the cost of one task; `None` while its quantity is unknown."""

    id: str
    says: str
    who: str
    per: Measure
    quantity: Decimal | None
    hours: Decimal | None
    cost: Decimal | None


@dataclass(frozen=True, slots=True)
class MaterialLine:
    """The packs and the cost of one material. `per` is `None` for a product bought by its own sheet."""

    id: str
    says: str
    per: Measure | None
    quantity: Decimal | None
    packs: int | None
    price_each: Decimal | None
    cost: Decimal | None


@dataclass(frozen=True, slots=True)
class MediumCost:
    """What the job costs with one medium. A total is `None` while one of its lines is; `unknown` names those.

    `known_net` is what the lines that are known come to, and no price for the job while others are not.
    """

    medium: str
    currency: str
    rounding: Rounding
    tasks: tuple[TaskLine, ...]
    materials: tuple[MaterialLine, ...]
    hours: Decimal | None
    labour: Decimal | None
    material: Decimal | None
    net: Decimal | None
    tax_name: str | None
    tax_percent: Decimal | None
    tax: Decimal | None
    gross: Decimal | None
    known_net: Decimal
    unknown: tuple[str, ...]


def nothing() -> dict[Measure, Number | None]:
    """Every measure at nought, to be filled in."""
    return dict.fromkeys(get_args(Measure), 0)


def measures_of(pieces: Iterable[PieceWork], waste_percent: float | None) -> dict[Measure, Number | None]:
    """Add up what the pieces take: pieces, metres of line, holes, metres drilled, litres with waste, and rods.

    One job, unless there is no piece. Waste 0 to 100 %, else `ValueError`.
    """
    refuse(outside("the waste (%)", waste_percent, at_least=0, at_most=100))
    every = tuple(pieces)
    net_l = _total(_times(_times(piece.holes, piece.ml_per_hole), Decimal("0.001")) for piece in every)
    waste = None if waste_percent is None else 1 + _exact(waste_percent) / 100
    return {
        "job": 1 if every else 0,
        "piece": len(every),
        "line_m": _total(piece.length_m for piece in every),
        "hole": _total(piece.holes for piece in every),
        "drilled_m": _total(_times(_times(piece.holes, piece.hole_depth_mm), Decimal("0.001")) for piece in every),
        "agent_litre": Decimal(0) if net_l == 0 else _times(net_l, waste),
        "rod": _total(piece.rods for piece in every),
    }


def price_media(book: PriceBook, works: Sequence[MediumWork]) -> tuple[MediumCost, ...]:
    """Price the job with each medium, side by side, in the order given: a price does not change a preference."""
    return tuple(price_medium(book, work) for work in works)


def price_medium(book: PriceBook, work: MediumWork) -> MediumCost:
    """Price the job with one medium. Lines that come to nothing are left out.

    Raises `ValueError` for a measure below zero or above a thousand million, and for a product priced in
    another currency than the book.
    """
    refuse(
        *(
            f"{bought.id} is priced in {bought.currency}, the book in {book.currency}"
            for bought in work.bought
            if bought.price_each is not None and bought.currency != book.currency
        ),
        *(
            outside(f"the measure {name}", float(value), at_least=0, at_most=_MOST)
            for name, value in work.measures.items()
            if value is not None
        ),
    )
    with localcontext() as context:
        context.prec = 50
        return _priced(book, work)


def _priced(book: PriceBook, work: MediumWork) -> MediumCost:
    prices = {row.id: row.price_per_hour for row in book.labour}
    tasks = tuple(
        _task_line(book, task, _quantity(work, task.per), prices[task.who])
        for task in book.tasks
        if _is_for(task, work.medium) and _quantity(work, task.per) != 0
    )
    materials = tuple(
        _material_line(book, material, _quantity(work, material.per))
        for material in book.materials
        if _is_for(material, work.medium)
        and not (material.agent and work.bought)
        and _quantity(work, material.per) != 0
    )
    materials += tuple(_bought_line(book, bought) for bought in work.bought if bought.packs != 0)
    nought = _money(book, Fraction(0))
    labour, material = _sum((line.cost for line in tasks), nought), _sum((line.cost for line in materials), nought)
    net = None if labour is None or material is None else labour + material
    tax = None if net is None or book.tax is None else _money(book, Fraction(net) * Fraction(book.tax.percent) / 100)
    lines: tuple[TaskLine | MaterialLine, ...] = (*tasks, *materials)
    return MediumCost(
        medium=work.medium,
        currency=book.currency,
        rounding=book.rounding,
        tasks=tasks,
        materials=materials,
        hours=_sum((line.hours for line in tasks), 0 * _HOUR),
        labour=labour,
        material=material,
        net=net,
        tax_name=book.tax.name if book.tax else None,
        tax_percent=book.tax.percent if book.tax else None,
        tax=tax,
        gross=None if net is None else net if book.tax is None else net + (tax or 0),
        known_net=sum((line.cost for line in lines if line.cost is not None), nought),
        unknown=tuple(line.id for line in lines if line.cost is None),
    )


def _task_line(book: PriceBook, task: Task, quantity: Decimal | None, price_per_hour: Decimal) -> TaskLine:
    hours = None
    if quantity is not None:
        hours = _rounded(Fraction(quantity) * Fraction(task.minutes) / 60, _HOUR, book.rounding)
    cost = None if hours is None else _money(book, Fraction(hours) * Fraction(price_per_hour))
    return TaskLine(task.id, task.says, task.who, task.per, quantity, hours, cost)


def _material_line(book: PriceBook, material: Material, quantity: Decimal | None) -> MaterialLine:
    packs = None
    if quantity is not None:
        packs = -(-Fraction(quantity) // Fraction(material.pack_covers))
    cost = None if packs is None else _money(book, packs * Fraction(material.price))
    return MaterialLine(material.id, material.says, material.per, quantity, packs, material.price, cost)


def _bought_line(book: PriceBook, bought: Bought) -> MaterialLine:
    known = bought.packs is not None and bought.price_each is not None
    cost = _money(book, Fraction(bought.packs or 0) * Fraction(bought.price_each or 0)) if known else None
    return MaterialLine(bought.id, bought.says, None, None, bought.packs, bought.price_each, cost)


def _is_for(row: Task | Material, medium: str) -> bool:
    return row.media is None or medium in row.media


def _quantity(work: MediumWork, measure: Measure) -> Decimal | None:
    value = work.measures.get(measure)
    if value is None:
        return None
    fine = _exact(value).quantize(_QUANTITY, ROUND_HALF_EVEN)
    return fine.to_integral_value() if fine == fine.to_integral_value() else fine.normalize()


def _exact(value: Number) -> Decimal:
    return value if isinstance(value, Decimal) else Decimal(str(value))


def _times(left: Number | None, right: Number | None) -> Decimal | None:
    """The product; nought times unknown is nought."""
    if left == 0 or right == 0:
        return Decimal(0)
    return None if left is None or right is None else _exact(left) * _exact(right)


def _total(parts: Iterable[Number | None]) -> Decimal | None:
    return _sum((None if part is None else _exact(part) for part in parts), Decimal(0))


def _sum(parts: Iterable[Decimal | None], nought: Decimal) -> Decimal | None:
    """The sum, written to as many places as `nought`; `None` when a part is."""
    total = nought
    for part in parts:
        if part is None:
            return None
        total += part
    return total


def _money(book: PriceBook, amount: Fraction) -> Decimal:
    return _rounded(amount, Decimal(1).scaleb(-book.currency_decimals), book.rounding)


def _rounded(amount: Fraction, step: Decimal, rounding: Rounding) -> Decimal:
    """Bring an exact amount to a step, by the rule named; exact whatever its size."""
    steps = amount / Fraction(step)
    whole, rest = divmod(steps, 1)
    up = rest > Fraction(1, 2) or (rest == Fraction(1, 2) and (rounding == "half_up" or whole % 2 == 1))
    return Decimal(int(whole) + up) * step
