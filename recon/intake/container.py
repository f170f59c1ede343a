"""Gzip and zip around one file: unpacked in memory, by content and not by name, within limits, never onto the disk.

Names in a zip serve to tell its one data file and to find its description; folders in them are ignored.
"""

import io
import zipfile
import zlib
from dataclasses import dataclass

from recon.intake.cards import without_digits
from recon.intake.encoding import GZIP, ZIP, UnreadableFile

LARGEST = 4 * 1024**3
"""Bytes. What unpacks to more is no export of a small route."""
SUSPECT_RATIO = 200
"""Unpacked bytes for each packed one beyond which a file may not unpack to more than SUSPECT_SIZE: tables shrink to a
tenth."""
SUSPECT_SIZE = 64 * 1024**2
DEEPEST = 2
"""A gzip in a zip, or a zip in a gzip, and nothing deeper."""

_CHUNK = 1024 * 1024
_BY_SYSTEMS = ("__macosx/", "thumbs.db", "desktop.ini")


@dataclass(frozen=True, slots=True)
class Unpacked:
    """data: the file itself. names: what else it goes by, innermost last. book: whether it is a zipped workbook."""

    data: bytes
    names: tuple[str, ...] = ()
    book: bool = False


def unpack(data: bytes, name: str) -> Unpacked:
    """Take the one file out of a gzip or zip; anything else is handed back as it is.

    Raises UnreadableFile for an archive that is damaged, locked, empty, nested too deep, too large, or of several
    files.
    """
    names: list[str] = []
    for depth in range(DEEPEST + 1):
        if data.startswith(GZIP):
            _not_deeper(depth)
            names += [name.rsplit(".", 1)[0]] if name.lower().endswith((".gz", ".gzip")) else []
            data = _gunzip(data)
        elif data.startswith(ZIP):
            archive = _open(data)
            if _is_office(archive):
                _guard(sum(entry.file_size for entry in archive.infolist()), len(data))
                return Unpacked(data, tuple(names), book=True)
            _not_deeper(depth)
            inner, data = _only_file(archive, len(data))
            names.append(inner)
        else:
            break
        name = names[-1] if names else name
    return Unpacked(data, tuple(dict.fromkeys(names)))


def _not_deeper(depth: int) -> None:
    if depth >= DEEPEST:
        raise UnreadableFile(
            "it is an archive within an archive within an archive: unpack it and put the file itself into inbox/"
        )


def _guard(unpacked: int, packed: int) -> None:
    if unpacked > LARGEST:
        raise UnreadableFile("it unpacks to more than 4 GiB: split it")
    if unpacked > SUSPECT_SIZE and unpacked > packed * SUSPECT_RATIO:
        raise UnreadableFile(
            f"it unpacks to more than {SUSPECT_RATIO} times its size, as no table does:"
            " unpack it yourself if you trust it"
        )


def _gunzip(data: bytes) -> bytes:
    out = io.BytesIO()
    rest = data
    try:
        # A gzip may hold several members one after the other, which are one file (RFC 1952, section 2.2).
        while rest.startswith(GZIP):
            member = zlib.decompressobj(16 + zlib.MAX_WBITS)
            while not member.eof:
                part = member.decompress(rest, _CHUNK)
                rest = member.unconsumed_tail
                out.write(part)
                _guard(out.tell(), len(data))
                if not part and not rest and not member.eof:
                    raise UnreadableFile("it is a gzip that ends too early: fetch it again")
            rest = member.unused_data
    except zlib.error as error:
        raise UnreadableFile(f"it is a damaged gzip ({error}): fetch it again") from error
    return out.getvalue()


def _open(data: bytes) -> zipfile.ZipFile:
    try:
        return zipfile.ZipFile(io.BytesIO(data))
    except (zipfile.BadZipFile, ValueError, OSError) as error:
        raise UnreadableFile("it is a damaged zip or workbook: fetch or save it again") from error


def _is_office(archive: zipfile.ZipFile) -> bool:
    """Whether a zip is a workbook. Raises UnreadableFile for a text document, or one that is locked."""
    names = set(archive.namelist())
    if "[Content_Types].xml" in names:
        if not any(name.startswith("xl/") for name in names):
            raise UnreadableFile("it is an office document without sheets: save the table as a spreadsheet or CSV")
        return True
    if "mimetype" not in names or "content.xml" not in names:
        return False
    kind, manifest = (_small(archive, name) for name in ("mimetype", "META-INF/manifest.xml"))
    if b"spreadsheet" not in kind:
        raise UnreadableFile("it is an office document without sheets: save the table as a spreadsheet or CSV")
    if b"encryption-data" in manifest:
        raise UnreadableFile("the workbook is locked with a password: save it without one")
    return True


def _small(archive: zipfile.ZipFile, name: str) -> bytes:
    try:
        with archive.open(name) as file:
            return file.read(_CHUNK)
    except (KeyError, zipfile.BadZipFile, zlib.error, RuntimeError, NotImplementedError, EOFError):
        return b""


def _only_file(archive: zipfile.ZipFile, packed: int) -> tuple[str, bytes]:
    entries = [entry for entry in archive.infolist() if not entry.is_dir() and not _of_system(entry.filename)]
    if not entries:
        raise UnreadableFile("it is a zip without a file in it")
    names = [_bare(entry.filename) for entry in entries]
    if len(entries) > 1:
        shown = ", ".join(without_digits(name) for name in names[:10]) + (
            f" and {len(names) - 10} more" if len(names) > 10 else ""
        )
        raise UnreadableFile(
            f"it is a zip of {len(entries)} files ({shown}): unpack it and put the files themselves into inbox/"
        )
    if entries[0].flag_bits & 1:
        raise UnreadableFile("the zip is locked with a password: unpack it first")
    return names[0], _read(archive, entries[0], packed)


def _read(archive: zipfile.ZipFile, entry: zipfile.ZipInfo, packed: int) -> bytes:
    out = io.BytesIO()
    try:
        with archive.open(entry) as file:
            # The size that the archive states may be a lie: what counts is what comes out.
            while part := file.read(_CHUNK):
                out.write(part)
                _guard(out.tell(), packed)
    except (zipfile.BadZipFile, zlib.error, EOFError, OSError) as error:
        raise UnreadableFile("it is a damaged zip: fetch it again") from error
    except (NotImplementedError, RuntimeError) as error:
        raise UnreadableFile(f"it is a zip that cannot be unpacked here ({error}): unpack it first") from error
    return out.getvalue()


def _bare(path: str) -> str:
    return path.replace("\\", "/").rsplit("/", 1)[-1]


def _of_system(path: str) -> bool:
    """What operating systems leave in archives beside the files."""
    lower = path.replace("\\", "/").lower()
    return lower.startswith(_BY_SYSTEMS[0]) or _bare(lower).startswith(".") or _bare(lower) in _BY_SYSTEMS
