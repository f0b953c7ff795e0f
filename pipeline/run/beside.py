"""Tables of a study that asks for more than its results: robustness, take-over, assumptions."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property, partial
from itertools import combinations
from pathlib import Path
from typing import Any

from geometries.errors import StudyError
from pipeline.errors import EngineError, OutputError
from pipeline.measures.exploring import (
    ASKED,
    ASSUMPTIONS,
    COLUMNS_OF_EXPLORED,
    LIVE,
    ROBUSTNESS,
    ROBUSTNESS_MAPS,
    TAKEOVER,
)
from pipeline.run.answers import Heard, TwinAnswer, answer_limit
from pipeline.run.engine import Job, Lost, Place, pool, results
from pipeline.run.explore import Found, Request, Turned, explore_case, filled, places_of, turn
from pipeline.run.jobs import LOGS
from pipeline.run.live import live_content
from pipeline.run.planning import Plan, Planned
from pipeline.run.robust import ComparedPair, Drawn
from pipeline.storage.casebook import TWIN, folder_of
from pipeline.storage.files import Cells, write_json, write_table
from pipeline.study.config import StudyConfig
from pipeline.study.stages import Stage
from pipeline.tables.flagged import whose
from pipeline.tables.rows import Row

Tables = dict[str, list[Cells]]
Run = Callable[[Iterable[Job]], Iterator[tuple[str, Any]]]


def write_answers(
    planned: Plan, rows: Sequence[Row], out: Path, place: Place, heard: Heard = lambda _: None
) -> tuple[TwinAnswer, ...]:
    """Write the tables that a study asks for beside its results; none of an earlier run stays.

    What a reduced model does not answer, or not in time, has a row that says why; all else goes on.

    Raises
    ------
    OutputError
        If a table or a note can not be written.
    EngineError
        If there is no scheduler, or it is gone.
    """
    (out / LIVE).unlink(missing_ok=True)
    items = [item for item in planned.first if item.case.has_twin]
    asking = Asking(planned.study, items, rows, out, place, heard)
    tables = asking.tables() if items else {}
    for name, columns in COLUMNS_OF_EXPLORED.items():
        if tables.get(name):
            write_table(out / name, tables[name], columns)
        else:
            (out / name).unlink(missing_ok=True)
    return tuple(asking.answers)


@dataclass
class Asking:
    """All that is asked of the constructs of a study, side by side.

    Parameters
    ----------
    study : StudyConfig
        The study.
    items : sequence of Planned
        Constructs that are to be asked.
    rows : sequence of Row
        Their results.
    out : Path
        Folder of the run.
    place : Place
        Where jobs run.
    heard : callable
        Is told of each job as it ends.
    """

    study: StudyConfig
    items: Sequence[Planned]
    rows: Sequence[Row]
    out: Path
    place: Place
    heard: Heard
    answers: list[TwinAnswer] = field(default_factory=list)

    def tables(self) -> Tables:
        """Rows of each table, when all jobs have ended."""
        place = self.place.for_jobs(len(self.items))
        with pool(place) as client:
            run = partial(results, client, place)
            found = self._found(run)
            tables: Tables = {
                TAKEOVER: [row for one in found.values() for row in one.takeover],
                ASSUMPTIONS: [row for one in found.values() for row in one.ledger],
            }
            self._write_live(found)
            if self.study.robustness is not None:
                tables |= self._of_pairs(Drawn(self.study.robustness, self.stage), found, run)
        order = [*((name, "") for name in self._items), *self.pairs]  # they end in any
        ended = {(one.construct, one.against): one for one in self.answers}
        return tables | {ASKED: [ended[names].cells() for names in order]}

    @cached_property
    def _items(self) -> dict[str, Planned]:
        return {item.case.name: item for item in self.items}

    @property
    def stage(self) -> Stage:
        """The question's stage."""
        return next(one for one in self.study.stages if one.name == self.study.asked.stage)

    @cached_property
    def requests(self) -> dict[str, Request]:
        """What is asked of each construct that has a reduced model, by its name."""
        found = {}
        for case in (item.case for item in self.items):
            if (folder_of(self.out, case.address) / TWIN).is_file():
                own = tuple(row for row in self.rows if row.case == case.address)
                found[case.name] = Request(case, self.out, self.study, own)
        return found

    @cached_property
    def pairs(self) -> list[tuple[str, str]]:
        """Names of two constructs at one gap, if any are compared."""
        cases = [item.case for item in self.items] if self.study.robustness is not None else []
        return [(a.name, b.name) for a, b in combinations(cases, 2) if a.own_defect == b.own_defect]

    def _found(self, run: Run) -> dict[str, Found]:
        """What each construct answered, in the order of the study."""
        samples = self.study.robustness.samples if self.study.robustness is not None else 0
        jobs = []
        for item in self.items:
            if item.case.name in self.requests:
                limit = answer_limit(self.out, self.place.minutes, [item], samples)
                jobs.append(
                    Job(item.case.name, explore_case, (self.requests[item.case.name],), limit=limit)
                )
            else:
                said = f"it has no reduced model; cases.csv or {LOGS}/{item.case.label}.log says why"
                self._tell((item.case.name, ""), said, 0.0)
        found = {}
        for name, one in run(jobs):
            if self._has_answer((name, ""), one):
                found[name] = one
        return {name: found[name] for name in self.requests if name in found}

    def _of_pairs(self, drawn: Drawn, found: Mapping[str, Found], run: Run) -> Tables:
        """Rows of the tables that compare constructs over samples of the inputs."""
        compared = {
            both: list(self._compared(both, found)) for both in self.pairs if {*both} <= {*found}
        }
        jobs = []
        for (a, b), own in compared.items():
            limit = answer_limit(self.out, self.place.minutes, [self._items[a], self._items[b]])
            asked = (self.requests[a], self.requests[b], own[0], drawn)
            jobs.append(Job(f"{a} {b}", turn, asked, limit=limit))
        turned = {}
        for key, one in run(jobs):
            a, b = key.split()
            if self._has_answer((a, b), one):
                turned[a, b] = one
            else:
                turned[a, b] = Turned(None, "", f"not looked for to its end: {_why(one)}")
        for both in self.pairs:
            if both not in compared:
                missing = next(name for name in both if name not in found)
                self._tell(both, f"{missing} has no answers", 0.0)
        tables: Tables = {ROBUSTNESS: [], ROBUSTNESS_MAPS: []}
        for number in range(len(places_of(self.study))):
            for both, own in compared.items():
                told = turned[both] if number == 0 else Turned(None, "", "")
                tables[ROBUSTNESS].append(own[number].row(drawn) | told.cells)
                tables[ROBUSTNESS_MAPS] += own[number].maps(drawn)
        return tables

    def _compared(self, both: tuple[str, str], found: Mapping[str, Found]) -> Iterator[ComparedPair]:
        """A pair, quantity by quantity, the question's first."""
        a, b = (self.requests[name] for name in both)
        own, other = (found[name].sample for name in both)
        if own is None or other is None:
            return
        for number, place in enumerate(places_of(self.study)):
            errors = (a.mesh_error(place), b.mesh_error(place))
            flags = whose({"a": a.flags_of(place), "b": b.flags_of(place)})
            load = self.study.asked.load
            yield ComparedPair(both, (own, other), place, number, errors, load, flags)

    def _write_live(self, found: Mapping[str, Found]) -> None:
        """Write what the page answers from by itself, if anything."""
        live = [one.live for one in found.values() if one.live is not None]
        if live:
            load, stages = self.study.asked.load, filled(self.study)
            write_json(self.out / LIVE, live_content(self.stage, load, stages, live))

    def _has_answer(self, names: tuple[str, str], ended: Any) -> bool:
        """Tell how a job ended; whether it has an answer."""
        failure = _why(ended)
        self._tell(names, failure, 0.0 if failure else ended.seconds)
        return not failure

    def _tell(self, names: tuple[str, str], failure: str, seconds: float) -> None:
        total = len(self.items) + len(self.pairs)
        self.answers.append(TwinAnswer(*names, failure, seconds, len(self.answers) + 1, total))
        self.heard(self.answers[-1])


def _why(ended: object) -> str:
    """Why a job has no answer, in a sentence; empty if it has one.

    Raises
    ------
    OutputError
        If it could not write.
    """
    if isinstance(ended, OutputError | EngineError):
        raise ended
    if isinstance(ended, StudyError):
        return " ".join(str(ended).split())
    return ended.reason if isinstance(ended, Lost) else ""
