"""report.xlsx: the tables of a run as a workbook, one sheet a table, behind a page that says what run it is.

Cells are typed: units and bus numbers are integers, money is a number in the currency's own digits, times are those of
the machine's own clock, labels and ids are text. The only formulas are the sums below a table, each with its value.
Nothing that came from a file can become a formula, a link or a number.
"""

import io
from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import UTC, date, datetime
from math import isfinite
from typing import Any, Final

import polars as pl

from recon.model.frames import TIME, Frame
from recon.model.reconciliation import Reconciliation
from recon.model.spelling import local_text
from recon.model.zones import zone
from recon.report.cell_text import cell_text
from recon.report.typed_tables import Table, spelled_places, typed_tables

SHEET_ROWS: Final = 1_048_576
"""Rows of a sheet (Office Open XML spreadsheets): a longer table is shown by its first rows."""

_WIDTHS: Final[Mapping[str, int]] = {
    "advice": 60, "attachment_sha256": 20, "evidence": 40, "file": 34, "finding": 15, "id": 15, "kind": 20,
    "label": 9, "machine": 14, "message": 70, "name": 24, "reason": 50, "reference": 18, "sha256": 20, "site": 28,
    "source": 18, "text": 60, "tray": 7, "why": 40, "zone": 18, "currency": 9, "corrected": 40, "product": 18,
}  # fmt: skip
_WRAPPED: Final = frozenset({"advice", "evidence", "message", "reason", "why"})
_CHANCES: Final = frozenset({"empty_chance", "short_chance"})
_LARGEST: Final = 10**15
"""A cell holds a double: from here on digits would be lost, and the figure is written as text."""
_NAIVE = "%Y-%m-%dT%H:%M:%S%.6f"
_INK, _PAPER = "#23272E", "#EFECE4"

CAUTION = (
    "A variance is a difference between two figures. It is no proof of who took what, nor that anyone took anything:"
    " miscounts, jams, unlogged loads, clocks that differ and wrong numbers make the same figure."
)

_Write = Callable[[int, int, Any, Sequence[Any]], None]
"""Row, column, the cell's value (never None) and the whole record."""


def workbook(done: Reconciliation) -> bytes:
    """The workbook. The same reconciliation gives the same bytes.

    Rows are written one by one and kept on disk until the end, so that a large route needs no more memory. Raises
    OSError where the folder for temporary files has no room.
    """
    import xlsxwriter
    from xlsxwriter.exceptions import FileCreateError

    out = io.BytesIO()
    safe = {"strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
    book = xlsxwriter.Workbook(out, {"constant_memory": True, "use_zip64": True, **safe})
    made = done.now.astimezone(UTC).replace(tzinfo=None, microsecond=0)
    book.set_properties({"title": cell_text(f"{done.name}: reconciliation"), "created": made})
    forms = _Forms(book, done.currency)
    _about(book.add_worksheet("About this run"), done, forms)
    for table in typed_tables(done):
        _Sheet(book.add_worksheet(table.title), table, done, forms).write()
    try:
        book.close()
    except FileCreateError as error:
        raise OSError(None, f"the workbook could not be put together ({error})", "report.xlsx") from error
    return out.getvalue()


class _Forms:
    """What cells look like, each made when it is first asked for, so that the same workbook has the same bytes."""

    def __init__(self, book: Any, currency: str) -> None:
        self._book = book
        self._own = currency
        self._made: dict[tuple[str, bool], Any] = {}

    def of(self, pattern: str, *, sum_line: bool = False, **facts: object) -> Any:
        """A number format; sum_line: bold below a line."""
        key = (f"{pattern}{sorted(facts.items())}", sum_line)
        if key not in self._made:
            line = {"bold": True, "top": 1} if sum_line else {}
            self._made[key] = self._book.add_format({"num_format": pattern, "valign": "top", **facts, **line})
        return self._made[key]

    def head(self) -> Any:
        return self.of("@", bold=True, bg_color=_PAPER, font_color=_INK, bottom=1)

    def money(self, currency: str, digits: int, *, sum_line: bool = False) -> Any:
        """In the currency's own digits; another currency than the route's stands behind the figure."""
        figure = "#,##0." + "0" * digits if digits else "#,##0"
        code = "" if currency == self._own or not (currency.isalpha() and currency.isascii()) else f' "{currency}"'
        return self.of(f"{figure}{code};-{figure}{code}", sum_line=sum_line)


class _Sheet:
    """One table on one sheet."""

    def __init__(self, page: Any, table: Table, done: Reconciliation, forms: _Forms) -> None:
        self.page, self.table, self.forms = page, table, forms
        frame = _in_local_time(spelled_places(table.frame), done)
        # The digits go last: they are needed for each row and shown in none.
        shown = [name for name in frame.columns if name != "digits"]
        self.frame = frame.select(*shown, "digits") if table.money else frame
        self.names = shown
        self.whole = f"; tables/{table.name}.csv has it whole"

    def write(self) -> None:
        # A sum for each currency, a blank row above them, the header; or the one line that says what was left out.
        currencies = self.frame["currency"].n_unique() if self.table.money else 1
        room = SHEET_ROWS - 1 - max(2, currencies + 1)
        rows = self.frame.head(room)
        self._head(rows.height)
        writers = [self._writer(name) for name in self.names]
        for at, record in enumerate(rows.iter_rows(), start=1):
            for column, (value, write) in enumerate(zip(record, writers, strict=False)):
                if value is not None:
                    write(at, column, value, record)
        if rows.height < self.frame.height:
            said = f"the first {rows.height:,} of {self.frame.height:,} rows; all of them: tables/{self.table.name}.csv"
            self.page.write_string(rows.height + 1, 0, said, self.forms.of("@", sum_line=True))
        elif rows.height and self.table.sums:
            self._sums(rows)

    def _head(self, rows: int) -> None:
        for column, name in enumerate(self.names):
            self.page.set_column(column, column, _WIDTHS.get(name, max(12, len(name) + 3)))
        self.page.set_row(0, 20)
        self.page.freeze_panes(1, 2 if "label" in self.names[:2] else 1)
        self.page.autofilter(0, 0, rows, len(self.names) - 1)
        self.page.repeat_rows(0)
        self.page.fit_to_pages(1, 0)
        self.page.set_landscape()
        self.page.set_footer("&L&A&RPage &P of &N")
        for column, name in enumerate(self.names):
            self.page.write_string(0, column, name, self.forms.head())

    def _writer(self, name: str) -> _Write:
        """How a column's cells are written."""
        page, dtype = self.page, self.frame.schema[name]
        if name in self.table.money:
            return self._money
        if dtype == pl.Boolean:
            form = self.forms.of("General")
            return lambda row, column, value, _: page.write_boolean(row, column, value, form)
        if dtype == pl.String:
            facts = {"text_wrap": True, "quote_prefix": True} if name in _WRAPPED else {"quote_prefix": True}
            # A cell of the text format shows nothing but # where it is long, in some programs.
            form = self.forms.of("General" if name in _WRAPPED or name == "text" else "@", **facts)
            return lambda row, column, value, _: page.write_string(row, column, cell_text(value, self.whole), form)
        if dtype.is_temporal():
            return self._moment(self.forms.of("yyyy-mm-dd" if dtype == pl.Date else "yyyy-mm-dd hh:mm:ss"))
        return self._number(self.forms.of(_pattern(name, dtype)))

    def _moment(self, form: Any) -> _Write:
        def write(row: int, column: int, value: date | datetime, _: Sequence[Any]) -> None:
            if value.year < 1900:
                # Before a spreadsheet's calendar begins.
                self.page.write_string(row, column, value.isoformat(), form)
            else:
                self.page.write_datetime(row, column, value, form)

        return write

    def _number(self, form: Any) -> _Write:
        def write(row: int, column: int, value: int | float, _: Sequence[Any]) -> None:
            if abs(value) < _LARGEST and isfinite(value):
                self.page.write_number(row, column, value, form)
            else:
                self.page.write_string(row, column, str(value), form)

        return write

    def _money(self, row: int, column: int, value: int, record: Sequence[Any]) -> None:
        digits: int = record[-1]
        form = self.forms.money(record[self.names.index("currency")], digits)
        if abs(value) < _LARGEST:
            self.page.write_number(row, column, value / 10**digits, form)
        else:
            from recon.model.money import to_text

            self.page.write_string(row, column, to_text(value, digits), form)

    def _sums(self, rows: Frame) -> None:
        """Below a blank row: a sum that follows the filter; or, where several currencies stand in the table, one a
        currency, which does not."""
        from xlsxwriter.utility import xl_col_to_name

        last = rows.height + 1
        codes = sorted(rows["currency"].unique()) if self.table.money else []
        for at, code in enumerate(codes if len(codes) > 1 else [None], start=rows.height + 2):
            part = rows if code is None else rows.filter(pl.col("currency") == code)
            digits = part["digits"].item(0) if self.table.money else 0
            self.page.write_string(at, 0, "total" if code is None else f"total {code}", self._sum_form("@"))
            for column, name in enumerate(self.names):
                letter = xl_col_to_name(column)
                if name == "currency":
                    self.page.write_string(at, column, codes[0] if code is None else code, self._sum_form("@"))
                # Where nothing is known, a sum of 0 would say that something is.
                if name not in self.table.sums or part[name].null_count() == part.height:
                    continue
                formula = f"=SUBTOTAL(9,{letter}2:{letter}{last})"
                if code is not None:
                    by = xl_col_to_name(self.names.index("currency"))
                    formula = f"=SUMIF(${by}$2:${by}${last},${by}{at + 1},{letter}2:{letter}{last})"
                total = int(part[name].sum())
                money = name in self.table.money
                form = self.forms.money(code or codes[0], digits, sum_line=True) if money else self._sum_form("#,##0")
                self.page.write_formula(at, column, formula, form, total / 10**digits if money else total)

    def _sum_form(self, pattern: str) -> Any:
        return self.forms.of(pattern, sum_line=True)


def _pattern(name: str, dtype: pl.DataType) -> str:
    if name in _CHANCES:
        return "0%"
    if dtype.is_float():
        return "#,##0.0"
    return "0" if name in ("bus", "row", "entry", "decision") else "#,##0"


def _in_local_time(frame: Frame, done: Reconciliation) -> Frame:
    """Times as each machine's wall clock, without a zone: a cell of a workbook knows none."""
    times = [name for name, dtype in frame.schema.items() if dtype == TIME]
    if not times:
        return frame
    local = local_text(frame, times, done.zones, done.zone, _NAIVE)
    return local.with_columns(pl.col(times).str.to_datetime(_NAIVE, time_unit="us"))


def _about(page: Any, done: Reconciliation, forms: _Forms) -> None:
    page.set_column(0, 0, 18)
    page.set_column(1, 1, 90)
    page.set_landscape()
    page.fit_to_pages(1, 0)
    title, name = forms.of("General", bold=True, font_size=14), forms.of("General", bold=True)
    text = forms.of("General", text_wrap=True, quote_prefix=True)
    page.write_string(0, 0, cell_text(done.name), title)
    for at, (head, told) in enumerate(_told(done), start=2):
        page.write_string(at, 0, head, name)
        page.write_string(at, 1, cell_text(told), text)


def _told(done: Reconciliation) -> Iterator[tuple[str, str]]:
    here = zone(done.zone)

    def local(moment: datetime) -> str:
        return f"{moment.astimezone(here):%Y-%m-%d %H:%M:%S} {done.zone}"

    yield "made", local(done.now)
    yield "shown", f"{'from the beginning' if done.since is None else local(done.since)} to {local(done.until)}"
    yield "money", f"in the digits of its currency; {done.currency} unless the column currency says otherwise"
    yield "times", "of the machine's own clock, in the zone that the column zone names"
    yield "units", "negative is short; shrink_retail and shrink_cost are amounts lost, positive"
    yield "totals", "below a table, for the rows that its filter leaves; with several currencies one each, for all rows"
    if done.anchor is not None:
        yield "ledger", f"{done.anchor.entries} entries, root {done.anchor.root}"
    yield "caution", CAUTION
