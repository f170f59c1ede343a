"""Machines where everything agrees: a line each, and nothing that is drawn; all others as ever."""

import re

import pytest
from page_reader import PageReader
from report_routes import pages, reconciled

from recon.report.html.report import ONE_PAGE

LINE = re.compile(r"= (\S+) [^=]*?: ([\d,]+) stock windows? agrees?, sales ([\d.,]+)")


def lines(page: PageReader) -> dict[str, tuple[int, str]]:
    """Windows and sales of each machine that is a line."""
    return {name: (int(windows), sales) for name, windows, sales in LINE.findall(page.text)}


@pytest.mark.parametrize("name", ["clean", "agreeing", "agreeing-many"])
def test_a_line_says_how_many_windows_agree_and_what_was_sold(name: str) -> None:
    page, results = PageReader(pages(name)["report.html"]), reconciled(name).results
    found = lines(page)
    assert found
    sales = {one.machine: str(one.sales) for one in results.machines}
    for machine, told in found.items():
        windows = [one for one in results.stock if one.machine == machine]
        assert all(one.variance == 0 for one in windows)
        assert (told[0], told[1].replace(",", "")) == (len(windows), sales[machine])


def test_only_a_machine_where_everything_agrees_is_a_line() -> None:
    page = PageReader(pages("agreeing")["report.html"])
    assert set(lines(page)) == {"a-agrees"}
    drawn = {picture["_title"].split(":")[0] for picture in page.svgs if "machine" in picture.get("class", "").split()}
    assert drawn == {"a-short", "a-cash", "a-alone", "a-unmapped"}
    # A difference that no finding speaks of is a difference.
    assert not [one for one in reconciled("agreeing").results.findings if one.machine == "a-cash"]


def test_what_is_drawn_of_the_others_is_not_drawn_of_it() -> None:
    for name in ("clean", "agreeing"):
        page = PageReader(pages(name)["report.html"])
        for machine in lines(page):
            assert not [table.name for table in page.tables if table.name.endswith(f" of {machine}")]
            assert not [picture for picture in page.svgs if machine in picture.get("_title", "")]


def test_it_says_how_to_get_at_its_rows_and_lists_its_notes() -> None:
    page, run = PageReader(pages("clean")["report.html"]), reconciled("clean")
    slots = run.frames["slots"].select("machine", "label").rows()
    for machine in lines(page):
        assert any(f"recon trace . {machine}/{label}" in page.text for name, label in slots if name == machine)
    notes = [one for one in run.results.findings if one.machine in lines(page)]
    assert notes
    assert all(f"f-{one.id}" in page.ids for one in notes)


def test_it_has_no_page_of_its_own_and_links_lead_to_its_line() -> None:
    found = pages("agreeing-many")
    page = PageReader(found["report.html"])
    assert len(reconciled("agreeing-many").results.machines) > ONE_PAGE
    agreeing = {"a-agrees", *(f"b-{number:02}" for number in range(11))}
    assert set(lines(page)) == agreeing
    assert set(found) == {"report.html", *(f"machines/a-{end}.html" for end in ("short", "cash", "alone", "unmapped"))}
    targets = {target for _, _, target in page.references}
    assert {f"#m-{machine}" for machine in agreeing} <= targets
    assert {f"m-{machine}" for machine in agreeing} <= set(page.ids)
