"""Stored cases of the demo study, solved once more by NGSolve.

Theory: one mesh, one law and one load have one solution in a given finite-element space, whoever finds
it; only the quadrature of curved cells leaves a choice. NGSolve and the code that feeds it know our
files, the definitions in dictionary.csv and the inputs of the study, and nothing else.

Contact is linear once the stops' forces are known. A case of it is handed over with these as loads:
NGSolve must find the same displacements, and by these no surface may overlap another.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import ngsolve as ng
import numpy as np
import pytest
from scipy.interpolate import LinearNDInterpolator
from skfem.quadrature import get_quadrature
from skfem.refdom import RefTet

from geometries.bone import Femur
from geometries.materials import MATERIALS, TISSUES, Material
from pipeline.fem.meshing.mesher import build_mesh
from pipeline.loading.loads import Bending, EndForce, HipForce, Load
from pipeline.run.case import Case
from pipeline.run.clock import Clock
from pipeline.run.equilibrium import Equilibrium, Prepared, equilibria
from pipeline.run.planning import cases
from pipeline.run.record import store_case
from pipeline.run.solving import run_case
from pipeline.storage.casebook import folder_of
from pipeline.storage.files import read_table
from pipeline.study.config import parse_study
from tests.models import FEW_CELLS, SHORT_PLATE, case_of, geometry_of, worst
from tests.verification.peer import Array, Peer, Stored

DEMO = Path(__file__).parents[2] / "configs" / "demo.toml"


@dataclass(frozen=True)
class Pair:
    """A case, what our run wrote of it, and NGSolve's model of the same mesh."""

    case: Case
    rows: dict[tuple[str, str, str, str], float]
    stored: Stored
    peer: Peer

    def laws(self, stage: str) -> dict[str, Material]:
        """Materials by part, without empty tissue."""
        tissue = TISSUES[stage]
        found = {
            part["name"]: tissue if part["material"] == "tissue" else MATERIALS[part["material"]]
            for part in self.stored.parts
        }
        return {name: law for name, law in found.items() if law.modulus > 0}

    def solve(self, stage: str, rule: ng.IntegrationRule | None = None) -> dict[str, ng.GridFunction]:
        """NGSolve's displacements by load."""
        wrenches = np.array([wrench(load, self.case.femur) for load in self.case.loads])
        fields = self.peer.solve(self.laws(stage), wrenches, rule)
        return {load.name: field for load, field in zip(self.case.loads, fields, strict=True)}


def pair(out: Path, construct: dict[str, Any], stages: list[str], **changes: Any) -> Pair:
    """Run a construct under the demo study's loads, store it as a run does, and read it again.

    Walking is left out: its published vectors enter by the same six shares of the same end. Bone ends
    may pass through each other: what is solved again is the linear model.
    """
    demo = tomllib.loads(DEMO.read_text(encoding="utf-8"))
    study = demo | changes | {"constructs": [construct], "stages": [{"name": one} for one in stages]}
    study["defect"] = demo["defect"] | {"bone_ends": "pass"}
    study["loads"] = [load for load in demo["loads"] if load["kind"] != "walking"]
    case, clock = cases(parse_study(study, "demo"))[-1], Clock()
    store_case(case, run_case(case, clock), clock, out)
    folder = folder_of(out, case.address)
    stored = Stored.read(folder)
    return Pair(
        case,
        {
            (row["stage"], row["load"], row["quantity"], row["location"]): float(row["value"])
            for row in read_table(folder / "rows.csv")
        },
        stored,
        peer_of(stored, case),
    )


def peer_of(stored: Stored, case: Case) -> Peer:
    """NGSolve's model of a case."""
    low, high = geometry_of(case).sections
    levels = {"distal_end": 0.0, "distal_section": low, "proximal_section": high}
    return Peer(stored, levels | {"proximal_end": case.femur.length_mm})


def wrench(load: Load, femur: Femur) -> Array:
    """Force, N, and moment, N·mm, about the middle of the proximal end, from the load's definition."""
    if isinstance(load, HipForce):
        down = np.array([-np.tan(np.radians([load.adduction_deg, load.flexion_deg]))])
        force = np.append(down, -1.0)
        force *= load.force_n / np.linalg.norm(force)
        head = [femur.head_offset_mm, 0.0, -femur.head_below_top_mm]
        return np.concatenate([force, np.cross(head, force)])
    if isinstance(load, EndForce):
        return np.array([load.medial_n, load.anterior_n, load.proximal_n, 0.0, 0.0, 0.0])
    axes = {"torsion": (0, 0, 1), "frontal": (0, 1, 0), "sagittal": (-1, 0, 0)}
    axis = axes[load.plane if isinstance(load, Bending) else load.kind]
    return np.concatenate([np.zeros(3), 1000 * load.moment_nm * np.array(axis)])


def our_rule() -> ng.IntegrationRule:
    """The rule of our stiffness on curved cells, from scikit-fem: symmetric, so any corner comes first.

    Two rules of this order differ on curved cells, and displacements by it in the sixth digit.
    """
    points, weights = get_quadrature(RefTet, 4)
    return ng.IntegrationRule([tuple(point) for point in points.T], list(weights))


def check_displacements(both: Pair, stage: str, fields: dict[str, ng.GridFunction]) -> None:
    """At all nodes that carry anything, as a share of the largest displacement."""
    solid = [part["name"] in both.laws(stage) for part in both.stored.parts]
    nodes = np.unique(both.stored.cells[np.array(solid)[both.stored.part_of]])
    for load, field in fields.items():
        ours = both.stored.displacement[f"{stage}:{load}"]
        assert worst(ours[nodes], both.peer.at_nodes(field)[nodes]) < 1e-6, load


def check_results(both: Pair, stage: str, fields: dict[str, ng.GridFunction]) -> None:
    """Stiffness between the sections, and percentiles of strain in the tissue, each to 1e-4."""
    for load in both.case.loads:
        field = fields[load.name]
        what, expected = stiffness(both, load, field)
        found = {what: expected}
        if "gap" in both.laws(stage):
            found |= percentiles(*both.peer.strain_points(field, "gap"))
        for place, value in found.items():
            assert both.rows[stage, load.name, *place] == pytest.approx(value, rel=1e-4), (load, place)


def stiffness(both: Pair, load: Load, field: ng.GridFunction) -> tuple[tuple[str, str], float]:
    """Quantity with its place, and value, by the definitions in dictionary.csv."""
    low, high = geometry_of(both.case).sections
    moved = both.peer.motion(field, "proximal_section") - both.peer.motion(field, "distal_section")
    acting = wrench(load, both.case.femur)
    if isinstance(load, HipForce | EndForce):
        # Work of a force on a rigid top: force times movement plus moment times rotation.
        work = acting @ both.peer.motion(field, "proximal_end")
        return ("load_point_stiffness", "load_point"), acting[:3] @ acting[:3] / work
    if isinstance(load, Bending):
        bending = np.linalg.norm(acting[3:5])
        angle = moved[3:5] @ acting[3:5] / bending
        return ("bending_stiffness", "sections"), 1e-6 * bending * (high - low) / angle
    return ("torsional_stiffness", "sections"), 1e-3 * acting[5] / np.degrees(moved[5])


def percentiles(strain: Array, volumes: Array) -> dict[tuple[str, str], float]:
    """Percentiles by volume of strains that do not change sign, percent.

    The volumetric strain does, and a median near zero has no relative error.
    """
    e = np.linalg.eigvalsh(strain)
    octahedral = 2 / 3 * np.linalg.norm(e - np.roll(e, 1, axis=1), axis=1)
    found = {}
    for name, values in {"major": e[:, 2], "minor": e[:, 0], "octahedral": octahedral}.items():
        order = np.argsort(values)
        below = (np.cumsum(volumes[order]) - volumes[order] / 2) / volumes.sum()
        for share in (5, 50, 95):
            level = np.interp(share / 100, below, values[order])
            found[f"tissue_strain_{name}", f"p{share}"] = 100 * float(level)
    return found


# --- A short plate on bone that is softer across the shaft -------------------------------------------


@pytest.fixture(scope="module")
def short_plate(tmp_path_factory: pytest.TempPathFactory) -> Pair:
    out = tmp_path_factory.mktemp("short-plate")
    plated = {"kind": "plate", "name": "short-plate", "plate": SHORT_PLATE}
    return pair(out, plated, ["atrophic"], femur={"cortex": "transverse"})


def test_another_library_finds_the_same_solution(short_plate: Pair):
    fields = short_plate.solve("atrophic", our_rule())
    check_displacements(short_plate, "atrophic", fields)
    check_results(short_plate, "atrophic", fields)


# --- The demo's plate over a nail --------------------------------------------------------------------


@pytest.fixture(scope="module")
def nail_plate(tmp_path_factory: pytest.TempPathFactory) -> Pair:
    nail = {"diameter_mm": 10.0, "canal": "void", "bolts": {"fit": "tied"}}
    both = {"kind": "nail_plate", "name": "nail-10-plate", "nail": nail}
    return pair(tmp_path_factory.mktemp("nail-plate"), both, ["empty", "woven"])


@pytest.mark.slow
@pytest.mark.parametrize("stage", ["empty", "woven"])
def test_another_library_finds_the_same_solution_of_a_plate_over_a_nail(nail_plate: Pair, stage: str):
    fields = nail_plate.solve(stage, our_rule())
    check_displacements(nail_plate, stage, fields)
    check_results(nail_plate, stage, fields)


@pytest.mark.slow
def test_results_do_not_hang_on_our_rule(nail_plate: Pair):
    # NGSolve's own rule for curved cells, of the same order with other points.
    check_results(nail_plate, "woven", nail_plate.solve("woven"))


# --- A nail that touches the canal's wall ------------------------------------------------------------

NAIL_RADIUS, CLEARANCE = 5.0, 0.5
SAME_SURFACE = 0.02
OVERLAP_MM = 0.02  # of points, where stops keep the mean of a window from overlapping
# In two planes, and far enough for the nail to close its clearance.
CLOSING: list[dict[str, Any]] = [
    {"kind": "hip_force", "name": "hip", "force_n": 1000.0, "flexion_deg": 4.0},
    {"kind": "bending", "name": "frontal", "plane": "frontal", "moment_nm": 20.0},
]


@pytest.mark.slow
def test_another_library_finds_the_same_contact():
    nail = FEW_CELLS | {"diameter_mm": 2 * NAIL_RADIUS, "reaming_mm": 2 * CLEARANCE}
    construct = {"kind": "nail", "name": "n", "nail": nail | {"canal": "contact"}}
    # So narrow that the bore is the wall on both sides of the gap.
    bone = Femur(canal_diameter_mm=8.0, cortex="isotropic")
    case = replace(case_of(construct, "coarse", ("empty",), CLOSING), femur=bone)
    geometry = geometry_of(case)
    mesh = build_mesh(geometry, case.level)
    ((_, found),) = equilibria(Prepared.of(mesh, geometry, case), case, Clock())
    assert isinstance(found, Equilibrium)
    names, count = list(found.states), len(CLOSING)
    assert names == [load.name for load in case.loads]
    moved = {f"empty:{name}": found.displacement[:, :, k] for k, name in enumerate(names)}
    parts = tuple({"name": p.name, "role": p.role, "material": p.material} for p in mesh.parts)
    stored = Stored(mesh.nodes, mesh.cells, mesh.part_of, parts, moved)
    both = Pair(case, {}, stored, peer_of(stored, case))

    # Each load with the forces of the stops, and once more without.
    forces = np.zeros((*mesh.nodes.shape, 2 * count))
    for stop in found.basis.pairs:
        forces[stop.nodes, :, :count] += stop.forces
    wrenches = np.tile([wrench(load, case.femur) for load in case.loads], (2, 1))
    fields = both.peer.solve(both.laws("empty"), wrenches, our_rule(), forces)
    check_displacements(both, "empty", dict(zip(names, fields[:count], strict=True)))
    over = [overlap(stored, both.peer.at_nodes(field)) for field in fields]
    assert np.abs(over[:count]).max() < OVERLAP_MM  # each touches, and no more
    assert min(over[count:]) > 10 * OVERLAP_MM


def overlap(stored: Stored, moved: Array) -> float:
    """Farthest that nodes of the nail pass through the canal's wall, mm; negative: what is left.

    Each against the wall at the same azimuth and height, between the wall's nodes there.
    """
    radius, turn = np.hypot(*stored.nodes[:, :2].T), np.arctan2(*stored.nodes[:, 1::-1].T)
    out = np.stack([np.cos(turn), np.sin(turn), 0 * turn], axis=1)
    unrolled = np.stack([NAIL_RADIUS * turn, stored.nodes[:, 2]], axis=1)
    round_once = np.array([2 * np.pi * NAIL_RADIUS, 0.0])

    def on(part: str, size: float) -> Array:
        number = [one["name"] for one in stored.parts].index(part)
        own = np.unique(stored.cells[stored.part_of == number])
        return own[np.abs(radius[own] - size) < SAME_SURFACE]

    nail, worst_of = on("nail", NAIL_RADIUS), []
    for side in ("distal", "proximal"):
        wall = on(f"cortex_{side}", NAIL_RADIUS + CLEARANCE)
        places = np.concatenate([unrolled[wall] + k * round_once for k in (-1, 0, 1)])
        at_wall = LinearNDInterpolator(places, np.tile(moved[wall], (3, 1)))(unrolled[nail])
        closing = np.einsum("ni,ni->n", moved[nail] - at_wall, out[nail])
        worst_of.append(np.nanmax(closing) - CLEARANCE)
    return float(max(worst_of))
