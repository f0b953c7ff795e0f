"""Parameters of nails and stems: range, unit and the source of each default, as validated models.

A key's unit stands at its end: mm, deg, percent. Its source is a mark on its type, for what the
description says of usual values too.
"""

from __future__ import annotations

from typing import Annotated, ClassVar, Literal, Self

from pydantic import Field, model_validator

from geometries.base import BRACKET as BRACKET
from geometries.base import Implant as Implant
from geometries.base import Metal as Metal
from geometries.base import Parameters as Parameters
from geometries.base import Real as Real
from geometries.base import Whole as Whole
from geometries.bolts import Bolts as Bolts
from geometries.sources import Chosen, FromMemory, Practice, Source

BORE_GRAZE_MM = 0.1  # a bolt wider than the bore by less runs in the bore's wall, as thin as a razor
DIAMETERS = Source("DOI 10.1186/s12891-022-05781-0, read in its abstract")
LENGTHS = Source("BMC Surg 2016, 16:68, read in its abstract; the default is chosen")
MANTLE = Source("Cristofolini 2007, long-term failure risk, read in its abstract")
BOWS = Source("Harma 2005, DOI 10.1007/s00276-005-0019-2, read in its abstract")
Aside = Annotated[Real, Field(ge=-12, le=12)]
Offset = tuple[Aside, Aside]


class Nail(Implant):
    """A straight intramedullary nail, hollow or solid, in a reamed canal."""

    surface = ("canal", "canal")
    noun: ClassVar[str] = "nail"
    thinner: ClassVar[str] = "choose a thinner nail, less reaming_mm or smaller offsets"

    diameter_mm: Annotated[Real, DIAMETERS] = Field(
        10.0, ge=8, le=15, description="Outer diameter, mm. 10 to 13 in 257 patients, 10 most often."
    )
    cannulation_mm: FromMemory[Real] = Field(
        5.0, ge=0, le=12, description="Inner diameter, mm; 0 is solid. 4 to 5.5 usual."
    )
    length_mm: Annotated[Real, LENGTHS] = Field(
        360.0, ge=160, le=440, description="Length, mm. 350 in a published model."
    )
    distal_end_mm: Chosen[Real] = Field(
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
    slot_azimuth_deg: Chosen[Real] = Field(
        90.0, ge=-180, le=180, description="Side of the slot, degrees."
    )
    slot_percent: FromMemory[Real] = Field(
        100.0,
        ge=20,
        le=100,
        description="Length of the slot from the nail's distal end, percent of the nail. 60 to 100.",
    )
    bow_radius_mm: Annotated[Real | None, BOWS] = Field(
        None,
        ge=700,
        le=5000,
        description="Radius of the nail's own bow, mm; none is straight. Ten nails had 1500 to 3000. "
        "The model gives it the bone's bow; the plan says how far they differ.",
    )
    canal: Literal["void", "contact", "filler", "bonded", "bracket"] = Field(
        "contact",
        description="Between nail and canal: contact lets the nail bear on the canal's wall where it "
        "has used up its clearance, without friction; void lets it pass through the wall (lower "
        "bound); filler is marrow, 2 MPa, all the way to the bone; bonded ties the nail to the reamed "
        "canal where it fits (upper bound); bracket runs all four.",
    )
    break_mm: Real | None = Field(
        None,
        ge=20,
        le=480,
        description="Height of a break above the knee end, mm; none leaves the nail whole.",
    )
    break_opening_mm: Chosen[Real] = Field(
        0.5, ge=0.2, le=2, description="Distance between the broken ends, mm; they never touch."
    )
    material: Metal = Field("titanium", description="Alloy of nail and bolts.")
    bolts: Bolts = Field(Bolts(), description="Interlocking bolts.")

    @property
    def interfaces(self) -> tuple[str, ...]:
        """What lies in the canal, how the bolts hold, and whether the nail is broken."""
        words = [self.interface]
        if self.bolts.count:
            words.append(self.bolts.interface)
        if self.break_mm is not None:
            words.append("nail broken")
        return tuple(words)

    def at_bounds(self) -> dict[str, Self]:
        """Copies at each bound of its canal and of its bolts; none unless one asks for a bracket."""
        canals = super().at_bounds()
        if self.bolts.along != BRACKET or self.bolts.fit == "tied" or not self.bolts.count:
            return canals
        found = {}
        for name, one in (canals or {"": self}).items():
            for along in ("slides", "held"):
                bolts = one.bolts.model_copy(update={"along": along})
                found[f"{name}-{along}".strip("-")] = one.model_copy(update={"bolts": bolts})
        return found

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
        if self.bolts.count and 0 < wider < BORE_GRAZE_MM:
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
    ingrown_percent: Chosen[Real] = Field(
        100.0,
        ge=25,
        le=100,
        description="Length from the top over which an ingrown stem is bonded, percent.",
    )
    mantle_mm: Annotated[Real, MANTLE] = Field(
        2.0,
        ge=1,
        le=3,
        description="Thinnest cement, or reaming round an uncemented stem, mm. 2 to 3 is "
        "recommended for cement.",
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
