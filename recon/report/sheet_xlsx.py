"""A count sheet as a workbook: a sheet of counts, a sheet of cash, both in our own field names, and a page to read.

Filled in, it goes into the inbox as it is. Time and counter are typed once a machine, in its first line: the lines
below repeat them by a formula of ours. Nothing that came from a file can become a formula or a link.
"""

import io
from datetime import UTC, date
from typing import Any

from recon.report.cell_text import cell_text
from recon.report.sheet import CAUTIONS, CountSheet
from recon.report.sheet_csv import CASH_COLUMNS, count_columns, count_rows

_UNITS = ("counted", "loaded", "removed")
_MONEY = ("notes", "coins", "total", "tubes")
_WIDTHS = {"machine": 14, "tray": 7, "label": 9, "product": 30, "par": 6, "time": 18, "counter": 12, "note": 32}
_INK, _PAPER, _EDGE = "#23272E", "#EFECE4", "#8A867D"
LARGEST_UNITS = 100_000
"""The largest number of units that a cell takes; intake holds it too (recon.intake.values)."""


def sheet_xlsx(sheet: CountSheet) -> bytes:
    """The workbook. The same sheet gives the same bytes."""
    import xlsxwriter

    out = io.BytesIO()
    options = {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
    book = xlsxwriter.Workbook(out, options)
    made = sheet.made.astimezone(UTC).replace(tzinfo=None)
    book.set_properties({"title": f"Count sheet {sheet.day}", "created": made})
    forms = _formats(book)
    _counts(book, sheet, forms)
    _cash(book, sheet, forms)
    _read_me(book, sheet, forms)
    book.close()
    return out.getvalue()


def _formats(book: Any) -> dict[str, Any]:
    """What a cell looks like: known text, cells to fill in (boxed), the first line of a machine (a line above)."""
    fill = {"border": 1, "border_color": _EDGE, "locked": False}
    kinds: dict[str, dict[str, object]] = {
        "head": {"bold": True, "bg_color": _PAPER, "font_color": _INK, "bottom": 1, "valign": "vcenter"},
        "text": {"num_format": "@"},
        "par": {"num_format": "0"},
        "units": {"num_format": "0", **fill},
        "time": {"num_format": "yyyy-mm-dd hh:mm", "align": "left", **fill},
        "words": {"num_format": "@", "text_wrap": True, **fill},
        "wrap": {"text_wrap": True, "valign": "top"},
        "title": {"bold": True, "font_size": 14},
    }
    for digits in range(5):
        kinds[f"money{digits}"] = {"num_format": "0." + "0" * digits if digits else "0", **fill}
    first = {"top": 2, "top_color": _INK}
    made = {name: book.add_format(facts) for name, facts in kinds.items()}
    return made | {f"{name}-first": book.add_format({**facts, **first}) for name, facts in kinds.items()}


def _page(page: Any, names: tuple[str, ...], forms: dict[str, Any], rows: int) -> None:
    """Header, widths, filter, frozen panes and print settings that both tables share."""
    for at, name in enumerate(names):
        page.set_column(at, at, _WIDTHS.get(name, 10))
        page.write_string(0, at, name, forms["head"])
    page.set_row(0, 20)
    page.freeze_panes(1, 3 if "label" in names else 1)
    page.autofilter(0, 0, rows, len(names) - 1)
    page.repeat_rows(0)
    page.fit_to_pages(1, 0)
    page.set_landscape()
    page.set_footer("&L&A&RPage &P of &N")


def _counts(book: Any, sheet: CountSheet, forms: dict[str, Any]) -> None:
    names, rows = count_columns(sheet), count_rows(sheet)
    page = book.add_worksheet("Counts")
    _page(page, names, forms, len(rows))
    column = {name: at for at, name in enumerate(names)}
    above = None
    for at, row in enumerate(rows, start=1):
        first = row["machine"] != above
        above = row["machine"]
        end = "-first" if first else ""
        for name in ("machine", "tray", "label", "product"):
            page.write_string(at, column[name], cell_text(str(row[name])), forms["text" + end])
        if row["par"] is not None:
            page.write_number(at, column["par"], int(row["par"]), forms["par" + end])
        for name in _UNITS:
            page.write_blank(at, column[name], None, forms["units" + end])
        for name, form in (("time", "time"), ("counter", "words")):
            if first:
                page.write_blank(at, column[name], None, forms[form + end])
            else:
                cell = f"{_letters(column[name])}{at}"
                page.write_formula(at, column[name], f'=IF({cell}="","",{cell})', forms[form], "")
        page.write_blank(at, column["note"], None, forms["words" + end])
    _only_whole(page, len(rows), column["counted"], column["removed"])
    _only_times(page, len(rows), column["time"])


def _letters(column: int) -> str:
    """The name of a column: A for 0. There are never more than 26."""
    return chr(ord("A") + column)


def _only_whole(page: Any, rows: int, first: int, last: int) -> None:
    rule = {
        "validate": "integer", "criteria": "between", "minimum": 0, "maximum": LARGEST_UNITS, "ignore_blank": True,
        "input_title": "Units", "input_message": "Blank: not counted. 0: counted, and empty.",
        "error_title": "A whole number", "error_message": "Units are whole numbers from 0 on.",
    }  # fmt: skip
    page.data_validation(1, first, rows, last, rule)


def _only_times(page: Any, rows: int, column: int) -> None:
    rule = {
        "validate": "date", "criteria": ">=", "value": date(2000, 1, 1), "ignore_blank": True, "input_title": "When",
        "input_message": "By the machine's own clock, such as 2026-09-28 07:30. Once a machine, in its first line.",
        "error_title": "Day and time", "error_message": "Expected a day and a time, such as 2026-09-28 07:30.",
    }  # fmt: skip
    page.data_validation(1, column, rows, column, rule)


def _cash(book: Any, sheet: CountSheet, forms: dict[str, Any]) -> None:
    page = book.add_worksheet("Cash")
    _page(page, CASH_COLUMNS, forms, len(sheet.machines))
    for at, machine in enumerate(sheet.machines, start=1):
        page.write_string(at, 0, cell_text(machine.machine), forms["text"])
        page.write_blank(at, 1, None, forms["time"])
        for column in range(2, 2 + len(_MONEY)):
            page.write_blank(at, column, None, forms[f"money{machine.digits}"])
        page.write_blank(at, 2 + len(_MONEY), None, forms["words"])
    rows = len(sheet.machines)
    rule = {
        "validate": "decimal", "criteria": ">=", "value": 0, "ignore_blank": True, "input_title": "Cash taken out",
        "input_message": "Notes and coins, or the total. tubes: coins left in the changer. Blank: none was taken.",
        "error_title": "An amount", "error_message": "Expected an amount, not negative.",
    }  # fmt: skip
    page.data_validation(1, 2, rows, 1 + len(_MONEY), rule)
    _only_times(page, rows, 1)


def _read_me(book: Any, sheet: CountSheet, forms: dict[str, Any]) -> None:
    page = book.add_worksheet("Read me")
    page.set_column(0, 0, 96)
    page.write_string(0, 0, f"Count sheet {sheet.day}", forms["title"])
    before = "after you load" if sheet.after_load else "before you load"
    lines = (
        f"Blank = not counted. 0 = counted, and empty. Count {before}.",
        "Fill in time and counter once a machine, in its first line: the lines below repeat them.",
        "Times are those of the machine's own clock. Machines that were not visited stay blank.",
        "Cash: notes and coins, or the total; tubes is what is left in the coin changer. Both names go into the note.",
        *CAUTIONS,
        "Save, and put this file into inbox/ of the route as it is.",
        *(f"Not on this sheet: {machine}: {why}." for machine, why in sheet.left_out),
    )
    for at, line in enumerate(lines, start=2):
        page.write_string(at, 0, cell_text(line), forms["wrap"])
