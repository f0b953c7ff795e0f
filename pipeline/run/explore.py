"""Tables of a study that asks for more than its results: robustness, take-over, assumptions."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations
from math import inf
from pathlib import Path
from typing import Any

import numpy as np

from geometries.errors import StudyError
from pipeline.measures.dictionary import QUANTITIES
from pipeline.measures.exploring import (
    ASSUMPTION_COLUMNS,
    ASSUMPTIONS,
    LIVE,
    ROBUSTNESS,
    ROBUSTNESS_COLUMNS,
    ROBUSTNESS_MAP_COLUMNS,
    ROBUSTNESS_MAPS,
    TAKEOVER,
    TAKEOVER_COLUMNS,
)
from pipeline.run.assumed import ledger_rows
from pipeline.run.case import Case
from pipeline.run.confirmed import full_values_at
from pipeline.run.engine import Job, Lost, Place, pool, results
from pipeline.run.explored import Inquiry, InquiryReader, Samples, stored_twin
from pipeline.run.explored import Place as Read
from pipeline.run.live import live_content, live_model
from pipeline.run.planning import Plan
from pipeline.run.robust import ComparedPair, Drawn, Opposed
from pipeline.run.takeover import Errors, takeover_rows
from pipeline.storage.casebook import TWIN, folder_of
from pipeline.storage.files import Cells, write_json, write_table
from pipeline.study.config import StudyConfig
from pipeline.study.stages import Stage
from pipeline.sweeps.flip import Flip
from pipeline.tables.rows import Row

COLUMNS_OF = {
    ROBUSTNESS: ROBUSTNESS_COLUMNS, ROBUSTNESS_MAPS: ROBUSTNESS_MAP_COLUMNS,
    TAKEOVER: TAKEOVER_COLUMNS, ASSUMPTIONS: ASSUMPTION_COLUMNS,
}  # fmt: skip
NEAR = 1e-3  # of a value: two that differ by less are at the turn
BESIDE: tuple[Read, ...] = (
    ("gap_movement", "far"), ("rim_strain", "closing"), ("load_point_stiffness", "load_point"),
    ("von_mises_5mm3", "highest"),
)  # fmt: skip
"""Results that assumptions are judged by, besides the question's own."""


@dataclass(frozen=True)
class Request:
    """What is asked of one construct.

    Parameters
    ----------
    case : Case
        The construct.
    out : Path
        Folder of the run.
    study : StudyConfig
        The study.
    rows : tuple of Row
        The construct's results.
    """

    case: Case
    out: Path
    study: StudyConfig
    rows: tuple[Row, ...]

    @property
    def asked(self) -> Inquiry:
        """The construct at the stage and under the load that the question names."""
        outcome = self.study.asked
        stage = next(one for one in self.study.stages if one.name == outcome.stage)
        load = next(one for one in self.study.loads if one.name == outcome.load)
        return Inquiry(self.case, stored_twin(self.out, self.case), stage, load)

    @property
    def reader(self) -> InquiryReader:
        """What reads the quantities that robustness is asked for."""
        return InquiryReader(self.asked, places_of(self.study))

    def mesh_error(self, place: Read) -> float:
        """Error of the mesh at the question's stage and load, a share; infinite where nobody knows."""
        outcome = self.study.asked
        key = (outcome.stage, outcome.load, *place)
        for row in self.rows:
            if row.key == key:
                return inf if row.error is None else row.error / 100
        return inf

    @property
    def errors(self) -> Errors:
        """Errors of the mesh under the question's load."""
        load = self.study.asked.load
        return Errors(
            {one.name: one.material().modulus for one in filled(self.study)},
            {(row.stage, row.quantity, row.location): row for row in self.rows if row.load == load},
        )


@dataclass(frozen=True)
class Found:
    """What one construct answered."""

    sample: Samples | None
    takeover: tuple[Cells, ...]
    ledger: tuple[Cells, ...]
    live: dict[str, Any] | None


def places_of(study: StudyConfig) -> tuple[Read, ...]:
    """Quantities and locations that robustness is asked for; the question's own by default."""
    outcome = study.asked
    listed = study.robustness.quantities if study.robustness else ()
    split = [one.partition("/") for one in listed]
    return tuple((name, at) for name, _, at in split) or ((outcome.quantity, outcome.location),)


def filled(study: StudyConfig) -> tuple[Stage, ...]:
    """Stages with tissue; reduced models know no other."""
    return tuple(stage for stage in study.stages if stage.material().modulus > 0)


def explore_case(wanted: Request) -> Found:
    """All that is asked of one construct, by its twin."""
    study, asked = wanted.study, wanted.asked
    sample = None
    if study.robustness is not None:
        drawn = Drawn(study.robustness, asked.stage)
        reader = InquiryReader(asked, places_of(study))
        sample = reader.sampled(*drawn.split(drawn.shares))
    outcome = study.asked
    places = tuple(dict.fromkeys([(outcome.quantity, outcome.location), *BESIDE]))
    return Found(
        sample,
        tuple(takeover_rows(asked, wanted.errors)) if study.takeover else (),
        tuple(ledger_rows(asked, places)) if study.assumptions else (),
        live_model(asked, wanted.errors, filled(study)),
    )


@dataclass(frozen=True)
class Turned:
    """A pair's nearest flip, and the values that the full model has there."""

    flip: Flip | None
    words: str
    confirmed: str


def turn(a: Request, b: Request, pair: ComparedPair, drawn: Drawn) -> Turned:
    """Look for the nearest flip of a pair, and ask the full model whether the order turns there."""
    opposed = Opposed((a.reader, b.reader), pair, drawn)
    flip = opposed.flip()
    if flip is None:
        return Turned(None, "", "")
    values, tilt = drawn.one(flip.shares)
    try:
        own, other = (
            full_values_at(reader.asked, (pair.place,), values, tilt)[0] for reader in opposed.readers
        )
    except StudyError as error:
        return Turned(flip, drawn.told(flip), f"not confirmed: {' '.join(str(error).split())}")
    has_turned = np.sign(other - own) != np.sign(opposed.start)
    said = "full model" if has_turned or abs(other - own) < NEAR * abs(own) else "not confirmed"
    unit = QUANTITIES[pair.place[0]].unit
    return Turned(flip, drawn.told(flip), f"{said}: {own:.5g} and {other:.5g} {unit}")


def explore(planned: Plan, rows: Sequence[Row], out: Path, place: Place) -> None:
    """Write the tables that a study asks for beside its results; none of an earlier run stays.

    Raises
    ------
    StudyError
        If a reduced model can not be read, or an input does not fit the question's load.
    """
    study = planned.study
    tables: dict[str, list[Cells]] = {name: [] for name in COLUMNS_OF}
    wanted = [
        Request(item.case, out, study, tuple(row for row in rows if row.case == item.case.address))
        for item in planned.first
        if item.case.has_twin and (folder_of(out, item.case.address) / TWIN).is_file()
    ]
    (out / LIVE).unlink(missing_ok=True)
    if wanted:
        _explored(wanted, tables, place)
    for name, columns in COLUMNS_OF.items():
        if tables[name]:
            write_table(out / name, tables[name], columns)
        else:
            (out / name).unlink(missing_ok=True)


def _explored(wanted: Sequence[Request], tables: dict[str, list[Cells]], place: Place) -> None:
    """Ask all constructs, side by side, and fill the tables."""
    study = wanted[0].study
    with pool(place.for_jobs(len(wanted))) as client:
        jobs = [Job(one.case.address, explore_case, (one,)) for one in wanted]
        found = _all(results(client, place, jobs))
        for one in wanted:
            tables[TAKEOVER] += found[one.case.address].takeover
            tables[ASSUMPTIONS] += found[one.case.address].ledger
        live = [made for one in wanted if (made := found[one.case.address].live) is not None]
        stage = next(one for one in study.stages if one.name == study.asked.stage)
        if live:
            write_json(wanted[0].out / LIVE, live_content(stage, study.asked.load, filled(study), live))
        if study.robustness is None:
            return
        drawn = Drawn(study.robustness, stage)
        pairs = list(_pairs(wanted, found))
        flips = [
            Job(f"flip-{k}", turn, (a, b, pair, drawn))
            for k, (a, b, pair) in enumerate(pairs)
            if pair.number == 0
        ]
        turned = _all(results(client, place, flips))
    for k, (_, _, pair) in enumerate(pairs):
        told = turned.get(f"flip-{k}", Turned(None, "", ""))
        distance = "" if told.flip is None else told.flip.distance
        tables[ROBUSTNESS].append(
            pair.row(drawn)
            | {"flip": told.words, "flip_distance": distance, "flip_confirmed": told.confirmed}
        )
        tables[ROBUSTNESS_MAPS] += pair.maps(drawn)


def _all(ended: Iterable[tuple[str, Any]]) -> dict[str, Any]:
    """Results of jobs by key.

    Raises
    ------
    StudyError
        If one has none.
    """
    found = {}
    for key, one in ended:
        if isinstance(one, StudyError):
            raise one
        if isinstance(one, Lost):
            raise StudyError(f"{key}: {one.reason}")
        found[key] = one
    return found


def _pairs(
    wanted: Sequence[Request], found: dict[str, Any]
) -> Iterator[tuple[Request, Request, ComparedPair]]:
    """Pairs of constructs at one gap, quantity by quantity, the question's first."""
    study = wanted[0].study
    for number, place in enumerate(places_of(study)):
        for a, b in combinations(wanted, 2):
            if a.case.own_defect == b.case.own_defect:
                names = (a.case.name, b.case.name)
                samples = (found[a.case.address].sample, found[b.case.address].sample)
                errors = (a.mesh_error(place), b.mesh_error(place))
                yield a, b, ComparedPair(names, samples, place, number, errors, study.asked.load)
