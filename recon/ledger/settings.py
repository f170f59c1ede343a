"""The settings and layouts of a route as the ledger keeps them: one entry and one kept file for all that changed.

A run that meets files new, changed or gone writes one entry `settings-seen`. It names a packed file (`original`):

    {"file":"layouts/m-1.toml","original":"9f3c...","size":812}     a file that is new or changed, and its SHA-256
    {"file":"layouts/m-7.toml","original":null,"size":0}            a file that is gone
                                                                    (an empty line)
    machine = "m-1"...                                              the contents in this order, a line feed after each

The lines are canonical JSON in the order of the names, so that equal files give equal bytes. The entry also holds a
tree over these lines (`lines`, see recon.ledger.lines): a bundle proves one file of them without showing the others.
What holds at a moment is the union of all entries up to then; a run's own entry holds a tree over that list, too.
Ledgers of older versions have an entry for each file (`file`, `original`), which counts in the same union.
"""

import hashlib
import json
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import datetime
from itertools import accumulate
from pathlib import Path
from typing import Any, Final, NamedTuple

from recon.intake.cards import card_number_in, many_digits, without_digits
from recon.ledger.canonical import canonical
from recon.ledger.entries import Entry
from recon.ledger.journal import Writer
from recon.ledger.lines import chunks_of, line_tree
from recon.ledger.originals import keep, original
from recon.model.errors import LedgerDamaged, ReconError
from recon.route.files import listed, read_bytes

PLAIN: Final = ("route.toml", "products.csv")
FOLDERS: Final = {"layouts": (".toml", ".csv"), "sources": (".toml",)}
"""Folders of settings, with the endings of the files that are read there."""

_CARD: Final = re.compile(rb"(?<![0-9])(?:[0-9]{14,19}|[0-9]{4}(?:[ -][0-9]{4}){3})(?![0-9])")
"""A card number as it is copied: lists of labels in a layout are numbers with blanks between them, too, and a bar code
of products.csv has 13 digits."""


class Seen(NamedTuple):
    """The files that one entry is about.

    entry: its number. files: name to SHA-256 of the content, None for a file that was gone. pack: SHA-256 of the packed
    file that holds the contents; None where each is kept by itself.
    """

    entry: int
    files: Mapping[str, str | None]
    pack: str | None


def record_settings(ledger: Writer, root: Path, at: datetime) -> dict[str, str]:
    """Keep what is new or changed of a route's settings and layouts, and write one entry if anything is.

    Returns the SHA-256 of each file as it is now, by name. Raises ReconError where a file cannot be read or holds a
    card number.
    """
    entries = [*ledger.entries("settings-seen"), *ledger.entries("layout-seen")]
    seen = seen_settings(sorted(entries, key=lambda entry: entry.number), root)
    before = {name: held.files[name] for name, held in files_held(seen).items()}
    contents = {name: _bytes(root, name) for name in _names(root)}
    _refuse_cards(contents)
    now = {name: hashlib.sha256(data).hexdigest() for name, data in contents.items()}
    changed = {name: sha256 for name, sha256 in now.items() if before.get(name) != sha256}
    gone = dict.fromkeys(before.keys() - now.keys())
    if changed or gone:
        rows = sorted([*changed.items(), *gone.items()])
        told = _lines({"file": name, "original": sha256, "size": len(contents.get(name, b""))} for name, sha256 in rows)
        pack = b"".join([told, b"\n", *(contents[name] + b"\n" for name in sorted(changed))])
        ledger.append("settings-seen", {"original": keep(root, pack), "lines": tree_of_list(told)}, at)
    return now


def tree_of_list(rows: bytes) -> dict[str, Any]:
    """Build the tree over the lines of a list."""
    return line_tree(chunks_of(rows), hashlib.sha256(rows))


def list_of_run(files: Mapping[str, str]) -> bytes:
    """Return the settings that a run had, a line for each, over which its entry holds a tree. files: name to SHA-256.
    """
    return _lines({"file": name, "original": sha256} for name, sha256 in sorted(files.items()))


def seen_settings(entries: Iterable[Entry], root: Path) -> list[Seen]:
    """Read what entries say of settings, in their order. Raises LedgerDamaged where a packed file is missing or
    altered."""
    found = []
    for entry in entries:
        if entry.kind not in ("settings-seen", "layout-seen"):
            continue
        if "file" in entry.body:
            found.append(Seen(entry.number, {entry.body["file"]: entry.body["original"]}, None))
        else:
            pack = str(entry.body["original"])
            files = {row["file"]: row["original"] for row in _rows(list_of_pack(root, pack), pack)}
            found.append(Seen(entry.number, files, pack))
    return found


def files_held(seen: Iterable[Seen]) -> dict[str, Seen]:
    """Return each file that is there after these entries, with the one that saw it as it is then."""
    held: dict[str, Seen] = {}
    for one in seen:
        held |= dict.fromkeys(one.files, one)
    return {name: one for name, one in held.items() if one.files[name] is not None}


def list_of_pack(root: Path, pack: str) -> bytes:
    """Return the lines of a packed file that say what is in it."""
    data = original(root, pack)
    end = 0 if data.startswith(b"\n") else data.find(b"\n\n") + 1
    return data[:end]


def contents_of(root: Path, seen: Seen, names: Sequence[str]) -> Iterator[tuple[str, bytes]]:
    """Return the contents of some of the files that an entry saw. Raises LedgerDamaged where they are missing or
    altered."""
    if seen.pack is None:
        for name in names:
            yield name, original(root, str(seen.files[name]))
        return
    data, told = original(root, seen.pack), list_of_pack(root, seen.pack)
    rows = [row for row in _rows(told, seen.pack) if row["original"] is not None]
    starts = accumulate((row["size"] + 1 for row in rows), initial=len(told) + 1)
    places = {row["file"]: (start, row) for start, row in zip(starts, rows, strict=False)}
    for name in names:
        start, row = places[name]
        content = data[start : start + row["size"]]
        if hashlib.sha256(content).hexdigest() != row["original"]:
            raise LedgerDamaged(f"the packed file {seen.pack} does not hold {name} as it says. Put it back from a copy")
        yield name, content


def _lines(rows: Iterable[Mapping[str, Any]]) -> bytes:
    return b"".join(canonical(row) + b"\n" for row in rows)


def _rows(told: bytes, pack: str) -> list[dict[str, Any]]:
    try:
        return list(json.loads(b"[" + b",".join(told.splitlines()) + b"]"))
    except ValueError as error:
        raise LedgerDamaged(f"the packed file {pack} cannot be read ({error}). Put it back from a copy") from error


def _names(root: Path) -> list[str]:
    """Return the files of a route that a run reads as settings."""
    plain = [name for name in PLAIN if (root / name).exists()]
    names = [*plain, *(name for folder, endings in FOLDERS.items() for name in listed(root, folder, endings))]
    for name in names:
        try:
            name.encode()
        except UnicodeEncodeError as error:
            shown = name.encode(errors="replace").decode()
            raise ReconError(f"{shown} has a name that is no text in UTF-8: rename it, then run again") from error
    return names


def _refuse_cards(contents: Mapping[str, bytes]) -> None:
    """No card number enters the ledger. No number goes over the end of a line: each distinct line is searched once."""
    lines = set(b"\n".join(contents.values()).split(b"\n"))
    if _CARD.search(b"\n".join(lines)) is None and not many_digits("\n".join(contents)):
        return
    for name, data in contents.items():
        for text in (name, *(found.decode() for found in _CARD.findall(data))):
            last = card_number_in(text)
            if last is not None:
                raise ReconError(
                    f"{without_digits(name)} holds a full card number ending in {last}: no card number enters the "
                    "ledger. Leave its last four digits alone, then run again"
                )


def _bytes(root: Path, name: str) -> bytes:
    try:
        return read_bytes(root, name)
    except OSError as error:
        where = (root / name).as_posix()
        raise ReconError(f"{where} cannot be read: {error.strerror}. Run again once it can") from error
