"""Tables of explored inputs that nobody computed, as a run writes them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

from pipeline.measures.exploring import (
    ASSUMPTION_COLUMNS,
    ASSUMPTIONS,
    ROBUSTNESS,
    ROBUSTNESS_COLUMNS,
    ROBUSTNESS_MAP_COLUMNS,
    ROBUSTNESS_MAPS,
    TAKEOVER,
    TAKEOVER_COLUMNS,
)
from pipeline.storage.files import write_table
from tests.made import Row

SOFT = "gap strain far beyond small strains"
MODULI = (0.1, 0.83, 12.7, 97.3, 1130.0, 8900.0, 20000.0)
FLIP = "tissue_modulus_mpa 1.7 -> 7.43; weight_factor 1 -> 1.31"
PAIRS = (
    ("plate", "nail-10", (97.23, 0.0, 2.77), FLIP),
    ("exchange-nail-12", "nail-10", (31.4, 12.9, 55.7), ""),
    ("plate", "exchange-nail-12", (99.98, 0.0, 0.02), ""),
)
KEY = {"stage": "atrophic", "load": "hip", "quantity": "gap_shear_movement", "location": "far"}
THREE = ("a_lower_percent", "a_higher_percent", "undecided_percent")


def shares(three: Sequence[float]) -> Row:
    return dict(zip(THREE, three, strict=True))


def pair_row(a: str, b: str, three: Sequence[float], flip: str = "", **more: Any) -> Row:
    """A row of ``robustness.csv``."""
    turned = {
        "flip": flip, "flip_distance": 0.214 if flip else "",
        "flip_confirmed": "full model: 1.234 and 1.229 mm" if flip else "",
    }  # fmt: skip
    counted = {
        "samples": 10000, "uncovered": 17 if flip else 0, "unit": "mm", "sampling_error_percent": 0.32,
        "turned_by": "tissue_modulus_mpa", "turned_by_share": 0.716,
    }  # fmt: skip
    return {"a": a, "b": b} | KEY | counted | shares(three) | turned | more


def pair_rows() -> list[Row]:
    """All pairs, and before them one of another quantity."""
    other = pair_row("plate", "nail-10", (40.1, 41.2, 18.7), quantity="rim_strain", location="closing")
    return [other, *(pair_row(*one) for one in PAIRS)]


def map_rows(a: str = "plate", b: str = "nail-10") -> list[Row]:
    """Less of lower the stiffer the tissue, and the more the load tilts; no cell at one corner."""
    tissue = [
        {"map": "tissue", "x": at, "samples": 1400} | shares((98.5 - 9 * n, 2.5 * n, 1.5 + 6.5 * n))
        for n, at in enumerate(MODULI)
    ]
    cone = [
        {"map": "direction", "x": x, "y": y, "samples": 390}
        | shares((60.5 - x - 2 * y, 9.5 + x / 2, 30.0 + x / 2 + 2 * y))
        for x in (-8.0, -4.0, 0.0, 4.0, 8.0)
        for y in (-7.5, -2.5, 2.5, 7.5)
        if (x, y) != (8.0, 7.5)
    ]
    return [{"a": a, "b": b} | KEY | one for one in (*tissue, *cone)]


def takeover_rows(
    name: str, scale: float, half: float | str, moduli: Iterable[float] = MODULI, load: str = "hip"
) -> list[Row]:
    """What a construct of some stiffness answers, all of it made up."""
    rows: list[Row] = []

    def add(at: float | str, quantity: str, location: str, unit: str, value: float | str) -> None:
        flags = SOFT if isinstance(at, float) and at < 1 else ""
        cells = (name, load, at, quantity, location, unit, value, 2.5 if unit == "mm" else "", flags)
        rows.append(dict(zip(TAKEOVER_COLUMNS, cells, strict=True)))

    for at in moduli:
        carried = at / (at + 300 * scale)
        add(at, "gap_movement", "far", "mm", 2.1 / scale * (1 - carried))
        add(at, "rim_strain", "closing", "%", 61.3 / scale * (1 - carried))
        for part, share in (("nail", 1.3 - carried), ("plate", -0.3), ("gap", carried)):
            add(at, "share_at_gap", part, "%", 100 * share)
            add(at, "signed_force_at_gap", part, "N", -1000 * share)
        add(at, "von_mises_5mm3", "nail", "MPa", 310.7 / scale * (1.1 - carried))
        add(at, "von_mises_5mm3", "bolt_1", "MPa", 225.1)
        add(at, "weight_share", "nail", "% of body weight", 47.1 * scale / (1.1 - carried))
    add(half, "half_carried", "gap", "MPa", half)
    return rows


def some_takeover() -> list[Row]:
    """Two constructs, one of which never lets the tissue carry half; named not in the study's order."""
    return [*takeover_rows("plate", 1.7, ""), *takeover_rows("nail-10", 0.6, 181.3)]


def assumption_row(effect: float | str, **more: Any) -> Row:
    """A row of ``assumptions.csv``."""
    other = 1.1234 * (1 + effect / 100) if isinstance(effect, float) else ""
    usual = {
        "assumption": "bone is isotropic", "as_modelled": "isotropic", "other_way": "orthotropic",
        "construct": "nail-10", "unit": "mm", "value": 1.1234, "other_value": other,
        "effect_percent": effect, "by": "run of its own",
    }  # fmt: skip
    return usual | KEY | more


def assumption_rows() -> list[Row]:
    return [
        assumption_row(91.7, quantity="rim_strain", location="closing", unit="%"),
        assumption_row(3.21),
        assumption_row("", assumption="no result"),
        assumption_row(-44.6, assumption="bolts are tied", by="reduced model"),
    ]


def write_explored(out: Path) -> None:
    """Write all of these tables."""
    write_table(out / ROBUSTNESS, pair_rows(), ROBUSTNESS_COLUMNS)
    write_table(out / ROBUSTNESS_MAPS, map_rows(), ROBUSTNESS_MAP_COLUMNS)
    write_table(out / TAKEOVER, some_takeover(), TAKEOVER_COLUMNS)
    write_table(out / ASSUMPTIONS, assumption_rows(), ASSUMPTION_COLUMNS)
