"""The command that makes the page of a finished run again."""

from __future__ import annotations

from geometries.errors import StudyError
from pipeline.cli.console import say
from pipeline.cli.options import Finished
from pipeline.output.report.page import report_page
from pipeline.storage.caution import CAUTION
from pipeline.storage.provenance import in_words
from pipeline.storage.run_folder import INPUTS, read_inputs
from pipeline.study.config import parse_study


def report(folder: Finished) -> None:
    """Make DIR/report.html again, from the files of a finished run alone. Solves nothing."""
    if not folder.is_dir():
        raise StudyError(f"{folder}: no such folder; give that of a finished run")
    study = parse_study(read_inputs(folder).study, str(folder / INPUTS))
    page = report_page(study, folder, in_words(), CAUTION)
    say(f"Report: {page}\n{CAUTION}")
