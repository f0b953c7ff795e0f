"""Tables of a run's folder, looked through before anyone draws or prints them."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from geometries.errors import StudyError
from pipeline.measures.exploring import LIVE
from pipeline.output.report.live import live_of
from pipeline.output.report.run import ReportedRun
from pipeline.storage.caution import CAUTION
from pipeline.tables.known import COLUMNS_OF, look_through
from tests.hostile.live import live
from tests.runs import asked, write_run


@pytest.fixture
def run(tmp_path: Path) -> Path:
    return write_run(tmp_path / "run")


def test_what_a_run_wrote_is_as_it_should_be(run: Path):
    look_through(run)
    assert {"cases.csv", "comparisons.csv"} <= COLUMNS_OF.keys()


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("verdict", "verdicts", r"comparisons\.csv, line 2: no verdict"),
        ("variant,a,b", "variant,a,b,more", r"comparisons\.csv, line 2: not as long as"),
        ("mid-shaft,3", "mid-shaft", r"comparisons\.csv, line \d+: not as long as"),
        ("0.517", "0,517x", r"comparisons\.csv, line \d+: not as long as"),
        ("0.517", "half", r"comparisons\.csv, line \d+: a_value = 'half': allowed is a number"),
    ],
)
def test_another_table_is_a_sentence(run: Path, old: str, new: str, words: str):
    path = run / "comparisons.csv"
    text = path.read_text()
    assert old in text
    path.write_text(text.replace(old, new, 1))
    with pytest.raises(StudyError, match=words):
        look_through(run)


@pytest.mark.parametrize("content", [b"\xff\xfe", b"a,b\n" + b"1" * 200_000 + b",2\n"])
def test_what_is_no_table_is_a_sentence(run: Path, content: bytes):
    (run / "curves.csv").write_bytes(content)
    with pytest.raises(StudyError, match=r"curves\.csv: can not be read"):
        look_through(run)


def test_models_of_a_page_begin_with_the_caution_and_are_read_with_it_and_without(run: Path):
    content = live()
    assert next(iter(content)) == "caution"
    (run / LIVE).write_text(json.dumps(content))
    found = live_of(ReportedRun(asked(), run))
    assert found is not None
    assert found["caution"] == CAUTION
    (run / LIVE).write_text(json.dumps({key: one for key, one in content.items() if key != "caution"}))
    assert live_of(ReportedRun(asked(), run)) is not None  # as runs before it wrote them


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"constructs": []}, "constructs: "),
        ({"constructs": [{"name": "a", "mesh_error": {"gap_movement/far": [["x", 1]]}}]}, "mesh_error"),
        ({"constructs": [{"name": "a", "mesh_error": {}}]}, "has nothing that a page shows"),
        ({"units": {}}, "says nothing of 'gap_shear_movement'"),
        ({"limits": {"tissue_modulus_mpa": [1]}}, "limits.tissue_modulus_mpa"),
        ({"widest_deg": float("inf")}, "widest_deg"),
        (None, "can not be read"),
    ],
)
def test_other_models_of_a_page_are_a_sentence(run: Path, change: dict[str, Any] | None, words: str):
    reported, path = ReportedRun(asked(), run), run / LIVE
    path.write_text(json.dumps(live()))
    found = live_of(reported)
    assert found is not None
    assert found["shown"] == "gap_shear_movement/far"
    path.write_text("{" if change is None else json.dumps(live() | change))
    with pytest.raises(StudyError, match=rf"live\.json: .*{words}"):
        live_of(ReportedRun(asked(), run))
