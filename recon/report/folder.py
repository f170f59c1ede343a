"""reports/<run>/: written whole or not at all, and never over an earlier run."""

import shutil
from collections.abc import Mapping
from pathlib import Path

from recon.model.errors import ReconError
from recon.model.reconciliation import Reconciliation
from recon.model.zones import zone


def write_report(root: Path, done: Reconciliation, texts: Mapping[str, str]) -> Path:
    """Write files (name to text) into a new folder below reports/, named for the moment of the run in the route's zone.

    The folder is made beside its final name and renamed when it is complete, so that a run that is cut off leaves no
    half report. Raises ReconError where it cannot be written.
    """
    reports = root / "reports"
    stamp = done.now.astimezone(zone(done.zone)).strftime("%Y-%m-%d-%H%M%S")
    part = reports / f".part-{stamp}"
    try:
        part.mkdir(parents=True, exist_ok=True)
        for name, text in texts.items():
            (part / name).write_text(text, encoding="utf-8", newline="\n")
        return _settle(part, reports, stamp)
    except OSError as error:
        shutil.rmtree(part, ignore_errors=True)
        where = error.filename or reports
        raise ReconError(
            f"the report cannot be written to {where}: {error.strerror}. Make room or allow writing, then run again"
        ) from error


def _settle(part: Path, reports: Path, stamp: str) -> Path:
    number = 1
    while True:
        final = reports / (stamp if number == 1 else f"{stamp}-{number}")
        if not final.exists():
            return part.rename(final)
        number += 1
