"""Files of results: tables, records, fields; each whole or not there."""

from __future__ import annotations

import csv
import json
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any, TextIO

import meshio
import numpy as np
import pyarrow
import pyarrow.parquet

from pipeline.errors import OutputError
from pipeline.fem.mesh import Mesh
from pipeline.fem.space import Array

VERIFICATION = "verification.csv"
FORMULA = ("=", "+", "-", "@", "\t", "\r")


def check_writable(folder: Path) -> None:
    """Make the output folder and prove that it takes a file.

    Raises
    ------
    OutputError
        If it does not.
    """
    probe = folder / ".probe"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        probe.write_text("")
        probe.unlink()
    except OSError as error:
        raise OutputError(
            f"--out {folder}: can not be written ({error.strerror}); choose a folder of your own"
        ) from None


def write_table(path: Path, rows: Iterable[Mapping[str, object]], columns: Sequence[str]) -> None:
    """Write a comma-separated table with a decimal point, seven significant digits; whole or not.

    Text that a spreadsheet would run as a formula gets an apostrophe before it.
    """
    with _whole(path) as file:
        writer = csv.DictWriter(file, columns, lineterminator="\n")
        writer.writeheader()
        for row in rows:
            writer.writerow({key: _cell(row.get(key, "")) for key in columns})


def write_text(path: Path, text: str) -> None:
    """Write a text; whole or not."""
    with _whole(path) as file:
        file.write(text)


def write_bytes(path: Path, content: bytes) -> None:
    """Write a file of any kind; whole or not."""
    with in_place(path) as draft:
        draft.write_bytes(content)


@contextmanager
def _whole(path: Path) -> Iterator[TextIO]:
    """Yield a text file to write, whole or not."""
    with in_place(path) as draft, draft.open("w", newline="", encoding="utf-8") as file:
        yield file


@contextmanager
def writing(path: Path) -> Iterator[None]:
    """Turn whatever the system refuses meanwhile into OutputError, a sentence about a place."""
    try:
        yield
    except OSError as error:
        raise OutputError(
            f"{path}: can not be written ({error.strerror}); free disk space or choose another --out"
        ) from None


@contextmanager
def in_place(path: Path) -> Iterator[Path]:
    """Yield a draft beside a file; rename it into place when all went well, else raise OutputError."""
    draft = path.with_name(f".{path.name}.part")
    with writing(path):
        try:
            yield draft
            draft.replace(path)
        finally:
            with suppress(OSError):
                draft.unlink()


def _cell(value: object) -> object:
    if isinstance(value, str):
        text = value.replace("\r", " ")  # which programs take for the end of a row
        return f"'{text}" if value.startswith(FORMULA) and not _is_number(value) else text
    return f"{value:.7g}" if isinstance(value, float) else value


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True


def write_parquet(
    path: Path, rows: Sequence[Mapping[str, object]], columns: Sequence[str], numbers: Collection[str]
) -> None:
    """Write a table as Parquet, in which numbers are numbers wherever it is read; whole or not.

    Parameters
    ----------
    path : Path
        File to write.
    rows : sequence of mapping
        The rows; what is empty or missing is null.
    columns, numbers : collection of str
        All columns in their order, and those that hold numbers; the others hold text.
    """

    def column(name: str) -> pyarrow.Array:
        cells = (row.get(name, "") for row in rows)
        if name in numbers:
            values = [None if cell == "" else float(str(cell)) for cell in cells]
            return pyarrow.array(values, pyarrow.float64())
        return pyarrow.array([None if cell == "" else str(cell) for cell in cells], pyarrow.string())

    table = pyarrow.table({name: column(name) for name in columns})
    with in_place(path) as draft:
        pyarrow.parquet.write_table(table, draft)


def read_table(path: Path) -> list[dict[str, str]]:
    """Read a table as a list of rows."""
    return list(stream_table(path))


def stream_table(path: Path) -> Iterator[dict[str, str]]:
    """Read a table row by row."""
    with path.open(newline="", encoding="utf-8") as file:
        yield from csv.DictReader(file)


def read_if_any(path: Path) -> list[dict[str, str]]:
    """Read a table that not every run has; no rows if there is none."""
    return read_table(path) if path.exists() else []


def write_json(path: Path, content: Mapping[str, Any]) -> None:
    """Write a record as JSON."""
    path.write_text(json.dumps(content, indent=2, sort_keys=True) + "\n", encoding="utf-8")


def write_fields(
    path: Path, mesh: Mesh, point_fields: Mapping[str, Array], cell_fields: Mapping[str, Array]
) -> None:
    """Write mesh and fields as VTU in single precision.

    Parameters
    ----------
    path : Path
        File to write.
    mesh : Mesh
        The mesh; each cell carries the number of its part.
    point_fields, cell_fields : mapping of str to Array
        Values at nodes (n, ...) and in cells (m, ...).
    """
    single = np.float32
    meshio.Mesh(
        mesh.nodes,
        [("tetra10", mesh.cells)],
        point_data={name: values.astype(single) for name, values in point_fields.items()},
        cell_data={
            "part": [mesh.part_of.astype(np.int32)],
            **{name: [values.astype(single)] for name, values in cell_fields.items()},
        },
    ).write(path, file_format="vtu")
