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


CONSTRUCT_BANDS = (
    Band(
        "bending_stiffness", 108.0, 489.0,
        "proximal femurs 138 ± 29 (BioMed Eng Online 12:70, read in its abstract), an even tube of "
        "28/13 mm and 17 GPa 489 (computed), and a mean over flared ends of full modulus lies higher",
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
