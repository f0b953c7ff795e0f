"""What a finished run left in its folder, read as data from someone else."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator
from pathlib import Path
from typing import Any, Literal

from pydantic import BaseModel, ValidationError

from geometries.errors import StudyError
from pipeline.storage.casebook import INDEX, folder_of, read_record
from pipeline.storage.files import Texts, read_if_any, stream_table

STUDY, INPUTS, RESULTS, CLAIMS = "study.toml", "inputs.json", "results.csv", "claims.toml"
TYPED = "results.parquet"
"""The results once more, for who reads all of them as numbers or few of many."""
_CASE = re.compile(r"[0-9a-f]{16}")
_NAME = re.compile(r"[a-z0-9][a-z0-9_-]*")


class Inputs(BaseModel):
    """What a run was started with, as ``inputs.json`` has it; keys that are not needed are passed over.

    Parameters
    ----------
    study : dict
        The study as it was read, changes included.
    changes : tuple of str
        Changes to the study file, each ``key=value``.
    levels : int
        Number of meshes of each construct, 1 or 3.
    versions : dict of str to str
        Version of Python and of each package.
    commit : str, optional
        Commit of the code, where it was run from a checkout, and whether it was changed since.
    platform : str
        Operating system and machine.
    """

    study: dict[str, Any]
    changes: tuple[str, ...] = ()
    levels: Literal[1, 3] = 1
    versions: dict[str, str]
    commit: str | None = None
    platform: str = ""


def read_inputs(folder: Path) -> Inputs:
    """Read ``inputs.json``.

    Raises
    ------
    StudyError
        If it is missing or not what a run writes.
    """
    path = folder / INPUTS
    try:
        return Inputs.model_validate_json(path.read_text(encoding="utf-8"))
    except ValidationError as error:
        first = error.errors()[0]
        key = ".".join(map(str, first["loc"])) or "the file"
        raise StudyError(
            f"{path}: {key}: {first['msg']}; give the file as a finished run wrote it"
        ) from None
    except (OSError, UnicodeDecodeError) as error:
        raise StudyError(f"{path}: can not be read ({error}); give a finished run") from None


def read_rows(path: Path, columns: Collection[str]) -> list[Texts]:
    """Read all of a table that must have some columns; see :func:`each_row`."""
    return list(each_row(path, columns))


def each_row(path: Path, columns: Collection[str]) -> Iterator[Texts]:
    """Read a table that must have some columns row by row, for who keeps only some of a long one.

    Raises
    ------
    StudyError
        If it is missing, lacks one of them, or has a row of another length.
    """
    last = ""  # of these columns in the table: a row that is too short lacks it first
    try:
        for number, row in enumerate(stream_table(path), start=2):
            if not last or row[last] is None:
                lacking = [name for name in columns if row.get(name) is None]
                if lacking:
                    raise StudyError(
                        f"{path}, line {number}: no {', '.join(lacking)}; give the table as a run "
                        "wrote it"
                    )
                last = max(columns, key=list(row).index, default="")
            yield row
    except OSError as error:
        raise StudyError(f"{path}: can not be read ({error}); give a finished run") from None


def listed_cases(folder: Path) -> list[Texts]:
    """Rows of ``cases.csv``; each case's name is proved fit to name a folder.

    Raises
    ------
    StudyError
        If a name is not 16 hexadecimal digits.
    """
    rows = read_rows(folder / INDEX, ("variant", "construct", "case", "status"))
    for row in rows:
        if not _CASE.fullmatch(row["case"]):
            raise StudyError(
                f"{folder / INDEX}: case = {row['case']!r}: allowed are 16 hexadecimal digits; give "
                "the table as a run wrote it"
            )
    return rows


def named_rows(path: Path) -> list[Texts]:
    """Read a table that not every run has; each construct's name is proved fit to name a file.

    Raises
    ------
    StudyError
        If a name is none that a study file may give.
    """
    rows = read_if_any(path)
    for number, row in enumerate(rows, start=2):
        name = row.get("construct") or ""
        if not _NAME.fullmatch(name):
            raise StudyError(
                f"{path}, line {number}: construct = {name!r} can not name a file; allowed are "
                "lower-case letters, digits, - and _: give the table as a run wrote it"
            )
    return rows


def read_case(folder: Path, name: str) -> dict[str, Any]:
    """Read the summary of a case.

    Raises
    ------
    StudyError
        If it is missing or not what a run writes.
    """
    return read_record(folder_of(folder, name))
