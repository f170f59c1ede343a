"""Troubles of money: prices, boxes and payouts."""

from simulate.paper import week_name
from simulate.plant import Planted, Troubles, box_of
from simulate.route import FEE_PERCENT, local
from simulate.world import World, fee

HIGH_PERCENT = "6.95"


def prices(world: World, troubles: Troubles) -> None:
    """A cash vend that cannot be priced; a price that the layout does not have; prices that can be filled."""
    mine = [vend for vend in world.vends if (vend.machine, vend.label) == ("climb-1", "B3")]
    sold = [vend for vend in mine if vend.stayed_paid]
    at = next(at for at, vend in enumerate(sold) if vend.at >= local(2026, 9, 3, 10, 30))
    before, here, after = sold[at - 1 : at + 2]
    if here.tender != "cash" or before.price == after.price:
        raise ValueError("the first vend after B3's price change is no longer a cash vend between two prices")
    here.price_cell = ""
    troubles.planted += [
        Planted("unpriced-vend", "the layout has no price for B3, and a cash vend without one stands "
                "between a vend at 3.00 and one at 3.25",
                "the cash of that week is a range", "climb-1", "B3",
                file=f"inbox/climb-1-vends-{week_name(here.week)}.csv"),
        Planted("price-differs", "set to 2.00 at the machine for the week from 2026-09-07, not written down",
                "logged at 2.00 where the layout says 1.75", "climb-1", "A3"),
        Planted("missing-price", "no cash vend of this machine comes with a price",
                "filled from the layout, and said so", "quay-2"),
    ]  # fmt: skip


def boxes(world: World, troubles: Troubles) -> None:
    """Fifteen dollars too little in a box, five too much in another, and two collections not written down."""
    short, over = box_of(world, "quay-2", 3), box_of(world, "library-1", 4)
    short.notes -= 1500
    over.coins += 500
    troubles.planted += [
        Planted("cash-short", "three five-dollar notes fewer than were paid in",
                "15.00 less than the log expects",
                "quay-2", opened_at=box_of(world, "quay-2", 2).at, amount=-1500),
        Planted("cash-over", "five dollars in coins more than were paid in",
                "5.00 more than the log expects",
                "library-1", opened_at=box_of(world, "library-1", 2).at, amount=500),
    ]  # fmt: skip
    for week in (0, 7):
        world.cash.remove(box_of(world, "climb-1", week))
    troubles.planted.append(Planted(
        "no-collection", "the first and the last collection are not on the cash sheets",
        "cash vends of the first and the last week that no pair of collections holds", "climb-1",
    ))  # fmt: skip


def payouts(world: World, troubles: Troubles) -> None:
    """Fees too high, a deposit too low, one too high, and a week that was never paid."""
    dear, low, high, gone = (world.payouts[week] for week in (1, 2, 4, 5))
    dear.fees = fee(dear.gross, HIGH_PERCENT)
    dear.net = dear.gross - dear.fees
    low.net -= 1000
    high.gross += 800
    high.net += 800
    world.payouts.remove(gone)
    file = "inbox/payouts-2026-{}.csv"
    troubles.planted += [
        Planted("fee-differs",
                f"{HIGH_PERCENT} percent taken instead of {FEE_PERCENT}, statement {dear.reference}",
                "the fee and what it should be", file=file.format("08")),
        Planted("payout-short", f"deposit 10.00 below sales less fees, statement {low.reference}",
                "paid 10.00 less than the log expects", file=file.format("08"), amount=-1000),
        Planted("payout-over", f"8.00 of sales that no log has, statement {high.reference}",
                "paid 8.00 more than the log expects", file=file.format("09"), amount=800),
        Planted("unpaid-vends", "no statement for 2026-09-14 to 2026-09-20",
                "card vends of that week that no payout covers"),
    ]  # fmt: skip
    less = dear.net - (dear.gross - fee(dear.gross))
    troubles.possible += [
        Planted("payout-short", "", "", file=file.format("08"), amount=less),
        Planted("fee-differs", "", "", file=file.format("09")),
    ]
