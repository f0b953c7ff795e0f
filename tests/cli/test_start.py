"""What a command imports: one that solves, stores and draws nothing loads no library that does."""

from __future__ import annotations

import json
import subprocess
import sys
from importlib.util import find_spec
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
HEAVY = {
    "numba", "llvmlite", "skfem", "pymetis", "gmsh", "scipy",
    "pyvista", "vtk", "vtkmodules", "matplotlib", "PIL",
    "distributed", "dask", "pyarrow", "meshio", "SALib", "pandas",
}  # fmt: skip
SCRIPT = """
import json, sys
from pipeline.cli import app
app(sys.argv[1:], standalone_mode=False)
print(json.dumps(sorted({name.split(".")[0] for name in sys.modules})), file=sys.stderr)
"""
LIGHT = {  # what is called, and a word of what it prints, which proves that it came to its end
    "--help": "reproduce",
    "check configs/demo.toml": "The study file is sound.",
    "methods configs/demo.toml": "factor of safety",
    "new": "gap-length",
    "schema": "schema_version",
    "changes configs/demo.toml configs/gaps.toml": "removed",
}


def test_every_library_is_there_to_be_loaded():
    assert not [name for name in sorted(HEAVY) if find_spec(name) is None]


@pytest.mark.parametrize("words", LIGHT)
def test_a_light_command_loads_nothing_heavy(words: str):
    done = subprocess.run(
        [sys.executable, "-c", SCRIPT, *words.split()],
        cwd=ROOT, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert LIGHT[words] in done.stdout
    assert not HEAVY & set(json.loads(done.stderr.splitlines()[-1]))
