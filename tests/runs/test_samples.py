"""Whole runs over the sample routes, held against the simulator's own reckoning under tests/truth (invented
data)."""

import json
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

import recon

TOP = Path(__file__).resolve().parents[2]
NOW = datetime(2026, 9, 29, 16, 40, tzinfo=UTC)

Row = dict[str, Any]


def truth(name: str) -> dict[str, list[Row]]:
    return json.loads((TOP / "tests/truth" / f"{name}.json").read_text(encoding="utf-8"))


def run(name: str) -> recon.Run:
    return recon.run(TOP / "samples" / name, now=NOW)


@pytest.fixture(scope="module")
def clean() -> dict[str, list[Row]]:
    return json.loads(run("clean").json())


@pytest.fixture(scope="module")
def bayside() -> dict[str, list[Row]]:
    return json.loads(run("bayside").json())


def same_keys(found: list[Row], told: list[Row], *key: str) -> list[tuple[Row, Row]]:
    """Pair rows of the results with rows of the truth; neither side may have one more."""
    mine = {tuple(row[name] for name in key): row for row in found}
    theirs = {tuple(row[name] for name in key): row for row in told}
    assert len(mine) == len(found)
    assert sorted(mine) == sorted(theirs)
    return [(mine[place], theirs[place]) for place in sorted(theirs)]


def test_every_stock_window_of_the_clean_route_is_the_true_one(clean: dict[str, list[Row]]) -> None:
    for found, told in same_keys(clean["stock"], truth("clean")["stock"], "machine", "label", "opened_at"):
        assert {name: found[name] for name in told} == told
        assert (found["variance"], found["retail_value"], found["cost_value"]) == (0, "0.00", "0.00")
        assert found["variance_low"] <= 0 <= found["variance_high"]


def test_every_cash_window_of_the_clean_route_is_the_true_one(clean: dict[str, list[Row]]) -> None:
    for found, told in same_keys(clean["cash"], truth("clean")["cash"], "machine", "opened_at"):
        assert {name: found[name] for name in told} == told
        assert found["unpriced_vends"] == 0


def test_every_payout_of_the_clean_route_is_the_true_one(clean: dict[str, list[Row]]) -> None:
    for found, told in same_keys(clean["payouts"], truth("clean")["payouts"], "reference"):
        assert {name: found[name] for name in told} == told
        expected = (
            found["gross_expected"],
            found["fees_expected"],
            found["net_expected"],
            found["over_short"],
        )
        assert expected == (told["gross"], told["fees"], told["net"], "0.00")


def test_every_machine_total_of_the_clean_route_is_the_true_one(clean: dict[str, list[Row]]) -> None:
    for found, told in same_keys(clean["machines"], truth("clean")["machines"], "machine"):
        derived = {
            "units_out": sum(row["vended"] for row in clean["stock"] if row["machine"] == told["machine"]),
            "prepaid_sales": str(
                Decimal(found["sales"]) - Decimal(found["cash_sales"]) - Decimal(found["card_sales"])
            ),
        }
        assert {name: (found | derived)[name] for name in told} == told
        assert (
            found["unmapped_vends"],
            found["shrink_units"],
            found["shrink_retail"],
            found["shrink_cost"],
        ) == (0, 0, "0.00", "0.00")
        margin = Decimal(found["sales"]) - Decimal(found["fees"]) - Decimal(found["cost_of_goods"])
        assert Decimal(found["margin"]) == margin


def test_the_clean_route_has_no_error_and_no_warning(clean: dict[str, list[Row]]) -> None:
    assert [row["message"] for row in clean["findings"] if row["severity"] != "note"] == []
    assert [row["file"] for row in clean["inputs"] if row["rejected"]] == []


def said(entry: Row, finding: Row) -> bool:
    """Whether a finding says what an entry of the truth does: every key given, the file among its
    evidence."""
    rest = {name: value for name, value in entry.items() if name != "file"}
    # The run tells a box full of cash beside a log without any as the log's fault, once a machine, not as
    # cash over.
    if rest["kind"] == "cash-over" and rest.get("machine") == "depot-1":
        rest["kind"] = "cash-not-logged"
    files = {proof["file"] for proof in finding["evidence"]}
    return (
        all(finding[name] == value for name, value in rest.items())
        and entry.get("file", next(iter(files), None)) in files
    )


def entries(*parts: str) -> list[Any]:
    """Entries of the truth, each a test of its own."""
    listed = []
    for entry in (entry for part in parts for entry in truth("bayside")[part]):
        name = "-".join(
            str(entry[key]).replace("inbox/", "")
            for key in ("kind", "machine", "label", "file")
            if key in entry
        )
        listed.append(pytest.param(entry, id=name))
    return listed


@pytest.mark.parametrize("entry", entries("planted", "follows"))
def test_what_was_planted_is_found(bayside: dict[str, list[Row]], entry: Row) -> None:
    found = [finding for finding in bayside["findings"] if said(entry, finding)]
    alike = [finding["message"] for finding in bayside["findings"] if finding["kind"] == entry["kind"]]
    assert found, f"nothing says {entry}; of that kind there is: {alike}"


def test_nothing_else_is_an_error_or_a_warning(bayside: dict[str, list[Row]]) -> None:
    told = [entry for part in ("planted", "follows", "possible") for entry in truth("bayside")[part]]
    strange = [
        (finding["kind"], finding["message"])
        for finding in bayside["findings"]
        if finding["severity"] != "note" and not any(said(entry, finding) for entry in told)
    ]
    assert strange == []


def test_a_planted_finding_that_names_its_place_is_made_once(bayside: dict[str, list[Row]]) -> None:
    """Entries with machine and moment speak of one window: two findings would be one too many."""
    for entry in truth("bayside")["planted"] + truth("bayside")["follows"]:
        if "opened_at" in entry:
            assert sum(said(entry, finding) for finding in bayside["findings"]) == 1, entry


def test_all_windows_that_trouble_did_not_touch_agree(bayside: dict[str, list[Row]]) -> None:
    kinds = ("stock-short", "stock-over", "boundary-vends")
    told = truth("bayside")["planted"] + truth("bayside")["follows"]
    places = {
        (row["machine"], row["label"], row["opened_at"], row["units"]) for row in told if row["kind"] in kinds
    }
    off = {
        (row["machine"], row["label"], row["opened_at"], row["variance"])
        for row in bayside["stock"]
        if row["variance"]
    }
    assert off == places


@pytest.mark.parametrize("sample", ["clean", "bayside"])
def test_the_typed_results_are_the_json(sample: str) -> None:
    finished = run(sample)
    assert json.loads(finished.results.model_dump_json(by_alias=True)) == json.loads(finished.json())
    window, machine = finished.results.stock[0], finished.results.machines[0]
    assert (type(machine.sales), type(window.opening)) == (Decimal, int)
    assert window.opened_at.utcoffset() == timedelta(hours=-3)
