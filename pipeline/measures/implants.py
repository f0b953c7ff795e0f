"""Stress in the implants, without the peaks that have no value, against published limits."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from geometries.materials import MATERIALS, Strength
from geometries.solids import IMPLANT_ROLES
from pipeline.fem.mesh import Mesh
from pipeline.fem.space import Array, Flags, Ints, cell_nodes, cell_rule, fine_rule, shape, strains
from pipeline.measures.dictionary import Measure
from pipeline.measures.factored import Factored, combined
from pipeline.measures.field import ORDER, level_exceeded, percentile, von_mises

HOT_VOLUME_MM3 = 5.0
ENOUGH = 800  # cells through which a hot level may pass, of which eighths are small enough
LIKELY = 0.95  # of a first level, that a cell must come near to count
MAY_BE_HIGHEST = 0.8  # of the highest first level, from which a part may have the highest in the end
AT_ONCE = 8  # loads whose displacements are held in memory


@dataclass(frozen=True)
class DeformedImplant:
    """One implant part as deformed under the columns of a stage.

    Parameters
    ----------
    name : str
        The part.
    nodes : Array
        Its nodes (k, 3), mm.
    cells : Ints
        Its cells (m, 10).
    displacement : Array or Factored
        Of its nodes (k, 3, columns), mm.
    elasticity : Array
        Stress over strain (6, 6), MPa.
    strength : Strength or None
        Limits of its material.
    elsewhere : float
        Volume that is left out, mm³: of cells whose stress is never among the highest.
    """

    name: str
    nodes: Array
    cells: Ints
    displacement: Array | Factored
    elasticity: Array
    strength: Strength | None
    elsewhere: float = 0.0

    def stresses(self, shares: Array) -> Iterator[tuple[Array, Array, Array]]:
        """Von Mises stress (m, q), MPa, volumes (m, q), mm³, and movement (k, 3, 1) under each load.

        Parameters
        ----------
        shares : Array
            Shares of the columns (columns, loads).
        """
        for start in range(0, shares.shape[1], AT_ONCE):
            moved = combined(self.displacement, shares[:, start : start + AT_ONCE])
            points, weights = cell_rule(ORDER)
            stress, det = self._read(self.cells, moved, points)
            level = von_mises(stress)
            for load in range(moved.shape[2]):
                yield np.ascontiguousarray(level[..., load]), det * weights, moved[..., [load]]

    def hot_level(self, stress: Array, volume: Array, moved: Array) -> float:
        """Level exceeded in 5 mm³, MPa, under one load as `stresses` yields it.

        Where stress is steep, four points to a cell find it to some percent only: cells that the level
        may pass through are split into 64, many of them into eight, which finds it to half a percent.
        Between the nodes of a cell stress is quadratic here; within a straight cell it is linear.
        """
        level = self.first_level(stress, volume)
        beyond = np.ptp(stress, axis=1)  # outside of the points
        passes = stress.max(axis=1) + beyond >= LIKELY * level
        passes &= stress.min(axis=1) - beyond <= level / LIKELY
        points, weights = fine_rule(1 if np.count_nonzero(passes) > ENOUGH else 2)
        at_nodes, det = self._read(self.cells[passes], moved, cell_nodes())
        between = shape(points)
        fine, parts = von_mises(between @ at_nodes[..., 0, :]), det @ between.T * weights
        values = np.append(fine, stress[~passes])
        volumes = np.append(parts, volume[~passes])
        return level_exceeded(*self._whole(values, volumes), HOT_VOLUME_MM3)

    def first_level(self, stress: Array, volume: Array) -> float:
        """Level exceeded in 5 mm³ as four points to a cell tell it, MPa."""
        return level_exceeded(*self._whole(stress, volume), HOT_VOLUME_MM3)

    def percentile(self, stress: Array, volume: Array, share: float) -> float:
        """Level that a share of the part does not exceed, MPa."""
        return percentile(*self._whole(stress, volume), share)

    def _whole(self, stress: Array, volume: Array) -> tuple[Array, Array]:
        """Stresses and volumes of all of the part, one by one."""
        if not self.elsewhere:
            return stress.ravel(), volume.ravel()
        return np.append(stress, 0.0), np.append(volume, self.elsewhere)

    def _read(self, cells: Ints, moved: Array, points: Array) -> tuple[Array, Array]:
        """Stress (m, q, loads, 6) and determinants (m, q) of some cells at reference points (q, 3)."""
        strain, det = strains(self.nodes, cells, moved, points)
        return np.moveaxis(strain, 2, -1) @ self.elasticity, det  # which is symmetric


def implants(mesh: Mesh, elasticity: Array, displacement: Array) -> tuple[DeformedImplant, ...]:
    """Every implant part of a mesh, under displacements (n, 3, columns), mm."""
    found = []
    for index, part in enumerate(mesh.parts):
        if part.role in IMPLANT_ROLES:
            cells = mesh.cells[mesh.part_of == index]
            nodes, place = np.unique(cells, return_inverse=True)
            found.append(
                DeformedImplant(
                    part.name, mesh.nodes[nodes], place.reshape(cells.shape), displacement[nodes],
                    elasticity[index], MATERIALS[part.material].strength,
                )
            )  # fmt: skip
    return tuple(found)


def implant_stress(implant: DeformedImplant, shares: Array) -> Iterator[Measure]:
    """Percentiles by volume and the level exceeded in 5 mm³ of one implant part, and its factors."""
    ((stress, volume, moved),) = implant.stresses(shares[:, None])
    name, strength, hot = implant.name, implant.strength, implant.hot_level(stress, volume, moved)
    for quantity, share in (("von_mises_p99", 0.99), ("von_mises_p99_9", 0.999)):
        yield Measure(quantity, name, implant.percentile(stress, volume, share))
    yield Measure("von_mises_5mm3", name, hot)
    if strength is not None and hot > 0:
        yield Measure("yield_factor", name, strength.yield_stress / hot)
        for case, limit in zip(("notched", "smooth"), strength.endurance, strict=True):
            yield Measure("endurance_factor", f"{name}/{case}", goodman(hot, limit, strength.ultimate))


def hottest(
    parts: Sequence[DeformedImplant], shares: Array, turns: Flags
) -> list[tuple[float | None, str]]:
    """Highest stress level exceeded in 5 mm³ of any implant, MPa, and whose, as loads grow.

    Parameters
    ----------
    parts : sequence of DeformedImplant
        All implants.
    shares : Array
        Shares of the columns (columns, steps).
    turns : array of bool
        Steps (steps,) at which a load begins, ends or changes what bears. Their levels are read finely;
        between them, where an answer is straight, four points to a cell are off by a share that hardly
        changes.
    """
    if not parts:
        return [(None, "")] * shares.shape[1]
    first, finer = np.empty((2, len(parts), shares.shape[1]))
    for step, read in enumerate(zip(*(part.stresses(shares) for part in parts), strict=True)):
        first[:, step] = finer[:, step] = [
            part.first_level(stress, volume)
            for part, (stress, volume, _) in zip(parts, read, strict=True)
        ]
        likely = turns[step] & (first[:, step] >= MAY_BE_HIGHEST * first[:, step].max())
        for k in np.flatnonzero(likely).tolist():
            finer[k, step] = parts[k].hot_level(*read[k])
    ratio = np.divide(finer, first, out=np.ones(first.shape), where=first > 0)
    every, levels = np.arange(len(turns)), first.copy()
    for own, share in zip(levels, ratio, strict=True):
        at = np.flatnonzero(turns & (own > 0))
        if len(at):
            own *= np.interp(every, at, share[at])
    highest = levels.argmax(axis=0)
    return [(float(levels[k, step]), parts[k].name) for step, k in enumerate(highest)]


def goodman(peak: float, endurance: float, ultimate: float) -> float:
    """Factor against fatigue of a stress that pulsates between zero and a peak, after Goodman.

    Amplitude and mean are half of the peak each; the factor's inverse is amplitude / endurance + mean /
    ultimate, all MPa (read on open pages on machine design).
    """
    return 1 / (peak / 2 / endurance + peak / 2 / ultimate)
