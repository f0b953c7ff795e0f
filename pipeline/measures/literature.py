"""Published bands: between what numbers measured or computed constructs of a kind have come out."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf

from pipeline.measures.dictionary import Scheme


@dataclass(frozen=True)
class Traits:
    """What decides whether a construct is like those of a source.

    Parameters
    ----------
    implants : frozenset of str
        Roles of all parts but bone and gap.
    materials : frozenset of str
        Materials of those parts.
    gap : {"none", "empty", "tissue"}
        What the gap holds.
    working_mm : float
        Distance of the screws nearest to the gap, mm; 0 without a plate.
    area_mm2 : float
        Cross-section of nail or plate, mm²; 0 where there is not just one of them.
    """

    implants: frozenset[str]
    materials: frozenset[str]
    gap: str
    working_mm: float = 0.0
    area_mm2: float = 0.0


@dataclass(frozen=True)
class Band:
    """Between what limits a value lies, and for what constructs.

    Parameters
    ----------
    quantity : str
        Of the data dictionary.
    low, high : float
        Limits, in the dictionary's unit.
    source : str
        Where they come from.
    implants, materials, gap :
        Exactly these traits.
    working_mm, area_mm2 : (float, float)
        Limits of the traits.
    """

    quantity: str
    low: float
    high: float
    source: str
    implants: frozenset[str] = frozenset()
    materials: frozenset[str] = frozenset()
    gap: str = "none"
    working_mm: tuple[float, float] = (0.0, inf)
    area_mm2: tuple[float, float] = (0.0, inf)

    def fits(self, traits: Traits) -> bool:
        """Whether a construct is like those of the source."""
        same = ("implants", "materials", "gap")
        within = ("working_mm", "area_mm2")
        return all(getattr(self, key) == getattr(traits, key) for key in same) and all(
            getattr(self, key)[0] <= getattr(traits, key) <= getattr(self, key)[1] for key in within
        )

    def doubt(self, value: float, unit: str) -> str:
        """A sentence where a value lies outside, else empty."""
        if self.low <= value <= self.high:
            return ""
        return f"{value:.3g} {unit}, outside {self.low:g} to {self.high:g}: {self.source}"


@dataclass(frozen=True)
class Shafts:
    """Lowest and highest rigidity of published shafts at one level.

    Parameters
    ----------
    sagittal, frontal, torsion : (float, float)
        E I in either plane and G J, N·m².
    axial : (float, float)
        E A, MN.
    """

    sagittal: tuple[float, float]
    frontal: tuple[float, float]
    torsion: tuple[float, float]
    axial: tuple[float, float]


SIX_FEMORA_SOURCE = (
    "six adult femurs cut by level, open data of morphomap 1.5 (Profico et al. 2023), computed with "
    "E 17, G 3.3 GPa and J = Ix + Iy"
)
SIX_FEMORA = {
    20: Shafts((366, 898), (540, 1246), (176, 416), (5.3, 9.6)),
    35: Shafts((303, 771), (311, 694), (119, 284), (6.2, 8.6)),
    50: Shafts((262, 873), (247, 537), (110, 274), (6.5, 9.5)),
    65: Shafts((248, 896), (261, 575), (114, 285), (6.7, 10.3)),
    80: Shafts((366, 764), (337, 798), (136, 303), (6.7, 9.5)),
}
"""By height above the knee, percent of the length; biomechanical length in five of the six."""

CONSTRUCT_BANDS = (
    Band(
        "bending_stiffness", 289.0, 838.0,
        f"{SIX_FEMORA_SOURCE}, mean compliance over 20 to 80 % of the length, lowest to highest, "
        "both planes",
    ),
    Band(
        "torsional_stiffness", 5.5, 12.9,
        f"{SIX_FEMORA_SOURCE}, mean compliance over 20 to 80 % of the length, taken over 0.40 m. An "
        "intact femur measured 6.9 (Schandelmaier et al. 1997, 2000, Injury 31:437)",
    ),
    *(
        Band(
            "torsional_stiffness", 0.2, 2.2,
            "femurs with a locked nail over an empty gap of 20 mm, 0.2 slotted, 0.6 to 1.8 unslotted "
            "(Schandelmaier et al. 1997, 2000, Injury 31:437), or cut below the isthmus, 1.3 ± 0.8, "
            "2.2 from 10 to 20 degrees (PMID 11001415)",
            frozenset({"nail", "bolt"}), frozenset({metal}), "empty",
        )
        for metal in ("titanium", "steel")
    ),
    Band(
        "axial_stiffness", 500.0, 4000.0,
        "plate alone over an empty gap, rigid fragments, working length 20 to 140 mm (computed)",
        frozenset({"plate", "screw"}), frozenset({"titanium"}), "empty", (20.0, 140.0), (75.0, 100.0),
    ),
)  # fmt: skip
"""Of pure loads only: those that the energy gives a stiffness for."""

MODULI = {
    "titanium": Band("modulus", 105_000, 120_000, "data sheets of Ti-6Al-4V"),
    "steel": Band("modulus", 187_000, 193_000, "data sheets of 316L"),
    "cobalt": Band("modulus", 210_000, 240_000, "220 in a data base of CoCrMo, limits chosen"),
    "cortical": Band(
        "modulus", 12_200, 20_900,
        "along the shaft, femurs from 12.2 GPa up (Bioengineering 2024 11:395), tibia 20.9 GPa "
        "(Hoffmeister et al., Med Biol Eng Comput)",
    ),
    "tissue": Band("modulus", 0, 20_900, "no stiffer than cortex, 20.9 GPa as above"),
}  # fmt: skip
MODULI["cortical_transverse"] = MODULI["cortical"]
"""Young's modulus along the shaft by material, MPa."""

PLATE_ADDED = tuple(
    Band(
        quantity, 1.5, 5.0, f"cadaver femurs {seen}, plate added to a nail, Park 2010 Int Orthop 35:581"
    )
    for quantity, seen in (
        ("bending_stiffness", "x2.6 with wide scatter"),
        ("torsional_stiffness", "x3.3 with wide scatter"),
    )
)
"""Plate over a nail over the same nail alone, empty gap."""


SCHEMES: dict[Scheme, str] = {
    "classical": "Perren 1979 Clin Orthop 138:175, limits of 2, 10 and 100 % as quoted on a page for "
    "surgeons in training; 30 % divides the widest band",
    "pressure": "Claes et al. 1998 Clin Orthop 355S:S132, read in its abstract",
    "deviatoric": "Prendergast, Huiskes & Søballe 1997 J Biomech 30:539, the part of its stimulus that "
    "is strain, limits as quoted in an open program",
}
"""Source of each scheme that sorts tissue strain."""
