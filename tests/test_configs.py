"""The study files that are shipped: each can be built, and together they cover what a surgeon meets."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipeline.config import load_study
from pipeline.study import plan

FILES = sorted((Path(__file__).parents[1] / "configs").glob("*.toml"))
SITES = ("mid", "distal", "proximal")


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_every_study_file_can_be_built(path: Path):
    assert plan(load_study(path, ()))


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_every_study_file_says_that_its_scenario_is_invented(path: Path):
    assert "invented" in path.read_text(encoding="utf-8").split("schema_version")[0]


def test_families_stand_at_three_sites():
    families: dict[str, set[str]] = {}
    for path in FILES:
        if path.stem != "demo":
            for construct in load_study(path, ()).constructs:
                family, _, site = construct.name.rpartition("-")
                families.setdefault(family, set()).add(site)
                percent = construct.defect.site_percent
                assert site == ("proximal" if percent < 40 else "mid" if percent < 60 else "distal")
    assert len(families) >= 12
    assert all(sites == set(SITES) for sites in families.values()), families
