"""Elastic constants of bone, implants and gap tissue, each with its source."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Material:
    """An isotropic linear elastic material.

    Parameters
    ----------
    modulus : float
        Young's modulus, MPa.
    poisson : float
        Poisson's ratio.
    source : str
        Where the two numbers come from.
    """

    modulus: float
    poisson: float
    source: str


MATERIALS: dict[str, Material] = {
    "cortical": Material(17_000.0, 0.30, "along the shaft, Reilly & Burstein 1975; from memory"),
    "cancellous": Material(400.0, 0.25, "metaphysis, 100 to 1500 in use; from memory"),
    "titanium": Material(110_000.0, 0.33, "Ti-6Al-4V ELI, ASTM F136 data sheets 105 to 120 GPa"),
    "steel": Material(193_000.0, 0.30, "316L, ASTM F138 data sheets 187 to 193 GPa; from memory"),
    "cobalt": Material(220_000.0, 0.29, "wrought CoCrMo, ASTM F1537 data sheets"),
}

TISSUES: dict[str, Material] = {
    "empty": Material(0.0, 0.0, "nothing in the gap: the implants carry all"),
    "atrophic": Material(1.0, 0.167, "fibrous, 0.2 to 2; Lacroix & Prendergast 2002 for the range"),
    "oligotrophic": Material(5.0, 0.167, "fibrous tissue to cartilage, 2 to 10, same source"),
    "hypertrophic": Material(20.0, 0.167, "cartilage-like, 10 to 50; from memory"),
    "fresh_graft": Material(10.0, 0.20, "packed graft, 1 to 30; from memory, little data"),
    "woven": Material(200.0, 0.30, "woven bone, 50 to 500; from memory"),
    "immature": Material(1_000.0, 0.30, "immature bone; Lacroix & Prendergast 2002"),
    "mature": Material(6_000.0, 0.30, "mature bone; Lacroix & Prendergast 2002"),
    "united": Material(17_000.0, 0.30, "as the cortex"),
}
