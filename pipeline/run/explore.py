"""What a worker does that asks a reduced model: of one construct, or of a pair for what turns it."""

from __future__ import annotations

import time
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from functools import cached_property
from math import inf
from pathlib import Path
from typing import Any

import numpy as np

from geometries.errors import StudyError
from pipeline.measures.dictionary import QUANTITIES
from pipeline.run.assumed import ledger_rows
from pipeline.run.case import Case
from pipeline.run.confirmed import full_values_at
from pipeline.run.explored import Inquiry, InquiryReader, Place, Samples, stored_twin
from pipeline.run.live import live_model
from pipeline.run.robust import ComparedPair, Drawn, Opposed
from pipeline.run.takeover import Errors, takeover_rows
from pipeline.run.watch import ASKED, FLIP, within
from pipeline.storage.files import Cells
from pipeline.study.config import StudyConfig
from pipeline.study.stages import Stage
from pipeline.sweeps.flip import Flip
from pipeline.tables.lookup import Results
from pipeline.tables.rows import Row

NEAR = 1e-3  # of a value: two that differ by less are at the turn
BESIDE: tuple[Place, ...] = (
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

    def mesh_error(self, place: Place) -> float:
        """Error of the mesh at the question's stage and load, a share; infinite where nobody knows."""
        row = self._result(place)
        return inf if row is None or row.error is None else row.error / 100

    def flags_of(self, place: Place) -> str:
        """Flags of the result at the question's stage and load."""
        row = self._result(place)
        return "" if row is None else row.flags

    def _result(self, place: Place) -> Row | None:
        outcome = self.study.asked
        return self._results.find(self.case.name, *place, outcome.stage, outcome.load)

    @cached_property
    def _results(self) -> Results:
        return Results(self.rows)

    def flagged(self, ledger: Iterable[Cells]) -> Iterator[Cells]:
        """Rows of assumptions with the flags of the value as modelled."""
        for row in ledger:
            yield row | {"flags": self.flags_of((str(row["quantity"]), str(row["location"])))}

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
    seconds: float


def places_of(study: StudyConfig) -> tuple[Place, ...]:
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
    began = time.perf_counter()
    study, asked = wanted.study, wanted.asked
    sample = None
    with within(ASKED):
        if study.robustness is not None:
            drawn = Drawn(study.robustness, asked.stage)
            sample = wanted.reader.sampled(*drawn.split(drawn.shares))
        takeover = tuple(takeover_rows(asked, wanted.errors)) if study.takeover else ()
        live = live_model(asked, wanted.errors, filled(study))
    outcome = study.asked
    places = tuple(dict.fromkeys([(outcome.quantity, outcome.location), *BESIDE]))
    ledger = tuple(wanted.flagged(ledger_rows(asked, places))) if study.assumptions else ()
    return Found(sample, takeover, ledger, live, time.perf_counter() - began)


@dataclass(frozen=True)
class Turned:
    """A pair's nearest flip, and the values that the full model has there."""

    flip: Flip | None
    words: str
    confirmed: str
    seconds: float = 0.0

    @property
    def cells(self) -> Cells:
        """What ``robustness.csv`` has of it."""
        distance = "" if self.flip is None else self.flip.distance
        return {"flip": self.words, "flip_distance": distance, "flip_confirmed": self.confirmed}


def turn(a: Request, b: Request, pair: ComparedPair, drawn: Drawn) -> Turned:
    """Look for the nearest flip of a pair, and ask the full model whether the order turns there."""
    began = time.perf_counter()
    opposed = Opposed((a.reader, b.reader), pair, drawn)
    with within(FLIP):
        flip = opposed.flip()
    found = Turned(None, "", "") if flip is None else _confirmed(opposed, flip)
    return replace(found, seconds=time.perf_counter() - began)


def _confirmed(opposed: Opposed, flip: Flip) -> Turned:
    """What the full model has where the order of a pair turns."""
    pair, drawn = opposed.pair, opposed.drawn
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
