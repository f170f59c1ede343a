"""The CSV and Parquet files of a run: the same figures as the results, and nothing that a spreadsheet runs."""

import csv
import io
import re
from pathlib import Path

import polars as pl
import pytest
from report_routes import ROUTES, reconciled

from recon.model.frames import TIME
from recon.model.spelling import FORMULA_SIGNS
from recon.report.exports import tables
from recon.report.tamed import tamed, tamed_column
from recon.report.typed_tables import typed_tables

NAMES = ["findings", "stock", "cash", "payouts", "machines", "decisions", "inputs", "rejects", "money", "plan"]
GOLDEN = Path(__file__).resolve().parent / "golden" / "findings.csv"


def read(name: str, table: str) -> list[dict[str, str]]:
    text = dict(tables(reconciled(name).reconciliation))[f"tables/{table}.csv"].decode()
    return list(csv.DictReader(io.StringIO(text, newline="")))


@pytest.mark.parametrize("name", ROUTES)
def test_each_table_stands_in_both_forms_with_every_row(name: str) -> None:
    run = reconciled(name)
    files = dict(tables(run.reconciliation))
    assert list(files) == [f"tables/{each}.{form}" for each in NAMES for form in ("csv", "parquet")]
    for table in typed_tables(run.reconciliation):
        rows = read(name, table.name)
        assert len(rows) == table.frame.height
        kept = pl.read_parquet(io.BytesIO(files[f"tables/{table.name}.parquet"]))
        assert kept.equals(table.frame, null_equal=True)
        assert kept.schema == table.frame.schema
        for column in table.money:
            assert kept.schema[column] == pl.Int64
            assert {"currency", "digits"} <= set(kept.columns)
        assert all(dtype == TIME for dtype in kept.dtypes if isinstance(dtype, pl.Datetime))


def test_csv_figures_are_those_of_the_results() -> None:
    results = reconciled("bayside").results
    for row, window in zip(read("bayside", "stock"), results.stock, strict=True):
        assert row["variance"] == str(window.variance)
        assert row["retail_value"] == ("" if window.retail_value is None else str(window.retail_value))
        assert row["closed_at"] == window.closed_at.isoformat()
    for row, cash in zip(read("bayside", "cash"), results.cash, strict=True):
        assert row["over_short"] == ("" if cash.over_short is None else str(cash.over_short))
    assert any(row["variance"].startswith("-") for row in read("bayside", "stock"))
    first = results.findings[0]
    told = "; ".join(f"{each.file}:{each.row}" if each.row else each.file for each in first.evidence)
    assert read("bayside", "findings")[0]["evidence"] == told


def test_money_has_the_digits_of_its_machine() -> None:
    assert {(row["machine"], row["sales"], row["currency"]) for row in read("foreign", "machines")} == {
        ("m-home", "4.00", "CAD"), ("m-kuwait", "3.000", "KWD"), ("m-yen", "400", "JPY"),
    }  # fmt: skip


@pytest.mark.parametrize("name", ["hostile", "hostile-many", "bayside"])
def test_no_cell_begins_like_a_formula_but_figures(name: str) -> None:
    """The signs are those that OWASP lists under CSV injection."""
    for table in NAMES:
        for row in read(name, table):
            for column, cell in row.items():
                if re.match(f"[{FORMULA_SIGNS}]", cell):
                    assert re.fullmatch(r"-[0-9]+(\.[0-9]+)?", cell), (table, column, cell)


def test_the_text_comes_back_when_one_apostrophe_is_taken_off() -> None:
    texts = ["=1", "+1", "-1", "@x", "\tx", "\rx", "\nx", "\0x", "＝1", "'=1", "''@x", "'x", "x", "", "1", "x=1"]
    frame = pl.DataFrame({"text": texts}).select(tamed_column("text"))
    assert frame["text"].to_list() == [tamed(text) for text in texts]
    assert [text for text, kept in zip(texts, frame["text"], strict=True) if kept == f"'{text}"] == texts[:11]


def test_the_findings_of_the_sample_are_the_golden_ones(request: pytest.FixtureRequest) -> None:
    found = dict(tables(reconciled("bayside").reconciliation))["tables/findings.csv"]
    if request.config.getoption("--accept-golden"):
        GOLDEN.write_bytes(found)
    assert found.decode() == GOLDEN.read_bytes().decode(), "if it is meant to: pytest tests/report --accept-golden"


def test_the_same_run_gives_the_same_bytes() -> None:
    done = reconciled("bayside").reconciliation
    assert dict(tables(done)) == dict(tables(done))
