"""Contact on meshes: a cantilever in a ring, a nail in its holes, and what every stop must keep."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from math import degrees, pi

import numpy as np
import pytest

from geometries.materials import MATERIALS
from geometries.solids import Geometry, Part, Patch, Piece, cylinder
from geometries.stops import Line, Round, Stop
from pipeline.errors import SolveError
from pipeline.fem import stiffness as elastic
from pipeline.fem.contact.bodies import Floating
from pipeline.fem.contact.states import State
from pipeline.fem.contact.touching import Touching
from pipeline.fem.contact.windows import Stops
from pipeline.fem.loads import resultant, unit_loads
from pipeline.fem.mesh import Mesh
from pipeline.fem.meshing.mesher import build_mesh
from pipeline.fem.solver.solve import Solver
from pipeline.fem.space import Array
from pipeline.measures.motion import face_motion
from tests.models import end_held, halved, plain_resultant

# --- A cantilever tube in a ring ------------------------------------------------------------------

L, AT, OUTER, INNER, ROOM = 150.0, 90.0, 9.0, 4.0, 0.4
SLEEVE = 24.0


@dataclass(frozen=True)
class Solved:
    """A mesh, its stops and the state under any load."""

    mesh: Mesh
    geometry: Geometry
    solver: Solver
    first: Touching

    def settle(self, load: Array) -> tuple[Touching, State]:
        """Equilibrium under a load."""
        touching, found = self.first.settle(self.solver, {"load": load})
        state = found["load"]
        if isinstance(state, SolveError):
            raise state
        return touching, state


@cache
def cantilever(*, is_halved: bool = False) -> Solved:
    """A titanium tube clamped at its foot inside a stiff sleeve, which it meets at one height."""
    up = (0.0, 0.0, 1.0)
    axis = Line((0.0, 0.0, 0.0), up, up)

    def tube(outer: float, inner: float, length: float) -> tuple[Piece, ...]:
        along = (0.0, 0.0, length)
        return (
            Piece(cylinder((0.0, 0.0, 0.0), along, outer), (cylinder((0.0, 0.0, 0.0), along, inner),)),
        )

    bore = OUTER + 2 * ROOM
    parts = (
        Part("cortex_distal", "cortex", "cobalt", tube(SLEEVE, bore, AT), (SLEEVE - bore) / 2),
        Part("nail", "nail", "titanium", tube(OUTER, INNER, L), (OUTER - INNER) / 2),
    )
    windows = tuple(
        Round(axis, AT - 5, AT, radius, is_outside)
        for radius, is_outside in ((OUTER / 2, True), (bore / 2, False))
    )
    point = (0.0, 0.0, AT)
    ring = Stop(
        "ring", (("nail",), ("cortex_distal",)), windows, (point, point),
        ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0)), ROOM, (0.0, 0.0),
    )  # fmt: skip
    patches = (
        Patch("distal_end", 0.0, ("cortex", "nail")), Patch("proximal_end", L, ("nail",)),
    )  # fmt: skip
    geometry = Geometry(
        parts, patches, L, (0.0, L), None, {}, void=(OUTER / 2, bore / 2, ROOM), stops=(ring,)
    )
    mesh = build_mesh(geometry, "coarse")
    mesh = halved(mesh) if is_halved else mesh
    elasticity = np.stack([MATERIALS[part.material].elasticity for part in parts])
    stiffness = elastic.assemble(mesh, elastic.Pattern.of(mesh), elasticity)
    solver = Solver.of(mesh, stiffness, end_held(mesh))
    units = unit_loads(mesh, "proximal_end", np.array([0.0, 0.0, L]))
    first = Touching.of(solver, Stops.of(mesh, geometry.stops), Floating.of(mesh, []), units, ())
    return Solved(mesh, geometry, solver, first)


def beam() -> tuple[float, float, float]:
    """Deflection of a tip-loaded cantilever at the ring and the tip, and of the ring by its own force.

    Bending, F a² (3 L - a) / 6 E I and so on, plus shear F a / (G A / 2) with the factor of a thin tube
    (any handbook; that factor takes 1 % of the deflection here).
    """
    titanium = MATERIALS["titanium"]
    E, G = titanium.modulus, titanium.modulus / 2 / (1 + titanium.poisson)
    inertia, A = pi / 64 * (OUTER**4 - INNER**4), pi / 4 * (OUTER**2 - INNER**2)
    sleeve = MATERIALS["cobalt"].modulus * pi / 64 * (SLEEVE**4 - (OUTER + 2 * ROOM) ** 4)
    shear = 1 / (0.5 * G * A)
    at_ring = AT**2 * (3 * L - AT) / (6 * E * inertia) + AT * shear
    at_tip = L**3 / (3 * E * inertia) + L * shear
    own = AT**3 / (3 * E * inertia) + AT * shear + AT**3 / (3 * sleeve)
    return at_ring, at_tip, own


def along_x(newtons: float) -> Array:
    return np.array([newtons, 0, 0, 0, 0, 0])


def tip(solved: Solved, touching: Touching, state: State) -> Array:
    moved = face_motion(solved.mesh, "proximal_end", touching.columns).translation
    return np.asarray(moved @ state.shares)


@pytest.mark.parametrize("newtons", [15.0, 400.0, -400.0])
def test_a_cantilever_in_a_ring(newtons: float):
    # Force method: the ring bears once F w > c, with (F w - c) / C.
    solved, (at_ring, at_tip, own) = cantilever(), beam()
    touching, state = solved.settle(along_x(newtons))
    force = max(abs(newtons) * at_ring - ROOM, 0.0) / own
    deflection = abs(newtons) * at_tip - force * at_ring
    moved = tip(solved, touching, state)
    assert moved[0] == pytest.approx(np.sign(newtons) * deflection, rel=0.02)
    pushed = state.forces.get(0, np.zeros(2))
    assert pushed[0] == pytest.approx(-np.sign(newtons) * force, rel=0.02)
    assert bool(force) == (abs(newtons) > 100)  # one of the loads is free, the others bear
    assert abs(pushed[1]) < 0.01 * abs(newtons)


def test_the_ring_closes_at_the_load_of_the_beam():
    solved, (at_ring, _, _) = cantilever(), beam()
    touching, _ = solved.settle(along_x(400.0))
    low, high = 1.0, 400.0
    while high - low > 1e-3:
        middle = (low + high) / 2
        low, high = (low, middle) if touching.under(along_x(middle)).forces else (middle, high)
    assert high == pytest.approx(ROOM / at_ring, rel=0.02)


def test_turning_the_load_turns_the_answer():
    # The tube is round; its mesh is not quite, by much less than a per cent.
    solved = cantilever()
    plain, state = solved.settle(along_x(400.0))
    size = float(np.linalg.norm(state.forces[0]))
    for azimuth in (35.0, 100.0):
        turn = np.radians(azimuth)
        load = 400.0 * np.array([np.cos(turn), np.sin(turn), 0, 0, 0, 0])
        _, other = solved.settle(load)
        x, y = -other.forces[0]
        assert np.hypot(x, y) == pytest.approx(size, rel=0.01)
        assert degrees(np.arctan2(y, x)) == pytest.approx(azimuth, abs=0.5)
    assert plain.chosen == (0,)


def test_the_opposite_load_finds_the_opposite_state():
    solved = cantilever()
    touching, state = solved.settle(along_x(400.0))
    back = touching.under(along_x(-400.0))
    assert back.shares == pytest.approx(-state.shares, rel=1e-9)


def test_the_order_and_company_of_loads_do_not_matter():
    solved = cantilever()
    loads = {name: along_x(size) for name, size in (("a", 400.0), ("b", -60.0), ("c", 900.0))}
    _, one = solved.first.settle(solved.solver, loads)
    _, other = solved.first.settle(solved.solver, dict(reversed(loads.items())))
    _, alone = solved.first.settle(solved.solver, {"a": loads["a"]})
    for name in loads:
        assert np.array_equal(one[name].shares, other[name].shares)
    assert alone["a"].shares == pytest.approx(one["a"].shares, rel=1e-6)


def test_unit_forces_of_a_stop_balance_and_its_compliance_is_symmetric():
    solved = cantilever()
    stops, about = solved.first.stops, np.array([3.0, -7.0, 40.0])
    forces = stops.forces(stops.columns([0]))
    assert np.abs(plain_resultant(solved.mesh.nodes, forces, about)).max() < 1e-10
    on_nail = np.unique(solved.mesh.cells[solved.mesh.cells_of("nail")])
    half = resultant(solved.mesh.nodes[on_nail], forces[on_nail], np.array([0.0, 0.0, AT]))
    assert half == pytest.approx(np.eye(6)[:, :2], abs=1e-10)
    touching, _ = solved.settle(along_x(400.0))
    C = touching.moved[:, 6:8]
    assert abs(C[0, 1] - C[1, 0]) < 1e-8 * abs(C).max()


def test_no_surface_overlaps_at_any_node_of_the_wall():
    # Pointwise, not by windows: radius of every node of the nail's surface inside the sleeve, moved,
    # against that of the sleeve's nearest node. Windows average over 5 mm, on which the tube bends by
    # less than 0.01 mm.
    solved = cantilever()
    touching, state = solved.settle(along_x(900.0))
    u = touching.columns @ state.shares
    x = solved.mesh.nodes
    radius = np.hypot(x[:, 0], x[:, 1])
    inside = x[:, 2] < AT + 1e-6
    nail = np.flatnonzero(inside & (np.abs(radius - OUTER / 2) < 0.02))
    wall = np.flatnonzero(inside & (np.abs(radius - OUTER / 2 - ROOM) < 0.02))
    turned = [np.stack([x[k, 2], 4 * np.arctan2(x[k, 1], x[k, 0])], axis=1) for k in (nail, wall)]
    facing = np.linalg.norm(turned[0][:, None] - turned[1][None], axis=2).argmin(axis=1)
    out = x[nail, :2] / radius[nail, None]
    closing = np.einsum("ki,ki->k", u[nail, :2] - u[wall[facing], :2], out)
    assert closing.max() == pytest.approx(ROOM, abs=0.02)
