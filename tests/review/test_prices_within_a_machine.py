"""Which of two prices of a product is the odd one, where no other machine tells."""

from pathlib import Path

from builders import RouteBuilder, slot

from recon.findings.layouts import check


def _odd(root: Path) -> list[str | None]:
    return [problem.label for problem in check(root) if problem.kind == "price-varies"]


def test_within_a_machine_the_price_of_fewer_slots_is_told(tmp_path: Path) -> None:
    builder = RouteBuilder(tmp_path / "route")
    slots = [slot("1", bus=1, price="2.25"), slot("2", bus=2), slot("3", bus=3), slot("4", bus=4)]
    builder.machine("m-1", *slots)
    assert _odd(builder.root) == ["1"]


def test_machines_count_before_slots(tmp_path: Path) -> None:
    builder = RouteBuilder(tmp_path / "route")
    builder.machine("m-1", *(slot(str(at), bus=at, price="2.25") for at in (1, 2, 3)))
    builder.machine("m-2", slot("1", bus=1)).machine("m-3", slot("1", bus=1))
    assert _odd(builder.root) == ["1", "2", "3"]
