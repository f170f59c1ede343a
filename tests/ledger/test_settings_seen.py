"""Settings are kept as one packed file a run, of what changed, and a bundle proves each file of it by itself."""

import hashlib
import json
from pathlib import Path

import pytest
from builders import NOW, RouteBuilder
from evidence import pack, recorded, route_of_two, summed, unpacked
from hypothesis import given, settings
from hypothesis import strategies as st

from recon.ledger.bundle_verifier import Failed, verify
from recon.ledger.canonical import canonical
from recon.ledger.journal import reading, writing
from recon.ledger.originals import keep
from recon.ledger.settings import contents_of, files_held, list_of_pack, record_settings, seen_settings
from recon.ledger.verify import verify_ledger
from recon.model.errors import LedgerDamaged, ReconError
from recon.recorded import run_and_record

NAMES = ("route.toml", "products.csv", "layouts/m-1.toml", "layouts/m-2.toml")


def told(root: Path) -> list[dict[str, str | None]]:
    """For each entry about settings what it says of which files, by the first letters of their hashes."""
    with reading(root) as ledger:
        seen = seen_settings(ledger.entries(), root)
    return [dict(one.files) for one in seen]


def sha256(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


def originals(root: Path) -> int:
    return sum(path.is_file() for path in (root / "ledger" / "originals").rglob("*"))


def test_one_entry_and_one_kept_file_for_all_settings(tmp_path: Path) -> None:
    root = recorded(tmp_path / "route")
    assert told(root) == [{name: sha256(root / name) for name in sorted(NAMES)}]
    assert originals(root) == 1 + len(list((root / "inbox").iterdir()))
    with reading(root) as ledger:
        (entry,) = ledger.entries("settings-seen")
        (run,) = ledger.entries("run-made")
    assert ledger_lines(root, str(entry.body["original"])) == [
        {"file": name, "original": sha256(root / name), "size": (root / name).stat().st_size} for name in sorted(NAMES)
    ]
    assert run.body["settings"]["count"] == len(NAMES)


def ledger_lines(root: Path, pack: str) -> list[object]:
    """The list of a packed file; each line is canonical JSON."""
    lines = list_of_pack(root, pack).splitlines()
    assert all(canonical(json.loads(line)) == line for line in lines)
    return [json.loads(line) for line in lines]


def test_only_what_changed_is_told_again(tmp_path: Path) -> None:
    root = recorded(tmp_path / "route")
    before = originals(root)
    run_and_record(root, now=NOW)
    assert len(told(root)) == 1
    layout, other = root / "layouts" / "m-1.toml", root / "layouts" / "m-2.toml"
    first, text = sha256(layout), layout.read_bytes()
    layout.write_bytes(text + b"# new\n")
    run_and_record(root, now=NOW)
    assert told(root)[1:] == [{"layouts/m-1.toml": sha256(layout)}]
    kept = other.read_bytes()
    other.unlink()
    layout.write_bytes(text)
    run_and_record(root, now=NOW)
    assert told(root)[2:] == [{"layouts/m-1.toml": first, "layouts/m-2.toml": None}]
    other.write_bytes(kept)
    run_and_record(root, now=NOW)
    assert told(root)[3:] == [{"layouts/m-2.toml": sha256(other)}]
    assert originals(root) == before + 3
    with reading(root) as ledger:
        held = files_held(seen_settings(ledger.entries(), root))
    assert {name: one.files[name] for name, one in held.items()} == {name: sha256(root / name) for name in NAMES}
    assert verify_ledger(root).failure is None


def test_equal_files_give_an_equal_pack(tmp_path: Path) -> None:
    packs = []
    for name in ("a", "b"):
        root = recorded(tmp_path / name)
        with reading(root) as ledger:
            packs.append(ledger.entries("settings-seen")[0].body)
    assert packs[0] == packs[1]


CONTENTS = st.dictionaries(
    st.text(st.characters(codec="utf-8", exclude_characters="/\x00\r"), min_size=1, max_size=5).map(
        lambda name: f"layouts/{name}.toml"
    ),
    st.one_of(st.binary(max_size=20), st.sampled_from([b"", b"\n", b"\n\n", b"a\n\nb", b'{"file":"x"}\n'])),
    max_size=5,
)


@settings(deadline=None, max_examples=40)
@given(st.lists(CONTENTS, min_size=1, max_size=4))
def test_whatever_stood_in_the_files_is_given_back(
    tmp_path_factory: pytest.TempPathFactory, runs: list[dict[str, bytes]]
) -> None:
    root = tmp_path_factory.mktemp("route")
    (root / "layouts").mkdir()
    for contents in runs:
        for path in (root / "layouts").iterdir():
            path.unlink()
        shown = {name: data for name, data in contents.items() if not name.startswith("layouts/.")}
        for name, data in shown.items():
            (root / name).write_bytes(data)
        with writing(root, who="a test") as ledger:
            now = record_settings(ledger, root, NOW)
        with reading(root) as ledger:
            held = files_held(seen_settings(ledger.entries(), root))
        assert {name: one.files[name] for name, one in held.items()} == now
        given_back = {name: data for name, one in held.items() for _, data in contents_of(root, one, [name])}
        assert given_back == shown
    assert verify_ledger(root).failure is None


def older_form(root: Path, name: str) -> None:
    """Record a file of the route as versions before did: an entry for it, and its content by itself."""
    with writing(root, who="an older version") as ledger:
        kind = "layout-seen" if name.startswith("layouts/") else "settings-seen"
        ledger.append(kind, {"file": name, "original": keep(root, (root / name).read_bytes())}, NOW)  # type: ignore[arg-type]


def test_what_an_older_version_recorded_is_not_recorded_again(tmp_path: Path) -> None:
    root = tmp_path / "route"
    route_of_two(root)
    for name in ("route.toml", "layouts/m-1.toml"):
        older_form(root, name)
    layout = root / "layouts" / "m-1.toml"
    run_and_record(root, now=NOW)
    assert told(root)[2:] == [{name: sha256(root / name) for name in ("layouts/m-2.toml", "products.csv")}]
    first = layout.read_bytes()
    layout.write_bytes(first + b"# later\n")
    run_and_record(root, now=NOW)
    assert told(root)[3:] == [{"layouts/m-1.toml": sha256(layout)}]
    assert verify_ledger(root).failure is None
    bundle = unpacked(pack(root, target="m-1", rows_only=True), tmp_path / "bundle")
    assert (bundle / "settings/layouts/m-1.toml").read_bytes() == layout.read_bytes()
    assert (bundle / "settings/earlier/000002/layouts/m-1.toml").read_bytes() == first
    verify(bundle)


def test_a_packed_file_that_is_missing_or_altered_is_told(tmp_path: Path) -> None:
    root = recorded(tmp_path / "route")
    with reading(root) as ledger:
        pack = str(ledger.entries("settings-seen")[0].body["original"])
    path = root / "ledger" / "originals" / pack[:2] / pack
    data = path.read_bytes()
    path.write_bytes(data.replace(b"m-2", b"m-3"))
    assert "was altered" in str(verify_ledger(root).failure)
    with pytest.raises(LedgerDamaged, match="was altered"):
        run_and_record(root, now=NOW)
    path.unlink()
    assert "is missing" in str(verify_ledger(root).failure)


def test_a_name_that_is_no_text_is_refused(tmp_path: Path) -> None:
    route = RouteBuilder(tmp_path / "route")
    try:
        (route.root / "sources").mkdir()
        (route.root / "sources" / "\udcff.toml").write_bytes(b"")
    except (OSError, UnicodeError):
        pytest.skip("this file system takes no such name")
    with writing(route.root, who="a test") as ledger, pytest.raises(ReconError, match="no text in UTF-8"):
        record_settings(ledger, route.root, NOW)


# Bundles


@pytest.fixture
def bundle(tmp_path: Path) -> Path:
    """The bundle of one machine, whose layout was another before."""
    root = recorded(tmp_path / "route")
    layout = root / "layouts" / "m-1.toml"
    layout.write_bytes(layout.read_bytes() + b"# new\n")
    run_and_record(root, now=NOW)
    return unpacked(pack(root, target="m-1", rows_only=True), tmp_path / "bundle")


def test_a_bundle_of_one_machine_shows_nothing_of_anothers_layout(bundle: Path, tmp_path: Path) -> None:
    verify(bundle)
    other = tmp_path / "route" / "layouts" / "m-2.toml"
    hidden = [b"layouts/m-2", sha256(other).encode(), b'machine = "m-2"']
    files = [path for path in bundle.rglob("*") if path.is_file()]
    assert not [(path, text) for path in files for text in hidden if text in path.read_bytes()]
    shown = {path.relative_to(bundle / "settings").as_posix() for path in (bundle / "settings").rglob("*.toml")}
    assert shown == {"route.toml", "layouts/m-1.toml", "earlier/000001/layouts/m-1.toml"}
    (of_run,) = (bundle / "settings" / "lists").glob("*-run.jsonl")
    lines = [json.loads(line) for line in of_run.read_bytes().splitlines() if line]
    assert lines == [
        {"file": name, "original": sha256(bundle / "settings" / name)} for name in ("layouts/m-1.toml", "route.toml")
    ]


def test_the_whole_route_shows_every_file_and_line(tmp_path: Path) -> None:
    root = recorded(tmp_path / "route")
    folder = unpacked(pack(root), tmp_path / "bundle")
    verify(folder)
    assert all((folder / "settings" / name).read_bytes() == (root / name).read_bytes() for name in NAMES)
    for path in (folder / "settings" / "lists").iterdir():
        assert [json.loads(line)["file"] for line in path.read_bytes().splitlines()] == sorted(NAMES)


def test_a_bundle_in_which_a_layout_or_list_was_altered_fails(bundle: Path) -> None:
    layout, earlier = bundle / "settings/layouts/m-1.toml", bundle / "settings/earlier/000001/layouts/m-1.toml"
    lists = sorted((bundle / "settings" / "lists").iterdir())
    for path in (layout, earlier, *lists):
        data = path.read_bytes()
        path.write_bytes(data.replace(b"m-1", b"m-9"))
        summed(bundle)
        with pytest.raises(Failed):
            verify(bundle)
        path.write_bytes(data)
    # Each is a file that the ledger knows, under the name of another one.
    new, old = layout.read_bytes(), earlier.read_bytes()
    layout.write_bytes(old)
    earlier.write_bytes(new)
    summed(bundle)
    with pytest.raises(Failed, match="is not what entry"):
        verify(bundle)


def test_a_file_is_proved_by_its_own_line_of_a_list_that_its_entry_proves(bundle: Path) -> None:
    index = json.loads((bundle / "bundle.json").read_bytes())
    claims = {claim["file"]: claim for claim in index["files"]}

    def fails() -> bool:
        (bundle / "bundle.json").write_text(json.dumps(index))
        summed(bundle)
        try:
            verify(bundle)
        except Failed:
            return True
        return False

    assert not fails()
    # The content of another line of the same list.
    layout, plain = bundle / "settings/layouts/m-1.toml", (bundle / "settings/route.toml").read_bytes()
    data = layout.read_bytes()
    layout.write_bytes(plain)
    assert fails()
    # A list that nobody proves.
    layout.write_bytes(b"forged")
    forged = {"file": "layouts/m-1.toml", "original": hashlib.sha256(b"forged").hexdigest()}
    (bundle / "rows" / "list.jsonl").write_text(json.dumps(forged))
    claims["settings/layouts/m-1.toml"]["list"] = "rows/list.jsonl"
    assert fails()
    # A list that another entry proves.
    layout.write_bytes(data)
    claims["settings/layouts/m-1.toml"]["list"] = "settings/lists/000001.jsonl"
    assert fails()
