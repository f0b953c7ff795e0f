"""Studies in words: every number is that of the file, every source is listed, nothing is promised."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any, get_args

import pytest
from typer.testing import CliRunner

from geometries.bone import Femur
from geometries.materials import MATERIALS, TISSUES
from geometries.sources import source_of
from pipeline import cli
from pipeline.loading.activities import PEAKS
from pipeline.measures.literature import SCHEMES
from pipeline.storage.caution import CAUTION
from pipeline.study.config import StudyConfig, load_study, parse_study
from pipeline.study.design import Design
from pipeline.study.starting import FOLDER
from pipeline.writing.changes import NOTHING, changed
from pipeline.writing.methods import methods
from pipeline.writing.numerics import DESIGNS
from pipeline.writing.words import Sources, amount, listed, name_of, plain

CONFIGS = Path(__file__).parents[2] / "configs"
DEMO = CONFIGS / "demo.toml"
VERSIONS = {"gapstrain": "9.8.7", "gmsh": "6.5.4"}
NAMES = ("demo", "nail-and-plate", "sweep-retained-nail", "twin-nail-and-plate")
FILES = [*(CONFIGS / f"{name}.toml" for name in NAMES), *sorted(FOLDER.glob("*.toml"))]
MODELS = get_args(get_args(Design)[0])  # of designs
SAID = (
    "1000 N on the head centre at 6°", "10 N·m in the sagittal plane", "level coarse",
    "at 50 % of the weight of a body of 80 kg", "3 mm long, centred at 75 %",
    "gapstrain 9.8.7 and gmsh 6.5.4", "exchange-nail-12: a titanium nail 12 mm in diameter",
    "in holes 2, 4 and 5 on either side",
)  # fmt: skip
PROMISES = (
    r"recommend|advis|should|must|ought|better|best|superior|optimal|preferab|\bsafe(?!ty)|ideal\b|proven|proves?\b|"
    r"patient|treat|therap|promis|guarantee|success|outcome of|union\b|significant"
)


def study(*changes: str) -> StudyConfig:
    return load_study(DEMO, changes)


def told(path: Path) -> str:
    return methods(load_study(path), VERSIONS)


def paragraph(text: str, heading: str) -> str:
    (found,) = [line for line in text.split("\n\n") if line.startswith(f"{heading}. ")]
    return found


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_methods_promise_nothing_and_advise_nothing(path: Path):
    """Words of promise and advice: common practice, no source."""
    text = told(path)
    assert text.endswith(CAUTION)
    own = text.removesuffix(CAUTION).replace(load_study(path).title, "").partition("\nSources\n")[0]
    assert not re.findall(PROMISES, own, re.I)
    assert [line[:12] for line in own.split("\n\n") if "heal" in line] == ["Not modelled"]


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_every_number_in_brackets_is_listed_once_and_in_order(path: Path):
    body, _, sources = told(path).partition("\n\nSources\n")
    listed_numbers = [int(number) for number in re.findall(r"^\[(\d+)\] \S", sources, re.M)]
    cited = [int(n) for group in re.findall(r"\[(\d+(?:, \d+)*)\]", body) for n in group.split(", ")]
    assert listed_numbers == list(range(1, len(listed_numbers) + 1))
    assert list(dict.fromkeys(cited)) == listed_numbers


def test_the_demo_is_told_by_its_numbers():
    """Numbers of configs/demo.toml, and moduli between those of the standards' data sheets."""
    text = told(DEMO)
    for words in SAID:
        assert words in text
    (titanium,) = re.findall(r"titanium, E (\d+) MPa", paragraph(text, "Materials"))
    assert 105_000 <= int(titanium) <= 120_000  # Ti-6Al-4V ELI, ASTM F136 data sheets
    assert "cement" not in paragraph(text, "Materials")
    assert "cement, E" in paragraph(told(FOLDER / "stem.toml"), "Materials")


def test_what_pulls_on_a_stem_in_place_of_the_trochanter_is_told():
    """By the file: walking with the abductor, which pulls there; without muscles nothing does."""
    said = "forces at the trochanter (walking) enter through the stem's top"
    place = FOLDER / "stem.toml"
    assert said in paragraph(told(place), "Loads")
    number = next(k for k, load in enumerate(load_study(place).loads) if load.name == "walking")
    bare = methods(load_study(place, [f"loads.{number}.muscles=[]"]), VERSIONS)
    assert "trochanter" not in bare
    assert "trochanter" not in paragraph(told(DEMO), "Loads")


def test_methods_follow_what_is_changed():
    transverse = methods(study("femur.cortex=transverse", "femur.length_mm=440"), VERSIONS)
    assert "across it E 11500 MPa" in transverse  # Reilly & Burstein 1975, as quoted
    assert "440 mm long" in transverse
    assert "femur.length_mm" not in transverse  # its source is that of the default
    assert "femur.length_mm" in told(DEMO)
    filled = methods(study("constructs.nail-10.nail.canal=bracket"), VERSIONS)
    assert "marrow, E 2 MPa" in filled  # Lacroix & Prendergast 2002
    assert "marrow" not in told(DEMO)
    given = methods(study("stages.atrophic.modulus_mpa=1.7"), VERSIONS)
    assert "atrophic (E 1.7 MPa, ν 0.167, given by the study)" in given


def test_what_a_study_does_not_have_is_not_told(bench_study: str, tmp_path: Path):
    path = tmp_path / "bench.toml"
    path.write_text(bench_study)
    text = told(path)
    assert "10 mm outer, 6 mm inner diameter" in text
    headings = [line.partition(".")[0] for line in text.split("\n\n")]
    assert not {"Femur", "Gap", "Interfaces", "Variation", "Beside published tests"} & {*headings}


def test_sources_are_those_of_the_data():
    sources = told(DEMO).partition("\nSources\n")[2]
    cited = [PEAKS["walking"].source, *(SCHEMES[name] for name in study().strain_bands)]
    cited += [f"titanium: {MATERIALS['titanium'].source}", f"woven: {TISSUES['woven'].source}"]
    listed_texts = re.findall(r"^\[\d+\] (.*)$", sources, re.M)
    assert {*cited} <= {*listed_texts}
    marks = {key: source_of(Femur, key) for key in Femur.model_fields if key.endswith("_mm")}
    published = {key: mark.words for key, mark in marks.items() if mark and mark.is_published}
    found = [text for text in listed_texts if text.startswith("femur.")]
    assert len(found) == len(published)
    for text, (key, words) in zip(found, published.items(), strict=True):
        assert text.startswith(f"femur.{key}: ")
        assert text.endswith(f" ({words}).")


def test_every_kind_of_design_has_words_and_cites_its_source(demo: dict[str, Any]):
    models = {get_args(one.model_fields["kind"].annotation)[0]: one for one in MODELS}
    assert {*models} == {*DESIGNS}
    factor = {"key": "defect.gap_mm", "low": 2.0, "high": 4.0}
    drawn = {"kind": "latin_hypercube", "factors": [factor], "samples": 4, "seed": 1}
    source = source_of(models["latin_hypercube"], "kind")
    assert source
    assert source.words in methods(parse_study(demo | {"design": drawn}, "demo"), VERSIONS)


def test_a_title_can_not_steer_a_terminal():
    assert "\x1b" not in methods(study('title="a\\u001b[2Jb"'), VERSIONS)
    assert plain("a\n\tb\x07  c") == "a b c"


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ("defect.gap_mm=4.5", "Defect, gap: from 3 mm to 4.5 mm."),
        ("mesh.level=fine", "Mesh, level: from coarse to fine."),
        ("title=Two words", 'plate over the nail" to "Two words".'),
        ("loads.walking.fraction=0.25", "Load walking, fraction: from 0.5 to 0.25."),
        ("constructs.plate.plate.screws.holes=[1, 5]",
         "Construct plate, plate, screws, holes: from 2, 4 and 5 to 1 and 5."),
        ("constructs.nail-10.nail.slot_mm=3.0", "Construct nail-10, nail, slot: from none to 3 mm."),
        ("constructs.plate.defect.gap_mm=9", "Construct plate, defect: added (gap 9 mm)."),
        ('stages.atrophic.name="hypertrophic"', "Stage atrophic: removed."),
        ("stages.atrophic.modulus_mpa=2", "Stage atrophic, modulus: from none to 2 MPa."),
        ("constructs.nail-10.kind=exchange_nail",
         "Construct nail-10, kind: from nail to exchange_nail."),
        ("strain_bands=[]", "Strain bands: from classical and deviatoric to none."),
    ],
)  # fmt: skip
def test_a_changed_key_is_told_with_both_values(change: str, sentence: str):
    """The expected sentences follow from the file and the change (definition)."""
    text = changed(study(), study(change))
    assert sentence in text
    back = changed(study(change), study())
    assert text.split(". ")[0] == back.split(". ")[0]
    assert text != back


def test_what_is_alike_is_told_as_nothing():
    written_out = study("femur.length_mm=430", "constructs.plate.plate.pitch_mm=18.0")
    assert changed(study(), written_out) == NOTHING


def test_entries_that_come_go_and_change_places(tmp_path: Path):
    text = DEMO.read_text(encoding="utf-8")
    head, *constructs = text.split("[[constructs]]")
    fewer, turned = tmp_path / "fewer.toml", tmp_path / "turned.toml"
    fewer.write_text("[[constructs]]".join([head, *constructs[:-1]]))
    turned.write_text("[[constructs]]".join([head, *constructs[::-1]]))
    gone = changed(study(), load_study(fewer))
    assert gone.startswith("1 change. Construct nail-10-distal: removed (a titanium nail 10 mm")
    assert "across a gap 3 mm long, centred at 75 %" in gone
    assert "1 change. Construct nail-10-distal: added" in changed(load_study(fewer), study())
    assert changed(study(), load_study(turned)).startswith(
        "1 change. Constructs: in another order, nail-10-d"
    )


def test_words_of_lists_numbers_and_keys():
    assert [listed("a"), listed("ab"), listed("abc"), listed([])] == [
        "a",
        "a and b",
        "a, b and c",
        "none",
    ]
    assert amount(0.123456789, "gap_mm") == "0.1234568 mm"
    assert amount((2.0, 3.5), "moment_nm") == "2 and 3.5 N·m"
    assert [amount(True), amount(None), amount(3e-8)] == ["true", "none", "3e-8"]
    assert name_of("body_weight_kg") == "body weight"
    sources = Sources()
    assert [sources.cite("x"), sources.cite("y", "x"), sources.cite()] == [" [1]", " [1, 2]", ""]
    assert str(sources) == "[1] x\n[2] y"


def test_the_commands_show_or_write(tmp_path: Path):
    run = CliRunner().invoke
    shown = run(cli.app, ["methods", str(FOLDER / "stem.toml"), "--set", "femur.length_mm=425"])
    assert shown.exit_code == 0, shown.output
    assert "425 mm long" in shown.output
    out = tmp_path / "changes.txt"
    names = [str(CONFIGS / f"sweep-{name}.toml") for name in ("retained-nail", "nail-and-gap")]
    assert run(cli.app, ["changes", *names, "--out", str(out)]).exit_code == 0
    assert "Design, kind: from one_at_a_time to latin_hypercube." in out.read_text(encoding="utf-8")
