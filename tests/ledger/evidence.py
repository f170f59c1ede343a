"""A route that was run and recorded, bundles of it, and what it takes to tamper with one."""

import hashlib
from pathlib import Path

from builders import NOW, RouteBuilder, change, slot

from recon.ledger.bundle import zipped
from recon.packed import Packed, pack
from recon.recorded import run_and_record

SECRET = "SECRET-7"
"""A reference of another machine, which is not to be seen where only the rows of m-1/A1 are packed."""


def route_of_two(root: Path) -> RouteBuilder:
    """Two machines; m-1/A1 is short by 2, and its count of the 8th was put right by a later sheet."""
    route = RouteBuilder(root)
    route.machine("m-1", slot("A1"), slot("A2"), changes=[change("2026-09-05T00:00:00", "A2", price="2.50")])
    route.machine("m-2", slot("A1"))
    route.products(gum="0.50")
    route.counts("09-01 09:00, A1, 10", "09-01 09:00, A2, 10", "09-08 09:00, A1, 5", "09-08 09:00, A2, 9")
    route.counts("09-01 09:30, A1, 10", "09-08 09:30, A1, 9", name="counts-2.csv", machine="m-2")
    route.counts("09-08 09:00, A1, 6", name="z-correction.csv")
    route.vends("09-03 12:00, A1, cash, 2.00, vended, first", "09-04 12:00, A1, card, 2.00, vended, second")
    route.vends("09-03 13:00, A2, cash, 2.00, vended, third")
    route.vends(f"09-03 14:00, A1, cash, 2.00, vended, {SECRET}", machine="m-2")
    route.cash("09-01 09:00, 5.00", "09-08 09:00, 4.00")
    return route


def recorded(root: Path) -> Path:
    """The route after a run. Returns its folder."""
    route_of_two(root)
    run_and_record(root, now=NOW)
    return root


def unpacked(packed: Packed, folder: Path) -> Path:
    """The files of a bundle in a folder."""
    for name, data in packed.files.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(data)
    return folder


def summed(folder: Path) -> None:
    """Make the list of hashes anew, as somebody would who altered a file."""
    names = [line.split("  ", 1)[1] for line in (folder / "SHA256SUMS").read_text().splitlines()]
    there = [name for name in names if (folder / name).is_file()]
    lines = [f"{hashlib.sha256((folder / name).read_bytes()).hexdigest()}  {name}\n" for name in there]
    (folder / "SHA256SUMS").write_text("".join(lines))


__all__ = ["NOW", "SECRET", "pack", "recorded", "route_of_two", "summed", "unpacked", "zipped"]
