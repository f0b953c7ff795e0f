"""Loads as sums of unit loads: their nodal forces, their shares, and hand statics beside them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

import numpy as np

from geometries.bone import Femur
from pipeline.fem.loads import Spread, surface_spread
from pipeline.fem.mesh import Mesh
from pipeline.fem.space import Array
from pipeline.loading.applied import applied, head_level
from pipeline.loading.loads import Load
from pipeline.loading.statics import PATCH_MM, SAME_MM, actions, carriers, coefficients, section_load
from pipeline.measures.dictionary import Measure
from pipeline.measures.load_point import Push
from pipeline.measures.sections import Section

SAME_DIRECTION = 1e-9


def unit_spreads(mesh: Mesh, loads: Sequence[Load], femur: Femur, length: float) -> tuple[Spread, ...]:
    """Tractions of the unit loads.

    Six act at the proximal end; at each point below it that a load names, one acts in each direction
    that the loads need there, so that one muscle costs one unit load and not three.
    """
    end = Spread.of(mesh.nodes, mesh.patches["proximal_end"], np.array([0.0, 0.0, length]))
    points, directions, _ = _below(loads, femur, length)
    below = (
        surface_spread(mesh, point).along(basis)
        for point, basis in zip(points, directions, strict=True)
    )
    return (end, *below)


def unit_forces(spreads: Iterable[Spread], nodes: int) -> Array:
    """Nodal forces (n, 3, units), N, of the unit loads of a mesh with so many nodes."""
    return np.concatenate([one.forces(nodes) for one in spreads], axis=2)


def combined(load: Load, loads: Sequence[Load], femur: Femur, length: float) -> Array:
    """Shares (units,), in a load, of the unit loads of others; it acts where they do, or above."""
    points, directions, _ = _below(loads, femur, length)
    full = coefficients(actions(load, femur, length), points, length)
    forces = full[6:].reshape(-1, 3)
    below = [force @ basis for force, basis in zip(forces, directions, strict=True)]
    return np.concatenate([full[:6], *below])


def combinations(loads: Sequence[Load], femur: Femur, length: float) -> dict[str, Array]:
    """Shares of the unit loads (units,) in each load, by name."""
    _, directions, shares = _below(loads, femur, length)
    combined = {}
    for load, full in zip(loads, shares, strict=True):
        forces = full[6:].reshape(-1, 3)
        below = [force @ basis for force, basis in zip(forces, directions, strict=True)]
        combined[load.name] = np.concatenate([full[:6], *below])
    return combined


def _below(
    loads: Sequence[Load], femur: Femur, length: float
) -> tuple[Array, list[Array], list[Array]]:
    """Points (k, 3) below the end, bases (3, r) of the forces there, and full shares of each load."""
    points = carriers(loads, femur, length)
    shares = [coefficients(actions(load, femur, length), points, length) for load in loads]
    directions = []
    for k in range(len(points)):
        forces = np.stack([full[6 + 3 * k : 9 + 3 * k] for full in shares], axis=1)
        vectors, sizes, _ = np.linalg.svd(forces, full_matrices=False)
        directions.append(vectors[:, sizes > SAME_DIRECTION * sizes[0]])
    return points, directions, shares


def statics_residuals(
    sections: Mapping[str, Section], load: Load, shares: Array, femur: Femur, length: float
) -> list[Measure]:
    """Section loads against hand statics of the stated vectors, as a share of the load.

    Left out above the head, where the rigid top is not in the model, and beside a surface load, which
    is spread over a patch.
    """
    acting = actions(load, femur, length)
    lever = np.array([1, 1, 1, length, length, length])
    size = sum(float(np.linalg.norm(one.force) + np.linalg.norm(one.moment) / length) for one in acting)
    spread = carriers([load], femur, length)[:, 2]
    found = []
    for place, section in sections.items():
        beside = np.abs(spread - section.level) < PATCH_MM
        if section.level < head_level(femur) and not beside.any():
            rest = (section.total @ shares - section_load(acting, section.level, section.axis)) / lever
            found.append(Measure("statics_residual", place, float(np.linalg.norm(rest) / size)))
    return found


def push_of(load: Load, femur: Femur, length: float) -> Push | None:
    """A load as one force on a point of the rigid top; None for a moment, and for several points."""
    stated, everything = applied(load, femur, length), actions(load, femur, length)
    point = stated[0].point
    if len(carriers([load], femur, length)) or any(
        one.moment.any() or np.abs(one.point - point).max() > SAME_MM for one in everything
    ):
        return None
    force = np.sum([one.force for one in stated], axis=0)
    total = np.sum([one.force for one in everything], axis=0)
    return Push(point, force, total - force)
