"""Files of the ledger: written whole or not at all, readable by their owner alone, and never written again.

A file is written below ledger/unfinished/ and renamed when it is on the disk, so that a kill leaves at most an
unfinished one, which the next writer clears away.
"""

import os
import tempfile
from pathlib import Path
from typing import Final

from recon.ledger.faults import told

LEDGER: Final = "ledger"
UNFINISHED: Final = "unfinished"


def ledger_folder(root: Path) -> Path:
    """Where the ledger of a route folder lies."""
    return root / LEDGER


def private_folder(folder: Path) -> Path:
    """Make a folder, and those above it up to the ledger's, for the owner alone (mode 0700). Returns it."""
    if not folder.is_dir():
        if folder.name != LEDGER:
            private_folder(folder.parent)
        with told(folder):
            folder.mkdir(mode=0o700, exist_ok=True)
            sync_folder(folder.parent)
    return folder


def write_once(root: Path, final: Path, data: bytes) -> None:
    """Put `data` at `final`, below the ledger folder of `root`, with mode 0600; a file that is there is left alone.

    To be called while holding the lock of the ledger. Raises ReconError where it cannot be written.
    """
    if final.exists():
        return
    folder = private_folder(final.parent)
    unfinished = private_folder(ledger_folder(root) / UNFINISHED)
    with told(final):
        handle, name = tempfile.mkstemp(dir=unfinished)  # mode 0600
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(data)
                file.flush()
                os.fsync(file.fileno())
            Path(name).replace(final)
        except BaseException:
            Path(name).unlink(missing_ok=True)
            raise
        sync_folder(folder)


def clear_unfinished(root: Path) -> None:
    """Remove what writers that were killed left unfinished. To be called while holding the lock."""
    folder = ledger_folder(root) / UNFINISHED
    if folder.is_dir():
        with told(folder):
            for path in folder.iterdir():
                path.unlink(missing_ok=True)


def sync_folder(folder: Path) -> None:
    """Have the names in a folder survive a power cut, where the system offers that."""
    if os.name == "nt":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    except OSError:
        # Some file systems refuse to sync a folder; there a rename is as lasting as they make it.
        pass
    finally:
        os.close(handle)
