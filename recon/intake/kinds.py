"""One text table as the canonical frame of its kind: accepted rows, rejected rows with their reasons, and remarks."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import NamedTuple

import polars as pl

from recon.intake import values
from recon.intake.clock import OLDEST_YEAR
from recon.intake.describe import Reading
from recon.intake.known import Known
from recon.intake.labels import mended, repaired_notices
from recon.intake.moments import to_moments
from recon.intake.values import Parsed
from recon.model.frames import BY_KIND, NOTICES, OUTCOME, TENDER, Frame
from recon.model.words import OUTCOMES, TENDERS, FileKind
from recon.model.zones import zone

_REFUSAL = "refusal"
"""The column that says why a row cannot be used. (A load slip has a `reason` of its own.)"""


@dataclass(frozen=True, slots=True)
class Rows:
    """What became of the rows.

    accepted: the frame of the kind, unsorted. rejected: file, row, reason. notices: the frame of that name.
    """

    accepted: Frame
    rejected: Frame
    notices: Frame


_TAMED = r"^'+[=+\-@\t\r\n\x00＝＋－＠]"
"""A text that would run as a formula, behind the apostrophe that the sheets of recon put before it (OWASP, CSV
injection)."""

_MANY = 10_000
"""Rows from which on it pays to look for texts that recur."""


class _Field(NamedTuple):
    """One field to be read: its column, value, reason, and the columns of text that alone decide it, if any."""

    name: str
    value: pl.Expr
    reason: pl.Expr
    texts: tuple[str, ...]


class Reader:
    """The columns of all files of one format, read field by field.

    Fields are only noted down here, and all read at once at the end. `work` has the columns so far; `fields` are those
    still to be read, `derived` what is made of them; `refusals` say when a row cannot be used, and why.
    """

    def __init__(self, texts: Frame, reading: Reading, known: Known, now: datetime) -> None:
        self.reading, self.known, self.now = reading, known, now
        self.work = texts
        self.fields: list[_Field] = []
        self.derived: list[pl.Expr] = []
        self.refusals: list[tuple[pl.Expr, pl.Expr]] = []
        self.clocked = False
        self.has_label = "label" in reading.columns
        self.must_know_label = False

    def text(self, field: str) -> pl.Expr:
        """The trimmed text of a field; null throughout where the file has no such column."""
        return pl.col(f"text_{field}") if field in self.reading.columns else pl.lit(None, pl.String)

    def plain(self, field: str) -> pl.Expr:
        """The number in a field as 1234.50, however the file writes it (see recon.intake.amounts)."""
        return pl.col(f"plain_{field}") if f"plain_{field}" in self.work.columns else self.text(field)

    def add(
        self, name: str, parsed: Parsed, default: object = None, *, field: str | None = None, alone: bool = True
    ) -> None:
        """Keep a parsed field as the column `name`; an empty cell without a reason becomes `default`.

        field: the field whose text it is read from, if its name is another. alone: whether nothing but that text
        decides.
        """
        value = parsed.value if default is None else parsed.value.fill_null(default)
        source = field or name
        odd = pl.coalesce(f"odd_{source}", parsed.reason) if f"odd_{source}" in self.work.columns else parsed.reason
        texts = tuple(
            column for part in ("text", "plain", "odd") if (column := f"{part}_{source}") in self.work.columns
        )
        self.fields.append(_Field(name, value, odd, texts if alone else ()))
        self.refusals.append((pl.col(f"why_{name}").is_not_null(), pl.col(f"why_{name}")))

    def refuse(self, when: pl.Expr, reason: pl.Expr) -> None:
        """Reject the rows where `when` holds; `reason` is worked out for those alone."""
        self.refusals.append((when, reason))

    def machine(self, *, needed: bool = True) -> None:
        """Refuse rows that name no machine, and add the zone of each machine."""
        if needed:
            self.refuse(pl.col("machine").is_null(), pl.lit("no machine"))
        self.work = self.work.with_columns(self.known.zone_of(pl.col("machine")).alias("zone"))

    def time(self, *, needed: bool = True) -> None:
        """Turn what was written into the moment of each row, `time` (UTC), through the file's or the machine's zone."""
        fixed = self.reading.source.timezone
        shown = self.work.with_columns(
            pl.col("zone").alias("shown_zone"), *([pl.lit(fixed).alias("zone")] if fixed else [])
        )
        self.work = to_moments(shown).with_columns(pl.col("shown_zone").alias("zone"))
        self.clocked = True
        when, raw = pl.col("time"), pl.col("text_when")
        unread = pl.format('time "{}" does not read as a time of day on a date', raw.str.slice(0, 80))
        self.refuse(when.is_null() & raw.is_not_null(), unread)
        if needed:
            self.refuse(raw.is_null(), pl.lit("no time"))
        self.refuse(
            when.dt.year() < OLDEST_YEAR, pl.format('time "{}" is from before 2000: a clock that was never set', raw)
        )
        self.refuse(when > self.now, pl.format('time "{}" is after this run', raw))

    def slot(self, *, needed: bool) -> None:
        """Read label and bus number. Where `needed`, a row must name a slot of the machine's layout."""
        self.words("label", "label")
        self.add("bus", values.bus_number(self.text("bus"), self.reading.source.bus_base, plain=self.plain("bus")))
        if needed:
            self.refuse(pl.col("label").is_null() & pl.col("bus").is_null(), pl.lit("no label and no bus number"))
            self.must_know_label = True

    def _know_labels(self) -> None:
        """Mend labels that a spreadsheet changed; refuse rows whose label the machine's layout does not have."""
        self.work = mended(self.work, self.known)
        if self.must_know_label:
            self.refuse(pl.col("why_stray").is_not_null(), pl.col("why_stray"))

    def units(self, name: str, default: int | None = 0, *, least: int = 0, most: int = values.LARGEST_UNITS) -> None:
        self.add(name, values.whole(self.text(name), name, least=least, most=most, plain=self.plain(name)), default)

    def money(self, name: str, field: str | None = None, *, negative: bool = False) -> None:
        text, plain, minor = (
            self.text(field or name),
            self.plain(field or name),
            self.reading.source.amounts.minor_units,
        )
        reader = self.known.money(
            lambda digits: values.amount(
                text, field or name, digits, negative=negative, plain=plain, minor_units=minor
            ),
            pl.col("machine"),
        )
        self.add(name, reader, field=field, alone=self.known.one_currency)

    def day(self, name: str, *, needed: bool = False) -> None:
        """Refuse what does not read as a day in the route's zone."""
        unread = pl.format(f'{name} "{{}}" does not read as a day', self.text(name))
        self.refuse(pl.col(name).is_null() & self.text(name).is_not_null(), unread)
        self.refuse(
            pl.col(name).dt.year() < OLDEST_YEAR, pl.format(f'{name} "{{}}" is from before 2000', self.text(name))
        )
        if needed:
            self.refuse(self.text(name).is_null(), pl.lit(f"no {name}"))

    def words(self, name: str, text: str) -> None:
        """A free text, as it stands."""
        self.fields.append(_Field(name, self.text(text), pl.lit(None, pl.String), ()))

    def own_words(self, name: str) -> None:
        """A free text that a person wrote, without the apostrophe that keeps a spreadsheet from running it."""
        text = self.text(name)
        bare = pl.when(text.str.contains(_TAMED)).then(text.str.slice(1)).otherwise(text)
        self.fields.append(_Field(name, bare, pl.lit(None, pl.String), ()))

    def done(self, kind: FileKind) -> Rows:
        """Part the rows into accepted and rejected, and collect what there is to remark."""
        spec = BY_KIND[kind]
        self._read_fields()
        if self.has_label or self.must_know_label:
            self._know_labels()
        bad = pl.any_horizontal(when.fill_null(False) for when, _ in self.refusals)
        work = self.work.with_columns(bad.alias("bad"))
        good = work.filter(~pl.col("bad"))
        why = [pl.when(when).then(reason) for when, reason in self.refusals]
        told = work.filter("bad").with_columns(pl.concat_str(why, separator="; ", ignore_nulls=True).alias(_REFUSAL))
        columns = [pl.col(column.name).cast(column.dtype) for column in spec.columns]
        refused = told.select("file", "row", pl.col(_REFUSAL).alias("reason"))
        return Rows(good.select(columns), refused, self._notices(work))

    def _read_fields(self) -> None:
        """Read every field; one whose few texts recur over many rows is read once for each text."""
        direct: list[pl.Expr] = []
        for field in self.fields:
            if field.texts and self.work.height >= _MANY:
                texts = self.work.select(field.texts).unique(maintain_order=True)
                if texts.height * 4 <= self.work.height:
                    read = texts.with_columns(field.value.alias(field.name), field.reason.alias(f"why_{field.name}"))
                    self.work = self.work.join(
                        read, on=list(field.texts), how="left", nulls_equal=True, maintain_order="left"
                    )
                    continue
            direct += [field.value.alias(field.name), field.reason.alias(f"why_{field.name}")]
        self.work = self.work.with_columns(direct).with_columns(self.derived)

    def _notices(self, work: Frame) -> Frame:
        labels = (
            repaired_notices(work.filter(~pl.col("bad"))) if "label_as_written" in work.columns else NOTICES.empty()
        )
        return pl.concat([self._time_notices(work), labels])

    def _time_notices(self, work: Frame) -> Frame:
        if not self.clocked:
            return NOTICES.empty()
        kind = pl.when(pl.col("time") > self.now).then(pl.lit("future-time")).when(~pl.col("bad")).then(pl.col("clock"))
        said = work.with_columns(kind.alias("kind")).filter(pl.col("kind").is_not_null())
        empty = [pl.lit(None, NOTICES.schema[name]).alias(name) for name in ("other_file", "other_row")]
        return said.select(
            "kind", "file", "row", "machine", "time", *empty, pl.col("text_when").alias("detail")
        ).select(*NOTICES.names)


def _vends(reader: Reader) -> None:
    source = reader.reading.source
    reader.machine()
    reader.time()
    reader.slot(needed=False)
    text, plain, minor = reader.text("price"), reader.plain("price"), source.amounts.minor_units
    price = reader.known.money(
        lambda digits: values.price(text, digits, plain=plain, minor_units=minor), pl.col("machine")
    )
    reader.add("price", price, alone=reader.known.one_currency)
    paid = reader.text("tender")
    tender = values.word(paid, "tender", TENDERS, source.words.tender, TENDER, "words.tender")
    reader.add("tender", values.required(tender, paid, "tender"))
    outcome = values.word(reader.text("outcome"), "outcome", OUTCOMES, source.words.outcome, OUTCOME, "words.outcome")
    reader.add("outcome", outcome, "vended")
    reader.words("reference", "reference")
    reader.units("quantity", 1, least=1, most=1000)


def _counts(reader: Reader) -> None:
    reader.machine()
    reader.time()
    reader.slot(needed=True)
    reader.units("counted", None)
    reader.units("loaded")
    reader.units("removed")
    reader.own_words("counter")
    reader.own_words("note")


def _loads(reader: Reader) -> None:
    reader.machine()
    reader.time()
    reader.slot(needed=True)
    reader.units("loaded")
    reader.units("removed")
    empty = reader.text("loaded").is_null() & reader.text("removed").is_null()
    reader.refuse(empty, pl.lit("nothing loaded and nothing removed"))
    reader.own_words("reason")
    reader.own_words("note")


def _cash(reader: Reader) -> None:
    reader.machine()
    reader.time()
    for field in ("total", "notes", "coins"):
        reader.money(f"sum_{field}", field)
    reader.money("tubes")
    reader.own_words("note")
    parts = pl.sum_horizontal("sum_notes", "sum_coins")
    any_part = pl.col("sum_notes").is_not_null() | pl.col("sum_coins").is_not_null()
    reader.derived.append(pl.coalesce("sum_total", pl.when(any_part).then(parts)).alias("collected"))
    blank = reader.text("total").is_null() & reader.text("notes").is_null() & reader.text("coins").is_null()
    reader.refuse(blank, pl.lit("no total, notes or coins"))
    # A total beside its two parts is a check that the person meant to make: it is made.
    whole = pl.col("sum_notes").is_not_null() & pl.col("sum_coins").is_not_null()
    differs = pl.format(
        "total {} is not notes {} plus coins {}", reader.text("total"), reader.text("notes"), reader.text("coins")
    )
    reader.refuse(whole & pl.col("sum_total").is_not_null() & (pl.col("sum_total") != parts), differs)


def _payouts(reader: Reader) -> None:
    reader.machine(needed=False)
    reader.day("paid_on", needed=True)
    reader.day("from")
    reader.day("to")
    reader.refuse(
        pl.col("from") > pl.col("to"), pl.format('from "{}" is after to "{}"', reader.text("from"), reader.text("to"))
    )
    today = reader.now.astimezone(zone(reader.known.route.settings.timezone)).date()
    late = pl.col("paid_on") > today
    reader.refuse(late, pl.format('paid_on "{}" is after this run', reader.text("paid_on")))
    reader.money("gross", negative=True)
    reader.money("fees", negative=True)
    reader.money("net", negative=True)
    reader.refuse(reader.text("net").is_null(), pl.lit("no net"))
    reader.words("reference", "reference")


def _tests(reader: Reader) -> None:
    reader.machine()
    reader.time(needed=False)
    reader.words("label", "label")
    reader.refuse(pl.col("label").is_null(), pl.lit("no label"))
    reader.must_know_label = True
    reader.words("note", "note")


_KINDS: dict[FileKind, Callable[[Reader], None]] = {
    "vends": _vends, "counts": _counts, "loads": _loads, "cash": _cash, "payouts": _payouts, "tests": _tests,
}  # fmt: skip


def read_rows(texts: Frame, reading: Reading, known: Known, now: datetime) -> Rows:
    """Read the cells of one or more files of the same format (see recon.intake.texts) as their kind."""
    reader = Reader(texts, reading, known, now)
    _KINDS[reading.kind](reader)
    return reader.done(reading.kind)
