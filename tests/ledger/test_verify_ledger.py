"""Whatever is altered, removed or put in another order is found, and the first of it is named."""

import hashlib
import json
import random
import shutil
import sqlite3
from pathlib import Path
from typing import Any

import pytest
import rfc8785
from small_ledger import AT, small_ledger, tampering

from recon.ledger.entries import Row, bytes_of_row, new_row
from recon.ledger.journal import COLUMNS, journal_path, opened, reading, writing
from recon.ledger.merkle import Frontier, leaf_hash
from recon.ledger.originals import keep
from recon.ledger.verify import verify_ledger
from recon.model.errors import ReconError


def failure_of(root: Path, **keys: Any) -> str:
    failure = verify_ledger(root, **keys).failure
    assert failure is not None
    return failure


def test_a_whole_ledger(tmp_path: Path) -> None:
    anchor = small_ledger(tmp_path)
    found = verify_ledger(tmp_path)
    assert (found.failure, found.remarks) == (None, ())
    assert (found.entries, found.root) == (anchor.entries, anchor.root)
    assert (found.originals, found.tables, found.reports) == (4, 3, 1)


# Every byte


def test_every_byte_of_every_entry(tmp_path: Path) -> None:
    """Each byte of each cell, one after the other, with one bit turned; the guards of the database are put back."""
    small_ledger(tmp_path, files=2)
    with reading(tmp_path) as ledger:
        rows = ledger.rows()
    tried = 0
    for row in rows:
        for name, value in zip(Row._fields[1:], row[1:], strict=True):
            data = value.encode()
            for at in range(len(data)):
                altered = data[:at] + bytes([data[at] ^ (1 << tried % 7)]) + data[at + 1 :]
                with tampering(tmp_path) as database:
                    database.execute(
                        f"UPDATE entry SET {name} = CAST(? AS TEXT) WHERE number = ?", (altered, row.number)
                    )
                failure = failure_of(tmp_path)
                # The hash of an entry is checked against its content first, then by the entry after it.
                assert f"entry {row.number}" in failure, (name, at, failure)
                tried += 1
                with tampering(tmp_path) as database:
                    database.execute(f"UPDATE entry SET {name} = ? WHERE number = ?", (value, row.number))
    assert tried == sum(len(value.encode()) for row in rows for value in row[1:])
    assert verify_ledger(tmp_path).failure is None


def test_a_sample_of_bytes_of_a_large_ledger(tmp_path: Path) -> None:
    with writing(tmp_path, who="a test") as ledger:
        for at in range(3000):
            ledger.append("file-taken", {"file": f"inbox/{at}.csv", "rows": at}, AT)
    with reading(tmp_path) as ledger:
        rows = ledger.rows()
    chosen = random.Random(7)
    for _ in range(25):
        row = chosen.choice(rows)
        name = chosen.choice(Row._fields[1:])
        data = getattr(row, name).encode()
        at = chosen.randrange(len(data))
        altered = data[:at] + bytes([data[at] ^ 4]) + data[at + 1 :]
        with tampering(tmp_path) as database:
            database.execute(f"UPDATE entry SET {name} = CAST(? AS TEXT) WHERE number = ?", (altered, row.number))
        assert f"entry {row.number}" in failure_of(tmp_path)
        with tampering(tmp_path) as database:
            database.execute(f"UPDATE entry SET {name} = ? WHERE number = ?", (getattr(row, name), row.number))
    assert verify_ledger(tmp_path).failure is None


def test_every_byte_of_every_kept_file(tmp_path: Path) -> None:
    small_ledger(tmp_path, files=1)
    kept = [path for folder in ("originals", "tables") for path in (tmp_path / "ledger" / folder).rglob("*")]
    tried = 0
    for path in [*(path for path in kept if path.is_file()), *tmp_path.glob("reports/*/results.json")]:
        data = path.read_bytes()
        for at in range(len(data)):
            path.write_bytes(data[:at] + bytes([data[at] ^ 1]) + data[at + 1 :])
            failure = failure_of(tmp_path)
            assert path.name in failure
            assert "was altered" in failure
            tried += 1
        path.write_bytes(data)
    assert tried > 500
    assert verify_ledger(tmp_path).failure is None


def test_bytes_of_the_database_file(tmp_path: Path) -> None:
    """Any byte of the file: either it is found, or every entry still reads as it did (free space, counters)."""
    small_ledger(tmp_path)
    path = journal_path(tmp_path)
    data = path.read_bytes()
    with reading(tmp_path) as ledger:
        rows = ledger.rows()
    found = 0
    for at in random.Random(11).sample(range(len(data)), 700):
        path.write_bytes(data[:at] + bytes([data[at] ^ 0x41]) + data[at + 1 :])
        try:
            failure = verify_ledger(tmp_path).failure
        except ReconError as error:
            failure = str(error)
        if failure is not None:
            found += 1
            continue
        with opened(tmp_path) as (database, _):
            assert [Row(*row) for row in database.execute(f"SELECT {COLUMNS} FROM entry ORDER BY number")] == rows
    assert found > 50


# Entries removed, moved, repeated, made up


def relinked(root: Path, rows: list[Row]) -> None:
    """Write the journal anew with these rows, so that its chain and its tree fit together."""
    with tampering(root) as database:
        database.execute("DELETE FROM entry")
        previous, leaves = "0" * 64, []
        for number, row in enumerate(rows, start=1):
            made = new_row(number, AT, row.kind, json.loads(row.body), previous)
            database.execute(f"INSERT INTO entry ({COLUMNS}) VALUES (?, ?, ?, ?, ?, ?)", made)
            previous = made.hash
            leaves.append(leaf_hash(bytes_of_row(made)))
        frontier = Frontier.over(leaves)
        database.execute("UPDATE tree SET entries = ?, peaks = ?", (frontier.size, b"".join(frontier.peaks).hex()))


@pytest.mark.parametrize("number", [1, 2, 3, 4])
def test_a_removed_entry(tmp_path: Path, number: int) -> None:
    small_ledger(tmp_path)
    with tampering(tmp_path) as database:
        database.execute("DELETE FROM entry WHERE number = ?", (number,))
    assert f"entry {number} is missing" in failure_of(tmp_path)


def test_a_removed_entry_whose_followers_moved_up(tmp_path: Path) -> None:
    small_ledger(tmp_path)
    with tampering(tmp_path) as database:
        database.execute("DELETE FROM entry WHERE number = 2")
        for number in (3, 4, 5):
            database.execute("UPDATE entry SET number = ? WHERE number = ?", (number - 1, number))
    assert "entry 2 follows an entry with the hash" in failure_of(tmp_path)


def test_two_entries_in_each_others_place(tmp_path: Path) -> None:
    small_ledger(tmp_path)
    with tampering(tmp_path) as database:
        for old, new in ((3, 99), (4, 3), (99, 4)):
            database.execute("UPDATE entry SET number = ? WHERE number = ?", (new, old))
    assert "entry 3 follows" in failure_of(tmp_path)


def test_an_entry_played_again(tmp_path: Path) -> None:
    small_ledger(tmp_path)
    with tampering(tmp_path) as database:
        database.execute("INSERT INTO entry SELECT 6, at, kind, body, previous, hash FROM entry WHERE number = 3")
    assert "entry 6 follows" in failure_of(tmp_path)


def test_an_entry_played_again_with_a_hash_that_fits(tmp_path: Path) -> None:
    small_ledger(tmp_path)
    with reading(tmp_path) as ledger:
        third, last = ledger.entries()[2], ledger.entries()[4]
    with tampering(tmp_path) as database:
        made = new_row(6, AT, third.kind, third.body, last.hash)
        database.execute(f"INSERT INTO entry ({COLUMNS}) VALUES (?, ?, ?, ?, ?, ?)", made)
    assert "the tree is over 5 entries, but there are 6" in failure_of(tmp_path)


def test_a_tree_that_is_not_of_the_entries(tmp_path: Path) -> None:
    small_ledger(tmp_path)
    with tampering(tmp_path) as database:
        database.execute("UPDATE tree SET peaks = replace(peaks, '1', '2')")
    assert "the kept tree is not that of the entries" in failure_of(tmp_path)


@pytest.mark.parametrize(
    "body",
    ['{"rows":1, "file":"x"}', '{"file":"x","rows":1.0}', '{"rows":1,"file":"x"}', '{"file":"\\u0078","rows":1}'],
)
def test_another_spelling_of_the_same_content(tmp_path: Path, body: str) -> None:
    with writing(tmp_path, who="a test") as ledger:
        ledger.append("file-taken", {"file": "x", "rows": 1}, AT)
    with tampering(tmp_path) as database:
        database.execute("UPDATE entry SET body = ?", (body,))
    assert "entry 1 (file-taken): its body is not in canonical form" in failure_of(tmp_path)


def test_another_spelling_of_the_time_with_a_hash_that_fits(tmp_path: Path) -> None:
    at = "2026-09-28T13:00:00+01:00"
    record = {"at": at, "body": {"rows": 1}, "kind": "file-taken", "number": 1, "previous": "0" * 64}
    with writing(tmp_path, who="a test") as ledger:
        ledger.append("file-taken", {"rows": 1}, AT)
    with tampering(tmp_path) as database:
        database.execute("UPDATE entry SET at = ?, hash = ?", (at, hashlib.sha256(rfc8785.dumps(record)).hexdigest()))
    assert "not in the form of the ledger" in failure_of(tmp_path)


@pytest.mark.parametrize(
    ("sql", "said"),
    [
        ("DROP TRIGGER entry_no_update", "the trigger entry_no_update is missing"),
        ("CREATE TABLE notes (text)", "the table notes is not of recon's making"),
        ("CREATE VIEW entry_2 AS SELECT * FROM entry", "the view entry_2 is not of recon's making"),
    ],
)
def test_a_database_that_is_not_as_recon_makes_it(tmp_path: Path, sql: str, said: str) -> None:
    small_ledger(tmp_path)
    connection = sqlite3.connect(journal_path(tmp_path), isolation_level=None)
    connection.execute(sql)
    connection.close()
    assert said in failure_of(tmp_path)


def test_a_trigger_that_does_nothing(tmp_path: Path) -> None:
    small_ledger(tmp_path)
    connection = sqlite3.connect(journal_path(tmp_path), isolation_level=None)
    connection.execute("DROP TRIGGER entry_no_update")
    connection.execute("CREATE TRIGGER entry_no_update BEFORE UPDATE ON entry BEGIN SELECT 1; END")
    connection.close()
    assert "the trigger entry_no_update is not as recon makes it" in failure_of(tmp_path)


# A root on paper


def test_a_printed_root_is_proved(tmp_path: Path) -> None:
    anchor = small_ledger(tmp_path)
    with writing(tmp_path, who="a test") as ledger:
        for at in range(7):
            ledger.append("run-made", {"report": f"later-{at}"}, AT)
    assert verify_ledger(tmp_path, printed=anchor.root, printed_entries=5).failure is None
    assert verify_ledger(tmp_path, printed=anchor.root).failure is None


def test_a_cut_end_fits_together_and_is_caught_by_the_printed_root(tmp_path: Path) -> None:
    anchor = small_ledger(tmp_path)
    with reading(tmp_path) as ledger:
        rows = ledger.rows()
    relinked(tmp_path, rows[:4])
    assert verify_ledger(tmp_path).failure is None
    assert "1 or more are missing at its end" in failure_of(tmp_path, printed=anchor.root, printed_entries=5)
    assert "never had the root" in failure_of(tmp_path, printed=anchor.root)


def test_a_ledger_written_anew_fits_together_and_is_caught_by_the_printed_root(tmp_path: Path) -> None:
    anchor = small_ledger(tmp_path)
    with reading(tmp_path) as ledger:
        rows = ledger.rows()
    rows[2] = rows[2]._replace(body=rows[2].body.replace('"rows":1', '"rows":2'))
    relinked(tmp_path, rows)
    found = verify_ledger(tmp_path)
    assert (found.failure, found.entries) == (None, 5)
    assert "the first 5 entries have the root" in failure_of(tmp_path, printed=anchor.root, printed_entries=5)
    assert "never had the root" in failure_of(tmp_path, printed=anchor.root)


@pytest.mark.parametrize("printed", ["", "abc", "g" * 64, "0" * 63])
def test_a_root_that_is_none(tmp_path: Path, printed: str) -> None:
    small_ledger(tmp_path)
    with pytest.raises(ReconError, match="not 64 hexadecimal digits"):
        verify_ledger(tmp_path, printed=printed)


# Files


def test_a_missing_original_is_named_with_its_entry(tmp_path: Path) -> None:
    small_ledger(tmp_path)
    with reading(tmp_path) as ledger:
        sha256 = ledger.entries()[2].body["original"]
    (tmp_path / "ledger" / "originals" / sha256[:2] / sha256).unlink()
    failure = failure_of(tmp_path)
    assert failure.startswith("entry 3 (file-taken inbox/sales-1.csv): ")
    assert "is missing" in failure


def test_a_missing_table_is_named(tmp_path: Path) -> None:
    small_ledger(tmp_path)
    shutil.rmtree(tmp_path / "ledger" / "tables")
    assert "entry 2 (file-taken inbox/sales-0.csv): ledger/tables/vends/" in failure_of(tmp_path)


def test_what_no_entry_names_is_a_remark(tmp_path: Path) -> None:
    small_ledger(tmp_path)
    keep(tmp_path, b"left by a run that was stopped")
    (tmp_path / "ledger" / "unfinished" / "tmp1").write_bytes(b"half")
    found = verify_ledger(tmp_path)
    assert found.failure is None
    assert [remark.split()[0] for remark in found.remarks] == ["1", "ledger/unfinished"]


def test_reports_that_are_gone_are_a_remark(tmp_path: Path) -> None:
    small_ledger(tmp_path)
    shutil.rmtree(tmp_path / "reports")
    found = verify_ledger(tmp_path)
    assert found.failure is None
    assert found.remarks == ("1 of 1 reports are no longer in reports/, or were moved",)


def test_a_report_holds_the_ledger_to_the_root_that_it_carries(tmp_path: Path) -> None:
    anchor = small_ledger(tmp_path)
    with reading(tmp_path) as ledger:
        rows = ledger.rows()
    report = tmp_path / "reports" / "a" / "ledger.json"
    report.parent.mkdir()
    report.write_text(json.dumps({"entries": anchor.entries, "root": anchor.root}))
    assert verify_ledger(tmp_path).failure is None
    relinked(tmp_path, rows[:4])
    assert "reports/a/ledger.json: the root was printed over 5 entries" in failure_of(tmp_path)
    relinked(tmp_path, [*rows[:3], rows[4], rows[3]])
    assert "reports/a/ledger.json: the first 5 entries have the root" in failure_of(tmp_path)


@pytest.mark.parametrize("text", ["", "[]", "{}", '{"entries": -1, "root": "%s"}', '{"entries": 1, "root": "x"}'])
def test_a_report_whose_root_cannot_be_read(tmp_path: Path, text: str) -> None:
    small_ledger(tmp_path)
    (tmp_path / "reports" / "a").mkdir()
    (tmp_path / "reports" / "a" / "ledger.json").write_text(text.replace("%s", "0" * 64))
    assert failure_of(tmp_path).startswith("reports/a/ledger.json was altered: it cannot be read")


@pytest.mark.parametrize(
    "body",
    [
        {"original": "../../etc/passwd"},
        {"original": 5},
        {"table": {"name": "../x", "sha256": "0" * 64}},
        {"table": [{"name": "vends", "sha256": "short"}]},
        {"table": "x"},
    ],
)
def test_an_entry_that_names_what_is_no_kept_file(tmp_path: Path, body: dict[str, Any]) -> None:
    with writing(tmp_path, who="a test") as ledger:
        ledger.append("file-taken", body, AT)
    assert "is no" in failure_of(tmp_path)


def test_an_entry_that_names_files_that_were_never_kept(tmp_path: Path) -> None:
    with writing(tmp_path, who="a test") as ledger:
        ledger.append("settings-seen", {"settings": [{"file": "route.toml", "original": "0" * 64}]}, AT)
    assert "is missing" in failure_of(tmp_path)
    (tmp_path / "b").mkdir()
    with writing(tmp_path / "b", who="a test") as ledger:
        ledger.append("file-taken", {"table": "1" * 64}, AT)
    assert "is missing" in failure_of(tmp_path / "b")


def test_half_a_report_of_a_stopped_run_is_no_damage(tmp_path: Path) -> None:
    """Its root may be cut off in the middle; nobody was shown it."""
    small_ledger(tmp_path)
    half = tmp_path / "reports" / ".part-2026-09-29-120000"
    half.mkdir()
    (half / "ledger.json").write_text('{"entries": 3, "root": "61cc')
    found = verify_ledger(tmp_path)
    assert found.failure is None
    assert found.remarks == (
        "reports/.part-2026-09-29-120000 is half a report, which a stopped run left; the next run clears it away",
    )
