"""What one run carries forward to the next, and how much of that still holds.

The vends of a machine before a moment come to what they came to before as long as nothing that they hang on has
changed: its layout and the settings; the files that they are in, and that no other file tells of that time; the counts
and collections that part that time into windows; corrections; and that no later vend shares a reference with one of
them. Whatever cannot be vouched for is reckoned anew from all vends of that machine.
"""

import hashlib
from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from typing import Final, NamedTuple

import polars as pl

from recon.at_once import vends_at_once
from recon.balance.carried import NOTHING, Carried
from recon.balance.cash import collection_ends
from recon.by_machines import Sheets
from recon.intake.kept import KeptPart
from recon.intake.take_in import Intake
from recon.intake.vend_rows import VendRows
from recon.ledger.canonical import canonical
from recon.ledger.carry import PARTS, Kept
from recon.match.states import Layouts
from recon.model.border import guard, ordered
from recon.model.carried_frames import CARRIED, COLLECTED, REPEATED, SHEETS, UNTIL
from recon.model.frame_spec import FrameSpec
from recon.model.frames import Frame
from recon.model.settings import Settings
from recon.model.versions import version
from recon.model.words import EVIDENCE_SHOWN

FORMAT: Final = 4
"""To be raised whenever what is carried comes to mean something else."""


class Books(NamedTuple):
    """What vends are held against. near: how close to a count or collection a vend may fall on either side of it. keys:
    as from machine_keys. general: as from general_key. now: the moment of the run."""

    sheets: Sheets
    laid: Layouts
    near: timedelta
    keys: Frame
    general: str
    now: datetime


def general_key(settings: Settings, corrections: Frame, paths: Sequence[str]) -> str:
    """Hash of what carries no machine's name: versions, settings, figures that decisions put right."""
    versions = [version(name) for name in ("recon", "polars", "tzdata")]
    rows = corrections.select("file", "row", "field", "is").rows()
    made = [[paths[file], row, field, figure] for file, row, field, figure in rows]
    return hashlib.sha256(canonical([FORMAT, versions, settings.model_dump_json(), made])).hexdigest()


def machine_keys(laid: Layouts) -> Frame:
    """machine, key: a hash of all that its layout says, over time, and of the unit costs of its products."""
    own = laid.states.drop("slot", "state").with_columns(pl.col("starts", "ends").dt.epoch("us"))
    lines = own.select("machine", pl.struct(pl.all()).struct.json_encode().alias("line"))
    told = lines.group_by("machine", maintain_order=True).agg(pl.col("line").str.join("\n"))
    every = laid.machines.join(told, on="machine", how="left", maintain_order="left")
    rows = every.select("machine", "zone", "currency", "digits", "line").rows()
    keys = [(row[0], hashlib.sha256(canonical(list(row))).hexdigest()) for row in rows]
    return pl.DataFrame(keys, schema={"machine": pl.String, "key": pl.String}, orient="row")


def parts_of(kept: Sequence[tuple[KeptPart, int]]) -> Frame:
    """The tables of files that were put back, with the numbers of these files now: file, path, batch, number."""
    return pl.DataFrame([(at, part.path, part.batch, part.number) for part, at in kept], schema=PARTS, orient="row")


def brought_forward(kept: Kept | None, intake: Intake, books: Books) -> tuple[VendRows, Carried]:
    """The vends that are still to be reckoned, and what was carried forward of the others.

    `until` of what is given says for each machine up to when its vends are to be carried from now on.
    """
    every = intake.rows
    assert every is not None
    carried = NOTHING
    if kept is not None and kept.made_at <= books.now:
        carried = _renumbered(kept, intake, books)
        known = _known(kept, parts_of(intake.kept))["file_now"].drop_nulls()
        every.know(carried.seen, known.to_list())
        carried = _only(carried, _untouched(carried, every.seen, books, known), books)
    rows = every
    while carried.until.height:
        rows = every.later(carried.until)
        clashing = rows.clashing(carried.totals, hold=sum(rows.machines.values()) <= vends_at_once())
        if not clashing:
            break
        fit = carried.until.filter(~pl.col("machine").is_in(clashing))
        carried, rows = _only(carried, fit.select("machine"), books), every
    return rows, carried._replace(until=_until(carried.until, every.seen, books))


def _renumbered(kept: Kept, intake: Intake, books: Books) -> Carried:
    """What was kept, with the numbers that slots and files have now, of the machines whose layout is the same and whose
    files are all there."""
    frames = kept.frames
    slots = kept.slots.join(books.laid.slots, on=["machine", "label"], how="left", suffix="_now", maintain_order="left")
    files = _known(kept, parts_of(intake.kept))
    slot, file = _places(slots, "slot"), _places(files, "file")
    same = frames.until.join(books.keys, on=["machine", "key"], how="semi")["machine"]
    moved = Carried(*(_renumbered_frame(frame, slot, file) for frame in frames))
    lost = {str(machine) for old, new in zip(frames, moved, strict=True) for machine in _lost(old, new, kept.slots)}
    unfit = frames.until.filter(~pl.col("machine").is_in(same.implode()) | pl.col("machine").is_in(sorted(lost)))
    if unfit.height:
        moved = moved.without(unfit["machine"], books.laid.slots.join(unfit, on="machine", how="semi")["slot"])
    carried = moved._replace(seen=moved.seen.drop_nulls())
    # Slots stay in their order from one layout to the next, unless lines of it were moved.
    in_order = slots["slot_now"].drop_nulls().is_sorted() and files.sort("file")["file_now"].drop_nulls().is_sorted()
    return carried if in_order else Carried(*(guard(frame, spec) for frame, spec in zip(carried, CARRIED, strict=True)))


def _known(kept: Kept, parts: Frame) -> Frame:
    """The files of what was kept, with the number that each has now (`file_now`), null where it is gone."""
    return kept.parts.join(parts, on=["path", "batch", "number"], how="left", suffix="_now")


_FILES = ("file", "other_file", "final_file")
"""Columns with numbers of files."""


def _lost(old: Frame, new: Frame, slots: Frame) -> list[str | None]:
    """Machines with a row whose slot or file is not there any more. old, new: a frame before and after its numbers were
    changed. slots: those of the old numbers."""
    gone = [
        new[name].is_null() & old[name].is_not_null()
        for name in ("slot", *_FILES) if name in old.columns and new[name].null_count()
    ]  # fmt: skip
    if "evidence" in old.columns:
        gone.append(new["evidence"].list.eval(pl.element().struct.field("file").is_null()).list.any())
    if not any(each.any() for each in gone):
        return []
    rows = old.filter(pl.any_horizontal(*gone))
    named = rows if "machine" in old.columns else rows.select("slot").join(slots, on="slot", how="inner")
    return named["machine"].unique().to_list()


def _places(numbers: Frame, name: str) -> pl.Series:
    """By their old numbers the new ones, null for those that are gone."""
    most = numbers[name].max()
    size = most + 1 if isinstance(most, int) else 0
    empty = pl.Series(name, [None], dtype=pl.Int32).new_from_index(0, size)
    return empty.scatter(numbers[name], numbers[f"{name}_now"]) if numbers.height else empty


def _mapped(name: str, numbers: pl.Series) -> pl.Expr:
    return pl.lit(numbers).gather(pl.col(name)) if numbers.len() else pl.lit(None, pl.Int32)


def _renumbered_frame(frame: Frame, slot: pl.Series, file: pl.Series) -> Frame:
    columns = _renumber(frame, slot, file) if frame.height else []
    return frame.with_columns(columns) if columns else frame


def _renumber(frame: Frame, slot: pl.Series, file: pl.Series) -> list[pl.Expr]:
    of = dict.fromkeys(_FILES, file)
    if not slot.equals(pl.int_range(slot.len(), dtype=pl.Int32, eager=True).alias(slot.name), null_equal=True):
        of["slot"] = slot
    plain = [_mapped(name, of[name]).alias(name) for name in frame.columns if name in of]
    if "evidence" in frame.columns:
        place = pl.element().struct.with_fields(
            pl.element().struct.field("file").replace_strict(_as_dict(file), default=None, return_dtype=pl.Int32)
        )
        plain.append(pl.col("evidence").list.eval(place))
    return plain


def _as_dict(numbers: pl.Series) -> Mapping[int, int | None]:
    return dict(enumerate(numbers.to_list()))


def _only(carried: Carried, machines: Frame, books: Books) -> Carried:
    """What is carried of some machines alone."""
    gone = carried.until.join(machines, on="machine", how="anti")["machine"]
    if gone.len() == 0:
        return carried
    slots = books.laid.slots.filter(pl.col("machine").is_in(gone.implode()))["slot"]
    return carried.without(gone, slots)


def _untouched(carried: Carried, seen: Frame, books: Books, known: pl.Series) -> Frame:
    """The machines into whose past nothing new falls. seen: of all files of vends, with the new ones. known: numbers of
    the files that were there when it was carried forward."""
    until = carried.until
    new = seen.join(carried.seen, on=["machine", "file"], how="anti").join(until, on="machine", how="inner")
    changed = [
        new.filter(pl.col("first") < pl.col("until")).select("machine"),
        _in_new_sheets(books, until, known),
        _differing(_collected(books, until), carried.collected).select("machine"),
        _lacking_cash(until, books),
    ]
    return until.select("machine").join(pl.concat(changed), on="machine", how="anti")


def _differing(now: Frame, then: Frame) -> Frame:
    if now.equals(then):
        return now.clear()
    both = list(now.columns)
    return pl.concat([now.join(then, on=both, how="anti"), then.join(now, on=both, how="anti")])


def _in_new_sheets(books: Books, until: Frame, known: pl.Series) -> Frame:
    """Machines of which a sheet that was not there before tells something of the time up to `until`, or of when vends
    before that may still count. A sheet that was there tells the same."""
    sheets = books.sheets
    files = pl.concat([frame["file"].unique() for frame in (sheets.counts, sheets.loads)])
    others = files.filter(~files.is_in(known.implode())).unique()
    new = [frame.filter(pl.col("file").is_in(others.implode())) for frame in (sheets.counts, sheets.loads)]
    told = pl.concat([frame.select("machine", "time") for frame in new]).join(until, on="machine", how="inner")
    return told.filter(pl.col("time") < pl.col("until") + books.near).select("machine")


def _collected(books: Books, until: Frame) -> Frame:
    """The collections that decide to which window the vends of a machine before `until` belong: frame `collected`."""
    ends = until.select("machine", end=pl.col("until") + books.near)
    cash = books.sheets.cash.select(COLLECTED.names)
    collected = cash.join(ends, on="machine", how="inner").filter(pl.col("time") < pl.col("end"))
    return _once(collected.select(COLLECTED.names), COLLECTED)


def _once(marks: Frame, spec: FrameSpec) -> Frame:
    """Marks in order, each told once."""
    told = ordered(marks, spec.names)
    again = pl.all_horizontal(pl.col(name) == pl.col(name).shift() for name in spec.names)
    return guard(told.filter(~again.fill_null(False)), spec)


def _lacking_cash(until: Frame, books: Books) -> Frame:
    """Machines of which loose cash may be asked for that was not kept: their collections reach less far than then."""
    ends = until.join(collection_ends(books.sheets.cash), on="machine", how="left")
    end = pl.col("until")
    first_then = pl.min_horizontal(pl.col("first_collection").fill_null(end), end)
    first_now = pl.min_horizontal(pl.col("first").fill_null(end), end)
    last_then = pl.min_horizontal("last_collection", end)
    fits = (first_now <= first_then) & (pl.min_horizontal("last", end) >= last_then).fill_null(False)
    return ends.filter(~((first_then == end) | fits)).select("machine")


def _until(before: Frame, seen: Frame, books: Books) -> Frame:
    """Up to when vends are to be carried: for each machine with a layout to where its newest file begins.

    The next export is likely to overlap that one no more than that does the one before; and never less far than before.
    """
    newest = seen.sort("last", "file").unique("machine", keep="last", maintain_order=True)
    ends = collection_ends(books.sheets.cash).rename({"first": "first_collection", "last": "last_collection"})
    told = (
        books.keys
        .join(newest.select("machine", "first"), on="machine", how="inner")
        .join(before.select("machine", "until"), on="machine", how="left")
        .join(ends, on="machine", how="left")
        .with_columns(pl.max_horizontal("first", "until").alias("until"))
    )
    return guard(told.select(UNTIL.names), UNTIL)


def without(
    machines: Sequence[str], intake: Intake, carried: Carried, rows: VendRows, books: Books
) -> tuple[VendRows, Carried]:
    """As from brought_forward, with nothing carried of some machines."""
    every = intake.rows
    assert every is not None
    until = rows.until.filter(~pl.col("machine").is_in(machines))
    slots = books.laid.slots.filter(pl.col("machine").is_in(machines))["slot"]
    rest = carried.without(pl.Series(machines, dtype=pl.String), slots)
    return every.later(until) if until.height else every, rest._replace(until=carried.until)


def _doubled(repeats: Frame, before: Frame) -> Frame:
    """Of rows that others stand for, how many there are, and the first of them. repeats: those that came to be past."""
    keys = ["machine", "file", "other_file"]
    new = repeats.group_by(keys).agg(
        pl.len().cast(pl.Int64).alias("count"), pl.col("row").sort().head(EVIDENCE_SHOWN).alias("rows")
    )  # fmt: skip
    both = pl.concat([before, new.select(before.columns)])
    if not both.select(keys).hash_rows().is_duplicated().any():
        return both
    first = pl.col("rows").explode(empty_as_null=False).sort().head(EVIDENCE_SHOWN)
    return both.group_by(keys).agg(pl.col("count").sum(), first).select(before.columns)


def _in_other_files(frame: Frame, files: pl.Series) -> pl.Series:
    """Machines of rows that name a file which is none of these."""
    named = [name for name in ("file", "other_file") if name in frame]
    strange = set().union(*(frame[name].unique().drop_nulls() for name in named)) - set(files)
    if not strange:
        return frame["machine"].clear()
    return frame.filter(pl.any_horizontal(pl.col(name).is_in(sorted(strange)) for name in named))["machine"]


def _machines_of_files(rows: Frame) -> Frame:
    """The machines in each file, some of them more than once: of rows that stand file by file, machine by machine, one
    of each stretch."""
    if rows.height == 0:
        return SHEETS.empty()
    first = (rows["machine"] != rows["machine"].shift()) | (rows["file"] != rows["file"].shift())
    return rows.filter(first.fill_null(True)).select(SHEETS.names)


class Forward(NamedTuple):
    """What a run carries forward, before it is known which of its files are kept.

    reckoned: what came of past vends. repeats: all remarks on vends that repeat others. seen: of all rows.
    """

    reckoned: Carried
    repeats: Frame
    seen: Frame
    books: Books

    def kept(self, parts: Frame) -> Kept:
        """What is to be kept of it, before its results are written. parts: as from parts_of, of all files that are. A
        machine with rows in another file is left out, for these are read anew each time. Mended rows are such: `seen`
        has them in the file for which they stand, the frames that came of them in their own.
        """
        laid, sheets = self.books.laid, self._sheets()
        every = (self.seen, sheets, self.reckoned.hours, self.repeats)
        unkept = pl.concat([_in_other_files(frame, parts["file"]) for frame in every]).unique()
        slots = laid.slots.filter(pl.col("machine").is_in(unkept.implode()))
        carried = self.reckoned.without(unkept, slots["slot"])
        until = carried.until.join(carried.totals, on="machine", how="semi", maintain_order="left")
        ends = self.repeats.join(until.select("machine", "until"), on="machine", how="inner")
        repeats = ends.filter(pl.col("time") < pl.col("until"))
        seen = self.seen.join(parts, on="file", how="semi", maintain_order="left")
        whole = carried._replace(
            until=until, seen=seen, collected=_collected(self.books, until),
            repeated=repeats.filter(pl.col("kind") != "duplicate-row").select(REPEATED.names),
            doubled=_doubled(repeats.filter(pl.col("kind") == "duplicate-row"), carried.doubled),
            sheets=sheets.join(until, on="machine", how="semi"),
        )  # fmt: skip
        # In the order and shape of their specs: the same runs then carry the same bytes.
        frames = Carried(*(guard(frame, spec) for frame, spec in zip(whole, CARRIED, strict=True)))
        return Kept(frames, laid.slots, parts.sort("file"), self.books.general, self.books.now)

    def _sheets(self) -> Frame:
        """Which machines are in which files of counts and loads."""
        both = (self.books.sheets.counts, self.books.sheets.loads)
        return pl.concat([_machines_of_files(frame) for frame in both]).unique()
