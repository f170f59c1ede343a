"""results.json: the contract's shape, one record a line, so that two runs compare line by line."""

import json
from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace

from recon.model.frames import Frame
from recon.model.reconciliation import Reconciliation
from recon.model.zones import zone
from recon.report import tables

FORMAT = "recon-results/1"


ROWS_A_PIECE = 50_000
"""Records spelled at once: a long route has millions, and as texts they take ten times the room of their figures."""

_Table = Callable[[Reconciliation], Frame]


def results_json(done: Reconciliation) -> str:
    """The whole result as JSON text, ending in a line break."""
    return "".join(results_pieces(done))


def results_pieces(done: Reconciliation) -> Iterator[str]:
    """The same text in pieces that need not be held at once."""
    head = {
        "format": FORMAT,
        "route": done.name,
        "currency": done.currency,
        "until": done.until.astimezone(zone(done.zone)).isoformat(),
    }
    told = [f"  {json.dumps(key)}: {json.dumps(value, ensure_ascii=False)}" for key, value in head.items()]
    yield "{\n" + ",\n".join(told)
    sections: dict[str, Iterator[Frame]] = {
        "inputs": iter([tables.inputs_table(done)]),
        "stock": _by_pieces(done, "stock", tables.stock_table),
        "cash": _by_pieces(done, "cash_windows", tables.cash_table),
        "payouts": iter([tables.payouts_table(done)]),
        "machines": iter([tables.machines_table(done)]),
        "findings": _by_pieces(done, "findings", tables.findings_table),
        "decisions": iter([tables.decisions_table(done)]),
    }
    for name, frames in sections.items():
        yield f",\n  {json.dumps(name)}: "
        yield from _list(frames)
    yield "\n}\n"


def _by_pieces(done: Reconciliation, name: str, table: _Table) -> Iterator[Frame]:
    for rows in done.frames[name].iter_slices(ROWS_A_PIECE):
        yield table(replace(done, frames={**done.frames, name: rows}))


def _list(frames: Iterable[Frame]) -> Iterator[str]:
    empty = True
    for frame in frames:
        if frame.height:
            yield ("[" if empty else ",") + "\n    " + frame.write_ndjson().rstrip("\n").replace("\n", ",\n    ")
            empty = False
    yield "[]" if empty else "\n  ]"


def records(frame: Frame) -> str:
    """A frame as a JSON list, one record a line."""
    return "".join(_list([frame]))
