"""A source description: what the columns and words of one export format mean in our terms."""

from typing import Annotated, Literal

from pydantic import BaseModel, Field

from recon.model.settings import STRICT, Zone
from recon.model.words import FileKind, Outcome, Tender

FIELDS: dict[FileKind, tuple[str, ...]] = {
    "vends": (
        "machine",
        "time",
        "date",
        "clock",
        "bus",
        "label",
        "price",
        "tender",
        "outcome",
        "reference",
        "quantity",
    ),
    "counts": ("machine", "time", "date", "clock", "label", "bus", "counted", "loaded", "removed", "counter", "note"),
    "loads": ("machine", "time", "date", "clock", "label", "bus", "loaded", "removed", "reason", "note"),
    "cash": ("machine", "time", "date", "clock", "total", "notes", "coins", "tubes", "note"),
    "payouts": ("paid_on", "from", "to", "machine", "gross", "fees", "net", "reference"),
    "tests": ("machine", "label", "time", "date", "clock", "note"),
}
"""The fields of each kind of file. A time may stand in one column (`time`) or in two (`date` and `clock`)."""

REQUIRED: dict[FileKind, tuple[tuple[tuple[str, ...], ...], ...]] = {
    "vends": ((("machine",),), (("time",), ("date", "clock")), (("bus",), ("label",)), (("tender",),)),
    "counts": ((("machine",),), (("time",), ("date", "clock")), (("label",), ("bus",)), (("counted",),)),
    "loads": ((("machine",),), (("time",), ("date", "clock")), (("label",), ("bus",)), (("loaded",), ("removed",))),
    "cash": ((("machine",),), (("time",), ("date", "clock")), (("total",), ("notes", "coins"))),
    "payouts": ((("paid_on",),), (("net",),)),
    "tests": ((("machine",),), (("label",),)),
}
"""For each kind what must be there: every entry has to be met by one of its alternatives, each a group of fields."""


class Words(BaseModel):
    """Our word = the words that the export uses for it, in any case."""

    model_config = STRICT
    tender: dict[Tender, list[str]] = {}
    outcome: dict[Outcome, list[str]] = {}


class TimeFormat(BaseModel):
    """How times are written; left out, the format is inferred from the whole column."""

    model_config = STRICT
    format: str | None = None


class Amounts(BaseModel):
    """How amounts are written; left out, it is settled from the whole column."""

    model_config = STRICT
    decimal: Literal[".", ","] | None = None
    """The decimal mark."""
    minor_units: bool = False
    """Whether amounts are whole minor units: 175 means 1.75."""


class TableShape(BaseModel):
    """How the table stands in its file; left out, it is found by looking."""

    model_config = STRICT
    delimiter: Literal[",", ";", "\t", "|"] | None = None
    encoding: Literal["utf-8", "utf-16", "cp1252", "cp1250", "cp437"] | None = None
    sheet: str | None = None
    """Name of the sheet, in a workbook with several."""
    header_line: Annotated[int, Field(ge=1)] | None = None
    """The line (or row of the sheet) that names the columns."""


class Source(BaseModel):
    """sources/NAME.toml."""

    model_config = STRICT
    kind: FileKind
    files: Annotated[list[str], Field(min_length=1)]
    timezone: Zone | None = None
    machine: str | None = None
    machine_from_name: str | None = None
    bus_base: Literal[10, 16] = 10
    columns: dict[str, str] = {}
    machines: dict[str, str] = {}
    words: Words = Words()
    time: TimeFormat = TimeFormat()
    amounts: Amounts = Amounts()
    table: TableShape = TableShape()
