"""Where a case's results lie on disk. A case folder is whole or not there.

``DIR/cases/NAME/`` holds ``rows.csv`` (all measures), ``fields.vtu`` (mesh and fields of every stage,
quadratic tetrahedra, for any VTK viewer) and, written last, ``summary.json``.
"""

from __future__ import annotations

import csv
import json
import shutil
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any, TextIO

import meshio
import numpy as np

from pipeline.errors import OutputError
from pipeline.fem.mesh import Mesh
from pipeline.fem.space import Array

SUMMARY, ROWS, FIELDS = "summary.json", "rows.csv", "fields.vtu"
VERIFICATION = "verification.csv"


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


@contextmanager
def case_folder(out: Path, name: str) -> Iterator[Path]:
    """Yield a folder to write a case into; rename it into place when all went well.

    Raises
    ------
    OutputError
        If the disk is full or a file can not be written; nothing is left behind.
    """
    final, draft = out / "cases" / name, out / "cases" / f".{name}.part"
    try:
        shutil.rmtree(draft, ignore_errors=True)
        draft.mkdir(parents=True)
        yield draft
        shutil.rmtree(final, ignore_errors=True)
        draft.rename(final)
    except OSError as error:
        raise OutputError(
            f"{final}: can not be written ({error.strerror}); free disk space or choose another --out"
        ) from None
    finally:
        shutil.rmtree(draft, ignore_errors=True)


def discard_case(out: Path, name: str) -> None:
    """Remove what an earlier run left of a case, so that nothing stale stays if this run fails."""
    shutil.rmtree(out / "cases" / name, ignore_errors=True)


def write_table(path: Path, rows: Iterable[Mapping[str, object]], columns: Sequence[str]) -> None:
    """Write a comma-separated table with a decimal point, seven significant digits; whole or not."""
    with _whole(path) as file:
        writer = csv.DictWriter(file, columns, lineterminator="\n")
        writer.writeheader()
        for row in rows:
            writer.writerow({key: _cell(row.get(key, "")) for key in columns})


def write_text(path: Path, text: str) -> None:
    """Write a text; whole or not."""
    with _whole(path) as file:
        file.write(text)


@contextmanager
def _whole(path: Path) -> Iterator[TextIO]:
    """Yield a file to write; rename it into place when all went well, else raise OutputError."""
    draft = path.with_name(f".{path.name}.part")
    try:
        with draft.open("w", newline="", encoding="utf-8") as file:
            yield file
        draft.replace(path)
    except OSError as error:
        draft.unlink(missing_ok=True)
        raise OutputError(
            f"{path}: can not be written ({error.strerror}); free disk space or choose another --out"
        ) from None


def _cell(value: object) -> object:
    return f"{value:.7g}" if isinstance(value, float) else value


def read_table(path: Path) -> list[dict[str, str]]:
    """Read a table as a list of rows."""
    with path.open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def read_if_any(path: Path) -> list[dict[str, str]]:
    """Read a table that not every run has; no rows if there is none."""
    return read_table(path) if path.exists() else []


def write_json(path: Path, content: Mapping[str, Any]) -> None:
    """Write a record as JSON."""
    path.write_text(json.dumps(content, indent=2, sort_keys=True) + "\n", encoding="utf-8")


def read_summary(out: Path, name: str) -> dict[str, Any]:
    """Record of a finished case."""
    text = (out / "cases" / name / SUMMARY).read_text(encoding="utf-8")
    return dict(json.loads(text))


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
