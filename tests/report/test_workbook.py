"""report.xlsx read back by two other libraries: types, formats, sums, hostile text, limits."""

import io
from collections.abc import Iterator
from datetime import datetime
from decimal import Decimal
from typing import Any

import fastexcel
import openpyxl
import polars as pl
import pytest
from builders import RouteBuilder, slot
from hostile_names import ENTITY, FORMULA, LONG, QUOTES, SCRIPT, TURNED
from report_routes import ROUTES, reconciled

import recon
from recon.report import workbook as made
from recon.report.cell_text import MOST_UNITS, cell_text
from recon.report.typed_tables import Table, typed_tables
from recon.report.workbook import workbook

TITLES = [
    "About this run", "Findings", "Stock windows", "Cash", "Payouts", "Machines", "Decisions", "Inputs",
    "Rejected rows", "Money per slot", "Load list",
]  # fmt: skip


def opened(data: bytes, *, values: bool = False) -> openpyxl.Workbook:
    return openpyxl.load_workbook(io.BytesIO(data), data_only=values)


def records(book: openpyxl.Workbook, title: str) -> list[dict[str, Any]]:
    """The rows of a sheet by its header, up to the blank row above the sums."""
    head, *rows = book[title].iter_rows(values_only=True)
    kept = []
    for row in rows:
        if all(cell is None for cell in row) or str(row[0]).startswith("the first "):
            break
        kept.append(dict(zip(head, row, strict=True)))
    return kept


def totals(book: openpyxl.Workbook, title: str) -> list[dict[str, Any]]:
    head, *rows = book[title].iter_rows(values_only=True)
    return [dict(zip(head, row, strict=True)) for row in rows if str(row[0]).startswith("total")]


def formulas(book: openpyxl.Workbook) -> Iterator[tuple[str, str, str]]:
    for sheet in book:
        for row in sheet.iter_rows():
            yield from ((sheet.title, cell.coordinate, cell.value) for cell in row if cell.data_type == "f")


def tables(run: recon.Run) -> dict[str, Table]:
    return {table.title: table for table in typed_tables(run.reconciliation)}


@pytest.mark.parametrize("name", ROUTES)
def test_one_sheet_a_table_with_frozen_header_filter_and_every_row(name: str) -> None:
    run = reconciled(name)
    book = opened(workbook(run.reconciliation))
    assert book.sheetnames == TITLES
    for title, table in tables(run).items():
        sheet = book[title]
        assert sheet.freeze_panes in ("B2", "C2")
        assert len(records(book, title)) == table.frame.height
        columns = [name for name in table.frame.columns if name != "digits"]
        assert [cell.value for cell in sheet[1]] == columns
        last = openpyxl.utils.get_column_letter(len(columns))
        assert sheet.auto_filter.ref == f"A1:{last}{table.frame.height + 1}"


@pytest.mark.parametrize("name", ROUTES)
def test_cells_have_the_type_of_their_column(name: str) -> None:
    """s text, n number, d moment, b truth; a blank cell is an empty one."""
    run = reconciled(name)
    book = opened(workbook(run.reconciliation))
    for title, table in tables(run).items():
        rows = list(book[title].iter_rows(min_row=2, max_row=table.frame.height + 1))
        for at, column in enumerate(name for name in table.frame.columns if name != "digits"):
            dtype = table.frame.schema[column]
            expected = "b" if dtype == pl.Boolean else "d" if dtype.is_temporal() else "n"
            if dtype in (pl.String, pl.List):
                expected = "s"
            for row, value in zip(rows, table.frame[column], strict=True):
                assert row[at].data_type == ("n" if value is None else expected), (title, column, row[at].value)
                assert (row[at].value is None) == (value is None)


def test_the_figures_are_those_of_the_results() -> None:
    run = reconciled("bayside")
    book = opened(workbook(run.reconciliation), values=True)
    stock, found = records(book, "Stock windows"), run.results.stock
    for row, window in zip(stock, found, strict=True):
        assert (row["machine"], row["label"], row["product"]) == (window.machine, window.label, window.product)
        for name in ("opening", "loaded", "removed", "vended", "expected", "counted", "variance", "variance_low"):
            assert row[name] == getattr(window, name)
            assert isinstance(row[name], int)
        assert same(row["retail_value"], window.retail_value)
        # The machine's own clock, without the offset that the results show.
        assert row["closed_at"] == window.closed_at.replace(tzinfo=None)
    for row, finding in zip(records(book, "Findings"), run.results.findings, strict=True):
        assert (row["id"], row["message"], row["bus"]) == (finding.id, finding.message, finding.bus)
        assert same(row["amount"], finding.amount)
    for row, machine in zip(records(book, "Machines"), run.results.machines, strict=True):
        assert same(row["margin"], machine.margin)
    assert [row["over_short"] for row in records(book, "Cash")] == [
        None if window.over_short is None else float(window.over_short) for window in run.results.cash
    ]
    assert [row["net"] for row in records(book, "Payouts")] == [float(paid.net) for paid in run.results.payouts]
    assert any(row["variance"] < 0 and row["retail_value"] < 0 for row in stock)


def same(cell: float | None, amount: Decimal | None) -> bool:
    return cell == (None if amount is None else float(amount))


def test_sums_have_their_value_and_are_those_of_the_results() -> None:
    run = reconciled("bayside")
    data = workbook(run.reconciliation)
    values, texts = opened(data, values=True), opened(data)
    (total,) = totals(values, "Stock windows")
    assert total["variance"] == sum(window.variance for window in run.results.stock)
    assert same(total["retail_value"], sum(window.retail_value or Decimal(0) for window in run.results.stock))
    assert total["expected"] is None, "a sum over what was in the slots at different times means nothing"
    (total,) = totals(values, "Machines")
    assert same(total["margin"], sum(machine.margin for machine in run.results.machines))
    (total,) = totals(values, "Money per slot")
    assert same(total["margin"], sum(machine.margin for machine in run.results.machines))
    (total,) = totals(values, "Inputs")
    assert total["rows"] == total["accepted"] + total["duplicate"] + total["rejected"]
    told = list(formulas(texts))
    assert {title for title, _, _ in told} == {
        "Stock windows", "Cash", "Payouts", "Machines", "Inputs", "Money per slot", "Load list",
    }  # fmt: skip
    for title, cell, formula in told:
        column = cell.rstrip("0123456789")
        assert formula == f"=SUBTOTAL(9,{column}2:{column}{len(records(values, title)) + 1})"


def test_money_stands_in_the_digits_of_its_machine_with_a_sum_a_currency() -> None:
    data = workbook(reconciled("foreign").reconciliation)
    book, values = opened(data), opened(data, values=True)
    sheet = book["Machines"]
    columns = [cell.value for cell in sheet[1]]
    formats = {row[0].value: row[columns.index("sales")].number_format for row in sheet.iter_rows(min_row=2, max_row=4)}
    assert formats == {
        "m-home": "#,##0.00;-#,##0.00",
        "m-kuwait": '#,##0.000 "KWD";-#,##0.000 "KWD"',
        "m-yen": '#,##0 "JPY";-#,##0 "JPY"',
    }
    assert {(row["machine"], row["sales"]) for row in records(values, "Machines")} == {
        ("m-home", 4), ("m-kuwait", 3), ("m-yen", 400),
    }  # fmt: skip
    sums = {row["machine"]: (row["currency"], row["sales"]) for row in totals(values, "Machines")}
    assert sums == {"total CAD": ("CAD", 4), "total JPY": ("JPY", 400), "total KWD": ("KWD", 3)}
    sales, code = (openpyxl.utils.get_column_letter(columns.index(name) + 1) for name in ("sales", "currency"))
    told = [formula for title, cell, formula in formulas(book) if title == "Machines" and cell.startswith(sales)]
    assert told == [f"=SUMIF(${code}$2:${code}$4,${code}{at},{sales}2:{sales}4)" for at in (6, 7, 8)]


def test_times_are_those_of_the_machines_clock() -> None:
    """23:30 in Tokyo and in Kuwait are moments apart, and the same on the two clocks."""
    book = opened(workbook(reconciled("foreign").reconciliation), values=True)
    closed = {row["machine"]: (row["closed_at"], row["zone"]) for row in records(book, "Stock windows")}
    assert closed["m-yen"] == (datetime(2026, 9, 8, 9), "Asia/Tokyo")
    assert closed["m-kuwait"] == (datetime(2026, 9, 8, 9), "Asia/Kuwait")


@pytest.mark.parametrize("name", ["hostile", "hostile-many"])
def test_hostile_names_stay_text(name: str) -> None:
    book = opened(workbook(reconciled(name).reconciliation))
    for title, _, formula in formulas(book):
        assert formula.startswith(("=SUBTOTAL(9,", "=SUMIF($")), title
    cells = {cell.value: cell for sheet in book for row in sheet.iter_rows() for cell in row if cell.data_type == "s"}
    for text in (FORMULA, f"{SCRIPT} {TURNED} {LONG}", "=4", "<b>2", "\u202eA5", QUOTES, ENTITY):
        assert text in cells
    assert cells["=4"].number_format == "@"
    assert all(not cell.hyperlink for sheet in book for row in sheet.iter_rows() for cell in row)


def test_text_that_a_cell_cannot_carry(tmp_path: Any) -> None:
    """Control characters, noncharacters, what the writing library takes for markup or reading ones for escapes."""
    assert cell_text("a\x00b\x1b\ufffe") == "a\ufffdb\ufffd\ufffd"
    route = RouteBuilder(tmp_path).machine("m-1", slot("A1"), site="<r><t>x</t></r>")
    route.vends("09-03 14:00, A1, cash, two\x01_x0041_, vended, \x1b[31m")
    book = opened(workbook(route.run().reconciliation))
    assert records(book, "Machines")[0]["site"].strip() == "<r><t>x</t></r>"
    (row,) = records(book, "Rejected rows")
    assert "\ufffd[31m" in row["text"]
    assert "\x1b" not in row["text"]
    names = fastexcel.read_excel(workbook(route.run().reconciliation))
    frame = names.load_sheet("Rejected rows").to_polars()
    assert "two\ufffd_x0041_" in frame["text"][0]


@pytest.mark.parametrize("mark", ["a", "\U0001f36b", "é"])
def test_long_text_is_cut_and_says_so(mark: str) -> None:
    text = cell_text(mark * 40_000, "; all of it elsewhere")
    assert len(text.encode("utf-16-le")) // 2 in (MOST_UNITS, MOST_UNITS - 1)
    assert text.endswith(" [cut: 40,000 characters in all; all of it elsewhere]")
    assert text.startswith(mark * 100)
    assert cell_text("a" * MOST_UNITS) == "a" * MOST_UNITS
    assert cell_text("\U0001f36b" * 16_383) == "\U0001f36b" * 16_383
    assert cell_text("\U0001f36b" * 16_384) != "\U0001f36b" * 16_384


def test_a_table_longer_than_a_sheet_says_where_it_is_whole(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(made, "SHEET_ROWS", 40)
    run = reconciled("bayside")
    book = opened(workbook(run.reconciliation))
    sheet = book["Stock windows"]
    assert sheet.max_row <= 40
    said = f"the first 37 of {len(run.results.stock)} rows; all of them: tables/stock.csv"
    assert sheet.cell(sheet.max_row, 1).value == said
    assert not [title for title, _, _ in formulas(book) if title == "Stock windows"], "a sum of a part would mislead"
    assert max(row.max_row for row in book) <= 40


def test_a_sum_of_nothing_known_is_left_out(tmp_path: Any) -> None:
    """Without products.csv no cost is known: a sum of 0.00 would say that the loss cost nothing."""
    route = RouteBuilder(tmp_path).machine("m-1", slot("A1")).counts("09-01 09:00, A1, 10", "09-08 09:00, A1, 8")
    (total,) = totals(opened(workbook(route.run().reconciliation), values=True), "Stock windows")
    assert (total["variance"], total["retail_value"], total["cost_value"]) == (-2, -4, None)


def test_a_figure_beyond_a_double_is_text() -> None:
    from recon.report.workbook import _LARGEST

    assert _LARGEST <= 2**53
    run = reconciled("bayside")
    frames = dict(run.frames)
    frames["stock"] = frames["stock"].with_columns(pl.lit(10**16 + 1, dtype=pl.Int64).alias("opening"))
    from dataclasses import replace

    book = opened(workbook(replace(run.reconciliation, frames=frames)))
    assert {row["opening"] for row in records(book, "Stock windows")} == {"10000000000000001"}


def test_another_reader_finds_the_same_types() -> None:
    sheet = fastexcel.read_excel(workbook(reconciled("bayside").reconciliation))
    assert sheet.sheet_names == TITLES
    height = reconciled("bayside").frames["stock"].height
    frame = sheet.load_sheet("Stock windows", n_rows=height).to_polars()
    assert frame.schema["label"] == pl.String
    assert frame.schema["closed_at"] == pl.Datetime("ms")
    assert frame.schema["variance"].is_numeric()
    assert frame["variance"].cast(pl.Int64).to_list() == reconciled("bayside").frames["stock"]["variance"].to_list()


def test_the_same_run_gives_the_same_bytes(monkeypatch: pytest.MonkeyPatch) -> None:
    first = workbook(reconciled("bayside").reconciliation)
    monkeypatch.setattr("time.time", lambda: 2e9)
    assert workbook(reconciled("bayside").reconciliation) == first
