"""Forces that sections, bolts, screws and bone ends carry, and how parts share them."""

from __future__ import annotations

from collections.abc import Iterator
from math import pi

import numpy as np

from geometries.frame import cross
from geometries.readout import Beam, Pin
from pipeline.fem.limits import BALANCE_TOLERANCE
from pipeline.fem.space import Array
from pipeline.measures.dictionary import Measure
from pipeline.measures.sections import FreeBody, Section

NEWTON_METRE = 1e3
LEAST_PART = 0.1  # of the largest part, below which the whole is no measure of parts
LEAST_KNOWN = 100 * BALANCE_TOLERANCE  # of the load, below which a force is known to less than 1 %


def section_forces(section: Section, place: str, load: Array) -> Iterator[Measure]:
    """Resultant through a level: what hand statics gives too."""
    w = section.total @ load
    yield Measure("section_axial_force", place, float(w[2]))
    yield Measure("section_shear_force", place, float(np.hypot(*w[:2])))
    yield Measure("section_bending_moment", place, float(np.hypot(*w[3:5])) / NEWTON_METRE)
    yield Measure("section_torque", place, float(w[5]) / NEWTON_METRE)


def load_shares(
    section: Section, place: str, load: Array, sizes: tuple[float, float]
) -> Iterator[Measure]:
    """Share of axial force, torque and bending moment of every part, percent.

    Shares are left out where parts push against each other and all but nothing is left to share: where
    the whole is less than a tenth of the largest part, or known to less than 1 % of it.

    Parameters
    ----------
    section, place :
        The level and its name.
    load : Array
        Shares of the columns.
    sizes : (float, float)
        Force, N, and moment, N·mm, that the load may bring about.
    """
    wrenches = {name: part @ load for name, part in section.parts.items()}
    total = section.total @ load
    bending = total[3:5]
    size = float(np.linalg.norm(bending))
    largest = np.max([np.abs(w) for w in wrenches.values()], axis=0)
    bends = max(float(np.linalg.norm(w[3:5])) for w in wrenches.values())
    for name, w in wrenches.items():
        where = f"{place}/{name}"
        if abs(total[2]) > max(LEAST_PART * largest[2], LEAST_KNOWN * sizes[0]):
            yield Measure("axial_load_share", where, float(100 * w[2] / total[2]))
        if abs(total[5]) > max(LEAST_PART * largest[5], LEAST_KNOWN * sizes[1]):
            yield Measure("torque_share", where, float(100 * w[5] / total[5]))
        if size > max(LEAST_PART * bends, LEAST_KNOWN * sizes[1]):
            couple = cross(section.arm(name), w[:3])[:2]
            yield Measure("bending_share", where, float(100 * w[3:5] @ bending / size**2))
            own = float(100 * (w[3:5] - couple) @ bending / size**2)
            yield Measure("bending_share_own", where, own)


def pin_forces(pin: Pin, plane: str, wrench: Array, load: Array) -> Iterator[Measure]:
    """What a bolt or screw carries through one of its planes, and its nominal stress as a beam."""
    w = wrench @ load
    moment = float(np.hypot(w[4], w[5]))
    place = f"{pin.name}/{plane}"
    yield Measure("pin_axial_force", place, float(w[0]))
    yield Measure("pin_shear_force", place, float(np.hypot(w[1], w[2])))
    yield Measure("pin_bending_moment", place, moment / NEWTON_METRE)
    yield Measure("pin_torque", place, float(w[3]) / NEWTON_METRE)
    stress = 4 * abs(float(w[0])) / (pi * pin.diameter**2) + 32 * moment / (pi * pin.diameter**3)
    yield Measure("nominal_stress", place, stress)


def beam_stress(beam: Beam, section: Section, load: Array) -> Iterator[Measure]:
    """Nominal stress of a nail or plate at the gap from the forces that it carries there."""
    if beam.part not in section.parts:
        return
    w = section.parts[beam.part] @ load
    arm = section.arm(beam.part) if beam.foot is None else np.array([*beam.foot, 0.0])
    moment = w[3:] - cross(arm, w[:3])
    about = np.abs(np.asarray(beam.axes) @ moment[:2]) / np.asarray(beam.moduli)
    bending = np.hypot(*about) if beam.is_round else about.sum()
    yield Measure("nominal_stress", f"{beam.part}/gap", float(abs(w[2]) / beam.area + bending))


def fragment_forces(body: FreeBody, fragment: str, load: Array) -> Iterator[Measure]:
    """All that acts on a bone fragment, and what is left of it as a share of the load."""
    arm = max(float(np.linalg.norm(body.about)), 1.0)
    lever = np.array([1, 1, 1, arm, arm, arm])
    for name, wrench in {**body.acting, "applied": body.applied}.items():
        x, y, z = (wrench @ load)[:3]
        yield Measure("fragment_axial_force", f"{fragment}/{name}", float(z))
        yield Measure("fragment_shear_force", f"{fragment}/{name}", float(np.hypot(x, y)))
    everything = [body.applied, *body.acting.values()]
    largest = max(float(np.linalg.norm(wrench @ load / lever)) for wrench in everything)
    rest = float(np.linalg.norm(body.rest @ load / lever))
    yield Measure("fragment_residual", fragment, rest / largest if largest > 0 else 0.0)
