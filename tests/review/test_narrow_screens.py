"""The table of machines on a narrow screen: no figure is cut, no machine goes unnamed (invented data)."""

import pytest
from builders import RouteBuilder, slot
from rich.console import Console

from recon.report.text import print_results


@pytest.mark.parametrize("width", [20, 40, 60, 80, 120])
def test_no_figure_is_cut(route: RouteBuilder, width: int) -> None:
    route.machine("library-entrance-1", slot("A1")).vends(
        "09-03 12:00, A1, cash, 12345.25", "09-03 13:00, A1, card, 12345.50", machine="library-entrance-1"
    )
    console = Console(width=width, no_color=True)
    with console.capture() as printed:
        print_results(route.run().reconciliation, console, every=False)
    line = next(line for line in printed.get().splitlines() if line.startswith("library-entrance-1"))
    assert line.split()[1:6] == ["2", "0", "24690.75", "12345.25", "12345.50"]
    assert "…" not in printed.get()
