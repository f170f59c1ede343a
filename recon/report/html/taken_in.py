"""What was taken in and what was rejected: every file with the account of its rows, and every row that was not used."""


from typing import NamedTuple

import polars as pl

from recon.model.frames import DECISIONS, Frame
from recon.model.reconciliation import Reconciliation
from recon.report.html.spelling import Spelling

FILES_SHOWN = 400
REJECTS_SHOWN = 100
DECISIONS_SHOWN = 200
_LONGEST = 160


class Cut(NamedTuple):
    """Rows of a table, and how many it leaves out."""

    rows: tuple[tuple[str, ...], ...]
    total: int

    @property
    def left_out(self) -> int:
        return self.total - len(self.rows)


def files(done: Reconciliation) -> Cut:
    """Each input file: path, kind, description, rows, used, duplicate, rejected, start of its SHA-256. Those with
    rejected rows first where not all are shown."""
    inputs = done.frames["inputs"]
    shown = inputs.sort(pl.col("rejected") == 0, "file").head(FILES_SHOWN).sort("file")
    rows = tuple(
        (
            row["path"],
            row["kind"] or "not told",
            row["source"] or ("own field names" if row["kind"] else ""),
            f"{row['rows']:,}",
            f"{row['accepted']:,}",
            f"{row['duplicate']:,}",
            f"{row['rejected']:,}",
            (row["sha256"] or "")[:12],
        )
        for row in shown.iter_rows(named=True)
    )
    return Cut(rows, inputs.height)


def rejects(done: Reconciliation) -> Cut:
    """Rows that could not be used: place, reason, the line as it stands in the file."""
    rejected, paths = done.frames["rejects"], done.paths
    rows = tuple(
        (f"{paths[file]}:{row}", reason, text if len(text) <= _LONGEST else f"{text[:_LONGEST]}\u2026")
        for file, row, reason, text in rejected.head(REJECTS_SHOWN).select("file", "row", "reason", "text").iter_rows()
    )
    return Cut(rows, rejected.height)


def decisions(done: Reconciliation, spell: Spelling) -> Cut:
    """Decisions, the last first: entry, when, finding, state, by whom, why, whether it stands, the sentence then."""
    found: Frame = done.frames.get("decisions", DECISIONS.empty()).sort("entry", descending=True)
    rows = tuple(
        (
            str(row["entry"]),
            spell.moment(row["at"]),
            row["finding"],
            row["state"],
            row["by"],
            row["why"],
            _stands(row),
            row["message"],
            row["corrected"] or "",
        )
        for row in found.head(DECISIONS_SHOWN).iter_rows(named=True)
    )
    return Cut(rows, found.height)


def _stands(row: dict[str, object]) -> str:
    if not row["standing"]:
        return "replaced by a later one"
    return "stands" if row["occurs"] else "stands; no longer found"


def payouts(done: Reconciliation, spell: Spelling) -> Cut:
    """Payouts of the processor beside the card vends of their days, the last first."""
    checks = done.frames["payout_checks"].sort("paid_on", "file", "row", descending=True)
    rows = tuple(
        (
            spell.day(row["paid_on"]),
            _span(row),
            row["machine"] or "all",
            row["reference"] or "",
            "" if row["vends"] is None else f"{row['vends']:,}",
            *(
                spell.money(row[name], row["machine"])
                for name in ("gross_expected", "gross", "fees_expected", "fees", "net_expected", "net")
            ),
            spell.signed(row["over_short"], row["machine"]),
        )
        for row in checks.head(FILES_SHOWN).iter_rows(named=True)
    )
    return Cut(rows, checks.height)


def _span(row: dict[str, object]) -> str:
    return "days not named" if row["from"] is None or row["to"] is None else f"{row['from']} to {row['to']}"
