"""The report in a browser: on a phone and a desk, light and dark, without script, by keyboard, on paper."""

import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from chromium import DESK, PHONE, Chromium

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "report"))

from report_routes import pages

VIEWS = [(width, dark) for width in (PHONE, DESK) for dark in (False, True)]
Draw = Callable[[str], Path]
NAMED = {
    "bayside": "report.html",
    "clean": "report.html",
    "hostile": "report.html",
    "bare": "report.html",
    "foreign": "report.html",
    "crowd": "report.html",
    "hostile-many": "machines/m-1.html",
}
OPEN_ALL = "document.querySelectorAll('details').forEach(each => { each.open = true; })"


@pytest.fixture
def drawn(tmp_path: Path) -> Draw:
    """Writes the pages of a route as a run does, and gives the path of the page that is looked at."""

    def write(name: str) -> Path:
        for path, html in pages(name).items():
            (tmp_path / path).parent.mkdir(parents=True, exist_ok=True)
            (tmp_path / path).write_text(html, encoding="utf-8")
        return tmp_path / NAMED[name]

    return write


@pytest.mark.parametrize("name", NAMED)
def test_quiet_sound_and_wide_enough_everywhere(name: str, drawn: Draw, chromium: Chromium, axe: str) -> None:
    """No message, no request, no scrolling sideways, and nothing against WCAG 2.2 AA; folded parts opened, too."""
    file = drawn(name)
    for width, dark in VIEWS:
        page = chromium.open(file, width=width, dark=dark)
        assert page.wide() <= 0, (width, dark)
        page.evaluate(OPEN_ALL)
        assert page.wide() <= 0, (width, dark)
        assert page.axe(axe) == [], (width, dark)
        assert (page.console, page.requests) == ([], []), (width, dark)
        page.close()


def test_read_without_script(drawn: Draw, chromium: Chromium) -> None:
    page = chromium.open(drawn("bayside"), scripts=False)
    page.click("details.windows > summary")
    assert page.console == []
    page.close()


@pytest.mark.parametrize("width", [PHONE, DESK])
def test_the_first_screen_answers(width: int, drawn: Draw, chromium: Chromium) -> None:
    """Whether everything is accounted for and how much is not stand in view at once; at a desk also where, and what
    to do first."""
    high = 740 if width == PHONE else 900
    page = chromium.open(drawn("bayside"), width=width, height=high)
    also = () if width == PHONE else ("#first", "#where", ".steps-list li:nth-child(2)")
    for selector in ("h1", ".accounts", *also):
        bottom = page.evaluate(f"document.querySelector({selector!r}).getBoundingClientRect().bottom")
        assert bottom <= high, selector
    page.close()


@pytest.mark.parametrize("width", [PHONE, DESK])
def test_writing_in_the_machine_can_be_read(width: int, drawn: Draw, chromium: Chromium) -> None:
    """Labels and figures are at least 9 CSS pixels high on a phone and 11 at a desk, and stay inside their slot."""
    page = chromium.open(drawn("bayside"), width=width)
    sizes = page.evaluate(
        """[...document.querySelectorAll("svg.machine text.label, svg.machine text.figure")].map(at => {
          const scale = at.getScreenCTM().a, slot = at.parentNode.querySelector("rect").getBoundingClientRect();
          const box = at.getBoundingClientRect();
          return [parseFloat(getComputedStyle(at).fontSize) * scale,
                  Math.max(slot.left - box.left, box.right - slot.right)];
        })"""
    )
    assert len(sizes) > 40
    least = 9 if width == PHONE else 11
    assert min(size for size, _ in sizes) >= least
    assert max(beyond for _, beyond in sizes) <= 1
    page.close()


def test_everything_is_reached_by_keyboard_and_the_focus_shows(drawn: Draw, chromium: Chromium) -> None:
    page = chromium.open(drawn("bayside"))
    stops = page.tab_stops()
    assert stops[0]["text"] == "Skip to the machines"
    assert all(stop["seen"] and stop["ring"] for stop in stops), [stop for stop in stops if not stop["ring"]]
    shown = "[...document.querySelectorAll('{}')].filter(at => at.checkVisibility()).length"
    links, folds = (page.evaluate(shown.format(name)) for name in ("a[href]", "summary"))
    reached = [stop["tag"] for stop in stops]
    assert (reached.count("a"), reached.count("summary")) == (links, folds)
    page.close()


def test_a_fold_opens_by_keyboard(drawn: Draw, chromium: Chromium) -> None:
    page = chromium.open(drawn("bayside"))
    page.evaluate("document.querySelector('details.windows > summary').focus()")
    page.press("Enter")
    assert page.evaluate("document.querySelector('details.windows').open") is True
    page.close()


def test_links_lead_to_the_page_of_a_machine_and_back(drawn: Draw, chromium: Chromium) -> None:
    front = drawn("hostile-many").parents[1] / "report.html"
    page = chromium.open(front)
    page.address = (front.parent / "machines" / "m-1.html").as_uri()
    page.evaluate("document.querySelector('#machines a').click()")
    page.settle(0.6)
    assert page.evaluate("location.pathname.split('/').slice(-2).join('/')") == "machines/m-1.html"
    page.address = front.as_uri()
    page.evaluate("document.querySelector('.kicker a').click()")
    page.settle(0.6)
    assert page.evaluate("location.pathname.split('/').pop()") == "report.html"
    page.close()


def test_on_paper_folds_stand_open_and_nothing_is_cut_off(drawn: Draw, chromium: Chromium, tmp_path: Path) -> None:
    page = chromium.open(drawn("bayside"), width=720)
    page.medium("print")
    page.settle()
    closed = page.evaluate(
        """[...document.querySelectorAll("details")].filter(at => {
          const inside = at.querySelector("table, p, ol");
          return !inside || !inside.checkVisibility({contentVisibilityAuto: true, visibilityProperty: true})
            || inside.getBoundingClientRect().height === 0;
        }).length"""
    )
    assert closed == 0
    written = page.pdf(tmp_path / "report.pdf").read_bytes()
    assert written.startswith(b"%PDF-")
    # One leaf for the front, and one at least for each of the six machines.
    assert written.count(b"/Type /Page\n") + written.count(b"/Type /Page ") >= 7
    page.close()
