"""What a run writes into the ledger: which files it met and took in, which settings held, which counts were put right.

An entry is made for what is new: a file under a name whose last entry says another content, a layout that changed, a
count put right that was not told before. The originals are kept before the entries that name them are made lasting, so
that an entry never speaks of what is not there.
"""

import hashlib
import re
from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any, Final, NamedTuple

import polars as pl

from recon.intake.cards import card_number_in, without_digits
from recon.intake.known import Known
from recon.intake.take_in import Intake
from recon.ledger.entries import EntryKind
from recon.ledger.journal import Writer
from recon.ledger.lines import chunks_of, line_tree
from recon.ledger.originals import keep
from recon.ledger.shelf import Batch, keep_batch
from recon.model.errors import ReconError
from recon.model.frames import Frame
from recon.route.folder import Route

SETTINGS: Final = ("route.toml", "products.csv", "sources/*.toml")
LAYOUTS: Final = ("layouts/*.toml", "layouts/*.csv")
REFUSED: Final = ("unreadable-file", "unknown-format", "card-number-present")
"""Findings that say that a file was not taken in."""
_CARD_IN_SETTINGS: Final = re.compile(rb"(?<![0-9])(?:[0-9]{14,19}|[0-9]{4}(?:[ -][0-9]{4}){3})(?![0-9])")
"""A card number as it is copied: lists of labels in a layout are numbers with blanks between them, too, and a bar code
of products.csv has 13 digits."""
PUT_RIGHT: Final = ("count-restated", "collection-restated")
"""Findings that say that a later sheet corrects an earlier one."""


class Seen(NamedTuple):
    """What a run met: the files of the settings by path, each with the hash of its content."""

    settings: Mapping[str, str]
    layouts: Mapping[str, str]


def record_settings(ledger: Writer, root: Path, at: datetime) -> Seen:
    """Keep the route's settings and layouts as they are now; an entry for each that is new or was changed."""
    settings = _keep_changed(ledger, root, SETTINGS, "settings-seen", at)
    return Seen(settings, _keep_changed(ledger, root, LAYOUTS, "layout-seen", at))


def _keep_changed(
    ledger: Writer, root: Path, patterns: Sequence[str], kind: EntryKind, at: datetime
) -> dict[str, str]:
    before = {entry.body["file"]: entry.body["original"] for entry in ledger.entries(kind)}
    now: dict[str, str] = {}
    for path in sorted(path for pattern in patterns for path in root.glob(pattern)):
        name = path.relative_to(root).as_posix()
        now[name] = keep(root, _without_cards(name, _bytes(path)))
        if before.get(name) != now[name]:
            ledger.append(kind, {"file": name, "original": now[name]}, at)
    return now


def _without_cards(name: str, data: bytes) -> bytes:
    for text in (name, *(found.decode() for found in _CARD_IN_SETTINGS.findall(data))):
        last = card_number_in(text)
        if last is not None:
            raise ReconError(
                f"{without_digits(name)} holds a full card number ending in {last}: no card number enters the ledger. "
                "Leave its last four digits alone, then run again"
            )
    return data


def _bytes(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as error:
        raise ReconError(f"{path.as_posix()} cannot be read: {error.strerror}. Run again once it can") from error


def record_files(ledger: Writer, root: Path, route: Route, intake: Intake, at: datetime) -> dict[int, tuple[str, int]]:
    """Keep every file of the inbox that was read anew, with its rows, and say which were refused and why.

    Returns for each input that is kept its batch, and its number in that.
    """
    before = _last_of_each(ledger)
    batches = [keep_batch(root, fresh, Known(route)) for fresh in intake.fresh]
    kept = {number: batch for batch in batches for number in batch.told}
    told = _refusals(intake.notices)
    for name, parts in _by_file(intake.inputs):
        refused = _refusal(told, parts)
        if refused is None:
            anew = any(part["file"] in kept for part in parts)
            if not anew and _is_known(before.get(name), parts[0]["sha256"]):
                continue
            body = _taken(root, name, parts, kept)
            kind: EntryKind = "file-taken"
        else:
            kind, body = "file-refused", {"file": name, **refused}
        if before.get(name) != (kind, body):
            ledger.append(kind, body, at)
    places = {at: (part.batch, part.number) for part, at in intake.kept}
    return places | {number: (batch.name, batch.told[number]["number"]) for number, batch in kept.items()}


def _is_known(last: tuple[EntryKind, Mapping[str, Any]] | None, sha256: str) -> bool:
    """Whether the last that was said of a file is that it was taken in with this content."""
    return last is not None and last[0] == "file-taken" and last[1]["sha256"] == sha256


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


def _taken(root: Path, name: str, parts: _Parts, batches: Mapping[int, Batch]) -> dict[str, Any]:
    data = _bytes(root / name)
    read = str(parts[0]["sha256"])
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
    told = [batches[part["file"]].told[part["file"]] for part in parts if part["file"] in batches]
    accounts = [{key: part[key] for key in _ACCOUNT} for part in parts]
    # A file of which a part could not be read, or with mended lines, is read anew each time.
    if len(told) < len(accounts):
        return {**whole, "parts": accounts, "batch": None, "table": []}
    kept = [{**account, **one} for account, one in zip(accounts, told, strict=True)]
    batch = batches[parts[0]["file"]]
    return {**whole, "parts": kept, "batch": batch.name, "table": list(batch.tables)}


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
    ledger: Writer, *, report: str, sums: str, results: str, lines: Mapping[str, Any], inputs: Frame, seen: Seen,
    versions: Mapping[str, str], carried: str | None,
    since: datetime | None, until: datetime, at: datetime,
) -> None:  # fmt: skip
    """Say that a run was made: from which files and settings, by which versions, with which results.

    report: name of its folder below reports/; sums: SHA-256 of the list of its files' hashes, hex. results: SHA-256 of
    its results.json, hex; lines: the tree of its lines. carried: SHA-256 of what is carried forward from then on, hex.
    """
    files = inputs.select(pl.col("name").alias("file"), "sha256").unique(maintain_order=True)
    body = {
        "report": report,
        "sums": sums,
        "results": results,
        "lines": lines,
        "inputs": files.filter(pl.col("sha256").is_not_null()).to_dicts(),
        "settings": [{"file": file, "original": sha256} for file, sha256 in {**seen.settings, **seen.layouts}.items()],
        "versions": dict(versions),
        "carried": carried,
        "since": None if since is None else since.isoformat(),
        "until": until.isoformat(),
    }
    ledger.append("run-made", body, at)
