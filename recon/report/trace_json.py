"""A trace as JSON: one line of text a line of the trace, so that two traces compare line by line."""

import json
from collections.abc import Iterator, Sequence

import polars as pl

from recon.ledger.trace import Trace
from recon.ledger.trace_lines import Figures
from recon.model.frames import Frame
from recon.model.reconciliation import Reconciliation
from recon.model.spelling import ISO, local_text, money_by_machine
from recon.model.zones import zone
from recon.report.results_json import records
from recon.report.tables import findings_table

FORMAT = "recon-trace/1"

LINE = (
    "time", "what", "change", "balance", "in_figure", "why", "side", "figure", "machine", "label", "bus", "state",
    "tender", "outcome", "quantity", "priced", "least", "most", "note", "entry", "file", "row", "text",
)  # fmt: skip
_STOCK = (
    "machine", "label", "product", "kind", "opened_at", "closed_at", "opening", "loaded", "removed", "vended",
    "expected", "counted", "variance", "variance_low", "variance_high", "retail_value", "cost_value", "state",
)  # fmt: skip
_CASH = (
    "machine", "kind", "opened_at", "closed_at", "vends", "unpriced_vends", "expected", "expected_low",
    "expected_high", "collected", "tube_change", "over_short",
)  # fmt: skip
_PAYOUT = (
    "reference", "paid_on", "from", "to", "machine", "vends", "gross_expected", "gross", "fees_expected", "fees",
    "net_expected", "net", "over_short",
)  # fmt: skip
_MONEY = {
    "stock": ("retail_value", "cost_value"),
    "cash": ("expected", "expected_low", "expected_high", "collected", "tube_change", "over_short"),
    "payouts": ("gross_expected", "gross", "fees_expected", "fees", "net_expected", "net", "over_short"),
}


def trace_json(found: Trace, done: Reconciliation, texts: Frame) -> str:
    """The whole trace as JSON text, ending in a line break. texts: the original text of its rows (original_texts)."""
    target = found.target
    head = {
        "format": FORMAT,
        "route": done.name,
        "currency": done.currency,
        "until": done.until.astimezone(zone(done.zone)).isoformat(),
        "target": {"text": target.text, "kind": target.kind, "machine": target.machine, "label": target.label},
    }
    parts = [f"  {json.dumps(key)}: {json.dumps(value, ensure_ascii=False)}" for key, value in head.items()]
    parts.append(f'  "finding": {_finding(found, done)}')
    sections = (("stock", found.stock, _STOCK), ("cash", found.cash, _CASH), ("payouts", found.payouts, _PAYOUT))
    for name, figures, columns in sections:
        parts.append(f'  "{name}": {_list(_figures(done, figures, name, columns, texts))}')
    parts.append(f'  "rows": {records(_lines(done, found.rows, texts, money=False))}')
    parts.append(f'  "untold": {found.untold},\n  "more": {found.more}')
    parts.append(f'  "layouts": {records(_layouts(done, found.states))}')
    return "{\n" + ",\n".join(parts) + "\n}\n"


def _list(items: Iterator[str]) -> str:
    made = ",\n    ".join(items)
    return f"[\n    {made}\n  ]" if made else "[]"


def _finding(found: Trace, done: Reconciliation) -> str:
    if found.target.finding is None:
        return "null"
    own = done.frames["findings"].filter(pl.col("id") == found.target.finding["id"])
    return findings_table(done, own).write_ndjson().strip()


def _amounts(done: Reconciliation, names: Sequence[str]) -> list[pl.Expr]:
    return [money_by_machine(pl.col(name), done.digits_of, done.digits).alias(name) for name in names]


def _figures(
    done: Reconciliation, figures: Figures | None, name: str, columns: Sequence[str], texts: Frame
) -> Iterator[str]:
    """One text a figure, its lines within it."""
    if figures is None:
        return
    heads = figures.heads.with_columns(_amounts(done, _MONEY[name]))
    if name == "payouts":
        heads = heads.with_columns(pl.col(day).dt.to_string("%Y-%m-%d") for day in ("paid_on", "from", "to"))
    else:
        heads = local_text(heads, ["opened_at", "closed_at"], done.zones, done.zone, ISO)
    told = heads.select(columns).write_ndjson().splitlines()
    lines = _lines(done, figures.lines, texts, money=name != "stock").write_ndjson().splitlines()
    counts = dict(figures.lines.group_by("window").len().iter_rows())
    at = 0
    for window, text in zip(heads["window"].to_list(), told, strict=True):
        own = lines[at : at + counts.get(window, 0)]
        at += len(own)
        inside = ",\n      ".join(own)
        yield f'{text[:-1]},"lines":[' + (f"\n      {inside}\n    ]}}" if own else "]}")


def _lines(done: Reconciliation, lines: Frame, texts: Frame, *, money: bool) -> Frame:
    amounts = ("least", "most", *(("change", "balance", "figure", "tubes") if money else ()))
    columns = (*LINE, "tubes") if money else LINE
    paths = dict(enumerate(done.paths))
    shown = lines.join(texts, on=["file", "row"], how="left", maintain_order="left").with_columns(
        *_amounts(done, amounts),
        pl.col("what", "side").cast(pl.String),
        pl.col("file").replace_strict(paths, default=None, return_dtype=pl.String),
    )
    return local_text(shown, ["time"], done.zones, done.zone, ISO).select(columns)


def _layouts(done: Reconciliation, states: Frame) -> Frame:
    shown = states.with_columns(_amounts(done, ("price", "card_price")))
    shown = local_text(shown, ["starts", "ends"], done.zones, done.zone, ISO)
    return shown.select(
        "state", "machine", "label", "starts", "ends", "in_use", "bus", "product", "price", "card_price", "capacity",
        pl.col("layout_file").alias("file"), pl.col("layout_line").alias("row"),
    )  # fmt: skip
