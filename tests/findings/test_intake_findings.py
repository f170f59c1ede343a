"""Findings about files: each kind fires, its near miss does not, with the rows behind it (invented data)."""

import pytest
from builders import NOW, RouteBuilder, kinds, of_kind, only, places, slot

GOOD = ("09-01 09:00, A1, 9", "09-08 09:00, A1, 9")


@pytest.mark.parametrize(
    ("content", "name"),
    [
        (b"\x89PNG\r\n\x1a\n\0\0\0", "sales.csv"),
        (b"", "counts.csv"),
        (b"   \n\n", "counts.csv"),
    ],
)
def test_a_file_that_is_no_text(route: RouteBuilder, content: bytes, name: str) -> None:
    run = route.counts(*GOOD, name="good.csv").file(f"inbox/{name}", content).run()
    found = only(run.results.findings)
    assert (found.kind, found.severity, places(found), found.evidence_count) == (
        "unreadable-file",
        "error",
        {(name, None)},
        1,
    )
    told = {file.file: (file.rows, file.accepted, file.rejected) for file in run.results.inputs}
    assert told == {"inbox/good.csv": (2, 2, 0), f"inbox/{name}": (0, 0, 0)}
    assert len(run.results.stock) == 1


def test_a_table_in_no_known_format(route: RouteBuilder) -> None:
    run = route.counts(*GOOD).file("inbox/door.csv", "when,who\n2026-09-01,nobody\n2026-09-02,nobody\n").run()
    found = only(run.results.findings)
    assert (found.kind, found.severity, places(found)) == ("unknown-format", "error", {("door.csv", None)})
    door = next(file for file in run.results.inputs if file.file == "inbox/door.csv")
    assert (door.rows, door.accepted, door.rejected, door.kind) == (2, 0, 2, None)
    assert run.frames["rejects"]["row"].to_list() == [2, 3]


@pytest.mark.parametrize(
    ("day", "told"), [("03/04/2026", {"unknown-format"}), ("13/04/2026", set()), ("2026-03-04", set())]
)
def test_dates_that_read_two_ways(route: RouteBuilder, day: str, told: set[str]) -> None:
    """03/04 is the third of April or the fourth of March; 13/04 has one reading, and so has a year in
    front."""
    run = route.file("inbox/vends.csv", f"machine,time,label,tender,price\nm-1,{day} 12:00,A1,card,2.00\n").run()
    assert kinds(run) - {"no-opening-count"} == told


def test_a_description_that_names_a_column_that_is_not_there(route: RouteBuilder) -> None:
    route.file(
        "sources/log.toml",
        'kind = "counts"\nfiles = ["counts*"]\n'
        '[columns]\nmachine = "machine"\ntime = "time"\nlabel = "label"\ncounted = "units"\n',
    )
    run = route.counts(*GOOD).run()
    assert [(found.kind, places(found)) for found in run.results.findings] == [
        ("unknown-format", {("counts.csv", None)})
    ]


def test_two_descriptions_for_one_file(route: RouteBuilder) -> None:
    for name in ("one", "two"):
        route.file(f"sources/{name}.toml", 'kind = "counts"\nfiles = ["counts*"]\n')
    run = route.counts(*GOOD).run()
    assert [(found.kind, places(found)) for found in run.results.findings] == [
        ("unknown-format", {("counts.csv", None)})
    ]


BAD_ROWS = [
    ("counts", "09-02 09:00, A1, ten"),
    ("counts", "09-02 09:00, A1, -1"),
    ("counts", "09-02 09:00, A1, 1.5"),
    ("counts", "09-02 09:00, B7, 1"),
    ("counts", "1970-01-01 00:00, A1, 1"),
    ("counts", "09-31 09:00, A1, 1"),
    ("counts", ", A1, 1"),
    ("counts", "09-02 09:00, , 1"),
    ("vends", "09-02 09:00, A1, cash, 1000000000"),
    ("vends", "09-02 09:00, A1, cash, 1.755"),
    ("vends", "09-02 09:00, A1, barter, 1.75"),
    ("vends", "09-02 09:00, A1, , 1.75"),
    ("vends", "09-02 09:00, A1, cash, 1.75, vanished"),
    ("vends", "09-02 09:00, A1, cash, 1.75, vended, , 0"),
    ("vends", "09-02 09:00, A1, cash, 1.75, vended, , 1001"),
    ("loads", "09-02 09:00, A1, , "),
    ("loads", "09-02 09:00, A1, 100001"),
    ("cash", "09-02 09:00, "),
    ("cash", "09-02 09:00, -1.00"),
    ("payouts", "2026-09-02, 2026-09-08, 2026-09-07, 1, 0, 1"),
    ("payouts", "2026-09-02, 2026-09-01, 2026-09-07, 1, 0, "),
    ("payouts", "2026-12-02, 2026-09-01, 2026-09-07, 1, 0, 1"),
    ("tests", "B7"),
]
GOOD_ROWS = {
    "counts": "09-02 09:00, A1, 1",
    "vends": "09-02 09:00, A1, cash, 1.75",
    "loads": "09-02 09:00, A1, 1",
    "cash": "09-02 09:00, 1.00",
    "payouts": "2026-09-02, 2026-09-01, 2026-09-07, 1, 0, 1",
    "tests": "A1",
}


def test_rows_that_cannot_be_used_and_their_neighbours_that_can(route: RouteBuilder) -> None:
    """Each file has one bad row on line 2, and a good one below it."""
    for at, (kind, row) in enumerate(BAD_ROWS):
        getattr(route, kind)(row, GOOD_ROWS[kind], name=f"{at:02d}-{kind}.csv")
    run = route.run()
    found = of_kind(run, "rejected-row")
    names = [f"{at:02d}-{kind}.csv" for at, (kind, _) in enumerate(BAD_ROWS)]
    assert sorted(places(each).pop() for each in found) == [(name, 2) for name in names]
    assert {each.severity for each in found} == {"error"}
    assert {file.file: (file.rows, file.rejected) for file in run.results.inputs} == {
        f"inbox/{name}": (2, 1) for name in names
    }
    assert run.frames["rejects"]["reason"].str.len_chars().min() > 5  # type: ignore[operator]
    assert "future-time" not in kinds(run)


def test_a_time_after_the_run(route: RouteBuilder) -> None:
    """The moment of the run itself is not after it."""
    route.vends(
        f"{NOW:%Y-%m-%d %H:%M:%S}, A1, card",
        f"{NOW:%Y-%m-%d %H:%M}:01, A1, card",
        "2099-01-01 00:00:00, A1, card",
    )
    run = route.run()
    found = {(each.kind, each.severity, *places(each)) for each in of_kind(run, "future-time", "rejected-row")}
    assert found == {("future-time", "error", ("vends.csv", line)) for line in (3, 4)}
    assert (only(run.results.inputs).accepted, only(run.results.inputs).rejected) == (1, 2)


def test_exports_that_overlap(route: RouteBuilder) -> None:
    """Two vends in one second are two; the same two in a second export are none more. A vend with a reference
    counts once for each reference."""
    twin = "09-03 12:00, A1, cash, 2.00"
    route.vends(twin, twin, "09-03 12:01, A1, cash, 2.00, vended, T-1", name="sales-1.csv")
    route.vends(
        twin,
        twin,
        twin,
        "09-03 12:01, A1, cash, 2.00, vended, T-1",
        "09-03 12:01, A1, cash, 2.00, vended, T-2",
        name="sales-2.csv",
    )
    run = route.run()
    found = only(of_kind(run, "duplicate-row", "reference-reused"))
    assert (found.kind, found.severity, places(found)) == (
        "duplicate-row",
        "note",
        {("sales-2.csv", 2), ("sales-2.csv", 3), ("sales-2.csv", 5)},
    )
    assert [(file.accepted, file.duplicate) for file in run.results.inputs] == [(3, 0), (2, 3)]
    assert run.results.machines[0].vends == 5


def test_a_file_twice_under_two_names_is_a_warning(route: RouteBuilder) -> None:
    for name in ("sales-1.csv", "sales-2.csv"):
        route.vends("09-03 12:00, A1, card, 2.00", "09-03 12:01, A1, card, 2.00", name=name)
    run = route.run()
    found = only(of_kind(run, "duplicate-row"))
    assert (found.severity, places(found)) == ("warning", {("sales-2.csv", 2), ("sales-2.csv", 3)})
    assert run.results.machines[0].vends == 2


def test_one_reference_for_two_vends_that_differ(route: RouteBuilder) -> None:
    """T-1 at two moments with two prices is two vends; T-2 twice with all the same is one; another machine's
    T-1 is its own."""
    route.machine("m-2", slot("A1")).vends(
        "09-03 12:00, A1, card, 2.00, vended, T-1", "09-04 12:00, A1, card, 2.10, vended, T-1"
    )
    route.vends("09-03 13:00, A1, card, 2.00, vended, T-2", "09-03 13:00, A1, card, 2.00, vended, T-2")
    route.vends("09-03 12:00, A1, card, 2.00, vended, T-1", machine="m-2")
    run = route.run()
    found = only(of_kind(run, "reference-reused"))
    assert (found.severity, found.machine, places(found)) == (
        "warning",
        "m-1",
        {("vends.csv", 2), ("vends.csv", 3)},
    )
    assert [machine.vends for machine in run.results.machines] == [3, 1]


def test_a_vend_that_comes_back_refunded_is_one_vend(route: RouteBuilder) -> None:
    """T-1 was refunded in the meantime, wherever the files stand in the alphabet; T-2 is what it was."""
    route.vends("09-03 12:00, A1, card, 2.00, vended, T-1", "09-03 13:00, A1, card, 2.00, vended, T-2", name="b.csv")
    route.vends(
        "09-03 12:00, A1, card, 2.00, refunded, T-1",
        "09-03 13:00, A1, card, 2.00, vended, T-2",
        "09-09 12:00, A1, card, 2.00, vended, T-3",
        name="a.csv",
    )
    run = route.run()
    found = only(of_kind(run, "vend-changed", "reference-reused"))
    assert (found.kind, found.severity, found.machine, places(found)) == (
        "vend-changed",
        "note",
        "m-1",
        {("a.csv", 2), ("b.csv", 2)},
    )
    machine = only(run.results.machines)
    assert (machine.vends, machine.card_sales) == (3, 4)
    assert [(file.accepted, file.duplicate) for file in run.results.inputs] == [(3, 0), (0, 2)]


def test_local_times_that_happened_twice_or_never(route: RouteBuilder) -> None:
    """America/Halifax 2026 (IANA): 02:00 on 8 March became 03:00, 02:00 on 1 November became 01:00. In UTC
    and with an offset in the cell nothing is in doubt."""
    route.settings(timezone="America/Halifax").machine("m-2", slot("A1"), timezone="UTC")
    spring, autumn = "03-08 02:30", "11-01 01:30"
    route.vends(
        f"{spring}, A1, card",
        f"{autumn}, A1, card",
        "03-08 01:59, A1, card",
        "03-08 03:00, A1, card",
        "11-01 00:59, A1, card",
        "11-01 02:00, A1, card",
    )
    route.vends(f"{spring}, A1, card", f"{autumn}, A1, card", machine="m-2", name="other.csv")
    route.vends("2026-11-01T01:45:00-03:00, A1, card", "2026-11-01T01:45:00-04:00, A1, card", name="offsets.csv")
    run = route.run()
    found = {
        each.kind: (each.severity, each.machine, places(each))
        for each in of_kind(run, "ambiguous-time", "nonexistent-time")
    }
    assert found == {
        "nonexistent-time": ("warning", "m-1", {("vends.csv", 2)}),
        "ambiguous-time": ("note", "m-1", {("vends.csv", 3)}),
    }
    times = {
        row: f"{time:%m-%d %H:%M}"
        for row, time in run.frames["vends"].filter(run.frames["vends"]["file"] == 2).select("row", "time").iter_rows()
    }
    # The one that never happened is moved on by the gap to 03:30 (-03:00); the one that happened twice is the
    # earlier (-03:00).
    assert (times[2], times[3]) == ("03-08 06:30", "11-01 04:30")


@pytest.mark.parametrize(("vends", "hour", "told"), [(60, 22, True), (59, 22, False), (60, 10, False)])
def test_an_export_whose_hours_do_not_fit_its_machine(route: RouteBuilder, vends: int, hour: int, told: bool) -> None:
    """Two exports show sales from 9 to 15 o'clock. Sixty vends from 22 to 4 are in another zone; fifty-nine are
    too few to say, and an hour later is no other zone."""
    for name, first, count in (("day-1.csv", 9, 70), ("day-2.csv", 9, 70), ("other.csv", hour, vends)):
        rows = [f"09-{10 + at // 7} {(first + at % 7) % 24:02d}:{at % 60:02d}, A1, token" for at in range(count)]
        route.vends(*[row.replace("09-", "08-") if name == "day-2.csv" else row for row in rows], name=name)
    found = of_kind(route.run(), "zone-suspect")
    assert [(each.severity, places(each)) for each in found] == ([("warning", {("other.csv", None)})] if told else [])


def test_a_full_card_number_keeps_the_file_out(route: RouteBuilder) -> None:
    """A made-up number with a right check digit (ISO/IEC 7812-1, Luhn), and one digit off it."""
    for number, told in (("4000000000000002", {"card-number-present"}), ("4000000000000003", set())):
        route.file(
            "inbox/vends.csv",
            f"machine,time,label,tender,price,note\nm-1,2026-09-03 12:00,A1,card,2.00,{number}\n",
        )
        run = route.run()
        assert kinds(run) & {"card-number-present"} == told
        assert (only(run.results.inputs).accepted == 1) == (not told)
        assert number not in run.json()


def test_hidden_files_are_passed_over(route: RouteBuilder) -> None:
    route.counts(*GOOD).file("inbox/.DS_Store", b"\0").file("inbox/~counts.csv", b"\0").file("inbox/counts.csv~", b"\0")
    assert [file.file for file in route.run().results.inputs] == ["inbox/counts.csv"]
