"""Names that do their worst show as text wherever they stand: on the page, in pictures, in attributes."""

import html as escapes
from dataclasses import replace
from pathlib import Path

import polars as pl
import pytest
from builders import RouteBuilder, slot
from hostile_names import ENTITY, FORMULA, LONG, QUOTES, SCRIPT, TURNED, hostile_route
from page_reader import PageReader
from report_routes import pages

from recon.model.frames import DECISIONS
from recon.model.reconciliation import Anchor
from recon.report.html import report_pages

SPELLED = TURNED.replace("\u202e", "\\u202e").replace("\u202c", "\\u202c")


@pytest.mark.parametrize("route", ["hostile", "hostile-many"])
def test_names_stand_on_the_page_as_they_were_written(route: str) -> None:
    read = [PageReader(html) for html in pages(route).values()]
    told = "\n".join(page.text for page in read)
    drawn = "\n".join(picture.get("_desc", "") for page in read for picture in page.svgs)
    for name in (SCRIPT, SPELLED, FORMULA, LONG, QUOTES, ENTITY):
        assert name in told, name
        assert name in drawn, name


@pytest.mark.parametrize("route", ["hostile", "hostile-many"])
def test_no_mark_that_turns_or_hides_text_is_left(route: str) -> None:
    for html in pages(route).values():
        text = escapes.unescape(html)
        assert not set(text) & set("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069\u200e\u200f")
        assert all(mark.isprintable() or mark in "\n \u00a0" for mark in text)


def test_letters_that_run_from_right_to_left_stand_apart() -> None:
    """Else they would turn the figures beside them."""
    html = pages("hostile")["report.html"]
    for name in ("\u05d06",):
        assert f"<bdi>{name}</bdi>" in html


def test_what_was_decided_and_why_shows_as_text(tmp_path: Path) -> None:
    done = hostile_route(tmp_path).run().reconciliation
    row: dict[str, object] = dict.fromkeys(DECISIONS.names)
    row |= {
        "entry": 3, "at": done.now, "finding": "0123456789ab", "kind": "stock-short", "machine": "m-1", "label": "A1",
        "state": "accepted", "by": SCRIPT, "why": QUOTES, "message": TURNED, "corrected": FORMULA, "standing": True,
        "occurs": False,
    }  # fmt: skip
    decisions = pl.DataFrame([row], schema=DECISIONS.schema)
    decided = replace(done, frames={**done.frames, "decisions": decisions}, anchor=Anchor(3, "ab" * 32))
    page = PageReader(dict(report_pages(decided))["report.html"])
    assert page.faults == []
    [shown] = page.table("Decisions")
    assert shown[0] == "3"
    assert shown[2:] == [
        "0123456789ab", "accepted", SCRIPT, QUOTES, "stands; no longer found", SPELLED, FORMULA,
    ]  # fmt: skip
    assert f"Ledger: entries 3, root {'ab' * 32}" in page.text


def test_a_label_with_blanks_and_quotes_is_quoted_for_the_shell(tmp_path: Path) -> None:
    route = RouteBuilder(tmp_path).machine("m-1", slot("a'b $(reboot)"))
    route.counts('09-01 09:00, "a\'b $(reboot)", 10', '09-08 09:00, "a\'b $(reboot)", 7')
    page = PageReader(dict(report_pages(route.run().reconciliation))["report.html"])
    assert """recon trace . 'm-1/a'"'"'b $(reboot)'""" in page.text
