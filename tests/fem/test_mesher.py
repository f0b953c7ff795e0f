"""What the mesher says without its library, and what that library leaves behind in the process."""

from __future__ import annotations

import ctypes
import signal
import sys
import tomllib

import pytest

from geometries.assembly import assemble
from pipeline.errors import MeshError
from pipeline.fem.meshing import mesher
from pipeline.run.planning import cases
from pipeline.study.config import parse_study


def test_missing_gmsh_is_one_sentence(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "gmsh", None)
    with pytest.raises(MeshError, match="gmsh can not be loaded"):
        mesher.require_gmsh()


def test_a_broken_pipe_stays_an_error_after_meshing(bench_study: str) -> None:
    # Python ignores SIGPIPE, so that a write to a socket that is gone raises. gmsh undoes that: a run
    # that lost a worker died without a word.
    case = cases(parse_study(tomllib.loads(bench_study), "tubes"))[0]
    mesher.build_mesh(assemble(case.construct, case.femur, case.defect), "coarse")
    ignored = ctypes.pythonapi.PyOS_getsig
    ignored.restype = ctypes.c_void_p
    assert ignored(signal.SIGPIPE) == signal.SIG_IGN
