"""Notes as phones and hurried people write them: capitals, a clock on a line of its own, columns of blanks."""

import time
from pathlib import Path

import pytest
from builders import RouteBuilder, kinds, of_kind, slot


@pytest.fixture
def round_(tmp_path: Path) -> RouteBuilder:
    return RouteBuilder(tmp_path / "route").machine("quay-2", slot("110", bus=1), slot("18", bus=2))


def _counts(route: RouteBuilder, note: str) -> list[tuple[str, str, str, int]]:
    counts = route.file("inbox/note.txt", note).run().frames["counts"].sort("row")
    return [
        (machine, f"{when:%d %H:%M}", label, units)
        for machine, when, label, units in counts.select("machine", "time", "label", "counted").iter_rows()
    ]


@pytest.mark.parametrize("top", ["Quay-2\n2026-09-14 18:40\n", "machine: QUAY-2\n2026-09-14 18:40\n"])
def test_a_machine_with_a_capital_is_the_machine(round_: RouteBuilder, top: str) -> None:
    assert _counts(round_, top + "110 4\n") == [("quay-2", "14 18:40", "110", 4)]
    assert "unknown-machine" not in kinds(round_.run())


@pytest.mark.parametrize("day", ["2026-09-14", "14.09.26", "14 Sep 2026", "date: 2026-09-14"])
def test_a_clock_below_its_day_belongs_to_it(round_: RouteBuilder, day: str) -> None:
    assert _counts(round_, f"quay-2\n{day}\n18:40\n110 4\n") == [("quay-2", "14 18:40", "110", 4)]


def test_a_clock_between_slot_lines_is_no_count(round_: RouteBuilder) -> None:
    """Slot 18 did not hold 50."""
    note = "quay-2\n2026-09-14 18:40\n110 4\n18:50\n110 5\n"
    assert _counts(round_, note) == [("quay-2", "14 18:40", "110", 4)]
    told = [finding.message for finding in of_kind(round_.run(), "rejected-row")]
    assert len(told) == 2
    assert any("may be a time or a slot" in message for message in told)


@pytest.mark.parametrize("clock", ["18.40", "6:40 pm", "18h40"])
def test_clocks_as_in_any_file(round_: RouteBuilder, clock: str) -> None:
    assert _counts(round_, f"quay-2 2026-09-14 {clock}\n110 4\n") == [("quay-2", "14 18:40", "110", 4)]


@pytest.mark.parametrize("filler", [" ", "\t", ", ", ",", "@ "])
def test_a_report_in_columns_of_blanks_is_soon_told_from_a_note(round_: RouteBuilder, filler: str) -> None:
    line = "110" + filler * 2000 + "x"
    round_.file("inbox/note.txt", "quay-2\n2026-09-14 18:40\n110 4\n" + f"{line}\n" * 5)
    started = time.process_time()
    run = round_.run()
    assert time.process_time() - started < 5
    [entry] = run.results.inputs
    assert (entry.rows, entry.accepted + entry.duplicate + entry.rejected) == (6, 6)
