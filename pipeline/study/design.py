"""The design of a study: which of its keys vary, and how their values are put together."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import chain
from math import prod
from typing import Annotated, Literal, Self

from pydantic import BaseModel, Field, field_validator, model_validator

from geometries.errors import StudyError
from geometries.parameters import Parameters, Whole
from geometries.sources import Source
from pipeline.measures.dictionary import HEADLINE, known_quantity
from pipeline.study.constraints import parse_constraint
from pipeline.study.factors import Factor
from pipeline.study.keys import Steps, locate

MCKAY = Source("McKay, Beckman & Conover 1979, Technometrics 21:239, read in scipy's documentation")
SALTELLI = Source("Saltelli et al. 2010, Comput Phys Commun 181:259, read in scipy's documentation")
MORRIS = Source("Morris 1991, Technometrics 33:161, read in the manual of R's package sensitivity")
LEVELS = Source("default of open programs for Morris 1991")
MOST = 20_000  # points; one takes seconds to minutes
Seed = Annotated[Whole, Field(ge=0, le=2**31 - 1)]
Samples = Annotated[Whole, Field(ge=2, le=MOST)]


class Varied(Parameters):
    """What every kind of design has: factors, constraints between them, outcomes."""

    factors: tuple[Factor, ...] = Field(min_length=1, max_length=30, description="What varies.")
    constraints: tuple[Annotated[str, Field(max_length=200)], ...] = Field(
        (),
        max_length=20,
        description="Comparisons of keys, as in constructs.nail-10.nail.diameter_mm + 1 <= "
        "femur.canal_diameter_mm; points that break one are left out.",
    )
    outcomes: tuple[str, ...] = Field(
        HEADLINE,
        min_length=1,
        max_length=60,
        description="Quantities of the data dictionary whose sensitivity is evaluated.",
    )

    @field_validator("constraints")
    @classmethod
    def _comparisons(cls, texts: tuple[str, ...]) -> tuple[str, ...]:
        for text in texts:
            try:
                parse_constraint(text)
            except StudyError as error:
                raise ValueError(f"{text!r}: {error}") from None
        return texts

    @field_validator("outcomes")
    @classmethod
    def _in_the_dictionary(cls, names: tuple[str, ...]) -> tuple[str, ...]:
        for name in names:
            try:
                known_quantity(name)
            except ValueError as error:
                raise ValueError(f"{name!r}: {error}") from None
        return names

    @model_validator(mode="after")
    def _not_too_many(self) -> Self:
        if self.size > MOST:
            raise ValueError(
                f"the design has {self.size} points; allowed {MOST} or fewer, constraints apart: "
                "choose fewer values or samples"
            )
        return self

    @property
    def size(self) -> int:
        """Number of points, before constraints."""
        raise NotImplementedError

    def _listed(self) -> None:
        """Refuse limits where only lists make sense."""
        for factor in self.factors:
            if factor.values is None:
                raise ValueError(f"factor {factor.key!r} has limits; list its values here")

    def _unconstrained(self) -> None:
        """Refuse constraints: indices of these designs need every point."""
        if self.constraints:
            raise ValueError(
                "constraints would take points out that the indices need; remove them or choose "
                "latin_hypercube"
            )


class Grid(Varied):
    """All combinations of the factors' values."""

    kind: Literal["grid"]

    @property
    def size(self) -> int:
        """Number of points, before constraints."""
        return prod(len(factor.values or ()) for factor in self.factors)

    @model_validator(mode="after")
    def _fit(self) -> Self:
        self._listed()
        return self


class Paired(Varied):
    """The first values of all factors together, then the second ones, and so on."""

    kind: Literal["paired"]

    @property
    def size(self) -> int:
        """Number of points, before constraints."""
        return len(self.factors[0].values or ())

    @model_validator(mode="after")
    def _fit(self) -> Self:
        self._listed()
        counts = [len(factor.values or ()) for factor in self.factors]
        if len(set(counts)) > 1:
            raise ValueError(
                f"the factors have {', '.join(map(str, counts))} values; allowed the same number each: "
                "make the lists equally long"
            )
        return self


class OneAtATime(Varied):
    """The study as written, then one factor moved at a time to each of its values or limits."""

    kind: Literal["one_at_a_time"]

    @property
    def size(self) -> int:
        """Number of points at most, before constraints."""
        return 1 + sum(len(factor.ends) for factor in self.factors)


class LatinHypercube(Varied):
    """Random points, of which each factor has exactly one in every equal part of its range."""

    kind: Annotated[Literal["latin_hypercube"], MCKAY]
    samples: Samples = Field(description="Number of points.")
    seed: Seed = Field(description="Seed of the random numbers.")

    @property
    def size(self) -> int:
        """Number of points, before constraints."""
        return self.samples


class _Doubling(Varied):
    """A design on the Sobol sequence, which is even only in powers of two."""

    samples: Samples = Field(description="Points of the sequence, a power of two.")
    seed: Seed = Field(description="Seed of the scrambling.")

    @field_validator("samples")
    @classmethod
    def _power_of_two(cls, samples: int) -> int:
        if samples & (samples - 1):
            near = 1 << samples.bit_length()
            raise ValueError(
                f"the Sobol sequence is even only in powers of two; use {near // 2} or {near}"
            )
        return samples


class SobolSequence(_Doubling):
    """Points of the scrambled Sobol sequence, which fill the ranges evenly."""

    kind: Literal["sobol_sequence"]

    @property
    def size(self) -> int:
        """Number of points, before constraints."""
        return self.samples


class SobolIndices(_Doubling):
    """Points from which Sobol indices follow directly: samples x (factors + 2) of them."""

    kind: Annotated[Literal["sobol_indices"], SALTELLI]

    @property
    def size(self) -> int:
        """Number of points."""
        return self.samples * (len(self.factors) + 2)

    @model_validator(mode="after")
    def _fit(self) -> Self:
        self._unconstrained()
        return self


class Morris(Varied):
    """Trajectories that move one factor after the other: trajectories x (factors + 1) points."""

    kind: Annotated[Literal["morris"], MORRIS]
    trajectories: Whole = Field(ge=2, le=1000, description="Number of trajectories; 10 to 50 usual.")
    levels: Annotated[Whole, LEVELS] = Field(
        4, ge=2, le=100, description="Levels of each range, an even number. 4 usual."
    )
    seed: Seed = Field(description="Seed of the random numbers.")

    @field_validator("levels")
    @classmethod
    def _even(cls, levels: int) -> int:
        if levels % 2:
            raise ValueError("allowed even numbers; choose one more or one less")
        return levels

    @property
    def size(self) -> int:
        """Number of points."""
        return self.trajectories * (len(self.factors) + 1)

    @model_validator(mode="after")
    def _fit(self) -> Self:
        self._unconstrained()
        for factor in self.factors:
            if factor.low is None:
                raise ValueError(
                    f"factor {factor.key!r} has a list of values, which has no steps of equal size; "
                    "give low and high"
                )
        return self


Sampled = LatinHypercube | SobolSequence | SobolIndices | Morris
Design = Annotated[Grid | Paired | OneAtATime | Sampled, Field(discriminator="kind")]


def least_points(factors: int) -> int:
    """Fewest different points that tell the indices of so many factors by a response surface.

    A plane through them has a coefficient more than factors, and two points say how far it is off.
    """
    return factors + 3


def unknown_keys(design: Varied, study: BaseModel) -> Iterator[str]:
    """Say which keys of a design can not be moved, or not compared, in the study as written."""
    moved: dict[Steps, Factor] = {}
    for factor in design.factors:
        for key in factor.keys:
            place = f"design.factors: key {key!r}"
            try:
                steps, value = locate(study, key)
            except StudyError as error:
                yield f"{place}: {error}"
                continue
            if isinstance(value, BaseModel | tuple) or steps[0] == "design" or steps[-1] == "name":
                yield f"{place} can not vary; choose a key with a number, a word, true or false"
            if steps in moved:
                yield f"{place} is moved more than once; remove one"
            moved[steps] = factor
    for key in chain.from_iterable(parse_constraint(text).keys for text in design.constraints):
        yield from _not_comparable(key, study, moved)


def _not_comparable(key: str, study: BaseModel, moved: dict[Steps, Factor]) -> Iterator[str]:
    """Say why a key of a constraint is no number."""
    try:
        steps, value = locate(study, key)
    except StudyError as error:
        yield f"design.constraints: key {key!r}: {error}; a minus sign between keys stands in spaces"
        return
    is_number = isinstance(value, int | float) and not isinstance(value, bool)
    if not (moved[steps].is_numeric if steps in moved else is_number):
        yield f"design.constraints: key {key!r} is {value!r}, allowed numbers; correct it"
