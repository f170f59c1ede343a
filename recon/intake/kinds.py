"""One text table as the canonical frame of its kind: accepted rows, rejected rows with their reasons, and remarks."""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import NamedTuple

import polars as pl

from recon.intake import values
from recon.intake.clock import OLDEST_YEAR
from recon.intake.describe import Reading
from recon.intake.known import Known
from recon.intake.labels import mended, repaired_notices
from recon.intake.moments import to_moments
from recon.intake.recurring import as_texts, coded, is_coded
from recon.intake.values import Parsed
from recon.model.frames import BY_KIND, NOTICES, OUTCOME, REJECTS, TENDER, TIME, Frame
from recon.model.spelling import FORMULA_SIGNS
from recon.model.words import OUTCOMES, TENDERS, FileKind
from recon.model.zones import zone

AFTER_RUN = "is after this run"
"""How the reason of a row ends that a later run may take."""

_REFUSAL = "refusal"
"""The column that says why a row cannot be used. (A load slip has a `reason` of its own.)"""


class Rows(NamedTuple):
    """What became of the rows.

    accepted: the frame of the kind, unsorted. rejected: file, row, reason. notices: the frame of that name.
    """

    accepted: Frame
    rejected: Frame
    notices: Frame


_TAMED = f"^'+[{FORMULA_SIGNS}]"
"""A text that would run as a formula, behind the apostrophe that the sheets of recon put before it (OWASP, CSV
injection)."""

_OLDEST = datetime(OLDEST_YEAR, 1, 1, tzinfo=UTC)
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_NONE_REFUSED = REJECTS.empty().drop("text")
_NO_REASON = pl.lit(None, pl.String)
"""Of a field that takes whatever stands there."""


class _Field(NamedTuple):
    """One field to be read.

    source: the column of text that alone decides it, or None. quick: the value where that text is plainly written, and
    null elsewhere, if there is such a reading. parse: value and reason of any text. default: what an empty cell stands
    for. needed: whether a cell may not be empty.
    """

    name: str
    source: str | None
    quick: pl.Expr | None
    parse: Callable[[], Parsed]
    default: object = None
    needed: bool = False


def _moment(at: datetime) -> pl.Expr:
    """Return a moment as polars has it. Given as it is, polars makes a query of it."""
    return pl.lit((at - _EPOCH) // timedelta(microseconds=1), pl.Int64).cast(TIME)


class Reader:
    """The columns of all files of one format, read field by field.

    Fields are only noted down here, and all read at once at the end. `work` has the columns so far; `fields` are those
    still to be read, `derived` what is made of them; `refusals` say when a row cannot be used, and why: a condition and
    its words, or the name of a field, whose own reason it is.
    """

    def __init__(self, texts: Frame, reading: Reading, known: Known, now: datetime) -> None:
        self.reading, self.known, self.now = reading, known, now
        # In one piece: polars panics where it slices texts of which a filter left some pieces empty. A column of
        # `work` may be coded (see recon.intake.recurring) until a field is read from it.
        self.work = texts.rechunk()
        self.fields: list[_Field] = []
        self.derived: list[pl.Expr] = []
        self.refusals: list[tuple[pl.Expr, pl.Expr] | str] = []
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
        self, name: str, parse: Callable[[], Parsed], quick: pl.Expr | None, dtype: pl.DataType,
        default: object = None, *, field: str | None = None, alone: bool = True, needed: bool = False,
    ) -> None:  # fmt: skip
        """Keep a parsed field as the column `name`; an empty cell without a reason becomes `default`.

        quick: what it is where the cell is plainly written, null elsewhere. field: the field whose text it is read
        from, if its name is another. alone: whether nothing but that text decides. needed: whether an empty cell is
        refused.
        """
        source = field or name
        if source not in self.reading.columns and not needed:
            self.fields.append(_Field(name, None, None, lambda: Parsed(pl.lit(default, dtype), _NO_REASON)))
            return

        def read() -> Parsed:
            parsed = parse()
            odd = f"odd_{source}"
            reason = pl.coalesce(odd, parsed.reason) if odd in self.work.columns else parsed.reason
            return Parsed(parsed.value if default is None else parsed.value.fill_null(default), reason)

        sole = alone and source in self.reading.columns and f"odd_{source}" not in self.work.columns
        column = f"text_{source}" if sole else None
        self.fields.append(_Field(name, column, quick if sole else None, read, default, needed))
        self.refusals.append(name)

    def refuse(self, when: pl.Expr, reason: pl.Expr) -> None:
        """Reject the rows where `when` holds; `reason` is worked out for those alone."""
        self.refusals.append((when, reason))

    def machine(self, *, needed: bool = True) -> None:
        """Refuse rows that name no machine, and add the zone of each machine."""
        if needed:
            self.refuse(pl.col("machine").is_null(), pl.lit("no machine"))
        fixed = self.reading.source.timezone
        zones = self._machine_and_zone()
        if fixed:
            zones.append(pl.Series("zone_of_times", [fixed]).new_from_index(0, self.work.height))
        self.work = pl.DataFrame([column for column in self.work.get_columns() if column.name != "machine"] + zones)

    def _machine_and_zone(self) -> list[pl.Series]:
        """Return the machine of each row as text, and its zone: looked up once for each machine where these recur."""
        machine = self.work["machine"]
        each = coded(machine)
        if each is None:
            return [machine, self.known.zones_of(machine).alias("zone")]
        zones = self.known.zones_of(each.texts).alias("zone")
        return [each.put(each.texts), each.put(zones.cast(pl.Enum(zones.unique().sort())))]

    def time(self, *, needed: bool = True) -> None:
        """Turn what was written into the moment of each row, `time` (UTC), through the file's or the machine's zone."""
        self.work = to_moments(self.work, by="zone_of_times" if self.reading.source.timezone else "zone")
        self.clocked = True
        when, raw = pl.col("time"), pl.col("text_when")
        unread = pl.format('time "{}" does not read as a time of day on a date', raw.str.slice(0, 80))
        self.refuse(when.is_null() & raw.is_not_null(), unread)
        if needed:
            self.refuse(raw.is_null(), pl.lit("no time"))
        never_set = pl.format('time "{}" is from before 2000: a clock that was never set', raw)
        self.refuse(when < _moment(_OLDEST), never_set)
        self.refuse(when > _moment(self.now), pl.format(f'time "{{}}" {AFTER_RUN}', raw))

    def slot(self, *, needed: bool) -> None:
        """Read label and bus number. Where `needed`, a row must name a slot of the machine's layout."""
        self.words("label", "label")
        base = self.reading.source.bus_base
        self.add(
            "bus", lambda: values.bus_number(self.text("bus"), base, plain=self.plain("bus")),
            values.plain_bus(self.text("bus")) if base == 10 else None, pl.Int32(),
        )  # fmt: skip
        if needed:
            self.refuse(pl.col("label").is_null() & pl.col("bus").is_null(), pl.lit("no label and no bus number"))
            self.must_know_label = True

    def _know_labels(self) -> None:
        """Mend labels that a spreadsheet changed; refuse rows whose label the machine's layout does not have."""
        self.work = mended(self.work, self.known)
        if self.must_know_label and "why_stray" in self.work.columns:
            self.refuse(pl.col("why_stray").is_not_null(), pl.col("why_stray"))

    def units(self, name: str, default: int | None = 0, *, least: int = 0, most: int = values.LARGEST_UNITS) -> None:
        self.add(
            name, lambda: values.whole(self.text(name), name, least=least, most=most, plain=self.plain(name)),
            values.plain_whole(self.text(name), least=least, most=most), pl.Int64(), default,
        )  # fmt: skip

    def money(self, name: str, field: str | None = None, *, negative: bool = False) -> None:
        source = field or name
        text, plain, minor = self.text(source), self.plain(source), self.reading.source.amounts.minor_units

        def amount(digits: int) -> Parsed:
            return values.amount(text, source, digits, negative=negative, plain=plain, minor_units=minor)

        self._amount(name, amount, values.plain_amount(text, self.known.default_digits, minor_units=minor), source)

    def price(self) -> None:
        """The price of a vend; FFFFh in any form is none."""
        text, plain, minor = self.text("price"), self.plain("price"), self.reading.source.amounts.minor_units

        def price(digits: int) -> Parsed:
            return values.price(text, digits, plain=plain, minor_units=minor)

        self._amount("price", price, values.plain_price(text, self.known.default_digits, minor_units=minor), "price")

    def _amount(self, name: str, read: Callable[[int], Parsed], quick: pl.Expr, source: str) -> None:
        alone = self.known.one_currency
        self.add(
            name, lambda: self.known.money(read, pl.col("machine")), quick, pl.Int64(), field=source, alone=alone
        )

    def day(self, name: str, *, needed: bool = False) -> None:
        """Refuse what does not read as a day in the route's zone."""
        unread = pl.format(f'{name} "{{}}" does not read as a day', self.text(name))
        self.refuse(pl.col(name).is_null() & self.text(name).is_not_null(), unread)
        self.refuse(pl.col(name) < _OLDEST.date(), pl.format(f'{name} "{{}}" is from before 2000', self.text(name)))
        if needed:
            self.refuse(self.text(name).is_null(), pl.lit(f"no {name}"))

    def words(self, name: str, text: str) -> None:
        """A free text, as it stands."""
        self.fields.append(_Field(name, None, None, lambda: Parsed(self.text(text), _NO_REASON)))

    def own_words(self, name: str) -> None:
        """A free text that a person wrote, without the apostrophe that keeps a spreadsheet from running it."""
        text = self.text(name)
        bare = pl.when(text.str.contains(_TAMED)).then(text.str.slice(1)).otherwise(text)
        self.fields.append(_Field(name, None, None, lambda: Parsed(bare, _NO_REASON)))

    def done(self, kind: FileKind) -> Rows:
        """Part the rows into accepted and rejected, and collect what there is to remark."""
        spec = BY_KIND[kind]
        self._read_fields()
        if self.has_label or self.must_know_label:
            self._know_labels()
        refusals = [self._own(each) if isinstance(each, str) else each for each in self.refusals if self._holds(each)]
        bad = self.work.select(pl.any_horizontal(when.fill_null(False) for when, _ in refusals)).to_series()
        work = self.work.hstack([bad.alias("bad")])
        if not bad.any():
            accepted = pl.DataFrame([self.work[column.name].cast(column.dtype) for column in spec.columns])
            return Rows(accepted, _NONE_REFUSED.clear(), self._notices(work))
        good, told = self.work.filter(~bad), as_texts(self.work.filter(bad))
        why = [pl.when(when).then(reason) for when, reason in refusals]
        refused = told.select("file", "row", pl.concat_str(why, separator="; ", ignore_nulls=True).alias("reason"))
        accepted = good.select(pl.col(column.name).cast(column.dtype) for column in spec.columns)
        return Rows(accepted, refused, self._notices(work))

    def _holds(self, refusal: tuple[pl.Expr, pl.Expr] | str) -> bool:
        """Whether there is anything to refuse: a field that reads throughout has no column of reasons."""
        return not isinstance(refusal, str) or f"why_{refusal}" in self.work.columns

    @staticmethod
    def _own(name: str) -> tuple[pl.Expr, pl.Expr]:
        return pl.col(f"why_{name}").is_not_null(), pl.col(f"why_{name}")

    def _read_fields(self) -> None:
        """Read every field, each in the cheapest way that its texts allow.

        One whose few texts recur over many rows is read once for each text; one that is plainly written throughout, by
        its quick reading; all others cell by cell.
        """
        recurring = [column for field in self.fields for column in self._by_texts(field)]
        done = {column.name for column in recurring}
        quick = [field for field in self.fields if field.quick is not None and field.name not in done]
        readings = [field.quick.alias(field.name) for field in quick if field.quick is not None]
        looked = self.work.select(readings).get_columns() if readings else []
        for field, read in zip(quick, looked, strict=True):
            empty = 0 if field.needed or field.source is None else self.work[field.source].null_count()
            if read.null_count() == empty:
                filled = field.default is None or not read.null_count()
                recurring.append(read if filled else read.fill_null(field.default))
                done.add(field.name)
        direct: list[pl.Expr | pl.Series] = list(recurring)
        left = [(field.name, *field.parse()) for field in self.fields if field.name not in done]
        needed = {root for _, value, reason in left for part in (value, reason) for root in part.meta.root_names()}
        for name, value, reason in left:
            direct.append(value.alias(name))
            direct += [] if reason is _NO_REASON else [reason.alias(f"why_{name}")]
        texts = [self.work[name].cast(pl.String) for name in sorted(needed) if is_coded(self.work[name])]
        self.work = self.work.with_columns(texts) if texts else self.work
        # They hold on to the reader, which holds the columns of the whole file: it is to go when it is done.
        self.fields.clear()
        self.work = self.work.with_columns(direct)
        if self.derived:
            self.work = self.work.with_columns(self.derived)

    def _by_texts(self, field: _Field) -> list[pl.Series]:
        """Value and reason of a field, read once for each of its texts; none where these are too many."""
        each = None if field.source is None else coded(self.work[field.source])
        if each is None:
            return []
        value, reason = field.parse()
        read = each.texts.to_frame().select(value.alias(field.name), reason.alias(f"why_{field.name}"))
        told = [column for column in read.get_columns()[1:] if column.null_count() < each.texts.len()]
        return [each.put(column) for column in (read[field.name], *told)]

    def _notices(self, work: Frame) -> Frame:
        labels = (
            repaired_notices(work.filter(~pl.col("bad"))) if "label_as_written" in work.columns else NOTICES.empty()
        )
        return pl.concat([self._time_notices(work), labels])

    def _any_ahead(self, work: Frame) -> bool:
        """Tell whether a time lies after the run."""
        latest = work["time"].cast(pl.Int64).max()
        return isinstance(latest, int) and latest > (self.now - _EPOCH) // timedelta(microseconds=1)

    def _time_notices(self, work: Frame) -> Frame:
        if not self.clocked or (work["clock"].null_count() == work.height and not self._any_ahead(work)):
            return NOTICES.empty()
        ahead = pl.col("time") > _moment(self.now)
        kind = pl.when(ahead).then(pl.lit("future-time")).when(~pl.col("bad")).then(pl.col("clock"))
        said = as_texts(work.with_columns(kind.alias("kind")).filter(pl.col("kind").is_not_null()))
        empty = [pl.lit(None, NOTICES.schema[name]).alias(name) for name in ("other_file", "other_row")]
        return said.select(
            "kind", "file", "row", "machine", "time", *empty, pl.col("text_when").alias("detail")
        ).select(*NOTICES.names)


def _vends(reader: Reader) -> None:
    source = reader.reading.source
    reader.machine()
    reader.time()
    reader.slot(needed=False)
    reader.price()
    paid, done, words = reader.text("tender"), reader.text("outcome"), source.words

    def tender() -> Parsed:
        return values.required(
            values.word(paid, "tender", TENDERS, words.tender, TENDER, "words.tender"), paid, "tender"
        )

    def outcome() -> Parsed:
        return values.word(done, "outcome", OUTCOMES, words.outcome, OUTCOME, "words.outcome")

    reader.add("tender", tender, values.meaning(paid, TENDERS, words.tender, TENDER), TENDER, needed=True)
    reader.add("outcome", outcome, values.meaning(done, OUTCOMES, words.outcome, OUTCOME), OUTCOME, "vended")
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
    reader.refuse(late, pl.format(f'paid_on "{{}}" {AFTER_RUN}', reader.text("paid_on")))
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
