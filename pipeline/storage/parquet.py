"""Tables as Parquet, for who reads many rows at once."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from pathlib import Path

import pyarrow
import pyarrow.parquet

from pipeline.storage.files import in_place


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

    def column(name: str) -> pyarrow.Array:
        cells = (row.get(name, "") for row in rows)
        if name in numbers:
            values = [None if cell == "" else float(str(cell)) for cell in cells]
            return pyarrow.array(values, pyarrow.float64())
        return pyarrow.array([None if cell == "" else str(cell) for cell in cells], pyarrow.string())

    table = pyarrow.table({name: column(name) for name in columns}, metadata=dict(about))
    with in_place(path) as draft:
        pyarrow.parquet.write_table(table, draft)
