"""results.json: the contract's shape, one record a line, so that two runs compare line by line."""

import json

from recon.model.frames import Frame
from recon.model.reconciliation import Reconciliation
from recon.model.zones import zone
from recon.report import tables

FORMAT = "recon-results/1"


def results_json(done: Reconciliation) -> str:
    """The whole result as JSON text, ending in a line break."""
    head = {
        "format": FORMAT,
        "route": done.name,
        "currency": done.currency,
        "until": done.until.astimezone(zone(done.zone)).isoformat(),
    }
    sections: dict[str, Frame] = {
        "inputs": tables.inputs_table(done),
        "stock": tables.stock_table(done),
        "cash": tables.cash_table(done),
        "payouts": tables.payouts_table(done),
        "machines": tables.machines_table(done),
        "findings": tables.findings_table(done),
        "decisions": tables.decisions_table(done),
    }
    lines = [f"  {json.dumps(key)}: {json.dumps(value, ensure_ascii=False)}" for key, value in head.items()]
    lines += [f"  {json.dumps(name)}: {records(frame)}" for name, frame in sections.items()]
    return "{\n" + ",\n".join(lines) + "\n}\n"


def records(frame: Frame) -> str:
    """A frame as a JSON list, one record a line."""
    if frame.height == 0:
        return "[]"
    records = frame.write_ndjson().rstrip("\n").replace("\n", ",\n    ")
    return f"[\n    {records}\n  ]"
