"""The same inputs give the same bytes: wherever, whenever and however often the report is drawn."""

import hashlib
import os
import subprocess
import sys
from pathlib import Path

import pytest
from report_routes import TOP, pages, reconciled

from recon.report.html import report_pages

DRAW = """
import hashlib, sys
from datetime import UTC, datetime
import recon
from recon.report.html import report_pages
run = recon.run(sys.argv[1], now=datetime(2026, 9, 29, 13, 40, tzinfo=UTC))
for path, html in report_pages(run.reconciliation):
    print(path, hashlib.sha256(html.encode()).hexdigest())
"""


@pytest.mark.parametrize("name", ["bayside", "hostile-many", "foreign"])
def test_drawn_twice(name: str) -> None:
    assert dict(report_pages(reconciled(name).reconciliation)) == pages(name)


@pytest.mark.parametrize("around", [{"TZ": "Asia/Kathmandu", "PYTHONHASHSEED": "1", "LC_ALL": "C"}])
def test_drawn_elsewhere(around: dict[str, str], tmp_path: Path) -> None:
    environment = {**os.environ, **around, "PYTHONPATH": str(TOP), "POLARS_MAX_THREADS": "1"}
    done = subprocess.run(
        [sys.executable, "-c", DRAW, str(TOP / "samples" / "bayside")],
        cwd=tmp_path, env=environment, capture_output=True, text=True, check=True,
    )  # fmt: skip
    here = hashlib.sha256(pages("bayside")["report.html"].encode()).hexdigest()
    assert done.stdout == f"report.html {here}\n"


def test_drawing_looks_at_no_clock() -> None:
    moment = f"{reconciled('bayside').reconciliation.now:%Y-%m-%d}"
    assert f"Made {moment}" in pages("bayside")["report.html"]
