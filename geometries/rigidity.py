"""What the femur's shaft resists at a level: bending, torsion and stretch of its cortex."""

from __future__ import annotations

from dataclasses import dataclass
from math import pi

from geometries.bone import Femur
from geometries.materials import MATERIALS
from geometries.profiles import canal_profile, outer_profile

LEVELS = (20, 35, 50, 65, 80)


@dataclass(frozen=True)
class Rigidity:
    """Of the unreamed cortex at one level; the cancellous core below it is left out.

    Parameters
    ----------
    percent : int
        Height above the knee end, percent of the length.
    bending, torsion : float
        E I, the same in every plane, and G J, N·m².
    axial : float
        E A, MN.
    """

    percent: int
    bending: float
    torsion: float
    axial: float


def rigidities(femur: Femur) -> tuple[Rigidity, ...]:
    """Closed forms of a round tube at each of `LEVELS`, with the femur's own moduli."""
    bone = MATERIALS[femur.cortical]
    shear = float(bone.elasticity[4, 4])
    found = []
    for percent in LEVELS:
        z = percent / 100 * femur.length_mm
        outer, canal = outer_profile(femur).at(z), canal_profile(femur).at(z)
        polar = pi / 2 * (outer**4 - canal**4)
        stretch = bone.modulus * pi * (outer**2 - canal**2)
        found.append(
            Rigidity(percent, bone.modulus * polar / 2 / 1e6, shear * polar / 1e6, stretch / 1e6)
        )
    return tuple(found)
