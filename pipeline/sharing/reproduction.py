"""A bundle run again, by someone else and elsewhere, and whether it comes out the same."""

from __future__ import annotations

import importlib.metadata
import platform
from collections.abc import Callable, Collection, Iterator
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

from geometries.errors import StudyError
from pipeline.run.execute import Asked
from pipeline.run.planning import Plan, plan
from pipeline.sharing.choice import Choice
from pipeline.sharing.claims import borne_out, judge, load_claims
from pipeline.sharing.compare import DIFFERENCE_COLUMNS, agree, compare
from pipeline.sharing.opening import opened
from pipeline.sharing.tolerances import Tolerances
from pipeline.storage.files import Cells, check_writable, write_table
from pipeline.storage.provenance import commit
from pipeline.storage.run_folder import CLAIMS, INPUTS, RESULTS, STUDY, Inputs, read_inputs
from pipeline.study.config import StudyConfig, load_study, text_of
from pipeline.tables.judged import CLAIM_COLUMNS, JUDGED, NOT_CHOSEN, REPRODUCTION
from pipeline.tables.rows import read_results

Rows = list[Cells]
Run = Callable[[Plan, Path, Asked], None]
"""Runs the cases of a plan into a folder."""


@dataclass(frozen=True)
class Reproduction:
    """How a run of a bundle ended.

    Parameters
    ----------
    chosen : tuple of str
        Labels of the cases that were run; none if it was all of them.
    differences, claims : list of dict
        Rows of ``reproduction.csv`` and of ``claims.csv``.
    notes : tuple of str
        Sentences on what is not as it was in the bundle's own run.
    """

    chosen: tuple[str, ...]
    differences: Rows
    claims: Rows
    notes: tuple[str, ...]

    @property
    def succeeded(self) -> bool:
        """Whether nothing differs, no claim fails, and of those that there are one was judged."""
        return agree(self.differences) and borne_out(self.claims) and not self.is_unjudged

    @property
    def is_unjudged(self) -> bool:
        """Whether there are claims, and of none a result was run."""
        return bool(self.claims) and all(row["result"] == NOT_CHOSEN for row in self.claims)


def reproduce(bundle: Path, out: Path, run: Run, choice: Choice | None = None) -> Reproduction:
    """Run a bundle again, compare the results with those in it, and judge its claims.

    Parameters
    ----------
    bundle : Path
        A bundle, or its unpacked folder.
    out : Path
        Folder for the results; ``reproduction.csv`` and ``claims.csv`` come beside them.
    run : callable
        Runs the study into `out`.
    choice : Choice, optional
        Which cases to run; all by default.

    Raises
    ------
    StudyError
        If the bundle is not sound, or `out` lies in it, or what is chosen is not in it.
    """
    check_writable(out)
    if bundle.is_dir() and out.resolve().is_relative_to(bundle.resolve()):
        raise StudyError(
            f"--out {out}: lies in the bundle, which would change it; choose another folder"
        )
    with TemporaryDirectory() as spare:
        folder = opened(bundle, Path(spare))
        inputs = read_inputs(folder)
        study = load_study(folder / STUDY, inputs.changes)
        planned = plan(study)
        claimed = load_claims(folder / CLAIMS) if (folder / CLAIMS).is_file() else ()
        chosen = (choice or Choice()).labels(planned.cases, claimed)
        text = text_of(folder / STUDY)
        run(planned.only(chosen) if chosen else planned, out, Asked(text, inputs.changes))
        differences = compare(folder, out, Tolerances(), chosen or None)
        claims = judged_claims(folder / CLAIMS, out, chosen or None)
    write_table(out / REPRODUCTION, differences, DIFFERENCE_COLUMNS)
    write_table(out / JUDGED, claims, CLAIM_COLUMNS)
    return Reproduction(chosen, differences, claims, tuple(_notes(inputs, study)))


def judged_claims(claims: Path, out: Path, only: Collection[str] | None = None) -> Rows:
    """Judge a claims file by the results in a folder; no rows if there is no such file."""
    if not claims.is_file():
        return []
    return judge(load_claims(claims), list(read_results(out / RESULTS)), only)


def compared(a: Path, b: Path, percent: float | None = None) -> Rows:
    """Compare two bundles, or folders of runs, with one tolerance for all or the usual ones."""
    with TemporaryDirectory() as first, TemporaryDirectory() as second:
        return compare(opened(a, Path(first)), opened(b, Path(second)), Tolerances.of_percent(percent))


def _notes(inputs: Inputs, study: StudyConfig) -> Iterator[str]:
    for name, recorded in sorted(inputs.versions.items()):
        present = _present(name)
        if present != recorded:
            yield f"{name} was {recorded} and is {present} here."
    if inputs.commit and inputs.commit != commit():
        yield f"Its commit was {inputs.commit} and is {commit() or 'not known'} here."
    if study.model_dump(mode="json", exclude_unset=True) != inputs.study:
        yield f"{STUDY} is not read as {INPUTS} has it: another version read it, or it changed."
    if inputs.levels == 3:
        yield "The bundle has errors from three meshes; here one was made, and errors are not compared."


def _present(name: str) -> str:
    """Version of a package here."""
    if name == "python":
        return platform.python_version()
    try:
        return importlib.metadata.version(name)
    except importlib.metadata.PackageNotFoundError:
        return "not installed"
