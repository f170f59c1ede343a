"""Reading a route folder: what good files give, and what each bad file is told."""

from datetime import datetime
from decimal import Decimal
from pathlib import Path

import pytest
from route_texts import LAYOUT, SETTINGS, Lay

from recon.model.errors import ReconError, SettingsError
from recon.model.problem import Problem
from recon.route.faults import EXPECTED, keys_of
from recon.route.folder import read_lone_layout, read_parts, read_route

SLOT = '[[slot]]\nlabel = "110"\nbus = 110\nproduct = "oat-bar"\nprice = "1.75"\n'


def told(problems: tuple[Problem, ...]) -> list[tuple[str, str]]:
    return [(problem.kind, str(problem.place)) for problem in problems]


def test_a_good_folder(lay: Lay) -> None:
    root = lay(
        {
            "layouts/b.toml": f'machine = "m-2"\ncurrency = "JPY"\ntimezone = "Asia/Tokyo"\n{LAYOUT[16:]}',
            "layouts/a.toml": LAYOUT + SLOT,
            "products.csv": "id,unit_cost\noat-bar,0.625\n",
            "sources/log.toml": 'kind = "vends"\nfiles = ["*.csv"]\n',
        }
    )
    route = read_route(root)
    assert route.problems == ()
    assert [found.file for found in route.layouts] == ["layouts/a.toml", "layouts/b.toml"]
    assert (route.currency_of("m-1"), route.zone_of("m-1"), route.exponent_of("m-1")) == (
        "CAD",
        "America/Halifax",
        2,
    )
    assert (route.currency_of("m-2"), route.zone_of("m-2"), route.exponent_of("m-2")) == (
        "JPY",
        "Asia/Tokyo",
        0,
    )
    assert (route.currency_of("none"), route.layout_of("none")) == ("CAD", None)
    assert route.layouts[0].layout.slots[0].price == Decimal("1.75")
    assert str(route.layouts[0].place(("slot", 0, "bus"))) == "layouts/a.toml:5:1"
    assert route.has_products
    assert route.products["oat-bar"].unit_cost == Decimal("0.625")
    assert [(source.name, source.file) for source in route.sources] == [("log", "sources/log.toml")]


def test_numbers_are_exact_quoted_or_not(lay: Lay) -> None:
    layout = (
        LAYOUT + '[[slot]]\nlabel = 110\nprice = 1.10\n[[slot]]\nlabel = "111"\nprice = "1.10"\nbus = "272"\n'
    )
    slots = read_route(lay({"layouts/a.toml": layout})).layouts[0].layout.slots
    assert [str(slot.price) for slot in slots] == ["1.10", "1.10"]
    assert (slots[0].label, slots[1].bus) == ("110", 272)


@pytest.mark.parametrize("ends", ["\n", "\r\n"])
@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"])
def test_byte_order_mark_and_line_ends_move_no_place(lay: Lay, ends: str, mark: bytes) -> None:
    layout = (LAYOUT + SLOT + "prise = 2\n").replace("\n", ends).encode()
    assert told(read_route(lay({"layouts/a.toml": mark + layout})).problems) == [
        ("unknown-key", "layouts/a.toml:8:1")
    ]


def test_hidden_files_and_backups_are_passed_over(lay: Lay) -> None:
    root = lay(
        {f"layouts/{name}": "nonsense" for name in (".a.toml", "a.toml~", "#a.toml#", "a.toml.bak", "a.txt")}
    )
    assert read_route(root).problems == ()
    assert read_route(root).layouts == ()


def test_no_folder_and_no_settings(tmp_path: Path) -> None:
    with pytest.raises(ReconError, match="not a folder"):
        read_route(tmp_path / "none")
    with pytest.raises(ReconError, match=r"no route\.toml"):
        read_route(tmp_path)


@pytest.mark.parametrize(
    ("settings", "kind", "place"),
    [
        (SETTINGS.replace("CAD", "CDA"), "unknown-currency", "route.toml:2:1"),
        (SETTINGS.replace("America/", ""), "unknown-timezone", "route.toml:3:1"),
        (SETTINGS + "[tolerance]\ncahs = 1\n", "unknown-key", "route.toml:5:1"),
        (SETTINGS + "[tolerance]\ncash = 1.005\n", "bad-value", "route.toml:5:1"),
        (SETTINGS + "[tolerance]\nunits = -1\n", "bad-value", "route.toml:5:1"),
        (SETTINGS + "[stock]\ncount_when = 'later'\n", "bad-value", "route.toml:5:1"),
        (SETTINGS + "[tolerance]\nunits = 1e999999999\n", "bad-value", "route.toml:5:1"),
        (SETTINGS + "cards = 5\n", "bad-value", "route.toml:4:1"),
        ('currency = "CAD"\ntimezone = "UTC"\n', "bad-value", "route.toml:1:1"),
        ("name = \n", "bad-value", "route.toml:1:8"),
        ("", "bad-value", "route.toml:1:1"),
        (b"\xff\xfen\0a\0", "bad-value", "route.toml:1:1"),
    ],
)
def test_settings_that_cannot_be_used(lay: Lay, settings: str | bytes, kind: str, place: str) -> None:
    with pytest.raises(SettingsError) as caught:
        read_route(lay({"route.toml": settings}))
    assert told(caught.value.problems) == [(kind, place)]


def test_a_check_reads_on_after_bad_settings(lay: Lay) -> None:
    parts = read_parts(
        lay({"route.toml": "x", "layouts/a.toml": LAYOUT + "[[slot]]\n", "layouts/b.toml": LAYOUT + SLOT})
    )
    assert told(parts.problems) == [("bad-value", "layouts/a.toml:3:1"), ("bad-value", "route.toml:1:2")]
    assert [found.file for found in parts.layouts] == ["layouts/b.toml"]


BAD_LAYOUTS = [
    ("empty", b"", "bad-value", "1:1"),
    ("not utf-8", b'machine = "m"\nsite = "caf\xe9"\n', "bad-value", "2:12"),
    ("utf-16", "machine".encode("utf-16"), "bad-value", "1:1"),
    ("no toml", LAYOUT + "label 110\n", "bad-value", "3:7"),
    ("unclosed", LAYOUT + "[[slot]]\nlabel = [1,\n", "bad-value", "4:12"),
    ("key twice", LAYOUT + 'machine = "m-1"\n', "bad-value", "3:16"),
    ("nested deep", LAYOUT + "x = " + "[" * 5000, "bad-value", "1:1"),
    ("long number", LAYOUT + "x = " + "9" * 5000, "bad-value", "1:1"),
    ("no machine", "effective = 2026-08-03\n", "bad-value", "1:1"),
    ("path as id", LAYOUT.replace("m-1", "../x"), "bad-value", "1:1"),
    ("no label", LAYOUT + "\n [[slot]]\nbus = 1\n", "bad-value", "4:2"),
    ("one bracket", LAYOUT + '[slot]\nlabel = "1"\n', "bad-value", "3:1"),
    ("true for a number", LAYOUT + "[[slot]]\nlabel = 1\nbus = true\n", "bad-value", "5:1"),
    ("pitch", LAYOUT + "[[slot]]\nlabel = 1\npitch = 3\n", "bad-value", "5:1"),
    ("nan", LAYOUT + "[[slot]]\nlabel = 1\nprice = nan\n", "bad-value", "5:1"),
    ("infinite", LAYOUT + "[[slot]]\nlabel = 1\nprice = inf\n", "bad-value", "5:1"),
    ("huge", LAYOUT + "[[slot]]\nlabel = 1\nprice = 1e400000000\n", "bad-value", "5:1"),
    ("huge for a whole number", LAYOUT + "[[slot]]\nlabel = 1\ncapacity = 1e999999999\n", "bad-value", "5:1"),
    ("tiny", LAYOUT + "price_step = 1e-999999999\n", "bad-value", "3:1"),
    ("huge bus", LAYOUT + f"[[slot]]\nlabel = 1\nbus = {'9' * 4000}\n", "bad-value", "5:1"),
    ("huge rule", LAYOUT + f"numbering = {{ offset = {'9' * 4299} }}\n", "bad-value", "3:1"),
    ("digits", LAYOUT + "[[slot]]\nlabel = 1\nprice = 1.755\n", "bad-value", "5:1"),
    ("negative", LAYOUT + '[[slot]]\nlabel = 1\nprice = "-1.75"\n', "bad-value", "5:1"),
    ("comma", LAYOUT + '[[slot]]\nlabel = 1\nprice = "1,75"\n', "bad-value", "5:1"),
    ("offset in a time", LAYOUT.replace(":00\n", ":00Z\n"), "bad-value", "2:1"),
    ("offset in a text", 'machine = "m"\neffective = "2026-08-03T07:00Z"\n', "bad-value", "2:1"),
    ("number for a time", 'machine = "m"\neffective = 20260803\n', "bad-value", "2:1"),
    ("rule", LAYOUT + 'numbering = "hexlabel"\n', "bad-value", "3:1"),
    ("rule's key", LAYOUT + "numbering = { ofset = 5 }\n", "bad-value", "3:1"),
    ("rule half", LAYOUT + "numbering = { grid = 5 }\n", "bad-value", "3:1"),
    ("step", LAYOUT + "price_step = 0\n", "bad-value", "3:1"),
    ("step's digits", LAYOUT + "price_step = 0.125\n", "bad-value", "3:1"),
    ("key of the model", LAYOUT + "[[change]]\nstart = 2026-09-01\nlabel = 1\n", "unknown-key", "4:1"),
    ("plural", LAYOUT + "slots = []\n", "unknown-key", "3:1"),
    ("key", LAYOUT + "[[slot]]\nlabel = 1\ncap = 5\n", "unknown-key", "5:1"),
    ("zone", LAYOUT + 'timezone = "Halifax"\n', "unknown-timezone", "3:1"),
    ("zone path", LAYOUT + 'timezone = "../../etc/passwd"\n', "unknown-timezone", "3:1"),
    ("currency", LAYOUT + 'currency = "XAU"\n', "unknown-currency", "3:1"),
]


@pytest.mark.parametrize(
    ("content", "kind", "place"), [row[1:] for row in BAD_LAYOUTS], ids=[row[0] for row in BAD_LAYOUTS]
)
def test_a_bad_layout_is_told_once_and_left_out(
    lay: Lay, content: str | bytes, kind: str, place: str
) -> None:
    route = read_route(lay({"layouts/a.toml": content}))
    assert told(route.problems) == [(kind, f"layouts/a.toml:{place}")]
    assert route.layouts == ()
    facts = route.problems[0].facts
    assert facts["found"]
    assert facts["expected"]


@pytest.mark.parametrize(
    ("line", "expected"),
    [
        ("[[slot]]\nlabel = 1\nprise = 2\n", "price"),
        ('time-zone = "UTC"\n', "timezone"),
        ('timezone = "america/halifax"\n', "America/Halifax"),
        ('timezone = "Halifax"\n', "America/Halifax"),
        ('currency = "cad"\n', "CAD"),
        ('currency = "CDA"\n', "CAD"),
    ],
)
def test_the_nearest_known_name_is_given(lay: Lay, line: str, expected: str) -> None:
    problem = read_route(lay({"layouts/a.toml": LAYOUT + line})).problems[0]
    assert problem.facts["expected"] == expected
    assert problem.machine == "m-1"


def test_folders_pipes_and_locked_files_are_told(lay: Lay) -> None:
    import os

    root = lay({"layouts/locked.toml": LAYOUT, "layouts/gone.toml": LAYOUT})
    (root / "layouts" / "folder.toml").mkdir()
    (root / "layouts" / "gone.toml").unlink()
    (root / "layouts" / "gone.toml").symlink_to(root / "nowhere")
    os.mkfifo(root / "layouts" / "pipe.toml")
    (root / "products.csv").mkdir()
    (root / "layouts" / "locked.toml").chmod(0)
    problems = {str(problem.place): problem.kind for problem in read_route(root).problems}
    wanted = {"layouts/folder.toml", "layouts/gone.toml", "layouts/pipe.toml", "products.csv"}
    if os.geteuid() != 0:  # a superuser may read it all the same
        wanted.add("layouts/locked.toml")
    assert problems == dict.fromkeys(wanted, "bad-value")


def test_two_files_for_one_machine(lay: Lay) -> None:
    table = "machine,from,label\nm-1,2026-08-03,110\n"
    route = read_route(lay({"layouts/a.toml": LAYOUT, "layouts/b.csv": table}))
    assert told(route.problems) == [("duplicate-machine", "layouts/b.csv:2:1")]
    assert route.problems[0].facts["other"] == "layouts/a.toml"
    assert [found.file for found in route.layouts] == ["layouts/a.toml"]


def test_digits_follow_the_currency_of_the_machine(lay: Lay) -> None:
    slot = '[[slot]]\nlabel = 1\nprice = "1.755"\n'
    bad = read_route(lay({"layouts/a.toml": LAYOUT + 'currency = "JPY"\n' + slot.replace("1.755", "1.5")}))
    assert told(bad.problems) == [("bad-value", "layouts/a.toml:6:1")]
    assert read_route(lay({"layouts/a.toml": LAYOUT + 'currency = "KWD"\n' + slot})).problems == ()
    assert read_route(lay({"layouts/a.toml": LAYOUT + slot.replace("1.755", "1.7500")})).problems == ()


def test_a_lone_layout_has_no_currency_to_hold_digits_against(tmp_path: Path) -> None:
    (tmp_path / "a.toml").write_text(LAYOUT + '[[slot]]\nlabel = 1\nprice = "1.755"\n')
    assert read_lone_layout(tmp_path / "a.toml").problems == ()
    (tmp_path / "a.toml").write_text(LAYOUT + 'currency = "CAD"\n[[slot]]\nlabel = 1\nprice = "1.755"\n')
    assert told(read_lone_layout(tmp_path / "a.toml").problems) == [("bad-value", "a.toml:6:1")]


def test_a_date_alone_is_its_midnight(lay: Lay) -> None:
    layout = read_route(lay({"layouts/a.toml": 'machine = "m"\neffective = 2026-08-03\n'})).layouts[0].layout
    assert layout.effective == datetime(2026, 8, 3)


def test_every_key_has_words_for_what_it_expects() -> None:
    for model, words in EXPECTED.items():
        assert set(keys_of(model)) <= set(words)
