"""--since and --until at midnight and at the moment of a count: each payout and vend is shown on one side
(invented data)."""

from datetime import UTC, datetime

import pytest
from builders import RouteBuilder, of_kind


def day(number: int, hour: int = 0) -> datetime:
    return datetime(2026, 9, number, hour, tzinfo=UTC)


@pytest.fixture
def paid(route: RouteBuilder) -> RouteBuilder:
    """One payout on the 15th for the first week, 8.00 short."""
    route.settings(cards={"percent": "0", "monthly": "0"}).vends("09-03 12:00, A1, card, 2.00, vended, , 5")
    return route.payouts("2026-09-15, 2026-09-01, 2026-09-07, 10.00, 0.00, 2.00, P-1")


def test_a_payout_is_of_the_day_on_which_it_was_paid(paid: RouteBuilder) -> None:
    def shown(**span: datetime) -> int:
        return len(paid.run(**span).results.payouts)

    assert (shown(since=day(15)), shown(until=day(16))) == (1, 1)
    assert (shown(since=day(16)), shown(until=day(15))) == (0, 0)


def test_a_run_at_the_midnight_of_that_day_shows_it(paid: RouteBuilder) -> None:
    assert len(paid.run(now=day(15)).results.payouts) == 1


def test_the_finding_goes_with_the_payout_not_with_the_days_it_covers(paid: RouteBuilder) -> None:
    """The days it covers ended on the 7th, before what is shown."""
    assert [each.amount for each in of_kind(paid.run(since=day(10)), "payout-short")] == [-8]
    assert of_kind(paid.run(since=day(16)), "payout-short") == []


def test_each_vend_is_in_one_of_two_spans_that_meet(route: RouteBuilder) -> None:
    """A vend of the very moment of the count is of the window that the count opens, and so of the later
    span."""
    route.counts("09-01 09:00, A1, 9", "09-08 09:00, A1, 8", "09-15 09:00, A1, 7")
    route.vends("09-01 09:00, A1, cash, 2.00", "09-08 09:00, A1, cash, 2.00")
    first, then = route.run(until=day(8, 9)).results, route.run(since=day(8, 9)).results
    for part in (first, then):
        assert [(window.vended, window.variance) for window in part.stock] == [(1, 0)]
        assert [(machine.vends, machine.sales) for machine in part.machines] == [(1, 2)]


def test_a_vend_of_the_moment_of_the_run_is_shown(route: RouteBuilder) -> None:
    route.vends("09-08 09:00, A1, cash, 2.00")
    assert [machine.vends for machine in route.run(now=day(8, 9)).results.machines] == [1]


def test_a_blank_count_of_long_ago_is_shown_with_its_own_time_only(route: RouteBuilder) -> None:
    route.counts("09-01 09:00, A1, 9", "09-08 09:00, A1", "09-15 09:00, A1, 9")
    assert len(of_kind(route.run(since=day(8)), "not-counted")) == 1
    assert of_kind(route.run(since=day(9)), "not-counted") == []
