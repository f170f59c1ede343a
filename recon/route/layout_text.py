"""A layout as the TOML text of a new file. Reading it back gives the same layout."""

import json
from collections.abc import Iterator, Sequence
from datetime import datetime
from decimal import Decimal

from recon.model.layout import Change, Layout, Numbering, Slot

_SLOT_KEYS = ("label", "bus", "tray", "pitch", "product", "price", "card_price", "capacity", "par")


def quoted(text: str) -> str:
    """A TOML basic string. JSON's escapes are TOML's too, but for the one control character that JSON leaves bare."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007F")


def rule_toml(rule: Numbering) -> str:
    """A numbering rule as TOML: a string, or an inline table."""
    if isinstance(rule, str):
        return quoted(rule)
    return f"{{ {', '.join(f'{key} = {value}' for key, value in rule.model_dump(by_alias=True).items())} }}"


def layout_text(layout: Layout, remarks: Sequence[str] = ()) -> str:
    """The text of a layout file; what has its default is left out. remarks: comment lines to stand on top."""
    lines = [f"# {remark}" for remark in remarks]
    lines += _top(layout)
    for slot in layout.slots:
        lines += ["", "[[slot]]", *_entry(slot)]
    for change in layout.changes:
        lines += ["", *change_lines(change)]
    return "\n".join(lines) + "\n"


def change_lines(change: Change) -> list[str]:
    """A [[change]] with its header."""
    lines = ["[[change]]", f"from = {moment(change.start)}", *_entry(change)]
    return [*lines, "retire = true"] if change.retire else lines


def moment(local: datetime) -> str:
    """A local date and time as TOML."""
    return local.isoformat()


def _top(layout: Layout) -> Iterator[str]:
    yield f"machine = {quoted(layout.machine)}"
    for key in ("site", "timezone", "currency"):
        if (value := getattr(layout, key)) is not None:
            yield f"{key} = {quoted(value)}"
    if layout.numbering is not None:
        yield f"numbering = {rule_toml(layout.numbering)}"
    if layout.price_step is not None:
        yield f"price_step = {quoted(_plain(layout.price_step))}"
    yield f"effective = {moment(layout.effective)}"


def _entry(entry: Slot | Change) -> Iterator[str]:
    for key in _SLOT_KEYS:
        value = getattr(entry, key)
        if value is None or (key == "pitch" and value == 1 and isinstance(entry, Slot)):
            continue
        yield f"{key} = {quoted(_plain(value)) if isinstance(value, Decimal | str) else value}"


def _plain(value: Decimal | str) -> str:
    return f"{value:f}" if isinstance(value, Decimal) else value
