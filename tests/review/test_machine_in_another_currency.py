"""One machine in yen on a route in dollars: card money is never added up across currencies (invented data)."""

from decimal import Decimal

import pytest
from builders import RouteBuilder, of_kind, only, slot
from rich.console import Console

from recon.report.text import print_results

COLUMNS = "paid_on,from,to,machine,gross,fees,net,reference"


@pytest.fixture
def both(route: RouteBuilder) -> RouteBuilder:
    """2 x 2.00 CAD by card, and 2 x 150 JPY; fees are 5 % and 0.10 a vend of whichever currency."""
    route.settings(cards={"percent": "5", "per_vend": "0.10", "monthly": "3.00"})
    route.machine("yen", slot("B1", price="150"), currency="JPY", timezone="UTC")
    route.vends("09-03 12:00, A1, card, 2.00, vended, , 2", machine="m-1")
    return route.vends("09-03 12:00, B1, card, 150, vended, , 2", machine="yen", name="yen.csv")


def test_a_payout_for_all_covers_the_machines_of_its_currency(both: RouteBuilder) -> None:
    """4.00 less 0.20 and 0.20. The yen are not in it, and are not unpaid by it either."""
    both.payouts("09-30,2026-09-01,2026-09-07,,4.00,0.40,3.60,P-1", columns=COLUMNS)
    run = both.run()
    paid = only(run.results.payouts)
    assert (paid.vends, paid.gross_expected, paid.fees_expected, paid.over_short) == (
        2,
        Decimal("4.00"),
        Decimal("0.40"),
        0,
    )
    assert of_kind(run, "payout-short", "payout-over", "fee-differs", "unpaid-vends") == []
    assert only(run.frames["payout_checks"]["monthly"].to_list()) == 300


def test_a_payout_for_the_machine_is_in_its_currency(both: RouteBuilder) -> None:
    """300 yen: 15 and 2 x 0.10 in fees, 15.2, is 15. The tolerance is 1 yen: 2 too few are short."""
    both.payouts("09-30,2026-09-01,2026-09-07,yen,300,15,283,P-2", columns=COLUMNS)
    run = both.run()
    paid = only(run.results.payouts)
    assert (paid.gross_expected, paid.fees_expected, paid.net_expected, paid.over_short) == (300, 15, 285, -2)
    assert only(of_kind(run, "payout-short")).amount == -2
    assert only(run.frames["payout_checks"]["monthly"].to_list()) == 3


def test_totals_are_printed_by_currency(both: RouteBuilder) -> None:
    """3.60 CAD and 285 JPY expected net; 1.10 CAD and 2 JPY too few came. A machine in USD stands beside
    them: its digits are those of the dollars of the route, and it is no part of their sum."""
    both.machine("usd", slot("C1"), currency="USD")
    for name, label, price in (("m-1", "A1", "2.00"), ("usd", "C1", "2.00")):
        both.counts(f"09-01 09:00, {label}, 9", f"09-08 09:00, {label}, 2", machine=name, name=f"{name}.csv")
        both.cash("09-01 09:00, 0, 0", "09-08 09:00, 1.00, 0", machine=name, name=f"cash-{name}.csv")
        both.vends(f"09-03 12:00, {label}, cash, {price}", machine=name, name=f"vends-{name}.csv")
    both.payouts(
        "09-30,2026-09-01,2026-09-07,,4.00,0.40,2.50,P-1",
        "09-30,2026-09-01,2026-09-07,yen,300,15,283,P-2",
        columns=COLUMNS,
    )
    console = Console(width=120, no_color=True)
    with console.capture() as printed:
        print_results(both.run().reconciliation, console, every=False)
    assert printed.get().splitlines()[2:5] == [
        "Stock   2 windows: 0 agree, 2 short (10 units, 8.00 + 12.00 USD at retail)",
        "Cash    2 windows: 2.00 + 2.00 USD expected, 1.00 + 1.00 USD short",
        "Cards   2 payouts: 3.60 + 285 JPY net expected, 1.10 + 2 JPY short",
    ]
