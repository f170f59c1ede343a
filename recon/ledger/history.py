"""What the ledger of a route remembers, read without writing to it: decisions made, files taken in before."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import polars as pl

from recon.ledger.decisions import Decided
from recon.ledger.entries import Entry
from recon.ledger.journal import Ledger, has_ledger, reading
from recon.ledger.originals import original
from recon.model.border import guard
from recon.model.frames import FILE_CHANGES, Frame

SHOWN: int = 20
"""Lines of a changed file that are told by number."""


@dataclass(frozen=True, slots=True)
class History:
    """What a run has to know of earlier ones. taken: the entries of files taken in."""

    decisions: Sequence[Decided] = ()
    taken: Sequence[Entry] = ()


def history_in(root: Path) -> History:
    """What the route's ledger remembers; nothing where the route has none."""
    if not has_ledger(root):
        return History()
    with reading(root) as ledger:
        return history_of(ledger)


def history_of(ledger: Ledger) -> History:
    """What a ledger remembers."""
    made = [Decided(entry.number, entry.at, entry.body) for entry in ledger.entries("decision-made")]
    return History(made, ledger.entries("file-taken"))


def file_changes(root: Path, inputs: Frame, taken: Sequence[Entry]) -> Frame:
    """Contents that were taken in once and are in the inbox no more, under no name (frame `file_changes`)."""
    there = set(inputs["sha256"].to_list())
    now = dict(inputs.select("name", "file").unique("name", keep="first", maintain_order=True).iter_rows())
    first: dict[tuple[str, str], Entry] = {}
    for entry in taken:
        if entry.body["sha256"] not in there:
            first.setdefault((entry.body["file"], entry.body["sha256"]), entry)
    rows = [
        {
            "name": name,
            "was": sha256,
            "entry": entry.number,
            "taken_at": entry.at,
            "file": now.get(name),
            **(_difference(root, name, sha256) if name in now else {}),
        }
        for (name, sha256), entry in first.items()
    ]
    return guard(pl.DataFrame(rows, schema=FILE_CHANGES.schema).sort("entry"), FILE_CHANGES)


def _difference(root: Path, name: str, was: str) -> dict[str, object]:
    """How the file of that name differs from what was kept: lines that are gone, and new ones with their numbers."""
    try:
        new = (root / name).read_bytes().splitlines()
    except OSError:
        return {"gone": None, "added": None, "lines": None}
    old = Counter(original(root, was).splitlines())
    left, added = old.copy(), []
    for number, line in enumerate(new, 1):
        if left[line]:
            left[line] -= 1
        else:
            added.append(number)
    return {"gone": left.total(), "added": len(added), "lines": added[:SHOWN]}
