"""recon draft sheet: where it writes, what it says, and what the CSV and the page look like for the sample."""

import re
import shutil
from pathlib import Path

import pytest
from builders import RouteBuilder, slot
from typer.testing import CliRunner, Result

from recon.cli.main import app
from recon.model.errors import ReconError

GOLDEN = Path(__file__).resolve().parent / "golden_sheets"
SAMPLE = Path(__file__).resolve().parents[2] / "samples" / "bayside"
NAMES = {"counts.csv", "cash.csv", "page.html"}


@pytest.fixture(autouse=True)
def _here_and_now(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1790700000")
    monkeypatch.chdir(tmp_path)


@pytest.fixture
def bayside(tmp_path: Path) -> Path:
    shutil.copytree(SAMPLE, tmp_path / "bayside", ignore=shutil.ignore_patterns("reports", "ledger", "inbox"))
    return Path("bayside")


def run(*words: str | Path) -> Result:
    return CliRunner().invoke(app, ["draft", "sheet", *map(str, words)])


def refused(*words: str | Path) -> str:
    error = run(*words).exception
    assert isinstance(error, ReconError), error
    return str(error)


def _bare(page: str) -> str:
    """The page without its style and script, which have files of their own, and without their hashes."""
    page = re.sub(r"<style>.*?</style>", "<style>...</style>", page, flags=re.DOTALL)
    page = re.sub(r"<script>.*?</script>", "<script>...</script>", page, flags=re.DOTALL)
    return re.sub(r"&#39;sha256-[^&]*&#39;", "sha256-...", page)


def test_the_sheets_of_the_sample_are_the_golden_ones(bayside: Path, request: pytest.FixtureRequest) -> None:
    assert run(bayside, "quay-2", "depot-1", "--as", "csv", "-o", "round.csv").exit_code == 0
    assert run(bayside, "quay-2", "depot-1", "--show-par", "-o", "round.html").exit_code == 0
    found = {
        "counts.csv": Path("round.csv").read_bytes().decode(),
        "cash.csv": Path("round-cash.csv").read_bytes().decode(),
        "page.html": _bare(Path("round.html").read_text(encoding="utf-8")),
    }
    if request.config.getoption("--accept-golden"):
        GOLDEN.mkdir(exist_ok=True)
        for name, text in found.items():
            (GOLDEN / name).write_bytes(text.encode())
    assert {path.name for path in GOLDEN.iterdir()} == NAMES
    for name, text in found.items():
        kept = (GOLDEN / name).read_bytes().decode()
        assert text == kept, f"{name}: look at the difference, then run pytest tests/cli --accept-golden"


@pytest.mark.parametrize("kind", ["html", "csv", "xlsx"])
def test_it_stands_in_a_folder_of_its_own_and_is_never_overwritten(bayside: Path, kind: str) -> None:
    done = run(bayside, "--as", kind)
    assert done.exit_code == 0
    written = [Path(line) for line in done.stdout.splitlines()]
    assert written[0] == bayside / "sheets" / f"sheet-2026-09-29.{kind}"
    assert all(path.is_file() for path in written)
    before = written[0].read_bytes()
    assert "is there already, and was left as it is" in refused(bayside, "--as", kind)
    assert written[0].read_bytes() == before


def test_one_machine_is_in_the_name(bayside: Path) -> None:
    assert run(bayside, "quay-2").stdout == "bayside/sheets/sheet-quay-2-2026-09-29.html\n"


def test_the_kind_follows_from_the_name(bayside: Path) -> None:
    assert run(bayside, "-o", "a.xlsx").exit_code == 0
    assert Path("a.xlsx").read_bytes().startswith(b"PK")
    assert "ends in .xlsx, and --as says csv" in refused(bayside, "-o", "b.xlsx", "--as", "csv")
    assert "expected a name that ends in .html, .csv or .xlsx" in refused(bayside, "-o", "b.pdf")


def test_it_is_printed_on_request(bayside: Path) -> None:
    done = run(bayside, "quay-2", "--as", "csv", "-o", "-")
    assert done.stdout.startswith("machine,tray,label,product,counted")
    assert "quay-2" not in done.stderr
    assert not (bayside / "sheets").exists()
    assert run(bayside, "--as", "xlsx", "-o", "-").stdout_bytes.startswith(b"PK")


def test_the_layout_of_a_day(bayside: Path) -> None:
    """The change of 2026-09-14 09:30 is not made yet for whoever opens the machine that day."""
    for day, product in (("2026-09-14", "Oat bar"), ("2026-09-15", "Rye crackers")):
        text = run(bayside, "quay-2", "--as", "csv", "-o", "-", "--on", day).stdout
        assert f"quay-2,1,110,{product}" in text, text


@pytest.mark.parametrize("day", ["29.9.2026", "2026-13-01", "2026-09", "tomorrow", "2026-09-28T07:30", ""])
def test_a_day_that_is_none_is_refused(bayside: Path, day: str) -> None:
    assert f'--on "{day}": expected a day, such as 2026-09-28' in refused(bayside, "--on", day)


def test_a_machine_in_place_of_the_route_is_pointed_out(bayside: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(bayside)
    assert "recon draft sheet . quay-2 quay-5" in refused("quay-2", "quay-5")


def test_no_machine_no_route(bayside: Path) -> None:
    assert "no machine of bayside" in refused(bayside, "quay-99")
    assert "is not a folder" in refused("nowhere")


def test_a_place_that_cannot_be_written_is_said(bayside: Path) -> None:
    Path("file").write_text("x")
    assert "file is no folder that can be written to" in refused(bayside, "-o", "file/sheet.html")
    Path("folder.html").mkdir()
    assert "is there already" in refused(bayside, "-o", "folder.html")


def test_a_description_that_would_take_the_saved_file_is_pointed_out(tmp_path: Path) -> None:
    route = RouteBuilder(tmp_path / "r").machine("m-1", slot("1"))
    route.file("sources/all.toml", 'kind = "counts"\nfiles = ["count*.csv"]\n')
    assert "sources/all.toml speaks for files named as count-sheet-" in run("r").stderr
    assert "speaks for" not in run("r", "--as", "xlsx").stderr


def test_what_is_left_out_is_said(tmp_path: Path) -> None:
    route = RouteBuilder(tmp_path / "r").machine("m-1", slot("1"))
    route.machine("m-2", slot("1"), effective="2030-01-01T00:00:00").file("layouts/bad.toml", 'machine = "m-3"\n')
    told = run("r").stderr
    assert "left out m-2: its layout holds from 2030-01-01 00:00 on" in told
    assert "left out what layouts/bad.toml describes" in told
