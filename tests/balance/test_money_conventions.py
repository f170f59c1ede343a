"""What counts as paid, collected and paid out: each convention of the money arithmetic through a whole run
(invented data)."""

from datetime import UTC, datetime
from decimal import Decimal

import pytest
from builders import RouteBuilder, change, kinds, of_kind, only, slot

OPEN, CLOSE = "09-01 09:00, 0.00, 0.00", "09-08 09:00, {}, 0.00"


def sources(route: RouteBuilder) -> list[tuple[str, int, int]]:
    """Where each vend's price comes from, and the range of it, in time order."""
    priced = route.run().frames["priced"].sort("time")
    return priced.select(priced["priced"].cast(str), "paid_low", "paid_high").rows()


def test_each_tender_pays_its_own_price(route: RouteBuilder) -> None:
    """Cash and prepaid pay the price, a card the card price where there is one; free, token and test pay
    nothing."""
    route.machine("m-1", slot("A1", price="2.00", card_price="2.10"), slot("A2", price="1.00"))
    route.vends(
        *(
            f"09-03 12:0{at}, A1, {tender}"
            for at, tender in enumerate(("cash", "card", "prepaid", "free", "token", "test"))
        )
    )
    route.vends("09-03 13:00, A2, card")
    assert [low for _, low, _ in sources(route)] == [200, 210, 200, 0, 0, 0, 100]
    machine = only(route.run().results.machines)
    assert (machine.sales, machine.cash_sales, machine.card_sales) == (Decimal("7.10"), 2, Decimal("3.10"))


def test_a_price_in_the_log_counts_though_the_layout_says_otherwise(route: RouteBuilder) -> None:
    route.vends("09-03 12:00, A1, cash, 1.75").cash(OPEN, CLOSE.format("1.75"))
    run = route.run()
    assert (only(run.results.cash).expected, only(run.results.cash).over_short) == (Decimal("1.75"), 0)
    assert only(of_kind(run, "price-differs")).amount == Decimal("-0.25")


def test_0_is_a_price_on_a_free_slot_and_for_cards_and_missing_elsewhere(route: RouteBuilder) -> None:
    route.machine("m-1", slot("A1"), slot("A2", price="0"))
    route.vends("09-03 12:00, A1, cash, 0.00", "09-03 12:01, A2, cash, 0.00", "09-03 12:02, A1, card, 0.00")
    assert sources(route) == [("layout", 200, 200), ("log", 0, 0), ("log", 0, 0)]


def test_the_price_is_the_layouts_as_it_stood_at_that_time(route: RouteBuilder) -> None:
    route.machine("m-1", slot("A1"), changes=[change("2026-09-05T10:00:00", "A1", price="2.50")])
    route.vends("09-05 09:59, A1, cash", "09-05 10:00, A1, cash")
    assert sources(route) == [("layout", 200, 200), ("layout", 250, 250)]


@pytest.mark.parametrize(
    ("known", "told"),
    [
        (["09-03 11:00, A1, cash, 1.50", "09-03 13:00, A1, cash, 1.50"], ("neighbours", 150, 150)),
        (["09-03 11:00, A1, cash, 1.50", "09-03 13:00, A1, cash, 1.75"], ("range", 150, 175)),
        (["09-03 10:00, A1, cash, 1.50", "09-03 11:00, A1, cash, 1.50"], ("neighbours", 150, 150)),
        (["09-03 13:00, A1, cash, 1.50", "09-03 14:00, A1, cash, 1.75"], ("range", 150, 175)),
        # One alone proves nothing: the range is that of the machine's prices.
        (["09-03 11:00, A1, cash, 1.50"], ("range", 150, 300)),
        # A card vend tells nothing of what cash pays.
        (["09-03 11:00, A1, card, 1.50", "09-03 13:00, A1, card, 1.50"], ("range", 150, 300)),
    ],
)
def test_without_a_layout_price_the_nearest_two_vends_settle_it_if_they_agree(
    route: RouteBuilder, known: list[str], told: tuple[str, int, int]
) -> None:
    route.machine("m-1", slot("A1", price=None), slot("A2", price="3.00")).vends(
        *known, "09-03 12:00, A1, cash"
    )
    run = route.run()
    vend = run.frames["priced"].filter(run.frames["priced"]["priced"] != "log")
    assert (vend["priced"].cast(str).item(), vend["paid_low"].item(), vend["paid_high"].item()) == told
    assert ("unpriced-vend" in kinds(run)) == (told[0] == "range")


def test_a_vend_without_a_price_makes_the_cash_a_range(route: RouteBuilder) -> None:
    route.machine("m-1", slot("A1", price=None), slot("A2", price="3.00"))
    route.vends("09-03 11:00, A1, cash, 1.50", "09-03 12:00, A1, cash", "09-03 13:00, A1, cash, 1.75").cash(
        OPEN, CLOSE.format("5.00")
    )
    box = only(route.run().results.cash)
    assert (box.vends, box.unpriced_vends) == (3, 1)
    assert (box.expected, box.expected_low, box.expected_high, box.over_short) == (
        Decimal("4.75"),
        Decimal("4.75"),
        5,
        Decimal("0.25"),
    )


def test_coins_that_the_tubes_hold_more_are_money_taken(route: RouteBuilder) -> None:
    route.vends("09-03 12:00, A1, cash, 2.00", "09-10 12:00, A1, cash, 2.00")
    route.cash("09-01 09:00, 0.00, 30.00", "09-08 09:00, 1.00, 31.00", "09-15 09:00, 7.50, 25.50")
    first, second = route.run().results.cash
    assert (first.tube_change, first.over_short) == (1, 0)
    assert (second.tube_change, second.over_short) == (Decimal("-5.50"), 0)


def test_tubes_that_were_not_noted_are_not_taken_for_empty(route: RouteBuilder) -> None:
    route.vends("09-03 12:00, A1, cash, 2.00").cash("09-01 09:00, 0.00, 30.00", "09-08 09:00, 2.00")
    box = only(route.run().results.cash)
    assert (box.tube_change, box.over_short) == (None, 0)


def test_notes_and_coins_make_a_total(route: RouteBuilder) -> None:
    route.vends("09-03 12:00, A1, cash, 2.00")
    route.cash("09-01 09:00, 0, 0", "09-08 09:00, 1.25, 0.75", columns="time,notes,coins")
    assert only(route.run().results.cash).collected == 2


def test_a_collection_restated_by_a_later_sheet_is_the_later(route: RouteBuilder) -> None:
    route.vends("09-03 12:00, A1, cash, 2.00").cash(OPEN, CLOSE.format("20.00"), name="cash-1.csv").cash(
        CLOSE.format("2.00"), name="cash-2.csv"
    )
    assert only(route.run().results.cash).collected == 2


def test_refunds_and_failures_are_not_expected_in_the_box(route: RouteBuilder) -> None:
    route.vends(
        "09-03 12:00, A1, cash, 2.00",
        "09-03 12:01, A1, cash, 2.00, refunded",
        "09-03 12:02, A1, cash, 2.00, failed",
    )
    route.cash(OPEN, CLOSE.format("2.00"))
    box = only(route.run().results.cash)
    # A refund may have been given from elsewhere than the machine: then its money is in the box.
    assert (box.vends, box.expected, box.expected_low, box.expected_high) == (1, 2, 2, 4)


def test_the_days_of_a_payout_are_of_the_routes_zone_and_both_are_included(route: RouteBuilder) -> None:
    """The machine stands in another zone; 2026-09-01 in Halifax runs from 03:00 to 03:00 UTC."""
    route.settings(timezone="America/Halifax", cards={"percent": "0", "monthly": "0"})
    route.machine("m-1", slot("A1"), timezone="UTC")
    route.vends(
        "09-01 02:59, A1, card, 1.00",
        "09-01 03:00, A1, card, 2.00",
        "09-03 02:59, A1, card, 4.00",
        "09-03 03:00, A1, card, 8.00",
    )
    route.payouts("2026-09-04, 2026-09-01, 2026-09-02, 6.00, 0.00, 6.00, one")
    payout = only(route.run().results.payouts)
    assert (payout.vends, payout.gross_expected, payout.over_short) == (2, 6, 0)


def test_a_payout_for_one_machine_covers_that_machine(route: RouteBuilder) -> None:
    route.settings(cards={"percent": "10", "per_vend": "0.05", "monthly": "0"}).machine("m-2", slot("A1"))
    route.vends("09-01 12:00, A1, card, 1.00", "09-01 12:00, A1, card, 2.00, refunded").vends(
        "09-01 12:00, A1, card, 5.00", machine="m-2"
    )
    columns = "paid_on,from,to,machine,gross,fees,net"
    route.payouts(
        "2026-09-04, 2026-09-01, 2026-09-02, m-1, 1.00, 0.15, 0.85",
        "2026-09-04, 2026-09-01, 2026-09-02, m-2, 5.00, 0.55, 4.45",
        columns=columns,
    )
    told = [
        (one.machine, one.vends, one.gross_expected, one.fees_expected, one.over_short)
        for one in route.run().results.payouts
    ]
    assert told == [("m-1", 1, 1, Decimal("0.15"), 0), ("m-2", 1, 5, Decimal("0.55"), 0)]


def test_machines_of_other_currencies_keep_their_own_digits(route: RouteBuilder) -> None:
    """ISO 4217: CAD 2, JPY 0 and KWD 3 digits."""
    route.settings(tolerance={"cash": "1"}).machine(
        "m-yen", slot("A1", price="150"), currency="JPY", timezone="Asia/Tokyo"
    )
    route.machine("m-fils", slot("A1", price="0.250"), currency="KWD", timezone="Asia/Kuwait").products(
        gum="0.1234"
    )
    for name, price, took in (("m-1", "2.00", "0.50"), ("m-yen", "150", "148"), ("m-fils", "0.250", "1.251")):
        route.counts("09-01 09:00, A1, 9", "09-08 09:00, A1, 7", machine=name).vends(
            f"09-03 12:00, A1, cash, {price}", machine=name
        )
        route.cash("09-01 09:00, 0, 0", f"09-08 09:00, {took}, 0", machine=name)
    run = route.run()
    boxes = {
        box.machine: (str(box.expected), str(box.collected), str(box.over_short)) for box in run.results.cash
    }
    assert boxes == {
        "m-1": ("2.00", "0.50", "-1.50"),
        "m-yen": ("150", "148", "-2"),
        "m-fils": ("0.250", "1.251", "1.001"),
    }
    values = {
        window.machine: (str(window.retail_value), str(window.cost_value)) for window in run.results.stock
    }
    assert values == {"m-1": ("-2.00", "-0.12"), "m-yen": ("-150", "0"), "m-fils": ("-0.250", "-0.123")}
    assert {
        (found.machine, found.kind, str(found.amount)) for found in of_kind(run, "cash-short", "cash-over")
    } == {
        ("m-1", "cash-short", "-1.50"),
        ("m-yen", "cash-short", "-2"),
        ("m-fils", "cash-over", "1.001"),
    }


def test_moments_are_read_and_shown_in_each_machines_own_zone(route: RouteBuilder) -> None:
    route.settings(timezone="America/Halifax")
    for name, zone in (("m-1", "America/Halifax"), ("m-2", "Asia/Tokyo")):
        route.machine(name, slot("A1"), timezone=zone).counts(
            "09-01 09:00, A1, 9", "09-08 09:00, A1, 9", machine=name
        )
    here, there = route.run().results.stock
    assert (here.opened_at.isoformat(), there.opened_at.isoformat()) == (
        "2026-09-01T09:00:00-03:00",
        "2026-09-01T09:00:00+09:00",
    )
    assert here.opened_at - there.opened_at == datetime(2026, 9, 1, 12, tzinfo=UTC) - datetime(
        2026, 9, 1, tzinfo=UTC
    )


def test_a_summary_adds_up(route: RouteBuilder) -> None:
    """margin = sales - fees - cost of goods - shrink at cost; each sum rounded once, half to even."""
    route.settings(cards={"percent": "5.95", "per_vend": "0.10", "monthly": "7.95"}).products(gum="0.6255")
    route.counts("09-01 09:00, A1, 20", "09-08 09:00, A1, 10").vends(
        "09-03 12:00, A1, cash, 2.00, vended, , 3",
        "09-04 12:00, A1, card, 2.10, vended, , 2",
        "09-05 12:00, A1, prepaid, 2.00",
        "09-06 12:00, A1, cash, 2.00, refunded",
        "09-06 13:00, A1, free",
    ).vends("09-06 14:00, B9, cash, 1.00")
    machine = only(route.run().results.machines)
    assert (machine.vends, machine.unmapped_vends) == (6, 1)
    # The vend of B9 is money all the same, though no slot answers for it.
    assert (machine.sales, machine.cash_sales, machine.card_sales) == (Decimal("13.20"), 7, Decimal("4.20"))
    assert machine.fees == Decimal("0.45")  # 4.20 x 5.95 % + 2 x 0.10 = 0.4499
    assert machine.cost_of_goods == Decimal("5.00")  # 8 x 0.6255 = 5.004
    assert (machine.shrink_units, machine.shrink_retail, machine.shrink_cost) == (-2, 4, Decimal("1.25"))
    assert machine.margin == Decimal("13.20") - Decimal("0.45") - 5 - Decimal("1.25")
