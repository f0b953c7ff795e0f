"""Stress in the implants, without the peaks that have no value, against published limits."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cache, cached_property

import numpy as np

from geometries.materials import MATERIALS, Strength
from geometries.solids import IMPLANT_ROLES
from pipeline.fem.kernels.tensors import von_mises_of
from pipeline.fem.mesh import Mesh
from pipeline.fem.space import Array, Flags, fine_rule, shape
from pipeline.fem.tetrahedra import Tetrahedra, highest_von_mises
from pipeline.measures.dictionary import Measure
from pipeline.measures.factored import Factored, combined
from pipeline.measures.field import level_exceeded, percentiles

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
    body : Tetrahedra
        Its m cells and k nodes.
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
    body: Tetrahedra
    displacement: Array | Factored
    elasticity: Array
    strength: Strength | None
    elsewhere: float = 0.0

    def through(self, states: Array) -> DeformedImplant:
        """The same where the columns are sums (columns, states) of these."""
        moved = self.displacement
        whole = moved @ states if isinstance(moved, np.ndarray) else moved.through(states)
        return replace(self, displacement=whole)

    def stresses(self, shares: Array) -> Iterator[Stressed]:
        """The part under each load, from shares of the columns (columns, loads)."""
        for start in range(0, shares.shape[1], AT_ONCE):
            every = combined(self.displacement, shares[:, start : start + AT_ONCE])
            for moved in np.moveaxis(every, 2, 0):
                yield Stressed(self, moved, self.body.von_mises(moved, self.elasticity))


@dataclass(frozen=True)
class Stressed:
    """One implant part under one load.

    Parameters
    ----------
    part : DeformedImplant
        Which.
    moved : Array
        Movement of its nodes (k, 3), mm.
    stress : Array
        Von Mises stress of its cells at four points each (m, 4), MPa.
    """

    part: DeformedImplant
    moved: Array
    stress: Array

    @cached_property
    def levels(self) -> tuple[float, float, float]:
        """Levels that all but 1 %, 0.1 % and 5 mm³ of the part do not exceed, MPa, by four points."""
        volume = self.part.body.volume.ravel()
        stress, volume = _with_nothing(self.stress.ravel(), volume, self.part.elsewhere)
        shares = 0.99, 0.999, max(0.0, 1 - HOT_VOLUME_MM3 / float(volume.sum()))
        p99, p99_9, hot = percentiles(stress, volume, shares)
        return p99, p99_9, hot

    @property
    def hot_level(self) -> float:
        """Level exceeded in 5 mm³, MPa.

        Where stress is steep, four points to a cell find it to some percent only: cells that the level
        may pass through are split into 64, many of them into eight, which finds it to half a percent.
        Between the nodes of a cell stress is quadratic here; within a straight cell it is linear.
        """
        body, stress, (*_, level) = self.part.body, self.stress, self.levels
        low, high = stress.min(axis=1), stress.max(axis=1)
        beyond = high - low  # outside of the points
        passes = (high + beyond >= LIKELY * level) & (low - beyond <= level / LIKELY)
        between, weights = _split(1 if np.count_nonzero(passes) > ENOUGH else 2)
        at_nodes, det = body.at_nodes(passes, self.moved, self.part.elasticity)
        volume, highest = det @ between * weights, highest_von_mises(at_nodes)
        for floor in (LIKELY * level, 0.0):
            near = highest >= floor
            fine = von_mises_of(np.tensordot(at_nodes[near], between, axes=(1, 0)))
            values = np.append(fine, stress[~passes])
            volumes = np.append(volume[near], body.volume[~passes])
            elsewhere = self.part.elsewhere + float(volume[~near].sum())
            found = level_exceeded(*_with_nothing(values, volumes, elsewhere), HOT_VOLUME_MM3)
            if ((values >= floor) & (values <= found)).any():
                break  # what is below the floor, wherever it is, lies below the next lower value too
        return found


def _with_nothing(stress: Array, volume: Array, elsewhere: float) -> tuple[Array, Array]:
    """Stresses and volumes with a volume that has no stress of note, if there is such."""
    if not elsewhere:
        return stress, volume
    return np.append(stress, 0.0), np.append(volume, elsewhere)


@cache
def _split(times: int) -> tuple[Array, Array]:
    """Shape functions (10, p) at the points of a cell that is split into 8ᵗ, and their weights (p,)."""
    points, weights = fine_rule(times)
    return np.ascontiguousarray(shape(points).T), weights


def implants(mesh: Mesh, elasticity: Array, displacement: Array) -> tuple[DeformedImplant, ...]:
    """Every implant part of a mesh, under displacements (n, 3, columns), mm."""
    found = []
    for index, part in enumerate(mesh.parts):
        if part.role in IMPLANT_ROLES:
            cells = mesh.cells[mesh.part_of == index]
            nodes, place = np.unique(cells, return_inverse=True)
            found.append(
                DeformedImplant(
                    part.name, Tetrahedra(mesh.nodes[nodes], place.reshape(cells.shape)),
                    displacement[nodes], elasticity[index], MATERIALS[part.material].strength,
                )
            )  # fmt: skip
    return tuple(found)


def implant_stress(implant: DeformedImplant, shares: Array) -> Iterator[Measure]:
    """Percentiles by volume and the level exceeded in 5 mm³ of one implant part, and its factors."""
    (stressed,) = implant.stresses(shares[:, None])
    name, strength, hot = implant.name, implant.strength, stressed.hot_level
    p99, p99_9, _ = stressed.levels
    yield Measure("von_mises_p99", name, p99)
    yield Measure("von_mises_p99_9", name, p99_9)
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
        first[:, step] = finer[:, step] = [one.levels[-1] for one in read]
        likely = turns[step] & (first[:, step] >= MAY_BE_HIGHEST * first[:, step].max())
        for k in np.flatnonzero(likely).tolist():
            finer[k, step] = read[k].hot_level
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
