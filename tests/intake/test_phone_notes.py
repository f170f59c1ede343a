"""Counts typed into a note on a phone: each line of the grammar, and what reads as none of it."""

from pathlib import Path

import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st
from inbox import rejects, taken

from recon.intake.encoding import decode
from recon.intake.phone_notes import read_note
from recon.intake.table import ROW

TOP = "m-1\n2026-09-14 18:40\n"
Slot = tuple[int, str | None, str | None, str | None, str | None]


def slots(note: str) -> list[Slot]:
    """(line, label, counted, loaded, removed) of each slot line."""
    table = read_note(decode(note.encode()), {"m-1", "y-1"})
    return [] if table is None else table.frame.select(ROW, "label", "counted", "loaded", "removed").rows()


@pytest.mark.parametrize(
    ("line", "told"),
    [
        ("110 4", ("110", "4", None, None)), ("110 4 +6", ("110", "4", "6", None)), ("110 4 +6 -1", ("110", "4", "6",
        "1")),
        ("110 4 -1 +6", ("110", "4", "6", "1")), ("110 4 + 6 - 1", ("110", "4", "6", "1")), ("A1=3", ("A1", "3", None,
        None)),
        ("A1 = 3 +2", ("A1", "3", "2", None)), ("112: empty", ("112", "0", None, None)), ("112:EMPTY +8", ("112", "0",
        "8", None)),
        ("114 -", ("114", None, None, None)), ("114: - +6", ("114", None, "6", None)), ("114 +6", ("114", None, "6",
        None)),
        ("114 -2", ("114", None, None, "2")), ("• 110 4", ("110", "4", None, None)), ("- 110 4", ("110", "4", None,
        None)),
        ("110 4 –1", ("110", "4", None, "1")), ("110\u00a04", ("110", "4", None, None)), ("110 4 # sticky", ("110", "4",
        None, None)),
        ("  110   4  ", ("110", "4", None, None)),
    ],
)  # fmt: skip
def test_a_slot_line(line: str, told: tuple[str | None, ...]) -> None:
    assert slots(f"{TOP}{line}\n") == [(3, *told)]


@pytest.mark.parametrize(
    "line", ["110", "110 ten", "110 4 5", "110 4 +6 +2", "110 4.5", "110,4", "110 - 1", "thanks", "110 4 6+", "=3"]
)
def test_what_does_not_read_is_rejected_with_its_line(line: str, tmp_path: Path) -> None:
    intake = taken(tmp_path, {"round.txt": f"{TOP}112 3\n{line}\n"})
    assert intake.counts["row"].to_list() == [3]
    assert [(row, text) for _, row, _, text in rejects(intake)] == [(4, line)]


@pytest.mark.parametrize(
    "top",
    ["m-1\n2026-09-14 18:40\n", "M-1\n14.09.2026 18:40\n", "m-1 2026-09-14 18:40\n\n", "m-1, 14/9/2026 6:40 PM\n\n",
     "machine: m-1\ntime: 2026-09-14 18:40\n", "Machine m-1\nDate: 14 Sep 2026 18:40\n",
     "2026-09-14T18:40\nmachine m-1\n"],
)  # fmt: skip
def test_machine_and_time_on_top(top: str, tmp_path: Path) -> None:
    source = 'kind = "counts"\nfiles = ["*.txt"]\n[machines]\n"M-1" = "m-1"\n'
    intake = taken(tmp_path, {"round.txt": top + "110 4 +6\n", "sources/notes.toml": source})
    if top.startswith("2026"):
        # A machine line begins a new sheet: a time above it is none of its own.
        assert [reason for _, _, reason, _ in rejects(intake)] == ["no time"]
        return
    [(row, machine, when, units)] = intake.counts.select("row", "machine", "time", "counted").rows()
    assert (row, machine, units) == (3, "m-1", 4)
    assert when.strftime("%Y-%m-%d %H:%M") == "2026-09-14 21:40"


def test_several_machines_in_one_note(tmp_path: Path) -> None:
    note = "# round of Monday\nm-1\n2026-09-14 18:40\n110 4 +6\n112: empty\n\ny-1 2026-09-14 20:15\n1=5\n"
    intake = taken(tmp_path, {"round.txt": note})
    assert intake.counts.select("row", "machine", "label", "counted", "loaded").rows() == [
        (4, "m-1", "110", 4, 6), (5, "m-1", "112", 0, 0), (8, "y-1", "1", 5, 0),
    ]  # fmt: skip
    assert intake.inputs["kind"].to_list() == ["counts"]
    assert intake.notices.select("kind", "row").rows() == [("lines-passed-over", 1)]


def test_a_note_behind_a_slot_line_is_kept(tmp_path: Path) -> None:
    intake = taken(tmp_path, {"round.txt": TOP + "110 4 # sticky coil\n"})
    assert intake.counts["note"].to_list() == ["sticky coil"]


def test_lines_below_what_may_be_another_machine_are_not_the_first_machines(tmp_path: Path) -> None:
    intake = taken(tmp_path, {"round.txt": TOP + "110 4\nannex nine\n112 3\n\nm-1 2026-09-15 09:00\n112 2\n"})
    assert intake.counts["row"].to_list() == [3, 8]
    assert [(row, reason.split(":")[0][:12]) for _, row, reason, _ in rejects(intake)] == [
        (4, "it does not "),
        (5, "line 4 above"),
    ]


def test_a_time_below_slot_lines_needs_its_machine(tmp_path: Path) -> None:
    intake = taken(tmp_path, {"round.txt": TOP + "110 4\n2026-09-15 09:00\n112 3\n"})
    assert intake.counts["row"].to_list() == [3]
    assert [row for _, row, _, _ in rejects(intake)] == [5]


def test_a_label_that_the_machine_lacks_is_rejected_as_in_any_count_sheet(tmp_path: Path) -> None:
    intake = taken(tmp_path, {"round.txt": TOP + "999 4\n"})
    assert rejects(intake)[0][1] == 3
    assert "999" in rejects(intake)[0][2]


def test_a_text_file_with_a_header_is_a_table(tmp_path: Path) -> None:
    intake = taken(tmp_path, {"a.txt": "machine\ttime\tlabel\tcounted\nm-1\t2026-09-14 09:00\t110\t4\n"})
    assert intake.counts.select("row", "counted").rows() == [(2, 4)]
    other = taken(tmp_path / "2", {"a.txt": "dear all\nsee you on Monday\n"})
    assert other.notices["kind"].to_list() == ["unknown-format"]


def test_a_card_number_in_a_note_keeps_it_out(tmp_path: Path) -> None:
    """A published test number, from memory."""
    for at, line in enumerate(["# card 4111 1111 1111 1111", "110 4 # 4111111111111111", "paid 4111-1111-1111-1111"]):
        intake = taken(tmp_path / str(at), {"a.txt": f"{TOP}112 3\n{line}\n"})
        assert intake.notices.filter(pl.col("kind") == "card-number-present").height == 1
        assert intake.counts.height == 0


@given(st.lists(st.text(st.sampled_from("m-1A =:+#0 4e\t–•empty2026:."), max_size=12), max_size=6))
def test_every_line_is_a_row_rejected_or_told(lines: list[str]) -> None:
    note = TOP + "110 4\n" + "\n".join(lines) + "\n"
    table = read_note(decode(note.encode()), {"m-1"})
    assert table is not None
    told = [*table.frame[ROW].to_list(), *(torn.row for torn in table.torn), *(passed.row for passed in table.passed)]
    assert len(told) == len(set(told))
    # What is none of these is blank, or a line of machine and time.
    for at, line in enumerate(note.split("\n"), start=1):
        if at > 3 and at not in told and line.strip(" \t-–•"):
            assert (
                "m-1" in line.lower()
                or any(mark.isdigit() for mark in line)
                or line.lower().startswith(("m", "t", "d"))
            )
