"""Which figure of which row a correction puts right, and how it is spelled."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import polars as pl

from recon.intake.values import LARGEST_MONEY, LARGEST_PRICE, LARGEST_UNITS
from recon.ledger.decisions import CORRECTABLE, MONEY_FIELDS
from recon.model.errors import MoneyError, ReconError
from recon.model.frames import Frame
from recon.model.money import to_minor, to_text
from recon.model.reconciliation import Reconciliation

_OF_A_COUNT = ("stock-short", "stock-over", "boundary-vends", "below-zero", "above-capacity")
_OF_A_COLLECTION = ("cash-short", "cash-over")


@dataclass(frozen=True, slots=True)
class Place:
    """A row of an input. path: as the results name the file."""

    path: str
    row: int


def place_of(text: str) -> Place:
    """Read `inbox/counts-39.csv:17`. Raises ReconError for anything else."""
    path, _, row = text.rpartition(":")
    if not path or not row.isdecimal() or int(row) < 1:
        raise ReconError(f'"{text}" names no row: give file and line as the evidence does, inbox/counts-39.csv:17')
    return Place(path, int(row))


def correction(
    done: Reconciliation, read: Mapping[str, Frame], finding: Mapping[str, Any], to: str, place: Place | None,
    field: str | None,
) -> dict[str, Any]:  # fmt: skip
    """What a decision's entry says of a correction.

    done: the run that found it. read: the frames of the kinds of file as the files say, without corrections. finding:
    its row. to: the figure that is right, as a person writes it. place, field: by default the closing count of a stock
    finding, the collection of a cash finding, the net of a payout, else the one evidence row and the one figure there.
    Raises ReconError where that is not one row and one figure.
    """
    file, row = _place(done, finding, place)
    kind, found = _row(done, read, file, row)
    field = field or _field(finding["kind"], kind)
    if field not in CORRECTABLE[kind]:
        known = ", ".join(CORRECTABLE[kind])
        raise ReconError(f'"{field}" of {done.paths[file]}:{row} cannot be corrected: there it is one of {known}')
    digits = done.digits_of.get(found["machine"] or "", done.digits)
    now = _figure(field, to, digits)
    was = found[field]
    shown = [("nothing" if size is None else _spelled(field, size, digits)) for size in (was, now)]
    of_file = done.frames["inputs"].row(file, named=True)
    return {
        "file": of_file["path"],
        "sha256": of_file["sha256"],
        "sheet": of_file["sheet"],
        "row": row,
        "field": field,
        "was": was,
        "is": now,
        "shown": " -> ".join(shown),
    }


def _place(done: Reconciliation, finding: Mapping[str, Any], place: Place | None) -> tuple[int, int]:
    if place is not None:
        if place.path not in done.paths:
            raise ReconError(f"{place.path} is no file of this run: name it as the evidence does")
        return done.paths.index(place.path), place.row
    kind = finding["kind"]
    if kind in (*_OF_A_COUNT, *_OF_A_COLLECTION):
        windows = done.frames["stock" if kind in _OF_A_COUNT else "cash_windows"]
        names = ("close_file", "close_row") if kind in _OF_A_COUNT else ("file", "row")
        same = [pl.col(name).eq_missing(pl.lit(finding[name])) for name in ("machine", "closed_at")]
        if kind in _OF_A_COUNT:
            same.append(pl.col("label").eq_missing(pl.lit(finding["label"])))
        rows = windows.filter(*same).select(names).rows()
    else:
        rows = [(place["file"], place["row"]) for place in finding["evidence"] if place["row"]]
    if len(rows) != 1 or (kind not in (*_OF_A_COUNT, *_OF_A_COLLECTION) and finding["evidence_count"] != 1):
        raise ReconError(
            f"finding {finding['id']} rests on {finding['evidence_count']} rows: say which one is wrong, with "
            "--row FILE:LINE as recon trace shows it"
        )
    return int(rows[0][0]), int(rows[0][1])


def _row(done: Reconciliation, read: Mapping[str, Frame], file: int, row: int) -> tuple[Any, dict[str, Any]]:
    for kind in CORRECTABLE:
        found = read[kind].filter(pl.col("file") == file, pl.col("row") == row)
        if found.height:
            return kind, found.row(0, named=True)
    raise ReconError(
        f"{done.paths[file]}:{row} is no row that was used: recon trace shows which are, and rejected rows are mended "
        "in rejects.csv"
    )


def _field(finding: str, kind: str) -> str:
    defaults = {"counts": "counted", "cash": "collected", "vends": "price", "payouts": "net"}
    if finding == "fee-differs":
        return "fees"
    if kind not in defaults:
        raise ReconError(f"say which figure is wrong, with --field: {' or '.join(CORRECTABLE['loads'])}")
    return defaults[kind]


def _figure(field: str, text: str, digits: int) -> int:
    if field in MONEY_FIELDS:
        try:
            size = to_minor(text, digits)
        except MoneyError as error:
            raise ReconError(f"--to {error}") from error
        most = LARGEST_PRICE if field == "price" else LARGEST_MONEY
        if abs(size) > most or (size < 0 and field in ("price", "collected", "tubes")):
            least = 0 if field in ("price", "collected", "tubes") else -most
            raise ReconError(f'--to "{text}" is outside {_spelled(field, least, digits)} to {to_text(most, digits)}')
        return size
    if not text.strip().isdecimal():
        raise ReconError(f'--to "{text}" is no whole number of units, such as 5')
    if len(text.strip()) > len(str(LARGEST_UNITS)) or int(text) > LARGEST_UNITS:
        raise ReconError(f'--to "{text}" is more than {LARGEST_UNITS} units, the most that a row can say')
    return int(text)


def _spelled(field: str, size: int, digits: int) -> str:
    return to_text(size, digits) if field in MONEY_FIELDS else str(size)
