"""Gzip and zip around one file, and what is none: told in plain words, within limits, never written to disk."""

import contextlib
import gzip
import io
import os
import zipfile
from pathlib import Path

import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st
from inbox import taken

from recon.intake import container
from recon.intake.container import unpack
from recon.intake.encoding import UnreadableFile

COUNTS = b"machine,time,label,counted\nm-1,2026-09-14 09:00,110,4\n"


def zipped(files: dict[str, bytes], kind: int = zipfile.ZIP_DEFLATED) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", kind) as archive:
        for name, data in files.items():
            archive.writestr(name, data)
    return out.getvalue()


PACKED = {
    "gzip": gzip.compress(COUNTS), "zip": zipped({"counts.csv": COUNTS}), "stored": zipped({"a/b/counts.csv": COUNTS},
    0),
    "gzip in zip": zipped({"counts.csv.gz": gzip.compress(COUNTS)}),
    "zip in gzip": gzip.compress(zipped({"c.csv": COUNTS})),
    "two members": gzip.compress(COUNTS[:20]) + gzip.compress(COUNTS[20:]),
    "system files": zipped({"__MACOSX/._c.csv": b"x", ".DS_Store": b"x", "Thumbs.db": b"x", "c.csv": COUNTS}),
}  # fmt: skip


@pytest.mark.parametrize("name", PACKED)
def test_the_one_file_is_taken_out_and_read(name: str, tmp_path: Path) -> None:
    assert unpack(PACKED[name], "x.bin").data == COUNTS
    intake = taken(tmp_path, {"any-name.csv": PACKED[name]})
    assert intake.counts.select("row", "label", "counted").rows() == [(2, "110", 4)]
    assert sorted(path.name for path in (tmp_path / "inbox").rglob("*")) == ["any-name.csv"]


def test_a_description_speaks_for_the_name_outside_or_inside(tmp_path: Path) -> None:
    source = (
        'kind = "counts"\nfiles = ["week-*.csv"]\nmachine_from_name = \'week-\\d+-(m-\\d)\\.csv\'\n'
        '[columns]\ntime = "When"\nlabel = "Slot"\ncounted = "Left"\n'
    )
    data = b"When;Slot;Left\n2026-09-14 09:00;110;4\n"
    for at, (name, packed) in enumerate({
        "week-38-m-1.csv.gz": gzip.compress(data), "mail.zip": zipped({"some/folder/week-38-m-1.csv": data}),
        "b.zip": zipped({"week-38-m-1.csv.gz": gzip.compress(data)}),
    }.items()):  # fmt: skip
        intake = taken(tmp_path / str(at), {"sources/weekly.toml": source, name: packed})
        assert intake.inputs["source"].to_list() == ["weekly"]
        assert intake.counts["machine"].to_list() == ["m-1"]


@pytest.mark.parametrize(
    ("data", "found"),
    [
        (zipped({"a.csv": COUNTS, "b/c.csv": COUNTS}), "zip of 2 files (a.csv, c.csv)"),
        (zipped({}), "without a file"),
        (zipped({"a.zip": zipped({"b.gz": gzip.compress(COUNTS)})}), "archive within an archive within"),
        (gzip.compress(gzip.compress(gzip.compress(COUNTS))), "archive within an archive within"),
        (gzip.compress(os.urandom(500))[:300], "ends too early"),
        (gzip.compress(COUNTS)[:-8] + b"\0" * 8, "damaged gzip"),
        (zipped({"a.csv": COUNTS})[:60], "damaged zip"),
        (zipped({"[Content_Types].xml": b"", "word/document.xml": b""}), "without sheets"),
        (zipped({"mimetype": b"application/vnd.oasis.opendocument.text", "content.xml": b""}), "without sheets"),
        (zipped({"4111111111111111.csv": COUNTS, "b.csv": COUNTS}), "(....csv, b.csv)"),
    ],
)
def test_what_cannot_be_unpacked_is_refused_in_plain_words(data: bytes, found: str) -> None:
    with pytest.raises(UnreadableFile) as error:
        unpack(data, "a.zip")
    assert found in str(error.value)


def test_a_zip_with_damaged_content_is_refused() -> None:
    data = bytearray(zipped({"a.csv": COUNTS * 50}, 0))
    data[data.index(b"110")] ^= 1
    with pytest.raises(UnreadableFile, match="damaged zip"):
        unpack(bytes(data), "a.zip")


def test_a_locked_zip_is_told() -> None:
    data = bytearray(zipped({"a.csv": COUNTS}))
    for mark, at in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):
        data[data.index(mark) + at] |= 1
    with pytest.raises(UnreadableFile, match="password"):
        unpack(bytes(data), "a.zip")


@pytest.mark.parametrize("packed", [gzip.compress, lambda data: zipped({"a.csv": data})])
def test_what_unpacks_to_far_too_much_is_refused(packed, monkeypatch: pytest.MonkeyPatch) -> None:  # type: ignore[no-untyped-def]
    data = packed(b"0" * 3_000_000)
    assert len(unpack(data, "a").data) == 3_000_000
    monkeypatch.setattr(container, "SUSPECT_SIZE", 2_000_000)
    with pytest.raises(UnreadableFile, match="200 times"):
        unpack(data, "a")
    monkeypatch.setattr(container, "SUSPECT_RATIO", 5000)
    assert len(unpack(data, "a").data) == 3_000_000
    monkeypatch.setattr(container, "LARGEST", 2_000_000)
    with pytest.raises(UnreadableFile, match="4 GiB"):
        unpack(data, "a")


def test_the_limits_are_those_of_the_page() -> None:
    assert (container.LARGEST, container.SUSPECT_SIZE, container.SUSPECT_RATIO) == (4 * 1024**3, 64 * 1024**2, 200)


def test_a_card_number_inside_an_archive_keeps_it_out(tmp_path: Path) -> None:
    """A published test number, from memory."""
    data = COUNTS.replace(b"counted\n", b"counted,card\n").replace(b",4\n", b",4,4111111111111111\n")
    intake = taken(tmp_path, {"a.zip": zipped({"a.csv": data})})
    assert intake.notices.filter(pl.col("kind") == "card-number-present").height == 1
    assert intake.counts.height == 0
    assert intake.rejects["text"].to_list() == ["(withheld)"]


@given(st.binary(max_size=80), st.sampled_from([b"\x1f\x8b\x08\x00", b"PK\x03\x04", b"PK\x05\x06"]))
def test_any_bytes_are_unpacked_or_refused(data: bytes, begin: bytes) -> None:
    with contextlib.suppress(UnreadableFile):
        assert isinstance(unpack(begin + data, "a.csv").data, bytes)
