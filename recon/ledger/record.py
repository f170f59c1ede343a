"""What a run writes into the ledger: which files it met and took in, which settings held, which counts were put right.

An entry is made for what is new: a file under a name whose last entry says another content, a layout that changed, a
count put right that was not told before. The originals are kept before the entries that name them are made lasting, so
that an entry never speaks of what is not there.
"""

import hashlib
from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any, Final

import polars as pl

from recon.intake.take_in import Intake
from recon.ledger.entries import EntryKind
from recon.ledger.journal import Writer
from recon.ledger.lines import chunks_of, line_tree
from recon.ledger.originals import keep
from recon.ledger.settings import list_of_run, tree_of_list
from recon.model.errors import ReconError
from recon.model.frames import Frame

REFUSED: Final = ("unreadable-file", "unknown-format", "card-number-present")
"""Findings that say that a file was not taken in."""
PUT_RIGHT: Final = ("count-restated", "collection-restated")
"""Findings that say that a later sheet corrects an earlier one."""


def _bytes(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as error:
        raise ReconError(f"{path.as_posix()} cannot be read: {error.strerror}. Run again once it can") from error


def record_files(ledger: Writer, root: Path, intake: Intake, at: datetime) -> None:
    """Keep every file of the inbox that is new, and say which were refused and why."""
    before = _last_of_each(ledger)
    refusals = _refusals(intake.notices)
    for name, parts in _by_file(intake.inputs):
        refused = _refusal(refusals, parts)
        last = before.get(name)
        if refused is None:
            kind: EntryKind = "file-taken"
            body = _taken(root, name, parts, last[1] if last is not None and last[0] == kind else None)
        else:
            kind, body = "file-refused", {"file": name, **refused}
        if body is not None and last != (kind, body):
            ledger.append(kind, body, at)


def _last_of_each(ledger: Writer) -> dict[str, tuple[EntryKind, Mapping[str, Any]]]:
    entries = [*ledger.entries("file-taken"), *ledger.entries("file-refused")]
    return {
        entry.body["file"]: (entry.kind, entry.body) for entry in sorted(entries, key=lambda entry: entry.number)
    }


_Parts = list[dict[str, Any]]
"""The inputs that come from one file: a workbook gives one for each of its sheets."""


def _by_file(inputs: Frame) -> Iterator[tuple[str, _Parts]]:
    by_name: dict[str, _Parts] = {}
    for part in inputs.iter_rows(named=True):
        by_name.setdefault(part["name"], []).append(part)
    yield from by_name.items()


def _refusals(notices: Frame) -> dict[int, list[tuple[int, str, str]]]:
    """By file what is said of it that it was not taken in for: place among the remarks, kind and detail."""
    told: dict[int, list[tuple[int, str, str]]] = {}
    refused = notices.filter(pl.col("kind").is_in(REFUSED)).select("file", "kind", "detail")
    for place, (file, kind, detail) in enumerate(refused.iter_rows()):
        told.setdefault(file, []).append((place, kind, detail))
    return told


def _refusal(refusals: Mapping[int, list[tuple[int, str, str]]], parts: _Parts) -> dict[str, Any] | None:
    """Why a file was not taken in, if it was not. Nothing of a file with a card number goes into the ledger."""
    told = sorted(remark for part in parts for remark in refusals.get(part["file"], ()))
    if any(kind == "card-number-present" for _, kind, _ in told):
        return {"kind": "card-number-present", "reason": "it holds a full card number", "sha256": None}
    # A workbook of which one sheet could be used is kept: its rows count.
    if len(told) < len(parts):
        return None
    return {"kind": told[0][1], "reason": told[0][2], "sha256": parts[0]["sha256"]}


def _taken(root: Path, name: str, parts: _Parts, last: Mapping[str, Any] | None) -> dict[str, Any] | None:
    """Return what the entry of a file says; None where its last entry says as much. last: the body of that entry."""
    read = str(parts[0]["sha256"])
    accounts = [{key: part[key] for key in _ACCOUNT} for part in parts]
    if last is not None and last["sha256"] == read:
        told = [{key: part[key] for key in _ACCOUNT} for part in last["parts"]]
        if told == accounts:
            return None
        own = {key: last[key] for key in ("file", "sha256", "original", "size", "lines")}
        return {**own, "parts": accounts}
    data = _bytes(root / name)
    hashed = hashlib.sha256(data)
    found = hashed.hexdigest()
    if found != read:
        raise ReconError(
            f"{name} changed while it was read: its content has the hash {found}, "
            f"expected {read}. Let whatever writes it finish, then run again"
        )
    keep(root, data, sha256=found)
    lines = line_tree(chunks_of(data), hashed)
    whole = {"file": name, "sha256": read, "original": read, "size": len(data), "lines": lines}
    return {**whole, "parts": accounts}


_ACCOUNT: Final = ("path", "sheet", "kind", "source", "rows", "rejected")


def record_restated(ledger: Writer, findings: Frame, paths: Sequence[str], at: datetime) -> None:
    """Say each count and each collection that a later sheet put right, once."""
    known = {(entry.body["finding"], entry.body["message"]) for entry in ledger.entries("count-restated")}
    told = findings.filter(pl.col("kind").is_in(PUT_RIGHT)).sort("opened_at", "machine", "label", "id")
    for row in told.iter_rows(named=True):
        if (row["id"], row["message"]) in known:
            continue
        body = {
            "finding": row["id"],
            "kind": row["kind"],
            "machine": row["machine"],
            "label": row["label"],
            "message": row["message"],
            "rows": [{"file": paths[place["file"]], "row": place["row"]} for place in row["evidence"]],
        }
        ledger.append("count-restated", body, at)


def record_run(
    ledger: Writer, *, report: str, sums: str, results: str, lines: Mapping[str, Any], inputs: Frame,
    seen: Mapping[str, str], versions: Mapping[str, str],
    since: datetime | None, until: datetime, at: datetime,
) -> None:  # fmt: skip
    """Say that a run was made: from which files and settings, by which versions, with which results.

    report: name of its folder below reports/; sums: SHA-256 of the list of its files' hashes, hex. results: SHA-256 of
    its results.json, hex; lines: the tree of its lines. seen: the SHA-256 of each settings file by name.
    """
    files = inputs.select(pl.col("name").alias("file"), "sha256").unique(maintain_order=True)
    body = {
        "report": report,
        "sums": sums,
        "results": results,
        "lines": lines,
        "inputs": files.filter(pl.col("sha256").is_not_null()).to_dicts(),
        "settings": tree_of_list(list_of_run(seen)),
        "versions": dict(versions),
        "since": None if since is None else since.isoformat(),
        "until": until.isoformat(),
    }
    ledger.append("run-made", body, at)
