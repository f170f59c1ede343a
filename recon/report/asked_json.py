"""`recon-plan/1` and `recon-money/1` as JSON: one record a line, so that two runs compare line by line."""

import json
from collections.abc import Mapping

import polars as pl
from pydantic import BaseModel

from recon.balance.earnings import Earnings, by_product, by_slot
from recon.balance.plan import Plan
from recon.model.earnings_results import MachineMoney, ProductMoney, Reader, SlotMoney
from recon.model.frames import TIME, Frame
from recon.model.plan_results import PlanSlot, PlanVisit, VanLine
from recon.model.reconciliation import Reconciliation
from recon.model.spelling import ISO, local_text, money_by_machine
from recon.model.zones import zone
from recon.report.results_json import records
from recon.report.tamed import tamed_column

ROUNDED = 6
"""Decimal digits of rates and chances."""
_MONEY = {
    "sales", "open_sales", "cash_sales", "card_sales", "prepaid_sales", "fees", "cost_of_goods", "shrink_retail",
    "shrink_cost", "margin", "sales_per_month", "margin_per_month", "goods", "markup", "monthly", "gain", "reader_cost",
}  # fmt: skip


def plan_tables(done: Reconciliation, made: Plan) -> dict[str, Frame]:
    """`machines`, `slots` and `van` with local times as text, in the columns promised."""
    return {
        "machines": _spelled(done, made.visits, list(PlanVisit.model_fields)),
        "slots": _spelled(done, made.slots, list(PlanSlot.model_fields)),
        "van": made.van.select(list(VanLine.model_fields)),
    }


def money_tables(done: Reconciliation, earned: Earnings, readers: Frame) -> dict[str, Frame]:
    """`machines`, `slots`, `products` and `readers` with money and local times as text, in the columns promised."""
    currencies = done.frames["machines"].select("machine", "currency")
    machines = earned.machines.join(currencies, on="machine", how="left").with_columns(
        pl.col("currency").fill_null(done.currency)
    )
    frames: dict[str, tuple[Frame, type[BaseModel]]] = {
        "machines": (machines, MachineMoney), "slots": (by_slot(earned.parts), SlotMoney),
        "products": (by_product(earned.parts), ProductMoney), "readers": (readers, Reader),
    }  # fmt: skip
    return {name: _spelled(done, frame, _in_order(model)) for name, (frame, model) in frames.items()}


def _in_order(model: type[BaseModel]) -> list[str]:
    """The keys of a record, what it is about before its figures."""
    return sorted(model.model_fields, key=lambda name: name not in ("machine", "currency", "label", "product"))


def _spelled(done: Reconciliation, frame: Frame, columns: list[str]) -> Frame:
    money = [name for name in frame.columns if name in _MONEY]
    times = [name for name, dtype in frame.schema.items() if dtype == TIME]
    floats = [name for name, dtype in frame.schema.items() if dtype == pl.Float64]
    enums = [name for name, dtype in frame.schema.items() if isinstance(dtype, pl.Enum)]
    shown = frame.with_columns(
        *(money_by_machine(pl.col(name), done.digits_of, done.digits).alias(name) for name in money),
        *(pl.col(name).round(ROUNDED) for name in floats),
        *(pl.col(name).cast(pl.String) for name in enums),
        *(pl.col(name).dt.truncate("1s") for name in times),
    )
    return local_text(shown, times, done.zones, done.zone, ISO).select(columns)


def plan_json(done: Reconciliation, made: Plan) -> str:
    """The load list as JSON text, ending in a line break."""
    wishes = made.wishes
    head = {
        "format": "recon-plan/1", "route": done.name, "at": done.now.astimezone(zone(done.zone)).isoformat(),
        "fill": wishes.fill, "chance": wishes.chance, "long_days": wishes.long_days,
        "widen_share": wishes.widen_share, "slow": wishes.slow, "least_windows": wishes.least_windows,
    }  # fmt: skip
    return _json(head, plan_tables(done, made))


def money_json(done: Reconciliation, earned: Earnings, readers: Frame) -> str:
    """The money per machine, slot and product as JSON text, ending in a line break."""
    here, cards = zone(done.zone), done.settings.cards
    head = {
        "format": "recon-money/1", "route": done.name, "currency": done.currency,
        "since": None if done.since is None else done.since.astimezone(here).isoformat(),
        "until": done.until.astimezone(here).isoformat(),
        "card_percent": str(cards.percent), "card_per_vend": str(cards.per_vend),
    }  # fmt: skip
    return _json(head, money_tables(done, earned, readers))


def plan_csv(done: Reconciliation, made: Plan) -> str:
    """The slots of the load list as CSV with a header."""
    return _csv(plan_tables(done, made)["slots"])


def money_csv(done: Reconciliation, earned: Earnings, readers: Frame, by: str) -> str:
    """The machines, slots or products (`by`) as CSV with a header."""
    return _csv(money_tables(done, earned, readers)[f"{by}s"])


_NAMES = ("machine", "site", "label", "tray", "product", "name", "sells_at")


def _csv(frame: Frame) -> str:
    """Names that a spreadsheet could run are preceded by an apostrophe; figures stay figures, negative ones too."""
    tamed = [tamed_column(name) for name in _NAMES if name in frame.columns]
    return frame.with_columns(tamed).write_csv(quote_style="necessary")


def _json(head: Mapping[str, object], tables: dict[str, Frame]) -> str:
    lines = [f"  {json.dumps(key)}: {json.dumps(value, ensure_ascii=False)}" for key, value in head.items()]
    lines += [f"  {json.dumps(name)}: {records(frame)}" for name, frame in tables.items()]
    return "{\n" + ",\n".join(lines) + "\n}\n"
