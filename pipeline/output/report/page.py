"""``report.html``: a finished run as one page, with all that it needs inside."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from pathlib import Path

from pipeline.output.credibility import BALANCES, FORM
from pipeline.output.pages import write_framed
from pipeline.output.report import sorting, tables, viewer
from pipeline.output.report.answer import Answer, answer_of
from pipeline.output.report.assumed import assumed_of
from pipeline.output.report.cells import Texts
from pipeline.output.report.charts import words_of
from pipeline.output.report.choices import choices
from pipeline.output.report.doubts import DAGGER, doubts_in, flags_in
from pipeline.output.report.following import without_colours
from pipeline.output.report.live import live_of
from pipeline.output.report.pictures import indices, pictures
from pipeline.output.report.robust import change_in_words, robustness_of
from pipeline.output.report.run import NO_GAP, ReportedRun
from pipeline.output.report.swept import swept_of
from pipeline.output.report.takeover import takeover_of
from pipeline.output.tables import COLUMNS
from pipeline.storage.casebook import fault_of, folder_of
from pipeline.storage.run_folder import read_inputs
from pipeline.study.config import StudyConfig

REPORT = "report.html"
MOST_SAID = 40  # failures, flags or cases in one list
MOST_PROVED = 1_000_000_000  # bytes of cases whose checksums are proved: seconds, not minutes
MOST_PAIRS = 500  # of constructs; two hundred constructs have 19,900
WHOLE, UNREAD = "whole", "not read again"
LISTED = ("variant", "construct", "case", "status", "reason")


def report_page(study: StudyConfig, out: Path, versions: str, caution: str) -> Path:
    """Write ``report.html`` into the folder of a run, from its files alone.

    Parameters
    ----------
    study : StudyConfig
        What was run.
    out : Path
        Folder of its results.
    versions, caution : str
        Sentences to print.

    Returns
    -------
    Path
        The page. It loads nothing from elsewhere.

    Raises
    ------
    StudyError
        If the folder is not that of a finished run.
    OutputError
        If a stored case has not the fields that it should have, or the page can not be written.
    """
    run = ReportedRun(study, out)
    swept = swept_of(run)
    answer = answer_of(run, swept)
    overview, own = pictures(run)
    live = live_of(run)
    content = {
        **_first_screen(run, answer), **_results(run), **_explored(run), **_grounds(run),
        "solids": viewer.solids(run, live),
        "live": without_colours(live),
        "overview": overview, "pictures": own,
        "indices": indices(run),
        "charts": choices(run),
        "swept": answer.others,
        "over_points": swept.doubts if swept else {},
        "libraries": {"sorting": sorting.bundled("js"), "sorting_style": sorting.bundled("css")},
    }  # fmt: skip
    return write_framed(out / REPORT, study.title, caution, versions, **content)


def _first_screen(run: ReportedRun, answer: Answer) -> dict[str, object]:
    study, failed = run.study, sum(case["status"] == "failed" for case in run.cases)
    stage, load = study.shown
    gaps = sorted(set(run.places(run.constructs).values()) - {NO_GAP})
    facts = {
        "Constructs": str(len(run.constructs)),
        "Gap": "; ".join(gaps) or "none",
        "Shown": f"stage {stage}, load {load}",
        "Mesh": f"level {study.mesh.level}"
        + (", errors from three" if run.has_three_meshes else ", errors estimated on it"),
        "Cases": f"{len(run.cases) - failed} ok, {failed} failed",
    }
    if run.design:
        facts["Variants"] = f"{len(run.design)}; shown is {run.variant}"
    return {
        "run": run, "answer": answer, "facts": facts, "stage": stage, "load": load,
        "pairs": answer.pairs[:MOST_PAIRS], "more_pairs": max(0, len(answer.pairs) - MOST_PAIRS),
    }  # fmt: skip


def _results(run: ReportedRun) -> dict[str, object]:
    listed, which = tables.listed_results(run)
    bounds, which_bounds = tables.bounds(run)
    filled = [name for name in tables.SHOWN_COLUMNS if any(row[name] for row in listed)]
    return {
        "words_of": words_of,
        "doubts": doubts_in(run.first, run.constructs, "flags"),
        "most_said": MOST_SAID,
        "flags_in": flags_in,
        "dagger": DAGGER,
        "bounds": bounds,
        "singular_bounds": tables.singular_bounds,
        "which_bounds": which_bounds,
        "has_bound_errors": any(row["lowest_error"] or row["highest_error"] for row in bounds),
        "columns": COLUMNS,
        "main": tables.main_table(run),
        "listed": listed,
        "which": which,
        "shown_columns": filled,
        "numbers": tables.NUMBERS,
        "failed": run.failed[:MOST_SAID],
        "more_failed": max(0, len(run.failed) - MOST_SAID),
        "sensitivity": run.answering(run.sensitivity),
    }


def _explored(run: ReportedRun) -> dict[str, object]:
    """What the run was explored with besides its results; None for each of which it has nothing."""
    return {
        "robustness": robustness_of(run),
        "change_in_words": change_in_words,
        "takeover": takeover_of(run),
        "assumed": assumed_of(run),
    }


def _grounds(run: ReportedRun) -> dict[str, object]:
    """What the numbers rest on, and where they come from."""
    own = [case for case in run.cases if case["variant"] == run.variant]
    checked = list(_checked(run.out, own[:MOST_SAID]))
    return {
        "form": FORM,
        "materials": tables.materials(run),
        "balances": BALANCES,
        "meshes": tables.meshes(run),
        "cases": checked,
        "sound": (WHOLE, UNREAD),
        "more_cases": len(run.cases) - len(checked),
        "inputs": read_inputs(run.out),
        "has_credibility": (run.out / "credibility.html").is_file(),
    }


def _checked(out: Path, cases: Iterable[Texts]) -> Iterator[Texts]:
    """Cases with what their checksums say, until a page would take too long to make."""
    left = MOST_PROVED
    for case in cases:
        proof = ""
        if case["status"] == "ok":
            left -= sum(file.stat().st_size for file in folder_of(out, case["case"]).glob("*"))
            proof = UNREAD if left < 0 else fault_of(out, case["case"]) or WHOLE
        yield {name: case[name] for name in LISTED} | {"proof": proof}
