"""Troubles of stock: counts, loads, and vends under a number that is not the slot's.

Each leaves the slot's later windows as they were: a unit more or less at a count is made up for in the load
of the same visit, as the operator fills to par whatever is found.
"""

from datetime import timedelta

from simulate.paper import COUNT_HEADER, week_name
from simulate.plant import Planted, Troubles, count_of, load_of, units_in, vends_of
from simulate.route import PRODUCT_SWAP
from simulate.settings_files import clock, table
from simulate.world import Load, Vend, World, visit


def _off_by(world: World, machine: str, label: str, week: int, units: int) -> None:
    """Let the count at the end of a week come out that many units away from what the log explains."""
    row = count_of(world, machine, label, week + 1)
    row.counted = (row.counted or 0) + units
    row.loaded -= units
    if row.counted < 0 or row.loaded < 0:
        raise ValueError(f"{machine} {label} has no room for a variance of {units} in week {week}")


def short_and_over(world: World, troubles: Troubles) -> None:
    """Two units gone without a vend; two units more than there should be."""
    for kind, machine, label, week, units, price in (
        ("stock-short", "quay-2", "112", 1, -2, 275),
        ("stock-over", "climb-1", "A2", 2, 2, 275),
    ):
        _off_by(world, machine, label, week, units)
        word = "fewer" if units < 0 else "more"
        troubles.planted.append(Planted(
            kind, f"counted {abs(units)} {word} than were there by the log",
            f"a variance of {units:+d} that no vend near a count explains",
            machine, label,
            opened_at=visit(world.route.machine(machine), week), units=units, amount=units * price,
        ))  # fmt: skip


def boundary(world: World, troubles: Troubles) -> None:
    """A unit sold just after a count, by a slow clock: the log has it four minutes before the count."""
    machine = world.route.machine("quay-5")
    at = visit(machine, 3) - timedelta(minutes=4)
    world.vends.append(Vend("quay-5", "3", at, "card", "vended", 275, 3, "Q079901", 3))
    _off_by(world, "quay-5", "3", 3, -1)
    for week, units in ((2, 1), (3, -1)):
        troubles.planted.append(Planted(
            "boundary-vends", "a vend logged four minutes before a count fell after it",
            f"a variance of {units:+d} that this one vend would explain",
            "quay-5", "3", opened_at=visit(machine, week), units=units,
        ))  # fmt: skip


def unrecorded_load(world: World, troubles: Troubles) -> None:
    """A load that nobody wrote down, in a week that sold more than it opened with."""
    slip, opened = load_of(world, "quay-5", "1", 2), visit(world.route.machine("quay-5"), 2)
    world.loads.remove(slip)
    troubles.planted.append(Planted(
        "below-zero", f"the slip for a load of {slip.loaded} is missing",
        "the balance passes below nothing: more was sold than was ever put in",
        "quay-5", "1", opened_at=opened,
    ))  # fmt: skip
    troubles.follows.append(Planted(
        "stock-over", "the missing slip", f"a variance of {slip.loaded:+d}, the load not written down",
        "quay-5", "1", opened_at=opened, units=slip.loaded,
    ))  # fmt: skip


def early_load(world: World, troubles: Troubles) -> None:
    """A load dated to the Monday, when the slot was full, and not to the Thursday on which it was made."""
    slip, opened = load_of(world, "climb-1", "B1", 1), visit(world.route.machine("climb-1"), 1)
    slip.at = opened + timedelta(hours=1)
    world.loads.sort(key=lambda row: row.at)
    troubles.planted.append(Planted(
        "above-capacity", "a Thursday's load dated to the Monday before, an hour after the slot was filled",
        "more units than the 12 that fit; no variance at the count", "climb-1", "B1", opened_at=opened,
    ))  # fmt: skip


def counts_missing(world: World, troubles: Troubles) -> None:
    """No first count of a slot; a cell left blank; a sheet corrected by a later one."""
    world.counts.remove(count_of(world, "climb-1", "A4", 0))
    troubles.planted.append(Planted(
        "no-opening-count", "the line of the first sheet is missing",
        "vends before the first count, in no window", "climb-1", "A4",
    ))  # fmt: skip

    count_of(world, "library-1", "104", 4).counted = None
    troubles.planted.append(Planted(
        "not-counted", "the cell is blank on the sheet of 2026-09-07",
        "one window of two weeks, which agrees", "library-1", "104",
    ))  # fmt: skip

    row = count_of(world, "quay-5", "5", 2)
    figures = [row.counted, row.loaded, row.removed]
    right = [row.machine, clock(row.at), row.label, *figures, "JB", "back row was hidden"]
    world.other_files["counts-2026-08-25-correction.csv"] = table(COUNT_HEADER, [right]).encode()
    row.counted = (row.counted or 0) - 3
    troubles.planted.append(Planted(
        "count-restated", "the sheet of 2026-08-24 has 3 units too few; a second sheet puts the line right",
        "both counts; the later sheet's is used, and both windows agree", "quay-5", "5",
        file="inbox/counts-2026-08-25-correction.csv",
    ))  # fmt: skip


def product_swap(world: World, troubles: Troubles) -> None:
    """A product changed in midweek: as many new units in as old ones out, nothing counted."""
    at, label = PRODUCT_SWAP.at, PRODUCT_SWAP.label
    units = units_in(world, "library-1", label, at)
    world.loads.append(Load("library-1", label, at, units, units, "pencils out, ear plugs in"))
    world.loads.sort(key=lambda row: row.at)
    troubles.planted.append(Planted(
        "product-changed-without-count",
        "the layout changes the product at 2026-08-26 12:00, and no count stands there",
        "a window with two products in it: its units agree, its value cannot be split", "library-1", label,
        opened_at=visit(world.route.machine("library-1"), 2),
    ))  # fmt: skip


def wrong_number(world: World, troubles: Troubles) -> None:
    """In the last week the reader sends 311 for the slot that has 307, so the slot looks silent and short."""
    vends = [vend for vend in world.vends if (vend.machine, vend.label, vend.week) == ("quay-2", "133", 6)]
    for vend in vends:
        vend.bus_cell = "311"
        vend.price_cell = f"{vend.price // 100}.{vend.price % 100:02d}"
    sold, opened = sum(vend.dropped for vend in vends), visit(world.route.machine("quay-2"), 6)
    troubles.planted += [
        Planted("unmapped-number", f"{len(vends)} vends of slot 133 are logged under a number no slot has",
                f"number 311, most likely slot 133, which is {sold} short", "quay-2", bus=311),
        Planted("silent-slot", "the same: not one vend under 133's own number in a week",
                "a stocked slot that sold daily before, and stopped", "quay-2", "133"),
    ]  # fmt: skip
    troubles.follows.append(Planted(
        "stock-short", "the same", f"short by {sold}, the vends under 311 that dropped",
        "quay-2", "133", opened_at=opened, units=-sold, amount=-150 * sold,
    ))  # fmt: skip


def no_number(world: World, troubles: Troubles) -> None:
    """One vend whose number is FFFFh, and a failed one whose number is blank."""
    vend = vends_of(world, "quay-5", 1, lambda row: row.dropped and row.tender == "card", "2")[1]
    vend.bus_cell = "65535"
    weeks = (vends_of(world, "quay-5", week, lambda row: row.outcome == "failed") for week in range(2, 6))
    failed = next(row for rows in weeks for row in rows)
    failed.bus_cell = ""
    rows = ((vend, "a vend of slot 2 has the number 65535"), (failed, "a failed vend has no number"))
    for row, what in rows:
        troubles.planted.append(Planted(
            "undefined-number", what, "a vend that names no slot", "quay-5",
            file=f"inbox/sales-{week_name(row.week)}.csv",
        ))  # fmt: skip
    troubles.follows.append(Planted(
        "stock-short", "the vend under 65535", "short by the one unit of that vend", "quay-5", "2",
        opened_at=visit(world.route.machine("quay-5"), 1), units=-1, amount=-200,
    ))  # fmt: skip


def no_cash_logged(world: World, troubles: Troubles) -> None:
    """A machine that sends no cash vends: the box holds money, and slots are short, for sales not logged."""
    depot = world.route.machine("depot-1")
    unlogged = [vend for vend in world.vends if vend.machine == "depot-1" and vend.tender == "cash"]
    world.vends = [vend for vend in world.vends if vend not in unlogged]
    opened = visit(depot, 5)
    troubles.planted.append(Planted(
        "cash-over", "the machine logs card vends only, while its box is collected",
        "cash in the box, not one cash vend in the log", "depot-1", opened_at=opened + timedelta(minutes=5),
        amount=sum(vend.price for vend in unlogged if vend.stayed_paid),
    ))  # fmt: skip
    for slot in depot.slots:
        units = sum(vend.dropped for vend in unlogged if vend.label == slot.label)
        troubles.follows.append(Planted(
            "stock-short", "no cash vends in the log", f"short by {units}, all of them sold for cash",
            "depot-1", slot.label, opened_at=opened, units=-units, amount=-units * (slot.price or 0),
        ))  # fmt: skip
        troubles.possible.append(Planted("silent-slot", "", "", "depot-1", slot.label))


def plant(world: World, troubles: Troubles) -> None:
    """All of the above."""
    no_cash_logged(world, troubles)
    short_and_over(world, troubles)
    boundary(world, troubles)
    unrecorded_load(world, troubles)
    early_load(world, troubles)
    counts_missing(world, troubles)
    product_swap(world, troubles)
    wrong_number(world, troubles)
    no_number(world, troubles)
