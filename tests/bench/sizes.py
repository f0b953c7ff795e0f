"""``python -m tests.bench.sizes``: where the error of a mesh is, and where its cells are.

Of the demo's plate, nail and plate over a nail at the coarse level: the share of cells and of the error
in energy, by role, distance from bolts and screws, and distance from the gap. The last column is by how
much longer edges would be if every cell erred alike: its error to the power of -1/7.
"""

from __future__ import annotations

import sys
from collections import defaultdict
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from geometries.solids import Geometry
from pipeline.fem.kernels.threads import use_threads
from pipeline.fem.mesh import Mesh
from pipeline.fem.meshing.mesher import build_mesh
from pipeline.fem.space import Array
from pipeline.run import equilibrium
from pipeline.run.clock import Clock
from pipeline.run.columns import Columns
from pipeline.run.planning import plan
from pipeline.run.refined import Refined
from pipeline.study.config import load_study
from tests.bench.case import DEMO, touching

CONSTRUCTS = ("plate", "nail-10", "nail-10-plate")
NEAR_PIN, NEAR_GAP = (2.0, 6.0), (5.0, 30.0)
POWER = -1 / 7


def errors_of_cells(mesh: Mesh, geometry: Geometry, case: Any) -> dict[str, Array]:
    """Share of each cell (m,) in the error of each load, at the stage of atrophic tissue."""
    seen: dict[str, Array] = {}
    weigh = Refined.weighed

    def spy(refined: Refined, elasticity: Array, columns: Columns, shares: Array, moved: Array) -> Any:
        bubbles = refined.bubbles
        left, went = refined.left_over(elasticity, columns, shares, moved)
        own = went * left
        cells = np.bincount(bubbles.numbers.ravel(), minlength=bubbles.count)
        each = own.sum(axis=1) / cells[:, None]
        for k, load in enumerate(case.loads):
            total = each[bubbles.numbers, k].sum(axis=1)
            seen[load.name] = total / total.sum()
        return weigh(refined, elasticity, columns, shares, moved)

    Refined.weighed = spy  # type: ignore[method-assign]
    try:
        list(equilibrium.equilibria(equilibrium.Prepared.of(mesh, geometry, case), case, Clock()))
    finally:
        Refined.weighed = weigh  # type: ignore[method-assign]
    return seen


def classes(mesh: Mesh, geometry: Geometry) -> list[tuple[str, str, str]]:
    """Role, distance from bolts and screws, and distance from the gap of each cell."""
    places = mesh.nodes[mesh.cells[:, :4]].mean(axis=1)
    roles = [mesh.parts[part].role for part in mesh.part_of]
    off = np.full(len(places), np.inf)
    for pin in geometry.pins:
        axis = np.asarray(pin.axis) / np.linalg.norm(pin.axis)
        arm = places - np.asarray(pin.foot)
        across = np.linalg.norm(arm - np.outer(arm @ axis, axis), axis=1)
        off = np.minimum(off, across - pin.diameter / 2)
    high = np.abs(places[:, 2] - geometry.gap.centre[2]) if geometry.gap else off
    return [
        (role, _within(d, NEAR_PIN, "pin"), _within(h, NEAR_GAP, "gap"))
        for role, d, h in zip(roles, off, high, strict=True)
    ]


def _within(distance: float, limits: tuple[float, ...], what: str) -> str:
    return next((f"{what} {limit:g}" for limit in limits if distance < limit), "")


def main() -> None:
    use_threads(2)
    loads = sys.argv[1:] or ["axial", "torsion", "hip"]
    cases = {case.name: case for case in plan(load_study(Path(DEMO))).cases}
    for name in CONSTRUCTS:
        case = cases[name]
        if "nail" in name:
            case = touching(case, "void", "tied", "pass")
        case = replace(case, stages=case.stages[1:2])
        geometry = case.geometry()
        mesh = build_mesh(geometry, "coarse")
        found = errors_of_cells(mesh, geometry, case)
        groups: dict[tuple[str, str, str], list[int]] = defaultdict(list)
        for cell, group in enumerate(classes(mesh, geometry)):
            groups[group].append(cell)
        print(f"\n{name}: {len(mesh.cells)} cells, {mesh.unknowns} unknowns")
        for group, cells in sorted(groups.items()):
            share = len(cells) / len(mesh.cells)
            errs = [float(found[load][cells].sum()) for load in loads]
            longer = " ".join(f"{(max(err, 1e-9) / share) ** POWER:5.2f}" for err in errs)
            shown = " ".join(f"{100 * err:5.1f}" for err in errs)
            print(f"{' '.join(filter(None, group)):28s} {100 * share:5.1f} % of cells; "
                  f"{', '.join(loads)} {shown} %; edges x {longer}", flush=True)  # fmt: skip


if __name__ == "__main__":
    main()
