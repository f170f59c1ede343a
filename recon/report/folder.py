"""reports/<run>/: written whole or not at all, and never over an earlier run."""

import shutil
from collections.abc import Iterable
from pathlib import Path

from recon.model.errors import ReconError
from recon.model.reconciliation import Reconciliation
from recon.model.zones import zone

_PART = ".part-"
"""How the name of a report begins that is not complete."""


def write_report(root: Path, done: Reconciliation, files: Iterable[tuple[str, str | bytes]]) -> Path:
    """Write files (path below the folder, and content) into a new folder below reports/, named for the moment of the
    run in the route's zone.

    The folder is made beside its final name and renamed when it is complete, so that a run that is cut off leaves no
    half report. To be called while holding the lock of the ledger. files: taken one by one, so that a long report need
    not be in memory as a whole. Raises ReconError where it cannot be written.
    """
    reports = root / "reports"
    stamp = done.now.astimezone(zone(done.zone)).strftime("%Y-%m-%d-%H%M%S")
    part = reports / f"{_PART}{stamp}"
    try:
        for left in reports.glob(f"{_PART}*"):
            # By a run that was killed: only one writes at a time.
            shutil.rmtree(left, ignore_errors=True)
        part.mkdir(parents=True)
        for name, content in files:
            path = part / name
            path.parent.mkdir(exist_ok=True)
            path.write_bytes(content.encode() if isinstance(content, str) else content)
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
