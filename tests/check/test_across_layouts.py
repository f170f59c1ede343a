"""Layouts of one route beside each other: numbers and prices that differ where they ought to agree."""

from decimal import Decimal

import pytest
from check_texts import LAYOUT, SETTINGS, Lay

from recon.findings.across import across_problems
from recon.findings.layouts import check
from recon.model.problem import Problem


def layout(
    machine: str, slots: dict[str, tuple[int | None, str, str]], top: str = "", changes: str = ""
) -> str:
    """A layout of label: (bus, product, price). Each slot has six lines, the first of them from line 4 on."""
    written = [
        f'[[slot]]\nlabel = "{label}"\n{"" if bus is None else f"bus = {bus}"}\nproduct = "{product}"\n'
        f'price = "{price}"\n'
        for label, (bus, product, price) in slots.items()
    ]
    return LAYOUT.replace("m-1", machine) + top + "\n" + "\n".join(written) + changes


def numbered(**other: int) -> dict[str, tuple[int | None, str, str]]:
    """Five slots 110 to 114 numbered 272 to 276 but for those named l110 to l114."""
    return {
        str(label): (other.get(f"l{label}", label + 162), f"p{label}", "1.75") for label in range(110, 115)
    }


def told(problems: list[Problem]) -> list[tuple[str, str, str | None, str, str]]:
    return [(p.kind, str(p.place), p.label, p.facts["found"], p.facts["expected"]) for p in problems]


def test_one_number_that_differs_is_told_at_the_later_file(lay: Lay) -> None:
    root = lay({"layouts/a.toml": layout("m-1", numbered()), "layouts/b.toml": layout("m-2", numbered(l112=300))})
    found = check(root)
    assert told(found) == [("numbering-differs", "layouts/b.toml:18:1", "112", "300", "274")]
    assert (found[0].machine, found[0].bus) == ("m-2", 300)
    assert (found[0].facts["where"], found[0].facts["equal"]) == ("m-1", "4")


def test_the_number_that_fewer_machines_have_is_told(lay: Lay) -> None:
    files = {
        "layouts/a.toml": layout("m-1", numbered(l112=300)),
        "layouts/b.toml": layout("m-2", numbered()),
        "layouts/c.toml": layout("m-3", numbered()),
    }
    found = check(lay(files))
    assert told(found) == [("numbering-differs", "layouts/a.toml:18:1", "112", "300", "274")]
    assert found[0].facts["where"] == "m-2 and 1 more"


def test_a_number_by_rule_against_written_ones(lay: Lay) -> None:
    by_rule = {label: (None, product, price) for label, (_, product, price) in numbered().items()}
    files = {
        "layouts/a.toml": layout("m-1", numbered(l113=9)),
        "layouts/b.toml": layout("m-2", by_rule, 'numbering = "hex-label"'),
    }
    assert told(check(lay(files))) == [("numbering-differs", "layouts/b.toml:23:1", "113", "275", "9")]


def test_the_number_of_the_last_change_counts_and_is_the_place(lay: Lay) -> None:
    moved = '\n[[change]]\nfrom = 2026-09-14T09:30:00\nlabel = "112"\nbus = 300\n'
    back = moved.replace("300", "274").replace("09-14", "09-21")
    start = layout("m-1", numbered())
    files = {"layouts/a.toml": start, "layouts/b.toml": layout("m-2", numbered(), changes=moved)}
    found = check(lay(files))
    lines = files["layouts/b.toml"].split("\n")
    assert [p.kind for p in found] == ["numbering-differs"]
    assert lines[(found[0].place.line or 0) - 1] == "bus = 300"
    assert check(lay({"layouts/b.toml": layout("m-2", numbered(), changes=moved + back)})) == []


QUIET_NUMBERS = {
    "the same": numbered(),
    "another numbering altogether": {label: (int(label), p, c) for label, (_, p, c) in numbered().items()},
    "as many differ as agree": numbered(l110=1, l111=2, l112=3),
    "other labels": {**numbered(), "115": (300, "p115", "1.75")},
    "out of use": {**numbered(l112=300)},
}


@pytest.mark.parametrize("name", QUIET_NUMBERS)
def test_numbers_that_tell_nothing(lay: Lay, name: str) -> None:
    second = layout("m-2", QUIET_NUMBERS[name])
    if name == "out of use":
        second = second.replace('product = "p112"\n', "\n")
    assert check(lay({"layouts/a.toml": layout("m-1", numbered()), "layouts/b.toml": second})) == []


def test_a_width_makes_another_shape(lay: Lay) -> None:
    wide = layout("m-2", numbered(l110=1272)).replace('label = "114"', 'label = "114"\ntray = "z"\npitch = 2')
    assert check(lay({"layouts/a.toml": layout("m-1", numbered()), "layouts/b.toml": wide})) == []


def test_a_number_against_its_own_rule_is_told_once(lay: Lay) -> None:
    hexes = 'numbering = "hex-label"'
    files = {
        "layouts/a.toml": layout("m-1", numbered(), hexes),
        "layouts/b.toml": layout("m-2", numbered(l112=300), hexes),
    }
    assert [(p.kind, p.machine) for p in check(lay(files))] == [("rule-disagrees", "m-2")]


def prices(**other: str) -> dict[str, tuple[int | None, str, str]]:
    """Five products pa to pe at 1.75, but for those named."""
    return {str(at): (at, f"p{name}", other.get(name, "1.75")) for at, name in enumerate("abcde", 1)}


def varying(lay: Lay, *machines: str) -> list[tuple[str, str | None, str, str]]:
    """Prices that vary between these layouts, as place, label, found, expected. Their numbers are equal."""
    root = lay({f"layouts/{at}.toml": text for at, text in enumerate(machines)})
    found = check(root)
    assert {p.kind for p in found} <= {"price-varies"}
    return [(str(p.place), p.label, p.facts["found"], p.facts["expected"]) for p in found]


def test_two_prices_for_one_product(lay: Lay) -> None:
    one, two = layout("m-1", prices()), layout("m-2", prices(b="2.00"))
    assert varying(lay, one, two) == [("layouts/1.toml:14:1", "2", "2.00", "1.75")]
    assert varying(lay, two, one, one.replace("m-1", "m-3")) == [("layouts/0.toml:14:1", "2", "2.00", "1.75")]


def test_two_slots_of_one_machine(lay: Lay) -> None:
    twice = {**prices(), "6": (6, "pa", "1.60")}
    assert varying(lay, layout("m-1", twice), layout("m-2", prices())) == [
        ("layouts/0.toml:38:1", "6", "1.60", "1.75")
    ]


def test_a_rise_forgotten_at_one_machine_is_told_where_it_was_forgotten(lay: Lay) -> None:
    rise = '\n[[change]]\nfrom = 2026-09-14T09:30:00\nlabel = "1"\nprice = "2.00"\n'
    first = layout("m-1", prices())
    second, third = (layout(name, prices(), changes=rise) for name in ("m-2", "m-3"))
    assert varying(lay, first, second, third) == [("layouts/0.toml:8:1", "1", "1.75", "2.00")]


REASONS = {
    "the same price": layout("m-2", prices()),
    "the same price written otherwise": layout("m-2", prices(b="1.750")),
    "a free slot": layout("m-2", prices(b="0")),
    "another currency": layout("m-2", prices(b="2.00"), 'currency = "EUR"'),
    "only the card price": layout("m-2", prices()).replace('price = "1.75"', 'price = "1.75"\ncard_price = "2.00"'),
    "a step that cannot make it": layout("m-2", {"2": (2, "pb", "2.00")}, 'price_step = "0.50"'),
    "a price level of its own": layout("m-2", prices(a="2.00", b="2.10", c="1.80")),
}


@pytest.mark.parametrize("name", REASONS)
def test_prices_that_have_a_reason(lay: Lay, name: str) -> None:
    assert varying(lay, layout("m-1", prices()), REASONS[name]) == []


def test_a_step_that_could_make_it_is_no_reason(lay: Lay) -> None:
    second = REASONS["a step that cannot make it"].replace('"0.50"', '"0.25"')
    assert [label for _, label, *_ in varying(lay, layout("m-1", prices()), second)] == ["2"]


def test_a_price_level_excuses_its_own_direction_only(lay: Lay) -> None:
    second = layout("m-2", prices(a="2.00", b="2.10", c="1.80", d="1.70"))
    assert varying(lay, layout("m-1", prices()), second) == [("layouts/1.toml:26:1", "4", "1.70", "1.75")]


def test_two_dear_products_are_no_level(lay: Lay) -> None:
    second = layout("m-2", prices(a="2.00", b="2.00"))
    assert [label for _, label, *_ in varying(lay, layout("m-1", prices()), second)] == ["1", "2"]


def test_one_machine_is_compared_with_itself(lay: Lay) -> None:
    twice = layout("m-1", {**prices(), "6": (6, "pa", "1.60")})
    assert varying(lay, twice) == [("layouts/0.toml:38:1", "6", "1.60", "1.75")]
    assert across_problems((), None) == []


def test_a_file_alone_shows_what_differs_from_another(lay: Lay) -> None:
    """Each side of a difference names the other's file, so that a hook on either shows it."""
    root = lay({"layouts/a.toml": layout("m-1", prices()), "layouts/b.toml": layout("m-2", prices(b="2.00"))})
    (found,) = check(root)
    assert (found.place.file, found.facts["other"]) == ("layouts/b.toml", "layouts/a.toml")


def test_the_sizes_are_exact(lay: Lay) -> None:
    """1.10 and 1.1 are one price; so are layouts in a currency of the route and in the same, named."""
    assert SETTINGS.count("CAD") == 1
    assert Decimal("1.10") == Decimal("1.1")
    assert varying(lay, layout("m-1", prices(a="1.10")), layout("m-2", prices(a="1.1"), 'currency = "CAD"')) == []
