"""The route as it stands in the world: machines, slots, prices and the dated changes made to them.

Amounts are whole cents. All machines stand in one time zone, and every time here is a moment of it.
"""

from dataclasses import dataclass, replace
from datetime import datetime
from zoneinfo import ZoneInfo

ZONE = ZoneInfo("America/Halifax")


def local(year: int, month: int, day: int, hour: int = 0, minute: int = 0) -> datetime:
    """A moment of the route's own time."""
    return datetime(year, month, day, hour, minute, tzinfo=ZONE)


LAYOUT_FROM = local(2026, 8, 3, 7)
FIRST_MONDAY = local(2026, 8, 10)
WEEKS = 7
"""Seven weeks of seven days: Mondays 2026-08-10 to 2026-09-28. No clock change falls between them."""

FEE_PERCENT = "5.95"


@dataclass(frozen=True)
class Slot:
    """One slot. `rate`: units a day that customers ask for; nothing the operator writes down shows it."""

    label: str
    bus: int
    tray: str
    product: str | None
    price: int | None
    rate: float
    capacity: int
    par: int
    pitch: int = 1
    card_price: int | None = None


@dataclass(frozen=True)
class Change:
    """What changed at one slot at one local time; None: as it was."""

    at: datetime
    label: str
    product: str | None = None
    price: int | None = None
    card_price: int | None = None
    retire: bool = False


@dataclass(frozen=True)
class Machine:
    """One machine and the habits of its customers.

    opens, closes, visit: when customers come, and the operator; minutes of the day. tenders: how often each
    is used. visits, collects: the Mondays, counted from 0, when the machine is counted, and its box emptied.
    numbering: the rule as layouts/*.toml has it; None where the numbers are written out.
    """

    name: str
    site: str
    numbering: str | None
    visit: int
    opens: int
    closes: int
    tenders: dict[str, int]
    slots: tuple[Slot, ...]
    changes: tuple[Change, ...] = ()
    collects: tuple[int, ...] = tuple(range(WEEKS + 1))
    visits: tuple[int, ...] = tuple(range(WEEKS + 1))
    step: str = "0.05"

    def slot(self, label: str) -> Slot:
        """The slot of that label as the layout begins."""
        return next(slot for slot in self.slots if slot.label == label)

    def at(self, label: str, moment: datetime) -> Slot | None:
        """The slot as it stands at a local moment; None while it is out of use."""
        slot, retired = self.slot(label), False
        for change in self.changes:
            if change.label == label and change.at <= moment:
                named = {
                    name: value
                    for name in ("product", "price", "card_price")
                    if (value := getattr(change, name)) is not None
                }
                slot, retired = replace(slot, **named), change.retire
        return None if retired or slot.product is None else slot


@dataclass(frozen=True)
class Product:
    """One line of products.csv; the unit cost is exact decimal text."""

    id: str
    name: str
    unit_cost: str
    case_size: int
    category: str


PRODUCTS = (
    Product("oat-bar", "Oat bar", "0.6225", 24, "snack"),
    Product("sea-salt-crisps", "Sea salt crisps", "0.71", 20, "snack"),
    Product("paprika-crisps", "Paprika crisps", "0.71", 20, "snack"),
    Product("trail-mix", "Trail mix", "1.135", 18, "snack"),
    Product("ginger-biscuits", "Ginger biscuits", "0.58", 30, "snack"),
    Product("corn-puffs", "Corn puffs", "0.49", 24, "snack"),
    Product("fruit-chews", "Fruit chews", "0.4175", 40, "sweet"),
    Product("mint-drops", "Mint drops", "0.395", 48, "sweet"),
    Product("dark-chocolate", "Dark chocolate", "0.98", 24, "sweet"),
    Product("rye-crackers", "Rye crackers", "0.665", 24, "snack"),
    Product("spring-water", "Spring water 500 ml", "0.3325", 24, "drink"),
    Product("sparkling-water", "Sparkling water 355 ml", "0.365", 24, "drink"),
    Product("iced-tea", "Iced tea 473 ml", "0.7275", 12, "drink"),
    Product("apple-juice", "Apple juice 300 ml", "0.845", 12, "drink"),
    Product("ginger-soda", "Ginger soda 355 ml", "0.575", 24, "drink"),
    Product("orange-soda", "Orange soda 355 ml", "0.575", 24, "drink"),
    Product("cold-coffee", "Cold coffee 250 ml", "1.29", 12, "drink"),
    Product("oat-drink", "Oat drink 250 ml", "1.18", 12, "drink"),
    Product("nut-mix", "Nut mix", "1.24", 18, "snack"),
    Product("banana-chips", "Banana chips", "0.805", 20, "snack"),
    Product("seed-bar", "Seed bar", "0.9125", 24, "snack"),
    Product("rice-cakes", "Rice cakes", "0.69", 24, "snack"),
    Product("finger-tape", "Finger tape, one roll", "1.55", 12, "other"),
    Product("fig-bar", "Fig bar", "0.735", 24, "snack"),
    Product("ear-plugs", "Ear plugs, one pair", "0.44", 50, "other"),
    Product("pencil", "Pencil", "0.285", 72, "other"),
)


@dataclass(frozen=True)
class Route:
    """All machines."""

    machines: tuple[Machine, ...]
    products: tuple[Product, ...] = PRODUCTS

    def machine(self, name: str) -> Machine:
        """The machine of that name."""
        return next(machine for machine in self.machines if machine.name == name)


QUAY_2 = Machine(
    name="quay-2", site="Ferry quay, gate 2", numbering='"hex-label"', visit=450, opens=480, closes=1230,
    tenders={"cash": 44, "card": 54, "free": 2},
    slots=(
        Slot("110", 272, "1", "oat-bar", 175, 1.5, 10, 10, 2, 185),
        Slot("112", 274, "1", "trail-mix", 275, 1.1, 10, 10, 2, 285),
        Slot("114", 276, "1", "sea-salt-crisps", 200, 1.9, 10, 10, 2, 210),
        Slot("116", 278, "1", "paprika-crisps", 200, 1.6, 10, 10, 2, 210),
        Slot("118", 280, "1", "corn-puffs", 150, 1.2, 10, 9, 2, 160),
        Slot("130", 304, "3", "fruit-chews", 125, 1.4, 15, 12, 1, 135),
        Slot("131", 305, "3", "mint-drops", 125, 1.2, 15, 12, 1, 135),
        Slot("132", 306, "3", "dark-chocolate", 225, 1.5, 15, 14, 1, 235),
        Slot("133", 307, "3", "ginger-biscuits", 150, 1.7, 20, 14, 1, 160),
        Slot("134", 308, "3", None, None, 0.0, 15, 12, 1),
    ),
    changes=(
        Change(local(2026, 9, 14, 7, 30), "110", product="rye-crackers", price=190, card_price=200),
        Change(local(2026, 9, 21, 7, 30), "118", retire=True),
    ),
)  # fmt: skip

QUAY_5 = Machine(
    name="quay-5", site="Ferry quay, gate 5", numbering='"same"', visit=490, opens=525, closes=1260,
    tenders={"cash": 40, "card": 60},
    slots=(
        Slot("1", 1, "top", "spring-water", 200, 2.4, 14, 14),
        Slot("2", 2, "top", "sparkling-water", 200, 1.4, 14, 13),
        Slot("3", 3, "top", "iced-tea", 275, 1.6, 14, 14),
        Slot("4", 4, "top", "apple-juice", 275, 1.3, 14, 12),
        Slot("5", 5, "low", "ginger-soda", 225, 1.7, 14, 14),
        Slot("6", 6, "low", "orange-soda", 225, 1.5, 14, 14),
        Slot("7", 7, "low", "cold-coffee", 325, 1.2, 12, 12),
        Slot("8", 8, "low", "oat-drink", 300, 1.1, 12, 10),
    ),
    changes=(Change(local(2026, 8, 31, 8, 10), "1", price=225),),
)  # fmt: skip

CLIMB_1 = Machine(
    name="climb-1", site="Climbing hall, foyer", numbering=None, visit=630, opens=720, closes=1320,
    tenders={"cash": 34, "card": 62, "token": 4},
    slots=(
        Slot("A1", 10, "A", "seed-bar", 225, 1.7, 12, 12),
        Slot("A2", 11, "A", "nut-mix", 275, 1.3, 12, 12),
        Slot("A3", 12, "A", "banana-chips", 175, 1.2, 12, 12),
        Slot("A4", 13, "A", "rice-cakes", 175, 1.0, 12, 10),
        Slot("B1", 20, "B", "spring-water", 200, 1.9, 12, 12),
        Slot("B2", 21, "B", "iced-tea", 275, 1.4, 12, 12),
        Slot("B3", 22, "B", "oat-drink", 300, 1.2, 12, 12),
        Slot("B4", 23, "B", "finger-tape", 350, 0.9, 10, 8),
    ),
    changes=(Change(local(2026, 9, 3, 10, 30), "B3", price=325),),
)  # fmt: skip

LIBRARY_1 = Machine(
    name="library-1", site="Town library, reading room landing", numbering="{ offset = -100 }",
    visit=555, opens=600, closes=1080, collects=(0, 2, 4, 6, 7),
    tenders={"cash": 35, "card": 50, "prepaid": 15},
    slots=(
        Slot("101", 1, "1", "fig-bar", 190, 1.3, 14, 12),
        Slot("102", 2, "1", "mint-drops", 140, 1.1, 14, 12),
        Slot("103", 3, "1", "dark-chocolate", 235, 1.2, 14, 14),
        Slot("104", 4, "2", "spring-water", 200, 1.5, 14, 14),
        Slot("105", 5, "2", "ear-plugs", 160, 0.9, 14, 12),
        Slot("106", 6, "2", "pencil", 110, 0.9, 14, 12),
    ),
)  # fmt: skip

DEPOT_1 = Machine(
    name="depot-1", site="Bus depot, staff room", numbering='"same"', visit=405, opens=435, closes=1140,
    tenders={"cash": 55, "card": 45}, visits=(5, 7), collects=(5, 7),
    slots=(
        Slot("10", 10, "1", "spring-water", 150, 1.1, 40, 30),
        Slot("11", 11, "1", "seed-bar", 200, 1.0, 40, 28),
        Slot("12", 12, "1", "sea-salt-crisps", 175, 1.2, 40, 30),
    ),
)  # fmt: skip


def the_route() -> Route:
    """The route without trouble: what is written is what is."""
    return Route((QUAY_2, QUAY_5, CLIMB_1, LIBRARY_1))


def with_change(machine: Machine, *changes: Change) -> Machine:
    """The machine with more changes, in the order of their times."""
    return replace(machine, changes=tuple(sorted((*machine.changes, *changes), key=lambda change: change.at)))


def troubled_route() -> Route:
    """The route with trouble as it is in the world: one price, set at the machine, was never written down."""
    climb = with_change(
        CLIMB_1,
        Change(local(2026, 9, 7, 10, 30), "A3", price=200),
        Change(local(2026, 9, 14, 10, 30), "A3", price=175),
    )
    return Route((QUAY_2, QUAY_5, climb, LIBRARY_1, DEPOT_1))


PRODUCT_SWAP = Change(local(2026, 8, 26, 12), "106", product="ear-plugs")


def troubled_layouts() -> Route:
    """The route with trouble as its layouts say: a slot without a price, a product changed with no count."""
    slots = tuple(replace(slot, price=None) if slot.label == "B3" else slot for slot in CLIMB_1.slots)
    climb = replace(CLIMB_1, slots=slots, changes=())
    return Route((QUAY_2, QUAY_5, climb, with_change(LIBRARY_1, PRODUCT_SWAP), DEPOT_1))
