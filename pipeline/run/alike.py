"""Cases that differ in materials, loads and play: few are solved in full, a twin answers for the rest.

Where the twin is not sure, or does not cover a stage, that is solved in full too, and its rows say so.
"""

from __future__ import annotations

import logging
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from math import inf
from pathlib import Path

import numpy as np

from geometries.errors import StudyError
from geometries.solids import Geometry
from pipeline.fem.space import Array
from pipeline.loading.loads import Load
from pipeline.measures.columns import REDUCED, UNKNOWN
from pipeline.measures.error_classes import ErrorBar
from pipeline.reduced.model import BeyondError
from pipeline.reduced.twin import Twin
from pipeline.run.case import Case
from pipeline.run.clock import Clock
from pipeline.run.equilibrium import Prepared, part_elasticity, stages_of
from pipeline.run.jobs import MESHES, Outcome, complete_case
from pipeline.run.record import REDUCED_STAGES, store_case
from pipeline.run.reducing import reduced_twin
from pipeline.run.solving import CaseResult, Measured, mesh_of, run_case
from pipeline.run.twins import TwinMeasure, TwinStage
from pipeline.storage.casebook import ROWS, folder_of
from pipeline.study.stages import Stage
from pipeline.tables.borrowed import percent
from pipeline.tables.rows import REQUIRED, Row, read_results

LEAST = 12  # cases for which a twin pays
IN_FULL = 3  # of them, from which the others have the error of the mesh
LEAST_MPA = 1e-3  # what empty tissue counts as
LOOKED_FOR = 8  # loads at most under which stops are looked for
logger = logging.getLogger("gapstrain")


@dataclass(frozen=True)
class VariedCase:
    """A case, the clearances of its stops, mm, by what touches there, and whether it has yet to run."""

    case: Case
    clearance: Mapping[str, float]
    waits: bool = True


def complete_alike(varied: Sequence[VariedCase], out: Path, keep: str = "all") -> tuple[Outcome, ...]:
    """Complete cases of one mesh that differ in materials, loads and play; how each that waited ended.

    All count, those that are finished too, so that which are solved in full is the same after a stop.

    Raises
    ------
    OutputError
        If one can not be written.
    """
    every = [one.case for one in varied]
    chosen = {*spread_out(every), *(k for k, case in enumerate(every) if case.has_twin)}
    outcomes = [complete_case(every[k], out, keep) for k in sorted(chosen) if varied[k].waits]
    others = [one for k, one in enumerate(varied) if k not in chosen]
    rest = [one for one in others if one.waits]
    if not rest:
        return tuple(outcomes)
    failed = {one.case.label for one in outcomes if one.failure}
    solved = [every[k] for k in sorted(chosen) if every[k].label not in failed]
    first = others[0].case
    geometry = first.geometry()
    joined, numbers = together(every)
    clock = Clock()
    try:
        with clock("mesh"):
            mesh = mesh_of(geometry, first.level, out / MESHES)
        prepared = Prepared.of(mesh, geometry, joined)
        with clock("reduced"):
            twin = reduced_twin(prepared, _looked_for(prepared.loads))
    except StudyError as error:  # each case says for itself what is wrong with it
        logger.info("no reduced model: %s", error)
        return (*outcomes, *(complete_case(one.case, out, keep) for one in rest))
    group = AlikeGroup(twin, prepared, tuple(_known(solved, twin, out)), numbers)
    return (*outcomes, *(group.complete(one, out, keep) for one in rest))


def spread_out(cases: Sequence[Case]) -> list[int]:
    """Numbers of the first case and of those whose stages are farthest from the ones before."""
    moduli = [[stage.material().modulus or LEAST_MPA for stage in case.stages] for case in cases]
    places = np.log(moduli).mean(axis=1, keepdims=True)
    chosen = [0]
    while len(chosen) < IN_FULL:
        away = np.abs(places - places[chosen].T).min(axis=1)
        chosen.append(int(away.argmax()) if away.max() > 0 else len(cases) - len(chosen))
    return list(dict.fromkeys(chosen))


def together(cases: Sequence[Case]) -> tuple[Case, dict[str, str]]:
    """One case with the loads of all, each once, under a number; and the number of each."""
    loads = {plain(load): load for case in cases for load in case.loads}
    numbers = {plain: f"{number}" for number, plain in enumerate(loads)}
    named = (load.model_copy(update={"name": numbers[plain]}) for plain, load in loads.items())
    return replace(cases[0], loads=tuple(named)), numbers


def plain(load: Load) -> str:
    """A load whatever its name."""
    return load.model_dump_json(exclude={"name"})


def _looked_for(loads: Mapping[str, Array]) -> dict[str, Array]:
    """A few of the loads, evenly."""
    names = list(loads)[:: max(1, -(-len(loads) // LOOKED_FOR))]
    return {name: loads[name] for name in names}


@dataclass(frozen=True)
class SolvedStage:
    """What the mesh may be wrong by, from a stage that was solved in full.

    Parameters
    ----------
    label : str
        Whose it is.
    weights : Array
        Numbers of the twin's terms there (terms,).
    rows : dict of (str, str, str) to Row
        By load, quantity and location.
    """

    label: str
    weights: Array
    rows: dict[tuple[str, str, str], Row]


def _known(cases: Sequence[Case], twin: Twin, out: Path) -> Iterator[SolvedStage]:
    """Stages of cases that were solved in full, where the twin has their materials."""
    for case in cases:
        stored = list(read_results(folder_of(out, case.address) / ROWS, REQUIRED))
        geometry = case.geometry()
        for stage in stages_of(case):
            own = [row for row in stored if row.stage == stage.name and row.is_ok]
            try:
                weights = twin.readout.terms.weights(part_elasticity(geometry, stage))
            except BeyondError:
                continue
            if own and not twin.model.ranges.outside(weights):
                rows = {(row.load, row.quantity, row.location): row for row in own}
                yield SolvedStage(case.label, weights, rows)


@dataclass(frozen=True)
class AlikeGroup:
    """A twin, and what it needs to answer for other cases of its mesh.

    Parameters
    ----------
    twin : Twin
        The reduced model.
    prepared : Prepared
        The mesh, with the loads of all cases.
    known : tuple of SolvedStage
        Stages that were solved in full.
    numbers : dict of str to str
        Name of each load in `prepared`, whatever its own name.
    """

    twin: Twin
    prepared: Prepared
    known: tuple[SolvedStage, ...]
    numbers: dict[str, str]

    def complete(self, one: VariedCase, out: Path, keep: str) -> Outcome:
        """Complete a case by the twin, or in full where it is not sure."""
        case, clock = one.case, Clock()
        rows: list[Measured] = []
        left: list[Stage] = []
        geometry = case.geometry()
        with clock("reduced"):
            for stage in stages_of(case):
                try:
                    rows += self._rows(one, geometry, stage)
                except BeyondError as error:
                    logger.info("%s, stage %s: %s", case.label, stage.name, error)
                    left.append(stage)
        if not rows:
            return complete_case(case, out, keep)
        result = self._result(geometry, rows, len(stages_of(case)) - len(left))
        if left:
            try:
                full = run_case(replace(case, stages=tuple(left)), clock, out / MESHES)
            except StudyError:  # none of these stages can be solved: the whole case says so
                return complete_case(case, out, keep)
            result = replace(
                full, rows=(*rows, *full.rows), facts=full.facts | result.facts,
                point_fields={}, cell_fields={},
            )  # fmt: skip
        store_case(case, result, clock, out, keep)
        return Outcome(case, "", clock.total, (*result.lost_stages, *result.lost_loads))

    def _result(self, geometry: Geometry, rows: Sequence[Measured], stages: int) -> CaseResult:
        mesh = self.prepared.mesh
        facts: dict[str, float | int | str] = {
            **geometry.facts,
            **mesh.facts,
            REDUCED_STAGES: stages,
            "coordinates": len(self.twin.model.forces),
        }
        return CaseResult(mesh, geometry.gap, tuple(rows), {}, {}, facts, {}, ())

    def _rows(self, one: VariedCase, geometry: Geometry, stage: Stage) -> Iterator[Measured]:
        """Measures of a stage."""
        case, terms = one.case, self.twin.readout.terms
        weights = terms.weights(part_elasticity(geometry, stage))
        at = TwinStage.of(self.twin, geometry, weights, one.clearance)
        nearest = min(self.known, key=lambda known: _apart(known.weights, weights), default=None)
        for load in case.loads:
            told, doubts = at.under(case, load, self.prepared.loads[self.numbers[plain(load)]])
            for each in told:
                flags = tuple(doubt.sentence for doubt in doubts if doubt.concerns(each.measure))
                bar = _bar(each, load.name, nearest)
                yield Measured(stage.name, load.name, each.measure, None, flags, bar)


def _apart(one: Array, other: Array) -> float:
    """How far materials are apart, by the powers of their numbers."""
    return float(np.linalg.norm(np.log(one) - np.log(other)))


def _bar(told: TwinMeasure, load: str, nearest: SolvedStage | None) -> ErrorBar:
    """A measure's error: what the twin may be off, and the share that the mesh was found to be off."""
    one = told.measure
    own = f"{REDUCED} to {percent(told.half / abs(one.value)) if one.value else 0} %"
    row = None if nearest is None else nearest.rows.get((load, one.quantity, one.location))
    if nearest is None or row is None or row.error is None:
        return ErrorBar(inf, f"{own}; of the mesh {UNKNOWN}")
    half = told.half + abs(one.value) * row.error / 100
    return ErrorBar(half, f"{own}; the mesh as in {nearest.label}: {row.mesh}")
