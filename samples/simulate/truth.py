"""The figures that the trouble-free route must give, reckoned from the world and not from its files.

Conventions: counts stand before the loads and removals of their visit; `vended` are units that left for good
(vended or refunded, test vends put back); sales are cash, card and prepaid vends that stayed paid; fees are
the percentage of a machine's card sales, rounded once, half to even; cost of goods likewise, over every unit
that left.
"""

from collections import defaultdict
from decimal import ROUND_HALF_EVEN, Decimal
from itertools import pairwise

from simulate.route import Machine
from simulate.settings_files import money
from simulate.world import Collection, Count, Load, Vend, World, fee

Row = dict[str, object]


def _stock(world: World) -> list[Row]:
    counts: dict[tuple[str, str], list[Count]] = defaultdict(list)
    for count in world.counts:
        counts[count.machine, count.label].append(count)
    windows = [pair for _, visits in sorted(counts.items()) for pair in pairwise(visits)]
    return [_window(world, first, last) for first, last in windows]


def _window(world: World, first: Count, last: Count) -> Row:
    def here(row: Vend | Load) -> bool:
        same = (row.machine, row.label) == (first.machine, first.label)
        return same and first.at < row.at < last.at

    opening = (first.counted or 0) + first.loaded - first.removed
    slips = [load for load in world.loads if here(load)]
    loaded, removed = sum(load.loaded for load in slips), sum(load.removed for load in slips)
    vended = sum(vend.dropped for vend in world.vends if here(vend))
    slot = world.route.machine(first.machine).at(first.label, first.at)
    return {
        "machine": first.machine,
        "label": first.label,
        "product": slot.product if slot else None,
        "opened_at": first.at.isoformat(),
        "closed_at": last.at.isoformat(),
        "opening": opening,
        "loaded": loaded,
        "removed": removed,
        "vended": vended,
        "expected": opening + loaded - removed - vended,
        "counted": last.counted,
    }


def _cash(world: World) -> list[Row]:
    boxes: dict[str, list[Collection]] = defaultdict(list)
    for box in world.cash:
        boxes[box.machine].append(box)
    rows: list[Row] = []
    for machine, visits in sorted(boxes.items()):
        for first, last in pairwise(visits):
            paid = [vend for vend in world.vends if vend.machine == machine and first.at < vend.at < last.at]
            paid = [vend for vend in paid if vend.tender == "cash" and vend.stayed_paid]
            expected = sum(vend.price for vend in paid)
            collected, change = last.notes + last.coins, last.tubes - first.tubes
            rows.append({
                "machine": machine,
                "opened_at": first.at.isoformat(),
                "closed_at": last.at.isoformat(),
                "vends": len(paid),
                "expected": money(expected),
                "collected": money(collected),
                "tube_change": money(change),
                "over_short": money(collected + change - expected),
            })  # fmt: skip
    return rows


def _payouts(world: World) -> list[Row]:
    return [
        {
            "reference": payout.reference,
            "paid_on": payout.paid_on.date().isoformat(),
            "from": payout.first.date().isoformat(),
            "to": payout.last.date().isoformat(),
            "gross": money(payout.gross),
            "fees": money(payout.fees),
            "net": money(payout.net),
        }
        for payout in world.payouts
    ]


def _machine(world: World, machine: Machine) -> Row:
    rows = [vend for vend in world.vends if vend.machine == machine.name]
    kept = [vend for vend in rows if vend.stayed_paid]
    left = [vend for vend in rows if vend.dropped]
    costs = {product.id: Decimal(product.unit_cost) for product in world.route.products}
    cost = Decimal(0)
    for vend in left:
        slot = machine.at(vend.label, vend.at)
        cost += costs[slot.product] * 100 if slot and slot.product else 0
    card = sum(vend.price for vend in kept if vend.tender == "card")
    return {
        "machine": machine.name,
        "vends": len(rows),
        "units_out": len(left),
        "sales": money(sum(vend.price for vend in kept)),
        "cash_sales": money(sum(vend.price for vend in kept if vend.tender == "cash")),
        "card_sales": money(card),
        "prepaid_sales": money(sum(vend.price for vend in kept if vend.tender == "prepaid")),
        "fees": money(fee(card)),
        "cost_of_goods": money(int(cost.quantize(Decimal(1), ROUND_HALF_EVEN))),
    }


def clean_truth(world: World) -> dict[str, object]:
    """tests/truth/clean.json: windows, collections, payouts and machine totals of the trouble-free route."""
    return {
        "about": "Reckoned by samples/simulate/truth.py from the simulated world. `vends` of a machine are "
        "all its rows in the logs, each reference once; `units_out` are the units that left it for good.",
        "stock": _stock(world),
        "cash": _cash(world),
        "payouts": _payouts(world),
        "machines": [_machine(world, machine) for machine in world.route.machines],
    }
