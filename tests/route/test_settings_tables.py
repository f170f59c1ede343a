"""Layouts and products kept as CSV tables: what they give, and the line and column of what is wrong."""

from datetime import datetime
from decimal import Decimal

import pytest
from route_texts import LAYOUT, Lay

from recon.match.timeline import slot_states
from recon.route.folder import Route, read_route

HEAD = "machine,from,label,bus,tray,pitch,product,price,card_price,capacity,par,retire\n"
TABLE = HEAD + (
    "m-1,2026-08-03 07:00,A1,161,A,2,oat-bar,1.75,1.85,10,8,\n"
    ",2026-08-03T07:00:00,A2,162,A,,water,2.00,,8,,no\n"
    "m-1,2026-08-10,A3,163,A,,gum,1.00,,20,,\n"
    ",2026-09-14 09:30,A1,,,,crisps,2.25,,,,\n"
    ",2026-09-21 09:30,A2,,,,,,,,,YES\n"
)


def read(lay: Lay, table: str | bytes) -> Route:
    return read_route(lay({"layouts/a.csv": table}))


def told(route: Route) -> list[tuple[str, str]]:
    return [(problem.kind, str(problem.place)) for problem in route.problems]


def test_slots_and_changes_of_a_table(lay: Lay) -> None:
    route = read(lay, TABLE)
    assert told(route) == []
    layout = route.layouts[0].layout
    assert (layout.machine, layout.effective) == ("m-1", datetime(2026, 8, 3, 7))
    states = [
        (state.label, state.start.day, state.in_use, state.bus, state.product, state.price, state.par)
        for state in slot_states(layout)
    ]
    assert states == [
        ("A1", 3, True, 161, "oat-bar", Decimal("1.75"), 8),
        ("A1", 14, True, 161, "crisps", Decimal("2.25"), 8),
        ("A2", 3, True, 162, "water", Decimal("2.00"), 8),
        ("A2", 21, False, 162, "water", Decimal("2.00"), 8),
        ("A3", 3, False, None, None, None, None),
        ("A3", 10, True, 163, "gum", Decimal("1.00"), 20),
    ]


def test_the_table_says_what_the_same_toml_says(lay: Lay) -> None:
    toml = LAYOUT + '[[slot]]\nlabel = "A1"\nbus = 161\nproduct = "oat-bar"\nprice = "1.75"\n'
    toml += '[[change]]\nfrom = 2026-09-01T10:00:00\nlabel = "A1"\nprice = "2.00"\n'
    table = "label,from,machine,price,product,bus\nA1,2026-08-03 07:00,m-1,1.75,oat-bar,161\n"
    table += "A1,2026-09-01 10:00,,2.00,,\n"
    from_toml = read_route(lay({"layouts/a.toml": toml})).layouts[0].layout
    (lay() / "layouts" / "a.toml").unlink()
    assert read(lay, table).layouts[0].layout == from_toml


@pytest.mark.parametrize(
    ("path", "place"),
    [
        (("slot", 0, "bus"), "2:25"),
        (("slot", 1, "price"), "3:38"),
        (("slot", 2, "label"), "4:16"),
        (("change", 0, "bus"), "4:19"),
        (("change", 1, "price"), "5:32"),
        (("change", 1, "bus"), "5:1"),
        (("change", 2), "6:1"),
        (("effective",), "2:5"),
        (("machine",), "2:1"),
        ((), "1:1"),
    ],
)
def test_places_are_line_and_character(lay: Lay, path: tuple[str | int, ...], place: str) -> None:
    assert str(read(lay, TABLE).layouts[0].place(path)) == f"layouts/a.csv:{place}"


@pytest.mark.parametrize("delimiter", [";", "\t"])
@pytest.mark.parametrize("ends", ["\n", "\r\n", "\r"])
def test_other_delimiters_line_ends_and_a_byte_order_mark(lay: Lay, delimiter: str, ends: str) -> None:
    table = TABLE.replace(",", delimiter).replace("\n", ends)
    route = read(lay, b"\xef\xbb\xbf" + table.encode())
    assert told(route) == []
    assert len(route.layouts[0].layout.slots) == 3


def test_quoted_cells_do_not_shift_a_place(lay: Lay) -> None:
    table = 'machine,from,label,product,price\nm-1,2026-08-03,"A,1","say ""ah"", bar",1.755\n'
    assert told(read(lay, table)) == [("bad-value", "layouts/a.csv:2:40")]


ROW = "m-1,2026-08-03 07:00,A1,161,A,2,oat-bar,1.75,1.85,10,8,\n"
BAD = [
    ("unknown column", HEAD.replace("price,", "prise,", 1) + ROW, "unknown-key", "1:43"),
    ("column twice", HEAD.replace("card_price", "price") + ROW, "bad-value", "1:49"),
    ("no from column", "machine,label\nm-1,A1\n", "bad-value", "1:1"),
    ("no row", HEAD, "bad-value", "1:1"),
    ("long row", HEAD + ROW[:-1] + ",,x\n", "bad-value", "2:58"),
    ("open quote", HEAD + ROW + 'm-1,2026-08-03,"A2,1\n', "bad-value", "3:1"),
    ("no label", HEAD + ROW.replace("A1", ""), "bad-value", "2:22"),
    ("no from", HEAD + ROW.replace("2026-08-03 07:00", ""), "bad-value", "2:5"),
    ("no time", HEAD + ROW.replace("2026-08-03", "03/08/2026"), "bad-value", "2:5"),
    ("offset", HEAD + ROW.replace("07:00", "07:00Z"), "bad-value", "2:5"),
    ("no machine", HEAD + ROW.replace("m-1", ""), "bad-value", "2:1"),
    ("two machines", HEAD + ROW + ROW.replace("m-1", "m-2"), "bad-value", "3:1"),
    ("id", HEAD + ROW.replace("m-1", "a/b"), "bad-value", "2:1"),
    ("bus", HEAD + ROW.replace("161", "A1h"), "bad-value", "2:25"),
    ("retire", HEAD + ROW[:-1] + "gone\n", "bad-value", "2:56"),
    ("price", HEAD + ROW.replace("1.75", "$1.75"), "bad-value", "2:41"),
    ("row twice", HEAD + ROW + "\n" + ROW, "duplicate-label", "4:22"),
]


@pytest.mark.parametrize(("table", "kind", "place"), [row[1:] for row in BAD], ids=[row[0] for row in BAD])
def test_a_bad_table_is_told_once_and_left_out(lay: Lay, table: str, kind: str, place: str) -> None:
    route = read(lay, table)
    assert told(route) == [(kind, f"layouts/a.csv:{place}")]
    assert route.layouts == ()


@pytest.mark.parametrize(
    ("table", "kind", "place", "ids"),
    [
        ("id,name\na,A\na,B\n", "bad-value", "3:1", ["a"]),
        ("id,nmae\na,A\n", "unknown-key", "1:4", ["a"]),
        ("name\nA\n", "bad-value", "1:1", []),
        ("id,unit_cost\na,0.62501\nb,0.1234567\n", "bad-value", "3:3", ["a", "b"]),
        ("id,unit_cost\na,x\nb,0.5\n", "bad-value", "2:3", ["a", "b"]),
        ("id,case_size\na,0\n", "bad-value", "2:3", ["a"]),
        ("id,name\n,A\n", "bad-value", "2:1", []),
        ("id\na,b\n", "bad-value", "2:3", ["a"]),
        ("\n", "bad-value", "1:1", []),
    ],
)
def test_bad_products(lay: Lay, table: str, kind: str, place: str, ids: list[str]) -> None:
    route = read_route(lay({"products.csv": table}))
    assert told(route) == [(kind, f"products.csv:{place}")]
    assert list(route.products) == ids
    assert route.has_products


def test_a_bad_cost_is_left_out_and_the_product_stays_known(lay: Lay) -> None:
    route = read_route(lay({"products.csv": "id,unit_cost,case_size\na,-1,24\n"}))
    assert route.products["a"].unit_cost is None
    assert route.products["a"].case_size == 24


def test_no_products_file_is_no_problem(lay: Lay) -> None:
    route = read_route(lay())
    assert (route.has_products, dict(route.products), route.problems) == (False, {}, ())
