"""Loads and tissue stages as they stand in a study file."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from geometries.constructs import Named
from geometries.materials import TISSUES, Material
from geometries.parameters import Real


class HipForce(Named):
    """A force on the head centre, pointing down the shaft and leaning with adduction and flexion."""

    kind: Literal["hip_force"]
    force_n: Real = Field(gt=0, le=10_000, description="Size, N.")
    adduction_deg: Real = Field(
        6.0,
        ge=-30,
        le=45,
        description="Angle to the shaft in the frontal plane, degrees; positive "
        "pushes the head laterally. About 6 is the line from hip to knee (geometry of the default "
        "femur), 13 single-leg stance (from memory).",
    )
    flexion_deg: Real = Field(
        0.0,
        ge=-60,
        le=60,
        description="Angle to the shaft in the sagittal plane, degrees; positive "
        "pushes the head backwards.",
    )


class Torsion(Named):
    """A torque about the shaft; positive turns the medial side of the proximal end forwards."""

    kind: Literal["torsion"]
    moment_nm: Real = Field(
        ge=-500, le=500, description="Size, N·m: 5 to 10 on the bench (from memory)."
    )


class Bending(Named):
    """A constant bending moment; positive tilts the proximal end medially, or forwards."""

    kind: Literal["bending"]
    plane: Literal["frontal", "sagittal"] = Field(description="Plane of bending.")
    moment_nm: Real = Field(
        ge=-500, le=500, description="Size, N·m: 10 to 15 on the bench (from memory)."
    )


class EndForce(Named):
    """A force on the middle of the proximal end."""

    kind: Literal["end_force"]
    medial_n: Real = Field(0.0, ge=-10_000, le=10_000, description="Medial part, N.")
    anterior_n: Real = Field(0.0, ge=-10_000, le=10_000, description="Anterior part, N.")
    proximal_n: Real = Field(
        0.0, ge=-10_000, le=10_000, description="Part up the shaft, N; negative compresses."
    )


Load = Annotated[HipForce | Torsion | Bending | EndForce, Field(discriminator="kind")]


class Stage(Named):
    """Tissue in the gap: a stage of the built-in ladder, or any name with both constants."""

    modulus_mpa: Real | None = Field(
        None,
        ge=0,
        le=25_000,
        description="Young's modulus, MPa; 0 leaves the gap empty.",
    )
    poisson_ratio: Real | None = Field(
        None,
        ge=0,
        le=0.45,
        description="Poisson's ratio; above 0.45 these elements lock.",
    )

    @model_validator(mode="after")
    def _known(self) -> Self:
        if self.name not in TISSUES and (self.modulus_mpa is None or self.poisson_ratio is None):
            raise ValueError(
                f"name = {self.name!r} is not built in; allowed {', '.join(TISSUES)}, or give both "
                "modulus_mpa and poisson_ratio"
            )
        return self

    def material(self) -> Material:
        """Constants of the stage."""
        known = TISSUES.get(self.name, Material(0.0, 0.0, "study file"))
        given = self.modulus_mpa is not None or self.poisson_ratio is not None
        return Material(
            known.modulus if self.modulus_mpa is None else self.modulus_mpa,
            known.poisson if self.poisson_ratio is None else self.poisson_ratio,
            "study file" if given else known.source,
        )
