"""Round bodies: pressure in a bore, unlike Poisson's ratios, bars end to end, discs of soft tissue."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from itertools import pairwise
from math import pi

import numpy as np

from geometries.solids import Geometry, Part, Patch, Piece, Role, Tool, cylinder
from pipeline.fem.loads import face_points
from pipeline.fem.meshing.mesher import build_mesh
from pipeline.fem.space import Array, Flags
from pipeline.verification.body import Body
from pipeline.verification.check import Check, Problem
from pipeline.verification.studied import mesh_of, specimen

LAME = "Lamé's thick cylinder in plane strain, read in the manual of an open program"
HARDER = "thick cylinder of MacNeal & Harder 1985, Finite Elem Anal Des 1:3, from Lamé's formula"


def tubes(
    length: float, *diameters: tuple[float, float], constants: tuple[tuple[float, float], ...]
) -> Body:
    """Bonded tubes, each given by outer and inner diameter, mm, with constants of their own."""
    layers = [(outer, inner, "cortical") for outer, inner in diameters]
    return Body(mesh_of(specimen(length, length / 3, *layers)), constants)


def stacked(*slabs: tuple[float, float], outer: float, inner: float = 0.0) -> Geometry:
    """Tubes on top of each other, a part for each slab from low to high, mm, in three layers."""
    parts = []
    for number, (low, high) in enumerate(slabs, start=1):
        pieces = []
        for start, end in pairwise(np.linspace(low, high, 4).tolist()):
            base, axis = (0.0, 0.0, start), (0.0, 0.0, end - start)
            hole: tuple[Tool, ...] = (cylinder(base, axis, inner),) if inner else ()
            pieces.append(Piece(cylinder(base, axis, outer), hole))
        wall = min((outer - inner) / 2, high - low)
        parts.append(Part(f"slab_{number}", "gap", "tissue", tuple(pieces), wall))
    top = slabs[-1][1]
    roles: tuple[Role, ...] = ("gap",)
    ends = (Patch("distal_end", 0.0, roles), Patch("proximal_end", top, roles))
    return Geometry(tuple(parts), ends, top, (0.0, top), None, {})


def under_pressure(body: Body, radius: float) -> tuple[float, Array]:
    """Mean outward movement, mm, of a bore under 1 MPa in plane strain, and the displacements."""
    bore = body.faces(on_radius(radius))
    forces = body.traction(bore, lambda _, normal: -normal)
    u = body.solve(forces, body.between_plates()).displacement
    places, weights, functions = face_points(body.mesh.nodes, bore)
    nodes = bore.repeat(len(weights) // len(bore), axis=0)
    moved = np.einsum("pn,pni->pi", functions, u[nodes, :, 0])[:, :2]
    outward = places[:, :2] / np.hypot(places[:, 0], places[:, 1])[:, None]
    return float(weights @ (moved * outward).sum(axis=1) / weights.sum()), u


def thick_cylinder() -> Iterator[Check]:
    """A tube of bone under pressure in its bore."""
    a, b, E, nu = 6.5, 14.0, 17e3, 0.3
    body = tubes(10.0, (2 * b, 2 * a), constants=((E, nu),))
    moved, u = under_pressure(body, a)
    squares = b**2 - a**2
    expected = (1 + nu) * a / E * (a**2 * (1 - 2 * nu) + b**2) / squares
    yield Check("movement of the bore", "mm/MPa", moved, expected, 0.01, LAME, "read")
    for name, radius, hoop in (
        ("bore", a, (b**2 + a**2) / squares),
        ("outside", b, 2 * a**2 / squares),
    ):
        found = hoop_stress(body, radius, u)
        yield Check(f"hoop stress, {name}", "MPa", found, hoop, 0.03, LAME, "read")


def on_radius(radius: float) -> Callable[[Array], Flags]:
    """Which places lie on a round wall."""
    return lambda p: np.abs(np.hypot(p[:, 0], p[:, 1]) - radius) < 1e-6 * radius


def hoop_stress(body: Body, radius: float, u: Array) -> float:
    """Mean stress round the z axis on a round wall, MPa."""
    places, areas, stress = body.on_wall(on_radius(radius), u)
    xx, yy, _, xy, _, _ = stress.T
    x, y, _ = places.T
    hoop = (xx * y**2 + yy * x**2 - 2 * xy * x * y) / (x**2 + y**2)
    return float(areas @ hoop / areas.sum())


def near_incompressible() -> Iterator[Check]:
    """A thick cylinder that hardly changes its volume, as wet tissue loaded at once."""
    expected = {0.49: 5.0399e-3, 0.499: 5.0602e-3}  # for a bore of radius 3; it grows with the radius
    body = tubes(12.0, (54.0, 18.0), constants=((1000.0, 0.3),))
    for nu, value in expected.items():
        moved = under_pressure(Body(body.mesh, ((1000.0, nu),)), 9.0)[0] / 3
        name = f"movement of the bore, ν = {nu}"
        yield Check(name, "mm/MPa", moved, value, 0.02, HARDER, "recomputed")


def unlike_poisson() -> Iterator[Check]:
    """A core in a shell of unlike Poisson's ratio, pulled: stiffer than the sum of the two."""
    (E1, nu1), (E2, nu2) = core, shell = (900.0, 0.48), (1400.0, 0.05)
    outer, inner, length = 18.0, 12.0, 9.0
    f = inner**2 / outer**2
    k1, k2 = (E / (2 * (1 + nu) * (1 - 2 * nu)) for E, nu in (core, shell))
    G2 = E2 / (2 * (1 + nu2))
    excess = 4 * f * (1 - f) * (nu1 - nu2) ** 2 / (f / k2 + (1 - f) / k1 + 1 / G2)
    body = tubes(length, (outer, inner), (inner, 0.0), constants=(shell, core))
    found = body.pressed(0.01, body.between_plates()) / (pi / 4 * outer**2) / (0.01 / length)
    expected = f * E1 + (1 - f) * E2 + excess
    source = "Hill 1964, J Mech Phys Solids 12:199; equals the exact field of two cylinders"
    yield Check("modulus of the whole", "MPa", found, expected, 0.002, source, "recomputed")


def bars_in_series() -> Iterator[Check]:
    """Two bars end to end, without contraction across: 1 / k is the sum of L / EA."""
    body = Body(build_mesh(stacked((0, 7), (7, 18), outer=9.0), "default"), ((17e3, 0.0), (110e3, 0.0)))
    found = body.pressed(0.01, body.between_plates()) / 0.01
    expected = pi / 4 * 9.0**2 / (7 / 17e3 + 11 / 110e3)
    source = "any handbook of mechanics: bars in series"
    yield Check("stiffness", "N/mm", found, expected, 0.002, source, "derived")


# Apparent over Young's modulus of a disc bonded to rigid plates, and of a ring with a free bore of 0.4
# of its radius, by Poisson's ratio; as thick as its radius is half.
BONDED = {0.167: 1.0499, 0.30: 1.2107, 0.45: 1.9303}
RING = {0.30: 1.1662, 0.45: 1.5708}
FLAT = (
    "axisymmetric elements by an independent program, converged to 0.1 %; limits of Gent & Lindley 1959"
)


def soft_disc() -> Iterator[Check]:
    """Tissue between two bone ends, stiffer than its modulus since the ends hold it."""
    radius, thickness = 13.5, 6.75
    for name, inner, table in (("disc", 0.0, BONDED), ("ring", 0.4 * 2 * radius, RING)):
        mesh = build_mesh(stacked((0, thickness), outer=2 * radius, inner=inner), "default")
        area = pi * (radius**2 - (inner / 2) ** 2)
        for nu, expected in table.items():
            body = Body(mesh, ((3.0, nu),))
            ends = lambda p: (p[:, 2] < 1e-9) | (p[:, 2] > thickness - 1e-9)  # noqa: E731
            force = body.pressed(0.01, body.held(x=ends, y=ends, z=ends))
            found = force / area / (3.0 * 0.01 / thickness)
            allowed = (
                0.01 if nu < 0.4 else 0.04
            )  # the rim, where stress has no value, weighs more there
            quantity = f"apparent over own modulus, {name}, ν = {nu}"
            yield Check(quantity, "1", found, expected, allowed, FLAT, "recomputed")


PROBLEMS = (
    Problem("thick-cylinder", "Tube of bone under pressure in its bore", thick_cylinder),
    Problem("near-incompressible", "Thick cylinder that keeps its volume", near_incompressible),
    Problem("unlike-poisson", "Core and shell of unlike Poisson's ratios, pulled", unlike_poisson),
    Problem("bars-in-series", "Two bars end to end", bars_in_series),
    Problem("soft-disc", "Tissue bonded between two plates, disc and ring", soft_disc),
)
