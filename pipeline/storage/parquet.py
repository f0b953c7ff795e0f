"""Tables as Parquet, for who reads many rows at once, or few out of many."""

from __future__ import annotations

import sys
from collections.abc import Collection, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow
import pyarrow.compute
import pyarrow.parquet
from numpy.typing import NDArray

from geometries.errors import StudyError
from pipeline.storage.files import Add, Cells, in_place, writing

GROUP = 50_000  # rows that are held until they are written, and passed over at once where not wanted


def write_parquet(
    path: Path,
    rows: Sequence[Mapping[str, object]],
    columns: Sequence[str],
    numbers: Collection[str],
    about: Mapping[str, str],
) -> None:
    """Write a table as Parquet, in which numbers are numbers wherever it is read; whole or not.

    Columns that hold no numbers hold text; what is empty or missing is null. What is said about the
    table stands in the file's metadata.
    """
    with growing_parquet(path, columns, numbers, about) as add:
        add(rows)


@contextmanager
def growing_parquet(
    path: Path, columns: Sequence[str], numbers: Collection[str], about: Mapping[str, str]
) -> Iterator[Add]:
    """Yield what adds rows to a table like that of :func:`write_parquet`, group by group."""
    types = ((name, pyarrow.float64() if name in numbers else pyarrow.string()) for name in columns)
    schema = pyarrow.schema(types, metadata=dict(about))
    held: dict[str, list[object]] = {name: [] for name in columns}
    with in_place(path) as draft, pyarrow.parquet.ParquetWriter(draft, schema) as writer:

        def flush() -> None:
            with writing(path):
                writer.write_table(pyarrow.table(held, schema=schema))
            for cells in held.values():
                cells.clear()

        def add(rows: Sequence[Mapping[str, object]]) -> None:
            for name, cells in held.items():
                typed = _number if name in numbers else _text
                cells += [typed(row.get(name, "")) for row in rows]
            if len(held[columns[0]]) >= GROUP:
                flush()

        yield add
        flush()


def _number(cell: object) -> float | None:
    return None if cell == "" else float(str(cell))


def _text(cell: object) -> str | None:
    return None if cell == "" else str(cell)


def read_rows_of(path: Path, columns: Sequence[str], **only: str) -> list[Cells]:
    """Rows of a Parquet table whose columns have the texts that are given; null is empty.

    Groups of rows in which none can be are not read.

    Raises
    ------
    StudyError
        If the table is missing, damaged or lacks a column.
    """
    where = None
    for name, text in only.items():
        own = pyarrow.compute.field(name)
        test = own == text if text else own.is_null()
        where = test if where is None else where & test
    try:
        found = pyarrow.parquet.read_table(path, columns=[*columns], filters=where)
    except (OSError, pyarrow.ArrowException) as error:
        raise _unread(path, error) from None
    _require(path, columns, found.column_names)
    cells = (["" if one is None else one for one in found[name].to_pylist()] for name in columns)
    return [dict(zip(columns, row, strict=True)) for row in zip(*cells, strict=True)]


def read_columns(path: Path, columns: Sequence[str]) -> dict[str, NDArray[Any]]:
    """Columns of a Parquet table, group by group: numbers, NaN for null, or texts, empty for null.

    Raises
    ------
    StudyError
        If the table is missing, damaged or lacks a column.
    """
    try:
        with pyarrow.parquet.ParquetFile(path) as table:
            schema = table.schema_arrow
            _require(path, columns, schema.names)
            found: dict[str, NDArray[Any]] = {
                name: np.empty(table.metadata.num_rows, float if _is_number(schema, name) else object)
                for name in columns
            }
            place = 0
            for number in range(table.num_row_groups):
                group = table.read_row_group(number, columns=[*columns])
                for name, cells in found.items():
                    cells[place : place + len(group)] = _plain(group[name])
                place += len(group)
    except (OSError, pyarrow.ArrowException) as error:
        raise _unread(path, error) from None
    return found


def _is_number(schema: pyarrow.Schema, name: str) -> bool:
    return bool(pyarrow.types.is_floating(schema.field(name).type))


def _plain(cells: pyarrow.ChunkedArray) -> NDArray[Any]:
    """Cells as numbers, or as texts of which like ones are one object."""
    if pyarrow.types.is_floating(cells.type):
        return np.asarray(cells.to_numpy(), dtype=float)
    coded = cells.fill_null("").dictionary_encode().combine_chunks()
    words = np.array([sys.intern(text) for text in coded.dictionary.to_pylist()], dtype=object)
    return words[coded.indices.to_numpy()]


def texts_in(path: Path, column: str) -> list[str]:
    """All texts in a column of a Parquet table, each once, in their order; null is an empty text.

    Raises
    ------
    StudyError
        If the table is missing, damaged or lacks the column.
    """
    try:
        table = pyarrow.parquet.read_table(path, columns=[column], read_dictionary=[column])
    except (OSError, pyarrow.ArrowException) as error:
        raise _unread(path, error) from None
    _require(path, [column], table.column_names)
    return [text or "" for text in table.column(column).unique().to_pylist()]


def _require(path: Path, columns: Collection[str], there: Collection[str]) -> None:
    lacking = [name for name in columns if name not in there]
    if lacking:
        raise StudyError(f"{path}: has no {', '.join(lacking)}; give the table as a run wrote it")


def _unread(path: Path, error: Exception) -> StudyError:
    first = str(error).partition("\n")[0]
    return StudyError(f"{path}: can not be read ({first}); give a finished run")
