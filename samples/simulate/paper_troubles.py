"""Troubles of the files themselves: what cannot be read, known, used or told apart."""

from datetime import timedelta

from simulate.paper import COUNT_HEADER, READER_HEADER, reader_row, week_name
from simulate.plant import Planted, Troubles, vends_of
from simulate.route import local
from simulate.settings_files import table
from simulate.world import Vend, World, monday

PHOTO = b"\x89PNG\r\n\x1a\n" + bytes((at * 37 + 11) % 256 for at in range(600))
"""The beginning of a picture, and bytes that are no text in any encoding."""


def with_check_digit(digits: str) -> str:
    """The digits and their check digit by ISO/IEC 7812 (Luhn), so that they pass for a card number."""
    total = 0
    for at, digit in enumerate(reversed(digits)):
        doubled = int(digit) * (2 if at % 2 == 0 else 1)
        total += doubled // 10 + doubled % 10
    return f"{digits}{-total % 10}"


FALSE_CARD = with_check_digit("990000112233445")
"""Sixteen digits, made up, that pass the check. They belong to nobody and pay for nothing."""


def files(world: World, troubles: Troubles) -> None:
    """A picture called .csv, a table that nobody described, an export with a full card number in it."""
    world.other_files["sales-2026-36-photo.csv"] = PHOTO
    readings = [["2026-08-24", "front", "41873"], ["2026-08-31", "front", "43106"]]
    world.other_files["door-readings.csv"] = table(["Day", "Door", "Passages"], readings).encode()
    asked = vends_of(world, "quay-5", 3, lambda row: row.tender == "card")[:2]
    rows = [[*reader_row(vend), FALSE_CARD if at == 0 else ""] for at, vend in enumerate(asked)]
    world.other_files["sales-2026-36-support.csv"] = table([*READER_HEADER, "Card"], rows).encode()
    troubles.planted += [
        Planted("unreadable-file", "a picture saved under the name of an export",
                "the file, and that no text was found in it", file="inbox/sales-2026-36-photo.csv"),
        Planted("unknown-format", "a table that no description in sources/ fits",
                "the file and its headers", file="inbox/door-readings.csv"),
        Planted("card-number-present", "two rows again, with a made-up card number in one more column",
                "the file is not taken in; its rows stand in sales-2026-36.csv without the number",
                file="inbox/sales-2026-36-support.csv"),
    ]  # fmt: skip


def rows(world: World, troubles: Troubles) -> None:
    """A count in a word, a price with two commas: neither changes a balance."""
    spot = [["climb-1", "2026-09-03T14:30:00", "A1", "ten", "", "", "JB", "spot check"]]
    world.other_files["counts-2026-09-03.csv"] = table(COUNT_HEADER, spot).encode()
    at = monday(2) + timedelta(days=2, hours=18, minutes=41, seconds=7)
    failed = Vend("climb-1", "A3", at, "card", "failed", 175, 12, "C079902", 2, price_cell="1,75,0")
    world.vends.append(failed)
    for file, what, seen in (
        ("inbox/counts-2026-09-03.csv", "a spot check counted `ten`", "ten is not a whole number"),
        (f"inbox/climb-1-vends-{week_name(2)}.csv", "a failed vend has the price `1,75,0`",
         "1,75,0 reads neither as 1.75 nor as 175.0"),
    ):  # fmt: skip
        seen = f"{seen}; the row is in rejects.csv"
        troubles.planted.append(Planted("rejected-row", what, seen, file=file))


def vends(world: World, troubles: Troubles) -> None:
    """A vend in 2099, a machine without a layout, one reference for two vends, exports that overlap."""
    future = local(2099, 1, 1, 0, 0)
    world.vends.append(Vend("climb-1", "B1", future, "cash", "failed", 200, 20, "C079903", 3))
    tuesday = monday(2) + timedelta(days=1, hours=12)
    world.vends += [
        Vend("0999", "3", tuesday + timedelta(minutes=at), "cash", "vended", 200, 3, f"X07990{4 + at}", 2)
        for at in (0, 1)
    ]
    first = vends_of(world, "library-1", 0, lambda row: row.dropped)[3]
    again = vends_of(world, "library-1", 4, lambda row: row.dropped and row.label != first.label)[3]
    again.reference = first.reference
    troubles.planted += [
        Planted("future-time", "a failed vend from a clock that had lost the date: 2099-01-01",
                "a time after the run; the row changes no balance", "climb-1",
                file=f"inbox/climb-1-vends-{week_name(3)}.csv"),
        Planted("unknown-machine", "two vends of terminal 0999, which is in no description and has no layout",
                "a machine with no layout", "0999", file=f"inbox/sales-{week_name(2)}.csv"),
        Planted("reference-reused", f"receipt {first.reference} stands on two vends, four weeks apart",
                "both vends counted, the reference named", "library-1",
                file=f"inbox/borne-library-1-{week_name(4)}.csv"),
        Planted("duplicate-row", "each export begins on the Sunday that the one before it ends with",
                "the Sunday's vends counted once", file=f"inbox/sales-{week_name(1)}.csv"),
    ]  # fmt: skip
