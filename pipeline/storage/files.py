"""Files of results: tables, texts, records; each whole or not there."""

from __future__ import annotations

import csv
import json
import os
import stat
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

from pipeline.errors import OutputError

VERIFICATION = "verification.csv"
Cells = dict[str, object]
"""Cells of a row by column, as they are written."""
Texts = dict[str, str]
"""The same as they are read."""
Add = Callable[[Sequence[Mapping[str, object]]], None]
"""Adds rows to a table that is being written."""
FORMULA = ("=", "+", "-", "@", "\t", "\r")


def check_writable(folder: Path) -> None:
    """Make the output folder and prove that it takes a file.

    Raises
    ------
    OutputError
        If it does not, or has a link in it.
    """
    probe = folder / ".probe"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        refuse_links(folder)
        probe.write_text("")
        probe.unlink()
    except OSError as error:
        raise OutputError(
            f"--out {folder}: can not be written ({error.strerror}); choose a folder of your own"
        ) from None


def refuse_links(folder: Path) -> None:
    """Refuse a folder in which a link lies: what is read or written there may be elsewhere.

    Raises
    ------
    OutputError
        If there is a link or a device.
    """
    for root, folders, files in os.walk(folder):
        for name in (*folders, *files):
            path = Path(root, name)
            try:
                kind = path.lstat().st_mode
            except FileNotFoundError:
                continue  # another process has just taken it away
            if not stat.S_ISREG(kind) and not stat.S_ISDIR(kind):
                raise OutputError(
                    f"{path}: is a link or a device; allowed in a run's folder are plain files and "
                    "folders: remove it"
                )


def write_table(path: Path, rows: Iterable[Mapping[str, object]], columns: Sequence[str]) -> None:
    """Write a comma-separated table with a decimal point, seven significant digits; whole or not.

    Text that a spreadsheet would run as a formula gets an apostrophe before it.
    """
    with growing_table(path, columns) as add:
        add(rows)


@contextmanager
def growing_table(
    path: Path, columns: Sequence[str], *, may_be_empty: bool = True
) -> Iterator[Callable[[Iterable[Mapping[str, object]]], None]]:
    """Yield what adds rows to a table like that of :func:`write_table`, so that none need be held.

    One that may not be empty is not there without rows, nor is that of an earlier run.
    """
    count = 0
    with in_place(path) as draft, draft.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(columns)

        def add(rows: Iterable[Mapping[str, object]]) -> None:
            nonlocal count
            with writing(path):  # of several tables that grow at once, the one that can not
                for row in rows:
                    writer.writerow([_cell(row.get(key, "")) for key in columns])
                    count += 1

        yield add
    if not count and not may_be_empty:
        path.unlink()


def write_text(path: Path, text: str) -> None:
    """Write a text; whole or not."""
    with in_place(path) as draft:
        draft.write_text(text, encoding="utf-8", newline="")


def write_bytes(path: Path, content: bytes) -> None:
    """Write a file of any kind; whole or not."""
    with in_place(path) as draft:
        draft.write_bytes(content)


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
            draft.unlink(missing_ok=True)  # a link there would lead elsewhere
            yield draft
            draft.replace(path)
        finally:
            with suppress(OSError):
                draft.unlink()


def _cell(value: object) -> object:
    if isinstance(value, float):
        return f"{value:.7g}"
    if not isinstance(value, str) or not value:
        return value
    text = value.replace("\r", " ")  # which programs take for the end of a row
    return f"'{text}" if value.startswith(FORMULA) and not _is_number(value) else text


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True


def read_table(path: Path) -> list[Texts]:
    """Read a table as a list of rows."""
    return list(stream_table(path))


def stream_table(path: Path) -> Iterator[Texts]:
    """Read a table row by row.

    Raises
    ------
    OutputError
        If it is no table, or has a row that is shorter or longer than its head.
    """
    try:
        with path.open(newline="", encoding="utf-8") as file:
            for number, row in enumerate(csv.DictReader(file), start=2):
                if None in row or None in row.values():
                    raise OutputError(
                        f"{path}, line {number}: not as long as the table's head; give the table as a "
                        "run wrote it"
                    )
                yield row
    except (UnicodeDecodeError, csv.Error) as error:
        raise OutputError(
            f"{path}: can not be read ({error}); give the table as a run wrote it"
        ) from None


def read_if_any(path: Path) -> list[Texts]:
    """Read a table that not every run has; no rows if there is none."""
    return read_table(path) if path.exists() else []


def write_json(path: Path, content: Mapping[str, Any]) -> None:
    """Write a record as JSON; whole or not."""
    write_text(path, json.dumps(content, indent=2, sort_keys=True) + "\n")
