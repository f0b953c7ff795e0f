"""The study files that are shipped: each can be built, and together they cover what a surgeon meets."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from pipeline.run.planning import plan
from pipeline.sharing.claims import load_claims
from pipeline.study.config import load_study
from pipeline.sweeps.variants import variants_of

CONFIGS = Path(__file__).parents[2] / "configs"
CLAIMS = sorted(CONFIGS.glob("claims-*.toml"))
FILES = sorted(set(CONFIGS.glob("*.toml")) - set(CLAIMS))
TWINS = [path for path in FILES if path.stem.startswith("twin-")]
SWEEPS = {"sweep-retained-nail": 24, "sweep-nail-and-gap": 40}  # and their points at most
SITES = ("mid", "distal", "proximal")


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_every_study_file_can_be_built(path: Path):
    assert plan(load_study(path, ()))


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_every_study_file_says_that_its_scenario_is_invented(path: Path):
    assert "invented" in path.read_text(encoding="utf-8").split("schema_version")[0]


@pytest.mark.parametrize("stem", SWEEPS)
def test_every_variant_of_a_sweep_can_be_built(stem: str):
    study = load_study(FILES[0].with_name(f"{stem}.toml"), ())
    variants = variants_of(study)
    assert 10 <= len(variants) <= SWEEPS[stem]
    assert study.mesh.level == "coarse"
    for variant in variants:
        assert variant.study is not None, variant.reason
        assert plan(variant.study)


def test_families_stand_at_three_sites():
    families: dict[str, set[str]] = {}
    for path in FILES:
        if path.stem not in {"demo", "which-inputs", *SWEEPS} and path not in TWINS:
            for construct in load_study(path, ()).constructs:
                family, _, site = construct.name.rpartition("-")
                families.setdefault(family, set()).add(site)
                percent = construct.defect.site_percent
                assert site == ("proximal" if percent < 40 else "mid" if percent < 60 else "distal")
    assert len(families) >= 12
    assert all(sites == set(SITES) for sites in families.values()), families


@pytest.mark.parametrize("path", TWINS, ids=lambda path: path.stem)
def test_every_twin_names_its_source_and_what_differs(path: Path):
    """That both are there is the model's own limit; here that they say something of their own."""
    entries = load_study(path, ()).published
    assert entries
    for entry in entries:
        assert re.search(r"\b(19|20)\d\d\b", entry.source), f"no year in {entry.source!r}"
        assert "abstract" in entry.source, "what was read of it"
        assert entry.differs.endswith("."), f"no sentence: {entry.differs!r}"
        assert entry.differs[0].isupper() or entry.differs[0].isdigit()


def test_there_are_twins_of_several_tests():
    sources = {entry.source.split(",")[0] for path in TWINS for entry in load_study(path, ()).published}
    assert len(TWINS) >= 3
    assert len(sources) >= 5


@pytest.mark.parametrize("path", CLAIMS, ids=lambda path: path.stem)
def test_every_claims_file_names_results_of_its_study(path: Path):
    study = load_study(CONFIGS / f"{path.stem.removeprefix('claims-')}.toml")
    known = {item.case.name for item in plan(study).items}
    assert "invented" in path.read_text(encoding="utf-8").split("[[claims]]")[0]
    for claim in load_claims(path):
        assert set(claim.constructs) <= known
        assert claim.stage in {stage.name for stage in study.stages}
        assert claim.load in {load.name for load in study.loads}
