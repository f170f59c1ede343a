"""A small ledger with an entry of most kinds, and what it takes to tamper with one."""

import hashlib
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path

from recon.ledger.files import write_once
from recon.ledger.formats import STATEMENTS
from recon.ledger.journal import journal_path, writing
from recon.ledger.originals import keep
from recon.ledger.tables import table_path
from recon.model.reconciliation import Anchor

AT = datetime(2026, 9, 28, 12, tzinfo=UTC)
RESULTS = b'{"format": "recon-results/1"}\n'


def small_ledger(root: Path, files: int = 3) -> Anchor:
    """A layout, `files` files with their tables, and a run with its report. Returns the anchor."""
    root.mkdir(parents=True, exist_ok=True)
    report = root / "reports" / "2026-09-28-120000"
    report.mkdir(parents=True)
    (report / "results.json").write_bytes(RESULTS)
    with writing(root, who="a test") as ledger:
        ledger.append("layout-seen", {"file": "layouts/m-1.toml", "original": keep(root, b'machine = "m-1"\n')}, AT)
        for at in range(files):
            data = f"time,label\n2026-09-0{at + 1},A1\n".encode()
            rows = f"rows of file {at}".encode() * 40
            table = hashlib.sha256(rows).hexdigest()
            write_once(root, table_path(root, "vends", table), rows)
            body = {
                "file": f"inbox/sales-{at}.csv",
                "original": keep(root, data),
                "table": [{"name": "vends", "sha256": table}],
                "rows": 1,
            }
            ledger.append("file-taken", body, AT)
        body = {"report": report.name, "results": hashlib.sha256(RESULTS).hexdigest()}
        ledger.append("run-made", body, AT)
    with writing(root, who="a test") as ledger:
        return ledger.anchor


@contextmanager
def tampering(root: Path) -> Iterator[sqlite3.Connection]:
    """The journal's database without what guards it; the guards are put back afterwards."""
    connection = sqlite3.connect(journal_path(root), isolation_level=None)
    connection.execute("PRAGMA synchronous = OFF")
    connection.execute("PRAGMA journal_mode = MEMORY")
    connection.execute("BEGIN")
    triggers = [statement for statement in STATEMENTS if statement.startswith("CREATE TRIGGER")]
    for statement in triggers:
        connection.execute(f"DROP TRIGGER {statement.split()[2]}")
    yield connection
    for statement in triggers:
        connection.execute(statement)
    connection.execute("COMMIT")
    connection.close()
