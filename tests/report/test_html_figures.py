"""Figures on the HTML report: those of results.json, row for row, and sums that come out at them."""

import re
from collections import Counter, defaultdict
from datetime import datetime, timedelta
from decimal import Decimal

import pytest
from page_reader import PageReader
from report_routes import pages, reconciled

from recon.model.results import Results, StockWindow

SAMPLES = ("bayside", "clean")
DRAWN = ("bayside", "foreign", "crowd")
"""Routes with a part for each machine."""


def plain(text: str) -> str:
    """A figure of the page as results.json writes it."""
    return text.replace("\u2212", "-").replace(",", "").removeprefix("+")


def local(moment: datetime) -> str:
    return f"{moment:%Y-%m-%d %H:%M}"


@pytest.fixture(params=SAMPLES)
def sample(request: pytest.FixtureRequest) -> tuple[PageReader, Results]:
    return PageReader(pages(request.param)["report.html"]), reconciled(request.param).results


@pytest.fixture(params=DRAWN)
def drawn(request: pytest.FixtureRequest) -> tuple[PageReader, Results]:
    return PageReader(pages(request.param)["report.html"]), reconciled(request.param).results


def test_the_figures_of_the_machines(sample: tuple[PageReader, Results]) -> None:
    page, results = sample
    rows = {row[0]: [plain(cell) for cell in row[2:]] for row in page.table("Figures of every machine")}
    for one in results.machines:
        money = (one.sales, one.cash_sales, one.card_sales, one.fees, one.cost_of_goods, one.shrink_cost, one.margin)
        assert rows[one.machine] == [str(one.vends), *map(str, money)]
    assert len(rows) == len(results.machines)


def test_every_stock_window_stands_in_its_machines_table(drawn: tuple[PageReader, Results]) -> None:
    page, results = drawn
    by_machine: dict[str, list[StockWindow]] = defaultdict(list)
    for one in results.stock:
        by_machine[one.machine].append(one)
    for machine, windows in by_machine.items():
        found, visit = Counter(), ("", "")
        closings = []
        for row in page.table(f"Stock windows of {machine}"):
            if len(row) == 1:
                closed, opened = re.fullmatch(r"counted (.+), since (.+)", row[0]).groups()  # type: ignore[union-attr]
                visit = (opened, closed)
                closings.append(closed)
                continue
            units = [int(plain(cell)) for cell in row[2:9]]
            found[(*visit, row[0], *units, plain(row[10]))] += 1
        assert closings == sorted(closings, reverse=True)
        expected = Counter(
            (
                local(one.opened_at), local(one.closed_at), one.label, one.opening, one.loaded, one.removed, one.vended,
                one.expected, one.counted, one.variance, "" if one.variance == 0 else str(one.retail_value),
            )
            for one in windows
        )  # fmt: skip
        assert found == expected


def test_the_drawing_shows_what_each_slots_windows_come_to(drawn: tuple[PageReader, Results]) -> None:
    page, results = drawn
    come_to: dict[tuple[str, str], list[int]] = defaultdict(lambda: [0, 0])
    for one in results.stock:
        if one.variance_high < 0:
            come_to[one.machine, one.label][0] += one.variance
        if one.variance_low > 0:
            come_to[one.machine, one.label][1] += one.variance
    drawn = [picture for picture in page.svgs if "machine" in picture.get("class", "").split()]
    assert len(drawn) == len({one.machine for one in results.stock})
    told: dict[tuple[str, str], list[int]] = {}
    for picture in drawn:
        machine = picture["_title"].split(":")[0]
        for label, sentence in re.findall(r"Tray [^,]+, ([^,:]+)(?:,[^:]*)?: ([^.]*)\.", picture["_desc"]):
            figures = [int(plain(text)) for text in re.findall(r"[\u2212+]\d+", sentence.split("within")[0])]
            if "within" in sentence:
                figures = []
            told[machine, label] = [sum(n for n in figures if n < 0), sum(n for n in figures if n > 0)]
    assert {slot: figures for slot, figures in told.items() if any(figures)} == {
        slot: figures for slot, figures in come_to.items() if any(figures)
    }


def test_cash_by_collection(drawn: tuple[PageReader, Results]) -> None:
    page, results = drawn
    for machine in {one.machine for one in results.cash if one.over_short is not None}:
        rows = page.table(f"Cash against the log, by collection of {machine}")
        expected = [
            [local(one.closed_at), str(one.expected), str(one.collected), str(one.over_short)]
            for one in results.cash
            if one.machine == machine and one.over_short is not None
        ]
        assert [[row[0], *(plain(row[at]) for at in (1, 2, 4))] for row in rows] == expected[::-1]


def test_sales_by_week_add_up_to_the_machines_sales(drawn: tuple[PageReader, Results]) -> None:
    page, results = drawn
    for one in results.machines:
        if one.vends == 0:
            assert not page.table(f"Sales by week of {one.machine}")
            continue
        header, *rows = page.whole(f"Sales by week of {one.machine}")
        sums = dict.fromkeys(header[1:], Decimal(0))
        for row in rows:
            for tender, cell in zip(header[1:], row[1:], strict=True):
                sums[tender] += Decimal(plain(cell))
        assert sum(sums.values()) == one.sales
        assert sums.get("cash", Decimal(0)) == one.cash_sales
        assert sums.get("card", Decimal(0)) == one.card_sales
        days = [datetime.fromisoformat(row[0]) for row in rows]
        assert all(day.isoweekday() == 1 for day in days)
        assert days == [days[0] - timedelta(weeks=at) for at in range(len(days))]


def test_units_by_week_add_up(drawn: tuple[PageReader, Results]) -> None:
    page, results = drawn
    for one in results.machines:
        rows = page.table(f"Units short and over by week of {one.machine}")
        own = [window for window in results.stock if window.machine == one.machine]
        assert sum(int(plain(row[1])) for row in rows) == len(own)
        assert sum(int(plain(row[2])) for row in rows) == one.shrink_units
        assert sum(Decimal(plain(row[3])) for row in rows) == -one.shrink_retail
        assert sum(int(plain(row[4])) for row in rows) == sum(max(window.variance, 0) for window in own)


@pytest.mark.parametrize("name", DRAWN)
def test_vends_by_hour_add_up_to_what_dropped(name: str) -> None:
    page, priced = PageReader(pages(name)["report.html"]), reconciled(name).frames["priced"]
    dropped: Counter[str] = Counter()
    for machine, outcome, tender, quantity in priced.select("machine", "outcome", "tender", "quantity").iter_rows():
        if outcome in ("vended", "refunded") and tender != "test":
            dropped[machine] += quantity
    for machine, units in dropped.items():
        rows = page.table(f"Vends by hour and weekday of {machine}")
        assert sum(int(cell) for row in rows for cell in row[1:] if cell) == units


def test_files_rejects_and_payouts(sample: tuple[PageReader, Results]) -> None:
    page, results = sample
    rows = page.table("Files taken in")
    assert [[row[0], *map(plain, row[3:7]), row[7]] for row in rows] == [
        [one.file, *map(str, (one.rows, one.accepted, one.duplicate, one.rejected)), (one.sha256 or "")[:12]]
        for one in results.inputs
    ]
    rejected = sum(one.rejected for one in results.inputs)
    assert len(page.table("Rejected rows")) == rejected
    paid = [(row[0], plain(row[10]), plain(row[11])) for row in page.table("Card payouts")]
    assert sorted(paid) == sorted(
        (str(one.paid_on), str(one.net), str(one.over_short) if one.over_short is not None else "")
        for one in results.payouts
    )


def test_every_open_finding_stands_on_the_page_with_its_advice(sample: tuple[PageReader, Results]) -> None:
    page, results = sample
    for one in results.findings:
        assert f"f-{one.id}" in page.ids
        assert " ".join(one.message.split()) in page.text
        assert " ".join(one.advice.split()) in page.text
        if one.machine and one.label and one.kind.startswith("stock-"):
            assert f"recon trace . {one.machine}/{one.label}" in page.text


def test_the_first_screen_tells_the_sums() -> None:
    page, results = PageReader(pages("bayside")["report.html"]), reconciled("bayside").results
    short = [one for one in results.stock if one.variance < 0]
    over = [one for one in results.stock if one.variance > 0]
    lost, found = (-sum(one.retail_value or 0 for one in short), sum(one.retail_value or 0 for one in over))
    assert f"{lost} short, {found} over" in page.text
    assert f"{len(results.stock) - len(short) - len(over)} of {len(results.stock)} windows agree" in page.text
    open_ = Counter(one.severity for one in results.findings)
    assert f"{open_['error']} errors and {open_['warning']} warnings are open." in page.text
    unpaid = -sum(one.amount or 0 for one in results.findings if one.kind == "unpaid-vends")
    assert f"{unpaid} not paid out" in page.text
    assert page.headings[0] == (1, "Not everything is accounted for.")
    clean = PageReader(pages("clean")["report.html"])
    assert clean.headings[0] == (1, "Everything is accounted for.")
    assert "No error and no warning is open." in clean.text
    bare = PageReader(pages("bare")["report.html"])
    assert bare.headings[0][1] in ("Nothing was reconciled yet.", "Not everything is accounted for.")


def test_the_trace_of_a_short_slot_ends_at_its_count() -> None:
    page, results = PageReader(pages("bayside")["report.html"]), reconciled("bayside").results
    short = [one for one in results.findings if one.kind == "stock-short"]
    assert short
    for one in short:
        assert f"t-{one.machine}:{one.label}" in page.ids
        window = next(
            each for each in results.stock
            if (each.machine, each.label, each.opened_at, each.closed_at)
            == (one.machine, one.label, one.opened_at, one.closed_at)
        )  # fmt: skip
        rows = page.table(
            f"Rows of {one.machine} {one.label}, {local(window.opened_at)} to {local(window.closed_at)}"
        )
        assert rows[-1][1] == f"count: {window.counted}"
        assert plain(rows[-1][3]) == str(window.expected)
        changes = [int(plain(row[2])) for row in rows if row[2] and row[0] > local(window.opened_at)]
        assert window.opening + sum(changes) == window.expected


def test_money_of_machines_in_other_currencies_keeps_its_digits_and_is_not_added_up() -> None:
    page = PageReader(pages("foreign")["report.html"])
    rows = {row[0]: row[3:6] for row in page.table("Figures of every machine")}
    assert rows["m-yen"] == ["400", "200", "200"]
    assert rows["m-kuwait"] == ["3.000", "1.500", "1.500"]
    assert rows["m-home"] == ["4.00", "2.00", "2.00"]
    assert "2.00 + 200 JPY + 1.500 KWD short" in page.text


def test_weeks_and_hours_are_the_machines_own() -> None:
    """23:30 on a Sunday in Tokyo is the week before, and half past eleven at night, wherever the route is run."""
    page = PageReader(pages("foreign")["report.html"])
    for machine in ("m-yen", "m-kuwait", "m-home"):
        assert [row[0] for row in page.table(f"Sales by week of {machine}")] == ["2026-09-07", "2026-08-31"]
        hours = {row[0]: row[1:] for row in page.table(f"Vends by hour and weekday of {machine}")}
        assert hours == {"00:00": ["1", *[""] * 6], "23:00": [*[""] * 6, "1"]}
