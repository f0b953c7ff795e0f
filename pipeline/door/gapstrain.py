"""Gapstrain in a notebook or a program: load a study, run it, read it as a table or as a mesh.

This file is installed as the module ``gapstrain``; what it calls is what the command line calls, so the
same study gives the same folder. For research and teaching: idealised geometry, linear elastic, not
validated for an individual, not a medical device. Decisions belong to licensed clinicians and local
rules.
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import starmap
from pathlib import Path
from typing import Any

import pandas as pd

from geometries.errors import StudyError
from pipeline.cli.shown.progress import Reporter
from pipeline.output.model import Grid, read_grid
from pipeline.run.complete import Keep
from pipeline.run.engine import Place
from pipeline.run.execute import Asked, Options, execute
from pipeline.run.planning import Plan, plan
from pipeline.run.sampling import sample_of
from pipeline.storage.caution import CAUTION
from pipeline.storage.files import read_if_any
from pipeline.storage.proof import prove
from pipeline.storage.run_folder import INPUTS, RESULTS, read_inputs
from pipeline.study.config import StudyConfig, load_study, parse_study, text_of
from pipeline.study.keys import assignment
from pipeline.tables.flagged import MARK, footnotes
from pipeline.tables.pivot import by_construct_and_stage, in_order
from pipeline.tables.rows import Row, columns_of, read_results, rows_of_variant, variants_in

__all__ = ["CAUTION", "Run", "Study", "StudyError", "load", "open", "run"]
FRAME_NAMES = {"flags": "doubts"}  # whose own name would hide an attribute of a frame


@dataclass(frozen=True)
class Study:
    """A study that can be changed and run.

    Parameters
    ----------
    path : Path
        Its file.
    changes : tuple of str
        Changes to it, each ``key=value`` as ``--set`` takes them.
    config : StudyConfig
        The study with these changes, validated.
    """

    path: Path
    changes: tuple[str, ...]
    config: StudyConfig

    def with_values(self, values: Mapping[str, object]) -> Study:
        """The same study with other values of some keys.

        Parameters
        ----------
        values : mapping of str to object
            Numbers, words, truth values or lists of them by dotted key; entries of lists go by number,
            from 0, or by name, as in ``constructs.nail-10.nail.diameter_mm``.

        Raises
        ------
        StudyError
            One line per finding: key, value, what is allowed, what to do.
        """
        changes = (*self.changes, *starmap(assignment, values.items()))
        return replace(self, changes=changes, config=load_study(self.path, changes))

    def plan(self) -> Plan:
        """Work out cases, meshes and what they take; nothing is meshed or solved.

        Raises
        ------
        StudyError
            All findings of all constructs, a line each.
        """
        return plan(self.config)


def load(path: str | Path) -> Study:
    """Read and validate a study file.

    Raises
    ------
    StudyError
        One line per finding: key, value, what is allowed, what to do.
    """
    return Study(Path(path), (), load_study(Path(path)))


def run(
    study: Study,
    out: str | Path | None = None,
    *,
    workers: int | str | None = None,
    levels: int = 1,
    error_cases: int | None = None,
    keep_fields: Keep = "all",
) -> Run:
    """Run a study into a folder, with a bar; what is finished there is not run again.

    In a program, as against a notebook, call it below ``if __name__ == "__main__":``, since worker
    processes read the program anew.

    Parameters
    ----------
    study : Study
        What to run.
    out : str or Path, optional
        Folder for tables, pages and fields; ``results/NAME`` by default.
    workers : int or str, optional
        Cases at a time on this machine, all cores by default; or the address of a Dask scheduler.
    levels : {1, 3}
        With 3 the coarse, the default and the fine mesh are run, and results get an error.
    error_cases : int, optional
        With three levels: so many constructs run on them, and the others borrow their errors.
    keep_fields : {"all", "shown", "none"}
        Fields that are stored for viewers and for :meth:`Run.mesh`.

    Raises
    ------
    StudyError
        If the study can not be built, or the folder can not be written or is in use.
    """
    folder = Path(out) if out is not None else Path("results") / study.path.stem
    asked = Asked(text_of(study.path), study.changes, levels, error_cases)
    planned = study.plan()
    sample = sample_of(planned, error_cases) if levels == 3 else ()
    is_address = isinstance(workers, str)
    place = Place(scheduler=str(workers)) if is_address else Place(int(workers or os.cpu_count() or 1))
    reporter = Reporter.of("bar", planned, sample, place)
    with reporter.running():
        options = Options(place, keep_fields, sample, asked=asked)
        execute(planned, folder, options, reporter.ended, reporter.answered)
    return open(folder)


def open(folder: str | Path) -> Run:
    """Read a finished run, from its folder alone.

    Raises
    ------
    StudyError
        If it is none.
    """
    place = Path(folder)
    prove(place)
    return Run(place, parse_study(read_inputs(place).study, str(place / INPUTS)))


class Pivot(pd.DataFrame):  # type: ignore[misc]  # pandas has no types
    """Numbers by construct and stage; as it is shown, flagged ones have a mark and a footnote.

    ``attrs["flags"]`` says why, by construct and stage. What is taken or computed from it is a plain
    frame, without marks.
    """

    def __repr__(self) -> str:
        return "\n".join([repr(self._marked()), *self._notes])

    def _repr_html_(self) -> str:
        return self._marked()._repr_html_() + "".join(f"<p>{note}</p>" for note in self._notes)

    @property
    def _notes(self) -> list[str]:
        return footnotes(bool(self.attrs["flags"]))

    def _marked(self) -> pd.DataFrame:
        """The frame as texts."""
        texts = self.map(lambda cell: f"{cell:.6g}" if isinstance(cell, float) else str(cell))
        for name, stages in self.attrs["flags"].items():
            for stage in stages:
                if name in texts.index and stage in texts.columns:
                    texts.loc[name, stage] += f" {MARK}"
        return texts


@dataclass(frozen=True)
class Run:
    """A finished run.

    Parameters
    ----------
    folder : Path
        Its folder: ``report.html`` there is the run as a page.
    study : StudyConfig
        What was run, changes included.
    """

    folder: Path
    study: StudyConfig

    @cached_property
    def rows(self) -> tuple[Row, ...]:
        """All results, one by one."""
        return tuple(read_results(self.folder / RESULTS))

    @property
    def failures(self) -> pd.DataFrame:
        """Rows without a sound result, and why; they must not be used."""
        table = self.table()
        return table[table.status != "ok"]

    def table(self) -> pd.DataFrame:
        """All results as a frame: a row each, numbers as numbers, what is missing as NaN.

        Columns are those of ``results.csv`` (``flags`` is ``doubts``, since frames have flags of their
        own), then the factors of the design by their keys, if there is one.
        """
        found = columns_of(self.folder)
        columns = {FRAME_NAMES.get(name, name): pd.Series(found.pop(name)) for name in list(found)}
        frame = pd.DataFrame(columns, copy=False)
        design = pd.DataFrame(read_if_any(self.folder / "design.csv"))
        if len(design):
            factors = design.set_index("variant").drop(columns=["status", "reason"]).apply(_as_numbers)
            for key in factors:
                frame[key] = frame["variant"].map(factors[key])
        return frame

    def pivot(self, quantity: str, *, location: str, load: str, variant: str | None = None) -> Pivot:
        """One result of each construct at each tissue stage: constructs by stages.

        Parameters
        ----------
        quantity, location, load : str
            Quantity of ``dictionary.csv``, where it is read, and under which load.
        variant : str, optional
            Point of a design; the first by default.

        Returns
        -------
        Pivot
            A frame, both in the order of the study. NaN where a stage failed, where there is no such
            result, and where a value grows with every finer mesh, so that it must not be quoted. A
            femur without gap has the stage ``intact``. Flagged values are shown with a mark.

        Raises
        ------
        StudyError
            If no construct has such a result; it says what there is.
        """
        found = by_construct_and_stage(self._of(variant), quantity, location, load)
        names, stages = in_order(list(found), [stage.name for stage in self.study.stages])
        frame = Pivot(float("nan"), pd.Index(names, name="construct"), pd.Index(stages, name="stage"))
        frame.attrs["flags"] = {}
        for place, row in found.items():
            if row.is_ok and not row.is_singular:
                frame.loc[place] = row.number
                if row.flags:
                    frame.attrs["flags"].setdefault(row.construct, {})[row.stage] = row.flags
        return frame

    def mesh(self, construct: str, *, stage: str, load: str, variant: str | None = None) -> Grid:
        """A construct's mesh with its fields at one tissue stage under one load.

        Parameters
        ----------
        construct, stage, load : str
            Which; a femur without gap has but its own stage.
        variant : str, optional
            Point of a design; the first by default.

        Returns
        -------
        UnstructuredGrid
            Quadratic tetrahedra, mm, with ``displacement_mm`` at the nodes and, in the cells, ``part``,
            its name ``part_name``, ``von_mises_MPa`` (NaN outside implants) and
            ``octahedral_strain_percent`` (NaN outside the gap's tissue).

        Raises
        ------
        StudyError
            If there is no such case, the stage failed, or its fields were not kept.
        """
        return read_grid(self.folder, construct, stage, load, variant)

    def _of(self, variant: str | None) -> list[Row]:
        """Rows of a variant, of the first by default."""
        names = variants_in(self.folder)
        if variant is None:
            return rows_of_variant(self.folder, names[0]) if names else []
        if variant not in names:
            raise StudyError(f"variant = {variant!r}: allowed {', '.join(names)}; choose one of them")
        return rows_of_variant(self.folder, variant)


def _as_numbers(column: pd.Series[Any]) -> pd.Series[Any]:
    """A column of numbers where all of it is, else as it stands."""
    numbers = pd.to_numeric(column, errors="coerce")
    return numbers if numbers.notna().all() else column
