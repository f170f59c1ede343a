"""Lines of one cash sheet for one collection add up, equal ones as well; the sheet told again counts once, and one told
anew stands in its place (invented data)."""

from decimal import Decimal

import pytest
from builders import RouteBuilder, of_kind, only

OPENING = "09-01 09:00, 0.00"
BAG = "09-08 09:00, 50.00"


@pytest.fixture
def opened(route: RouteBuilder) -> RouteBuilder:
    return route.vends("09-03 12:00, A1, cash, 100.00").cash(OPENING, name="cash-0.csv")


def collected(route: RouteBuilder) -> Decimal:
    return only(route.run().results.cash).collected


def told(route: RouteBuilder) -> list[tuple[int, int, int, int]]:
    inputs = route.run().frames["inputs"].filter(kind="cash")
    return inputs.select("rows", "accepted", "duplicate", "rejected").rows()


def test_two_bags_of_one_amount_add_up(opened: RouteBuilder) -> None:
    opened.cash(BAG, BAG)
    assert collected(opened) == 100
    assert told(opened) == [(1, 1, 0, 0), (2, 2, 0, 0)]
    assert of_kind(opened.run(), "duplicate-row", "collection-restated", "cash-short") == []


@pytest.mark.parametrize("again", [(BAG, BAG), (BAG, BAG, "09-15 09:00, 7.00")])
def test_their_sheet_in_a_second_file_counts_once(opened: RouteBuilder, again: tuple[str, ...]) -> None:
    """The second is byte for byte the first, or goes on where that ended."""
    opened.cash(BAG, BAG, name="cash-1.csv").cash(*again, name="cash-2.csv")
    run = opened.run()
    assert run.results.cash[0].collected == 100
    assert told(opened)[1:] == [(2, 2, 0, 0), (len(again), len(again) - 2, 2, 0)]
    assert of_kind(run, "collection-restated") == []
    assert only(of_kind(run, "duplicate-row")).evidence_count > 0


def test_a_sheet_that_takes_one_of_them_back_stands_in_their_place(opened: RouteBuilder) -> None:
    opened.cash(BAG, BAG, name="cash-1.csv").cash(BAG, "09-15 09:00, 7.00", name="cash-2.csv")
    run = opened.run()
    assert run.results.cash[0].collected == 50
    restated = only(of_kind(run, "collection-restated"))
    assert restated.amount == -50


def test_a_sheet_that_adds_one_stands_in_their_place(opened: RouteBuilder) -> None:
    opened.cash(BAG, name="cash-1.csv").cash(BAG, BAG, name="cash-2.csv")
    assert collected(opened) == 100
    assert only(of_kind(opened.run(), "collection-restated")).amount == 50


def test_a_third_sheet_that_puts_the_first_right_again_counts(opened: RouteBuilder) -> None:
    opened.cash(BAG, BAG, name="cash-1.csv").cash("09-08 09:00, 40.00", name="cash-2.csv")
    opened.cash(BAG, BAG, "09-15 09:00, 7.00", name="cash-3.csv")
    assert opened.run().results.cash[0].collected == 100
    assert of_kind(opened.run(), "collection-restated")[0].amount == 60
