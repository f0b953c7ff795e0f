"""The ways in which a mesh is tried, and that the mesh says which was taken."""

from __future__ import annotations

from pathlib import Path

import pytest

from geometries.assembly import assemble
from geometries.bone import Defect, Femur
from geometries.constructs import PlateConstruct
from geometries.plating import Plate, Screws
from geometries.solids import Geometry
from pipeline.errors import MeshError
from pipeline.fem.mesh import Mesh
from pipeline.fem.meshing import mesher
from pipeline.fem.meshing.recipe import Recipe
from pipeline.fem.meshing.sizes import LEVELS
from pipeline.storage.meshes import read_mesh, write_mesh
from pipeline.storage.provenance import mesh_key

FIRST = Recipe(LEVELS["coarse"])


def test_without_a_place_all_edges_get_shorter_and_surfaces_are_meshed_otherwise() -> None:
    then = FIRST.after(MeshError("anything"))
    assert str(FIRST) == "frontal surfaces"
    assert str(then) == "Delaunay surfaces, seams at 37 deg; edges at 0.82 of their length"
    assert then.sizes.longest == pytest.approx(0.82 * FIRST.sizes.longest)


def test_at_a_place_edges_get_shorter_there_and_shorter_again() -> None:
    of_a_part = FIRST.after(MeshError("volume", ("gap",)))
    again = of_a_part.after(MeshError("surfaces meet", (5.0,))).after(MeshError("volume", ("gap",)))
    assert str(of_a_part) == "frontal surfaces; at 0.70 in gap"
    assert again.closer == pytest.approx({"gap": 0.49, 5.0: 0.85})
    assert again.sizes == FIRST.sizes
    assert again.turns == 1


def test_a_mesh_says_how_it_was_made_and_keeps_it(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    made, fails = mesher.mesh_once, iter([True])

    def once(geometry: Geometry, recipe: Recipe) -> Mesh:
        if next(fails, False):
            raise MeshError("gmsh: made up")
        return made(geometry, recipe)

    monkeypatch.setattr(mesher, "mesh_once", once)
    short = Plate(hole_count=4, screws=Screws(holes=(2,)))
    plain = PlateConstruct(name="plate", kind="plate", plate=short)
    geometry = assemble(plain, Femur(), Defect())
    mesh = mesher.build_mesh(geometry, "coarse")
    assert mesh.recipe == str(FIRST.after(MeshError("anything")))
    write_mesh(tmp_path, mesh_key(geometry, "coarse"), mesh)
    kept = read_mesh(tmp_path, geometry, "coarse")
    assert kept is not None
    assert kept.recipe == mesh.recipe == kept.facts["mesh_recipe"]
