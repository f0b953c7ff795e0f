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

    def scaled(self, factor: float, why: str = "") -> Material:
        """The same with all moduli times a factor, for weakened bone; why goes before its source."""
        across = self.across and replace(
            self.across,
            modulus=factor * self.across.modulus,
            shear_modulus=factor * self.across.shear_modulus,
        )
        source = f"{factor:g} times{why and f' ({why})'}: {self.source}"
        return replace(self, modulus=factor * self.modulus, across=across, source=source)


def isotropic(modulus: float, poisson: float) -> NDArray[np.float64]:
    """Stress over strain (6, 6) of an isotropic material, MPa."""
    mu = modulus / (2 * (1 + poisson))
    lam = 2 * mu * poisson / (1 - 2 * poisson)
    elasticity = np.diag([2 * mu, 2 * mu, 2 * mu, mu, mu, mu])
    elasticity[:3, :3] += lam
    return elasticity


MATERIALS: dict[str, Material] = {
    "cortical": Material(
        17_000.0, 0.30,
        "along the shaft, Reilly & Burstein 1975, J Biomech 8:393, as quoted from Cowin 1989, Bone "
        "Mechanics; Poisson's ratio of Lacroix & Prendergast 2002, table in PMC5082538",
    ),
    "cortical_transverse": Material(
        17_000.0, 0.46,
        "Reilly & Burstein 1975, J Biomech 8:393, as quoted from Cowin 1989, Bone Mechanics, in an "
        "open script",
        across=Across(11_500.0, 0.58, 3_300.0),
    ),
    "cancellous": Material(
        400.0, 0.25,
        "6850 MPa at 1 g/cm³ to the power of 1.49 (femoral neck, Morgan 2003, J Biomech 36:897, as "
        "quoted in a handbook) at 0.149 g/cm³; femoral heads had 232 ± 130 MPa (Haba 2012, Open Orthop "
        "J 6:458, read in its abstract); Poisson's ratio chosen between 0.2 and 0.3 of PMC5082538",
    ),
    "marrow": Material(2.0, 0.167, "Lacroix & Prendergast 2002"),
    "cement": Material(
        2_200.0, 0.30,
        "bone cement (PMMA), reported from 2100 to 3100 (Hernandez, Gill & Gheduzzi 2020, DOI "
        "10.1177/0954411920971071, read); 2400 at rest in Williams & Johnson 1989 (J Biomech, read in "
        "its abstract); Poisson's ratio chosen",
    ),
    "titanium": Material(
        110_000.0, 0.33,
        "Ti-6Al-4V ELI; data sheets that were read have 105 to 113.8 GPa and 0.342",
        strength=Strength(795.0, 860.0, (140.0, 500.0),
                          "ASTM F136 least values, as a supplier has them; endurance at 1e7 cycles, "
                          "from a notch of 3.1 to smooth, of data sheets that name no stress ratio"),
    ),
    "steel": Material(
        193_000.0, 0.30,
        "316L; data sheets that were read have 187.5 to 193 GPa; Poisson's ratio chosen",
        strength=Strength(690.0, 860.0, (134.0, 430.0),
                          "ASTM F139 cold worked, least values, as a handbook has them; endurance "
                          "smooth half of the ultimate stress (Okazaki & Gotoh 2002, Mater Trans "
                          "43:2949, read in its abstract), notched that over 3.2 (computed)"),
    ),
    "cobalt": Material(
        220_000.0, 0.29, "wrought CoCrMo, ASTM F1537 data sheets",
        strength=Strength(517.0, 897.0, (200.0, 480.0),
                          "ASTM F1537 annealed, least values and notched endurance from memory; "
                          "smooth 310 to 480 in a materials data base"),
    ),
}  # fmt: skip

OSTEOPOROTIC = 0.70
"""Factor on all moduli of osteoporotic bone: 30 % less, Dagan, Be'ery & Gefen 2004, Med Biol Eng Comput
42:549, for the spongy bone of the proximal femur. That the cortex loses as much in every direction is
assumed: no number for it was found."""

WEAKENED = "Dagan 2004, Med Biol Eng Comput 42:549, of spongy bone; of the cortex assumed"
MATERIALS |= {
    f"{name}_osteoporotic": MATERIALS[name].scaled(OSTEOPOROTIC, WEAKENED)
    for name in ("cortical", "cortical_transverse", "cancellous")
}

TISSUES: dict[str, Material] = {
    "empty": Material(0.0, 0.0, "nothing in the gap: the implants carry all"),
    "atrophic": Material(1.0, 0.167, "fibrous, 0.2 to 2; Lacroix & Prendergast 2002 for the range"),
    "oligotrophic": Material(5.0, 0.167, "fibrous tissue to cartilage, 2 to 10, same source"),
    "hypertrophic": Material(
        20.0,
        0.167,
        "chosen among the 10 MPa of cartilage in Lacroix & Prendergast 2002 and 25 to 27 in an open "
        "healing model",
    ),
    "fresh_graft": Material(
        10.0,
        0.20,
        "chosen: as cartilage in Lacroix & Prendergast 2002; no modulus of packed graft was found",
    ),
    "woven": Material(
        200.0,
        0.30,
        "chosen between cartilage, 10, and immature bone, 1000 MPa, of Lacroix & Prendergast 2002; "
        "callus of rats had 0.51 to 1680 MPa (Leong & Morgan 2009, PMC3202910, read)",
    ),
    "immature": Material(1_000.0, 0.30, "immature bone; Lacroix & Prendergast 2002"),
    "mature": Material(6_000.0, 0.30, "mature bone; Lacroix & Prendergast 2002"),
    "united": Material(17_000.0, 0.30, "as the cortex"),
}
