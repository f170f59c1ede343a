"""What the command prints and writes for both samples, byte for byte, beside this file.

After a change that is meant, `pytest tests/golden --accept-golden` writes these files anew: read the
difference before committing it. A golden file that is missing, and one that no output stands behind, both
fail.
"""

import difflib
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

HERE = Path(__file__).resolve().parent
TOP = HERE.parents[1]
SAMPLES = ("bayside", "clean")
NAMES = ("printed.txt", "rejects.csv", "results.json")


def outputs(sample: str, folder: Path) -> dict[str, str]:
    """Run a copy of the sample in a pipe of 80 columns, without colour, at a fixed moment."""
    shutil.copytree(
        TOP / "samples" / sample, folder / sample, ignore=shutil.ignore_patterns("reports", "ledger")
    )
    fixed = {
        "SOURCE_DATE_EPOCH": "1790700000",
        "NO_COLOR": "1",
        "COLUMNS": "80",
        "PYTHONPATH": str(TOP),
        "PYTHONIOENCODING": "utf-8",
    }
    environment = {
        name: value for name, value in os.environ.items() if name not in ("FORCE_COLOR", "TERM")
    } | fixed
    command = [sys.executable, "-m", "recon", "run", sample, "--quiet"]
    done = subprocess.run(
        command, cwd=folder, env=environment, capture_output=True, encoding="utf-8", check=False
    )
    assert done.stderr == ""
    report = folder / sample / "reports" / "2026-09-29-134000"
    written = {path.name: path.read_bytes().decode("utf-8") for path in report.iterdir()}
    # The root hangs on the versions of the libraries, too: kept tables are theirs, byte for byte.
    printed = re.sub(r"(?m)^(Ledger .* root )[0-9a-f]{64}$", r"\1(64 digits)", done.stdout)
    return {"printed.txt": printed, **{name: written[name] for name in NAMES if name != "printed.txt"}}


@pytest.mark.parametrize("sample", SAMPLES)
def test_outputs_are_the_golden_ones(sample: str, tmp_path: Path, request: pytest.FixtureRequest) -> None:
    found = outputs(sample, tmp_path)
    golden = HERE / sample
    if request.config.getoption("--accept-golden"):
        golden.mkdir(exist_ok=True)
        for name, text in found.items():
            (golden / name).write_text(text, encoding="utf-8", newline="\n")
    for name in NAMES:
        assert (golden / name).is_file(), (
            f"tests/golden/{sample}/{name} is missing: pytest tests/golden --accept-golden writes it"
        )
        kept = (golden / name).read_bytes().decode("utf-8")
        changes = list(
            difflib.unified_diff(
                kept.splitlines(), found[name].splitlines(), "golden", "now", n=0, lineterm=""
            )
        )
        assert found[name] == kept, "\n".join(
            [
                f"{sample}/{name} differs; if it is meant to: pytest tests/golden --accept-golden",
                *changes[:40],
            ]
        )


def test_no_golden_file_is_left_over() -> None:
    there = {
        path.relative_to(HERE).as_posix()
        for path in HERE.rglob("*")
        if path.is_file() and "__pycache__" not in path.parts
    }
    assert there == {Path(__file__).name} | {f"{sample}/{name}" for sample in SAMPLES for name in NAMES}
