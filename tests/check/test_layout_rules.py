"""Each kind of problem with a layout fires at its place and with its figures, and not elsewhere."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import pytest
from check_texts import LAYOUT, Lay

from recon.findings.catalogue import CHECK_KINDS, sentence
from recon.findings.layouts import check, layout_problems
from recon.model.problem import Problem
from recon.route.folder import read_route


def slot(label: str, bus: int | None = None, *lines: str, product: str = "gum", price: str = "1.75") -> str:
    """A slot of which each key has its line: label 1 below the header, bus 2 if any, product, price, further
    lines.
    """
    written = [f'label = "{label}"']
    written += [f"bus = {bus}"] if bus is not None else []
    written += [f'product = "{product}"'] if product else []
    written += [f'price = "{price}"'] if price else []
    return "\n".join(["[[slot]]", *written, *lines, ""])


def change(when: str, label: str, *lines: str) -> str:
    return "\n".join(["[[change]]", f"from = {when}", f'label = "{label}"', *lines, ""])


@dataclass
class Case:
    """What a layout holds below its first two lines, and the problem that it has: kind, place, some of its
    facts.
    """

    layout: str
    place: str
    facts: Mapping[str, str] = field(default_factory=dict)
    label: str | None = "110"
    bus: int | None = None


SEP, OCT = "2026-09-14T09:30:00", "2026-10-14T09:30:00"
DOUBLE = ('tray = "1"', "pitch = 2")
FIRES: dict[str, list[Case]] = {
    "duplicate-label": [
        Case(slot("110", 1) + slot("110", 2), "9:1", {"other": "line 4"}),
        Case(slot("110", 1) + slot("110", 1), "9:1", {"other": "line 4"}),
    ],
    "duplicate-number": [
        Case(
            slot("100", 272) + slot("110", 272),
            "10:1",
            {"since": "2026-08-03 07:00", "other": "100", "where": "line 5"},
            bus=272,
        ),
        Case(
            "numbering = { grid = 10, first = 1 }\n" + slot("A11") + slot("B1"),
            "9:1",
            {"other": "A11"},
            "B1",
            1,
        ),
        Case(
            slot("100", 1) + slot("110", 2) + change(SEP, "110", "bus = 1"),
            "16:1",
            {"since": "2026-09-14 09:30", "other": "100", "where": "line 5"},
            bus=1,
        ),
        Case(
            slot("100", 1) + slot("110", 1, product="") + change(SEP, "110", 'product = "gum"'),
            "12:1",
            {"since": "2026-09-14 09:30"},
            bus=1,
        ),
        Case(
            slot("110", 1)
            + slot("100", 1, product="")
            + change(SEP, "100", 'product = "gum"')
            + change(OCT, "110", "retire = true"),
            "12:1",
            {"since": "2026-09-14 09:30", "other": "110"},
            label="100",
            bus=1,
        ),
    ],
    "number-out-of-range": [
        Case(slot("110", 65535), "5:1", {"found": "65535"}, bus=65535),
        Case(slot("110", -1), "5:1", {"found": "-1"}, bus=-1),
        Case(slot("110", 1) + change(SEP, "110", "bus = 70000"), "11:1", {"found": "70000"}, bus=70000),
        Case(
            'numbering = "hex-label"\n' + slot("110") + slot("FFFF"),
            "9:1",
            {"found": "65535"},
            label="FFFF",
            bus=65535,
        ),
        Case("numbering = { offset = -111 }\n" + slot("110"), "5:1", {"found": "-1"}, bus=-1),
    ],
    "rule-disagrees": [
        Case(
            'numbering = "hex-label"\n' + slot("110", 273),
            "6:1",
            {"found": "273", "expected": "272", "rule": "hex-label"},
            bus=273,
        ),
        Case(
            "numbering = { sequence = 5 }\n" + slot("100", 5) + slot("110", 7),
            "11:1",
            {"expected": "6"},
            bus=7,
        ),
        Case(
            'numbering = "same"\n' + slot("110") + change(SEP, "110", "bus = 111"),
            "11:1",
            {"expected": "110"},
            bus=111,
        ),
    ],
    "between-numbers": [
        Case(
            slot("108", 272, *DOUBLE) + slot("110", 275, *DOUBLE) + slot("112", 276, *DOUBLE),
            "12:1",
            {"parity": "odd", "expected": "even", "agree": "2", "all": "3", "tray": "1"},
            bus=275,
        ),
        Case(
            slot("100", 1, *DOUBLE) + slot("110", 4, *DOUBLE),
            "12:1",
            {"agree": "1", "all": "2", "parity": "even"},
            bus=4,
        ),
        Case(
            slot("A1", 2, "pitch = 2") + slot("A3", 4, "pitch = 2") + slot("A5", 7, "pitch = 2"),
            "17:1",
            {"tray": "A"},
            label="A5",
            bus=7,
        ),
        Case(
            slot("108", 2, *DOUBLE)
            + slot("110", 4, *DOUBLE)
            + slot("112", 6, *DOUBLE)
            + change(SEP, "110", "bus = 5"),
            "27:1",
            {"agree": "2", "all": "3"},
            bus=5,
        ),
    ],
    "coupled-slots": [
        Case(
            slot("109", 4, *DOUBLE) + slot("110", 5, 'tray = "1"'),
            "12:1",
            {"found": "5", "other": "109", "number": "4", "tray": "1"},
            bus=5,
        ),
        Case(
            slot("110", 5, 'tray = "1"') + slot("109", 2, *DOUBLE) + change(SEP, "109", "bus = 4"),
            "5:1",
            {"other": "109", "number": "4"},
            bus=5,
        ),
        Case(
            'numbering = "hex-label"\n' + slot("110", None, "pitch = 2") + slot("111"),
            "10:1",
            {"found": "273", "other": "110", "number": "272", "tray": "11"},
            label="111",
            bus=273,
        ),
    ],
    "missing-number": [
        Case(slot("110"), "3:1", {"since": "2026-08-03 07:00"}),
        Case('numbering = "same"\n' + slot("A1"), "4:1", {}, label="A1"),
        Case(
            slot("110", product="") + change(SEP, "110", 'product = "gum"'),
            "6:1",
            {"since": "2026-09-14 09:30"},
        ),
    ],
    "missing-price": [
        Case(slot("110", 1, price=""), "3:1", {"since": "2026-08-03 07:00"}, bus=1),
        Case(slot("110", 1, price="") + change(SEP, "110", 'product = "bar"'), "3:1", {}, bus=1),
        Case(
            slot("110", 1, product="", price="") + change(SEP, "110", 'product = "bar"'),
            "6:1",
            {"since": "2026-09-14 09:30"},
            bus=1,
        ),
    ],
    "price-off-step": [
        Case(
            "price_step = 0.05\n" + slot("110", 1, price="1.77"),
            "8:1",
            {"key": "price", "found": "1.77", "expected": "0.05"},
        ),
        Case("price_step = 0.25\n" + slot("110", 1, "card_price = 1.80"), "9:1", {"key": "card_price"}),
        Case(
            "price_step = 0.05\n" + slot("110", 1) + change(SEP, "110", "price = 2.01"),
            "12:1",
            {"found": "2.01"},
        ),
    ],
    "par-over-capacity": [
        Case(slot("110", 1, "capacity = 10", "par = 11"), "9:1", {"found": "11", "expected": "10"}, bus=1),
        Case(
            slot("110", 1, "capacity = 10", "par = 9") + change(SEP, "110", "capacity = 8"),
            "13:1",
            {"found": "9", "expected": "8"},
            bus=1,
        ),
        Case(
            slot("110", 1, "capacity = 10") + change(SEP, "110", "par = 12"), "12:1", {"found": "12"}, bus=1
        ),
    ],
    "unknown-product": [
        Case(slot("110", 1, product="gun"), "6:1", {"found": "gun", "expected": "gum"}),
        Case(slot("110", 1) + change(SEP, "110", 'product = "baar"'), "11:1", {"expected": "bar"}),
    ],
    "change-out-of-order": [
        Case(
            slot("110", 1) + change("2026-08-03T06:59:00", "110", "price = 2"),
            "9:1",
            {"found": "2026-08-03 06:59"},
        ),
        Case(
            slot("110", 1) + change(OCT, "110", "price = 2") + change(SEP, "110", "price = 3"),
            "13:1",
            {"found": "2026-09-14 09:30"},
        ),
        Case(
            slot("110", 1) + change(SEP, "110", "price = 2") + change(SEP, "110", "capacity = 3"), "13:1", {}
        ),
    ],
    "change-unknown-label": [
        Case(
            slot("110", 1) + change(SEP, "11O", "price = 2"),
            "10:1",
            {"found": "11O", "expected": "110"},
            label="11O",
        ),
    ],
}
PRODUCTS = "id\ngum\nbar\n"


def problems_of(lay: Lay, layout: str, products: str | None = PRODUCTS) -> list[Problem]:
    return check(
        lay({"layouts/a.toml": LAYOUT + layout, **({} if products is None else {"products.csv": products})})
    )


CASES = [(kind, case) for kind, cases in FIRES.items() for case in cases]


@pytest.mark.parametrize(("kind", "case"), CASES, ids=[f"{kind}-{at}" for at, (kind, _) in enumerate(CASES)])
def test_it_fires_once_at_its_place_with_its_figures(lay: Lay, kind: str, case: Case) -> None:
    problems = problems_of(lay, case.layout)
    assert [(p.kind, str(p.place)) for p in problems] == [(kind, f"layouts/a.toml:{case.place}")]
    found = problems[0]
    assert (found.machine, found.label, found.bus) == ("m-1", case.label, case.bus)
    assert {name: found.facts[name] for name in case.facts} == case.facts
    assert found.facts["found"]
    assert found.facts["expected"]
    assert sentence(found).startswith(f"layouts/a.toml:{case.place}  {kind}  ")


QUIET = {
    "good": "price_step = 0.05\n" + slot("110", 272, "capacity = 10", "par = 10", "card_price = 1.85"),
    "out of use": slot("110", product="", price=""),
    "same number one after the other": slot("100", 1) + slot("110", 1, product="")
    + change(SEP, "100", "retire = true") + change(SEP, "110", 'product = "bar"'),
    "same number, one never in use": slot("100", 1) + slot("110", 1, product=""),
    "numbers swapped on one visit": slot("100", 1) + slot("110", 2)
    + change(SEP, "100", "bus = 2") + change(SEP, "110", "bus = 1"),
    "least and largest number": slot("100", 0) + slot("110", 65534),
    "an out-of-range rule on a slot out of use": 'numbering = "hex-label"\n' + slot("FFFF", product=""),
    "written number as the rule's": 'numbering = "hex-label"\n' + slot("110", 272),
    "no rule for this label, but a number": 'numbering = "same"\n' + slot("A1", 161),
    "all odd": slot("100", 1, *DOUBLE) + slot("110", 3, *DOUBLE) + slot("112", 7, *DOUBLE),
    "single-width tray": slot("100", 2, 'tray = "1"') + slot("110", 3, 'tray = "1"'),
    "mixed tray": slot("100", 2, *DOUBLE) + slot("102", 4, *DOUBLE) + slot("110", 7, 'tray = "1"'),
    "the number before a wide slot": slot("100", 3, 'tray = "1"') + slot("102", 4, *DOUBLE),
    "the next number, one after the other": slot("100", 4, *DOUBLE) + slot("110", 5, 'tray = "1"', product="")
    + change(SEP, "100", "retire = true") + change(SEP, "110", 'product = "bar"'),
    "the next number, out of use": slot("100", 4, *DOUBLE) + slot("110", 5, 'tray = "1"', product=""),
    "trays of their own": slot("100", 2, *DOUBLE) + slot("110", 3, 'tray = "2"', "pitch = 2"),
    "a whole tray renumbered": slot("100", 2, *DOUBLE) + slot("110", 4, *DOUBLE)
    + change(SEP, "100", "bus = 3") + change(SEP, "110", "bus = 5"),
    "free": slot("110", 1, price="0"),
    "a price given later by a change at once": slot("110", 1, price="")
    + change("2026-08-03T07:00:00", "110", 'price = "1.75"'),
    "retired, then back": slot("110", 1) + change(SEP, "110", "retire = true")
    + change(OCT, "110", 'product = "bar"'),
    "par without capacity": slot("110", 1, "par = 5"),
    "capacity grows, par follows": slot("110", 1, "capacity = 5") + change(SEP, "110", "capacity = 8"),
    "changes of two slots interleaved": slot("100", 1) + slot("110", 2)
    + change(OCT, "100", "price = 2") + change(SEP, "110", "price = 2"),
    "a step of a third decimal": 'currency = "KWD"\nprice_step = 0.005\n' + slot("110", 1, price="0.255"),
}  # fmt: skip


@pytest.mark.parametrize("layout", QUIET.values(), ids=QUIET.keys())
def test_it_does_not_fire(lay: Lay, layout: str) -> None:
    assert problems_of(lay, layout) == []


def test_products_are_not_asked_for_without_a_list_of_them(lay: Lay) -> None:
    assert problems_of(lay, slot("110", 1, product="anything"), products=None) == []


def test_every_kind_of_the_layout_rules_has_a_case() -> None:
    from_reading = {
        "unknown-key", "bad-value", "duplicate-machine", "unknown-timezone", "unknown-currency",
    }  # fmt: skip
    across_files = {"numbering-differs", "price-varies"}
    assert set(FIRES) | from_reading | across_files == set(CHECK_KINDS)


def test_three_slots_of_one_number_are_two_problems(lay: Lay) -> None:
    problems = problems_of(lay, slot("1", 9) + slot("2", 9) + slot("3", 9))
    assert [(p.kind, p.label, p.facts["other"]) for p in problems] == [
        ("duplicate-number", "2", "1"),
        ("duplicate-number", "3", "1"),
    ]


def test_a_shared_number_in_two_spells_is_told_for_each(lay: Lay) -> None:
    layout = slot("100", 1) + slot("110", 1) + change(SEP, "110", "bus = 2") + change(OCT, "110", "bus = 1")
    assert [p.facts["since"] for p in problems_of(lay, layout)] == ["2026-08-03 07:00", "2026-10-14 09:30"]


def test_problems_come_by_place_and_the_run_gets_the_same(lay: Lay) -> None:
    layout = slot("110", 70000, price="") + slot("110", 1) + slot("111") + change(SEP, "7", "price = 1")
    problems = problems_of(lay, layout)
    places = [(p.place.file, p.place.line, p.place.column) for p in problems]
    assert places == sorted(places)
    assert {p.kind for p in problems} == {
        "missing-price", "number-out-of-range", "duplicate-label", "missing-number", "change-unknown-label",
    }  # fmt: skip
    assert layout_problems(read_route(lay())) == problems


def test_a_table_is_held_to_the_same_rules(lay: Lay) -> None:
    table = (
        "machine,from,label,bus,product,price,capacity,par\n"
        "m-1,2026-08-03,A1,161,gum,1.75,10,\n"
        "m-1,2026-08-03,A2,161,gum,1.75,10,12\n"
        "m-1,2026-09-14,A3,,gum,,,\n"
        "m-1,2026-09-10,A1,,bar,,,\n"
        "m-1,2026-09-05,A1,,gum,,,\n"
    )
    problems = check(lay({"layouts/a.csv": table}))
    assert [(p.kind, str(p.place), p.label) for p in problems] == [
        ("duplicate-number", "layouts/a.csv:3:19", "A2"),
        ("par-over-capacity", "layouts/a.csv:3:35", "A2"),
        ("missing-number", "layouts/a.csv:4:1", "A3"),
        ("missing-price", "layouts/a.csv:4:1", "A3"),
        ("change-out-of-order", "layouts/a.csv:6:5", "A1"),
    ]
