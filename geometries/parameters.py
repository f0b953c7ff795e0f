"""Parameters of a construct: range, unit and the source of each default, as validated models.

A key's unit stands at its end: mm, deg, percent. "From memory" marks a default that no source was
read for.
"""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, Strict, model_validator

Real = Annotated[float, Strict()]
Whole = Annotated[int, Strict()]
Metal = Literal["titanium", "steel", "cobalt"]


class Parameters(BaseModel):
    """Base of all models: frozen, no unknown keys, no NaN or infinity."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


class Bolts(Parameters):
    """Interlocking bolts of a nail, tied in nail and bone."""

    diameter_mm: Real = Field(
        5.0,
        ge=3.5,
        le=6.5,
        description="Bolt diameter, mm. 4.5 to 6 usual; from memory.",
    )
    azimuth_deg: Real = Field(
        0.0,
        ge=-90,
        le=90,
        description="Direction, degrees: 0 from lateral to medial, 90 from front to back, between them "
        "oblique. From memory.",
    )
    proximal: Whole = Field(2, ge=0, le=2, description="Bolts at the proximal end. From memory.")
    distal: Whole = Field(2, ge=0, le=3, description="Bolts at the distal end. From memory.")
    first_mm: Real = Field(
        15.0, ge=8, le=60, description="From the nail's end to the first bolt, mm. From memory."
    )
    spacing_mm: Real = Field(
        20.0,
        ge=10,
        le=60,
        description="From one bolt to the next, mm. From memory.",
    )


class Nail(Parameters):
    """A straight hollow intramedullary nail in a reamed canal."""

    diameter_mm: Real = Field(
        10.0,
        ge=8,
        le=15,
        description="Outer diameter, mm. 9 to 14 usual; from memory.",
    )
    cannulation_mm: Real = Field(
        5.0,
        ge=3,
        le=9,
        description="Inner diameter, mm. 4 to 5.5 usual; from memory.",
    )
    length_mm: Real = Field(
        360.0,
        ge=160,
        le=440,
        description="Length, mm. 300 to 440 usual; from memory.",
    )
    distal_end_mm: Real = Field(
        35.0,
        ge=15,
        le=250,
        description="Height of the nail's distal end above the knee end, mm. "
        "At least 15 mm of bone at either end; from memory.",
    )
    reaming_mm: Real = Field(
        1.0,
        ge=0.5,
        le=3,
        description="Reamed canal minus nail diameter, mm. 0.5 to 1.5 usual "
        "(common practice, no source).",
    )
    canal: Literal["void", "filler", "bonded", "bracket"] = Field(
        "void",
        description="Between nail and canal: void carries nothing; filler is marrow, 2 MPa, all the "
        "way to the bone; bonded ties the nail to the reamed canal where it fits (upper bound); "
        "bracket runs all three. Surfaces never touch by themselves in this linear model.",
    )
    break_mm: Real | None = Field(
        None,
        ge=20,
        le=480,
        description="Height of a break above the knee end, mm; none leaves the nail whole.",
    )
    break_opening_mm: Real = Field(
        0.5,
        ge=0.2,
        le=2,
        description="Distance between the broken ends, mm; they never touch. From memory.",
    )
    material: Metal = Field("titanium", description="Alloy of nail and bolts.")
    bolts: Bolts = Field(Bolts(), description="Interlocking bolts.")

    @model_validator(mode="after")
    def _wall_left(self) -> Self:
        wall = (self.diameter_mm - self.cannulation_mm) / 2
        if wall < 1.2:
            raise ValueError(
                f"nail wall comes out as {wall:.2f} mm; allowed 1.2 mm or more: choose a larger "
                "diameter_mm or a smaller cannulation_mm"
            )
        return self


class ExchangeNail(Nail):
    """A larger nail after reaming; the same model with other defaults."""

    diameter_mm: Real = Field(
        12.0,
        ge=9,
        le=15,
        description="Outer diameter, mm: the old one plus 1 to 2 (common practice, no source).",
    )


class Screws(Parameters):
    """Locking screws of a plate: one cylinder each, tied in plate and bone, threads left out."""

    diameter_mm: Real = Field(
        5.0,
        ge=2.7,
        le=6.5,
        description="Screw diameter, mm. 3.5 and 5.0 usual; from memory.",
    )
    holes: tuple[Whole, ...] = Field(
        (2, 4, 5),
        min_length=1,
        max_length=9,
        description="Filled holes of each fragment, counted "
        "from the gap outwards: 1 is the hole next to it. 2 to 6 a fragment; from memory.",
    )
    cortices: Literal["auto", "unicortical", "bicortical"] = Field(
        "auto",
        description="auto: unicortical beside a nail, bicortical without one (common "
        "practice, no source).",
    )

    @model_validator(mode="after")
    def _holes_sensible(self) -> Self:
        if len(set(self.holes)) < len(self.holes) or min(self.holes) < 1:
            raise ValueError(
                f"holes = {list(self.holes)}: allowed are different whole numbers from 1 upwards; "
                "list each filled hole once"
            )
        return self


class Plate(Parameters):
    """A bone plate that follows the flare of the shaft, held off the bone by locking screws."""

    hole_count: Whole = Field(
        10,
        ge=4,
        le=18,
        multiple_of=2,
        description="Number of holes, half on either side of the plate's centre. From memory.",
    )
    pitch_mm: Real = Field(
        18.0,
        ge=11,
        le=25,
        description="Distance between holes, mm. 13 to 20 usual; from memory.",
    )
    width_mm: Real = Field(
        16.0,
        ge=8,
        le=20,
        description="Width, mm: broad 16 to 17.5, narrow 13.5, small 11. From memory.",
    )
    thickness_mm: Real = Field(
        5.0,
        ge=2.5,
        le=7,
        description="Thickness, mm: broad 5 to 5.2, narrow 4.6, small 3.5 to 4. From memory.",
    )
    offset_mm: Real = Field(
        2.0,
        ge=0.3,
        le=6,
        description="From the bone's surface to the plate's inner face, mm. 2 is "
        "usual for locking plates; from memory.",
    )
    on_bone: Literal["offset", "bonded"] = Field(
        "offset",
        description="offset leaves the space under the plate void; bonded fills it with bone on "
        "either side of the gap: an upper bound for a plate pressed on, without preload or friction "
        "(common practice, no source).",
    )
    azimuth_deg: Real = Field(
        0.0,
        ge=-180,
        le=180,
        description="Side of the bone, degrees: 0 lateral, 45 anterolateral, 90 anterior, 180 medial.",
    )
    shift_mm: Real = Field(
        0.0,
        ge=-120,
        le=120,
        description="Plate centre above (+) or below (-) the gap, mm.",
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
