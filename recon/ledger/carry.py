"""What a run carried forward, kept for the next: ledger/carried/, one file, known by the hash in the entry of the run.

It is no record: all of it can be worked out anew from what is kept, and is where it is missing, altered or made by
other versions. A newer run puts its own in its place. So the file is named in the entry, `carried`, and verified, but
goes into no bundle.
"""

import hashlib
import io
import json
import os
import zipfile
from collections.abc import Sequence
from contextlib import suppress
from datetime import datetime
from pathlib import Path
from typing import Final, NamedTuple

import polars as pl

from recon.balance.carried import Carried
from recon.ledger.faults import told
from recon.ledger.files import write_once
from recon.ledger.references import carried_path
from recon.model.border import guard
from recon.model.carried_frames import CARRIED, SPELLED
from recon.model.frame_spec import FrameSpec
from recon.model.frames import SLOTS, Frame

PARTS: Final = {"file": pl.Int32, "path": pl.String, "batch": pl.String, "number": pl.Int64}
"""The tables that carried vends come from: number in that run, path, batch of the shelf and number in the batch."""


HELD: Final = 128 << 20
"""Bytes of results up to which they are held once they were hashed: so nobody can alter them before they are used."""


class Text(NamedTuple):
    """The results of a run as text. report: name of its folder below reports/. sha256: of its results.json, hex.
    spelled: where settled windows stand in it, as a frame `spelled`."""

    report: str
    sha256: str
    spelled: Frame


class Kept(NamedTuple):
    """What a run carried forward. frames: with its numbers of slots and files, which `slots` and `parts` tell. general:
    hash of what all of it hangs on. made_at: the moment of the run. report, sha256: as in Text, once they are known:
    the lines of settled windows are not kept twice. results: these results, or where they are if they are long."""

    frames: Carried
    slots: Frame
    parts: Frame
    general: str
    made_at: datetime
    report: str = ""
    sha256: str = ""
    results: Path | bytes = b""


class Packed(NamedTuple):
    """What is to be kept, packed but for the places of its text. files: name and bytes of each. slots: numbers of those
    of which windows are settled."""

    files: Sequence[tuple[str, bytes]]
    slots: pl.Series
    general: str
    made_at: datetime


def packed(kept: Kept) -> Packed:
    """Pack what is to be kept. Where its lines stand is not asked yet, so that this may be done while they are written.
    """
    frames = {**dict(zip(Carried._fields, kept.frames, strict=True)), "slots": kept.slots, "parts": kept.parts}
    files = [(f"{name}.arrow", _as_arrow(frame)) for name, frame in frames.items() if name != "spelled"]
    return Packed(files, kept.frames.settled["slot"], kept.general, kept.made_at)


def keep_carried(root: Path, made: Packed, text: Text) -> str:
    """Keep it, once. text: the results of the run. Returns the SHA-256 of its file in hex. To be called while holding
    the lock of the ledger.

    Raises ReconError where it cannot be written.
    """
    data = _zipped(made, text)
    sha256 = hashlib.sha256(data).hexdigest()
    path = carried_path(root, sha256)
    with told(path):
        if path.is_file() and path.read_bytes() != data:
            # Somebody altered it: what counts is what the name says.
            path.unlink()
    write_once(root, path, data)
    return sha256


def _zipped(made: Packed, text: Text) -> bytes:
    whole = io.BytesIO()
    spelled = guard(text.spelled.filter(pl.col("slot").is_in(made.slots.implode())), SPELLED)
    meta = {"general": made.general, "made_at": made.made_at.isoformat(), "report": text.report, "sha256": text.sha256}
    last = [("spelled.arrow", _as_arrow(spelled)), ("meta.json", json.dumps(meta).encode())]
    with zipfile.ZipFile(whole, "w") as archive:
        for name, data in (*made.files, *last):
            archive.writestr(zipfile.ZipInfo(name), data)
    return whole.getvalue()


def _as_arrow(frame: Frame) -> bytes:
    """As an Arrow stream, which is written and read in a fraction of the time of Parquet: whoever reads it has the same
    version of polars."""
    if any(isinstance(dtype, pl.Categorical | pl.Enum) for dtype in frame.dtypes):
        frame = frame.with_columns(pl.col(pl.Categorical, pl.Enum).cast(pl.String))
    buffer = io.BytesIO()
    frame.write_ipc_stream(buffer, compression="lz4")
    return buffer.getvalue()


def carried_in(root: Path, sha256: str | None) -> Kept | None:
    """What was kept under a hash; None where it is not there any more, was altered, or where another version gave it
    another shape. Without the results of that run, as they were, there is none of it either.
    """
    if sha256 is None:
        return None
    try:
        data = carried_path(root, sha256).read_bytes()
        if hashlib.sha256(data).hexdigest() != sha256:
            return None
        kept = _unpacked(data)
        results, found = _hashed(root / "reports" / kept.report / "results.json")
        return kept._replace(results=results) if found == kept.sha256 else None
    except (KeyError, ValueError, TypeError, zipfile.BadZipFile, pl.exceptions.PolarsError):
        return None
    except OSError:
        # Another run may just have put its own in its place; reports may be moved elsewhere.
        return None


def _hashed(path: Path) -> tuple[Path | bytes, str]:
    """The bytes of a file, or its path where they are many, and their SHA-256 in hex."""
    with path.open("rb") as file:
        if os.fstat(file.fileno()).st_size > HELD:
            return path, hashlib.file_digest(file, "sha256").hexdigest()
        data = file.read()
    return data, hashlib.sha256(data).hexdigest()


def _unpacked(data: bytes) -> Kept:
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        meta = json.loads(archive.read("meta.json"))
        parts = pl.read_ipc_stream(io.BytesIO(archive.read("parts.arrow")))
        frames = [_read(archive, spec) for spec in (*CARRIED, SLOTS)]
    made_at = datetime.fromisoformat(meta["made_at"])
    return Kept(Carried(*frames[:-1]), frames[-1], parts, meta["general"], made_at, meta["report"], meta["sha256"])


def _read(archive: zipfile.ZipFile, spec: FrameSpec) -> Frame:
    table = pl.read_ipc_stream(io.BytesIO(archive.read(f"{spec.name}.arrow")))
    kinds = [column for column in spec.columns if table.schema[column.name] != column.dtype]
    return table.with_columns(pl.col(column.name).cast(column.dtype) for column in kinds) if kinds else table


def clear_carried(root: Path, but: str) -> None:
    """Remove what earlier runs carried forward. To be called while holding the lock, once the entry is lasting.

    What is there besides is somebody else's, and what cannot be removed does no harm.
    """
    for path in carried_path(root, but).parent.glob("*.zip"):
        if path.is_file() and path != carried_path(root, but):
            with suppress(OSError):
                path.unlink()
