"""Money per machine, slot and product: consistent with the summaries, adding up, and as textbooks have it."""

from datetime import UTC, datetime, timedelta
from decimal import Decimal
from fractions import Fraction
from itertools import count
from pathlib import Path

import polars as pl
import pytest
from builders import NOW, RouteBuilder, change, slot
from hypothesis import given
from hypothesis import strategies as st

import recon
from recon.balance.earnings import by_product, by_slot, earnings, monthly, shares
from recon.balance.readers import CardMonth, payback, readers
from recon.model.reconciliation import Reconciliation

SAMPLES = Path(__file__).resolve().parents[2] / "samples"
MOMENT = datetime(2026, 9, 29, 16, 40, tzinfo=UTC)
SAME = ("sales", "cash_sales", "card_sales", "fees", "cost_of_goods", "shrink_units", "shrink_retail", "shrink_cost",
        "margin")  # fmt: skip
SPANS = [
    (None, None), (datetime(2026, 9, 7, 10, tzinfo=UTC), None), (None, datetime(2026, 9, 1, tzinfo=UTC)),
    (datetime(2026, 8, 20, tzinfo=UTC), datetime(2026, 9, 15, 3, tzinfo=UTC)),
]  # fmt: skip


def of_sample(name: str, since: datetime | None, until: datetime | None) -> Reconciliation:
    return recon.run(SAMPLES / name, since=since, until=until, now=MOMENT).reconciliation


@pytest.mark.parametrize(("since", "until"), SPANS)
@pytest.mark.parametrize("name", ["bayside", "clean"])
def test_machines_are_those_of_the_summaries(name: str, since: datetime | None, until: datetime | None) -> None:
    done = of_sample(name, since, until)
    found = earnings(done).machines
    expected = done.frames["summaries"].select("machine", *SAME)
    assert found.select("machine", *SAME).equals(expected)
    assert expected["sales"].sum() > 0


@pytest.mark.parametrize(("since", "until"), SPANS)
def test_slots_and_products_add_up_to_their_machine(since: datetime | None, until: datetime | None) -> None:
    earned = earnings(of_sample("bayside", since, until))
    for parts in (earned.parts, by_slot(earned.parts), by_product(earned.parts)):
        sums = parts.group_by("machine").agg(pl.col(SAME).sum()).sort("machine")
        assert sums.equals(earned.machines.select("machine", *SAME))
    margin = pl.col("sales") - pl.col("fees") - pl.col("cost_of_goods") - pl.col("shrink_cost")
    tenders = pl.col("cash_sales") + pl.col("card_sales") + pl.col("prepaid_sales")
    assert earned.parts.filter((margin != pl.col("margin")) | (tenders != pl.col("sales"))).height == 0


EXACT = st.lists(st.fractions(-1000, 1000, max_denominator=10_000), min_size=1, max_size=30)


@given(EXACT)
def test_shares_add_up_and_stay_within_a_minor_unit(exact: list[Fraction]) -> None:
    """The method of largest remainders: each share is its exact figure rounded down or up, and whole ones stay."""
    total = round(sum(exact, Fraction()))
    found = shares(exact, total)
    assert sum(found) == total
    assert all(abs(share - figure) < 1 for share, figure in zip(found, exact, strict=True))
    assert all(share == figure for share, figure in zip(found, exact, strict=True) if figure.denominator == 1)


@given(EXACT)
def test_rounding_each_by_itself_would_not_add_up(exact: list[Fraction]) -> None:
    """What sums of rounded parts are otherwise: within half a minor unit a part of the rounded sum."""
    assert abs(sum(map(round, exact)) - round(sum(exact, Fraction()))) <= (len(exact) + 1) / 2


def test_equal_rests_go_to_the_first() -> None:
    assert shares([Fraction(1, 2)] * 4, 2) == [1, 1, 0, 0]
    assert shares([Fraction(-1, 2), Fraction(1, 3)], 0) == [0, 0]


def machine(route: RouteBuilder, name: str = "m-1") -> dict[str, object]:
    found = earnings(route.run().reconciliation).machines
    return found.filter(pl.col("machine") == name).row(0, named=True)


def test_gross_profit_of_a_textbook(tmp_path: Path) -> None:
    """Dauderis and Annand, Introduction to Financial Accounting, 6.5: sales 15,000; opening 4,000 + purchases 12,000
    less ending 6,000: cost of goods 10,000, gross profit 5,000 (33 %).

    Here: units at 2.00 sold at 3.00; 2,000 and 6,000 of them, 3,000 left.
    """
    route = RouteBuilder(tmp_path).settings(cards={"percent": "0"}).products(gum="2.00")
    route.machine("m-1", slot("A1", price="3.00", capacity=9000))
    route.counts("09-01 09:00, A1, 2000", "09-30 09:00, A1, 3000").loads("09-10 09:00, A1, 6000")
    route.vends(*(f"09-12 09:{at:02}, A1, cash, 3.00, vended, , 500" for at in range(4)))
    route.vends(*(f"09-13 09:{at:02}, A1, card, 3.00, vended, , 500" for at in range(6)))
    found = machine(route)
    assert (found["sales"], found["cost_of_goods"], found["margin"]) == (1_500_000, 1_000_000, 500_000)
    assert round(found["margin"] / found["sales"], 2) == 0.33  # type: ignore[operator]


@pytest.mark.parametrize(
    ("units", "price", "percent", "fees", "net"),
    [
        (80, "14.00", "3", 3360, 108640), (540, "7.00", "2", 7560, 370440), (167, "28.00", "3", 14028, 453572),
        (1, "300.00", "5", 1500, 28500), (55, "3.25", "2", 358, 17517), (290, "12.50", "5", 18125, 344375),
    ],
)  # fmt: skip
def test_card_fees_of_a_textbook(
    units: int, price: str, percent: str, fees: int, net: int, tmp_path: Path
) -> None:
    """OpenStax, Principles of Accounting 1, 9.1: card sales with a percentage fee; 55 at 3.25 and 2 % is 3.575, half to
    even 3.58."""
    route = RouteBuilder(tmp_path).settings(cards={"percent": percent}).machine("m-1", slot("A1", price=price))
    found = machine(route.vends(f"09-12 09:00, A1, card, {price}, vended, , {units}"))
    assert (found["fees"], found["card_sales"] - found["fees"]) == (fees, net)  # type: ignore[operator]


def test_shrink_of_a_textbook(tmp_path: Path) -> None:
    """Saylor, Financial Accounting, 8.5: records 65 at 70, count 63: 2 short, 140."""
    route = RouteBuilder(tmp_path).products(gum="70.00").machine("m-1", slot("A1", price="90.00", capacity=90))
    route.counts("09-01 09:00, A1, 65", "09-08 09:00, A1, 63")
    found = machine(route)
    assert (found["shrink_units"], found["shrink_cost"], found["margin"]) == (-2, 14_000, -14_000)


def test_vends_of_unknown_numbers_stand_by_themselves(tmp_path: Path) -> None:
    route = RouteBuilder(tmp_path).products(gum="0.50").machine("m-1", slot("A1"))
    route.vends("09-01 09:00, A1, cash, 2.00", "09-01 10:00, X9, cash, 3.00", "09-01 11:00, X9, prepaid, 1.00")
    parts = by_slot(earnings(route.run().reconciliation).parts)
    shown = parts.select("label", "sales", "prepaid_sales", "cost_of_goods", "uncosted_units").rows()
    assert shown == [(None, 400, 100, 0, 2), ("A1", 200, 0, 50, 0)]


def test_a_slot_with_two_products_is_one_slot_and_two_products(tmp_path: Path) -> None:
    route = RouteBuilder(tmp_path).products(gum="0.50", tea="0.70")
    route.machine("m-1", slot("A1"), changes=[change("2026-09-05T00:00:00", "A1", product="tea", price="3.00")])
    route.vends("09-01 09:00, A1, cash, 2.00", "09-06 09:00, A1, cash, 3.00")
    earned = earnings(route.run().reconciliation)
    assert by_slot(earned.parts).select("label", "sales", "cost_of_goods").rows() == [("A1", 500, 120)]
    assert by_product(earned.parts).select("product", "sales").rows() == [("gum", 200), ("tea", 300)]


def test_a_month_is_a_twelfth_of_365_25_days(tmp_path: Path) -> None:
    """61 days of log are 61 x 12 / 365.25 = 2.0041 months; 200.00 in them is 99.80 a month."""
    assert monthly(100, 30_4375 * 86400 * 100) == 100
    route = RouteBuilder(tmp_path).machine("m-1", slot("A1"))
    route.vends("09-01 00:00, A1, cash, 100.00", "11-01 00:00, A1, cash, 100.00")
    found = machine(route)
    assert found["months"] == pytest.approx(61 * 12 / 365.25)
    assert found["sales_per_month"] == round(Fraction(20000) * Fraction(36525, 1200) / 61) == 9980


def test_less_than_a_day_gives_no_month(tmp_path: Path) -> None:
    route = RouteBuilder(tmp_path).machine("m-1", slot("A1"))
    found = machine(route.vends("09-01 00:00, A1, card, 2.00", "09-01 23:00, A1, card, 2.00"))
    assert (found["sales_per_month"], found["margin_per_month"]) == (None, None)
    done = route.run().reconciliation
    assert readers(done, earnings(done)).height == 0


def test_machines_of_another_currency_keep_their_digits(tmp_path: Path) -> None:
    route = RouteBuilder(tmp_path).machine("m-1", slot("A1", price="150"), currency="JPY")
    assert machine(route.vends("09-01 00:00, A1, card, 150"))["sales"] == 150


def month(sales: int, goods: int, markup: int = 0, fees: int = 0, fee: int = 0) -> CardMonth:
    return CardMonth(Fraction(sales), Fraction(goods), Fraction(markup), Fraction(fees), Fraction(fee))


@given(
    sales=st.integers(0, 100_000), goods=st.integers(0, 100_000), markup=st.integers(0, 5_000),
    fees=st.integers(0, 9_000), fee=st.integers(0, 2_000), cost=st.integers(1, 50_000),
    extra=st.fractions(0, 1, max_denominator=100),
)  # fmt: skip
def test_payback_is_when_the_gains_have_paid_for_the_reader(
    sales: int, goods: int, markup: int, fees: int, fee: int, cost: int, extra: Fraction
) -> None:
    """Against the account kept month by month: what came of it is below nothing in the month before, not after."""
    gain = month(sales, goods, markup, fees, fee).gain(extra)
    found = payback(cost, gain)
    if found is None:
        assert gain <= 0
        return
    assert -cost + found * gain == 0
    if found < 2000:
        paid = next(n for n in count() if -cost + n * gain >= 0)
        assert paid - 1 < found <= paid


@given(
    sales=st.integers(0, 100_000), goods=st.integers(0, 100_000), markup=st.integers(0, 5_000),
    fees=st.integers(0, 9_000), fee=st.integers(0, 2_000),
)  # fmt: skip
def test_below_the_break_even_there_is_a_loss_and_above_it_none(
    sales: int, goods: int, markup: int, fees: int, fee: int
) -> None:
    one = month(sales, goods, markup, fees, fee)
    even = one.break_even()
    if even is None:
        assert one.gain(Fraction(1)) < 0
    elif even > 0:
        assert one.gain(even) == 0
        assert one.gain(even * Fraction(9, 10)) < 0 <= one.gain(Fraction(1))
    else:
        assert one.gain(Fraction(0)) >= 0


def test_what_a_reader_brings_by_hand(tmp_path: Path) -> None:
    """A month of log: card sales 200.00, of which cards paid 10.00 above the cash price; goods 60.00; fees 5 % and 0.10
    on each of 100 vends: 20.00; monthly 8.00; reader 300.00.

    At 50 %: .5 x 140 + .5 x 10 - 20 - 8 = 47.00, payback 300 / 47 = 6.38 months. At 0: 10 - 20 - 8 = -18.00: never.
    """
    cards = {"percent": "5", "per_vend": "0.10", "monthly": "8.00", "reader_cost": "300.00"}
    route = RouteBuilder(tmp_path).settings(cards=cards).products(gum="0.60")
    route.machine("m-1", slot("A1", price="1.90", card_price="2.00", capacity=500))
    start = datetime(2026, 9, 1, tzinfo=UTC)
    end = start + timedelta(days=365.25) / 12
    route.vends(
        f"{start:%m-%d %H:%M}, A1, card, 2.00, vended, , 60", f"{end:%m-%d %H:%M:%S}, A1, card, 2.00, vended, , 40"
    )
    done = route.run().reconciliation
    found = readers(done, earnings(done), (0, 50))
    money = ("card_sales", "goods", "markup", "fees", "monthly", "gain", "reader_cost")
    assert found.select(money).rows() == [
        (20000, 6000, 1000, 2000, 800, -1800, 30000),
        (20000, 6000, 1000, 2000, 800, 4700, 30000),
    ]
    assert found["payback_months"].to_list() == [None, pytest.approx(300 / 47)]
    assert found["break_even_percent"].to_list() == pytest.approx([100 * 18 / 130] * 2)


def test_a_quiet_machine_never_pays_for_its_reader(tmp_path: Path) -> None:
    """One card vend of 2.00 in a month cannot even pay the monthly fee."""
    route = RouteBuilder(tmp_path).machine("m-1", slot("A1"))
    route.vends("09-01 00:00, A1, card, 2.00", "10-01 10:00, A1, cash, 2.00")
    done = route.run(now=NOW).reconciliation
    found = readers(done, earnings(done), (100,))
    assert found.select("payback_months", "break_even_percent").row(0) == (None, None)
    assert found.item(0, "gain") < 0
    assert done.settings.cards.monthly == Decimal("7.95")
