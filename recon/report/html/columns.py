"""Format whole columns as text: each distinct value once, by the functions that format a single one."""

from collections.abc import Callable, Iterable
from typing import Any

import polars as pl

from recon.model.frames import Frame
from recon.report.html.spelling import Spelling


class Texts:
    """What each value of some columns is as text."""

    def __init__(self, columns: Iterable[pl.Series], text: Callable[[Any], str]) -> None:
        """columns: of one type. text: of one value, None among them."""
        distinct = pl.concat(list(columns)).unique()
        self._values = distinct
        self._texts = pl.Series([text(value) for value in distinct.to_list()], dtype=pl.String)

    def of(self, column: str) -> pl.Expr:
        """Return the text of each value of one of these columns."""
        return pl.col(column).replace_strict(self._values, self._texts, return_dtype=pl.String)


def money_texts(spell: Spelling, frame: Frame, columns: Iterable[str], *, signed: bool = False) -> dict[str, pl.Expr]:
    """Return amounts in minor units as text, each in the digits of the machine in its row, by column. signed: with a
    plus, too."""
    by_digits: dict[int, list[str]] = {}
    for machine in frame["machine"].unique().to_list():
        by_digits.setdefault(spell.digits(machine), []).append(machine)
    write = spell.signed if signed else spell.money
    every = [Texts([frame[name] for name in columns], _of_machine(write, own[0])) for own in by_digits.values()]
    found = {}
    for name in columns:
        text = every[0].of(name) if every else pl.col(name).cast(pl.String)
        for texts, own in zip(every[1:], list(by_digits.values())[1:], strict=True):
            text = pl.when(pl.col("machine").is_in(own)).then(texts.of(name)).otherwise(text)
        found[name] = text
    return found


def _of_machine(write: Callable[[Any, str], str], machine: str) -> Callable[[Any], str]:
    return lambda size: write(size, machine)


def one_text(rows: Frame, *keys: str) -> Frame:
    """Return the texts (`text`) of the rows with the same keys as one, in the order in which they come."""
    return rows.group_by(keys, maintain_order=True).agg(pl.col("text").str.join(""))


def by_machine(rows: Frame) -> dict[str, str]:
    """Return the texts (`text`) of each machine's rows as one."""
    return dict(one_text(rows.select("machine", "text"), "machine").iter_rows())
