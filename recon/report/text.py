"""The results for a person at a terminal: is everything accounted for, where not, and what to look at first."""

from collections import Counter
from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING

import polars as pl

from recon.model.border import those
from recon.model.frames import Frame
from recon.model.money import to_text
from recon.model.reconciliation import Reconciliation
from recon.model.zones import zone
from recon.report.asked_lines import shown

if TYPE_CHECKING:
    from rich.console import Console
    from rich.table import Table

SHOWN_PER_KIND = 5
LONGEST_NAME = 40
"""Letters of a machine's name in the table; a log may give one of any length, and the findings have it whole."""
_GLYPHS = {"error": "x", "warning": "!", "note": "-"}
_STYLES = {"error": "bold red", "warning": "yellow", "note": "dim"}
_NOUNS = {"error": "error", "warning": "warning", "note": "note"}


def print_results(
    done: Reconciliation, console: "Console", *, every: bool, drawing: Iterable[str] = ()
) -> None:
    """Print the results. every: show all findings, notes included, and not only the first of each kind. drawing: lines
    to print below the table of machines."""
    from rich.markup import escape
    from rich.padding import Padding
    from rich.text import Text

    console.print(Text(f"{done.name}  {_span(done)}", style="bold"))
    for line in _overview(done):
        console.print(Text(line), soft_wrap=False)
    console.print()
    if done.frames["summaries"].height:
        table = _machines(done)
        # Wider than the screen rather than cut: half a figure or no machine's name is worse than a wrapped line.
        table.width = console.measure(table, options=console.options.update(max_width=1000)).maximum
        console.print(table, crop=False)
        console.print()
    for line in drawing:
        console.print(Text(line), soft_wrap=True)
    findings = done.frames["findings"]
    undecided = those(findings, findings["state"] == "open")
    for severity in ("error", "warning", "note"):
        part = those(undecided, undecided["severity"] == severity)
        if severity == "note" and not every:
            if part.height:
                console.print(Text(_notes_line(part)))
            continue
        for kind in part["kind"].unique(maintain_order=True).to_list():
            rows = part.filter(pl.col("kind") == kind)
            console.print(f"[{_STYLES[severity]}]{_GLYPHS[severity]} {severity}  {escape(kind)}[/]{_many(rows.height)}")
            shown = rows if every else rows.head(SHOWN_PER_KIND)
            for line in _lines(shown):
                console.print(Padding(Text(line), (0, 0, 0, 4), expand=False))
            if rows.height > shown.height:
                console.print(
                    Padding(
                        Text(f"... and {rows.height - shown.height} more (--all shows them)"),
                        (0, 0, 0, 4),
                        expand=False,
                    )
                )
            for advice in rows["advice"].unique(maintain_order=True).head(1).to_list():
                console.print(Padding(Text(f"> {advice}", style="italic"), (0, 0, 0, 4), expand=False))


    for line in _decided(those(findings, findings["state"] != "open"), every=every):
        console.print(Text(line))
    if done.anchor is not None:
        console.print(Text(f"Ledger  {done.anchor.entries:,} entries, root {done.anchor.root}"), soft_wrap=True)


def _lines(findings: Frame) -> Iterator[str]:
    columns = (findings[name] for name in ("id", "message", "changed_since", "decision"))
    for name, message, changed, entry in zip(*columns, strict=True):
        again = f" Its figures are others than when it was decided (ledger entry {entry})." if changed else ""
        yield f"{message}{again} [{name}]"


def _decided(findings: Frame, *, every: bool) -> Iterator[str]:
    """What was decided before: how many of each, or each by itself."""
    if findings.height == 0:
        return
    if not every:
        counts = findings.group_by("state").len().sort("state")
        listed = ", ".join(f"{count} {state}" for state, count in counts.iter_rows())
        yield f"= decided: {listed} (--all shows them)"
        return
    for state, entry, name, message in findings.select("state", "decision", "id", "message").iter_rows():
        yield f"= {state} (ledger entry {entry})  {message} [{name}]"


def _many(count: int) -> str:
    return f"  {count} of them" if count > 1 else ""


def _notes_line(notes: Frame) -> str:
    counts = sorted(Counter(notes["kind"]).items(), key=lambda each: (-each[1], each[0]))
    listed = ", ".join(f"{count} {kind}" for kind, count in counts)
    return f"{_GLYPHS['note']} notes: {listed} (--all shows them)"


def _span(done: Reconciliation) -> str:
    """The days of the vends shown, and the currency."""
    here = zone(done.zone)
    first, last = done.vends_shown
    if first is None or last is None:
        return f"no vends up to {done.until.astimezone(here):%Y-%m-%d %H:%M}"
    return f"vends from {first.astimezone(here):%Y-%m-%d} to {last.astimezone(here):%Y-%m-%d}, {done.currency}"


def _overview(done: Reconciliation) -> Iterator[str]:
    yield _files(done)
    yield _stock(done)
    yield _cash(done)
    yield _cards(done)
    yield _answer(done)


def _files(done: Reconciliation) -> str:
    inputs = done.frames["inputs"]
    rows, accepted, duplicate, rejected = (
        int(inputs[name].sum()) for name in ("rows", "accepted", "duplicate", "rejected")
    )
    return (
        f"Files   {inputs.height}: {rows:,} rows = {accepted:,} used + {duplicate:,} duplicate + {rejected:,} rejected"
    )


def _stock(done: Reconciliation) -> str:
    stock = done.frames["stock"]
    short, over = those(stock, stock["variance"] < 0), those(stock, stock["variance"] > 0)
    text = f"Stock   {stock.height:,} windows: {stock.height - short.height - over.height:,} agree"
    for name, part in (("short", short), ("over", over)):
        if part.height:
            units, money = abs(int(part["variance"].sum())), _own(done, part, "retail_value")
            text += f", {part.height:,} {name} ({units:,} units, {money} at retail)"
    return text


def _own(done: Reconciliation, frame: Frame, column: str) -> str:
    """The size of the sum of a money column, by itself for each currency in it, the route's first and unnamed."""
    machines = done.frames["machines"]
    if not set(zip(machines["currency"], machines["digits"], strict=True)) - {(done.currency, done.digits)}:
        return to_text(abs(int(frame[column].sum())), done.digits)
    laid = done.frames["machines"].select("machine", "currency", "digits")
    own = pl.col("currency").fill_null(done.currency)
    sums = (
        frame.select("machine", pl.col(column).alias("sum"))
        .join(laid, on="machine", how="left")
        .group_by(own, pl.col("digits").fill_null(done.digits))
        .agg(pl.col("sum").sum())
        .sort(pl.col("currency") != done.currency, "currency")
    )
    told = [
        to_text(abs(amount), digits) + ("" if code == done.currency else f" {code}")
        for code, digits, amount in sums.iter_rows()
    ]
    return " + ".join(told) or to_text(0, done.digits)


def _cash(done: Reconciliation) -> str:
    windows = done.frames["cash_windows"]
    known = those(windows, windows["over_short"].is_not_null())
    if windows.height == 0:
        return "Cash    no two collections to reconcile between"
    text = f"Cash    {windows.height:,} windows: {_own(done, known, 'expected')} expected"
    for name, part in (
        ("short", those(known, known["over_short"] < 0)),
        ("over", those(known, known["over_short"] > 0)),
    ):
        text += f", {_own(done, part, 'over_short')} {name}" if part.height else ""
    if known.height and not (known["over_short"] != 0).any():
        text += ", all agree"
    blind = windows.height - known.height
    return f"{text}; {blind} of them not logged" if blind else text


def _cards(done: Reconciliation) -> str:
    checks = done.frames["payout_checks"]
    checks = those(checks, checks["over_short"].is_not_null())
    if checks.height == 0:
        return "Cards   no payout to check"
    text = f"Cards   {checks.height:,} payouts: {_own(done, checks, 'net_expected')} net expected"
    for name, part in (
        ("short", those(checks, checks["over_short"] < 0)),
        ("over", those(checks, checks["over_short"] > 0)),
    ):
        text += f", {_own(done, part, 'over_short')} {name}" if part.height else ""
    return text if (checks["over_short"] != 0).any() else f"{text}, all agree"


def _answer(done: Reconciliation) -> str:
    findings = done.frames["findings"]
    counts = Counter(those(findings, findings["state"] == "open")["severity"])
    if not counts.get("error") and not counts.get("warning"):
        if not any(done.frames[name].height for name in ("stock", "cash_windows", "payout_checks")):
            return "Nothing was reconciled: no window and no payout closes in what is shown."
        if findings.filter(pl.col("state") != "open", pl.col("severity") != "note").height:
            return "Everything that left the machines is accounted for, or decided."
        return "Everything that left the machines is accounted for."
    told = [
        f"{counts[name]:,} {noun}{'s' if counts[name] > 1 else ''}" for name, noun in _NOUNS.items() if counts.get(name)
    ]
    return f"Not everything is accounted for: {', '.join(told)}. A variance is never proof of who."


def _machines(done: Reconciliation) -> "Table":
    from rich.table import Table
    from rich.text import Text

    table = Table(box=None, pad_edge=False, padding=(0, 1, 0, 0), show_edge=False)
    table.add_column("machine", overflow="fold")
    for name in ("vends", "unmapped", "sales", "cash", "card", "fees", "goods", "shrink", "margin"):
        table.add_column(name, justify="right", no_wrap=True)
    columns = ("sales", "cash_sales", "card_sales", "fees", "cost_of_goods", "shrink_cost", "margin")
    summaries = done.frames["summaries"]
    for row in summaries.head(60).iter_rows(named=True):
        digits = done.digits_of.get(row["machine"], done.digits)
        money = (to_text(row[name], digits) for name in columns)
        machine = Text(shown(row["machine"], LONGEST_NAME))
        table.add_row(machine, f"{row['vends']:,}", f"{row['unmapped_vends']:,}", *money)
    if summaries.height > 60:
        table.add_row(f"... and {summaries.height - 60} more", *[""] * 9)
    return table
