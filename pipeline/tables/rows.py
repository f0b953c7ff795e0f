"""A result as a row of ``results.csv``: parsed here, written here, and one type for all who read it.

A number that is not there is None, a text that is not there is empty; a file has an empty cell for
both.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, fields
from math import inf
from operator import attrgetter
from pathlib import Path
from typing import Any, NamedTuple

from numpy.typing import NDArray

from geometries.errors import StudyError
from pipeline.measures.dictionary import BY_SIZE
from pipeline.storage.files import Cells, growing_table
from pipeline.storage.parquet import growing_parquet, read_columns, read_rows_of, texts_in
from pipeline.storage.run_folder import RESULTS, TYPED, each_row
from pipeline.tables.groups import in_batches

OK, FAILED = "ok", "failed"
INTACT_STAGE = "intact"
CHECKS = ("force_residual", "moment_residual", "energy_residual", "volume_error")


class Key(NamedTuple):
    """What the rows of two constructs must share to be compared."""

    stage: str
    load: str
    quantity: str
    location: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One result of one construct, or why there is none.

    Parameters
    ----------
    case, variant, construct, interfaces : str
        Address of its case, point of the design, name, and how its surfaces meet.
    site, gap_shape : str
        Where the gap is, and what sets it apart from a flat one.
    gap_mm : float or None
        Its length, mm; None without a gap.
    stage, load, quantity, location, unit : str
        What it is. Without quantity where a stage, without all where a whole case failed.
    value : float or None
        The result, in its unit.
    error : float or None
        How far the mesh may be wrong, percent of the value; None where nobody knows.
    extrapolated : float or None
        Value that the meshes head for, in its unit.
    mesh : str
        What the error is known from, and what three meshes say.
    percent_of_intact, percent_of_nail_only : float or None
        The value against that of another construct at the same gap, %.
    undecided, flags : str
        Percentages that may as well be 100; what puts the result in doubt.
    status, reason : str
        ``ok`` or ``failed``, and why.
    force_residual, moment_residual, energy_residual, volume_error : float or None
        Balances, as shares.
    part : str
        Of the highest stress of any implant, whose it is; no column.
    place : int
        Number in the table that it was read from, from 0; no column.
    """

    case: str = ""
    variant: str = ""
    construct: str = ""
    interfaces: str = ""
    site: str = ""
    gap_mm: float | None = None
    gap_shape: str = ""
    stage: str = ""
    load: str = ""
    quantity: str = ""
    location: str = ""
    value: float | None = None
    unit: str = ""
    error: float | None = None
    extrapolated: float | None = None
    mesh: str = ""
    percent_of_intact: float | None = None
    percent_of_nail_only: float | None = None
    undecided: str = ""
    status: str = OK
    reason: str = ""
    flags: str = ""
    force_residual: float | None = None
    moment_residual: float | None = None
    energy_residual: float | None = None
    volume_error: float | None = None
    part: str = ""
    place: int = -1

    @property
    def key(self) -> Key:
        """What it shares with the like result of another construct."""
        return Key(self.stage, self.load, self.quantity, self.location)

    @property
    def label(self) -> str:
        """Variant and construct, as one word."""
        return label_of(self.variant, self.construct)

    @property
    def is_ok(self) -> bool:
        """Whether it may be used."""
        return self.status == OK

    @property
    def is_singular(self) -> bool:
        """Whether three meshes showed that the value has no limit, so that it must not be quoted."""
        return "singular" in self.mesh

    @property
    def number(self) -> float:
        """Value of a row that has one.

        Raises
        ------
        ValueError
            If it has none.
        """
        if self.value is None:
            raise ValueError(f"{self.label}, {self.key}: there is no value; report this study file")
        return self.value

    @property
    def size(self) -> float:
        """What of the value is compared: its size where the sign only says which way."""
        return abs(self.number) if self.quantity in BY_SIZE else self.number

    @property
    def half(self) -> float:
        """Error of the value in its own unit; infinite where none is known."""
        return inf if self.error is None else abs(self.number) * self.error / 100

    @property
    def doubts(self) -> list[str]:
        """Its flags one by one."""
        return [flag for flag in self.flags.split("; ") if flag]

    def cells(self) -> Cells:
        """Its cells by column, as they are written."""
        found = zip(COLUMNS, _VALUES(self), strict=True)
        return {name: "" if value is None else value for name, value in found}


REQUIRED = (*Key._fields, "value", "status")  # of every table of results
COLUMNS = tuple(field.name for field in fields(Row) if field.name not in ("part", "place"))
NUMBERS = frozenset(field.name for field in fields(Row) if field.type == "float | None")
_VALUES = attrgetter(*COLUMNS)
BATCH = 10_000  # rows whose cells are held while they are written


def label_of(variant: str, construct: str) -> str:
    """Variant and construct, as one word."""
    return f"{variant}-{construct}" if variant else construct


def parse(cells: Mapping[str, str], place: int = -1, common: Mapping[str, Any] | None = None) -> Row:
    """Make a row of the texts in a table; columns that are not there stay empty, or are in `common`.

    Raises
    ------
    ValueError
        If a number is none; the message is the rest of a sentence that begins with the place.
    """
    known: dict[str, Any] = {}
    for name in COLUMNS:
        text = cells.get(name)
        if not text:
            continue
        try:
            known[name] = float(text) if name in NUMBERS else text
        except ValueError:
            raise ValueError(
                f"{name} = {text[:40]!r}: allowed is a number; give the table as a run wrote it"
            ) from None
    known.setdefault("status", "")
    known.update(common or {})
    return Row(**known, place=place)


def read_results(
    path: Path,
    required: Collection[str] = ("construct", *REQUIRED),
    common: Mapping[str, Any] | None = None,
) -> Iterator[Row]:
    """Read a table of results row by row, each with what all share besides.

    That of a case, unlike that of a run, has no construct.

    Raises
    ------
    StudyError
        If it is missing, lacks a column that every one has, or a number in it is none.
    """
    for place, cells in enumerate(each_row(path, required)):
        try:
            yield parse(cells, place, common)
        except ValueError as error:
            raise StudyError(f"{path}: {error}") from None


def write_results(out: Path, rows: Iterable[Row], about: Mapping[str, str] | None = None) -> None:
    """Write ``results.csv`` and the same with typed columns, ``results.parquet``.

    What is said about the table stands in the metadata of the latter; a CSV has none.
    """
    with growing_results(out, about or {}) as add:
        add(rows)


@contextmanager
def growing_results(out: Path, about: Mapping[str, str]) -> Iterator[Callable[[Iterable[Row]], None]]:
    """Yield what adds rows to tables like those of :func:`write_results`, so that none need be held."""
    with (
        growing_table(out / RESULTS, COLUMNS) as text,
        growing_parquet(out / TYPED, COLUMNS, NUMBERS, about) as typed,
    ):

        def add(rows: Iterable[Row]) -> None:
            for batch in in_batches(rows, BATCH):
                cells = [row.cells() for row in batch]
                text(cells)
                typed(cells)

        yield add


def first_variant(rows: Iterable[Row]) -> list[Row]:
    """Rows of the first variant in a table."""
    kept: list[Row] = []
    for row in rows:
        if not kept or row.variant == kept[0].variant:
            kept.append(row)
    return kept


def variants_in(out: Path) -> list[str]:
    """Names of the variants that a run has results of; one without a name if it has no design.

    Raises
    ------
    StudyError
        If the run has no readable ``results.parquet``.
    """
    return texts_in(out / TYPED, "variant")


def columns_of(out: Path) -> dict[str, NDArray[Any]]:
    """All results by column: numbers, NaN where there is none, or texts.

    Raises
    ------
    StudyError
        If the run has no readable ``results.parquet``.
    """
    return read_columns(out / TYPED, COLUMNS)


def rows_of_variant(out: Path, variant: str) -> list[Row]:
    """Results of one variant, none of the others read.

    Raises
    ------
    StudyError
        If the run has no readable ``results.parquet``.
    """
    found: list[Row] = []
    for cells in read_rows_of(out / TYPED, COLUMNS, variant=variant):
        known: dict[str, Any] = {
            name: None if name in NUMBERS and cell == "" else cell for name, cell in cells.items()
        }
        found.append(Row(**known))
    return found
