"""Write the pages that are made from the source: docs/frames.md, docs/findings.md and docs/findings/KIND.md.

    python docs/build.py            write them all
    python docs/build.py --check    change nothing; exit 1 and name each page that is not current
"""

import argparse
import re
import sys
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path

import polars as pl

from recon.findings.catalogue.check_kinds import CHECK_KINDS
from recon.findings.catalogue.kind import Kind
from recon.findings.catalogue.run_kinds import RUN_KINDS
from recon.model.asked_frames import ASKED
from recon.model.frames import ALL, Column, FrameSpec
from recon.model.reconciliation import RESULT_FRAMES

DOCS = Path(__file__).resolve().parent
_MADE = "<!-- Made by docs/build.py from {source}: change it there, then run python docs/build.py -->\n"


def findings_page() -> str:
    """Every kind with its severity, and one line of meaning under its code as the anchor, leading to its page."""
    return "\n".join([*_findings_head(), *(line for code in _codes() for line in _entry(code))])


def kind_page(code: str) -> str:
    """What one kind means, an example, how to mend and how to accept it; a kind of both commands has two parts."""
    return "\n".join([_MADE.format(source="recon/findings/catalogue/"), *_kind(code)])


def _codes() -> list[str]:
    return list(dict.fromkeys([*RUN_KINDS, *CHECK_KINDS]))


def _findings_head() -> Iterator[str]:
    yield _MADE.format(source="recon/findings/catalogue/")
    yield "# Findings\n"
    yield (
        "What recon can say, kind by kind. `recon run` makes findings about what was logged, counted\n"
        "and paid; `recon check` makes them about settings and layouts. An `error` makes the exit code 1\n"
        "by default, a `warning` wants a look, a `note` explains a figure. The examples are invented.\n"
    )
    yield (
        "A finding is a figure and where it comes from. **It is never proof of who.** A miscount, a load\n"
        "that nobody wrote down, a wrong number in a layout or a clock that is off can each make one: look\n"
        "at the evidence rows first, and accuse nobody on the strength of a variance.\n"
    )
    yield "| kind | severity | made by |\n|---|---|---|"
    for code in _codes():
        made = _made(code)
        severities = " / ".join(dict.fromkeys(kind.severity for _, kind in made))
        yield f"| [`{code}`](findings/{code}.md) | {severities} | {', '.join(f'`{command}`' for command, _ in made)} |"


_SETS = (("recon run", RUN_KINDS), ("recon check", CHECK_KINDS))


def _made(code: str) -> list[tuple[str, Kind]]:
    """The commands that make a kind, each with its entry of the catalogue."""
    return [(command, kinds[code]) for command, kinds in _SETS if code in kinds]


def _entry(code: str) -> Iterator[str]:
    yield f"\n## {code}\n"
    for command, kind in _made(code):
        yield f"**{kind.severity.capitalize()}**, by `{command}`. {_plain(_first_sentence(kind.meaning))}\n"
    yield f"[What it means, how to mend and how to accept it](findings/{code}.md)"


def _first_sentence(text: str) -> str:
    return re.split(r"(?<=\.) (?=[A-Z`])", text, maxsplit=1)[0]


def _kind(code: str) -> Iterator[str]:
    yield f"# {code}\n"
    made = _made(code)
    for command, kind in made:
        if len(made) > 1:
            yield f"## By recon {command.removeprefix('recon ')}\n"
        yield from _part(command, kind)
    yield f"All kinds: [Findings](../findings.md#{code})."
    if any(command == "recon run" for command, _ in made):
        yield "A finding is a figure and where it comes from. It is never proof of who."
    yield ""


def _part(command: str, kind: Kind) -> Iterator[str]:
    stops = " As long as it stands, `recon run` does not start (exit code 2)." if kind.stops_run else ""
    yield f"**{kind.severity.capitalize()}**, by `{command}`.{stops}\n"
    yield f"**What it means.** {_below(_plain(kind.meaning))}\n"
    yield f"**For example** (invented):\n\n```text\n{kind.example}\n```\n"
    yield f"**What to do.** {_below(_plain(_filled(kind.advice)))}\n"
    yield f"**How to mend it.** {_below(_plain(kind.mend))}\n"
    yield f"**How to accept it.** {_accept(command, kind)}\n"
    if command == "recon run":
        yield f"Its id is made of: {', '.join(f'`{field}`' for field in kind.about)}.\n"


_TOLERANCES = {
    "stock-short": "units", "stock-over": "units", "boundary-vends": "units",
    "cash-short": "cash", "cash-over": "cash", "payout-short": "cash", "payout-over": "cash", "fee-differs": "cash",
}  # fmt: skip
"""Kinds that a tolerance of route.toml governs."""


def _accept(command: str, kind: Kind) -> str:
    """What lets a finding of this kind stand, among what there is today."""
    if kind.stops_run:
        return "It cannot be accepted: with it the file cannot be used."
    told = []
    if command == "recon run" and kind.code in _TOLERANCES:
        key = _TOLERANCES[kind.code]
        told.append(
            f"Up to `{key}` under `[tolerance]` in [route.toml](../route-folder.md) a difference agrees; raise it if "
            "differences of that size are usual on this route."
        )
    elif kind.code == "price-off-step":
        told.append("Leave `price_step` out of the layout, and prices are not held against it.")
    elif kind.code == "unknown-product":
        told.append("Without a products.csv products are not looked at; costs are then not known.")
    if kind.severity == "error":
        told.append(
            f"An error makes the exit code of `{command}` 1, whatever `--fail-on` says: there is no level above it."
        )
    else:
        level = "error" if kind.severity == "warning" else "error` or `--fail-on warning"
        told.append(
            f"A {kind.severity} leaves the exit code of `{command}` at 0 with `--fail-on {level}`; "
            "`error` is the default."
        )
    return " ".join(told)


def _below(text: str) -> str:
    """Links of the catalogue lead from docs/; this makes them lead from docs/findings/."""
    return re.sub(r"\]\((?=[\w-]+\.md)", "](../", text)


def _filled(words: str) -> str:
    """The advice with places for facts in capitals: layouts/{machine}.toml is layouts/MACHINE.toml."""
    return re.sub(r"\{(\w+)\}", lambda found: found[1].upper(), words)


def _plain(words: str) -> str:
    """Text as Markdown that shows it so: `[[change]]` is a table of TOML, not a link."""
    return re.sub(r"(?<!`)(\[+\w+\]+)(?!`)", r"`\1`", words).replace("<", "&lt;")


def frames_page() -> str:
    """One section a frame, its name as the anchor, with its columns, types and meanings."""
    return "\n".join([*_frames_head(), *(line for spec in (*ALL, *ASKED) for line in _frame(spec))])


def _frames_head() -> Iterator[str]:
    yield _MADE.format(source="recon/model/frames.py and asked_frames.py")
    yield "# Frames\n"
    yield (
        "The tables that pass between the stages, as polars frames. `recon.run(folder).frames` holds them\n"
        "by name (see the [Python API](python-api.md)), all but `matched`, which `priced` contains. Each is\n"
        "sorted by the columns named, money is whole minor units (cents) and times are UTC. A column marked\n"
        "*may be empty* may hold nulls; the others never do.\n"
    )
    shown = ", ".join(f"[`{name}`](#{name})" for name in RESULT_FRAMES)
    yield f"The results are made of {shown}; the others show how they came about."
    asked = ", ".join(f"[`{spec.name}`](#{spec.name})" for spec in ASKED)
    yield f"\nMade only when asked for, by [the load list](plan.md) and [the money per machine](money.md): {asked}."


def _frame(spec: FrameSpec) -> Iterator[str]:
    yield f"\n## {spec.name}\n"
    said = f"One row: {spec.row_is}."
    if spec.sorted_by:
        said += f" Sorted by {_listed(spec.sorted_by)}."
    if spec.unique:
        said += f" Identified by {_listed(spec.unique)}."
    yield f"{said}\n"
    yield "| column | type | meaning |\n|---|---|---|"
    for column in spec.columns:
        yield f"| `{column.name}` | {_type(column)} | {column.meaning}{_empty(column)} |"


def _listed(names: tuple[str, ...]) -> str:
    return ", ".join(f"`{name}`" for name in names)


def _empty(column: Column) -> str:
    return " (*may be empty*)" if column.nullable else ""


def _type(column: Column) -> str:
    if isinstance(column.dtype, pl.Enum):
        return f"one of {', '.join(column.dtype.categories.to_list())}"
    if isinstance(column.dtype, pl.Datetime):
        return "Datetime, UTC"
    if isinstance(column.dtype, pl.List):
        return "List of file and row"
    return str(column.dtype)


PAGES: dict[str, Callable[[], str]] = {
    "findings.md": findings_page,
    "frames.md": frames_page,
    **{f"findings/{code}.md": partial(kind_page, code) for code in _codes()},
}
"""Every page by its path below docs/, and what makes it."""


def main() -> int:
    """Run as told on the command line."""
    parser = argparse.ArgumentParser(description="Write the pages that are made from the source.")
    parser.add_argument("--check", action="store_true", help="change nothing, only compare")
    checking = parser.parse_args().check
    stale = 0
    for name in sorted({*PAGES, *(f"findings/{path.name}" for path in (DOCS / "findings").glob("*.md"))}):
        path, text = DOCS / name, PAGES[name]() if name in PAGES else None
        if (path.read_text(encoding="utf-8") if path.is_file() else None) == text:
            continue
        if checking:
            sys.stderr.write(f"docs/{name} is not as docs/build.py makes it; run python docs/build.py\n")
            stale = 1
        elif text is None:
            path.unlink()
            sys.stdout.write(f"docs/{name} removed\n")
        else:
            path.parent.mkdir(exist_ok=True)
            path.write_text(text, encoding="utf-8", newline="\n")
            sys.stdout.write(f"docs/{name}\n")
    return stale


if __name__ == "__main__":
    sys.exit(main())
