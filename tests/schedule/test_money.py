"""Prices: exact decimals, whole packs, totals that are the sum of what is printed."""

from __future__ import annotations

import pathlib
from decimal import ROUND_HALF_EVEN, ROUND_HALF_UP, Decimal
from fractions import Fraction
from typing import Any, get_args

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engine.errors import BadInput
from engine.schedule.money import (
    ROUNDING_RULES,
    Bought,
    MediumCost,
    MediumWork,
    PieceWork,
    measures_of,
    nothing,
    price_media,
    price_medium,
)
from engine.schedule.price_book import Measure, PriceBook, parse_price_book, read_price_book
from engine.schedule.product_sheet import read_product_sheet

DEMO = pathlib.Path(__file__).parents[2] / "scenarios_demo" / "books" / "prices.yaml"
DEMO_BOOK = read_price_book(DEMO).book

BOOK = """
kind: prices
name: a book for tests
currency: GBP
currency_decimals: 2
rounding: half_up
tax: {name: VAT, percent: 20}
labour:
  - {id: installer, says: Installer, price_per_hour: 36.10}
tasks:
  - {id: set_up, says: Set up, who: installer, per: job, minutes: 60}
  - {id: drill, says: Drill, who: installer, per: hole, minutes: 2.5, media: [cream, rods]}
  - {id: push, says: Push in rods, who: installer, per: rod, minutes: 0.5, media: [rods]}
materials:
  - {id: agent, says: Cream, per: agent_litre, pack_covers: 1, price: 20.15, media: [cream], agent: yes}
  - {id: rods, says: Rods, per: rod, pack_covers: 10, price: 19.99, media: [rods], agent: yes}
  - {id: bags, says: Bags, per: plaster_off_m2, pack_covers: 1.5, price: 0.35}
"""


def book(text: str = BOOK) -> PriceBook:
    return parse_price_book(text.encode(), "prices.yaml").book


def problems(text: str) -> list[str]:
    with pytest.raises(BadInput) as caught:
        parse_price_book(text.encode(), "prices.yaml")
    return [str(problem) for problem in caught.value.problems]


def work(medium: str = "cream", bought: tuple[Bought, ...] = (), **measures: Any) -> MediumWork:
    return MediumWork(medium, {**nothing(), **measures}, bought)


def lines(cost: MediumCost) -> dict[str, Decimal | None]:
    return {line.id: line.cost for line in (*cost.tasks, *cost.materials)}


# Worked by hand


def test_one_job_reckoned_by_hand() -> None:
    cost = price_medium(book(), work(job=1, hole=33, agent_litre=0.84, plaster_off_m2=7.6))
    # 60 min 1.00 h at 36.10; 33 holes at 2.5 min are 82.5 min = 1.375 h, printed 1.38 h, at 36.10 = 49.818.
    assert [(line.id, line.hours, line.cost) for line in cost.tasks] == [
        ("set_up", Decimal("1.00"), Decimal("36.10")),
        ("drill", Decimal("1.38"), Decimal("49.82")),
    ]
    # 0.84 L is one pack; 7.6 m² at 1.5 to a pack is 5.07, so 6 packs at 0.35.
    assert [(line.id, line.packs, line.cost) for line in cost.materials] == [
        ("agent", 1, Decimal("20.15")),
        ("bags", 6, Decimal("2.10")),
    ]
    assert (cost.hours, cost.labour, cost.material) == (Decimal("2.38"), Decimal("85.92"), Decimal("22.25"))
    # 108.17 and 20 % of it, 21.634.
    assert (cost.net, cost.tax, cost.gross) == (Decimal("108.17"), Decimal("21.63"), Decimal("129.80"))
    assert (cost.currency, cost.tax_name, cost.rounding) == ("GBP", "VAT", "half_up")
    assert cost.unknown == ()


def test_binary_fractions_play_no_part() -> None:
    # In binary, 0.1 + 0.2 is not 0.3 and 3 times 1.10 is not 3.30: here both are.
    text = BOOK.replace("price: 0.35", "price: 1.10").replace("pack_covers: 1.5", "pack_covers: 0.1")
    cost = price_medium(book(text), work(plaster_off_m2=0.1 + 0.2))
    assert 0.1 + 0.2 != 0.3
    assert [(line.packs, line.cost) for line in cost.materials] == [(3, Decimal("3.30"))]


def test_a_pack_that_is_just_full_is_one_pack() -> None:
    litres = 0.0
    for _ in range(10):  # `sum` makes up for rounding from Python 3.12 on
        litres += 0.1
    assert litres != 1
    assert [line.packs for line in price_medium(book(), work(agent_litre=litres)).materials] == [1]
    assert [line.packs for line in price_medium(book(), work(agent_litre=1.001)).materials] == [2]


@pytest.mark.parametrize(
    ("rounding", "decimals", "tax", "expected"),
    [
        ("half_up", 2, "12.5", "0.13"),
        ("half_even", 2, "12.5", "0.12"),
        ("half_even", 2, "13.5", "0.14"),
        ("half_up", 0, "50", "1"),
        ("half_even", 0, "50", "0"),
        ("half_up", 3, "12.5", "0.125"),
    ],
)
def test_rounding_rules(rounding: str, decimals: int, tax: str, expected: str) -> None:
    # A net of exactly 1.00, so that the tax falls on the half.
    text = BOOK.replace("half_up", rounding).replace("decimals: 2", f"decimals: {decimals}")
    text = text.replace("percent: 20", f"percent: {tax}").replace("price: 0.35", "price: 1")
    cost = price_medium(book(text), work(plaster_off_m2=1))
    assert cost.net == 1
    assert cost.tax == Decimal(expected)
    assert rounding in ROUNDING_RULES


@given(
    cents=st.integers(0, 10**8),
    packs=st.integers(1, 10**5),
    percent=st.decimals(0, 100, places=2),
    rule=st.sampled_from(["half_up", "half_even"]),
)
@settings(deadline=None)
def test_rounding_agrees_with_the_decimal_module(cents: int, packs: int, percent: Decimal, rule: Any) -> None:
    price = Decimal(cents) / 100
    text = BOOK.replace("half_up", rule).replace("percent: 20", f"percent: {percent}")
    cost = price_medium(book(text), work(bought=(Bought("x", "x", packs, price, "GBP"),)))
    assert cost.net == price * packs
    mode = {"half_up": ROUND_HALF_UP, "half_even": ROUND_HALF_EVEN}[rule]
    assert cost.tax == (price * packs * percent / 100).quantize(Decimal("0.01"), mode)


def test_a_book_without_tax_has_a_total_before_tax_only() -> None:
    cost = price_medium(book(BOOK.replace("tax: {name: VAT, percent: 20}\n", "")), work(job=1))
    assert (cost.tax_name, cost.tax, cost.net, cost.gross) == (None, None, Decimal("36.10"), Decimal("36.10"))


# Media side by side


def test_media_stand_side_by_side_in_the_order_given() -> None:
    rods, cream = work("rods", job=1, hole=10, rod=21), work("cream", job=1, hole=10, agent_litre=2)
    costs = price_media(book(), [rods, cream])
    assert [cost.medium for cost in costs] == ["rods", "cream"]
    assert set(lines(costs[0])) == {"set_up", "drill", "push", "rods"}
    assert set(lines(costs[1])) == {"set_up", "drill", "agent"}
    assert lines(costs[0])["rods"] == Decimal("59.97")  # three packs of ten


def test_a_product_bought_by_its_own_sheet_takes_the_agents_place() -> None:
    bought = (Bought("sheet", "a cream by its sheet", 2, Decimal("22.90"), "GBP"),)
    cost = price_medium(book(), work(agent_litre=1.4, bought=bought))
    assert lines(cost) == {"sheet": Decimal("45.80")}
    with pytest.raises(ValueError, match="priced in EUR, the book in GBP"):
        price_medium(book(), work(bought=(Bought("sheet", "abroad", 2, Decimal(9), "EUR"),)))
    with pytest.raises(ValueError, match="needs a currency"):
        Bought("sheet", "none", 2, Decimal(9), None)


# What is unknown


def test_what_is_unknown_leaves_the_totals_unknown_and_is_named() -> None:
    cost = price_medium(book(), work(job=1, hole=None, agent_litre=1))
    assert (cost.hours, cost.labour, cost.net, cost.tax, cost.gross) == (None, None, None, None, None)
    assert cost.unknown == ("drill",)
    assert cost.material == Decimal("20.15")
    assert cost.known_net == Decimal("56.25")


def test_a_measure_left_out_is_unknown_and_not_nothing() -> None:
    assert price_medium(book(), MediumWork("cream", {"job": 1})).unknown == ("drill", "agent", "bags")
    assert price_medium(book(), work()).net == 0


def test_a_price_that_is_unknown() -> None:
    cost = price_medium(book(), work(job=1, bought=(Bought("sheet", "no price given", 2, None, None),)))
    assert (cost.unknown, cost.net, cost.known_net) == (("sheet",), None, Decimal("36.10"))
    assert cost.hours == 1


def test_measures_of_pieces() -> None:
    pieces = [PieceWork("a", 3.85, 33, 205, 23.2, 0), PieceWork("b", 1.0, 9, 205, 23.2, 0)]
    found = measures_of(pieces, 10)
    assert found["job"] == 1
    assert found["piece"] == 2
    assert found["line_m"] == Decimal("4.85")
    assert found["hole"] == 42
    assert found["drilled_m"] == Decimal("8.61")
    assert found["agent_litre"] == Decimal("1.07184")  # 42 x 23.2 mL and a tenth
    assert found["rod"] == 0
    assert measures_of([], None) == {
        "job": 0, "piece": 0, "line_m": 0, "hole": 0, "drilled_m": 0, "agent_litre": 0, "rod": 0,
    }  # fmt: skip


def test_measures_of_pieces_with_something_unknown() -> None:
    found = measures_of([PieceWork("a", None, 33, None, 0, None)], None)
    assert (found["line_m"], found["drilled_m"], found["rod"]) == (None, None, None)
    assert (found["hole"], found["agent_litre"]) == (33, 0)
    assert measures_of([PieceWork("a", 1, 33, 200, 23, 0)], None)["agent_litre"] is None
    assert measures_of([PieceWork("a", 1, 0, None, None, 0)], 10)["agent_litre"] == 0
    assert measures_of([PieceWork("a", 1, None, 0, 23, 0)], 10)["drilled_m"] == 0
    assert measures_of([PieceWork("a", 1, None, 205, 23, 0)], 10)["agent_litre"] is None


@pytest.mark.parametrize("value", [-1, float("nan"), float("inf"), 1e10])
def test_measures_that_cannot_be(value: float) -> None:
    with pytest.raises(ValueError, match="measure hole"):
        price_medium(book(), work(hole=value))


def test_every_problem_of_a_piece_is_named() -> None:
    with pytest.raises(ValueError, match=r"length of a piece.*holes of a piece.*depth of a hole.*agent.*rods"):
        PieceWork("a", -1, -1, -1, -1, -1)


# Properties

MEASURES = st.dictionaries(
    st.sampled_from(get_args(Measure)),
    st.one_of(st.integers(0, 10**6), st.floats(0, 10**6)),
)


@given(medium=st.sampled_from(["cream", "rods", "physical"]), measures=MEASURES)
@settings(deadline=None)
def test_totals_are_the_sum_of_their_parts(medium: str, measures: dict[Measure, Any]) -> None:
    cost = price_medium(DEMO_BOOK, work(medium, **measures))
    assert cost.hours == sum(line.hours or 0 for line in cost.tasks)
    assert cost.labour == sum(line.cost or 0 for line in cost.tasks)
    assert cost.material == sum(line.cost or 0 for line in cost.materials)
    assert cost.labour is not None
    assert cost.material is not None
    assert cost.net == cost.known_net == cost.labour + cost.material
    assert cost.tax is not None
    assert cost.gross == cost.net + cost.tax
    # Each cost follows from the printed hours and packs, and no total has a part of a penny.
    rates = {row.id: row.price_per_hour for row in DEMO_BOOK.labour}
    for line in cost.tasks:
        assert line.hours is not None
        assert line.cost == (line.hours * rates[line.who]).quantize(Decimal("0.01"), ROUND_HALF_UP)
    for bought in cost.materials:
        assert bought.packs is not None
        assert bought.price_each is not None
        assert bought.cost == bought.packs * bought.price_each
    assert cost.gross.as_tuple().exponent == -2


@given(holes=st.integers(0, 10**5), more=st.integers(1, 10**5))
@settings(deadline=None)
def test_more_holes_more_hours_and_more_money(holes: int, more: int) -> None:
    few = price_medium(book(), work(hole=holes))
    many = price_medium(book(), work(hole=holes + more))
    assert few.hours is not None
    assert many.hours is not None
    assert few.net is not None
    assert many.net is not None
    assert many.hours > few.hours
    assert many.net > few.net


@given(quantity=st.floats(0, 1000), covers=st.decimals("0.01", 100, places=2))
@settings(deadline=None)
def test_packs_cover_what_is_needed_and_no_pack_is_too_many(quantity: float, covers: Decimal) -> None:
    text = BOOK.replace("pack_covers: 1.5", f"pack_covers: {covers}")
    (line,) = price_medium(book(text), work(plaster_off_m2=quantity)).materials or (None,)
    if line is None:
        assert quantity < 1e-6
        return
    assert line.packs is not None
    assert line.packs * covers >= Fraction(line.quantity or 0)
    assert (line.packs - 1) * covers < Fraction(line.quantity or 0)


# The price book


def test_demo_book_prices_every_medium() -> None:
    demo = DEMO_BOOK
    assert "invented" in (demo.note or "").lower()
    pieces = [PieceWork("a", 3.85, 33, 205, 23.2, 38)]
    measures = {**nothing(), **measures_of(pieces, 10), "slot_m": 3.85}
    for medium in ("cream", "rods", "mortar", "physical", "aqueous_liquid", "solvent_liquid"):
        cost = price_medium(demo, MediumWork(medium, measures))
        assert cost.net is not None
        assert cost.net > 50
        assert any(line.per != "job" for line in cost.tasks)


@pytest.mark.parametrize("path", sorted((DEMO.parent / "products").glob("*.yaml")), ids=lambda path: path.stem)
def test_demo_product_sheets_are_priced_in_the_currency_of_the_demo_book(path: pathlib.Path) -> None:
    sheet = read_product_sheet(path).sheet
    assert sheet.name.startswith("Invented")
    price = sheet.rods.price if sheet.rods else sheet.container.price if sheet.container else None
    assert price is not None
    bought = Bought("sheet", sheet.name, 3, price, sheet.currency)
    cost = price_medium(DEMO_BOOK, work(sheet.medium, agent_litre=2.5, rod=25, bought=(bought,)))
    assert cost.material == 3 * price


def test_every_measure_has_a_price_in_the_demo_book() -> None:
    assert {task.per for task in DEMO_BOOK.tasks} | {row.per for row in DEMO_BOOK.materials} == set(get_args(Measure))


def test_a_book_with_faults_reports_all_of_them_with_their_places() -> None:
    text = (
        BOOK.replace("currency: GBP", "currency: pounds")
        .replace("rounding: half_up", "rounding: half-up")
        .replace("who: installer, per: hole", "who: installr, per: hole")
        .replace("price: 0.35", "price: -0.35")
        .replace("minutes: 0.5", "minutes: 0")
        .replace("- {id: rods, says: Rods,", "- {id: agent, says: Rods, colour: red,")
        .replace("per: job", "per: jobs")
    )
    found = problems(text)
    assert [line.split(": ")[0:2] for line in found] == [
        ["prices.yaml:4:11", "currency"],
        ["prices.yaml:6:11", "rounding"],
        ["prices.yaml:11:53", "tasks[0].per"],
        ["prices.yaml:12:35", "tasks[1].who"],
        ["prices.yaml:13:71", "tasks[2].minutes"],
        ["prices.yaml:16:10", "materials[1].id"],
        ["prices.yaml:16:29", "materials[1].colour"],
        ["prices.yaml:17:74", "materials[2].price"],
    ]
    assert "did you mean half_up?" in found[1]
    assert "allowed: installer" in found[3]
    assert "stands already" in found[5]


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        ("who: installer, per: hole", "who: plumber, per: hole", "is not in labour; found plumber; allowed: installer"),
        ("id: bags", "id: push", "stands already; found push; allowed: an id of its own; this one is in tasks"),
    ],
)
def test_entries_that_do_not_fit_together(old: str, new: str, expected: str) -> None:
    (problem,) = problems(BOOK.replace(old, new))
    assert expected in problem


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("kind: prices", "kind: product"),
        ("kind: prices\n", ""),
        ("price: 0.35", "price: yes"),
        ("price: 0.35", "price: '0.35'"),
        ("price: 0.35", "price: 1e7"),
        ("price_per_hour: 36.10", "price_per_hour:"),
        ("percent: 20", "percent: 101"),
        ("currency_decimals: 2", "currency_decimals: 5"),
        ("media: [rods], agent", "media: [rod], agent"),
        ("media: [rods], agent", "media: [], agent"),
        ("media: [rods], agent", "media: none, agent"),
        ("labour:\n  - {id: installer, says: Installer, price_per_hour: 36.10}", "labour: []"),
    ],
)
def test_what_a_book_may_not_say(old: str, new: str) -> None:
    assert old in BOOK
    assert len(problems(BOOK.replace(old, new))) >= 1


def test_money_is_read_as_it_is_written() -> None:
    rates = book(BOOK.replace("36.10", "36.1")).labour[0].price_per_hour
    assert rates == Decimal("36.1")
    assert book(BOOK.replace("36.10", "0.07")).labour[0].price_per_hour == Decimal("0.07")


def test_a_book_that_cannot_be_read() -> None:
    with pytest.raises(BadInput, match="no such file"):
        read_price_book(DEMO.with_name("nowhere.yaml"))
