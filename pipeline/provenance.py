"""What computes here: versions, platform, and a fingerprint of the code that results depend on."""

from __future__ import annotations

import hashlib
import importlib.metadata
import platform
from functools import cache
from pathlib import Path

PACKAGES = ("gapstrain", "gmsh", "numba", "numpy", "scikit-fem", "scipy")
ROOT = Path(__file__).parents[1]
COMPUTES = (
    "geometries", "pipeline/fem", "pipeline/measures", "pipeline/activities.py", "pipeline/applied.py",
    "pipeline/case.py", "pipeline/inputs.py", "pipeline/loads_input.py", "pipeline/readings.py",
    "pipeline/record.py", "pipeline/statics.py", "pipeline/superposition.py",
)  # fmt: skip


@cache
def versions() -> dict[str, str]:
    """Version of each package that results depend on."""
    return {name: importlib.metadata.version(name) for name in PACKAGES}


def in_words() -> str:
    """Versions and platform in a sentence."""
    listed = ", ".join(f"{name} {version}" for name, version in versions().items())
    return f"{listed}; {platform.platform()}."


@cache
def fingerprint() -> str:
    """Hash of the code that makes results, and of the versions that it runs on.

    A result with another fingerprint may be another number, so it is never taken for a finished one.
    """
    state = hashlib.sha256(repr(sorted(versions().items())).encode())
    for name in COMPUTES:
        place = ROOT / name
        files = sorted(place.rglob("*.py")) if place.is_dir() else [place]
        for file in files:
            state.update(file.relative_to(ROOT).as_posix().encode() + b"\0" + file.read_bytes())
    return state.hexdigest()
