"""The drawing of a machine at a terminal: what each slot shows, which machines, and that it holds in 80 columns."""

import io
from pathlib import Path

import pytest
from builders import RouteBuilder, slot
from report_routes import ROUTES, reconciled
from rich.cells import cell_len
from rich.console import Console

from recon.report.machine_drawing import ASCII, LINES, MOST_DRAWN, drawings, glyphs_for
from recon.report.text import print_results


def drawn(route: RouteBuilder, *, every: bool = False) -> str:
    return "\n".join(drawings(route.run().reconciliation, ASCII, every=every))


def test_each_slot_shows_its_label_and_what_it_is_short_or_over(tmp_path: Path) -> None:
    route = RouteBuilder(tmp_path).settings(tolerance={"boundary_minutes": 10})
    labels = {"110": 2, "112": 2, "130": 1, "131": 1, "132": 1, "133": 1, "134": 1}
    slots = [slot(label, tray=label[1], pitch=pitch) for label, pitch in labels.items()]
    route.machine("m-1", *slots, slot("135", tray="3", product=None), site="Ferry quay")
    counts = [f"09-01 09:00, {label}, 10" for label in labels if label != "134"]
    counts += ["09-08 09:00, 110, 8", "09-08 09:00, 112, 11", "09-08 09:00, 130, 10", "09-08 09:00, 131, 7"]
    counts += ["09-08 09:00, 132, 9", "09-08 09:00, 133, 10", "09-15 09:00, 131, 9"]
    route.counts(*counts).vends("09-08 09:05, 132, cash, 2.00")
    lines = drawn(route).split("\n")
    assert lines[:8] == [
        "m-1, Ferry quay, as laid out on 2026-12-01",
        "  +-------------------+-------------------+",
        "1 | 110               | 112               |",
        "  | v-2               | ^+1               |",
        "  +---------+---------+---------+---------+---------+---------+",
        "3 | 130     | 131     | 132     | 133     | 134     | 135     |",
        "  | =       | v-3 ^+2 | ~-1     | =       | ?       | .       |",
        "  +---------+---------+---------+---------+---------+---------+",
    ]
    assert lines[-2].endswith("A variance is never proof of who.")


@pytest.mark.parametrize("name", ROUTES)
@pytest.mark.parametrize("glyphs", [ASCII, LINES])
def test_it_holds_in_80_columns_and_its_lines_meet(name: str, glyphs: object) -> None:
    lines = list(drawings(reconciled(name).reconciliation, glyphs, every=True))  # type: ignore[arg-type]
    assert all(cell_len(line) <= 80 for line in lines)
    assert all(line.isprintable() for line in lines)
    if glyphs is ASCII:
        marks = {mark for line in lines for mark in line if not mark.isascii()}
        labels = {mark for label in reconciled(name).frames["states"]["label"] for mark in label}
        sites = {mark for site in reconciled(name).frames["machines"]["site"].drop_nulls() for mark in site}
        assert marks <= labels | sites | {"…"}


def test_letters_that_take_two_columns_are_counted_so(tmp_path: Path) -> None:
    labels = [f"缶{at:02}" for at in range(12)]
    route = RouteBuilder(tmp_path).machine("m-1", *(slot(label, tray="上段") for label in labels), site="駅前" * 30)
    route.counts(*(f"09-0{day} 09:00, {label}, {day}" for day in (1, 8) for label in labels))
    head, *lines = drawn(route).split("\n")
    assert cell_len(head) in (79, 78)
    assert head.endswith("…, as laid out on 2026-12-01")
    drawing = lines[: lines.index("")]
    assert len({cell_len(line) for line in drawing[:4]}) == 1
    assert max(map(cell_len, drawing)) <= 80


def test_a_crowded_tray_goes_on_below_itself() -> None:
    lines = list(drawings(reconciled("crowd").reconciliation, ASCII, every=False))
    labels = [line for line in lines if line.startswith(("1 ", "2 "))]
    assert len(labels) == 2, "each tray is named once"
    assert all(f" {tray}{place:02} " in "\n".join(lines) for tray in (1, 2) for place in range(24))


def test_the_table_of_machines_shows_no_mark_that_steers_a_terminal_and_no_endless_name() -> None:
    console = Console(width=80, record=True, file=io.StringIO())
    print_results(reconciled("hostile").reconciliation, console, every=False)
    table = console.export_text().split("\n\n")[1].split("\n")
    assert all(line.isprintable() and cell_len(line) < 120 for line in table)
    assert any(line.startswith("Unbreakable") and "\N{HORIZONTAL ELLIPSIS} " in line for line in table)


def test_only_machines_with_an_open_finding_of_stock_are_drawn_and_the_rest_is_counted(tmp_path: Path) -> None:
    route = RouteBuilder(tmp_path)
    for number in range(6):
        route.machine(f"m-{number}", slot("A1"))
        left = 10 if number == 0 else 9 - number
        route.counts("09-01 09:00, A1, 10", f"09-08 09:00, A1, {left}", machine=f"m-{number}")
    some, every = drawn(route), drawn(route, every=True)
    heads = [line.partition(",")[0] for line in some.split("\n") if "as laid out" in line]
    assert len(heads) == MOST_DRAWN
    assert "m-0" not in heads
    assert "... and 2 machines more with an open finding of stock (--all draws every one)" in some
    assert every.count("as laid out") == 5
    assert "more with an open finding" not in every
    assert list(drawings(reconciled("clean").reconciliation, ASCII, every=True)) == []


@pytest.mark.parametrize(
    ("encoding", "plain", "glyphs"),
    [("utf-8", False, LINES), ("utf-8", True, ASCII), ("ascii", False, ASCII), ("cp1252", False, ASCII),
     ("no-such-encoding", False, ASCII)],
)  # fmt: skip
def test_signs_of_ascii_stand_in_where_the_glyphs_cannot_be_shown(encoding: str, plain: bool, glyphs: object) -> None:
    assert glyphs_for(encoding, plain=plain) is glyphs
