"""A bundle proves itself to a process that has Python alone, and no byte of what it proves can be changed."""

import ast
import hashlib
import json
import random
import shutil
import subprocess
import sys
import zipfile
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import polars as pl
import pytest
from builders import NOW, RouteBuilder, slot
from evidence import SECRET, pack, recorded, route_of_two, summed, unpacked, zipped
from line_trees import first_tree

from recon.deciding import Asked, decide
from recon.ledger import bundle_verifier
from recon.ledger.bundle import Bundle
from recon.ledger.bundle_verifier import Failed, verify
from recon.model.errors import LedgerDamaged, ReconError
from recon.recorded import run_and_record

VERIFIER = Path(bundle_verifier.__file__)


@pytest.fixture(scope="module")
def route(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return recorded(tmp_path_factory.mktemp("packed") / "route")


@pytest.fixture
def part(route: Path, tmp_path: Path) -> Path:
    """The unpacked bundle of the rows of one slot."""
    return unpacked(pack(route, target="m-1/A1", rows_only=True), tmp_path / "bundle")


def alone(*arguments: object, cwd: Path) -> subprocess.CompletedProcess[str]:
    """Python without site packages, without the environment, in a folder where recon is not."""
    return subprocess.run(
        [sys.executable, "-I", "-S", *map(str, arguments)], cwd=cwd, env={}, capture_output=True, text=True, check=False
    )


# The verifier


def test_the_verifier_is_short_and_needs_the_standard_library_alone() -> None:
    text = VERIFIER.read_text(encoding="utf-8")
    assert len(text.splitlines()) < 200
    imported = set()
    for part in ast.walk(ast.parse(text)):
        if isinstance(part, ast.Import):
            imported |= {name.name for name in part.names}
        elif isinstance(part, ast.ImportFrom):
            imported.add(part.module or "")
    assert imported <= set(sys.stdlib_module_names)
    ast.parse(text, feature_version=(3, 9))


@pytest.mark.parametrize(
    ("target", "rows_only"),
    [(None, False), ("m-1", False), ("m-1", True), ("m-1/A1", False), ("m-1/A1", True), ("m-1@2026-09-08", True)],
)
def test_a_bundle_is_verified_without_recon(route: Path, tmp_path: Path, target: str | None, rows_only: bool) -> None:
    packed = pack(route, target=target, rows_only=rows_only)
    folder, empty = unpacked(packed, tmp_path / "bundle"), tmp_path / "empty"
    empty.mkdir()
    assert alone("-c", "import recon", cwd=empty).returncode == 1
    inside = alone("verify.py", cwd=folder)
    assert (inside.returncode, inside.stderr) == (0, "")
    assert "all of it holds" in inside.stdout
    assert f"root {packed.root} over {packed.size} entries" in inside.stdout
    (tmp_path / "bundle.zip").write_bytes(zipped(packed.files))
    (empty / "verify.py").write_bytes(packed.files["verify.py"])
    outside = alone("verify.py", tmp_path / "bundle.zip", cwd=empty)
    assert (outside.returncode, outside.stdout) == (0, inside.stdout)


@pytest.mark.skipif(shutil.which("sha256sum") is None, reason="there is no sha256sum program here")
def test_the_list_of_hashes_is_one_that_sha256sum_checks(part: Path) -> None:
    command = ["sha256sum", "--strict", "-c", "SHA256SUMS"]
    checked = subprocess.run(command, cwd=part, capture_output=True, text=True, check=False)
    assert checked.returncode == 0, checked.stderr


def test_the_hash_of_an_entrys_file_is_the_hash_that_the_next_entry_carries(route: Path, tmp_path: Path) -> None:
    folder = unpacked(pack(route), tmp_path / "bundle")
    files = sorted((folder / "entries").iterdir())
    entries = [json.loads(path.read_bytes()) for path in files]
    assert [entry["number"] for entry in entries] == list(range(1, len(entries) + 1))
    for before, entry in zip(files, entries[1:], strict=False):
        assert entry["previous"] == hashlib.sha256(before.read_bytes()).hexdigest()


# What is in it


def test_rows_only_shows_the_rows_and_no_other(route: Path, part: Path) -> None:
    vends = (route / "inbox" / "vends.csv").read_text().splitlines()
    shown = (part / "inbox" / "vends.csv").read_text().splitlines()
    assert len(shown) == len(vends)
    assert [line for line in shown if line] == [
        vends[0],
        *(line for line in vends if line.startswith("m-1") and ",A1," in line),
    ]
    assert all(line in ("", whole) for line, whole in zip(shown, vends, strict=True))
    # Beside the row itself, no hash of it stands anywhere: neither bare nor as the leaf of a tree without salt.
    secret = next(line for line in vends if SECRET in line) + "\n"
    told = [SECRET.encode()]
    for data in (secret.encode(), secret[:-1].encode(), b"\x00" + secret.encode()):
        told.append(hashlib.sha256(data).hexdigest().encode())
    for path in part.rglob("*"):
        assert path.is_dir() or not any(text in path.read_bytes() for text in told), path
    assert not (part / "inbox" / "counts-2.csv").exists()


def test_whole_files_are_the_files_that_arrived(route: Path, tmp_path: Path) -> None:
    folder = unpacked(pack(route), tmp_path / "bundle")
    inbox = sorted(path.relative_to(route).as_posix() for path in (route / "inbox").iterdir())
    assert sorted(path.relative_to(folder).as_posix() for path in (folder / "inbox").iterdir()) == inbox
    assert all((folder / name).read_bytes() == (route / name).read_bytes() for name in inbox)
    for name in ("route.toml", "products.csv", "layouts/m-1.toml", "layouts/m-2.toml"):
        assert (folder / "settings" / name).read_bytes() == (route / name).read_bytes()
    (results,) = route.glob("reports/*/results.json")
    assert (folder / "results.json").read_bytes() == results.read_bytes()


def test_what_was_reckoned_is_shown_as_far_as_it_concerns_the_slot(part: Path) -> None:
    lines = (part / "results-in-part.txt").read_text().splitlines()
    records = [json.loads(line.strip().rstrip(",")) for line in lines if line.startswith("    {")]
    stock = [record for record in records if "variance" in record]
    assert [(record["machine"], record["label"], record["variance"]) for record in stock] == [("m-1", "A1", -2)]
    assert "count-restated" in {record.get("kind") for record in records}
    assert (part / "settings" / "layouts" / "m-1.toml").exists()
    assert not (part / "settings" / "layouts" / "m-2.toml").exists()
    assert not (part / "settings" / "products.csv").exists()
    entries = {path.name[7:-5] for path in (part / "entries").iterdir()}
    assert entries == {"settings-seen", "file-taken", "count-restated", "run-made"}


def test_rows_are_told_as_they_were_read(part: Path) -> None:
    vends = pl.read_csv(part / "rows" / "vends.csv")
    assert vends.select("machine", "label", "paid_high", "reference").rows() == [
        ("m-1", "A1", 2.0, "first"),
        ("m-1", "A1", 2.0, "second"),
    ]
    assert vends["time"][0] == "2026-09-03T12:00:00+00:00"
    assert {path.name for path in (part / "rows").iterdir()} == {"vends.csv", "counts.csv"}
    assert "inbox/z-correction.csv" in (part / "trace.txt").read_text()
    assert json.loads((part / "trace.json").read_text())["format"] == "recon-trace/1"


def test_a_cell_of_several_lines_is_shown_whole(tmp_path: Path) -> None:
    route = RouteBuilder(tmp_path / "route").machine("m-1", slot("A1"))
    route.machine("m-2", slot("A1"))
    text = (
        "machine,time,label,counted,note\n"
        'm-1,2026-09-01 09:00,A1,10,"one\ntwo ""quoted""\nthree"\n'
        'm-2,2026-09-01 09:00,A1,10,"hidden\nhidden too"\n'
        "m-1,2026-09-08 09:00,A1,9,end\n"
    )
    route.file("inbox/counts.csv", text)
    run_and_record(route.root, now=NOW)
    folder = unpacked(pack(route.root, target="m-1/A1", rows_only=True), tmp_path / "bundle")
    assert (folder / "inbox" / "counts.csv").read_text() == (
        "machine,time,label,counted,note\n"
        'm-1,2026-09-01 09:00,A1,10,"one\ntwo ""quoted""\nthree"\n'
        "\n\n"
        "m-1,2026-09-08 09:00,A1,9,end\n"
    )
    verify(folder)


@pytest.mark.parametrize("end", ["\r\n", "\r"])
def test_lines_of_other_systems_keep_their_places(tmp_path: Path, end: str) -> None:
    route = RouteBuilder(tmp_path / "route").machine("m-1", slot("A1")).machine("m-2", slot("A1"))
    rows = ["machine,time,label,counted", "m-2,2026-09-01 09:00,A1,10", "m-1,2026-09-01 09:00,A1,10"]
    rows += ["m-2,2026-09-08 09:00,A1,10", "m-2,2026-09-15 09:00,A1,10", "m-1,2026-09-08 09:00,A1,9"]
    route.file("inbox/counts.csv", end.join(rows).encode())
    run_and_record(route.root, now=NOW)
    folder = unpacked(pack(route.root, target="m-1/A1", rows_only=True), tmp_path / "bundle")
    verify(folder)
    lines = (folder / "inbox" / "counts.csv").read_bytes().splitlines()
    assert lines == [line.encode() if "m-2" not in line else b"" for line in rows]


def long_route(root: Path, vends: int = 60) -> RouteBuilder:
    """A log in which only lines 2 and 41 are of m-1/A1, those of m-2 are not to be seen."""
    route = RouteBuilder(root).machine("m-1", slot("A1")).machine("m-2", slot("A1"))
    route.counts("09-01 09:00, A1, 90", "09-08 09:00, A1, 88")
    machines = ["m-1" if at in (0, 39) else "m-2" for at in range(vends)]
    rows = [f"{machine},2026-09-03 12:{at:02d},A1,cash,2.00,vended,of-{at}" for at, machine in enumerate(machines)]
    route.file("inbox/vends.csv", "\n".join(["machine,time,label,tender,price,outcome,reference", *rows, ""]))
    return route


def test_of_a_long_file_whole_blocks_are_shown(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("recon.ledger.lines.SINGLE", 20)
    route = long_route(tmp_path / "route")
    run_and_record(route.root, now=NOW)
    packed = pack(route.root, target="m-1/A1", rows_only=True)
    folder = unpacked(packed, tmp_path / "bundle")
    lines = (route.root / "inbox" / "vends.csv").read_text().splitlines()
    shown = (folder / "inbox" / "vends.csv").read_text().splitlines()
    assert shown == [line if at // 16 in (0, 2) else "" for at, line in enumerate(lines)]
    results = next(route.root.glob("reports/*/results.json")).read_text().splitlines()
    in_part = (folder / "results-in-part.txt").read_text().splitlines()
    for at in range(0, len(results), 16):
        assert in_part[at : at + 16] in (results[at : at + 16], [""] * len(results[at : at + 16]))
    cover = packed.files["cover.html"].decode()
    assert "inbox/vends.csv" in cover
    assert cover.count("block of 16 lines, in which up to 15 others stand") == 2
    assert alone("verify.py", cwd=folder).returncode == 0
    for name in ("inbox/vends.csv", "results-in-part.txt"):
        data = (folder / name).read_bytes()
        at = next(at for at in range(len(data) // 2, len(data)) if data[at : at + 1].isalnum())
        (folder / name).write_bytes(data[:at] + bytes([data[at] ^ 1]) + data[at + 1 :])
        summed(folder)
        with pytest.raises(Failed, match="its lines are not those"):
            verify(folder)
        (folder / name).write_bytes(data)


def test_a_ledger_of_the_first_rules_is_packed_by_them(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Entries of 0.1.0 say the root of a binary tree of single lines, or of a long file nothing."""

    def tree(data: bytes) -> dict[str, Any] | None:
        return first_tree(data) if data.count(b"\n") <= 60 else None

    monkeypatch.setattr("recon.ledger.record.line_tree", lambda chunks, _: tree(b"".join(chunks)))
    monkeypatch.setattr("recon.recorded.line_tree_of_file", lambda path, _: tree(path.read_bytes()))
    route = long_route(tmp_path / "route", vends=50)
    route.file("inbox/loads.csv", "machine,time,label,loaded\n" + "m-1,2026-09-09 09:00,A1,1\n" * 70)
    run_and_record(route.root, now=NOW)
    monkeypatch.undo()
    packed = pack(route.root, target="m-1/A1", rows_only=True)
    folder = unpacked(packed, tmp_path / "bundle")
    lines = (route.root / "inbox" / "vends.csv").read_text().splitlines()
    shown = (folder / "inbox" / "vends.csv").read_text().splitlines()
    assert shown == [line if at in (0, 1, 40) else "" for at, line in enumerate(lines)]
    assert "inbox/loads.csv" in {text.split(":")[0] for text in packed.left_out}
    assert not (folder / "inbox" / "loads.csv").exists()
    assert alone("verify.py", cwd=folder).returncode == 0


def test_a_file_without_lines_of_its_own_is_left_out_and_told(tmp_path: Path) -> None:
    import gzip

    route = route_of_two(tmp_path / "route")
    text = (route.root / "inbox" / "vends.csv").read_bytes()
    (route.root / "inbox" / "vends.csv").unlink()
    (route.root / "inbox" / "vends.csv.gz").write_bytes(gzip.compress(text, mtime=0))
    (route.root / "inbox" / "wide.csv").write_bytes(
        "machine,time,label,loaded\nm-1,2026-09-02 09:00,A1,1\n".encode("utf-16")
    )
    run_and_record(route.root, now=NOW)
    packed = pack(route.root, target="m-1/A1", rows_only=True)
    told = [text.split(":")[0] for text in packed.left_out]
    assert set(told) == {"products.csv", "inbox/vends.csv.gz", "inbox/wide.csv"}
    assert b"first" in packed.files["rows/vends.csv"]
    assert "inbox/vends.csv.gz" in packed.files["cover.html"].decode()
    verify(unpacked(packed, tmp_path / "bundle"))
    whole = pack(route.root, target="m-1/A1")
    assert whole.files["inbox/vends.csv.gz"] == (route.root / "inbox" / "vends.csv.gz").read_bytes()


def test_a_span_takes_the_windows_that_close_in_it(route: Path, tmp_path: Path) -> None:
    packed = pack(route, target="m-1", since=datetime(2026, 9, 9, tzinfo=UTC))
    assert not any(name.startswith("inbox/vends") for name in packed.files)
    inside = pack(route, since=datetime(2026, 9, 2, tzinfo=UTC), until=datetime(2026, 9, 8, 9, 10, tzinfo=UTC))
    text = inside.files["results-in-part.txt"].decode()
    assert '"machine":"m-1","label":"A1","product"' in text
    assert '"machine":"m-2","label":"A1","product"' not in text
    verify(unpacked(inside, tmp_path / "bundle"))


def test_a_decision_and_what_is_attached_to_it(tmp_path: Path) -> None:
    root = recorded(tmp_path / "route")
    (tmp_path / "photo.jpg").write_bytes(b"a photograph")
    (stock,) = [
        line
        for line in pack(root, target="m-1/A1").files["results-in-part.txt"].decode().splitlines()
        if "stock-short" in line
    ]
    finding = json.loads(stock.strip().rstrip(","))["id"]
    decide(root, finding, Asked("dispute", "Ann <script>", "=1+1", attachment=tmp_path / "photo.jpg"), now=NOW)
    with pytest.raises(ReconError, match="Run recon run, then pack"):
        pack(root, target=finding)
    run_and_record(root, now=NOW)
    packed = pack(root, target=finding, rows_only=True)
    (name,) = [name for name in packed.files if name.startswith("attachments/")]
    assert packed.files[name] == b"a photograph"
    cover = packed.files["cover.html"].decode()
    assert "Ann &lt;script&gt;" in cover
    assert "<script" not in cover
    assert "disputed" in cover
    folder = unpacked(packed, tmp_path / "bundle")
    verify(folder)
    (folder / name).write_bytes(b"another photograph")
    summed(folder)
    with pytest.raises(Failed, match="is not what entry"):
        verify(folder)


def test_the_cover_says_what_it_does_not_prove(route: Path) -> None:
    packed = pack(route, target="m-1/A1")
    cover = packed.files["cover.html"].decode()
    for said in ("no proof against anyone", "python3 verify.py", packed.root, "trace.txt", "m-1/A1"):
        assert said in cover
    assert "http" not in cover.replace("http-equiv", "")


# The same bytes


def test_the_same_ledger_gives_the_same_bytes(route: Path, tmp_path: Path) -> None:
    made = []
    for at, (zone, seed) in enumerate([("UTC", "1"), ("Asia/Tokyo", "2")]):
        place = tmp_path / str(at)
        shutil.copytree(route, place / "route")
        subprocess.run(
            [sys.executable, "-m", "recon", "pack", "route", "m-1", "--rows-only", "-q", "-o", "out.zip"],
            cwd=place,
            env={"TZ": zone, "PYTHONHASHSEED": seed, "PATH": "", "RECON_BORDERS": "full"},
            check=True,
            capture_output=True,
        )
        made.append((place / "out.zip").read_bytes())
    assert made[0] == made[1]
    assert made[0] == zipped(pack(route, target="m-1", rows_only=True).files)


def test_the_time_in_the_zip_is_fixed_or_as_told(route: Path, tmp_path: Path) -> None:
    files = {"b": b"2", "a": b"1"}
    for moment, expected in (
        (None, (1980, 1, 1, 0, 0, 0)),
        (datetime(2026, 9, 28, 12, tzinfo=UTC), (2026, 9, 28, 12, 0, 0)),
    ):
        (tmp_path / "x.zip").write_bytes(zipped(files, moment))
        with zipfile.ZipFile(tmp_path / "x.zip") as archive:
            assert [(info.filename, info.date_time) for info in archive.infolist()] == [
                ("a", expected),
                ("b", expected),
            ]


# Tampering


def test_any_byte_of_any_file(part: Path) -> None:
    """One bit of each byte of SHA256SUMS, and of a sample of the others: the list catches it."""
    chosen = random.Random(3)
    for path in sorted(path for path in part.rglob("*") if path.is_file()):
        data = path.read_bytes()
        places = (
            range(len(data))
            if path.name == "SHA256SUMS"
            else sorted(chosen.sample(range(len(data)), min(8, len(data))))
        )
        for at in places:
            path.write_bytes(data[:at] + bytes([data[at] ^ 1]) + data[at + 1 :])
            with pytest.raises(Failed):
                verify(part)
        path.write_bytes(data)
    verify(part)


def test_any_byte_of_what_is_proved_though_the_list_was_made_anew(part: Path) -> None:
    """Each byte of the files that entries prove, of the entries and of the proofs."""
    tried = 0
    names = [claim["file"] for claim in json.loads((part / "bundle.json").read_text())["files"]]
    proved = [part / name for name in names] + [*(part / "entries").iterdir()]
    for path in [*proved, *(path for path in (part / "proofs").rglob("*") if path.is_file())]:
        data = path.read_bytes()
        # Spaces and line ends of a JSON file may change without a change of what it says.
        meant = [at for at in range(len(data)) if "proofs" not in path.parts or not data[at : at + 1].isspace()]
        for at in meant[:: max(1, len(meant) // 60)]:
            path.write_bytes(data[:at] + bytes([data[at] ^ 1]) + data[at + 1 :])
            summed(part)
            with pytest.raises(Failed):
                verify(part)
            tried += 1
        path.write_bytes(data)
    summed(part)
    verify(part)
    assert tried > 500


def rewritten(folder: Path, **keys: object) -> None:
    """bundle.json with other values, and a list of hashes that fits."""
    path = folder / "bundle.json"
    path.write_text(json.dumps(json.loads(path.read_text()) | keys))
    summed(folder)


def test_another_root_size_or_earlier_root(part: Path) -> None:
    index = json.loads((part / "bundle.json").read_text())
    for keys in (
        {"root": "0" * 64},
        {"size": index["size"] + 1},
        {"size": index["size"] - 1},
        {"size": "9"},
        {"entries": index["entries"][1:]},
        {"entries": [index["entries"][0] | {"path": index["entries"][0]["path"][:-1]}, *index["entries"][1:]]},
        {"earlier": [index["earlier"][-1] | {"root": "0" * 64}]},
        {"earlier": [index["earlier"][-1] | {"entries": 0}]},
        {"earlier": [index["earlier"][-1] | {"entries": -3}]},
        {"files": index["files"][1:]},
        {"files": [index["files"][0] | {"entry": 1}, *index["files"][1:]]},
    ):
        rewritten(part, **keys)
        with pytest.raises(Failed):
            verify(part)
        rewritten(part, **index)
    verify(part)


def test_a_line_that_is_shown_where_nothing_proves_it(part: Path) -> None:
    path = part / "inbox" / "vends.csv"
    lines = path.read_text().split("\n")
    lines[lines.index("")] = "m-1,2026-09-03 15:00,A1,cash,2.00,vended,made-up,"
    path.write_text("\n".join(lines))
    summed(part)
    with pytest.raises(Failed, match="without a proof"):
        verify(part)


def test_a_file_that_is_slipped_in_or_taken_out(part: Path) -> None:
    (part / "inbox" / "more.csv").write_text("made up")
    with pytest.raises(Failed, match=r"inbox/more\.csv is proved by no entry"):
        verify(part)
    (part / "inbox" / "more.csv").unlink()
    (part / "notes.txt").write_text("mine")
    assert verify(part)[2] == ["notes.txt"]
    (part / "rows" / "vends.csv").unlink()
    with pytest.raises(Failed, match=r"rows/vends\.csv is missing"):
        verify(part)
    (part / "SHA256SUMS").unlink()
    with pytest.raises(Failed, match="SHA256SUMS is missing"):
        verify(part)


def test_a_printed_root_is_held_against_the_bundle(route: Path, part: Path) -> None:
    (report,) = route.glob("reports/*/ledger.json")
    printed = json.loads(report.read_text())
    verify(part, printed["root"], printed["entries"])
    verify(part, printed["root"])
    for root, entries in ((printed["root"], printed["entries"] + 1), ("0" * 64, printed["entries"]), ("0" * 64, None)):
        with pytest.raises(Failed, match="none that this bundle can prove"):
            verify(part, root, entries)
    told = alone("verify.py", "--root", printed["root"].upper(), "--entries", printed["entries"], cwd=part)
    assert told.returncode == 0
    assert alone("verify.py", "--root", "0" * 64, cwd=part).returncode == 3


@pytest.mark.parametrize("arguments", [["nowhere"], ["a", "b"], ["--entries", "x"], ["--what"]])
def test_the_verifier_called_wrongly(part: Path, arguments: list[str]) -> None:
    told = alone("verify.py", *arguments, cwd=part)
    assert (told.returncode, told.stdout) == (2, "")
    assert told.stderr.startswith("usage:")


def test_zips_that_are_damaged(route: Path, tmp_path: Path) -> None:
    data = zipped(pack(route, target="m-1/A1", rows_only=True).files)
    path = tmp_path / "bundle.zip"
    for bad in (b"", b"PK", data[: len(data) // 2], data[:-30], b"no zip at all" * 50):
        path.write_bytes(bad)
        with pytest.raises(Failed):
            verify(path)
    for at in random.Random(9).sample(range(len(data)), 150):
        path.write_bytes(data[:at] + bytes([data[at] ^ 0x55]) + data[at + 1 :])
        try:
            _, count, _ = verify(path)
        except Failed:
            continue
        # What is left is what a zip says beside its files: times, modes, versions.
        path.write_bytes(data)
        assert count == verify(path)[1]


def test_two_files_of_one_name_in_a_zip(part: Path, tmp_path: Path) -> None:
    with zipfile.ZipFile(tmp_path / "two.zip", "w") as archive:
        archive.writestr("SHA256SUMS", (part / "SHA256SUMS").read_bytes())
        with pytest.warns(UserWarning, match="Duplicate"):
            archive.writestr("SHA256SUMS", b"")
    with pytest.raises(Failed, match="two files of one name"):
        verify(tmp_path / "two.zip")


# What cannot be packed


def test_what_cannot_be_packed(tmp_path: Path) -> None:
    root = recorded(tmp_path / "route")
    for keys, said in (
        ({"rows_only": True}, "name one"),
        ({"target": "m-9"}, "m-9"),
        ({"target": "m-1/Z9"}, "no slot"),
        ({"target": "0123456789ab"}, "0123456789ab"),
    ):
        with pytest.raises(ReconError, match=said):
            pack(root, **keys)  # type: ignore[arg-type]
    with (root / "inbox" / "vends.csv").open("a") as file:
        file.write("m-1,2026-09-05 12:00,A1,cash,2.00,vended,late,\n")
    with pytest.raises(ReconError, match="gives other results by now"):
        pack(root)
    run_and_record(root, now=NOW)
    pack(root)
    shutil.rmtree(root / "reports")
    with pytest.raises(ReconError, match="is missing, and the bundle is to hold"):
        pack(root)


def test_a_route_without_a_run(tmp_path: Path) -> None:
    route = route_of_two(tmp_path)
    with pytest.raises(ReconError, match="no ledger yet"):
        pack(route.root)


def test_an_altered_original_or_report_is_not_packed(tmp_path: Path) -> None:
    root = recorded(tmp_path / "route")
    sha256 = hashlib.sha256((root / "inbox" / "vends.csv").read_bytes()).hexdigest()
    kept = root / "ledger" / "originals" / sha256[:2] / sha256
    kept.write_bytes(kept.read_bytes() + b"\n")
    with pytest.raises(LedgerDamaged, match="was altered"):
        pack(root)
    (results,) = root.glob("reports/*/results.json")
    results.write_bytes(results.read_bytes() + b"\n")
    with pytest.raises(LedgerDamaged, match=r"results\.json was altered"):
        pack(root)


def test_names_in_a_bundle_unpack_anywhere() -> None:
    bundle = Bundle([])
    bundle.plain('inbox/a:b\n"c".csv', b"")
    assert list(bundle.files) == ["inbox/a_b__c_.csv"]
