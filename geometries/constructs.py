"""Constructs of a study file: what stands in or on the femur, or on a bench."""

from __future__ import annotations

from itertools import product
from typing import Annotated, ClassVar, Literal, Self

from pydantic import Field, model_validator

from geometries.bone import Defect
from geometries.parameters import ExchangeNail, Implant, Nail, Parameters, Real, Stem
from geometries.plating import Plate, SecondPlate

LEAST_MM = 0.2  # of a specimen's walls and slots
LEAST_BORE_MM = 0.5  # one of 0.2 mm through 100 mm ended the process of the mesher
LEAST_SLICE_MM = 1.0  # of what its reference sections cut off and leave between them


class Layer(Parameters):
    """One of the bonded concentric tubes of a specimen."""

    outer_diameter_mm: Real = Field(gt=0, le=100, description="Outer diameter, mm.")
    inner_diameter_mm: Real = Field(0.0, ge=0, lt=100, description="Inner diameter, mm.")
    material: Literal["titanium", "steel", "cobalt", "cortical", "cancellous"] = Field(
        description="Material."
    )
    slot_mm: Real | None = Field(
        None, ge=LEAST_MM, lt=100, description="Width of a slot through one side of the wall, mm."
    )

    @model_validator(mode="after")
    def _wall_left(self) -> Self:
        if self.inner_diameter_mm > self.outer_diameter_mm - LEAST_MM:
            raise ValueError(
                f"inner_diameter_mm = {self.inner_diameter_mm:g} leaves no wall in outer_diameter_mm = "
                f"{self.outer_diameter_mm:g}; make it at least {LEAST_MM:g} mm smaller"
            )
        if 0 < self.inner_diameter_mm < LEAST_BORE_MM:
            raise ValueError(
                f"inner_diameter_mm = {self.inner_diameter_mm:g}; allowed 0 for a solid one, or "
                f"{LEAST_BORE_MM:g} mm and more: change it"
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
    """What every construct has besides: a defect, if it differs from the study's.

    Its implants are those of its fields that are one. A construct has one rod in its canal at most.
    """

    has_femur: ClassVar[bool] = True  # and with it a level of the gap
    has_gap: ClassVar[bool] = True  # for the tissue stages

    defect: Defect | None = Field(None, description="Defect of this construct alone.")

    @property
    def implants(self) -> dict[str, Implant]:
        """Its implants by their keys."""
        return {key: one for key, one in self if isinstance(one, Implant)}

    @property
    def rod(self) -> Nail | Stem | None:
        """The nail or stem in its canal; None without one."""
        return next((one for one in self.implants.values() if isinstance(one, Nail | Stem)), None)

    @property
    def plates(self) -> tuple[Plate, ...]:
        """Its plates, the main one first."""
        return tuple(one for one in self.implants.values() if isinstance(one, Plate))

    @property
    def interfaces(self) -> str:
        """How its surfaces meet, in words for every table."""
        words = [word for one in self.implants.values() for word in one.interfaces]
        words += ["screws tied"] if self.plates else []
        return ", ".join(words) or "none"

    def at_bounds(self) -> tuple[tuple[Self, str], ...]:
        """Make one construct for each combination of the bounds that its implants ask for.

        Returns
        -------
        tuple of (construct, str)
            Each with its bounds in words; the construct itself, and no words, if none asks.
        """
        asked = {key: bounds for key, one in self.implants.items() if (bounds := one.at_bounds())}
        made = []
        for chosen in product(*(bounds.items() for bounds in asked.values())):
            parts: dict[str, object] = dict(zip(asked, (one for _, one in chosen), strict=True))
            parts["name"] = "-".join((self.name, *(bound for bound, _ in chosen)))
            words = ", ".join(
                word
                for key, (_, one) in zip(asked, chosen, strict=True)
                for word in one.interfaces
                if word not in self.implants[key].interfaces
            )
            made.append((self.model_copy(update=parts), words))
        return tuple(made)


class IntactConstruct(Compared):
    """The femur without gap or implant."""

    has_gap = False

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


class StemPlateConstruct(Compared):
    """A hip stem in the proximal canal with a plate that overlaps it."""

    kind: Literal["stem_plate"]
    stem: Stem = Field(Stem(), description="The stem.")
    plate: Plate = Field(Plate(), description="The plate.")


class TwoPlatesConstruct(Compared):
    """Two plates, at 90 or 180 degrees to each other."""

    kind: Literal["two_plates"]
    plate: Plate = Field(Plate(), description="The main plate; near is its side.")
    second: SecondPlate = Field(SecondPlate(), description="The other plate.")


class Specimen(Compared):
    """Bonded concentric tubes without femur or defect, as tested on a bench or in a handbook."""

    has_femur = has_gap = False

    kind: Literal["specimen"]
    length_mm: Real = Field(ge=3 * LEAST_SLICE_MM, le=1000, description="Length, mm.")
    layers: tuple[Layer, ...] = Field(
        min_length=1,
        max_length=4,
        description="Tubes from the outside inwards, each touching the next.",
    )
    section_inset_mm: Real = Field(
        20.0,
        ge=LEAST_SLICE_MM,
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
        if self.section_inset_mm * 2 > self.length_mm - LEAST_SLICE_MM:
            raise ValueError(
                f"section_inset_mm = {self.section_inset_mm:g} does not fit length_mm = "
                f"{self.length_mm:g}; allowed {(self.length_mm - LEAST_SLICE_MM) / 2:g} mm or less: "
                "make it smaller, or the specimen longer"
            )
        return self


Construct = Annotated[
    IntactConstruct
    | NailConstruct
    | ExchangeNailConstruct
    | PlateConstruct
    | NailPlateConstruct
    | TwoPlatesConstruct
    | StemPlateConstruct
    | Specimen,
    Field(discriminator="kind"),
]
