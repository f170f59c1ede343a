"""The sample routes: the committed files are what the simulator writes, and its own reckoning holds together.

The figures under tests/truth are the simulator's, which shares no code with recon. All data here is invented.
"""

import ast
import csv
import json
import os
import subprocess
import sys
from collections import Counter, defaultdict
from datetime import UTC, datetime, timedelta
from decimal import ROUND_HALF_EVEN, Decimal
from itertools import pairwise
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

TOP = Path(__file__).resolve().parents[2]
SAMPLES, TRUTH = TOP / "samples", TOP / "tests" / "truth"
HALIFAX = ZoneInfo("America/Halifax")
TERMINALS = {"0423": "quay-2", "0457": "quay-5"}

NOT_PLANTED = {"ambiguous-time", "nonexistent-time"}
"""No clock change falls into the seven weeks; samples/README.md says so."""

RUN_KINDS = {
    "unreadable-file", "unknown-format", "rejected-row", "duplicate-row", "reference-reused",
    "ambiguous-time", "nonexistent-time", "future-time", "card-number-present", "unknown-machine",
    "unmapped-number",
    "undefined-number", "silent-slot", "missing-price", "unpriced-vend", "price-differs", "stock-short",
    "stock-over", "boundary-vends", "below-zero", "above-capacity", "no-opening-count", "not-counted",
    "count-restated", "product-changed-without-count", "cash-short", "cash-over", "no-collection",
    "payout-short", "payout-over", "unpaid-vends", "fee-differs",
}  # fmt: skip
"""The kinds of finding that a run can raise."""


def build(*options: str, **environment: str) -> subprocess.CompletedProcess[str]:
    """Run samples/build.py as a person would."""
    return subprocess.run(
        [sys.executable, str(SAMPLES / "build.py"), *options],
        capture_output=True, text=True, check=False, env={**os.environ, **environment},
    )  # fmt: skip


def truth(name: str) -> dict[str, list[dict[str, str]]]:
    return json.loads((TRUTH / f"{name}.json").read_text(encoding="utf-8"))


def rows(name: str, delimiter: str = ",") -> list[dict[str, str]]:
    """All rows of the clean inbox files whose names begin so, each with its file's name."""
    found = []
    for path in sorted((SAMPLES / "clean" / "inbox").glob(f"{name}*")):
        with path.open(encoding="utf-8", newline="") as file:
            found += [{**row, "file": path.name} for row in csv.DictReader(file, delimiter=delimiter)]
    return found


def local(text: str) -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=HALIFAX)


def clean_vends() -> dict[str, tuple[str, int, datetime]]:
    """Reference -> machine, number, moment, read from the three formats of log by hand."""
    found = {}
    for row in rows("sales-"):
        at = datetime.strptime(row["Date/Time"], "%m/%d/%Y %I:%M:%S %p").replace(tzinfo=UTC)
        found[row["Txn"]] = (TERMINALS[row["Terminal"]], int(row["Item No"]), at)
    for row in rows("climb-1-"):
        found[row["reference"]] = (row["machine"], int(row["bus"]), local(row["time"]))
    for row in rows("borne-", ";"):
        found[row["Reçu"]] = ("library-1", int(row["Choix"]), local(f"{row['Date']}T{row['Heure']}"))
    return found


@pytest.mark.parametrize(("seed", "zone"), [("0", "UTC"), ("4321", "Pacific/Auckland")])
def test_committed_samples_are_what_the_simulator_writes(seed: str, zone: str) -> None:
    done = build("--check", PYTHONHASHSEED=seed, TZ=zone)
    assert (done.returncode, done.stderr) == (0, "")


def test_check_names_what_is_missing_changed_or_too_many(tmp_path: Path) -> None:
    assert build("--to", str(tmp_path)).returncode == 0
    assert build("--check", "--to", str(tmp_path)).returncode == 0
    (tmp_path / "samples/clean/route.toml").unlink()
    with (tmp_path / "samples/bayside/products.csv").open("ab") as file:
        file.write(b"\n")
    (tmp_path / "tests/truth/extra.json").write_text("{}")
    done = build("--check", "--to", str(tmp_path))
    assert done.returncode == 1
    assert [line.partition(":")[0] for line in done.stderr.splitlines()] == [
        "samples/bayside/products.csv", "samples/clean/route.toml", "tests/truth/extra.json",
    ]  # fmt: skip
    assert build("--to", str(tmp_path)).returncode == 0
    assert build("--check", "--to", str(tmp_path)).returncode == 0


def test_the_simulator_shares_no_code_with_recon() -> None:
    imported = set()
    for path in SAMPLES.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Import):
                imported |= {name.name.partition(".")[0] for name in node.names}
            elif isinstance(node, ast.ImportFrom):
                imported.add((node.module or "").partition(".")[0])
    assert "simulate" in imported
    assert imported - {"simulate"} <= set(sys.stdlib_module_names)


@pytest.mark.parametrize("sample", ["clean", "bayside"])
def test_files_are_small_and_have_lf_line_ends(sample: str) -> None:
    texts = [path for path in (SAMPLES / sample).rglob("*") if path.is_file() and "photo" not in path.name]
    assert sum(path.stat().st_size for path in texts) < 400_000
    assert [path.name for path in texts if b"\r" in path.read_bytes()] == []
    assert [path.name for path in texts if not path.read_bytes().endswith(b"\n")] == []


def test_stock_windows_of_the_truth_add_up() -> None:
    windows = truth("clean")["stock"]
    slots = defaultdict(list)
    for row in windows:
        left = row["opening"] + row["loaded"] - row["removed"] - row["vended"]
        assert left == row["expected"] == row["counted"]
        slots[row["machine"], row["label"]].append((row["opened_at"], row["closed_at"]))
    assert len(slots) == 31
    for spans in slots.values():
        assert all(first[1] == second[0] for first, second in pairwise(spans))


def test_money_of_the_truth_adds_up() -> None:
    figures = truth("clean")
    for row in figures["cash"]:
        over = Decimal(row["collected"]) + Decimal(row["tube_change"]) - Decimal(row["expected"])
        assert over == Decimal(row["over_short"]) == 0
    for row in figures["payouts"]:
        fees = (Decimal(row["gross"]) * Decimal("0.0595")).quantize(Decimal("0.01"), ROUND_HALF_EVEN)
        assert (Decimal(row["fees"]), Decimal(row["net"])) == (fees, Decimal(row["gross"]) - fees)
    card = sum(Decimal(row["card_sales"]) for row in figures["machines"])
    assert card == sum(Decimal(row["gross"]) for row in figures["payouts"])
    for row in figures["machines"]:
        boxes = [box for box in figures["cash"] if box["machine"] == row["machine"]]
        assert sum(Decimal(box["expected"]) for box in boxes) == Decimal(row["cash_sales"])
        parts = (row["cash_sales"], row["card_sales"], row["prepaid_sales"])
        assert sum(map(Decimal, parts)) == Decimal(row["sales"])
        slots = [window for window in figures["stock"] if window["machine"] == row["machine"]]
        assert sum(window["vended"] for window in slots) == row["units_out"]


def test_the_files_hold_as_many_vends_as_the_truth() -> None:
    told = {row["machine"]: row["vends"] for row in truth("clean")["machines"]}
    assert Counter(machine for machine, _, _ in clean_vends().values()) == told
    assert 1900 < sum(told.values()) < 2300


def test_no_vend_of_the_clean_route_is_near_a_count_or_collection() -> None:
    visits = {(row["machine"], local(row["time"])) for row in rows("counts-") + rows("cash-")}
    assert len(visits) == 4 * 8 + 3 * 8 + 5
    near = [
        (machine, at)
        for machine, _, at in clean_vends().values()
        if any(machine == there and abs(at - moment) <= timedelta(minutes=10) for there, moment in visits)
    ]
    assert near == []


def test_every_slot_of_the_clean_route_sells_steadily_and_never_runs_out() -> None:
    windows = truth("clean")["stock"]
    assert min(window["vended"] for window in windows) >= 3
    assert min(window["counted"] for window in windows) >= 1


def test_each_kind_of_finding_is_planted_at_a_place_that_exists() -> None:
    planted = truth("bayside")["planted"]
    assert {row["kind"] for row in planted} == RUN_KINDS - NOT_PLANTED
    root = SAMPLES / "bayside"
    machines = {path.stem for path in (root / "layouts").iterdir()}
    for row in planted + truth("bayside")["follows"]:
        assert row["kind"] == "unknown-machine" or row.get("machine", "quay-2") in machines
        assert (root / row.get("file", "route.toml")).is_file()
    places = [json.dumps(row, sort_keys=True) for row in planted]
    assert len(places) == len(set(places))


def test_the_made_up_card_number_passes_the_check_digit() -> None:
    """ISO/IEC 7812-1 (Luhn): from the right, every second digit doubled, digits summed, a multiple of ten."""
    with (SAMPLES / "bayside/inbox/sales-2026-36-support.csv").open(encoding="utf-8", newline="") as file:
        number = next(csv.DictReader(file))["Card"]
    doubled = [int(digit) * (1 + at % 2) for at, digit in enumerate(reversed(number))]
    assert len(number) == 16
    assert sum(digit // 10 + digit % 10 for digit in doubled) % 10 == 0
