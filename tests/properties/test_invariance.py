"""Laws that hold for every route: nothing is lost on the way in, and how rows stand in files changes no
figure."""

import json
import random
from decimal import Decimal
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from builders import COLUMNS, RouteBuilder, slot
from hypothesis import given, settings
from hypothesis import strategies as st

DAYS = st.integers(1, 27)
LABELS = st.sampled_from(["A1", "A2"])
SEVERAL = settings(max_examples=8, deadline=None, derandomize=True)


@st.composite
def rows(draw: st.DrawFn) -> dict[str, list[str]]:
    """A month of one machine: counts every ninth day or so, and vends, loads and boxes between; every row its
    own."""
    visits = sorted(draw(st.sets(DAYS, min_size=2, max_size=4)))
    counts = [
        f"09-{day:02d} 09:00, {label}, {draw(st.integers(0, 20))}, {draw(st.integers(0, 9))}, 0"
        for day in visits
        for label in ("A1", "A2")
    ]
    tenders, outcomes = (
        st.sampled_from(["cash", "card", "free", "test"]),
        st.sampled_from(["vended", "failed", "refunded"]),
    )
    prices = st.sampled_from(["2.00", "1.50", "", "655.35"])
    moments = st.tuples(DAYS, st.integers(0, 23))
    vends = []
    for at in range(draw(st.integers(1, 15))):
        day, hour = draw(moments)
        reference = draw(st.sampled_from(["", f"T-{at}"]))
        said = f"{draw(LABELS)}, {draw(tenders)}, {draw(prices)}, {draw(outcomes)}, {reference}, 1"
        vends.append(f"09-{day:02d} {hour:02d}:{at:02d}, {said}")
    loads = [
        f"09-{draw(DAYS):02d} 15:{at:02d}, {draw(LABELS)}, {draw(st.integers(1, 9))}, 0"
        for at in range(draw(st.integers(0, 3)))
    ]
    cash = [f"09-{day:02d} 09:05, {draw(st.integers(0, 30))}.00, 0.00" for day in visits]
    return {
        "vends": vends,
        "counts": counts,
        "loads": loads,
        "cash": cash,
        "payouts": ["2026-09-29, 2026-09-01, 2026-09-20, , , 9.00, P-1"],
    }


def figures(folder: str, files: dict[str, tuple[str, list[str]]]) -> dict[str, Any]:
    """The results of a route with these files (name to kind and rows), without what speaks of files and
    lines."""
    route = (
        RouteBuilder(Path(folder)).machine("m-1", slot("A1"), slot("A2", price=None)).products(gum="0.6255")
    )
    for name, (kind, lines) in files.items():
        getattr(route, kind)(*lines, name=name)
    results = json.loads(route.run().json())
    for file in results.pop("inputs"):
        assert file["rows"] == file["accepted"] + file["duplicate"] + file["rejected"]
    of_files = ("duplicate-row", "no-rows")
    kept = [finding for finding in results["findings"] if finding["kind"] not in of_files]
    # With more files than one, other rows may be among the first twenty; how many there are stays the same.
    results["findings"] = [
        {name: value for name, value in finding.items() if name != "evidence"} for finding in kept
    ]
    return results


def whole(parts: dict[str, list[str]]) -> dict[str, tuple[str, list[str]]]:
    return {f"{kind}.csv": (kind, lines) for kind, lines in parts.items()}


def run_in(files: dict[str, tuple[str, list[str]]]) -> dict[str, Any]:
    with TemporaryDirectory() as folder:
        return figures(folder, files)


@SEVERAL
@given(parts=rows(), lot=st.randoms(use_true_random=False))
def test_splitting_shuffling_and_renaming_change_no_figure(
    parts: dict[str, list[str]], lot: random.Random
) -> None:
    plain = run_in(whole(parts))
    scattered: dict[str, tuple[str, list[str]]] = {}
    for kind, lines in parts.items():
        mixed = lot.sample(lines, len(lines))
        cut = lot.randrange(len(mixed) + 1)
        for part in (mixed[:cut], mixed[cut:]):
            if part:
                scattered[f"{lot.randrange(10**6):06d}-{kind}.csv"] = (kind, part)
    assert run_in(scattered) == plain


@SEVERAL
@given(parts=rows(), lot=st.randoms(use_true_random=False))
def test_exports_that_overlap_change_no_figure(parts: dict[str, list[str]], lot: random.Random) -> None:
    """Every row stands in one export or in both, none twice in one."""
    plain = run_in(whole(parts))
    overlapping = {}
    for kind, lines in parts.items():
        first = [line for line in lines if lot.random() < 0.7]
        second = [line for line in lines if line not in first or lot.random() < 0.5]
        overlapping |= {f"{kind}-{at}.csv": (kind, part) for at, part in enumerate((first, second)) if part}
    assert run_in(overlapping) == plain


@SEVERAL
@given(parts=rows())
def test_units_and_money_are_conserved(parts: dict[str, list[str]]) -> None:
    """Over all slots opening + loaded - removed - vended = expected; over all machines the tenders make up
    the sales."""
    results = run_in(whole(parts))
    sums = {
        name: sum(window[name] for window in results["stock"])
        for name in ("opening", "loaded", "removed", "vended", "expected", "counted", "variance")
    }
    assert sums["opening"] + sums["loaded"] - sums["removed"] - sums["vended"] == sums["expected"]
    assert sums["counted"] - sums["expected"] == sums["variance"]
    for window in results["stock"]:
        assert window["variance_low"] <= window["variance"] <= window["variance_high"]
    for box in results["cash"]:
        if box["expected"] is not None:
            low, expected, high = (
                Decimal(box[name]) for name in ("expected_low", "expected", "expected_high")
            )
            assert low <= expected <= high
            assert Decimal(box["over_short"]) == Decimal(box["collected"]) - expected
    for machine in results["machines"]:
        parts_of = [Decimal(machine[name]) for name in ("sales", "fees", "cost_of_goods", "shrink_cost")]
        assert Decimal(machine["margin"]) == parts_of[0] - sum(parts_of[1:])
        assert Decimal(machine["sales"]) == Decimal(machine["cash_sales"]) + Decimal(machine["card_sales"])


CELLS = st.text(
    st.characters(codec="utf-8", exclude_characters='\0\r\n",', exclude_categories=["Cs"]), max_size=8
)


@settings(max_examples=15, deadline=None, derandomize=True)
@given(lines=st.lists(st.lists(CELLS, min_size=0, max_size=9), min_size=1, max_size=8))
def test_every_row_is_accepted_duplicate_or_rejected(lines: list[list[str]]) -> None:
    """Whatever stands in the cells, however many there are: nothing is lost and nothing comes to a halt."""
    with TemporaryDirectory() as folder:
        route = RouteBuilder(Path(folder)).machine("m-1", slot("A1"))
        head = f"machine,{COLUMNS['vends']}\n"
        good = "m-1,2026-09-03 12:00,A1,cash,2.00,vended,,1\n"
        run = route.file(
            "inbox/vends.csv", head + good + "".join(f"{','.join(cells)}\n" for cells in lines) + good
        ).run()
        file = run.results.inputs[0]
        assert file.rows == file.accepted + file.duplicate + file.rejected
        filled = [cells for cells in lines if any(cell.strip() for cell in cells)]
        assert len(filled) + 2 <= file.rows <= len(lines) + 2
        assert file.rejected == run.frames["rejects"].height
        assert run.frames["vends"].height == file.accepted >= 2
