"""A bundle run again without a solver: a made-up engine writes made-up numbers."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from geometries.errors import StudyError
from pipeline import cli
from pipeline.cli.commands import reproduce as rerun
from pipeline.output.report.claims import claims_page
from pipeline.run.engine import Place
from pipeline.run.execute import Asked
from pipeline.run.planning import Plan, plan
from pipeline.sharing.bundle import bundle
from pipeline.sharing.choice import Choice
from pipeline.sharing.claims import load_claims
from pipeline.sharing.opening import opened
from pipeline.sharing.reproduction import Run, reproduce
from pipeline.storage.files import read_table
from pipeline.study.config import load_study
from tests.designs import study_of
from tests.made import COMMIT
from tests.runs import CHANGES, CONSTRUCTS, DEMO, VALUES, write_run
from tests.sharing.test_claims import LOWERS, written

SHEAR = ("nail-10", "atrophic", "hip", "gap_shear_movement", "far")
NARROW = """
[[claims]]
sentence = "The nail alone is stiffer in torsion than 1.9 N·m/deg."
kind = "greater_than"
value = 1.9
unit = "N·m/deg"
quantity = "torsional_stiffness"
location = "sections"
stage = "atrophic"
load = "torsion"
construct = "nail-10"
"""


class Engine:
    """Writes what `write_run` writes, with some values changed, and notes what it was asked for."""

    def __init__(self, changed: Any = None) -> None:
        self.changed = changed
        self.asked: list[tuple[Plan, Asked]] = []

    def __call__(self, planned: Plan, out: Path, asked: Asked) -> None:
        self.asked.append((planned, asked))
        names = [case.name for case in planned.cases]
        write_run(out, self.changed, mesh="another", only=names)


@pytest.fixture
def packed(tmp_path: Path) -> Path:
    run = write_run(tmp_path / "run")
    claims = written(run / "claims.toml", LOWERS)
    claims.write_text(claims.read_text(encoding="utf-8") + NARROW, encoding="utf-8")
    return bundle(run, tmp_path / "run.zip")


def test_the_same_numbers_reproduce_a_study(packed: Path, tmp_path: Path):
    engine = Engine()
    found = reproduce(packed, tmp_path / "out", engine)
    assert found.succeeded
    assert [row["result"] for row in found.claims] == ["holds", "holds"]
    ((planned, asked),) = engine.asked
    study = planned.study
    assert set(CONSTRUCTS) < {case.name for case in planned.cases}
    assert asked == Asked(DEMO.read_text(encoding="utf-8"), CHANGES)
    assert study.defect.gap_mm == 4.0  # the changes that were recorded
    assert study.mesh.level == "default"
    assert CHANGES == ("defect.gap_mm=4", "mesh.level=default")
    assert {row["verdict"] for row in read_table(tmp_path / "out" / "reproduction.csv")} == {"inside"}
    assert len(read_table(tmp_path / "out" / "claims.csv")) == 2


def test_an_unpacked_bundle_is_run_too_and_left_as_it_is(packed: Path, tmp_path: Path):
    folder = opened(packed, tmp_path / "unpacked")
    assert reproduce(folder, tmp_path / "out", Engine()).succeeded
    assert opened(folder, tmp_path / "unused") == folder
    with pytest.raises(StudyError, match="lies in the bundle, which would change it"):
        reproduce(folder, folder / "again", Engine())
    assert opened(folder, tmp_path / "unused") == folder


def test_another_number_is_a_difference_and_may_fail_a_claim(packed: Path, tmp_path: Path):
    changed = {SHEAR: 1.01 * VALUES[SHEAR[1], SHEAR[2], SHEAR[3], SHEAR[4]][0]}
    near = reproduce(packed, tmp_path / "near", Engine(changed))
    assert not near.succeeded
    assert [row["quantity"] for row in near.differences if row["verdict"] == "outside"] == [SHEAR[3]]
    assert [row["result"] for row in near.claims] == ["holds", "holds"]  # within 5 % all the same
    far = reproduce(packed, tmp_path / "far", Engine({SHEAR: 0.3}))
    assert [row["result"] for row in far.claims] == ["fails", "holds"]


def test_a_subset_leaves_out_rows_and_claims_of_the_others(
    packed: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    asked: list[int] = []

    def one(_: object, count: int) -> tuple[str, ...]:
        asked.append(count)
        return ("nail-10",)

    monkeypatch.setattr("pipeline.sharing.choice.spread", one)
    engine = Engine()
    found = reproduce(packed, tmp_path / "out", engine, Choice(1))
    assert asked == [1]
    assert [case.name for case in engine.asked[0][0].cases] == ["nail-10"] == [*found.chosen]
    assert found.succeeded
    assert [row["result"] for row in found.claims] == ["not in the subset", "holds"]
    assert sum(int(str(row["pairs"])) for row in found.differences) == len(VALUES)


def test_the_subset_is_one_of_the_study_s_own(packed: Path, tmp_path: Path):
    engine = Engine()
    found = reproduce(packed, tmp_path / "out", engine, Choice(6))
    assert len(found.chosen) == 6
    assert set(CONSTRUCTS) <= set(found.chosen)


# Claim 1 is about nail-10-plate against nail-10, claim 2 about nail-10 alone.
@pytest.mark.parametrize(
    ("choice", "run", "results"),
    [
        (Choice(constructs=("nail-10-plate",)), ["nail-10", "nail-10-plate"], ["holds", "holds"]),
        (Choice(constructs=("nail-10",)), ["nail-10"], ["not in the subset", "holds"]),
        (Choice(claims=(2,)), ["nail-10"], ["not in the subset", "holds"]),
        (Choice(claims=(1,)), ["nail-10", "nail-10-plate"], ["holds", "holds"]),
        (Choice(1, ("nail-10",), (1,)), ["nail-10", "nail-10-plate"], ["holds", "holds"]),
    ],
)
def test_constructs_are_chosen_by_name_or_by_claim(
    packed: Path, tmp_path: Path, choice: Choice, run: list[str], results: list[str],
    monkeypatch: pytest.MonkeyPatch,
):  # fmt: skip
    """What a claim about a chosen one compares it with is added."""
    monkeypatch.setattr("pipeline.sharing.choice.spread", lambda *_: ("nail-10",))
    engine = Engine()
    found = reproduce(packed, tmp_path / "out", engine, choice)
    assert [case.name for case in engine.asked[0][0].cases] == run == [*found.chosen]
    assert [row["result"] for row in found.claims] == results
    assert found.succeeded


def test_a_reproduction_that_judges_no_claim_has_failed(tmp_path: Path):
    run = write_run(tmp_path / "bare")
    for name, claims in (("some", True), ("none", False)):
        if claims:
            written(run / "claims.toml", LOWERS)
        else:
            (run / "claims.toml").unlink()
        pack = bundle(run, tmp_path / f"{name}.zip")
        found = reproduce(pack, tmp_path / name, Engine(), Choice(constructs=("nail-10",)))
        assert (found.is_unjudged, found.succeeded) == (claims, not claims)
        assert (claims_page(tmp_path / name, "gapstrain 0.0.9.", "For research.") is not None) == claims


@pytest.mark.parametrize(
    ("choice", "words"),
    [
        (Choice(constructs=("nail-11",)), "--construct nail-11: is not in the bundle; .* nail-10, "),
        (Choice(claims=(3,)), "--claim 3: is not in the bundle; allowed 1 to 2: correct it"),
        (Choice(claims=(0,)), "--claim 0: is not in the bundle; allowed 1 to 2: correct it"),
    ],
)
def test_what_is_not_there_is_not_chosen(packed: Path, tmp_path: Path, choice: Choice, words: str):
    engine = Engine()
    with pytest.raises(StudyError, match=words):
        reproduce(packed, tmp_path / "out", engine, choice)
    assert not engine.asked


def test_only_claims_about_what_is_chosen_bring_others(tmp_path: Path):
    """One about what was added brings no more, in whatever order they stand."""
    chain = [LOWERS | {"construct": a, "compared_with": b}
             for a, b in (("plate", "nail-10-plate"), ("nail-10-plate", "nail-10"))]  # fmt: skip
    for claims in (chain, chain[::-1]):
        path = tmp_path / "claims.toml"
        path.write_text("".join(written(path, one).read_text() + "\n" for one in claims))
        found = load_claims(path)
        cases = plan(load_study(DEMO)).cases
        assert Choice(constructs=("plate",)).labels(cases, found) == ("plate", "nail-10-plate")


def test_a_construct_of_a_design_is_named_with_or_without_its_variant(demo: dict[str, Any]):
    lengths = [{"key": "femur.length_mm", "values": [420.0, 430.0]}]
    planned = plan(study_of(demo, kind="grid", factors=lengths))
    assert Choice(constructs=("plate",)).labels(planned.cases, ()) == ("v001-plate", "v002-plate")
    assert Choice(constructs=("v002-plate",)).labels(planned.cases, ()) == ("v002-plate",)
    assert Choice().labels(planned.cases, ()) == ()


def test_other_versions_are_said_and_are_no_failure(packed: Path, tmp_path: Path):
    found = reproduce(packed, tmp_path / "out", Engine())
    assert [note.split(" is ")[0] for note in found.notes] == [
        "gapstrain was 0.0.9 and", "numpy was 1.25.9 and", f"Its commit was {COMMIT} and",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"versions": {"no-such-package": "1"}}, "no-such-package was 1 and is not installed here."),
        (
            {"versions": {}, "study": {"title": "Another"}},
            "study.toml is not read as inputs.json has it",
        ),
        ({"versions": {}, "levels": 3}, "here one was made, and errors are not compared"),
    ],
)
def test_what_is_not_as_it_was_is_said(tmp_path: Path, change: Any, words: str):
    run = write_run(tmp_path / "run")
    path = run / "inputs.json"
    path.write_text(json.dumps(json.loads(path.read_text()) | {"commit": None} | change))
    (note,) = reproduce(bundle(run, tmp_path / "x.zip"), tmp_path / "out", Engine()).notes
    assert words in note


@pytest.mark.parametrize(
    ("text", "words"),
    [("{", "the file: "), ('{"study": {}}', "versions: Field required"), ("[]", "the file: ")],
)
def test_inputs_that_no_run_wrote_are_a_sentence(tmp_path: Path, text: str, words: str):
    run = write_run(tmp_path / "run")
    (run / "inputs.json").write_text(text)
    with pytest.raises(StudyError, match=rf"inputs.json: {words}.*give the file as a finished run"):
        reproduce(run, tmp_path / "out", Engine())


# --- The commands ------------------------------------------------------------------------------------


def command(*words: object) -> tuple[int, str]:
    found = CliRunner().invoke(cli.app, [str(word) for word in words])
    assert found.exception is None or isinstance(found.exception, SystemExit), found.exception
    return found.exit_code, " ".join(found.output.split())  # however wide the terminal is


HOW = ("--workers", 2, "--time-limit", 30)


def engine_of(changed: Any = None) -> Any:
    def runner(place: Place) -> Run:
        assert place == Place(workers=2, minutes=30)
        return Engine(changed)

    return runner


def test_the_commands_pack_compare_and_run_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    run = write_run(tmp_path / "run")
    claims = written(tmp_path / "sentences.toml", LOWERS)
    code, said = command("bundle", run, "--claims", claims)
    packed = tmp_path / "run.zip"
    assert (code, packed.exists()) == (0, True)
    assert "holds" in said
    assert "not a medical device" in said
    code, said = command("compare", run, packed)
    assert code == 0
    assert "All results agree." in said
    assert "Differences" not in said, "nothing differs, so nothing is listed"
    monkeypatch.setattr(rerun, "_runner", engine_of())
    code, said = command("reproduce", packed, "--out", tmp_path / "same", *HOW)
    assert code == 0, said
    assert "numpy was 1.25.9" in said
    assert f"Page of the claims: {tmp_path / 'same' / 'claims.html'}" in said
    assert "All 5 quantities agree" in (tmp_path / "same" / "claims.html").read_text(encoding="utf-8")
    monkeypatch.setattr(rerun, "_runner", engine_of({SHEAR: 0.3}))
    code, said = command("reproduce", packed, "--out", tmp_path / "other", *HOW)
    assert code == 1
    assert "1 of 5 quantities differ." in said
    assert said.count(" of 4") == 1, "only what differs is listed"
    page = tmp_path / "other" / "claims.html"
    assert "1 of 5 quantities differ from those in the bundle" in page.read_text(encoding="utf-8")
    assert "fails" in said
    alone = ("--construct", "nail-10", *HOW)
    code, said = command("reproduce", packed, "--out", tmp_path / "alone", *alone)
    assert (code, "None of the 1 claims was judged" in said) == (1, True)
    code, said = command("reproduce", packed, "--out", tmp_path / "one", "--claim", 1, *HOW)
    assert code == 1, "the claim that fails is judged"
    assert "Run again: nail-10, nail-10-plate." in said
    code, said = command("compare", tmp_path / "same", tmp_path / "other")
    assert code == 1
    assert "outside, 1 of 4" in said
    assert "nail-10 · atrophic · hip ·" in said
    code, said = command("compare", tmp_path / "same", tmp_path / "other", "--tolerance", 90)
    assert (code, "Differences" in said) == (0, False)
    assert f"agree and are not equal, {SHEAR[3]} is nearest to its limit, nail-10 · " in said


def test_a_claim_that_fails_is_told_when_it_is_packed(tmp_path: Path):
    run = write_run(tmp_path / "run")
    written(run / "claims.toml", LOWERS | {"value": -20})
    code, said = command("bundle", run, "--out", tmp_path / "x.zip")
    assert (code, (tmp_path / "x.zip").exists()) == (1, True)
    assert "fails" in said


def test_faults_are_sentences(tmp_path: Path):
    claims = ("--claims", tmp_path / "no.toml")
    wrong = [("reproduce", tmp_path / "no.zip"), ("compare", tmp_path, tmp_path), ("bundle", tmp_path)]
    for words in [*wrong, ("bundle", tmp_path, *claims)]:
        found = CliRunner().invoke(cli.app, [str(word) for word in words])
        assert isinstance(found.exception, StudyError)  # which cli.main turns into exit code 2
        assert str(found.exception).startswith(str(tmp_path))
