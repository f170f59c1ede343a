"""`recon verify` and `recon pack` as a person or a script meets them: streams, files and exit codes."""

import hashlib
import json
import zipfile
from pathlib import Path

import jsonschema
import pytest
from builders import RouteBuilder
from test_run_command import TOP, in_order, recon


@pytest.fixture(scope="module")
def route(tmp_path_factory: pytest.TempPathFactory) -> Path:
    built = in_order(tmp_path_factory.mktemp("verify") / "route")
    assert recon("run", built.root, "--quiet").returncode == 0
    return built.root


def told(route: Path) -> dict[str, str | int]:
    """What the report carries of the ledger."""
    (path,) = route.glob("reports/*/ledger.json")
    found: dict[str, str | int] = json.loads(path.read_text())
    return found


def kept(route: Path, name: str) -> Path:
    """The kept original of a file."""
    sha256 = hashlib.sha256((route / name).read_bytes()).hexdigest()
    return route / "ledger" / "originals" / sha256[:2] / sha256


def test_a_whole_ledger(route: Path) -> None:
    found = recon("verify", route)
    assert (found.returncode, found.stderr) == (0, "")
    assert found.stdout.startswith(f"{route.as_posix()}: the ledger is whole\n")
    printed = recon("verify", route, "--format", "json")
    result = json.loads(printed.stdout)
    assert (result["whole"], result["failure"], result["what"]) == (True, None, "ledger")
    schema = json.loads((TOP / "schemas" / "verify.schema.json").read_text())
    jsonschema.Draft202012Validator(schema).validate(result)


def test_a_root_from_a_report(route: Path) -> None:
    report = told(route)
    root, entries = str(report["root"]), str(report["entries"])
    assert recon("verify", route, "--root", root.upper(), "--entries", entries).returncode == 0
    assert recon("verify", route, "--root", root).returncode == 0
    wrong = recon("verify", route, "--root", root, "--entries", int(entries) + 1)
    assert (wrong.returncode, wrong.stderr) == (3, "")
    assert "FAILS" in wrong.stdout
    assert "entries were rewritten after it was printed" in wrong.stdout
    assert recon("verify", route, "--root", "0" * 64).returncode == 3


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["nowhere"], "does not exist"),
        (["{route}", "--root", "abc"], "not 64 hexadecimal digits"),
        (["{route}", "--entries", "3"], "give --root, too"),
        (["{route}/inbox"], "no ledger yet"),
        (["{route}", "--format", "xml"], "xml"),
    ],
)
def test_what_cannot_be_verified(route: Path, words: list[str], said: str) -> None:
    found = recon("verify", *(word.replace("{route}", route.as_posix()) for word in words))
    assert (found.returncode, found.stdout) == (2, "")
    assert said in " ".join(found.stderr.split())


def test_an_altered_original(tmp_path: Path) -> None:
    built = in_order(tmp_path / "route")
    recon("run", built.root, "--quiet")
    path = kept(built.root, "inbox/vends.csv")
    path.write_bytes(path.read_bytes().replace(b"2.00", b"1.00"))
    found = recon("verify", built.root)
    assert found.returncode == 3
    assert "inbox/vends.csv): ledger/originals/" in found.stdout
    assert "was altered" in found.stdout
    result = json.loads(recon("verify", built.root, "--format", "json").stdout)
    assert result["whole"] is False
    packed = recon("pack", built.root, "-o", tmp_path / "out.zip")
    assert packed.returncode == 3
    assert "was altered" in packed.stderr
    assert not (tmp_path / "out.zip").exists()


def test_a_bundle(route: Path, tmp_path: Path) -> None:
    made = recon("pack", route, "m-1/A1", "--rows-only", cwd=tmp_path)
    assert made.returncode == 0, made.stderr
    path = tmp_path / made.stdout.strip()
    assert path.name.startswith("evidence-test-route-m-1-a1-")
    assert "root " in made.stderr
    found = recon("verify", path)
    assert (found.returncode, found.stderr) == (0, "")
    assert "the bundle is whole" in found.stdout
    report = told(route)
    assert recon("verify", path, "--root", report["root"], "--entries", str(report["entries"])).returncode == 0
    assert recon("verify", path, "--root", "0" * 64).returncode == 3
    with zipfile.ZipFile(path) as archive:
        archive.extractall(tmp_path / "unpacked")
        assert {info.date_time for info in archive.infolist()} == {(2026, 9, 29, 16, 40, 0)}
    assert recon("verify", tmp_path / "unpacked").returncode == 0
    vends = tmp_path / "unpacked" / "inbox" / "vends.csv"
    vends.write_bytes(vends.read_bytes().replace(b"2.00", b"1.00"))
    broken = recon("verify", tmp_path / "unpacked", "--format", "json")
    assert broken.returncode == 3
    assert json.loads(broken.stdout)["failure"].startswith("inbox/vends.csv was altered")
    again = recon("pack", route, "-o", path)
    assert again.returncode == 2
    assert "is there already" in again.stderr


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--rows-only"], "name one"),
        (["m-7"], "m-7"),
        (["m-1", "-o", "no/such/folder/x.zip"], "No such file"),
        (["m-1", "--since", "2026"], "neither a day"),
    ],
)
def test_what_cannot_be_packed(route: Path, tmp_path: Path, words: list[str], said: str) -> None:
    found = recon("pack", route, *words, cwd=tmp_path)
    assert (found.returncode, found.stdout) == (2, "")
    assert said in " ".join(found.stderr.split())
    assert list(tmp_path.iterdir()) == []


def test_a_route_without_a_ledger(tmp_path: Path) -> None:
    built: RouteBuilder = in_order(tmp_path / "route")
    for command in ("verify", "pack"):
        found = recon(command, built.root)
        assert found.returncode == 2
        assert "no ledger yet" in found.stderr
    assert not (built.root / "ledger").exists()
