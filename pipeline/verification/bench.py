"""Bench tests of implants alone, as two standards describe them."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from geometries.solids import Geometry, Part, Patch, Piece, Prism, cylinder
from pipeline.fem.meshing.mesher import build_mesh
from pipeline.verification.beams import NAIL, cowper
from pipeline.verification.body import Body
from pipeline.verification.check import Check, Problem
from pipeline.verification.frame import BarSection

E, NU = 114e3, 0.342  # Ti-6Al-4V ELI, ASTM F136
SHEAR = E / 2 / (1 + NU)
WIDTH, THICKNESS = 17.5, 5.2
OVERHANG = 15.0
STANDARD = "{}: formula reduces to beam theory; shear by Cowper 1966, J Appl Mech 33:335"
PLATES, NAILS = STANDARD.format("ASTM F382 annex A1"), STANDARD.format("ASTM F1264 annexes A1 and A2")
LEVELS = ("support_1", "load_1", "load_2", "support_2")


@dataclass(frozen=True)
class Rig:
    """Four-point bending.

    Parameters
    ----------
    outer, inner : float
        From a support to the next load, and between the loads, mm.
    """

    outer: float
    inner: float

    @property
    def levels(self) -> tuple[float, ...]:
        """Heights of the ends, supports and loads, mm."""
        steps = (OVERHANG, self.outer, self.inner, self.outer, OVERHANG)
        return (0.0, *np.cumsum(steps).tolist())

    @property
    def shape(self) -> float:
        """EI · y / F of a slender bar, by both standards: h² (2h + 3k) / 12, mm³."""
        return self.outer**2 * (2 * self.outer + 3 * self.inner) / 12

    def stiffness(self, EI: float, GA: float) -> float:
        """What the formula makes of a bar that gives in shear too, N·mm²."""
        return self.shape / (self.shape / EI + self.outer / (2 * GA))

    def body(self, piece: Callable[[float, float], Piece], wall: float) -> Body:
        """A bar made of a piece between each pair of levels; supports and loads act on its sections."""
        pieces = tuple(piece(low, high) for low, high in pairwise(self.levels))
        part = Part("bar", "plate", "titanium", pieces, wall)
        patches = (
            Patch("distal_end", 0.0, ("plate",)),
            *(Patch(name, z, ("plate",)) for name, z in zip(LEVELS, self.levels[1:-1], strict=True)),
            Patch("proximal_end", self.levels[-1], ("plate",)),
        )
        geometry = Geometry((part,), patches, self.levels[-1], (0.0, self.levels[-1]), None, {})
        return Body(build_mesh(geometry, "default"), ((E, NU),))

    def measured(self, body: Body) -> float:
        """Stiffness, N·mm², by the standards' formula from the deflection under the loads."""
        halves = {"load_1": 0.5, "load_2": 0.5, "support_1": -0.5, "support_2": -0.5}
        forces = np.zeros((*body.mesh.nodes.shape, 1))
        for name, half in halves.items():
            forces += half * body.unit_loads(name)[:, :, :1]
        found = body.solve(forces, body.least_held())
        moved = sum(half * body.motion(n, found).translation[0, 0] for n, half in halves.items())
        return float(self.shape / moved)


def plate_piece(low: float, high: float) -> Piece:
    """A plate of 17.5 by 5.2 mm, bent across its thickness."""
    half = THICKNESS / 2
    return Piece(Prism(((-half, low), (half, low), (half, high), (-half, high)), 0.0, WIDTH))


def nail_piece(low: float, high: float) -> Piece:
    """The plain part of a nail."""
    base, axis = (0.0, 0.0, low), (0.0, 0.0, high - low)
    return Piece(cylinder(base, axis, NAIL.outer), (cylinder(base, axis, NAIL.inner),))


def plate_bending() -> Iterator[Check]:
    """A plate without holes in four-point bending."""
    rig = Rig(outer=70.0, inner=30.0)
    section = BarSection.rectangle(E, NU, WIDTH, THICKNESS)
    found = rig.measured(rig.body(plate_piece, THICKNESS)) * 1e-6
    expected = rig.stiffness(section.EI, section.GA) * 1e-6
    yield Check("structural stiffness", "N·m²", found, expected, 0.01, PLATES, "derived")


def nail_bending_and_torsion() -> Iterator[Check]:
    """A nail's plain part in four-point bending, and in torsion between the supports."""
    rig = Rig(outer=76.0, inner=76.0)  # the long spans, as a test machine's maker quotes F1264
    body = rig.body(nail_piece, (NAIL.outer - NAIL.inner) / 2)
    expected = rig.stiffness(E * NAIL.I, cowper(NAIL) * SHEAR * NAIL.A) * 1e-6
    yield Check(
        "structural stiffness", "N·m²", rig.measured(body) * 1e-6, expected, 0.01, NAILS, "derived"
    )
    gauge = 2 * rig.outer + rig.inner
    stiffness = gauge / body.twist("support_1", "support_2") * 1e-6
    yield Check(
        "torsional stiffness", "N·m²", stiffness, SHEAR * NAIL.J * 1e-6, 0.005, NAILS, "derived"
    )


PROBLEMS = (
    Problem("plate-bending", "Plate in four-point bending (ASTM F382)", plate_bending),
    Problem(
        "nail-bench",
        "Nail in four-point bending and torsion (ASTM F1264)",
        nail_bending_and_torsion,
        quick=False,
    ),
)
