"""What every page of the HTML report keeps: sound markup, ids that are met once, pictures with words, no way out."""

import base64
import hashlib
import re
from itertools import pairwise
from pathlib import PurePosixPath

import pytest
from page_reader import PageReader
from report_routes import ROUTES, pages, reconciled

from recon.report.html import report_pages
from recon.report.html.report import ONE_PAGE
from recon.report.html.spelling import slug

TAGS = {
    *("html", "head", "meta", "link", "title", "style", "body", "header", "main", "footer", "section", "aside", "div"),
    *("a", "p", "h1", "h2", "h3", "h4", "span", "small", "strong", "b", "bdi", "br", "code"),
    *("ol", "li", "dl", "dt", "dd"),
    *("table", "thead", "tbody", "tr", "th", "td", "details", "summary", "figure", "figcaption"),
    *("svg", "defs", "pattern", "desc", "g", "rect", "circle", "path", "text", "tspan", "clippath"),
}


@pytest.fixture(params=ROUTES)
def name(request: pytest.FixtureRequest) -> str:
    return str(request.param)


@pytest.fixture
def read(name: str) -> dict[str, PageReader]:
    return {path: PageReader(html) for path, html in pages(name).items()}


def test_markup_is_sound_and_holds_no_element_that_the_templates_do_not_have(read: dict[str, PageReader]) -> None:
    for path, page in read.items():
        assert page.faults == [], path
        assert page.tags <= TAGS, (path, page.tags - TAGS)


def test_ids_are_met_once_and_whatever_names_one_finds_it(read: dict[str, PageReader]) -> None:
    for path, page in read.items():
        assert len(page.ids) == len(set(page.ids)), (path, [one for one in page.ids if page.ids.count(one) > 1])
        assert all(re.fullmatch(r"\S+", one) for one in page.ids)
        assert set(page.labelled_by) <= set(page.ids), path


def test_links_lead_to_places_that_are_there_and_nowhere_else(read: dict[str, PageReader]) -> None:
    for path, page in read.items():
        for tag, attribute, target in page.references:
            if tag == "link":
                assert target == "data:,"
                continue
            assert (tag, attribute) == ("a", "href"), (path, tag, attribute)
            file, _, fragment = target.partition("#")
            there = path if not file else _beside(path, file)
            assert there in read, (path, target)
            assert not fragment or fragment in read[there].ids, (path, target)


def _beside(path: str, target: str) -> str:
    """The path that a relative address means on the page at `path`."""
    parts: list[str] = list(PurePosixPath(path).parent.parts)
    for part in target.split("/"):
        if part == "..":
            parts.pop()
        else:
            parts.append(part)
    return "/".join(parts)


def test_headings_begin_with_one_and_leave_out_no_level(read: dict[str, PageReader]) -> None:
    for path, page in read.items():
        levels = [level for level, _ in page.headings]
        assert levels[0] == 1, path
        assert levels.count(1) == 1, path
        assert all(after <= before + 1 for before, after in pairwise(levels)), (path, page.headings)
        assert all(text.strip() for _, text in page.headings), path


def test_pictures_have_words_or_are_left_out_for_readers(read: dict[str, PageReader]) -> None:
    for path, page in read.items():
        for picture in page.svgs:
            if picture.get("aria-hidden") == "true":
                continue
            assert picture["role"] == "img", path
            name = picture["id"]
            assert picture["aria-labelledby"] == f"{name}-t {name}-d"
            assert picture["_title"].strip(), (path, name)
            assert picture["_desc"].strip(), (path, name)


def test_nothing_runs_and_nothing_is_fetched(read: dict[str, PageReader]) -> None:
    for path, page in read.items():
        assert not page.tags & {"script", "img", "iframe", "object", "embed", "form", "base", "use", "image"}, path
        assert not [one for one in page.attributes if one.startswith("on") or one in ("style", "xlink:href")], path
        style = "".join(page.styles)
        assert "@import" not in style
        assert re.findall(r"url\((?!#)", style) == []
        policy = [meta["content"] for meta in page.metas if meta.get("http-equiv") == "Content-Security-Policy"]
        mark = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
        assert len(policy) == 1
        assert "default-src 'none'" in policy[0]
        assert "script-src 'none'" in policy[0]
        assert f"style-src 'sha256-{mark}'" in policy[0]


def test_every_column_and_row_of_a_table_has_its_cells(read: dict[str, PageReader]) -> None:
    for path, page in read.items():
        for table in page.tables:
            wide = len(table.rows[0])
            # A row that names a group of rows is one cell across.
            assert {len(row) for row in table.rows[1:]} <= {wide, 1}, (path, table.name)


def test_a_machine_has_a_page_of_its_own_beyond_twelve() -> None:
    assert list(pages("bayside")) == ["report.html"]
    found = pages("hostile-many")
    machines = reconciled("hostile-many").frames["summaries"]["machine"].to_list()
    assert len(machines) > ONE_PAGE
    assert set(found) == {"report.html", *(f"machines/{slug(machine)}.html" for machine in machines)}
    assert next(iter(found)) == "report.html"


def test_pages_are_made_as_they_are_asked_for(monkeypatch: pytest.MonkeyPatch) -> None:
    from recon.report.html import machine_part

    made: list[str] = []
    part = machine_part.Machines.part

    def watched(self: machine_part.Machines, machine: str, *given: object) -> object:
        made.append(machine)
        return part(self, machine, *given)  # type: ignore[arg-type]

    monkeypatch.setattr(machine_part.Machines, "part", watched)
    wanted = report_pages(reconciled("hostile-many").reconciliation)
    assert next(wanted)[0] == "report.html"
    assert made == []
    next(wanted)
    next(wanted)
    assert len(made) == 2


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("quay-2", "Quay-2"),
        ("con", "CON"),
        ("a/b", "a-b"),
        ("é", "è"),
        ("x" * 70, "x" * 71),
        ("..", "."),
        ("", " "),
        ("a__bcdef012", "a_bcdef012"),
        ("nul.txt", "nul"),
    ],
)
def test_names_of_files_are_plain_and_never_shared(one: str, other: str) -> None:
    names = (slug(one), slug(other))
    # Some file systems do not tell letters by case.
    assert names[0].lower() != names[1].lower()
    for name in names:
        assert re.fullmatch(r"[a-z0-9][a-z0-9._-]*", name), name
        assert not re.fullmatch(r"(con|prn|aux|nul|com\d|lpt\d)(\..*)?", name)
