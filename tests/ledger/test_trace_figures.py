"""A trace reproduces the figure: every window, collection and payout of both samples, and of made-up routes, is added
up again line by line."""

from datetime import timedelta
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory
from typing import Any

import polars as pl
import pytest
from builders import RouteBuilder, slot
from hypothesis import given, settings
from hypothesis import strategies as st
from traced import NOW, Line, reconciled, terms_of, walk_cash, walk_stock, windows

import recon
from recon.ledger.trace_money import cash_figures, payout_figures
from recon.ledger.trace_slots import slot_figures, slot_trace, slot_traces

SAMPLES = Path(__file__).resolve().parents[2] / "samples"
TEN_MINUTES = timedelta(minutes=10)


@pytest.fixture(scope="module", params=["bayside", "clean"])
def sample(request: pytest.FixtureRequest) -> Path:
    return SAMPLES / str(request.param)


def test_every_stock_window_adds_up_to_its_figure(sample: Path) -> None:
    done, _ = reconciled(sample)
    found = windows(slot_figures(done, terms_of(sample), done.frames["slots"]))
    closed = [(head, lines) for head, lines in found if head["kind"] == "closed"]
    for head, lines in closed:
        walk_stock(head, lines, TEN_MINUTES)
    told = done.frames["stock"].select("slot", "opened_at", "closed_at", "expected", "counted", "variance").rows()
    names = ("slot", "opened_at", "closed_at", "expected", "counted", "variance")
    assert [tuple(head[name] for name in names) for head, _ in closed] == told


def test_every_collection_adds_up_to_its_figure(sample: Path) -> None:
    done, _ = reconciled(sample)
    found = windows(cash_figures(done, terms_of(sample), done.frames["machines"]["machine"].to_list()))
    closed = [(head, lines) for head, lines in found if head["kind"] == "closed"]
    for head, lines in closed:
        walk_cash(head, lines)
    names = ("machine", "opened_at", "closed_at", "expected", "collected", "over_short")
    told = done.frames["cash_windows"].select(names).rows()
    assert [tuple(head[name] for name in names) for head, _ in closed] == told


def test_every_payout_adds_up_to_its_figure(sample: Path) -> None:
    done, _ = reconciled(sample)
    checks = done.frames["payout_checks"]
    found = windows(payout_figures(done, checks))
    assert len(found) == checks.height > 0
    for head, lines in found:
        balance = vends = 0
        for line in (line for line in lines if line["in_figure"]):
            balance += line["change"] or 0
            vends += line["quantity"] or 0
            assert line["balance"] == balance
            assert line["what"] != "fees" or balance == head["net_expected"]
        assert (balance, vends) == (head["net_expected"], head["vends"])
        assert head["over_short"] == lines[-1]["figure"] - balance


def test_every_used_row_of_a_slot_stands_in_exactly_one_window_of_it(sample: Path) -> None:
    """But for counts, which close one window and open the next, and vends shown beside the window that they border."""
    done, _ = reconciled(sample)
    figures = slot_figures(done, terms_of(sample), done.frames["slots"])
    shown = figures.lines.filter((pl.col("what") == "vend") & pl.col("in_figure")).select("file", "row").rows()
    vends = done.frames["priced"].filter(pl.col("slot").is_not_null())
    took = vends.filter(pl.col("units") > 0).select("file", "row").rows()
    assert sorted(shown) == sorted(took)
    # What was left out is there once, too, with a reason.
    out = figures.lines.filter((pl.col("what") == "vend") & ~pl.col("in_figure") & pl.col("side").is_null())
    assert out["why"].null_count() == 0
    none = vends.filter(pl.col("units") == 0).select("file", "row").rows()
    assert set(none) <= set(out.select("file", "row").rows())


def test_many_slots_at_once_give_what_each_gives_by_itself(sample: Path) -> None:
    done, _ = reconciled(sample)
    terms = terms_of(sample)
    every = slot_traces(done, terms)
    assert len(every) == done.frames["slots"].height
    for machine, label in [("quay-2", "112"), ("quay-5", "1"), ("climb-1", "A3")]:
        alone = slot_trace(done, terms, machine, label)
        assert alone is not None
        together = every[machine, label]
        assert together.figures.lines.drop("window").equals(alone.figures.lines.drop("window"))
        assert together.figures.heads.drop("window").equals(alone.figures.heads.drop("window"))
        assert together.states.equals(alone.states)
    assert slot_trace(done, terms, "quay-2", "no such") is None


# --- any route

CLOCKS = ["08:49", "08:50", "08:55", "09:00", "09:00", "09:05", "09:10", "09:11", "15:00"]
"""Few moments, so that many things carry the same one, and many lie on the very edge of what is near."""


def rows(chance: Random) -> dict[str, list[str]]:
    """Four days of one machine, crowded: sheets that put others right, blanks, overlaps, every outcome."""

    def some(count: int, *cells: list[str]) -> list[str]:
        moments = [f"09-{chance.randint(1, 4):02d} {chance.choice(CLOCKS)}" for _ in range(count)]
        return [", ".join([moment, *(chance.choice(choices) for choices in cells)]) for moment in moments]

    units = ["0", "0", "1", "3", ""]
    sheet = (["A1"], ["0", "5", "9", "9", ""], units, units)
    vend = (
        ["A1", "A1", "A2"], ["cash", "cash", "card", "test", "token"], ["2.00", "2.50", ""],
        ["vended", "vended", "vended", "failed", "cancelled", "refunded"], [""], ["1", "1", "2"],
    )  # fmt: skip
    box = (["0.00", "7.00", "12.50"], ["", "5.00", "6.00"])
    return {
        "counts": some(7, *sheet),
        "again": some(3, *sheet),
        "loads": some(5, ["A1"], units, units),
        "vends": some(25, *vend),
        "overlap": some(6, *vend),
        "cash": some(4, *box),
        "cash_again": some(2, *box),
    }


@settings(max_examples=40, deadline=None, derandomize=True)
@given(st.integers(0, 10**6), st.sampled_from(["before-load", "after-load"]), st.sampled_from(["returned", "consumed"]))
def test_the_lines_of_any_route_add_up(seed: int, count_when: str, test_vends: str) -> None:
    files = rows(Random(seed))
    with TemporaryDirectory() as folder:
        route = RouteBuilder(Path(folder)).machine("m-1", slot("A1"), slot("A2", price=None))
        route.settings(stock={"count_when": count_when, "test_vends": test_vends})
        route.counts(*files["counts"]).counts(*files["again"], name="counts-2.csv")
        route.vends(*files["vends"], *files["overlap"]).vends(*files["overlap"], name="vends-2.csv")
        route.loads(*files["loads"]).cash(*files["cash"]).cash(*files["cash_again"], name="cash-2.csv")
        done = recon.run(route.root, now=NOW).reconciliation
        terms = terms_of(route.root)
    stock = windows(slot_figures(done, terms, done.frames["slots"]))
    cash = windows(cash_figures(done, terms, ["m-1"]))
    for head, lines in stock:
        in_order(lines, count_when)
        if head["kind"] == "closed":
            walk_stock(head, lines, TEN_MINUTES)
    for head, lines in cash:
        if head["kind"] == "closed":
            walk_cash(head, lines)
    assert sum(head["kind"] == "closed" for head, _ in stock) == done.frames["stock"].height
    assert sum(head["kind"] == "closed" for head, _ in cash) == done.frames["cash_windows"].height


def in_order(lines: list[Line], count_when: str) -> None:
    """The order of events at one moment, as docs/arithmetic.md gives it."""
    words = ["layout", "count", "removal", "load", "vend"]
    if count_when == "after-load":
        words = ["layout", "removal", "load", "count", "vend"]
    keys: list[Any] = [(line["time"], words.index(line["what"])) for line in lines]
    assert keys == sorted(keys)
