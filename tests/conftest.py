"""What several tests share: small studies that solve in seconds."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).parent.parent


@pytest.fixture
def demo() -> dict[str, Any]:
    """Contents of the demo study."""
    return tomllib.loads((ROOT / "configs" / "demo.toml").read_text(encoding="utf-8"))


@pytest.fixture
def bench_study() -> str:
    """A study of two short tubes, in TOML."""
    return """
schema_version = 1
title = "Two tubes"
mesh = { level = "coarse" }
stages = [{ name = "empty" }]
loads = [
    { kind = "end_force", name = "pull", proximal_n = 100.0 },
    { kind = "torsion", name = "twist", moment_nm = 1.0 },
]

[[constructs]]
kind = "specimen"
name = "thin"
length_mm = 40.0
section_inset_mm = 10.0
layers = [{ outer_diameter_mm = 10.0, inner_diameter_mm = 6.0, material = "steel" }]

[[constructs]]
kind = "specimen"
name = "thick"
length_mm = 40.0
section_inset_mm = 10.0
layers = [{ outer_diameter_mm = 12.0, inner_diameter_mm = 6.0, material = "steel" }]
"""
