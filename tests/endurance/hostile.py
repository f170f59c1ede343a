"""Names and cells that do their worst: whole runs over routes of hostile text.

    python tests/endurance/hostile.py --count 50 --seed 1

Each route has products, sites, machines, labels, file names and cells made by lot of tags, formulas, marks that turn
text round, quotes, blanks and single letters. The run ends with results or a sentence; the account of every file adds
up; the pages are sound, run and fetch nothing and hold no mark that hides or turns text; what goes into a spreadsheet
begins no formula; the ledger verifies.
"""

import argparse
import csv
import io
import random
import sys
import tempfile
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

sys.path[:0] = [str(Path(__file__).resolve().parents[at] / name) for at, name in ((2, ""), (1, "report"), (1, ""))]

from builders import NOW, RouteBuilder, slot  # noqa: E402 - found by the path above
from hostile_names import ENTITY, FORMULA, LONG, QUOTES, SCRIPT, TURNED  # noqa: E402
from page_reader import PageReader  # noqa: E402

from recon.model.errors import ReconError  # noqa: E402
from recon.recorded import run_and_record  # noqa: E402

PIECES = [
    SCRIPT, TURNED, FORMULA, LONG[:80], QUOTES, ENTITY, "=1+1", "+1", "-1", "@x", "\t=1", "'=1", '"', "'", "`", "<b>",
    "</td>", "&amp;", "<!--", "-->", "]]>", "{{1}}", "{% x %}", "\u202e", "\u2066", "\u200b", "\u0000", "\u0007",
    "\ufeff", "\u05d0", "é", "e\u0301", "\U0001f964", "%s", "%n", "{0}", "\\", "/", "..", "$(x)", "; rm", "NULL", "nan",
    "1e9", "110", "A1", " ", "\u00a0", ",", ";", "\n", "*", "^A$", "\u2028", "javascript:x", "http://example.invalid/",
    "x" * 40,
]  # fmt: skip
TURNING = set("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069\u200e\u200f")


def worst(lot: random.Random) -> str:
    """One text, never blank."""
    text = "".join(lot.choice(PIECES) for _ in range(lot.choice([1, 1, 2, 3])))
    return text if text.strip() else "x"


def _table(lot: random.Random, header: str, rows: list[list[str]]) -> str:
    made = io.StringIO()
    csv.writer(made, lineterminator="\n", quoting=lot.choice([csv.QUOTE_MINIMAL, csv.QUOTE_ALL])).writerows(
        [header.split(","), *rows]
    )
    return made.getvalue()


def route_of(seed: int, folder: Path) -> RouteBuilder:
    """The route of a seed."""
    lot = random.Random(seed)
    route = RouteBuilder(folder).settings(currency=lot.choice(["CAD", "JPY", "KWD"]), timezone="America/Halifax")
    products = [[f"p{at}", worst(lot), "0.50"] for at in range(3)]
    route.file("products.csv", _table(lot, "id,name,unit_cost", products))
    labels = list(dict.fromkeys(worst(lot).replace("\n", " ") for _ in range(4)))
    slots = [
        slot(label, product=f"p{at % 3}", bus=at + 1, price="2", tray=worst(lot)) for at, label in enumerate(labels)
    ]
    route.machine("m-1", *slots, site=worst(lot))
    counts = [
        ["m-1", f"2026-09-{day:02d} 09:00", label, str(lot.randrange(20)), worst(lot), worst(lot)]
        for day in (1, 8, 15)
        for label in [*labels, worst(lot)]
    ]
    vends = [
        [
            "m-1", f"2026-09-{lot.randrange(1, 28):02d} 12:00", lot.choice([*labels, worst(lot)]),
            lot.choice(["cash", "card", worst(lot)]), lot.choice(["2", "", worst(lot)]), worst(lot),
        ]
        for _ in range(12)
    ]  # fmt: skip
    vends += [[worst(lot), "2026-09-03 12:00", worst(lot), "cash", "2", worst(lot)] for _ in range(3)]
    name = "".join(mark for mark in worst(lot) if mark.isprintable() and mark not in "/\0")[:60].strip(". ~") or "x"
    route.file(f"inbox/{name}.csv", _table(lot, "machine,time,label,counted,counter,note", counts))
    return route.file(f"inbox/vends {name}.csv", _table(lot, "machine,time,label,tender,price,reference", vends))


def faults(seed: int, folder: Path, met: Counter[str]) -> Iterator[str]:
    """What is wrong with the run of a seed, in words. met: how runs ended, counted."""
    from recon.ledger.verify import verify_ledger

    route = route_of(seed, folder)
    try:
        recorded = run_and_record(route.root, now=NOW)
    except ReconError as error:
        met["refused in a sentence"] += 1
        if not str(error):
            yield "refused without a word"
        return
    met["reconciled"] += 1
    for row in recorded.run.frames["inputs"].iter_rows(named=True):
        if row["rows"] != row["accepted"] + row["duplicate"] + row["rejected"]:
            yield f"the account of {row['path']!r} does not add up"
    for page in recorded.report.rglob("*.html"):
        html = page.read_text(encoding="utf-8")
        yield from (f"{page.name}: {fault}" for fault in PageReader(html).faults)
        if TURNING & set(html):
            yield f"{page.name} holds a mark that turns text"
        if "<script>alert" in html or "<img src=x" in html:
            yield f"{page.name} holds markup of a name"
    with (recorded.report / "rejects.csv").open(encoding="utf-8-sig", newline="") as file:
        cells = [cell for row in csv.reader(file) for cell in row]
    if any(cell[:1] in ("=", "+", "@") for cell in cells):
        yield "rejects.csv begins a formula"
    failure = verify_ledger(route.root).failure
    if failure is not None:
        yield f"the ledger does not verify: {failure}"


def trial(count: int, seed: int) -> tuple[str, list[str]]:
    """`count` routes. Returns a line that sums them up, and every fault with its seed."""
    wrong: list[str] = []
    met: Counter[str] = Counter()
    for each in range(seed, seed + count):
        with tempfile.TemporaryDirectory() as folder:
            try:
                wrong += [f"seed {each}: {fault}" for fault in faults(each, Path(folder) / "route", met)]
            except Exception as error:  # noqa: BLE001 - whatever breaks a run is what is looked for
                wrong.append(f"seed {each}: {type(error).__name__}: {str(error)[:500]}")
    told = ", ".join(f"{number} {name}" for name, number in sorted(met.items()))
    return f"hostile: {count} (seeds {seed} to {seed + count - 1}), {len(wrong)} faults; {told}", wrong


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--count", type=int, default=50)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    told, wrong = trial(asked.count, asked.seed)
    sys.stdout.writelines(f"{line}\n" for line in [told, *wrong])
    sys.exit(bool(wrong))


if __name__ == "__main__":
    main()
