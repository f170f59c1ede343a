"""What the CSV files put before a cell so that no spreadsheet runs it, is taken off again, and nothing else with it."""

import pytest

from recon.intake.mended import _bare
from recon.report.tamed import tamed


@pytest.mark.parametrize("text", ["=1+1", "'=1", "''-2", "\x00x", "-3", "it's", "'quoted'", "", "＝a"])
def test_a_line_of_rejects_comes_back_as_it_was(text: str) -> None:
    assert _bare(tamed(text)) == text
