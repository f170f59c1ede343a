"""`recon plan` and `recon money` as a person meets them: real processes, text of 80 columns, JSON, CSV, exit codes.

What they print for the sample stands beside this file, byte for byte; after a change that is meant, --accept-golden
writes it anew.
"""

import csv
import io
import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from builders import RouteBuilder, slot

from recon.model.earnings_results import EarningsResults
from recon.model.plan_results import PlanResults

TOP = Path(__file__).resolve().parents[2]
GOLDEN = Path(__file__).resolve().parent / "golden_asked"
BAYSIDE = TOP / "samples" / "bayside"
OUTPUTS = {
    "plan.txt": ("plan",),
    "plan-demand.txt": ("plan", "--fill", "demand", "--next", "2026-10-05", "--until", "2026-10-12"),
    "plan.json": ("plan", "--format", "json"), "plan.csv": ("plan", "--format", "csv"),
    "money.txt": ("money",),
    "money-products.txt": ("money", "--by", "product", "--since", "2026-09-01", "--extra", "0.1"),
    "money.json": ("money", "--format", "json"), "money.csv": ("money", "--by", "machine", "--format", "csv"),
}  # fmt: skip


def recon(*words: str | Path, **more: str) -> subprocess.CompletedProcess[str]:
    environment = {"SOURCE_DATE_EPOCH": "1790700000", "PYTHONPATH": str(TOP), "NO_COLOR": "1", "COLUMNS": "80",
                   "PYTHONIOENCODING": "utf-8"}  # fmt: skip
    clean = {name: value for name, value in os.environ.items() if not name.startswith(("COV_", "COVERAGE"))}
    return subprocess.run(
        [sys.executable, "-m", "recon", *map(str, words)],
        capture_output=True, encoding="utf-8", check=False, env=clean | environment | more,
    )  # fmt: skip


def printed(*words: str | Path) -> str:
    done = recon(*words)
    assert (done.returncode, done.stderr) == (0, "")
    return done.stdout


def of_sample(name: str) -> str:
    command, *options = OUTPUTS[name]
    return printed(command, BAYSIDE, *options)


@pytest.mark.parametrize("name", OUTPUTS)
def test_what_is_printed_for_the_sample_is_the_golden_one(name: str, request: pytest.FixtureRequest) -> None:
    found = of_sample(name)
    if request.config.getoption("--accept-golden"):
        GOLDEN.mkdir(exist_ok=True)
        (GOLDEN / name).write_text(found, encoding="utf-8", newline="\n")
    assert found == (GOLDEN / name).read_text(encoding="utf-8")
    if name.endswith(".txt"):
        assert max(len(line) for line in found.splitlines()) <= 79


def test_no_golden_file_is_left_over() -> None:
    assert {path.name for path in GOLDEN.iterdir()} == set(OUTPUTS)


@pytest.mark.parametrize(("command", "model"), [("plan", PlanResults), ("money", EarningsResults)])
def test_the_json_keeps_its_schema_and_its_types(command: str, model: Any) -> None:
    text = of_sample(f"{command}.json")
    schema = json.loads((TOP / "schemas" / f"{command}.schema.json").read_text(encoding="utf-8"))
    jsonschema.Draft202012Validator(schema).validate(json.loads(text))
    model.model_validate_json(text)


def test_machines_in_json_are_those_of_the_run(tmp_path: Path) -> None:
    """The same text for the same figure, as `recon run --format json` prints it."""
    done = recon("run", BAYSIDE, "--dry-run", "--quiet", "--format", "json")
    run = {each["machine"]: each for each in json.loads(done.stdout)["machines"]}
    money = {each["machine"]: each for each in json.loads(of_sample("money.json"))["machines"]}
    same = ("sales", "cash_sales", "card_sales", "fees", "cost_of_goods", "shrink_units", "shrink_retail",
            "shrink_cost", "margin")  # fmt: skip
    assert {name: [each[key] for key in same] for name, each in money.items()} == {
        name: [each[key] for key in same] for name, each in run.items()
    }


def test_csv_and_json_say_the_same() -> None:
    rows = list(csv.DictReader(io.StringIO(of_sample("plan.csv"))))
    slots = json.loads(of_sample("plan.json"))["slots"]
    assert [(row["machine"], row["label"], row["carry"]) for row in rows] == [
        (each["machine"], each["label"], str(each["carry"])) for each in slots
    ]


def test_nothing_is_written(tmp_path: Path) -> None:
    route = RouteBuilder(tmp_path / "r").machine("m-1", slot("A1")).counts("09-01 09:00, A1, 10")
    before = sorted(path.name for path in route.root.rglob("*"))
    printed("plan", route.root)
    printed("money", route.root)
    assert sorted(path.name for path in route.root.rglob("*")) == before


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("plan", "{route}", "m-2"), "knows no machine m-2; did you mean m-1?"),
        (("plan", "{route}", "--chance", "1"), "--chance 1 is not above 0 and below 1"),
        (("plan", "{route}", "--chance", "nan"), "--chance nan is not above 0 and below 1"),
        (("plan", "{route}", "--widen", "0"), "--widen 0 is not above 0"),
        (("plan", "{route}", "--slow", "-1"), "--slow -1 is not a figure"),
        (("plan", "{route}", "--long", "inf"), "--long inf is not a figure"),
        (("plan", "{route}", "--windows", "0"), "--windows 0 is not 1 or more"),
        (("plan", "{route}", "--next", "tomorrow"), 'neither a day (2026-09-01) nor a local time'),
        (("plan", "{route}", "--next", "2026-08-01"), "is before the last visit of m-1, 2026-09-01"),
        (("plan", "{route}", "--next", "9999-12-31"), "is years ahead"),
        (("plan", "{route}", "--until", "2026-09-02"), "is not after the visit to load m-1 for"),
        (("plan", "{route}", "--next", "2026-10-02", "--until", "2026-10-02"), "is not before --until"),
        (("money", "{route}", "x"), "knows no machine x"),
        (("money", "{route}", "--extra", "2"), "neither a share from 0 to 1"),
        (("money", "{route}", "--extra", "0.6..0.2"), "neither a share from 0 to 1"),
        (("money", "{route}", "--extra", "half"), "neither a share from 0 to 1"),
        (("money", "{route}", "--since", "2026-09-02", "--until", "2026-09-01"), "is not before --until"),
        (("money", "{route}/nowhere"), "is not a folder"),
    ],
)  # fmt: skip
def test_what_cannot_be_used_is_named(words: tuple[str, ...], said: str, tmp_path: Path) -> None:
    route = RouteBuilder(tmp_path).machine("m-1", slot("A1")).counts("09-01 09:00, A1, 10")
    done = recon(*(word.replace("{route}", str(route.root)) for word in words))
    assert done.returncode == 2
    assert done.stdout == ""
    assert said in " ".join(done.stderr.split())
    assert "Traceback" not in done.stderr


NAMES = ["<script>alert(1)</script>", "=cmd()", "\u202eevil", "x" * 500, "tab\there", "Łódź"]


def test_hostile_names_show_as_text_and_never_run(tmp_path: Path) -> None:
    rows = "".join(f'p{at},"{name}"\n' for at, name in enumerate(NAMES))
    route = RouteBuilder(tmp_path).file("products.csv", f"id,name\n{rows}")
    route.machine("m-1", *(slot(f"A{at}", product=f"p{at}") for at in range(len(NAMES))), site="=1+1")
    route.counts(*(f"09-01 09:00, A{at}, 10" for at in range(len(NAMES))))
    text = printed("plan", route.root, "--quiet")
    assert max(len(line) for line in text.splitlines()) <= 79
    assert "\u202e" not in text
    assert "\t" not in text
    cells = [cell for row in csv.reader(io.StringIO(printed("plan", route.root, "--format", "csv"))) for cell in row]
    assert "'=cmd()" in cells
    assert not any(cell.startswith(("=", "+", "@")) for cell in cells)


def test_a_negative_margin_stays_a_number_in_csv(tmp_path: Path) -> None:
    route = RouteBuilder(tmp_path).products(gum="3.00").machine("m-1", slot("A1"))
    route.vends("09-01 09:00, A1, cash, 2.00")
    (row,) = csv.DictReader(io.StringIO(printed("money", route.root, "--format", "csv")))
    assert (row["label"], row["margin"]) == ("A1", "-1.00")


def test_a_quiet_machine_is_told_never(tmp_path: Path) -> None:
    route = RouteBuilder(tmp_path).machine("m-1", slot("A1"))
    route.vends("09-01 00:00, A1, card, 2.00", "09-28 10:00, A1, cash, 2.00")
    text = printed("money", route.root)
    assert "299.00 is never paid back" in text
    assert "no share would do" in text


def test_uncounted_slots_are_hinted_at_on_standard_error(tmp_path: Path) -> None:
    route = RouteBuilder(tmp_path).machine("m-1", slot("A1"), slot("A2")).counts("09-01 09:00, A1, 10")
    done = recon("plan", route.root)
    assert "1 slot was never counted" in done.stderr
    assert "what 1 slot never counted needs" in done.stdout
    assert recon("plan", route.root, "--quiet").stderr == ""


def test_doubts_are_told(tmp_path: Path) -> None:
    """A1 vended from its number before the count, B1 is below nothing, C1 has no capacity, X9 is no slot."""
    route = RouteBuilder(tmp_path).machine("m-1", slot("A1"), slot("B1"), slot("C1", capacity=None))
    route.counts("09-01 09:00, A1, 10", "09-01 09:00, B1, 1", "09-01 09:00, C1, 4")
    route.vends("09-01 09:05, A1, cash, 2.00", "09-01 10:00, B1, cash, 2.00, vended, , 3")
    route.vends("09-01 11:00, X9, cash, 2.00")
    text = " ".join(printed("plan", route.root).split())
    assert "A1 9 to 10: vends close to its count" in text
    assert "B1 -2 by the book: a load or a count is missing" in text
    assert "1 unit vended since the last count from numbers that no slot has" in text
    assert "nothing to fill up to: C1" in text


def test_another_zone_and_hash_seed_print_the_same() -> None:
    first = recon("plan", BAYSIDE, TZ="Asia/Tokyo", PYTHONHASHSEED="7").stdout
    assert first == recon("plan", BAYSIDE, TZ="UTC", PYTHONHASHSEED="99").stdout
    assert first
