"""Fields that cells hold exactly, and one that they approach: the order of convergence."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from math import log, pi

import numpy as np

from pipeline.fem.space import Array, cell_rule, determinants, jacobians, shape
from pipeline.measures.field import stress_field
from pipeline.verification.blocks import Map, mapped_block
from pipeline.verification.body import Body
from pipeline.verification.check import Check, Known, Problem
from pipeline.verification.studied import mesh_of, specimen

HARDER = "MacNeal & Harder 1985, Finite Elem Anal Des 1:3, patch test for solids"
GOODIER = "Timoshenko & Goodier, Theory of Elasticity, {}"
SOLVER = 1e-7  # the solver stops at a residual of 1e-9 of the load


@dataclass(frozen=True)
class Exact:
    """A displacement field, mm, that needs no force by volume, and its stress, MPa.

    Parameters
    ----------
    E, nu : float
        Young's modulus, MPa, and Poisson's ratio.
    displacement, stress : callable
        From x, y, z to the three and the six components.
    """

    E: float
    nu: float
    displacement: Callable[[Array, Array, Array], list[Array]]
    stress: Callable[[Array, Array, Array], list[Array | float]]

    def on(self, places: Array) -> tuple[Array, Array]:
        """Displacement (p, 3) and stress (p, 6) at places (p, 3)."""
        x, y, z = places.T
        zero = np.zeros(len(places))
        return (
            np.stack([zero + u for u in self.displacement(x, y, z)], axis=1),
            np.stack([zero + s for s in self.stress(x, y, z)], axis=1),
        )


PATCH = Exact(
    1e6,
    0.25,
    lambda x, y, z: [5e-4 * (2 * x + y + z), 5e-4 * (x + 2 * y + z), 5e-4 * (x + y + 2 * z)],
    lambda x, y, z: [2000.0, 2000.0, 2000.0, 400.0, 400.0, 400.0],  # noqa: ARG005
)
K, NU = 3e-4, 0.31  # curvature
BENDING = Exact(
    23_000.0,
    NU,
    lambda x, y, z: [-K / 2 * (z**2 + NU * (x**2 - y**2)), -K * NU * x * y, K * x * z],
    lambda x, y, z: [0.0, 0.0, 23_000.0 * K * x, 0.0, 0.0, 0.0],  # noqa: ARG005
)
T, G = 7e-4, 41_000.0 / (2 * 1.27)  # twist a length, shear modulus
TORSION = Exact(
    41_000.0,
    0.27,
    lambda x, y, z: [-T * y * z, T * x * z, 0.0 * z],
    lambda x, y, z: [0.0, 0.0, 0.0, 0.0, G * T * x, -G * T * y],  # noqa: ARG005
)


def imposed(body: Body, displacement: Array, forces: Array) -> Array:
    """Displacements (n, 3, 1) with given ones (n, 3) on the whole outside."""
    held = np.zeros(body.mesh.nodes.shape, dtype=bool)
    held[np.unique(body.outside)] = True
    return body.solve(forces, held, displacement[:, :, None]).displacement


def misfit(body: Body, exact: Exact) -> tuple[float, float]:
    """Largest error of displacement and of stress, each as a share of its largest exact value."""
    mesh = body.mesh
    u, _ = exact.on(mesh.nodes)
    found = imposed(body, u, np.zeros((*u.shape, 1)))
    points, _ = cell_rule(2)
    places = np.einsum("qn,mni->mqi", shape(points), mesh.nodes[mesh.cells]).reshape(-1, 3)
    field = stress_field(mesh, np.arange(len(mesh.cells)), found, body.elasticity[0])
    stress, wanted = field.values[:, :, 0], exact.on(places)[1]
    return (
        float(np.abs(found[:, :, 0] - u).max() / np.abs(u).max()),
        float(np.abs(stress - wanted).max() / np.abs(wanted).max()),
    )


def exactly(body: Body, exact: Exact, name: str, source: str) -> Iterator[Check]:
    """Errors of displacement and stress that should not be there."""
    known: Known = "derived"
    for what, error in zip(("displacement", "stress"), misfit(body, exact), strict=True):
        yield Check(
            f"{name}: largest error of {what}", "1", error, 0.0, SOLVER, source, known, "difference"
        )


def patch() -> Iterator[Check]:
    """A linear field on the mesher's curved cells, in two parts of the same constants."""
    layers = ((15.0, 9.0, "cortical"), (9.0, 4.0, "titanium"))
    body = Body(mesh_of(specimen(17.0, 4.0, *layers), "coarse"), ((PATCH.E, PATCH.nu),) * 2)
    yield from exactly(body, PATCH, "linear field, curved cells", HARDER)


def quadratic() -> Iterator[Check]:
    """Bending and torsion fields on straight cells that are no boxes."""
    skew = np.array([[9.0, 1.0, -2.0], [0.5, 7.0, 1.0], [1.5, -1.0, 11.0]])
    lines = np.array([0.0, 0.2, 0.35, 0.7, 1.0])
    mesh = mapped_block((lines, lines, lines), float(np.linalg.det(skew)), lambda p: p @ skew)
    for exact, name, chapter in ((BENDING, "bending", "pure bending"), (TORSION, "torsion", "torsion")):
        body = Body(mesh, ((exact.E, exact.nu),))
        yield from exactly(body, exact, f"quadratic field of {name}", GOODIER.format(chapter))


# --- A manufactured solution -------------------------------------------------------------------------

WAVE = np.array([1.1, 0.8, 0.9])  # phases a length, so that no component is symmetric
SIZE = np.array([1.0, -0.7, 0.4])


def manufactured(places: Array) -> Array:
    """A smooth field (p, 3): size_i · sin(wave · x + i)."""
    phase = (places @ WAVE)[:, None] + np.arange(3)
    return SIZE * np.sin(phase)


def force_of(E: float, nu: float) -> Callable[[Array], Array]:
    """Force by volume (p, 3) under which that field is in equilibrium: -(λ+μ) grad div u - μ lap u."""
    shear, lame = E / 2 / (1 + nu), E * nu / (1 + nu) / (1 - 2 * nu)

    def force(places: Array) -> Array:
        u = manufactured(places)  # every second derivative is -wave_i wave_j u
        return (lame + shear) * (u @ WAVE)[:, None] * WAVE + shear * (WAVE @ WAVE) * u

    return force


def bent(places: Array) -> Array:
    """A sector of a ring, from (out, round, up) in 0 to 1: all of its cells are curved."""
    radius, angle = 1 + places[:, 0], places[:, 1] * pi / 3
    return np.column_stack([radius * np.cos(angle), radius * np.sin(angle), places[:, 2]])


def l2_error(count: int, move: Map, volume: float) -> float:
    """Error of the displacement, in the mean over the body, on a grid of that many boxes a side."""
    lines = np.linspace(0, 1, count + 1)
    E, nu = 7.0, 0.34
    body = Body(mapped_block((lines, lines, lines), volume, move), ((E, nu),))
    found = imposed(body, manufactured(body.mesh.nodes), body.volume_force(force_of(E, nu)))
    points, weights = cell_rule(6)
    corners, functions = body.mesh.nodes[body.mesh.cells], shape(points)
    places = np.einsum("qn,mni->mqi", functions, corners)
    u = np.einsum("qn,mni->mqi", functions, found[body.mesh.cells, :, 0])
    off = u - manufactured(places.reshape(-1, 3)).reshape(u.shape)
    volumes = determinants(jacobians(corners, points)) * weights
    return float(np.sqrt(np.einsum("mqi,mq->", off**2, volumes)))


def convergence() -> Iterator[Check]:
    """Observed order on straight and on curved cells, from grids of 4 and 8 boxes a side."""
    ring = pi / 6 * (2.0**2 - 1.0**2)
    for name, move, volume in (("straight", lambda p: p, 1.0), ("curved", bent, ring)):
        coarse, fine = (l2_error(count, move, volume) for count in (4, 8))
        order = log(coarse / fine) / log(2)
        source = "quadratic cells have order 3 in L2: Ciarlet 1978, as later papers quote it"
        yield Check(f"order, {name} cells", "1", order, 2.8, 0.0, source, "read", "at least")


PROBLEMS = (
    Problem("patch", "Patch test: a linear field", patch),
    Problem("quadratic", "Quadratic fields: pure bending and torsion", quadratic),
    Problem("convergence", "A manufactured solution on ever finer cells", convergence),
)
