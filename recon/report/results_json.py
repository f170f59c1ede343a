"""results.json: the contract's shape, one record a line, so that two runs compare line by line."""

import json
from collections.abc import Callable, Iterable, Iterator

from recon.model.frames import Frame
from recon.model.reconciliation import Reconciliation
from recon.model.zones import zone
from recon.report import tables
from recon.report.json_lines import MANY, grouped_json_lines, json_lines

ROWS_A_PIECE = 100_000
"""Records written at once: a long route has millions, and as texts they take ten times the room of their figures."""

FORMAT = "recon-results/1"


def results_json(done: Reconciliation) -> str:
    """The whole result as JSON text, ending in a line break."""
    return b"".join(results_pieces(done)).decode()


def results_pieces(done: Reconciliation) -> Iterator[bytes]:
    """Return the same text as UTF-8, in pieces that need not be held at once."""
    head = {
        "format": FORMAT,
        "route": done.name,
        "currency": done.currency,
        "until": done.until.astimezone(zone(done.zone)).isoformat(),
    }
    told = [f"  {json.dumps(key)}: {json.dumps(value, ensure_ascii=False)}" for key, value in head.items()]
    sections: list[tuple[str, Iterable[bytes]]] = [
        ("inputs", _lines([tables.inputs_table(done)])),
        ("stock", _stock(done)),
        ("cash", _lines(_by_pieces(done, "cash_windows", tables.cash_table))),
        ("payouts", _lines([tables.payouts_table(done)])),
        ("machines", _lines([tables.machines_table(done)])),
        ("findings", _lines(_by_pieces(done, "findings", tables.findings_table))),
        ("decisions", _lines([tables.decisions_table(done)] if done.frames["decisions"].height else [])),
    ]
    yield ("{\n" + ",\n".join(told)).encode()
    for name, lines in sections:
        yield _named(name)
        yield from _list(lines)
    yield b"\n}\n"


def _named(section: str) -> bytes:
    return f",\n  {json.dumps(section)}: ".encode()


def _by_pieces(done: Reconciliation, name: str, table: Callable[[Reconciliation, Frame], Frame]) -> Iterator[Frame]:
    return (table(done, rows) for rows in done.frames[name].iter_slices(ROWS_A_PIECE))


def _stock(done: Reconciliation) -> Iterator[bytes]:
    """Return the stock windows: of a long route by parts of a record that repeat."""
    for rows in done.frames["stock"].iter_slices(ROWS_A_PIECE):
        if rows.height < MANY:
            yield json_lines(tables.stock_table(done, rows))
        else:
            yield grouped_json_lines(
                tables.with_terms(done, rows), tables.STOCK_GROUPS,
                lambda each, group: tables.stock_table(done, each, group.names),
            )  # fmt: skip


def _lines(frames: Iterable[Frame]) -> Iterator[bytes]:
    return (json_lines(frame) for frame in frames if frame.height)


def _list(pieces: Iterable[bytes]) -> Iterator[bytes]:
    empty = True
    for lines in pieces:
        yield b"[\n    " if empty else b",\n    "
        yield lines
        empty = False
    yield b"[]" if empty else b"\n  ]"


def records(frame: Frame) -> str:
    """A frame as a JSON list, one record a line."""
    return b"".join(_list(_lines([frame]))).decode()
