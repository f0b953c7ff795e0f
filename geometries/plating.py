"""Parameters of plates and their screws: range, unit and the source of each default."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from geometries.parameters import Implant, Metal, Parameters, Real, Whole
from geometries.sources import Chosen, FromMemory, Practice, Source

SCREWS = Source("DOI 10.1371/journal.pone.0295526 and 10.1055/s-0044-1791701, read in their abstracts")


class Screws(Parameters):
    """Locking screws of a plate: one cylinder each, tied in plate and bone, threads left out."""

    diameter_mm: Annotated[Real, SCREWS] = Field(
        5.0, ge=2.7, le=6.5, description="Screw diameter, mm. 3.5 and 5.0 on the bench."
    )
    holes: Chosen[tuple[Whole, ...]] = Field(
        (2, 4, 5),
        min_length=1,
        max_length=9,
        description="Filled holes of each fragment, counted from the gap outwards: 1 is the hole "
        "next to it.",
    )
    cortices: Practice[Literal["auto", "unicortical", "bicortical", "tangential"]] = Field(
        "auto",
        description="Beside a nail or stem auto is unicortical and tangential turns screws past it, "
        "one to either side in turn; where nothing is in the way both are bicortical.",
    )

    @model_validator(mode="after")
    def _holes_sensible(self) -> Self:
        if len(set(self.holes)) < len(self.holes) or min(self.holes) < 1:
            raise ValueError(
                f"holes = {list(self.holes)}: allowed are different whole numbers from 1 upwards; "
                "list each filled hole once"
            )
        return self


class Plate(Implant):
    """A bone plate that follows the flare of the shaft, held off the bone by locking screws."""

    surface = ("plate", "on_bone")

    hole_count: Chosen[Whole] = Field(
        10,
        ge=4,
        le=18,
        multiple_of=2,
        description="Number of holes, half on either side of the plate's centre.",
    )
    pitch_mm: FromMemory[Real] = Field(
        18.0, ge=11, le=25, description="Distance between holes, mm. 13 to 20 usual."
    )
    width_mm: FromMemory[Real] = Field(
        16.0, ge=8, le=20, description="Width, mm: broad 16 to 17.5, narrow 13.5, small 11."
    )
    thickness_mm: FromMemory[Real] = Field(
        5.0, ge=2.5, le=7, description="Thickness, mm: broad 5 to 5.2, narrow 4.6, small 3.5 to 4."
    )
    offset_mm: FromMemory[Real] = Field(
        2.0,
        ge=0.3,
        le=6,
        description="From the bone's surface to the plate's inner face, mm. 2 is usual for locking "
        "plates.",
    )
    on_bone: Practice[Literal["offset", "bonded", "bracket"]] = Field(
        "offset",
        description="offset leaves the space under the plate void until the plate bends onto the bone "
        "and bears there; bonded fills it with bone on either side of the gap: an upper bound for a "
        "plate pressed on, without preload or friction; bracket runs both.",
    )
    azimuth_deg: Real = Field(
        0.0,
        ge=-180,
        le=180,
        description="Side of the bone, degrees: 0 lateral, 45 anterolateral, 90 anterior, 180 medial.",
    )
    shift_mm: Real = Field(
        0.0, ge=-120, le=120, description="Plate centre above (+) or below (-) the gap, mm."
    )
    material: Metal = Field("titanium", description="Alloy of plate and screws.")
    screws: Screws = Field(Screws(), description="Screws.")

    @property
    def length_mm(self) -> float:
        """Plate length, mm: half a pitch beyond the last hole at either end."""
        return self.hole_count * self.pitch_mm

    @model_validator(mode="after")
    def _holes_fit(self) -> Self:
        if self.screws.diameter_mm > 0.6 * self.width_mm:
            raise ValueError(
                f"screws.diameter_mm = {self.screws.diameter_mm:g} is too large for a plate "
                f"{self.width_mm:g} mm wide; allowed {0.6 * self.width_mm:.1f} mm or less: "
                "choose a thinner screw"
            )
        if self.screws.diameter_mm + 3 > self.pitch_mm:
            raise ValueError(
                f"pitch_mm = {self.pitch_mm:g} leaves under 3 mm between holes; allowed "
                f"{self.screws.diameter_mm + 3:g} mm or more: choose a wider pitch"
            )
        if max(self.screws.holes) > self.hole_count // 2:
            raise ValueError(
                f"screws.holes = {list(self.screws.holes)} names a hole outside the plate; allowed "
                f"1 to {self.hole_count // 2} on each side: use a longer plate or inner holes"
            )
        return self


class SecondPlate(Plate):
    """A smaller plate beside the first; the same model with other defaults."""

    surface = ("second plate", "on_bone")

    hole_count: Chosen[Whole] = Field(8, ge=4, le=18, multiple_of=2, description="Number of holes.")
    width_mm: FromMemory[Real] = Field(11.0, ge=8, le=20, description="Width, mm: small 11.")
    thickness_mm: FromMemory[Real] = Field(
        4.0, ge=2.5, le=7, description="Thickness, mm: small 3.5 to 4."
    )
    azimuth_deg: Practice[Real] = Field(
        90.0, ge=-180, le=180, description="Side of the bone, degrees: 90 anterior or 180 medial."
    )
    shift_mm: Practice[Real] = Field(
        9.0,
        ge=-120,
        le=120,
        description="Plate centre above (+) or below (-) the gap, mm: half a pitch, so that its "
        "screws pass between those of the first.",
    )
    screws: Chosen[Screws] = Field(
        Screws(diameter_mm=3.5, holes=(2, 3, 4)), description="Screws; thinner."
    )
