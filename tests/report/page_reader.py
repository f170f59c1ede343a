"""A page read back with the standard library's parser: what a person and a screen reader would find on it."""

from dataclasses import dataclass, field
from html.parser import HTMLParser

VOID = {"meta", "link", "br", "img", "hr", "input"}
OPTIONAL_END = {"tr", "td", "th", "thead", "tbody", "li", "p"}
"""Elements whose end tag may be left out (HTML, 13.1.2.4 Optional tags)."""


@dataclass
class Table:
    """Rows of cells as text, blanks run together, the header first."""

    name: str
    rows: list[list[str]] = field(default_factory=list)


class PageReader(HTMLParser):
    """ids, headings (level, text), links and other references, svgs (attributes and their own title), tables, text."""

    def __init__(self, html: str) -> None:
        super().__init__(convert_charrefs=True)
        self.ids: list[str] = []
        self.headings: list[tuple[int, str]] = []
        self.references: list[tuple[str, str, str]] = []
        self.svgs: list[dict[str, str]] = []
        self.tables: list[Table] = []
        self.tags: set[str] = set()
        self.attributes: set[str] = set()
        self.metas: list[dict[str, str]] = []
        self.styles: list[str] = []
        self.texts: list[str] = []
        self.labelled_by: list[str] = []
        self.faults: list[str] = []
        self._open: list[str] = []
        self._region = ""
        self.feed(html)
        self.close()
        if self._open:
            self.faults.append(f"left open: {self._open}")
        for table in self.tables:
            table.rows = [[" ".join(cell.split()) for cell in row] for row in table.rows]

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        known = {name: value or "" for name, value in attrs}
        if len(known) != len(attrs):
            self.faults.append(f"<{tag}> names an attribute twice")
        self.tags.add(tag)
        self.attributes |= set(known)
        if "id" in known:
            self.ids.append(known["id"])
        self.labelled_by += known.get("aria-labelledby", "").split()
        self.references += [(tag, name, known[name]) for name in ("href", "src", "srcset", "action") if name in known]
        if tag == "meta":
            self.metas.append(known)
        if tag == "svg":
            self.svgs.append(known)
        if tag == "title" and self._open and self._open[-1] == "svg":
            self.svgs[-1]["_title"] = ""
        if tag in ("h1", "h2", "h3", "h4", "h5", "h6"):
            self.headings.append((int(tag[1]), ""))
        if tag == "div" and known.get("role") == "region":
            self._region = known["aria-label"]
        if tag == "table":
            self.tables.append(Table(self._region))
            self._region = ""
        if tag == "tr":
            self.tables[-1].rows.append([])
        if tag in ("td", "th"):
            self.tables[-1].rows[-1].append("")
        if tag not in VOID:
            self._open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_starttag(tag, attrs)
        if tag not in VOID:
            self._open.pop()

    def handle_endtag(self, tag: str) -> None:
        while self._open and self._open[-1] != tag and self._open[-1] in OPTIONAL_END:
            self._open.pop()
        if not self._open or self._open[-1] != tag:
            self.faults.append(f"</{tag}> closes {self._open[-1:]}")
            return
        self._open.pop()

    def handle_data(self, data: str) -> None:
        if "style" in self._open:
            self.styles.append(data)
            return
        if self._open and self._open[-1] == "title" and "svg" in self._open:
            if self.svgs[-1].get("_title") == "":
                self.svgs[-1]["_title"] = data
            return
        if "svg" in self._open and "desc" in self._open:
            self.svgs[-1]["_desc"] = self.svgs[-1].get("_desc", "") + data
            return
        self.texts.append(data)
        if any(tag in self._open for tag in ("h1", "h2", "h3", "h4", "h5")) and "svg" not in self._open:
            level, text = self.headings[-1]
            self.headings[-1] = (level, text + data)
        if "svg" not in self._open and any(tag in self._open for tag in ("td", "th")):
            self.tables[-1].rows[-1][-1] += data

    @property
    def text(self) -> str:
        """All text, blanks run together."""
        return " ".join(" ".join(self.texts).split())

    def whole(self, name: str) -> list[list[str]]:
        """The cells of the one table in the region of that name, its header first."""
        found = [table for table in self.tables if table.name == name]
        assert len(found) == 1, (name, [table.name for table in self.tables])
        return found[0].rows

    def table(self, name: str) -> list[list[str]]:
        """The same without its header; none where there is no such table."""
        return self.whole(name)[1:] if any(table.name == name for table in self.tables) else []
