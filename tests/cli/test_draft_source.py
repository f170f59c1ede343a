"""recon draft source: what it drafts runs without a change, or says which line a person has to fill in."""

import re
import tomllib
from pathlib import Path

import pytest
from builders import RouteBuilder, slot
from foreign_exports import EXPORTS, NOW, Export, route_in, vends
from typer.testing import CliRunner

import recon
from recon.cli.main import app
from recon.model.errors import ReconError
from recon.report.source_draft import MARK

GOLDEN = Path(__file__).resolve().parent / "golden_drafts"


@pytest.fixture(autouse=True)
def _at_one_moment(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SOURCE_DATE_EPOCH", str(int(NOW.timestamp())))


def drafted(*words: str | Path) -> tuple[str, str]:
    """stdout and stderr of a draft that is made."""
    done = CliRunner().invoke(app, ["draft", "source", *map(str, words)])
    if done.exception is not None:
        raise done.exception
    return done.stdout, done.stderr


def in_inbox(root: Path, export: Export) -> Path:
    route_in(root).file(f"inbox/{export.file}", export.text())
    return root / "inbox" / export.file


def fills(text: str) -> list[str]:
    return [
        line for line in text.splitlines() if MARK in line and line.startswith("# ") and not line.startswith("# Look")
    ]


@pytest.mark.parametrize("export", EXPORTS, ids=lambda export: export.name)
def test_the_draft_of_a_well_formed_export_takes_in_every_row_as_it_was(tmp_path: Path, export: Export) -> None:
    file = in_inbox(tmp_path, export)
    out, told = drafted(file)
    written = Path(out.strip())
    assert written.parent == tmp_path / "sources"
    assert "fill in" not in told, told + written.read_text()
    assert f"{len(export.rows)} of {len(export.rows)} rows would be taken in" in told
    checked = CliRunner().invoke(app, ["check", str(tmp_path)])
    assert (checked.exit_code, checked.stdout) == (0, ""), written.read_text()
    run = recon.run(tmp_path, now=NOW)
    (account,) = run.frames["inputs"].select("kind", "source", "rows", "accepted").rows()
    assert account == (export.kind, written.stem, len(export.rows), len(export.rows)), run.frames["rejects"]
    truth = export.truth()
    taken = run.frames[export.kind].sort("row").select(list(truth[0])).to_dicts()
    assert taken == truth, written.read_text()


@pytest.mark.parametrize("export", [EXPORTS[0], EXPORTS[1]], ids=["english", "german"])
def test_the_draft_is_the_same_text_each_time(tmp_path: Path, export: Export, request: pytest.FixtureRequest) -> None:
    text, _ = drafted(in_inbox(tmp_path, export), "--output", "-")
    golden = GOLDEN / f"{request.node.callspec.id}.toml"
    if request.config.getoption("--accept-golden"):
        golden.parent.mkdir(parents=True, exist_ok=True)
        golden.write_text(text, encoding="utf-8")
    assert text == golden.read_text(encoding="utf-8"), "look at the difference, then run pytest --accept-golden"


# --- what is not settled


def exported(root: Path, name: str, text: str) -> Path:
    route_in(root).file(f"inbox/{name}", text)
    return root / "inbox" / name


def test_days_that_could_be_months_are_a_line_to_fill_in(tmp_path: Path) -> None:
    rows = "".join(f"quay-2,0{day}/09/2026 10:15,110,1.75,Cash\n" for day in range(1, 9))
    file = exported(tmp_path, "sales.csv", f"Machine,Date,Selection,Price,Payment\n{rows}")
    out, told = drafted(file)
    written = Path(out.strip())
    text = written.read_text()
    line = next(
        at for at, line in enumerate(text.splitlines(), start=1) if MARK in line and line.startswith("# format")
    )
    assert f'{written.as_posix()}:{line}  fill in format = "%d/%m/%Y %H:%M": ' in told
    assert '# format = "%d/%m/%Y %H:%M"' in text
    assert '# format = "%m/%d/%Y %H:%M"' in text
    assert "01 September 2026 to 08 September 2026" in text
    assert "09 January 2026 to 09 August 2026" in text
    # Taking off the first mark of the line settles it.
    written.write_text(text.replace('# format = "%d/%m', 'format = "%d/%m', 1))
    run = recon.run(tmp_path, now=NOW)
    assert run.frames["inputs"]["accepted"].to_list() == [8]
    assert run.frames["vends"]["time"].dt.month().unique().to_list() == [9]


def test_words_that_nobody_knows_are_lines_to_fill_in(tmp_path: Path) -> None:
    rows = "".join(
        f"quay-2,2026-09-{day:02} 10:15,110,1.75,{word}\n"
        for day, word in ((1, "Cash"), (2, "Blau"), (3, "Blau"), (4, "Cashless"))
    )
    out, told = drafted(exported(tmp_path, "sales.csv", f"Machine,Time,Selection,Price,Payment\n{rows}"))
    text = Path(out.strip()).read_text()
    assert [re.match(r'# "(\w+)"', line)[1] for line in fills(text)] == ["Blau", "Cashless"]  # type: ignore[index]
    assert "1 of 4 rows would be taken in" in told
    assert "words" not in tomllib.loads(text) or "Blau" not in str(tomllib.loads(text)["words"])


def test_a_machine_that_nothing_tells_is_a_line_to_fill_in(tmp_path: Path) -> None:
    rows = "".join(f"2026-09-0{day} 10:15,999,1.75,cash\n" for day in range(1, 5))
    out, told = drafted(exported(tmp_path, "sales.csv", f"Time,Item No,Price,Payment\n{rows}"))
    written = Path(out.strip())
    text = written.read_text()
    assert fills(text)[0].startswith('# machine = ""')
    assert "lobby-1, quay-2" in fills(text)[0]
    assert "would be taken in" not in told
    written.write_text(text.replace('# machine = ""', 'machine = "quay-2"'))
    assert recon.run(tmp_path, now=NOW).frames["inputs"]["accepted"].to_list() == [4]


def test_a_machine_name_that_fits_no_layout_is_a_line_to_fill_in(tmp_path: Path) -> None:
    rows = "".join(
        f"{name},2026-09-0{day} 10:15,110,1.75,cash\n" for day, name in enumerate(("0001", "quay-2", "0001"), start=1)
    )
    out, told = drafted(exported(tmp_path, "sales.csv", f"Terminal,Time,Item,Price,Payment\n{rows}"))
    text = Path(out.strip()).read_text()
    (line,) = fills(text)
    assert line.startswith('# "0001" = ""')
    assert "2 rows" in line
    assert "3 of 3 rows would be taken in" in told


def test_a_log_without_a_tender_says_which_line_is_missing(tmp_path: Path) -> None:
    rows = "".join(f"quay-2,2026-09-0{day} 10:15,110,1.75,R{day}\n" for day in range(1, 6))
    out, _ = drafted(exported(tmp_path, "sales.csv", f"Machine,Time,Selection,Price,Receipt\n{rows}"))
    text = Path(out.strip()).read_text()
    assert tomllib.loads(text)["kind"] == "vends"
    assert [line.split("  ")[0] for line in fills(text)] == ['# tender = ""']


def test_whole_prices_without_a_layout_to_tell_are_asked_about(tmp_path: Path) -> None:
    rows = "".join(f"quay-2,2026-09-0{day} 10:15,110,333,cash\n" for day in range(1, 6))
    out, _ = drafted(exported(tmp_path, "sales.csv", f"Machine,Time,Selection,Price,Payment\n{rows}"))
    assert [line.split("  ")[0] for line in fills(Path(out.strip()).read_text())] == ["# minor_units = true"]


# --- zones


def test_hours_of_other_files_tell_an_export_in_utc(tmp_path: Path) -> None:
    export = EXPORTS[0]
    rows = [{**row, "time": row["time"].replace(hour=8 + at % 4)} for at, row in enumerate(vends())]
    known = [f"{row['time']:%m-%d %H:%M},{row['label']},cash" for row in rows if row["machine"] == "quay-2"] * 2
    moved = Export(
        export.name,
        export.file,
        rows,
        export.columns,
        zone=__import__("zoneinfo").ZoneInfo("UTC"),
        words=export.words,
        machines=export.machines,
    )
    file = in_inbox(tmp_path, moved)
    RouteBuilder(tmp_path, ["quay-2"]).settings(timezone="America/Halifax").vends(
        *known, name="own.csv", machine="quay-2"
    )
    text, _ = drafted(file, "--output", "-")
    assert tomllib.loads(text)["timezone"] == "UTC"
    assert "compared with the hours of 30 vends" in text


def test_an_export_in_local_time_is_told_by_the_same_hours(tmp_path: Path) -> None:
    rows = [
        f"{row['time']:%m-%d} {8 + at % 4:02}:{row['time']:%M},{row['label']},cash"
        for at, row in enumerate(vends())
        if row["machine"] == "quay-2"
    ] * 2
    same = "".join(f"quay-2,2026-{row.split(',')[0]},{row.split(',')[1]},Coins\n" for row in rows)
    file = exported(tmp_path, "sales.csv", f"Terminal,Time,Slot,Paid by\n{same}")
    RouteBuilder(tmp_path, ["quay-2"]).settings(timezone="America/Halifax").vends(
        *rows, name="own.csv", machine="quay-2"
    )
    text, _ = drafted(file, "--output", "-")
    assert "timezone" not in tomllib.loads(text)
    assert "timezone left out: America/Halifax, the machine's own; compared" in text


@pytest.mark.parametrize(("hour", "zone"), [(1, "UTC"), (11, None)])
def test_alone_a_log_is_in_utc_only_where_it_would_sell_by_night(tmp_path: Path, hour: int, zone: str | None) -> None:
    route = RouteBuilder(tmp_path).settings(timezone="Asia/Tokyo").machine("m-1", slot("A1"))
    rows = "".join(f"m-1,2026-09-{day:02} {hour + day % 4:02}:15,A1,2.00,Cash\n" for day in range(1, 25))
    route.file("inbox/sales.csv", f"Machine,Time,Selection,Price,Payment\n{rows}")
    text, _ = drafted(tmp_path / "inbox" / "sales.csv", "-o", "-")
    assert tomllib.loads(text).get("timezone") == zone
    assert "assumed" in text


def test_a_header_that_names_utc_is_believed(tmp_path: Path) -> None:
    rows = "".join(f"quay-2,2026-09-0{day} 10:15,110,1.75,cash\n" for day in range(1, 5))
    file = exported(tmp_path, "sales.csv", f"Machine,Time (UTC),Selection,Price,Payment\n{rows}")
    assert tomllib.loads(drafted(file, "-o", "-")[0])["timezone"] == "UTC"


# --- where it goes, and what is refused


def test_our_own_field_names_need_no_description(tmp_path: Path) -> None:
    route = route_in(tmp_path).vends("09-01 10:00,110,cash,1.75", machine="quay-2")
    out, told = drafted(tmp_path / "inbox" / "vends.csv")
    assert out == ""
    assert "needs no description" in told
    assert not (route.root / "sources").exists()


def test_our_own_field_names_are_believed_whatever_the_cells_are(tmp_path: Path) -> None:
    route_in(tmp_path).counts("09-01 10:00,110,ten", machine="quay-2")
    assert "needs no description" in drafted(tmp_path / "inbox" / "counts.csv")[1]


def test_our_own_field_names_with_words_of_their_own_get_one(tmp_path: Path) -> None:
    route_in(tmp_path).vends("09-01 10:00,110,Bar,1.75", machine="quay-2")
    out, _ = drafted(tmp_path / "inbox" / "vends.csv")
    assert tomllib.loads(Path(out.strip()).read_text())["words"] == {"tender": {"cash": ["Bar"]}}
    assert recon.run(tmp_path, now=NOW).frames["vends"].height == 1


def test_nothing_is_overwritten(tmp_path: Path) -> None:
    file = in_inbox(tmp_path, EXPORTS[0])
    there = tmp_path / "mine.toml"
    there.write_text("mine")
    with pytest.raises(ReconError, match=r"mine\.toml is there already"):
        drafted(file, "--output", there)
    assert there.read_text() == "mine"
    drafted(file)
    with pytest.raises(ReconError, match="there already"):
        drafted(file)


def test_a_file_that_is_spoken_for_gets_no_second_description(tmp_path: Path) -> None:
    file = in_inbox(tmp_path, EXPORTS[0])
    (tmp_path / "sources").mkdir()
    (tmp_path / "sources" / "mine.toml").write_text('kind = "vends"\nfiles = ["sales-*.csv"]\n')
    with pytest.raises(ReconError, match=r"sources/mine\.toml speaks for sales-2026-39\.csv already"):
        drafted(file)
    assert sorted(path.name for path in (tmp_path / "sources").iterdir()) == ["mine.toml"]


def test_without_a_route_the_draft_is_printed(tmp_path: Path) -> None:
    file = tmp_path / "sales-39.csv"
    file.write_text(EXPORTS[0].text())
    text, told = drafted(file)
    assert tomllib.loads(text)["columns"]["reference"] == "Transaction ID"
    assert "would be taken in" not in told
    assert list(tmp_path.iterdir()) == [file]


def test_a_route_elsewhere_is_named(tmp_path: Path) -> None:
    route_in(tmp_path / "route")
    file = tmp_path / "sales-39.csv"
    file.write_text(EXPORTS[0].text())
    out, _ = drafted(file, "--route", tmp_path / "route")
    assert Path(out.strip()) == tmp_path / "route" / "sources" / "sales.toml"


def test_the_files_are_no_wider_than_the_columns(tmp_path: Path) -> None:
    """A pattern that took in another export would have both refused, or read wrongly."""
    file = in_inbox(tmp_path, EXPORTS[0])
    (tmp_path / "inbox" / "sales-2026-39-other.csv").write_text("Day,Door\n2026-09-01,front\n")
    text, _ = drafted(file, "-o", "-")
    assert tomllib.loads(text)["files"] == ["sales-[0-9][0-9][0-9][0-9]-[0-9][0-9].csv"]


def test_a_full_card_number_stops_the_draft_and_is_not_shown(tmp_path: Path) -> None:
    """4111 1111 1111 1111 is the number that payment handbooks print for trials (common practice, no source)."""
    text = EXPORTS[0].text().replace("=gum", "").replace(",gum,", ",4111 1111 1111 1111,")
    file = exported(tmp_path, "sales.csv", text)
    with pytest.raises(ReconError) as told:
        drafted(file)
    assert "ending in 1111" in str(told.value)
    assert "4111" not in str(told.value)
    assert not (tmp_path / "sources").exists()


@pytest.mark.parametrize(
    ("name", "data", "says"),
    [
        ("doors.csv", b"Day,Door,Passages\n2026-08-24,front,41873\n", "Day, Door, Passages"),
        ("empty.csv", b"", "empty"),
        ("odd.csv", b"a;b\n\0\0\0\0;1\n", "cannot be read"),
    ],
)
def test_what_is_no_export_is_refused_in_a_sentence(tmp_path: Path, name: str, data: bytes, says: str) -> None:
    route_in(tmp_path).file(f"inbox/{name}", data)
    with pytest.raises(ReconError, match=says):
        drafted(tmp_path / "inbox" / name)


def test_a_file_that_is_not_there_is_refused(tmp_path: Path) -> None:
    with pytest.raises(ReconError, match="cannot be opened"):
        drafted(tmp_path / "none.csv")


@pytest.mark.parametrize("header", ['Pri"ce', "Preis\\n", "Pr#eis = [", "Preis\x7f", "Preis\u2028x", "列"])
def test_odd_headers_and_words_are_escaped(tmp_path: Path, header: str) -> None:
    cell = header.replace('"', '""')
    rows = "".join(f'quay-2,2026-09-0{day} 10:15,110,"{cell}",cash,1.75\n' for day in range(1, 5))
    file = exported(tmp_path, "sales.csv", f'Machine,Time,Selection,"{cell} status",Payment,Price\n{rows}')
    text, _ = drafted(file, "-o", "-")
    parsed = tomllib.loads(text)
    assert header in text or parsed["columns"].get("outcome") == f"{header} status"
    assert parsed["columns"]["price"] == "Price"


# --- tables as they come


def test_a_workbook_is_read_as_a_run_reads_it(tmp_path: Path) -> None:
    import xlsxwriter

    route_in(tmp_path)
    path = tmp_path / "inbox" / "sales-39.xlsx"
    with xlsxwriter.Workbook(path) as book:
        book.add_worksheet("About").write(0, 0, "An invented export")
        sheet = book.add_worksheet("September")
        lines = [line.split(",") for line in EXPORTS[0].text().splitlines()]
        for at, cells in enumerate([["Sales in September"], [], *lines]):
            for column, cell in enumerate(cells):
                sheet.write_string(at, column, cell)
    out, told = drafted(path)
    assert "30 of 30 rows would be taken in" in told
    run = recon.run(tmp_path, now=NOW)
    truth = EXPORTS[0].truth()
    assert run.frames["vends"].sort("row").select(list(truth[0])).to_dicts() == truth, Path(out.strip()).read_text()


def test_an_encoding_that_had_to_be_assumed_is_named(tmp_path: Path) -> None:
    route_in(tmp_path).file("inbox/ventes.csv", EXPORTS[2].text().encode("cp1252"))
    text, told = drafted(tmp_path / "inbox" / "ventes.csv", "-o", "-")
    assert tomllib.loads(text)["table"] == {"encoding": "cp1252"}
    assert "30 of 30 rows would be taken in" in told


def test_of_columns_of_one_name_the_one_that_fits_is_named_by_its_number(tmp_path: Path) -> None:
    rows = "".join(f"quay-2,2026-09-0{day} 10:15,Cash,110,gum,first\n" for day in range(1, 9))
    file = exported(tmp_path, "sales.csv", f"Machine,Time,Payment,Selection,Selection,Machine\n{rows}")
    text, told = drafted(file, "-o", "-")
    assert tomllib.loads(text)["columns"]["label"] == "Selection (1)"
    assert tomllib.loads(text)["columns"]["machine"] == "Machine (1)"
    assert "8 of 8 rows would be taken in" in told
