"""What layouts say of each other, slot by slot, without short cuts: what recon.findings.across is held against."""

from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal

from recon.findings.across import ALIKE, LEVEL
from recon.match.numbering import numbers
from recon.match.timeline import SlotState, slot_states
from recon.model.layout import Layout
from recon.route.amounts import on_step

Told = tuple[str, str, str, str, str]
"""Kind of problem, machine, label, found, expected."""


def across_by_slot(layouts: Sequence[Layout], currency: str) -> list[Told]:
    """The problems between layouts, sorted."""
    lasts = [_last(layout) for layout in layouts]
    return sorted([*_numbers(layouts, lasts), *_prices(layouts, lasts, currency)])


def _last(layout: Layout) -> dict[str, SlotState]:
    last: dict[str, SlotState] = {}
    for state in slot_states(layout):
        if state.label not in last or last[state.label].position == state.position:
            last[state.label] = state
    return last


def _in_use(last: Mapping[str, SlotState]) -> dict[str, int]:
    return {label: state.bus for label, state in last.items() if state.in_use and state.bus is not None}


def _numbers(layouts: Sequence[Layout], lasts: Sequence[dict[str, SlotState]]) -> Iterator[Told]:
    families: list[list[int]] = []
    for at, last in enumerate(lasts):
        best, most = None, 0
        for family in families:
            first = lasts[family[0]]
            if {(one.label, one.pitch) for one in first.values()} != {(one.label, one.pitch) for one in last.values()}:
                continue
            mine, theirs = _in_use(last), _in_use(first)
            equal = len(mine.items() & theirs.items())
            if equal >= ALIKE and 2 * equal > len(mine.keys() & theirs.keys()) and equal > most:
                best, most = family, equal
        if best is None:
            families.append([at])
        else:
            best.append(at)
    for family in families:
        for label in {label for at in family for label in lasts[at]}:
            having = [(_in_use(lasts[at])[label], at) for at in family if label in _in_use(lasts[at])]
            count = Counter(bus for bus, _ in having)
            for bus, at in having:
                by_rule = numbers(layouts[at])[lasts[at][label].position]
                usual = max(count, key=lambda bus: count[bus])
                if bus != usual and by_rule in (None, bus):
                    yield "numbering-differs", layouts[at].machine, label, str(bus), str(usual)


def _prices(layouts: Sequence[Layout], lasts: Sequence[dict[str, SlotState]], currency: str) -> Iterator[Told]:
    offers: dict[tuple[str, str], list[tuple[Decimal, int, str]]] = defaultdict(list)
    for at, last in enumerate(lasts):
        for label, state in last.items():
            if state.in_use and state.product is not None and state.price:
                offers[layouts[at].currency or currency, state.product].append((state.price, at, label))
    odd: dict[int, list[tuple[str, str, Decimal, Decimal]]] = defaultdict(list)
    compared: Counter[int] = Counter()
    for (_, product), own in offers.items():
        sharing = {at for _, at, _ in own}
        compared.update(sharing if len(sharing) > 1 else ())
        usual = max(
            dict.fromkeys(price for price, _, _ in own),
            key=lambda price: (len({at for p, at, _ in own if p == price}), sum(p == price for p, _, _ in own)),
        )
        for price, at, label in own:
            if price != usual:
                odd[at].append((product, label, price, usual))
    for at, told in odd.items():
        for _, label, price, usual in told:
            same_way = {name for name, _, p, u in told if (p > u) == (price > usual)}
            step = layouts[at].price_step
            level = len(same_way) >= LEVEL and 2 * len(same_way) > compared[at]
            if not level and (step is None or on_step(usual, step)):
                yield "price-varies", layouts[at].machine, label, str(price), str(usual)
