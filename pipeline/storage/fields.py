"""Fields of a case, for any viewer of VTK data."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import meshio
import numpy as np

from pipeline.fem.mesh import Mesh
from pipeline.fem.space import Array
from pipeline.storage.files import in_place


def write_fields(
    path: Path, mesh: Mesh, point_fields: Mapping[str, Array], cell_fields: Mapping[str, Array]
) -> None:
    """Write mesh and fields at nodes (n, ...) and in cells (m, ...) as VTU in single precision.

    Each cell carries the number of its part. The file is whole or not there.
    """
    single = np.float32
    written = meshio.Mesh(
        mesh.nodes,
        [("tetra10", mesh.cells)],
        point_data={name: values.astype(single) for name, values in point_fields.items()},
        cell_data={
            "part": [mesh.part_of.astype(np.int32)],
            **{name: [values.astype(single)] for name, values in cell_fields.items()},
        },
    )
    with in_place(path) as draft:
        written.write(draft, file_format="vtu")
