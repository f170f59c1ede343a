"""Every link between pages leads to a file and a heading that is there, and every page can be reached."""

import re
from pathlib import Path

import pytest
from doc_pages import TOP, anchors, pages

LINK = re.compile(r"\[[^\]]+\]\(([^)\s]+)\)")


def links(page: Path) -> list[str]:
    text = re.sub(r"^```.*?^```$", "", page.read_text(encoding="utf-8"), flags=re.MULTILINE | re.DOTALL)
    return LINK.findall(text)


@pytest.mark.parametrize("page", pages(), ids=lambda page: page.name)
def test_links_lead_somewhere(page: Path) -> None:
    lost = []
    for link in links(page):
        if "://" in link:
            continue
        path, _, anchor = link.partition("#")
        target = (page.parent / path).resolve() if path else page
        if not target.exists() or (anchor and anchor not in anchors(target)):
            lost.append(link)
    assert lost == []


def test_every_page_is_on_the_map() -> None:
    there = {link.partition("#")[0] for link in links(TOP / "docs" / "index.md")}
    missing = {page.name for page in (TOP / "docs").glob("*.md")} - there - {"index.md"}
    assert missing == set()


