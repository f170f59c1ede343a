"""Each kind of file, from its bytes to its canonical frame: what is kept, what is refused, and why."""

from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from inbox import NOW, account, notices, rejects, taken


def at(hour: int, minute: int = 0, day: int = 14) -> datetime:
    """A moment of September 2026 in UTC. Halifax is three hours behind it."""
    return datetime(2026, 9, day, hour, minute, tzinfo=UTC)


def test_vends(tmp_path: Path) -> None:
    intake = taken(tmp_path, {"v.csv": (
        "machine,time,bus,label,price,tender,outcome,reference,quantity\n"
        "m-1,2026-09-14 09:00:30,272,110,1.75,cash,vended,r1,1\n"
        "m-1,2026-09-14 09:05,,A4,,Card,FAILED,,\n"
        "y-1,2026-09-14 21:00,1,,150,prepaid,,,2\n"
        "m-1,2026-09-14T13:00:00Z,65535,,655.35,free,refunded,,\n"
    )})  # fmt: skip
    assert intake.vends.drop("file", "zone").rows() == [
        (2, "m-1", at(12).replace(second=30), 272, "110", 175, "cash", "vended", "r1", 1),
        (3, "m-1", at(12, 5), None, "A4", None, "card", "failed", None, 1),
        (4, "y-1", at(12), 1, None, 150, "prepaid", "vended", None, 2),
        (5, "m-1", at(13), None, None, None, "free", "refunded", None, 1),
    ]
    assert intake.vends["zone"].to_list() == [
        "America/Halifax",
        "America/Halifax",
        "Asia/Tokyo",
        "America/Halifax",
    ]
    assert notices(intake) == []


def test_counts(tmp_path: Path) -> None:
    intake = taken(tmp_path, {"c.csv": (
        "machine,time,label,bus,counted,loaded,removed,counter,note\n"
        "m-1,2026-09-14 09:00,110,,4,6,1,Ann,\"two, torn\"\n"
        "m-1,2026-09-14 09:00,112,,,,,,\n"
        "m-1,2026-09-14 09:00,,164,0,0,0,,\n"
    )})  # fmt: skip
    assert intake.counts.drop("file", "zone").rows() == [
        (2, "m-1", at(12), "110", None, 4, 6, 1, "Ann", "two, torn"),
        (3, "m-1", at(12), "112", None, None, 0, 0, None, None),
        (4, "m-1", at(12), None, 164, 0, 0, 0, None, None),
    ]


def test_loads(tmp_path: Path) -> None:
    intake = taken(tmp_path, {"l.csv": (
        "machine,date,clock,label,loaded,removed,reason\n"
        "m-1,2026-09-14,09:00,110,6,,\n"
        "m-1,2026-09-14,09:00,112,,2,stale\n"
        "m-1,2026-09-14,09:00,A4,,,nothing\n"
    )})  # fmt: skip
    assert intake.loads.drop("file", "zone", "note").rows() == [
        (2, "m-1", at(12), "110", None, 6, 0, None), (3, "m-1", at(12), "112", None, 0, 2, "stale"),
    ]  # fmt: skip
    assert rejects(intake) == [
        ("l.csv", 4, "nothing loaded and nothing removed", "m-1,2026-09-14,09:00,A4,,,nothing")
    ]


def test_cash(tmp_path: Path) -> None:
    intake = taken(tmp_path, {"k.csv": (
        "machine,time,total,notes,coins,tubes\n"
        "m-1,2026-09-14 09:00,103.50,,,20.00\n"
        "m-1,2026-09-15 09:00,,80,23.50,\n"
        "m-1,2026-09-16 09:00,103.50,80,23.50,0\n"
        "y-1,2026-09-14 21:00,1500,,,\n"
        "m-1,2026-09-17 09:00,103.50,80,23.00,\n"
        "m-1,2026-09-18 09:00,,,,20.00\n"
        "m-1,2026-09-19 09:00,-1.00,,,\n"
        "y-1,2026-09-15 21:00,150.5,,,\n"
    )})  # fmt: skip
    assert intake.cash.select("row", "collected", "tubes").rows() == [
        (2, 10350, 2000), (3, 10350, None), (4, 10350, 0), (5, 1500, None),
    ]  # fmt: skip
    assert [(row, reason) for _, row, reason, _ in rejects(intake)] == [
        (6, "total 103.50 is not notes 80 plus coins 23.00"),
        (7, "no total, notes or coins"),
        (8, 'total "-1.00" is below zero'),
        (9, 'total "150.5" has more than the 0 decimal digits of the currency'),
    ]


def test_payouts(tmp_path: Path) -> None:
    intake = taken(tmp_path, {"p.csv": (
        "paid_on,from,to,machine,gross,fees,net,reference\n"
        "2026-09-16,2026-09-07,2026-09-13,,212.00,12.61,199.39,P-1\n"
        "2026-09-17,,,m-1,,,-5.00,\n"
        "2026-09-18,2026-09-13,2026-09-07,,,,1.00,\n"
        "2026-09-19,,,,,,,\n"
        ",,,,,,1.00,\n"
        "2026-09-31,,,,,,1.00,\n"
        "2026-09-29,,,,,,1.00,\n"
        "1999-12-31,,,,,,1.00,\n"
    )})  # fmt: skip
    assert intake.payouts.drop("file").rows() == [
        (2, date(2026, 9, 16), date(2026, 9, 7), date(2026, 9, 13), None, 21200, 1261, 19939, "P-1"),
        (3, date(2026, 9, 17), None, None, "m-1", None, None, -500, None),
    ]
    assert [(row, reason) for _, row, reason, _ in rejects(intake)] == [
        (4, 'from "2026-09-13" is after to "2026-09-07"'), (5, "no net"), (6, "no paid_on"),
        (7, 'paid_on "2026-09-31" does not read as a day'), (8, 'paid_on "2026-09-29" is after this run'),
        (9, 'paid_on "1999-12-31" is from before 2000'),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("zone", "taken_in"), [("Pacific/Auckland", True), ("UTC", False), ("America/Halifax", False)]
)
def test_a_payout_of_today_is_today_in_the_zone_of_the_route(
    zone: str, taken_in: bool, tmp_path: Path
) -> None:
    settings = f'name = "Test route"\ncurrency = "NZD"\ntimezone = "{zone}"\n'
    late = datetime(2026, 9, 27, 20, tzinfo=UTC)
    intake = taken(tmp_path, {"route.toml": settings, "p.csv": "paid_on,net\n2026-09-28,1.00\n"}, now=late)
    assert intake.payouts.height == taken_in


def test_test_vends(tmp_path: Path) -> None:
    intake = taken(
        tmp_path, {"t.csv": "machine,label,time,note\nm-1,110,2026-09-14 09:00,first\nm-1,112,,\nm-1,,,x\n"}
    )
    assert intake.tests.drop("file", "zone").rows() == [
        (2, "m-1", at(12), "110", "first"),
        (3, "m-1", None, "112", None),
    ]
    assert rejects(intake) == [("t.csv", 4, "no label", "m-1,,,x")]


def test_test_vends_without_a_time(tmp_path: Path) -> None:
    intake = taken(tmp_path, {"t.csv": "machine,label\nm-1,110\nm-1,112\n"})
    assert intake.tests["label"].to_list() == ["110", "112"]
    assert intake.tests["time"].to_list() == [None, None]


# --- what is refused ---

VENDS = "machine,time,bus,price,tender,outcome,quantity\n"


@pytest.mark.parametrize(
    ("row", "why"),
    [
        (",2026-09-14 09:00,272,1.75,cash,,", "no machine"),
        ("m-1,,272,1.75,cash,,", "no time"),
        ("m-1,yesterday,272,1.75,cash,,", 'time "yesterday" does not read'),
        ("m-1,1970-01-01 00:00,272,1.75,cash,,", "from before 2000: a clock that was never set"),
        ("m-1,1999-12-31 00:00,272,1.75,cash,,", "from before 2000"),
        ("m-1,2026-09-28 12:01,272,1.75,cash,,", "is after this run"),
        ("m-1,2027-01-01 09:00,272,1.75,cash,,", "is after this run"),
        ("m-1,2026-09-14 09:00,70000,1.75,cash,,", 'bus number "70000" is outside 0 to 65534'),
        ("m-1,2026-09-14 09:00,272,1.755,cash,,", "more than the 2 decimal digits"),
        (
            'm-1,2026-09-14 09:00,272,"1,75",cash,,',
            'price "1,75" does not fit its column, in which the decimal mark is the point',
        ),
        ("m-1,2026-09-14 09:00,272,1e9,cash,,", 'price "1e9" is not an amount'),
        ("m-1,2026-09-14 09:00,272,-1.75,cash,,", "below zero"),
        ("m-1,2026-09-14 09:00,272,1.75,,,", "no tender"),
        ("m-1,2026-09-14 09:00,272,1.75,barter,,", 'tender "barter" is none of'),
        ("m-1,2026-09-14 09:00,272,1.75,cash,dropped,", 'outcome "dropped" is none of'),
        ("m-1,2026-09-14 09:00,272,1.75,cash,,0", 'quantity "0" is outside 1 to'),
        ("m-1,2026-09-14 09:00,272,1.75,cash,,1.5", 'quantity "1.5" is not a whole number'),
        ("m-1,2026-09-14 09:00,272", "3 fields where the header has 7"),
    ],
)
def test_a_vend_that_cannot_be_used_says_why_and_keeps_its_text(row: str, why: str, tmp_path: Path) -> None:
    good = "m-1,2026-09-14 09:00,272,1.75,cash,,"
    intake = taken(tmp_path, {"v.csv": f"{VENDS}{good}\n{row}\n{good[:-1]},2\n"})
    [(file, line, reason, text)] = rejects(intake)
    assert (file, line, text) == ("v.csv", 3, row)
    assert why in reason
    assert account(intake) == {"v.csv": (3, 2, 0, 1)}


def test_all_that_is_wrong_with_a_row_is_said_at_once(tmp_path: Path) -> None:
    intake = taken(tmp_path, {"v.csv": f"{VENDS},soon,slot,much,barter,lost,none\n"})
    [(_, _, reason, _)] = rejects(intake)
    for word in ("machine", "soon", "slot", "much", "barter", "lost", "none"):
        assert word in reason
    assert intake.vends.height == 0


def test_a_time_after_the_run_is_remarked_too(tmp_path: Path) -> None:
    row = "m-1,2026-09-28 12:00:01,272,1.75,cash,,\n"
    intake = taken(tmp_path, {"v.csv": VENDS + row + row.replace("12:00:01", "12:00:00")})
    assert notices(intake) == [("future-time", "v.csv", 2)]
    assert intake.vends["time"].to_list() == [NOW]


def test_clock_changes_are_remarked_and_the_rows_kept(tmp_path: Path) -> None:
    """Source: IANA tz database: Halifax, 2026-03-08 02:00 to 03:00 and 2025-11-02 01:00 twice."""
    intake = taken(tmp_path, {"v.csv": (
        f"{VENDS}m-1,2026-03-08 02:30,272,,cash,,\nm-1,2025-11-02 01:30,272,,cash,,\n"
        "m-1,2026-03-08 03:30,272,,cash,,\n"
    )})  # fmt: skip
    assert notices(intake) == [("nonexistent-time", "v.csv", 2), ("ambiguous-time", "v.csv", 3)]
    assert intake.vends["time"].to_list() == [
        datetime(2026, 3, 8, 6, 30, tzinfo=UTC), datetime(2025, 11, 2, 4, 30, tzinfo=UTC),
        datetime(2026, 3, 8, 6, 30, tzinfo=UTC),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("header", "row"),
    [("machine,time,label,counted", "m-1,2026-09-14 09:00,111,4"),
     ("machine,time,label,loaded", "m-1,2026-09-14 09:00,111,4"),
     ("machine,label,note", "m-1,111,x")],
)  # fmt: skip
def test_a_label_that_the_layout_does_not_have_is_refused_with_the_nearest(
    header: str, row: str, tmp_path: Path
) -> None:
    [(_, line, reason, text)] = rejects(taken(tmp_path, {"x.csv": f"{header}\n{row}\n"}))
    assert (line, text) == (2, row)
    assert 'label "111" is not in the layout of m-1' in reason
    assert "nearest is 11" in reason


def test_a_machine_without_a_layout_is_taken_in(tmp_path: Path) -> None:
    """Its vends are real; that no layout knows it is a finding of its own."""
    intake = taken(tmp_path, {"c.csv": "machine,time,label,counted\nnew-1,2026-09-14 09:00,ZZ,4\n"})
    assert intake.counts.select("machine", "label", "time").rows() == [("new-1", "ZZ", at(12))]


def test_a_count_without_label_and_number_is_refused(tmp_path: Path) -> None:
    intake = taken(tmp_path, {"c.csv": "machine,time,label,bus,counted\nm-1,2026-09-14 09:00,,,4\n"})
    assert [reason for _, _, reason, _ in rejects(intake)] == ["no label and no bus number"]


# --- described files ---

SOURCE = """kind = "vends"
files = ["*sales*"]
timezone = "UTC"
bus_base = 16
[columns]
machine = "Terminal"
time = "Date/Time"
bus = "Item"
price = "Price"
tender = "Paid by"
outcome = "Status"
[machines]
"0423" = "m-1"
[words.tender]
cash = ["Coin", "Bill"]
card = ["Contactless"]
[words.outcome]
vended = ["OK"]
failed = ["Vend failed"]
[time]
format = "%m/%d/%Y %I:%M:%S %p"
"""


def test_a_described_export(tmp_path: Path) -> None:
    intake = taken(tmp_path, {"sources/log.toml": SOURCE, "sales.csv": (
        "Terminal;Date/Time;Item;Price;Paid by;Status;Fee\n"
        "0423;09/14/2026 09:00:00 PM;110;1.75;COIN;OK;0\n"
        "y-1;09/14/2026 12:00:00 AM;1;150;contactless;vend failed;0\n"
        "m-1;09/14/2026 01:02:03 PM;0xA4;1.75;cash;vended;0\n"
        "0423;2026-09-14 21:00;110;1.75;Coin;OK;0\n"
    )})  # fmt: skip
    assert intake.inputs.select("kind", "source").rows() == [("vends", "log")]
    assert intake.vends.select("machine", "time", "bus", "price", "tender", "outcome").rows() == [
        ("m-1", at(21), 0x110, 175, "cash", "vended"),
        ("y-1", at(0), 1, 150, "card", "failed"),
        ("m-1", datetime(2026, 9, 14, 13, 2, 3, tzinfo=UTC), 0xA4, 175, "cash", "vended"),
    ]
    assert intake.vends["zone"].to_list() == ["America/Halifax", "Asia/Tokyo", "America/Halifax"]
    assert [row for _, row, _, _ in rejects(intake)] == [5]


def test_each_file_may_write_its_times_in_its_own_way(tmp_path: Path) -> None:
    files = {
        "a.csv": f"{VENDS}m-1,14/09/2026 09:00,272,,cash,,\n",
        "b.csv": f"{VENDS}m-1,09/15/2026 9:00 AM,272,,cash,,\n",
        "c.csv": f"{VENDS}m-1,2026-09-16T12:00:00Z,272,,cash,,\n",
    }
    assert taken(tmp_path, files).vends["time"].to_list() == [at(12), at(12, day=15), at(12, day=16)]


def test_a_file_whose_times_could_be_either_is_not_taken_in(tmp_path: Path) -> None:
    files = {
        "a.csv": f"{VENDS}m-1,03/04/2026 09:00,272,,cash,,\nm-1,torn\n",
        "b.csv": f"{VENDS}m-1,13/04/2026 09:00,272,,cash,,\n",
    }
    intake = taken(tmp_path, files)
    assert notices(intake) == [("unknown-format", "a.csv", None)]
    assert account(intake) == {"a.csv": (2, 0, 0, 2), "b.csv": (1, 1, 0, 0)}
    assert [(file, row, text) for file, row, _, text in rejects(intake)] == [
        ("a.csv", 2, "m-1,03/04/2026 09:00,272,,cash,,"), ("a.csv", 3, "m-1,torn"),
    ]  # fmt: skip


def test_a_time_format_that_cannot_be_used_is_no_traceback(tmp_path: Path) -> None:
    source = SOURCE.replace('"%m/%d/%Y %I:%M:%S %p"', '"%Y-%m-%d %H"')
    rows = "Terminal,Date/Time,Item,Price,Paid by,Status\nm-1,2026-09-14 09,110,1.75,cash,OK\n"
    intake = taken(tmp_path, {"sources/log.toml": source, "sales.csv": rows})
    assert notices(intake) == [("unknown-format", "sales.csv", None)]
    assert account(intake) == {"sales.csv": (1, 0, 0, 1)}
