"""What computes here: versions, platform, and a fingerprint of the code that results depend on."""

from __future__ import annotations

import hashlib
import importlib.metadata
import platform
import re
import subprocess
from dataclasses import replace
from functools import cache
from pathlib import Path

from geometries.solids import Geometry
from pipeline.fem.meshing.sizes import Level

PACKAGES = ("gapstrain", "gmsh", "numba", "numpy", "scikit-fem", "scipy")
ROOT = Path(__file__).parents[2]
ROOTS = ("pipeline.run.solving", "pipeline.run.record")  # what makes results, and what writes them down
_IMPORT = re.compile(r"^from ((?:geometries|pipeline)[\w.]*) import ([\w, ]+|\([^)]*\))", re.MULTILINE)


@cache
def versions() -> dict[str, str]:
    """Version of each package that results depend on."""
    return {name: importlib.metadata.version(name) for name in PACKAGES}


def in_words() -> str:
    """Versions and platform in a sentence."""
    listed = ", ".join(f"{name} {version}" for name, version in versions().items())
    return f"{listed}; {platform.platform()}."


@cache
def commit(root: Path = ROOT) -> str | None:
    """Commit of the code, and whether it was changed since; None where no git tells one.

    Installed code lies in no checkout, or in someone else's, whose commit says nothing of it.
    """
    try:
        top, head = _git(root, "rev-parse", "--show-toplevel", "HEAD").splitlines()
        if Path(top).resolve() != root.resolve():
            return None
        changed = _git(root, "status", "--porcelain", "--untracked-files=no")
    except (OSError, ValueError, subprocess.SubprocessError):
        return None
    return f"{head}, changed since" if changed.strip() else head


def _git(root: Path, *words: str) -> str:
    """What git says of a folder."""
    done = subprocess.run(
        ["git", *words], cwd=root, capture_output=True, text=True, check=True, timeout=60
    )
    return done.stdout


def origin() -> dict[str, object]:
    """What a run is written down with: versions of Python and packages, commit and platform."""
    return {
        "versions": {"python": platform.python_version(), **versions()},
        "commit": commit(),
        "platform": platform.platform(),
    }


@cache
def fingerprint() -> str:
    """Hash of the code that makes results, and of the versions that it runs on.

    A result with another fingerprint may be another number, so it is never taken for a finished one.
    """
    state = hashlib.sha256(repr(sorted(versions().items())).encode())
    for name, file in sorted(computing().items()):
        state.update(name.encode() + b"\0" + file.read_bytes())
    return state.hexdigest()


@cache
def computing() -> dict[str, Path]:
    """Modules that results follow from, with their files: all that solving and recording import.

    A package's own file counts as well, since it runs when anything in it is imported.
    """
    found: dict[str, Path] = {}
    waiting = list(ROOTS)
    while waiting:
        name = waiting.pop()
        file = _file_of(name)
        if name in found or file is None:
            continue
        found[name] = file
        waiting.append(name.rpartition(".")[0])
        for source, names in _IMPORT.findall(file.read_text(encoding="utf-8")):
            waiting += [source, *(f"{source}.{word}" for word in re.findall(r"\w+", names))]
    return found


def _file_of(name: str) -> Path | None:
    """File of one of our modules or packages; None if the name is none, but something in one."""
    place = ROOT.joinpath(*name.split("."))
    return next((f for f in (place.with_suffix(".py"), place / "__init__.py") if f.is_file()), None)


def stops_key(geometry: Geometry) -> str:
    """Hash of a geometry's stops, whatever the clearance of those that share one."""
    clearances: dict[str, set[float]] = {}
    for stop in geometry.stops:
        clearances.setdefault(stop.touch, set()).add(stop.clearance)
    seen = [
        stop if len(clearances[stop.touch]) > 1 else replace(stop, clearance=0.0)
        for stop in geometry.stops
    ]
    return hashlib.sha256(repr(seen).encode()).hexdigest()[:16]


def mesh_key(geometry: Geometry, level: Level) -> str:
    """Hash of all that a mesh follows from; materials, and where it is read, are not among it."""
    parts = tuple(replace(part, material="") for part in geometry.parts)
    seen = replace(
        geometry, parts=parts, gap=None, facts={}, loose="", pins=(), beams=(), stops=(), cuts={}
    )
    return hashlib.sha256(f"{fingerprint()} {level} {seen!r}".encode()).hexdigest()[:16]
