"""A run points at what `recon check` has to say, but for notes, which would come back at every run."""

from pathlib import Path

import pytest
from check_texts import LAYOUT, Lay
from typer.testing import CliRunner

from recon.cli.main import app
from recon.findings.layouts import check

SLOT = '[[slot]]\nlabel = "A1"\nbus = 1\nproduct = "gum"\nprice = "1.75"\n'


def said(root: Path) -> list[str]:
    stderr = CliRunner().invoke(app, ["run", str(root), "--dry-run"]).stderr
    return [line for line in stderr.splitlines() if "recon check" in line]


@pytest.mark.parametrize(
    ("second", "kinds", "told"),
    [
        (SLOT, [], []),
        (SLOT.replace("1.75", "2.00"), ["price-varies"], []),
        (SLOT.replace("bus = 1\n", ""), ["missing-number"], ["1 remark on the settings"]),
        (SLOT.replace("bus = 1\n", "").replace("1.75", "2.00"), ["missing-number", "price-varies"], ["1 remark"]),
    ],
)
def test_notes_are_left_to_the_check(lay: Lay, second: str, kinds: list[str], told: list[str]) -> None:
    layouts = {"layouts/a.toml": LAYOUT + SLOT, "layouts/b.toml": LAYOUT.replace("m-1", "m-2") + second}
    root = lay(layouts | {"inbox/counts.csv": "machine,time,label,counted\nm-1,2026-08-04 09:00,A1,5\n"})
    assert [problem.kind for problem in check(root)] == kinds
    assert len(said(root)) == len(told)
    assert all(line.startswith(start) for line, start in zip(said(root), told, strict=True))
