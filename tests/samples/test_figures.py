"""The samples' files, reckoned by hand (by_hand.py), differ where trouble was planted and nowhere else."""

import csv
import json
import tomllib
from collections import defaultdict
from decimal import Decimal
from pathlib import Path

import by_hand
import pytest

TOP = Path(__file__).resolve().parents[2]



@pytest.fixture(scope="module", params=["clean", "bayside"])
def sample(request: pytest.FixtureRequest) -> by_hand.Route:
    return by_hand.read(TOP / "samples" / request.param)


def planted(sample: by_hand.Route, *kinds: str) -> list[dict[str, object]]:
    if sample.root.name == "clean":
        return []
    truth = json.loads((TOP / "tests/truth/bayside.json").read_text(encoding="utf-8"))
    return [row for row in truth["planted"] + truth["follows"] if row["kind"] in kinds]


def cash_prices(sample: by_hand.Route) -> by_hand.Prices:
    """(machine, bus) -> dated cash prices, from the layouts; climb-1 logs its own prices."""
    prices: by_hand.Prices = defaultdict(list)
    for path in (sample.root / "layouts").glob("*.toml"):
        layout = tomllib.loads(path.read_text(encoding="utf-8"))
        name = layout["machine"]
        dated = [(layout["effective"].isoformat(), slot) for slot in layout["slot"]]
        dated += [(change["from"].isoformat(), change) for change in layout.get("change", [])]
        for start, row in sorted(dated, key=lambda entry: entry[0]):
            if "price" in row:
                bus = str(by_hand.RULES[name](row["label"]))
                prices[name, bus].append((start, Decimal(row["price"])))
    return prices


def capacities(sample: by_hand.Route) -> dict[tuple[object, object], int]:
    """(machine, label) -> the units that fit, from the layouts."""
    fits: dict[tuple[object, object], int] = {}
    for path in (sample.root / "layouts").glob("*.toml"):
        layout = tomllib.loads(path.read_text(encoding="utf-8"))
        fits |= {(layout["machine"], slot["label"]): slot["capacity"] for slot in layout["slot"]}
    with (sample.root / "layouts" / "climb-1.csv").open(encoding="utf-8", newline="") as file:
        rows = [row for row in csv.DictReader(file) if row["capacity"]]
    return fits | {(row["machine"], row["label"]): int(row["capacity"]) for row in rows}


def place(row: dict[str, object]) -> tuple[object, ...]:
    return row["machine"], row["label"], row["opened_at"]


def test_every_variance_is_a_planted_one(sample: by_hand.Route) -> None:
    off = {(*place(row), row["variance"]) for row in by_hand.windows(sample) if row["variance"]}
    told = planted(sample, "stock-short", "stock-over", "boundary-vends")
    assert off == {(*place(row), row["units"]) for row in told}


def test_no_balance_leaves_its_bounds_but_where_planted(sample: by_hand.Route) -> None:
    fits = capacities(sample)
    windows = by_hand.windows(sample)
    below = {place(row) for row in windows if row["lowest"] < 0}
    above = {place(row) for row in windows if row["highest"] > fits[row["machine"], row["label"]]}
    assert below == {place(row) for row in planted(sample, "below-zero")}
    assert above == {place(row) for row in planted(sample, "above-capacity")}


def test_every_cash_difference_is_a_planted_one(sample: by_hand.Route) -> None:
    boxes = by_hand.boxes(sample, cash_prices(sample))
    assert len(boxes) == {"clean": 7 + 7 + 7 + 4, "bayside": 7 + 7 + 5 + 4 + 1}[sample.root.name]
    off = {(row["machine"], row["opened_at"], row["over_short"]) for row in boxes if row["over_short"]}
    told = planted(sample, "cash-short", "cash-over")
    unpriced = [row for row in boxes if row["unpriced"]]
    assert len(unpriced) == len(planted(sample, "unpriced-vend"))
    known = {(row["machine"], row["opened_at"], Decimal(str(row["amount"]))) for row in told}
    assert off == known | {(row["machine"], row["opened_at"], Decimal("3.25")) for row in unpriced}


def test_every_payout_difference_is_a_planted_one(sample: by_hand.Route) -> None:
    payouts = by_hand.payouts(sample)
    off = {row["reference"]: (row["gross"], row["fees"], row["net"]) for row in payouts if row["net"]}
    if sample.root.name == "clean":
        assert (len(payouts), off) == (7, {})
    else:
        assert len(payouts) == 6
        assert off["ST-20260830"] == (0, 0, Decimal("-10.00"))
        assert off["ST-20260913"] == (8, 0, 8)
        gross, fees, net = off.pop("ST-20260823")
        assert (gross, fees + net) == (0, 0)
        assert fees > 3
        assert set(off) == {"ST-20260830", "ST-20260913"}
