"""What the ledger of a route remembers, read without writing to it: decisions made, files taken in before."""

from pathlib import Path

from recon.ledger.decisions import Decided

JOURNAL = "ledger/journal.sqlite"
"""Where the journal lies below the route folder."""


def decisions_in(root: Path) -> list[Decided]:
    """Every decision in the route's ledger, oldest first; none where the route has no ledger."""
    if not (root / JOURNAL).is_file():
        return []
    from recon.ledger.journal import reading

    with reading(root) as ledger:
        return [Decided(entry.number, entry.at, entry.body) for entry in ledger.entries("decision-made")]
