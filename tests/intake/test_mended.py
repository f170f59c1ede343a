"""rejects.csv, mended in place and dropped into the inbox: its rows count once, and both accounts hold."""

from datetime import UTC, datetime
from pathlib import Path

import polars as pl
from inbox import NOW, rejects, taken, write

from recon.intake.take_in import Intake
from recon.reconcile import run
from recon.report.rejects_csv import rejects_csv

HEADER = "machine,time,bus,price,tender\n"
SALES = (
    HEADER + "m-1,2026-09-14 09:00,272,1.75,cash\nm-1,2026-09-14 09:00,272,1.75,shells\nm-1,2026-09-13,272,1.75,card\n"
)


def told(root: Path) -> str:
    """rejects.csv as a run of the route folder writes it."""
    return rejects_csv(run(root, now=NOW).reconciliation)


def account(intake: Intake) -> dict[str, tuple[int, ...]]:
    return {
        row[0].removeprefix("inbox/"): row[1:]
        for row in intake.inputs.select("path", "rows", "accepted", "duplicate", "rejected").rows()
    }


def test_mended_rows_count_and_their_originals_stay_rejected(tmp_path: Path) -> None:
    text = told(write(tmp_path, {"sales.csv": SALES}))
    mended = text.replace("shells", "cash").replace("2026-09-13,272", "2026-09-13 10:00,272")
    intake = taken(tmp_path, {"a-mended.csv": mended})
    assert account(intake) == {"sales.csv": (3, 1, 0, 2), "a-mended.csv": (2, 2, 0, 0)}
    # The first is the twin of a row that was fine: in one file both are vends, and so they are here.
    assert intake.vends.select("file", "row", pl.col("tender").cast(pl.String)).rows() == [
        (0, 2, "cash"),
        (0, 3, "card"),
        (1, 2, "cash"),
    ]
    assert [reason.split("; mended in ")[1] for _, _, reason, _ in rejects(intake)] == [
        "inbox/a-mended.csv:2",
        "inbox/a-mended.csv:3",
    ]
    findings = run(tmp_path, now=NOW).reconciliation.frames["findings"]
    assert "rejected-row" not in findings["kind"].to_list()
    [message] = findings.filter(pl.col("kind") == "row-mended")["message"].to_list()
    assert "2 rows" in message
    assert "inbox/a-mended.csv" in message


def test_a_line_that_is_not_mended_is_rejected_again_and_says_so(tmp_path: Path) -> None:
    text = told(write(tmp_path, {"sales.csv": SALES}))
    intake = taken(tmp_path, {"mended.csv": text.replace("shells", "cash")})
    assert account(intake) == {"sales.csv": (3, 1, 0, 2), "mended.csv": (2, 1, 0, 1)}
    [reason] = [reason for file, _, reason, _ in rejects(intake) if file == "mended.csv"]
    assert "not mended" in reason
    assert "inbox/sales.csv:4" in reason


def test_a_line_mended_wrongly_is_rejected_with_what_is_wrong_now(tmp_path: Path) -> None:
    text = told(write(tmp_path, {"sales.csv": SALES}))
    intake = taken(
        tmp_path,
        {"mended.csv": text.replace("shells", "pearls").replace("2026-09-13,272,1.75,card", "2026-09-13 10:00,272")},
    )
    told_here = [(row, reason) for file, row, reason, _ in rejects(intake) if file == "mended.csv"]
    assert [row for row, _ in told_here] == [2, 3]
    assert "pearls" in told_here[0][1]
    assert "3 fields" in told_here[1][1]


def test_a_row_that_is_mended_in_its_file_too_counts_once(tmp_path: Path) -> None:
    text = told(write(tmp_path, {"sales.csv": SALES}))
    mended = text.replace("shells", "cash").replace("2026-09-13,272", "2026-09-13 10:00,272")
    intake = taken(tmp_path, {"mended.csv": mended, "sales.csv": SALES.replace("shells", "cash")})
    assert account(intake) == {"sales.csv": (3, 2, 0, 1), "mended.csv": (2, 1, 0, 1)}
    assert "can be used as it stands" in rejects(intake)[0][2]


def test_two_mended_files_of_one_row_count_once(tmp_path: Path) -> None:
    text = told(write(tmp_path, {"sales.csv": SALES})).replace("shells", "cash")
    intake = taken(tmp_path, {"m1.csv": text, "m2.csv": text.replace("cash", "card")})
    assert intake.vends.height == 2
    assert any("mended in another line already" in reason for _, _, reason, _ in rejects(intake))


def test_the_apostrophe_before_a_formula_is_taken_off_and_semicolons_are_kept(tmp_path: Path) -> None:
    data = HEADER.replace(",", ";") + "m-1;2026-09-14 09:00;272;1,75;cash\n=m-1;2026-09-14 09:30;272;1,75;cash\n"
    source = 'kind = "vends"\nfiles = ["s*.csv"]\n[machines]\n"=m-1" = "m-1"\n'
    root = write(tmp_path, {"sales.csv": data.replace("09:30", "half")})
    text = told(root)
    assert "'=m-1" in text
    intake = taken(root, {"mended.csv": text.replace("half", "09:30"), "sources/s.toml": source})
    assert account(intake) == {"mended.csv": (1, 1, 0, 0), "sales.csv": (2, 1, 0, 1)}


def test_few_mended_days_are_read_like_the_column_they_came_from(tmp_path: Path) -> None:
    """03/04/2026 alone could be March or April; its file has settled that."""
    data = HEADER + "m-1,25/04/2026 09:00,272,1.75,cash\nm-1,03/04/2026 09:00,272,1.75,shells\n"
    text = told(write(tmp_path, {"sales.csv": data}))
    intake = taken(tmp_path, {"mended.csv": text.replace("shells", "cash")})
    assert datetime(2026, 4, 3, 12, tzinfo=UTC) in intake.vends["time"].to_list()


def test_the_format_of_a_file_that_is_gone_is_that_of_its_description(tmp_path: Path) -> None:
    source = 'kind = "vends"\nfiles = ["s*.csv"]\n'
    text = told(
        write(
            tmp_path,
            {"s1.csv": SALES, "sources/s.toml": source, "s2.csv": HEADER + "m-1,2026-09-20 09:00,272,1.75,cash\n"},
        )
    )
    (tmp_path / "inbox/s1.csv").unlink()
    intake = taken(tmp_path, {"mended.csv": text.replace("shells", "cash")})
    assert account(intake)["mended.csv"] == (2, 1, 0, 1)
    (tmp_path / "inbox/s2.csv").unlink()
    alone = taken(tmp_path, {})
    assert account(alone)["mended.csv"] == (2, 0, 0, 2)
    assert all("put it back" in reason for _, _, reason, _ in rejects(alone))


def test_lines_of_several_files_and_kinds_in_one(tmp_path: Path) -> None:
    counts = "machine,time,label,counted\nm-1,2026-09-14 08:00,110,ten\n"
    text = told(write(tmp_path, {"sales.csv": SALES, "counts.csv": counts}))
    intake = taken(tmp_path, {"mended.csv": text.replace("shells", "cash").replace(',ten"', ',10"')})
    assert (intake.counts.height, intake.vends.height) == (1, 2)
    assert account(intake)["mended.csv"] == (3, 2, 0, 1)


def test_lines_that_say_nothing_usable_are_rejected(tmp_path: Path) -> None:
    mended = (
        "file,row,reason,text\ninbox/sales.csv,x,y,z\n,3,y,z\ninbox/sales.csv,99,y,m-1\ninbox/gone.csv,2,y,z\ntorn\n"
    )
    intake = taken(tmp_path, {"mended.csv": mended, "sales.csv": SALES})
    assert account(intake)["mended.csv"] == (5, 0, 0, 5)


def test_a_card_number_in_a_mended_line_keeps_the_file_out(tmp_path: Path) -> None:
    """A published test number, from memory."""
    text = told(write(tmp_path, {"sales.csv": SALES})).replace("shells", "card 4111 1111 1111 1111")
    intake = taken(tmp_path, {"mended.csv": text})
    assert "card-number-present" in intake.notices["kind"].to_list()
    assert account(intake)["mended.csv"] == (2, 0, 0, 2)
