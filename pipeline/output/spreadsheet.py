"""Tables as the sheets of one spreadsheet, numbers as numbers, everything else as text."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from io import BytesIO
from itertools import chain, islice
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


def write_sheets(path: Path, sheets: Mapping[str, Iterable[Row]], said: Sequence[str] = ()) -> None:
    """Write tables as a spreadsheet without any formula; whole or not.

    Its first sheet and its comment are the caution. A table with flags gets a column of marks besides.

    Parameters
    ----------
    path : Path
        File to write.
    sheets : mapping of str to iterable of mapping
        Rows of each sheet, written as they come; the first row's keys are its columns. Empty ones are
        left out.
    said : sequence of str
        What stands below the caution.

    Raises
    ------
    OutputError
        If a table is too long, or the file can not be written.
    """
    content = BytesIO()
    as_it_is = {"strings_to_formulas": False, "strings_to_numbers": False, "strings_to_urls": False}
    with xlsxwriter.Workbook(content, {"constant_memory": True, **as_it_is}) as book:
        book.set_properties({"created": UNDATED, "comments": CAUTION})
        words = [CAUTION, FOOTNOTE, *said]
        _write_sheet(book, "caution", [{"read this first": one} for one in words])
        for name, rows in sheets.items():
            if not _write_sheet(book, name, rows):
                raise OutputError(
                    f"{path}: {name} has more than the {MOST_ROWS} rows that a spreadsheet takes: use "
                    "the CSV"
                )
    write_bytes(path, content.getvalue())


def _write_sheet(book: xlsxwriter.Workbook, name: str, rows: Iterable[Row]) -> bool:
    """Write a table row by row, each of which the library puts on disk before the next.

    Say whether it took all rows.
    """
    waiting = iter(rows)
    first = list(islice(waiting, SAMPLE))
    if not first:
        return True
    sheet = book.add_worksheet(name)
    columns = _columns(first[0])
    for place, column in enumerate(columns):
        width = max(len(column), *(len(_text(row, column)) for row in first))
        sheet.set_column(place, place, min(width + 2, WIDEST))
    sheet.freeze_panes(1, 0)
    sheet.write_row(0, 0, columns, book.add_format({"bold": True}))
    line = 0
    for line, row in enumerate(chain(first, waiting), start=1):
        if line > MOST_ROWS:
            return False
        for place, column in enumerate(columns):
            _write_cell(sheet, (line, place), _text(row, column), column in NAMES)
    sheet.autofilter(0, 0, line, len(columns) - 1)
    return True


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
