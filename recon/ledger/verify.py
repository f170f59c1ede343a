"""Prove that nothing in a ledger was altered, removed or put in another order.

The checks stand in one order, and the first that fails is told: the database, its schema, entry by entry (number,
spelling, chain, hash), the tree, a root that was printed earlier, the files that entries name, the reports.

What this shows by itself: every part of the ledger fits every other. Somebody who rewrites all of it so that it fits
again is caught by a root printed before (`printed`), and by nothing else.
"""

import hashlib
import json
import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from recon.ledger import formats
from recon.ledger.canonical import canonical
from recon.ledger.entries import FIRST, Row, bytes_of_row, entry_of, spelled
from recon.ledger.faults import told
from recon.ledger.files import UNFINISHED, ledger_folder
from recon.ledger.journal import COLUMNS, journal_path, opened
from recon.ledger.merkle import Frontier, leaf_hash
from recon.ledger.originals import originals_folder, whole
from recon.ledger.references import HASH, NotAReference, named_files
from recon.ledger.tables import tables_folder
from recon.model.errors import LedgerDamaged, ReconError


@dataclass(frozen=True, slots=True)
class Verified:
    """What a verification found.

    entries, root: the anchor as reckoned from the entries (root empty where that was not reached). originals, tables,
    reports: how many files were held against their hash. failure: the first thing that failed; None where all holds.
    remarks: what is no failure and yet worth knowing.
    """

    entries: int
    root: str
    originals: int
    tables: int
    reports: int
    failure: str | None
    remarks: tuple[str, ...]


@dataclass(slots=True)
class _Count:
    entries: int = 0
    root: str = ""
    originals: int = 0
    tables: int = 0
    reports: int = 0


def verify_ledger(root: Path, *, printed: str | None = None, printed_entries: int | None = None) -> Verified:
    """Verify the ledger of a route folder; nothing is written.

    printed: a root that somebody has from an earlier report, 64 hex digits; printed_entries: the number of entries that
    was printed with it (where it is not known, every number is tried). Raises ReconError where there is no ledger, a
    newer recon wrote it, or it cannot be opened.
    """
    count, remarks = _Count(), list[str]()
    failure = None
    try:
        rows, tree = _read(root, remarks)
        count.entries = len(rows)
        leaves = _check_entries(root, rows)
        _check_tree(root, tree, leaves)
        count.root = Frontier.over(leaves).root.hex()
        roots = _roots(leaves)
        if printed is not None:
            _check_printed(roots, checked_root(printed), printed_entries)
        named = _check_files(root, rows, count)
        _check_reports(root, rows, count, remarks)
        _check_anchors(root, roots)
        remarks += _beside(root, named)
    except LedgerDamaged as damaged:
        failure = str(damaged)
    return Verified(count.entries, count.root, count.originals, count.tables, count.reports, failure, tuple(remarks))


def _read(root: Path, remarks: list[str]) -> tuple[list[Row], list[tuple[Any, ...]]]:
    """Every entry, and the rows of the tree as it is kept; the database as such is looked at first."""
    path = journal_path(root)
    with opened(root) as (connection, number), told(path):
        broken = connection.execute("PRAGMA integrity_check(1)").fetchone()[0]
        if broken != "ok":
            raise LedgerDamaged(f"{_shown(root, path)} is no whole database: {broken}")
        _check_schema(root, connection)
        if number != formats.FORMAT:
            remarks.append(
                f"the journal has the older format {number}; the next run brings it to format {formats.FORMAT}"
            )
        kept = connection.execute("SELECT entries, peaks FROM tree").fetchall()
        rows = [Row(*row) for row in connection.execute(f"SELECT {COLUMNS} FROM entry ORDER BY number")]
    return rows, kept


def _shown(root: Path, path: Path) -> str:
    return path.relative_to(root).as_posix()


def _check_schema(root: Path, connection: sqlite3.Connection) -> None:
    """What guards the entries against change is there, word by word, and nothing else is."""
    sql = "SELECT type || ' ' || name, sql FROM sqlite_master ORDER BY type, name"
    found = dict(connection.execute(sql).fetchall())
    with closing(sqlite3.connect(":memory:", isolation_level=None)) as model:
        formats.make(model)
        expected = dict(model.execute(sql).fetchall())
    where = _shown(root, journal_path(root))
    for name, text in expected.items():
        if name not in found:
            raise LedgerDamaged(f"{where}: the {name} is missing, which every journal has")
        if found[name] != text:
            raise LedgerDamaged(f"{where}: the {name} is not as recon makes it")
    for name in found:
        if name not in expected:
            raise LedgerDamaged(f"{where}: the {name} is not of recon's making")


def _check_entries(root: Path, rows: Sequence[Row]) -> list[bytes]:
    """The chain, entry by entry. Returns the leaves."""
    leaves: list[bytes] = []
    where, previous = _shown(root, journal_path(root)), FIRST
    for number, row in enumerate(rows, start=1):
        try:
            leaves.append(leaf_hash(_check_entry(row, number, previous)))
        except _Odd as odd:
            raise LedgerDamaged(f"{where}: {odd}") from odd
        previous = row.hash
    return leaves


class _Odd(Exception):
    """What is wrong with an entry."""


def _check_entry(row: Row, number: int, previous: str) -> bytes:
    """The bytes that the entry's hash is of."""
    if row.number != number:
        raise _Odd(f"entry {number} is missing: the next one has the number {row.number}")
    for name, value in zip(Row._fields[1:], row[1:], strict=True):
        if not isinstance(value, str):
            raise _Odd(f"entry {number}: its {name} is no text")
    try:
        data = bytes_of_row(row)
        odd = _spelling(row)
    except (ValueError, TypeError, RecursionError) as error:
        raise _Odd(f"entry {number} cannot be read: {error}") from error
    if row.previous != previous:
        raise _Odd(
            f"entry {number} follows an entry with the hash {row.previous}, but the entry before it has {previous}"
        )
    found = hashlib.sha256(data).hexdigest()
    if found != row.hash:
        raise _Odd(f"entry {number} ({row.kind}) was altered: its content has the hash {found}, kept is {row.hash}")
    if odd is not None:
        raise _Odd(f"entry {number} ({row.kind}): {odd}")
    return data


def _spelling(row: Row) -> str | None:
    """What in a row is not spelled as recon spells it: two spellings of one value would be two entries of one hash."""
    if canonical(json.loads(row.body)).decode() != row.body:
        return "its body is not in canonical form"
    if spelled(entry_of(row).at) != row.at:
        return f'its time "{row.at}" is not in the form of the ledger'
    return None


def _check_tree(root: Path, kept: Sequence[tuple[Any, ...]], leaves: Sequence[bytes]) -> None:
    where = _shown(root, journal_path(root))
    frontier = Frontier.over(leaves)
    if len(kept) != 1:
        raise LedgerDamaged(f"{where}: {len(kept)} rows in the table tree, expected 1")
    entries, peaks = kept[0]
    if entries != frontier.size:
        raise LedgerDamaged(f"{where}: the tree is over {entries} entries, but there are {frontier.size}")
    if peaks != b"".join(frontier.peaks).hex():
        raise LedgerDamaged(f"{where}: the kept tree is not that of the entries")


def checked_root(text: str) -> str:
    """A root as somebody typed it. Raises ReconError where it is none."""
    if HASH.fullmatch(text) is None:
        raise ReconError(f'the root "{text}" is not 64 hexadecimal digits (0-9, a-f): copy it as it was printed')
    return text


def _roots(leaves: Sequence[bytes]) -> list[str]:
    """The root over the first 0, 1, 2, ... entries."""
    frontier = Frontier()
    roots = [frontier.root.hex()]
    for leaf in leaves:
        frontier.append(leaf)
        roots.append(frontier.root.hex())
    return roots


def _check_printed(roots: Sequence[str], printed: str, entries: int | None) -> None:
    """The root that somebody has on paper is one that this ledger had."""
    held = len(roots) - 1
    if entries is None:
        if printed not in roots:
            raise LedgerDamaged(
                f"the ledger never had the root {printed}: of none of its first 0 to {held} entries it is the "
                "root. Entries were removed or rewritten after it was printed, or it is of another ledger"
            )
        return
    if entries > held:
        raise LedgerDamaged(
            f"the root was printed over {entries} entries, but the ledger holds {held}: "
            f"{entries - held} or more are missing at its end"
        )
    if roots[entries] != printed:
        raise LedgerDamaged(
            f"the first {entries} entries have the root {roots[entries]}, printed was {printed}: "
            "entries were rewritten after it was printed, or it is of another ledger"
        )


def _check_files(root: Path, rows: Sequence[Row], count: _Count) -> set[Path]:
    """Every kept file that an entry names, once each. Returns them."""
    seen: set[Path] = set()
    for row in rows:
        try:
            named = list(named_files(root, json.loads(row.body)))
        except NotAReference as odd:
            raise LedgerDamaged(f"entry {row.number} ({row.kind}): {odd}") from odd
        for what, path, sha256 in named:
            if path in seen:
                continue
            seen.add(path)
            try:
                whole(root, path, sha256)
            except LedgerDamaged as failure:
                raise LedgerDamaged(f"entry {row.number} ({row.kind}{_about(row)}): {failure}") from failure
            if what == "original":
                count.originals += 1
            else:
                count.tables += 1
    return seen


def _about(row: Row) -> str:
    file = json.loads(row.body).get("file")
    return f" {file}" if isinstance(file, str) else ""


def _check_reports(root: Path, rows: Sequence[Row], count: _Count, remarks: list[str]) -> None:
    """The results that runs left in reports/, as far as they are still there."""
    gone = 0
    for row in rows:
        body = json.loads(row.body)
        if row.kind != "run-made" or not isinstance(body.get("report"), str) or body.get("results") is None:
            continue
        path = root / "reports" / Path(body["report"]).name / "results.json"
        if not path.is_file():
            gone += 1
            continue
        try:
            whole(root, path, body["results"])
            if isinstance(body.get("sums"), str):
                _check_sums(root, path.parent, body["sums"])
        except LedgerDamaged as failure:
            raise LedgerDamaged(f"entry {row.number} (run-made): {failure}") from failure
        count.reports += 1
    if gone:
        remarks.append(f"{gone} of {gone + count.reports} reports are no longer in reports/, or were moved")


def _check_sums(root: Path, report: Path, sums: str) -> None:
    """Every file of a report that is still there, against the list of their hashes whose own hash the entry holds."""
    listed = whole(root, report / "SHA256SUMS", sums).decode()
    for line in listed.splitlines():
        sha256, _, name = line.partition("  ")
        if (report / name).is_file():
            whole(root, report / name, sha256)


def _check_anchors(root: Path, roots: Sequence[str]) -> None:
    """The roots that reports in reports/ carry (ledger.json) are roots that this ledger had.

    A report that a stopped run left half written begins with a dot, and nobody was shown it.
    """
    for path in sorted((root / "reports").glob("[!.]*/ledger.json")):
        try:
            with told(path):
                printed = json.loads(path.read_bytes())
            entries, top = printed["entries"], printed["root"]
            if not isinstance(entries, int) or not isinstance(top, str) or HASH.fullmatch(top) is None or entries < 0:
                raise ValueError("no number of entries, or no root")
        except (ValueError, KeyError, TypeError, RecursionError) as error:
            raise LedgerDamaged(f"{_shown(root, path)} was altered: it cannot be read ({error})") from error
        try:
            _check_printed(roots, top, entries)
        except LedgerDamaged as failure:
            raise LedgerDamaged(f"{_shown(root, path)}: {failure}") from failure


def _beside(root: Path, named: set[Path]) -> Iterator[str]:
    """What lies in the ledger folder and is named by no entry."""
    loose = sorted(
        path
        for folder in (originals_folder(root), tables_folder(root))
        for path in folder.rglob("*")
        if path.is_file() and path not in named
    )
    if loose:
        yield (
            f"{len(loose)} kept file(s) that no entry names, such as {_shown(root, loose[0])}: "
            "a run that was stopped leaves such files, and they count for nothing"
        )
    unfinished = ledger_folder(root) / UNFINISHED
    if unfinished.is_dir() and any(unfinished.iterdir()):
        yield f"{_shown(root, unfinished)} holds what a stopped run left unfinished; the next run clears it away"
    for half in sorted((root / "reports").glob(".part-*")):
        yield f"{_shown(root, half)} is half a report, which a stopped run left; the next run clears it away"
