"""The short table that a run ends with."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from math import isfinite
from pathlib import Path

from pipeline.measures.columns import CLASSED
from pipeline.measures.dictionary import HIGHEST, PEAK
from pipeline.storage.files import stream_table
from pipeline.storage.run_folder import RESULTS
from pipeline.tables.comparisons import UNDECIDED, UNKNOWN
from pipeline.tables.flagged import FlagReason, flag_reasons, footnotes, mark_of
from pipeline.tables.lookup import Results
from pipeline.tables.rows import INTACT_STAGE, Key, Row, read_results


@dataclass(frozen=True)
class Column:
    """A quantity of the short table: its heading, where it is read, how it is printed."""

    heading: str
    quantity: str
    location: str
    style: str

    @property
    def is_stiffness(self) -> bool:
        """Whether it belongs to the construct more than to one load."""
        return self.quantity.endswith("_stiffness")


COLUMNS = (
    Column("axial far\nmm, - closes", "gap_axial_movement", "far", "+z.3f"),
    Column("shear far\nmm", "gap_shear_movement", "far", ".3f"),
    Column("closes most\n% of gap", "rim_strain", "closing", ".1f"),
    Column("tissue shear P50\n%", "tissue_strain_octahedral", "p50", ".1f"),
    Column("load point\nN/mm", "load_point_stiffness", "load_point", ".0f"),
    Column("axial\nN/mm", "axial_stiffness", "sections", ".0f"),
    Column("torsion\nN·m/deg", "torsional_stiffness", "sections", ".2f"),
    Column("bending\nN·m²", "bending_stiffness", "sections", ".1f"),
    Column("implant stress\nMPa", PEAK, HIGHEST, ".0f"),
)
Pair = tuple[frozenset[str], Key]


@dataclass(frozen=True)
class Printed:
    """A value as it is printed.

    Parameters
    ----------
    value, error : str
        The number, or a word in its place; how far it may be off, empty where nobody knows.
    note : str
        Whose it is, of the highest stress; ``~`` where errors do not tell it from others; the mark of a
        flagged value.
    """

    value: str
    error: str = ""
    note: str = ""

    @property
    def text(self) -> str:
        """All of it in one cell."""
        bound = f"\n±{self.error}" if self.error else ""
        return " ".join(filter(None, (self.value, self.note))) + bound


@dataclass(frozen=True)
class Short:
    """The main results of a run at one stage and load, of a design those of its first variant.

    Parameters
    ----------
    columns : list of Column
        Those of ``COLUMNS`` that any construct has; all of them if none has any.
    lines : list of (str, tuple of Printed)
        Each construct in the order of the study, and its figures in the order of the columns.
    flagged : list of FlagReason
        Why values are marked as flagged.
    legend : list of str
        What the signs mean, a line each.
    failures : dict of str to str
        First reason for which each construct, or stage of one, failed; of all variants.
    """

    columns: list[Column]
    lines: list[tuple[str, tuple[Printed, ...]]]
    flagged: list[FlagReason]
    legend: list[str]
    failures: dict[str, str]

    @property
    def headings(self) -> list[str]:
        """What stands above the names and above each column."""
        return ["construct", *(column.heading for column in self.columns)]


def number_in(text: str) -> float | None:
    """A cell as a number; None where it is none, or one without a size."""
    try:
        value = float(text)
    except ValueError:
        return None
    return value if isfinite(value) else None


def short_table(out: Path, stage: str, load: str) -> Short:
    """Read the short table of a finished run.

    Movement, strain and stress are those of one load; each stiffness is that of the first load which
    has it. The stress is the highest level that any implant exceeds in 5 mm³. A ``~`` stands at values
    that share an end of their column with others of the same gap: the errors do not tell them apart.

    Parameters
    ----------
    out : Path
        Folder of the study's results.
    stage, load : str
        What to show; intact constructs have no stage.
    """
    rows, known = _read(out)
    columns, lines, flagged = _shown(out, rows, stage, load)
    legend = [*known.legend, *footnotes(bool(flagged))]
    return Short(columns, lines, flagged, legend, known.failures)


@dataclass
class _Known:
    """What rows of all variants say, whichever are shown."""

    has_errors: bool = False
    is_classed: bool = False
    lent: dict[str, None] = field(default_factory=dict)
    failures: dict[str, str] = field(default_factory=dict)

    def add(self, row: Row) -> None:
        self.has_errors |= row.error is not None
        self.is_classed |= row.mesh == CLASSED
        if row.mesh.startswith("borrowed"):
            self.lent[row.label] = None
        if not row.is_ok:
            stage = f" at stage {row.stage}" if row.stage else ""
            self.failures.setdefault(row.label + stage, row.reason)

    @property
    def legend(self) -> list[str]:
        if not self.has_errors:
            return ["No errors are known, so no difference is."]
        lines = [
            "± error of the mesh. ~ errors leave open which of these is the smallest (stiffness: the "
            "largest) at its gap."
        ]
        if self.is_classed:
            lines.append(
                "± of stress and strain is that of their class, from one mesh; --levels 3 tells each "
                "by itself."
            )
        if self.lent:
            whose = ", ".join(self.lent)
            lines.append(f"± of {whose} is partly borrowed; results.csv says where from.")
        return lines


def _read(out: Path) -> tuple[list[Row], _Known]:
    """Rows of the first variant, and what all rows say; those of other variants are not kept."""
    rows: list[Row] = []
    known = _Known()
    for row in read_results(out / RESULTS):
        known.add(row)
        if not rows or row.variant == rows[0].variant:
            rows.append(row)
    return rows, known


def _shown(
    out: Path, rows: Sequence[Row], stage: str, load: str
) -> tuple[list[Column], list[tuple[str, tuple[Printed, ...]]], list[FlagReason]]:
    """Columns and lines of the short table, and why values of it are flagged."""
    shown = [row for row in rows if row.stage in (stage, INTACT_STAGE, "")]
    failed = {row.construct for row in shown if not row.is_ok}
    results = Results([row for row in shown if row.construct not in failed])
    known = {column: pick(column, results, stage, load) for column in COLUMNS}
    columns = [column for column in COLUMNS if known[column]] or list(COLUMNS)
    picked = [known[column] for column in columns]
    has_errors = any(row.error is not None for row in shown)
    wanted = {row.key for found in picked for row in found.values()}
    pairs = _pairs(out, shown[0].variant, wanted) if has_errors else {}
    tied = [_tied(column, found, pairs) for column, found in zip(columns, picked, strict=True)]
    lines = []
    for name in dict.fromkeys(row.construct for row in shown):
        if name in failed:
            lines.append((name, (Printed("failed"), *[Printed("")] * (len(columns) - 1))))
            continue
        each = zip(columns, picked, tied, strict=True)
        figures = (_printed(c, found.get(name), name in ties) for c, found, ties in each)
        lines.append((name, tuple(figures)))
    return columns, lines, flag_reasons(row for found in picked for row in found.values())


def pick(column: Column, results: Results, stage: str, load: str) -> dict[str, Row]:
    """The row of each construct that a column shows at a stage."""
    under = None if column.is_stiffness else load
    found = {
        name: results.find(name, column.quantity, column.location, stage, under)
        for name in results.constructs
    }
    return {name: row for name, row in found.items() if row is not None}


def _pairs(out: Path, variant: str, wanted: Collection[Key]) -> dict[Pair, bool]:
    """Whether the difference of each two constructs is left open, by their names and the result."""
    path = out / "comparisons.csv"
    found: dict[Pair, bool] = {}
    for row in stream_table(path) if path.exists() else ():
        key = Key(*(row[name] for name in Key._fields))
        if row["variant"] == variant and key in wanted:
            is_open = row["verdict"] in (UNDECIDED, UNKNOWN)
            found[frozenset((row["a"], row["b"])), key] = is_open
    return found


def _tied(column: Column, picked: Mapping[str, Row], pairs: Mapping[Pair, bool]) -> set[str]:
    """Constructs that may as well be the extreme of their gap, and the extreme if there are such."""
    sizes = {name: row.size for name, row in picked.items() if not row.is_singular}
    tied: set[str] = set()
    for name in sizes:
        pair = {one: (frozenset((name, one)), picked[name].key) for one in sizes}
        peers = [one for one in sizes if one == name or pair[one] in pairs]
        extreme = (max if column.is_stiffness else min)(peers, key=lambda one: sizes[one])
        if pairs.get(pair[extreme]):
            tied |= {name, extreme}
    return tied


def _printed(column: Column, row: Row | None, is_tied: bool) -> Printed:
    if row is None:
        return Printed("–")
    value = "singular" if row.is_singular else format(row.number, column.style)
    error = format(row.half, column.style.lstrip("+")) if isfinite(row.half) else ""
    notes = (row.part, "~" * is_tied, mark_of(row.flags))
    return Printed(value, error, " ".join(filter(None, notes)))
