"""Ranges of the materials over which a reduced model is made, and points in them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.stats import qmc

from geometries.materials import isotropic
from pipeline.fem.space import Array
from pipeline.reduced.terms import Group, Terms, spans, young_and_poisson

TISSUE_MPA, TISSUE_POISSON = (0.1, 20_000.0), (0.1, 0.45)
BONE = (0.4, 1.2)  # of the constants that the study has
METAL_MPA, METAL_POISSON = (90_000.0, 255_000.0), (0.28, 0.35)
NEARLY = 1e-9


@dataclass(frozen=True)
class Ranges:
    """A box of materials: a modulus, spread by its logarithm, and Poisson's ratio, or a factor.

    Parameters
    ----------
    groups : tuple of Group
        Groups of a mesh.
    limits : tuple of ((float, float), ...)
        Limits of each group: of modulus, MPa, and Poisson's ratio; of a factor; none of what is fixed.
    """

    groups: tuple[Group, ...]
    limits: tuple[tuple[tuple[float, float], ...], ...]

    @classmethod
    def of(cls, terms: Terms) -> Ranges:
        """Ranges that cover what studies ask for."""
        return cls(terms.groups, tuple(_limits(group) for group in terms.groups))

    @property
    def dimension(self) -> int:
        """How many numbers vary."""
        return sum(len(limits) for limits in self.limits)

    def at(self, shares: Array) -> Array:
        """Numbers of the terms (terms,) at shares (dimension,) of the ranges, each from 0 to 1."""
        found: list[float] = []
        rest = iter(shares.tolist())
        for group, limits in zip(self.groups, self.limits, strict=True):
            if not limits:
                found += group.numbers(group.written).tolist()
            elif group.kind == "isotropic":
                modulus = _between(limits[0], next(rest), by_powers=True)
                poisson = _between(limits[1], next(rest))
                found += group.numbers(isotropic(modulus, poisson)).tolist()
            else:
                found.append(_between(limits[0], next(rest)))
        return np.array(found)

    def outside(self, weights: Array) -> str:
        """Say which number of the terms (terms,) leaves its range; empty if none does."""
        for (group, span), limits in zip(spans(self.groups), self.limits, strict=True):
            own = weights[span]
            if group.kind == "scaled":
                found = {"factor": float(own[0])}
            else:
                modulus, poisson = young_and_poisson(*own.tolist())
                found = {"modulus, MPa,": modulus, "Poisson's ratio": poisson}
            for (name, value), (low, high) in zip(found.items(), limits, strict=False):
                if not low * (1 - NEARLY) <= value <= high * (1 + NEARLY):
                    return f"{name} of {group.name} is {value:g}; covered are {low:g} to {high:g}"
        return ""

    def soft(self, share: float) -> Array:
        """The middle of all ranges but the tissue's modulus, which has a share of its own."""
        found = np.full(self.dimension, 0.5)
        found[self._tissue_modulus] = share
        return found

    def spread(self, count: int, seed: int) -> Array:
        """Points of a Sobol sequence (count, dimension); the tissue's modulus goes from end to end."""
        points = qmc.Sobol(self.dimension, seed=seed).random_base2((count - 1).bit_length())[:count]
        points[:, self._tissue_modulus] = np.linspace(0.0, 1.0, count)[:, None]
        return np.asarray(points)

    @property
    def _tissue_modulus(self) -> list[int]:
        """Which number is the tissue's modulus, if there is tissue."""
        firsts = np.cumsum([0, *(len(limits) for limits in self.limits)]).tolist()
        return [first for first, one in zip(firsts, self.groups, strict=False) if one.name == "tissue"]


def _limits(group: Group) -> tuple[tuple[float, float], ...]:
    if group.name == "tissue":
        return TISSUE_MPA, TISSUE_POISSON
    if group.name in ("cortical", "cancellous"):
        return (BONE,)
    if group.name in ("nail", "plate", "stem"):
        return METAL_MPA, METAL_POISSON
    return ()


def _between(limits: tuple[float, float], share: float, *, by_powers: bool = False) -> float:
    low, high = limits
    return low * (high / low) ** share if by_powers else low + share * (high - low)
