"""The harness sees what it is there to see: faults planted in a page are reported."""

from pathlib import Path

import pytest
from chromium import DESK, PHONE, Chromium
from devtools import BrowserFault

_HEAD = '<!doctype html><html lang="en"><meta charset="utf-8"><meta name="viewport" content="width=device-width">'
_CLEAN = _HEAD + "<title>Plain</title><main><h1>Plain</h1><p>Nothing is wrong here.</p></main>"


def _page(folder: Path, text: str) -> Path:
    path = folder / "page.html"
    path.write_text(text, encoding="utf-8")
    return path


def test_a_plain_page_is_quiet(chromium: Chromium, axe: str, tmp_path: Path) -> None:
    page = chromium.open(_page(tmp_path, _CLEAN))
    assert (page.console, page.requests, page.axe(axe), page.wide()) == ([], [], [], 0)
    assert page.tab_stops() == []


def test_messages_errors_and_blocked_things_are_heard(chromium: Chromium, tmp_path: Path) -> None:
    text = _CLEAN + "<script>console.log('told'); setTimeout(() => { throw new Error('lost') })</script>"
    page = chromium.open(_page(tmp_path, text))
    assert page.console[0] == "log: told"
    assert "lost" in page.console[1]
    policy = "<meta http-equiv=Content-Security-Policy content=\"default-src 'none'\">"
    page = chromium.open(_page(tmp_path, _CLEAN.replace("<title>", f"{policy}<title>") + "<style>p{color:red}</style>"))
    assert any("Content Security Policy" in each for each in page.console)


def test_requests_are_heard(chromium: Chromium, tmp_path: Path) -> None:
    asked = "http://127.0.0.1:9/pixel.png"
    page = chromium.open(_page(tmp_path, _CLEAN + f'<img src="{asked}" alt="">'))
    assert page.requests == [asked]
    (tmp_path / "beside.css").write_text("p { margin: 0 }")
    page = chromium.open(_page(tmp_path, _CLEAN + '<link rel="stylesheet" href="beside.css">'))
    assert [each.rsplit("/", 1)[1] for each in page.requests] == ["beside.css"]


def test_axe_finds_what_wcag_forbids(chromium: Chromium, axe: str, tmp_path: Path) -> None:
    text = _CLEAN + '<p style="color:#bbb">faint</p><img src="data:image/gif;base64,R0lGODlhAQABAAAAACw=">'
    found = {each.split(":")[0] for each in chromium.open(_page(tmp_path, text)).axe(axe)}
    assert {"color-contrast", "image-alt"} <= found


def test_tab_reaches_controls_in_order(chromium: Chromium, tmp_path: Path) -> None:
    text = _CLEAN + '<a href="#x" id="one">x</a><input id="two"><button id="three" style="outline:none">z</button>'
    stops = chromium.open(_page(tmp_path, text)).tab_stops()
    assert [stop["id"] for stop in stops] == ["one", "two", "three"]
    assert [stop["ring"] for stop in stops] == [True, True, False]


def test_typed_text_and_clicks_reach_the_page(chromium: Chromium, tmp_path: Path) -> None:
    text = _CLEAN + "<input id=a value=old><button id=b onclick='a.value += 1'>b</button><div id=c hidden>c</div>"
    page = chromium.open(_page(tmp_path, text))
    page.type("#a", "new")
    page.click("#b")
    assert page.evaluate("a.value") == "new1"
    with pytest.raises(BrowserFault, match="not there"):
        page.click("#none")


@pytest.mark.parametrize("width", [PHONE, DESK])
def test_width_scheme_and_zone_are_as_asked(chromium: Chromium, tmp_path: Path, width: int) -> None:
    page = chromium.open(_page(tmp_path, _CLEAN), width=width, dark=True, zone="Asia/Tokyo")
    assert page.evaluate("window.innerWidth") == width
    assert page.evaluate("matchMedia('(prefers-color-scheme: dark)').matches")
    assert page.evaluate("Intl.DateTimeFormat().resolvedOptions().timeZone") == "Asia/Tokyo"
    page.medium("print")
    assert page.evaluate("matchMedia('print').matches")
    page = chromium.open(_page(tmp_path, _CLEAN + '<p><i style="display:block;width:2000px">w</i></p>'), width=width)
    assert page.wide() == 2000 + 8 - width if width == DESK else page.wide() > 0


def test_pictures_and_prints_are_made(chromium: Chromium, tmp_path: Path) -> None:
    page = chromium.open(_page(tmp_path, _CLEAN))
    assert page.screenshot(tmp_path / "page.png").read_bytes().startswith(b"\x89PNG")
    assert page.pdf(tmp_path / "page.pdf").read_bytes().startswith(b"%PDF")


def test_script_can_be_switched_off(chromium: Chromium, tmp_path: Path) -> None:
    text = _CLEAN + "<script>console.log('ran')</script>"
    assert chromium.open(_page(tmp_path, text), scripts=False).console == []
