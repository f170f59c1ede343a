"""Every command's help has examples that parse, and a shell completes machines, slots, findings and words."""

import os
import shlex
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from builders import RouteBuilder, slot
from typer.main import get_command

from recon.cli.main import app

TOP = Path(__file__).resolve().parents[2]
START = "import sys; sys.argv = ['recon', *sys.argv[1:]]; from recon.cli.main import main; main()"


def commands(group: Any = None, name: str = "recon") -> Iterator[tuple[str, Any]]:
    for word, command in sorted((group or get_command(app)).commands.items()):
        if hasattr(command, "commands"):
            yield from commands(command, f"{name} {word}")
        else:
            yield f"{name} {word}", command


def examples(command: Any) -> list[str]:
    lines = [line.strip() for line in (command.help or "").split("\n")]
    after = lines[lines.index("Examples:") + 1 :] if "Examples:" in lines else []
    return [line for line in after if line.startswith("recon ")]


@pytest.mark.parametrize(("name", "command"), list(commands()), ids=[name for name, _ in commands()])
def test_each_command_has_two_examples_that_it_can_parse(name: str, command: Any) -> None:
    told = examples(command)
    assert len(told) >= 2
    for example in told:
        words = shlex.split(example.partition(" > ")[0])
        assert " ".join(words).startswith(name)
        command.make_context(name, words[len(name.split()) :])


def test_an_example_that_does_not_parse_would_be_seen() -> None:
    command = dict(commands())["recon run"]
    with pytest.raises(Exception, match="No such option"):
        command.make_context("run", ["--no-such-option"])


def completed(line: str, cwd: Path, shell: str = "bash") -> list[str]:
    """What a shell is told for the last word of a line, by the variables that its script sets."""
    words = line.split(" ")
    asked = {"_RECON_COMPLETE": f"complete_{shell}", "COMP_WORDS": line, "COMP_CWORD": str(len(words) - 1)}
    asked |= {"_TYPER_COMPLETE_ARGS": line, "_TYPER_COMPLETE_FISH_ACTION": "get-args", "PYTHONPATH": str(TOP)}
    done = subprocess.run(
        [sys.executable, "-c", START], cwd=cwd, env={**os.environ, **asked}, capture_output=True, text=True, check=False
    )
    assert done.stderr == ""
    return done.stdout.split("\n") if done.stdout.strip() else []


def values(line: str, cwd: Path) -> list[str]:
    return [value for value in completed(line, cwd) if value]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A route `r` with a machine as TOML, one as a table, a broken layout and two reports."""
    top = tmp_path_factory.mktemp("shell")
    route = RouteBuilder(top / "r").machine("quay-2", slot("110"), slot("112"), slot("$(rm)"), slot("a b"))
    rows = "climb-1,2026-01-01,A1,gum\nclimb-1,2026-02-01,A1,gum\n"
    route.file("layouts/climb.csv", f"machine,from,label,product\n{rows}")
    route.file("layouts/broken.toml", "machine = [").file("layouts/x.toml", 'machine = "; x"\n')
    one = '    {"id":"%s","kind":"stock-short","machine":"quay-2","label":"110"}'
    for at, ids in enumerate((["old00000"], ["8717b4c8a412", "871fffffffff"])):
        listed = ",\n".join(one % each for each in ids)
        path = f"reports/2026-09-2{at}-120000/results.json"
        route.file(path, '{\n  "stock": [],\n  "findings": [\n' + listed + '\n  ],\n  "decisions": []\n}\n')
        os.utime(top / "r" / path, (1e9 + at, 1e9 + at))
    route.file("reports/.part-2026-09-30-120000/results.json", "{")
    return top


@pytest.mark.parametrize(
    ("line", "expected"),
    [
        ("recon plan r ", ["climb-1", "quay-2"]),
        ("recon money r quay-2 c", ["climb-1"]),
        ("recon learn r q", ["quay-2"]),
        ("recon draft sheet r q", ["quay-2"]),
        ("recon draft layout --route r -m new --like c", ["climb-1"]),
        ("recon trace r q", ["quay-2"]),
        ("recon trace r quay-2", ["quay-2", "quay-2/110", "quay-2/112"]),
        ("recon trace r quay-2/11", ["quay-2/110", "quay-2/112"]),
        ("recon trace r climb-1/", ["climb-1/A1"]),
        ("recon trace r 8717", ["8717b4c8a412"]),
        ("recon pack r quay-2/112", ["quay-2/112"]),
        ("recon decide r ", ["8717b4c8a412", "871fffffffff"]),
        ("recon decide r 8717b4c8a412 w", ["write-off"]),
        ("recon run r --fail-on ", ["error", "warning", "note"]),
        ("recon trace nowhere ", []),
        ("recon tr", ["trace"]),
    ],
)
def test_a_shell_is_told_what_fits(folder: Path, line: str, expected: list[str]) -> None:
    assert values(line, folder) == expected


def test_the_route_of_a_command_may_be_this_folder(folder: Path) -> None:
    assert values("recon draft layout -m new --like ", folder / "r") == ["climb-1", "quay-2"]


def test_other_shells_are_told_the_kind_and_place_too(folder: Path) -> None:
    assert completed("recon decide r 8717", folder, "fish") == ["8717b4c8a412\tstock-short quay-2/110", ""]
    assert '"8717b4c8a412":"stock-short quay-2/110"' in "".join(completed("recon decide r 8717", folder, "zsh"))


@pytest.mark.skipif(shutil.which("bash") is None, reason="needs bash")
def test_bash_completes_with_the_script_that_recon_gives(folder: Path) -> None:
    """The script itself, in a real bash: the words that it offers for `recon trace r quay-2/`."""
    runner = folder / "recon"
    runner.write_text(f"#!/bin/sh\nexec {sys.executable} -c \"{START}\" \"$@\"\n")
    runner.chmod(0o755)
    path = {**os.environ, "PATH": f"{folder}:{os.environ['PATH']}", "PYTHONPATH": str(TOP)}
    script = subprocess.run(
        ["recon"], env={**path, "_RECON_COMPLETE": "source_bash"}, capture_output=True, text=True, check=True
    ).stdout
    ask = 'COMP_WORDS=(recon trace r quay-2/); COMP_CWORD=3; _recon_completion recon; printf "%s\\n" "${COMPREPLY[@]}"'
    done = subprocess.run(
        ["bash", "--norc", "-c", f"{script}\n{ask}"], cwd=folder, env=path, capture_output=True, text=True, check=True
    )
    assert done.stdout.split() == ["quay-2/110", "quay-2/112"]


def test_completing_loads_no_tables() -> None:
    code = (
        "import sys\nimport recon.cli.main\nimport recon.cli.complete\n"
        "print(sorted({'polars', 'pandera', 'pydantic', 'rich'} & {name.partition('.')[0] for name in sys.modules}))"
    )
    own = {**os.environ, "PYTHONPATH": str(TOP)}
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, env=own)
    assert done.stdout.strip() == "[]"
