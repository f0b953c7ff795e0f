"""What several tests share: small studies that solve in seconds."""

from __future__ import annotations

import os
import tomllib
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).parent.parent
# One compute thread in each process, and in those that tests start: there are tests on every core, and
# threads that wait for each other on a busy core take many times as long as one. NumPy and numba read
# this when they are imported. tests/fem/test_kernels.py looks at two threads.
for name in ("NUMBA_NUM_THREADS", "OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS"):
    os.environ.setdefault(name, "1")
LONG = ("run", "verification", "fem", "measures", "output")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Files that take long come first, so that both processes of `make test` end together."""
    items.sort(key=lambda item: item.path.parent.name not in LONG)


@pytest.fixture
def demo() -> dict[str, Any]:
    """Contents of the demo study; its question asks for the shear that made-up rows have."""
    read = tomllib.loads((ROOT / "configs" / "demo.toml").read_text(encoding="utf-8"))
    return read | {"question": read["question"] | {"quantity": "gap_shear_movement"}}


@pytest.fixture(scope="session")
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
