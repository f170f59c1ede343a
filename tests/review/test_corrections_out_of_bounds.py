"""A corrected figure is one that a file could have said: anything else is refused with a sentence."""

from pathlib import Path

import pytest
from builders import NOW, RouteBuilder, only, slot

from recon.deciding import Asked, decide
from recon.model.errors import ReconError


@pytest.mark.parametrize("to", ["100001", "999999999999999999", "9" * 40, "9" * 5000])
def test_no_count_is_that_large(tmp_path: Path, to: str) -> None:
    route = RouteBuilder(tmp_path).machine("m-1", slot("A1"))
    route.counts("09-01 09:00, A1, 10", "09-08 09:00, A1, 7").vends("09-03 12:00, A1, cash, 2.00")
    finding = only(each for each in route.run().results.findings if each.kind == "stock-short")
    with pytest.raises(ReconError, match="the most that a row can say"):
        decide(route.root, finding.id, Asked("correct", "Ann", "counted again", to=to), now=NOW)


@pytest.mark.parametrize("to", ["-1.00", "5000000000.00"])
def test_no_collection_is_of_that_much(tmp_path: Path, to: str) -> None:
    route = RouteBuilder(tmp_path).machine("m-1", slot("A1"))
    route.file("inbox/cash.csv", "machine,time,total\nm-1,2026-09-01 09:00,0.00\nm-1,2026-09-08 09:00,1.00\n")
    route.vends(*(f"09-03 12:{minute}, A1, cash, 2.00" for minute in range(10, 30)))
    finding = only(each for each in route.run().results.findings if each.kind == "cash-short")
    with pytest.raises(ReconError, match="is outside"):
        decide(route.root, finding.id, Asked("correct", "Ann", "counted again", to=to), now=NOW)
