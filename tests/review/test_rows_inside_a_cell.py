"""Stray quote marks that swallow rows: two of them in a file, and all between is one cell."""

from pathlib import Path

import pytest
from builders import RouteBuilder, kinds, slot

HEAD = "machine,time,bus,price,tender,note\n"


def _row(hour: int, note: str = "") -> str:
    return f"m-1,2026-09-01 {hour:02}:00,1,2.00,cash,{note}\n"


@pytest.fixture
def route(tmp_path: Path) -> RouteBuilder:
    return RouteBuilder(tmp_path / "route").machine("m-1", slot("A1", bus=1))


@pytest.mark.parametrize(
    "notes", [['"oops', "", '"oops', ""], ['"a', "", 'b"', ""], ['"Big bar', "x", "y", '"Big bar']], ids=str
)
def test_rows_swallowed_by_quote_marks_are_told(route: RouteBuilder, notes: list[str]) -> None:
    """RFC 4180, 2.5-2.7: a quoted cell ends at a delimiter or a line end; one that holds whole rows is none."""
    run = route.file("inbox/a.csv", HEAD + "".join(_row(10 + at, note) for at, note in enumerate(notes))).run()
    told = {"unreadable-file", "rejected-row", "unknown-format"} & kinds(run)
    assert told or run.frames["vends"].height == len(notes)


def test_a_note_over_several_lines_is_one_cell(route: RouteBuilder) -> None:
    run = route.file("inbox/a.csv", HEAD + _row(10, '"first line\nsecond, with commas\nthird"') + _row(11)).run()
    assert run.frames["vends"].height == 2
    assert not {"unreadable-file", "rejected-row"} & kinds(run)
