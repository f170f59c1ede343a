"""Stock windows in results.json, formatted by parts that repeat: the same bytes as record by record."""

import json
from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import polars as pl
import pytest
from builders import RouteBuilder, slot
from hostile_names import ENTITY, FORMULA, LONG, QUOTES, SCRIPT, TURNED
from hypothesis import given
from hypothesis import strategies as st

import recon
from recon.model.frames import STOCK_WINDOWS
from recon.model.money import to_text
from recon.model.reconciliation import Reconciliation
from recon.report import results_json as module
from recon.report import tables

NAMES = (SCRIPT, TURNED, FORMULA, LONG, QUOTES, ENTITY, "", "\\", '"', "\x00\x01\x1f\x7f\t\r\n\b\f", "\u2028,}", "é😀")
ZONES = {"m-1": "America/Halifax", "m-2": "Asia/Tokyo", SCRIPT: "Asia/Tokyo"}
DIGITS = {"m-2": 0, SCRIPT: 3}
START = datetime(2026, 3, 1, tzinfo=UTC)

texts = st.sampled_from(NAMES)
"""Few, so that many rows are alike."""
figures = st.one_of(st.none(), st.integers(-3, 3), st.sampled_from([1 - 2**63, 2**63 - 1, 2**40]))
moments = st.one_of(
    st.sampled_from([START, START + timedelta(days=7)]),
    st.integers(0, 10**15).map(lambda passed: START + timedelta(microseconds=passed)),
)


@pytest.fixture(scope="module")
def done(tmp_path_factory: pytest.TempPathFactory) -> Reconciliation:
    route = RouteBuilder(tmp_path_factory.mktemp("route")).settings().machine("m-1", slot("11"))
    route.vends("09-03 12:00, 11, cash, 2.00")
    finished = recon.run(route.root, now=datetime(2026, 10, 1, tzinfo=UTC)).reconciliation
    return replace(finished, zone="UTC", digits=2, zones=ZONES, digits_of=DIGITS)


@st.composite
def windows(draw: st.DrawFn) -> pl.DataFrame:
    """Rows of the frame `stock`, in no order, whose cells repeat or do not; none of them empty but where it may be."""
    count = draw(st.integers(1, 40))

    def column(name: str, dtype: pl.DataType, nullable: bool) -> list[object]:
        if name == "machine":
            cells: st.SearchStrategy[object] = st.sampled_from(["m-1", "m-2", "m-3", SCRIPT])
        elif dtype == pl.String:
            cells = texts
        elif isinstance(dtype, pl.Datetime):
            cells = moments
        else:
            cells = figures.map(lambda cell: cell if cell is None or dtype == pl.Int64 else cell % 100)
        if not nullable:
            cells = cells.map(lambda cell: 0 if cell is None else cell)
        several = st.lists(cells, min_size=count, max_size=count)
        alike = cells.map(lambda cell: [cell] * count)
        return list(draw(st.one_of(several, alike)))

    return pl.DataFrame(
        {
            each.name: column(each.name, STOCK_WINDOWS.schema[each.name], each.nullable)
            for each in STOCK_WINDOWS.columns
        },
        schema=STOCK_WINDOWS.schema,
    )


def _reference(row: Mapping[str, object]) -> str:
    """A record by the standard library, cell by cell."""
    machine = str(row["machine"])
    zone, digits = ZoneInfo(ZONES.get(machine, "UTC")), DIGITS.get(machine, 2)
    record: dict[str, object] = {}
    for name in [name for group in tables.STOCK_GROUPS for name in group.names]:
        cell = row[name]
        if isinstance(cell, datetime):
            shown = "seconds" if not cell.microsecond else "microseconds" if cell.microsecond % 1000 else "milliseconds"
            cell = cell.astimezone(zone).isoformat(timespec=shown)
        elif name.endswith("_value") and isinstance(cell, int):
            cell = to_text(cell, digits)
        record[name] = cell
    return json.dumps(record, ensure_ascii=False, separators=(",", ":"))


@given(rows=windows())
def test_windows_by_parts_read_as_each_by_itself(done: Reconciliation, rows: pl.DataFrame) -> None:
    done = replace(done, frames={**done.frames, "stock": rows})
    whole = b"".join(module._list(module._stock(done)))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(module, "MANY", 1)
        patch.setattr(module, "ROWS_A_PIECE", 30)
        by_parts = b"".join(module._list(module._stock(done)))
    assert by_parts == whole
    assert json.loads(by_parts) == [json.loads(_reference(row)) for row in rows.iter_rows(named=True)]
