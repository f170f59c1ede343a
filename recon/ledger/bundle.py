"""A bundle: files that someone else can verify without recon, in one zip.

    SHA256SUMS                     the hash of every other file, as the program sha256sum writes and checks it
    bundle.json                    which entry proves which file, and how each entry leads to the root
    entries/000012-file-taken.json an entry, as the bytes that are hashed: its SHA-256 is the entry's own hash
    proofs/...                     for a file that is shown in part: salts of the lines shown, hashes of the others
    verify.py                      checks all of it (recon/ledger/bundle_verifier.py)

and whatever else is put in. The bytes depend on what is put in alone: names are sorted, times fixed.
"""

import hashlib
import io
import json
import re
import zipfile
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final

from recon.ledger import bundle_verifier
from recon.ledger.entries import Row, bytes_of_row, entry_of, leaf_of_row
from recon.ledger.lines import Blanked, blanked
from recon.ledger.merkle import consistency_path, inclusion_path, root

FORMAT: Final = "recon-bundle/1"
_EARLIEST: Final = datetime(1980, 1, 1, tzinfo=UTC)
"""The first moment that a zip can name."""
_CR_ALONE: Final = re.compile(rb"\r(?!\n)")
"""A line end of old systems."""


def safe_name(name: str) -> str:
    """A path of a route folder as a name in a bundle, which lists and unpacks anywhere."""
    return re.sub(r'[\x00-\x1f\x7f\\:*?"<>|]', "_", name)


def shown_text(data: bytes, part: Blanked) -> bytes | None:
    """A file with the lines that are not shown left empty, each where it stood; None where that would move others."""
    blank = b"\r" if _CR_ALONE.search(data) else b"\n"
    pieces, after = list[bytes](), 1
    for number, _, lines in part.shown:
        pieces += [blank * (number - after), lines]
        after = number + len(lines.splitlines())
    text = b"".join([*pieces, blank * (part.count + 1 - after)])
    return text if len(text.splitlines()) == part.count else None


@dataclass(slots=True)
class Bundle:
    """A bundle being put together from the rows of a journal, all of them."""

    rows: list[Row]
    files: dict[str, bytes] = field(default_factory=dict)
    wanted: set[int] = field(default_factory=set)
    claims: list[dict[str, Any]] = field(default_factory=list)

    def entry(self, number: int) -> None:
        """Put in an entry, with its path to the root."""
        self.wanted.add(number)

    def plain(self, name: str, data: bytes) -> None:
        """Put in a file that no entry speaks of."""
        self.files[safe_name(name)] = data

    def whole(
        self, name: str, data: bytes, entry: int, key: str = "original", *, listed: str | None = None
    ) -> None:
        """Put in a file whose hash an entry has under `key`.

        listed: the list in settings/lists/ that has the hash instead, of which the entry has a tree.
        """
        self.entry(entry)
        self.files[safe_name(name)] = data
        by_list = {} if listed is None else {"list": listed}
        self.claims.append({"file": safe_name(name), "entry": entry, "key": key, "proof": None, **by_list})

    def part(self, name: str, data: bytes, shown: Iterable[int], entry: int, key: str = "lines") -> bool:
        """Put in some lines of a file, the others left empty; the entry has the tree over its lines under `key`.

        Of a long file whole leaves of the tree are shown. Returns False, and puts nothing in, where its lines cannot be
        shown in their places.
        """
        made = blanked(data, shown, entry_of(self.rows[entry - 1]).body[key])
        text = shown_text(data, made)
        if text is None:
            return False
        self.entry(entry)
        proof = f"proofs/{safe_name(name)}.json"
        self.files[safe_name(name)] = text
        self.files[proof] = _json(
            {
                "count": made.count,
                "shown": [[number, salt.hex()] for number, salt, _ in made.shown],
                "hidden": [part.hex() for part in made.hidden],
            }
        )
        self.claims.append({"file": safe_name(name), "entry": entry, "key": key, "proof": proof})
        return True

    def finished(self, about: Mapping[str, Any], earlier: Iterable[int]) -> dict[str, bytes]:
        """All files by name. about: what the bundle is about, for bundle.json. earlier: numbers of entries after which
        a root was printed, each of which is proved to be of the same ledger."""
        leaves = [leaf_of_row(row) for row in self.rows]
        index = {
            "format": FORMAT,
            **about,
            "size": len(leaves),
            "root": root(leaves).hex(),
            "entries": [self._entry(number, leaves) for number in sorted(self.wanted)],
            "earlier": [_earlier(count, leaves) for count in sorted(set(earlier)) if count],
            "files": sorted(self.claims, key=lambda claim: str(claim["file"])),
        }
        self.files["bundle.json"] = _json(index)
        self.files["verify.py"] = Path(bundle_verifier.__file__).read_bytes().replace(b"\r\n", b"\n")
        sums = (f"{hashlib.sha256(data).hexdigest()}  {name}\n" for name, data in sorted(self.files.items()))
        self.files["SHA256SUMS"] = "".join(sums).encode()
        return dict(sorted(self.files.items()))

    def _entry(self, number: int, leaves: list[bytes]) -> dict[str, Any]:
        row = self.rows[number - 1]
        name = f"entries/{number:06d}-{row.kind}.json"
        self.files[name] = bytes_of_row(row)
        return {"file": name, "path": [step.hex() for step in inclusion_path(leaves, number - 1)]}


def _earlier(count: int, leaves: list[bytes]) -> dict[str, Any]:
    path = [step.hex() for step in consistency_path(leaves, count)]
    return {"entries": count, "root": root(leaves[:count]).hex(), "path": path}


def _json(value: object) -> bytes:
    """JSON that people can look through: one item a line where a list is long."""
    text = json.dumps(value, indent=1, ensure_ascii=False, sort_keys=False)
    return text.encode() + b"\n"


def zipped(files: Mapping[str, bytes], moment: datetime | None = None) -> bytes:
    """The files as a zip. moment: the time that it says of all of them (UTC); by default the first that a zip knows."""
    at = max(moment or _EARLIEST, _EARLIEST).astimezone(UTC)
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as archive:
        for name, data in sorted(files.items()):
            told = zipfile.ZipInfo(name, at.timetuple()[:6])
            told.compress_type = zipfile.ZIP_DEFLATED
            told.create_system = 3  # the same on every system
            told.external_attr = 0o100644 << 16
            archive.writestr(told, data, compresslevel=9)
    return buffer.getvalue()
