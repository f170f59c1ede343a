"""What counts as opening, loaded and sold: each convention of the stock arithmetic through a whole run
(invented data)."""

import pytest
from builders import RouteBuilder, kinds, of_kind, only, places, slot

from recon.model.results import StockWindow

Figures = tuple[int, int, int, int, int, int]


def figures(window: StockWindow) -> Figures:
    """opening, loaded, removed, vended, counted, variance"""
    return window.opening, window.loaded, window.removed, window.vended, window.counted, window.variance


def windows(route: RouteBuilder) -> list[Figures]:
    return [figures(window) for window in route.run().results.stock]


@pytest.mark.parametrize(
    ("when", "told"),
    [
        # The sheet says 3 left, 7 put in, 1 taken out: the window opens with 9.
        ("before-load", [(9, 0, 0, 4, 5, 0), (11, 0, 1, 2, 8, 0)]),
        # The sheet says 3 there after 7 went in: it opens with 3, and the next sheet's loads are of the
        # window that it closes.
        ("after-load", [(3, 6, 0, 4, 5, 0), (5, 0, 1, 2, 8, 6)]),
    ],
)
def test_a_sheet_counts_before_or_after_its_loads(
    route: RouteBuilder, when: str, told: list[Figures]
) -> None:
    route.settings(stock={"count_when": when})
    route.counts("09-01 09:00, A1, 3, 7, 1", "09-08 09:00, A1, 5, 6, 0", "09-15 09:00, A1, 8, 0, 0")
    route.vends("09-03 12:00, A1, cash, 2.00, vended, , 4", "09-10 12:00, A1, cash, 2.00, vended, , 2")
    route.loads("09-12 12:00, A1, 0, 1")
    assert windows(route) == told


def test_a_load_slip_of_the_same_moment_is_of_the_same_visit(route: RouteBuilder) -> None:
    """Before-load: what a slip puts in at the very time of the count comes after the count."""
    route.counts("09-01 09:00, A1, 3", "09-08 09:00, A1, 5").loads("09-01 09:00, A1, 6", "09-08 09:00, A1, 9")
    assert windows(route) == [(9, 0, 0, 0, 5, -4)]


def test_two_slips_of_one_moment_both_count(route: RouteBuilder) -> None:
    route.counts("09-01 09:00, A1, 3", "09-08 09:00, A1, 13").loads(
        "09-03 09:00, A1, 6, 1", "09-03 09:00, A1, 5, 0"
    )
    assert windows(route) == [(3, 11, 1, 0, 13, 0)]


@pytest.mark.parametrize(("setting", "variance"), [("returned", -1), ("consumed", 0)])
def test_a_test_vend_is_put_back_or_gone(route: RouteBuilder, setting: str, variance: int) -> None:
    route.settings(stock={"test_vends": setting})
    route.counts("09-01 09:00, A1, 5", "09-08 09:00, A1, 4").vends("09-03 12:00, A1, test")
    window = only(route.run().results.stock)
    assert (window.vended, window.variance) == (variance + 1, variance)


def test_only_what_dropped_left_the_slot(route: RouteBuilder) -> None:
    """vended and refunded take a unit; failed and cancelled do not; free, token and prepaid vends take one
    like any other."""
    route.counts("09-01 09:00, A1, 20", "09-08 09:00, A1, 14")
    outcomes = (
        "cash, 2.00, vended",
        "cash, 2.00, refunded",
        "cash, 2.00, failed",
        "card, 2.00, cancelled",
        "free",
        "token",
        "prepaid, 2.00",
        "card, 2.00",
    )
    route.vends(*(f"09-03 12:{at:02d}, A1, {rest}" for at, rest in enumerate(outcomes)))
    run = route.run()
    window = only(run.results.stock)
    assert (window.vended, window.variance, window.variance_low, window.variance_high) == (6, 0, -1, 0)
    machine = only(run.results.machines)
    assert (machine.vends, machine.sales, machine.cash_sales, machine.card_sales) == (8, 6, 2, 2)


def test_quantity_counts_in_units_and_in_money(route: RouteBuilder) -> None:
    route.counts("09-01 09:00, A1, 20", "09-08 09:00, A1, 17").vends(
        "09-03 12:00, A1, cash, 1.50, vended, , 3"
    )
    route.cash("09-01 09:00, 0.00, 0.00", "09-08 09:00, 4.50, 0.00")
    results = route.run().results
    assert figures(only(results.stock)) == (20, 0, 0, 3, 17, 0)
    box = only(results.cash)
    assert (box.vends, box.expected, box.over_short) == (3, pytest.approx(4.5), 0)


def test_a_blank_count_keeps_the_window_open_and_0_does_not(route: RouteBuilder) -> None:
    route.machine("m-1", slot("A1"), slot("A2"))
    route.counts(
        "09-01 09:00, A1, 9",
        "09-01 09:00, A2, 9",
        "09-08 09:00, A1, , 4",
        "09-08 09:00, A2, 0, 4",
        "09-15 09:00, A1, 13",
        "09-15 09:00, A2, 4",
    )
    run = route.run()
    assert [(window.label, *figures(window)) for window in run.results.stock] == [
        ("A1", 9, 4, 0, 0, 13, 0),
        ("A2", 9, 0, 0, 0, 0, -9),
        ("A2", 4, 0, 0, 0, 4, 0),
    ]
    assert [found.label for found in of_kind(run, "not-counted")] == ["A1"]


def test_a_restated_count_replaces_the_first_with_its_loads(route: RouteBuilder) -> None:
    route.counts("09-01 09:00, A1, 9, 2", "09-08 09:00, A1, 11, 6", name="counts-1.csv")
    route.counts("09-01 09:00, A1, 6, 5", name="counts-2.csv")
    run = route.run()
    assert figures(only(run.results.stock)) == (11, 0, 0, 0, 11, 0)
    restated = only(of_kind(run, "count-restated"))
    assert places(restated) == {("counts-1.csv", 2), ("counts-2.csv", 2)}
    assert restated.units == -3


def test_a_blank_line_that_a_later_sheet_fills_in_loads_once(route: RouteBuilder) -> None:
    route.counts("09-01 09:00, A1, , 5", "09-08 09:00, A1, 9", name="counts-1.csv").counts(
        "09-01 09:00, A1, 4, 5", name="counts-2.csv"
    )
    run = route.run()
    assert figures(only(run.results.stock)) == (9, 0, 0, 0, 9, 0)
    assert "not-counted" not in kinds(run)


def test_the_same_sheet_twice_is_one_sheet(route: RouteBuilder) -> None:
    for name in ("counts-1.csv", "counts-2.csv"):
        route.counts("09-01 09:00, A1, 9, 2", "09-08 09:00, A1, 11", name=name)
    run = route.run()
    assert figures(only(run.results.stock)) == (11, 0, 0, 0, 11, 0)
    assert "count-restated" not in kinds(run)


def test_a_slot_may_be_counted_by_its_number(route: RouteBuilder) -> None:
    route.machine("m-1", slot("A1", bus=161))
    route.counts("09-01 09:00, 161, 9", "09-08 09:00, 0xA1, 8", columns="time,bus,counted").vends(
        "09-03 12:00, 161, cash", columns="time,bus,tender"
    )
    assert windows(route) == [(9, 0, 0, 1, 8, 0)]


@pytest.mark.parametrize(
    ("minutes", "low", "high"),
    [
        # A vend m minutes after the count opens the window; the same vend may have dropped before it.
        ("09:10", -2, -1),
        ("09:11", -1, -1),
        # One m minutes before it may have dropped after: then this window sold one more.
        ("08:50", -1, 0),
        ("08:49", -1, -1),
    ],
)
def test_the_boundary_reaches_ten_minutes_both_ways_and_no_further(
    route: RouteBuilder, minutes: str, low: int, high: int
) -> None:
    route.counts("09-01 09:00, A1, 9", "09-08 09:00, A1, 7" if minutes > "09" else "09-08 09:00, A1, 8")
    route.vends(f"09-01 {minutes}, A1, cash, 2.00")
    window = only(route.run().results.stock)
    assert (window.variance, window.variance_low, window.variance_high) == (-1, low, high)


def test_value_is_of_the_price_and_cost_in_force_when_the_window_closes(route: RouteBuilder) -> None:
    change = {"from": "2026-09-05T00:00:00", "label": "A1", "price": "2.50"}
    route.machine("m-1", slot("A1"), changes=[change]).products(gum="0.6255")
    route.counts("09-01 09:00, A1, 9", "09-08 09:00, A1, 7")
    window = only(route.run().results.stock)
    assert (str(window.retail_value), str(window.cost_value)) == ("-5.00", "-1.25")


def test_what_a_change_at_the_closing_visit_brings_is_of_the_next_window(route: RouteBuilder) -> None:
    """The slot gets another product when it is counted: the window that closes is still the old product's."""
    change = {"from": "2026-09-08T09:00:00", "label": "A1", "product": "nuts", "price": "3.00"}
    route.machine("m-1", slot("A1"), changes=[change])
    route.counts("09-01 09:00, A1, 9", "09-08 09:00, A1, 8", "09-15 09:00, A1, 7")
    run = route.run()
    told = [(window.product, str(window.retail_value)) for window in run.results.stock]
    assert told == [("gum", "-2.00"), ("nuts", "-3.00")]
    assert "product-changed-without-count" not in kinds(run)
