"""What the operator's files say: the inbox of a sample, written from the world's lists."""

import random
from collections.abc import Iterable
from datetime import UTC, timedelta

from simulate.route import WEEKS
from simulate.settings_files import clock, money, table
from simulate.world import Vend, World, monday

FIRST_ISO_WEEK = 33
TERMINALS = {"quay-2": "0423", "quay-5": "0457", "depot-1": "0555"}
"""The card reader's own names of the machines; a machine that is not here goes by its name."""

READER_WORDS = {
    "cash": ("Coin", "Coin", "Bill"),
    "card": ("Contactless", "Contactless", "Chip"),
    "free": ("Free vend",),
    "test": ("Service key",),
    "vended": ("OK",),
    "failed": ("Vend failed",),
    "cancelled": ("Cancelled",),
    "refunded": ("Refunded",),
}
PAY_POINT_WORDS = {
    "cash": "Comptant",
    "card": "Carte",
    "prepaid": "Carte de lecteur",
    "test": "Essai",
    "vended": "Servi",
    "failed": "Non servi",
    "cancelled": "Annulé",
    "refunded": "Remboursé",
}
NO_CASH_PRICE = {"quay-2": "", "quay-5": "655.35", "library-1": "0.00"}
"""How these machines' logs show that a cash vend came without its price. 655.35 is FFFFh in cents."""

READER_HEADER = ["Terminal", "Date/Time", "Item No", "Price", "Paid by", "Status", "Txn"]


def week_name(week: int) -> str:
    """The year and ISO week in a file's name: 2026-33."""
    return f"2026-{FIRST_ISO_WEEK + week}"


def _bus(vend: Vend) -> str:
    return str(vend.bus) if vend.bus_cell is None else vend.bus_cell


def _price(vend: Vend) -> str:
    if vend.price_cell is not None:
        return vend.price_cell
    if vend.tender in ("test", "token"):
        return ""
    if vend.tender == "cash" and vend.machine in NO_CASH_PRICE:
        return NO_CASH_PRICE[vend.machine]
    return money(vend.price)


def _word(kind: str, vend: Vend) -> str:
    """One of the reader's words, the same for the same vend in every export."""
    return random.Random(f"{vend.reference} {kind}").choice(READER_WORDS[kind])


def reader_row(vend: Vend) -> list[str]:
    """A vend as the card reader's web export has it."""
    return [
        TERMINALS.get(vend.machine, vend.machine),
        vend.at.astimezone(UTC).strftime("%m/%d/%Y %I:%M:%S %p"),
        _bus(vend),
        _price(vend),
        _word(vend.tender, vend),
        _word(vend.outcome, vend),
        vend.reference,
    ]


def _reader_exports(world: World) -> Iterable[tuple[str, str]]:
    """One export a week, each of them from the Sunday before on: those Sundays stand in two exports."""
    own = [vend for vend in world.vends if vend.machine not in ("climb-1", "library-1")]
    for week in range(WEEKS):
        sunday = monday(week) - timedelta(days=1)
        rows = [
            reader_row(vend)
            for vend in own
            if vend.week == week or (vend.week == week - 1 and vend.at >= sunday)
        ]
        yield f"sales-{week_name(week)}.csv", table(READER_HEADER, rows)


def _hall_logs(world: World) -> Iterable[tuple[str, str]]:
    """The climbing hall's log in our own field names, which needs no description."""
    header = ["machine", "time", "bus", "price", "tender", "outcome", "reference"]
    for week in range(WEEKS):
        rows = [
            [vend.machine, clock(vend.at), _bus(vend), _price(vend),
             vend.tender, vend.outcome, vend.reference]
            for vend in world.vends
            if vend.machine == "climb-1" and vend.week == week
        ]  # fmt: skip
        yield f"climb-1-vends-{week_name(week)}.csv", table(header, rows)


def _pay_point_logs(world: World) -> Iterable[tuple[str, str]]:
    """The library's log: semicolons, date and clock apart, the machine only in the file's name."""
    header = ["Date", "Heure", "Choix", "Prix", "Paiement", "Résultat", "Reçu"]
    for week in range(WEEKS):
        rows = []
        for vend in world.vends:
            if vend.machine == "library-1" and vend.week == week:
                day, _, time = clock(vend.at).partition("T")
                words = PAY_POINT_WORDS[vend.tender], PAY_POINT_WORDS[vend.outcome]
                rows.append([day, time, _bus(vend), _price(vend), *words, vend.reference])
        yield f"borne-library-1-{week_name(week)}.csv", table(header, rows, ";")


COUNT_HEADER = ["machine", "time", "label", "counted", "loaded", "removed", "counter", "note"]


def _sheets(world: World) -> Iterable[tuple[str, str]]:
    """Count sheets and cash sheets of each Monday, load slips of each week, test vends of a first visit."""
    for week in range(WEEKS + 1):
        day = monday(week).date()
        counts = [
            [row.machine, clock(row.at), row.label, row.counted, row.loaded, row.removed, "JB", row.note]
            for row in world.counts
            if row.at.date() == day
        ]
        yield f"counts-{day}.csv", table(COUNT_HEADER, counts)
        boxes = [
            [row.machine, clock(row.at), money(row.notes), money(row.coins), money(row.tubes), row.note]
            for row in world.cash
            if row.at.date() == day
        ]
        yield f"cash-{day}.csv", table(["machine", "time", "notes", "coins", "tubes", "note"], boxes)
        tests = [
            [vend.machine, vend.label, clock(vend.at), ""]
            for vend in world.vends
            if vend.tender == "test" and vend.at.date() == day
        ]
        if tests:
            yield f"tests-{day}.csv", table(["machine", "label", "time", "note"], tests)
    for week in range(WEEKS):
        slips = [
            [row.machine, clock(row.at), row.label, row.loaded, row.removed, row.reason]
            for row in world.loads
            if monday(week) <= row.at < monday(week + 1)
        ]
        header = ["machine", "time", "label", "loaded", "removed", "reason"]
        yield f"loads-{week_name(week)}.csv", table(header, slips)


def _statements(world: World) -> Iterable[tuple[str, str]]:
    """The card processor's statements, a file for each month of payment."""
    period = ["Period start", "Period end"]
    header = ["Statement", "Deposited", *period, "Card sales", "Processing fees", "Deposit"]
    for month in sorted({f"{payout.paid_on:%Y-%m}" for payout in world.payouts}):
        rows = [
            [row.reference, row.paid_on.date(), row.first.date(), row.last.date(),
             money(row.gross), money(row.fees), money(row.net)]
            for row in world.payouts
            if f"{row.paid_on:%Y-%m}" == month
        ]  # fmt: skip
        yield f"payouts-{month}.csv", table(header, rows)


def inbox(world: World) -> dict[str, bytes]:
    """Every file of inbox/, by its path in the route folder."""
    written: dict[str, bytes] = {}
    for part in (_reader_exports, _hall_logs, _pay_point_logs, _sheets, _statements):
        written |= {name: text.encode() for name, text in part(world)}
    return {f"inbox/{name}": data for name, data in (written | world.other_files).items()}
