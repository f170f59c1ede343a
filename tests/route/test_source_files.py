"""Source descriptions: what is a usable one, and where a bad one is wrong."""

import pytest
from route_texts import Lay

from recon.model.source import FIELDS, REQUIRED
from recon.model.words import FILE_KINDS
from recon.route.folder import read_route

TOP = 'kind = "vends"\nfiles = ["*.csv"]\n'
COLUMNS = '[columns]\nmachine = "M"\ntime = "T"\nbus = "B"\ntender = "P"\n'

GOOD = {
    "own names": TOP,
    "columns": TOP + COLUMNS,
    "date and clock": TOP + COLUMNS.replace('time = "T"', 'date = "D"\nclock = "C"'),
    "label for bus": TOP + COLUMNS.replace("bus", "label"),
    "fixed machine": TOP + 'machine = "m-1"\n' + COLUMNS.replace('machine = "M"\n', ""),
    "machine in the name": TOP
    + "machine_from_name = 'log-(.+)-\\d{4}'\n"
    + COLUMNS.replace('machine = "M"\n', ""),
    "brackets": TOP + 'machine_from_name = "log-([[a-z]+)"\n',
    "words": TOP + '[words.tender]\ncash = ["Coin"]\n[words.outcome]\nvended = ["OK"]\n',
    "format": TOP + '[time]\nformat = "%m/%d/%Y %I:%M:%S %p"\n',
    "day of the year": TOP + '[time]\nformat = "%Y%j %H%M"\n',
    "month's name": TOP + '[time]\nformat = "%d %b %y"\n',
    "base": TOP + "bus_base = 16\n",
    "payouts": 'kind = "payouts"\nfiles = ["p*"]\n[columns]\npaid_on = "D"\nnet = "N"\n',
}


@pytest.mark.parametrize("text", GOOD.values(), ids=GOOD.keys())
def test_good_descriptions(lay: Lay, text: str) -> None:
    route = read_route(lay({"sources/log.toml": text}))
    assert route.problems == ()
    assert [source.name for source in route.sources] == ["log"]


BAD = [
    ("no toml", TOP + "columns]\n", "bad-value", "3:8", "the file"),
    ("empty header", TOP + COLUMNS + 'price = " "\n', "bad-value", "8:1", "price"),
    ("no kind", 'files = ["*.csv"]\n', "bad-value", "1:1", "kind"),
    ("kind", TOP.replace("vends", "vend"), "bad-value", "1:1", "kind"),
    ("no list", TOP.replace('["*.csv"]', '"*.csv"'), "bad-value", "2:1", "files"),
    ("empty list", TOP.replace('["*.csv"]', "[]"), "bad-value", "2:1", "files"),
    ("key", TOP + "base = 16\n", "unknown-key", "3:1", "base"),
    ("field", TOP + COLUMNS + 'pric = "X"\n', "unknown-key", "8:1", "pric"),
    ("field of another kind", TOP + COLUMNS + 'counted = "X"\n', "unknown-key", "8:1", "counted"),
    ("header", TOP + COLUMNS + "price = 5\n", "bad-value", "8:1", "price"),
    ("no time", TOP + COLUMNS.replace("time", "date"), "bad-value", "3:1", "time"),
    ("no number", TOP + COLUMNS.replace("bus", "price"), "bad-value", "3:1", "bus"),
    ("no machine", TOP + COLUMNS.replace('machine = "M"\n', ""), "bad-value", "3:1", "machine"),
    ("tender", TOP + '[words.tender]\ncash = ["x"]\ncrad = ["y"]\n', "unknown-key", "5:1", "crad"),
    ("outcome", TOP + '[words.outcome]\nvend = ["x"]\n', "unknown-key", "4:1", "vend"),
    ("words' table", TOP + '[words.paid]\nvend = ["x"]\n', "unknown-key", "3:1", "paid"),
    ("one word", TOP + '[words.tender]\ncash = "x"\n', "bad-value", "4:1", "cash"),
    ("zone", TOP + 'timezone = "Tokio"\n', "unknown-timezone", "3:1", "timezone"),
    ("pattern", TOP + 'machine_from_name = "log-(.+"\n', "bad-value", "3:1", "machine_from_name"),
    ("no group", TOP + 'machine_from_name = "log-.+"\n', "bad-value", "3:1", "machine_from_name"),
    ("two groups", TOP + 'machine_from_name = "(a)(b)"\n', "bad-value", "3:1", "machine_from_name"),
    ("machine", TOP + 'machine = "../x"\n', "bad-value", "3:1", "machine"),
    ("their machine", TOP + '[machines]\n"0423" = "a b"\n', "bad-value", "4:1", "0423"),
    ("directive", TOP + '[time]\nformat = "%Y-%m-%d %Q"\n', "bad-value", "4:1", "format"),
    ("no year", TOP + '[time]\nformat = "%d/%m %H:%M"\n', "bad-value", "4:1", "format"),
    ("letters for directives", TOP + '[time]\nformat = "YYYY-MM-DD"\n', "bad-value", "4:1", "format"),
    ("escaped", TOP + '[time]\nformat = "%%Y-%%m-%%d"\n', "bad-value", "4:1", "format"),
    ("base", TOP + "bus_base = 8\n", "bad-value", "3:1", "bus_base"),
]


@pytest.mark.parametrize(
    ("text", "kind", "place", "key"), [row[1:] for row in BAD], ids=[row[0] for row in BAD]
)
def test_a_bad_description_is_told_once_and_left_out(
    lay: Lay, text: str, kind: str, place: str, key: str
) -> None:
    route = read_route(lay({"sources/log.toml": text}))
    assert [(p.kind, str(p.place), p.facts["key"]) for p in route.problems] == [
        (kind, f"sources/log.toml:{place}", key)
    ]
    assert route.sources == ()


@pytest.mark.parametrize(
    ("key", "expected"), [("pric", "price"), ("Tender", "tender"), ("refrence", "reference")]
)
def test_the_nearest_field(lay: Lay, key: str, expected: str) -> None:
    route = read_route(lay({"sources/log.toml": TOP + COLUMNS + f'{key} = "X"\n'}))
    assert route.problems[0].facts["expected"] == expected


@pytest.mark.parametrize("kind", FILE_KINDS)
def test_every_kind_wants_its_required_fields_and_no_more(lay: Lay, kind: str) -> None:
    groups = [alternatives[0] for alternatives in REQUIRED[kind]]
    lines = {field: f'{field} = "{field}"\n' for group in groups for field in group}
    top = f'kind = "{kind}"\nfiles = ["x"]\n[columns]\n'
    assert read_route(lay({"sources/s.toml": top + "".join(lines.values())})).problems == ()
    for missing in lines:
        rest = "".join(line for field, line in lines.items() if field != missing)
        extra = next(
            field for field in FIELDS[kind] if field not in lines and field not in ("date", "clock", "label")
        )
        if any(extra in alternative for alternatives in REQUIRED[kind] for alternative in alternatives):
            continue
        problems = read_route(lay({"sources/s.toml": f'{top}{rest}{extra} = "X"\n'})).problems
        assert [problem.kind for problem in problems] == ["bad-value"]
