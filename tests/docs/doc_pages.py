"""The pages of the project as what they hold: headings, links, and blocks to write, run and compare.

What a page may hold, and what is done with it:

    <!-- file: PATH -->      the fenced block below is written to PATH
    ```console               lines after `$ ` are run; the lines below each are its standard output
    ```python                run, a page's blocks in one namespace; the ```text block below is what it prints
    <!-- results: ROUTE S -->  every row of the table below is a record of section S of that route's results
    <!-- frame: ROUTE F -->    every row of the table below is a row of frame F

In an output, a line `...` stands for any number of lines.
"""

import re
import shlex
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

TOP = Path(__file__).resolve().parents[2]
MOMENT = "1790700000"
"""The moment of every run shown in the pages (SOURCE_DATE_EPOCH): 2026-09-29 13:40 in Halifax."""


@dataclass(frozen=True)
class Block:
    """One fenced block, or (language `table`) one table with a mark above it."""

    language: str
    lines: tuple[str, ...]
    line: int
    mark: tuple[str, ...] = ()

    @property
    def text(self) -> str:
        return "\n".join(self.lines) + "\n"


def pages() -> list[Path]:
    """Every page of the project that people read."""
    return [TOP / "README.md", TOP / "DEVELOPERS.md", *sorted((TOP / "docs").rglob("*.md"))]


def blocks(page: Path) -> list[Block]:
    """The blocks of a page in their order. Raises ValueError where a fence is not closed."""
    return list(_blocks(page.read_text(encoding="utf-8").split("\n"), page))


def _blocks(lines: list[str], page: Path) -> Iterator[Block]:
    mark: tuple[str, ...] = ()
    at = 0
    while at < len(lines):
        line = lines[at]
        if said := re.fullmatch(r"<!-- (\w+): (.+) -->", line):
            mark = (said[1], *shlex.split(said[2]))
        elif line.startswith("```"):
            end = next((n for n in range(at + 1, len(lines)) if lines[n].startswith("```")), None)
            if end is None:
                raise ValueError(f"{page.name}:{at + 1} opens a block that is never closed")
            yield Block(line[3:].strip(), tuple(lines[at + 1 : end]), at + 1, mark)
            mark, at = (), end
        elif line.startswith("|") and mark:
            end = next((n for n in range(at, len(lines)) if not lines[n].startswith("|")), len(lines))
            yield Block("table", tuple(lines[at:end]), at + 1, mark)
            mark, at = (), end - 1
        at += 1


def anchors(page: Path) -> set[str]:
    """The anchors of a page's headings, as hosts of Markdown make them: lower case, blanks as dashes."""
    found: set[str] = set()
    text = re.sub(r"^```.*?^```$", "", page.read_text(encoding="utf-8"), flags=re.MULTILINE | re.DOTALL)
    for title in re.findall(r"^#+ +(.+)$", text, flags=re.MULTILINE):
        plain = re.sub(r"[^\w\- ]", "", title.strip().lower()).replace(" ", "-")
        found.add(plain)
    return found


def cells(row: str) -> list[str]:
    """The cells of a table's row, without code marks."""
    return [cell.strip().strip("`") for cell in row.strip().strip("|").split("|")]


def records(table: Block) -> list[dict[str, str]]:
    """The rows of a table by the names in its head."""
    head, _, *rows = table.lines
    return [dict(zip(cells(head), cells(row), strict=True)) for row in rows]


def matches(expected: list[str], output: list[str]) -> bool:
    """Whether an output is as expected: `...` stands for any number of lines, and any id for any other."""
    expected, output = [_plain(line) for line in expected], [_plain(line) for line in output]
    parts: list[list[str]] = [[]]
    for line in expected:
        if line.strip() == "...":
            parts.append([])
        else:
            parts[-1].append(line)
    if len(parts) == 1:
        return expected == output
    first, *middle, last = parts
    if output[: len(first)] != first or (last and output[-len(last) :] != last):
        return False
    rest = output[len(first) : len(output) - len(last)]
    for part in middle:
        start = next((n for n in range(len(rest) - len(part) + 1) if rest[n : n + len(part)] == part), None)
        if start is None:
            return False
        rest = rest[start + len(part) :]
    return len(first) + len(last) <= len(output)


def _plain(line: str) -> str:
    return re.sub(r"\[[0-9a-z]{10,}\]", "[id]", line.rstrip())


def commands(block: Block) -> list[tuple[str, list[str]]]:
    """The commands of a console block, each with the output shown below it."""
    found: list[tuple[str, list[str]]] = []
    for line in block.lines:
        if line.startswith("$ "):
            found.append((line[2:], []))
        elif not found:
            raise ValueError(f"line {block.line}: a console block begins with a command")
        else:
            found[-1][1].append(line)
    return found
