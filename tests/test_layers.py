"""The layers hold: who may import whom is checked by import-linter, and the core knows nothing of the command
line."""

import ast
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

TOP = Path(__file__).resolve().parents[1]
CORE = ("model", "route", "intake", "match", "balance", "findings", "ledger")


def test_the_contract_of_pyproject_holds() -> None:
    linter = Path(sys.executable).with_name("lint-imports")
    if not linter.exists():
        pytest.skip("import-linter is not installed beside this interpreter")
    done = subprocess.run([linter, "--no-cache"], cwd=TOP, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr


def test_every_package_has_its_layer() -> None:
    contract = tomllib.loads((TOP / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["importlinter"][
        "contracts"
    ][0]
    named = {layer.strip("()").removeprefix("recon.") for layer in contract["layers"]}
    packages = {path.parent.name for path in (TOP / "recon").glob("*/__init__.py")}
    assert packages - named == set()
    assert contract["layers"][-1] == "recon.model"


def imported(path: Path) -> set[str]:
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {name.name.partition(".")[0] for name in node.names}
        elif isinstance(node, ast.ImportFrom) and node.level == 0:
            found.add((node.module or "").partition(".")[0])
    return found


def test_the_core_imports_no_library_of_the_command_line() -> None:
    modules = [path for layer in CORE for path in (TOP / "recon" / layer).rglob("*.py")]
    assert len(modules) > 40
    assert {
        path.relative_to(TOP).as_posix() for path in modules if imported(path) & {"typer", "rich", "click"}
    } == set()


def test_the_core_reads_no_clock_and_prints_nothing() -> None:
    """The moment of the run comes in as an argument; what is said is said by findings."""
    for layer in CORE:
        for path in (TOP / "recon" / layer).rglob("*.py"):
            if path.name == "bundle_verifier.py":
                continue  # a program of its own, which a bundle carries to where recon is not
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
                if isinstance(node, ast.Call):
                    called = ast.unparse(node.func)
                    assert called not in (
                        "print",
                        "datetime.now",
                        "datetime.utcnow",
                        "date.today",
                        "time.time",
                    ), f"{path}:{node.lineno}"
