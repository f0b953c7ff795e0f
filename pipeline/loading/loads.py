"""Loads as they stand in a study file."""

from __future__ import annotations

from collections import defaultdict
from typing import Annotated, Any, Literal, Self, get_args

import numpy as np
from pydantic import (
    Field,
    ValidationError,
    ValidatorFunctionWrapHandler,
    field_validator,
    model_validator,
)
from pydantic_core import PydanticCustomError

from geometries.constructs import Named
from geometries.parameters import Real
from geometries.sources import Chosen, Source

GRAVITY = 9.81  # m/s²
SAME_N = 1e-9
TWISTS = Source("BioMed Res Int 2019, 5958631; DOI 10.1007/s00068-012-0247-1, read in their abstracts")
BERGMANN = Source("Bergmann 2001, J Biomech 34:859, read in its abstract")
DIRECTION = Source("Heller 2005, J Biomech 38:1155, as quoted in an open research code")

Support = Literal["distal_end", "hip_knee"]
PointName = Literal["head", "trochanter", "vastus_lateralis", "vastus_medialis", "proximal_end"]
WalkingMuscle = Literal["abductor", "tensor_fasciae_latae", "vastus_lateralis"]
StairsMuscle = Literal[WalkingMuscle, "iliotibial_tract", "vastus_medialis"]
Coordinate = Annotated[Real, Field(ge=-600, le=600)]
Part = Annotated[Real, Field(ge=-10_000, le=10_000)]


class Supported(Named):
    """What every load has besides: how the femur is supported against it."""

    support: Support = Field(
        "distal_end",
        description="distal_end holds the knee end, as on a bench; hip_knee lets the head slide along "
        "the line from hip to knee alone, so that the knee carries no bending moment.",
    )


class HipForce(Supported):
    """A force on the head centre, pointing down the shaft and leaning with adduction and flexion."""

    kind: Literal["hip_force"]
    force_n: Real = Field(gt=0, le=10_000, description="Size, N.")
    adduction_deg: Chosen[Real] = Field(
        6.0,
        ge=-30,
        le=45,
        description="Angle to the shaft in the frontal plane, degrees; positive pushes the head "
        "laterally. About 6 is the line from hip to knee (geometry of the default femur), 13 "
        "single-leg stance.",
    )
    flexion_deg: Real = Field(
        0.0,
        ge=-60,
        le=60,
        description="Angle to the shaft in the sagittal plane, degrees; positive "
        "pushes the head backwards.",
    )


class PureMoment(Supported):
    """A moment at the proximal end, the same at every level of the shaft."""

    moment_nm: Annotated[Real, TWISTS] = Field(
        ge=-500, le=500, description="Size, N·m, not 0: 10 to 14 twists on the bench."
    )

    @model_validator(mode="after")
    def _stays_pure(self) -> Self:
        if self.moment_nm == 0:
            raise ValueError(
                "moment_nm = 0 is no load; allowed any other number from -500 to 500: change it or "
                "remove this load"
            )
        if self.support != "distal_end":
            raise ValueError(
                f"support = {self.support!r} would answer the moment by forces at head and knee, and "
                "it would no longer be the same at every level; allowed 'distal_end': remove support"
            )
        return self


class Torsion(PureMoment):
    """A torque about the shaft; positive turns the medial side of the proximal end forwards."""

    kind: Literal["torsion"]


class Bending(PureMoment):
    """A constant bending moment; positive tilts the proximal end medially, or forwards."""

    kind: Literal["bending"]
    plane: Literal["frontal", "sagittal"] = Field(description="Plane of bending.")


class EndForce(Supported):
    """A force on the middle of the proximal end."""

    kind: Literal["end_force"]
    medial_n: Real = Field(0.0, ge=-10_000, le=10_000, description="Medial part, N.")
    anterior_n: Real = Field(0.0, ge=-10_000, le=10_000, description="Anterior part, N.")
    proximal_n: Real = Field(
        0.0, ge=-10_000, le=10_000, description="Part up the shaft, N; negative compresses."
    )

    @model_validator(mode="after")
    def _not_nothing(self) -> Self:
        if not (self.medial_n or self.anterior_n or self.proximal_n):
            raise ValueError(
                "medial_n, anterior_n and proximal_n are all 0, which is no load; allowed is any "
                "other number: give one or remove this load"
            )
        return self


class Weighted(Supported):
    """A load that grows with the weight of the body."""

    body_weight_kg: Annotated[Real, Source("invented, a plain adult", is_published=False)] = Field(
        75.0, ge=30, le=200, description="Mass of the body, kg."
    )
    fraction: Real = Field(
        1.0,
        gt=0,
        le=1,
        description="Share of the full load on the leg; below 1 is partial weight bearing.",
    )

    @property
    def weight_n(self) -> float:
        """The part of the body's weight that counts, N."""
        return GRAVITY * self.body_weight_kg * self.fraction


class Stance(Weighted):
    """Standing on one leg: a force on the head centre in the frontal plane, without muscles."""

    kind: Literal["stance"]
    times_body_weight: Annotated[Real, BERGMANN] = Field(
        2.3, ge=1, le=6, description="Size as a multiple of body weight; walking has 2.38."
    )
    adduction_deg: Annotated[Real, DIRECTION] = Field(
        13.0, ge=-30, le=45, description="As for hip_force, degrees; that of the peak of walking."
    )


class Activity(Weighted):
    """A peak of everyday life: hip contact and muscles, as in `activities.py`."""

    support: Support = Field(
        "hip_knee",
        description="As for other loads, but hip_knee: the published forces balance over hip and "
        "knee, not over a clamp.",
    )

    @field_validator("muscles", check_fields=False)
    @classmethod
    def _each_once(cls, muscles: tuple[str, ...]) -> tuple[str, ...]:
        twice = sorted({name for name in muscles if muscles.count(name) > 1})
        if twice:
            raise ValueError(f"{twice[0]!r} occurs more than once; allowed once: remove the others")
        return muscles


class Walking(Activity):
    """The peak of the hip contact force in walking, with the muscles that are named."""

    kind: Literal["walking"]
    muscles: tuple[WalkingMuscle, ...] = Field(
        ("abductor",), description="Muscles that pull; the hip contact always acts."
    )


class Stairs(Activity):
    """The peak of the hip contact force in climbing stairs, with the muscles that are named."""

    kind: Literal["stairs"]
    muscles: tuple[StairsMuscle, ...] = Field(
        ("abductor",), description="Muscles that pull; the hip contact always acts."
    )


class PointForce(Named):
    """One force at a point of the femur."""

    at: PointName | tuple[Coordinate, Coordinate, Coordinate] = Field(
        description="A named point, or [x, y, z], mm: on the bone, or within 80 mm of the shaft axis "
        "at or above the level of the head centre."
    )
    force_n: tuple[Part, Part, Part] = Field(
        description="Medial, anterior and proximal part, N, each from -10 000 to 10 000."
    )

    @field_validator("at", mode="wrap")
    @classmethod
    def _one_answer(cls, value: Any, inner: ValidatorFunctionWrapHandler) -> Any:
        """One finding in place of one for each way to say where."""
        try:
            return inner(value)
        except ValidationError:
            names = ", ".join(map(repr, get_args(PointName)))
            raise PydanticCustomError(
                "point", "allowed {names}, or [x, y, z] from -600 to 600 mm", {"names": names}
            ) from None

    @model_validator(mode="after")
    def _not_nothing(self) -> Self:
        if not any(self.force_n):
            raise ValueError(
                f"force_n = {list(self.force_n)} is no force; allowed at least one part other than "
                "0: change it or remove this force"
            )
        return self


class Forces(Supported):
    """Forces at points, all acting together."""

    kind: Literal["forces"]
    forces: tuple[PointForce, ...] = Field(min_length=1, max_length=20, description="The forces.")

    @model_validator(mode="after")
    def _something_acts(self) -> Self:
        names = [force.name for force in self.forces]
        twice = sorted({name for name in names if names.count(name) > 1})
        if twice:
            raise ValueError(f"forces: the name {twice[0]!r} occurs more than once; give each its own")
        sums: dict[Any, Any] = defaultdict(lambda: np.zeros(3))
        for force in self.forces:
            sums[force.at] = sums[force.at] + force.force_n
        # Opposite forces at two points are a couple, so only those at one point leave nothing.
        if max(np.abs(total).max() for total in sums.values()) < SAME_N:
            raise ValueError("forces: they cancel at every point, which is no load; change one")
        return self


Load = Annotated[
    HipForce | Torsion | Bending | EndForce | Stance | Walking | Stairs | Forces,
    Field(discriminator="kind"),
]
