"""Bars as beams: tubes through the stages of a study, and slender blocks."""

from __future__ import annotations

from collections.abc import Iterator
from math import asin, pi

import numpy as np

from pipeline.fem.space import Array
from pipeline.measures.motion import face_motion
from pipeline.verification.blocks import mapped_block
from pipeline.verification.body import Body
from pipeline.verification.check import Check, Problem
from pipeline.verification.studied import (
    SIDE_N,
    Tube,
    case_of,
    mesh_of,
    solved,
    specimen,
)

COWPER = (
    "Timoshenko beam, PL³/3EI + PL/kGA, k of Cowper 1966, J Appl Mech 33:335, as quoted in open code"
)
HANDBOOK = "any handbook of mechanics: {}"
HARDER = "MacNeal & Harder 1985, Finite Elem Anal Des 1:3, as quoted in a solver's manual"
NAIL = Tube(11.0, 5.0, "titanium")
BONE = Tube(28.0, 11.0, "cortical")


def cowper(tube: Tube) -> float:
    """Shear coefficient of a hollow circle (Cowper 1966, as quoted in open code)."""
    nu, squared = tube.nu, (tube.inner / tube.outer) ** 2
    whole = (1 + squared) ** 2
    return 6 * (1 + nu) * whole / ((7 + 6 * nu) * whole + (20 + 12 * nu) * squared)


def newton_metres_per_degree(GJ: float, length: float) -> float:
    """Torsional stiffness of a bar, from N·mm² and mm."""
    return GJ / length * pi / 180 / 1000


def sums(span: float, tubes: tuple[Tube, ...]) -> Iterator[tuple[str, str, str, float]]:
    """Load, quantity, unit and expected value of a bonded bar's stiffness between its sections."""
    EA, EI = sum(t.E * t.A for t in tubes), sum(t.E * t.I for t in tubes)
    GJ = sum(t.G * t.J for t in tubes)
    yield "pull", "axial_stiffness", "N/mm", EA / span
    yield "twist", "torsional_stiffness", "N·m/deg", newton_metres_per_degree(GJ, span)
    yield "frontal", "bending_stiffness", "N·m²", EI * 1e-6
    yield "sagittal", "bending_stiffness", "N·m²", EI * 1e-6


def tube() -> Iterator[Check]:
    """A nail's shaft without holes, clamped at one end."""
    length, inset = 220.0, 20.0
    one = solved(case_of(specimen(length, inset, (NAIL.outer, NAIL.inner, NAIL.material)), "default"))
    tip = face_motion(one.mesh, "proximal_end", one.under("side")).translation[0, 0]
    bending = SIDE_N * length**3 / (3 * NAIL.E * NAIL.I)
    expected = bending + SIDE_N * length / (cowper(NAIL) * NAIL.G * NAIL.A)
    yield Check("deflection of the tip", "mm", tip, expected, 0.01, COWPER, "read")
    allowed = {"axial_stiffness": 0.003, "torsional_stiffness": 0.005, "bending_stiffness": 0.005}
    for load, quantity, unit, value in sums(length - 2 * inset, (NAIL,)):
        name = f"{quantity.replace('_', ' ')}, load {load}"
        source = HANDBOOK.format("EA/L, GJ/L, EI of a tube")
        found = one.stiffness(quantity, load)
        yield Check(name, unit, found, value, allowed[quantity], source, "derived")


def nail_in_bone() -> Iterator[Check]:
    """A nail bonded all along in a tube of bone, read one and a half diameters from the ends."""
    layers = [(t.outer, t.inner, t.material) for t in (BONE, NAIL)]
    one = solved(case_of(specimen(160.0, 40.0, *layers), "default"))
    source = HANDBOOK.format("sums over bonded tubes; unlike Poisson's ratios add under 0.1 %")
    for load, quantity, unit, value in sums(80.0, (BONE, NAIL)):
        name = f"{quantity.replace('_', ' ')}, load {load}"
        yield Check(name, unit, one.stiffness(quantity, load), value, 0.01, source, "derived")


# --- Slender blocks ----------------------------------------------------------------------------------


def tip_of(body: Body, axis: int, end: float, area: float) -> float:
    """Movement along an axis of the middle of the end at z = end under a unit force, held at z = 0."""
    held = body.held(**dict.fromkeys("xyz", lambda p: np.abs(p[:, 2]) < 1e-9))
    faces = body.faces(lambda p: p[:, 2] > end - 1e-9)
    u = body.solve(body.pulled(faces, np.eye(3)[axis] / area), held).displacement
    return float(u[body.node_at((0.0, 0.0, end)), axis, 0])


def beam() -> Iterator[Check]:
    """The straight beam of MacNeal and Harder: 6 by 0.2 by 0.1, unit loads at its end."""
    ticks = (np.linspace(-0.1, 0.1, 5), np.linspace(-0.05, 0.05, 3), np.linspace(0, 6, 49))
    body = Body(mapped_block(ticks, 6 * 0.2 * 0.1), ((1e7, 0.3),))
    for name, axis, expected in (
        ("extension", 2, 3e-5),
        ("in plane", 0, 0.1081),
        ("out of plane", 1, 0.4321),
    ):
        found = tip_of(body, axis, 6.0, 0.2 * 0.1)
        yield Check(f"tip, {name}", "length", found, expected, 0.01, HARDER, "read")


def twisted(places: Array) -> Array:
    """A bar that turns by 90 degrees over its length of 12."""
    x, y, z = places.T
    angle = z / 12 * pi / 2
    return np.column_stack(
        [x * np.cos(angle) - y * np.sin(angle), x * np.sin(angle) + y * np.cos(angle), z]
    )


def twisted_beam() -> Iterator[Check]:
    """The twisted beam of MacNeal and Harder: 12 by 1.1 by 0.32, a unit load at its end."""
    ticks = (np.linspace(-0.55, 0.55, 5), np.linspace(-0.16, 0.16, 3), np.linspace(0, 12, 37))
    body = Body(mapped_block(ticks, 12 * 1.1 * 0.32, twisted), ((29e6, 0.22),))
    source = f"{HARDER}; refined by Zupan & Saje 2004, Finite Elem Anal Des 40:1445"
    # At the root the section's long side lies along x, at the tip along y.
    for axis, expected in ((0, 1.753248e-3), (1, 5.424535e-3)):
        found = tip_of(body, axis, 12.0, 1.1 * 0.32)
        yield Check(f"tip along {'xy'[axis]}", "length", found, expected, 0.01, source, "read")


# --- An open section ---------------------------------------------------------------------------------


def open_constant(diameter: float, wall: float, slot: float) -> float:
    """J = s t³/3 of a thin open tube, mm⁴, s its mid-line, less the ends' share 0.63 t / s."""
    middle = (diameter - wall) / 2
    arc = 2 * pi * middle - 2 * middle * asin(slot / 2 / middle)
    return arc * wall**3 / 3 * (1 - 0.63 * wall / arc)


def slit_tube() -> Iterator[Check]:
    """A slotted nail's shaft under opposite couples, free to warp at both ends."""
    diameter, wall, slot, length = 13.0, 1.4, 3.0, 200.0
    bar = specimen(length, length / 3, (diameter, diameter - 2 * wall, "titanium"))
    bar["layers"][0]["slot_mm"] = slot
    tube = Tube(diameter, diameter - 2 * wall, "titanium")
    body = Body(mesh_of(bar), ((tube.E, tube.nu),))
    J = length / 3 / body.twist("distal_section", "proximal_section") / tube.G
    source = HANDBOOK.format("open section, s t³/3 with the ends' correction of a narrow rectangle")
    yield Check(
        "torsion constant", "mm⁴", J, open_constant(diameter, wall, slot), 0.05, source, "derived"
    )


PROBLEMS = (
    Problem("tube", "Nail's shaft as a cantilever, in tension, torsion and bending", tube),
    Problem("nail-in-bone", "Nail bonded in a tube of bone", nail_in_bone, quick=False),
    Problem("beam", "Straight beam of 6 by 0.2 by 0.1", beam),
    Problem("twisted-beam", "Beam twisted by 90 degrees", twisted_beam),
    Problem("slit-tube", "Slotted nail in torsion, free to warp", slit_tube, quick=False),
)
