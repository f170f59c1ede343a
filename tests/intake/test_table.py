"""Bytes to cells: every cell as csv reads it, every record on the line that an editor shows, nothing lost in
silence.
"""

import csv
import io

import polars as pl
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from recon.intake.dialect import Sought
from recon.intake.table import DELIMITERS, ROW, TextTable, UnreadableFile, decode, read_table


def cells(table: TextTable) -> list[tuple[str, ...]]:
    """The cells row by row; an empty cell is an empty text, whichever way it was read."""
    return [tuple(cell or "" for cell in row) for row in table.frame.drop(ROW).rows()]


def lines(table: TextTable) -> list[int]:
    return table.frame[ROW].to_list()


SIMPLE = "machine,label,counted\nm-1,110,4\nm-1,112,0\n"
SIMPLE_CELLS = [("m-1", "110", "4"), ("m-1", "112", "0")]


@pytest.mark.parametrize("mark", DELIMITERS)
def test_each_delimiter(mark: str) -> None:
    table = read_table(SIMPLE.replace(",", mark).encode())
    assert table.header == ("machine", "label", "counted")
    assert cells(table) == SIMPLE_CELLS
    assert lines(table) == [2, 3]


def test_the_delimiter_is_the_one_that_splits_the_header_most() -> None:
    table = read_table(b"when|price, with tax|note\n1|2,50|a;b;c;d\n")
    assert table.header == ("when", "price, with tax", "note")
    assert cells(table) == [("1", "2,50", "a;b;c;d")]


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"], ids=["LF", "CRLF", "CR"])
def test_each_encoding_with_each_line_end(encoding: str, end: str) -> None:
    text = "name,größe\ncafé,1\n東京,2\n".replace("\n", end)
    table = read_table(text.encode(encoding))
    assert table.header == ("name", "größe")
    assert cells(table) == [("café", "1"), ("東京", "2")]
    assert lines(table) == [2, 3]


@pytest.mark.parametrize(("mark", "encoding"), [(b"\xff\xfe", "utf-16-le"), (b"\xfe\xff", "utf-16-be")])
def test_utf_16_of_either_byte_order(mark: bytes, encoding: str) -> None:
    assert cells(read_table(mark + SIMPLE.encode(encoding))) == SIMPLE_CELLS


@pytest.mark.parametrize("tail", ["", "\n", "\n\n\n", "\n  \n\t\n", "\n,,\n", "\n,,\n,,\n\n"])
def test_the_end_of_the_file(tail: str) -> None:
    """Source: RFC 4180 section 2, rule 2: the last record may or may not have a line end."""
    table = read_table(SIMPLE.rstrip("\n").encode() + tail.encode())
    assert cells(table) == SIMPLE_CELLS
    assert table.torn == ()


def test_empty_cells_at_the_end_of_a_tab_file_are_cells() -> None:
    table = read_table(b"a\tb\tc\n1\t2\t3\n4\t\t\n")
    assert cells(table) == [("1", "2", "3"), ("4", "", "")]
    assert table.torn == ()


@pytest.mark.parametrize("blank", ["\n", ",,\n", " , ,\n", "\t \n", "\n,,\n\n"])
def test_blank_lines_are_passed_over_yet_counted(blank: str) -> None:
    table = read_table(f"a,b,c\n1,2,3\n{blank}4,5,6\n".encode())
    assert cells(table) == [("1", "2", "3"), ("4", "5", "6")]
    assert lines(table) == [2, 3 + blank.count("\n")]
    assert table.rows == 2


@pytest.mark.parametrize("lead", ["\n", "\n\n\n", "  \n", "\t\n\n"])
def test_blank_lines_before_the_header(lead: str) -> None:
    table = read_table(lead.encode() + SIMPLE.encode())
    first = lead.count("\n") + 1
    assert table.header == ("machine", "label", "counted")
    assert lines(table) == [first + 1, first + 2]
    assert table.original([first + 2]) == ["m-1,112,0"]


def test_quoted_cells_hold_delimiters_quotes_and_line_ends() -> None:
    """Source: RFC 4180 section 2, rules 5 to 7."""
    table = read_table(b'a,b\n"x,y","say ""no"""\n"one\ntwo\n\nthree",4\n5,6\n')
    assert cells(table) == [("x,y", 'say "no"'), ("one\ntwo\n\nthree", "4"), ("5", "6")]
    assert lines(table) == [2, 3, 7]
    assert table.original([2, 3, 7]) == ['"x,y","say ""no"""', '"one\ntwo\n\nthree",4', "5,6"]


def test_records_with_too_few_or_too_many_fields_are_torn_not_bent() -> None:
    table = read_table(b'a,b,c\n1,2,3\n4,5\n"6\n7",8,9\n1,2,3,4\nalone\n7,8,9\n')
    assert cells(table) == [("1", "2", "3"), ("6\n7", "8", "9"), ("7", "8", "9")]
    assert lines(table) == [2, 4, 8]
    assert [(torn.row, torn.reason) for torn in table.torn] == [
        (3, "2 fields where the header has 3"), (6, "4 fields where the header has 3"),
        (7, "1 fields where the header has 3"),
    ]  # fmt: skip
    assert table.original([3, 6, 4]) == ["4,5", "1,2,3,4", '"6\n7",8,9']


def test_surplus_empty_fields_are_no_damage() -> None:
    table = read_table(b"a,b\n1,2,,\n3,4, \n5,6\n")
    assert cells(table) == [("1", "2"), ("3", "4"), ("5", "6")]
    assert table.torn == ()


def test_a_header_alone_is_a_table_without_rows() -> None:
    table = read_table(b"machine,label\n")
    assert (table.header, table.rows, table.torn) == (("machine", "label"), 0, ())
    assert table.frame.schema == {"machine": pl.String, "label": pl.String, ROW: pl.Int64}


def test_nothing_is_inferred() -> None:
    table = read_table(b"a,b,c\n007,1e9,true\n0x10,NA,2026-09-01\n")
    assert cells(table) == [("007", "1e9", "true"), ("0x10", "NA", "2026-09-01")]


def test_header_cells_are_trimmed_and_named_where_empty() -> None:
    assert read_table(b" machine , ,label\n1,2,3\n").header == ("machine", "column 2", "label")


@pytest.mark.parametrize(
    ("data", "found"),
    [
        (b"", "empty"),
        (b"\n \n\t\n", "empty"),
        (b"\xef\xbb\xbf", "empty"),
        (b"a,b\n1,2\n3,\x00\n", "byte 11 is NUL"),
        ("a,b\n1,\0\n".encode("utf-16"), "is NUL"),
        (b"\xff\xfea\x00,\x00b", "not UTF-16"),
        (b'a,b\n1,"2\n3,4\n', "quote"),
        (b"x" * 200_000, "first line has 200000 characters"),
        (b"\x89PNG\r\n\x1a\n\x00\x00", "picture"),
    ],
)
def test_what_is_no_table_is_refused_with_what_was_found(data: bytes, found: str) -> None:
    with pytest.raises(UnreadableFile) as error:
        read_table(data)
    assert found in str(error.value)


WORDS = st.lists(st.sampled_from([*"aé7 ,;|\t\"'", "\n", "\r\n", "\r"]), max_size=6).map("".join)


@st.composite
def written_tables(draw: st.DrawFn) -> tuple[str, list[tuple[int, list[str]]], int, str]:
    """A table as csv.writer writes it: its text, the records with their lines, its width, its delimiter.

    Between records stand blank lines, and some records have a field too few or too many.
    """
    mark = draw(st.sampled_from(DELIMITERS))
    width = draw(st.integers(2, 4))
    end = draw(st.sampled_from(["\n", "\r\n"]))
    quoting = draw(st.sampled_from([csv.QUOTE_MINIMAL, csv.QUOTE_ALL, csv.QUOTE_NONNUMERIC]))
    out = io.StringIO()
    writer = csv.writer(out, delimiter=mark, quoting=quoting, lineterminator=end)
    # csv.writer leaves a lone CR bare where lines end with LF, and a reader then takes it for a line end.
    quoter = csv.writer(out, delimiter=mark, quoting=csv.QUOTE_ALL, lineterminator=end)
    out.write(end * draw(st.integers(0, 2)))
    writer.writerow([f"h{at}" for at in range(width)])
    records = []
    for _ in range(draw(st.integers(0, 5))):
        size = width + draw(st.sampled_from([0, 0, 0, 0, 0, -1, 1]))
        record = draw(st.lists(WORDS, min_size=size, max_size=size))
        records.append((shown_line(out.getvalue()), record))
        (quoter if any("\r" in cell for cell in record) else writer).writerow(record)
        out.write(draw(st.sampled_from(["", "", "", "", end, f" {end}"])))
    return out.getvalue(), records, width, mark


def header_of_written(width: int) -> Sought:
    """Looks for the header of a written table: the cells below it may look more like names than it does."""
    wanted = [f"h{at}" for at in range(width)]
    return lambda cells: (list(cells) == wanted, len(set(wanted) & set(cells)))


def shown_line(text: str) -> int:
    """The line that an editor shows at the end of `text`: CRLF, CR and LF each end one."""
    return text.replace("\r\n", "\n").replace("\r", "\n").count("\n") + 1


def plain_ends(cell: str) -> str:
    return cell.replace("\r\n", "\n").replace("\r", "\n")


@given(written_tables())
def test_the_same_cells_and_lines_as_csv_wrote(
    written: tuple[str, list[tuple[int, list[str]]], int, str],
) -> None:
    """Check: the csv module of the standard library."""
    text, records, width, mark = written
    # A cell with as many delimiters to each line end as a row has is taken for rows that an open quote swallowed.
    cells_written = [plain_ends(cell) for _, record in records for cell in record]
    assume(not any((ends := cell.count("\n")) and cell.count(mark) == ends * (width - 1) for cell in cells_written))
    table = read_table(text.encode(), header_of_written(width))
    told = [(line, [plain_ends(cell) for cell in record]) for line, record in records]
    told = [(line, record) for line, record in told if any(cell.strip() for cell in record)]
    for _, record in told:
        while len(record) > width and not record[-1].strip():
            record.pop()
    assert list(zip(lines(table), cells(table), strict=True)) == [
        (line, tuple(record)) for line, record in told if len(record) == width
    ]
    assert [torn.row for torn in table.torn] == [line for line, record in told if len(record) != width]
    assert table.rows == table.frame.height + len(table.torn) == len(told)


@given(written_tables())
def test_the_original_of_a_record_is_its_text_in_the_file(
    written: tuple[str, list[tuple[int, list[str]]], int, str],
) -> None:
    """Check: csv reads each original back to the very record."""
    text, records, width, mark = written
    table = read_table(text.encode(), header_of_written(width))
    told = {line: [plain_ends(cell) for cell in record] for line, record in records}
    for line, original in zip(lines(table), table.original(lines(table)), strict=True):
        assert original in plain_ends(text)
        assert list(csv.reader(io.StringIO(original, newline=""), delimiter=mark)) == [told[line]]


@given(st.binary(max_size=60))
def test_any_bytes_are_a_table_or_refused(data: bytes) -> None:
    try:
        table = read_table(data)
    except UnreadableFile:
        return
    assert table.rows == table.frame.height + len(table.torn)
    assert table.frame.columns == [*table.header, ROW]
    where = [*lines(table), *(torn.row for torn in table.torn)]
    assert len(set(where)) == len(where)
    assert len(table.original(where)) == len(where)


@given(st.text(st.sampled_from('ab,"\n;\t '), max_size=40))
def test_any_delimited_text_is_a_table_or_refused(text: str) -> None:
    try:
        table = read_table(text.encode())
    except UnreadableFile:
        return
    assert table.rows == table.frame.height + len(table.torn)
    assert all(1 < line <= text.count("\n") + 1 for line in lines(table))


@given(st.text(max_size=30))
def test_decoding_gives_lines_that_end_with_lf(text: str) -> None:
    if "\0" in text:
        return
    decoded = decode(
        text.encode("utf-8", "surrogatepass") if text.isascii() else text.encode("utf-16", "surrogatepass")
    ).text
    assert decoded.endswith("\n")
    assert "\r" not in decoded
