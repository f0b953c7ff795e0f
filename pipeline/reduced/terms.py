"""A stiffness as a sum over groups of parts: a number for each material times a fixed matrix.

An isotropic material has two numbers, the bulk and the shear modulus, since Poisson's ratio may move
too; bone has one, a factor on all of its constants.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np

from geometries.errors import StudyError
from geometries.materials import MATERIALS
from geometries.solids import IMPLANT_ROLES
from pipeline.fem.mesh import Mesh, MeshPart
from pipeline.fem.space import Array, Ints

Kind = Literal["isotropic", "scaled"]
BULK = np.zeros((6, 6))
BULK[:3, :3] = 1.0
SHEAR = np.diag([2.0, 2.0, 2.0, 1.0, 1.0, 1.0])
SHEAR[:3, :3] -= 2 / 3
AGREES = 1e-9  # of its largest entry, within which an elasticity is what its numbers say
OWNERS = {"nail": "nail", "bolt": "nail", "stem": "stem", "plate": "plate", "screw": "plate"}


def young_and_poisson(bulk: float, shear: float) -> tuple[float, float]:
    """Young's modulus, MPa, and Poisson's ratio from bulk and shear modulus; zeros for nothing."""
    if bulk <= 0 or shear <= 0:
        return 0.0, 0.0
    modulus = 9 * bulk * shear / (3 * bulk + shear)
    return modulus, modulus / (2 * shear) - 1


class BeyondError(StudyError):
    """Inputs that a reduced model does not cover; the message says which, and what it covers."""


@dataclass(frozen=True)
class Group:
    """Parts of one material, which varies as a whole.

    Parameters
    ----------
    name : str
        ``tissue``, ``cortical``, ``cancellous``, ``cement``, ``nail``, ``plate`` or ``stem``.
    kind : str
        Whether it is isotropic, or keeps its constants but for a factor.
    parts : Ints
        Numbers of its parts.
    written : Array
        Its elasticity as the study has it (6, 6), MPa; of tissue that of 1 MPa without lateral strain.
    """

    name: str
    kind: Kind
    parts: Ints
    written: Array

    @property
    def matrices(self) -> tuple[Array, ...]:
        """Elasticities (6, 6), MPa, that its numbers multiply."""
        return (BULK, SHEAR) if self.kind == "isotropic" else (self.written,)

    def numbers(self, elasticity: Array) -> Array:
        """Its numbers from an elasticity (6, 6), MPa: bulk and shear modulus, MPa, or a factor.

        Raises
        ------
        BeyondError
            If no numbers give that elasticity.
        """
        if self.kind == "isotropic":
            found = np.array([elasticity[:3, :3].sum() / 9, elasticity[3, 3]])
        else:
            found = np.array([elasticity[2, 2] / self.written[2, 2]])
        sum_of = sum(number * one for number, one in zip(found, self.matrices, strict=True))
        if np.abs(sum_of - elasticity).max() > AGREES * np.abs(elasticity).max():
            allowed = "an isotropic material" if self.kind == "isotropic" else "a factor on the written"
            raise BeyondError(f"material of {self.name}: allowed is {allowed}; solve this one in full")
        return found


def spans(groups: Iterable[Group]) -> Iterator[tuple[Group, slice]]:
    """Each group, and where its numbers stand among those of all terms."""
    start = 0
    for group in groups:
        stop = start + len(group.matrices)
        yield group, slice(start, stop)
        start = stop


@dataclass(frozen=True)
class Terms:
    """All groups of a mesh.

    Parameters
    ----------
    groups : tuple of Group
        In the order of the parts.
    count : int
        Number of parts.
    """

    groups: tuple[Group, ...]
    count: int

    @classmethod
    def of(cls, mesh: Mesh) -> Terms:
        """Sort the parts of a mesh."""
        sorted_parts: dict[str, list[int]] = {}
        for number, part in enumerate(mesh.parts):
            sorted_parts.setdefault(_group(part), []).append(number)
        groups = []
        for key, parts in sorted_parts.items():
            first, (name, *_) = mesh.parts[parts[0]], key.split()
            is_bone = first.material.startswith(("cortical", "cancellous"))
            written = BULK + SHEAR if name == "tissue" else MATERIALS[first.material].elasticity
            kind: Kind = "scaled" if is_bone else "isotropic"
            groups.append(Group(name, kind, np.array(parts), written))
        return cls(tuple(groups), len(mesh.parts))

    @property
    def names(self) -> tuple[str, ...]:
        """Name of the group of each term."""
        return tuple(group.name for group in self.groups for _ in group.matrices)

    @cached_property
    def elasticities(self) -> Array:
        """Elasticity of every part in each term (terms, parts, 6, 6), MPa; zeros where it has none."""
        found = []
        for group in self.groups:
            for matrix in group.matrices:
                one = np.zeros((self.count, 6, 6))
                one[group.parts] = matrix
                found.append(one)
        return np.stack(found)

    def layered(self, layers: int) -> Array:
        """First, second and more of each part's matrices (layers, parts, 6, 6), MPa; zeros for none."""
        found = np.zeros((layers, self.count, 6, 6))
        for group in self.groups:
            for layer, matrix in enumerate(group.matrices):
                found[layer, group.parts] = matrix
        return found

    def elasticity(self, weights: Array) -> Array:
        """Elasticity of every part (parts, 6, 6), MPa, at numbers of the terms (terms,)."""
        return np.asarray(np.tensordot(weights, self.elasticities, axes=1))

    def weights(self, elasticity: Array) -> Array:
        """Numbers (terms,) of the elasticity (parts, 6, 6), MPa, of every part.

        Raises
        ------
        BeyondError
            If parts of a group differ, or have a material that its numbers do not give.
        """
        found = []
        for group in self.groups:
            first = elasticity[group.parts[0]]
            if any((elasticity[part] != first).any() for part in group.parts[1:]):
                raise BeyondError(
                    f"material of {group.name}: its parts differ; allowed is one: solve it in full"
                )
            found.append(group.numbers(first))
        return np.concatenate(found)


def _group(part: MeshPart) -> str:
    """What the parts of a group share: whose they are, or what they are made of."""
    if part.role in IMPLANT_ROLES:
        return f"{OWNERS[part.role]} of {part.material}"
    return part.material.removesuffix("_osteoporotic").partition("_")[0]
