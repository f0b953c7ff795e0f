"""Where a result leaves the range in which this model means anything."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from pipeline.fem.mesh import Mesh
from pipeline.fem.space import Array
from pipeline.measures.dictionary import Measure

SLAB_MM = 10.0
SMALL_STRAIN, OVERLAP, OPENING = 10.0, 100.0, 0.1  # percent of the gap


def clearance_use(mesh: Mesh, displacement: Array) -> Array:
    """Movement of the nail across the canal, slab by slab (slabs, 2, loads), mm.

    The mean displacement of the nail's nodes less that of the cortex's, at the same height.
    """
    means = []
    for cells in (mesh.cells_of("nail"), mesh.cells_of("cortex")):
        nodes = np.unique(mesh.cells[cells])
        slab = (mesh.nodes[nodes, 2] / SLAB_MM).astype(int)
        count = np.bincount(slab, minlength=100)
        flat = displacement[nodes, :2].reshape(len(nodes), -1)
        sums = np.stack([np.bincount(slab, column, 100) for column in flat.T], axis=1)
        with np.errstate(invalid="ignore"):
            means.append(sums / count[:, None])
    apart = means[0] - means[1]
    return apart[np.isfinite(apart).all(axis=1)].reshape(-1, 2, displacement.shape[2])


def flags(
    measures: list[Measure],
    nail: tuple[Array, float] | None,
    shares: Array,
    *,
    has_tissue: bool,
    can_overlap: bool,
) -> Iterator[str]:
    """Sentences on a load's results; none where the model holds.

    Parameters
    ----------
    measures : list of Measure
        All measures of the load.
    nail : (Array, float) or None
        Movement of the nail across the canal (slabs, 2, columns) and the clearance, mm; None where
        stops keep it in the canal, or nothing does.
    shares : Array
        Shares of the columns.
    has_tissue : bool
        Whether bonded tissue fills the gap.
    can_overlap : bool
        Whether nothing keeps the bone ends from passing through each other.
    """
    strains = [m.value for m in measures if m.quantity == "interfragmentary_strain"]
    if strains and max(map(abs, strains)) > SMALL_STRAIN:
        yield f"gap strain {max(strains, key=abs):.0f} %, beyond small strains"
    if strains and min(strains) < -OVERLAP and can_overlap:
        yield "bone ends overlap"
    if strains and has_tissue and max(strains) > OPENING:
        yield "bonded gap tissue is pulled"
    if nail is not None:
        moved = float(np.linalg.norm(nail[0] @ shares, axis=1).max())
        if moved > nail[1]:
            yield f"nail moves {moved:.2f} mm in {nail[1]:.2f} mm clearance: it would touch"
