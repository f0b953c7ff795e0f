"""Constructs of a study file: what stands in or on the femur, or on a bench."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from geometries.bone import Defect
from geometries.parameters import ExchangeNail, Nail, Parameters, Plate, Real, Screws, Whole


class Layer(Parameters):
    """One of the bonded concentric tubes of a specimen."""

    outer_diameter_mm: Real = Field(gt=0, le=100, description="Outer diameter, mm.")
    inner_diameter_mm: Real = Field(0.0, ge=0, lt=100, description="Inner diameter, mm.")
    material: Literal["titanium", "steel", "cobalt", "cortical", "cancellous"] = Field(
        description="Material."
    )

    @model_validator(mode="after")
    def _wall_left(self) -> Self:
        if self.inner_diameter_mm > self.outer_diameter_mm - 0.2:
            raise ValueError(
                f"inner_diameter_mm = {self.inner_diameter_mm:g} leaves no wall in "
                f"outer_diameter_mm = {self.outer_diameter_mm:g}; make it at least 0.2 mm smaller"
            )
        return self


class Named(Parameters):
    """What has a name in tables and folders."""

    name: str = Field(
        min_length=1,
        max_length=40,
        pattern=r"^[a-z0-9][a-z0-9_-]*$",
        description="Name in tables and folders: lower-case letters, digits, - and _.",
    )


class Compared(Named):
    """What every construct has besides: a defect, if it differs from the study's."""

    defect: Defect | None = Field(None, description="Defect of this construct alone.")

    @property
    def interfaces(self) -> str:
        """How its surfaces meet, in words for every table."""
        nail, plate = getattr(self, "nail", None), getattr(self, "plate", None)
        words = [] if nail is None else [f"canal {nail.canal}", "bolts tied"]
        if nail is not None and nail.break_mm is not None:
            words.append("nail broken")
        return (
            ", ".join(words + ([] if plate is None else [f"plate {plate.on_bone}", "screws tied"]))
            or "none"
        )


class IntactConstruct(Compared):
    """The femur without gap or implant."""

    kind: Literal["intact"]


class NailConstruct(Compared):
    """A nail alone across the gap."""

    kind: Literal["nail"]
    nail: Nail = Field(Nail(), description="The nail.")


class ExchangeNailConstruct(Compared):
    """A larger nail alone after reaming."""

    kind: Literal["exchange_nail"]
    nail: ExchangeNail = Field(ExchangeNail(), description="The larger nail.")


class PlateConstruct(Compared):
    """A plate alone across the gap."""

    kind: Literal["plate"]
    plate: Plate = Field(Plate(), description="The plate.")


class NailPlateConstruct(Compared):
    """A nail with a plate over it."""

    kind: Literal["nail_plate"]
    nail: Nail = Field(Nail(), description="The nail.")
    plate: Plate = Field(Plate(), description="The plate.")


class SecondPlate(Plate):
    """A smaller plate beside the first; the same model with other defaults."""

    hole_count: Whole = Field(
        8, ge=4, le=18, multiple_of=2, description="Number of holes. From memory."
    )
    width_mm: Real = Field(11.0, ge=8, le=20, description="Width, mm: small 11. From memory.")
    thickness_mm: Real = Field(
        4.0, ge=2.5, le=7, description="Thickness, mm: small 3.5 to 4. From memory."
    )
    azimuth_deg: Real = Field(
        90.0,
        ge=-180,
        le=180,
        description="Side of the bone, degrees: 90 anterior or 180 medial "
        "(common practice, no source).",
    )
    shift_mm: Real = Field(
        9.0,
        ge=-120,
        le=120,
        description="Plate centre above (+) or below (-) the gap, mm: half a pitch, so that its screws "
        "pass between those of the first (common practice, no source).",
    )
    screws: Screws = Field(
        Screws(diameter_mm=3.5, holes=(2, 3, 4)), description="Screws; thinner, from memory."
    )


class TwoPlatesConstruct(Compared):
    """Two plates, at 90 or 180 degrees to each other."""

    kind: Literal["two_plates"]
    plate: Plate = Field(Plate(), description="The main plate; near is its side.")
    second: SecondPlate = Field(SecondPlate(), description="The other plate.")


class Specimen(Compared):
    """Bonded concentric tubes without femur or defect, as tested on a bench or in a handbook."""

    kind: Literal["specimen"]
    length_mm: Real = Field(gt=1, le=1000, description="Length, mm.")
    layers: tuple[Layer, ...] = Field(
        min_length=1,
        max_length=4,
        description="Tubes from the outside inwards, each touching the next.",
    )
    section_inset_mm: Real = Field(
        20.0,
        gt=0,
        le=500,
        description="Reference sections this far inside either end, mm.",
    )

    @model_validator(mode="after")
    def _layers_touch(self) -> Self:
        for outside, inside in zip(self.layers, self.layers[1:], strict=False):
            if outside.inner_diameter_mm != inside.outer_diameter_mm:
                raise ValueError(
                    f"layers must touch: inner_diameter_mm = {outside.inner_diameter_mm:g} against "
                    f"outer_diameter_mm = {inside.outer_diameter_mm:g} of the next; make them equal"
                )
        if self.section_inset_mm * 2 >= self.length_mm:
            raise ValueError(
                f"section_inset_mm = {self.section_inset_mm:g} does not fit length_mm = "
                f"{self.length_mm:g}; allowed less than half of it: make it smaller"
            )
        return self


Construct = Annotated[
    IntactConstruct
    | NailConstruct
    | ExchangeNailConstruct
    | PlateConstruct
    | NailPlateConstruct
    | TwoPlatesConstruct
    | Specimen,
    Field(discriminator="kind"),
]
