"""Where finished cases lie on disk. A case folder is whole or not there, and proves it when it is read.

``DIR/cases/ADDRESS/`` is named by the hash of all that its content follows from. It holds ``rows.csv``
(all measures), ``curves.csv`` (answers to growing loads, if surfaces can touch), ``fields.vtu`` (mesh
and fields, quadratic tetrahedra, for any VTK viewer; if kept), ``summary.json``, ``log.txt`` and,
written last, ``checksums.txt`` in the form that ``sha256sum -c`` reads. ``DIR/cases.csv`` says which
construct lies where.
"""

from __future__ import annotations

import json
import shutil
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from filelock import FileLock, Timeout
from pydantic import BaseModel, ValidationError

from geometries.errors import StudyError
from pipeline.errors import OutputError
from pipeline.storage.checksums import CHECKSUMS, checksum_lines, digest_of, read_checksums
from pipeline.storage.files import read_if_any, write_table, writing

CASES, INDEX, LOCK = "cases", "cases.csv", ".lock"
ROWS, FIELDS, SUMMARY, LOG = "rows.csv", "fields.vtu", "summary.json", "log.txt"
TWIN = "reduced.npz"  # the reduced model of a case, where the study asks for more than the case
CURVES = "curves.csv"  # of a case, where it has any, and of a run
INDEX_COLUMNS = ("variant", "construct", "case", "status", "reason", "seconds")
DRAFT = ".draft-"


@contextmanager
def locked(out: Path) -> Iterator[None]:
    """Keep a folder to this run; the lock goes with its process, however that ends.

    Raises
    ------
    OutputError
        If another run is at work in the folder.
    """
    lock = FileLock(out / LOCK, blocking=False)
    try:
        with lock:
            yield
    except Timeout:
        raise OutputError(
            f"--out {out}: another run is at work in this folder; wait for its end, or choose another"
        ) from None


@contextmanager
def case_folder(out: Path, address: str) -> Iterator[Path]:
    """Yield a folder to write a case into; seal it and rename it into place when all went well.

    Raises
    ------
    OutputError
        If the disk is full or a file can not be written; nothing is left behind.
    """
    final = folder_of(out, address)
    with writing(final):
        final.parent.mkdir(parents=True, exist_ok=True)
        draft = Path(tempfile.mkdtemp(prefix=DRAFT, dir=final.parent))
        try:
            draft.chmod(0o755)
            yield draft
            sums = {file.name: digest_of(file) for file in draft.iterdir()}
            (draft / CHECKSUMS).write_text(checksum_lines(sums), encoding="utf-8")
            discard_case(out, address)
            _into_place(draft, final)
        finally:
            shutil.rmtree(draft, ignore_errors=True)


def _into_place(draft: Path, final: Path) -> None:
    """Rename a folder; another process may just have put the same case there, which is as good."""
    try:
        draft.rename(final)
    except OSError:
        if not (final / CHECKSUMS).exists():
            raise


def folder_of(out: Path, address: str) -> Path:
    """Folder of a case, whether it is there or not."""
    return out / CASES / address


def discard_case(out: Path, address: str) -> None:
    """Remove what lies at an address; a folder half removed is no whole case."""
    folder = folder_of(out, address)
    (folder / CHECKSUMS).unlink(missing_ok=True)
    shutil.rmtree(folder, ignore_errors=True)


def discard_drafts(out: Path) -> None:
    """Remove what a run left that was killed while it wrote; only for who holds the lock."""
    for draft in (out / CASES).glob(f"{DRAFT}*"):
        shutil.rmtree(draft, ignore_errors=True)


def fault_of(out: Path, address: str) -> str:
    """Say what is wrong with a stored case; empty if it is whole."""
    folder = folder_of(out, address)
    if not folder.is_dir():
        return "it is not there"
    try:
        sums = read_checksums(folder / CHECKSUMS)
        missing = {ROWS, SUMMARY} - set(sums)
        if missing:
            return f"{CHECKSUMS} does not name {', '.join(sorted(missing))}"
        for name, stated in sums.items():
            if Path(name).name != name:
                return f"{CHECKSUMS} names {name[:80]!r}, which is not in its folder"
            if digest_of(folder / name) != stated:
                return f"{name} is not as it was written"
    except (OSError, StudyError) as error:
        return f"it can not be read ({error})"
    return ""


def write_index(out: Path, rows: Sequence[Mapping[str, object]]) -> None:
    """Write which construct lies at which address, and how it ended."""
    write_table(out / INDEX, rows, INDEX_COLUMNS)


def case_of(out: Path, construct: str, variant: str | None = None) -> Path:
    """Folder of a construct's finished case, of one variant or of the first.

    Raises
    ------
    OutputError
        If that variant has no finished case of it; another variant's is never meant.
    """
    rows = read_if_any(out / INDEX)
    if variant is None:
        variant = rows[0]["variant"] if rows else ""
    for row in rows:
        is_asked = row["construct"] == construct and row["variant"] == variant
        if is_asked and row["status"] != "failed":
            return folder_of(out, row["case"])
    where = f" in variant {variant}" if variant else ""
    raise OutputError(
        f"{out / INDEX}: has no finished case of {construct!r}{where}; run the study again"
    )


def read_summary(out: Path, construct: str, variant: str | None = None) -> dict[str, Any]:
    """Record of a construct's finished case, and the construct's name in it."""
    return {**read_record(case_of(out, construct, variant)), "name": construct}


def why_lost(record: Mapping[str, Any], stage: str, load: str) -> str:
    """Why a finished case has no result of a stage under a load; empty if it has."""
    lost = record["failed_stages"] | record.get("failed_loads", {})
    return str(lost.get(stage) or lost.get(f"{stage}:{load}", ""))


class _Part(BaseModel):
    """A part of a case, as its record has it."""

    name: str
    role: str
    material: str


class _Record(BaseModel):
    """What others read of a case's record; it may have more."""

    kind: str
    parts: list[_Part]
    failed_stages: dict[str, str]
    failed_loads: dict[str, str] = {}
    facts: dict[str, float | str] = {}
    seconds: dict[str, float] = {}


def read_record(folder: Path) -> dict[str, Any]:
    """Record of a finished case.

    Raises
    ------
    StudyError
        If it is missing, or not what a run writes.
    """
    path = folder / SUMMARY
    try:
        content = path.read_bytes()
        record: dict[str, Any] = json.loads(content)
        _Record.model_validate(record)
    except ValidationError as error:
        first = error.errors()[0]
        key = ".".join(map(str, first["loc"]))[:80]
        raise StudyError(
            f"{path}: can not be read ({key!r}: {first['msg']}); give it as a run wrote it"
        ) from None
    except (OSError, ValueError, RecursionError) as error:
        raise StudyError(f"{path}: can not be read ({error}); give it as a run wrote it") from None
    if SUMMARY in (sums := read_checksums(folder / CHECKSUMS)) and sums[SUMMARY] != digest_of(content):
        raise StudyError(
            f"{path}: not what the run wrote, its checksum is not that in {CHECKSUMS}; run that case "
            "again"
        )
    return record
