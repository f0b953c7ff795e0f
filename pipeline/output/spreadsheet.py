"""Tables as the sheets of one spreadsheet, numbers as numbers, everything else as text."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from io import BytesIO
from pathlib import Path

import xlsxwriter

from pipeline.errors import OutputError
from pipeline.output.tables import number_in
from pipeline.storage.caution import CAUTION
from pipeline.storage.files import write_bytes
from pipeline.tables.flagged import FOOTNOTE, mark_of

Row = Mapping[str, object]
NAMES = {
    "a", "b", "case", "construct", "load", "location", "name", "of", "quantity", "stage", "unit",
    "variant",
}  # fmt: skip
"""Columns whose cells are text even where they look like a number."""
MARKS, MARKED = "mark", ("value", "verdict", "standing")  # a column, and those it may stand beside
MOST_ROWS, MOST_CHARACTERS = 1_048_575, 32_767  # below the head, and in a cell, of any spreadsheet
WIDEST = 40  # characters
SAMPLE = 50  # rows by which a column's width is chosen
UNDATED = datetime(2000, 1, 1)  # the same file from the same results


def write_sheets(path: Path, sheets: Mapping[str, Sequence[Row]]) -> None:
    """Write tables as a spreadsheet without any formula; whole or not.

    Its first sheet and its comment are the caution. A table with flags gets a column of marks besides.

    Parameters
    ----------
    path : Path
        File to write.
    sheets : mapping of str to sequence of mapping
        Rows of each sheet; the first row's keys are its columns. Empty ones are left out.

    Raises
    ------
    OutputError
        If a table is too long, or the file can not be written.
    """
    content = BytesIO()
    as_it_is = {"strings_to_formulas": False, "strings_to_numbers": False, "strings_to_urls": False}
    with xlsxwriter.Workbook(content, {"constant_memory": True, **as_it_is}) as book:
        book.set_properties({"created": UNDATED, "comments": CAUTION})
        _write_sheet(book, "caution", [{"read this first": words} for words in (CAUTION, FOOTNOTE)])
        for name, rows in sheets.items():
            if len(rows) > MOST_ROWS:
                raise OutputError(
                    f"{path}: {name} has {len(rows)} rows; a spreadsheet takes {MOST_ROWS}: use the CSV"
                )
            if rows:
                _write_sheet(book, name, rows)
    write_bytes(path, content.getvalue())


def _write_sheet(book: xlsxwriter.Workbook, name: str, rows: Sequence[Row]) -> None:
    """Write a table row by row, each of which the library puts on disk before the next."""
    sheet = book.add_worksheet(name)
    columns = _columns(rows[0])
    for place, column in enumerate(columns):
        width = max(len(column), *(len(_text(row, column)) for row in rows[:SAMPLE]))
        sheet.set_column(place, place, min(width + 2, WIDEST))
    sheet.freeze_panes(1, 0)
    sheet.autofilter(0, 0, len(rows), len(columns) - 1)
    sheet.write_row(0, 0, columns, book.add_format({"bold": True}))
    for line, row in enumerate(rows, start=1):
        for place, column in enumerate(columns):
            _write_cell(sheet, (line, place), _text(row, column), column in NAMES)


def _columns(row: Row) -> list[str]:
    """Columns of a table, and beside what can be flagged one for the mark."""
    columns = list(row)
    beside = next((name for name in MARKED if name in row and "flags" in row), None)
    if beside is not None:
        columns.insert(columns.index(beside) + 1, MARKS)
    return columns


def _text(row: Row, column: str) -> str:
    return mark_of(str(row["flags"])) if column == MARKS else str(row.get(column, ""))


def _write_cell(
    sheet: xlsxwriter.worksheet.Worksheet, place: tuple[int, int], text: str, is_name: bool
) -> None:
    number = None if is_name else number_in(text)
    if number is not None:
        sheet.write_number(*place, number)
    elif text:
        sheet.write_string(*place, text[:MOST_CHARACTERS])
