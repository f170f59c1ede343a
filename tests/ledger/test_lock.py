"""One writer at a time: a second one waits, then says who holds the ledger; a killed one holds nothing."""

import errno
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from small_ledger import AT, small_ledger

from recon.ledger import lock
from recon.ledger.journal import reading, writing
from recon.ledger.verify import verify_ledger
from recon.model.errors import ReconError

HOLDER = """
import sys
from pathlib import Path
from recon.ledger.journal import writing
with writing(Path(sys.argv[1]), who="recon run my-route"):
    print("held", flush=True)
    sys.stdin.readline()
"""


@contextmanager
def holder(root: Path) -> Iterator[subprocess.Popen[str]]:
    """Another process that holds the ledger until it is told a line."""
    other = subprocess.Popen(
        [sys.executable, "-c", HOLDER, str(root)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )
    assert other.stdout is not None
    assert other.stdin is not None
    assert other.stdout.readline() == "held\n"
    try:
        yield other
    finally:
        other.kill()
        other.wait()
        other.stdin.close()
        other.stdout.close()


def test_a_second_writer_waits_then_says_who_holds_it(tmp_path: Path) -> None:
    told: list[str] = []
    with holder(tmp_path) as other:
        before = time.monotonic()
        with (
            pytest.raises(ReconError) as refused,
            writing(tmp_path, who="b", wait_seconds=0.3, on_wait=told.append),
        ):
            pass
        assert time.monotonic() - before >= 0.3
        assert f'"recon run my-route" (process {other.pid} on ' in str(refused.value)
        assert "since 20" in str(refused.value)
        assert "UTC" in str(refused.value)
    assert len(told) == 1
    assert str(other.pid) in told[0]


def test_a_second_writer_goes_on_once_the_first_is_done(tmp_path: Path) -> None:
    with holder(tmp_path) as other:

        def release(_: str) -> None:
            assert other.stdin is not None
            other.stdin.write("done\n")
            other.stdin.flush()

        with writing(tmp_path, who="b", wait_seconds=60, on_wait=release) as ledger:
            ledger.append("run-made", {"report": "b"}, AT)
    assert verify_ledger(tmp_path).entries == 1


@pytest.mark.skipif(os.name == "nt", reason="there is no SIGKILL")
def test_a_killed_holder_holds_nothing(tmp_path: Path) -> None:
    with holder(tmp_path) as other:
        other.send_signal(signal.SIGKILL)
        other.wait()
        assert (tmp_path / "ledger" / "holder.json").exists()
        with writing(tmp_path, who="b", wait_seconds=0) as ledger:
            ledger.append("run-made", {"report": "b"}, AT)
    assert not (tmp_path / "ledger" / "holder.json").exists()


def test_two_threads_of_one_process_are_kept_apart(tmp_path: Path) -> None:
    inside, most = 0, 0

    def write(turn: int) -> None:
        nonlocal inside, most
        with writing(tmp_path, who=f"thread {turn}", wait_seconds=60) as ledger:
            inside += 1
            most = max(most, inside)
            time.sleep(0.02)
            ledger.append("run-made", {"report": str(turn)}, AT)
            inside -= 1

    threads = [threading.Thread(target=write, args=(turn,)) for turn in range(5)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert most == 1
    assert verify_ledger(tmp_path).entries == 5


def test_a_holder_that_is_not_told_yet_is_called_so(tmp_path: Path) -> None:
    small_ledger(tmp_path)
    with writing(tmp_path, who="a"):
        for content in ("", "{", "[]", '{"pid": 1}'):
            (tmp_path / "ledger" / "holder.json").write_text(content)
            with pytest.raises(ReconError, match="held by another command"), writing(tmp_path, who="b", wait_seconds=0):
                pass


@pytest.mark.skipif(os.name == "nt", reason="flock is of POSIX")
@pytest.mark.parametrize("number", [errno.ENOLCK, errno.EOPNOTSUPP, errno.ENOSYS])
def test_a_folder_without_locks_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, number: int) -> None:
    def flock(file: object, how: int) -> None:
        raise OSError(number, os.strerror(number))

    monkeypatch.setattr(lock.fcntl, "flock", flock)
    with pytest.raises(ReconError, match="does not support locks, as some network folders"), writing(tmp_path, who="a"):
        pass


def test_readers_do_not_wait(tmp_path: Path) -> None:
    anchor = small_ledger(tmp_path)
    with holder(tmp_path), reading(tmp_path) as ledger:
        assert ledger.anchor == anchor


def test_what_was_written_holds_where_the_holder_cannot_be_cleared_away(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As on a disk that turns read-only at the very end."""
    anchor = small_ledger(tmp_path)
    plain = Path.unlink

    def unlink(path: Path, missing_ok: bool = False) -> None:
        if path.name == "holder.json" and path.exists():
            raise OSError(errno.EROFS, os.strerror(errno.EROFS))
        plain(path, missing_ok=missing_ok)

    with monkeypatch.context() as refused, writing(tmp_path, who="a test") as ledger:
        ledger.append("run-made", {}, AT)
        refused.setattr(Path, "unlink", unlink)
    with writing(tmp_path, who="a test") as ledger:
        assert ledger.anchor.entries == anchor.entries + 1
