"""Layouts that are read, checked and laid out by what they share give the same as each of them by itself."""

import random
from collections.abc import Iterator
from itertools import zip_longest
from pathlib import Path
from typing import Any

import polars as pl
import pytest
from across_by_slot import across_by_slot
from polars.testing import assert_frame_equal
from random_layouts import write_route

from recon.findings.across import across_problems
from recon.findings.clean_layouts import Glance
from recon.findings.layouts import check, layout_problems
from recon.match.states import COST_DIGITS, in_utc, layouts
from recon.match.timeline import slot_states, tray_of
from recon.model.frames import SLOTS, STATES
from recon.model.money import to_minor
from recon.route.folder import Route, read_route
from recon.route.layout_blocks import Blocks
from recon.route.layouts import read_layout

SEEDS = range(150)


@pytest.fixture(params=SEEDS)
def root(request: pytest.FixtureRequest, tmp_path: Path) -> Path:
    return write_route(tmp_path / "route", request.param)


def test_blocks_that_recur_are_read_as_the_whole_file_is(root: Path) -> None:
    blocks = Blocks()
    for _ in range(2):
        for path in sorted((root / "layouts").iterdir()):
            alone, told = read_layout(root, f"layouts/{path.name}")
            found, again = read_layout(root, f"layouts/{path.name}", blocks)
            assert again == told
            assert (found is None) == (alone is None)
            if found is not None and alone is not None:
                assert found.layout == alone.layout
                every = [("machine",), *(("slot", at, "label") for at in range(len(found.layout.slots)))]
                assert [found.place(place) for place in every] == [alone.place(place) for place in every]


def test_a_glance_passes_over_nothing(root: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    quick = check(root)
    monkeypatch.setattr(Glance, "is_clean", lambda self, layout: False)
    assert quick == check(root)


def test_layouts_are_compared_as_slot_by_slot(root: Path) -> None:
    route = read_route(root)
    told = [
        (one.kind, one.machine or "", one.label or "", one.facts["found"], one.facts["expected"])
        for one in across_problems(route.layouts, "CAD")
    ]
    assert sorted(told) == across_by_slot([entry.layout for entry in route.layouts], "CAD")


def test_frames_are_those_of_each_slot_by_itself(root: Path) -> None:
    route = read_route(root)
    laid = layouts(route)
    slots, states = _by_slot(route)
    assert_frame_equal(laid.slots, pl.DataFrame(slots, schema=SLOTS.schema, orient="row"))
    assert_frame_equal(laid.states.drop("ends"), pl.DataFrame(states, schema=STATES.schema, orient="row").drop("ends"))
    ends = [
        after["starts"] if after is not None and after["slot"] == state["slot"] else None
        for state, after in _with_next(laid.states)
    ]
    assert laid.states["ends"].to_list() == ends


def test_the_random_layouts_are_of_all_kinds(tmp_path: Path) -> None:
    """The tests above would show nothing on layouts that are all right, all wrong, or never alike."""
    kinds, clean, shared, laid = set(), 0, 0, 0
    for seed in SEEDS:
        route = read_route(write_route(tmp_path / str(seed), seed))
        kinds |= {problem.kind for problem in (*route.problems, *layout_problems(route))}
        glance = Glance(route.products if route.has_products else None)
        clean += sum(glance.is_clean(entry.layout) and entry.layout.slots != () for entry in route.layouts)
        blocks = [id(slot) for entry in route.layouts for slot in entry.layout.slots]
        shared += len(blocks) - len(set(blocks))
        laid += len(blocks)
    assert kinds >= {
        "bad-value", "unknown-key", "duplicate-label", "duplicate-number", "duplicate-machine", "rule-disagrees",
        "change-out-of-order", "change-unknown-label", "number-out-of-range", "missing-number", "missing-price",
        "price-off-step", "par-over-capacity", "unknown-product", "numbering-differs", "price-varies",
    }  # fmt: skip
    assert clean > 30
    assert laid > 2 * shared > laid / 2


def _by_slot(route: Route) -> tuple[list[tuple[Any, ...]], list[tuple[Any, ...]]]:
    """Rows of the frames `slots` and `states`, slot by slot."""
    slots: list[tuple[Any, ...]] = []
    states: list[tuple[Any, ...]] = []
    for layout in sorted((entry.layout for entry in route.layouts), key=lambda layout: layout.machine):
        digits, zone_name, label = route.exponent_of(layout.machine), route.zone_of(layout.machine), None
        for state in slot_states(layout):
            if state.label != label:
                label = state.label
                slots.append((len(slots), layout.machine, label))
            starts = in_utc(state.start, zone_name)
            if states and states[-1][1] == len(slots) - 1:
                starts = max(starts, states[-1][4])
            product = route.products.get(state.product or "")
            cost = None if product is None or product.unit_cost is None else product.unit_cost
            money = [None if amount is None else to_minor(amount, digits) for amount in (state.price, state.card_price)]
            states.append(
                (len(states), len(slots) - 1, layout.machine, label, starts, None, state.in_use, state.bus,
                 state.product, *money, state.capacity,
                 None if cost is None else to_minor(cost, digits + COST_DIGITS), state.par, tray_of(state),
                 state.pitch, None if product is None else product.name)
            )  # fmt: skip
    return slots, states


def _with_next(states: pl.DataFrame) -> Iterator[tuple[dict[str, Any], dict[str, Any] | None]]:
    rows = states.to_dicts()
    return zip_longest(rows, rows[1:])


def test_a_slot_is_not_taken_for_one_that_was_there_before(tmp_path: Path) -> None:
    """Slots are told apart by their ids, which a later object may have once an earlier one is gone."""
    draw = random.Random(1)
    folder = tmp_path / "layouts"
    folder.mkdir()
    (tmp_path / "route.toml").write_text('name = "x"\ncurrency = "CAD"\ntimezone = "UTC"\n', encoding="utf-8")
    for at in range(60):
        price, odd = draw.choice((("1.75", ""), ("1.755", ""), ("1.75", "prise = 1\n")))
        # A comment behind its header keeps a block from being shared.
        head = f'machine = "m-{at}"\neffective = 2026-08-03\n'
        text = f'{head}[[slot]] # {at}\nlabel = "{at}"\nbus = 1\nprice = "{price}"\n'
        (folder / f"m-{at:02}.toml").write_text(text + odd, encoding="utf-8")
    expected = [path.name for path in sorted(folder.iterdir()) if "1.755" in path.read_text(encoding="utf-8")]
    told = [problem.place.file for problem in check(tmp_path) if problem.kind == "bad-value"]
    assert told == [f"layouts/{name}" for name in expected]
