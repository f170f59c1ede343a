"""A missing price is filled from vends of the same slot, product and tender, whatever else of the layout changed;
else it is open only up to what is asked in its own currency (invented data)."""

import pytest
from builders import RouteBuilder, change, of_kind, only, slot


def filled(route: RouteBuilder, row: int) -> tuple[str, int, int]:
    """Where the price of that line of vends.csv comes from, and its least and most in minor units."""
    priced = route.run().frames["priced"]
    source, low, high = priced.filter(priced["row"] == row).select("priced", "paid_low", "paid_high").row(0)
    return source, low, high


AROUND = ("09-03 12:00, A1, cash, 1.50", "09-05 12:00, A1, cash", "09-07 12:00, A1, cash, 1.50")
OPEN = slot("A1", price=None, par=40)


@pytest.mark.parametrize("what", [{"capacity": 40}, {"par": 20}, {"bus": 77}, {"tray": "9"}])
def test_a_change_that_sets_no_price_parts_no_neighbours(route: RouteBuilder, what: dict[str, object]) -> None:
    dear = slot("A2", price="9.00")
    route.machine("m-1", OPEN, dear, changes=[change("2026-09-06T00:00:00", "A1", **what)]).vends(*AROUND)
    assert filled(route, 3) == ("neighbours", 150, 150)


def test_a_product_that_comes_back_meets_its_own_prices(route: RouteBuilder) -> None:
    changes = [
        change("2026-09-04T00:00:00", "A1", product="mints"),
        change("2026-09-04T12:00:00", "A1", product="gum"),
    ]
    route.machine("m-1", OPEN, slot("A2", price="9.00"), changes=changes).vends(*AROUND)
    assert filled(route, 3) == ("neighbours", 150, 150)


def test_another_product_is_no_neighbour(route: RouteBuilder) -> None:
    changes = [change("2026-09-04T00:00:00", "A1", product="mints")]
    route.machine("m-1", OPEN, slot("A2", price="9.00"), changes=changes).vends(*AROUND)
    assert filled(route, 3) == ("range", 150, 900)


def test_a_price_that_the_layout_sets_parts_neighbours(route: RouteBuilder) -> None:
    """The layout says nothing of cash here; that it set what a card pays says that prices were changed."""
    changes = [change("2026-09-04T00:00:00", "A1", card_price="1.80")]
    route.machine("m-1", OPEN, slot("A2", price="9.00"), changes=changes).vends(*AROUND)
    assert filled(route, 3) == ("range", 150, 900)


def test_what_no_machine_prices_is_open_up_to_the_highest_of_its_own_currency(route: RouteBuilder) -> None:
    """m-2 has no price at all, and neither has m-3, which no layout knows."""
    route.machine("m-1", slot("A1", price="2.50")).machine("m-yen", slot("A1", price="480"), currency="JPY")
    route.machine("m-2", slot("A1", price=None)).vends("09-03 12:00, A1, cash", machine="m-2")
    route.vends("09-03 12:00, A1, cash", machine="m-3")
    assert filled(route, 2) == filled(route, 3) == ("range", 0, 250)
    found = only(of_kind(route.run(), "unpriced-vend"))
    assert "2.50" in found.message


def test_a_machine_in_yen_is_open_up_to_the_highest_in_yen(route: RouteBuilder) -> None:
    route.machine("m-1", slot("A1", price="9.50")).machine("m-yen", slot("A1", price="480"), currency="JPY")
    route.machine("m-2", slot("A1", price=None), currency="JPY").vends("09-03 12:00, A1, cash", machine="m-2")
    assert filled(route, 2) == ("range", 0, 480)
