"""What the pages leave out before they are drawn: it must be nothing that a page shows."""

from dataclasses import replace

import polars as pl
import pytest
from report_routes import reconciled

from recon.balance.over_time import sold_over_time
from recon.balance.report_figures import report_figures
from recon.balance.selling import selling
from recon.ledger.trace_lines import Terms
from recon.ledger.trace_slots import slot_figures
from recon.report.html import report_pages
from recon.report.html.parted import Parted
from recon.report.html.traced_rows import with_rows_of


def test_each_machine_has_its_rows_in_their_order_and_a_stranger_none() -> None:
    frame = pl.DataFrame({"machine": ["b", "a", None, "b", "a"], "at": [1, 2, 3, 4, 5]})
    parted = Parted(frame)
    assert parted.machines == {"a", "b"}
    assert {name: parted.of(name)["at"].to_list() for name in ("a", "b", None, "c")} == {
        "a": [2, 5], "b": [1, 4], None: [3], "c": [],
    }  # fmt: skip


def test_some_machines_have_their_rows_together_in_the_order_of_their_names() -> None:
    frame = pl.DataFrame({"machine": ["b", "a", None, "b", "a", "d"], "at": [1, 2, 3, 4, 5, 6]})
    parted = Parted(frame)
    assert parted.among(["a", "b", "c"]).rows() == [("a", 2), ("a", 5), ("b", 1), ("b", 4)]
    assert parted.among(["d", "a"]).rows() == [("d", 6), ("a", 2), ("a", 5)]
    assert parted.among([]).schema == frame.schema


@pytest.mark.parametrize("name", ["bayside", "hostile", "foreign", "crowd"])
def test_a_window_has_the_same_lines_whether_the_rows_of_others_are_there_or_not(name: str) -> None:
    """Of every tenth window alone, and of the time before the first count and since the last."""
    done = reconciled(name).reconciliation
    terms, slots = Terms.of(done.settings), done.frames["slots"]
    some = done.frames["stock"].gather_every(10)
    less = with_rows_of(done, some, slots, selling(done).stock.spans.select("slot", "time"), terms.near)
    whole, part = slot_figures(done, terms, slots), slot_figures(less, terms, slots)
    wanted = some.select("slot", "opened_at", pl.lit(True).alias("wanted"))
    kept = whole.heads.join(wanted, on=["slot", "opened_at"], how="left", maintain_order="left").filter(
        pl.col("wanted").fill_null(pl.col("kind") != "closed")
    )
    own = ["window", "nth"]
    assert part.heads.drop(own).equals(kept.drop(*own, "wanted"))
    numbers = dict(zip(kept["window"], part.heads["window"], strict=True))
    lines = whole.lines.filter(pl.col("window").is_in(list(numbers)))
    assert part.lines.equals(lines.with_columns(pl.col("window").replace_strict(numbers, return_dtype=pl.Int64)))


def test_the_vends_left_out_are_many() -> None:
    """Else the test before this one would show nothing."""
    done = reconciled("bayside").reconciliation
    spans = selling(done).stock.spans.select("slot", "time")
    one = done.frames["stock"].head(1)
    slots = done.frames["slots"].join(one, on="slot", how="semi")
    less = with_rows_of(done, one, slots, spans, Terms.of(done.settings).near)
    assert 0 < less.frames["priced"].height < done.frames["priced"].height / 20


def test_stock_windows_at_hand_make_the_same_pages() -> None:
    done = reconciled("bayside").reconciliation
    assert list(report_pages(done, report_figures(done, selling(done).stock))) == list(report_pages(done))


def test_a_log_without_a_vend_has_no_sums_over_time() -> None:
    done = reconciled("bayside").reconciliation
    empty = replace(done, frames={**done.frames, "priced": done.frames["priced"].clear()})
    for found, frame in zip(sold_over_time(empty), sold_over_time(done), strict=True):
        assert found.height == 0
        assert found.schema == frame.schema
