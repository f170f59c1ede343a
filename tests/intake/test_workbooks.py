"""Workbooks made here (.xlsx by XlsxWriter, .ods as a minimal zip by hand): cells as text, rows as the program numbers
them."""

import io
import zipfile
from datetime import date, datetime, time
from pathlib import Path

import polars as pl
import pytest
import xlsxwriter
from inbox import rejects, taken

from recon.intake.dialect import nothing_sought
from recon.intake.encoding import UnreadableFile
from recon.intake.table import ROW
from recon.intake.workbook import read_sheets, table_of_sheet
from recon.model.source import TableShape

HEADER = ["machine", "time", "label", "counted"]
Cell = object


def book(sheets: dict[str, dict[int, list[Cell]]], *, hidden: tuple[int, ...] = ()) -> bytes:
    """A workbook: by sheet, by row (as the program numbers it), the cells."""
    out = io.BytesIO()
    workbook = xlsxwriter.Workbook(out, {"in_memory": True, "strings_to_numbers": False})
    moment = workbook.add_format({"num_format": "dd.mm.yyyy hh:mm"})
    clock = workbook.add_format({"num_format": "hh:mm"})
    for name, rows in sheets.items():
        sheet = workbook.add_worksheet(name)
        for row, cells in rows.items():
            for column, cell in enumerate(cells):
                if isinstance(cell, time):
                    sheet.write_datetime(row - 1, column, cell, clock)
                elif isinstance(cell, date):
                    sheet.write_datetime(row - 1, column, cell, moment)
                elif isinstance(cell, str) and cell.startswith("="):
                    sheet.write_formula(row - 1, column, cell, None, 7)
                elif cell is not None:
                    sheet.write(row - 1, column, cell)
        for row in hidden:
            sheet.set_row(row - 1, None, None, {"hidden": True})
    workbook.close()
    return out.getvalue()


def ods(rows: list[list[str]]) -> bytes:
    """A minimal OpenDocument spreadsheet of text cells."""
    body = "".join(
        "<table:table-row>"
        + "".join(
            f'<table:table-cell office:value-type="string"><text:p>{cell}</text:p></table:table-cell>' for cell in row
        )
        + "</table:table-row>"
        for row in rows
    )
    kind = "application/vnd.oasis.opendocument.spreadsheet"
    spaces = " ".join(
        f'xmlns:{name}="urn:oasis:names:tc:opendocument:xmlns:{name}:1.0"'
        for name in ("office", "table", "text", "manifest")
    )
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr("mimetype", kind)
        archive.writestr(
            "META-INF/manifest.xml",
            f'<manifest:manifest {spaces}><manifest:file-entry manifest:full-path="/" manifest:media-type="{kind}"/>'
            "</manifest:manifest>",
        )
        archive.writestr(
            "content.xml",
            f"<office:document-content {spaces}><office:body><office:spreadsheet>"
            f'<table:table table:name="Counts">{body}'
            "</table:table></office:spreadsheet></office:body></office:document-content>",
        )
    return out.getvalue()


def counts(day: int, units: Cell = 4, label: Cell = 110) -> list[Cell]:
    return ["m-1", datetime(2026, 9, day, 9, 30), label, units]


def test_cells_are_texts_as_a_person_reads_them() -> None:
    cells: list[Cell] = [
        "007",
        110,
        1.75,
        datetime(2026, 9, 14, 9, 30),
        date(2026, 9, 14),
        time(9, 30),
        "=1+6",
        True,
        "a\nb",
        None,
    ]
    [sheet] = read_sheets(book({"One": {1: [f"h{at}" for at in range(len(cells))], 2: cells}}))
    table = table_of_sheet(sheet, nothing_sought, TableShape())
    assert table.frame.drop(ROW).row(0) == (
        "007", "110", "1.75", "2026-09-14 09:30:00", "2026-09-14 00:00:00", "09:30:00", "7", "true", "a\nb", None,
    )  # fmt: skip


def test_rows_are_numbered_as_the_program_does(tmp_path: Path) -> None:
    data = book(
        {"One": {3: ["Counts of the week"], 5: HEADER, 6: counts(14), 8: counts(15), 9: counts(16, "ten")}}, hidden=(6,)
    )
    intake = taken(tmp_path, {"a.xlsx": data})
    assert intake.counts.select("row", "label", "counted").rows() == [(6, "110", 4), (8, "110", 4)]
    assert rejects(intake)[0][:2] == ("a.xlsx", 9)
    assert rejects(intake)[0][3] == "m-1,2026-09-16 09:30:00,110,ten"
    passed = intake.notices.filter(pl.col("kind") == "lines-passed-over")
    assert passed.select("row", "detail").rows() == [(3, "Counts of the week")]


def test_totals_and_notes_of_a_sheet_are_passed_over(tmp_path: Path) -> None:
    rows = {1: HEADER, 2: counts(14), 3: HEADER, 4: counts(15), 5: ["Total", None, None, 8], 7: ["checked"]}
    intake = taken(tmp_path, {"a.xlsx": book({"One": rows})})
    assert intake.counts["row"].to_list() == [2, 4]
    assert intake.notices["row"].to_list() == [3, 5, 7]
    assert rejects(intake) == []


def test_every_sheet_that_fits_is_read_and_the_others_are_told(tmp_path: Path) -> None:
    data = book(
        {
            "Week 38": {1: HEADER, 2: counts(14)},
            "Notes": {1: ["a", "b"], 2: [1, 2]},
            "Week 39": {1: HEADER, 2: counts(21, "x")},
        }
    )
    intake = taken(tmp_path, {"a.xlsx": data})
    assert intake.paths == ["inbox/a.xlsx [Week 38]", "inbox/a.xlsx [Week 39]"]
    assert intake.counts.select("file", "row").rows() == [(0, 2)]
    assert rejects(intake)[0][:2] == ("a.xlsx [Week 39]", 2)
    assert intake.notices["detail"].to_list() == ['sheet "Notes" (1 rows)']


def test_the_description_may_name_the_sheet_and_the_header_row(tmp_path: Path) -> None:
    source = 'kind = "counts"\nfiles = ["*.xlsx"]\n[table]\nsheet = "Week 39"\nheader_line = 2\n'
    data = book({"Week 38": {1: HEADER, 2: counts(14)}, "Week 39": {1: HEADER, 2: HEADER, 3: counts(21)}})
    intake = taken(tmp_path, {"sources/s.toml": source, "a.xlsx": data})
    assert intake.paths == ["inbox/a.xlsx"]
    assert intake.counts.select("row", pl.col("time").dt.day()).rows() == [(3, 21)]
    other = taken(tmp_path / "2", {"sources/s.toml": source.replace("39", "40"), "a.xlsx": data})
    [(kind, detail)] = other.notices.select("kind", "detail").rows()
    assert kind == "unknown-format"
    assert "sources/s.toml:4" in detail
    assert "Week 38, Week 39" in detail


def test_sheets_of_which_none_fits_are_each_told(tmp_path: Path) -> None:
    data = book({"A": {1: ["x", "y"], 2: [1, 2]}, "B": {1: ["z", "w"], 2: [1, 2], 3: [3, 4]}})
    intake = taken(tmp_path, {"a.xlsx": data})
    assert intake.inputs.select("path", "rows", "rejected").rows() == [
        ("inbox/a.xlsx [A]", 1, 1),
        ("inbox/a.xlsx [B]", 2, 2),
    ]
    assert intake.notices["kind"].to_list() == ["unknown-format"] * 2


def test_a_sheet_of_open_document(tmp_path: Path) -> None:
    intake = taken(tmp_path, {"a.ods": ods([["Title"], HEADER, ["m-1", "2026-09-14 09:30", "110", "4"]])})
    assert intake.counts.select("row", "label", "counted").rows() == [(3, "110", 4)]


@pytest.mark.parametrize(
    ("data", "found"),
    [
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 600, "damaged"),
        (
            b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 600 + "EncryptedPackage".encode("utf-16-le"),
            "locked with a password",
        ),
        (book({"One": {}}), "empty"),
    ],
)
def test_a_workbook_that_cannot_be_read_is_told_in_plain_words(data: bytes, found: str) -> None:
    with pytest.raises(UnreadableFile, match=found):
        read_sheets(data)


@pytest.mark.parametrize("cut", [400, 900, 2000])
def test_a_workbook_that_ends_too_early_is_no_traceback(cut: int, tmp_path: Path) -> None:
    data = book({"One": {1: HEADER, 2: counts(14)}})
    intake = taken(tmp_path, {"a.xlsx": data[:cut], "b.csv": ",".join(HEADER) + "\nm-1,2026-09-14 09:00,110,4\n"})
    assert intake.notices["kind"].to_list() == ["unreadable-file"]
    assert intake.counts.height == 1


def test_a_card_number_on_any_sheet_keeps_the_workbook_out(tmp_path: Path) -> None:
    """A published test number, from memory: once as a number, once in a title, once on a sheet that is none of ours."""
    for at, odd in enumerate([
        {"One": {1: [*HEADER, "card"], 2: [*counts(14), 4111111111111111]}},
        {"One": {1: ["card 4111 1111 1111 1111"], 2: HEADER, 3: counts(14)}},
        {"One": {1: HEADER, 2: counts(14)}, "Other": {1: ["x", "card"], 2: [1, "4111111111111111"]}},
    ]):  # fmt: skip
        intake = taken(tmp_path / str(at), {"a.xlsx": book(odd)})
        assert "card-number-present" in intake.notices["kind"].to_list()
        assert intake.counts.height == 0
        assert set(intake.rejects["text"].to_list()) == {"(withheld)"}


def test_the_reader_of_workbooks_is_loaded_for_workbooks_alone() -> None:
    import subprocess
    import sys

    code = "import sys, recon.intake.take_in; print('fastexcel' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout == "False\n"
