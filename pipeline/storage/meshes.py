"""Meshes on disk, for cases of a run that differ only in tissue, material or load.

A mesh lies in ``DIR/meshes/KEY.npz``, plain arrays in a zip whose own checksums are proved when it is
read. If it could not be made, ``KEY.txt`` says why.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

from geometries.solids import Geometry
from pipeline.arrays import read_arrays
from pipeline.errors import MeshError
from pipeline.fem.mesh import Mesh, MeshPart
from pipeline.fem.meshing.sizes import Level
from pipeline.storage.files import in_place
from pipeline.storage.provenance import mesh_key

PATCH = "patch:"


def write_mesh(folder: Path, key: str, mesh: Mesh) -> None:
    """Write a mesh; whole or not."""
    scalars = {"vertex_count": mesh.vertex_count, "relaxed": mesh.relaxed, "recipe": mesh.recipe}
    arrays = {
        "nodes": mesh.nodes,
        "cells": mesh.cells,
        "part_of": mesh.part_of,
        "exact_volumes": np.array([part.exact_volume for part in mesh.parts]),
        **{name: np.array(value) for name, value in scalars.items()},
        **{PATCH + name: faces for name, faces in mesh.patches.items()},
    }
    with in_place(folder / f"{key}.npz") as draft:
        folder.mkdir(parents=True, exist_ok=True)
        with draft.open("wb") as file:
            np.savez(file, allow_pickle=False, **arrays)


def write_failure(folder: Path, key: str, reason: str) -> None:
    """Leave word that a mesh can not be made."""
    with in_place(folder / f"{key}.txt") as draft:
        folder.mkdir(parents=True, exist_ok=True)
        draft.write_text(reason, encoding="utf-8")


def read_mesh(folder: Path, geometry: Geometry, level: Level) -> Mesh | None:
    """Read the mesh of a geometry, with this geometry's materials; None if there is no sound one.

    Raises
    ------
    MeshError
        If it could not be made.
    """
    key = mesh_key(geometry, level)
    if (folder / f"{key}.txt").exists():
        raise MeshError((folder / f"{key}.txt").read_text(encoding="utf-8"))
    try:
        arrays = read_arrays(folder / f"{key}.npz")
    except (OSError, ValueError):
        return None
    parts = tuple(
        MeshPart(part.name, part.role, part.material, float(volume))
        for part, volume in zip(geometry.parts, arrays["exact_volumes"], strict=True)
    )
    return Mesh(
        nodes=arrays["nodes"],
        cells=arrays["cells"],
        part_of=arrays["part_of"],
        parts=parts,
        patches={
            name.removeprefix(PATCH): faces for name, faces in arrays.items() if name.startswith(PATCH)
        },
        vertex_count=int(arrays["vertex_count"]),
        relaxed=int(arrays["relaxed"]),
        bow=geometry.bow,
        recipe=str(arrays["recipe"]),
    )
