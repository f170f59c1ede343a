"""What `recon draft layout` does: a layout from labels, from tray shapes, or like another machine's."""

import sys
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from pydantic import TypeAdapter, ValidationError

from recon.match.numbering import numbers
from recon.match.timeline import SlotState, slot_states
from recon.model.errors import ReconError
from recon.model.layout import Layout, Numbering, Slot
from recon.model.words import LARGEST_BUS
from recon.model.zones import zone
from recon.moment import moment_of_run
from recon.route.amounts import amount_fault
from recon.route.folder import SETTINGS, Parts, read_parts
from recon.route.label_lines import Line, slots_of
from recon.route.layout_text import layout_text
from recon.route.nearest import nearest

_RULES = "same, zero-based, hex-label, ascii-pair, offset=-100, grid=10,first=1, column-grid=8,first=1 or sequence=1"


@dataclass(frozen=True, slots=True)
class Wanted:
    """The options of the command. lines: arguments; source: a file of lines, `-` for stdin."""

    machine: str
    lines: Sequence[str] = ()
    source: str | None = None
    like: str | None = None
    with_products: bool = False
    site: str | None = None
    numbering: str | None = None
    effective: str | None = None
    folder: Path = Path()
    output: str | None = None


@dataclass(frozen=True, slots=True)
class Drafted:
    """The layout as text and where it is to stand (None: printed). hints: what the person ought to know of it."""

    text: str
    path: Path | None
    hints: tuple[str, ...]


def draft_layout(wanted: Wanted) -> Drafted:
    """Make the layout; nothing is written. Raises ReconError for what cannot be used, with what was expected."""
    parts = read_parts(wanted.folder) if (wanted.folder / SETTINGS).exists() else None
    path = _path(wanted, parts)
    if wanted.like is not None:
        if wanted.lines or wanted.source:
            raise ReconError("--like copies a layout: give either that or labels, not both")
        copied = _copied(wanted, parts)
    else:
        if wanted.with_products:
            raise ReconError("--with-products says what --like copies: name a machine with --like")
        slots = slots_of(_lines(wanted))
        if not slots:
            raise ReconError(
                'no label given: write them behind the command, "1: 110-118 step 2", or in a file, --from FILE'
            )
        copied = {"slot": slots}
    hints: list[str] = []
    effective = _moment(wanted, parts, hints)
    rule = {} if wanted.numbering is None else {"numbering": rule_of(wanted.numbering)}
    keys = {"machine": wanted.machine, "site": wanted.site, "effective": effective, **copied, **rule}
    try:
        layout = Layout.model_validate(keys)
    except ValidationError as error:
        raise ReconError(
            f'--machine "{wanted.machine}": expected letters, digits, point, dash and underline, 64 at most, '
            "with a letter or digit in front"
        ) from error
    _exact(layout, parts)
    hints += _about_numbers(layout)
    return Drafted(layout_text(layout, _remarks(wanted, layout)), path, tuple(hints))


def _exact(layout: Layout, parts: Parts | None) -> None:
    """Raises ReconError for a price with more digits than the currency has."""
    currency = layout.currency or (
        parts.settings.currency if parts is not None and parts.settings is not None else None
    )
    for slot in layout.slots:
        expected = None if slot.price is None else amount_fault(slot.price, currency)
        if expected is not None:
            raise ReconError(f"label {slot.label}: price is {slot.price}: expected {expected}")


def rule_of(text: str) -> Numbering:
    """A numbering rule as an option gives it: `hex-label`, `offset=-100`, `grid=10,first=1`."""
    written = text.strip()
    try:
        if "=" in written:
            inner = written.removeprefix("{").removesuffix("}")
            value: object = tomllib.loads(f"rule = {{ {inner} }}")["rule"]
        else:
            value = written
        adapter: TypeAdapter[Numbering] = TypeAdapter(Numbering)
        return adapter.validate_python(value)
    except (tomllib.TOMLDecodeError, ValidationError) as error:
        raise ReconError(f'--numbering "{text}" is no rule: expected {_RULES}') from error


def _path(wanted: Wanted, parts: Parts | None) -> Path | None:
    """Where the layout is to stand; None for stdout. Raises ReconError where something stands there."""
    if wanted.output == "-":
        return None
    if wanted.output is None and parts is None:
        where = wanted.folder.as_posix()
        raise ReconError(
            f"{where} is no route folder (no {SETTINGS} in it): name one with --route, a file with --output, "
            "or print the layout with --output -"
        )
    path = wanted.folder / "layouts" / f"{wanted.machine}.toml" if wanted.output is None else Path(wanted.output)
    if path.suffix.lower() != ".toml":
        raise ReconError(f"--output {path.as_posix()}: a layout is drafted as TOML, its name ends in .toml")
    if path.exists() or path.is_symlink():
        raise ReconError(f"{path.as_posix()} is there already, and was left as it is: name another file with --output")
    for entry in () if parts is None else parts.layouts:
        if entry.layout.machine == wanted.machine and wanted.output is None:
            raise ReconError(
                f"{entry.file} is the layout of {wanted.machine} already: change it, or name another machine"
            )
    return path


def _lines(wanted: Wanted) -> list[Line]:
    lines = [Line(f'"{text}"', text) for text in wanted.lines]
    if wanted.source is None:
        return lines
    if wanted.source == "-":
        text, name = sys.stdin.read(), "stdin"
    else:
        name = Path(wanted.source).as_posix()
        try:
            text = Path(wanted.source).read_text(encoding="utf-8-sig")
        except (OSError, UnicodeDecodeError) as error:
            why = error.strerror if isinstance(error, OSError) else "it is no text in UTF-8"
            raise ReconError(
                f"--from {name} cannot be read ({why}): expected a text file with a line for each label"
            ) from error
    return lines + [Line(f"{name}:{at}", line) for at, line in enumerate(text.splitlines(), start=1)]


def _copied(wanted: Wanted, parts: Parts | None) -> dict[str, object]:
    """What a layout of the same make has in common: as the other machine stands now, its changes made."""
    if parts is None:
        raise ReconError(f"--like needs the route folder of {wanted.like}: name it with --route")
    entry = next((entry for entry in parts.layouts if entry.layout.machine == wanted.like), None)
    if entry is None:
        near = nearest(wanted.like or "", [each.layout.machine for each in parts.layouts])
        meant = f' Did you mean "{near}"?' if near else ""
        raise ReconError(f"--like {wanted.like}: no usable layout of that machine in {parts.root.as_posix()}.{meant}")
    layout = entry.layout
    last = {state.position: state for state in slot_states(layout)}
    given = numbers(layout)
    ruled = wanted.numbering is None
    slots = [_slot(last[at], given[at], ruled, wanted.with_products) for at in sorted(last)]
    copied: dict[str, object] = {"slot": slots, "numbering": layout.numbering, "price_step": layout.price_step}
    return {**copied, "currency": layout.currency} if wanted.with_products else copied


def _slot(state: SlotState, given: int | None, keep_numbers: bool, with_products: bool) -> Slot:
    sold = with_products and state.in_use
    return Slot(
        label=state.label,
        bus=state.bus if keep_numbers and state.bus != given else None,
        tray=state.tray,
        pitch=state.pitch,
        product=state.product if sold else None,
        price=state.price if sold else None,
        card_price=state.card_price if sold else None,
        capacity=state.capacity,
        par=None if state.par == state.capacity else state.par,
    )


def _moment(wanted: Wanted, parts: Parts | None, hints: list[str]) -> datetime:
    """From when the layout holds: as given, else the start of today in the route's zone."""
    if wanted.effective is not None:
        try:
            moment = datetime.fromisoformat(wanted.effective)
        except ValueError:
            moment = None
        if moment is None or moment.tzinfo is not None:
            raise ReconError(
                f'--effective "{wanted.effective}": expected a local time without offset, such as 2026-08-03T07:00:00'
            )
        return moment
    name = parts.settings.timezone if parts is not None and parts.settings is not None else "UTC"
    today = moment_of_run().astimezone(zone(name)).replace(hour=0, minute=0, second=0, microsecond=0, tzinfo=None)
    hints.append(
        f"It holds from {today:%Y-%m-%d %H:%M} on, the start of today: vends before that find no slot. "
        "Where the log is older, set `effective` before its first vend."
    )
    return today


def _about_numbers(layout: Layout) -> list[str]:
    """What is to be said of the bus numbers: slots without one, a rule that does not fit."""
    given = numbers(layout)
    bus = [number if slot.bus is None else slot.bus for slot, number in zip(layout.slots, given, strict=True)]
    none = [slot.label for slot, number in zip(layout.slots, bus, strict=True) if number is None]
    if layout.numbering is None and none:
        return [
            f"{len(none)} of {len(bus)} slots have no bus number: name a rule with --numbering, "
            f"or have them found by test vends with: recon learn ROUTE {layout.machine}"
        ]
    hints = [f"the rule does not fit label {', '.join(none)}: give `bus` there"] if none else []
    beyond = [
        f"{slot.label} ({number})"
        for slot, number in zip(layout.slots, bus, strict=True)
        if number is not None and not 0 <= number <= LARGEST_BUS
    ]
    if beyond:
        hints.append(f"numbers outside 0 to {LARGEST_BUS}: {', '.join(beyond)}: correct the rule")
    return hints


def _remarks(wanted: Wanted, layout: Layout) -> list[str]:
    told = [f"Like {wanted.like}; drafted, not yet looked over."] if wanted.like else ["Drafted, not yet looked over."]
    if any(slot.product is None for slot in layout.slots):
        told.append("Give each slot its product and price: one without a product is out of use.")
    return told
