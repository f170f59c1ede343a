"""The text of a row as it stands in its file: from inbox/, else from the ledger, and never from a withheld file."""

import gzip
import hashlib
import io
from pathlib import Path

import polars as pl
from builders import RouteBuilder, slot
from traced import reconciled
from xlsxwriter import Workbook

from recon.ledger.originals import keep
from recon.ledger.trace_originals import GONE, WITHHELD, Inbox, original_texts


def texts(inbox: Inbox, *places: tuple[int, int]) -> list[str]:
    asked = pl.DataFrame(list(places), schema={"file": pl.Int32, "row": pl.Int64}, orient="row")
    return original_texts(asked, inbox)["text"].to_list()


def every_text(route: RouteBuilder) -> dict[str, list[str]]:
    """The text of every used row, by file."""
    done, inbox = reconciled(route.root)
    frames = [done.frames[name].select("file", "row") for name in ("priced", "counts", "loads")]
    found = original_texts(pl.concat(frames), inbox)
    return {
        done.paths[file]: own["text"].to_list()
        for (file,), own in found.partition_by("file", as_dict=True, maintain_order=True).items()
    }


def test_a_row_is_shown_as_it_stands_in_its_file(route: RouteBuilder) -> None:
    head = "machine,time,label,tender,price,reference"
    lines = ['m-1,2026-09-03 12:00,A1,cash,"2.00",', "m-1,2026-09-03 13:00,A1, cash ,2.0,x"]
    route.file("inbox/vends.csv", "\r\n".join([head, *lines, ""]))
    assert every_text(route) == {"inbox/vends.csv": lines}


def test_a_cell_over_several_lines_is_shown_whole(route: RouteBuilder) -> None:
    text = 'machine;time;label;counted;note\nm-1;2026-09-03 12:00;A1;4;"one\ntwo"\nm-1;2026-09-04 12:00;A1;3;x\n'
    route.file("inbox/counts.csv", text)
    assert every_text(route) == {
        "inbox/counts.csv": ['m-1;2026-09-03 12:00;A1;4;"one\ntwo"', "m-1;2026-09-04 12:00;A1;3;x"]
    }


def test_a_packed_file_and_a_note_are_read_like_others(route: RouteBuilder) -> None:
    route.file("inbox/v.csv.gz", gzip.compress(b"machine,time,label,tender\nm-1,2026-09-03 12:00,A1,cash\n"))
    route.file("inbox/count.txt", "m-1 2026-09-03 09:00\nA1 4 +6\n")
    assert every_text(route) == {"inbox/count.txt": ["A1 4 +6"], "inbox/v.csv.gz": ["m-1,2026-09-03 12:00,A1,cash"]}


def test_sheets_of_a_workbook_are_inputs_of_their_own(route: RouteBuilder) -> None:
    data = io.BytesIO()
    with Workbook(data) as book:
        for name, units in (("Monday", 4), ("Friday", 9)):
            sheet = book.add_worksheet(name)
            sheet.write_row(0, 0, ["machine", "time", "label", "counted"])
            sheet.write_row(1, 0, ["m-1", f"2026-09-0{units} 12:00", "A1", units])
    route.file("inbox/book.xlsx", data.getvalue())
    assert every_text(route) == {
        "inbox/book.xlsx [Monday]": ["m-1,2026-09-04 12:00,A1,4"],
        "inbox/book.xlsx [Friday]": ["m-1,2026-09-09 12:00,A1,9"],
    }


def test_a_file_that_changed_since_is_shown_as_the_ledger_kept_it(route: RouteBuilder) -> None:
    route.vends("09-03 12:00, A1, cash, 2.00")
    done, inbox = reconciled(route.root)
    path = route.root / "inbox" / "vends.csv"
    was = path.read_bytes()
    path.write_bytes(was.replace(b"2.00", b"9.00"))
    assert texts(inbox, (0, 2)) == [GONE]
    assert keep(route.root, was) == done.frames["inputs"]["sha256"][0] == hashlib.sha256(was).hexdigest()
    assert texts(inbox, (0, 2)) == ["m-1,2026-09-03 12:00,A1,cash,2.00,,,"]
    path.unlink()
    assert texts(inbox, (0, 2)) == ["m-1,2026-09-03 12:00,A1,cash,2.00,,,"]


def test_nothing_of_a_file_with_a_card_number_is_shown_not_even_from_a_ledger(route: RouteBuilder) -> None:
    """4111 1111 1111 1111 is the test number that card schemes publish."""
    text = "machine,time,label,tender,card\nm-1,2026-09-03 12:00,A1,card,4111111111111111\n"
    route.file("inbox/v.csv", text)
    done, inbox = reconciled(route.root)
    assert "card-number-present" in done.frames["findings"]["kind"].to_list()
    keep(route.root, text.encode())
    assert texts(inbox, (0, 2)) == [WITHHELD]


def test_a_place_that_is_asked_twice_or_is_none_costs_nothing(tmp_path: Path) -> None:
    route = RouteBuilder(tmp_path).machine("m-1", slot("A1")).vends("09-03 12:00, A1, cash, 2.00")
    _, inbox = reconciled(route.root)
    assert texts(inbox, (0, 2), (0, 2), (0, 0)) == ["m-1,2026-09-03 12:00,A1,cash,2.00,,,"]
    assert texts(inbox) == []


def test_only_files_of_which_a_row_is_shown_are_opened(route: RouteBuilder) -> None:
    route.vends("09-03 12:00, A1, cash, 2.00", name="a.csv").vends("09-04 12:00, A1, cash, 2.00", name="b.csv")
    _, inbox = reconciled(route.root)
    (route.root / "inbox" / "b.csv").unlink()
    assert texts(inbox, (0, 2)) == ["m-1,2026-09-03 12:00,A1,cash,2.00,,,"]
