"""The one orchestrator: from a plan to finished cases, tables and pages."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path

from geometries.errors import StudyError
from pipeline.errors import StoppedError
from pipeline.fem.meshing.mesher import require_gmsh
from pipeline.fem.meshing.sizes import Level
from pipeline.output.credibility import credibility_page
from pipeline.output.figures import draw_study
from pipeline.output.indices import draw_indices
from pipeline.output.report.page import report_page
from pipeline.run.answers import Heard, TwinAnswer
from pipeline.run.beside import write_answers
from pipeline.run.collect import related, rows_of, write_cases, write_tables
from pipeline.run.complete import Keep, complete
from pipeline.run.engine import Place
from pipeline.run.jobs import Outcome
from pipeline.run.planning import Plan
from pipeline.storage.casebook import folder_of, locked, read_record
from pipeline.storage.caution import CAUTION
from pipeline.storage.files import check_writable, write_text
from pipeline.storage.proof import seal
from pipeline.storage.provenance import in_words, origin
from pipeline.tables.errors import LEVELS, Sampled, sound_values, with_errors
from pipeline.tables.rows import Row

Told = Callable[[Level, Outcome], None]
"""Is told of each case as it ends, and on which mesh level."""


@dataclass(frozen=True)
class Asked:
    """What a person asked for; it is written down beside the results.

    Parameters
    ----------
    text : str
        The study file as it is.
    changes : tuple of str
        Changes to it, each ``key=value``.
    levels : int
        Meshes of each construct, 1 or 3.
    error_cases : int, optional
        How many constructs run on three, if not all.
    """

    text: str = ""
    changes: tuple[str, ...] = ()
    levels: int = 1
    error_cases: int | None = None

    def __post_init__(self) -> None:
        """Refuse meshes that say nothing of an error."""
        if self.levels not in (1, 3):
            raise StudyError(
                f"--levels {self.levels}: allowed 1 or 3; with 3 meshes an error can be estimated"
            )
        if self.error_cases is not None and self.levels != 3:
            raise StudyError(
                f"--error-cases {self.error_cases}: allowed with three meshes only; add --levels 3"
            )


@dataclass(frozen=True)
class Options:
    """How a study is run; none of it changes a number of its own mesh level.

    Parameters
    ----------
    place : Place
        Where cases run.
    keep : str
        Fields that are stored: "all", "none", or those "shown".
    sample : tuple of str
        Labels of the cases that run on all three mesh levels; without any, errors are
        those that one mesh tells.
    pages : bool
        Whether pictures and pages are made besides the tables.
    asked : Asked
        What was asked for.
    """

    place: Place = field(default_factory=Place)
    keep: Keep = "all"
    sample: tuple[str, ...] = ()
    pages: bool = True
    asked: Asked = field(default_factory=Asked)


@dataclass(frozen=True)
class Finished:
    """The folder of a run that has ended, and how each case ended.

    The cases are those of the study's own mesh level, in the order of the study. The answers are those
    of what it asks for besides.
    """

    out: Path
    outcomes: tuple[Outcome, ...]
    answers: tuple[TwinAnswer, ...] = ()


def execute(
    planned: Plan,
    out: Path,
    options: Options,
    told: Told = lambda *_: None,
    heard: Heard = lambda _: None,
) -> Finished:
    """Run all cases of a plan that are not finished yet; write tables, then pages.

    Results of other mesh levels come into folders below `out`.

    Raises
    ------
    StudyError
        If gmsh is missing, `out` can not be written or is in use, there is no scheduler, or somebody
        stopped the run.
    """
    require_gmsh()
    check_writable(out)
    own = planned.study.mesh.level
    folders = {level: out if level == own else out / "levels" / level for level in LEVELS}
    plans = {own: planned}
    if options.sample:
        elsewhere = planned.only(options.sample).elsewhere
        plans |= {plan.items[0].case.level: plan for plan in elsewhere}
    with locked(out):
        write_inputs(planned, options.asked, out)
        ended = _complete(plans, folders, options, told)
        rows_at: dict[Level, Iterable[Row]] = {
            level: rows_of(ended[level], folders[level]) for level in plans
        }
        if options.sample:  # what some cases tell is lent to others, so all are held
            held = {level: list(rows) for level, rows in rows_at.items()}
            sampled = _sampled(planned, held, options.sample, folders)
            rows_at |= {**held, own: with_errors(held[own], sampled)}
        first = write_tables(planned, ended[own], related(rows_at[own], planned.cases), out)
        answers = _answered(planned, first, out, options.place, heard)
        for level, plan in plans.items():
            if level != own:
                write_cases(ended[level], related(rows_at[level], plan.cases), folders[level])
        if options.pages:
            _make_pages(planned, ended[own], options.keep, out)
        seal(out)
    return Finished(out, tuple(ended[own]), answers)


def _answered(
    planned: Plan, rows: Sequence[Row], out: Path, place: Place, heard: Heard
) -> tuple[TwinAnswer, ...]:
    """Ask for what a study wants besides its results."""
    try:
        return write_answers(planned, rows, out, place, heard)
    except KeyboardInterrupt:
        raise StoppedError(
            "stopped while reduced models were asked; all cases and their tables are kept: run the "
            "same command again to ask them anew"
        ) from None


def _complete(
    plans: Mapping[Level, Plan], folders: Mapping[Level, Path], options: Options, told: Told
) -> dict[Level, list[Outcome]]:
    """Run the cases of each level; how they ended, in the order of the study."""
    ended: dict[Level, list[Outcome]] = {}
    done = 0
    total = sum(len(plan.items) for plan in plans.values())
    try:
        for level, plan in plans.items():
            folders[level].mkdir(parents=True, exist_ok=True)
            found: dict[str, Outcome] = {}
            for outcome in complete(plan, folders[level], options.place, options.keep):
                found[outcome.case.label] = outcome
                done += 1
                told(level, outcome)
            ended[level] = [found[case.label] for case in plan.cases]
    except KeyboardInterrupt:
        raise StoppedError(
            f"stopped after {done} of {total} cases; they are kept: run the same command again to go on"
        ) from None
    return ended


def _sampled(
    planned: Plan,
    rows_at: Mapping[Level, Sequence[Row]],
    sample: Sequence[str],
    folders: Mapping[Level, Path],
) -> Sampled:
    """What the three meshes of a sample say."""
    sizes = {}
    for case in planned.only(sample).cases:
        stored = [folder_of(folders[level], replace(case, level=level).address) for level in LEVELS]
        if all(folder.is_dir() for folder in stored):
            fine, middle, coarse = map(_cell_size, stored)
            sizes[case.label] = (fine, middle, coarse)
    kinds = {case.label: case.construct.kind for case in planned.cases}
    values = {level: sound_values(rows) for level, rows in rows_at.items()}
    return Sampled(planned.study.mesh.level, values, sizes, kinds, frozenset(sample))


def _cell_size(folder: Path) -> float:
    """Cell size of a finished case's mesh, relative to the cube root of its volume."""
    return float(read_record(folder)["facts"]["cells"]) ** (-1 / 3)


def write_inputs(planned: Plan, asked: Asked, out: Path) -> None:
    """Write down what a run was asked for: the study file as it is, and all of it resolved."""
    options = asdict(asked)
    write_text(out / "study.toml", options.pop("text"))
    content = {
        "caution": CAUTION,
        "study": planned.study.model_dump(mode="json", exclude_unset=True),
        **options,
        **origin(),
    }
    write_text(out / "inputs.json", json.dumps(content, indent=2) + "\n")


def _make_pages(planned: Plan, outcomes: Iterable[Outcome], keep: str, out: Path) -> None:
    """Make pictures and pages from the folder; of a design those of its first variant."""
    study, first = planned.study, planned.items[0].case.variant
    if keep != "none":
        solved = [one.case.name for one in outcomes if not one.failure and one.case.variant == first]
        draw_study(out, study.in_order(solved), *study.shown)
    draw_indices(out, *study.shown)
    credibility_page(study, out, in_words(), CAUTION)
    report_page(study, out, in_words(), CAUTION)
