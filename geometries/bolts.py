"""Parameters of a nail's interlocking bolts."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from geometries.base import Parameters, Real, Whole
from geometries.sources import Chosen, FromMemory, Practice, Source

FLANAGAN = Source("Flanagan 2014, Iowa Orthop J 34:68, for the turn; the clearance follows from it")
HAJEK = Source("Hajek 1993, J Bone Joint Surg Am 75:519, read in its abstract")
DIAMETERS = Source(
    "Karuppiah & Johnstone 2012, DOI 10.4236/jbise.2012.510073, and Kinast 1990, Arch Orthop "
    "Trauma Surg 109:197, read in their abstracts"
)


class Bolts(Parameters):
    """Interlocking bolts of a nail, tied in the bone."""

    diameter_mm: Annotated[Real, DIAMETERS] = Field(
        5.0,
        ge=3.5,
        le=6.5,
        description="Bolt diameter, mm. 5 in one bench test, 4.5 and 6.3 in another.",
    )
    azimuth_deg: Chosen[Real] = Field(
        0.0,
        ge=-90,
        le=90,
        description="Direction, degrees: 0 from lateral to medial, 90 from front to back, between "
        "them oblique.",
    )
    fit: Practice[Literal["play", "tied"]] = Field(
        "play",
        description="play lets each bolt move in the nail's hole by play_mm before it bears, without "
        "friction; tied joins bolt and nail, as angular stability does at best.",
    )
    play_mm: Annotated[Real, FLANAGAN] = Field(
        0.2,
        ge=0,
        le=1,
        description="Diameter of the nail's holes less that of the bolts, mm. 0.2 lets a 10 mm nail "
        "turn by 5.3 degrees in all; measured were 4.6 ± 1.3 with usual locking and 0 with angular "
        "stability. A clearance in mm was not found in print.",
    )
    along: Practice[Literal["slides", "held", "bracket"]] = Field(
        "slides",
        description="Whether the nail slides along its bolts, as without friction, or is held on "
        "them; bracket runs both. Only with play.",
    )
    proximal: Chosen[Whole] = Field(2, ge=0, le=2, description="Bolts at the proximal end.")
    distal: Annotated[Whole, HAJEK] = Field(
        2, ge=0, le=3, description="Bolts at the distal end. One held as well as two in sixteen femora."
    )
    first_mm: FromMemory[Real] = Field(
        15.0, ge=8, le=60, description="From the nail's end to the first bolt, mm."
    )
    spacing_mm: FromMemory[Real] = Field(
        20.0, ge=10, le=60, description="From one bolt to the next, mm."
    )

    @property
    def count(self) -> int:
        """How many there are."""
        return self.proximal + self.distal

    @property
    def interface(self) -> str:
        """How they hold the nail, in words for every table."""
        if self.fit == "tied":
            return "bolts tied"
        return f"bolts with {self.play_mm:g} mm play, nail {self.along} along them"
