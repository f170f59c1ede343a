"""The count sheet as a page: filled in on a phone, saved, taken in by a run; seen at two widths and on paper."""

import json
import re
import shutil
import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path

import pytest
from builders import RouteBuilder, slot
from chromium import DESK, PHONE, Chromium, Page
from devtools import BrowserFault

from recon.intake.take_in import Intake, take_in
from recon.report.sheet import count_sheet
from recon.report.sheet_html import sheet_html
from recon.route.folder import read_route

NOW = datetime(2026, 9, 28, 16, 0, tzinfo=UTC)
LATER = datetime(2099, 1, 1, tzinfo=UTC)
"""The moment of a run that takes in what a page stamped with the clock of this computer."""

SCRIPT = "<script>alert(1)</script>"
HOSTILE = f"{SCRIPT}\u202egnp.exe\u202c =cmd() \u05d0\u05d1\u05d2"
LONG = "Unbreakable" * 46


def _drawn(route: RouteBuilder, *machines: str, name: str = "sheet.html") -> Path:
    path = route.root / name
    path.write_text(sheet_html(count_sheet(read_route(route.root), machines, now=NOW)), encoding="utf-8")
    return path


def _taken(route: RouteBuilder, *files: Path) -> Intake:
    for file in files:
        shutil.copy(file, route.root / "inbox" / file.name)
    intake = take_in(read_route(route.root), now=LATER)
    assert intake.rejects.height == 0, intake.rejects.select("reason", "text").rows()
    return intake


def _saved(page: Page, button: str = "#save-counts") -> Path:
    """Press a button that saves, and the file that comes of it."""
    page.click(button)
    page.settle(0.3)
    said = page.text("#said")
    assert said.startswith("Saved as "), said
    return page.downloaded(said.removeprefix("Saved as ").split(":")[0])


def _labels(intake: Intake) -> list[tuple[object, ...]]:
    return intake.counts.select("machine", "label", "counted", "loaded", "removed").rows()


@pytest.fixture
def round_of_two(tmp_path: Path) -> RouteBuilder:
    """m-1 in Halifax with labels 1, 2 and A10 on two trays; m-2 in Tehran, in yen."""
    route = RouteBuilder(tmp_path).settings(timezone="America/Halifax")
    route.machine("m-1", slot("2", tray="top"), slot("1", tray="top"), slot("A10", tray="low"), site="Ferry quay")
    return route.machine("m-2", slot("5"), timezone="Asia/Tehran", currency="JPY")


def test_a_sheet_filled_in_on_a_phone_is_taken_in_by_a_run(
    chromium: Chromium, round_of_two: RouteBuilder, tmp_path: Path
) -> None:
    """Typed at 360 px, saved, dropped into the inbox, run by the command itself."""
    page = chromium.open(_drawn(round_of_two), width=PHONE)
    page.type("#m0s0-counted", "4")
    page.type("#m0s0-loaded", "6")
    page.type("#m0s1-counted", "0")
    page.type("#m0s1-removed", "2")
    page.type("#m0-who", "JB")
    page.evaluate("document.querySelector('#m0-when').value = '2026-09-14T07:30'")
    page.click("#m0s1-more")
    page.type("#m0s1-note", '=SUM(A1), "cold"')
    assert page.text("#said") == "2 of 4 slots counted"
    saved = _saved(page)
    assert saved.read_bytes().decode("utf-8-sig") == (
        "machine,time,label,counted,loaded,removed,counter,note\r\n"
        "m-1,2026-09-14 07:30,1,4,6,,JB,\r\n"
        'm-1,2026-09-14 07:30,2,0,,2,JB,"\'=SUM(A1), ""cold"""\r\n'
        "m-1,2026-09-14 07:30,A10,,,,JB,\r\n"
    )
    intake = _taken(round_of_two, saved)
    assert _labels(intake) == [("m-1", "1", 4, 6, 0), ("m-1", "2", 0, 0, 2), ("m-1", "A10", None, 0, 0)]
    assert intake.counts["time"][0] == datetime(2026, 9, 14, 10, 30, tzinfo=UTC)  # 07:30 in Halifax
    assert intake.counts["note"][1] == '=SUM(A1), "cold"'
    round_of_two.counts("09-21 07:30, 1, 9", name="count-sheet-later.csv", machine="m-1")
    done = subprocess.run(
        [sys.executable, "-m", "recon", "run", str(round_of_two.root), "--format", "json", "--all"],
        capture_output=True, text=True, check=False, env={"SOURCE_DATE_EPOCH": "1790700000", "PATH": "/usr/bin:/bin"},
    )  # fmt: skip
    assert done.returncode in (0, 1), done.stderr
    windows = json.loads(done.stdout)["stock"]
    told = [(each["label"], each["opening"], each["expected"], each["variance"]) for each in windows]
    assert told == [("1", 10, 10, -1)]
    assert not page.console
    assert not page.requests


def test_cash_goes_into_a_file_of_its_own(chromium: Chromium, round_of_two: RouteBuilder) -> None:
    page = chromium.open(_drawn(round_of_two), width=PHONE)
    with pytest.raises(BrowserFault):
        page.click("#save-cash")
    page.type("#m0-notes", "40")
    page.type("#m0-coins", "11,5")
    page.type("#m0-tubes", "25.25")
    page.type("#m0-cash-note", "JB and KL")
    page.type("#m1-total", "1250")
    for machine in ("m0", "m1"):
        page.evaluate(f"document.querySelector('#{machine}-taken').value = '2026-09-14T07:40'")
    intake = _taken(round_of_two, _saved(page, "#save-cash"))
    assert intake.cash.select("machine", "collected", "tubes", "note").sort("machine").rows() == [
        ("m-1", 5150, 2525, "JB and KL"), ("m-2", 1250, None, None),
    ]  # fmt: skip


@pytest.mark.parametrize(("currency", "typed", "minor"), [
    ("JPY", "1250", 1250), ("CAD", "0.05", 5), ("CAD", "1234.5", 123450), ("KWD", "1.234", 1234), ("KWD", "12", 12000),
])  # fmt: skip
def test_amounts_of_any_currency_are_read_back(
    chromium: Chromium, tmp_path: Path, currency: str, typed: str, minor: int
) -> None:
    route = RouteBuilder(tmp_path).settings(currency=currency).machine("m-1", slot("1"))
    page = chromium.open(_drawn(route), width=PHONE)
    page.type("#m0-total", typed)
    assert _taken(route, _saved(page, "#save-cash")).cash["collected"].to_list() == [minor]


def test_what_is_typed_survives_a_reload_until_it_is_cleared(chromium: Chromium, round_of_two: RouteBuilder) -> None:
    page = chromium.open(_drawn(round_of_two), width=PHONE)
    page.type("#m0s2-counted", "7")
    page.click("#m0s2-more")
    page.type("#m0s2-note", "coil sticks")
    when = page.evaluate("document.querySelector('#m0-when').value")
    page.reload()
    assert page.evaluate("document.querySelector('#m0s2-counted').value") == "7"
    assert page.evaluate("document.querySelector('#m0-when').value") == when
    assert "coil sticks" in page.evaluate("document.querySelector('#m0s2-note').value")
    assert page.text("#said") == "1 of 4 slots counted"
    page.click("#clear")
    page.click("#clear-no")
    assert page.text("#said") == "1 of 4 slots counted"
    page.click("#clear")
    page.click("#clear-yes")
    page.reload()
    assert page.evaluate("[...document.querySelectorAll('input')].every(field => field.value === '')")


def test_two_sheets_do_not_mix(chromium: Chromium, round_of_two: RouteBuilder) -> None:
    first, second = _drawn(round_of_two, "m-1"), _drawn(round_of_two, "m-2", name="other.html")
    page = chromium.open(first, width=PHONE)
    page.type("#m0s0-counted", "7")
    page.go(second.as_uri())
    assert page.evaluate("document.querySelector('#m0s0-counted').value") == ""


def test_where_nothing_can_be_kept_that_is_said(chromium: Chromium, round_of_two: RouteBuilder) -> None:
    """As in a browser that refuses storage to a file."""
    path = _drawn(round_of_two)
    refusing = "Object.defineProperty(window, 'localStorage', {get() { throw new DOMException('no') }})"
    page = chromium.open(path, width=PHONE)
    page.call("Page.addScriptToEvaluateOnNewDocument", source=refusing)
    page.reload()
    assert "save before you leave" in page.text("#keeping")
    page.type("#m0s0-counted", "7")
    assert _labels(_taken(round_of_two, _saved(page)))[0] == ("m-1", "1", 7, 0, 0)
    assert not page.console


@pytest.mark.parametrize("phone", ["America/Halifax", "Pacific/Kiritimati", "America/Los_Angeles"])
def test_times_are_those_of_the_machine_wherever_the_phone_is(
    chromium: Chromium, round_of_two: RouteBuilder, phone: str
) -> None:
    page = chromium.open(_drawn(round_of_two), width=PHONE, zone=phone)
    begun = datetime.now(UTC)
    page.type("#m0s0-counted", "4")
    page.type("#m1s0-counted", "5")
    intake = _taken(round_of_two, _saved(page))
    for moment in intake.counts["time"]:
        assert abs((moment - begun).total_seconds()) < 120, (phone, moment, begun)
    halifax, tehran = (page.evaluate(f"document.querySelector('#m{m}-when').value") for m in (0, 1))
    assert halifax != tehran


def test_a_corrected_time_is_what_is_saved(chromium: Chromium, round_of_two: RouteBuilder) -> None:
    page = chromium.open(_drawn(round_of_two), width=PHONE, zone="Asia/Tokyo")
    page.type("#m0s0-counted", "4")
    page.evaluate("document.querySelector('#m0-when').value = '2026-09-14T07:30'")
    page.type("#m0s1-counted", "4")
    assert ",2026-09-14 07:30," in _saved(page).read_text("utf-8-sig")


@pytest.mark.parametrize(("field", "typed", "said"), [
    ("m0s0-counted", "4x", 'counted: "4x" is no whole number'),
    ("m0s0-counted", "-1", 'counted: "-1" is no whole number'),
    ("m0s0-loaded", "1.5", 'loaded: "1.5" is no whole number'),
    ("m0s0-counted", "999999", "is no whole number from 0 to 100000"),
])  # fmt: skip
def test_what_is_no_number_of_units_is_said_and_not_saved(
    chromium: Chromium, round_of_two: RouteBuilder, field: str, typed: str, said: str
) -> None:
    page = chromium.open(_drawn(round_of_two), width=PHONE)
    page.type(f"#{field}", typed)
    page.click("#save-counts")
    assert said in page.text("#said")
    assert page.evaluate("document.activeElement.id") == field
    assert page.evaluate("document.activeElement.getAttribute('aria-invalid')") == "true"
    assert not list(page.downloads.iterdir())


@pytest.mark.parametrize(("typed", "said"), [
    ({"tubes": "25.00"}, "fill in what was taken out"),
    ({"notes": "40", "coins": "1", "total": "42"}, "the total is not notes and coins together"),
    ({"total": "12.345"}, '"12.345" is no amount such as 12.50'),
    ({"total": "-3"}, "is no amount"),
])  # fmt: skip
def test_cash_that_does_not_add_up_is_said(
    chromium: Chromium, round_of_two: RouteBuilder, typed: dict[str, str], said: str
) -> None:
    page = chromium.open(_drawn(round_of_two), width=PHONE)
    for name, text in typed.items():
        page.type(f"#m0-{name}", text)
    page.click("#save-cash")
    assert said in page.text("#said")
    assert not list(page.downloads.iterdir())


def test_a_missing_time_is_asked_for(chromium: Chromium, round_of_two: RouteBuilder) -> None:
    page = chromium.open(_drawn(round_of_two), width=PHONE)
    page.type("#m0s0-counted", "4")
    page.evaluate("document.querySelector('#m0-when').value = ''")
    page.click("#save-counts")
    assert "m-1: fill in when" in page.text("#said")
    page.click("#save-counts")
    assert not list(page.downloads.iterdir())


def test_an_empty_sheet_saves_nothing(chromium: Chromium, round_of_two: RouteBuilder) -> None:
    page = chromium.open(_drawn(round_of_two), width=PHONE)
    page.click("#save-counts")
    assert "Nothing is counted yet" in page.text("#said")


def test_digits_of_other_keyboards_are_taken(chromium: Chromium, round_of_two: RouteBuilder) -> None:
    page = chromium.open(_drawn(round_of_two), width=PHONE)
    page.type("#m0s0-counted", "\u0661\u0662")
    page.type("#m0s1-counted", "\u06f0")
    assert [row[2] for row in _labels(_taken(round_of_two, _saved(page)))] == [12, 0, None]


def test_a_sheet_saved_twice_counts_once_and_the_later_figure_holds(
    chromium: Chromium, round_of_two: RouteBuilder
) -> None:
    page = chromium.open(_drawn(round_of_two), width=PHONE)
    page.type("#m0s0-counted", "4")
    page.type("#m0s1-counted", "9")
    page.evaluate("document.querySelector('#m0-when').value = '2026-09-14T07:30'")
    first = _saved(page)
    page.settle(1.1)
    page.type("#m0s1-counted", "8")
    second = _saved(page)
    assert first.name < second.name
    _taken(round_of_two, first, second)
    round_of_two.counts("09-21 07:30, 1, 4", "09-21 07:30, 2, 8", name="later.csv", machine="m-1")
    stock = round_of_two.run().results.stock
    assert {(window.label, window.opening, window.variance) for window in stock} == {("1", 4, 0), ("2", 8, 0)}


def test_labels_are_saved_exactly_and_hostile_names_show_as_text(chromium: Chromium, tmp_path: Path) -> None:
    route = RouteBuilder(tmp_path).settings(timezone="UTC")
    labels = ["=cmd()", "07", "A,1", 'say "2"', "1;2", SCRIPT]
    slots = [slot(label, tray=SCRIPT, product="p1" if at % 2 else "p2") for at, label in enumerate(labels)]
    route.machine("m-1", *slots, site=HOSTILE)
    route.file("products.csv", f'id,name,unit_cost\np1,"{HOSTILE}",1\np2,{LONG[:500]},1\n')
    for width in (PHONE, DESK):
        page = chromium.open(_drawn(route), width=width)
        assert (page.console, page.requests, page.wide()) == ([], [], 0)
        assert page.evaluate("document.scripts.length") == 2
        assert SCRIPT in page.text("#m0-name")
        assert "\\u202e" in page.text("#m0s1-product")
    for at in range(len(labels)):
        page.type(f"#m0s{at}-counted", str(at))
    taken = _taken(route, _saved(page))
    assert set(taken.counts["label"]) == set(labels)
    order = page.evaluate("JSON.parse(document.getElementById('facts').textContent).machines[0].labels")
    assert {row[1]: row[2] for row in _labels(taken)} == {label: at for at, label in enumerate(order)}


@pytest.mark.parametrize("dark", [False, True])
@pytest.mark.parametrize("width", [PHONE, DESK])
def test_the_page_holds_to_wcag_and_is_quiet(
    chromium: Chromium, axe: str, round_of_two: RouteBuilder, width: int, dark: bool
) -> None:
    page = chromium.open(_drawn(round_of_two), width=width, dark=dark)
    assert page.axe(axe) == []
    page.type("#m0s0-counted", "4x")
    page.click("#save-counts")
    page.click("#clear")
    if width == PHONE:
        page.click("#m0s0-more")
    assert page.axe(axe) == []
    page.medium("print", dark=dark)
    assert page.axe(axe) == []
    assert (page.console, page.requests, page.wide()) == ([], [], 0)


def test_everything_is_reached_by_the_keyboard(chromium: Chromium, round_of_two: RouteBuilder) -> None:
    page = chromium.open(_drawn(round_of_two), width=PHONE)
    stops = page.tab_stops()
    reached = {stop["id"] for stop in stops}
    wanted = page.evaluate(
        "[...document.querySelectorAll('input, button')].filter(at => at.checkVisibility()).map(at => at.id)"
    )
    assert set(wanted) <= reached
    assert all(stop["ring"] and stop["seen"] for stop in stops)
    # WCAG 2.2, 2.5.8: targets of at least 24 by 24 CSS pixels; ours are made for thumbs.
    assert all(stop["height"] >= 44 for stop in stops if stop["tag"] in ("input", "button", "a"))


def test_enter_goes_down_the_column(chromium: Chromium, round_of_two: RouteBuilder) -> None:
    page = chromium.open(_drawn(round_of_two), width=PHONE)
    page.type("#m0s0-counted", "4")
    page.press("Enter")
    assert page.evaluate("document.activeElement.id") == "m0s1-counted"


def test_without_script_it_is_a_sheet_to_print(chromium: Chromium, round_of_two: RouteBuilder, tmp_path: Path) -> None:
    page = chromium.open(_drawn(round_of_two), scripts=False)
    root = page.call("DOM.getDocument", depth=0)["root"]["nodeId"]
    for hidden in ("#bar", "#save-counts", "#clear"):
        node = page.call("DOM.querySelector", nodeId=root, selector=hidden)["nodeId"]
        with pytest.raises(BrowserFault):
            page.call("DOM.getBoxModel", nodeId=node)
    for shown in ("#m0s0-counted", "#m0s0-note", "noscript p"):
        node = page.call("DOM.querySelector", nodeId=root, selector=shown)["nodeId"]
        assert page.call("DOM.getBoxModel", nodeId=node)["model"]["width"] > 0
    assert not page.console
    assert page.pdf(tmp_path / "sheet.pdf").stat().st_size > 5_000


@pytest.mark.parametrize(("width", "height"), [(8.27, 11.69), (8.5, 11.0)], ids=["A4", "letter"])
def test_on_paper_a_long_machine_keeps_its_head_on_every_page(
    chromium: Chromium, tmp_path: Path, width: float, height: float
) -> None:
    if shutil.which("pdftotext") is None:
        pytest.skip("pdftotext (poppler-utils) is not there to read the print")
    route = RouteBuilder(tmp_path).settings(timezone="UTC")
    route.machine("m-1", *[slot(str(at), tray=str(at // 10)) for at in range(100, 170)], site="Long corridor")
    route.machine("m-2", slot("5"), slot("6"))
    pdf = chromium.open(_drawn(route)).pdf(tmp_path / "sheet.pdf", paperWidth=width, paperHeight=height)
    text = subprocess.run(["pdftotext", "-layout", pdf, "-"], capture_output=True, text=True, check=True).stdout
    pages = text.rstrip("\f").split("\f")
    assert len(pages) >= 3
    head = [at for at, page in enumerate(pages) if "m-1, Long corridor: 70 slots" in page]
    assert head == [at for at, page in enumerate(pages) if re.search(r"^ *1\d\d +gum$", page, re.MULTILINE)]
    assert len(head) >= 3
    for told in ("Cash of m-1", "End of m-1: 70 slots"):
        assert told in text
    assert "m-2: 2 slots" in pages[-1]
    assert "End of m-2: 2 slots" in pages[-1]
    assert all(re.search(rf"\b{at} ?/ ?{len(pages)}\b", page) for at, page in enumerate(pages, start=1))
    assert "Save" not in text
    printed = [line.split()[0] for line in text.splitlines() if line.split()[1:] == ["gum"]]
    assert printed == [str(at) for at in range(100, 170)] + ["5", "6"]
