"""A drafted sheet, filled in with a spreadsheet, goes into the inbox as it is: a CSV, and a workbook by openpyxl."""

import csv
import io
import re
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from builders import RouteBuilder, kinds, of_kind, only, slot

from recon.intake.take_in import Intake, take_in
from recon.report.sheet import count_sheet
from recon.report.sheet_csv import BOM, CASH_COLUMNS, cash_csv, count_columns, counts_csv
from recon.report.sheet_xlsx import sheet_xlsx
from recon.route.folder import read_route

NOW = datetime(2026, 12, 1, 12, tzinfo=UTC)
VISITED = datetime(2026, 9, 28, 7, 30)
ODD_NOTES = ["=1+1", "'=1+1", "-2 stale", "+3", "@home", 'said "cold", twice', "plain; or not", "'tis cold", "＝2"]


@pytest.fixture
def round_of_two(tmp_path: Path) -> RouteBuilder:
    """m-1 and m-2 in Halifax, three slots each; m-3 stays unvisited. One label is a formula to a spreadsheet."""
    route = RouteBuilder(tmp_path).settings(timezone="America/Halifax")
    for machine in ("m-1", "m-2", "m-3"):
        route.machine(machine, slot("1"), slot("2"), slot("=9"))
    return route


def _taken(route: RouteBuilder) -> Intake:
    return take_in(read_route(route.root), now=NOW)


def _counted(intake: Intake) -> list[tuple[object, ...]]:
    return intake.counts.select("machine", "label", "counted", "loaded", "removed").rows()


def _fill_csv(text: str, fill: dict[tuple[str, str], dict[str, str]]) -> str:
    """The rows of (machine, label) filled in, as a spreadsheet saves them."""
    rows = list(csv.DictReader(io.StringIO(text)))
    out = io.StringIO()
    writer = csv.DictWriter(out, list(rows[0]))
    writer.writeheader()
    for row in rows:
        writer.writerow(row | fill.get((row["machine"], row.get("label", "")), {}))
    return out.getvalue()


def test_a_csv_filled_in_is_taken_in(round_of_two: RouteBuilder) -> None:
    sheet = count_sheet(read_route(round_of_two.root), (), now=NOW)
    visit = {"time": "2026-09-28 07:30", "counter": "JB"}
    fill = {
        ("m-1", "1"): {"counted": "4", "loaded": "6", "removed": "1", "note": "=SUM(A1)", **visit},
        ("m-1", "2"): {"counted": "0", **visit},
        ("m-1", "'=9"): visit,
        ("m-2", "2"): {"counted": "12", "time": "2026-09-28 08:10"},
    }
    round_of_two.file("inbox/counts.csv", BOM + _fill_csv(counts_csv(sheet), fill))
    cash = {("m-1", ""): {"time": "2026-09-28 07:40", "notes": "40.00", "coins": "11.50", "tubes": "25.00"}}
    round_of_two.file("inbox/cash.csv", _fill_csv(cash_csv(sheet), cash))
    intake = _taken(round_of_two)
    assert intake.rejects.height == 0, intake.rejects["reason"].to_list()
    assert _counted(intake) == [
        ("m-1", "1", 4, 6, 1), ("m-1", "2", 0, 0, 0), ("m-1", "=9", None, 0, 0), ("m-2", "2", 12, 0, 0),
    ]  # fmt: skip
    assert intake.counts["time"][0] == datetime(2026, 9, 28, 10, 30, tzinfo=UTC)  # 07:30 in Halifax
    assert intake.counts["note"][0] == "=SUM(A1)"
    assert intake.cash.select("machine", "collected", "tubes").rows() == [("m-1", 5150, 2500)]


def test_what_was_not_filled_in_is_passed_over_and_told(round_of_two: RouteBuilder) -> None:
    """Five of nine lines and two of three: nobody was there. They are no rows, and they are not rejected."""
    sheet = count_sheet(read_route(round_of_two.root), (), now=NOW)
    visit = {"time": "2026-09-28 07:30"}
    fill = {("m-1", label): {"counted": "4", **visit} for label in ("1", "2")} | {
        ("m-2", "1"): {"counted": "4", **visit}, ("m-2", "2"): {"loaded": "4", **visit},
    }  # fmt: skip
    round_of_two.file("inbox/counts.csv", _fill_csv(counts_csv(sheet), fill))
    run = round_of_two.run()
    told = only(run.results.inputs)
    assert (told.rows, told.accepted, told.rejected) == (4, 4, 0)
    assert "5 lines are no rows" in only(of_kind(run, "lines-passed-over")).message


def test_a_line_with_a_figure_and_no_time_is_still_refused(round_of_two: RouteBuilder) -> None:
    sheet = count_sheet(read_route(round_of_two.root), (), now=NOW)
    fill = {("m-1", "1"): {"counted": "4", "time": "2026-09-28 07:30"}, ("m-1", "2"): {"counted": "3"}}
    round_of_two.file("inbox/counts.csv", _fill_csv(counts_csv(sheet), fill))
    intake = _taken(round_of_two)
    assert intake.rejects["reason"].to_list() == ["no time"]


@pytest.mark.parametrize("file", ["counts", "cash"])
def test_a_sheet_that_nobody_filled_in_holds_no_rows(round_of_two: RouteBuilder, file: str) -> None:
    sheet = count_sheet(read_route(round_of_two.root), (), now=NOW)
    round_of_two.file("inbox/blank.csv", counts_csv(sheet) if file == "counts" else cash_csv(sheet))
    run = round_of_two.run()
    assert only(run.results.inputs).rows == 0
    assert kinds(run) == {"no-rows", "lines-passed-over"}


@pytest.mark.parametrize("note", ODD_NOTES)
def test_any_note_is_read_back_as_it_was_typed(round_of_two: RouteBuilder, note: str) -> None:
    """The page writes what a spreadsheet could run behind an apostrophe, as recon.report.tamed does."""
    from recon.report.tamed import tamed

    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(["machine", "time", "label", "counted", "loaded", "removed", "counter", "note"])
    writer.writerow(["m-1", "2026-09-28 07:30", "1", "4", "", "", tamed(note), tamed(note)])
    round_of_two.file("inbox/counts.csv", out.getvalue())
    intake = _taken(round_of_two)
    assert intake.counts.select("counter", "note").rows() == [(note, note)]


def _worked_out(sheet: Any) -> None:
    """Every formula of ours replaced by what a spreadsheet program works out for it: the cell above, or nothing."""
    for row in sheet.iter_rows(min_row=2):
        for cell in row:
            if cell.data_type == "f":
                above = re.fullmatch(r'=IF\(([A-Z]+\d+)="","",\1\)', cell.value)
                assert above, cell.value
                value = sheet[above[1]].value
                cell.value = "" if value is None else value


def _book(data: bytes) -> Any:
    return openpyxl.load_workbook(io.BytesIO(data))


def _saved(book: Any) -> bytes:
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def test_a_workbook_filled_in_is_taken_in(round_of_two: RouteBuilder) -> None:
    """Time and counter are typed once a machine."""
    sheet = count_sheet(read_route(round_of_two.root), (), now=NOW)
    column = {name: at for at, name in enumerate(count_columns(sheet), start=1)}
    book = _book(sheet_xlsx(sheet))
    counts, cash = book["Counts"], book["Cash"]
    typed: dict[int, dict[str, Any]] = {
        2: {"counted": 4, "loaded": 6, "time": VISITED, "counter": "JB", "note": "=SUM(A1)"},
        3: {"counted": 0},
        5: {"time": datetime(2026, 9, 28, 8, 10)},
        6: {"counted": 7},
    }
    for row, cells in typed.items():
        for name, value in cells.items():
            cell = counts.cell(row, column[name], value)
            cell.data_type = "s" if isinstance(value, str) else cell.data_type
    _worked_out(counts)
    for name, value in {"time": VISITED, "notes": 40, "coins": 11.5, "tubes": 25.25}.items():
        cash.cell(2, CASH_COLUMNS.index(name) + 1, value)
    round_of_two.file("inbox/round.xlsx", _saved(book))
    intake = _taken(round_of_two)
    assert intake.rejects.height == 0, intake.rejects.select("reason", "text").rows()
    assert _counted(intake) == [
        ("m-1", "1", 4, 6, 0), ("m-1", "2", 0, 0, 0), ("m-1", "=9", None, 0, 0),
        ("m-2", "1", None, 0, 0), ("m-2", "2", 7, 0, 0), ("m-2", "=9", None, 0, 0),
    ]  # fmt: skip
    first, second = datetime(2026, 9, 28, 10, 30, tzinfo=UTC), datetime(2026, 9, 28, 11, 10, tzinfo=UTC)
    assert intake.counts["time"].to_list() == [first] * 3 + [second] * 3
    assert intake.counts["counter"].to_list() == ["JB"] * 3 + [None] * 3
    assert intake.counts["note"][0] == "=SUM(A1)"
    assert intake.cash.select("machine", "collected", "tubes").rows() == [("m-1", 5150, 2525)]


def test_a_blank_workbook_holds_no_rows(round_of_two: RouteBuilder) -> None:
    """As it was drafted, formulas and all, read by the library that intake reads with."""
    sheet = count_sheet(read_route(round_of_two.root), (), now=NOW)
    round_of_two.file("inbox/round.xlsx", sheet_xlsx(sheet))
    run = round_of_two.run()
    assert {(each.file, each.rows) for each in run.results.inputs} == {
        ("inbox/round.xlsx [Counts]", 0), ("inbox/round.xlsx [Cash]", 0),
    }  # fmt: skip
    assert kinds(run) == {"no-rows", "lines-passed-over"}
