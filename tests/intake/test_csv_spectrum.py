"""Published tables, row for row. Source: npm csv-spectrum 2.0.0 (BSD-2-Clause; see
tests/data/csv-spectrum/SOURCE.md)."""

import json
from pathlib import Path

import pytest

from recon.intake.table import ROW, read_table

FOLDER = Path(__file__).resolve().parents[1] / "data" / "csv-spectrum"
NAMES = sorted(path.stem for path in FOLDER.glob("*.csv"))


def test_all_eleven_are_there() -> None:
    assert len(NAMES) == 11
    assert all((FOLDER / f"{name}.json").is_file() for name in NAMES)


@pytest.mark.parametrize("name", NAMES)
def test_the_records_are_those_of_the_json_beside_it(name: str) -> None:
    """Line ends inside cells are LF here, whichever the file has: all else is the same text."""
    told = json.loads((FOLDER / f"{name}.json").read_text(encoding="utf-8"))
    table = read_table((FOLDER / f"{name}.csv").read_bytes())
    rows = [{column: cell or "" for column, cell in row.items()} for row in table.frame.drop(ROW).to_dicts()]
    assert rows == [{column: cell.replace("\r\n", "\n") for column, cell in row.items()} for row in told]
    assert table.torn == ()
    assert table.passed == ()
