"""The command that makes the page again, and what it says where it can not."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from geometries.errors import StudyError
from pipeline.cli import app
from pipeline.output.report.page import report_page
from pipeline.storage.caution import CAUTION
from pipeline.storage.files import write_table
from pipeline.tables.judged import CLAIM_COLUMNS
from tests.made import write_run
from tests.output.report.made_up import rows_of, study_of
from tests.output.report.test_claims_page import CHANGE


def run(*arguments: object) -> str:
    done = CliRunner().invoke(app, [str(one) for one in arguments], catch_exceptions=True)
    if done.exception is not None:
        raise done.exception
    return " ".join(done.output.split())


def test_the_page_is_made_again_from_the_folder_alone(demo: dict[str, Any], tmp_path: Path):
    study = study_of(demo, question={"text": "Which numbers come back?"})
    out = write_run(tmp_path / "out", study, rows_of())
    said = run("report", out)
    assert CAUTION in said
    text = (out / "report.html").read_text(encoding="utf-8")
    assert "Which numbers come back?" in text
    versions = text[text.index("Page made with ") :].split("</p>")[0].removeprefix("Page made with ")
    report_page(study, out, versions, CAUTION)
    again = (out / "report.html").read_text(encoding="utf-8")
    assert again == text  # definition: same files, same page
    assert not (out / "claims.html").exists()
    write_table(out / "claims.csv", [CHANGE], CLAIM_COLUMNS)
    assert f"Page of the claims: {out / 'claims.html'}" in run("report", out)
    assert CHANGE["sentence"] in (out / "claims.html").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("name", "words"),
    [
        (None, "no such folder; give that of a finished run"),
        ("inputs.json", "inputs.json: can not be read"),
        ("results.csv", "results.csv: can not be read"),
        ("cases.csv", "cases.csv: can not be read"),
    ],
)
def test_a_folder_that_is_not_whole_is_one_sentence(
    demo: dict[str, Any], tmp_path: Path, name: str | None, words: str
):
    out = tmp_path / "out"
    if name:
        write_run(out, study_of(demo), rows_of())
        (out / name).unlink()
    with pytest.raises(StudyError) as caught:
        run("report", out)
    assert words in str(caught.value)
