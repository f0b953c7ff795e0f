"""Inputs that nobody knows well: how each may lie, and points drawn from all of them together."""

from __future__ import annotations

from typing import Annotated, Literal, Self

import numpy as np
from numpy.typing import NDArray
from pydantic import AfterValidator, Field, ValidationInfo, field_validator, model_validator

from geometries.parameters import Parameters, Real, Whole
from pipeline.measures.dictionary import known_quantity
from pipeline.study.design import Seed
from pipeline.study.units import Limits, did_you_mean

Array = NDArray[np.float64]
Scalar = Literal[
    "tissue_modulus_mpa",
    "tissue_poisson",
    "cortical_factor",
    "cancellous_factor",
    "metal_factor",
    "weight_factor",
    "play_factor",
]
ALLOWED: dict[str, Limits] = {
    "tissue_modulus_mpa": Limits(0.1, 20_000),
    "tissue_poisson": Limits(0.1, 0.45),
    "cortical_factor": Limits(0.4, 1.2),
    "cancellous_factor": Limits(0.4, 1.2),
    "metal_factor": Limits(0.85, 1.15),
    "weight_factor": Limits(0.05, 3),
    "play_factor": Limits(0, 2),
}
"""Where each input must lie, in its own unit."""
LARGEST = 20_000  # of all inputs
MOST = 12  # entries of a list; there are fewer inputs


def _at_a_place(text: str) -> str:
    """Let a quantity and where it is read pass."""
    quantity, _, location = text.partition("/")
    if not quantity.strip() or not location.strip():
        raise ValueError("allowed is quantity/location, as in gap_movement/far; correct it")
    known_quantity(quantity)
    return text


class UncertainInput(Parameters):
    """What every input that is drawn says."""

    source: str = Field(
        min_length=1,
        max_length=400,
        pattern=r"\S",
        description="Where its spread was read; assumed where nobody measured it.",
    )


class RangedInput(UncertainInput):
    """What every number that is drawn says besides: its name and its limits."""

    name: Scalar = Field(
        description="What is drawn: modulus, MPa, or Poisson's ratio of the tissue; a factor on the "
        "moduli of cortical bone, of cancellous bone, of every implant's metal, on the size of the "
        "load, or on the play of bolts in their holes. Allowed are "
        f"{'; '.join(f'{name} {limits}' for name, limits in ALLOWED.items())}."
    )
    low: Real = Field(ge=0, le=LARGEST, description="Least value, in the unit of the input.")
    high: Real = Field(ge=0, le=LARGEST, description="Greatest value, in the unit of the input.")

    @field_validator("low", "high")
    @classmethod
    def _allowed(cls, value: float, info: ValidationInfo) -> float:
        name = info.data.get("name", "")
        limits = ALLOWED.get(name, Limits())
        if value not in limits:
            remedy = did_you_mean(name, value, limits) or "correct it"
            raise ValueError(f"allowed {limits} for {name}; {remedy}")
        return value

    @field_validator("high")
    @classmethod
    def _above(cls, high: float, info: ValidationInfo) -> float:
        low = info.data.get("low")
        if low is not None and not high > low:
            raise ValueError(f"allowed more than low = {low:g}; correct one of them")
        return high

    def at(self, share: Array) -> Array:
        """Values at shares of its distribution, 0 to 1."""
        raise NotImplementedError


class Uniform(RangedInput):
    """Every value between two limits is as likely as any other."""

    distribution: Literal["uniform"]

    def at(self, share: Array) -> Array:
        """Values at shares of its distribution, 0 to 1."""
        return np.clip(self.low + (self.high - self.low) * share, self.low, self.high)


class LogUniform(RangedInput):
    """Every value between two limits is as likely as any other on a logarithmic scale."""

    distribution: Literal["log_uniform"]

    @field_validator("low")
    @classmethod
    def _has_a_logarithm(cls, low: float) -> float:
        if low <= 0:
            raise ValueError("allowed above 0 with distribution = 'log_uniform'; correct it")
        return low

    def at(self, share: Array) -> Array:
        """Values at shares of its distribution, 0 to 1."""
        return np.clip(self.low * (self.high / self.low) ** share, self.low, self.high)


class Normal(RangedInput):
    """A normal distribution, cut at two limits."""

    distribution: Literal["normal"]
    mean: Real = Field(
        ge=0, le=LARGEST, description="Mean before it is cut, in the unit of the input; low to high."
    )
    sd: Real = Field(
        gt=0,
        le=LARGEST,
        description="Standard deviation before it is cut, in the unit of the input.",
    )

    @field_validator("mean")
    @classmethod
    def _between(cls, mean: float, info: ValidationInfo) -> float:
        low, high = info.data.get("low"), info.data.get("high")
        if low is not None and high is not None and not low <= mean <= high:
            raise ValueError(f"allowed low to high, {low:g} to {high:g}; correct it")
        return mean

    def at(self, share: Array) -> Array:
        """Values at shares of its distribution, 0 to 1."""
        from scipy.stats import truncnorm  # slow to import, and most studies draw nothing

        cuts = (self.low - self.mean) / self.sd, (self.high - self.mean) / self.sd
        return np.clip(self.mean + self.sd * truncnorm.ppf(share, *cuts), self.low, self.high)


class Cone(UncertainInput):
    """The load's direction anywhere in a cone about its own, uniform over the solid angle."""

    name: Literal["load_direction"] = Field(description="What is drawn: which way the load points.")
    distribution: Literal["cone"]
    half_angle_deg: Real = Field(
        gt=0, le=30, description="Angle between the load's own direction and the cone's edge, degrees."
    )

    def at(self, share: Array) -> Array:
        """Polar angle and azimuth, degrees (n, 2), at two shares (n, 2), 0 to 1.

        The azimuth is that of the tilt, from -180 to 180, as everywhere: 0 lateral, 90 anterior.

        Notes
        -----
        The solid angle within a polar angle t is 4 pi sin^2(t / 2), which keeps its digits near 0.
        """
        edge = np.sin(np.radians(self.half_angle_deg) / 2)
        polar = 2 * np.degrees(np.arcsin(np.sqrt(share[:, 0]) * edge))
        return np.column_stack([np.minimum(polar, self.half_angle_deg), 360 * share[:, 1] - 180])


Input = Annotated[Uniform | LogUniform | Normal | Cone, Field(discriminator="distribution")]


class Robustness(Parameters):
    """Whether the answer holds when inputs that nobody knows are drawn at random."""

    samples: Whole = Field(10_000, ge=100, le=100_000, description="Number of points.")
    seed: Seed = Field(1, description="Seed of the random numbers.")
    quantities: tuple[Annotated[str, AfterValidator(_at_a_place)], ...] = Field(
        (),
        max_length=MOST,
        description="Results that are looked at, as quantity/location; the question's by default.",
    )
    inputs: tuple[Input, ...] = Field(min_length=1, max_length=MOST, description="What is drawn.")

    @model_validator(mode="after")
    def _once_each(self) -> Self:
        names = tuple(str(one.name) for one in self.inputs)
        for key, given in (("inputs", names), ("quantities", self.quantities)):
            twice = next((one for one in given if given.count(one) > 1), None)
            if twice is not None:
                raise ValueError(f"{key}: {twice!r} occurs more than once; remove one")
        return self

    @property
    def columns(self) -> dict[str, tuple[int, ...]]:
        """Columns of the shares that each input takes, by its name: a direction two, others one."""
        found: dict[str, tuple[int, ...]] = {}
        taken = 0
        for one in self.inputs:
            width = 2 if isinstance(one, Cone) else 1
            found[one.name] = tuple(range(taken, taken + width))
            taken += width
        return found

    @property
    def dimension(self) -> int:
        """Number of columns of the shares."""
        return sum(map(len, self.columns.values()))

    def shares(self) -> Array:
        """Points as shares of the distributions (samples, dimension), 0 to 1.

        Notes
        -----
        A scrambled Sobol sequence, drawn to the next power of two and cut there.
        """
        from scipy.stats import qmc  # slow to import, and most studies draw nothing

        sequence = qmc.Sobol(self.dimension, seed=np.random.default_rng(self.seed))
        return sequence.random_base2((self.samples - 1).bit_length())[: self.samples]

    def values(self, shares: Array) -> dict[str, Array]:
        """Values of the inputs by name at shares (n, dimension); of a direction angles (n, 2)."""
        return {
            one.name: one.at(shares[:, columns if isinstance(one, Cone) else columns[0]])
            for one, columns in zip(self.inputs, self.columns.values(), strict=True)
        }
