"""A second reckoning of a sample from its files, written for these alone: standard library, vend by vend.

Slow and plain on purpose, without any code of recon or of the simulator, so that all three can be compared.
"""

import csv
from collections import defaultdict
from dataclasses import dataclass, field
from datetime import UTC, datetime
from decimal import Decimal
from itertools import pairwise
from pathlib import Path
from zoneinfo import ZoneInfo

HALIFAX = ZoneInfo("America/Halifax")
TERMINALS = {"0423": "quay-2", "0457": "quay-5", "0555": "depot-1"}
WORDS = {
    "Cash": "cash", "Coin": "cash", "Bill": "cash", "Comptant": "cash",
    "Chip": "card", "Contactless": "card", "Carte": "card", "Carte de lecteur": "prepaid",
    "Free vend": "free", "Service key": "test", "Essai": "test",
    "OK": "vended", "Servi": "vended", "Vend failed": "failed", "Non servi": "failed",
    "Cancelled": "cancelled", "Annulé": "cancelled", "Refunded": "refunded", "Remboursé": "refunded",
}  # fmt: skip
RULES = {
    "quay-2": lambda label: int(label, 16),
    "quay-5": int,
    "depot-1": int,
    "library-1": lambda label: int(label) - 100,
    "climb-1": lambda label: 10 * (ord(label[0]) - ord("A") + 1) + int(label[1:]) - 1,
}
"""Label -> bus number of each machine, as samples/README.md tells it."""

Key = tuple[str, str]
Prices = dict[tuple[str, str], list[tuple[str, Decimal]]]
"""(machine, bus) -> cash prices, each with the local time from which it holds."""


@dataclass
class Route:
    """What the files of one sample say, row by row."""

    root: Path
    vends: list[dict[str, object]] = field(default_factory=list)
    counts: dict[tuple[str, str, datetime], dict[str, str]] = field(default_factory=dict)

    def rows(self, name: str, delimiter: str = ",") -> list[dict[str, str]]:
        """Rows of the inbox files whose names begin so, in the order of the names."""
        found = []
        for path in sorted((self.root / "inbox").glob(f"{name}*")):
            if "photo" not in path.name and "support" not in path.name:
                with path.open(encoding="utf-8", newline="") as file:
                    found += list(csv.DictReader(file, delimiter=delimiter))
        return found


def local(text: str) -> datetime:
    """A local time of the route."""
    return datetime.fromisoformat(text).replace(tzinfo=HALIFAX)


def _vend(machine: str, at: datetime, bus: str, price: str, tender: str, outcome: str) -> dict[str, object]:
    return {
        "machine": machine, "at": at, "bus": bus, "price": price,
        "tender": WORDS.get(tender, tender), "outcome": WORDS.get(outcome, outcome),
    }  # fmt: skip


def read(root: Path) -> Route:
    """All vends once, and the counts with later sheets over earlier ones."""
    route = Route(root)
    seen = set()
    for row in route.rows("sales-"):
        if row["Txn"] not in seen:
            seen.add(row["Txn"])
            at = datetime.strptime(row["Date/Time"], "%m/%d/%Y %I:%M:%S %p").replace(tzinfo=UTC)
            name = TERMINALS.get(row["Terminal"], row["Terminal"])
            route.vends.append(_vend(name, at, row["Item No"], row["Price"], row["Paid by"], row["Status"]))
    for row in route.rows("climb-1-"):
        at = local(row["time"])
        route.vends.append(_vend("climb-1", at, row["bus"], row["price"], row["tender"], row["outcome"]))
    for row in route.rows("borne-", ";"):
        at = local(f"{row['Date']}T{row['Heure']}")
        words = row["Paiement"], row["Résultat"]
        route.vends.append(_vend("library-1", at, row["Choix"], row["Prix"], *words))
    for row in route.rows("counts-"):
        if row["counted"].isdigit() or row["counted"] == "":
            route.counts[row["machine"], row["label"], local(row["time"])] = row
    return route


def _moves(route: Route) -> dict[Key, list[tuple[datetime, int, str]]]:
    """Slot -> (moment, units in or out, what): loads of sheets and slips, and vends that dropped."""
    moves: dict[Key, list[tuple[datetime, int, str]]] = defaultdict(list)
    labels = {(machine, RULES[machine](label)): label for machine, label, _ in route.counts}
    for (machine, label, at), row in route.counts.items():
        moves[machine, label].append((at, int(row["loaded"] or 0) - int(row["removed"] or 0), "visit"))
    for row in route.rows("loads-"):
        units = int(row["loaded"]) - int(row["removed"])
        moves[row["machine"], row["label"]].append((local(row["time"]), units, "slip"))
    for vend in route.vends:
        if vend["outcome"] in ("vended", "refunded") and vend["tender"] != "test" and vend["bus"]:
            label = labels.get((str(vend["machine"]), int(str(vend["bus"]))))
            if label is not None:
                moves[str(vend["machine"]), label].append((vend["at"], -1, "vend"))  # type: ignore[arg-type]
    return {slot: sorted(rows) for slot, rows in moves.items()}


def windows(route: Route) -> list[dict[str, object]]:
    """Each window's variance, and the lowest and highest that its balance ran."""
    moves, found = _moves(route), []
    slots: dict[Key, list[tuple[datetime, int]]] = defaultdict(list)
    for (machine, label, at), row in route.counts.items():
        if row["counted"]:
            slots[machine, label].append((at, int(row["counted"])))
    for slot, counted in sorted(slots.items()):
        for (opened, units), (closed, there) in pairwise(sorted(counted)):
            visit = (change for at, change, what in moves[slot] if (at, what) == (opened, "visit"))
            ran = [units + sum(visit)]
            for at, change, _ in moves[slot]:
                if opened < at < closed:
                    ran.append(ran[-1] + change)
            found.append({
                "machine": slot[0], "label": slot[1], "opened_at": opened.isoformat(),
                "variance": there - ran[-1], "lowest": min(ran), "highest": max(ran),
            })  # fmt: skip
    return found


def boxes(route: Route, price_of: Prices) -> list[dict[str, object]]:
    """Each collection against the cash vends since the one before."""
    found = []
    machines: dict[str, list[dict[str, str]]] = defaultdict(list)
    for row in route.rows("cash-"):
        machines[row["machine"]].append(row)
    for machine, visits in sorted(machines.items()):
        for first, last in pairwise(visits):
            opened, closed = local(first["time"]), local(last["time"])
            expected, unpriced = Decimal(0), 0
            for vend in route.vends:
                paid = (vend["machine"], vend["tender"], vend["outcome"]) == (machine, "cash", "vended")
                if paid and opened < vend["at"] < closed:  # type: ignore[operator]
                    price = _price(vend, price_of)
                    unpriced += price is None
                    expected += price or 0
            collected = Decimal(last["notes"]) + Decimal(last["coins"])
            over = collected + Decimal(last["tubes"]) - Decimal(first["tubes"]) - expected
            found.append({
                "machine": machine, "opened_at": opened.isoformat(), "over_short": over, "unpriced": unpriced,
            })  # fmt: skip
    return found


def _price(vend: dict[str, object], price_of: Prices) -> Decimal | None:
    if vend["price"] not in ("", "655.35", "0.00"):
        return Decimal(str(vend["price"]))
    moment = vend["at"].astimezone(HALIFAX).replace(tzinfo=None).isoformat()  # type: ignore[attr-defined]
    dated = price_of.get((str(vend["machine"]), str(vend["bus"])), [])
    return next((price for start, price in reversed(dated) if start <= moment), None)


def payouts(route: Route) -> list[dict[str, object]]:
    """Each statement against the card vends of its days."""
    found = []
    for row in route.rows("payouts-"):
        gross = Decimal(0)
        for vend in route.vends:
            day = vend["at"].astimezone(HALIFAX).date().isoformat()  # type: ignore[attr-defined]
            if (vend["tender"], vend["outcome"]) == ("card", "vended"):
                gross += Decimal(str(vend["price"])) if row["Period start"] <= day <= row["Period end"] else 0
        fees = round(gross * Decimal("5.95") / 100, 2)
        found.append({
            "reference": row["Statement"], "gross": Decimal(row["Card sales"]) - gross,
            "fees": Decimal(row["Processing fees"]) - fees, "net": Decimal(row["Deposit"]) - (gross - fees),
        })  # fmt: skip
    return found
