"""The blank count sheet: what is on it, in which order, as CSV, workbook and page."""

import csv
import io
from datetime import datetime
from pathlib import Path

import fastexcel
import openpyxl
import pytest
from sheet_route import FORMULA, LONG, NOW, SCRIPT, TURNED, hostile, two_machines

from recon.intake.values import LARGEST_UNITS
from recon.model.errors import ReconError
from recon.report import sheet_html as page
from recon.report import sheet_xlsx as workbook
from recon.report.sheet import CountSheet, count_sheet, natural
from recon.report.sheet_csv import cash_csv, counts_csv
from recon.report.sheet_html import sheet_html
from recon.report.sheet_xlsx import sheet_xlsx
from recon.report.tamed import tamed
from recon.route.folder import read_route


def _sheet(root: Path, *machines: str, on: str | None = None, show_par: bool = False) -> CountSheet:
    day = None if on is None else datetime.fromisoformat(on)
    return count_sheet(read_route(root), machines, now=NOW, on=day, show_par=show_par)


def _labels(sheet: CountSheet) -> list[tuple[str, list[str]]]:
    return [(machine.machine, [slot.label for slot in machine.slots]) for machine in sheet.machines]


def test_slots_stand_tray_by_tray_and_by_number_within_a_tray(tmp_path: Path) -> None:
    two_machines(tmp_path)
    sheet = _sheet(tmp_path)
    assert _labels(sheet) == [("desk-9", ["A2", "A10"]), ("quay-2", ["2", "12", "110"])]
    assert [tray.name for tray in sheet.machines[1].trays] == ["top", "low"]


def test_machines_come_in_the_order_of_the_round(tmp_path: Path) -> None:
    two_machines(tmp_path)
    assert [name for name, _ in _labels(_sheet(tmp_path, "quay-2", "desk-9"))] == ["quay-2", "desk-9"]


def test_what_is_out_of_use_is_left_out_until_it_is_used(tmp_path: Path) -> None:
    two_machines(tmp_path)
    # 7 comes into use on the day at 09:30, and 2 changes: before that the person finds what stood there.
    sheet = _sheet(tmp_path, "quay-2", on="2026-09-30")
    assert _labels(sheet) == [("quay-2", ["2", "12", "7", "110"])]
    bar = "Oat bar, dark"
    assert [slot.product for slot in sheet.machines[0].slots] == ["Mint drops", bar, bar, "Iced tea"]
    after = _sheet(tmp_path, "quay-2", on="2026-10-01")
    assert [slot.product for slot in after.machines[0].slots] == ["Iced tea", bar, bar, "Iced tea"]
    assert _labels(_sheet(tmp_path, "quay-2", on="2026-05-31")) == [("quay-2", ["2", "12", "11", "110"])]


def test_a_machine_without_a_slot_in_use_is_named(tmp_path: Path) -> None:
    route = two_machines(tmp_path)
    route.machine("new-1", {"label": "1", "product": "tea"}, effective="2026-10-05T08:00:00")
    assert _sheet(tmp_path).left_out == (("new-1", "its layout holds from 2026-10-05 08:00 on"),)
    with pytest.raises(ReconError, match="nothing to count: new-1: its layout holds from 2026-10-05"):
        _sheet(tmp_path, "new-1")


def test_an_unknown_machine_is_named_with_the_nearest(tmp_path: Path) -> None:
    two_machines(tmp_path)
    with pytest.raises(ReconError, match=r'"quay2" is no machine .* Did you mean "quay-2"'):
        _sheet(tmp_path, "quay2")


def test_the_sheet_is_blind(tmp_path: Path) -> None:
    """Neither stock nor par nor capacity nor price, unless par is asked for."""
    two_machines(tmp_path)
    blind, open_ = _sheet(tmp_path, "quay-2"), _sheet(tmp_path, "quay-2", show_par=True)
    assert ",par," not in counts_csv(blind)
    assert ">Par<" not in sheet_html(blind)
    assert ">Par<" in sheet_html(open_)
    assert "2.00" not in sheet_html(blind)
    rows = list(csv.DictReader(io.StringIO(counts_csv(open_))))
    assert [row["par"] for row in rows] == ["50", "8", "50"]
    assert all(row["counted"] == "" for row in rows)


def test_natural_order() -> None:
    labels = ["A10", "A2", "10", "9", "B1", "1E2", "a3", "07"]
    assert sorted(labels, key=natural) == ["1E2", "07", "9", "10", "A2", "a3", "A10", "B1"]


def test_the_same_sheet_gives_the_same_bytes(tmp_path: Path) -> None:
    two_machines(tmp_path)
    one, two = _sheet(tmp_path), _sheet(tmp_path)
    assert (sheet_xlsx(one), sheet_html(one), counts_csv(one)) == (sheet_xlsx(two), sheet_html(two), counts_csv(two))
    assert one.id != _sheet(tmp_path, on="2026-09-30").id


def test_bounds_are_those_of_the_intake() -> None:
    assert page.LARGEST_UNITS == workbook.LARGEST_UNITS == LARGEST_UNITS


@pytest.mark.parametrize("sign", ["=", "+", "-", "@", "\t", "\r", "\n", "\x00", "＝", "＋", "－", "＠"])
def test_what_a_spreadsheet_could_run_gets_an_apostrophe(sign: str) -> None:
    """The list of leading characters: OWASP, CSV injection."""
    assert tamed(f"{sign}1") == f"'{sign}1"
    assert tamed(f"'{sign}1") == f"''{sign}1"
    assert tamed(f"a{sign}1") == f"a{sign}1"


def test_hostile_names_are_text_in_the_csv(tmp_path: Path) -> None:
    hostile(tmp_path)
    text = counts_csv(_sheet(tmp_path))
    rows = list(csv.DictReader(io.StringIO(text)))
    seen = TURNED.replace("\u202e", "\\u202e").replace("\u202c", "\\u202c")
    assert [row["product"] for row in rows] == [SCRIPT, f"'{FORMULA}", seen, LONG, "unnamed"]
    assert [row["tray"] for row in rows] == [SCRIPT, SCRIPT, "'=2+5", "'=2+5", "'=2+5"]
    assert rows[4]["label"] == "'=cmd()"


def test_hostile_names_are_text_in_the_workbook(tmp_path: Path) -> None:
    hostile(tmp_path)
    data = sheet_xlsx(_sheet(tmp_path))
    book = openpyxl.load_workbook(io.BytesIO(data))
    cells = {cell.coordinate: cell for row in book["Counts"].iter_rows() for cell in row}
    formulas = [cell.value for cell in cells.values() if cell.data_type == "f"]
    assert all(str(formula).startswith(("=IF(H", "=IF(I")) for formula in formulas), formulas
    assert len(formulas) == 2 * 4
    assert [cells[f"D{row}"].value for row in (2, 3, 5)] == [SCRIPT, FORMULA, LONG]
    assert {cells[f"D{row}"].data_type for row in range(2, 7)} == {"s"}
    assert (cells["C6"].value, cells["C6"].data_type) == ("=cmd()", "s")
    assert not any(cell.hyperlink for cell in cells.values())


def test_the_workbook_is_read_by_another_library(tmp_path: Path) -> None:
    two_machines(tmp_path)
    data = sheet_xlsx(_sheet(tmp_path))
    book = fastexcel.read_excel(data)
    assert book.sheet_names == ["Counts", "Cash", "Read me"]
    shown = openpyxl.load_workbook(io.BytesIO(data))
    assert shown["Counts"].freeze_panes == "D2"
    assert shown["Counts"].auto_filter.ref == "A1:J6"
    assert [rule.type for rule in shown["Counts"].data_validations.dataValidation] == ["whole", "date"]
    assert shown["Cash"]["C2"].number_format == "0"
    assert shown["Cash"]["C3"].number_format == "0.00"
    assert shown.properties.created == NOW.replace(tzinfo=None)


def test_cash_has_a_line_a_machine(tmp_path: Path) -> None:
    two_machines(tmp_path)
    assert cash_csv(_sheet(tmp_path)).split("\r\n") == [
        "machine,time,notes,coins,total,tubes,note", "desk-9,,,,,,", "quay-2,,,,,,", "",
    ]  # fmt: skip


def test_cautions_and_the_meaning_of_blank_are_on_every_page(tmp_path: Path) -> None:
    two_machines(tmp_path)
    sheet = _sheet(tmp_path)
    book = openpyxl.load_workbook(io.BytesIO(sheet_xlsx(sheet)))
    read_me = " ".join(str(cell.value) for row in book["Read me"].iter_rows() for cell in row if cell.value)
    for text in (sheet_html(sheet), read_me):
        for words in ("mains", "Never tip", "Two people", "Blank = not counted. 0 = counted, and empty."):
            assert words in text
        assert "before you load" in text
    two_machines(tmp_path).settings(timezone="America/Halifax", stock={"count_when": "after-load"})
    assert "after you load" in sheet_html(_sheet(tmp_path))
