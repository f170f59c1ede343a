"""Payouts that cover the same card vends, and days of payouts whose midnight does not exist (invented data)."""

from datetime import UTC, datetime, timedelta
from decimal import Decimal

import pytest
from builders import RouteBuilder, of_kind, only, places, slot

WITH_MACHINE = "paid_on,from,to,machine,net,reference"


@pytest.fixture
def carded(route: RouteBuilder) -> RouteBuilder:
    route.settings(cards={"percent": "0", "monthly": "0"}).machine("m-2", slot("A1"))
    route.vends("09-07 12:00, A1, card, 2.00", "09-08 12:00, A1, card, 3.00, vended, , 2")
    route.vends("09-08 13:00, A1, cash, 9.00")
    return route.vends("09-08 12:00, A1, card, 50.00", machine="m-2", name="vends-2.csv")


def test_two_payouts_that_share_a_day_are_told_with_what_both_count(carded: RouteBuilder) -> None:
    carded.payouts("09-10,2026-09-01,2026-09-08,,,58.00,P-1", "09-17,2026-09-08,2026-09-14,,,56.00,P-2")
    found = only(of_kind(carded.run(), "payout-overlap"))
    assert (found.severity, found.machine, found.amount) == ("warning", None, 56)
    assert places(found) == {("payouts.csv", 2), ("payouts.csv", 3)}
    assert "P-1 and P-2 both cover 2026-09-08: the 3 vends by card" in found.message
    assert (found.opened_at, found.closed_at) == tuple(datetime(2026, 9, day, tzinfo=UTC) for day in (8, 9))


def test_payouts_that_meet_do_not_overlap(carded: RouteBuilder) -> None:
    carded.payouts("09-10,2026-09-01,2026-09-07,,,2.00,P-1", "09-17,2026-09-08,2026-09-14,,,56.00,P-2")
    assert of_kind(carded.run(), "payout-overlap") == []


def test_days_without_a_card_vend_count_nothing_twice(carded: RouteBuilder) -> None:
    carded.payouts("09-10,2026-09-01,2026-09-10,,,58.00,P-1", "09-17,2026-09-09,2026-09-14,,,0.00,P-2")
    assert of_kind(carded.run(), "payout-overlap") == []


def test_one_for_all_overlaps_one_for_a_machine_in_that_machine(carded: RouteBuilder) -> None:
    carded.payouts(
        "09-10,2026-09-01,2026-09-10,,58.00,all", "09-11,2026-09-07,2026-09-14,m-1,8.00,one", columns=WITH_MACHINE
    )
    found = only(of_kind(carded.run(), "payout-overlap"))
    assert (found.machine, found.amount) == ("m-1", 8)
    assert "2026-09-07 to 2026-09-10" in found.message


def test_payouts_for_different_machines_do_not_overlap(carded: RouteBuilder) -> None:
    rows = [f"09-10,2026-09-01,2026-09-10,{name},8.00,{name}" for name in ("m-1", "m-2")]
    assert of_kind(carded.payouts(*rows, columns=WITH_MACHINE).run(), "payout-overlap") == []


def test_one_for_all_does_not_overlap_one_in_another_currency(carded: RouteBuilder) -> None:
    carded.machine("m-2", slot("A1"), currency="USD")
    rows = ["09-10,2026-09-01,2026-09-10,,8.00,all", "09-10,2026-09-01,2026-09-10,m-2,50.00,own"]
    assert of_kind(carded.payouts(*rows, columns=WITH_MACHINE).run(), "payout-overlap") == []


def test_ids_do_not_hang_on_the_order_of_rows_and_are_told_apart(carded: RouteBuilder) -> None:
    """Two of them are equal throughout; a pair of equals is about the same thing as another, and numbered."""
    rows = ["09-10,2026-09-01,2026-09-08,,,58.00,P-1", "09-17,2026-09-08,2026-09-14,,,56.00,P-2"] * 2
    carded.payouts(*rows)
    before = [each.id for each in of_kind(carded.run(), "payout-overlap")]
    assert len(set(before)) == len(before) == 6
    (carded.root / "inbox" / "payouts.csv").unlink()
    carded.payouts(*reversed(rows))
    assert {each.id for each in of_kind(carded.run(), "payout-overlap")} == set(before)


def test_an_overlap_is_shown_with_either_of_its_payouts(carded: RouteBuilder) -> None:
    carded.payouts("09-10,2026-09-01,2026-09-08,,,58.00,P-1", "09-17,2026-09-08,2026-09-14,,,56.00,P-2")

    def shown(day: int) -> int:
        return len(of_kind(carded.run(since=datetime(2026, 9, day, tzinfo=UTC)), "payout-overlap"))

    assert (shown(17), shown(18)) == (1, 0)


def test_a_range_on_the_shared_days_is_told_as_one(route: RouteBuilder) -> None:
    route.machine("m-1", slot("A1", price=None), slot("A2", price="3.00"), slot("A3", price="1.00"))
    route.vends("09-08 12:00, A1, card")
    route.payouts("09-10,2026-09-01,2026-09-08,,,2.00,P-1", "09-17,2026-09-08,2026-09-14,,,2.00,P-2")
    found = only(of_kind(route.run(), "payout-overlap"))
    assert "between 1.00 and 3.00" in found.message
    assert found.amount == Decimal("1.00")


@pytest.mark.parametrize(
    ("zone", "day", "first"),
    [
        # IANA time zone database: Chile goes to summer time on 2026-09-06 at 00:00 (UTC-4 to UTC-3),
        # Lebanon on 2026-03-29 at 00:00 (UTC+2 to UTC+3).
        ("America/Santiago", "09-06", datetime(2026, 9, 6, 4, tzinfo=UTC)),
        ("Asia/Beirut", "03-29", datetime(2026, 3, 28, 22, tzinfo=UTC)),
    ],
)
def test_a_payout_of_a_day_without_midnight_is_of_its_first_moment(
    route: RouteBuilder, zone: str, day: str, first: datetime
) -> None:
    route.settings(timezone=zone).vends("02-03 12:00, A1, card, 2.00")
    route.payouts(f"{day},2026-{day},2026-{day},,,2.00,P-1")

    def shown(**span: datetime) -> int:
        return len(route.run(**span).results.payouts)

    second = timedelta(seconds=1)
    assert (shown(since=first), shown(until=first + second)) == (1, 1)
    assert (shown(since=first + second), shown(until=first)) == (0, 0)
    assert route.run().frames["payout_checks"]["starts"].to_list() == [first]
