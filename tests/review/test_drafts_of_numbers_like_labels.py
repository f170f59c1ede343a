"""A column of bus numbers that are labels as well: the draft goes by which fits better, and says so where both fit."""

from pathlib import Path

import pytest
from builders import RouteBuilder, slot
from typer.testing import CliRunner

from recon.cli.main import app


def _draft(tmp_path: Path, shift: int, header: str, numbers: range) -> str:
    """Labels 110 to 130, each with its own number `shift` higher; an export of these numbers."""
    route = RouteBuilder(tmp_path / "route")
    route.machine("m-1", *(slot(str(label), bus=label + shift) for label in range(110, 131)))
    rows = "".join(
        f"m-1;2026-08-{1 + at % 28:02} {8 + at % 10:02}:00;{numbers[at % len(numbers)]};2.00;Cash\n" for at in range(60)
    )
    route.file("inbox/log.csv", f"Machine;Time;{header};Price;Paid\n{rows}")
    done = CliRunner().invoke(app, ["draft", "source", str(route.root / "inbox/log.csv"), "--output", "-"])
    return done.stdout


@pytest.mark.parametrize(
    ("header", "numbers", "field"), [("Selection", range(115, 136), "bus"), ("Item", range(110, 131), "label")]
)
def test_what_all_cells_fit_is_taken(tmp_path: Path, header: str, numbers: range, field: str) -> None:
    assert f'\n{field} = "{header}"' in _draft(tmp_path, 5, header, numbers)


def test_where_both_fit_a_person_is_asked(tmp_path: Path) -> None:
    assert "FILL IN" in _draft(tmp_path, 5, "Selection", range(115, 131))


def test_numbers_that_are_the_labels_need_no_question(tmp_path: Path) -> None:
    assert "FILL IN" not in _draft(tmp_path, 0, "Selection", range(110, 131))
