"""Tissue stages as they stand in a study file."""

from __future__ import annotations

from typing import Self

from pydantic import Field, ValidationInfo, field_validator, model_validator

from geometries.constructs import Named
from geometries.materials import TISSUES, Material
from geometries.parameters import Real
from pipeline.study.units import Limits, did_you_mean

STIFFEST = 25_000.0  # MPa, more than the 20 900 of cortex in measures/literature.py
FAR = 100.0  # a built-in stage's own modulus may be less than this many times off
NEAR = 10.0  # what a unit's mistake is recognised by


class Stage(Named):
    """Tissue in the gap: a stage of the built-in ladder, or any name with both constants."""

    modulus_mpa: Real | None = Field(
        None,
        ge=0,
        le=STIFFEST,
        description="Young's modulus, MPa; 0 leaves the gap empty.",
    )
    poisson_ratio: Real | None = Field(
        None,
        ge=0,
        le=0.45,
        description="Poisson's ratio; above 0.45 these elements lock.",
    )

    @field_validator("modulus_mpa")
    @classmethod
    def _like_its_name(cls, modulus: float | None, info: ValidationInfo) -> float | None:
        """A built-in name promises its tissue; a slip of the unit breaks the promise."""
        name = info.data.get("name")
        known = TISSUES[name].modulus if name in TISSUES else 0.0
        if modulus is None or known == 0 or known / FAR < modulus < known * FAR:
            return modulus
        near = Limits(known / NEAR, min(known * NEAR, STIFFEST))
        meant = did_you_mean("modulus_mpa", modulus, near)
        remedy = f"{meant} Otherwise give" if meant else "correct it or give"
        raise ValueError(
            f"stage {name!r} has about {known:g} MPa, allowed less than {FAR:g} times off; {remedy} "
            "the stage a name of its own"
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
