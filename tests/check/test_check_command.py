"""`recon check` and `recon draft route` as a person or a script meets them: streams, exit codes, formats."""

import json
import subprocess
import sys
import time
from pathlib import Path

import pytest
import typer
from check_texts import LAYOUT, SETTINGS, Lay
from typer.testing import CliRunner, Result

from recon.cli import check as check_module
from recon.cli import draft
from recon.findings.layouts import check
from recon.model.errors import ReconError

GOOD = LAYOUT + '[[slot]]\nlabel = "110"\nbus = 110\nproduct = "gum"\nprice = "1.75"\n'
BAD = GOOD + "prise = 2\n"
WANTS_A_LOOK = GOOD.replace('price = "1.75"\n', "")

app = typer.Typer()
app.command("check")(check_module.check)
app.add_typer(draft.app, name="draft")


def run(*words: str | Path) -> Result:
    return CliRunner().invoke(app, [str(word) for word in words])


def problems_of(result: Result) -> list[tuple[str, str, int]]:
    printed = json.loads(result.stdout)
    assert printed["format"] == "recon-check/1"
    return [(problem["kind"], problem["file"], problem["line"]) for problem in printed["problems"]]


def test_quiet_on_success(lay: Lay) -> None:
    result = run("check", lay({"layouts/a.toml": GOOD}))
    assert (result.exit_code, result.stdout) == (0, "")
    assert result.stderr.count("\n") == 1


def test_one_line_for_each_problem_on_stdout(lay: Lay) -> None:
    root = lay({"layouts/a.toml": BAD, "layouts/b.toml": BAD.replace("m-1", "m-2")})
    result = run("check", root)
    assert result.exit_code == 1
    starts = [line.split("  ")[:2] for line in result.stdout.splitlines()]
    assert starts == [[f"{root}/layouts/{name}.toml:8:1", "unknown-key"] for name in "ab"]


def test_names_are_as_seen_from_here(lay: Lay, monkeypatch: pytest.MonkeyPatch) -> None:
    root = lay({"layouts/a.toml": BAD})
    monkeypatch.chdir(root)
    assert run("check").stdout.startswith("layouts/a.toml:8:1")
    assert run("check", "layouts/a.toml").stdout.startswith("layouts/a.toml:8:1")
    monkeypatch.chdir(root / "layouts")
    assert run("check", "a.toml").stdout.startswith("../layouts/a.toml:8:1")
    monkeypatch.chdir(root.parent)
    assert run("check", root.name).stdout.startswith(f"{root.name}/layouts/a.toml:8:1")


def test_a_file_alone_shows_its_own_problems(lay: Lay) -> None:
    root = lay(
        {
            "layouts/a.toml": BAD,
            "layouts/b.toml": BAD.replace("m-1", "m-2"),
            "route.toml": SETTINGS + "x = 1\n",
        }
    )
    assert problems_of(run("check", "--format", "json", root / "layouts" / "b.toml")) == [
        ("unknown-key", f"{root}/layouts/b.toml", 8)
    ]
    both = run("check", "--format", "json", root / "layouts" / "b.toml", root / "route.toml")
    assert [file for _, file, _ in problems_of(both)] == [f"{root}/layouts/b.toml", f"{root}/route.toml"]
    again = run("check", "--format", "json", root, root / "layouts" / "b.toml")
    assert len(problems_of(again)) == 3


def test_a_machine_laid_out_twice_is_told_for_either_file(lay: Lay) -> None:
    root = lay({"layouts/a.toml": GOOD, "layouts/b.toml": GOOD})
    for name in ("a", "b"):
        result = run("check", "--format", "json", root / "layouts" / f"{name}.toml")
        assert problems_of(result) == [("duplicate-machine", f"{root}/layouts/b.toml", 1)]


def test_a_layout_outside_any_route(tmp_path: Path) -> None:
    (tmp_path / "a.toml").write_text(BAD)
    result = run("check", "--format", "json", tmp_path / "a.toml")
    assert (result.exit_code, problems_of(result)) == (1, [("unknown-key", f"{tmp_path}/a.toml", 8)])
    assert [problem.kind for problem in check(tmp_path / "a.toml")] == ["unknown-key"]


def test_json_leaves_no_key_out(lay: Lay) -> None:
    result = run("check", "--format", "json", lay({"layouts/a.toml": GOOD + GOOD[GOOD.index("[[slot]]") :]}))
    problem = json.loads(result.stdout)["problems"][0]
    assert list(problem) == [
        "kind", "severity", "file", "line", "column", "machine", "label", "bus", "message", "advice",
    ]  # fmt: skip
    assert (problem["kind"], problem["severity"], problem["machine"], problem["label"], problem["bus"]) == (
        "duplicate-label", "error", "m-1", "110", None,
    )  # fmt: skip
    empty = run("check", "--format", "json", lay({"layouts/a.toml": GOOD}))
    assert json.loads(empty.stdout) == {"format": "recon-check/1", "problems": []}


@pytest.mark.parametrize(
    ("layout", "fail_on", "code"),
    [
        (WANTS_A_LOOK, None, 0),
        (WANTS_A_LOOK, "warning", 1),
        (WANTS_A_LOOK, "note", 1),
        (BAD, "error", 1),
        (GOOD, "note", 0),
    ],
)
def test_exit_codes_follow_fail_on(lay: Lay, layout: str, fail_on: str | None, code: int) -> None:
    words = [] if fail_on is None else ["--fail-on", fail_on]
    assert run("check", lay({"layouts/a.toml": layout}), *words).exit_code == code


def test_bad_settings_are_problems_like_any_other(lay: Lay) -> None:
    result = run("check", "--format", "json", lay({"route.toml": "name = 1", "layouts/a.toml": BAD}))
    assert result.exit_code == 1
    assert {kind for kind, _, _ in problems_of(result)} == {"bad-value", "unknown-key"}


def test_what_cannot_be_checked_is_said(lay: Lay, tmp_path: Path) -> None:
    root = lay({"inbox/sales.csv": "a,b\n", "layouts/.a.toml": GOOD})
    for path in (root / "none", root / "inbox" / "sales.csv", root / "layouts" / ".a.toml", root / "layouts"):
        assert isinstance(run("check", path).exception, ReconError)


def test_control_characters_do_not_reach_the_terminal(lay: Lay) -> None:
    layout = LAYOUT + 2 * '[[slot]]\nlabel = "a\\u001b[31m\\nb"\n'
    result = run("check", lay({"layouts/a.toml": layout}))
    assert "\x1b" not in result.stdout
    assert len(result.stdout.splitlines()) == 1


def test_a_narrow_encoding_is_no_fault(lay: Lay) -> None:
    root = lay({"layouts/a.toml": LAYOUT + '"größe…" = 1\n'})
    code = "import typer; from recon.cli.check import check; typer.run(check)"
    done = subprocess.run(
        [sys.executable, "-c", code, str(root)],
        capture_output=True,
        env={"PYTHONIOENCODING": "ascii"},
        check=False,
    )
    assert (done.returncode, done.stderr.count(b"\n")) == (1, 1)
    assert b"unknown-key" in done.stdout


def test_check_loads_neither_polars_nor_pandera(lay: Lay) -> None:
    root = lay({"layouts/a.toml": GOOD})
    code = (
        "import sys, recon.findings.layouts as layouts, recon.findings.catalogue\n"
        f"layouts.check({str(root)!r})\n"
        "assert not {'polars', 'pandera', 'rich'} & set(sys.modules), 'slow to start'"
    )
    subprocess.run([sys.executable, "-c", code], check=True)


def test_a_thousand_layouts_in_three_seconds(lay: Lay) -> None:
    slots = "".join(
        f'[[slot]]\nlabel = "{at}"\nbus = {at}\ntray = "{at // 10}"\nproduct = "p{at}"\n'
        'price = "1.75"\ncapacity = 10\n\n'
        for at in range(100, 160)
    )
    layouts = {f"layouts/{n}.toml": LAYOUT.replace("m-1", f"m-{n}") + slots for n in range(1000)}
    root = lay(layouts)
    started = time.process_time()
    assert check(root) == []
    # Coverage and a busy computer slow this down; the budget of 3 s is for the bare command.
    assert time.process_time() - started < (12 if sys.gettrace() else 3)


def test_a_draft_passes_the_check_and_is_never_overwritten(tmp_path: Path) -> None:
    folder = tmp_path / "my route"
    result = run("draft", "route", folder, "--timezone", "Europe/Lisbon", "--currency", "EUR")
    assert result.exit_code == 0
    written = [Path(line) for line in result.stdout.splitlines()]
    assert {path.relative_to(folder).as_posix() for path in written} == {
        "README.txt", "route.toml", "products.csv", "layouts/example-1.toml",
    }  # fmt: skip
    assert all((folder / name).is_dir() for name in ("layouts", "sources", "inbox"))
    assert check(folder) == []
    before = {path: path.read_bytes() for path in written}
    written[0].unlink()
    refused = run("draft", "route", folder)
    assert isinstance(refused.exception, ReconError)
    assert "route.toml" in str(refused.exception)
    assert not written[0].exists()
    assert all(path.read_bytes() == before[path] for path in written[1:])


@pytest.mark.parametrize("currency", ["CAD", "JPY", "KWD", "UYW"])
def test_a_draft_in_any_currency_passes_the_check(tmp_path: Path, currency: str) -> None:
    assert run("draft", "route", tmp_path, "--name", 'A "quoted" \\ ü', "--currency", currency).exit_code == 0
    assert check(tmp_path) == []


@pytest.mark.parametrize(
    "words", [["--currency", "CDA"], ["--timezone", "Halifax"], ["--name", " "], ["--name", "a\nb"]]
)
def test_a_draft_that_could_not_be_used_is_not_written(tmp_path: Path, words: list[str]) -> None:
    assert isinstance(run("draft", "route", tmp_path / "new", *words).exception, ReconError)
    assert not (tmp_path / "new").exists()


def test_a_draft_where_a_file_is_in_the_way(tmp_path: Path) -> None:
    (tmp_path / "layouts").write_text("a file")
    refused = run("draft", "route", tmp_path)
    assert isinstance(refused.exception, ReconError)
    assert "layouts" in str(refused.exception)
    assert [path.name for path in tmp_path.iterdir()] == ["layouts"]


def test_help_of_both(tmp_path: Path) -> None:
    for words in (["check", "--help"], ["draft", "--help"], ["draft", "route", "--help"]):
        result = run(*words)
        assert result.exit_code == 0
        assert "recon" in result.stdout or "route" in result.stdout
