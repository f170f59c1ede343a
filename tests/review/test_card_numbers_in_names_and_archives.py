"""No card number gets into the ledger by a name, a sheet, a layout or what is packed into an attachment."""

import gzip
import io
import zipfile
from pathlib import Path

import pytest
import xlsxwriter
from builders import NOW, RouteBuilder, kinds, only, slot

from recon.deciding import Asked, decide
from recon.ledger.journal import journal_path
from recon.model.errors import ReconError
from recon.recorded import run_and_record

PAN = "4111111111111111"
HEAD = "machine,time,label,counted\n"


def short(folder: Path) -> RouteBuilder:
    route = RouteBuilder(folder).machine("m-1", slot("A1"))
    return route.counts("09-01 09:00, A1, 10", "09-08 09:00, A1, 7").vends("09-03 12:00, A1, cash, 2.00")


def zipped(name: str, text: str) -> bytes:
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr(name, text)
    return held.getvalue()


def workbook(sheet: str) -> bytes:
    held = io.BytesIO()
    with xlsxwriter.Workbook(held) as book:
        page = book.add_worksheet(sheet)
        page.write_row(0, 0, ["machine", "time", "label", "counted"])
        page.write_row(1, 0, ["m-1", "2026-09-07 12:00", "A1", 4])
    return held.getvalue()


def kept(root: Path) -> bytes:
    """Everything below ledger/ and reports/ as it can be read, workbooks and archives unpacked by their size alone."""
    files = [path for folder in ("ledger", "reports") for path in (root / folder).rglob("*") if path.is_file()]
    return b"".join(path.read_bytes() for path in files)


@pytest.mark.parametrize(
    ("name", "data"),
    [
        (f"counts-{PAN}.csv", f"{HEAD}m-1,2026-09-07 12:00,A1,4\n".encode()),
        ("inner.zip", zipped(f"counts-{PAN}.csv", f"{HEAD}m-1,2026-09-07 12:00,A1,4\n")),
        ("book.xlsx", workbook(PAN)),
    ],
)
def test_a_file_with_a_card_number_in_a_name_stays_out(tmp_path: Path, name: str, data: bytes) -> None:
    route = short(tmp_path)
    (route.root / "inbox" / name).write_bytes(data)
    recorded = run_and_record(route.root, now=NOW)
    assert "card-number-present" in kinds(recorded.run)
    assert PAN.encode() not in kept(route.root)
    originals = {path.read_bytes() for path in (route.root / "ledger" / "originals").rglob("*") if path.is_file()}
    assert data not in originals


def test_a_layout_with_a_card_number_stops_the_run(tmp_path: Path) -> None:
    route = short(tmp_path)
    layout = route.root / "layouts" / "m-1.toml"
    layout.write_text(f"# paid with 4111 1111 1111 1111\n{layout.read_text()}")
    with pytest.raises(ReconError, match=r"layouts/m-1\.toml holds a full card number ending in 1111"):
        run_and_record(route.root, now=NOW)
    assert b"4111 1111" not in kept(route.root)


def test_numbers_of_slots_in_a_row_are_no_card_number(tmp_path: Path) -> None:
    route = short(tmp_path)
    layout = route.root / "layouts" / "m-1.toml"
    layout.write_text(f"# bottom tray: 41 11 11 11 11 11 11 11\n{layout.read_text()}")
    assert run_and_record(route.root, now=NOW).report.is_dir()


@pytest.mark.parametrize(
    "data",
    [
        zipped("note.txt", f"card {PAN}\n" * 20),
        zipped(f"{PAN}.txt", "nothing"),
        gzip.compress(f"card {PAN}\n".encode() * 20),
        zipped("deep.zip", zipped("note.txt", PAN).decode("latin-1")),
        f"card {PAN}".encode("utf-16"),
        workbook(PAN),
    ],
)
def test_an_attachment_is_looked_into(tmp_path: Path, data: bytes) -> None:
    route = short(tmp_path)
    finding = only(each for each in route.run().results.findings if each.kind == "stock-short")
    attachment = tmp_path / "letter"
    attachment.write_bytes(data)
    asked = Asked("accept", "Ann", "a letter", attachment=attachment)
    before = journal_path(route.root).is_file()
    with pytest.raises(ReconError):
        decide(route.root, finding.id, asked, now=NOW)
    assert not before
    assert PAN.encode() not in kept(route.root)


def test_an_attachment_without_one_is_kept(tmp_path: Path) -> None:
    route = short(tmp_path)
    finding = only(each for each in route.run().results.findings if each.kind == "stock-short")
    attachment = tmp_path / "letter.zip"
    attachment.write_bytes(zipped("letter.txt", "counted again"))
    made = decide(route.root, finding.id, Asked("accept", "Ann", "a letter", attachment=attachment), now=NOW)
    assert made.decided.body["attachment"]["name"] == "letter.zip"
