"""Times written as bare numbers: seconds or milliseconds since 1970, and the day numbers of spreadsheets."""

import polars as pl

from recon.model.frames import TIME

_SECONDS = (946_684_800, 4_102_444_800)
"""2000-01-01 to 2100-01-01 UTC: a number outside is no time of a vend."""
_DAYS = (36_526, 73_050)
"""The same in days since 1899-12-30, as spreadsheets count."""

_EPOCH_SECONDS = r"^([0-9]{9,10})(?:[.,]([0-9]{1,9}))?$"
_EPOCH_MILLISECONDS = r"^([0-9]{12,13})()$"
_SERIAL = r"^([0-9]{5})(?:[.,]([0-9]{1,15}))?$"
_SERIAL_APART = r"^([0-9]{5})(?:[.,]0+)? 0?[.,]([0-9]{1,15})$"
"""A day number in one column and the part of the day in another."""


def read_numbers(texts: pl.Series, *, with_clock: bool) -> tuple[pl.Series, pl.Series] | None:
    """(local, moment) where every cell that has a digit is such a number, else None.

    Day numbers are local times, to the second; with a clock at least one of them must have a part of a day. Seconds
    and milliseconds since 1970 are moments.
    """
    told = texts.filter(texts.str.contains("[0-9]").fill_null(False))
    if told.len() == 0:
        return None
    for pattern, per_second in ((_EPOCH_SECONDS, 1), (_EPOCH_MILLISECONDS, 1000)):
        if told.str.contains(pattern).all():
            return _since_1970(texts, pattern, per_second)
    for pattern in (_SERIAL, _SERIAL_APART):
        if told.str.contains(pattern).all():
            return _serial(texts, pattern, with_clock=with_clock)
    return None


def _since_1970(texts: pl.Series, pattern: str, per_second: int) -> tuple[pl.Series, pl.Series] | None:
    count = texts.str.extract(pattern, 1).cast(pl.Int64)
    if not (count // per_second).is_between(*_SECONDS).all():
        return None
    part = texts.str.extract(pattern, 2).fill_null("").str.pad_end(6, "0").str.slice(0, 6).cast(pl.Int64)
    moment = (count * (1_000_000 // per_second) + part).cast(pl.Datetime("us")).dt.replace_time_zone("UTC").cast(TIME)
    return pl.Series([None], dtype=pl.Datetime("us")).new_from_index(0, texts.len()), moment


def _serial(texts: pl.Series, pattern: str, *, with_clock: bool) -> tuple[pl.Series, pl.Series] | None:
    days = texts.str.extract(pattern, 1).cast(pl.Int64)
    part = texts.str.extract(pattern, 2)
    if not days.is_between(*_DAYS).all() or (with_clock and part.null_count() == texts.len()):
        return None
    nano = part.fill_null("").str.pad_end(9, "0").str.slice(0, 9).cast(pl.Int64)
    seconds = (nano * 86_400 + 500_000_000) // 1_000_000_000
    since_1970 = (days - 25_569) * 86_400 + seconds
    local = (since_1970 * 1_000_000).cast(pl.Datetime("us"))
    return local, pl.Series([None], dtype=TIME).new_from_index(0, texts.len())
