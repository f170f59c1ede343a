"""The example of docs/arithmetic.md for silent slots: 18 vends before a silence are enough, 17 are not."""

import re
from datetime import UTC, datetime, timedelta

import polars as pl
import pytest
from doc_pages import TOP

from recon.balance.silence import silent_spans, stocked

START = datetime(2026, 6, 1, 9, tzinfo=UTC)


def spans(sold: int) -> pl.DataFrame:
    """Slot 0: `sold` vends in 14 days, then a window of 7 days without one. Slot 1 sells on in both."""
    first, second, end = START, START + timedelta(days=14), START + timedelta(days=21)
    rows = [
        {"slot": 0, "time": first, "next_time": second, "events": sold, "last_vend": second},
        {"slot": 0, "time": second, "next_time": end, "events": 0, "last_vend": None},
        {"slot": 1, "time": first, "next_time": second, "events": 5, "last_vend": second},
        {"slot": 1, "time": second, "next_time": end, "events": 5, "last_vend": end},
    ]
    frame = pl.DataFrame(rows).with_columns(
        pl.col("time", "next_time", "last_vend").cast(pl.Datetime("us", "UTC")), pl.col("slot").cast(pl.Int32)
    )
    stock = {"opening": 30, "loaded": 0, "removed": 0, "expected": 10, "file": 0, "row": 2}
    return frame.with_columns(pl.lit(value).alias(name) for name, value in stock.items())


def silences(sold: int) -> pl.DataFrame:
    reach = pl.DataFrame({"machine": ["m"], "log_start": [START], "log_end": [START + timedelta(days=21)]})
    reach = reach.with_columns(pl.col("log_start", "log_end").cast(pl.Datetime("us", "UTC")))
    slots = pl.DataFrame({"slot": [0, 1], "machine": ["m", "m"], "label": ["A1", "A2"]})
    slots = slots.with_columns(pl.col("slot").cast(pl.Int32))
    return silent_spans(stocked(spans(sold), reach, slots), reach, slots)


def test_the_example_is_what_the_rule_says() -> None:
    said = (TOP / "docs" / "arithmetic.md").read_text(encoding="utf-8")
    pattern = r"with (\d+) vends in 14 .*? none in 7: .*? = ([\d.]+), said. With (\d+) it is ([\d.]+)"
    shown = re.search(pattern, said)
    assert shown is not None
    enough, chance, too_few, other = shown.groups()
    found = silences(int(enough))
    assert found["label"].to_list() == ["A1"]
    assert found["chance"].item() == pytest.approx(float(chance), abs=5e-6)
    assert silences(int(too_few)).height == 0
    assert (14 / 21) ** int(too_few) == pytest.approx(float(other), abs=5e-6)
