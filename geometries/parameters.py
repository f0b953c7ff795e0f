"""Parameters of nails and stems: range, unit and the source of each default, as validated models.

A key's unit stands at its end: mm, deg, percent. Its source is a mark on its type, for what the
description says of usual values too.
"""

from __future__ import annotations

from math import degrees
from typing import Annotated, ClassVar, Literal, Self, get_args

from pydantic import BaseModel, ConfigDict, Field, Strict, model_validator

from geometries.sources import FromMemory, Practice

Real = Annotated[float, Strict()]
Whole = Annotated[int, Strict()]
Metal = Literal["titanium", "steel", "cobalt"]
BORE_GRAZE_MM = 0.1  # a bolt wider than the bore by less runs in the bore's wall, as thin as a razor
Aside = Annotated[Real, Field(ge=-12, le=12)]
Offset = tuple[Aside, Aside]
BRACKET = "bracket"  # the value of a key that asks for all its others, as bounds


class Parameters(BaseModel):
    """Base of all models: frozen, no unknown keys, no NaN or infinity."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


class Implant(Parameters):
    """What is put into or onto the bone; a key, its most compliant value first, says how they meet."""

    surface: ClassVar[tuple[str, str]]  # what tables call it, and the key

    @property
    def interface(self) -> str:
        """How it meets the bone, in words for every table."""
        return f"{self.surface[0]} {getattr(self, self.surface[1])}"

    @property
    def interfaces(self) -> tuple[str, ...]:
        """The same of all its surfaces, and what sets them apart."""
        return (self.interface,)

    def at_bounds(self) -> dict[str, Self]:
        """Copies at each bound, the most compliant first; none unless it asks for a bracket."""
        _, key = self.surface
        if getattr(self, key) != BRACKET:
            return {}
        values = get_args(type(self).model_fields[key].annotation)
        return {one: self.model_copy(update={key: one}) for one in values if one != BRACKET}


class Bolts(Parameters):
    """Interlocking bolts of a nail, tied in nail and bone."""

    diameter_mm: FromMemory[Real] = Field(
        5.0, ge=3.5, le=6.5, description="Bolt diameter, mm. 4.5 to 6 usual."
    )
    azimuth_deg: FromMemory[Real] = Field(
        0.0,
        ge=-90,
        le=90,
        description="Direction, degrees: 0 from lateral to medial, 90 from front to back, between "
        "them oblique.",
    )
    play_mm: FromMemory[Real] = Field(
        0.0,
        ge=0,
        le=0.25,
        description="Radius of the nail's holes less that of the bolts, mm. The model ties them all "
        "the same; tables say how far the fragments turn and slide freely besides.",
    )
    proximal: FromMemory[Whole] = Field(2, ge=0, le=2, description="Bolts at the proximal end.")
    distal: FromMemory[Whole] = Field(2, ge=0, le=3, description="Bolts at the distal end.")
    first_mm: FromMemory[Real] = Field(
        15.0, ge=8, le=60, description="From the nail's end to the first bolt, mm."
    )
    spacing_mm: FromMemory[Real] = Field(
        20.0, ge=10, le=60, description="From one bolt to the next, mm."
    )


class Nail(Implant):
    """A straight intramedullary nail, hollow or solid, in a reamed canal."""

    surface = ("canal", "canal")
    noun: ClassVar[str] = "nail"
    thinner: ClassVar[str] = "choose a thinner nail, less reaming_mm or smaller offsets"

    diameter_mm: FromMemory[Real] = Field(
        10.0, ge=8, le=15, description="Outer diameter, mm. 9 to 14 usual."
    )
    cannulation_mm: FromMemory[Real] = Field(
        5.0, ge=0, le=12, description="Inner diameter, mm; 0 is solid. 4 to 5.5 usual."
    )
    length_mm: FromMemory[Real] = Field(
        360.0, ge=160, le=440, description="Length, mm. 300 to 440 usual."
    )
    distal_end_mm: FromMemory[Real] = Field(
        35.0,
        ge=15,
        le=250,
        description="Height of the nail's distal end above the knee end, mm. At least 15 mm of bone "
        "at either end.",
    )
    reaming_mm: Practice[Real] = Field(
        1.0,
        ge=0.5,
        le=5,
        description="Reamed canal minus nail diameter, mm. 0.5 to 1.5 usual, 2 to 5 undersized.",
    )
    distal_offset_mm: Offset = Field(
        (0.0, 0.0),
        description="Where the nail's axis lies at its distal end: medial and anterior distance from "
        "the shaft axis, mm.",
    )
    proximal_offset_mm: Offset = Field(
        (0.0, 0.0),
        description="The same at its proximal end, mm; unlike offsets tilt the nail, and its bore "
        "follows.",
    )
    slot_mm: FromMemory[Real | None] = Field(
        None,
        ge=1,
        le=6,
        description="Width of a slot through one side of the wall, mm; none leaves the tube closed. "
        "3 to 6 in old nails.",
    )
    slot_azimuth_deg: FromMemory[Real] = Field(
        90.0, ge=-180, le=180, description="Side of the slot, degrees."
    )
    slot_percent: FromMemory[Real] = Field(
        100.0,
        ge=20,
        le=100,
        description="Length of the slot from the nail's distal end, percent of the nail. 60 to 100.",
    )
    bow_radius_mm: FromMemory[Real | None] = Field(
        None,
        ge=700,
        le=5000,
        description="Radius of the nail's own bow, mm; none is straight. The model gives it the "
        "bone's bow; the plan says how far they differ.",
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
    break_opening_mm: FromMemory[Real] = Field(
        0.5, ge=0.2, le=2, description="Distance between the broken ends, mm; they never touch."
    )
    material: Metal = Field("titanium", description="Alloy of nail and bolts.")
    bolts: Bolts = Field(Bolts(), description="Interlocking bolts.")

    @property
    def interfaces(self) -> tuple[str, ...]:
        """What lies in the canal, how the bolts hold, and whether the nail is broken."""
        words = [self.interface, "bolts tied"]
        if self.bolts.play_mm > 0:
            turn, slide = self.free_play
            words.append(f"their play of ±{turn:.1f}° and ±{slide:.2f} mm left out")
        if self.break_mm is not None:
            words.append("nail broken")
        return tuple(words)

    @property
    def ends_mm(self) -> tuple[float, float]:
        """Heights of its distal and its proximal end above the knee end, mm."""
        return self.distal_end_mm, self.distal_end_mm + self.length_mm

    @property
    def is_centred(self) -> bool:
        """Whether it stands on the shaft axis."""
        return self.distal_offset_mm == (0.0, 0.0) == self.proximal_offset_mm

    @property
    def bore_mm(self) -> float:
        """Diameter to which the canal is reamed for it, mm."""
        return self.diameter_mm + self.reaming_mm

    @property
    def clearance_mm(self) -> float:
        """Room that reaming leaves round it, mm."""
        return self.reaming_mm / 2

    @property
    def free_play(self) -> tuple[float, float]:
        """How far the fragments turn, degrees, and slide, mm, either way before the bolts bear.

        At each end that has bolts these meet the hole's rim at the nail's surface (plain geometry).
        """
        bolts = self.bolts
        ends = (bolts.proximal > 0) + (bolts.distal > 0)
        return ends * degrees(2 * bolts.play_mm / self.diameter_mm), ends * bolts.play_mm

    @model_validator(mode="after")
    def _cannulation_real(self) -> Self:
        if 0 < self.cannulation_mm < 2:
            raise ValueError(
                f"cannulation_mm = {self.cannulation_mm:g}; allowed 0 for a solid nail, or 2 mm and "
                "more: change it"
            )
        if self.slot_mm is not None and not self.slot_mm < 0.8 * self.cannulation_mm:
            raise ValueError(
                f"slot_mm = {self.slot_mm:g} does not fit cannulation_mm = {self.cannulation_mm:g}; "
                f"allowed less than {0.8 * self.cannulation_mm:.1f} mm: make it narrower, or the "
                "nail hollower"
            )
        return self

    @model_validator(mode="after")
    def _bolts_cross_bore(self) -> Self:
        wider = self.bolts.diameter_mm - self.cannulation_mm
        if self.bolts.proximal + self.bolts.distal and 0 < wider < BORE_GRAZE_MM:
            raise ValueError(
                f"bolts.diameter_mm = {self.bolts.diameter_mm:g} is {wider:.2f} mm wider than "
                f"cannulation_mm = {self.cannulation_mm:g}: their surfaces graze and do not mesh; "
                f"allowed no wider, or {BORE_GRAZE_MM:g} mm wider and more: make them equal"
            )
        return self

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

    diameter_mm: Practice[Real] = Field(
        12.0, ge=9, le=15, description="Outer diameter, mm: the old one plus 1 to 2."
    )


class Stem(Implant):
    """The stem of a hip prosthesis in the proximal canal, a cone on the shaft axis."""

    surface = ("stem", "fixation")
    noun: ClassVar[str] = "stem"
    thinner: ClassVar[str] = "choose a thinner stem or less mantle_mm"

    tip_diameter_mm: FromMemory[Real] = Field(
        11.0, ge=8, le=14, description="Diameter at the tip, mm. 10 to 14 usual."
    )
    top_diameter_mm: FromMemory[Real] = Field(
        14.0, ge=10, le=20, description="Diameter at the top of the femur, mm."
    )
    length_mm: FromMemory[Real] = Field(
        140.0, ge=90, le=260, description="From the top of the femur to the tip, mm."
    )
    fixation: Practice[Literal["cemented", "ingrown"]] = Field(
        "cemented",
        description="cemented: bone cement, 2200 MPa, fills the canal round the stem; ingrown: "
        "cancellous bone does over ingrown_percent of the length, and nothing below.",
    )
    ingrown_percent: FromMemory[Real] = Field(
        100.0,
        ge=25,
        le=100,
        description="Length from the top over which an ingrown stem is bonded, percent.",
    )
    mantle_mm: FromMemory[Real] = Field(
        2.0,
        ge=1,
        le=3,
        description="Thinnest cement, or reaming round an uncemented stem, mm. 2 to 3 usual for "
        "cement.",
    )
    material: Metal = Field("cobalt", description="Alloy.")

    @property
    def clearance_mm(self) -> float:
        """Room that reaming leaves round it, mm: what its bed fills."""
        return self.mantle_mm

    @model_validator(mode="after")
    def _tapers(self) -> Self:
        if self.top_diameter_mm < self.tip_diameter_mm:
            raise ValueError(
                f"top_diameter_mm = {self.top_diameter_mm:g} is less than tip_diameter_mm = "
                f"{self.tip_diameter_mm:g}; allowed is the same or more: make the top thicker"
            )
        return self
