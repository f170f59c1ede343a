"""results.json: the contract's shape, one record a line, so that two runs compare line by line."""

import io
import json
from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace

from recon.model.frames import Frame
from recon.model.reconciliation import Reconciliation
from recon.model.zones import zone
from recon.report import tables

ROWS_A_PIECE = 50_000
"""Records written at once: a long route has millions, and as texts they take ten times the room of their figures."""

FORMAT = "recon-results/1"

_Table = Callable[[Reconciliation], Frame]


def results_json(done: Reconciliation) -> str:
    """The whole result as JSON text, ending in a line break."""
    return b"".join(results_pieces(done)).decode()


def results_pieces(done: Reconciliation) -> Iterator[bytes]:
    """The same text as UTF-8, in pieces that need not be held at once."""
    head = {
        "format": FORMAT,
        "route": done.name,
        "currency": done.currency,
        "until": done.until.astimezone(zone(done.zone)).isoformat(),
    }
    told = [f"  {json.dumps(key)}: {json.dumps(value, ensure_ascii=False)}" for key, value in head.items()]
    sections: list[tuple[str, Iterable[Frame]]] = [
        ("inputs", [tables.inputs_table(done)]),
        ("stock", _by_pieces(done, "stock", tables.stock_table)),
        ("cash", _by_pieces(done, "cash_windows", tables.cash_table)),
        ("payouts", [tables.payouts_table(done)]),
        ("machines", [tables.machines_table(done)]),
        ("findings", _by_pieces(done, "findings", tables.findings_table)),
        ("decisions", [tables.decisions_table(done)]),
    ]
    yield ("{\n" + ",\n".join(told)).encode()
    for name, frames in sections:
        yield _named(name)
        yield from _list(frames)
    yield b"\n}\n"


def _named(section: str) -> bytes:
    return f",\n  {json.dumps(section)}: ".encode()


def _by_pieces(done: Reconciliation, name: str, table: _Table) -> Iterator[Frame]:
    for rows in done.frames[name].iter_slices(ROWS_A_PIECE):
        yield table(replace(done, frames={**done.frames, name: rows}))


def _list(frames: Iterable[Frame]) -> Iterator[bytes]:
    empty = True
    for frame in frames:
        if frame.height:
            lines = io.BytesIO()
            frame.write_ndjson(lines)
            told = lines.getvalue().rstrip(b"\n").replace(b"\n", b",\n    ")
            yield b"".join((b"[" if empty else b",", b"\n    ", told))
            empty = False
    yield b"[]" if empty else b"\n  ]"


def records(frame: Frame) -> str:
    """A frame as a JSON list, one record a line."""
    return b"".join(_list([frame])).decode()
