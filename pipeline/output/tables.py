"""The short tables that a run ends with."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import isfinite
from pathlib import Path

from pipeline.measures.dictionary import HIGHEST, PEAK
from pipeline.storage.files import read_table
from pipeline.tables.comparisons import (
    INTACT_STAGE,
    UNDECIDED,
    UNKNOWN,
    Key,
    Row,
    error_of,
    headline_rows,
    key_of,
    label_of,
    number,
    size_of,
)


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
    Column("closing far\nmm", "gap_axial_movement", "far", "+z.3f"),
    Column("shear far\nmm", "gap_shear_movement", "far", ".3f"),
    Column("gap strain far\n%", "interfragmentary_strain", "far", "+z.1f"),
    Column("tissue shear P50\n%", "tissue_strain_octahedral", "p50", ".1f"),
    Column("axial\nN/mm", "axial_stiffness", "sections", ".0f"),
    Column("torsion\nN·m/deg", "torsional_stiffness", "sections", ".2f"),
    Column("bending\nN·m²", "bending_stiffness", "sections", ".1f"),
    Column("implant stress\nMPa", PEAK, HIGHEST, ".0f"),
)
HEADINGS = ("construct", *(column.heading for column in COLUMNS))
Picked = dict[str, Row]
Pair = tuple[frozenset[object], Key]


def headline(out: Path, stage: str, load: str) -> list[tuple[str, ...]]:
    """Main results of each construct at one stage, with their errors where these are known.

    Movement, strain and stress are those of one load; each stiffness is that of the first load which
    has it. The stress is the highest level that any implant exceeds in 5 mm³. A ``~`` stands at values
    that share an end of their column with others of the same gap: the errors do not tell them apart.

    Parameters
    ----------
    out : Path
        Folder of the study's results.
    stage, load : str
        What to show; intact constructs have no stage.

    Returns
    -------
    list of tuple of str
        A row for each construct in the order of the study, its cells in the order of ``HEADINGS``.
    """
    variant, results = first_variant(read_table(out / "results.csv"))
    shown = [row for row in results if row["stage"] in (stage, INTACT_STAGE, "")]
    failed = {row["construct"] for row in shown if row["status"] != "ok"}
    sound = headline_rows(row for row in shown if row["construct"] not in failed)
    picked = [pick(column, sound, load) for column in COLUMNS]
    pairs = _pairs(out, variant) if any(row["error"] for row in results) else {}
    tied = [_tied(column, rows, pairs) for column, rows in zip(COLUMNS, picked, strict=True)]
    table = []
    for name in dict.fromkeys(row["construct"] for row in shown):
        if name in failed:
            table.append((name, "failed", *[""] * (len(COLUMNS) - 1)))
            continue
        columns = zip(COLUMNS, picked, tied, strict=True)
        table.append((name, *(_text(c, rows.get(name), name in ties) for c, rows, ties in columns)))
    return table


def first_variant(rows: Sequence[dict[str, str]]) -> tuple[str, list[dict[str, str]]]:
    """Name of the first variant in a table, empty without a design, and its rows."""
    name = rows[0]["variant"] if rows else ""
    return name, [row for row in rows if row["variant"] == name]


def legend(out: Path) -> list[str]:
    """What the signs of the short table mean, a line each."""
    rows = read_table(out / "results.csv")
    if not any(row["error"] for row in rows):
        return ["No errors are known, so no difference is: --levels 3 estimates them on three meshes."]
    lines = [
        "± error of the mesh. ~ errors leave open which of these is the smallest (stiffness: the "
        "largest) at its gap."
    ]
    lent = dict.fromkeys(label_of(row) for row in rows if row["mesh"].startswith("estimated"))
    if lent:
        lines.append(
            f"± of {', '.join(lent)} is estimated from other constructs; results.csv says which."
        )
    return lines


def failures(out: Path) -> dict[str, str]:
    """First reason for which each failed construct, or each failed stage of a construct, failed."""
    reasons: dict[str, str] = {}
    for row in read_table(out / "results.csv"):
        if row["status"] != "ok":
            stage = f" at stage {row['stage']}" if row["stage"] else ""
            reasons.setdefault(label_of(row) + stage, row["reason"])
    return reasons


def pick(column: Column, rows: Sequence[Row], load: str) -> Picked:
    """The row of each construct that a column shows."""
    picked: Picked = {}
    for row in rows:
        is_there = row["quantity"] == column.quantity and row["location"] == column.location
        if is_there and (column.is_stiffness or row["load"] == load):
            picked.setdefault(str(row["construct"]), row)
    return picked


def _pairs(out: Path, variant: str) -> dict[Pair, bool]:
    """Whether the difference of each two constructs is left open, by their names and the result."""
    return {
        (frozenset((row["a"], row["b"])), key_of(row)): row["verdict"] in (UNDECIDED, UNKNOWN)
        for row in read_table(out / "comparisons.csv")
        if row["variant"] == variant
    }


def _tied(column: Column, picked: Picked, pairs: Mapping[Pair, bool]) -> set[str]:
    """Constructs that may as well be the extreme of their gap, and the extreme if there are such."""
    sizes = {name: size_of(row) for name, row in picked.items() if not is_singular(row)}
    tied: set[str] = set()
    for name in sizes:
        pair = {one: (frozenset((name, one)), key_of(picked[name])) for one in sizes}
        peers = [one for one in sizes if one == name or pair[one] in pairs]
        extreme = (max if column.is_stiffness else min)(peers, key=lambda one: sizes[one])
        if pairs.get(pair[extreme]):
            tied |= {name, extreme}
    return tied


def _text(column: Column, row: Row | None, is_tied: bool) -> str:
    if row is None:
        return "–"
    error = error_of(row)
    value = "singular" if is_singular(row) else format(number(row), column.style)
    bound = f"\n±{error:{column.style.lstrip('+')}}" if isfinite(error) else ""
    return " ".join([value, *filter(None, [str(row.get("part", "")), "~" * is_tied])]) + bound


def is_singular(row: Row) -> bool:
    """Whether three meshes showed that a value has no limit, so that it must not be quoted."""
    return str(row["mesh"]).startswith("singular")
