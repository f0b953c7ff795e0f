"""The short table that a run ends with."""

from __future__ import annotations

from pathlib import Path

from pipeline.store import read_table

HEADINGS = (
    "construct",
    "closing far\nmm",
    "shear far\nmm",
    "gap strain far\n%",
    "tissue shear P50\n%",
    "axial\nN/mm",
    "torsion\nN·m/deg",
    "bending\nN·m²",
    "implant stress\nMPa",
)


def headline(out: Path, stage: str, load: str) -> list[tuple[str, ...]]:
    """Main results of each construct at one stage.

    Movement, strain and stress are those of one load; each stiffness is that of the first load which
    has it. The stress is the highest level that any implant exceeds in 5 mm³.

    Parameters
    ----------
    out : Path
        Folder of the study's results.
    stage, load : str
        What to show; intact constructs have no stage.

    Returns
    -------
    list of tuple of str
        A row for each construct, in the order of ``HEADINGS``.
    """
    rows = [row for row in read_table(out / "results.csv") if row["stage"] in (stage, "intact", "")]
    table = []
    for name in dict.fromkeys(row["construct"] for row in rows):
        own = [row for row in rows if row["construct"] == name]
        if any(row["status"] != "ok" for row in own):
            table.append((name, "failed", *[""] * (len(HEADINGS) - 2)))
            continue
        table.append(
            (
                name,
                _value(own, "gap_axial_movement", load, "far", "+.3f"),
                _value(own, "gap_shear_movement", load, "far", ".3f"),
                _value(own, "interfragmentary_strain", load, "far", "+.1f"),
                _value(own, "tissue_strain_octahedral", load, "p50", ".1f"),
                _value(own, "axial_stiffness", None, "sections", ".0f"),
                _value(own, "torsional_stiffness", None, "sections", ".2f"),
                _value(own, "bending_stiffness", None, "sections", ".1f"),
                _highest(own, "von_mises_5mm3", load),
            )
        )
    return table


def failures(out: Path) -> dict[str, str]:
    """First reason for which each failed construct, or each failed stage of a construct, failed."""
    reasons: dict[str, str] = {}
    for row in read_table(out / "results.csv"):
        if row["status"] != "ok":
            stage = f" at stage {row['stage']}" if row["stage"] else ""
            reasons.setdefault(row["construct"] + stage, row["reason"])
    return reasons


def _value(
    rows: list[dict[str, str]], quantity: str, load: str | None, location: str, style: str
) -> str:
    found = [
        float(row["value"])
        for row in rows
        if row["quantity"] == quantity
        and row["location"] == location
        and (load is None or row["load"] == load)
    ]
    return format(found[0], style) if found else "–"


def _highest(rows: list[dict[str, str]], quantity: str, load: str) -> str:
    found = [
        (float(row["value"]), row["location"])
        for row in rows
        if row["quantity"] == quantity and row["load"] == load
    ]
    if not found:
        return "–"
    value, part = max(found)
    return f"{value:.0f} {part}"
