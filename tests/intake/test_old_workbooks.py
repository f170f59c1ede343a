"""Workbooks of before 2007 (.xls, BIFF8), made by a library that shares nothing with the reader: xlwt, from PyPI.

What xlwt was told to write is what has to come out: the outside oracle here.
"""

import io
from datetime import datetime
from pathlib import Path

import polars as pl
import xlwt
from inbox import rejects, taken

HEADER = ["machine", "time", "label", "counted", "note"]
_MOMENT = "yyyy-mm-dd hh:mm:ss"


def book(sheets: dict[str, list[list[object]]]) -> bytes:
    """A workbook of these sheets; moments become numbers in a format of dates, as a spreadsheet program keeps them."""
    workbook = xlwt.Workbook()
    moment = xlwt.easyxf(num_format_str=_MOMENT)
    for name, rows in sheets.items():
        sheet = workbook.add_sheet(name)
        for at, cells in enumerate(rows):
            for column, cell in enumerate(cells):
                if isinstance(cell, datetime):
                    sheet.write(at, column, cell, moment)
                elif cell is not None:
                    sheet.write(at, column, cell)
    out = io.BytesIO()
    workbook.save(out)
    data = out.getvalue()
    assert data.startswith(b"\xd0\xcf\x11\xe0")  # an OLE container: no zipped workbook under an old name
    return data


def test_numbers_moments_and_text_labels(tmp_path: Path) -> None:
    at = datetime(2026, 9, 14, 9, 30, 5)
    rows = [HEADER, ["m-1", at, 110, 4, "à côté"], ["m-1", at, "A4", 0, None], ["m-1", at, "112", 3.0, "x" * 300]]
    intake = taken(tmp_path, {"a.xls": book({"One": rows})})
    assert rejects(intake) == []
    read = intake.counts.select("row", "label", "counted", "note").rows()
    assert read == [(2, "110", 4, "à côté"), (3, "A4", 0, None), (4, "112", 3, "x" * 300)]
    local = intake.counts["time"].dt.convert_time_zone("America/Halifax").dt.replace_time_zone(None)
    assert set(local.to_list()) == {at}


def test_a_moment_as_a_bare_day_number(tmp_path: Path) -> None:
    """Pasted as values, a date is the days since 1899-12-30 (ECMA-376 part 1, 18.17.4.1, which .xls shares)."""
    rows = [HEADER, ["m-1", 46_279.5, "110", 4, None], ["m-1", 46_280.25, "110", 5, None]]
    intake = taken(tmp_path, {"a.xls": book({"One": rows})})
    local = intake.counts["time"].dt.convert_time_zone("America/Halifax").dt.replace_time_zone(None)
    assert local.to_list() == [datetime(2026, 9, 14, 12), datetime(2026, 9, 15, 6)]


def test_several_sheets_each_with_its_own_account(tmp_path: Path) -> None:
    at = datetime(2026, 9, 14, 9, 30)
    sheets: dict[str, list[list[object]]] = {
        "Week 38": [["Counts of the week"], [], HEADER, ["m-1", at, 110, 4, None]],
        "Notes": [["a", "b"], [1, 2]],
        "Week 39": [HEADER, ["m-1", at.replace(day=21), 110, "ten", None], ["Total", None, None, 14, None]],
    }
    intake = taken(tmp_path, {"a.xls": book(sheets)})
    assert intake.paths == ["inbox/a.xls [Week 38]", "inbox/a.xls [Week 39]"]
    assert intake.counts.select("file", "row").rows() == [(0, 4)]
    assert rejects(intake)[0][:2] == ("a.xls [Week 39]", 2)
    passed = intake.notices.filter(pl.col("kind") == "lines-passed-over").select("file", "row").rows()
    assert sorted(passed, key=str) == [(0, 1), (1, 3), (1, None)]


def test_prices_keep_their_digits(tmp_path: Path) -> None:
    """1.75 and 0.1 are floats in the file, and no cent may be lost over it."""
    header = ["machine", "time", "bus", "price", "tender", "reference"]
    prices = [1.75, 0.1, 2.3, 1.1, 4.35, 19.99]
    rows = [
        header, *(["m-1", datetime(2026, 9, 14, 9, minute), 272, price, "cash", f"r{minute}"]
        for minute, price in enumerate(prices)),
    ]  # fmt: skip
    intake = taken(tmp_path, {"a.xls": book({"One": rows})})
    assert rejects(intake) == []
    assert intake.vends["price"].to_list() == [175, 10, 230, 110, 435, 1999]
