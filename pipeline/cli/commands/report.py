"""The command that makes the page of a finished run again."""

from __future__ import annotations

from pipeline.cli.console import say, say_whole
from pipeline.cli.options import Finished
from pipeline.output.report.claims import claims_page
from pipeline.output.report.page import report_page
from pipeline.storage.caution import CAUTION
from pipeline.storage.proof import prove
from pipeline.storage.provenance import in_words
from pipeline.storage.run_folder import INPUTS, read_inputs
from pipeline.study.config import parse_study
from pipeline.tables.judged import JUDGED
from pipeline.tables.known import look_through


def report(folder: Finished) -> None:
    """Make DIR/report.html again, from the files of a finished run alone. Solves nothing.

    Where DIR has judged claims, as reproduce leaves them, DIR/claims.html too.
    """
    prove(folder)
    look_through(folder)
    study = parse_study(read_inputs(folder).study, str(folder / INPUTS))
    page = report_page(study, folder, in_words(), CAUTION)
    say_whole(f"Report: {page}")
    claims = claims_page(folder, in_words(), CAUTION) if (folder / JUDGED).is_file() else None
    if claims:
        say_whole(f"Page of the claims: {claims}")
    say(CAUTION)
