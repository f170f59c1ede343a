"""The catalogue of run findings and the findings agree: every kind is made, every sentence is whole, every id
is stable."""

import ast
import re
import shutil
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from string import Formatter
from typing import Any

import polars as pl
import pytest
from builders import NOW as RUN_OF_TESTS
from builders import RouteBuilder, of_kind, slot

import recon
from recon.findings.catalogue.run_kinds import RUN_KINDS
from recon.findings.draft import Draft, compile_findings
from recon.match.explained import WHY
from recon.model.results import Finding, Results
from recon.recorded import run_and_record

TOP = Path(__file__).resolve().parents[2]
BAYSIDE = TOP / "samples" / "bayside"
NOW = datetime(2026, 9, 29, 16, 40, tzinfo=UTC)

MAY_BE_EMPTY = {"also", "at_retail", "near", "same_bytes", "slot"}
"""Names of the words that stand for an addition: empty where there is none."""


@pytest.fixture(scope="module")
def bayside() -> Results:
    return recon.run(BAYSIDE, now=NOW).results


@pytest.fixture(scope="module")
def others(tmp_path_factory: pytest.TempPathFactory) -> Results:
    """The kinds that the bayside sample lacks: clock changes, payouts without days or of the same days; and
    some findings in other shapes: without price, without slot, in a currency without digits."""
    route = RouteBuilder(tmp_path_factory.mktemp("others")).settings(timezone="America/Halifax", currency="JPY")
    route.machine("m-1", slot("A1", price=None), slot("A2", price="150"))
    route.vends(
        "03-08 02:30, A1, cash",
        "11-01 01:30, A1, cash, 300",
        "11-08 08:55, A2, cash, 300",
        "11-02 12:00, A2, card",
    )
    route.vends(
        "11-04 12:00, A2, card, 150, vended, T-1",
        "11-04 12:00, A2, card, 150, refunded, T-1",
        name="vends-refund.csv",
    )
    route.vends("11-03 12:00, A2, cash, 150").vends("11-03 12:00, A2, cash, 150", name="vends-copy.csv")
    route.counts("11-01 09:00, A1, 10", "11-01 09:00, A2, 10", "11-08 09:00, A1, 7", "11-08 09:00, A2, 9")
    route.cash("11-01 09:00, 0, 0", "11-08 09:00, 150, 0").payouts(
        "2026-11-30, , , , , 150", "2026-11-30, 2026-11-01, 2026-11-03, , , 100"
    )
    for name, hour in (("by-day.csv", 9), ("by-night.csv", 22)):
        hours = [(hour + at % 7) % 24 for at in range(70)]
        route.vends(
            *(f"11-{10 + at // 7} {here:02d}:{at % 60:02d}, A2, token" for at, here in enumerate(hours)),
            name=name,
        )
    route.loads("11-04 12:00, 999, 5", columns="time,bus,loaded", name="loads-by-number.csv")
    route.cash("11-08 09:00, 160, 0", name="cash-again.csv")
    route.payouts("2026-11-30, 2026-11-02, 2026-11-04, , , 0", name="payouts-again.csv")
    route.file("inbox/loads-none.csv", "machine,time,label,loaded\n")
    sheet = "Tests at m-1\nmachine,label,note\nm-1,a1,Café\nm-1,ZZ,\n"
    route.file("inbox/tests.csv", sheet.encode("cp1252"))
    route.file("inbox/tests-mended.csv", 'file,row,reason,text\ninbox/tests.csv,4,no such label,"m-1,A2,"\n')
    # What the ledger remembers: a sheet that was changed since, and a slip that is gone.
    route.file("inbox/tests-early.csv", "machine,label\nm-1,A1\n")
    route.file("inbox/loads-lost.csv", "machine,time,label,loaded\nm-1,2026-11-05 12:00,A1,1\n")
    run_and_record(route.root, now=RUN_OF_TESTS)
    route.file("inbox/tests-early.csv", "machine,label\nm-1,A2\n")
    (route.root / "inbox/loads-lost.csv").unlink()
    return route.run().results


@pytest.fixture(scope="module")
def every(bayside: Results, others: Results) -> list[Finding]:
    return [*bayside.findings, *others.findings]


def test_every_kind_of_the_catalogue_is_made(every: list[Finding]) -> None:
    assert {found.kind for found in every} == set(RUN_KINDS)


def hyphenated(path: Path) -> Iterator[str]:
    """Constants of a module that look like the code of a kind."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if (
            isinstance(node, ast.Constant)
            and isinstance(node.value, str)
            and re.fullmatch(r"[a-z]+(-[a-z]+)+", node.value)
        ):
            yield node.value


def test_every_kind_named_in_the_code_is_in_the_catalogue() -> None:
    files = [
        *(TOP / "recon/findings").glob("of_*.py"),
        TOP / "recon/balance/running.py",
        TOP / "recon/intake/gather.py",
        TOP / "recon/intake/take_in.py",
        TOP / "recon/intake/duplicates.py",
    ]
    named = {name for path in files for name in hyphenated(path)} - set(WHY.categories)
    assert named - set(RUN_KINDS) == set()
    assert len(named) > 20


def pattern(words: str) -> re.Pattern[str]:
    """The sentence with something in the place of every name, or nothing where an addition may be left
    out."""
    parts = []
    for literal, name, _, _ in Formatter().parse(words):
        parts.append(re.escape(literal))
        if name is not None:
            parts.append("(.*)" if name in MAY_BE_EMPTY else r"(\S|\S.*\S)")
    return re.compile("".join(parts))


def test_every_sentence_is_whole(every: list[Finding]) -> None:
    for found in every:
        kind = RUN_KINDS[found.kind]
        assert pattern(kind.words).fullmatch(found.message), found.message
        assert pattern(kind.advice).fullmatch(found.advice), found.advice
        said = f"{found.message} {found.advice}"
        assert not re.search(r"\b(None|null|nan|NaN)\b|[{}]|datetime", said), said
        # Two blanks stand behind a place (`file:line  what is wrong`) and nowhere else: elsewhere they are an
        # empty name.
        assert "  " not in re.sub(r"^\S+:\d+  ", "", found.message), said


def test_the_figures_of_a_finding_are_in_its_sentence(every: list[Finding]) -> None:
    for found in every:
        if found.machine is not None and found.kind not in ("rejected-row", "future-time"):
            assert found.machine in found.message or "payout" in found.kind or found.kind == "fee-differs", (
                found.message
            )
        if found.label is not None:
            assert found.label in found.message


def test_every_finding_leads_to_rows_that_are_there(bayside: Results) -> None:
    lines = {
        path.relative_to(BAYSIDE).as_posix(): path.read_bytes().count(b"\n") for path in (BAYSIDE / "inbox").iterdir()
    }
    for found in bayside.findings:
        assert found.evidence, found.message
        assert len(found.evidence) == min(found.evidence_count, 20)
        for proof in found.evidence:
            assert proof.file in lines
            assert proof.row is None or 2 <= proof.row <= lines[proof.file]
        assert len({(proof.file, proof.row) for proof in found.evidence}) == len(found.evidence), found.message


def test_severities_are_those_of_the_catalogue_but_for_a_file_given_twice(every: list[Finding]) -> None:
    odd = {found.kind for found in every if found.severity != RUN_KINDS[found.kind].severity}
    assert odd <= {"duplicate-row"}


def test_findings_stand_worst_first(bayside: Results) -> None:
    order = ["error", "warning", "note"]
    ranks = [(order.index(found.severity), -abs(found.amount or 0)) for found in bayside.findings]
    assert ranks == sorted(ranks)


def test_ids_are_single_and_short(every: list[Finding], bayside: Results) -> None:
    assert all(re.fullmatch(r"[0-9a-f]{12}", found.id) for found in every)
    assert len({found.id for found in bayside.findings}) == len(bayside.findings)


def test_ids_are_the_same_on_the_next_run_and_in_another_folder(bayside: Results, tmp_path: Path) -> None:
    shutil.copytree(BAYSIDE, tmp_path / "moved")
    again = recon.run(tmp_path / "moved", now=datetime(2026, 9, 30, tzinfo=UTC)).results
    assert again.findings == bayside.findings


def test_what_was_found_keeps_its_id_when_more_files_arrive(bayside: Results, tmp_path: Path) -> None:
    """The same route without its last visit and export: windows that closed before are told by the same ids
    after."""
    shutil.copytree(BAYSIDE, tmp_path / "early")
    for name in (
        "counts-2026-09-28.csv",
        "cash-2026-09-28.csv",
        "sales-2026-39.csv",
        "climb-1-vends-2026-39.csv",
        "borne-library-1-2026-39.csv",
    ):
        (tmp_path / "early/inbox" / name).unlink()
    early = recon.run(tmp_path / "early", now=NOW).results
    late = {found.id: found for found in bayside.findings}
    gone = [found for found in early.findings if found.id not in late]
    # What hangs on vends and visits that were not there yet goes when they are: a payout for an export still
    # to come.
    passing = {"no-collection", "payout-over", "duplicate-row", "above-capacity"}
    assert {found.kind for found in gone} <= passing, [found.message for found in gone]
    kept = [found for found in early.findings if found.id in late]
    assert len(kept) > 40
    assert all(
        (found.kind, found.machine, found.label) == (late[found.id].kind, late[found.id].machine, late[found.id].label)
        for found in kept
    )


def test_ids_do_not_hang_on_the_order_of_files_or_rows(tmp_path: Path) -> None:
    """The same rows from back to front, under other names: findings that are not about a file keep their
    ids."""

    def ids(folder: str, names: tuple[str, str], step: int) -> dict[str, Any]:
        route = RouteBuilder(tmp_path / folder).machine("m-1", slot("A1"), slot("A2"))
        counts = ["09-01 09:00, A1, 10", "09-01 09:00, A2, 10", "09-08 09:00, A1, 7", "09-08 09:00, A2, 12"]
        vends = [
            "09-03 12:00, A1, cash, 2.00",
            "09-03 12:00, A2, cash, 1.00",
            "09-03 12:00, B1, card, 1.00",
            "09-10 12:00, A2, card",
        ]
        route.counts(*counts[::step], name=names[0]).vends(*vends[::step], name=names[1])
        return {found.id: (found.kind, found.units, found.amount) for found in route.run().results.findings}

    straight = ids("one", ("a.csv", "b.csv"), 1)
    assert len(straight) >= 6
    assert ids("two", ("z.csv", "c.csv"), -1) == straight


def test_a_sentence_with_a_hole_in_it_is_a_fault() -> None:
    rows = pl.DataFrame({"n": [0], "machine": ["m-1"], "label": ["A1"], "opened_at": [NOW], "closed_at": [NOW]})
    proof = pl.DataFrame({"n": [0], "file": [0], "row": [2]})
    with pytest.raises(pl.exceptions.ColumnNotFoundError):
        compile_findings([Draft("stock-short", rows, proof)])


def test_no_file_steers_the_terminal(route: RouteBuilder) -> None:
    """Control characters in a cell come out as question marks, in one line."""
    run = route.counts("09-01 09:00, A1, \x1b[31mten\x07").run()
    message = of_kind(run, "rejected-row")[0].message
    assert message.isprintable()
    assert "[31mten" in message
