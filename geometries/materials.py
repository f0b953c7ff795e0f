"""Elastic constants and strength of bone, implants and gap tissue, each with its source."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True)
class Across:
    """What makes a material transversely isotropic: its constants across the shaft.

    Parameters
    ----------
    modulus, poisson : float
        Young's modulus, MPa, and Poisson's ratio in the cross-section.
    shear_modulus : float
        Shear modulus of the planes along the shaft, MPa.
    """

    modulus: float
    poisson: float
    shear_modulus: float


@dataclass(frozen=True)
class Strength:
    """Published limits of a metal, MPa.

    Parameters
    ----------
    yield_stress, ultimate : float
        Least values that the standard allows.
    endurance : (float, float)
        Range of the endurance limit as an alternating amplitude (R = -1), from notched to smooth.
    source : str
        Where they come from.
    """

    yield_stress: float
    ultimate: float
    endurance: tuple[float, float]
    source: str


@dataclass(frozen=True)
class Material:
    """A linear elastic material, isotropic or with other constants across the shaft (z).

    Parameters
    ----------
    modulus : float
        Young's modulus along z, MPa.
    poisson : float
        Poisson's ratio under load along z.
    source : str
        Where the numbers come from.
    across : Across, optional
        Constants across z of a transversely isotropic material.
    strength : Strength, optional
        Limits of a metal.
    """

    modulus: float
    poisson: float
    source: str
    across: Across | None = None
    strength: Strength | None = None

    @property
    def elasticity(self) -> NDArray[np.float64]:
        """Stress over strain (6, 6), MPa: xx, yy, zz, xy, yz, zx with engineering shears."""
        if self.across is None:
            return isotropic(self.modulus, self.poisson)
        E, G = self.across.modulus, self.across.shear_modulus
        compliance = np.zeros((6, 6))
        compliance[:2, :2] = np.array([[1, -self.across.poisson], [-self.across.poisson, 1]]) / E
        compliance[2, 2] = 1 / self.modulus
        compliance[2, :2] = compliance[:2, 2] = -self.poisson / self.modulus
        compliance[3, 3] = 2 * (1 + self.across.poisson) / E
        compliance[4, 4] = compliance[5, 5] = 1 / G
        return np.asarray(np.linalg.inv(compliance), dtype=np.float64)

    def scaled(self, factor: float) -> Material:
        """The same with all moduli times a factor, for weakened bone."""
        across = self.across and replace(
            self.across,
            modulus=factor * self.across.modulus,
            shear_modulus=factor * self.across.shear_modulus,
        )
        source = f"{factor:g} times: {self.source}"
        return replace(self, modulus=factor * self.modulus, across=across, source=source)


def isotropic(modulus: float, poisson: float) -> NDArray[np.float64]:
    """Stress over strain (6, 6) of an isotropic material, MPa."""
    mu = modulus / (2 * (1 + poisson))
    lam = 2 * mu * poisson / (1 - 2 * poisson)
    elasticity = np.diag([2 * mu, 2 * mu, 2 * mu, mu, mu, mu])
    elasticity[:3, :3] += lam
    return elasticity


MATERIALS: dict[str, Material] = {
    "cortical": Material(17_000.0, 0.30, "along the shaft, Reilly & Burstein 1975; from memory"),
    "cortical_transverse": Material(
        17_000.0, 0.46, "Reilly & Burstein 1975, J Biomech 8:393; numbers from memory",
        across=Across(11_500.0, 0.58, 3_300.0),
    ),
    "cancellous": Material(400.0, 0.25, "metaphysis, 100 to 1500 in use; from memory"),
    "marrow": Material(2.0, 0.167, "Lacroix & Prendergast 2002"),
    "cement": Material(2_200.0, 0.30, "bone cement (PMMA), 2000 to 2500; from memory"),
    "titanium": Material(
        110_000.0, 0.33, "Ti-6Al-4V ELI, ASTM F136 data sheets 105 to 120 GPa",
        strength=Strength(795.0, 860.0, (200.0, 600.0),
                          "ASTM F136 least values; endurance notched to smooth, from memory"),
    ),
    "steel": Material(
        193_000.0, 0.30, "316L, ASTM F138 data sheets 187 to 193 GPa; from memory",
        strength=Strength(690.0, 860.0, (180.0, 450.0),
                          "ASTM F139 cold worked, least values; endurance from memory"),
    ),
    "cobalt": Material(
        220_000.0, 0.29, "wrought CoCrMo, ASTM F1537 data sheets",
        strength=Strength(517.0, 897.0, (200.0, 480.0),
                          "ASTM F1537 annealed, least values; endurance smooth 310 to 480 typical, "
                          "notched from memory"),
    ),
}  # fmt: skip

OSTEOPOROTIC = {"cortical": 0.66, "cortical_transverse": 0.66, "cancellous": 0.34}
"""Factors on all moduli of osteoporotic bone: a widely reused convention, from memory."""

MATERIALS |= {
    f"{name}_osteoporotic": MATERIALS[name].scaled(factor) for name, factor in OSTEOPOROTIC.items()
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
