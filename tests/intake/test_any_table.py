"""Tables as they come: encodings, delimiters, titles, totals, notes, ragged rows, doubled names; nothing lost in
silence."""

import csv
import io
from pathlib import Path
from tempfile import TemporaryDirectory

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from inbox import rejects, taken

from recon.intake.encoding import UnreadableFile, decode
from recon.intake.table import ROW, TextTable, read_table
from recon.intake.take_in import Intake
from recon.model.source import TableShape

COUNTS = "machine,time,label,counted,loaded,note\n"
ONE = "m-1,2026-09-14 09:00,110,4,2,\n"
TWO = "m-1,2026-09-14 09:00,112,3,0,\n"


def cells(table: TextTable) -> list[tuple[str, ...]]:
    return [tuple(cell or "" for cell in row) for row in table.frame.drop(ROW).rows()]


def counted(intake: Intake) -> list[tuple[int, str, int | None, int]]:
    """(line, label, counted, loaded) of every count, by file and line."""
    return intake.counts.sort("file", "row").select("row", "label", "counted", "loaded").rows()


def said(intake: Intake, kind: str) -> list[tuple[int | None, str]]:
    return intake.notices.filter(pl.col("kind") == kind).select("row", "detail").rows()


# --- RFC 4180, section 2 ---


@pytest.mark.parametrize(
    ("rule", "data", "rows"),
    [
        (1, b"aaa,bbb,ccc\r\nzzz,yyy,xxx\r\n", [("zzz", "yyy", "xxx")]),
        (2, b"aaa,bbb,ccc\r\nzzz,yyy,xxx", [("zzz", "yyy", "xxx")]),
        (3, b"name,name two,third\r\naaa,bbb,ccc\r\nzzz,yyy,xxx\r\n", [("aaa", "bbb", "ccc"), ("zzz", "yyy", "xxx")]),
        (4, b"aaa,bbb,ccc\r\n z , y,x \r\n", [(" z ", " y", "x ")]),
        (5, b'aaa,bbb,ccc\r\n"zzz","yyy",xxx\r\n', [("zzz", "yyy", "xxx")]),
        (6, b'aaa,bbb,ccc\r\n"z\r\nz","y,y",xxx\r\n', [("z\nz", "y,y", "xxx")]),
        (7, b'aaa,bbb,ccc\r\n"z""z",yyy,xxx\r\n', [('z"z', "yyy", "xxx")]),
    ],
)
def test_the_rules_of_rfc_4180(rule: int, data: bytes, rows: list[tuple[str, ...]]) -> None:
    """Source: RFC 4180 section 2, rules 1 to 7 (line ends inside cells are LF here)."""
    table = read_table(data)
    assert cells(table) == rows, rule
    assert table.torn == ()


def test_rule_4_a_line_with_another_number_of_fields_is_told() -> None:
    """Source: RFC 4180 section 2, rule 4: each line has the same number of fields."""
    assert [torn.row for torn in read_table(b"a,b,c\n1,2,3\n1,2\n1,2,3,4\n").torn] == [3, 4]


def test_a_quote_inside_an_unquoted_cell_is_that_mark() -> None:
    """RFC 4180 section 2, rule 5 leaves it undefined; it can be nothing else where no cell goes on over lines."""
    assert cells(read_table(b'a,b\n5" bar,2\n')) == [('5" bar', "2")]
    assert cells(read_table(b'a,b\n5" bar,2\n6" bar,3\n')) == [('5" bar', "2"), ('6" bar', "3")]
    with pytest.raises(UnreadableFile, match="quote mark"):
        read_table(b'a,b\n1,"2\n3,4\n5,"x"\n')


def test_the_defaults_of_the_w3c_tabular_data_model() -> None:
    """Source: W3C Model for Tabular Data and Metadata on the Web, 17 December 2015, section 8: UTF-8, comma, double
    quote doubled, CRLF or LF, one header row. Its `trim` holds for the header here, and for cells when they are
    read."""
    mixed = read_table(' a ,b\r\n"é ""x""",2\n3,4\n'.encode())
    assert mixed.header == ("a", "b")
    assert cells(mixed) == [('é "x"', "2"), ("3", "4")]


# --- encodings ---


@pytest.mark.parametrize("encoding", ["utf-16-le", "utf-16-be"])
def test_utf_16_without_its_mark_is_told_by_its_nul_bytes(encoding: str) -> None:
    text = "name,größe\ncafé,1\nplain,2\n"
    assert cells(read_table(text.encode(encoding))) == [("café", "1"), ("plain", "2")]


def test_letters_of_windows_1252_are_read_and_said(tmp_path: Path) -> None:
    intake = taken(tmp_path, {"a.csv": (COUNTS + ONE + TWO.rstrip("\n") + "vor Café\n").encode("cp1252")})
    assert intake.counts["note"].to_list() == [None, "vor Café"]
    [(row, detail)] = said(intake, "encoding-assumed")
    assert row is None
    assert 'first "Café" on line 3' in detail
    assert "Windows-1252" in detail


@pytest.mark.parametrize("text", ["price (£),b\n£1.75,2\n", "20°C,b\n1,2\n", "“a”,b\n1,2 €\n", "naïve,Übung\nñ,ß\n"])
def test_signs_that_touch_no_letter_or_are_the_same_in_1250_are_read(text: str) -> None:
    decoded = decode(text.encode("cp1252"))
    assert decoded.text == text
    assert decoded.remark is not None


def test_what_windows_1252_makes_nonsense_of_is_refused_with_the_line_to_add(tmp_path: Path) -> None:
    name = "Białystok"
    with pytest.raises(UnreadableFile) as error:
        decode(f"machine,site\nm-1,{name}\n".encode("cp1250"))
    assert 'encoding = "cp1250"' in str(error.value)
    assert f'"{name}"' in str(error.value)
    assert "line 2" in str(error.value)
    with pytest.raises(UnreadableFile, match='encoding = "cp437"'):
        decode("machine,site\nm-1,fünf\n".encode("cp437"))
    source = 'kind = "counts"\nfiles = ["*.csv"]\n[table]\nencoding = "cp1250"\n'
    row = f"m-1,2026-09-14 09:00,110,4,2,{name}\n"
    intake = taken(tmp_path, {"sources/s.toml": source, "a.csv": (COUNTS + row).encode("cp1250")})
    assert intake.counts["note"].to_list() == [name]
    assert intake.notices.height == 0


@pytest.mark.parametrize("encoding", ["cp1250", "cp437", "cp1252"])
def test_what_the_description_says_holds_where_no_mark_and_no_utf_8_does(encoding: str) -> None:
    assert decode("ä,b\n".encode(encoding), encoding).text == "ä,b\n"
    assert decode("ä,ł\n".encode(), encoding).text == "ä,ł\n"
    assert decode("ä,ł\n".encode("utf-16"), encoding).text == "ä,ł\n"


@pytest.mark.parametrize(
    ("data", "found"),
    [(b"%PDF-1.7\n", "a PDF"), (b"<html><table>", "web page"), (b"a,b\n\xe9\x01,2\n", "control code"),
     (b"a\0b\0c", "NUL"), (b"\0" * 40, "NUL")],
)  # fmt: skip
def test_what_is_no_text_is_told_in_plain_words(data: bytes, found: str) -> None:
    with pytest.raises(UnreadableFile, match=found):
        decode(data)


def test_the_digits_beside_a_doubtful_byte_are_not_shown() -> None:
    with pytest.raises(UnreadableFile) as error:
        decode(b"card,x\n4111111111111111\x81,2\n")
    assert "1111" not in str(error.value)


# --- delimiters and header ---


def test_decimal_commas_in_cells_and_header_do_not_pass_for_delimiters() -> None:
    table = read_table(b"time;price 1,00;price 2,50;price 5,00\n2026;1,50;2,00;3,00\n2027;1,50;2,00;3,00\n")
    assert table.header == ("time", "price 1,00", "price 2,50", "price 5,00")
    assert read_table(b"a;b;c\n1,5;2,5;3,5\n1,5;2,5;3,5\n").header == ("a", "b", "c")


@pytest.mark.parametrize("mark", [",", ";", "\t", "|"])
def test_titles_above_the_header_are_passed_over_and_told(mark: str, tmp_path: Path) -> None:
    table = (COUNTS + ONE + TWO).replace(",", mark)
    intake = taken(tmp_path, {"a.csv": "Counts, by machine; week 38\n\nmade by the office\n" + table})
    assert counted(intake) == [(5, "110", 4, 2), (6, "112", 3, 0)]
    assert said(intake, "lines-passed-over") == [(1, "Counts, by machine; week 38"), (3, "made by the office")]


def test_a_first_line_may_name_the_delimiter(tmp_path: Path) -> None:
    intake = taken(tmp_path, {"a.csv": "sep=;\n" + (COUNTS + ONE).replace(",", ";")})
    assert counted(intake) == [(3, "110", 4, 2)]


def test_the_description_says_which_line_and_which_delimiter(tmp_path: Path) -> None:
    source = (
        'kind = "counts"\nfiles = ["*.csv"]\n[table]\nheader_line = 2\ndelimiter = "|"\n'
        '[columns]\nmachine = "A"\ntime = "B"\nlabel = "C"\ncounted = "D"\n'
    )
    data = "A|B|C|D\nA|B|C|D\nm-1|2026-09-14 09:00|110|4\n"
    intake = taken(tmp_path / "1", {"sources/s.toml": source, "a.csv": data})
    assert counted(intake) == [(3, "110", 4, 0)]
    assert [row for row, _ in said(intake, "lines-passed-over")] == [1]
    far = taken(tmp_path / "2", {"sources/s.toml": source.replace("= 2", "= 9"), "a.csv": data})
    assert "line 9" in said(far, "unreadable-file")[0][1]


def test_the_header_is_the_line_with_the_columns_of_the_description(tmp_path: Path) -> None:
    source = (
        'kind = "counts"\nfiles = ["*.csv"]\nmachine = "m-1"\n'
        '[columns]\ntime = "When"\nlabel = "Slot"\ncounted = "Left"\n'
    )
    data = "Site,Zone,Route,Person,Week\nQuay,North,Bayside,A,38\nWhen,Slot,Left\n2026-09-14 09:00,110,4\n"
    intake = taken(tmp_path, {"sources/s.toml": source, "a.csv": data})
    assert counted(intake) == [(4, "110", 4, 0)]


def test_doubled_names_are_numbered_and_refused_only_where_they_are_needed(tmp_path: Path) -> None:
    table = read_table(b"a,b,a, A \n1,2,3,4\n")
    assert table.header == ("a", "b", "a (2)", "A (3)")
    assert cells(table) == [("1", "2", "3", "4")]
    beside = taken(tmp_path / "1", {"a.csv": COUNTS.replace("note", "x,x") + "m-1,2026-09-14 09:00,110,4,2,p,q\n"})
    assert counted(beside) == [(2, "110", 4, 2)]
    needed = taken(tmp_path / "2", {"a.csv": COUNTS.replace("note", "counted") + "m-1,2026-09-14 09:00,110,4,2,5\n"})
    assert "twice" in said(needed, "unknown-format")[0][1]
    source = (
        'kind = "counts"\nfiles = ["*.csv"]\n[columns]\nmachine = "machine"\ntime = "time"\nlabel = "label"\n'
        'counted = "counted{}"\n'
    )
    data = COUNTS.replace("note", "counted") + "m-1,2026-09-14 09:00,110,4,2,5\n"
    for at, (suffix, units) in enumerate([(" (1)", 4), (" (2)", 5), ("", None)]):
        described = taken(tmp_path / f"3{at}", {"sources/s.toml": source.format(suffix), "a.csv": data})
        assert described.counts["counted"].to_list() == ([] if units is None else [units])
    assert "(2)" in said(described, "unknown-format")[0][1]


@pytest.mark.parametrize("name", ["*", "^.*$", "^a$", "^b.*$", "column 2"])
def test_a_column_may_have_any_name(name: str, tmp_path: Path) -> None:
    intake = taken(tmp_path, {"a.csv": COUNTS.replace("note", name) + ONE})
    assert counted(intake) == [(2, "110", 4, 2)]


def test_a_described_column_may_have_any_name(tmp_path: Path) -> None:
    source = (
        'kind = "counts"\nfiles = ["*.csv"]\n[columns]\nmachine = "*"\ntime = "^t.*$"\nlabel = "label"\ncounted = "c"\n'
    )
    data = "*,^t.*$,label,c\nm-1,2026-09-14 09:00,110,4\n"
    assert counted(taken(tmp_path, {"sources/s.toml": source, "a.csv": data})) == [(2, "110", 4, 0)]


# --- lines that are no rows ---


@pytest.mark.parametrize(
    "total",
    ["Total,,,7,2,\n", "Totals:,,,7,2,\n", "Grand total,,,7\n", ",,Summe,7,2,\n", "Gesamtsumme,,,7\n",
     "Total général;7\n",
     "Suma,,,7,2,\n", "Totale,,,7\n", "Totaal,,,7,2,\n", "Soma,,,7\n", "TOTAL,,,,,\n", "Subtotal m-1,,,7\n"],
)  # fmt: skip
def test_total_lines_are_passed_over_wherever_they_stand(total: str, tmp_path: Path) -> None:
    intake = taken(tmp_path, {"a.csv": COUNTS + ONE + total + TWO + total})
    assert counted(intake) == [(2, "110", 4, 2), (4, "112", 3, 0)]
    assert [row for row, _ in said(intake, "lines-passed-over")] == [3, 5]
    assert rejects(intake) == []


@pytest.mark.parametrize(
    "row",
    ["Total,2026-09-14 09:00,110,4,2,\n", "m-1,,Total,4,2,\n", "m-1,,110,4,2,\n", ",,110,4,2,\n",
     "Totally-1,soon,110,4,2,\n",
     "m-1,2026-09-14 09:00,110\n", "m-1,soon,110,4,2,\n", "m-1,,,,,\n", "m-1,2026-09-14 09:00,110,4,2,n,o,p\n"],
)  # fmt: skip
def test_what_could_be_a_row_is_a_row(row: str, tmp_path: Path) -> None:
    """A machine, or a time, or no word for a total: the row is accepted or rejected, never passed over."""
    intake = taken(tmp_path, {"a.csv": COUNTS + ONE + row + TWO + row})
    assert said(intake, "lines-passed-over") == []
    assert intake.inputs["rows"].to_list() == [4]


def test_notes_below_the_last_row_are_passed_over(tmp_path: Path) -> None:
    tail = "Total,,,7\nprinted on 2026-09-15\n,,checked by A,,,\nno,faults,found today\n"
    intake = taken(tmp_path, {"a.csv": COUNTS + ONE + TWO + tail})
    assert counted(intake) == [(2, "110", 4, 2), (3, "112", 3, 0)]
    assert [row for row, _ in said(intake, "lines-passed-over")] == [4, 5, 6, 7]
    above = taken(tmp_path / "2", {"a.csv": COUNTS + "a remark\n" + ONE + TWO})
    assert [(row, text) for _, row, _, text in rejects(above)] == [(2, "a remark")]


def test_the_header_once_more_is_no_row(tmp_path: Path) -> None:
    again = COUNTS.upper().replace("MACHINE", "machine")
    intake = taken(tmp_path, {"a.csv": COUNTS + ONE + COUNTS + TWO + again})
    assert counted(intake) == [(2, "110", 4, 2), (4, "112", 3, 0)]
    assert [row for row, _ in said(intake, "lines-passed-over")] == [3, 5]


def test_nothing_is_passed_over_where_no_row_reads(tmp_path: Path) -> None:
    intake = taken(tmp_path, {"a.csv": COUNTS + "m-1,soon,110,4,2,\nTotal,,,7,2,\nthe end,,,,,\n"})
    assert said(intake, "lines-passed-over") == []
    assert [row for _, row, _, _ in rejects(intake)] == [2, 3, 4]


# --- ragged rows ---


def test_short_rows_are_padded_where_what_they_lack_is_optional(tmp_path: Path) -> None:
    intake = taken(tmp_path, {"a.csv": COUNTS + "m-1,2026-09-14 09:00,110,4\nm-1,2026-09-14 09:00,112,3,1\n" + ONE})
    assert counted(intake) == [(2, "110", 4, 0), (3, "112", 3, 1), (4, "110", 4, 2)]


def test_short_rows_that_lack_what_must_be_there_are_rejected(tmp_path: Path) -> None:
    intake = taken(tmp_path, {"a.csv": COUNTS + "m-1,2026-09-14 09:00,110\n" + ONE})
    assert [(row, reason) for _, row, reason, _ in rejects(intake)] == [(2, "3 fields where the header has 6")]


def test_a_last_line_that_may_be_cut_off_is_not_padded(tmp_path: Path) -> None:
    cut = COUNTS + ONE + "m-1,2026-09-14 09:00,112,3"
    assert "cut off" in rejects(taken(tmp_path / "1", {"a.csv": cut}))[0][2]
    assert rejects(taken(tmp_path / "2", {"a.csv": cut + "\n"})) == []


# --- cards ---


@pytest.mark.parametrize(
    "text",
    ["Card 4111 1111 1111 1111\n" + COUNTS + ONE, COUNTS + ONE + "Total,,,7,4111111111111111\n",
     COUNTS + ONE + "card 4111-1111-1111-1111\n",
     COUNTS + ONE + TWO.rstrip("\n") + ",,,,4111111111111111\n"],
)  # fmt: skip
def test_a_card_number_in_a_line_that_is_no_row_keeps_the_file_out(text: str, tmp_path: Path) -> None:
    """The number is a published test number, from memory; its check digit passes the formula of ISO/IEC 7812."""
    intake = taken(tmp_path, {"a.csv": text})
    assert "card-number-present" in intake.notices["kind"].to_list()
    assert intake.counts.height == 0
    assert "1111111" not in str(intake.rejects.rows()) + str(intake.notices.rows()).replace(" ", "").replace("-", "")


# --- whatever csv writes ---


@st.composite
def sheets(draw: st.DrawFn) -> tuple[bytes, list[tuple[int, int]], list[int]]:
    """A counts file in any dialect and encoding, titles above and totals around: (bytes, (line, counted) of its rows,
    other lines)."""
    mark = draw(st.sampled_from(",;\t|"))
    end = draw(st.sampled_from(["\n", "\r\n", "\r"]))
    encoding = draw(st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "cp1252"]))
    out = io.StringIO()
    # csv.writer leaves a lone LF bare where lines end with CR, and a reader then takes it for a line end.
    quoting = csv.QUOTE_ALL if end == "\r" else draw(st.sampled_from([csv.QUOTE_MINIMAL, csv.QUOTE_ALL]))
    writer = csv.writer(out, delimiter=mark, lineterminator=end, quoting=quoting)
    rows: list[tuple[int, int]] = []
    others: list[int] = []

    def line() -> int:
        return out.getvalue().replace("\r\n", "\n").replace("\r", "\n").count("\n") + 1

    def other(*cells: str) -> None:
        others.append(line())
        writer.writerow(cells)

    for title in draw(st.lists(st.sampled_from(["Counts", "Week 38, North", "by: A; B | C"]), max_size=3)):
        other(title)
    out.write(end * draw(st.integers(0, 2)))
    header = ["machine", "time", "label", "counted", "note"]
    writer.writerow(header)
    for at, units in enumerate(draw(st.lists(st.integers(0, 9), min_size=1, max_size=8))):
        note = draw(st.sampled_from(["", "été", "a,b;c|d\te", 'said "no"', "two\nlines"]))
        rows.append((line(), units))
        writer.writerow(["m-1", f"2026-09-{at + 1:02} 09:00", "110", units, note])
        kind = draw(st.sampled_from(["", "", "", "total", "header", "blank"]))
        if kind == "total":
            other("Total", "", "", str(units), "")
        elif kind == "header":
            other(*header)
        elif kind == "blank":
            out.write(end)
    for note in draw(st.lists(st.sampled_from(["printed by A", "End of the sheet"]), max_size=2)):
        other(note)
    return out.getvalue().encode(encoding), rows, others


@settings(max_examples=40, deadline=None)
@given(sheets())
def test_what_csv_writes_in_any_dialect_is_read_with_its_lines(
    sheet: tuple[bytes, list[tuple[int, int]], list[int]],
) -> None:
    """Check: the csv module of the standard library, which wrote it."""
    data, rows, others = sheet
    with TemporaryDirectory() as folder:
        intake = taken(Path(folder), {"a.csv": data})
    assert intake.counts.select("row", "counted").rows() == rows
    assert [row for row, _ in said(intake, "lines-passed-over")] == others
    assert rejects(intake) == []


def test_utf_16_may_be_declared_where_hardly_a_byte_is_nul() -> None:
    text = "東京,大阪\n京都,奈良\n"
    assert read_table(text.encode("utf-16-le"), shape=TableShape(encoding="utf-16")).header == ("東京", "大阪")
