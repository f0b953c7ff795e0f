"""Where a result leaves the range in which this model means anything."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping

import numpy as np

from pipeline.fem.mesh import Mesh
from pipeline.fem.space import Array
from pipeline.measures.dictionary import Measure

SLAB_MM = 10.0
SMALL_STRAIN, OVERLAP, OPENING = 10.0, 100.0, 0.1  # percent of the gap
SMALL_ROTATION_DEG = 10.0  # of which the sine is half a percent less than the angle


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
    found: dict[str, dict[str, float]] = defaultdict(dict)
    for one in measures:
        found[one.quantity][one.location] = one.value
    yield from _strained(found["rim_strain"], has_tissue=has_tissue, can_overlap=can_overlap)
    yield from _beyond(found)
    if nail is not None:
        moved = float(np.linalg.norm(nail[0] @ shares, axis=1).max())
        if moved > nail[1]:
            yield f"nail moves {moved:.2f} mm in {nail[1]:.2f} mm clearance: it would touch"


def _strained(rim: Mapping[str, float], *, has_tissue: bool, can_overlap: bool) -> Iterator[str]:
    """Doubts on the gap, by its largest strains round the rim."""
    way, most = max(rim.items(), key=lambda one: one[1], default=("", 0.0))
    if most > SMALL_STRAIN:
        yield f"gap strain {most:.0f} % ({way}, at the rim), beyond small strains"
    if can_overlap and rim.get("closing", 0.0) > OVERLAP:
        yield "bone ends overlap"
    if has_tissue and rim.get("opening", 0.0) > OPENING:
        yield "bonded gap tissue is pulled"


def _beyond(found: Mapping[str, Mapping[str, float]]) -> Iterator[str]:
    """Doubts on what is no longer small or elastic."""
    octahedral = found["tissue_strain_octahedral"].items()
    shear = max((value for place, value in octahedral if place.endswith("p95")), default=0.0)
    if shear > SMALL_STRAIN:
        yield f"tissue shear {shear:.0f} % or more in a twentieth of it, beyond small strains"
    turned = max(map(abs, found["gap_rotation"].values()), default=0.0)
    if turned > SMALL_ROTATION_DEG:
        yield f"bone ends turn by {turned:.0f}°, beyond small rotations"
    for part, factor in found["yield_factor"].items():
        if factor < 1:
            yield f"{part}: yield factor {factor:.2f}, beyond the elastic"
